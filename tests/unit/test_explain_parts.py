"""What the cameras could explain: the offsets, the bound, and what stays beyond."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import comparison_factory as factory
import numpy as np
import pytest

from overlay.data import (
    Band,
    Camera,
    CameraPart,
    Comparison,
    Model,
    PhaseDifference,
    Position,
    Positions,
    ReferenceFit,
    SpaceTrack,
    Spread,
    Swing,
    TimeMap,
)
from overlay.explain import beyond, beyond_camera, camera_parts
from overlay.explain.beyond import found
from overlay.explain.parts import could_explain
from overlay.golfer import CameraSpec, GolferSpec, Motion, TempoSpec, simulate, truth_track
from overlay.golfer.space import space_track
from overlay.score import score
from overlay.settings.explain import ExplainSettings
from overlay.settings.score import ScoreSettings
from overlay.terms import POSITION_NAMES, Handedness, View

SHORT = TempoSpec(pre_s=0.6, hold_s=0.2, relax_s=0.4, post_s=0.0, waggle=0.0)


def motion_of(hand: Handedness = "right") -> Motion:
    return simulate(GolferSpec(tempo=SHORT, handedness=hand))


@pytest.fixture(scope="module")
def motion() -> Motion:
    return motion_of()


@pytest.fixture(scope="module")
def space(motion: Motion) -> SpaceTrack:
    return space_track(motion)


def as_camera(spec: CameraSpec) -> Camera:
    return Camera(spec.position, spec.axes, spec.focal_px, spec.principal_px)


def known(spec: CameraSpec, **sd: float) -> Any:
    return SimpleNamespace(camera=as_camera(spec), camera_sd=sd)


def filmed(motion: Motion, camera: CameraSpec, view: View) -> Swing:
    times = motion.position_times
    found = tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)
    track = truth_track(motion, camera, 60.0).between(times["address"] - 0.5, times["finish"] + 0.3)
    return Swing(None, track, view, 1.0, motion.spec.handedness, 1.0, Positions(found))


def compared(student: Swing, reference: Swing) -> Comparison:
    return score(student, reference, TimeMap(np.array([0.0, 9.0]), np.array([0.0, 9.0])))


def cameras(motion: Motion, view: str) -> tuple[CameraSpec, CameraSpec]:
    usual = CameraSpec.for_motion(motion, view)
    return replace(usual, yaw_deg=4.0, height_m=usual.height_m + 0.1, distance_m=5.0), replace(usual, yaw_deg=-3.0)


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_known_cameras_explain_all_that_one_movement_shows(motion: Motion, space: SpaceTrack, view: View) -> None:
    """One movement, two cameras: what the score measured is what the cameras show, cell by cell."""
    one, other = cameras(motion, view)
    comparison = compared(filmed(motion, one, view), filmed(motion, other, view))
    parts = camera_parts(comparison, space, student_fit=known(one), reference_fit=known(other))
    rows = [row for row in comparison.differences if row.words != "not scored"]
    assert [(part.phase, part.part) for part in parts] == [(row.phase, row.part) for row in rows]
    assert max(math.hypot(*row.offset) for row in rows) > 0.05
    for row, part in zip(rows, parts):
        assert np.hypot(row.offset[0] - part.offset[0], row.offset[1] - part.offset[1]) < 0.01
        assert 0.0 <= part.could_explain <= row.value + 1e-12
        if row.value > 0:
            assert part.share > 0.9


def test_a_left_handers_cameras_are_seen_in_the_mirror() -> None:
    """The same pair for a left-hander gives the same offsets, since all is scored in the right-hander's picture."""
    offsets = []
    for hand in ("right", "left"):
        motion = motion_of(hand)  # type: ignore[arg-type]
        usual = CameraSpec.for_motion(motion, "dtl")
        # Seen in the mirror the camera walks round the other way.
        one = replace(usual, yaw_deg=4.0 if hand == "right" else -4.0, height_m=usual.height_m + 0.1)
        comparison = compared(filmed(motion, one, "dtl"), filmed(motion, usual, "dtl"))
        parts = camera_parts(
            comparison, space_track(motion_of("right")), student_fit=known(one), reference_fit=known(usual)
        )
        offsets.append(np.array([part.offset for part in parts]))
    assert np.max(np.abs(offsets[0])) > 0.03
    assert np.allclose(offsets[0], offsets[1], atol=2e-3)


def test_cameras_that_stand_alike_explain_only_their_uncertainty(motion: Motion, space: SpaceTrack) -> None:
    one, _ = cameras(motion, "dtl")
    swing = filmed(motion, one, "dtl")
    # The student's hands are moved in the picture through the backswing: a change that no camera made.
    points = swing.pose.points.copy()
    times = swing.positions.times()
    inside = (swing.pose.time_s > times["shaft_level_back"] - 0.05) & (swing.pose.time_s < times["top"] + 0.05)
    points[inside, 15:23] += 30.0
    student = replace(swing, pose=replace(swing.pose, points=points))
    comparison = compared(student, swing)
    row = next(row for row in found(comparison) if (row.phase, row.part) == ("backswing", "hands"))

    def bound(**sd: float) -> CameraPart:
        parts = camera_parts(comparison, space, student_fit=known(one, **sd), reference_fit=known(one, **sd))
        return next(part for part in parts if (part.phase, part.part) == ("backswing", "hands"))

    assert bound().could_explain == pytest.approx(0.0, abs=1e-9)
    unsure = bound(yaw_deg=1.0, height_m=0.02)
    assert 0.005 < unsure.could_explain < 0.1 < row.value
    assert unsure.share == pytest.approx(unsure.could_explain / row.value)
    assert bound(yaw_deg=3.0, height_m=0.06).could_explain > 1.5 * unsure.could_explain


def test_the_bound_by_hand() -> None:
    """Draws along x of mean 0.05 and SD 0.01, no other movement: 0.05 + 1.645·0.01, and never beyond the whole."""
    drawn = np.array([[0.04, 0.3], [0.05, -0.3], [0.06, 0.0]])
    row = PhaseDifference("backswing", "hands", 0.2, (0.1, 0.3), (0.21, 0.0), "large", 50.0, (30.0, 70.0), 0.1)
    alone = ExplainSettings(movement_share=0.0)
    assert could_explain(row, drawn, alone) == pytest.approx(0.05 + 1.6449 * 0.01, abs=1e-5)
    assert could_explain(replace(row, value=0.06), drawn, alone) == pytest.approx(0.06)
    assert could_explain(replace(row, offset=(-0.21, 0.0)), drawn, alone) == 0.0
    other = ExplainSettings(movement_share=0.25)
    assert could_explain(row, drawn, other) == pytest.approx(0.05 + 1.6449 * math.hypot(0.01, 0.0125), abs=1e-5)


@pytest.mark.parametrize("lost", ["student", "reference", "no camera"])
def test_without_a_camera_nothing_can_be_ruled_out(motion: Motion, space: SpaceTrack, lost: str) -> None:
    one, other = cameras(motion, "dtl")
    comparison = compared(filmed(motion, one, "dtl"), filmed(motion, other, "dtl"))
    mine: Any = None if lost == "student" else known(one)
    theirs: Any = {"reference": None, "no camera": SimpleNamespace(camera=None)}.get(lost, known(other))
    parts = camera_parts(comparison, space, student_fit=mine, reference_fit=theirs)
    rows = [row for row in comparison.differences if row.words != "not scored"]
    assert len(parts) == len(rows) > 20
    for row, part in zip(rows, parts):
        assert math.isnan(part.sd)
        assert part.could_explain == row.value
        assert part.share == (1.0 if row.value > 0 else 0.0)
    noted = beyond_camera(replace(comparison, camera_parts=parts))
    assert (noted.first, noted.largest) == (comparison.first, comparison.largest)
    assert not found(comparison) or "nothing can be ruled out" in noted.notes[-1]


def test_a_reference_seen_by_the_students_camera_has_no_second_camera(motion: Motion, space: SpaceTrack) -> None:
    comparison = factory.make_comparison()
    fit = ReferenceFit("space", comparison.reference, camera=as_camera(CameraSpec()))
    assert camera_parts(replace(comparison, fit=fit), space, student_fit=fit, reference_fit=fit) == ()


# --- beyond the cameras -------------------------------------------------------------------------------------------


def table(rows: dict[tuple[str, str], tuple[float, tuple[float, float], float]]) -> Comparison:
    """A comparison whose cells are quiet but for ``rows``: (phase, part) → difference, cameras' offset, their SD."""
    settings = ScoreSettings()
    quiet = factory.make_comparison(same=True)
    differences, parts = [], []
    for row in quiet.differences:
        cell = (row.phase, row.part)
        length, offset, sd = rows.get(cell, (0.0, (0.0, 0.0), 0.01))
        variance = 2 * settings.prior(row.part, row.phase) ** 2
        norm = math.sqrt(length**2 + 2 * variance) if length else math.sqrt(variance)
        word = "large" if length else "no difference detected"
        differences.append(replace(row, value=length, offset=(norm, 0.0), words=word))
        share = min(1.0, max(0.0, offset[0] + 1.645 * sd) / length) if length else 0.0
        parts.append(CameraPart(row.phase, row.part, offset, sd, share * length, share))
    named = [row for row in differences if row.words == "large"]
    return replace(
        quiet,
        differences=tuple(differences),
        camera_parts=tuple(parts),
        first=named[0],
        largest=max(named, key=lambda row: row.value / settings.prior(row.part, row.phase)),
    )


HANDS, SPINE = ("takeaway", "hands"), ("backswing", "spine")


def test_first_and_largest_are_chosen_among_what_stays() -> None:
    comparison = table({HANDS: (0.30, (0.30, 0.0), 0.03), SPINE: (0.24, (0.02, 0.0), 0.01)})
    assert [(row.phase, row.part) for row in beyond(comparison)] == [SPINE]
    chosen = beyond_camera(comparison)
    assert (comparison.first.phase, comparison.first.part) == HANDS  # type: ignore[union-attr]
    for row in (chosen.first, chosen.largest):
        assert row is not None
        assert (row.phase, row.part) == SPINE
    assert chosen.differences == comparison.differences
    assert chosen.notes[-1].startswith("1 of 2 differences stays when the cameras are taken into account")
    assert beyond_camera(chosen).notes == chosen.notes


def test_what_the_cameras_show_is_taken_off() -> None:
    """0.24 T with 0.16 of it the cameras': 0.08 T are left, within the noise, though the cameras do not explain all."""
    mostly = table({SPINE: (0.24, (0.16, 0.0), 0.02)})
    assert next(part.share for part in mostly.camera_parts if part.share > 0) < 0.9
    assert beyond(mostly) == ()
    assert len(beyond(table({SPINE: (0.24, (-0.16, 0.0), 0.02)}))) == 1


def test_where_nothing_stays_the_first_is_kept_and_the_note_says_what_it_is_worth() -> None:
    comparison = table({HANDS: (0.30, (0.30, 0.0), 0.03)})
    assert beyond(comparison) == ()
    kept = beyond_camera(comparison)
    assert kept.first == comparison.first
    assert kept.notes[-1] == "The cameras could explain all of it: film again from the same place before believing it."


def test_cameras_known_to_agree_leave_the_table_as_it_is() -> None:
    comparison = table({HANDS: (0.30, (0.0, 0.0), 0.0), SPINE: (0.24, (0.0, 0.0), 0.0)})
    chosen = beyond_camera(comparison)
    assert (chosen.first, chosen.largest) == (comparison.first, comparison.largest)
    assert chosen.notes[-1] == "Both differences stay when the cameras are taken into account."


def test_unsure_cameras_take_a_difference_down() -> None:
    """0.24 T of the spine is 9.6 SDs of a swing; with cameras unsure by 0.12 T it no longer stands out."""
    assert len(beyond(table({SPINE: (0.24, (0.0, 0.0), 0.01)}))) == 1
    assert beyond(table({SPINE: (0.24, (0.0, 0.0), 0.12)})) == ()


def test_a_template_of_few_swings_is_less_sure() -> None:
    """With 2 degrees of freedom a difference must be many times its noise; with 20 it stays."""
    comparison = table({SPINE: (0.24, (0.0, 0.0), 0.01)})
    for df, stays in ((20.0, 1), (2.0, 0)):
        band = Band(3, {(row.phase, row.part): Spread(0.02, df) for row in comparison.differences})
        model = Model("few", "template", {"dtl": comparison.reference}, {"dtl": band})
        assert len(beyond(replace(comparison, reference_model=model))) == stays


def test_without_parts_nothing_changes() -> None:
    comparison = factory.make_comparison()
    assert beyond_camera(comparison) is comparison
    assert beyond(comparison) == ()
