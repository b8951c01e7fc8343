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
from overlay.maker.parameters import KINDS, PARAMETERS, Parameters
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

ALWAYS: dict[str, float] = {"trail_long_deg": 10.0, "chest_through_deg": 6.0}
"""Of every model: at impact the trail arm is nearly straight, and the chest goes on turning after it, so that arms and
club do not run away from a chest that stays."""

_TOLERANCE = {**{parameter.name: parameter.tolerance for parameter in PARAMETERS}, "hands_even": 0.05}
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
    names = list(SOLVED)
    wanted = np.array([{**parameters.values, "hands_even": settings.hands_even}[name] for name in names])
    tolerance = np.array([_TOLERANCE[name] for name in names])
    step = np.array([SOLVED[name][1] for name in names])
    limit = np.array([LIMITS[SOLVED[name][0]] for name in names])

    def miss(u: FloatArray) -> FloatArray | None:
        """In tolerances, of controls in small steps."""
        try:
            made = _swing(parameters, u * step, settings)
        except InputError:
            return None
        return (np.array([made.measured[name] for name in names]) - wanted) / tolerance

    begin = miss(np.zeros(len(names)))
    if begin is None:
        raise InputError(
            "With this body, club and tempo there is no swing to begin from.",
            "Go back to the stature, club length and lead foot of the shipped model, and change them in smaller steps.",
        )
    u, left = _solved(miss, begin, limit / step, settings)
    if float(np.max(np.abs(left))) > 1.0:
        raise _impossible(parameters, names, left * tolerance, tolerance)
    return _swing(parameters, u * step, settings)


Miss = Callable[[FloatArray], FloatArray | None]


def _solved(miss: Miss, begin: FloatArray, limit: FloatArray, settings: MakerSettings) -> tuple[FloatArray, FloatArray]:
    """Controls and what is still missed there: Levenberg's damped steps, slopes kept by Broyden's updates."""
    u, now = np.zeros(len(begin)), begin
    jacobian = _jacobian(miss, u, now)
    damping, fresh = 1e-3, True
    for _ in range(settings.most_steps):
        if float(np.max(np.abs(now))) <= settings.share_of_tolerance:
            break
        normal = jacobian.T @ jacobian
        scale = np.diag(np.maximum(np.diag(normal), 1e-3))
        move = np.linalg.solve(normal + damping * scale, -jacobian.T @ now)
        move = move / max(1.0, float(np.max(np.abs(move))) / settings.largest_steps)
        new = np.clip(u + move, -limit, limit)
        after = miss(new)
        if after is None or float(np.linalg.norm(after)) >= float(np.linalg.norm(now)):
            damping *= 8.0
            if damping > 1e3:
                if fresh:
                    break
                jacobian, damping, fresh = _jacobian(miss, u, now), 1e-3, True
            continue
        change = new - u
        slow = float(np.linalg.norm(after)) > 0.5 * float(np.linalg.norm(now))
        jacobian = jacobian + np.outer(after - now - jacobian @ change, change) / float(change @ change)
        u, now, damping = new, after, max(damping / 8.0, 1e-6)
        if slow and not fresh:
            jacobian, fresh = _jacobian(miss, u, now), True
        else:
            fresh = False
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
    space = _space(motion, parameters.kind, settings)
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


def _space(motion: Motion, kind: str, settings: MakerSettings) -> SpaceTrack:
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


def _impossible(parameters: Parameters, names: list[str], miss: FloatArray, tolerance: FloatArray) -> InputError:
    worst = int(np.argmax(np.abs(miss) / tolerance))
    name = names[worst]
    others = [names[i] for i in np.argsort(-np.abs(miss) / tolerance)[1:3] if abs(miss[i]) > tolerance[i]]
    unit = {"degrees": "°", "cm": " cm"}.get(_UNIT[name], f" {_UNIT[name]}")
    hint = f"Bring {name} nearer to that"
    hint += f", or change what it depends on here: {' and '.join(others)}." if others else "."
    return InputError(
        f"{name} = {parameters[name]:g} cannot be had together with the other numbers: the nearest swing found shows "
        f"{parameters[name] + miss[worst]:.1f}{unit}.",
        hint,
    )
