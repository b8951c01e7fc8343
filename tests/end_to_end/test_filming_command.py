"""``overlay filming`` as a player runs it: on saved tracks, and on short rendered clips that are badly filmed."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def write_track(path: Path, view: str = "dtl", raised_m: float = 0.0, **camera: Any) -> None:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, TempoSpec, simulate, truth_track
    from overlay.pose import write_csv

    motion = simulate(GolferSpec(tempo=TempoSpec(pre_s=1.0, relax_s=0.6, post_s=0.0)))
    hands = float(motion.state(np.array([motion.position_times["address"]]))["grip"][0, 2])
    seen_from = CameraSpec.for_motion(motion, view, height_m=hands + raised_m, **camera)
    track = truth_track(motion, seen_from, 60.0, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=3)
    write_csv(path, track)


def film(path: Path, stop_s: float = 0.3, **camera: Any) -> Path:
    from overlay.golfer import CameraSpec, GolferSpec, render_clip, simulate

    motion = simulate(GolferSpec())
    seen_from = CameraSpec.for_motion(motion, "fo", width_px=360, height_px=640, **camera)
    return render_clip(motion, seen_from, path, rate_hz=20, stop_s=stop_s, seed=1)


def findings(done: subprocess.CompletedProcess[str]) -> dict[str, dict[str, Any]]:
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["kind"] == "filming"
    return {row["name"]: row for row in document["filming"]["findings"]}


def test_a_high_camera_is_told_in_the_first_row(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "high.csv", raised_m=0.30)
    done = overlay_command("filming", tmp_path / "high.csv", "--quiet")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "Filming: put this right before you trust the pictures."
    assert lines[1].split()[0] == "FAIL"
    assert "lens against the hands" in lines[1]
    assert "Lower the camera about 30 cm" in done.stdout


def test_a_good_camera_is_left_where_it_is(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "good.csv", view="fo")
    done = overlay_command("filming", tmp_path / "good.csv", "--quiet")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0] == "Filming: good. Leave the camera where it is."
    assert "FAIL" not in done.stdout


def test_numbers_come_as_json(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "aside.csv", offset_m=0.30)
    told = findings(overlay_command("filming", tmp_path / "aside.csv", "--json", "--quiet", "--stature-cm", 178))
    assert told["camera_offset"]["value"] == pytest.approx(30.0, abs=5.0)
    assert told["camera_offset"]["verdict"] == "fail"
    assert "towards the heel line" in told["camera_offset"]["advice"]
    assert told["shutter_blur"] == told["shutter_blur"] | {"verdict": "not seen", "value": None}


def test_a_view_that_is_told_is_taken(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "clip.csv")
    told = findings(
        overlay_command("filming", tmp_path / "clip.csv", "--json", "-q", "--view", "dtl", "--hand", "right")
    )
    assert told["view"]["sentence"] == "Filmed down the line, right-handed player."


@pytest.mark.pose
def test_cut_off_feet_and_no_swing_are_findings(overlay_command: Run, tmp_path: Path) -> None:
    clip = film(tmp_path / "cut.mp4", pitch_deg=12.0)
    refused = overlay_command("inspect", clip, "--quiet")
    assert refused.returncode == 4
    told = findings(overlay_command("filming", clip, "--json", "--quiet"))
    assert told["swing"]["verdict"] == "fail"
    assert "swing" in told["swing"]["sentence"]
    assert told["whole_body"]["verdict"] == "fail"
    assert "feet" in told["whole_body"]["sentence"]
    assert told["exposure"]["verdict"] == "pass"
    assert told["other_people"]["verdict"] == "pass"


def test_what_is_no_clip_is_an_error(overlay_command: Run, tmp_path: Path) -> None:
    done = overlay_command("filming", tmp_path / "missing.mp4", "--quiet")
    assert done.returncode == 3
    assert done.stderr.splitlines()[0].startswith("error: ")
