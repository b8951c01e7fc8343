"""The ball: the small patch that lies still, and is gone from one frame to the next."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.settings.strike import BallSettings
from overlay.strike.area import Area, Stack


@dataclass(frozen=True)
class Sighting:
    """A ball that was found on a stack.

    Attributes
    ----------
    place : (x, y) px of the reference frame
    diameter_px : float
    score : float, 0–1
    last_seen_s, gone_s : float
        NaN when it never leaves.
    """

    place: tuple[float, float]
    diameter_px: float
    score: float
    last_seen_s: float = math.nan
    gone_s: float = math.nan


def find_vanished(
    stack: Stack, area: Area, expected_s: float, search_s: float, slow: float, settings: BallSettings
) -> Sighting | None:
    """The ball that lies there before the strike and not after it.

    The medians of the pictures before and after are compared; patches of ball size that differ from what surrounds
    them are followed frame by frame, and the one that changes best in a single step is taken. Shadows and feet
    change slowly, the club is there for a moment only.

    Parameters
    ----------
    stack : Stack
    area : Area
    expected_s : float
        Impact of the pose.
    search_s : float
        The ball leaves within this much of it.
    slow : float
        Playback seconds per real second.
    """
    before, after = sides(stack.time_s, expected_s, slow, settings)
    if min(len(before), len(after)) < settings.least_frames:
        return None
    first, last = _median(stack, before), _median(stack, after)
    best: Sighting | None = None
    for x, y, radius, contrast in _changed_patches(stack, area, first, last, settings):
        found = _followed(stack, area, x, y, radius, contrast, first, last, expected_s, search_s, settings)
        if found is not None and (best is None or found.score > best.score):
            best = found
    return best


def sides(times: FloatArray, expected_s: float, slow: float, settings: BallSettings) -> tuple[AnyArray, AnyArray]:
    """Indices of the frames before and after the strike; a clip that ends early gives what it has."""
    away = (times - expected_s) / slow
    before = np.flatnonzero((away >= settings.before_s[0]) & (away <= settings.before_s[1]))
    after = np.flatnonzero((away >= settings.after_s[0]) & (away <= settings.after_s[1]))
    return before, after


def _median(stack: Stack, rows: AnyArray) -> AnyArray:
    """(h, w, 3) float32: median of at most 15 of the frames."""
    if len(rows) > 15:
        rows = rows[np.linspace(0, len(rows) - 1, 15).round().astype(int)]
    return np.median(stack.images[rows].astype(np.float32), axis=0).astype(np.float32)


def _kernels(radius: float) -> tuple[AnyArray, AnyArray]:
    """Disc and surrounding ring as weights that sum to 1."""
    reach = math.ceil(2.3 * radius)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    distance = np.hypot(x, y)
    disc = np.clip(radius + 0.5 - distance, 0.0, 1.0)
    ring = np.clip(distance - 1.45 * radius, 0.0, 1.0) * np.clip(2.2 * radius + 0.5 - distance, 0.0, 1.0)
    return (disc / disc.sum()).astype(np.float32), (ring / ring.sum()).astype(np.float32)


def _changed_patches(
    stack: Stack, area: Area, first: AnyArray, last: AnyArray, settings: BallSettings
) -> list[tuple[float, float, float, float]]:
    """(x, y, radius) on the grid and contrast in levels, strongest first."""
    import cv2

    change = first - last
    size = np.sqrt(np.mean(change**2, axis=-1))
    found = []
    step = 0.5 * (stack.step[0] + stack.step[1])
    y, x = np.mgrid[: size.shape[0], : size.shape[1]]
    px, py = stack.to_clip(x, y)  # type: ignore[arg-type]
    chance = area.chance(np.asarray(px), np.asarray(py), settings) * stack.known
    for scale in settings.scales:
        radius = max(1.2, 0.5 * area.ball_px * scale / step)
        disc, ring = _kernels(radius)
        # The change must be the same colour all over the disc, and small around it.
        inside = np.sqrt(np.mean(cv2.filter2D(change, -1, disc, borderType=cv2.BORDER_REFLECT) ** 2, axis=-1))
        around = cv2.filter2D(size, -1, ring, borderType=cv2.BORDER_REFLECT)
        contrast = inside - around
        rank = np.where(contrast > settings.contrast, contrast * np.sqrt(chance), 0.0)
        peak = cv2.dilate(rank, np.ones((3, 3), np.uint8))
        for row, column in zip(*np.nonzero((rank > 0) & (rank >= peak))):
            found.append((float(rank[row, column]), float(column), float(row), radius, float(contrast[row, column])))
    kept: list[tuple[float, float, float, float]] = []
    for _, column, row, radius, contrast in sorted(found, reverse=True):
        if all(math.hypot(column - a, row - b) > 1.2 * max(radius, c) for a, b, c, _ in kept):
            kept.append((column, row, radius, contrast))
        if len(kept) == settings.candidates:
            break
    return kept


def _followed(
    stack: Stack,
    area: Area,
    x: float,
    y: float,
    radius: float,
    contrast: float,
    first: AnyArray,
    last: AnyArray,
    expected_s: float,
    search_s: float,
    settings: BallSettings,
) -> Sighting | None:
    """One patch frame by frame: when it left, and how good a ball it makes."""
    x, y, diameter = _refined(first - last, x, y, radius)
    shape = _roundness(first - last, x, y, 0.5 * diameter)
    vote = presence(stack, x, y, 0.45 * diameter, first, last, settings)
    step = best_step(stack.time_s, vote, expected_s - search_s, expected_s + search_s)
    if step is None:
        return None
    last_seen, gone, clean = step
    px, py = stack.to_clip(x, y)
    grid_step = 0.5 * (stack.step[0] + stack.step[1])
    size = diameter * grid_step / area.ball_px
    fit = math.exp(-0.5 * (math.log(size) / 0.4) ** 2)
    disc, ring = _kernels(max(1.2, 0.5 * diameter))
    bright = _patch_mean(first, x, y, disc) - _patch_mean(first, x, y, ring)
    light = float(np.mean(bright))
    # Balls are white or bright; a divot, a glove mark or a tee's hole is dark.
    brightness = 1.0 if light > 5 else 0.5 if light > -5 else 0.25
    # What left does not stand out afterwards. A ball that stays does, though a shadow may have fallen on it.
    stands_out = _patch_mean(last, x, y, disc) - _patch_mean(last, x, y, ring)
    remains = float(stands_out @ bright) / max(1e-6, float(bright @ bright))
    gone_for_good = float(np.clip((settings.remains - remains) / 0.25, 0.0, 1.0))
    late = math.exp(-0.5 * ((0.5 * (last_seen + gone) - expected_s) / search_s) ** 2)
    chance = float(area.chance(np.array(px), np.array(py), settings))
    score = clean * fit * shape * gone_for_good * brightness * late * math.sqrt(chance) * contrast / (contrast + 12.0)
    return Sighting((px, py), diameter * grid_step, float(min(1.0, 1.25 * score)), last_seen, gone)


def _window(shape: tuple[int, ...], x: float, y: float, reach: int) -> tuple[slice, slice]:
    column, row = round(x), round(y)
    return (
        slice(max(0, row - reach), min(shape[0], row + reach + 1)),
        slice(max(0, column - reach), min(shape[1], column + reach + 1)),
    )


def _refined(change: AnyArray, x: float, y: float, radius: float) -> tuple[float, float, float]:
    """Centre and diameter on the grid, from the part that changed by more than a third of the middle's change.

    A third, since the lower half of a ball lies in its own shade.
    """
    import cv2

    rows, columns = _window(change.shape, x, y, math.ceil(2.2 * radius) + 1)
    part = change[rows, columns]
    disc, _ = _kernels(max(1.0, 0.6 * radius))
    middle = _patch_mean(change, x, y, disc)
    strength = part @ middle / max(1e-6, float(middle @ middle))
    mask = (strength > 0.35).astype(np.uint8)
    count, labels = cv2.connectedComponents(mask)
    label = int(labels[min(mask.shape[0] - 1, round(y) - rows.start), min(mask.shape[1] - 1, round(x) - columns.start)])
    if count < 2 or label == 0:
        return x, y, 2.0 * radius
    ys, xs = np.nonzero(labels == label)
    diameter = math.sqrt(4.0 * len(xs) / math.pi)
    if not 0.5 * radius <= 0.5 * diameter <= 1.8 * radius:
        return x, y, 2.0 * radius
    return float(xs.mean() + columns.start), float(ys.mean() + rows.start), diameter


def _roundness(change: AnyArray, x: float, y: float, radius: float) -> float:
    """1 when the change fills a disc and ends all round it, less for a stripe or an edge."""
    sectors = 12
    angles = 2 * math.pi * np.arange(sectors) / sectors
    disc, _ = _kernels(max(1.0, 0.6 * radius))
    middle = _patch_mean(change, x, y, disc)
    norm = max(1e-6, float(middle @ middle))

    def at(distance: float) -> AnyArray:
        columns = np.clip(np.round(x + distance * np.cos(angles)), 0, change.shape[1] - 1).astype(int)
        rows = np.clip(np.round(y + distance * np.sin(angles)), 0, change.shape[0] - 1).astype(int)
        return np.asarray(change[rows, columns] @ middle / norm)

    inside = np.mean(at(0.55 * radius) > 0.5)
    outside = np.mean(at(1.75 * radius + 0.5) < 0.5)
    return float(np.clip((inside + outside - 1.0) / 0.85, 0.0, 1.0))


def _patch_mean(picture: AnyArray, x: float, y: float, kernel: AnyArray) -> AnyArray:
    """Weighted mean colour about (x, y); pixels beyond the border are left out."""
    reach = kernel.shape[0] // 2
    column, row = round(x), round(y)
    rows, columns = _window(picture.shape, x, y, reach)
    weights = kernel[rows.start - row + reach : rows.stop - row + reach, :]
    weights = weights[:, columns.start - column + reach : columns.stop - column + reach]
    total = max(1e-6, float(weights.sum()))
    return np.asarray((picture[rows, columns] * weights[..., None]).sum(axis=(0, 1)) / total)


def presence(
    stack: Stack, x: float, y: float, radius: float, first: AnyArray, last: AnyArray, settings: BallSettings
) -> FloatArray:
    """(T,) 1 = the patch looks as before, −1 = as after, 0 = cannot be told (the club is in front of it).

    A white club head in the ball's place looks much like it, so that "as before" asks for nearly the same colours.
    """
    rows, columns = _window(first.shape, x, y, math.ceil(radius) + 1)
    yy, xx = np.mgrid[rows, columns]
    disc = np.hypot(xx - x, yy - y) <= max(radius, 1.0)
    a, b = first[rows, columns][disc], last[rows, columns][disc]
    pictures = stack.images[:, rows, columns][:, disc].astype(np.float32)
    to_first = np.linalg.norm(pictures - a, axis=-1)
    to_last = np.linalg.norm(pictures - b, axis=-1)
    apart = np.linalg.norm(a - b, axis=-1)
    # What one pixel differs by for no reason: in dim light that is more than a share of a faint ball.
    noise = settings.noise_factor * np.median(np.minimum(to_first, to_last), axis=0)
    seen = np.mean((to_first < np.maximum(settings.alike_seen * apart, noise)) & (to_first < to_last), axis=1)
    gone = np.mean((to_last < np.maximum(settings.alike_gone * apart, noise)) & (to_last < to_first), axis=1)
    return np.where(seen >= settings.share_seen, seen, np.where(gone >= settings.share_gone, -gone, 0.0))


def best_step(times: FloatArray, vote: FloatArray, from_s: float, to_s: float) -> tuple[float, float, float] | None:
    """The change from present to absent that fits the votes best.

    Parameters
    ----------
    times : (T,) float, s
    vote : (T,) float, 1 present … −1 absent, 0 not told
    from_s, to_s : float
        The change lies between them.

    Returns
    -------
    (last seen, gone, clean) or None
        Times of the frames on both sides of the change that tell something; clean is 1 when every frame agrees
        with it, 0 for no better than chance.
    """
    total = np.concatenate([[0.0], np.cumsum(vote)])
    # Votes before the change minus those from it on is twice the votes before it, less a constant.
    fit = total
    # The change may come before frame k where the frames on both sides reach into the searched time.
    allowed = np.zeros(len(fit), bool)
    allowed[1:-1] = (times[1:] >= from_s) & (times[:-1] <= to_s)
    if not allowed.any():
        return None
    best = float(np.max(fit[allowed]))
    # Of equal ones (frames that tell nothing lie between) any: the frames that tell are the same.
    k = int(np.flatnonzero(allowed & (fit >= best - 1e-9))[0])
    seen, gone = np.flatnonzero(vote[:k] > 0), k + np.flatnonzero(vote[k:] < 0)
    if not len(seen) or not len(gone):
        return None
    before, after = vote[:k], vote[k:]
    clean = min(float(np.sum(before)) / max(1, len(before)), float(-np.sum(after)) / max(1, len(after)))
    return float(times[seen[-1]]), float(times[gone[0]]), max(0.0, clean)


def find_staying(stack: Stack, area: Area, expected_s: float, slow: float, settings: BallSettings) -> Sighting | None:
    """A round bright blob of ball size that lies there before the swing passes, and just so after it."""
    before, after = sides(stack.time_s, expected_s, slow, settings)
    if min(len(before), len(after)) < settings.least_frames:
        return None
    first, last = _median(stack, before), _median(stack, after)
    step = 0.5 * (stack.step[0] + stack.step[1])
    y, x = np.mgrid[: first.shape[0], : first.shape[1]]
    px, py = (np.asarray(value) for value in stack.to_clip(x, y))  # type: ignore[arg-type]
    chance = area.chance(px, py, settings) * stack.known
    if area.club_end is not None:
        near = np.hypot(px - area.club_end[0], py - area.club_end[1]) < settings.stay_reach * area.torso_px
        chance = chance * near
    best: Sighting | None = None
    for scale in settings.scales:
        radius = max(1.2, 0.5 * area.ball_px * scale / step)
        rise = np.minimum(*(_rise(picture.mean(axis=-1), radius) for picture in (first, last)))
        same = np.abs(first - last).mean(axis=-1) < 0.5 * rise
        rank = np.where((rise > settings.stay_contrast) & same, rise, 0.0) * np.sqrt(chance)
        row, column = np.unravel_index(int(np.argmax(rank)), rank.shape)
        if rank[row, column] <= 0:
            continue
        value = float(rise[row, column])
        sure = math.sqrt(float(chance[row, column])) * value / (value + 20.0)
        if best is None or sure > best.score:
            place = stack.to_clip(float(column), float(row))
            best = Sighting(place, 2 * radius * step, sure)
    return best


def _rise(light: AnyArray, radius: float) -> AnyArray:
    """(h, w) by how many levels the darkest side of a disc is brighter than the brightest place around it.

    A line, the edge of a mat or the tip of a shoe goes on somewhere, and a stripe does not fill the disc.
    """
    import cv2

    small = cv2.GaussianBlur(np.ascontiguousarray(light, np.float32), (0, 0), max(0.6, 0.25 * radius))
    size = (light.shape[1], light.shape[0])
    darkest = small.copy()
    brightest = np.full(light.shape, -np.inf, np.float32)
    for angle in 2 * math.pi * np.arange(12) / 12:
        for distance, of in ((0.5 * radius, darkest), (1.9 * radius, brightest)):
            shift = np.array([[1, 0, -distance * math.cos(angle)], [0, 1, -distance * math.sin(angle)]], np.float32)
            moved = cv2.warpAffine(small, shift, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            (np.minimum if of is darkest else np.maximum)(of, moved, out=of)
    return darkest - brightest
