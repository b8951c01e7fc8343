"""View and handedness: cues by hand, and synthetic swings seen from all sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.clean import clean
from overlay.data import PoseTrack
from overlay.errors import ContentError
from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, TempoSpec, simulate, truth_track
from overlay.landmarks import N_LANDMARKS
from overlay.view import SideCues, find_handedness, find_view, handedness_from_cues, view_from_cues

DTL = SideCues(
    sweep=0.2, sweep_seen=True, width=0.3, reach=0.5, facing=0.3, turn_at_top=0.5, turn_change=-1.0, away=-0.7
)
FACE_ON = SideCues(
    sweep=1.4, sweep_seen=True, width=0.7, reach=0.1, facing=0.7, turn_at_top=0.3, turn_change=-0.8, away=-0.7
)


def test_typical_cues() -> None:
    assert view_from_cues(DTL).view == "dtl"
    assert view_from_cues(FACE_ON).view == "fo"
    assert handedness_from_cues(DTL, "dtl").handedness == "right"
    assert handedness_from_cues(replace(DTL, reach=-0.5), "dtl").handedness == "left"
    assert handedness_from_cues(FACE_ON, "fo").handedness == "right"
    assert handedness_from_cues(replace(FACE_ON, sweep=-1.4), "fo").handedness == "left"


def test_views_from_the_wrong_side_are_other() -> None:
    from_target = replace(DTL, turn_at_top=-0.5, turn_change=1.0)
    assert view_from_cues(from_target).view == "other"
    from_behind = replace(FACE_ON, facing=-0.7, turn_change=0.8)
    assert view_from_cues(from_behind).view == "other"


def test_between_the_views_is_other_and_unsure() -> None:
    diagonal = replace(DTL, sweep=0.8, width=0.48, reach=0.36)
    finding = view_from_cues(diagonal)
    assert finding.view == "other"
    assert finding.confidence < 0.8
    assert "between" in finding.reason


@pytest.mark.parametrize("view", ["dtl", "fo"])
@pytest.mark.parametrize("hand", ["right", "left"])
def test_synthetic_swings_from_both_sides(view: str, hand: str) -> None:
    motion = simulate(GolferSpec(handedness=hand, tempo=TempoSpec(pre_s=0.8)))  # type: ignore[arg-type]
    for yaw_deg in (-8.0, 0.0, 8.0):
        camera = CameraSpec.for_motion(motion, view, yaw_deg=yaw_deg)
        track = clean(truth_track(motion, camera, 30.0, noise=NoiseSpec(), seed=3))
        found = find_view(track)
        assert found.view == view
        assert found.confidence > 0.7
        assert find_handedness(track, found.view).handedness == hand


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_from_the_other_side_of_the_player_is_other(view: str) -> None:
    motion = simulate(GolferSpec(tempo=TempoSpec(pre_s=0.8)))
    camera = CameraSpec.for_motion(motion, view, yaw_deg=180.0)
    track = truth_track(motion, camera, 30.0)
    finding = find_view(track)
    assert finding.view == "other"
    assert find_handedness(track, finding.view).handedness == "right"


def test_half_way_between_is_other() -> None:
    motion = simulate(GolferSpec(tempo=TempoSpec(pre_s=0.8)))
    views = [
        find_view(truth_track(motion, CameraSpec.for_motion(motion, "dtl", yaw_deg=yaw), 30.0)).view
        for yaw in (0.0, 25.0, 32.0, 38.0, 45.0, 50.0, 90.0)
    ]
    assert views[0] == "dtl"
    assert "other" in views[1:-1]


def test_no_swing_cannot_be_judged() -> None:
    still = PoseTrack(
        np.ones((30, N_LANDMARKS, 2)) * np.arange(1, N_LANDMARKS + 1)[None, :, None],
        np.full((30, N_LANDMARKS), np.nan),
        np.ones((30, N_LANDMARKS)),
        np.arange(30) / 30.0,
        (100, 100),
        "test",
    )
    with pytest.raises(ContentError, match="no swing is seen"):
        find_view(still)
    with pytest.raises(ContentError, match="no swing is seen"):
        find_handedness(still, "dtl")
