"""Comparing with what is kept: a saved swing, a template, a swing in space; and both views of one swing.

Saved tracks stand in for clips, so that no picture and no pose model is needed.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def write_track(path: Path, view: str = "fo", *, seed: int = 3, rate_hz: float = 60.0, **spec: Any) -> Path:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
    from overlay.pose import write_csv

    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view=view)
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)
    write_csv(path, track, view=view, handedness=spec.get("handedness", "right"))
    return path


def compare(run: Run, folder: Path, *arguments: object) -> dict[str, Any]:
    done = run("compare", *arguments, "--models", folder / "models", "--out", folder / "out", "--no-video", "--json")
    assert done.returncode == 0, done.stderr
    document: dict[str, Any] = json.loads(done.stdout)
    return document


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, overlay_command: Run) -> Path:
    """A folder with tracks, and a library that keeps one of them."""
    folder = tmp_path_factory.mktemp("kept")
    write_track(folder / "best.csv", seed=4)
    write_track(folder / "today.csv", seed=5, faults={"sway": 1.5})
    write_track(folder / "today-dtl.csv", "dtl", seed=6, faults={"sway": 1.5})
    write_track(folder / "best-dtl.csv", "dtl", seed=7)
    done = overlay_command("model", "save", folder / "best.csv", "--name", "best", "--models", folder / "models")
    assert done.returncode == 0, done.stderr
    return folder


def test_a_kept_swing_is_the_clip_it_came_from(overlay_command: Run, kept: Path) -> None:
    clip = compare(overlay_command, kept, kept / "today.csv", kept / "best.csv")
    model = compare(overlay_command, kept, kept / "today.csv", "best")
    assert clip["reference_model"] is None
    assert model["reference_model"]["name"] == "best"
    assert model["checklist"]["first"]["measure"] == clip["checklist"]["first"]["measure"] == "pelvis_push_back"
    for one, other in zip(model["differences"], clip["differences"], strict=True):
        assert (one["phase"], one["part"], one["words"]) == (other["phase"], other["part"], other["words"])
        if one["value"] is not None:
            assert one["value"] == pytest.approx(other["value"], abs=1e-3)


def test_a_model_file_serves_as_well_as_its_name(overlay_command: Run, kept: Path) -> None:
    document = compare(overlay_command, kept, kept / "today.csv", kept / "models" / "best.swing")
    assert document["reference_model"]["name"] == "best"


def test_a_swing_in_space_is_posed_on_the_student(overlay_command: Run, kept: Path) -> None:
    document = compare(overlay_command, kept, kept / "today.csv", "mid_iron")
    assert document["reference_model"]["kind"] == "space"
    assert "not a norm" in document["reference_model"]["label"]
    assert document["fit"]["kind"] == "space"
    assert document["fit"]["residual_torso"] < 0.12
    # The lens stands in front of the player, a few metres away, about hand high.
    _, y, z = document["fit"]["camera"]["position_m"]
    assert 2.0 < y < 7.0
    assert 0.3 < z < 1.4
    assert document["checklist"]["first"]["measure"] == "pelvis_push_back"


def test_both_views_are_paired_and_one_thing_is_named(overlay_command: Run, kept: Path) -> None:
    document = compare(
        overlay_command,
        kept,
        kept / "today-dtl.csv",
        kept / "best-dtl.csv",
        "--second",
        kept / "today.csv",
        "--second-reference",
        kept / "best.csv",
    )
    assert document["kind"] == "both views"
    assert set(document["views"]) == {"dtl", "fo"}
    assert document["first"]["measure"] == "pelvis_push_back"
    turns = {row["name"]: row for row in document["pair"]["measures"]}
    assert any("turn" in name and row["valid"] for name, row in turns.items())
    assert {path.name for path in (kept / "out").iterdir()} >= {"stills.png", "report.html", "comparison.json"}


def test_both_views_against_a_swing_in_space(overlay_command: Run, kept: Path) -> None:
    document = compare(overlay_command, kept, kept / "today.csv", "mid_iron", "--second", kept / "today-dtl.csv")
    assert {one["fit"]["kind"] for one in document["views"].values()} == {"space"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("today.csv", "nobody"), "no model of that name"),
        (("today-dtl.csv", "best"), "is kept face on"),
        (("today.csv", "mid_iron", "--no-fit"), "swing in space"),
        (("today.csv", "mid_iron", "--own"), "of no player"),
        (("mid_iron", "today.csv"), "clip first, then the model"),
        (("today.csv", "best", "--reference-hand", "left"), "--reference-hand is for a reference that is a clip"),
        (("today.csv", "best", "--reference-mirrored"), "--reference-mirrored is for a reference that is a clip"),
        (("best.swing", "mid_iron"), "clip first, then the model"),
        (("today.csv", "best.csv", "--second", "today-dtl.csv"), "the reference in one"),
        (("today.csv", "best.csv", "--second-offset", "0.2"), "go with --second"),
        (("today.csv", "mid_iron", "--second-reference", "best.csv"), "brings its own views"),
        (("today.csv", "mid_iron", "--second", "today.csv"), "both views"),
        (("today.csv", "mid_iron", "--second", "best.csv"), "face on"),
    ],
)
def test_what_does_not_go_together_is_told_in_two_lines(
    overlay_command: Run, kept: Path, arguments: tuple[str, ...], said: str
) -> None:
    given = [kept / word if word.endswith(".csv") else word for word in arguments]
    done = overlay_command("compare", *given, "--models", kept / "models", "--out", kept / "refused")
    assert done.returncode not in (0, 70), done.stderr
    lines = [line for line in done.stderr.splitlines() if not line.endswith("…")]
    assert len(lines) == 2, done.stderr
    assert lines[0].startswith("error: ")
    assert said in done.stderr
    assert not (kept / "refused" / "comparison.json").exists()
