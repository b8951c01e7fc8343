"""A file is scanned and hashed once in a process, and again when it has changed."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from overlay.video import VideoWriter, open_clip, pyav_reader


def written(path: Path, n: int, level: int = 0) -> Path:
    with VideoWriter(path, 64, 48, 30) as writer:
        for i in range(n):
            writer.write(np.full((48, 64, 3), level + i, np.uint8))
    return path


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Files whose content was read, one entry a time."""
    seen: list[Path] = []
    original = pyav_reader.sha256_of

    def counted(path: Path) -> str:
        seen.append(path)
        return original(path)

    monkeypatch.setattr(pyav_reader, "sha256_of", counted)
    monkeypatch.setattr(pyav_reader, "_KNOWN", {})
    return seen


def test_a_settled_file_is_read_once(tmp_path: Path, hashed: list[Path]) -> None:
    path = written(tmp_path / "a.mp4", 6)
    os.utime(path, (1e9, 1e9))
    clips = []
    for _ in range(3):
        with open_clip(path) as reader:
            clips.append(reader.clip)
            assert len(list(reader.frames())) == 6
    assert len(hashed) == 1
    assert len({clip.content_hash for clip in clips}) == 1
    assert all(np.array_equal(clip.times_s, clips[0].times_s) for clip in clips)


def test_a_changed_file_is_read_again(tmp_path: Path, hashed: list[Path]) -> None:
    path = written(tmp_path / "a.mp4", 6)
    os.utime(path, (1e9, 1e9))
    with open_clip(path) as reader:
        first = reader.clip
    written(path, 9, 50)
    os.utime(path, (1e9 + 5, 1e9 + 5))
    with open_clip(path) as reader:
        assert reader.clip.n_frames == 9
        assert reader.clip.content_hash != first.content_hash
    assert len(hashed) == 2


def test_a_file_written_just_now_is_read_every_time(tmp_path: Path, hashed: list[Path]) -> None:
    path = written(tmp_path / "a.mp4", 6)
    for _ in range(2):
        with open_clip(path):
            pass
    assert len(hashed) == 2


def test_only_the_last_files_are_remembered(tmp_path: Path, hashed: list[Path]) -> None:
    for name in ("a", "b", "c", "a"):
        path = tmp_path / f"{name}.mp4"
        if not path.exists():
            written(path, 4)
        os.utime(path, (1e9, 1e9))
        with open_clip(path):
            pass
    assert [path.stem for path in hashed] == ["a", "b", "c", "a"]
    assert len(pyav_reader._KNOWN) == pyav_reader.FILES_KNOWN
