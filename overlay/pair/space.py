"""Points in space from two pictures of one instant.

Axes as everywhere: X towards the target, Y from the player towards the ball line, Z up, of a right-hander (a
left-hander's pictures are mirrored first); origin midway between the ankles at address; unit the player's torso length
in space. Each camera is a level pinhole that looks along the target line (down the line) or square to it (face on),
turned by its yaw; it stands as far off as usual, with the lens at the height of the hands, unless the filming check
says otherwise. A point that both see has four coordinates for three unknowns: across from each, height from both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import FilmingReport, Swing
from overlay.landmarks import INDEX, side_index
from overlay.pair.clock import Clock, clock_of
from overlay.settings.pair import SpaceSettings
from overlay.terms import View

JOINTS = tuple(
    f"{side}_{joint}"
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel")
    for side in ("lead", "trail")
)
POINTS = (*JOINTS, "head", "hands", "grip", "club_head")
"""What is placed in space; ``head`` is midway between the ears, ``hands`` between the wrists that are seen."""
ROW = {name: i for i, name in enumerate(POINTS)}
_ARMS = ("elbow", "wrist")
STATURE_M = 1.75
TORSO_SHARE = 0.288
"""Shoulder height less hip height over stature (Drillis & Contini 1966, in Winter 2009, fig. 4.1)."""


@dataclass(frozen=True)
class Picture:
    """One view over time, in px of the address frame of a right-hander.

    Attributes
    ----------
    time_s : (T,) float, playback s
    points : (T, P, 2) px, y down; NaN where not measured
    size : (width, height) px
    clock : Clock
    shaft_sd_deg : (T,) float
    """

    view: View
    time_s: FloatArray
    points: FloatArray
    size: tuple[int, int]
    clock: Clock
    shaft_sd_deg: FloatArray
    source: str = ""

    @property
    def frame_s(self) -> float:
        """Median spacing, playback s."""
        return float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 1.0


def picture_of(swing: Swing, settings: SpaceSettings) -> Picture:
    """Measured points of a swing, brought to the address frame, a left-hander mirrored."""
    track, hand = swing.pose, swing.handedness
    n, width = len(track), track.image_size[0]
    points = np.full((n, len(POINTS), 2), np.nan)
    for name in JOINTS:
        side, joint = name.split("_")
        row = side_index(joint, "lead" if side == "lead" else "trail", hand)
        values = np.where(track.filled[:, row, None], np.nan, track.points[:, row])
        if joint in _ARMS:
            values = np.where((track.visibility[:, row] < settings.least_visibility)[:, None], np.nan, values)
        points[:, ROW[name]] = values
    points[:, ROW["head"]] = (track.points[:, INDEX["left_ear"]] + track.points[:, INDEX["right_ear"]]) / 2
    wrists = points[:, [ROW["lead_wrist"], ROW["trail_wrist"]]]
    seen = np.isfinite(wrists[..., :1])
    with np.errstate(invalid="ignore"):
        count = np.where(seen.any(axis=1), seen.sum(axis=1), np.nan)
        points[:, ROW["hands"]] = np.where(seen, wrists, 0.0).sum(axis=1) / count
    shaft_sd = np.full(n, np.nan)
    club = swing.club
    if club is not None and len(club.time_s):
        nearest = np.argmin(np.abs(club.time_s[None] - track.time_s[:, None]), axis=1)
        spacing = float(np.median(np.diff(track.time_s))) if n > 1 else 1.0
        known = (np.abs(club.time_s[nearest] - track.time_s) < 0.5 * spacing) & club.scored[nearest]
        points[:, ROW["grip"]] = np.where(known[:, None], club.grip[nearest], np.nan)
        points[:, ROW["club_head"]] = np.where(known[:, None], club.head[nearest], np.nan)
        told = np.where(np.isfinite(club.angle_sd_deg[nearest]), club.angle_sd_deg[nearest], settings.shaft_sd_deg)
        shaft_sd = np.where(known, np.maximum(told, settings.least_shaft_sd_deg), np.nan)
    if swing.camera_motion is not None:
        motion = swing.camera_motion
        points = np.stack([motion.to_reference(row, float(t)) for row, t in zip(points, track.time_s)])
    if hand == "left":
        points[..., 0] = width - points[..., 0]
    return Picture(swing.view, track.time_s, points, track.image_size, clock_of(swing), shaft_sd, track.source)


@dataclass(frozen=True)
class Instant:
    """What one view shows at one time: (P, 2) px, its slope (P, 2) px per playback s, and the shaft's sd in degrees."""

    points: FloatArray
    slope: FloatArray
    shaft_sd_deg: float


def instant(picture: Picture, time_s: float, settings: SpaceSettings) -> Instant:
    """Each point at a time: a straight line through the measured frames next to it."""
    window = max(settings.window_s * picture.clock.slow, 1.05 * picture.frame_s)
    bridge = max(settings.bridge_s * picture.clock.slow, 1.5 * picture.frame_s)
    values, slopes = np.full((len(POINTS), 2), np.nan), np.full((len(POINTS), 2), np.nan)
    for i, point in enumerate(POINTS):
        if point in ("grip", "club_head"):
            bridge = max(settings.shaft_bridge_s * picture.clock.slow, 1.5 * picture.frame_s)
        rows = np.flatnonzero(np.isfinite(picture.points[:, i, 0]))
        off = picture.time_s[rows] - time_s
        near = np.abs(off) <= window
        if not (np.any(near & (off >= -1e-9)) and np.any(near & (off <= 1e-9))):
            before, after = rows[off <= 0], rows[off >= 0]
            if not len(before) or not len(after) or picture.time_s[after[0]] - picture.time_s[before[-1]] > bridge:
                if np.any(near) and np.min(np.abs(off)) <= 0.75 * picture.frame_s:
                    values[i], slopes[i] = picture.points[rows[np.argmin(np.abs(off))], i], 0.0
                continue
            chosen = np.unique([before[-1], after[0]])
        else:
            chosen = rows[near]
        t = picture.time_s[chosen] - time_s
        seen = picture.points[chosen, i]
        if len(chosen) == 1:
            values[i], slopes[i] = seen[0], 0.0
            continue
        spread = t - t.mean()
        slope = (spread[:, None] * seen).sum(axis=0) / max(float(spread @ spread), 1e-12)
        values[i], slopes[i] = seen.mean(axis=0) - slope * t.mean(), slope
    known = np.flatnonzero(np.isfinite(picture.shaft_sd_deg))
    sd = settings.shaft_sd_deg
    if len(known):
        sd = float(picture.shaft_sd_deg[known[np.argmin(np.abs(picture.time_s[known] - time_s))]])
    return Instant(values, slopes, sd)


def still(picture: Picture, address_s: float, settings: SpaceSettings) -> FloatArray:
    """(P, 2) px: medians over the still moment before address; NaN where nothing is seen."""
    from overlay.kinematics import median_seen

    start = address_s - settings.still_s * picture.clock.slow
    keep = (picture.time_s >= start) & (picture.time_s <= address_s + 0.51 * picture.frame_s)
    if not np.any(keep):
        keep[np.argmin(np.abs(picture.time_s - address_s))] = True
    rows = picture.points[keep]
    return median_seen(rows.reshape(len(rows), -1)).reshape(-1, 2)


@dataclass(frozen=True)
class Lens:
    """What is taken of one camera, with SDs; (N,) arrays once drawn.

    Attributes
    ----------
    yaw_deg, yaw_sd_deg : clockwise from above, of a right-hander
    distance, distance_sd : to the feet, torso lengths
    height, height_sd : lens above the hands at address, torso lengths
    roll_sd_deg : float
    """

    yaw_deg: float
    yaw_sd_deg: float
    distance: float
    distance_sd: float
    height: float
    height_sd: float
    roll_sd_deg: float


def lens_of(filming: FilmingReport | None, settings: SpaceSettings) -> Lens:
    """The usual camera, and what the filming check found, weighed by how sure each is."""
    torso_cm = 100 * STATURE_M * TORSO_SHARE
    yaw = _weighed(0.0, settings.yaw_sd_deg, filming, "yaw", 1.0)
    distance = _weighed(settings.distance, settings.distance_sd, filming, "camera_distance", 100 / torso_cm)
    height = _weighed(settings.height, settings.height_sd, filming, "camera_height", 1 / torso_cm)
    yaw_sd = max(yaw[1], settings.least_yaw_sd_deg)
    return Lens(yaw[0], yaw_sd, distance[0], distance[1], height[0], height[1], settings.roll_sd_deg)


def _weighed(
    usual: float, usual_sd: float, filming: FilmingReport | None, name: str, scale: float
) -> tuple[float, float]:
    finding = None if filming is None else filming.get(name)
    if finding is None or finding.verdict == "not seen" or finding.interval is None or not math.isfinite(finding.value):
        return usual, usual_sd
    value = finding.value * scale
    sd = max((finding.interval[1] - finding.interval[0]) / (2 * 1.96) * abs(scale), 0.1 * usual_sd)
    weight = usual_sd**-2, sd**-2
    return (weight[0] * usual + weight[1] * value) / sum(weight), sum(weight) ** -0.5


@dataclass(frozen=True)
class Cameras:
    """Both cameras as drawn: every field is (N,) of N draws, the first of which is the most likely one.

    ``px`` are pixels per torso length at the distance of the feet; ``feet`` and ``level`` px: where the middle of the
    ankles stands and the row of the lens's height.
    """

    yaw_deg: tuple[FloatArray, FloatArray]
    roll_deg: tuple[FloatArray, FloatArray]
    distance: tuple[FloatArray, FloatArray]
    level_px: tuple[FloatArray, FloatArray]
    px: tuple[FloatArray, FloatArray]
    feet_px: tuple[FloatArray, FloatArray]
    middle_px: tuple[float, float]

    def __len__(self) -> int:
        return len(self.yaw_deg[0])

    def axes(self, which: int) -> tuple[FloatArray, FloatArray]:
        """(N, 2) right and forward on the ground of view 0 (down the line) or 1 (face on)."""
        turn = np.radians(self.yaw_deg[which])
        cos, sin = np.cos(turn), np.sin(turn)
        if which == 0:
            return np.stack([-sin, cos], -1), np.stack([cos, sin], -1)
        return np.stack([cos, sin], -1), np.stack([sin, -cos], -1)

    def seen(self, which: int, points: FloatArray) -> FloatArray:
        """(N, P, 2) torso lengths at the feet's distance from the lens's axis, right and up, of px (N or 1, P, 2)."""
        px = self.px[which][:, None]
        x = (points[..., 0] - self.middle_px[which]) / px
        y = -(points[..., 1] - self.level_px[which][:, None]) / px
        turn = np.radians(self.roll_deg[which])[:, None]
        return np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], -1)

    def place(self, which: int) -> tuple[FloatArray, FloatArray]:
        """(N, 2) of the lens on the ground, and (N,) its height over the ankles."""
        right, forward = self.axes(which)
        feet = self.seen(which, self.feet_px[which][:, None])[:, 0]
        return -self.distance[which][:, None] * forward - feet[:, :1] * right, -feet[:, 1]


def triangulated(cameras: Cameras, dtl: FloatArray, fo: FloatArray) -> FloatArray:
    """(N, P, 3) torso lengths of px (N or 1, P, 2) in both views; NaN where one does not show a point.

    The two across coordinates are two straight lines on the ground that meet in one point; the height is the mean of
    what both say at its distance from each.
    """
    views = (dtl, fo)
    rows, wanted, seen = [], [], []
    for which, points in enumerate(views):
        across = cameras.seen(which, points)
        seen.append(across)
        right, forward = cameras.axes(which)
        place, _ = cameras.place(which)
        share = across[..., 0] / cameras.distance[which][:, None]
        row = right[:, None] - share[..., None] * forward[:, None]
        rows.append(row)
        wanted.append((row * place[:, None]).sum(axis=-1))
    (a, b), (c, d) = (rows[0][..., 0], rows[0][..., 1]), (rows[1][..., 0], rows[1][..., 1])
    determinant = a * d - b * c
    x = (wanted[0] * d - b * wanted[1]) / determinant
    y = (a * wanted[1] - wanted[0] * c) / determinant
    ground = np.stack([x, y], -1)
    heights = [height_in(cameras, which, seen[which], ground) for which in (0, 1)]
    return np.concatenate([ground, np.mean(heights, axis=0)[..., None]], -1)


def height_in(cameras: Cameras, which: int, seen: FloatArray, ground: FloatArray) -> FloatArray:
    """(N, P) height over the ankles that one view says of points at ``ground`` (N, P, 2)."""
    _, forward = cameras.axes(which)
    place, lens = cameras.place(which)
    depth = ((ground - place[:, None]) * forward[:, None]).sum(axis=-1)
    return np.asarray(lens[:, None] + seen[..., 1] * depth / cameras.distance[which][:, None], np.float64)


def with_shaft(cameras: Cameras, dtl: FloatArray, fo: FloatArray, settings: SpaceSettings) -> FloatArray:
    """As ``triangulated``; the club head's two pictures are first slid along the shaft to one height.

    The far end of a shaft fades, in each picture somewhere else, but its line is seen well: each end may lie a little
    further out or in, as far as makes both heights agree (least squares; a level shaft, whose height does not change
    along it, stays as it was seen).
    """
    grip, head = ROW["grip"], ROW["club_head"]
    views = [np.array(np.broadcast_to(points, (len(cameras), *points.shape[1:]))) for points in (dtl, fo)]
    for _ in range(2):
        placed = triangulated(cameras, views[0], views[1])
        heights = [
            height_in(cameras, which, cameras.seen(which, views[which]), placed[..., :2])[:, [grip, head]]
            for which in (0, 1)
        ]
        rise = [height[:, 1] - height[:, 0] for height in heights]
        rest = rise[0] - rise[1]
        gain = settings.club_length_sd**2 * rest
        gain = gain / (settings.club_length_sd**2 * (rise[0] ** 2 + rise[1] ** 2) + settings.height_noise**2)
        for which, sign in ((0, -1.0), (1, 1.0)):
            along = views[which][:, head] - views[which][:, grip]
            views[which][:, head] += (sign * gain * rise[which])[:, None] * along
    return triangulated(cameras, views[0], views[1])


_BODY = tuple(ROW[f"{side}_{joint}"] for joint in ("shoulder", "hip", "knee") for side in ("lead", "trail"))


def cameras_at(
    still_dtl: FloatArray,
    still_fo: FloatArray,
    sizes: tuple[tuple[int, int], tuple[int, int]],
    lenses: tuple[Lens, Lens],
    settings: SpaceSettings,
    rng: np.random.Generator | None = None,
    draws: int = 1,
) -> Cameras | None:
    """Both cameras from the standing player; with ``rng`` as many draws of what they may be, the likely one first.

    ``still_*`` (P, 2) px are the places at address. The scales follow from the heights of shoulders, hips and knees,
    which both views show, and from the torso, which is 1. None when ankles, hands, shoulders or hips are not seen.
    """
    stills = (still_dtl, still_fo)

    def drawn(value: float, sd: float) -> FloatArray:
        noise = np.zeros(draws) if rng is None else rng.normal(0.0, sd, draws)
        noise[0] = 0.0
        return value + noise

    ankles = [np.nanmean(points[[ROW["lead_ankle"], ROW["trail_ankle"]]], axis=0) for points in stills]
    hands = [hand_of(points) for points in stills]
    if not all(np.all(np.isfinite(part)) for part in (*ankles, *hands)):
        return None
    if not all(np.all(np.isfinite(points[list(_BODY[:4])])) for points in stills):
        return None
    tops = [np.mean(points[list(_BODY[:2])], axis=0) for points in stills]
    px = [np.full(draws, (ankle[1] - top[1]) / 2.55) for ankle, top in zip(ankles, tops)]
    heights = [drawn(lens.height, lens.height_sd) for lens in lenses]
    made = Cameras(
        yaw_deg=(drawn(lenses[0].yaw_deg, lenses[0].yaw_sd_deg), drawn(lenses[1].yaw_deg, lenses[1].yaw_sd_deg)),
        roll_deg=(drawn(0.0, lenses[0].roll_sd_deg), drawn(0.0, lenses[1].roll_sd_deg)),
        distance=(
            np.maximum(drawn(lenses[0].distance, lenses[0].distance_sd), 3.0),
            np.maximum(drawn(lenses[1].distance, lenses[1].distance_sd), 3.0),
        ),
        level_px=(np.full(draws, hands[0][1]), np.full(draws, hands[1][1])),
        px=(px[0], px[1]),
        feet_px=(np.tile(ankles[0], (draws, 1)), np.tile(ankles[1], (draws, 1))),
        middle_px=(sizes[0][0] / 2, sizes[1][0] / 2),
    )
    ratio_error = np.exp(drawn(0.0, settings.scale_sd))
    for _ in range(8):
        made = replace(
            made,
            level_px=(hands[0][1] - heights[0] * made.px[0], hands[1][1] - heights[1] * made.px[1]),
        )
        placed = triangulated(made, still_dtl[None], still_fo[None])
        ground = placed[..., :2]
        own = [
            height_in(made, which, made.seen(which, stills[which][None]), ground)[:, list(_BODY)] for which in (0, 1)
        ]
        both = np.isfinite(own[0]) & np.isfinite(own[1])
        product = np.where(both, own[0] * own[1], 0.0).sum(axis=1)
        ratio = product / np.where(both, own[1] ** 2, 0.0).sum(axis=1) * ratio_error
        spine = placed[:, list(_BODY[:2])].mean(axis=1) - placed[:, list(_BODY[2:4])].mean(axis=1)
        torso = np.linalg.norm(spine, axis=-1)
        root = np.sqrt(np.clip(ratio, 0.25, 4.0))
        torso = np.clip(torso, 0.25, 4.0)
        made = replace(made, px=(made.px[0] * root * torso, made.px[1] / root * torso))
    if not np.all(np.isfinite(made.px[0])):
        return None
    return made


def hand_of(points: FloatArray) -> FloatArray:
    """(2,) px of the hands: midway between the wrists seen, else the grip."""
    wrists = points[[ROW["lead_wrist"], ROW["trail_wrist"]]]
    seen = np.isfinite(wrists[:, 0])
    return np.asarray(wrists[seen].mean(axis=0) if np.any(seen) else points[ROW["grip"]], np.float64)
