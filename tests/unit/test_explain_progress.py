"""Two swings of one player months apart, from noisy tracks: a small version of studies/progress_comparison.py."""

from __future__ import annotations

from dataclasses import replace

import pytest

from overlay.align import align
from overlay.clean import clean
from overlay.data import Comparison, SpaceTrack, Swing
from overlay.explain import beyond, beyond_camera, camera_parts, same_player_cameras
from overlay.explain.beyond import found
from overlay.golfer import CameraSpec, GolferSpec, Motion, NoiseSpec, StyleSpec, TempoSpec, simulate, truth_track
from overlay.golfer.space import space_track
from overlay.positions import find_swings
from overlay.score import score

TEMPO = TempoSpec(pre_s=0.8, hold_s=0.2, relax_s=0.4, post_s=0.0, waggle=0.0)
STYLE = StyleSpec(shoulder_turn_deg=4.0, hands_height=0.05, forward_bend_deg=2.0, stance_width=0.08)


def swing_of(seed: int, **faults: float) -> Motion:
    return simulate(GolferSpec(tempo=TEMPO, style=STYLE, faults=faults, seed=seed, variation=1.0))


def filmed(motion: Motion, rate_hz: float, seed: int, **changes: float) -> Swing:
    camera = replace(CameraSpec.for_motion(motion, "dtl"), **changes)  # type: ignore[arg-type]
    track = clean(truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=seed))
    return find_swings(track, None, view="dtl", handedness="right")[0]


@pytest.fixture(scope="module")
def january() -> Swing:
    return filmed(swing_of(1), 60.0, 11, distance_m=3.5, zoom=0.9, yaw_deg=-4.0, offset_m=0.1)


@pytest.fixture(scope="module")
def usual() -> SpaceTrack:
    return space_track(simulate(GolferSpec(tempo=TEMPO)), 60.0)


def in_may(january: Swing, usual: SpaceTrack, **faults: float) -> Comparison:
    """Filmed from 9° further round, further away, with another frame rate."""
    may = filmed(swing_of(2, **faults), 30.0, 12, distance_m=5.0, zoom=1.3, yaw_deg=5.0, height_m=0.9)
    comparison = score(may, january, align(may, january))
    mine, theirs = same_player_cameras(usual, may, january)
    parts = camera_parts(comparison, usual, student_fit=mine, reference_fit=theirs)
    return replace(comparison, camera_parts=parts)


def test_what_only_the_cameras_changed_is_not_believed(january: Swing, usual: SpaceTrack) -> None:
    comparison = in_may(january, usual)
    assert found(comparison), "the cameras are so far apart that the table names something"
    assert beyond(comparison) == ()
    assert "film again from the same place" in beyond_camera(comparison).notes[-1]


def test_a_real_change_stays_and_is_named_first(january: Swing, usual: SpaceTrack) -> None:
    comparison = beyond_camera(in_may(january, usual, flat_shoulder_turn=2.0))
    cells = [(row.phase, row.part) for row in beyond(comparison)]
    assert ("backswing", "shoulders") in cells
    assert comparison.largest is not None
    assert (comparison.largest.phase, comparison.largest.part) in cells
