"""From a coach's numbers to a swing in space that shows them.

The synthetic golfer knows how a swing goes; its controls change it. Which control values give the wanted numbers is
found by Newton's method with a Jacobian that is kept up to date by Broyden's rank-one steps (Broyden 1965, Math Comp
19:577): what counts is what can be measured on the finished swing, not what went in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Position, Positions, SpaceTrack
from overlay.errors import InputError
from overlay.golfer import BodySpec, GolferSpec, Motion, StyleSpec, TempoSpec, simulate, space_track
from overlay.golfer.controls import LIMITS
from overlay.golfer.spec import CLUB_LENGTH_M, ClubKind
from overlay.maker.measured import measured
from overlay.maker.parameters import KINDS, PARAMETERS, Parameters, shipped_parameters
from overlay.maker.start import START
from overlay.settings.maker import MAKER, MakerSettings
from overlay.terms import POSITION_NAMES

SOLVED: Mapping[str, tuple[str, float]] = {
    "forward_bend_deg": ("bend_deg", 1.0),
    "side_bend_deg": ("lean_deg", 1.0),
    "knee_flex_deg": ("knee_deg", 1.0),
    "arm_hang_deg": ("hang_deg", 1.0),
    "stance_cm": ("stance_m", 0.01),
    "ball_forward_cm": ("ball_m", 0.01),
    "shoulder_turn_deg": ("shoulders_deg", 1.0),
    "pelvis_turn_deg": ("pelvis_deg", 1.0),
    "side_bend_top_deg": ("lean_top_deg", 1.0),
    "shoulders_open_deg": ("shoulders_strike_deg", 1.0),
    "pelvis_open_deg": ("pelvis_strike_deg", 1.0),
    "points_back_cm": ("shaft_back_deg", 0.5),
    "hands_height_back_pct": ("steep_back_deg", 1.0),
    "lead_arm_to_spine_deg": ("arm_up", 0.02),
    "hands_over_heels_cm": ("arm_deep", 0.02),
    "shaft_past_level_deg": ("shaft_top_deg", 1.0),
    "shaft_across_deg": ("shaft_across_deg", 1.0),
    "steeper_down_deg": ("shaft_down_deg", 1.0),
    "hands_out_cm": ("hands_out_m", 0.01),
    "points_down_cm": ("shaft_low_deg", 0.5),
    "points_through_cm": ("shaft_through_deg", 0.5),
    "push_cm": ("push_m", 0.01),
    "gap_cm": ("top_m", 0.01),
    "shift_cm": ("shift_m", 0.01),
    "lean_address_deg": ("hands_ahead_m", 0.01),
    "lean_impact_deg": ("hands_ahead_impact_m", 0.01),
    "wrist_set_deg": ("set_deg", 1.0),
    "lag_deg": ("lag_deg", 1.0),
    "hands_even": ("arm_late", 0.02),
    "release_deg": ("arm_through", 0.02),
    "chest_through_deg": ("chest_finish_deg", 1.0),
    "hands_over_shoulder_cm": ("hands_finish", 0.02),
    "heel_lift_deg": ("heel_finish_deg", 1.0),
}
"""Parameter → the control that moves it most, and the size of a small step of it. The others are set directly.
``hands_even`` is no parameter of the file: it keeps the hands from stalling on their way to the ball."""

ALWAYS: dict[str, float] = {"trail_long_deg": 10.0, "chest_through_deg": 6.0, "elbow_under": 0.45}
"""Of every model, after looking at stills of all positions: at impact the trail arm is nearly straight; the chest goes
on turning after it, so that arms and club do not run away from it; at the top the trail elbow is under the hands."""

_TOLERANCE = {**{parameter.name: parameter.tolerance for parameter in PARAMETERS}, "hands_even": 0.05}
_ALLOWED = np.array([_TOLERANCE[name] for name in SOLVED])
_STEP = np.array([step for _, step in SOLVED.values()])
_LIMIT = np.array([LIMITS[control] for control, _ in SOLVED.values()]) / _STEP
_UNIT = {parameter.name: parameter.unit for parameter in PARAMETERS}


@dataclass(frozen=True)
class Made:
    """A solved swing: its golfer, its motion and what of the parameters was measured on it."""

    spec: GolferSpec
    motion: Motion
    space: SpaceTrack
    measured: Mapping[str, float]


def make_swing(parameters: Parameters, *, settings: MakerSettings = MAKER) -> Made:
    """Solve for the swing whose measured values are the parameters.

    Raises
    ------
    InputError
        No swing has these numbers together: the message names the one that is missed most and how near it comes.
    """
    base = shipped_parameters(parameters.kind)
    start = START[parameters.kind]
    u = np.array([start.get(control, 0.0) / step for control, step in SOLVED.values()])
    done, stride = 0.0, 1.0
    nearest: FloatArray | None = None
    # From the shipped swing towards the wanted one: at once if that works, else in ever smaller strides.
    for _ in range(settings.most_strides):
        stride = min(stride, 1.0 - done)
        goal = _between(base, parameters, done + stride)
        reached, left = _solved(_Missed(goal, settings), u, settings)
        if left is not None and float(np.max(np.abs(left))) <= 1.0:
            u, done = reached, done + stride
            if goal is parameters:
                return _swing(parameters, u * _STEP, settings)
        else:
            stride *= 0.5
            nearest = left if goal is parameters else nearest
    raise _impossible(parameters, nearest)


def _between(base: Parameters, wanted: Parameters, share: float) -> Parameters:
    """Part of the way from one set of numbers to another."""
    if share >= 1.0:
        return wanted
    return Parameters(base.kind, {n: v + share * (wanted[n] - v) for n, v in base.values.items()}, {}, wanted.origin)


class _Missed:
    """What is missed of the wanted numbers, in tolerances, by controls in small steps; None where there is no swing."""

    def __init__(self, parameters: Parameters, settings: MakerSettings) -> None:
        self._parameters = parameters
        self._settings = settings
        self._wanted = _wanted(parameters, settings)

    def __call__(self, u: FloatArray) -> FloatArray | None:
        try:
            made = _swing(self._parameters, u * _STEP, self._settings)
        except InputError:
            return None
        return np.asarray((np.array([made.measured[name] for name in SOLVED]) - self._wanted) / _ALLOWED, np.float64)


def _wanted(parameters: Parameters, settings: MakerSettings) -> FloatArray:
    return np.array([{**parameters.values, "hands_even": settings.hands_even}[name] for name in SOLVED])


Miss = Callable[[FloatArray], "FloatArray | None"]


def _solved(miss: Miss, u: FloatArray, settings: MakerSettings) -> tuple[FloatArray, FloatArray | None]:
    """Controls and what is still missed there: Levenberg's damped steps, slopes kept by Broyden's updates.

    None when there is no swing to begin from.
    """
    now = miss(u)
    if now is None or float(np.max(np.abs(now))) <= settings.share_of_tolerance:
        return u, now
    jacobian = _jacobian(miss, u, now)
    damping, fresh = 1e-3, True
    for _ in range(settings.most_steps):
        normal = jacobian.T @ jacobian
        scale = np.diag(np.maximum(np.diag(normal), 1e-3))
        move = np.linalg.solve(normal + damping * scale, -jacobian.T @ now)
        move = move / max(1.0, float(np.max(np.abs(move))) / settings.largest_steps)
        new = np.clip(u + move, -_LIMIT, _LIMIT)
        after = miss(new)
        if after is None or float(np.linalg.norm(after)) >= float(np.linalg.norm(now)):
            damping *= 8.0
            if damping > 1e2:
                if fresh:
                    break
                jacobian, damping, fresh = _jacobian(miss, u, now), 1e-3, True
            continue
        change = new - u
        jacobian = jacobian + np.outer(after - now - jacobian @ change, change) / float(change @ change)
        u, now, damping, fresh = new, after, max(damping / 8.0, 1e-6), False
        if float(np.max(np.abs(now))) <= settings.share_of_tolerance:
            break
    return u, now


def _jacobian(miss: Miss, u: FloatArray, now: FloatArray) -> FloatArray:
    """(N, N) slopes by half a small step; backwards where forwards is no swing."""
    columns = []
    for i in range(len(u)):
        column = np.zeros(len(now))
        for signed in (0.5, -0.5):
            other = u.copy()
            other[i] += signed
            value = miss(other)
            if value is not None:
                column = (value - now) / signed
                break
        columns.append(column)
    return np.stack(columns, axis=1)


def _swing(parameters: Parameters, x: FloatArray, settings: MakerSettings) -> Made:
    controls = {SOLVED[name][0]: float(value) for name, value in zip(SOLVED, x)}
    # Hands further to the target are out of the trail arm's reach unless its shoulder comes along.
    controls |= ALWAYS
    controls["trail_reach_deg"] = settings.reach_deg_per_m * max(0.0, controls["ball_m"])
    spec = _spec(parameters, controls, settings)
    motion = simulate(spec)
    space = kept_space(motion, parameters.kind, settings)
    return Made(spec, motion, space, measured(space))


def _spec(parameters: Parameters, controls: Mapping[str, float], settings: MakerSettings) -> GolferSpec:
    kind: ClubKind = "driver" if KINDS[parameters.kind] == "driver" else "mid_iron"
    longer_m = parameters["length_cm"] / 100.0 - CLUB_LENGTH_M[kind]
    return GolferSpec(
        body=BodySpec(stature_m=parameters["stature_m"]),
        tempo=TempoSpec(
            pre_s=settings.still_s + 0.3,
            backswing_s=parameters["backswing_s"],
            downswing_s=parameters["downswing_s"],
            through_s=settings.through_share * parameters["finish_s"],
            hold_s=(1.0 - settings.through_share) * parameters["finish_s"],
            relax_s=1.3,
            waggle=0.0,
        ),
        style=StyleSpec(flare_deg=parameters["lead_foot_out_deg"] - settings.usual_foot_out_deg),
        club=kind,
        controls={**controls, "club_m": longer_m},
    )


def kept_space(motion: Motion, kind: str, settings: MakerSettings = MAKER) -> SpaceTrack:
    """The swing at the kept rate, impact on a sample, the clock from its first sample."""
    at, rate = motion.position_times, settings.rate_hz
    start = at["impact"] - np.ceil((at["impact"] - at["address"] + settings.still_s) * rate) / rate
    space = space_track(motion, rate, start_s=float(start), stop_s=at["finish"] + settings.after_s)
    found = tuple(Position(name, at[name] - start, 1.0, sd_s=0.0) for name in POSITION_NAMES)
    return SpaceTrack(
        time_s=np.arange(len(space)) / rate,
        points=space.points,
        grip=space.grip,
        club_head=space.club_head,
        ball=space.ball,
        positions=Positions(found, {}),
        stature_m=space.stature_m,
        club_kind=kind,
    )


def _impossible(parameters: Parameters, left: FloatArray | None) -> InputError:
    """The refusal: the number that the nearest swing misses most, and what pulls against it."""
    if left is None:
        return InputError(
            "With this body, club and set-up no swing reaches the ball.",
            "Go back to the stature, stance, ball and club length of the shipped model; change them in smaller steps.",
        )
    names = list(SOLVED)
    order = [names[i] for i in np.argsort(-np.abs(left))]
    name = next(one for one in order if one in parameters.values)
    i = names.index(name)
    others = [one for one in order if one != name and abs(left[names.index(one)]) > 1.0 and one in parameters.values]
    unit = {"degrees": "°", "percent": " %"}.get(_UNIT[name], f" {_UNIT[name]}")
    hint = f"Bring {name} nearer to that"
    hint += f", or change what pulls against it: {' and '.join(others[:2])}." if others else "."
    return InputError(
        f"{name} = {parameters[name]:g} cannot be had together with the other numbers: the nearest swing found shows "
        f"{parameters[name] + left[i] * _ALLOWED[i]:.1f}{unit}.",
        hint,
    )
