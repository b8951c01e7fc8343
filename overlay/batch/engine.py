"""Which state of the code reads a clip, and what it was told: together they decide whether to read it again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from overlay.pipeline import ClipOptions

PARTS: tuple[str, ...] = (
    "arrays.py",
    "landmarks.py",
    "terms.py",
    "data",
    "settings/activity.py",
    "settings/align.py",
    "settings/checklist.py",
    "settings/clean.py",
    "settings/club.py",
    "settings/explain.py",
    "settings/filming.py",
    "settings/fit.py",
    "settings/guides.py",
    "settings/marks.py",
    "settings/measure.py",
    "settings/models.py",
    "settings/pose.py",
    "settings/positions.py",
    "settings/score.py",
    "settings/segments.py",
    "settings/steady.py",
    "settings/strike.py",
    "settings/video.py",
    "settings/view.py",
    "video",
    "pose",
    "activity",
    "clean",
    "normalise.py",
    "kinematics.py",
    "stats.py",
    "steady.py",
    "marks",
    "models",
    "segments",
    "view.py",
    "positions",
    "club",
    "strike",
    "guides.py",
    "measure",
    "filming",
    "checklist",
    "align",
    "score",
    "fit",
    "explain",
    "pipeline/clips.py",
    "pipeline/closer.py",
    "pipeline/comparing.py",
    "pipeline/references.py",
    "pipeline/told.py",
    "batch/engine.py",
    "batch/reading.py",
    "batch/tempo.py",
)
"""What a read clip depends on, below the package's folder; a test follows the imports and holds this list to them."""

NO_RESULTS: tuple[str, ...] = ("data/change.py", "explain/sessions.py")
"""Of these parts, what changes no result."""

DATA_SUFFIXES = (".py", ".toml", ".json", ".npz")
"""Sources, and the tables that come with them."""


@lru_cache(maxsize=1)
def engine() -> str:
    """A digest of everything in this installation that decides what is read out of a clip.

    Returns
    -------
    str
        16 hex digits over the sources of ``PARTS`` with their tables, the shipped swing that cameras are explained
        with, and the pose model's label and library. It is the same on every machine that runs the same code: line
        ends are normalised, paths are relative. Versions of other libraries are left out: they move results by
        rounding alone, and a season shall not be read again for that. Any change to these sources counts, a comment
        too: reading once more than needed costs minutes, once less would leave old numbers beside new ones.

    Notes
    -----
    Hashing two megabytes takes about ten milliseconds, once a process.
    """
    import importlib.metadata

    import overlay

    root = Path(overlay.__file__).resolve().parent
    digest = hashlib.sha256()
    found = False
    for part in PARTS:
        for path in _files(root / part):
            name = path.relative_to(root).as_posix()
            if name in NO_RESULTS:
                continue
            found = True
            content = path.read_bytes()
            if path.suffix != ".npz":
                content = content.replace(b"\r\n", b"\n")
            digest.update(f"{name}\0{len(content)}\0".encode())
            digest.update(content)
    if not found:
        # An installation without sources: its version stands for them.
        digest.update(overlay.__version__.encode())
    digest.update(_usual_swing())
    digest.update(_pose_label().encode())
    try:
        digest.update(importlib.metadata.version("mediapipe").encode())
    except importlib.metadata.PackageNotFoundError:
        digest.update(b"no mediapipe")
    return digest.hexdigest()[:16]


def _files(place: Path) -> Iterator[Path]:
    if place.is_file():
        yield place
    elif place.is_dir():
        yield from sorted(
            path
            for path in place.rglob("*")
            if path.suffix in DATA_SUFFIXES and "__pycache__" not in path.parts and path.is_file()
        )


def _usual_swing() -> bytes:
    from overlay.errors import SetupError
    from overlay.shipped import shipped_folder

    try:
        return hashlib.sha256((shipped_folder("reference_models") / "mid_iron.swing").read_bytes()).digest()
    except (SetupError, OSError):
        return b"none"


def _pose_label() -> str:
    """The label of the pose model that would be used; nothing is fetched or loaded for it."""
    from overlay.errors import OverlayError
    from overlay.pose.model import MODEL_VERSION, find_model, model_label

    try:
        path = find_model()
        return MODEL_VERSION if path is None else model_label(path)
    except OverlayError:
        # What is wrong with it is told when it is used.
        return MODEL_VERSION


def inputs_of(path: Path, options: ClipOptions) -> str:
    """A digest of what was told about a clip and of what was marked in it.

    Parameters
    ----------
    path : Path
        The clip; its marks file is looked for beside it.
    options : ClipOptions
        Which swing is meant and whether the cache is used change nothing in what is read, and are left out.

    Returns
    -------
    str
        16 hex digits.
    """
    from overlay.marks import marks_path
    from overlay.pipeline.told import told_text

    digest = hashlib.sha256(told_text(options).encode())
    try:
        marks = marks_path(path).read_bytes()
    except (OSError, ValueError):
        marks = b""
    digest.update(b"\0marks\0" + marks)
    return digest.hexdigest()[:16]
