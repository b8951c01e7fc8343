"""Points in space from two pictures: exact cameras give exact points, and the golfer's own turns come out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from overlay.data import FilmingFinding, FilmingReport
from overlay.golfer import CameraSpec, GolferSpec, Motion, StyleSpec, simulate, true_club, truth_track
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX
from overlay.pair import pair_views
from overlay.pair.lines import GRID_DEG, line_in_space
from overlay.pair.measures import DEFINITIONS, shaft_plane, spine_inclination, trunk_rotation
from overlay.pair.space import ROW, Cameras, lens_of, triangulated
from overlay.positions import find_swings
from overlay.settings.pair import LineSettings, SpaceSettings

ALL = len(ROW)


def cameras(yaw: tuple[float, float] = (0.0, 0.0), roll: tuple[float, float] = (0.0, 0.0)) -> Cameras:
    """Two known cameras, 100 and 80 px a torso, 8 and 9 torsos off, lenses 1.5 and 1.7 torsos over the ankles."""

    def one(value: float) -> np.ndarray:  # type: ignore[type-arg]
        return np.array([value])

    return Cameras(
        yaw_deg=(one(yaw[0]), one(yaw[1])),
        roll_deg=(one(roll[0]), one(roll[1])),
        distance=(one(8.0), one(9.0)),
        level_px=(one(400.0), one(300.0)),
        px=(one(100.0), one(80.0)),
        feet_px=(np.array([[200.0, 550.0]]), np.array([[260.0, 436.0]])),
        middle_px=(240.0, 240.0),
    )


def seen_by(made: Cameras, which: int, points: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """(1, P, 2) px of points (P, 3): a pinhole written a second time."""
    turn = math.radians(float(made.yaw_deg[which][0]))
    forward = np.array([math.cos(turn), math.sin(turn)] if which == 0 else [math.sin(turn), -math.cos(turn)])
    right = np.array([-forward[1], forward[0]])
    px, distance = float(made.px[which][0]), float(made.distance[which][0])
    feet = (made.feet_px[which][0] - [made.middle_px[which], float(made.level_px[which][0])]) / px
    lens = -distance * forward - feet[0] * right
    depth = (points[:, :2] - lens) @ forward
    across = (points[:, :2] - lens) @ right * distance / depth
    up = (points[:, 2] - feet[1]) * distance / depth
    return np.stack([made.middle_px[which] + px * across, float(made.level_px[which][0]) - px * up], -1)[None]


def test_a_point_that_both_see_is_where_it_is() -> None:
    points = np.zeros((ALL, 3))
    rng = np.random.default_rng(1)
    points[:] = rng.uniform([-1.0, -1.0, 0.0], [1.0, 1.5, 3.0], (ALL, 3))
    for yaw in ((0.0, 0.0), (6.0, -9.0)):
        made = cameras(yaw)
        placed = triangulated(made, seen_by(made, 0, points), seen_by(made, 1, points))
        assert placed[0] == pytest.approx(points, abs=1e-9)


def test_the_ankles_are_the_origin() -> None:
    made = cameras((4.0, 3.0))
    feet = [np.tile(made.feet_px[which][0], (1, ALL, 1)) for which in (0, 1)]
    assert triangulated(made, feet[0], feet[1])[0, 0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)


def test_a_yaw_that_is_not_known_turns_what_is_seen_by_as_much() -> None:
    # Both cameras carried 5° round the player the same way: everything looks turned by 5° the other way.
    points = np.zeros((ALL, 3))
    points[ROW["lead_shoulder"]], points[ROW["trail_shoulder"]] = (0.35, 0.1, 1.6), (-0.35, 0.1, 1.6)
    true, taken = cameras((5.0, 5.0)), cameras()
    placed = triangulated(taken, seen_by(true, 0, points), seen_by(true, 1, points))[0]
    line = placed[ROW["lead_shoulder"]] - placed[ROW["trail_shoulder"]]
    assert math.degrees(math.atan2(line[1], line[0])) == pytest.approx(-5.0, abs=1.0)


def test_formulas_from_algebra() -> None:
    def at(**places: tuple[float, float, float]) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
        return {name: np.array([place]) for name, place in places.items()}

    body = at(
        lead_shoulder=(0.0, 0.7, 2.6), trail_shoulder=(0.0, 0.0, 2.6),
        lead_hip=(0.2, 0.1, 1.6), trail_hip=(-0.2, -0.1, 1.6),
    )  # fmt: skip
    # Shoulders at 90°, hips at atan(.2/.4) = 26.6°; mid-shoulder .35 ahead of mid-hip and 1 above: atan(.35) = 19.3°.
    assert float(trunk_rotation(body, body)[0]) == pytest.approx(90.0 - 26.565, abs=0.01)
    assert float(spine_inclination(body, body)[0]) == pytest.approx(19.290, abs=0.01)
    club = at(grip=(0.1, 0.4, 1.0), club_head=(0.0, 1.4, 0.0))
    assert float(shaft_plane(club, club)[0]) == pytest.approx(45.0, abs=1e-9)


@pytest.mark.parametrize(("view", "which", "near_deg"), [("shoulder", 0.7, 25.0), ("hip", 0.4, 40.0)])
def test_a_line_is_found_by_its_length_where_face_on_it_is_marked_wrongly(
    view: str, which: float, near_deg: float
) -> None:
    # Turned 60°, but face on marked as if not turned at all: down the line says sin 60°, the length says the rest.
    made = replace(
        cameras(),
        **{
            name: tuple(np.repeat(part, 200, axis=0) for part in getattr(cameras(), name))
            for name in ("yaw_deg", "roll_deg", "distance", "level_px", "px", "feet_px")
        },
    )
    points = np.zeros((ALL, 3))
    turn = math.radians(60.0)
    half = 0.5 * which * np.array([math.cos(turn), math.sin(turn), 0.0])
    middle = np.array([0.0, 0.2, 1.6])
    points[ROW[f"lead_{view}"]], points[ROW[f"trail_{view}"]] = middle + half, middle - half
    dtl, fo = seen_by(cameras(), 0, points), seen_by(cameras(), 1, points)
    ends = [ROW[f"lead_{view}"], ROW[f"trail_{view}"]]
    unturned = points.copy()
    unturned[ends] = middle + np.array([[0.5 * which, 0, 0], [-0.5 * which, 0, 0]])
    fo[0, ends] = seen_by(cameras(), 1, unturned)[0, ends]
    found = line_in_space(made, dtl, fo, view, "lead_arm_level_back", which, LineSettings(), np.random.default_rng(3))
    assert found is not None
    line = (found[0] - found[1])[1:]
    deg = np.degrees(np.arctan2(line[:, 1], line[:, 0]))
    # Either side of side-on explains the picture down the line: the draws say both, and not what was marked face on.
    assert np.mean((np.abs(deg - 60) < near_deg) | (np.abs(deg - 120) < near_deg)) > 0.9
    assert len(GRID_DEG) == 240


def test_no_line_where_it_is_not_seen() -> None:
    nothing = np.full((1, ALL, 2), np.nan)
    assert (
        line_in_space(cameras(), nothing, nothing, "hip", "top", 0.4, LineSettings(), np.random.default_rng(0)) is None
    )


def test_what_the_filming_check_found_is_weighed_with_the_usual() -> None:
    own = SpaceSettings()
    usual = lens_of(None, own)
    assert (usual.yaw_deg, usual.distance) == (0.0, own.distance)
    # Found with the same certainty as the usual: half-way between.
    half = 1.96 * own.yaw_sd_deg
    report = FilmingReport((FilmingFinding("yaw", 8.0, "deg", (8 - half, 8 + half), "warn", ""),))
    found = lens_of(report, own)
    assert found.yaw_deg == pytest.approx(4.0)
    assert found.yaw_sd_deg == pytest.approx(own.yaw_sd_deg / math.sqrt(2))
    unseen = FilmingReport((FilmingFinding("yaw", math.nan, "deg", None, "not seen", ""),))
    assert lens_of(unseen, own).yaw_deg == 0.0


@pytest.fixture(scope="module")
def left_handed() -> Motion:
    return simulate(GolferSpec(handedness="left", style=StyleSpec(shoulder_turn_deg=-15.0)))


def truth(motion: Motion) -> dict[str, float]:
    """Every measure on the golfer's own points, brought to a right-hander and to torso lengths."""
    left = motion.spec.handedness == "left"
    sides = {"lead": "right" if left else "left", "trail": "left" if left else "right"}
    flip = np.array([-1.0 if left else 1.0, 1.0, 1.0])

    def raw(name: str) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
        state = motion.state(np.array([motion.position_times[name]]))
        places = landmark_points(state, motion.spec.body.stature_m)
        out = {
            f"{side}_{joint}": places[:, INDEX[f"{own}_{joint}"]] * flip
            for side, own in sides.items()
            for joint in ("shoulder", "hip", "wrist", "ankle", "elbow")
        }
        out["hands"] = (out["lead_wrist"] + out["trail_wrist"]) / 2
        out["grip"], out["club_head"] = state["grip"] * flip, state["club_head"] * flip
        return out

    address = raw("address")
    middle = [(address[f"lead_{j}"] + address[f"trail_{j}"]) / 2 for j in ("shoulder", "hip")]
    torso = float(np.linalg.norm(middle[0] - middle[1]))

    def scaled(name: str) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
        return {point: place / torso for point, place in raw(name).items()}

    return {d.name: float(d.formula(scaled(d.position), scaled("address"))[0]) for d in DEFINITIONS}


def test_exact_tracks_give_the_golfers_own_turns(left_handed: Motion) -> None:
    swings = []
    for view in ("dtl", "fo"):
        camera = CameraSpec.for_motion(left_handed, view)
        swing = find_swings(truth_track(left_handed, camera, 120.0), view=view, handedness="left")[0]  # type: ignore[arg-type]
        swings.append(replace(swing, club=true_club(left_handed, camera, swing.pose.time_s)))
    pair = pair_views(swings[0], swings[1], offset_s=0.0)
    assert pair.one_swing
    right = truth(left_handed)
    # Usual cameras stand where these do, but for a distance of 3.8 and 4.2 m: what is left is small.
    allowed = {"deg": 4.0, "torso": 0.06}
    turns = {"shoulder_turn_top": 9.0, "trunk_rotation_top": 9.0, "hands_depth_top": 0.15}
    found = {measure.name: measure for measure in pair.measures}
    assert set(found) == {definition.name for definition in DEFINITIONS}
    for name in ("pelvis_turn_top", "pelvis_open_impact", "shoulders_open_impact", "shaft_plane_address",
                 "shaft_plane_lead_arm_down", "spine_inclination_address", "stance_width_space"):  # fmt: skip
        assert found[name].valid, found[name].reason
    for name, measure in found.items():
        if measure.valid:
            assert measure.value == pytest.approx(right[name], abs=turns.get(name, allowed[measure.unit])), name
            assert measure.interval is not None
            assert measure.interval[0] <= right[name] <= measure.interval[1], name


def test_two_swings_have_wider_intervals_and_say_so(left_handed: Motion) -> None:
    swings = [
        find_swings(
            truth_track(left_handed, CameraSpec.for_motion(left_handed, view), 60.0),
            view=view,
            handedness="left",  # type: ignore[arg-type]
        )[0]
        for view in ("dtl", "fo")
    ]
    one, two = pair_views(swings[0], swings[1], offset_s=0.0), pair_views(swings[0], swings[1])
    assert one.one_swing
    assert not two.one_swing
    compared = 0
    for same, apart in zip(one.measures, two.measures):
        if same.valid and apart.valid and same.interval is not None and apart.interval is not None:
            assert apart.interval[1] - apart.interval[0] > same.interval[1] - same.interval[0], same.name
            assert "two swings" in apart.reason
            assert same.reason == ""
            compared += 1
    assert compared >= 6
    # Without a club track whatever needs the shaft says why.
    shaft = next(measure for measure in one.measures if measure.name == "shaft_plane_address")
    assert not shaft.valid
    assert "the shaft is not seen in both views" in shaft.reason
