"""Writing is whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from overlay.errors import InputError, OutputError
from overlay.files import atomic_path, check_writable, has_content, refuse_to_overwrite, sha256_of, write_text


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    write_text(target, "old")

    def fail() -> None:
        with atomic_path(target) as part:
            part.write_text("half")
            raise RuntimeError("stopped in the middle")

    with pytest.raises(RuntimeError, match="middle"):
        fail()
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["report.html"]


def test_a_full_disk_is_said_so(tmp_path: Path) -> None:
    def fill() -> None:
        with atomic_path(tmp_path / "a.mp4"):
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="disk is full"):
        fill()
    assert os.listdir(tmp_path) == []


def test_a_file_in_the_way_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(OutputError, match="in the way"):
        write_text(tmp_path / "out" / "a.json", "{}")


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="permission"):
        write_text(tmp_path / "a.json", "{}")


def test_permissions_follow_the_umask(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "x")
    umask = os.umask(0)
    os.umask(umask)
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o666 & ~umask


def test_outputs_that_would_destroy_an_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    stills = tmp_path / "stills"
    stills.mkdir()
    (tmp_path / "link").symlink_to(stills, target_is_directory=True)
    clip = tmp_path / "today.mp4"
    clip.touch()
    for output, taken in (
        (clip, clip),
        (Path("today.mp4"), clip),
        (stills / ".." / "today.mp4", clip),
        (stills / "report.html", stills),
        (tmp_path / "link" / "report.html", stills),
    ):
        with pytest.raises(OutputError, match=r"over or into .*, which it is made from"):
            refuse_to_overwrite([tmp_path / "other.png", output], [tmp_path / "b.mp4", taken])
    # Beside a clip, in a folder below the stills, and where nothing is yet.
    refuse_to_overwrite([tmp_path / "stills.png", stills / "out" / "report.html"], [clip, stills, tmp_path / "no.mp4"])


def test_what_cannot_be_written_shows_beforehand(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file")
    (tmp_path / "dangling").symlink_to(tmp_path / "gone")
    for output in (tmp_path / "file" / "a.json", tmp_path / "dangling" / "deep" / "a.json", tmp_path):
        with pytest.raises(OutputError, match="in the way"):
            check_writable([output])
    check_writable([tmp_path / "new" / "deep" / "a.json", tmp_path / "file"])
    assert sorted(os.listdir(tmp_path)) == ["dangling", "file"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_parent_shows_beforehand(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="permission"):
        check_writable([tmp_path / "new" / "a.json"])


def test_a_parent_without_permission_shows_beforehand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(OutputError, match="permission"):
        check_writable([tmp_path / "new" / "a.json"])


def test_hash(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4 example: SHA-256("abc")
    assert sha256_of(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256_of(tmp_path / "a") == hashlib.sha256(b"abc").hexdigest()
    with pytest.raises(InputError, match="cannot be read"):
        sha256_of(tmp_path / "missing")


def test_two_results_in_one_place_are_refused(tmp_path: Path) -> None:
    both = [tmp_path / "x.html", tmp_path / "folder" / ".." / "x.html"]
    with pytest.raises(OutputError, match=r"Two results would be written to .*x\.html"):
        refuse_to_overwrite(both, [])
    refuse_to_overwrite([tmp_path / "x.html", tmp_path / "x.png"], [])


def test_a_file_is_the_one_that_was_read_only_with_the_same_content(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(b"abc")
    # FIPS 180-2, example 1: SHA-256 of "abc".
    abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert has_content(path, abc, 3)
    assert not has_content(path, abc, 4)
    path.write_bytes(b"abd")
    assert not has_content(path, abc, 3)
    assert not has_content(tmp_path, abc, 3)
    assert not has_content(tmp_path / "none", abc, 3)
    assert not has_content(Path("a\0b"), abc, 3)
