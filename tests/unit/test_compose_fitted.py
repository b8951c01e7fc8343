"""A fitted reference in the pictures: in the student's shoes, warped to his build, from kept cut-outs; its label."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import comparison_factory as factory
import numpy as np
import pytest

from overlay.arrays import FloatArray, Image
from overlay.compose import ComposeOptions, Source, render_sheet
from overlay.compose.framing import frame_players, transformed
from overlay.compose.player import Player
from overlay.compose.sources import KeptFrames, Pictures
from overlay.compose.stills import comparison_stills
from overlay.compose.video import Canvas
from overlay.compose.warping import Warp, bones_of, shifts
from overlay.compose.wording import reference_label, reference_name
from overlay.data import (
    Band,
    CameraMotion,
    Comparison,
    KeptPictures,
    Model,
    Position,
    Positions,
    Provenance,
    ReferenceFit,
    Spread,
    Swing,
)
from overlay.draw import REFERENCE
from overlay.draw.figure import figure_mask, torso_px
from overlay.golfer import CameraSpec, GolferSpec, TempoSpec, simulate, truth_track
from overlay.landmarks import INDEX
from overlay.models import keep_pictures
from overlay.segments import rescaled
from overlay.settings.compose import COMPOSE
from overlay.terms import View

SMALL = replace(
    COMPOSE, least_pane_px=320, most_pane_px=320, most_small_pane_px=320, single_least_px=320, single_pane_px=320
)
BARE = ComposeOptions(settings=SMALL, guides=frozenset(), skeleton=False, hand_path=False, club=False)
"""The ghost and nothing else."""


def in_his_shoes(student: Swing, lean: float = 0.0) -> Comparison:
    """A reference that lies in the student's own picture, on a clock of its own."""
    reference = factory.make_swing(
        start_s=0.7, length_s=1.2, torso=60.0, feet=(150.0, 260.0), size=student.pose.image_size, lean=lean
    )
    comparison = factory.make_comparison(student, reference)
    return replace(comparison, fit=ReferenceFit("space", reference), reference_model=model_of(reference))


def model_of(swing: Swing, **changes: Any) -> Model:
    label = Provenance(label="Illustrative template, not a norm.")
    return replace(Model("mid_iron", "template", swings={"dtl": swing}, provenance=label), **changes)


def ghost_pane(canvas: Canvas) -> Image:
    assert canvas.places.ghost is not None
    left, top, width, height = canvas.places.ghost
    return canvas.image[top : top + height, left : left + width].copy()


def centre_of(mask: Image) -> FloatArray:
    rows, columns = np.nonzero(mask > 127)
    return np.array([columns.mean(), rows.mean()])


def test_in_his_shoes_both_have_one_placement() -> None:
    student = factory.make_swing()
    # Of another stance and a little larger: it is shown where it lies, and not brought onto his feet.
    reference = factory.make_swing(start_s=0.7, torso=64.0, feet=(158.0, 258.0))
    fit = ReferenceFit("space", reference)
    framing = frame_players(student, reference, with_pictures=(True, False), least_px=320, most_px=320, fit=fit)
    assert framing.places[0] == framing.places[1]
    assert framing.ghost is None
    apart = frame_players(student, reference, with_pictures=(True, False), least_px=320, most_px=320)
    assert apart.places[0] != apart.places[1]


def test_the_ghost_goes_with_a_hand_held_camera() -> None:
    still = factory.make_swing()
    times = still.pose.time_s
    # Every frame shows the scene 24 px further right and 10 px further down than the address frame does.
    matrices = np.tile(np.array([[1.0, 0.0, -24.0], [0.0, 1.0, -10.0]]), (len(times), 1, 1))
    held = replace(
        still, pose=replace(still.pose, points=np.add(still.pose.points, (24.0, 10.0))),
        camera_motion=CameraMotion(times, matrices),
    )  # fmt: skip
    places = []
    for student in (still, held):
        comparison = in_his_shoes(student)
        # The fit knows the address frame: what is held lies elsewhere in the picture by the camera's movement alone.
        canvas = Canvas(comparison, Source(), Source(), BARE)
        moment = canvas.players[1].moment(1.6)
        shape = (canvas.framing.pane_size[1], canvas.framing.pane_size[0])
        laid = canvas._ghost.at(1.0, 1.6, np.zeros((*shape, 3), np.uint8), moment)
        pane = transformed(np.array([[0.0, 0.0], [24.0, 10.0]]), canvas.framing.places[0].matrix)
        places.append((laid.moment.points - moment.points, pane[1] - pane[0]))
    known = np.isfinite(places[0][0][:, 0])
    assert np.allclose(places[0][0][known], 0.0)
    assert np.allclose(places[1][0][known], places[1][1])


def test_the_drawn_ghost_stands_where_the_student_stands() -> None:
    comparison = in_his_shoes(factory.make_swing())
    canvas = Canvas(comparison, Source(), Source(), BARE)
    student, reference = (player.moment(t) for player, t in zip(canvas.players, (0.4, 1.1)))
    feet = [moment.points[[INDEX["left_ankle"], INDEX["right_ankle"]]].mean(axis=0) for moment in (student, reference)]
    assert np.allclose(feet[0], feet[1], atol=1.0)
    before = canvas.draw((0.4, 1.1), (None, None)).copy()
    alpha = canvas.players[1].drawn_ghost((320, canvas.framing.pane_size[0]), reference).alpha
    assert np.allclose(centre_of(alpha)[0], student.points[INDEX["left_hip"]][0], atol=40)
    # Blue over orange: more blue in the ghost's pane than in the student's.
    left, top, width, height = canvas.places.student or (0, 0, 0, 0)
    own = before[top : top + height, left : left + width].astype(int)
    ghost = ghost_pane(canvas).astype(int)
    inside = alpha > 127
    assert (ghost[inside][:, 2] - ghost[inside][:, 0]).mean() > (own[inside][:, 2] - own[inside][:, 0]).mean() + 60


def line(a: tuple[float, float], b: tuple[float, float]) -> FloatArray:
    return np.array([[a, b]], np.float64)


def test_shifts_on_a_segment_are_its_own_and_far_from_all_their_mean() -> None:
    target, source = line((0, 0), (100, 0)), line((0, 0), (120, 10))
    at = np.array([[0.0, 0.0], [50.0, 0.0], [100.0, 0.0], [150.0, 0.0], [50.0, 30.0]])
    # One segment: an even change between its ends, whatever the distance.
    wanted = [[0, 0], [10, 5], [20, 10], [20, 10], [10, 5]]
    assert np.allclose(shifts(at, target, source, 10.0), wanted, atol=1e-4)
    two = np.concatenate([target, line((0, 300), (100, 300))])
    moved = np.concatenate([np.add(target, (6.0, 0.0)), line((0, 300), (100, 300))])
    # Inverse square of the squared distance: (10² + d²)⁻². On the first: 1e-4 against (100 + 300²)⁻² — its own.
    assert np.allclose(shifts(np.array([[50.0, 0.0]]), two, moved, 10.0), [[6.0, 0.0]], atol=1e-3)
    assert np.allclose(shifts(np.array([[50.0, 150.0]]), two, moved, 10.0), [[3.0, 0.0]], atol=1e-4)
    assert np.allclose(shifts(at, np.full((1, 2, 2), np.nan), source, 10.0), 0.0)


def test_a_warped_cut_out_moves_with_its_joints() -> None:
    swing = factory.make_swing(torso=60.0)
    longer = rescaled(swing, {"thigh": 1.15, "shank": 1.15})
    i = 30
    filmed, fitted = swing.pose.points[i], longer.pose.points[i]
    size = swing.pose.image_size
    alpha = figure_mask((size[1], size[0]), filmed)
    warp = Warp(filmed, fitted, 60.0, alpha)
    moved = warp.bring(alpha)
    # Knees, hips and shoulders went up, and the figure drawn on the fitted joints covers what was warped to them.
    wanted = figure_mask((size[1], size[0]), fitted) > 127
    overlap = np.count_nonzero((moved > 127) & wanted) / np.count_nonzero((moved > 127) | wanted)
    as_filmed = np.count_nonzero((alpha > 127) & wanted) / np.count_nonzero((alpha > 127) | wanted)
    assert overlap > 0.85
    assert overlap > as_filmed + 0.15
    picture = np.dstack([alpha, alpha, alpha])
    assert np.array_equal(warp.bring(picture)[..., 0], moved)


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_a_warp_does_not_wobble(view: View) -> None:
    # From frame to frame the cloth of the chest moves no further against the picture than the hands' own shift
    # changes, though the arms pass before it; what the arms never come near stays as steady as its joints.
    motion = simulate(GolferSpec(tempo=TempoSpec(pre_s=0.5, relax_s=0.4, post_s=0.0)))
    track = truth_track(motion, CameraSpec.for_motion(motion, view), 60.0)
    times = motion.position_times
    track = track.between(times["address"], times["finish"])
    found = tuple(Position(name, time_s, 1.0) for name, time_s in times.items())
    swing = Swing(None, track, view, 1.0, "right", 1.0, Positions(found))
    longer = rescaled(swing, {"upper_arm": 1.1, "forearm": 1.1, "thigh": 0.93, "shank": 1.05, "shoulder_width": 0.93})
    torso = float(np.nanmedian([torso_px(points) for points in track.points]))
    chest, shin, hands = [], [], []
    for filmed, fitted in zip(swing.pose.points, longer.pose.points):
        trunk = fitted[[INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "hip")]]
        leg = fitted[[INDEX["right_knee"], INDEX["right_ankle"]]].mean(axis=0)
        at = np.stack([trunk.mean(axis=0), leg])
        both = shifts(at, bones_of(fitted), bones_of(filmed), COMPOSE.warp_reach * torso) / torso
        chest.append(both[0])
        shin.append(both[1])
        hands.append((filmed - fitted)[INDEX["left_wrist"]] / torso)
    steps = [float(np.abs(np.diff(np.array(way), axis=0)).max()) for way in (chest, shin, hands)]
    assert steps[0] < 1.3 * steps[2]
    assert steps[1] < 0.006


def test_an_empty_cut_out_warps_to_nothing() -> None:
    points = factory.stick_points(0.0, 60.0, (150.0, 260.0))
    empty = np.zeros((320, 240), np.uint8)
    assert not Warp(points, points + 5.0, 60.0, empty).bring(empty).any()
    nowhere = np.full_like(points, np.nan)
    full = np.full((320, 240), 255, np.uint8)
    assert not Warp(points, nowhere, 60.0, full).bring(full).any()


def test_the_ghost_of_a_fitted_clip_is_warped_and_the_reference_pane_is_not() -> None:
    student = factory.make_swing()
    reference = factory.make_swing(start_s=0.7, length_s=1.2, torso=80.0, feet=(160.0, 330.0), size=(300, 400))
    plain = factory.make_comparison(student, reference)
    fitted = replace(
        plain, fit=ReferenceFit("picture", rescaled(reference, {"thigh": 0.85, "shank": 0.85, "upper_arm": 1.2}))
    )
    panes, references = [], []
    for comparison in (plain, fitted):
        framing = frame_players(
            student, reference, with_pictures=(False, False), least_px=320, most_px=320, fit=fitted.fit
        )
        canvas = Canvas(comparison, Source(), Source(), BARE, framing=framing)
        canvas.draw((1.2, 1.3), (None, None))
        panes.append(ghost_pane(canvas))
        left, top, width, height = canvas.places.reference or (0, 0, 0, 0)
        references.append(canvas.image[top : top + height, left : left + width].copy())
    assert np.array_equal(references[0], references[1])
    assert np.mean(panes[0] != panes[1]) > 0.02


def kept_of(swing: Swing, times_s: FloatArray) -> KeptPictures:
    """Cut-outs of the stick player in green."""
    size = swing.pose.image_size

    def cut() -> Any:
        for time_s in times_s:
            i = int(np.argmin(np.abs(swing.pose.time_s - time_s)))
            mask = figure_mask((size[1], size[0]), swing.pose.points[i])
            picture = np.zeros((*mask.shape, 3), np.uint8)
            picture[...] = (20, 200, 40)
            yield float(time_s), picture, mask

    return keep_pictures(cut())


def greenish(pane: Image) -> float:
    """Share of pixels that are green and nothing else."""
    red, green, blue = (pane[..., k].astype(int) for k in range(3))
    return float(np.mean((green > red + 60) & (green > blue + 60)))


@pytest.fixture(scope="module")
def kept_swing() -> Swing:
    return factory.make_swing(start_s=0.7, length_s=1.2, torso=80.0, feet=(160.0, 330.0), size=(300, 400))


def test_kept_cut_outs_stand_on_plain_ground_and_make_the_ghost(kept_swing: Swing) -> None:
    comparison = factory.make_comparison(factory.make_swing(), kept_swing)
    source = Source(kept=kept_of(kept_swing, kept_swing.pose.time_s[::2]))
    canvas = Canvas(comparison, Source(), source, BARE)
    with Pictures(source, kept_swing) as pictures:
        (shown,) = pictures.nearest(np.array([1.31]))
    assert shown in kept_swing.pose.time_s[::2]
    canvas.draw((1.2, float(shown)), (None, None))
    left, top, width, height = canvas.places.reference or (0, 0, 0, 0)
    pane = canvas.image[top : top + height, left : left + width]
    assert greenish(pane) > 0.05
    assert greenish(pane) < 0.5
    # In the ghost it is tinted: no green is left, and it is not the drawn figure.
    part = canvas.players[1].ghost_of(pane, float(shown), canvas.players[1].moment(float(shown)))
    assert part.figure is None
    assert part.picture is not None
    assert part.alpha.max() == 255


def test_the_cut_out_of_a_ghost_is_warped_with_its_mask(kept_swing: Swing) -> None:
    source = Source(kept=kept_of(kept_swing, kept_swing.pose.time_s))
    comparison = factory.make_comparison(factory.make_swing(), kept_swing)
    fitted = rescaled(kept_swing, {"thigh": 1.2, "shank": 1.2})
    canvas = Canvas(replace(comparison, fit=ReferenceFit("picture", fitted)), Source(), source, BARE)
    player = canvas.players[1]
    moment = player.moment(1.0)
    clean = player.clean(None, moment)
    filmed = player.ghost_of(clean, 1.0, moment)
    laid = canvas._ghost.at(0.9, 1.0, clean, moment)
    assert laid.part.picture is not None
    # Where the fitted shoulders are there is cut-out, in its own colour.
    for name in ("left_shoulder", "right_shoulder", "left_knee", "right_hip"):
        x, y = laid.moment.points[INDEX[name]].astype(int)
        assert laid.part.alpha[y, x] > 200, name
        assert laid.part.picture[y, x, 1] > laid.part.picture[y, x, 0] + 60, name
    assert np.mean(laid.part.alpha != filmed.alpha) > 0.005


def test_positions_alone_are_for_stills(kept_swing: Swing) -> None:
    kept = kept_of(kept_swing, np.array([position.time_s for position in kept_swing.positions.found]))
    assert not KeptFrames(kept, kept_swing).dense
    comparison = factory.make_comparison(factory.make_swing(), kept_swing)
    source = Source(kept=kept)
    canvas = Canvas(comparison, Source(), source, BARE)
    top_s = kept_swing.positions.times()["top"]
    canvas.draw((1.2, top_s), (None, None))
    assert greenish(canvas.image) == 0.0
    stills = comparison_stills(comparison, student=Source(), reference=source, options=BARE, height_px=240)
    top = next(row for row in stills.rows if row.name == "top")
    assert top.reference.image is not None
    assert greenish(top.reference.image) > 0.05
    # A moment that was not kept is drawn, not shown as it was at another.
    player = Player(kept_swing, source, REFERENCE, canvas.framing.places[1], 200.0, BARE, stills=True)
    between = player.moment(top_s - 0.1)
    assert greenish(player.clean(None, between)) == 0.0


def test_the_model_is_named_and_its_label_shown(tmp_path: Any) -> None:
    comparison = in_his_shoes(factory.make_swing())
    assert reference_name(comparison) == "mid iron"
    assert reference_name(comparison, "Mara") == "Mara"
    assert reference_label(comparison) == "Illustrative template, not a norm."
    unlabelled = replace(comparison, reference_model=None)
    assert reference_name(unlabelled) == "Reference"
    assert reference_label(unlabelled) == ""
    heights = []
    for shown in (comparison, unlabelled):
        canvas = Canvas(shown, Source(), Source(), BARE)
        canvas.draw((0.4, 1.1), (None, None))
        left, top, width, height = canvas.places.reference or (0, 0, 0, 0)
        foot = canvas.image[top + height - 24 : top + height, left : left + width]
        heights.append(int(np.count_nonzero(foot > 235)))
        stills = comparison_stills(shown, student=Source(), reference=Source(), options=BARE, height_px=200)
        out = tmp_path / f"{len(heights)}.png"
        render_sheet(shown, out, student=Source(), reference=Source(), options=BARE, stills=stills)
    assert heights[0] > heights[1] + 40  # White letters.
    from PIL import Image as Pictures

    tall = [Pictures.open(tmp_path / f"{k}.png").size[1] for k in (1, 2)]
    assert tall[0] > tall[1]


def test_a_band_lies_about_the_hand_path_and_is_as_wide_as_said() -> None:
    comparison = in_his_shoes(factory.make_swing())
    band = Band(8, {(phase, "hands"): Spread(0.05, 9.0) for phase in ("takeaway", "backswing")})
    assert comparison.reference_model is not None
    banded = replace(comparison, reference_model=replace(comparison.reference_model, bands={"dtl": band}))
    canvas = Canvas(banded, Source(), Source(), replace(BARE, hand_path=True))
    player = canvas.players[1]
    moment = player.moment(1.5)
    assert len(moment.path_band_px) == len(moment.path)
    # Two SDs of 0.05 torso lengths of the pane.
    assert np.allclose(moment.path_band_px, 2 * 0.05 * moment.torso_px)
    without = Canvas(banded, Source(), Source(), replace(BARE, hand_path=True, band=False))
    assert not len(without.players[1].moment(1.5).path_band_px)
    images = [canvas.draw((1.2, 1.5), (None, None)).copy(), without.draw((1.2, 1.5), (None, None)).copy()]
    assert np.mean(images[0] != images[1]) > 0.002


def test_a_drawn_figure_holds_its_club_and_lines_are_drawn_only_over_pictures(kept_swing: Swing) -> None:
    import check_factory as checks

    swing = checks.with_club(kept_swing)
    options = replace(BARE, club=True, club_trail=False)
    framing = frame_players(swing, swing, with_pictures=(False, False), least_px=320, most_px=320)
    drawn, filmed = (
        Player(swing, source, REFERENCE, framing.places[0], 250.0, options)
        for source in (Source(), Source(Path("filmed.mp4")))
    )
    moment = drawn.moment(swing.positions.times()["address"])
    assert moment.club is not None
    ground = np.zeros((320, framing.pane_size[0], 3), np.uint8)
    assert not drawn.annotate(ground.copy(), moment).any()
    assert filmed.annotate(ground.copy(), moment).any()
    x, y = (np.array(moment.club.grip) + 0.8 * (np.array(moment.club.head) - np.array(moment.club.grip))).astype(int)
    bare = drawn.clean(None, replace(moment, club=None))
    assert np.abs(drawn.clean(None, moment)[y, x].astype(int) - bare[y, x]).max() > 60
