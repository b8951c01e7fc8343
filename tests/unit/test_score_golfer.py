"""The score on the synthetic golfer: quiet where nothing differs, and the planted fault named where one is.

A small version of ``studies/score_false_alarms.py`` and ``studies/score_planted_faults.py``; the stages are joined as
for a clip, from the pose track on.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from overlay.golfer import BodySpec, GolferSpec, NoiseSpec
from overlay.settings.score import ScoreSettings


@pytest.fixture(scope="module")
def bed(repository: Path) -> ModuleType:
    folder = str(repository / "studies")
    sys.path.insert(0, folder)
    try:
        import score_bed

        return score_bed
    finally:
        sys.path.remove(folder)


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_same_swing_twice_says_no_difference(bed: ModuleType, view: str) -> None:
    scene = bed.recorded(GolferSpec(), view)
    for seed in range(3):
        comparison = bed.compare(scene, scene, seed, noise=NoiseSpec())
        assert bed.detected(comparison) == []
        assert comparison.first is None
        assert comparison.largest is None


@pytest.mark.parametrize(
    ("fault", "view", "expected"),
    [
        ("sway", "fo", {("backswing", "pelvis")}),
        ("reverse_spine", "fo", {("backswing", "spine")}),
        ("flat_shoulder_turn", "fo", {("backswing", "shoulders")}),
        # The pelvis is as far forward in the last part before impact as just after it.
        ("posture_loss", "dtl", {("delivery", "pelvis"), ("release", "pelvis")}),
    ],
)
def test_a_planted_fault_is_named(bed: ModuleType, fault: str, view: str, expected: set[tuple[str, str]]) -> None:
    """What a coach expects of each fault, what the noise-free joints say, and what is named from noisy ones agree."""
    settings = ScoreSettings()
    student, reference = bed.recorded(GolferSpec(faults={fault: 1.0}), view), bed.recorded(GolferSpec(), view)
    truth = bed.truth_multiples(bed.truth_cells(student, reference, settings), settings)
    true_largest = max(truth, key=lambda cell: truth[cell])
    assert true_largest in expected
    largest = bed.compare(student, reference, 1, noise=NoiseSpec()).largest
    assert largest is not None
    assert (largest.phase, largest.part) in expected


def test_an_over_the_top_swing_shows_in_the_hands_with_five_swings_each(bed: ModuleType) -> None:
    """11 cm at one moment is less than one swing against one can tell from a player's own spread; five can."""
    from overlay.align import align
    from overlay.score import score

    swings = []
    for faults, first in (({"over_the_top": 1.0}, 0), ({}, 10)):
        scene = bed.recorded(GolferSpec(faults=faults), "dtl")
        tracks = [bed.clean(bed.track_of(scene, noise=NoiseSpec(), seed=first + i)) for i in range(5)]
        swings.append([bed.true_swing(scene, track) for track in tracks])
    (one, *mine), (other, *theirs) = swings
    comparison = score(one, other, align(one, other), student_repeats=mine, reference_repeats=theirs)
    assert comparison.largest is not None
    assert (comparison.largest.phase, comparison.largest.part) == ("downswing", "hands")
    assert comparison.sharpness.startswith("5 swings against 5")


def test_another_body_and_camera_bring_little(bed: ModuleType) -> None:
    """Longer arms and legs, another height: true joints differ by less than 0.1 torso lengths everywhere."""
    settings = ScoreSettings()
    reference = bed.recorded(GolferSpec(), "dtl")
    for body in (BodySpec(arm=1.1, forearm=1.1), BodySpec(thigh=1.08, shank=1.08), BodySpec(stature_m=1.62)):
        other = bed.recorded(GolferSpec(body=body), "dtl")
        sizes = [float(np.hypot(*cell.offset)) for cell in bed.truth_cells(other, reference, settings)]
        assert np.nanmax(sizes) < 0.10
        assert np.nanmedian(sizes) < 0.02


@pytest.mark.parametrize(("view", "tolerance"), [("dtl", 0.06), ("fo", 0.08)])
def test_centimetres_are_those_of_the_golfer(bed: ModuleType, view: str, tolerance: float) -> None:
    """The torso as seen, from stature, against the projected truth (px per metre at the pelvis)."""
    from overlay.score.parts import figure_of, torso_share_of_stature

    settings = ScoreSettings()
    scene = bed.recorded(GolferSpec(), view)
    figure = figure_of(bed.true_swing(scene, bed.track_of(scene, noise=None)), settings)
    cm = 178.0 * torso_share_of_stature(figure, view, settings)
    at = np.array([scene.motion.position_times["address"]])
    pelvis = scene.motion.state(at)["pelvis"][0]
    side = np.array([0.0, 0.5, 0.0]) if view == "dtl" else np.array([0.5, 0.0, 0.0])
    ends = scene.camera.project(np.stack([pelvis - side, pelvis + side]))
    assert cm == pytest.approx(100.0 * figure.torso_px / np.hypot(*(ends[1] - ends[0])), rel=tolerance)
