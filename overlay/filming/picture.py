"""Findings read from the pixels: light on the player, contrast to what is behind him, smear by the shutter, tilt."""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import AnyArray, BoolArray, Image
from overlay.data import FilmingFinding, FilmingVerdict
from overlay.errors import InputError
from overlay.filming.geometry import Told
from overlay.filming.scene import Scene

LUMA = np.array([0.299, 0.587, 0.114])
"""ITU-R BT.601 weights of red, green and blue in the brightness of a coded picture."""


def still_picture(scene: Scene) -> Image | None:
    """The picture at address, not larger than is needed; None without pictures."""
    if scene.reader is None:
        return None
    try:
        return scene.reader.frame_at(scene.moment_s, max_side=scene.settings.picture_side_px).image
    except InputError:
        return None


def person_mask(scene: Scene, shape: tuple[int, ...]) -> BoolArray | None:
    """(h, w) where the player is at address; None without masks."""
    if scene.masks is None:
        return None
    import cv2

    mask = scene.masks.at(scene.moment_s)
    full = np.asarray(cv2.resize(mask, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)) > 127
    return full if full.sum() > 50 else None


def light_findings(scene: Scene, image: Image | None) -> list[FilmingFinding]:
    """Brightness of the player, and how he stands out from what is behind him."""
    names = (("exposure", "%"), ("contrast", "%"))
    if image is None:
        why = "Not looked at: there are no pictures."
        return [FilmingFinding(name, math.nan, unit, None, "not seen", why) for name, unit in names]
    mask = person_mask(scene, image.shape)
    if mask is None:
        why = "The player's outline is not known."
        return [FilmingFinding(name, math.nan, unit, None, "not seen", why) for name, unit in names]
    return [_exposure(scene, image, mask), _contrast(scene, image, mask)]


def _exposure(scene: Scene, image: Image, mask: BoolArray) -> FilmingFinding:
    settings = scene.settings
    luma = (image @ LUMA) / 2.55
    player, around = luma[mask], luma[~mask]
    value = float(np.median(player))
    burnt = 100.0 * float(np.mean(player > settings.burnt))
    if value < settings.dark_warn:
        verdict: FilmingVerdict = "fail" if value < settings.dark_fail else "warn"
        if len(around) and float(np.median(around)) > settings.bright_behind:
            return FilmingFinding(
                "exposure", value, "%", None, verdict, "The player is dark against a bright background.",
                "Film with the light behind the camera, or tap the player on the screen to set the exposure.",
            )  # fmt: skip
        return FilmingFinding(
            "exposure", value, "%", None, verdict, f"The player is dark ({value:.0f} % of full brightness).",
            "Film in more light; the shutter should not become longer for it.",
        )  # fmt: skip
    if burnt > settings.burnt_warn:
        verdict = "fail" if burnt > settings.burnt_fail else "warn"
        return FilmingFinding(
            "exposure", value, "%", None, verdict, f"{burnt:.0f} % of the player is burnt out white.",
            "Lower the exposure: tap the brightest part of the player on the screen.",
        )  # fmt: skip
    return FilmingFinding("exposure", value, "%", None, "pass", "The player is well lit.")


def _contrast(scene: Scene, image: Image, mask: BoolArray) -> FilmingFinding:
    """Median over the outline's pieces of the colour distance between inside and outside, % of black to white."""
    import cv2

    settings = scene.settings
    lab = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2LAB), np.float64) / np.array([255.0, 255.0, 255.0])
    near = np.ones((3, 3), np.uint8)
    whole = mask.astype(np.uint8)
    inside = (cv2.erode(whole, near, iterations=2) - cv2.erode(whole, near, iterations=6)).astype(bool)
    outside = (cv2.dilate(whole, near, iterations=6) - cv2.dilate(whole, near, iterations=2)).astype(bool)
    rows, columns = np.nonzero(mask)
    cell = max(8, int((rows.max() - rows.min()) / 20))
    gaps = []
    for top in range(rows.min() - 6, rows.max() + 6, cell):
        for left in range(columns.min() - 6, columns.max() + 6, cell):
            part = (slice(max(0, top), top + cell), slice(max(0, left), left + cell))
            one, other = lab[part][inside[part]], lab[part][outside[part]]
            if len(one) >= 5 and len(other) >= 5:
                gaps.append(float(np.linalg.norm(np.median(one, axis=0) - np.median(other, axis=0))))
    if len(gaps) < 5:
        return FilmingFinding("contrast", math.nan, "%", None, "not seen", "The player's outline is not seen clearly.")
    value = 100.0 * float(np.median(gaps))
    if value >= settings.contrast_warn:
        return FilmingFinding("contrast", value, "%", None, "pass", "The player stands out from the background.")
    return FilmingFinding(
        "contrast", value, "%", None, "fail" if value < settings.contrast_fail else "warn",
        "The player hardly stands out from the background.",
        "Choose another background or clothes of another colour, or more light.",
    )  # fmt: skip


def background_tilt(scene: Scene, image: Image | None) -> Told | None:
    """Camera roll from long straight things outside the player, degrees clockwise; None when there are too few.

    Upright things (posts, walls, trees) and level ones (horizon, rails, mat edges seen square) each vote with their
    length; the answer is the densest place of the votes. Level lines that run away from the camera lean by perspective,
    each by its own angle, and so do not agree with each other.
    """
    if image is None:
        return None
    import cv2

    settings = scene.settings
    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(grey)[0]
    if found is None:
        return None
    lines = np.asarray(found, np.float64).reshape(-1, 4)
    mask = person_mask(scene, image.shape)
    if mask is not None:
        grown = cv2.dilate(mask.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
        middle = np.stack([(lines[:, 0] + lines[:, 2]) / 2, (lines[:, 1] + lines[:, 3]) / 2], -1).astype(int)
        middle = np.clip(middle, 0, np.array([image.shape[1] - 1, image.shape[0] - 1]))
        lines = lines[~grown[middle[:, 1], middle[:, 0]]]
    gap = lines[:, 2:] - lines[:, :2]
    length = np.linalg.norm(gap, axis=-1)
    direction = np.degrees(np.arctan2(gap[:, 1], gap[:, 0]))
    off = (direction + 45.0) % 90.0 - 45.0
    keep = (length >= settings.line_share * max(image.shape[:2])) & (np.abs(off) <= settings.most_tilt_deg)
    level = np.abs((direction + 90.0) % 180.0 - 90.0) < 45.0
    away = (lines[:, 1] + lines[:, 3]) / 2 / image.shape[0] - 0.5
    # A level line leans by perspective the more, the further it is from the horizon of a level camera.
    weight = length / np.where(level, 1.0 + (away / settings.horizon_share) ** 2, 1.0)
    return _densest(off[keep], weight[keep], settings.line_total * max(image.shape[:2]), settings.line_sd_deg)


def _densest(off: AnyArray, length: AnyArray, wanted: float, sd_deg: float) -> Told | None:
    """The densest place of weighted angles; a picture turned clockwise by a means a camera rolled anticlockwise."""
    if not len(off):
        return None
    grid = np.arange(-15.0, 15.01, 0.05)
    votes = (length[:, None] * np.exp(-0.5 * ((grid - off[:, None]) / 0.35) ** 2)).sum(axis=0)
    best = float(grid[np.argmax(votes)])
    close = np.abs(off - best) < 1.0
    support = float(length[close].sum())
    if support < wanted:
        return None
    mean = float(np.average(off[close], weights=length[close]))
    # The next best place, well apart: where the picture has two answers it has none.
    rival = float(votes[np.abs(grid - best) > 1.5].max(initial=0.0))
    sd = sd_deg * (1.0 + 4.0 * rival / max(float(votes.max()), 1e-9))
    return Told(-mean, sd)
