"""Make the keyed movement meet the ball, and find when it passes the nine positions.

The keys say how a swing goes; three things are solved for each body, club, style and fault: where the hands and the
ball are at address, how the club meets the ball at impact, and the times of the positions.
"""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError
from overlay.golfer import keys as k
from overlay.golfer import skeleton
from overlay.golfer.curves import Curves
from overlay.golfer.spec import CLUB_LENGTH_M, GolferSpec
from overlay.settings.golfer import GolferSettings
from overlay.terms import POSITION_NAMES

SOLVED = ("arm_x", "arm_y", "arm_z", "psi", "delta")
"""Curves whose address and impact values are not keyed but solved."""


def values_at(curves: Curves, phase: FloatArray, spec: GolferSpec) -> dict[str, FloatArray]:
    """Movement values at canonical times (T,), with the little sway of someone who stands."""
    values = curves.at(phase)
    # Standing people are never quite still; too little to be seen as movement of the club (under 2 mm).
    rng = np.random.default_rng([spec.seed, 7])
    start = rng.uniform(0, 2 * np.pi, 2)
    values["pelvis_x"] = values["pelvis_x"] + 0.0012 * np.sin(2 * np.pi * phase / 2.9 + start[0])
    values["lean"] = values["lean"] + 0.04 * np.sin(2 * np.pi * phase / 2.3 + start[1])
    return values


@dataclass(frozen=True)
class Solved:
    """A movement that meets the ball: curves, build, where the club head lies at address (3,), and the added bend."""

    curves: Curves
    build: skeleton.Build
    head_place: FloatArray
    bend_deg: float


@dataclass(frozen=True)
class _Address:
    build: skeleton.Build
    values: dict[str, FloatArray]
    grip: FloatArray
    head_place: FloatArray


def solve(spec: GolferSpec, settings: GolferSettings) -> Solved:
    """Curves and build such that the club lies behind the ball at address and meets it at impact.

    Raises
    ------
    InputError
        This body cannot hold the club to the ball.
    """
    faultless_bend_deg = None
    if any(spec.faults.values()):
        faultless_bend_deg = solve(dataclasses.replace(spec, faults={}), settings).bend_deg
    keys = k.keys_of(spec)
    scale = spec.body.stature_m / 1.78
    base_y = -0.115 * scale
    keys["pelvis_y"] = [(t, base_y + value * scale) for t, value in keys["pelvis_y"]]
    curves = Curves(k.START, k.REST)
    for name, pairs in keys.items():
        if name not in SOLVED:
            curves.add(name, pairs, k.FAST if name in k.FAST_CURVES else k.SLOW)
    still = curves.at(np.array([-0.3]))
    struck = curves.at(np.array([k.IMPACT]))
    start = _address(spec, settings, still)
    x = _strike(spec, settings, struck, start, faultless_bend_deg)
    hit = _arm(x[None])

    k.turn_shaft(keys, start.build.plane_deg, k.ACROSS_DEG * (spec.fault("across_the_line") - spec.fault("laid_off")))
    shape = {k.TOP: 0.0, k.LALD: 0.6, k.SLD: 0.9, k.IMPACT: 1.0, k.SLT: 0.8, 1.36: 0.0}
    k.bump(keys, "bend", shape, float(x[4]))
    curves.add("bend", keys["bend"], k.SLOW)
    for name in SOLVED:
        pairs = [(t, value) for t, value in keys[name] if t not in (0, k.IMPACT)]
        pairs += [(0.0, float(start.values[name][0])), (k.IMPACT, float(hit[name][0]))]
        if name == "psi":
            # The club is fastest at the ball: the middle of the strike is keyed, not left to the neighbours.
            pairs += [(k.IMPACT + dt, float(hit[name][0]) + da) for dt, da in k.STRIKE]
        extra = k.waggle(curves.grid, spec.tempo.waggle) if name == "psi" else None
        curves.add(name, sorted(pairs), k.FAST, extra)
    # Smoothing moves the keyed impact by a little; bumps about it put it back.
    wanted = {name: float(hit[name][0]) for name in SOLVED} | {"bend": float(struck["bend"][0] + x[4])}
    for name, value in wanted.items():
        width = 0.09 if name == "bend" else 0.03
        bell = np.exp(-0.5 * ((curves.grid - k.IMPACT) / width) ** 2)
        for _ in range(4):
            off = value - float(curves.at(np.array([k.IMPACT]))[name][0])
            curves.set(name, curves.row(name) + off * bell)
    return Solved(curves, start.build, start.head_place, float(x[4]))


def _address(spec: GolferSpec, settings: GolferSettings, still: dict[str, FloatArray]) -> _Address:
    """Hands hang in front of the chest, the shaft goes from them to the ground; its slope is the swing plane."""
    scale = spec.body.stature_m / 1.78
    driver = spec.club == "driver"
    stance = (0.30 if driver else 0.25) * spec.body.stature_m * (1.0 + spec.style.stance_width)
    stance += spec.control("stance_m")
    ahead_m = (-0.045 if driver else 0.02) + spec.control("hands_ahead_m")
    hands_x = (0.085 if driver else 0.075) * scale + spec.control("ball_m") + spec.control("hands_ahead_m")
    hang = np.radians((12.0 if driver else 3.5) + spec.style.arm_hang_deg + spec.control("hang_deg"))
    club_m = CLUB_LENGTH_M[spec.club] + spec.control("club_m")
    head_z = settings.head_height_m + (settings.tee_height_m if driver else 0.0)
    values = dict(still)
    values |= {"arm_x": np.zeros(1), "arm_y": np.array([np.sin(hang)]), "arm_z": np.array([-np.cos(hang)])}
    values |= {"psi": np.zeros(1), "delta": np.zeros(1)}
    plane = 55.0
    for _ in range(12):
        build = skeleton.Build.of(spec.body, club_m, stance, spec.style.flare_deg, plane)
        now = skeleton.pose(values, build)
        grip, shoulder = now["grip"][0], now["lead_shoulder"][0]
        head_x = grip[0] - ahead_m
        out2 = max(build.shaft**2 - (grip[2] - head_z) ** 2 - (head_x - grip[0]) ** 2, 0.01)
        far = float(np.linalg.norm(grip - shoulder))
        across = (hands_x - shoulder[0]) / far
        down = np.sqrt(max(1.0 - across**2, 0.01))
        values["arm_x"] = np.array([across])
        values["arm_y"] = np.array([np.sin(hang) * down])
        values["arm_z"] = np.array([-np.cos(hang) * down])
        plane = float(np.degrees(np.arctan2(grip[2] - head_z, np.sqrt(out2))))
        values["psi"] = np.degrees(np.arcsin(np.clip([(grip[0] - head_x) / build.shaft], -1, 1)))
    build = skeleton.Build.of(spec.body, club_m, stance, spec.style.flare_deg, plane)
    now = skeleton.pose(values, build)
    if abs(float(now["club_head"][0, 2]) - head_z) > 0.004:
        raise InputError(
            "The club does not reach the ground at address.", "Use a longer club or a body with longer arms."
        )
    return _Address(build, values, now["grip"][0], now["club_head"][0])


def _strike(
    spec: GolferSpec,
    settings: GolferSettings,
    struck: dict[str, FloatArray],
    start: _Address,
    faultless_bend_deg: float | None,
) -> FloatArray:
    """(5,) arm towards the target and out from hanging, psi, delta, added bend of the trunk, all degrees.

    Four put the head back on its address place with the hands ahead of it; the fifth lets the hands pass a little
    further out than at address. A fault keeps the faultless bend; where the ball is then out of reach the bend
    becomes what lets the arms, seen down the line, be nearly in one line with the shaft.
    """
    lean = 0.035 if spec.club == "driver" else 0.075
    lean += spec.style.shaft_lean_m + spec.control("hands_ahead_impact_m") - 0.07 * spec.fault("early_release")
    place = [*start.head_place, start.head_place[0] + lean]

    def result(parameters: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        v = {name: np.repeat(value, len(parameters)) for name, value in struck.items()}
        v |= _arm(parameters)
        v["bend"] = v["bend"] + parameters[:, 4]
        now = skeleton.pose(v, start.build)
        arm = now["grip"] - now["lead_shoulder"]
        fold = np.arctan2(arm[:, 1], -arm[:, 2]) - np.arctan2(now["shaft"][:, 1], -now["shaft"][:, 2])
        return np.concatenate([now["club_head"], now["grip"][:, :1]], axis=1), now["grip"][:, 1:2], fold[:, None]

    def attempt(free: int, fifth: int, target: float, bend_deg: float, back_m: float) -> FloatArray | None:
        x = np.array([-8.0, 25.0, 0.0, 0.0, bend_deg])
        wanted = np.array([*place, target])[:free]
        wanted[3] -= back_m
        for _ in range(40):
            parts = result(np.concatenate([x[None], x[None] + 0.05 * np.eye(5)[:free]]))
            got = np.concatenate([parts[0], parts[fifth]], axis=1)[:, :free]
            error = wanted - got[0]
            if np.max(np.abs(error)) < 1e-8:
                return x
            step = np.linalg.lstsq(((got[1:] - got[0]) / 0.05).T, error, rcond=1e-4)[0]
            x[:free] += np.clip(step, -10.0, 10.0)
        return None

    out_m = float(start.grip[1]) + settings.hands_out_at_impact_m + spec.control("hands_out_m")
    fold = np.radians(-settings.least_fold_deg)
    tries: list[tuple[int, int, float, float]]
    if faultless_bend_deg is None:
        # Unusual proportions may not allow the usual hand place: a little further in or out.
        tries = [(5, 1, out_m + shift, 0.0) for shift in (0.0, -0.03, 0.03)]
    else:
        tries = [(4, 1, 0.0, faultless_bend_deg), (5, 2, fold, faultless_bend_deg)]
    # Last, the hands less far ahead: a short trail arm holds them back.
    options = [(*option, back_m) for back_m in (0.0, 0.02, 0.04) for option in tries]
    found = next((x for x in (attempt(*option) for option in options) if x is not None), None)
    if found is None:
        raise InputError(
            "This player cannot reach the ball at impact with straight arms.",
            "Use smaller faults, a style nearer to the usual one, or proportions nearer to 1.",
        )
    return found


def _arm(parameters: FloatArray) -> dict[str, FloatArray]:
    """Arm direction and shaft angles from rows (towards target deg, out deg, psi, delta)."""
    a, b = np.radians(parameters[:, 0]), np.radians(parameters[:, 1])
    return {
        "arm_x": np.sin(a),
        "arm_y": np.cos(a) * np.sin(b),
        "arm_z": -np.cos(a) * np.cos(b),
        "psi": parameters[:, 2],
        "delta": parameters[:, 3],
    }


def events_of(
    spec: GolferSpec, curves: Curves, build: skeleton.Build, head_place: FloatArray, settings: GolferSettings
) -> dict[str, float]:
    """Canonical times of the nine positions, by bracketing on a grid and refining each bracket twice."""
    still = settings.still_m
    held = skeleton.pose(values_at(curves, np.array([-0.3, k.END + 0.08]), spec), build)["club_head"]

    def signals(phase: FloatArray) -> dict[str, FloatArray]:
        v = values_at(curves, phase, spec)
        now = skeleton.pose(v, build)
        near = values_at(curves, np.concatenate([phase - 1e-4, phase + 1e-4]), spec)["psi"]
        return {
            "address": np.linalg.norm(now["club_head"] - held[0], axis=-1) - still,
            "shaft": now["club_head"][:, 2] - now["grip"][:, 2],
            "arm": now["lead_wrist"][:, 2] - now["lead_shoulder"][:, 2],
            "top": near[: len(phase)] - near[len(phase) :],
            "impact": now["club_head"][:, 0] - head_place[0],
            "finish": np.linalg.norm(now["club_head"] - held[1], axis=-1) - still,
        }

    top, hit, end = k.TOP, k.IMPACT, k.END
    plan = {
        "address": ("address", -0.3, 0.4, +1),
        "shaft_level_back": ("shaft", 0.1, top - 0.1, +1),
        "lead_arm_level_back": ("arm", 0.1, top - 0.02, +1),
        "top": ("top", top - 0.12, top + 0.09, +1),
        "lead_arm_level_down": ("arm", top + 0.02, hit - 0.03, -1),
        "shaft_level_down": ("shaft", top + 0.06, hit - 0.01, -1),
        "impact": ("impact", hit - 0.03, hit + 0.03, +1),
        "shaft_level_through": ("shaft", hit + 0.01, hit + 0.2, +1),
        "finish": ("finish", end + 0.08, k.REST, +1),
    }
    brackets: dict[str, tuple[float, float]] = {}
    coarse = np.arange(-0.3, k.REST, 0.003)
    found = signals(coarse)
    for name, (signal, start, stop, sign) in plan.items():
        inside = (coarse >= start) & (coarse <= stop)
        value = sign * found[signal]
        crossing = np.flatnonzero(inside[:-1] & inside[1:] & (value[:-1] < 0) & (value[1:] >= 0))
        if len(crossing) == 0:
            raise InputError(
                f"This swing never reaches {name.replace('_', ' ')}.", "Use smaller faults or a usual style."
            )
        i = crossing[-1] if name in ("address", "shaft_level_down") else crossing[0]
        brackets[name] = (float(coarse[i]), float(coarse[i + 1]))
    for _ in range(3):
        grids = {name: np.linspace(a, b, 17) for name, (a, b) in brackets.items()}
        found = signals(np.concatenate(list(grids.values())))
        for n, (name, grid) in enumerate(grids.items()):
            signal, _, _, sign = plan[name]
            value = sign * found[signal][17 * n : 17 * (n + 1)]
            i = int(np.flatnonzero((value[:-1] < 0) & (value[1:] >= 0))[0])
            share = value[i] / (value[i] - value[i + 1])
            brackets[name] = (float(grid[i]), float(grid[i + 1]))
            grids[name] = np.array([grid[i] + share * (grid[i + 1] - grid[i])])
        last = {name: float(grid[0]) for name, grid in grids.items()}
    order = [last[name] for name in POSITION_NAMES]
    if any(b <= a for a, b in itertools.pairwise(order)):
        raise InputError("The positions of this swing are out of order.", "Use smaller faults or a usual style.")
    return last
