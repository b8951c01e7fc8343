"""Whether a clip shows one whole person, by a few frames: before a long run is started, on the way in a short one."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import Clip, Frame
from overlay.errors import ContentError
from overlay.landmarks import INDEX
from overlay.pose import cache
from overlay.pose.backends import Detection
from overlay.progress import SILENT, Progress
from overlay.settings.pose import PeopleSettings, PoseSettings

if TYPE_CHECKING:
    from overlay.video import Reader

FEET = tuple(INDEX[name] for name in ("left_ankle", "right_ankle"))
TRUNK = tuple(INDEX[name] for name in ("left_shoulder", "right_shoulder", "left_hip", "right_hip"))
EARS = tuple(INDEX[name] for name in ("left_ear", "right_ear"))
WHOLE = (INDEX["nose"], *TRUNK, *(INDEX[name] for name in ("left_knee", "right_knee")), *FEET)
"""Joints that stand for the body's place and size: the hands would make it depend on the moment of the swing."""

SIDES = {
    "top": "the head is cut off by the picture's upper edge",
    "bottom": "the feet are below the picture",
    "left": "the body leaves the picture on the left",
    "right": "the body leaves the picture on the right",
}


@dataclass
class Glimpses:
    """The pictures that ``check_one_person`` looks at, taken while the clip is decoded for something else.

    Attributes
    ----------
    wanted : tuple of float
        Times of the frames, s.
    pictures : dict time → (H, W, 3) uint8
    """

    wanted: tuple[float, ...]
    pictures: dict[float, Image] = field(default_factory=dict)

    @classmethod
    def of(
        cls, clip: Clip, stretches: Sequence[tuple[float, float]] | None, settings: PeopleSettings | None = None
    ) -> Glimpses | None:
        """None where the clip is to be looked at before the long run."""
        settings = settings or PeopleSettings()
        times = _times_in(clip, stretches)
        if len(times) / float(clip.nominal_rate) > settings.on_the_way_s:
            return None
        return cls(tuple(_spread(times, settings.n_samples)))

    def see(self, frame: Frame) -> None:
        """Keep the picture of a frame that is wanted; it is as large as ``PoseSettings.max_side_px`` says."""
        if frame.time_s in self.wanted:
            self.pictures[frame.time_s] = frame.image.copy()


def _times_in(clip: Clip, stretches: Sequence[tuple[float, float]] | None) -> FloatArray:
    """Times of the clip's frames inside the stretches; of all frames for None."""
    times = clip.times_s
    if stretches is None:
        return times
    inside = [(times >= start - 1e-6) & (times <= stop + 1e-6) for start, stop in stretches]
    return times[np.any(inside, axis=0)]


def check_one_person(
    clip: Path | Reader,
    *,
    mirrored: bool = False,
    rotation_deg: int | None = None,
    progress: Progress = SILENT,
    settings: PeopleSettings | None = None,
    use_cache: bool = True,
    stretches: Sequence[tuple[float, float]] | None = None,
    glimpses: Glimpses | None = None,
) -> None:
    """Refuse a clip that does not show one whole person.

    Parameters
    ----------
    clip : Path or open Reader
    mirrored, rotation_deg
        As for ``overlay.video.open_clip``, when ``clip`` is a path.
    progress : Progress
    settings : PeopleSettings
    use_cache : bool
        Whether a clip that passed before is not looked at again.
    stretches : sequence of (start_s, stop_s), optional
        Where the clip is looked at; None: all over.
    glimpses : Glimpses, optional
        Pictures that are at hand already; the others are fetched.

    Raises
    ------
    ContentError
        No person, a second person of about the player's size in most of the clip, or a body that is cut off.
    InputError, SetupError
        The clip or the pose model cannot be read.
    """
    from overlay.pose.mediapipe_backend import MediaPipeBackend
    from overlay.video import open_clip

    settings = settings or PeopleSettings()
    with ExitStack() as stack:
        if isinstance(clip, (str, Path)):
            reader = stack.enter_context(open_clip(Path(clip), mirrored=mirrored, rotation_deg=rotation_deg))
        else:
            reader = clip
        backend = MediaPipeBackend(progress)
        parts: dict[str, object] = {
            "check": "people",
            "clip": reader.clip.content_hash,
            "rotation_deg": reader.clip.rotation_deg,
            "mirrored": reader.clip.mirrored,
            "model": backend.label(),
            "settings": dataclasses.asdict(settings),
        }
        times = _times_in(reader.clip, stretches)
        if stretches is not None:
            parts["stretches"] = [(round(start, 6), round(stop, 6)) for start, stop in stretches]
        key = cache.key_of(parts)
        if use_cache and cache.was_checked(key):
            return
        size = (reader.clip.width, reader.clip.height)
        samples: list[list[Detection]] = []
        with backend.everyone(settings) as everyone:
            for count in (settings.n_samples, settings.n_more_samples):
                if sum(map(bool, samples)) >= max(1.0, settings.few_person_share * len(samples)):
                    break
                progress.stage("looking for people", count)
                for time_s in _spread(times, count):
                    image = None if glimpses is None else glimpses.pictures.get(time_s)
                    if image is None:
                        image = reader.frame_at(time_s, max_side=PoseSettings().max_side_px).image
                    size = (image.shape[1], image.shape[0])
                    samples.append(everyone.detect(image))
                    progress.advance()
                progress.done()
        judge(samples, size, reader.clip, settings)
        cache.note_checked(key)


def _spread(times_s: FloatArray, count: int) -> list[float]:
    """The middle of equal stretches: the very first and last frames often show the hand that films."""
    count = min(count, len(times_s))
    return [float(times_s[int((i + 0.5) * len(times_s) / count)]) for i in range(count)]


def judge(samples: list[list[Detection]], size: tuple[int, int], clip: Clip, settings: PeopleSettings) -> None:
    """Decide on the people found in sampled frames.

    Parameters
    ----------
    samples : list, one entry a frame, of the people found in it
    size : (width, height) px of the pictures the points refer to
    clip : Clip
        For its name and rotation.
    settings : PeopleSettings

    Raises
    ------
    ContentError
        As ``check_one_person``.
    """
    name = clip.path.name
    frames = [found for found in (distinct(people, settings) for people in samples) if found]
    if len(frames) < max(1.0, settings.least_person_share * len(samples)):
        raise ContentError(
            f"{name} shows no person in {len(samples) - len(frames)} of {len(samples)} frames looked at.",
            "Film the whole body of one player, with enough light; check the clip's rotation (--rotate).",
        )
    tilts = [_tilt_deg(people[0]) for people in frames]
    leaning = [tilt for tilt in tilts if abs(tilt) > settings.upright_deg]
    if len(leaning) >= settings.cut_share * len(frames):
        raise ContentError(
            f"{name}: the player is not upright in {len(leaning)} of {len(frames)} frames looked at.",
            f"The clip's rotation seems wrong: try --rotate {_upright_rotation(leaning, clip)}.",
        )
    second = sum(
        len(people) > 1 and _height(people[1]) >= settings.second_size * _height(people[0]) for people in frames
    )
    if second > 1 and second >= settings.second_share * len(frames):
        raise ContentError(
            f"{name} shows two people of about the same size in {second} of {len(frames)} frames looked at.",
            "Film the player alone, crop the other one out, or go on with --allow-others.",
        )
    for side, words in SIDES.items():
        n_cut = sum(side in cut_sides(people[0], size, settings) for people in frames)
        if n_cut >= settings.cut_share * len(frames):
            raise ContentError(
                f"{name}: {words} in {n_cut} of {len(frames)} frames looked at.",
                "Film the whole body from head to feet, with room above for the club.",
            )


def _tilt_deg(person: Detection) -> float:
    """Direction from the feet to the nose, degrees clockwise from straight up, −180 to 180."""
    x, y = person.points[INDEX["nose"]] - person.points[list(FEET)].mean(axis=0)
    return float(np.degrees(np.arctan2(x, -y)))


def _upright_rotation(tilts_deg: list[float], clip: Clip) -> int:
    """The rotation to ask the reader for, so that the player stands."""
    turns = [round(tilt / 90.0) % 4 for tilt in tilts_deg]
    turn = 90 * max(set(turns), key=turns.count)
    # The reader flips after it rotates, and seen in a mirror the turn goes the other way.
    return (clip.rotation_deg + (turn if clip.mirrored else -turn)) % 360


def distinct(people: list[Detection], settings: PeopleSettings) -> list[Detection]:
    """The people, largest first, each once: the detector sometimes finds one person twice."""
    kept: list[Detection] = []
    for person in sorted(people, key=_height, reverse=True):
        if all(_overlap(_box(person), _box(other)) < settings.same_person_overlap for other in kept):
            kept.append(person)
    return kept


def cut_sides(person: Detection, size: tuple[int, int], settings: PeopleSettings) -> set[str]:
    """Sides of the picture past which the body goes.

    The model places joints it cannot see outside the picture, or squeezed against its edge.
    """
    width, height = size
    at = person.points
    x_margin = settings.cut_margin * width
    torso = float(np.linalg.norm(at[list(TRUNK[:2])].mean(axis=0) - at[list(TRUNK[2:])].mean(axis=0)))
    cut = set()
    if at[list(EARS), 1].mean() < settings.head_room * torso:
        cut.add("top")
    if np.all(at[list(FEET), 1] > height - settings.foot_room * torso):
        cut.add("bottom")
    # Half of the body, or a pair of it: one foot past the edge still lets a swing be measured.
    for side, out in (("left", at[:, 0] < -x_margin), ("right", at[:, 0] > width + x_margin)):
        if out[[*TRUNK, *FEET]].mean() >= 0.5 or any(out[list(pair)].all() for pair in (TRUNK[:2], TRUNK[2:], FEET)):
            cut.add(side)
    return cut


def _box(person: Detection) -> FloatArray:
    at = person.points[list(WHOLE)]
    return np.concatenate([np.nanmin(at, axis=0), np.nanmax(at, axis=0)])


def _height(person: Detection) -> float:
    box = _box(person)
    return float(max(box[3] - box[1], box[2] - box[0]))


def _overlap(one: FloatArray, other: FloatArray) -> float:
    """The shared area as a share of the smaller box."""
    shared = np.prod(np.maximum(0.0, np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2])))
    smaller = min(float(np.prod(one[2:] - one[:2])), float(np.prod(other[2:] - other[:2])))
    return float(shared) / smaller if smaller > 0 else 0.0
