"""Running an estimator over a clip, the cache around it, and the masks, with an estimator made for the test."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from overlay.data import PoseTrack
from overlay.errors import DataError, InputError
from overlay.landmarks import N_LANDMARKS
from overlay.pose import MaskTrack, backends, cache, track_clip
from overlay.pose.masks import pack
from overlay.progress import Silent
from overlay.settings.pose import PoseSettings
from overlay.video import VideoWriter, open_clip


class Blob:
    """Finds the bright square; joint j lies j px to the right of its middle."""

    runs = 0
    version = "blob 1"
    sizes: ClassVar[list[tuple[int, int]]] = []

    def label(self) -> str:
        return self.version

    @contextmanager
    def session(self, settings: PoseSettings, *, masks: bool) -> Iterator[Blob]:
        type(self).runs += 1
        self.masks = masks
        yield self

    def detect(self, image: np.ndarray) -> backends.Detection | None:
        type(self).sizes.append((image.shape[1], image.shape[0]))
        bright = image.min(axis=2) > 128
        if not bright.any():
            return None
        y, x = (float(np.mean(places)) + 0.5 for places in np.nonzero(bright))
        points = np.stack([x + np.arange(N_LANDMARKS), np.full(N_LANDMARKS, y)], axis=1)
        mask = np.where(bright, 255, 0).astype(np.uint8) if self.masks else None
        return backends.Detection(points, np.full(N_LANDMARKS, 2.0), np.full(N_LANDMARKS, 0.75), mask)


@pytest.fixture
def blob(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> type[Blob]:
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setattr(backends, "_FACTORIES", dict(backends._FACTORIES))
    backends.register("blob", lambda progress: Blob())
    monkeypatch.setattr(Blob, "runs", 0)
    monkeypatch.setattr(Blob, "version", "blob 1")
    monkeypatch.setattr(Blob, "sizes", [])
    return Blob


def square_at(frame: int) -> tuple[int, int]:
    return 60 + 8 * frame, 80 + 4 * frame


def make_clip(path: Path, width: int = 320, height: int = 240, n: int = 12, empty: tuple[int, ...] = (5,)) -> Path:
    with VideoWriter(path, width, height, 30) as writer:
        for i in range(n):
            image = np.zeros((height, width, 3), np.uint8)
            if i not in empty:
                x, y = square_at(i)
                image[y : y + 24, x : x + 16] = 255
            writer.write(image)
    return path


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    return make_clip(tmp_path / "clip.mp4")


def test_every_frame_in_picture_pixels(blob: type[Blob], clip: Path) -> None:
    result = track_clip(clip, backend="blob")
    with open_clip(clip) as reader:
        times = reader.clip.times_s
    assert np.array_equal(result.track.time_s, times)
    assert result.track.image_size == (320, 240)
    assert (result.track.source, result.track.model) == ("blob", "blob 1")
    for i in range(12):
        if i == 5:
            assert np.isnan(result.track.points[i]).all()
            assert (result.track.visibility[i] == 0).all()
        else:
            x, y = square_at(i)
            assert result.track.points[i, 0] == pytest.approx((x + 8, y + 12), abs=1.0)
            assert result.track.visibility[i] == pytest.approx(0.75)
    assert "11 of 12" in result.track.log[0]


def test_big_pictures_are_reduced_and_points_scaled_back(blob: type[Blob], clip: Path) -> None:
    settings = PoseSettings(max_side_px=150)
    track = track_clip(clip, backend="blob", settings=settings).track
    # 240 px become 112.5, rounded: each axis has a factor of its own.
    assert set(blob.sizes) == {(150, 112)}
    x, y = square_at(3)
    assert track.points[3, 0] == pytest.approx((x + 8, y + 12), abs=2.0)
    assert track.points[3, 10, 0] - track.points[3, 0, 0] == pytest.approx(10 * 320 / 150)
    assert track.depth[3, 0] == pytest.approx(2.0 * 320 / 150)


def test_mirrored(blob: type[Blob], clip: Path) -> None:
    track = track_clip(clip, backend="blob", mirrored=True).track
    x, y = square_at(2)
    assert track.points[2, 0] == pytest.approx((320 - (x + 8), y + 12), abs=1.0)


def test_masks_cover_the_picture(blob: type[Blob], clip: Path) -> None:
    masks = track_clip(clip, backend="blob", settings=PoseSettings(mask_side_px=160)).masks
    assert masks is not None
    assert masks.size == (160, 120)
    mask = masks.at(3 / 30)
    assert mask.shape == (120, 160)
    assert mask.dtype == np.uint8
    x, y = square_at(3)
    assert mask[(y + 12) // 2, (x + 8) // 2] == 255
    assert mask[5, 5] == 0
    assert not masks.at(5 / 30).any()
    assert masks.n_bytes < 12 * 400


def test_progress_counts_the_frames(blob: type[Blob], clip: Path) -> None:
    class Count(Silent):
        total: float | None = 0
        seen = 0.0
        closed = 0

        def stage(self, name: str, total: float | None = None) -> None:
            self.total = total

        def advance(self, amount: float = 1.0) -> None:
            self.seen += amount

        def done(self) -> None:
            self.closed += 1

    count = Count()
    track_clip(clip, backend="blob", progress=count)
    assert (count.total, count.seen, count.closed) == (12, 12, 1)


def test_no_such_backend(blob: type[Blob], clip: Path) -> None:
    with pytest.raises(InputError, match="no pose backend 'magic'"):
        track_clip(clip, backend="magic")


def test_a_failing_estimator_leaves_no_thread_and_no_entry(blob: type[Blob], clip: Path) -> None:
    import threading

    before = threading.active_count()

    def fail(self: Blob, image: np.ndarray) -> None:
        raise RuntimeError("out of order")

    original = Blob.detect
    try:
        Blob.detect = fail  # type: ignore[method-assign,assignment]
        with pytest.raises(RuntimeError, match="out of order"):
            track_clip(clip, backend="blob")
    finally:
        Blob.detect = original  # type: ignore[method-assign]
    assert threading.active_count() == before
    assert not list(cache.cache_folder().glob("*"))


# --- the cache ---


def same(one: PoseTrack, other: PoseTrack) -> bool:
    return np.array_equal(one.points, other.points, equal_nan=True) and one.log == other.log


def test_second_run_comes_from_the_cache(blob: type[Blob], clip: Path, tmp_path: Path) -> None:
    first = track_clip(clip, backend="blob")
    again = track_clip(clip, backend="blob")
    assert blob.runs == 1
    assert again.from_cache
    assert not first.from_cache
    assert same(first.track, again.track)
    assert first.masks is not None
    assert again.masks is not None
    assert first.masks.packed == again.masks.packed
    # The content counts, not the name.
    copy = tmp_path / "copy.mp4"
    copy.write_bytes(clip.read_bytes())
    assert track_clip(copy, backend="blob").from_cache
    assert track_clip(clip, backend="blob", masks=False).masks is None
    assert blob.runs == 1


@pytest.mark.parametrize("change", ["model", "mirrored", "rotation", "settings", "content", "off"])
def test_what_makes_a_new_run(
    blob: type[Blob], clip: Path, tmp_path: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    track_clip(clip, backend="blob")
    options: dict[str, object] = {}
    if change == "model":
        monkeypatch.setattr(Blob, "version", "blob 2")
    elif change == "mirrored":
        options["mirrored"] = True
    elif change == "rotation":
        options["rotation_deg"] = 180
    elif change == "settings":
        options["settings"] = PoseSettings(max_side_px=100)
    elif change == "content":
        clip = make_clip(tmp_path / "other.mp4", n=8)
    else:
        options["use_cache"] = False
    assert not track_clip(clip, backend="blob", **options).from_cache  # type: ignore[arg-type]
    assert blob.runs == 2


def test_masks_asked_for_later(blob: type[Blob], clip: Path) -> None:
    track_clip(clip, backend="blob", masks=False)
    assert track_clip(clip, backend="blob", masks=True).masks is not None
    assert blob.runs == 2


@pytest.mark.parametrize("which", ["*.track.npz", "*.masks.npz"])
@pytest.mark.parametrize("damage", ["cut", "noise", "empty"])
def test_damaged_entries_are_made_again(blob: type[Blob], clip: Path, which: str, damage: str) -> None:
    first = track_clip(clip, backend="blob")
    (path,) = cache.cache_folder().glob(which)
    content = path.read_bytes()
    path.write_bytes({"cut": content[: len(content) // 2], "noise": bytes(500), "empty": b""}[damage])
    again = track_clip(clip, backend="blob")
    assert not again.from_cache
    assert same(first.track, again.track)
    assert track_clip(clip, backend="blob").from_cache


def test_a_cache_that_cannot_be_written_is_no_failure(
    blob: type[Blob], clip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "file"))
    assert len(track_clip(clip, backend="blob").track) == 12


def test_oldest_entries_go_first(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path))
    folder = cache.cache_folder()
    folder.mkdir(parents=True)
    for age, name in enumerate(("new", "middle", "old")):
        path = folder / name
        path.write_bytes(bytes(400_000))
        os.utime(path, (1e9 - age, 1e9 - age))
    cache.trim(1.0)
    assert sorted(path.name for path in folder.iterdir()) == ["middle", "new"]
    cache.trim(0.1, keep={folder / "middle"})
    assert [path.name for path in folder.iterdir()] == ["middle"]


def test_use_keeps_an_entry_young(blob: type[Blob], clip: Path) -> None:
    track_clip(clip, backend="blob")
    (path,) = cache.cache_folder().glob("*.track.npz")
    os.utime(path, (1e9, 1e9))
    track_clip(clip, backend="blob")
    assert path.stat().st_mtime > 1e9 + 1


# --- masks on their own ---


def some_masks() -> MaskTrack:
    frames = [np.full((4, 6), value, np.uint8) for value in (10, 20, 30)]
    return MaskTrack(np.array([0.0, 0.1, 0.25]), (6, 4), (60, 40), (pack(frames[0]), b"", pack(frames[2])))


@pytest.mark.parametrize(
    ("time_s", "value"), [(-1.0, 10), (0.0, 10), (0.0999, 10), (0.1, 0), (0.0999999, 0), (0.2, 0), (0.25, 30), (9, 30)]
)
def test_mask_of_the_frame_shown(time_s: float, value: int) -> None:
    mask = some_masks().at(time_s)
    assert mask.shape == (4, 6)
    assert (mask == value).all()


def test_masks_must_fit_the_frames() -> None:
    with pytest.raises(DataError, match="do not fit"):
        MaskTrack(np.arange(2.0), (6, 4), (60, 40), (b"",))
    with pytest.raises(DataError, match="no mask"):
        some_masks().at(float("nan"))
