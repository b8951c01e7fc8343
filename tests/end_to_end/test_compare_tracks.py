"""The main job on saved tracks (CSV), where no picture and no pose model is needed."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def write_track(
    path: Path, view: str = "fo", rate_hz: float = 60.0, told: bool = True, **spec: Any
) -> dict[str, float]:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
    from overlay.pose import write_csv

    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view=view)
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=3)
    hand = spec.get("handedness", "right")
    write_csv(path, track, view=view if told else None, handedness=hand if told else None)
    return dict(motion.position_times)


def test_two_tables_in_a_comparison_out(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "one.csv", faults={"sway": 1.5})
    write_track(tmp_path / "other.csv")
    done = overlay_command("compare", tmp_path / "one.csv", tmp_path / "other.csv", "--out", tmp_path / "out", "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["largest"]["part"] == "pelvis"
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "comparison.mp4",
        "stills.png",
        "report.html",
        "comparison.json",
    }


def test_what_the_table_does_not_say_is_found(overlay_command: Run, tmp_path: Path) -> None:
    truth = write_track(tmp_path / "lefty.csv", view="dtl", told=False, handedness="left")
    done = overlay_command("inspect", tmp_path / "lefty.csv", "--json")
    assert done.returncode == 0, done.stderr
    swing = json.loads(done.stdout)["swings"][0]
    assert (swing["view"], swing["handedness"]) == ("dtl", "left")
    found = {row["name"]: row["time_s"] for row in swing["positions"]}
    assert abs(found["top"] - truth["top"]) < 0.05
    assert abs(found["impact"] - truth["impact"]) < 0.05
    assert swing["club"] == []


def test_a_left_hander_against_a_right_hander(overlay_command: Run, tmp_path: Path) -> None:
    left = write_track(tmp_path / "left.csv", handedness="left")
    right = write_track(tmp_path / "right.csv")
    done = overlay_command("compare", tmp_path / "left.csv", tmp_path / "right.csv", "--no-video", "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    pairs = np.array(document["time_map"]["pairs_s"])
    for name in ("top", "impact"):
        assert abs(np.interp(left[name], pairs[:, 0], pairs[:, 1]) - right[name]) < 0.03
    assert document["first"] is None, document["first"]


def test_different_views_are_refused(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "fo.csv")
    write_track(tmp_path / "dtl.csv", view="dtl")
    done = overlay_command("compare", tmp_path / "fo.csv", tmp_path / "dtl.csv")
    assert done.returncode == 5
    assert "face on" in done.stderr
    assert "down the line" in done.stderr
    assert len(done.stderr.strip().splitlines()[-2:]) == 2


def test_a_swing_that_is_not_there(overlay_command: Run, tmp_path: Path) -> None:
    write_track(tmp_path / "one.csv")
    done = overlay_command("inspect", tmp_path / "one.csv", "--swing", "4")
    assert done.returncode == 3
    assert "swing 4" in done.stderr


@pytest.mark.parametrize("layout", ["side", "ghost"])
def test_layouts_and_the_reference_leading(overlay_command: Run, tmp_path: Path, layout: str) -> None:
    write_track(tmp_path / "one.csv")
    out = tmp_path / "out"
    done = overlay_command(
        "compare", tmp_path / "one.csv", tmp_path / "one.csv", "--out", out, "--layout", layout, "--lead", "reference",
        "--speed", "0.5", "--hold", "0",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (out / "comparison.mp4").stat().st_size > 10_000
    assert "No difference detected" in done.stdout
