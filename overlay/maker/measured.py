"""The parameters of a model as they can be measured on any swing in space, in a coach's terms.

Everything is read from the joints, the club and the positions alone, so it holds for a swing from anywhere; nothing is
taken from how the swing was made. Angles "down the line" and "face on" are those of a picture without perspective.
"""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import SpaceTrack
from overlay.errors import DataError
from overlay.landmarks import INDEX
from overlay.terms import POSITION_NAMES, words

DELIVERY = (0.72, 0.86)
"""Share of top → shaft level down in which the club comes down, as the checklist reads it."""
HANDS_FROM_BUTT_M = 0.11
"""Middle of both hands from the end of the grip, common practice."""
RELEASE = (0.20, 0.65)
"""Share of impact → shaft level through after the strike, as the checklist reads it."""


def measured(space: SpaceTrack) -> dict[str, float]:
    """What the swing shows of every parameter that can be measured; see ``overlay.maker.PARAMETERS`` for the words.

    Raises
    ------
    DataError
        A position is missing.
    """
    if space.handedness == "left":
        space = space.mirrored()
    missing = [name for name in POSITION_NAMES if space.positions.time(name) is None]
    if missing:
        raise DataError(f"The swing has no {words(missing[0])}.", "Only a swing with all nine positions is measured.")
    look = _Look(space)
    out = {"stature_m": space.stature_m}
    for part in (_posture, _turn, _plane, _shift, _tempo, _club, _finish, _flow):
        out |= part(look)
    return out


class _Look:
    """A right-hander's swing at any moments; lead is left."""

    def __init__(self, space: SpaceTrack) -> None:
        self.space = space
        self.at = space.positions.times()
        self.all = np.concatenate([space.points, space.grip[:, None], space.club_head[:, None]], axis=1)

    def rows(self, times_s: FloatArray) -> FloatArray:
        """(N, 35, 3) m: landmarks, grip, club head at ``times_s`` (N,)."""
        return interpolated(self.space.time_s, self.all, times_s)

    def moment(self, name: str) -> _Moment:
        return _Moment(self.rows(np.array([self.at[name]])), self.space.ball)

    def stretch(self, start: str, stop: str, part: tuple[float, float] = (0.0, 1.0), n: int = 41) -> _Moment:
        shares = np.linspace(*part, n)
        return _Moment(self.rows(self.at[start] + shares * (self.at[stop] - self.at[start])), self.space.ball)


class _Moment:
    """Points (N, 3) by name."""

    def __init__(self, rows: FloatArray, ball: FloatArray | None) -> None:
        self._rows = rows
        self.ball = ball

    def __call__(self, name: str) -> FloatArray:
        """``lead_knee``, ``hips`` (middle of both), ``grip``, ``club_head``."""
        if name == "grip":
            return self._rows[:, 33]
        if name == "club_head":
            return self._rows[:, 34]
        side, _, joint = name.partition("_")
        if side in ("lead", "trail"):
            return self._rows[:, INDEX[f"{'left' if side == 'lead' else 'right'}_{joint}"]]
        joint = name.removesuffix("s")
        return np.asarray(0.5 * (self(f"lead_{joint}") + self(f"trail_{joint}")), np.float64)

    @property
    def spine(self) -> FloatArray:
        return np.asarray(self("shoulders") - self("hips"), np.float64)

    @property
    def shaft(self) -> FloatArray:
        return np.asarray(self("club_head") - self("grip"), np.float64)

    @property
    def points_cm(self) -> float:
        """Where the shaft's line meets the ground, cm outside (+) or inside (−) the ball; median of the rows."""
        grip, along = self("grip"), self.shaft
        level = 0.0 if self.ball is None else float(self.ball[2])
        beside = np.nan if self.ball is None else float(self.ball[1])
        with np.errstate(divide="ignore", invalid="ignore"):
            y = grip[:, 1] + (level - grip[:, 2]) / along[:, 2] * along[:, 1]
        return float(100.0 * np.median(y - beside))


def interpolated(time_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    """Cubic (Lagrange, through the four nearest samples) values (T, …) at ``at_s`` (N,)."""
    first = np.clip(np.searchsorted(time_s, at_s, side="right") - 2, 0, len(time_s) - 4)
    rows = first[:, None] + np.arange(4)
    x = time_s[rows]
    weight = np.ones_like(x)
    for i in range(4):
        for j in range(4):
            if i != j:
                weight[:, i] *= (at_s - x[:, j]) / (x[:, i] - x[:, j])
    return np.asarray(np.einsum("ni,ni...->n...", weight, values[rows]), np.float64)


def _heading(line: FloatArray) -> FloatArray:
    """Degrees of a line seen from above, 0 along the target line, + turned towards the ball line."""
    return np.asarray(np.degrees(np.arctan2(line[:, 1], line[:, 0])), np.float64)


def _between(a: FloatArray, b: FloatArray) -> float:
    cosine = np.sum(a * b, -1) / (np.linalg.norm(a, axis=-1) * np.linalg.norm(b, axis=-1))
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))[0])


def _across(moment: _Moment, joint: str) -> FloatArray:
    return np.asarray(moment(f"lead_{joint}") - moment(f"trail_{joint}"), np.float64)


def _turned(look: _Look, joint: str, name: str) -> float:
    """Degrees the line through both joints has turned since address, seen from above; + away from the target."""
    now, before = (_heading(_across(look.moment(at), joint))[0] for at in (name, "address"))
    turn = float(now - before)
    # The finish is turned by more than half a circle from the top, never from address.
    return (turn + 180.0) % 360.0 - 180.0


def _steepness(shaft: FloatArray) -> float:
    """Degrees of the shaft to the ground seen down the line: 0 level towards the ball, 90 straight down."""
    return float(np.degrees(np.arctan2(-shaft[0, 2], shaft[0, 1])))


def _side_bend(moment: _Moment) -> float:
    spine = moment.spine[0]
    return float(np.degrees(np.arctan2(-spine[0], spine[2])))


def _lean(moment: _Moment) -> float:
    """Degrees of the shaft to the upright seen face on, + the hands ahead of the club head."""
    shaft = moment.shaft[0]
    return float(np.degrees(np.arctan2(-shaft[0], -shaft[2])))


def _knee(moment: _Moment) -> float:
    flex = [
        180.0 - _between(moment(f"{s}_hip") - moment(f"{s}_knee"), moment(f"{s}_ankle") - moment(f"{s}_knee"))
        for s in ("lead", "trail")
    ]
    return float(np.mean(flex))


def _posture(look: _Look) -> dict[str, float]:
    a = look.moment("address")
    spine = a.spine[0]
    arm = (a("grip") - a("shoulders"))[0]
    foot = (a("lead_foot_index") - a("lead_heel"))[0]
    out = {
        "arm_hang_deg": float(np.degrees(np.arctan2(arm[1], -arm[2]))),
        "forward_bend_deg": float(np.degrees(np.arctan2(spine[1], spine[2]))),
        "side_bend_deg": _side_bend(a),
        "knee_flex_deg": _knee(a),
        "lead_foot_out_deg": float(np.degrees(np.arctan2(foot[0], foot[1]))),
        "stance_cm": float(100.0 * (a("lead_ankle") - a("trail_ankle"))[0, 0]),
    }
    if a.ball is not None:
        out["ball_forward_cm"] = float(100.0 * (a.ball - a("ankles")[0])[0])
    return out


def _turn(look: _Look) -> dict[str, float]:
    return {
        "shoulder_turn_deg": _turned(look, "shoulder", "top"),
        "pelvis_turn_deg": _turned(look, "hip", "top"),
        "side_bend_top_deg": _side_bend(look.moment("top")),
        "shoulders_open_deg": -_turned(look, "shoulder", "impact"),
        "pelvis_open_deg": -_turned(look, "hip", "impact"),
    }


def _plane(look: _Look) -> dict[str, float]:
    address, top, down = (look.moment(name) for name in ("address", "top", "lead_arm_level_down"))
    arm, spine = (top("lead_wrist") - top("lead_shoulder"))[:, 1:], top.spine[:, 1:]
    plane, shaft = _steepness(address.shaft), top.shaft
    back = look.moment("lead_arm_level_back")
    elbow, shoulder, wrist = (back(f"trail_{joint}")[0, 2] for joint in ("elbow", "shoulder", "wrist"))
    return {
        "shaft_plane_deg": plane,
        "hands_height_back_pct": float(100.0 * (wrist - elbow) / (shoulder - elbow)),
        "points_back_cm": back.points_cm,
        "lead_arm_to_spine_deg": _between(arm, spine),
        "hands_over_heels_cm": float(100.0 * (top("wrists") - address("heels"))[0, 1]),
        "shaft_past_level_deg": float(np.degrees(np.arcsin(-shaft[0, 2] / np.linalg.norm(shaft[0])))),
        "shaft_across_deg": float(_heading(shaft)[0]),
        "steeper_down_deg": (_steepness(down.shaft) - plane + 90.0) % 180.0 - 90.0,
        "points_down_cm": look.stretch("top", "shaft_level_down", DELIVERY).points_cm,
        "hands_out_cm": float(100.0 * (look.moment("impact")("wrists") - address("wrists"))[0, 1]),
        "points_through_cm": look.stretch("impact", "shaft_level_through", RELEASE).points_cm,
    }


def _shift(look: _Look) -> dict[str, float]:
    address, top, impact = (look.moment(name) for name in ("address", "top", "impact"))
    back = look.stretch("address", "top", n=121)("hips")[:, 0]
    ankle, hip = address("trail_ankle")[0], address("trail_hip")[0]
    now = top("trail_hip")[0]
    line = ankle[0] + (now[2] - ankle[2]) * (hip[0] - ankle[0]) / (hip[2] - ankle[2])
    return {
        "push_cm": float(100.0 * (back[0] - back.min())),
        "gap_cm": float(100.0 * (now[0] - line)),
        "shift_cm": float(100.0 * (impact("hips")[0, 0] - back.min())),
    }


def _tempo(look: _Look) -> dict[str, float]:
    at = look.at
    return {
        "backswing_s": at["top"] - at["address"],
        "downswing_s": at["impact"] - at["top"],
        "finish_s": at["finish"] - at["impact"],
    }


def _club(look: _Look) -> dict[str, float]:
    def wrist(name: str) -> float:
        moment = look.moment(name)
        return 180.0 - _between(moment("lead_elbow") - moment("lead_wrist"), -moment.shaft)

    through = look.moment("shaft_level_through")
    arm, shaft = (line[0, [0, 2]] for line in (through("wrists") - through("trail_shoulder"), through.shaft))
    past = np.degrees(np.arctan2(shaft[1], shaft[0]) - np.arctan2(arm[1], arm[0]))
    shaft_m = float(np.linalg.norm(look.moment("address").shaft[0]))
    return {
        "length_cm": 100.0 * (shaft_m + HANDS_FROM_BUTT_M),
        "release_deg": float((past + 180.0) % 360.0 - 180.0),
        "lean_address_deg": _lean(look.moment("address")),
        "lean_impact_deg": _lean(look.moment("impact")),
        "wrist_set_deg": wrist("lead_arm_level_back"),
        "lag_deg": wrist("lead_arm_level_down"),
    }


def _finish(look: _Look) -> dict[str, float]:
    finish = look.moment("finish")
    foot = (finish("trail_heel") - finish("trail_foot_index"))[0]
    return {
        "chest_through_deg": -_turned(look, "shoulder", "finish") % 360.0,
        "hands_over_shoulder_cm": float(100.0 * (finish("wrists") - finish("lead_shoulder"))[0, 2]),
        "heel_lift_deg": float(np.degrees(np.arcsin(foot[2] / np.linalg.norm(foot)))),
    }


def _flow(look: _Look) -> dict[str, float]:
    """No parameter: how evenly the hands go on to the ball, their mean speed after shaft level ÷ before it."""

    def speed(start: str, stop: str) -> float:
        rows = look.stretch(start, stop)("grip")
        way = float(np.sum(np.linalg.norm(np.diff(rows, axis=0), axis=-1)))
        return way / (look.at[stop] - look.at[start])

    return {"hands_even": speed("shaft_level_down", "impact") / speed("lead_arm_level_down", "shaft_level_down")}
