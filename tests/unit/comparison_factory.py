"""A comparison made by hand: a stick player whose hands swing on an arc, with known times and places."""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path
from typing import Sequence

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import (
    Clip,
    Comparison,
    PhaseDifference,
    PhaseTiming,
    PoseTrack,
    Position,
    Positions,
    Swing,
    TimeMap,
)
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.terms import PARTS, PHASES, POSITION_NAMES, Handedness, View

POSITION_SHARES = dict(zip(POSITION_NAMES, (0.0, 0.22, 0.33, 0.5, 0.57, 0.615, 0.645, 0.69, 1.0)))
"""Time of each position, address → finish = 0 → 1."""

LEAD_S = 0.4
"""Before address and after the finish."""

# Hand angle about the chest in degrees at the positions: 90 is straight down, growing towards the back of the player.
HAND_DEG = (80.0, 130.0, 185.0, 238.0, 185.0, 130.0, 85.0, 40.0, -70.0)


def stick_points(share: float, torso: float, feet: tuple[float, float], lean: float = 0.0) -> FloatArray:
    """(33, 2) px of a right-handed player seen down the line; ``share`` runs 0 → 1 from address to finish."""
    shares = list(POSITION_SHARES.values())
    hand = math.radians(float(np.interp(share, shares, HAND_DEG)))
    turn = float(np.interp(share, shares, (0.05, 0.2, 0.3, 0.35, 0.3, 0.2, 0.05, -0.2, -0.4)))
    bend = math.radians(float(np.interp(share, [0, 0.65, 1], [32.0, 32.0, 4.0])) + lean)
    points = np.full((N_LANDMARKS, 2), np.nan)

    def put(name: str, x: float, y: float) -> None:
        points[INDEX[name]] = (feet[0] + x * torso, feet[1] + y * torso)

    hip, knee = (-0.35, -1.66), (0.08, -0.85)
    neck = (hip[0] + math.sin(bend), hip[1] - math.cos(bend))
    for side, sign in (("left", 1.0), ("right", -1.0)):
        put(f"{side}_ankle", -0.02 + 0.1 * sign, 0.0)
        put(f"{side}_heel", -0.14 + 0.1 * sign, 0.1)
        put(f"{side}_foot_index", 0.38 + 0.1 * sign, 0.14)
        put(f"{side}_knee", knee[0] + 0.08 * sign, knee[1])
        put(f"{side}_hip", hip[0] + turn * 0.4 * sign, hip[1])
        shoulder = (neck[0] + turn * sign, neck[1] + 0.06 * sign)
        put(f"{side}_shoulder", *shoulder)
        wrist = (neck[0] + 1.05 * math.cos(hand), neck[1] + 1.05 * math.sin(hand))
        middle = ((shoulder[0] + wrist[0]) / 2, (shoulder[1] + wrist[1]) / 2)
        put(f"{side}_elbow", middle[0] - 0.06 * sign, middle[1] + 0.05)
        put(f"{side}_wrist", wrist[0] + 0.03 * sign, wrist[1])
        put(f"{side}_index", wrist[0] + 0.1 * sign, wrist[1] + 0.05)
        put(f"{side}_ear", neck[0] + 0.16 + 0.05 * sign, neck[1] - 0.33)
    put("nose", neck[0] + 0.32, neck[1] - 0.27)
    return points


def make_swing(
    *,
    start_s: float = 0.0,
    length_s: float = 1.6,
    torso: float = 60.0,
    feet: tuple[float, float] = (150.0, 260.0),
    size: tuple[int, int] = (240, 320),
    rate: int = 30,
    handedness: Handedness = "right",
    view: View = "dtl",
    missing: Sequence[str] = (),
    lean: float = 0.0,
    clip_path: Path | None = None,
    notes: tuple[str, ...] = (),
) -> Swing:
    """A swing whose address is ``LEAD_S`` after ``start_s`` and whose finish is ``length_s`` later."""
    n = round((length_s + 2 * LEAD_S) * rate) + 1
    time_s = start_s + np.arange(n) / rate
    shares = np.clip((time_s - start_s - LEAD_S) / length_s, 0.0, 1.0)
    points = np.stack([stick_points(float(share), torso, feet, lean) for share in shares])
    visibility = np.where(np.isfinite(points[..., 0]), 0.9, 0.0)
    track = PoseTrack(points, np.zeros(points.shape[:2]), visibility, time_s, size, "made in code")
    if handedness == "left":
        track = track.mirrored()
    found = tuple(
        Position(name, start_s + LEAD_S + share * length_s, 0.9 if name != "shaft_level_down" else 0.4)
        for name, share in POSITION_SHARES.items()
        if name not in missing
    )
    clip = None
    if clip_path is not None:
        clip = Clip(
            clip_path, "0" * 64, *size, 0, False, np.arange(round(time_s[-1] * rate) + 1) / rate, Fraction(rate), None,
            False, False,
        )  # fmt: skip
    reasons = {name: f"the {name.replace('_', ' ')} is hidden by the body" for name in missing}
    return Swing(
        clip, track, view, 0.95, handedness, 0.9, Positions(found, reasons), torso_px=torso, notes=notes,
        quality={"hands_seen": 0.93},
    )  # fmt: skip


def difference(phase: str, part: str, words: str, value: float, score: float) -> PhaseDifference:
    """One row of the table."""
    if words == "not scored":
        nan = float("nan")
        return PhaseDifference(phase, part, nan, (nan, nan), (nan, nan), "not scored", nan, (nan, nan), nan,
                               reason="too many frames were filled in")  # fmt: skip
    return PhaseDifference(
        phase, part, value, (max(0.0, value - 0.06), value + 0.06), (0.6 * value, -0.8 * value), words,  # type: ignore[arg-type]
        score, (max(0.0, score - 12), min(100.0, score + 12)), 0.08,
    )  # fmt: skip


def make_comparison(student: Swing | None = None, reference: Swing | None = None, *, same: bool = False) -> Comparison:
    """A comparison whose map is linear between the positions of both."""
    student = student or make_swing()
    reference = reference or make_swing(start_s=0.7, length_s=1.2, torso=80.0, feet=(160.0, 330.0), size=(300, 400))
    both = [name for name in POSITION_NAMES if student.positions.get(name) and reference.positions.get(name)]
    time_map = TimeMap(
        np.array([student.positions.times()[name] for name in both]),
        np.array([reference.positions.times()[name] for name in both]),
    )
    rows = []
    for i, phase in enumerate(PHASES):
        for j, part in enumerate(PARTS):
            k = (i * 5 + j * 3) % 7
            if same or k < 3:
                rows.append(difference(phase.name, part, "no difference detected", 0.02, 98.0))
            elif k == 3:
                rows.append(difference(phase.name, part, "small", 0.07, 92.0))
            elif k == 4:
                rows.append(difference(phase.name, part, "moderate", 0.12, 78.0))
            elif k == 5:
                rows.append(difference(phase.name, part, "large", 0.24, 37.0))
            else:
                rows.append(difference(phase.name, part, "not scored", 0.0, 0.0))
    seen = [row for row in rows if row.words not in ("no difference detected", "not scored")]
    timings = []
    for phase in PHASES:
        ends = [
            None if swing.positions.get(phase.start) is None or swing.positions.get(phase.end) is None
            else swing.positions.times()[phase.end] - swing.positions.times()[phase.start]
            for swing in (student, reference)
        ]  # fmt: skip
        if ends[0] is None or ends[1] is None:
            nan = float("nan")
            timings.append(PhaseTiming(phase.name, nan, nan, nan, nan, "a position is missing"))
        else:
            timings.append(PhaseTiming(phase.name, ends[0], ends[1], 1000 * (ends[0] - ends[1]), 17.0))
    return Comparison(
        student, reference, time_map, tuple(rows), tuple(timings),
        "From one swing each, a difference of 0.16 torso lengths is seen 19 times in 20.",
        ("The reference's recording holds 2 swings; swing 2 is compared.",),
        first=seen[0] if seen else None,
        largest=max(seen, key=lambda row: row.value) if seen else None,
    )  # fmt: skip


def picture_of(swing: Swing, i: int, ground: tuple[int, int, int], body: tuple[int, int, int]) -> Image:
    """A plain picture of frame ``i``: a filled body on a flat ground, and the frame number as grey blocks."""
    from overlay.draw.figure import figure_mask

    width, height = swing.pose.image_size
    image = np.empty((height, width, 3), np.uint8)
    image[:] = ground
    image[figure_mask((height, width), swing.pose.points[i]) > 127] = body
    return image


class BodyMasks:
    """Masks of the stick player at a quarter of the picture's size."""

    def __init__(self, swing: Swing) -> None:
        self._swing = swing
        width, height = swing.pose.image_size
        self.size = (width // 4, height // 4)

    def at(self, time_s: float) -> Image:
        import cv2

        from overlay.draw.figure import figure_mask

        i = int(np.argmin(np.abs(self._swing.pose.time_s - time_s)))
        width, height = self._swing.pose.image_size
        mask = figure_mask((height, width), self._swing.pose.points[i])
        return cv2.resize(mask, self.size, interpolation=cv2.INTER_AREA)
