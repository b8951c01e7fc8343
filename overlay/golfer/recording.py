"""A whole recording at the range: walking in, standing, placing a ball, rehearsing, several swings.

For swing finding: what is not a swing is simple but plausible, what is a swing has all its true times.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError
from overlay.golfer import skeleton
from overlay.golfer.motion import JOINTS, Motion, Posture, named, postures_of, simulate
from overlay.golfer.spec import GolferSpec

ActKind = Literal["walk", "stand", "place_ball", "rehearse", "waggle", "swing"]

BLEND_S = 0.8
"""One act passes into the next over this time, half of it on each side."""

Values = dict[str, FloatArray]


@dataclass(frozen=True)
class Act:
    """One thing the player does.

    Attributes
    ----------
    kind : walk, stand, place_ball, rehearse, waggle or swing
    duration_s : float
        Ignored for a swing, whose tempo says how long it takes.
    swing : GolferSpec or None
        For a swing: another tempo, fault, seed than the recording's golfer; body, hands, club and style must be the
        same.
    ball : struck, stays or none
        For a swing: "stays" is a full rehearsal past a ball that lies there before and after, "none" one without a
        ball.
    size : float
        For a rehearsal: how far back the club goes, 1 = lead arm level; for a waggle: its size.
    """

    kind: ActKind
    duration_s: float = 2.0
    swing: GolferSpec | None = None
    size: float = 1.0
    ball: Literal["struck", "stays", "none"] = "struck"

    def __post_init__(self) -> None:
        if self.ball not in ("struck", "stays", "none"):
            raise InputError(f"{self.ball!r} is no way of a ball.", "Use struck, stays or none.")
        if self.kind not in ("walk", "stand", "place_ball", "rehearse", "waggle", "swing"):
            raise InputError(f"{self.kind!r} is not an act.", "Use walk, stand, place_ball, rehearse, waggle or swing.")
        if not 1.5 <= self.duration_s <= 3600.0:
            raise InputError(f"An act of {self.duration_s:g} s is out of range.", "Give from 1.5 to 3600 s.")
        if not 0.1 <= self.size <= 1.3:
            raise InputError(f"An act of size {self.size:g} is out of range.", "Give from 0.1 to 1.3.")


@dataclass(frozen=True)
class _Piece:
    start_s: float
    stop_s: float
    values: Callable[[FloatArray], Values]
    motion: Motion | None
    ball: str = "struck"


class Recording:
    """A chain of acts over time. Made by ``record``.

    Attributes
    ----------
    spec : GolferSpec
    duration_s : float
    swings : tuple of dict
        True position times of each full swing, on the clock of the recording.
    """

    def __init__(self, spec: GolferSpec, pieces: Sequence[_Piece], build: skeleton.Build) -> None:
        self.spec = spec
        self._pieces = tuple(pieces)
        self._build = build
        self.duration_s = self._pieces[-1].stop_s
        self.swings: tuple[dict[str, float], ...] = tuple(
            {name: piece.start_s + t for name, t in piece.motion.position_times.items()}
            for piece in self._pieces
            if piece.motion is not None
        )

    @property
    def impacts_s(self) -> tuple[float, ...]:
        """Times of all strikes: of the swings that strike a ball."""
        return self._passes("struck")

    @property
    def passes_s(self) -> tuple[float, ...]:
        """Times at which the club passes the ground in a swing that strikes nothing."""
        return tuple(sorted((*self._passes("stays"), *self._passes("none"))))

    def _passes(self, ball: str) -> tuple[float, ...]:
        swings = [piece for piece in self._pieces if piece.motion is not None]
        return tuple(times["impact"] for times, piece in zip(self.swings, swings) if piece.ball == ball)

    def state(self, times_s: FloatArray) -> dict[str, FloatArray]:
        """As ``Motion.state``. The ball lies there from the last placing (or shortly before a swing) to the strike."""
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        total: Values = {}
        for i, piece in enumerate(self._pieces):
            weight = np.ones_like(times)
            if i > 0:
                weight = weight * _ease((times - piece.start_s) / BLEND_S + 0.5)
            if i < len(self._pieces) - 1:
                weight = weight - _ease((times - piece.stop_s) / BLEND_S + 0.5)
            used = np.flatnonzero(weight > 0)
            if len(used) == 0:
                continue
            local = np.clip(times[used], piece.start_s, piece.stop_s) - piece.start_s
            for name, value in piece.values(local).items():
                total.setdefault(name, np.zeros_like(times))[used] += weight[used] * value
        out = named(skeleton.pose(total, self._build), self.spec.handedness)
        ball = np.full((len(times), 3), np.nan)
        for i, piece in enumerate(self._pieces):
            if piece.motion is None or piece.ball == "none":
                continue
            # The ball lies where it was put down, or from the start of the swing's own act.
            before = [p.start_s + 0.5 * (p.stop_s - p.start_s) for p in self._pieces[:i] if p.motion is None]
            appears = before[-1] if before else piece.start_s
            # One that was not struck lies there until the next swing with a ball, which strikes it.
            with_ball = [p for p in self._pieces if p.motion is not None and p.ball != "none"]
            at = with_ball.index(piece)
            if at > 0 and with_ball[at - 1].ball == "stays":
                appears = piece.start_s
            stop = piece.stop_s
            if piece.ball == "stays":
                stop = with_ball[at + 1].start_s if at + 1 < len(with_ball) else np.inf
            shown = (times >= appears) & (times < stop)
            if piece.ball == "stays":
                ball[shown] = piece.motion.ball_rest
            elif np.any(shown):
                ball[shown] = piece.motion.state(times[shown] - piece.start_s)["ball"]
        out["ball"] = ball
        return out

    def joints(self, times_s: FloatArray) -> FloatArray:
        """(T, J3, 3) m in the order of ``JOINTS``."""
        state = self.state(times_s)
        return np.stack([state[name] for name in JOINTS], axis=1)

    def posture(self, time_s: float) -> Posture:
        """The scene at one time."""
        return self.postures(np.array([time_s]))[0]

    def postures(self, times_s: FloatArray) -> list[Posture]:
        """The scene at several times (T,)."""
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        return postures_of(self.state(times), times, self.spec)


def record(spec: GolferSpec, acts: Sequence[Act]) -> Recording:
    """Chain acts into one recording.

    Parameters
    ----------
    spec : GolferSpec
        The player; swings without their own spec use it.
    acts : sequence of Act

    Raises
    ------
    InputError
        No acts, or a swing of another body, hand, club or style.
    """
    if not acts:
        raise InputError("A recording needs at least one act.", "Give for example a walk, a stand and a swing.")
    usual = simulate(dataclasses.replace(spec, faults={}))
    address = usual.values(usual.time_of(np.array([-0.3])))
    pieces: list[_Piece] = []
    clock = 0.0
    for act in acts:
        motion = None
        duration = act.duration_s
        if act.kind == "swing":
            own = act.swing or spec
            if (own.body, own.handedness, own.club, own.style) != (spec.body, spec.handedness, spec.club, spec.style):
                raise InputError("One recording holds one player.", "Keep body, hands, club and style of all swings.")
            motion = simulate(own)
            duration = motion.duration_s
        values = _values_of(act, motion, usual, address)
        pieces.append(_Piece(clock, clock + duration, values, motion, act.ball))
        clock += duration
    return Recording(spec, pieces, usual.build)


def _ease(u: FloatArray) -> FloatArray:
    """Quintic step from 0 to 1 with zero speed and acceleration at both ends."""
    u = np.clip(u, 0.0, 1.0)
    result: FloatArray = u**3 * (10 + u * (6 * u - 15))
    return result


def _still(n: int) -> Values:
    return {f"{side}_step_{axis}": np.zeros(n) for side in ("lead", "trail") for axis in "xyz"}


def _standing(address: Values, n: int) -> Values:
    """Upright behind the ball, club hanging in front."""
    values = {name: np.full(n, float(value[0])) for name, value in address.items()} | _still(n)
    changes = {
        "bend": 6.0, "lean": 0.0, "pelvis_tilt": 3.0, "pelvis_roll": 0.0, "lead_leg": 0.993, "thorax_turn": -10.0,
        "pelvis_turn": -8.0, "head_turn": -25.0, "head_pitch": 8.0, "head_roll": 0.0, "arm_x": -0.25, "arm_y": 0.30,
        "arm_z": -0.92, "lead_arm": 0.93, "psi": -12.0, "delta": 8.0, "trail_shrug": -4.0, "lead_protract": 20.0,
    }  # fmt: skip
    for name, value in changes.items():
        values[name] = np.full(n, value)
    values["pelvis_y"] = values["pelvis_y"] + 0.055
    return values


def _values_of(act: Act, motion: Motion | None, usual: Motion, address: Values) -> Callable[[FloatArray], Values]:
    duration = act.duration_s

    def swing(t: FloatArray) -> Values:
        assert motion is not None
        return motion.values(t) | _still(len(t))

    def stand(t: FloatArray) -> Values:
        values = _standing(address, len(t))
        values["pelvis_x"] = values["pelvis_x"] + 0.012 * np.sin(2 * np.pi * t / 3.7)
        values["head_turn"] = values["head_turn"] - 25.0 * np.sin(2 * np.pi * t / 5.0) ** 2
        return values

    def place_ball(t: FloatArray) -> Values:
        values = _standing(address, len(t))
        u = _ease(t / (0.4 * duration)) - _ease((t - 0.6 * duration) / (0.4 * duration))
        deep = {"bend": 84.0, "pelvis_tilt": 55.0, "lead_leg": 0.80, "head_pitch": 60.0, "arm_y": 0.55, "psi": 70.0}
        for name, value in deep.items():
            values[name] = values[name] + u * (value - values[name])
        values["pelvis_y"] = values["pelvis_y"] - 0.16 * u
        return values

    def rehearse(t: FloatArray) -> Values:
        moving = (t - 0.4) / (duration - 0.8)
        u = _ease(moving / 0.48) - _ease((moving - 0.52) / 0.48)
        return usual.values(usual.time_of(-0.3 + u * (0.3 + 0.60 * act.size))) | _still(len(t))

    def waggle(t: FloatArray) -> Values:
        values = {name: np.full(len(t), float(value[0])) for name, value in address.items()} | _still(len(t))
        fade = _ease(t / 0.5) - _ease((t - duration + 0.5) / 0.5)
        values["psi"] = values["psi"] + 16.0 * act.size * fade * np.sin(2 * np.pi * t / 0.9) ** 2
        return values

    def walk(t: FloatArray) -> Values:
        n = len(t)
        values = _standing(address, n)
        stride = 0.95  # metres between two falls of the same foot
        strides = max(1, round(duration * 1.0 / stride))
        gone = strides * _ease(t / duration)  # in strides; starts and ends at rest
        start = -strides * stride
        values["pelvis_x"] = start + stride * gone
        for name in ("pelvis_turn", "thorax_turn", "head_turn"):
            values[name] = np.full(n, -90.0)
        values["thorax_turn"] = values["thorax_turn"] + 5.0 * np.sin(2 * np.pi * gone)
        values["arm_x"], values["arm_y"] = np.full(n, 0.30), np.full(n, 0.15)
        ankles: Values = {}
        half, foot = 0.5 * usual.build.stance, usual.build.lengths["foot"]
        for side, sign, offset, out_deg in (
            ("lead", 1.0, 0.0, usual.build.lead_flare_deg),
            ("trail", -1.0, 0.5, -usual.build.trail_flare_deg),
        ):
            # A foot stands for 0.6 of its cycle with the body passing over it, then swings to its next place.
            cycle = gone + offset
            whole = np.floor(cycle)
            swing_part = _ease((cycle - whole - 0.6) / 0.4)
            ankle = start + stride * (whole - offset + swing_part + 0.3)
            at_rest = sign * half + foot * (np.sin(np.radians(out_deg)) - 0.73)
            ankles[side] = ankle
            values[f"{side}_step_x"] = ankle - at_rest
            values[f"{side}_step_y"] = np.full(n, -0.09 * sign)
            values[f"{side}_step_z"] = 0.07 * np.sin(np.pi * swing_part) ** 2
            values[f"{side}_foot_turn"] = np.full(n, 68.0 if side == "lead" else 96.0)
        # Hips at an even height; where a leg would not reach, the skeleton lowers them.
        across = np.linalg.norm(np.stack([values["pelvis_x"] - ankles["lead"], np.full(n, 0.1)]), axis=0)
        level = 0.955 * usual.build.leg
        stretch = np.hypot(across, level - values["lead_step_z"]) / usual.build.leg
        values["lead_leg"] = np.minimum(stretch, 1.3)
        values["lead_knee_out"], values["trail_knee_out"] = np.full(n, 0.9), np.full(n, 0.9)
        return values

    table: dict[str, Callable[[FloatArray], Values]] = {
        "swing": swing, "stand": stand, "place_ball": place_ball, "rehearse": rehearse, "waggle": waggle, "walk": walk,
    }  # fmt: skip
    return table[act.kind]
