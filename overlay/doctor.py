"""Checks that a machine has what the pipeline needs, each with the line that mends it."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

PACKAGES = {
    "numpy": "numpy",
    "scipy": "scipy",
    "cv2": "opencv-python-headless",
    "av": "av",
    "mediapipe": "mediapipe",
    "imageio": "imageio",
    "dtaidistance": "dtaidistance",
    "numba": "numba",
    "matplotlib": "matplotlib",
    "jinja2": "jinja2",
    "PIL": "pillow",
}
"""Import name → distribution name. tslearn is left out: it is used in tests and studies, and slow to import."""

OPENCV_VARIANTS = (
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
)

DEBIAN_LIBRARIES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libGLESv2.so.2": "libgles2",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libgomp.so.1": "libgomp1",
    "libstdc++.so.6": "libstdc++6",
    "libportaudio.so.2": "libportaudio2",
}
"""Shared library → Debian/Ubuntu package, for the install line."""

NEEDED_MEMORY_GB = 2.0
NEEDED_DISK_GB = 1.0


@dataclass(frozen=True)
class Finding:
    """One check: ``remedy`` is "" when all is well."""

    name: str
    state: Literal["ok", "warn", "fail"]
    found: str
    remedy: str = ""


def examine() -> tuple[Finding, ...]:
    """Run every check; never raises."""
    return (
        _python(),
        _platform(),
        *_packages(),
        _one_opencv(),
        _model(),
        _encoder(),
        *_folders(),
        _memory(),
    )


def missing_library(message: str) -> str:
    """The install line for a shared library an import error names, "" when it names none.

    >>> missing_library("libGL.so.1: cannot open shared object file: No such file or directory")
    'Debian/Ubuntu: sudo apt-get install libgl1'
    """
    match = re.search(r"(lib[\w+.-]+\.so(?:\.\d+)*): cannot open shared object file", message)
    if match is None:
        return ""
    package = DEBIAN_LIBRARIES.get(match.group(1))
    if package is None:
        return f"Install the system library {match.group(1)} (Debian/Ubuntu: apt-file search {match.group(1)})."
    return f"Debian/Ubuntu: sudo apt-get install {package}"


def _python() -> Finding:
    # Older versions cannot import this file; tools/bootstrap.py refuses them with a line that says so.
    return Finding("Python", "ok", platform.python_version())


def _platform() -> Finding:
    system, machine = platform.system(), platform.machine().lower()
    found = f"{system} {machine}, {os.cpu_count()} cores"
    if (system, machine) in {("Darwin", "x86_64"), ("Linux", "aarch64"), ("Linux", "arm64")}:
        remedy = "The pose library has no build for this machine; saved tracks (CSV, NPZ) still work here."
        return Finding("Platform", "fail", found, remedy)
    return Finding("Platform", "ok", found)


def _packages() -> list[Finding]:
    # Each import runs in a process of its own: a broken binary package may end the process it is imported in.
    findings = []
    for module, distribution in PACKAGES.items():
        try:
            version = importlib.metadata.version(distribution)
        except importlib.metadata.PackageNotFoundError:
            remedy = f"{sys.executable} -m pip install {distribution}"
            findings.append(Finding(distribution, "fail", "not installed", remedy))
            continue
        done = subprocess.run([sys.executable, "-c", f"import {module}"], capture_output=True, text=True, check=False)
        if done.returncode:
            last = (done.stderr.strip().splitlines() or ["the import ended the process"])[-1]
            remedy = missing_library(last) or f"{sys.executable} -m pip install --force-reinstall {distribution}"
            findings.append(Finding(distribution, "fail", f"{version}, but: {last}", remedy))
        else:
            findings.append(Finding(distribution, "ok", version))
    return findings


def _one_opencv() -> Finding:
    found = []
    for name in OPENCV_VARIANTS:
        try:
            found.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            continue
    if len(found) == 1:
        return Finding("One OpenCV", "ok", found[0])
    remedy = (
        f"{sys.executable} -m pip uninstall -y {' '.join(OPENCV_VARIANTS)} && "
        f"{sys.executable} -m pip install opencv-python-headless"
    )
    # Several variants share one folder, and removing one breaks the others silently.
    return Finding("One OpenCV", "fail", ", ".join(found) or "none", remedy)


def _model() -> Finding:
    from overlay.errors import OverlayError
    from overlay.pose import model

    try:
        path = model.find_model()
    except OverlayError as error:
        return Finding("Pose model", "fail", error.message, error.hint)
    if path is None:
        remedy = f"It is made at first use; to make it now: {sys.executable} -m overlay.pose.model"
        return Finding("Pose model", "warn", "not there yet", remedy)
    return Finding("Pose model", "ok", str(path))


def _encoder() -> Finding:
    code = "import av; av.CodecContext.create('libx264', 'w'); print(av.__version__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    if done.returncode:
        remedy = f"{sys.executable} -m pip install --force-reinstall --only-binary :all: av"
        return Finding("H.264 encoder", "fail", "this build of PyAV has none", remedy)
    return Finding("H.264 encoder", "ok", f"libx264 through PyAV {done.stdout.strip()}")


def _folders() -> list[Finding]:
    import shutil

    import platformdirs

    findings = []
    for name, variable, default in (
        ("Data folder", "OVERLAY_DATA_DIR", platformdirs.user_data_dir("overlay", appauthor=False)),
        ("Cache folder", "OVERLAY_CACHE_DIR", platformdirs.user_cache_dir("overlay", appauthor=False)),
    ):
        folder = Path(os.environ.get(variable) or default)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
            free_gb = shutil.disk_usage(folder).free / 1e9
        except OSError as error:
            remedy = f"Set {variable} to a folder you can write to."
            findings.append(Finding(name, "fail", f"{folder}: {error.strerror}", remedy))
            continue
        if free_gb < NEEDED_DISK_GB:
            findings.append(Finding(name, "warn", f"{folder}: {free_gb:.1f} GB free", "Free some space."))
        else:
            findings.append(Finding(name, "ok", f"{folder}: {free_gb:.0f} GB free"))
    return findings


def _memory() -> Finding:
    try:
        total_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    except (AttributeError, ValueError, OSError):
        return Finding("Memory", "ok", "not known on this system")
    if total_gb < NEEDED_MEMORY_GB:
        remedy = "A comparison of 1080p clips takes up to 0.9 GB; close other programs."
        return Finding("Memory", "warn", f"{total_gb:.1f} GB", remedy)
    return Finding("Memory", "ok", f"{total_gb:.0f} GB")
