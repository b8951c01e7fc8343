"""Guide lines, club and what comes first in panes, stills and sheets: chosen, carried along, read from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import check_factory as checks
import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose import (
    DEFAULT_GUIDES,
    ComposeOptions,
    Source,
    comparison_stills,
    inspect_sheet,
    inspection_stills,
    render_sheet,
)
from overlay.compose.framing import frame_one, inverted, transformed
from overlay.compose.guiding import stands_still
from overlay.compose.player import Player, head_path
from overlay.compose.readings import READ_FROM, read_at
from overlay.compose.video import Canvas, place
from overlay.compose.wording import first_parts, short_first
from overlay.data import CameraMotion, ClubTrack, FirstThing, Swing
from overlay.draw import REFERENCE, STUDENT, FirstStrip
from overlay.draw.palette import PAPER, mixed
from overlay.errors import InputError
from overlay.guides import VIEW_GUIDES, guide_lines
from overlay.settings.checklist import MEASURES
from overlay.terms import GUIDE_NAMES
from overlay.video import read_image

EVERYTHING_OFF = ComposeOptions(guides=frozenset(), skeleton=False, club=False, hand_path=False)


def pane_of(swing: Swing, options: ComposeOptions, time_s: float | None = None, family: object = STUDENT) -> np.ndarray:
    """The pane of a filmed player without his picture: only what is laid over it."""
    framing = frame_one(swing, with_picture=False, least_px=400, most_px=400)
    source = Source(Path("filmed.mp4"))
    player = Player(swing, source, family, framing.places[0], framing.feet_y, options)  # type: ignore[arg-type]
    at = swing.positions.times()["address"] if time_s is None else time_s
    pane = np.zeros((framing.pane_size[1], framing.pane_size[0], 3), np.uint8)
    return player.annotate(pane, player.moment(at))


@pytest.fixture(scope="module")
def swing() -> Swing:
    return checks.with_strike(checks.with_club(factory.make_swing()))


def test_the_default_is_a_few_lines_in_each_view() -> None:
    assert ComposeOptions().guides == DEFAULT_GUIDES
    for view in ("dtl", "fo"):
        assert 2 <= len(DEFAULT_GUIDES & set(VIEW_GUIDES[view])) <= 3  # type: ignore[index]


def test_each_layer_is_switched_alone(swing: Swing) -> None:
    assert not pane_of(swing, EVERYTHING_OFF).any()
    after_s = swing.positions.times()["top"]
    pictures = {}
    for name, options in {
        **{name: replace(EVERYTHING_OFF, guides=frozenset({name})) for name in VIEW_GUIDES["dtl"]},
        "skeleton": replace(EVERYTHING_OFF, skeleton=True),
        "club": replace(EVERYTHING_OFF, club=True, club_trail=False),
        "trail": replace(EVERYTHING_OFF, club=True),
        "hand path": replace(EVERYTHING_OFF, hand_path=True),
    }.items():
        pictures[name] = pane_of(swing, options, after_s)
        assert pictures[name].any(), name
    names = list(pictures)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            assert not np.array_equal(pictures[one], pictures[other]), (one, other)


def test_lines_of_the_other_view_are_passed_over(swing: Swing) -> None:
    assert not pane_of(swing, replace(EVERYTHING_OFF, guides=frozenset({"trail_leg_line"}))).any()


def test_an_unknown_guide_is_refused() -> None:
    with pytest.raises(InputError, match="no guide line 'lucky_line'"):
        ComposeOptions(guides=frozenset({"lucky_line"}))


def test_a_line_lies_in_the_pane_where_its_points_are_in_the_picture(swing: Swing) -> None:
    framing = frame_one(swing, with_picture=False, least_px=400, most_px=400)
    pane = pane_of(swing, replace(EVERYTHING_OFF, guides=frozenset({"ball_line"})))
    guide = next(guide for guide in guide_lines(swing) if guide.name == "ball_line")
    x, y = transformed(guide.points.mean(axis=0), framing.places[0].matrix)
    columns = np.flatnonzero(pane[round(y)].any(axis=-1))
    assert columns.mean() == pytest.approx(x, abs=1.5)


def test_the_reference_draws_his_own_in_his_own_colour(swing: Swing) -> None:
    options = replace(EVERYTHING_OFF, guides=frozenset({"hand_depth"}))
    for family, sign in ((STUDENT, 1), (REFERENCE, -1)):
        pane = pane_of(swing, options, family=family).astype(int)
        # Red against blue: the edges are orange for the student, blue for the reference.
        warmth = sign * (pane[..., 0] - pane[..., 2])
        assert (warmth > 60).sum() > 100
        assert (warmth < -10).sum() == 0


def moving(swing: Swing, px_per_s: float = 30.0) -> Swing:
    """The same swing filmed by a camera that drifts: everything in the picture moves to the right."""
    time_s, address_s = swing.pose.time_s, swing.positions.times()["address"]
    shift = px_per_s * (time_s - address_s)[:, None] * np.array([1.0, 0.0])
    matrices = np.tile(np.eye(2, 3), (len(time_s), 1, 1))
    matrices[:, :, 2] = -shift
    assert swing.club is not None
    return replace(
        swing,
        pose=replace(swing.pose, points=swing.pose.points + shift[:, None]),
        club=replace(swing.club, grip=swing.club.grip + shift),
        camera_motion=CameraMotion(time_s, matrices),
    )


def test_lines_follow_a_camera_that_moves(swing: Swing) -> None:
    drifting = moving(swing)
    assert stands_still(None)
    assert not stands_still(drifting.camera_motion)
    options = replace(EVERYTHING_OFF, guides=frozenset({"ball_line"}))
    framing = frame_one(drifting, with_picture=False, least_px=400, most_px=400)
    columns = []
    for name in ("address", "impact"):
        pane = pane_of(drifting, options, drifting.positions.times()[name])
        columns.append(float(np.flatnonzero(pane[150].any(axis=-1)).mean()))
    times = drifting.positions.times()
    moved = 30.0 * (times["impact"] - times["address"]) * framing.places[0].scale
    assert columns[1] - columns[0] == pytest.approx(moved, abs=2.0)


def test_the_hand_path_lies_on_the_ground_that_moves(swing: Swing) -> None:
    # Against a drifting camera the path keeps its shape: it is that of the still camera, shifted.
    framing = frame_one(swing, with_picture=False, least_px=400, most_px=400)
    at = swing.positions.times()["impact"]
    paths = []
    for one in (swing, moving(swing)):
        player = Player(one, Source(), STUDENT, framing.places[0], framing.feet_y)
        paths.append(player.moment(at).path)
    gap = paths[1] - paths[0]
    gap = gap[np.isfinite(gap[:, 0])]
    assert np.ptp(gap, axis=0) == pytest.approx([0.0, 0.0], abs=0.5)
    assert gap[0, 0] > 5


def test_a_matrix_is_undone() -> None:
    matrix = np.array([[-2.0, 0.1, 30.0], [0.0, 1.5, -7.0]])
    points = np.array([[3.0, 4.0], [100.0, -20.0]])
    assert transformed(transformed(points, matrix), inverted(matrix)) == pytest.approx(points)


def test_the_ball_is_in_the_pane(swing: Swing) -> None:
    far = replace(swing, strike=replace(swing.strike, ball=replace(swing.strike.ball, place=(330.0, 262.0))))  # type: ignore[type-var, union-attr]
    framing = frame_one(far, with_picture=False, least_px=400, most_px=400)
    x, y = transformed(np.array([330.0, 262.0]), framing.places[0].matrix)
    assert 0 < x < framing.pane_size[0]
    assert 0 < y < framing.pane_size[1]


def test_the_trail_bends_as_the_club_turns() -> None:
    # A shaft of 100 px turning 60° a frame about a grip that stands still: the trail is the circle, not its chords.
    swing = factory.make_swing()
    n = len(swing.pose)
    state = ["measured"] * n
    state[10] = "hidden"
    club = ClubTrack(
        swing.pose.time_s,
        np.full((n, 2), 120.0),
        60.0 * np.arange(n),
        np.full(n, 100.0),
        tuple(state),  # type: ignore[arg-type]
    )
    heads, seen_s = head_path(club)
    assert np.all(np.diff(seen_s) > 0)
    radius = np.hypot(*(heads - 120.0).T)
    assert radius[np.isfinite(radius)] == pytest.approx(100.0)
    # Where it was not seen the path is broken, from the last frame before to the first after.
    lost = np.isnan(heads[:, 0])
    assert seen_s[lost].min() > swing.pose.time_s[9]
    assert seen_s[lost].max() < swing.pose.time_s[11]
    # Half a turn between two frames has no direction: a break, not a guess.
    turned = replace(club, angle_deg=170.0 * np.arange(n))
    assert np.isfinite(head_path(turned)[0]).all(axis=1).sum() <= n


# Readings ------------------------------------------------------------------------------------------------------------


def test_every_measure_knows_the_lines_it_is_read_from() -> None:
    assert set(READ_FROM) == set(MEASURES)
    for name, guides in READ_FROM.items():
        assert set(guides) <= set(VIEW_GUIDES[MEASURES[name].view]), name  # type: ignore[index]


def test_a_reading_stands_at_its_own_time_or_at_its_position(swing: Swing) -> None:
    times = swing.positions.times()
    own, placed, lost = (
        checks.make_check("hand_depth_back", 0.2, "out", time_s=1.01).measure,
        checks.make_check("hand_depth_back", 0.2, "out").measure,
        checks.make_check("hand_depth_back", None, "not measured").measure,
    )
    assert read_at(own, swing).time_s == 1.01  # type: ignore[union-attr]
    assert read_at(placed, swing).time_s == times["shaft_level_back"]  # type: ignore[union-attr]
    assert read_at(placed, swing).guides == {"hand_depth"}  # type: ignore[union-attr]
    assert read_at(lost, swing) is None
    assert read_at(None, swing) is None


def test_each_check_has_a_still_of_its_own_with_its_own_lines(swing: Swing) -> None:
    checklist = checks.make_checklist(compared=True)
    comparison = replace(
        factory.make_comparison(swing, checks.with_club(factory.make_swing(lean=4.0))), checklist=checklist
    )
    stills = comparison_stills(comparison, student=Source(), reference=Source(), height_px=600)
    assert [reading.check for reading in stills.readings] == list(checklist.checks)
    depth, unseen, arm, hips = stills.readings
    assert depth.student is not None
    assert depth.reference is not None
    assert unseen.student is None
    assert hips.student is not None
    assert hips.reference is None
    # The row of the same position shows the default lines and the way of the hands; the reading its one line.
    row = next(row for row in stills.rows if row.name == "shaft_level_back")
    assert row.student.image is not None
    assert depth.student.shape == row.student.image.shape
    assert not np.array_equal(depth.student, row.student.image)
    assert arm.student is not None
    core = mixed(STUDENT.pale, PAPER, 0.6)
    lines = [np.all(image == core, axis=-1).sum() for image in (arm.student, depth.student, row.student.image)]
    assert lines[0] == 0
    assert 60 < lines[1] < 0.7 * lines[2]
    assert comparison_stills(replace(comparison, checklist=None), student=Source(), reference=Source(),
                             height_px=200).readings == []  # fmt: skip


def test_the_sheets_carry_the_checklist(swing: Swing, tmp_path: Path) -> None:
    plain = read_image(inspect_sheet(swing, tmp_path / "a.png", source=Source()))
    told = read_image(inspect_sheet(swing, tmp_path / "b.png", source=Source(), checklist=checks.make_checklist()))
    assert told.shape[1] == plain.shape[1]
    assert told.shape[0] > plain.shape[0] + 200
    # The nine stills themselves stay what they are.
    size = FirstStrip(round(max(13.0, 0.022 * plain.shape[1])))
    top = size.needed_height(plain.shape[1], short_first(checks.make_checklist().first))
    assert np.array_equal(told[top : top + plain.shape[0]], plain)
    comparison = factory.make_comparison()
    heights = []
    for i, checklist in enumerate((None, checks.make_checklist(compared=True), checks.NOTHING)):
        out = render_sheet(replace(comparison, checklist=checklist), tmp_path / f"{i}.png", student=Source(),
                           reference=Source())  # fmt: skip
        heights.append(read_image(out).shape[0])
    assert heights[0] < heights[2] < heights[1]


def test_stills_of_one_swing_are_read_once_for_sheet_and_report(swing: Swing, tmp_path: Path) -> None:
    checklist = checks.make_checklist()
    stills = inspection_stills(swing, source=Source(), checklist=checklist)
    gone = Source(tmp_path / "gone.mp4")
    assert inspect_sheet(swing, tmp_path / "a.png", source=gone, checklist=checklist, stills=stills).exists()
    assert len(stills.stills) == 9
    assert len(stills.readings) == len(checklist.checks)


def test_the_shaft_is_drawn_on_to_the_ground(swing: Swing) -> None:
    # A shaft of 55° from the wrists down: it meets the row of the ball (262 px) where algebra says.
    framing = frame_one(swing, with_picture=False, least_px=400, most_px=400)
    player = Player(swing, Source(), STUDENT, framing.places[0], framing.feet_y)
    moment = player.moment(swing.positions.times()["lead_arm_level_back"])
    assert moment.club is not None
    pane = np.zeros((framing.pane_size[1], framing.pane_size[0], 3), np.uint8)
    player.point(pane, moment)
    ground = transformed(np.array([0.0, 262.0]), framing.places[0].matrix)[1]
    (x, y), head_y = moment.club.grip, moment.club.head[1]
    meets = x + (ground - y) / np.tan(np.radians(55.0))
    ring = np.abs(pane.astype(int) - np.array(STUDENT.strong)).sum(axis=-1) < 60
    rows, columns = np.nonzero(ring)
    assert rows.mean() == pytest.approx(ground, abs=1.5)
    assert columns.mean() == pytest.approx(meets, abs=1.5)
    dots = np.flatnonzero(pane.any(axis=(1, 2)))
    assert dots.min() == pytest.approx(head_y, abs=6)


def test_a_shaft_that_lies_level_points_nowhere(swing: Swing) -> None:
    level = checks.with_strike(checks.with_club(swing, angle_deg=1.0))
    framing = frame_one(level, with_picture=False, least_px=400, most_px=400)
    pane = np.zeros((framing.pane_size[1], framing.pane_size[0], 3), np.uint8)
    for one in (level, replace(level, club=None)):
        player = Player(one, Source(), STUDENT, framing.places[0], framing.feet_y)
        assert not player.point(pane, player.moment(1.0)).any()


# What comes first, in the video ---------------------------------------------------------------------------------------


def test_the_first_thing_is_short_on_a_moving_picture() -> None:
    first = checks.make_checklist().first
    assert short_first(first) == (
        "Work on this first: hand depth (takeaway). The hands are 0.21 torso lengths outside the hand depth line."
    )
    nothing = FirstThing("Nothing to work on was found: all 9 measures lie inside. Could not be measured: one.")
    assert short_first(nothing) == "Checklist: nothing to work on was found."
    assert first_parts(nothing)[1] == "All 9 measures lie inside. Could not be measured: one."
    assert first_parts(FirstThing("The clip was filmed from another angle.")) == (
        "The clip was filmed from another angle.",
        "",
    )
    assert short_first(FirstThing("Short.", first.check)) == "Short."


@pytest.mark.parametrize("layout", ["both", "side by side", "ghost"])
def test_the_first_thing_has_a_strip_of_its_own(layout: str) -> None:
    pane = (300, 400)
    without, with_first = place(layout, pane), place(layout, pane, first="Work on this first: the hands. " * 3)  # type: ignore[arg-type]
    assert without.first is None
    assert with_first.first is not None
    _, top, width, height = with_first.first
    assert top == with_first.heading[3]
    assert width == with_first.width
    assert with_first.height == without.height + height
    assert with_first.height % 2 == 0
    assert with_first.time_bar[1] == without.time_bar[1] + height


def test_the_strip_is_on_the_canvas_only_with_a_checklist(swing: Swing) -> None:
    comparison = factory.make_comparison(swing, factory.make_swing(lean=4.0))
    told = replace(comparison, checklist=checks.make_checklist())
    silent = Canvas(comparison, Source(), Source(), ComposeOptions())
    canvas = Canvas(told, Source(), Source(), ComposeOptions())
    assert silent.places.first is None
    left, top, width, height = canvas.places.first  # type: ignore[misc]
    image = canvas.draw((1.0, 1.0), (None, None))
    strip = image[top : top + height, left : left + width]
    assert (strip.astype(int).sum(axis=-1) > 600).sum() > 300
    nothing = Canvas(replace(comparison, checklist=checks.NOTHING), Source(), Source(), ComposeOptions())
    assert nothing.places.first is not None


def test_the_ghost_pane_shows_the_students_lines(swing: Swing) -> None:
    comparison = factory.make_comparison(swing, checks.with_club(factory.make_swing(lean=8.0), angle_deg=40.0))
    images = []
    for guides in (frozenset({"shaft_plane"}), frozenset()):
        options = ComposeOptions(layout="ghost", guides=guides)
        canvas = Canvas(comparison, Source(), Source(), options)
        images.append(canvas.draw((1.0, 1.0), (None, None)).copy().astype(int))
    left, top, width, height = canvas.places.ghost  # type: ignore[misc]
    changed = np.abs(images[0] - images[1]).sum(axis=-1)[top : top + height, left : left + width] > 60
    guide = next(guide for guide in guide_lines(swing) if guide.name == "shaft_plane")
    low, high = transformed(guide.points, canvas.framing.places[0].matrix)
    rows, columns = np.nonzero(changed)
    (x, y), (from_x, from_y) = high - low, (columns - low[0], rows - low[1])
    away = np.abs(x * from_y - y * from_x) / np.hypot(x, y)
    # All but the name lies on the student's line; a line of the reference's 40° would not.
    assert np.mean(away < 6) > 0.6


def test_all_guides_can_be_chosen(swing: Swing) -> None:
    assert pane_of(swing, ComposeOptions(guides=frozenset(GUIDE_NAMES))).any()
