"""Simulate one swing: joints, club and ball at any time, and the true times of the nine positions.

World axes, metres: X towards the target of a right-hander, Y from the player towards the ball line, Z up, origin on
the ground midway between the feet. (Seen from above, with X to the right, Y points down: the player faces the
viewer of a face-on picture and the target is on the viewer's right.) A left-hander is the mirror image in X.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.golfer import keys as k
from overlay.golfer import skeleton
from overlay.golfer.curves import Clock, Curves
from overlay.golfer.solve import events_of, solve, values_at
from overlay.golfer.spec import ClubKind, GolferSpec, TempoSpec
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
    def build(self) -> skeleton.Build:
        """Lengths that do not change over the swing."""
        return self._build

    @property
    def impacts_s(self) -> tuple[float, ...]:
        """Times of all strikes."""
        return (self.position_times["impact"],)

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

    def values(self, times_s: FloatArray) -> dict[str, FloatArray]:
        """The movement values behind the posture, in the terms of a right-hander: name → (T,)."""
        values = values_at(self._curves, self.phase(times_s), self.spec)
        values["plane"] = np.full(len(values["psi"]), self._build.plane_deg)
        return values

    def state(self, times_s: FloatArray) -> dict[str, FloatArray]:
        """All of the scene at ``times_s`` (T,).

        Returns
        -------
        dict
            The names of ``JOINTS``, ``grip``, ``club_head``, ``shaft``: (T, 3); ``ball`` (T, 3), NaN when gone;
            ``pelvis_axes``, ``thorax_axes``, ``head_axes``: (T, 3, 3), columns the player's right, forward, up.
        """
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        raw = skeleton.pose(values_at(self._curves, self.phase(times), self.spec), self._build)
        out = named(raw, self.spec.handedness)
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
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        return postures_of(self.state(times), times, self.spec)

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


def postures_of(state: Mapping[str, FloatArray], times: FloatArray, spec: GolferSpec) -> list[Posture]:
    """One ``Posture`` a time from ``state`` arrays."""
    return [
        Posture(
            time_s=float(t),
            joints={name: state[name][i] for name in JOINTS},
            head_axes=state["head_axes"][i],
            thorax_axes=state["thorax_axes"][i],
            pelvis_axes=state["pelvis_axes"][i],
            grip=state["grip"][i],
            club_head=state["club_head"][i],
            club_kind=spec.club,
            ball=state["ball"][i] if np.all(np.isfinite(state["ball"][i])) else None,
            handedness=spec.handedness,
            stature_m=spec.body.stature_m,
            build=spec.body.build,
        )
        for i, t in enumerate(times)
    ]


def named(raw: Mapping[str, FloatArray], handedness: Handedness) -> dict[str, FloatArray]:
    """From the right-hander's lead/trail names and axes to the player's own left and right."""
    right_handed = handedness == "right"
    names = {"left": "lead", "right": "trail"} if right_handed else {"left": "trail", "right": "lead"}
    flip = np.array([1.0 if right_handed else -1.0, 1.0, 1.0])
    out: dict[str, FloatArray] = {}
    for name in JOINTS:
        side, _, joint = name.partition("_")
        out[name] = flip * (raw[f"{names[side]}_{joint}"] if side in names else raw[name])
    for name in ("grip", "club_head", "shaft"):
        out[name] = flip * raw[name]
    for name in ("pelvis_axes", "thorax_axes", "head_axes"):
        axes = flip[:, None] * raw[name]
        if right_handed:
            axes[..., 0] *= -1.0  # a right-hander leads with his left side
        out[name] = axes
    return out


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
    solved = solve(spec, settings)
    curves, build, head_place = solved.curves, solved.build, solved.head_place
    events = events_of(spec, curves, build, head_place, settings)
    tempo = _tempo_of(spec)
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


def _tempo_of(spec: GolferSpec) -> TempoSpec:
    """The tempo of this swing: the spec's own, varied by about 2 % when the player varies at all."""
    if spec.variation == 0.0:
        return spec.tempo
    rng = np.random.default_rng([spec.seed, 21])
    back, down, through = 1.0 + np.clip(0.02 * spec.variation * rng.normal(size=3), -0.15, 0.15)
    return dataclasses.replace(
        spec.tempo,
        backswing_s=max(0.3, spec.tempo.backswing_s * float(back)),
        downswing_s=max(0.1, spec.tempo.downswing_s * float(down)),
        through_s=max(0.25, spec.tempo.through_s * float(through)),
    )


def true_map(student: Motion, reference: Motion) -> Callable[[FloatArray], FloatArray]:
    """The exact time map: student time (N,) → reference time (N,) at the same stage of the swing."""

    def mapped(times_s: FloatArray) -> FloatArray:
        return reference.time_of(student.phase(times_s))

    return mapped
