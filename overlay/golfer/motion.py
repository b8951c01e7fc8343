"""Simulate one swing: joints, club and ball at any time, and the true times of the nine positions.

World axes, metres: X towards the target of a right-hander, Y from the player towards the ball line, Z up, origin on
the ground midway between the feet. (Seen from above, with X to the right, Y points down: the player faces the
viewer of a face-on picture and the target is on the viewer's right.) A left-hander is the mirror image in X.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError, InputError
from overlay.golfer import keys as k
from overlay.golfer import skeleton
from overlay.golfer.curves import Clock, Curves
from overlay.golfer.spec import CLUB_LENGTH_M, ClubKind, GolferSpec
from overlay.settings.golfer import GolferSettings
from overlay.terms import POSITION_NAMES, Handedness

_SIDED = ("shoulder", "elbow", "wrist", "hand", "hip", "knee", "ankle", "heel", "toe")
JOINTS: tuple[str, ...] = (
    "pelvis",
    "thorax",
    "neck",
    "head",
    *(f"{side}_{joint}" for joint in _SIDED for side in ("left", "right")),
)
"""Order of ``Motion.joints``."""

BONES: tuple[tuple[str, str], ...] = (
    ("pelvis", "thorax"),
    ("thorax", "neck"),
    ("neck", "head"),
    *(
        (f"{side}_{a}" if a not in ("pelvis", "neck") else a, f"{side}_{b}")
        for a, b in (
            ("neck", "shoulder"),
            ("shoulder", "elbow"),
            ("elbow", "wrist"),
            ("wrist", "hand"),
            ("pelvis", "hip"),
            ("hip", "knee"),
            ("knee", "ankle"),
            ("ankle", "heel"),
            ("heel", "toe"),
        )
        for side in ("left", "right")
    ),
)
"""Pairs of joints whose distance never changes."""


@dataclass(frozen=True)
class Posture:
    """One instant.

    Attributes
    ----------
    time_s : float
    joints : name → (3,) m
        Names in ``JOINTS``.
    head_axes, thorax_axes, pelvis_axes : (3, 3)
        Columns: the player's right, forward, up.
    grip : (3,) m
        Middle of both hands on the shaft.
    club_head : (3,) m
    club_kind : mid_iron or driver
    ball : (3,) m or None
        Centre of the ball: at rest, in flight for a while, then None.
    handedness : right or left
    stature_m : float
    build : slim, medium or broad
    """

    time_s: float
    joints: Mapping[str, FloatArray]
    head_axes: FloatArray
    thorax_axes: FloatArray
    pelvis_axes: FloatArray
    grip: FloatArray
    club_head: FloatArray
    club_kind: ClubKind
    ball: FloatArray | None
    handedness: Handedness
    stature_m: float = 1.78
    build: str = "medium"


class Motion:
    """One swing over time. Made by ``simulate``; see there.

    Attributes
    ----------
    spec : GolferSpec
    duration_s : float
    position_times : name → s
        True times of all nine positions, found on the movement itself.
    ball_rest : (3,) m
    """

    def __init__(
        self,
        spec: GolferSpec,
        curves: Curves,
        build: skeleton.Build,
        ball: FloatArray,
        events: Mapping[str, float],
        duration_s: float,
        to_phase: Callable[[FloatArray], FloatArray],
        to_time: Callable[[FloatArray], FloatArray],
    ) -> None:
        self.spec = spec
        self.duration_s = duration_s
        self._curves = curves
        self._build = build
        self._ball = ball
        self._events = dict(events)
        self._to_phase = to_phase
        self._to_time = to_time
        times = to_time(np.array([events[name] for name in POSITION_NAMES]))
        self.position_times: dict[str, float] = {name: float(t) for name, t in zip(POSITION_NAMES, times)}

    @property
    def ball_rest(self) -> FloatArray:
        """(3,) m: where the ball lies before it is struck."""
        return self._mirror(self._ball)

    @property
    def hand_line_m(self) -> float:
        """Y of the hands at address: where a down-the-line camera stands."""
        return float(self.state(np.array([self.position_times["address"]]))["grip"][0, 1])

    def phase(self, times_s: FloatArray) -> FloatArray:
        """Canonical time (N,) of ``times_s`` (N,): the progress through the swing common to all motions.

        Two motions are at the same stage of the swing when their phases are equal.
        """
        return self._to_phase(np.atleast_1d(np.asarray(times_s, dtype=np.float64)))

    def time_of(self, phase: FloatArray) -> FloatArray:
        """Inverse of ``phase``."""
        return self._to_time(np.atleast_1d(np.asarray(phase, dtype=np.float64)))

    def warped(self, time_map: Callable[[FloatArray], FloatArray], duration_s: float) -> Motion:
        """The same movement on another clock.

        Parameters
        ----------
        time_map : callable
            New time (N,) → old time (N,), strictly increasing on [0, duration_s].
        duration_s : float
            Length of the new motion.

        Raises
        ------
        DataError
            The map is not strictly increasing.
        """
        grid = np.linspace(-0.5, duration_s + 0.5, max(2, int((duration_s + 1.0) / 0.002)))
        old = np.asarray(time_map(grid), dtype=np.float64)
        if np.any(np.diff(old) <= 0) or not np.all(np.isfinite(old)):
            raise DataError("The time map is not strictly increasing.", "Give a map that never stops or runs back.")
        to_phase, to_time = self._to_phase, self._to_time

        def new_phase(t: FloatArray) -> FloatArray:
            return to_phase(np.asarray(time_map(t), dtype=np.float64))

        def new_time(phase: FloatArray) -> FloatArray:
            wanted = to_time(phase)
            t = np.interp(wanted, old, grid)
            low, high = t - 0.004, t + 0.004
            for _ in range(50):
                middle = 0.5 * (low + high)
                early = np.asarray(time_map(middle), dtype=np.float64) < wanted
                low, high = np.where(early, middle, low), np.where(early, high, middle)
            return 0.5 * (low + high)

        return Motion(self.spec, self._curves, self._build, self._ball, self._events, duration_s, new_phase, new_time)

    def state(self, times_s: FloatArray) -> dict[str, FloatArray]:
        """All of the scene at ``times_s`` (T,).

        Returns
        -------
        dict
            The names of ``JOINTS``, ``grip``, ``club_head``, ``shaft``: (T, 3); ``ball`` (T, 3), NaN when gone;
            ``pelvis_axes``, ``thorax_axes``, ``head_axes``: (T, 3, 3), columns the player's right, forward, up.
        """
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        raw = skeleton.pose(_values(self._curves, self.phase(times), self.spec), self._build)
        right_handed = self.spec.handedness == "right"
        names = {"left": "lead", "right": "trail"} if right_handed else {"left": "trail", "right": "lead"}
        out: dict[str, FloatArray] = {}
        for name in JOINTS:
            side, _, joint = name.partition("_")
            out[name] = self._mirror(raw[f"{names[side]}_{joint}"] if side in names else raw[name])
        for name in ("grip", "club_head", "shaft"):
            out[name] = self._mirror(raw[name])
        for name in ("pelvis_axes", "thorax_axes", "head_axes"):
            axes = raw[name].copy()
            axes[..., 0] *= -1.0 if right_handed else 1.0  # the lead side is the left side of a right-hander
            if not right_handed:
                axes[:, 0, :] *= -1.0
            out[name] = axes
        out["ball"] = self._mirror(self._ball_at(times))
        return out

    def joints(self, times_s: FloatArray) -> FloatArray:
        """(T, J3, 3) m in the order of ``JOINTS``."""
        state = self.state(times_s)
        return np.stack([state[name] for name in JOINTS], axis=1)

    def posture(self, time_s: float) -> Posture:
        """The scene at one time."""
        return self.postures(np.array([time_s]))[0]

    def postures(self, times_s: FloatArray) -> list[Posture]:
        """The scene at several times (T,); quicker than one by one."""
        state = self.state(times_s)
        made = []
        for i, t in enumerate(np.atleast_1d(times_s)):
            ball = state["ball"][i]
            made.append(
                Posture(
                    time_s=float(t),
                    joints={name: state[name][i] for name in JOINTS},
                    head_axes=state["head_axes"][i],
                    thorax_axes=state["thorax_axes"][i],
                    pelvis_axes=state["pelvis_axes"][i],
                    grip=state["grip"][i],
                    club_head=state["club_head"][i],
                    club_kind=self.spec.club,
                    ball=ball if np.all(np.isfinite(ball)) else None,
                    handedness=self.spec.handedness,
                    stature_m=self.spec.body.stature_m,
                    build=self.spec.body.build,
                )
            )
        return made

    def _mirror(self, points: FloatArray) -> FloatArray:
        if self.spec.handedness == "right":
            return points
        result: FloatArray = points * np.array([-1.0, 1.0, 1.0])
        return result

    def _ball_at(self, times: FloatArray) -> FloatArray:
        flown = times - self.position_times["impact"]
        speed, up_deg = (62.0, 13.0) if self.spec.club == "driver" else (50.0, 18.0)
        place = np.repeat(self._ball[None, :], len(times), axis=0)
        s = np.clip(flown, 0.0, None)
        place[:, 0] += speed * np.cos(np.radians(up_deg)) * s
        place[:, 2] += speed * np.sin(np.radians(up_deg)) * s - 0.5 * 9.81 * s**2
        place[(flown > GolferSettings().ball_flight_s)] = np.nan
        return place


def simulate(spec: GolferSpec) -> Motion:
    """The motion of one swing.

    Parameters
    ----------
    spec : GolferSpec

    Returns
    -------
    Motion
        ``position_times`` are found on the movement by root finding (TRADE words):

        - address: the last moment the club head is within 10 mm of its still place behind the ball;
        - shaft level back, down, through: grip and club head at equal height;
        - lead arm level back, down: lead shoulder and lead wrist at equal height;
        - top: the shaft's angle in the swing plane (through the target line and the shaft at address) turns round;
        - impact: the club head is back at its address place along the target line;
        - finish: the last moment the club head is within 10 mm of its held end place.

    Raises
    ------
    InputError
        This body cannot reach the ball with this style and these faults.
    """
    settings = GolferSettings()
    solved = _solve(spec, settings)
    curves, build, head_place = solved.curves, solved.build, solved.head_place
    events = _events(spec, curves, build, head_place, settings)
    tempo = spec.tempo
    clock = Clock(
        np.cumsum(
            [tempo.pre_s, tempo.backswing_s, tempo.downswing_s, tempo.through_s, tempo.hold_s, tempo.relax_s]
        ).tolist(),
        [events["address"], events["top"], events["impact"], k.END, events["finish"], k.REST],
    )
    radius = settings.ball_radius_m
    tee = settings.tee_height_m if spec.club == "driver" else 0.0
    ball = np.array([head_place[0] + settings.head_behind_ball_m, head_place[1], radius + tee])
    duration = tempo.pre_s + tempo.backswing_s + tempo.downswing_s + tempo.through_s + tempo.hold_s
    duration += tempo.relax_s + tempo.post_s
    return Motion(spec, curves, build, ball, events, duration, clock, clock.inverse)


def true_map(student: Motion, reference: Motion) -> Callable[[FloatArray], FloatArray]:
    """The exact time map: student time (N,) → reference time (N,) at the same stage of the swing."""

    def mapped(times_s: FloatArray) -> FloatArray:
        return reference.time_of(student.phase(times_s))

    return mapped


def _values(curves: Curves, phase: FloatArray, spec: GolferSpec) -> dict[str, FloatArray]:
    values = curves.at(phase)
    # Standing people are never quite still; too little to be seen as movement of the club (under 2 mm).
    rng = np.random.default_rng([spec.seed, 7])
    start = rng.uniform(0, 2 * np.pi, 2)
    values["pelvis_x"] = values["pelvis_x"] + 0.0012 * np.sin(2 * np.pi * phase / 2.9 + start[0])
    values["lean"] = values["lean"] + 0.04 * np.sin(2 * np.pi * phase / 2.3 + start[1])
    return values


@dataclass(frozen=True)
class _Solved:
    curves: Curves
    build: skeleton.Build
    head_place: FloatArray
    bend_deg: float


def _solve(spec: GolferSpec, settings: GolferSettings, faultless_bend_deg: float | None = None) -> _Solved:
    """Curves and build such that the club lies behind the ball at address and meets it at impact."""
    keys = k.keys_of(spec)
    scale = spec.body.stature_m / 1.78
    stance = (0.30 if spec.club == "driver" else 0.25) * spec.body.stature_m * (1.0 + spec.style.stance_width)
    base_y = -0.115 * scale
    keys["pelvis_y"] = [(t, base_y + value * scale) for t, value in keys["pelvis_y"]]
    build = skeleton.Build.of(spec.body, CLUB_LENGTH_M[spec.club], stance, spec.style.flare_deg, 60.0)

    curves = Curves(k.START, k.REST)
    solved = ("arm_x", "arm_y", "arm_z", "psi", "delta")
    for name, pairs in keys.items():
        if name not in solved:
            curves.add(name, pairs, k.FAST if name in k.FAST_CURVES else k.SLOW)

    # Address: hands hang in front of the chest, the shaft goes from them to the ground.
    at = curves.at(np.array([-0.3, k.IMPACT]))
    driver = spec.club == "driver"
    hands_x = (0.085 if driver else 0.075) * scale
    hang = np.radians((13.0 if driver else 11.0) + spec.style.arm_hang_deg)
    first = {name: value[:1] for name, value in at.items()}
    first |= {"arm_x": np.zeros(1), "arm_y": np.array([np.sin(hang)]), "arm_z": np.array([-np.cos(hang)])}
    first |= {"psi": np.zeros(1), "delta": np.zeros(1)}
    plane = 60.0
    head_z = settings.head_height_m + (settings.tee_height_m if driver else 0.0)
    head_place = np.zeros(3)
    for _ in range(8):
        build = skeleton.Build.of(spec.body, CLUB_LENGTH_M[spec.club], stance, spec.style.flare_deg, plane)
        now = skeleton.pose(first, build)
        grip, shoulder = now["grip"][0], now["lead_shoulder"][0]
        far = float(np.linalg.norm(grip - shoulder))
        across = hands_x - shoulder[0]
        down = np.sqrt(max(far**2 - across**2, 0.01))
        first["arm_x"] = np.array([across / far])
        first["arm_y"] = np.array([np.sin(hang) * down / far])
        first["arm_z"] = np.array([-np.cos(hang) * down / far])
        head_x = grip[0] + (0.045 if driver else -0.02)
        flat2 = build.shaft**2 - (grip[2] - head_z) ** 2 - (head_x - grip[0]) ** 2
        if flat2 <= 0.01:
            raise InputError(
                "The club does not reach the ground at address.", "Use a longer club or a body with longer arms."
            )
        plane = float(np.degrees(np.arctan2(grip[2] - head_z, np.sqrt(flat2))))
        head_place = np.array([head_x, grip[1] + np.sqrt(flat2), head_z])
        first["psi"] = np.degrees(np.arcsin(np.clip([(grip[0] - head_x) / build.shaft], -1, 1)))

    # Impact: four unknown angles put the head back on its place with the hands ahead of it; a fifth, more or less
    # bend of the trunk, lets the hands pass a little further out than at address. Faults do not change the fifth.
    lean = (0.035 if driver else 0.075) + spec.style.shaft_lean_m - 0.07 * spec.fault("early_release")
    if faultless_bend_deg is None and any(spec.faults.values()):
        usual = dataclasses.replace(spec, faults={})
        faultless_bend_deg = _solve(usual, settings).bend_deg
    out_m = grip[1] + settings.hands_out_at_impact_m
    wanted = np.array([*head_place, head_place[0] + lean, out_m])
    x = np.array([-8.0, 25.0, 0.0, 0.0, 0.0])  # arm towards target and out from hanging (deg), psi, delta, bend
    free = 5
    if faultless_bend_deg is not None:
        x[4], free = faultless_bend_deg, 4

    def strike(parameters: FloatArray) -> FloatArray:
        n = len(parameters)
        v = {name: np.repeat(value[1:2], n) for name, value in at.items()}
        v |= _arm(parameters)
        v["bend"] = v["bend"] + parameters[:, 4]
        now = skeleton.pose(v, build)
        return np.concatenate([now["club_head"], now["grip"][:, :2]], axis=1)[:, :free]

    error = np.full(free, 9.0)
    for _ in range(40):
        got = strike(np.concatenate([x[None], x[None] + 0.05 * np.eye(5)[:free]]))
        error = wanted[:free] - got[0]
        if np.max(np.abs(error)) < 1e-8:
            break
        slope = ((got[1:] - got[0]) / 0.05).T
        step = np.linalg.lstsq(slope, error, rcond=1e-4)[0]
        x[:free] += np.clip(step, -10.0, 10.0)
    if np.max(np.abs(error)) > 1e-4:
        raise InputError(
            "This player cannot reach the ball at impact with straight arms.",
            "Use smaller faults, a style nearer to the usual one, or proportions nearer to 1.",
        )
    k.bump(keys, "bend", {k.TOP: 0.0, k.LALD: 0.6, k.SLD: 0.9, k.IMPACT: 1.0, k.SLT: 0.8, 1.36: 0.0}, float(x[4]))
    curves.add("bend", keys["bend"], k.SLOW)
    second = _arm(x[None])

    for name in solved:
        pairs = [(t, value) for t, value in keys[name] if t not in (0, k.IMPACT)]
        pairs += [(0.0, float(first[name][0])), (k.IMPACT, float(second[name][0]))]
        if name == "psi":
            # The club is fastest at the ball: the middle of the strike is keyed, not left to the neighbours.
            pairs += [(k.IMPACT + dt, float(second[name][0]) + da) for dt, da in k.STRIKE]
        extra = k.waggle(curves.grid, spec.tempo.waggle) if name == "psi" else None
        curves.add(name, sorted(pairs), k.FAST, extra)
    # Smoothing moves the keyed impact by a little; narrow bumps put it back.
    wide = np.exp(-0.5 * ((curves.grid - k.IMPACT) / 0.09) ** 2)
    for _ in range(3):
        short = at["bend"][1] + x[4] - curves.at(np.array([k.IMPACT]))["bend"][0]
        curves.set("bend", curves.row("bend") + short * wide)
    shape = np.exp(-0.5 * ((curves.grid - k.IMPACT) / 0.03) ** 2)
    for _ in range(3):
        now_at = curves.at(np.array([k.IMPACT]))
        for name in solved:
            curves.set(name, curves.row(name) + (second[name][0] - now_at[name][0]) * shape)
    return _Solved(curves, build, head_place, float(x[4]))


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


def _events(
    spec: GolferSpec, curves: Curves, build: skeleton.Build, head_place: FloatArray, settings: GolferSettings
) -> dict[str, float]:
    """Canonical times of the nine positions, by bracketing on a grid and refining each bracket twice."""
    still = settings.still_m
    held = skeleton.pose(_values(curves, np.array([-0.3, k.END + 0.08]), spec), build)["club_head"]

    def signals(phase: FloatArray) -> dict[str, FloatArray]:
        v = _values(curves, phase, spec)
        now = skeleton.pose(v, build)
        near = _values(curves, np.concatenate([phase - 1e-4, phase + 1e-4]), spec)["psi"]
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
