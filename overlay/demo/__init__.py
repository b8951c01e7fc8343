"""The demo: two invented players rendered to video files, then compared like any other two clips."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Mapping

from overlay.errors import InputError, OutputError
from overlay.files import write_text
from overlay.pipeline import (
    ClipOptions,
    Outcome,
    OutputOptions,
    Outputs,
    check_outputs,
    compare_clips,
    output_paths,
    write_outputs,
)
from overlay.progress import SILENT, Progress
from overlay.shipped import shipped_folder

if TYPE_CHECKING:
    from overlay.golfer import GolferSpec

RATE_HZ = 60

MARK = "demo.txt"
"""Says that the clips of a folder are the demo's own, also when it was stopped half-way."""

CLIP_NAMES = ("student.mp4", "reference.mp4")


@dataclass(frozen=True)
class Role:
    """One player of the scenario in one view."""

    name: str
    look: str
    seed: int
    golfer: GolferSpec
    camera: Mapping[str, Any]
    """What ``CameraSpec.for_motion`` is told."""


@dataclass(frozen=True)
class Scenario:
    """Who plays where."""

    place: str
    student: Role
    reference: Role
    planted: Mapping[str, float]


def load_scenario(path: Path | None = None, view: str = "fo") -> Scenario:
    """Read a scenario file; None: the shipped one.

    Raises
    ------
    InputError
        The file cannot be read, or names something that does not exist.
    """
    path = path or shipped_folder("demo") / "larkspur.toml"
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path} cannot be read: {error}.", "Give a scenario file such as demo/scenario/larkspur.toml."
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"{path} is not TOML: {error}.", "Start from a copy of demo/scenario/larkspur.toml."
        ) from error
    views = values.get("views", {})
    if not isinstance(views, dict) or not all(isinstance(table, dict) for table in views.values()):
        raise InputError(f"{path.name}: views is not a table of tables.", "Write [views.fo] and [views.dtl].")
    if view not in views:
        raise InputError(f"{path.name} has no view {view!r}.", f"It has {', '.join(views) or 'none'}.")
    faults = views[view].get("student_faults", {})
    if not isinstance(faults, dict):
        raise InputError(
            f"{path.name}: student_faults of view {view} is {faults!r}, not a table.",
            "Write fault = size pairs, such as { sway = 1.3 }.",
        )
    return Scenario(
        str(values.get("place", "")),
        _role(values, "student", views[view], faults, path),
        _role(values, "reference", views[view], {}, path),
        faults,
    )


def _role(values: Mapping[str, Any], role: str, view: Mapping[str, Any], faults: dict[str, float], path: Path) -> Role:
    from overlay.golfer import CameraSpec, GolferSpec
    from overlay.golfer.looks import find_look

    try:
        player = values[role]
        golfer = dict(player.get("golfer", {}))
        golfer["faults"] = {**golfer.get("faults", {}), **faults}
        look, seed, camera = str(player["look"]), int(player.get("seed", 0)), dict(view[f"{role}_camera"])
        if seed < 0:
            raise InputError(f"seed is {seed}.", "Give a whole number from 0.")
        # Both are used only when rendering, which is after the first minute of work.
        find_look(look)
        CameraSpec.from_dict(camera)
        return Role(str(player["name"]), look, seed, GolferSpec.from_dict(golfer), camera)
    except InputError as error:
        raise InputError(f"{path.name}, {role}: {error.message}", error.hint) from error
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise InputError(
            f"{path.name}: the {role} is not complete ({error}).", "Start from a copy of the shipped one."
        ) from error


def render_players(scenario: Scenario, folder: Path, *, progress: Progress = SILENT) -> tuple[Path, Path]:
    """Render both players to MP4 files in ``folder``; returns (student, reference)."""
    from overlay.golfer import CameraSpec, render_clip, simulate

    paths = []
    for role, file in zip((scenario.student, scenario.reference), CLIP_NAMES, strict=True):
        motion = simulate(role.golfer)
        camera = CameraSpec.for_motion(motion, **role.camera)
        path = render_clip(
            motion, camera, folder / file, rate_hz=RATE_HZ, look=role.look, seed=role.seed, progress=progress
        )
        paths.append(path)
    return paths[0], paths[1]


def check_folder(folder: Path) -> None:
    """Refuse a folder the demo cannot write, or whose clips of the demo's names are somebody's own.

    Raises
    ------
    OutputError
    """
    clips = [folder / name for name in CLIP_NAMES]
    check_outputs([*clips, *output_paths(folder).values()], ())
    for clip in clips:
        if clip.exists() and not (folder / MARK).exists():
            raise OutputError(
                f"{clip} is there already, and no earlier demo made it.",
                "Choose another --out, or move the clip.",
            )


def run_demo(
    folder: Path, *, view: str = "fo", scenario_path: Path | None = None, progress: Progress = SILENT
) -> tuple[Scenario, Outcome, Outputs]:
    """Render, compare and write everything into ``folder``.

    Raises
    ------
    InputError
        The scenario cannot be read.
    OutputError
        The folder cannot be written, or holds clips that no demo made.
    """
    scenario = load_scenario(scenario_path, view)
    check_folder(folder)
    write_text(folder / MARK, f"Rendered by `overlay demo`, view {view}; the clips here may be written over by it.\n")
    student, reference = render_players(scenario, folder, progress=progress)
    plain = ClipOptions(use_cache=False)
    outcome = compare_clips(
        student,
        reference,
        student_options=plain,
        reference_options=plain,
        stature_cm=100.0 * scenario.student.golfer.body.stature_m,
        progress=progress,
    )
    options = OutputOptions(student_label=scenario.student.name, reference_label=scenario.reference.name)
    return scenario, outcome, write_outputs(outcome, folder, options, progress=progress)
