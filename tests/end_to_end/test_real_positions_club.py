"""The club sharpens a real swing: a slow-motion clip down the line whose positions were read by eye."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

BY_EYE_S = {
    "shaft_level_back": 2.77,
    "top": 3.90,
    "shaft_level_down": 4.60,
    "shaft_level_through": 5.05,
    "finish": 8.0,
}
"""Read off the frames by a person, to about a frame of 33 ms; the finish, a slow letting down, to several."""


@pytest.mark.real
def test_the_club_brings_a_real_swing_nearer_to_the_eye(real_data: Path) -> None:
    from overlay.club import track_club
    from overlay.pipeline import ClipOptions, inspect_clip
    from overlay.positions import club_candidates, refine
    from overlay.steady import camera_motion
    from overlay.video import open_clip

    path = real_data / "real_dtl_slow_motion.mp4"
    inspection = inspect_clip(path, ClipOptions(use_cache=False))
    swing = inspection.swings[-1]
    with open_clip(path) as reader:
        motion = camera_motion(reader, swing, inspection.masks)
        club = track_club(reader, swing, inspection.masks, motion=motion)
    found = {candidate.name: candidate for candidate in club_candidates(replace(swing, club=club))}
    assert {"shaft_level_back", "shaft_level_through", "finish"} <= set(found)
    after = refine(replace(swing, club=club), candidates=tuple(found.values())).positions.times()
    before = swing.positions.times()
    for name in ("shaft_level_back", "shaft_level_through", "finish"):
        assert abs(after[name] - BY_EYE_S[name]) < abs(before[name] - BY_EYE_S[name]), name
    # The pose alone takes a slow sinking for the end of the hold, almost a second of slow motion too early.
    assert abs(before["finish"] - BY_EYE_S["finish"]) > 0.5
    assert abs(after["finish"] - BY_EYE_S["finish"]) < 0.2
    assert abs(after["shaft_level_back"] - BY_EYE_S["shaft_level_back"]) < 0.05
    for name in ("top", "shaft_level_down"):
        assert abs(after[name] - BY_EYE_S[name]) < 0.05
