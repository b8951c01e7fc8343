"""What is said of cameras, models and fits, word by word."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import comparison_factory as factory
import pytest

from overlay.data import Band, Camera, CameraPart, Comparison, Model, Provenance, ReferenceFit, Spread
from overlay.explain import (
    camera_lines,
    camera_sentence,
    camera_words,
    cameras_note,
    factors_sentence,
    first_caution,
    fit_sentences,
    in_usual_spread,
    model_kind,
    model_line,
    model_notes,
    model_sentences,
    poor_fit,
    usual_spread,
)
from overlay.explain.beyond import found
from overlay.explain.cameras import moved
from overlay.golfer import CameraSpec, GolferSpec, TempoSpec, simulate
from overlay.golfer.space import space_track

NAN = float("nan")


def part(
    share: float, whole: float = 0.21, sd: float = 0.02, cell: tuple[str, str] = ("backswing", "hands")
) -> CameraPart:
    return CameraPart(*cell, (share * whole, 0.0), sd, share * whole, share)


def test_a_sentence_for_each_share() -> None:
    assert camera_sentence(part(0.06 / 0.21)) == (
        "Of the 0.21 torso lengths that the hands differ in the backswing, the cameras could explain up to 0.06."
    )
    assert camera_sentence(part(1.0, cell=("release", "lead_arm"))) == (
        "The cameras could explain all of the 0.21 torso lengths that the lead arm differs in the release: film again "
        "from the same place before believing it."
    )
    assert camera_sentence(part(1.0), advice=False).endswith("that the hands differ in the backswing.")
    row = factory.difference("backswing", "hands", "large", 0.21, 40.0)
    assert "explain nothing" in camera_sentence(part(0.0), row)
    assert camera_sentence(part(0.0), row).startswith("Of the 0.21 torso lengths")
    assert "could not be estimated" in camera_sentence(part(1.0, sd=NAN), row)


def with_parts(comparison: Comparison, shares: Any, sd: float = 0.02) -> Comparison:
    """Every detected difference gets a share, in turn."""
    parts = []
    for i, row in enumerate(found(comparison)):
        share = shares[i % len(shares)]
        offset = tuple(share * x for x in row.offset)
        parts.append(CameraPart(row.phase, row.part, offset, sd, share * row.value, share))  # type: ignore[arg-type]
    return replace(comparison, camera_parts=tuple(parts))


def test_the_note_counts_what_stays() -> None:
    comparison = factory.make_comparison()
    # Only the largest can stay: the factory's small ones lie within the noise of a part.
    large = replace(comparison, differences=tuple(row for row in comparison.differences if row.words == "large"))
    assert cameras_note(with_parts(large, (0.0,))) == (
        f"All {len(found(large))} differences stay when the cameras are taken into account."
    )
    half = cameras_note(with_parts(large, (0.0, 1.0)))
    stay = (len(found(large)) + 1) // 2
    assert half.startswith(f"{stay} of {len(found(large))} differences stay when")
    assert "chosen among those that stay" in half
    assert cameras_note(with_parts(large, (1.0,))).startswith("The cameras could explain all of it: film again")
    assert "nothing can be ruled out" in cameras_note(with_parts(large, (1.0,), NAN))
    assert cameras_note(comparison) == ""
    assert cameras_note(replace(with_parts(large, (0.0,)), differences=())) == ""


def test_one_difference_is_told_in_the_singular() -> None:
    comparison = factory.make_comparison()
    one = next(row for row in comparison.differences if row.words == "large")
    alone = replace(comparison, differences=(one,), first=one, largest=one)
    assert cameras_note(with_parts(alone, (0.0,))) == ("The difference stays when the cameras are taken into account.")
    doubtful = with_parts(alone, (0.9,), 0.08)
    assert cameras_note(doubtful).startswith("With the cameras taken into account the difference does not stand out")
    assert first_caution(doubtful).startswith("Of the 0.24 torso lengths that the")
    assert first_caution(with_parts(alone, (0.0,))) == ""
    assert first_caution(replace(alone, first=None)) == ""


def test_a_model_that_does_not_come_near_the_student_is_told_beside_the_answer() -> None:
    comparison = factory.make_comparison()
    far, near = (ReferenceFit("space", comparison.reference, residual=value) for value in (0.17, 0.08))
    assert first_caution(replace(comparison, fit=far)).startswith("The model does not come near the student's address")
    assert poor_fit(replace(comparison, fit=near)) == ""
    assert poor_fit(replace(comparison, fit=replace(far, kind="picture"))) == ""
    assert poor_fit(comparison) == ""


def test_lines_name_the_first_the_clearest_and_the_most_explained() -> None:
    comparison = with_parts(factory.make_comparison(), (0.3, 0.1, 0.2))
    lines = camera_lines(comparison)
    assert lines[0] == cameras_note(comparison)
    assert 2 <= len(lines) <= 4
    assert len(set(lines)) == len(lines)
    assert camera_lines(with_parts(factory.make_comparison(), (1.0,), NAN)) == (
        cameras_note(with_parts(factory.make_comparison(), (1.0,), NAN)),
    )
    assert camera_lines(factory.make_comparison()) == ()


# --- the model ----------------------------------------------------------------------------------------------------


def template(n: int = 10, sd: float = 0.05, df: float = 9.0) -> Model:
    comparison = factory.make_comparison()
    band = Band(n, {(row.phase, row.part): Spread(sd, df) for row in comparison.differences}, "one player")
    return Model(
        "spring", "template", {"dtl": factory.make_swing()}, {"dtl": band}, club_kind="mid iron", player="Mara",
        provenance=Provenance(
            "2026-05-02T10:11:12", "overlay 0.1.0", "pose model full", ("one.mp4", "two.mp4"),
            ("three.mp4: the backswing is 0.21 torso lengths from the others",),
            "Illustrative template, not a norm", ("Written for the Larkspur Range",),
        ),
    )  # fmt: skip


def test_the_models_line_and_how_it_was_made() -> None:
    model = template()
    assert model_kind(model, "dtl") == "a template of 10 swings of one player"
    assert model_kind(model, "fo") == "a template of several swings"
    assert model_line(model, "dtl") == (
        "spring: a template of 10 swings of one player, mid iron, player: Mara. Illustrative template, not a norm."
    )
    assert model_sentences(model) == (
        "Made by overlay 0.1.0 on 2026-05-02.",
        "Joints from pose model full.",
        "Made from: one.mp4, two.mp4.",
        "Left out: three.mp4: the backswing is 0.21 torso lengths from the others.",
    )
    assert model_notes(model) == ("Written for the Larkspur Range.",)
    bare = Model("mine", "swing", {"dtl": factory.make_swing()})
    assert model_line(bare, "dtl") == "mine: one kept swing."
    assert model_sentences(bare) == ()


def test_a_model_in_space_says_so() -> None:
    short = TempoSpec(pre_s=0.6, hold_s=0.2, relax_s=0.4, post_s=0.0)
    model = Model("mid_iron", "space", club_kind="mid iron", space=space_track(simulate(GolferSpec(tempo=short)), 30.0))
    assert model_line(model, "fo") == "mid_iron: a swing in space, posed on the student's body."


def test_the_usual_spread_against_the_f_table() -> None:
    """F(0.95; 2, 9) = 4.2565 (published tables), so 95 % of swings lie within 0.05·√(2·4.2565) = 0.1459."""
    comparison = replace(factory.make_comparison(), reference_model=template())
    row = next(row for row in comparison.differences if row.words == "large")
    assert usual_spread(comparison, row) == pytest.approx(0.1459, abs=1e-4)
    assert not in_usual_spread(comparison, row)
    near = next(row for row in comparison.differences if row.words == "moderate")
    assert near.value == 0.12
    assert in_usual_spread(comparison, near)
    assert not in_usual_spread(comparison, replace(near, words="no difference detected"))
    assert math.isnan(usual_spread(factory.make_comparison(), row))
    said = first_caution(replace(comparison, first=near))
    assert said == "The template's own swings differ among themselves by as much."


# --- the fit ------------------------------------------------------------------------------------------------------


def test_factors_are_told_largest_first() -> None:
    assert factors_sentence({"trunk": 1.0, "upper_arm": 1.06, "shank": 0.93, "hip_width": 0.96, "shoulders": 1.02}) == (
        "The reference was brought to the student's build: lower legs 7 % shorter, upper arms 6 % longer, "
        "hips 4 % narrower, shoulders 2 % wider; the rest stayed."
    )
    assert "no length was changed" in factors_sentence({"trunk": 1.004})
    assert factors_sentence({}) == ""


@pytest.mark.parametrize(("view", "to"), [("dtl", "the target line"), ("fo", "square to it")])
def test_where_a_camera_stands(view: Any, to: str) -> None:
    spec = CameraSpec(view=view, height_m=0.8, distance_m=4.0, hand_line_m=0.0)
    camera = Camera(spec.position, spec.axes, spec.focal_px, spec.principal_px)
    far = 4.0 if view == "dtl" else 4.1
    assert camera_words(camera, view) == f"0.80 m high, {far:.1f} m away, turned 0° from {to}"
    turned = moved(camera, yaw_deg=-6.0)
    assert camera_words(turned, view, {"height_m": 0.05, "yaw_deg": 1.0, "distance_m": 0.25}) == (
        f"0.80 m ± 0.10 m high, {far:.1f} m ± 0.5 m away, turned 6° ± 2° from {to}"
    )


def test_a_fit_in_sentences() -> None:
    swing = factory.make_swing()
    spec = CameraSpec()
    camera = Camera(spec.position, spec.axes, spec.focal_px, spec.principal_px)
    space = ReferenceFit("space", swing, {"thigh": 1.05}, {}, 0.043, camera, {}, ("The feet are not all seen.",))
    lines = fit_sentences(space, "dtl")
    assert lines[0].startswith("The reference is a swing in space")
    assert "thighs 5 % longer" in lines[1]
    assert lines[2].startswith("The student's camera as estimated from his clip: 0.80 m high")
    assert "0.04 torso lengths apart" in lines[3]
    assert lines[4] == "The feet are not all seen."
    picture = ReferenceFit("picture", swing)
    assert fit_sentences(picture, "dtl") == ()
