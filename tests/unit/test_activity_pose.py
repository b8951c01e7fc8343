"""The pose model in stretches of a clip, what is kept of them, and forgetting a clip."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from overlay.arrays import AnyArray
from overlay.errors import ContentError, DataError, InputError, OutputError
from overlay.landmarks import N_LANDMARKS
from overlay.pose import MaskTrack, backends, cache, joined_tracks, people, track_clip
from overlay.pose.masks import joined_masks, pack
from overlay.settings.pose import PeopleSettings
from overlay.video import VideoWriter, open_clip

N, RATE = 40, 20


class Counting:
    """Finds in each picture how many it has seen since it began, so that a new start shows."""

    starts = 0

    def label(self) -> str:
        return "counting 1"

    @contextmanager
    def session(self, settings: object, *, masks: bool) -> Iterator[Counting]:
        type(self).starts += 1
        self.seen, self.masks = 0, masks
        yield self

    def detect(self, image: AnyArray) -> backends.Detection | None:
        self.seen += 1
        points = np.full((N_LANDMARKS, 2), float(self.seen))
        mask = np.full(image.shape[:2], self.seen, np.uint8) if self.masks else None
        return backends.Detection(points, np.zeros(N_LANDMARKS), np.ones(N_LANDMARKS), mask)


@pytest.fixture
def clip(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setattr(backends, "_FACTORIES", dict(backends._FACTORIES))
    backends.register("counting", lambda progress: Counting())
    monkeypatch.setattr(Counting, "starts", 0)
    path = tmp_path / "clip.mp4"
    with VideoWriter(path, 64, 48, RATE) as writer:
        for i in range(N):
            writer.write(np.full((48, 64, 3), 4 * i, np.uint8))
    return path


STRETCHES = ((0.2, 0.5), (1.0, 1.45))


def test_only_the_frames_of_the_stretches_are_looked_at(clip: Path) -> None:
    found = track_clip(clip, backend="counting", stretches=STRETCHES)
    rows = [4, 5, 6, 7, 8, 9, 10, *range(20, 30)]
    assert found.track.time_s == pytest.approx(np.array(rows) / RATE)
    # Each stretch is a beginning of its own.
    assert Counting.starts == 2
    assert found.track.points[:, 0, 0].tolist() == [*range(1, 8), *range(1, 11)]
    assert found.masks is not None
    assert np.array_equal(found.masks.time_s, found.track.time_s)
    assert found.masks.at(1.2)[0, 0] == 5
    assert found.clip.n_frames == N


def test_each_stretch_is_kept_on_its_own(clip: Path) -> None:
    first = track_clip(clip, backend="counting", stretches=STRETCHES)
    again = track_clip(clip, backend="counting", stretches=STRETCHES)
    assert (first.from_cache, again.from_cache, Counting.starts) == (False, True, 2)
    assert np.array_equal(first.track.points, again.track.points)
    assert first.masks is not None
    assert again.masks is not None
    assert first.masks.packed == again.masks.packed
    # Another second stretch costs that one alone, and the whole clip is something else.
    assert not track_clip(clip, backend="counting", stretches=(STRETCHES[0], (1.0, 1.5))).from_cache
    assert Counting.starts == 3
    assert len(track_clip(clip, backend="counting").track) == N
    assert Counting.starts == 4


def test_a_stretch_that_is_the_whole_clip_is_the_whole_clip(clip: Path) -> None:
    whole = track_clip(clip, backend="counting")
    again = track_clip(clip, backend="counting", stretches=((0.0, 1.95),))
    assert again.from_cache
    assert np.array_equal(whole.track.points, again.track.points)


@pytest.mark.parametrize(
    "stretches", [(), ((1.0, 0.5),), ((0.2, 0.5), (0.4, 0.9)), ((1.0, 1.2), (0.2, 0.5)), ((5.0, 6.0),)]
)
def test_stretches_that_cannot_be(clip: Path, stretches: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(DataError, match=r"holds no frame of its own|No stretch"):
        track_clip(clip, backend="counting", stretches=stretches)


def test_tracks_and_masks_are_joined_in_order_only(clip: Path) -> None:
    one = track_clip(clip, backend="counting", stretches=(STRETCHES[0],))
    other = track_clip(clip, backend="counting", stretches=(STRETCHES[1],))
    assert len(joined_tracks([one.track, other.track])) == 17
    assert joined_tracks([one.track]) is one.track
    with pytest.raises(DataError, match="increas"):
        joined_tracks([other.track, one.track])
    assert one.masks is not None
    small = MaskTrack(np.array([5.0]), (3, 2), (64, 48), (b"",))
    for wrong in ([], [one.masks, small]):
        with pytest.raises(DataError, match="not of one recording"):
            joined_masks(wrong)


def test_between_two_stretches_nobody_is_masked() -> None:
    times = np.array([0.0, 0.1, 0.2, 5.0, 5.1])
    masks = MaskTrack(times, (2, 2), (20, 20), tuple(pack(np.full((2, 2), 10 * i + 10, np.uint8)) for i in range(5)))
    shown = [int(masks.at(t)[0, 0]) for t in (-1.0, 0.05, 0.2, 0.6, 0.8, 4.9, 5.0, 9.0)]
    assert shown == [10, 10, 30, 30, 0, 0, 40, 50]
    # Evenly spaced masks have no gap, however far apart.
    slow = MaskTrack(2.0 * np.arange(3), (2, 2), (20, 20), masks.packed[:3])
    assert int(slow.at(3.9)[0, 0]) == 20


def test_people_are_looked_for_inside_the_stretches(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []

    class Nobody:
        def detect(self, image: AnyArray) -> list[backends.Detection]:
            return []

    class Model:
        def __init__(self, progress: object) -> None:
            pass

        def label(self) -> str:
            return "none"

        @contextmanager
        def everyone(self, settings: object) -> Iterator[Nobody]:
            yield Nobody()

    monkeypatch.setattr("overlay.pose.mediapipe_backend.MediaPipeBackend", Model)
    with open_clip(clip) as reader:
        original = reader.frame_at

        def frame_at(time_s: float, **told: object) -> object:
            asked.append(time_s)
            return original(time_s, **told)  # type: ignore[arg-type]

        monkeypatch.setattr(reader, "frame_at", frame_at)
        with pytest.raises(ContentError, match="no person"):
            people.check_one_person(reader, stretches=STRETCHES)
    assert len(asked) >= 8
    assert all(any(start - 1e-6 <= time_s <= stop + 1e-6 for start, stop in STRETCHES) for time_s in asked)
    assert any(time_s <= 0.5 for time_s in asked)
    assert any(time_s >= 1.0 for time_s in asked)


def test_what_is_seen_on_the_way_is_what_seeking_would_show(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[AnyArray] = []

    class Nobody:
        def detect(self, image: AnyArray) -> list[backends.Detection]:
            shown.append(image)
            return []

    class Model:
        def __init__(self, progress: object) -> None:
            pass

        def label(self) -> str:
            return "none"

        @contextmanager
        def everyone(self, settings: object) -> Iterator[Nobody]:
            yield Nobody()

    monkeypatch.setattr("overlay.pose.mediapipe_backend.MediaPipeBackend", Model)
    settings = PeopleSettings(n_more_samples=8)
    with open_clip(clip) as reader:
        with pytest.raises(ContentError, match="no person"):
            people.check_one_person(reader, stretches=STRETCHES, settings=settings)
        sought = [image.copy() for image in shown]
        shown.clear()
        glimpses = people.Glimpses.of(reader.clip, STRETCHES, settings)
        assert glimpses is not None
        track_clip(clip, backend="counting", stretches=STRETCHES, watch=glimpses.see)
        assert set(glimpses.pictures) == set(glimpses.wanted)
        monkeypatch.setattr(reader, "frame_at", None)  # nothing is sought any more
        with pytest.raises(ContentError, match="no person"):
            people.check_one_person(reader, stretches=STRETCHES, settings=settings, glimpses=glimpses)
        assert len(sought) == len(shown) == 16
        assert all(np.array_equal(one, other) for one, other in zip(sought, shown))
        # A long clip is refused before the long run, so nothing is put aside on the way.
        assert people.Glimpses.of(reader.clip, None, PeopleSettings(on_the_way_s=0.5)) is None


def test_everything_kept_of_a_clip_is_forgotten_and_nothing_else(clip: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.mp4"
    with VideoWriter(other, 64, 48, RATE) as writer:
        for _ in range(4):
            writer.write(np.full((48, 64, 3), 200, np.uint8))
    content_hash = track_clip(clip, backend="counting", stretches=STRETCHES).clip.content_hash
    track_clip(clip, backend="counting")
    track_clip(other, backend="counting")
    cache.note_checked(cache.key_of({"check": "people", "clip": content_hash}))
    cache.keep_note(cache.key_of({"stretches": 1, "clip": content_hash}), "somewhere")
    # Three tracks with masks, a check and a note.
    assert cache.forget(content_hash) == 8
    assert cache.forget(content_hash) == 0
    left = sorted(path.name for path in cache.cache_folder().iterdir())
    assert len(left) == 2
    assert not any(name.startswith(content_hash[:12]) for name in left)
    assert track_clip(other, backend="counting").from_cache
    assert not track_clip(clip, backend="counting", stretches=STRETCHES).from_cache


@pytest.mark.parametrize("wrong", ["", "*", "0" * 23, "z" * 64, "../" + "0" * 61])
def test_only_a_hash_can_be_forgotten(clip: Path, wrong: str) -> None:
    track_clip(clip, backend="counting")
    with pytest.raises(DataError, match="not the hash"):
        cache.forget(wrong)
    assert len(list(cache.cache_folder().iterdir())) == 2


def test_a_file_that_cannot_be_removed_is_told(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = track_clip(clip, backend="counting")

    def refuse(path: Path) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "unlink", refuse)
    with pytest.raises(OutputError, match="cannot be removed: Permission denied"):
        cache.forget(found.clip.content_hash)


def test_a_note_that_is_no_text_is_none(clip: Path) -> None:
    key = cache.key_of({"stretches": 1, "clip": "a" * 64})
    assert cache.kept_note(key) is None
    cache.keep_note(key, "it")
    assert cache.kept_note(key) == "it"
    (cache.cache_folder() / f"{key}.note").write_bytes(b"\xff\xfe\x00")
    assert cache.kept_note(key) is None


def test_a_clip_without_a_decodable_stretch_is_an_error(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from overlay.video.pyav_reader import PyAVReader

    original = PyAVReader._stream

    def from_the_second(self: PyAVReader, first: int, last: int, max_side: int | None) -> object:
        return (frame for frame in original(self, first, last, max_side) if frame.index >= 20)

    monkeypatch.setattr(PyAVReader, "_stream", from_the_second)
    assert len(track_clip(clip, backend="counting", stretches=STRETCHES).track) == 10
    with pytest.raises(InputError, match="no frame that can be decoded"):
        track_clip(clip, backend="counting", stretches=STRETCHES[:1])
