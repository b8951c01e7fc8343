"""Two cameras of one player found together: their difference is better known than either."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from overlay.data import Camera, Position, Positions, SpaceTrack, Swing
from overlay.errors import MismatchError
from overlay.explain import same_player_cameras
from overlay.explain.cameras import drawn_pairs
from overlay.fit import CameraEstimate, estimate_camera
from overlay.golfer import CameraSpec, GolferSpec, Motion, StyleSpec, TempoSpec, simulate, truth_track
from overlay.golfer.space import space_track
from overlay.settings.explain import ExplainSettings
from overlay.terms import POSITION_NAMES

SHORT = TempoSpec(pre_s=0.6, hold_s=0.2, relax_s=0.4, post_s=0.0, waggle=0.0)


@pytest.fixture(scope="module")
def player() -> Motion:
    """Not the usual one: he bends and stands otherwise."""
    style = StyleSpec(forward_bend_deg=3.0, stance_width=0.1, knee_flex_deg=3.0, arm_hang_deg=2.0)
    return simulate(GolferSpec(tempo=SHORT, style=style))


@pytest.fixture(scope="module")
def usual() -> SpaceTrack:
    return space_track(simulate(GolferSpec(tempo=SHORT)), 60.0)


def filmed(motion: Motion, camera: CameraSpec) -> Swing:
    times = motion.position_times
    found = tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)
    track = truth_track(motion, camera, 60.0).between(times["address"] - 0.5, times["finish"] + 0.3)
    return Swing(None, track, camera.view, 1.0, motion.spec.handedness, 1.0, Positions(found))  # type: ignore[arg-type]


def bearing_deg(camera: Camera) -> float:
    """How far round the player the lens stands, down the line."""
    return math.degrees(math.atan2(camera.axes[2, 1], camera.axes[2, 0]))


@pytest.fixture(scope="module")
def pair(player: Motion, usual: SpaceTrack) -> tuple[tuple[CameraEstimate, ...], tuple[CameraEstimate, ...]]:
    """Found together, and each by itself; the student's camera stands 5° further round."""
    there = CameraSpec.for_motion(player, "dtl")
    here = replace(there, yaw_deg=5.0)
    clips = filmed(player, here), filmed(player, there)
    alone = tuple(estimate_camera(usual, clip) for clip in clips)
    return same_player_cameras(usual, *clips), alone


def test_the_turn_between_two_days_is_found(pair: Any) -> None:
    together, _ = pair
    assert bearing_deg(together[0].camera) - bearing_deg(together[1].camera) == pytest.approx(5.0, abs=1.2)


def test_the_difference_is_better_known_than_by_each_alone(pair: Any) -> None:
    together, alone = pair
    gaps = [bearing_deg(one) - bearing_deg(other) for one, other in zip(together[0].draws, together[1].draws)]
    by_themselves = math.hypot(alone[0].sd["yaw_deg"], alone[1].sd["yaw_deg"])
    assert 0.2 < float(np.std(gaps)) < 0.6 * by_themselves
    # Build is one and the same.
    assert together[0].factors == together[1].factors


def test_one_posture_serves_both_days(pair: Any, player: Motion, usual: SpaceTrack) -> None:
    """His posture is not the usual one. Tied from day to day it costs nothing, and the cameras are told more surely."""
    there = CameraSpec.for_motion(player, "dtl")
    clips = filmed(player, replace(there, yaw_deg=5.0)), filmed(player, there)

    def spread_deg(cameras: tuple[CameraEstimate, ...]) -> float:
        return float(np.std([bearing_deg(a) - bearing_deg(b) for a, b in zip(cameras[0].draws, cameras[1].draws)]))

    tied = same_player_cameras(usual, *clips, settings=ExplainSettings(day_to_day=0.05))
    free = same_player_cameras(usual, *clips, settings=ExplainSettings(day_to_day=1.5))
    assert bearing_deg(tied[0].camera) - bearing_deg(tied[1].camera) == pytest.approx(5.0, abs=0.6)
    assert spread_deg(tied) < 0.75 * spread_deg(free)
    assert tied[0].misfit < 1.2 * free[0].misfit


def test_their_draws_stay_in_step(pair: Any) -> None:
    together, alone = pair
    one, other = drawn_pairs(*together, 20, np.random.default_rng(3))
    assert [draw.position[2] for draw in one] == [draw.position[2] for draw in together[0].draws[:20]]
    assert [draw.position[2] for draw in other] == [draw.position[2] for draw in together[1].draws[:20]]
    shuffled, _ = drawn_pairs(*alone, 20, np.random.default_rng(3))
    assert [draw.position[2] for draw in shuffled] != [draw.position[2] for draw in alone[0].draws[:20]]


def test_two_views_are_not_two_days(player: Motion, usual: SpaceTrack) -> None:
    clips = [filmed(player, CameraSpec.for_motion(player, view)) for view in ("dtl", "fo")]
    with pytest.raises(MismatchError, match="one view"):
        same_player_cameras(usual, *clips)
