"""The import order of DEVELOPERS.md, and each third-party library's home, read from the sources."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

LAYERS: dict[str, int] = {
    "errors": 0,
    "landmarks": 0,
    "terms": 0,
    "arrays": 0,
    "progress": 0,
    "files": 0,
    "shipped": 0,
    "data": 1,
    "settings": 1,
    "video": 2,
    "pose": 2,
    "clean": 2,
    "normalise": 2,
    "kinematics": 2,
    "stats": 2,
    "steady": 2,
    "marks": 2,
    "models": 2,
    "activity": 2,
    "segments": 2,
    "view": 3,
    "positions": 3,
    "align": 3,
    "score": 3,
    "golfer": 3,
    "filming": 3,
    "club": 3,
    "strike": 3,
    "measure": 3,
    "checklist": 3,
    "guides": 3,
    "fit": 3,
    "pair": 3,
    "holding": 3,
    "maker": 4,
    "template": 4,
    "explain": 4,
    "draw": 4,
    "plots": 4,
    "library": 4,
    "documents": 5,
    "record_documents": 5,
    "compose": 5,
    "report": 5,
    "trends": 5,
    "pipeline": 6,
    "batch": 6,
    "doctor": 6,
    "demo": 6,
    "cli": 7,
    "__main__": 7,
    "__init__": 0,
}

# Within layer 2 pose reads pictures through video and measures through kinematics; within layer 3 positions asks
# view; report embeds the figures that compose makes; the demo runs the pipeline. Everything else is sideways.
SIDEWAYS_ALLOWED = {
    ("pose", "video"),
    ("activity", "video"),
    ("clean", "kinematics"),
    ("normalise", "kinematics"),
    ("positions", "view"),
    ("report", "compose"),
    ("plots", "draw"),
    ("demo", "pipeline"),
    ("demo", "batch"),
    ("batch", "pipeline"),
    ("record_documents", "documents"),
    ("errors", "files"),
    ("files", "errors"),
    ("shipped", "errors"),
    ("landmarks", "terms"),
    ("__main__", "cli"),
}

HOMES: dict[str, set[str]] = {
    "av": {"video", "doctor"},
    "imageio": {"video"},
    "mediapipe": {"pose"},
    "click": {"cli"},
    "rich": {"cli"},
    "matplotlib": {"plots"},
    "jinja2": {"report"},
    "dtaidistance": {"align"},
    "tslearn": set(),
    "numba": {"golfer"},
    "PIL": {"draw"},
    "sqlite3": {"library"},
    "pyarrow": {"library"},
    "distributed": {"batch"},
    "dask": {"batch"},
}

HEAVY = {
    "av",
    "mediapipe",
    "tslearn",
    "matplotlib",
    "cv2",
    "numba",
    "scipy",
    "imageio",
    "PIL",
    "dtaidistance",
    "pyarrow",
    "distributed",
    "dask",
}


def package_root(repository: Path) -> Path:
    return repository / "overlay"


def part_of(path: Path, root: Path) -> str:
    relative = path.relative_to(root)
    return relative.parts[0].removesuffix(".py")


def imports(tree: ast.AST) -> list[tuple[str, bool]]:
    """(module, is at top level of the file) of every import, type-checking blocks left out."""
    found: list[tuple[str, bool]] = []

    def visit(node: ast.AST, top: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue
            if isinstance(child, ast.Import):
                found.extend((alias.name, top) for alias in child.names)
            elif isinstance(child, ast.ImportFrom) and child.module:
                if child.module == "overlay":
                    found.extend((f"overlay.{alias.name}", top) for alias in child.names)
                else:
                    found.append((child.module, top))
            visit(child, top and not isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)))

    visit(tree, True)
    return found


def violations(source: str, part: str) -> list[str]:
    """What is wrong with the imports of one file that belongs to ``part``."""
    wrong = []
    for module, top in imports(ast.parse(source)):
        head, *rest = module.split(".")
        if head == "overlay":
            other = rest[0] if rest else "__init__"
            if other in ("__version__", "__init__") or other == part:
                continue
            if other not in LAYERS:
                wrong.append(f"{module} has no layer")
            elif LAYERS[other] > LAYERS[part]:
                wrong.append(f"{part} imports upward from {other}")
            elif LAYERS[other] == LAYERS[part] and (part, other) not in SIDEWAYS_ALLOWED:
                wrong.append(f"{part} imports sideways from {other}")
        else:
            if head in HOMES and part not in HOMES[head]:
                wrong.append(f"{part} imports {head}, whose home is {sorted(HOMES[head])}")
            if top and head in HEAVY:
                wrong.append(f"{part} imports {head} at the top of the file")
    return wrong


def test_every_import_goes_down(repository: Path) -> None:
    root = package_root(repository)
    wrong = {}
    for path in sorted(root.rglob("*.py")):
        part = part_of(path, root)
        if part == "_shipped":
            continue
        assert part in LAYERS, f"{part} has no layer"
        found = violations(path.read_text(encoding="utf-8"), part)
        if path.name.startswith("_kernels") or path.name == "render_kernels.py":
            # Compiled kernels are only ever imported inside the function that needs them.
            found = [line for line in found if "numba at the top" not in line]
        if found:
            wrong[str(path.relative_to(root))] = found
    assert wrong == {}


@pytest.mark.parametrize(
    ("source", "part", "complaint"),
    [
        ("from overlay import pipeline", "score", "upward"),
        ("from overlay.align import align", "score", "sideways"),
        ("import av", "pose", "home"),
        ("import cv2", "video", "top of the file"),
        ("def f():\n    import mediapipe", "video", "home"),
    ],
)
def test_the_gate_closes(source: str, part: str, complaint: str) -> None:
    assert any(complaint in line for line in violations(source, part))


def test_modules_stay_readable(repository: Path) -> None:
    long = {
        str(path.relative_to(repository)): n
        for path in package_root(repository).rglob("*.py")
        if (n := len(path.read_text(encoding="utf-8").splitlines())) > 600
    }
    assert long == {}


def test_help_loads_nothing_heavy() -> None:
    code = "import sys; from overlay.cli.main import run; run(['--help']); print(sorted(set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(ast.literal_eval(done.stdout.splitlines()[-1]))
    assert loaded & (HEAVY | {"numpy"}) == set()
