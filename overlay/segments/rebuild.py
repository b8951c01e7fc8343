"""A swing with other segment lengths: every joint moved frame by frame from the feet up."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import ClubTrack, PoseTrack, Strike, Swing
from overlay.errors import DataError
from overlay.landmarks import INDEX
from overlay.segments.lengths import PAIRED, SEGMENT_NAMES, SIDES, Side, mean_point


def rescaled(swing: Swing, factors: Mapping[str, float]) -> Swing:
    """The swing of a player with other segment lengths, every segment keeping its direction as nearly as can be.

    The feet stay where they were. Legs, trunk, shoulders, arms and head are built upon them frame by frame, each
    segment's own vector scaled. Two chains are closed again by moving the joint between by its share: the legs, which
    meet at the pelvis, and the arms, which meet at the grip. The club keeps its length and direction and goes with the
    hands; the ball goes with the club head as it stands at address.

    Parameters
    ----------
    swing : Swing
    factors : mapping segment → new length ÷ old
        Names of ``SEGMENT_NAMES``; what is left out keeps its length.

    Raises
    ------
    DataError
        An unknown segment, or a factor that is not above 0.
    """
    unknown = sorted(set(factors) - set(SEGMENT_NAMES))
    if unknown:
        raise DataError(f"There is no segment {unknown[0]!r}.", f"Use {', '.join(SEGMENT_NAMES)}.")
    wrong = {name: value for name, value in factors.items() if not (math.isfinite(value) and value > 0)}
    if wrong:
        raise DataError(f"A factor of {next(iter(wrong.values()))} makes no body.", "Give ratios above 0.")
    if all(value == 1.0 for value in factors.values()):
        return swing
    track = swing.pose
    moves, hands = Rebuilt(track, factors).run()
    club, moved = _carried_club(swing.club, track, hands)
    return replace(
        swing,
        pose=replace(track, points=track.points + moves, log=(*track.log, "segments scaled to another build")),
        club=club,
        torso_px=swing.torso_px * factors.get("trunk", 1.0),
        strike=_carried_ball(swing, moved),
    )


class Rebuilt:
    """Moves every joint of a track (T, 33, 2); each step adds to how far joints have moved."""

    def __init__(self, track: PoseTrack, factors: Mapping[str, float]) -> None:
        self._time_s = track.time_s
        self._old = track.points
        self._factor = {name: float(factors.get(name, 1.0)) for name in SEGMENT_NAMES}
        self._moved = np.zeros_like(track.points)

    def run(self) -> tuple[FloatArray, FloatArray]:
        """How far every joint moves (T, 33, 2), also where it is not seen, and the hands (T, 2), px."""
        self._feet_and_legs()
        self._trunk()
        hands = self._arms()
        self._head()
        return self._moved, hands

    def _at(self, *names: str) -> FloatArray:
        """(T, 2) middle of the joints; NaN where one is missing."""
        return mean_point(self._old, names)

    def _set(self, name: str, moved: FloatArray) -> None:
        self._moved[:, INDEX[name]] = moved

    def _get(self, name: str) -> FloatArray:
        return np.asarray(self._moved[:, INDEX[name]], np.float64)

    def _bridged(self, moved: FloatArray) -> FloatArray:
        """A way (T, 2) with gaps bridged, so that what hangs on it does not jump; 0 where nothing is known."""
        seen = np.isfinite(moved[:, 0])
        if not np.any(seen):
            return np.zeros_like(moved)
        if np.all(seen):
            return moved
        times = self._time_s
        return np.stack([np.interp(times, times[seen], column[seen]) for column in moved.T], axis=-1)

    def _longer(self, start: str, end: str, segment: str) -> FloatArray:
        """(T, 2) px that ``end`` moves against ``start``."""
        return self._bridged((self._factor[segment] - 1.0) * (self._at(end) - self._at(start)))

    def _feet_and_legs(self) -> None:
        knees: dict[Side, FloatArray] = {}
        hips: dict[Side, FloatArray] = {}
        for side in SIDES:
            # The foot grows about the ankle, the heel resting where it was.
            heel, toe = f"{side}_heel", f"{side}_foot_index"
            self._set(toe, self._longer(heel, toe, "foot"))
            knees[side] = self._longer(f"{side}_ankle", f"{side}_knee", "shank")
            hips[side] = knees[side] + self._longer(f"{side}_knee", f"{side}_hip", "thigh")
        middle = (hips["left"] + hips["right"]) / 2
        wider = self._bridged((self._factor["hip_width"] - 1.0) * (self._at("left_hip") - self._at("right_hip")) / 2)
        thigh, shank = (self._mean_length(name) * self._factor[name] for name in ("thigh", "shank"))
        share = shank / (shank + thigh)
        for side, sign in (("left", 1.0), ("right", -1.0)):
            hip = middle + sign * wider
            self._set(f"{side}_hip", hip)
            self._set(f"{side}_knee", knees[side] + share * (hip - hips[side]))

    def _mean_length(self, segment: str) -> float:
        start, end = PAIRED[segment]
        gaps = np.concatenate([self._at(f"{side}_{end}") - self._at(f"{side}_{start}") for side in SIDES])
        lengths = np.hypot(gaps[:, 0], gaps[:, 1])
        lengths = lengths[np.isfinite(lengths)]
        return float(np.median(lengths)) if len(lengths) and np.median(lengths) > 0 else 1.0

    def _trunk(self) -> None:
        hips = (self._get("left_hip") + self._get("right_hip")) / 2
        up = self._at("left_shoulder", "right_shoulder") - self._at("left_hip", "right_hip")
        middle = hips + self._bridged((self._factor["trunk"] - 1.0) * up)
        across = self._at("left_shoulder") - self._at("right_shoulder")
        wider = self._bridged((self._factor["shoulder_width"] - 1.0) * across / 2)
        self._set("left_shoulder", middle + wider)
        self._set("right_shoulder", middle - wider)

    def _arms(self) -> FloatArray:
        elbows: dict[Side, FloatArray] = {}
        wrists: dict[Side, FloatArray] = {}
        hands: dict[Side, FloatArray] = {}
        for side in SIDES:
            elbows[side] = self._get(f"{side}_shoulder") + self._longer(
                f"{side}_shoulder", f"{side}_elbow", "upper_arm"
            )
            wrists[side] = elbows[side] + self._longer(f"{side}_elbow", f"{side}_wrist", "forearm")
            hands[side] = wrists[side] + self._longer(f"{side}_wrist", f"{side}_index", "hand")
        upper, fore = (self._mean_length(name) * self._factor[name] for name in ("upper_arm", "forearm"))
        share = upper / (upper + fore)
        # Both hands hold one grip: they stay as far from each other as they were.
        middle = (hands["left"] + hands["right"]) / 2
        for side in SIDES:
            back = middle - hands[side]
            self._set(f"{side}_elbow", elbows[side] + share * back)
            self._set(f"{side}_wrist", wrists[side] + back)
            for finger in ("index", "pinky", "thumb"):
                self._set(
                    f"{side}_{finger}", wrists[side] + back + self._longer(f"{side}_wrist", f"{side}_{finger}", "hand")
                )
        return middle

    def _head(self) -> None:
        middle = (self._get("left_shoulder") + self._get("right_shoulder")) / 2
        up = self._at("left_ear", "right_ear") - self._at("left_shoulder", "right_shoulder")
        head = middle + self._bridged((self._factor["neck"] - 1.0) * up)
        ears = self._at("left_ear", "right_ear")
        for name in FACE:
            self._set(name, head + self._bridged((self._factor["head"] - 1.0) * (self._at(name) - ears)))


FACE: tuple[str, ...] = tuple(
    name for name in INDEX if name == "nose" or name.split("_")[0] == "mouth" or "eye" in name or name.endswith("ear")
)


def _carried_club(club: ClubTrack | None, track: PoseTrack, hands: FloatArray) -> tuple[ClubTrack | None, FloatArray]:
    """The club with its grip moved like the hands, and the hands' way (T, 2) on the pose's clock."""
    if club is None or not len(club.time_s):
        return club, hands
    moved = np.stack([np.interp(club.time_s, track.time_s, column) for column in hands.T], axis=-1)
    return replace(club, grip=club.grip + moved), hands


def _carried_ball(swing: Swing, hands: FloatArray) -> Strike | None:
    """The strike with the ball moved like the club head at address."""
    strike = swing.strike
    if strike is None or strike.ball is None:
        return strike
    address = swing.positions.time("address")
    at = swing.start_s if address is None else address
    shift = [float(np.interp(at, swing.pose.time_s, column)) for column in hands.T]
    x, y = strike.ball.place
    return replace(strike, ball=replace(strike.ball, place=(x + shift[0], y + shift[1])))
