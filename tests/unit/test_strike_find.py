"""The whole of ``find_strike`` on short rendered clips: struck, past a ball, and without one."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from overlay.data import CameraMotion, Position, Strike, Swing
from overlay.golfer import (
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    SoundSpec,
    TempoSpec,
    range_sound,
    render_clip,
    simulate,
    true_club,
    truth_track,
)
from overlay.positions import find_swings
from overlay.settings.strike import BallSettings, StrikeSettings
from overlay.strike import find_strike
from overlay.strike.area import search_area
from overlay.video import Sound, open_clip, read_sound

RATE = 30.0
BEFORE_S, AFTER_S = 0.36, 0.30


@pytest.fixture(scope="module")
def motion() -> Motion:
    return simulate(GolferSpec(tempo=TempoSpec(pre_s=0.6, relax_s=0.5, post_s=0.0, waggle=0.0), seed=3))


@pytest.fixture(scope="module")
def camera(motion: Motion) -> CameraSpec:
    return CameraSpec.for_motion(motion, "fo", width_px=270, height_px=480)


@pytest.fixture(scope="module")
def start_s(motion: Motion) -> float:
    return motion.position_times["impact"] - BEFORE_S


@pytest.fixture(scope="module")
def swing(motion: Motion, camera: CameraSpec, start_s: float) -> Swing:
    """What the pose says, on the clock of the rendered part."""
    track = truth_track(motion, camera, RATE, noise=NoiseSpec(), seed=1)
    found = find_swings(track, None, view="fo", handedness="right")[0]
    moved = tuple(dataclasses.replace(one, time_s=one.time_s - start_s) for one in found.positions.found)
    return dataclasses.replace(
        found,
        pose=dataclasses.replace(found.pose, time_s=found.pose.time_s - start_s),
        positions=dataclasses.replace(found.positions, found=moved, missing=dict(found.positions.missing)),
    )


@pytest.fixture(scope="module")
def clip_of(
    motion: Motion, camera: CameraSpec, start_s: float, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[object], Path]:
    folder = tmp_path_factory.mktemp("strike")

    def rendered(ball: object) -> Path:
        path = folder / f"{ball}.mp4"
        if not path.exists():
            render_clip(
                motion, camera, path, rate_hz=RATE, start_s=start_s, stop_s=start_s + BEFORE_S + AFTER_S,
                ball=ball, threads=1,
            )  # type: ignore[arg-type]  # fmt: skip
        return path

    return rendered


def heard(motion: Motion, camera: CameraSpec, start_s: float, *, struck: bool = True, **changes: object) -> Sound:
    impact = (motion.position_times["impact"],)
    sound = range_sound(
        SoundSpec(seed=5, others_per_s=0.0, **changes),  # type: ignore[arg-type]
        start_s=start_s - 0.5,
        stop_s=start_s + 1.2,
        impacts_s=impact if struck else (),
        passes_s=() if struck else impact,
        distance_m=float(np.linalg.norm(camera.position - motion.ball_rest)),
    )
    return Sound(sound.samples, sound.rate, -0.5)


def asked(path: Path, swing: Swing, **given: object) -> Strike:
    with open_clip(path) as reader:
        return find_strike(reader, swing, None, **({"club": None, "sound": None} | given))  # type: ignore[arg-type]


def test_a_struck_ball_is_found_and_timed(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    strike = asked(clip_of(True), swing)
    assert strike.struck is True
    assert strike.ball is not None
    place = camera.project(motion.ball_rest[None])[0]
    assert math.dist(strike.ball.place, place) < 4.0
    assert strike.ball.last_seen_s <= BEFORE_S <= strike.ball.gone_s + 0.5 / RATE
    assert abs(strike.time_s - BEFORE_S) < 1 / RATE
    assert [clue.source for clue in strike.clues] == ["ball"]
    assert "gone at" in strike.reason


def test_the_sound_sharpens_the_time(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    alone = asked(clip_of(True), swing)
    strike = asked(clip_of(True), swing, sound=heard(motion, camera, start_s))
    assert [clue.source for clue in strike.clues] == ["ball", "sound"]
    assert abs(strike.time_s - BEFORE_S) < 0.008
    assert strike.sd_s < alone.sd_s


def test_the_club_sharpens_the_time(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    times = swing.pose.time_s
    club = dataclasses.replace(true_club(motion, camera, times + start_s), time_s=times)
    strike = asked(clip_of(True), swing, club=club)
    assert "club" in [clue.source for clue in strike.clues]
    assert abs(strike.time_s - BEFORE_S) < 0.012
    # Down the line the club comes end-on; the same pictures, looked at as if they were filmed from there.
    face_on = BallSettings()
    as_face_on = dataclasses.replace(
        face_on, ahead_dtl=face_on.ahead_fo, below_dtl=face_on.below_fo, diameter_dtl=face_on.diameter_fo
    )
    down_the_line = asked(
        clip_of(True), dataclasses.replace(swing, view="dtl"), club=club, settings=StrikeSettings(ball=as_face_on)
    )
    assert [clue.source for clue in down_the_line.clues] == ["ball"]


def test_another_players_strike_is_not_taken(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    """A strike as loud as the own one, 0.25 s later."""
    own = heard(motion, camera, start_s)
    samples = own.samples.copy()
    late = int(0.25 * own.rate)
    samples[late:] += own.samples[:-late]
    strike = asked(clip_of(True), swing, sound=Sound(samples, own.rate, own.start_s))
    assert abs(strike.time_s - BEFORE_S) < 0.008


def test_in_slow_motion_the_sound_is_left_aside(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    slowed = dataclasses.replace(swing, quality={"slow_factor_estimate": 1.3})
    strike = asked(clip_of(True), slowed, sound=heard(motion, camera, start_s))
    assert strike.struck is True
    assert [clue.source for clue in strike.clues] == ["ball"]
    assert "slowed" in strike.reason


@pytest.mark.parametrize("brush", [0.0, 1.0])
def test_a_rehearsal_past_a_ball_strikes_nothing(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path], brush: float
) -> None:
    sound = heard(motion, camera, start_s, struck=False, brush=brush)
    for given in ({}, {"sound": sound}):
        strike = asked(clip_of("stays"), swing, **given)
        assert strike.struck is False
        assert strike.ball is not None
        assert math.isnan(strike.ball.gone_s)
        assert math.isnan(strike.time_s)


def test_without_ball_and_sound_nothing_can_be_told(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    nothing = asked(clip_of(False), swing)
    assert nothing.struck is None
    assert nothing.ball is None
    assert nothing.reason == "No ball was seen."
    silent = Sound(np.zeros(48_000, np.float32), 48_000.0, -0.2)
    assert asked(clip_of(False), swing, sound=silent).struck is None
    quiet = asked(clip_of(False), swing, sound=heard(motion, camera, start_s, struck=False, brush=1.0))
    assert quiet.struck is False
    assert "rehearsal" in quiet.reason


def test_a_strike_that_is_only_heard(
    motion: Motion, camera: CameraSpec, start_s: float, swing: Swing, clip_of: Callable[[object], Path]
) -> None:
    strike = asked(clip_of(False), swing, sound=heard(motion, camera, start_s))
    assert strike.struck is True
    assert strike.ball is None
    assert abs(strike.time_s - BEFORE_S) < 0.008


def test_a_moving_picture_is_held_still(swing: Swing, clip_of: Callable[[object], Path], camera: CameraSpec) -> None:
    """The same place in the reference frame, whatever the frames' own movement says; NaN rows use their neighbour."""
    with open_clip(clip_of(True)) as reader:
        times = reader.clip.times_s
        matrices = np.repeat(np.eye(2, 3)[None], len(times), axis=0)
        matrices[:, :, 2] = (3.0, -2.0)  # every frame lies 3 px to the left of the reference and 2 below
        matrices[4] = np.nan
        moved = find_strike(reader, swing, None, club=None, sound=None, motion=CameraMotion(times, matrices))
    still = asked(clip_of(True), swing)
    assert moved.ball is not None
    assert still.ball is not None
    np.testing.assert_allclose(moved.ball.place, np.add(still.ball.place, (3.0, -2.0)), atol=0.6)
    assert moved.time_s == pytest.approx(still.time_s, abs=1 / RATE)


def test_without_any_position_nothing_is_looked_for(swing: Swing, clip_of: Callable[[object], Path]) -> None:
    bare = dataclasses.replace(
        swing,
        positions=dataclasses.replace(
            swing.positions,
            found=(Position("address", 0.0, 0.9),),
            missing={
                name: "not seen" for name in [*swing.positions.missing, *swing.positions.times()] if name != "address"
            },
        ),
    )
    strike = asked(clip_of(True), bare)
    assert strike.struck is None
    assert "no downswing" in strike.reason


def test_an_impact_is_guessed_from_its_neighbours(swing: Swing, clip_of: Callable[[object], Path]) -> None:
    rest = tuple(one for one in swing.positions.found if one.name != "impact")
    positions = dataclasses.replace(swing.positions, found=rest, missing={**swing.positions.missing, "impact": "-"})
    strike = asked(clip_of(True), dataclasses.replace(swing, positions=positions))
    assert abs(strike.time_s - BEFORE_S) < 1 / RATE


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_area_holds_the_ball_of_either_hand(view: str) -> None:
    for handedness in ("right", "left"):
        motion = simulate(GolferSpec(handedness=handedness, club="driver"))  # type: ignore[arg-type]
        camera = CameraSpec.for_motion(motion, view)
        track = truth_track(motion, camera, 30.0, noise=None)
        swing = find_swings(track, None, view=view, handedness=handedness)[0]  # type: ignore[arg-type]
        settings = BallSettings()
        area = search_area(swing, None, motion.position_times["impact"], 1.0, settings)
        assert area is not None
        x, y = camera.project(motion.ball_rest[None])[0]
        assert float(area.chance(np.array(x), np.array(y), settings)) > 0.5
        size = 2 * 0.021335 * camera.focal_px / float(camera.camera_coordinates(motion.ball_rest)[2])
        assert 0.75 < area.ball_px / size < 1.3
    bare = dataclasses.replace(swing, torso_px=math.nan)
    assert search_area(bare, None, 1.0, 1.0, BallSettings()) is None


@pytest.mark.real
def test_a_real_ball_leaves_where_an_eye_sees_it_leave(real_data: Path) -> None:
    """A filmed driver shot in slow motion: the ball is there at 4.771 s and gone in the next frame, read by eye."""
    from overlay.pipeline import inspect_clip

    path = real_data / "real_dtl_slow_motion.mp4"
    inspection = inspect_clip(path)
    strike = asked(path, inspection.swings[-1], sound=read_sound(path))
    assert strike.struck is True
    assert strike.ball is not None
    assert strike.ball.last_seen_s == pytest.approx(4.7714, abs=0.002)
    assert strike.ball.gone_s == pytest.approx(4.8048, abs=0.002)
    assert math.dist(strike.ball.place, (323.8, 441.2)) < 3.0
    assert "slowed" in strike.reason
