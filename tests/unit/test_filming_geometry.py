"""The camera found from one posture: exact on exact joints, honest where a picture cannot tell."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.filming.geometry import (
    AZIMUTH,
    HEIGHT,
    LOG_DISTANCE,
    LOG_FOCAL,
    N_CAMERA,
    PITCH,
    ROLL,
    SIDE,
    CameraFound,
    Seen,
    find_camera,
    project,
)
from overlay.filming.shape import GRIP, JOINTS, address_shape
from overlay.settings.filming import FilmingSettings

SIZE = (480, 854)


def truth(view: str, **changes: float) -> FloatArray:
    """Values of a level camera at hand height, 2.4 statures away, looking at the hands (dtl) or the middle (fo)."""
    shape = address_shape()
    values = np.zeros(N_CAMERA + len(shape.ways))
    values[LOG_DISTANCE], values[LOG_FOCAL] = math.log(2.4), math.log(1.2)
    values[HEIGHT] = shape.mean[GRIP, 2] + changes.get("height", 0.0)
    aim = shape.mean[GRIP, 1] if view == "dtl" else shape.mean[:12, 0].mean()
    yaw = math.radians(changes.get("yaw_deg", 0.0))
    middle = shape.mean[GRIP, 0] if view == "dtl" else -shape.mean[:12, 1].mean()
    values[SIDE] = aim + changes.get("offset", 0.0) - math.tan(yaw) * (2.4 + middle)
    values[AZIMUTH] = yaw
    values[ROLL] = math.radians(changes.get("roll_deg", 0.0))
    values[PITCH] = math.radians(changes.get("pitch_deg", 0.0))
    return values


def seen_by(values: FloatArray, view: str, sd_px: float = 0.5) -> Seen:
    points = project(values, address_shape(), view, SIZE)[:GRIP]
    return Seen(points, np.eye(2 * GRIP) * sd_px**2, SIZE, view)


def found(view: str, **changes: float) -> CameraFound:
    answer = find_camera(seen_by(truth(view, **changes), view))
    assert answer is not None
    return answer


def test_a_pinhole_by_algebra() -> None:
    """x = f·X/Z about the middle of the picture (Hartley & Zisserman 2004, eq. 6.1); lens height is the middle row."""
    shape = address_shape()
    values = truth("dtl")
    picture = project(values, shape, "dtl", SIZE)
    focal = 1.2 * 854
    assert picture[GRIP] == pytest.approx((240.0, 427.0))
    toe = JOINTS.index("right_foot_index")
    ahead = 2.4 + shape.mean[toe, 0]
    beside = shape.mean[toe, 1] - shape.mean[GRIP, 1]
    below = values[HEIGHT] - shape.mean[toe, 2]
    assert picture[toe] == pytest.approx((240.0 + focal * beside / ahead, 427.0 + focal * below / ahead))


def test_the_picture_turns_against_the_roll() -> None:
    """A camera rolled clockwise by a shows the level line through the middle going up to the right by a."""
    values = truth("fo", roll_deg=5.0)
    upright = truth("fo")
    shape = address_shape()
    gap = project(values, shape, "fo", SIZE) - np.array(SIZE) / 2
    straight = project(upright, shape, "fo", SIZE) - np.array(SIZE) / 2
    turned = np.degrees(np.arctan2(gap[:, 1], gap[:, 0]) - np.arctan2(straight[:, 1], straight[:, 0]))
    assert (turned + 180) % 360 - 180 == pytest.approx(np.full(len(turned), -5.0), abs=1e-6)


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_a_good_camera_is_good(view: str) -> None:
    answer = found(view)
    assert abs(answer.height.value) < 0.01
    assert abs(answer.offset.value) < 0.005
    assert abs(answer.yaw_deg.value) < 0.3
    assert abs(answer.roll_deg.value) < 0.1
    assert answer.misfit < 1.0


@pytest.mark.parametrize("view", ["dtl", "fo"])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_planted_errors_come_back(view: str, sign: float) -> None:
    assert found(view, height=sign * 0.17).height.value == pytest.approx(sign * 0.17, abs=0.03)
    assert found(view, offset=sign * 0.1).offset.value == pytest.approx(sign * 0.1, abs=0.01)
    assert found(view, yaw_deg=sign * 6.0).yaw_deg.value == pytest.approx(sign * 6.0, abs=1.0)
    assert found(view, roll_deg=sign * 3.0).roll_deg.value == pytest.approx(sign * 3.0, abs=0.4)


def test_yaw_and_offset_are_told_apart() -> None:
    """Walking round the hands keeps them in the middle; a turn on the stand leaves the lens there."""
    walked = found("dtl", yaw_deg=6.0)
    assert abs(walked.offset.value) < 0.01
    ahead = 2.4 + address_shape().mean[GRIP, 0]
    turned = found("dtl", yaw_deg=6.0, offset=math.tan(math.radians(6.0)) * ahead)
    beside = turned.offset.value - turned.distance.value * math.tan(math.radians(turned.yaw_deg.value))
    assert abs(beside) < 0.05
    assert turned.yaw_deg.value == pytest.approx(6.0, abs=1.5)


def test_a_gross_tilt_is_noticed() -> None:
    """30 % of stature too low and tilted up 8°: taken as level the hands alone would say 2 % too low."""
    answer = found("dtl", height=-0.30, pitch_deg=8.0)
    assert answer.tilted > 0.9
    assert answer.height.value == pytest.approx(-0.30, abs=0.06)
    assert answer.pitch_deg.value == pytest.approx(8.0, abs=1.5)


def test_what_is_not_known_widens_the_interval() -> None:
    values = truth("dtl")
    sharp, blunt = find_camera(seen_by(values, "dtl", 1.0)), find_camera(seen_by(values, "dtl", 6.0))
    assert sharp is not None
    assert blunt is not None
    assert blunt.yaw_deg.sd > 1.3 * sharp.yaw_deg.sd
    low, high = blunt.yaw_deg.interval()
    assert high - low == pytest.approx(2 * 1.96 * blunt.yaw_deg.sd)
    assert blunt.yaw_deg.interval(-2.0) == pytest.approx((-2 * high, -2 * low))


def test_an_upright_background_makes_the_roll_surer() -> None:
    seen = seen_by(truth("dtl", roll_deg=3.0), "dtl", 6.0)
    alone = find_camera(seen)
    helped = find_camera(dataclasses.replace(seen, roll_deg=3.0, roll_sd_deg=0.3))
    assert alone is not None
    assert helped is not None
    assert helped.roll_deg.sd < 0.31 < alone.roll_deg.sd
    assert helped.roll_deg.value == pytest.approx(3.0, abs=0.2)


def test_missing_feet_leave_an_answer_and_too_few_joints_none() -> None:
    seen = seen_by(truth("dtl", offset=0.1), "dtl")
    points = seen.points.copy()
    points[6:12] = np.nan
    answer = find_camera(dataclasses.replace(seen, points=points))
    assert answer is not None
    assert answer.offset.value == pytest.approx(0.1, abs=0.02)
    points[: GRIP - FilmingSettings().least_joints + 1] = np.nan
    assert find_camera(dataclasses.replace(seen, points=points)) is None


def test_bad_input_is_refused() -> None:
    seen = seen_by(truth("dtl"), "dtl")
    with pytest.raises(DataError, match="17 joints"):
        dataclasses.replace(seen, points=seen.points[:5])
    with pytest.raises(DataError, match="covariance"):
        dataclasses.replace(seen, covariance=np.eye(3))
    with pytest.raises(DataError, match="'behind' is no view"):
        dataclasses.replace(seen, view="behind")


def test_the_shape_is_a_person() -> None:
    """Segment lengths of Drillis & Contini 1966 (in Winter 2009, fig. 4.1), shares of stature."""
    shape = address_shape()
    at = {name: shape.mean[i] for i, name in enumerate(JOINTS)}
    for side in ("left", "right"):
        assert np.linalg.norm(at[f"{side}_hip"] - at[f"{side}_knee"]) == pytest.approx(0.530 - 0.285, rel=0.06)
        foot = at[f"{side}_foot_index"] - at[f"{side}_heel"]
        assert np.linalg.norm(foot) == pytest.approx(0.152, rel=0.06)
    trunk = [(at[f"left_{joint}"] + at[f"right_{joint}"]) / 2 for joint in ("shoulder", "hip")]
    assert np.linalg.norm(trunk[0] - trunk[1]) == pytest.approx(0.818 - 0.530, rel=0.06)
    assert at["left_ankle"][0] > 0 > at["right_ankle"][0]
    assert shape.ways.shape[1:] == shape.mean.shape
    for view in ("dtl", "fo"):
        assert np.all(np.linalg.eigvalsh(shape.pose_covariance[view]) > 0)
