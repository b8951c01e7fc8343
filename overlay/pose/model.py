"""The pose model: where it lies, and how it is made once from the publisher's own package.

The pose library of this project's version range ships without a model. The two model files are inside an older
release of the same package; they are taken out of it, the landmark model is given the metadata it lacks
(``flatmodel``), and both are stored in one ``.task`` bundle in the user's data folder. Every file is pinned by its
SHA-256. Nothing is fetched once the bundle is there. Origin, licence and the choice of versions:
``docs/pose-model.md``.

    python -m overlay.pose.model                 # make it now
    python -m overlay.pose.model --from FILE     # from a wheel or bundle that is already on this machine
"""

from __future__ import annotations

import hashlib
import importlib.util
import io
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import zipfile
from pathlib import Path

from overlay.errors import InputError, OutputError, SetupError
from overlay.files import sha256_of, write_bytes
from overlay.pose.flatmodel import ALIGNMENT, with_normalisation
from overlay.progress import SILENT, Progress

PACKAGE_VERSION = "0.10.21"
"""The last release of the package that carries the model files."""

MODEL_NAME = "pose-full"
MODEL_VERSION = f"{MODEL_NAME}-{PACKAGE_VERSION}"
FILE_NAME = f"{MODEL_VERSION}.task"

DETECTOR, LANDMARKS = "pose_detector.tflite", "pose_landmarks_detector.tflite"
"""Names inside the bundle, as the task library wants them."""

SOURCES = {"pose_detection.tflite": DETECTOR, "pose_landmark_full.tflite": LANDMARKS}
"""Name inside the package → name inside the bundle."""

SOURCE_SHA256 = {
    "pose_detection.tflite": "9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
    "pose_landmark_full.tflite": "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
}
BUNDLE_SHA256 = "131f044ccd47970db2933aa7a63afce6339abaa98192a7a951f2d39ec95cb1c6"

LANDMARK_MEAN, LANDMARK_STD = (0.0,), (255.0,)
"""The landmark model is fed values from 0 to 1."""

DOWNLOAD_MB = 36.0
OWN_FILE = "OVERLAY_POSE_MODEL"
NO_NETWORK_HINT = (
    "Connect to the network once, or copy the file from another machine and name it with OVERLAY_POSE_MODEL; "
    "saved tracks (.csv, .npz) need no model."
)


def data_folder() -> Path:
    """The folder of the user's data: ``OVERLAY_DATA_DIR``, else the platform's."""
    import platformdirs

    return Path(os.environ.get("OVERLAY_DATA_DIR") or platformdirs.user_data_dir("overlay", appauthor=False))


def own_model() -> Path | None:
    """The file ``OVERLAY_POSE_MODEL`` names, checked; None when it names none.

    Raises
    ------
    SetupError
        The file is not there or is no pose bundle.
    """
    named = os.environ.get(OWN_FILE)
    return check_bundle(Path(named).expanduser()) if named else None


def check_bundle(path: Path) -> Path:
    """``path`` when it is a pose landmark bundle.

    Raises
    ------
    SetupError
        It is not there or is something else.
    """
    if not path.is_file():
        raise SetupError(
            f"The pose model {path} is not there.", f"Correct {OWN_FILE}, or unset it to use the model overlay makes."
        )
    try:
        with zipfile.ZipFile(path) as bundle:
            names = set(bundle.namelist())
    except (zipfile.BadZipFile, OSError) as error:
        raise SetupError(
            f"{path} is not a pose landmark bundle ({error}).", "Use the publisher's pose landmarker .task file."
        ) from error
    if not {DETECTOR, LANDMARKS} <= names:
        raise SetupError(
            f"{path} holds no {DETECTOR} and {LANDMARKS}.", "Use the publisher's pose landmarker .task file."
        )
    return path


def find_model() -> Path | None:
    """Where the pose model lies, None when it has not been made yet (or the file is damaged).

    Raises
    ------
    SetupError
        ``OVERLAY_POSE_MODEL`` names something that is no pose model.
    """
    own = own_model()
    if own is not None:
        return own
    path = data_folder() / FILE_NAME
    if path.is_file() and sha256_of(path) == BUNDLE_SHA256:
        return path
    return None


def model_label(path: Path) -> str:
    """Name and version of the model at ``path``, as it stands in tracks and cache keys."""
    digest = sha256_of(path)
    return MODEL_VERSION if digest == BUNDLE_SHA256 else f"own-{digest[:16]}"


def ensure_model(progress: Progress = SILENT, *, model: Path | None = None, source: Path | None = None) -> Path:
    """The pose model, made now if it is not there.

    Parameters
    ----------
    progress : Progress
    model : Path, optional
        A pose landmark ``.task`` file to use as it is.
    source : Path, optional
        A wheel of the package, already on this machine, to make the bundle from.

    Returns
    -------
    Path
        A ``.task`` bundle.

    Raises
    ------
    SetupError
        It cannot be fetched (no network, no pip), or what was fetched is not what was expected.
    OutputError
        The data folder cannot be written.
    """
    if model is not None:
        return check_bundle(model)
    found = find_model()
    if found is not None:
        return found
    path = data_folder() / FILE_NAME
    progress.stage("fetching the pose model", DOWNLOAD_MB)
    try:
        if source is not None:
            bundle = make_bundle(read_sources(source))
        else:
            with tempfile.TemporaryDirectory(prefix="overlay-model-") as folder:
                bundle = make_bundle(read_sources(_fetch(Path(folder), progress)))
        _store(path, bundle)
    finally:
        progress.done()
    return path


def _store(path: Path, bundle: bytes) -> None:
    try:
        write_bytes(path, bundle)
    except OutputError as error:
        # Another process may have put the same file there and hold it open (Windows refuses to replace it then).
        if path.is_file() and sha256_of(path) == BUNDLE_SHA256:
            return
        raise OutputError(error.message, "Set OVERLAY_DATA_DIR to a folder you can write to.") from error


def read_sources(place: Path) -> dict[str, bytes]:
    """The two model files out of a wheel, or out of a folder the package was unpacked into.

    Raises
    ------
    SetupError
        A file is missing or differs from the pinned one.
    InputError
        The wheel cannot be read.
    """
    found: dict[str, bytes] = {}
    if place.is_dir():
        for name in SOURCES:
            for path in place.rglob(name):
                found[name] = path.read_bytes()
    else:
        try:
            with zipfile.ZipFile(place) as wheel:
                for entry in wheel.namelist():
                    name = entry.rsplit("/", 1)[-1]
                    if name in SOURCES:
                        found[name] = wheel.read(entry)
        except (zipfile.BadZipFile, OSError) as error:
            raise InputError(f"{place} cannot be read as a wheel: {error}.", "Fetch the file again.") from error
    for name, digest in SOURCE_SHA256.items():
        if name not in found:
            raise SetupError(
                f"{place.name} holds no {name}.", f"Use a wheel of mediapipe {PACKAGE_VERSION}; others lack the model."
            )
        if hashlib.sha256(found[name]).hexdigest() != digest:
            raise SetupError(
                f"{name} from {place.name} is not the file that was expected (its SHA-256 differs).",
                f"Fetch mediapipe {PACKAGE_VERSION} again, from a package index you trust.",
            )
    return found


def make_bundle(sources: dict[str, bytes]) -> bytes:
    """The ``.task`` bundle of the two model files: a stored zip, each entry aligned, the same on every machine.

    Raises
    ------
    SetupError
        The result is not the pinned one.
    """
    models = {SOURCES[name]: content for name, content in sources.items()}
    models[LANDMARKS] = with_normalisation(models[LANDMARKS], LANDMARK_MEAN, LANDMARK_STD, "pose landmarks")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as bundle:
        for name in (DETECTOR, LANDMARKS):
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.create_system = 3
            # A mapped model must start at an aligned byte; an extra field of private kind fills the gap.
            header = out.tell() + 30 + len(name) + 4
            gap = -header % ALIGNMENT
            entry.extra = b"\x4f\x56" + gap.to_bytes(2, "little") + b"\0" * gap
            bundle.writestr(entry, models[name])
    content = out.getvalue()
    if hashlib.sha256(content).hexdigest() != BUNDLE_SHA256:
        raise SetupError(
            "The pose model that was made is not the one that was expected (its SHA-256 differs).",
            "Install overlay again; if it stays, report it with your Python version.",
        )
    return content


def _fetch(folder: Path, progress: Progress) -> Path:
    """Have the package installer fetch the wheel into ``folder``; the wheel, or the folder it is unpacked in."""
    target = folder / "fetched"
    target.mkdir()
    requirement = f"mediapipe=={PACKAGE_VERSION}"
    # The wheel is only read, never installed, so that it may be one for another system and Python.
    wanted = ["--no-deps", "--only-binary", ":all:", "--python-version", "3.12"]
    pip_words = ["download", "--quiet", "--disable-pip-version-check", "--no-input", "--dest", str(target)]
    pip_words += [*wanted, "--platform", "manylinux_2_28_x86_64", requirement]
    pip = _pip(folder)
    uv = shutil.which("uv")
    if pip is not None:
        command = [*pip, *pip_words]
    elif uv is not None:
        command = [uv, "pip", "install", "--quiet", "--target", str(target), *wanted]
        command += ["--python-platform", "x86_64-manylinux_2_28", requirement]
    else:
        raise SetupError(
            "The pose model cannot be fetched: this Python has no pip, and uv was not found.",
            "Install pip (Debian/Ubuntu: sudo apt-get install python3-pip python3-venv). " + NO_NETWORK_HINT,
        )
    _run(command, folder, progress)
    wheels = sorted(target.glob("*.whl"))
    return wheels[0] if wheels else target


def _pip(folder: Path) -> list[str] | None:
    """How to call pip: this Python's own, else one in a throw-away environment."""
    if importlib.util.find_spec("pip") is not None:
        return [sys.executable, "-m", "pip"]
    if shutil.which("uv") is not None or importlib.util.find_spec("ensurepip") is None:
        return None
    place = folder / "venv"
    done = subprocess.run([sys.executable, "-m", "venv", str(place)], capture_output=True, check=False)
    python = place / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    return [str(python), "-m", "pip"] if done.returncode == 0 and python.exists() else None


def _run(command: list[str], folder: Path, progress: Progress) -> None:
    # The installer writes its temporary files where TMPDIR says: their size is the only progress it offers.
    scratch = folder / "scratch"
    scratch.mkdir()
    environment = dict(os.environ, TMPDIR=str(scratch), TEMP=str(scratch), TMP=str(scratch), PIP_NO_CACHE_DIR="1")
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace", env=environment
    )
    said: list[str] = []
    reader = threading.Thread(target=lambda: said.extend(process.stdout or ()), daemon=True)
    reader.start()
    shown = 0.0
    try:
        while True:
            try:
                code = process.wait(timeout=0.25)
                break
            except subprocess.TimeoutExpired:
                now = min(DOWNLOAD_MB, _megabytes(folder))
                if now > shown:
                    progress.advance(now - shown)
                    shown = now
    except BaseException:
        process.kill()
        process.wait()
        raise
    reader.join(timeout=5)
    if code:
        lines = [line.strip() for line in said if line.strip()]
        errors = [line for line in lines if line.lower().startswith("error")] or lines
        reason = errors[-1][:200] if errors else f"exit code {code}"
        raise SetupError(f"The pose model could not be fetched from the package index ({reason}).", NO_NETWORK_HINT)


def _megabytes(folder: Path) -> float:
    total = 0
    for parent, _, names in os.walk(folder):
        for name in names:
            try:
                total += os.stat(os.path.join(parent, name)).st_size
            except OSError:
                continue
    return total / 1e6


def _main() -> int:
    import argparse

    from overlay.errors import OverlayError

    parser = argparse.ArgumentParser(prog="python -m overlay.pose.model", description="Make the pose model now.")
    parser.add_argument("--from", dest="source", type=Path, help="a wheel that is already on this machine")
    arguments = parser.parse_args()
    try:
        found = find_model()
        if found is None:
            print("Fetching the pose model (36 MB, once) …", flush=True)
        path = ensure_model(source=arguments.source)
    except OverlayError as error:
        print(f"error: {error.message}\n  {error.hint}", file=sys.stderr)
        return error.exit_code
    print(f"Pose model: {path} ({model_label(path)})")
    return 0


if __name__ == "__main__":
    raise SystemExit(_main())
