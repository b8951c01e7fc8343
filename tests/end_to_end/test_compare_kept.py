"""Comparing with a swing of the library: ``best:PLAYER`` and ``swing:ID``, with its clip and after the clip is gone."""

from __future__ import annotations

import datetime
import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from overlay.batch import ReadJob, inputs_of, read_clip
from overlay.errors import InputError, MismatchError
from overlay.files import sha256_of
from overlay.library import open_store
from overlay.pipeline import ClipOptions, kept_reference

Run = Callable[..., "subprocess.CompletedProcess[str]"]

PLAYER = "Wren Halloway"


def write_track(path: Path, view: str = "fo", *, seed: int = 3, **spec: Any) -> Path:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
    from overlay.pose import write_csv

    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view=view)
    track = truth_track(motion, camera, 60.0, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)
    write_csv(path, track, view=view, handedness="right")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three tracks, two of them in a library and marked as best, one a view."""
    folder = tmp_path_factory.mktemp("season")
    write_track(folder / "today.csv", seed=5, faults={"sway": 1.5})
    write_track(folder / "today-dtl.csv", "dtl", seed=6, faults={"sway": 1.5})
    with open_store(folder / "library.sqlite") as store:
        session = store.ensure_session(store.ensure_player(PLAYER).id, datetime.date(2026, 5, 4), "mid iron")
        store.ensure_player("Tobin Larkmead")
        for name, view in (("best.csv", "fo"), ("best-dtl.csv", "dtl")):
            path = write_track(folder / name, view, seed=4)
            options = ClipOptions()
            job = ReadJob(path, sha256_of(path), options, inputs=inputs_of(path, options))
            store.keep(session.id, read_clip(job))
        for swing in store.swings():
            store.mark_best(swing.id)
    return folder


def compare(run: Run, folder: Path, *arguments: object) -> dict[str, Any]:
    library = folder / "library.sqlite"
    done = run("compare", *arguments, "--library", library, "--out", folder / "out", "--no-video", "--json")
    assert done.returncode == 0, done.stderr
    document: dict[str, Any] = json.loads(done.stdout)
    return document


def test_the_best_swing_of_the_library_is_the_clip_it_was_read_from(overlay_command: Run, folder: Path) -> None:
    clip = compare(overlay_command, folder, folder / "today.csv", folder / "best.csv")
    kept = compare(overlay_command, folder, folder / "today.csv", f"best:{PLAYER.upper()}")
    assert kept["differences"] == clip["differences"]
    assert kept["checklist"]["first"] == clip["checklist"]["first"]


def test_a_swing_is_named_by_its_id(overlay_command: Run, folder: Path) -> None:
    with open_store(folder / "library.sqlite") as store:
        (swing,) = store.best(PLAYER, view="dtl")
    kept = compare(overlay_command, folder, folder / "today-dtl.csv", f"swing:{swing.id}")
    clip = compare(overlay_command, folder, folder / "today-dtl.csv", folder / "best-dtl.csv")
    assert kept["differences"] == clip["differences"]


def test_the_track_stands_in_once_the_clip_is_gone_or_another(overlay_command: Run, folder: Path) -> None:
    clip = compare(overlay_command, folder, folder / "today.csv", folder / "best.csv")
    content = (folder / "best.csv").read_bytes()
    (folder / "best.csv").write_bytes(content + b"\n")
    try:
        kept = compare(overlay_command, folder, folder / "today.csv", f"best:{PLAYER}")
    finally:
        (folder / "best.csv").write_bytes(content)
    assert kept["reference_model"]["name"] == f"best of {PLAYER}, 2026-05-04"
    for one, other in zip(kept["differences"], clip["differences"], strict=True):
        assert (one["phase"], one["part"], one["words"]) == (other["phase"], other["part"], other["words"])


def test_both_views_of_a_best_swing(overlay_command: Run, folder: Path) -> None:
    both = compare(
        overlay_command, folder, folder / "today-dtl.csv", f"best:{PLAYER}", "--second", folder / "today.csv"
    )
    assert both["first"]["measure"] == "pelvis_push_back"
    assert set(both["views"]) == {"dtl", "fo"}


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        ("best:Nobody", "Nobody"),
        ("best:Tobin Larkmead", "marked as best"),
        ("best:", "player"),
        ("swing:twelve", "names no swing"),
        ("swing:999", "999"),
        ("swing:²", "names no swing"),
        ("swing:" + "9" * 40, "names no swing"),
    ],
)
def test_what_is_not_in_the_library_is_said(folder: Path, given: str, problem: str) -> None:
    with pytest.raises(InputError, match=problem):
        kept_reference(given, folder / "library.sqlite")


def test_no_library_is_made_by_asking(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        kept_reference("best:Wren", tmp_path / "none.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_a_view_that_is_not_kept_is_said(folder: Path) -> None:
    with open_store(folder / "library.sqlite") as store:
        (swing,) = store.best(PLAYER, view="dtl")
    reference = kept_reference(f"swing:{swing.id}", folder / "library.sqlite")
    with pytest.raises(MismatchError, match="face on"):
        reference.of("fo")


def test_an_option_of_a_clip_is_refused(overlay_command: Run, folder: Path) -> None:
    done = overlay_command(
        "compare",
        folder / "today.csv",
        f"best:{PLAYER}",
        "--library",
        folder / "library.sqlite",
        "--reference-view",
        "fo",
    )
    assert done.returncode == 3
    assert len(done.stderr.strip().splitlines()) == 2
