"""Every bad input gives two lines and an exit code: no traceback, no half-written output."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def assert_two_lines(done: subprocess.CompletedProcess[str], code: int) -> None:
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    lines = done.stderr.strip().splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("error: "))
    assert len(lines) - start == 2, done.stderr
    assert lines[-1].startswith("  ")


def write_clip(path: Path, images: list[np.ndarray], rate: int = 30) -> Path:
    from overlay.video import VideoWriter

    height, width = images[0].shape[:2]
    with VideoWriter(path, width, height, rate) as writer:
        for image in images:
            writer.write(image)
    return path


def test_the_bare_command_is_its_help(overlay_command: Run) -> None:
    done = overlay_command()
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout == overlay_command("--help").stdout
    assert "compare" in done.stdout


@pytest.mark.parametrize("name", ["inspect", "compare", "compare among inputs", "compare into stills"])
def test_a_clip_is_never_written_over(overlay_command: Run, tmp_path: Path, name: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "comparison.mp4").write_bytes(b"the only take")
    (out / "a.png").write_bytes(b"the only still")
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    clip = out / "comparison.mp4"
    arguments = {
        "inspect": ("inspect", clip, "--sheet", clip),
        "compare": ("compare", clip, clip, "--out", out),
        "compare among inputs": ("compare", tmp_path / "b.mp4", clip, "--out", tmp_path / "out" / ".." / "out"),
        "compare into stills": ("compare", out, tmp_path / "b.mp4", "--out", out, "--no-video"),
    }
    done = overlay_command(*arguments[name])
    # None of these is a video: an answer of 6 shows that the names were looked at before any clip was opened.
    assert_two_lines(done, 6)
    assert "which it is made from" in done.stderr
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_a_file_in_the_way_is_found_before_the_work(overlay_command: Run, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    for out in (tmp_path / "taken", tmp_path / "taken" / "deeper"):
        done = overlay_command("compare", "nowhere.mp4", "nowhere.mp4", "--out", out)
        assert_two_lines(done, 6)
        assert "in the way" in done.stderr
    assert_two_lines(overlay_command("inspect", "nowhere.mp4", "--sheet", tmp_path), 6)


def test_the_demo_does_not_write_over_a_clip_of_ones_own(overlay_command: Run, tmp_path: Path) -> None:
    (tmp_path / "student.mp4").write_bytes(b"the only take")
    assert_two_lines(overlay_command("demo", "--out", tmp_path), 6)
    assert [path.name for path in tmp_path.iterdir()] == ["student.mp4"]
    assert (tmp_path / "student.mp4").read_bytes() == b"the only take"


def test_no_such_file(overlay_command: Run) -> None:
    done = overlay_command("inspect", "nowhere.mp4")
    assert_two_lines(done, 3)
    assert "nowhere.mp4" in done.stderr


def test_not_a_video(overlay_command: Run, tmp_path: Path) -> None:
    clip = tmp_path / "notes.mp4"
    clip.write_text("seven iron, quiet hands\n" * 50)
    assert_two_lines(overlay_command("inspect", clip), 3)


def test_zero_length(overlay_command: Run, tmp_path: Path) -> None:
    clip = tmp_path / "empty.mp4"
    clip.touch()
    assert_two_lines(overlay_command("inspect", clip), 3)


def test_truncated(overlay_command: Run, tmp_path: Path) -> None:
    whole = write_clip(tmp_path / "whole.mp4", [np.full((64, 48, 3), i, np.uint8) for i in range(30)])
    clip = tmp_path / "cut.mp4"
    clip.write_bytes(whole.read_bytes()[: whole.stat().st_size // 3])
    assert_two_lines(overlay_command("inspect", clip), 3)


def test_a_folder_without_pictures(overlay_command: Run, tmp_path: Path) -> None:
    (tmp_path / "stills").mkdir()
    assert_two_lines(overlay_command("inspect", tmp_path / "stills"), 3)


@pytest.mark.pose
def test_no_person(overlay_command: Run, tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    ground = (rng.random((480, 270, 3)) * 60 + 80).astype(np.uint8)
    clip = write_clip(tmp_path / "range.mp4", [ground] * 30)
    done = overlay_command("compare", clip, clip, "--out", tmp_path / "out")
    assert_two_lines(done, 4)
    assert "person" in done.stderr
    assert not (tmp_path / "out").exists()


def test_unknown_option(overlay_command: Run) -> None:
    assert_two_lines(overlay_command("compare", "--sideways"), 2)


def test_bad_rate(overlay_command: Run) -> None:
    done = overlay_command("inspect", "x.mp4", "--capture-rate", "fast")
    assert_two_lines(done, 2)


def test_bad_table(overlay_command: Run, tmp_path: Path) -> None:
    table = tmp_path / "track.csv"
    table.write_text("time_s,joint,x_px,y_px\n0.0,left_wrist,ten,20\n")
    done = overlay_command("inspect", table)
    assert_two_lines(done, 3)
    assert "2" in done.stderr  # the line


def test_help_of_every_command(overlay_command: Run) -> None:
    from overlay.cli.main import COMMANDS

    for name in COMMANDS:
        done = overlay_command(name, "--help")
        assert done.returncode == 0
        assert f"overlay {name}" in done.stdout


def test_every_command_and_option_is_documented(repository: Path) -> None:
    import click

    from overlay.cli.main import COMMANDS, group

    page = (repository / "docs" / "reference.md").read_text(encoding="utf-8")
    context = click.Context(group)
    missing = []
    for name in COMMANDS:
        command = group.get_command(context, name)
        assert command is not None
        if f"## overlay {name}" not in page:
            missing.append(name)
        for parameter in command.params:
            missing.extend(
                f"{name} {option}" for option in parameter.opts if option.startswith("--") and option not in page
            )
    assert missing == []


def test_debug_shows_the_traceback(overlay_command: Run) -> None:
    done = overlay_command("inspect", "nowhere.mp4", environment={"OVERLAY_DEBUG": "1"})
    assert "Traceback" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="pipes")
def test_a_closed_pipe_is_quiet(overlay_environment: dict[str, str], overlay_arguments: list[str]) -> None:
    line = " ".join([*overlay_arguments, "--help"]) + " | head -c 1"
    done = subprocess.run(["bash", "-c", line], env=overlay_environment, capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr


def test_module_and_command_are_the_same(overlay_environment: dict[str, str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "overlay", "--version"],
        env=overlay_environment,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("overlay, version")
