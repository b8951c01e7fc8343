"""What decides whether a clip is read again."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import overlay
from overlay.batch import engine, inputs_of
from overlay.batch.engine import NO_RESULTS, PARTS
from overlay.pipeline import ClipOptions

ROOT = Path(overlay.__file__).resolve().parent

NO_MATTER = {
    "__init__.py": "the version stands for nothing that is read",
    "errors.py": "words of an error",
    "files.py": "writes",
    "progress.py": "tells how far it is",
    "shipped.py": "where files lie",
    "documents.py": "a container of what was read",
    "compose/wording.py": "the sentence of a comparison; its numbers are kept beside it",
    "pipeline/__init__.py": "names",
    "pipeline/outputs.py": "writes",
    "pipeline/filming.py": "for another command",
    "pipeline/views.py": "for two clips together",
    "pipeline/kept.py": "finds a reference",
    "pipeline/models.py": "tidies texts",
    "batch/__init__.py": "names",
    "batch/jobs.py": "a container",
    "data/change.py": "what is said of many sessions",
    "settings/__init__.py": "how a setting is written",
}


def modules_of(path: Path) -> set[Path]:
    """Files of the package that a file imports, also inside its functions."""
    found: set[Path] = set()

    def add(dotted: str) -> bool:
        place = ROOT.joinpath(*dotted.split(".")[1:])
        for one in (place.with_suffix(".py"), place / "__init__.py"):
            if one.is_file():
                found.add(one)
                return True
        return False

    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == "overlay":
                    add(alias.name)
        elif isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "overlay":
            add(node.module)
            for alias in node.names:
                add(f"{node.module}.{alias.name}")
    return found


def reached(start: Path) -> set[str]:
    """Everything that reading a clip may import; modules that change nothing are not followed further."""
    known: set[Path] = set()
    todo = [start]
    while todo:
        path = todo.pop()
        if path in known:
            continue
        known.add(path)
        name = path.relative_to(ROOT).as_posix()
        if name not in NO_MATTER or name == "pipeline/__init__.py":
            todo.extend(modules_of(path))
    return {path.relative_to(ROOT).as_posix() for path in known}


def covered(name: str) -> bool:
    return name not in NO_RESULTS and any(name == part or name.startswith(f"{part}/") for part in PARTS)


def test_the_digest_covers_everything_that_reading_imports() -> None:
    names = reached(ROOT / "batch" / "reading.py")
    assert len(names) > 80
    assert {name for name in names if not covered(name) and name not in NO_MATTER} == set()


def test_the_list_holds_nothing_that_is_not_there() -> None:
    assert [part for part in (*PARTS, *NO_RESULTS) if not (ROOT / part).exists()] == []


def test_the_same_code_gives_the_same_digest_and_another_code_another(tmp_path: Path) -> None:
    """In a copy of the package: line ends do not matter, a number in a stage does."""
    copy = tmp_path / "overlay"
    shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns("__pycache__", "_kernels*", "demo"))

    def of_copy() -> str:
        code = "from overlay.batch.engine import engine; print(engine())"
        environment = {"PYTHONPATH": str(tmp_path), "PATH": "", "OVERLAY_DATA_DIR": str(tmp_path / "data")}
        done = subprocess.run(
            [sys.executable, "-P", "-c", code],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
            cwd=tmp_path,
        )
        return done.stdout.strip()

    first = of_copy()
    assert len(first) == 16
    for shown in ("compose/video.py", "settings/holding.py", "cli/add.py", "explain/sessions.py"):
        (copy / shown).write_bytes((copy / shown).read_bytes() + b"COLOUR = 1\n")
    stage = copy / "score" / "measure.py"
    stage.write_bytes(stage.read_bytes().replace(b"\n", b"\r\n"))
    assert of_copy() == first
    stage.write_bytes(stage.read_bytes() + b"X = 1\n")
    assert of_copy() != first


def test_it_is_made_once() -> None:
    assert engine() is engine()
    assert set(engine()) <= set("0123456789abcdef")


def test_inputs_are_what_was_told_and_marked(tmp_path: Path) -> None:
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"x")
    plain = inputs_of(clip, ClipOptions())
    assert inputs_of(clip, ClipOptions(swing=2, use_cache=False)) == plain
    others = [ClipOptions(view="fo"), ClipOptions(capture_rate=Fraction(240)), ClipOptions(stature_cm=180.0)]
    digests = {plain, *(inputs_of(clip, options) for options in others)}
    assert len(digests) == 4
    (tmp_path / "a.mp4.marks.json").write_text("{}")
    assert inputs_of(clip, ClipOptions()) not in digests
