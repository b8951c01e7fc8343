"""Swings found from stretches of a recording are those of the whole recording."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import overlay.activity
import overlay.pose
import overlay.pose.people
from overlay.activity import Stretches
from overlay.clean import clean
from overlay.data import Clip, PoseTrack
from overlay.errors import ContentError
from overlay.golfer import Act, CameraSpec, GolferSpec, NoiseSpec, TempoSpec, record, simulate, truth_track
from overlay.pipeline import ClipOptions, inspect_clip
from overlay.pose import PoseResult, joined_tracks
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES
from overlay.video import VideoWriter, open_clip

RATE = 30
SPEC = GolferSpec(tempo=TempoSpec(pre_s=1.0, hold_s=0.8), variation=1.0, seed=5)
QUICK = replace(SPEC, tempo=replace(SPEC.tempo, backswing_s=0.75), seed=6)
ACTS = [
    Act("walk", 4.0),
    Act("stand", 6.0),
    Act("waggle", 2.0),
    Act("swing"),
    Act("stand", 9.0),
    Act("rehearse", 2.5),
    Act("stand", 8.0),
    Act("swing", swing=QUICK),
    Act("stand", 8.0),
]


@pytest.fixture(scope="module")
def filmed() -> tuple[PoseTrack, tuple[dict[str, float], ...]]:
    """The raw track of a recording with two swings and a rehearsal, and the true times."""
    made = record(SPEC, ACTS)
    camera = CameraSpec.for_motion(simulate(SPEC), "fo")
    return truth_track(made, camera, RATE, noise=NoiseSpec(), seed=3), made.swings


def about(truths: tuple[dict[str, float], ...], before_s: float = 1.6, after_s: float = 1.2) -> tuple:  # type: ignore[type-arg]
    return tuple((truth["address"] - before_s, truth["finish"] + after_s) for truth in truths)


def cleaned_in(raw: PoseTrack, stretches: tuple[tuple[float, float], ...]) -> PoseTrack:
    return joined_tracks([clean(raw.between(*span)) for span in stretches])


def test_the_same_swings_at_the_same_times(filmed: tuple[PoseTrack, tuple[dict[str, float], ...]]) -> None:
    raw, truths = filmed
    whole = find_swings(clean(raw))
    stretches = about(truths)
    part = find_swings(cleaned_in(raw, stretches), stretches=stretches)
    assert [swing.swing_number for swing in part] == [1, 2]
    assert len(whole) == 2
    for one, other in zip(part, whole):
        assert (one.view, one.handedness) == (other.view, other.handedness)
        for name in POSITION_NAMES:
            assert one.positions.times()[name] == pytest.approx(other.positions.times()[name], abs=0.5 / RATE), name
        # A swing's own stretch of pose never reaches over a gap.
        assert np.max(np.diff(one.pose.time_s)) < 1.5 / RATE


def test_a_rehearsal_alone_in_its_stretch_is_held_against_the_swings_of_the_others(
    filmed: tuple[PoseTrack, tuple[dict[str, float], ...]],
) -> None:
    raw, truths = filmed
    rehearsed = truths[0]["finish"] + 6.0, truths[1]["address"] - 4.0
    stretches = (about(truths)[0], rehearsed, about(truths)[1])
    part = find_swings(cleaned_in(raw, stretches), stretches=stretches)
    assert len(part) == 2
    # And one in which nobody is seen is no reason to stop.
    empty = replace(raw, points=np.full_like(raw.points, np.nan), visibility=np.zeros_like(raw.visibility))
    joined = joined_tracks([clean(raw.between(*stretches[0])), clean(empty.between(*stretches[1]))])
    assert len(find_swings(joined, stretches=stretches[:2])) == 1
    with pytest.raises(ContentError, match=r"[Hh]ands|together"):
        find_swings(clean(empty.between(*stretches[1])), stretches=(stretches[1],))


def test_nothing_is_made_up_between_two_stretches(filmed: tuple[PoseTrack, tuple[dict[str, float], ...]]) -> None:
    raw, truths = filmed
    # The hands high at one stretch's end and low at the next one's start make no swing.
    first = (truths[0]["top"] - 2.0, truths[0]["top"])
    second = (truths[1]["impact"], truths[1]["finish"] + 1.0)
    with pytest.raises(ContentError, match="No full swing"):
        find_swings(cleaned_in(raw, (first, second)), stretches=(first, second))


# --- the pipeline about it, with the true track in place of the pose model ---


class Filmed:
    """What the pipeline asks of a clip, and what it was asked."""

    def __init__(self, raw: PoseTrack, stretches: Stretches) -> None:
        self.raw, self.stretches = raw, stretches
        self.looked: list[tuple[tuple[float, float], ...] | None] = []

    def find_stretches(self, reader: object, settings: object = None, **_: object) -> Stretches:
        return self.stretches

    def track_clip(self, path: Path, *, stretches: object = None, **_: object) -> PoseResult:
        spans = stretches
        self.looked.append(spans)  # type: ignore[arg-type]
        with open_clip(path) as reader:
            clip = reader.clip
        parts = [self.raw] if spans is None else [self.raw.between(a - 1e-6, b + 1e-6) for a, b in spans]  # type: ignore[attr-defined]
        return PoseResult(joined_tracks(parts), clip, None)


@pytest.fixture
def range_clip(
    filmed: tuple[PoseTrack, tuple[dict[str, float], ...]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> tuple[Path, Filmed, Clip, tuple[dict[str, float], ...]]:
    raw, truths = filmed
    path = tmp_path / "range.mp4"
    with VideoWriter(path, 32, 32, RATE) as writer:
        for _ in range(len(raw)):
            writer.write(np.zeros((32, 32, 3), np.uint8))
    with open_clip(path) as reader:
        clip = reader.clip
    raw = replace(raw, time_s=clip.times_s)
    asked = Filmed(raw, Stretches(about(truths), False, ""))
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setattr(overlay.pose, "track_clip", asked.track_clip)
    monkeypatch.setattr(overlay.activity, "find_stretches", asked.find_stretches)
    monkeypatch.setattr(overlay.pose.people, "check_one_person", lambda *_, **__: None)
    return path, asked, clip, truths


def apart(one: object, other: object) -> float:
    """Most that positions of two inspections differ by, frames."""
    pairs = zip(one.swings, other.swings, strict=True)  # type: ignore[attr-defined]
    return max(
        abs(a.positions.times()[name] - b.positions.times()[name]) * RATE for a, b in pairs for name in POSITION_NAMES
    )


def test_an_inspection_looks_only_where_it_was_told(range_clip: tuple) -> None:  # type: ignore[type-arg]
    path, asked, clip, truths = range_clip
    part = inspect_clip(path)
    assert asked.looked == [about(truths)]
    assert len(part.track) < 0.5 * clip.n_frames
    assert np.all(np.diff(part.track.time_s) > 0)
    whole = inspect_clip(path, ClipOptions(everywhere=True))
    assert asked.looked[1:] == [None]
    assert len(whole.track) == clip.n_frames
    assert apart(part, whole) <= 0.5
    assert part.notes == whole.notes


@pytest.mark.parametrize("edge", ["address", "finish"])
def test_a_stretch_that_is_too_narrow_is_widened(range_clip: tuple, edge: str) -> None:  # type: ignore[type-arg]
    path, asked, _clip, truths = range_clip
    (start, stop), other = about(truths)
    narrow = (truths[0]["address"] + 0.15, stop) if edge == "address" else (start, truths[0]["finish"] - 0.4)
    asked.stretches = Stretches((narrow, other), False, "")
    part = inspect_clip(path)
    assert len(asked.looked) == 2
    assert asked.looked[1] is not None
    wider = asked.looked[1][0]
    assert wider[0] <= truths[0]["address"] - 1.0 if edge == "address" else wider[1] >= truths[0]["finish"] + 1.0
    # The other stretch stays as it was, so that it comes from the cache.
    assert asked.looked[1][1] == pytest.approx(other, abs=1.0 / RATE)
    assert apart(part, inspect_clip(path, ClipOptions(everywhere=True))) <= 0.5


def test_without_a_swing_in_the_stretches_everything_is_looked_at(range_clip: tuple) -> None:  # type: ignore[type-arg]
    path, asked, _clip, _truths = range_clip
    asked.stretches = Stretches(((0.0, 5.0),), False, "")
    assert len(inspect_clip(path).swings) == 2
    assert asked.looked == [((0.0, 5.0),), None]


def test_a_mark_outside_the_stretches_makes_it_look_everywhere(range_clip: tuple) -> None:  # type: ignore[type-arg]
    from overlay.data import Marks, PositionMark
    from overlay.marks import Picture, save_marks

    path, asked, clip, truths = range_clip
    inside = Marks(positions=(PositionMark("top", truths[1]["top"]),))
    save_marks(path, inside, clip.content_hash, picture=Picture.of(clip))
    inspect_clip(path)
    assert asked.looked == [about(truths)]
    asked.stretches = Stretches(about(truths)[:1], False, "")
    found = inspect_clip(path)
    assert asked.looked[-1] is None
    assert found.swings[1].positions.times()["top"] == pytest.approx(truths[1]["top"])


def test_what_was_found_is_kept_and_asked_for_once(
    range_clip: tuple,  # type: ignore[type-arg]
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from overlay.activity import Activity

    path, asked, _clip, _truths = range_clip
    asked.stretches = replace(asked.stretches, activity=Activity(np.zeros(1), np.zeros(1), np.zeros(1)))
    inspect_clip(path)

    def never(*_: object, **__: object) -> Stretches:
        raise AssertionError("looked again")

    monkeypatch.setattr(overlay.activity, "find_stretches", never)
    inspect_clip(path)
    assert asked.looked[0] == asked.looked[1]
    with pytest.raises(AssertionError, match="looked again"):
        inspect_clip(path, ClipOptions(use_cache=False))
