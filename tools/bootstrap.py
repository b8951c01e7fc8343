"""Makes the project's virtual environment from nothing: checks the machine, builds the wheel, installs it.

Runs on the system's Python with the standard library alone, before anything is installed.

    python3 tools/bootstrap.py --venv .venv --extra test
"""

from __future__ import annotations

import argparse
import hashlib
import os
import platform
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MINIMUM = (3, 11)


def fail(problem: str, remedy: str) -> None:
    """Print what is wrong and what to do, and stop with the exit code of a machine that lacks something."""
    print(f"error: {problem}\n  {remedy}", file=sys.stderr)
    raise SystemExit(7)


def check_machine() -> None:
    """Refuse what cannot work, with the line that mends it."""
    if sys.version_info < MINIMUM:
        found = ".".join(map(str, sys.version_info[:2]))
        fail(
            f"Python {found} is too old; {MINIMUM[0]}.{MINIMUM[1]} or newer is needed.",
            "Debian/Ubuntu: sudo apt-get install python3.11 python3.11-venv, then: make PYTHON=python3.11",
        )
    system, machine = platform.system(), platform.machine().lower()
    if (system, machine) in {("Darwin", "x86_64"), ("Linux", "aarch64"), ("Linux", "arm64")}:
        fail(
            f"The pose library has no build for {system} on {machine}.",
            "Use Linux or Windows on x86-64, or a Mac with Apple silicon; saved tracks (CSV) can be made elsewhere.",
        )
    try:
        import ensurepip  # noqa: F401
        import venv  # noqa: F401
    except ImportError:
        version = ".".join(map(str, sys.version_info[:2]))
        fail("Python's venv module is missing.", f"Debian/Ubuntu: sudo apt-get install python{version}-venv")


def run(*command: str | Path) -> None:
    """Run a command, and stop with its exit code when it fails."""
    done = subprocess.run([str(part) for part in command], cwd=ROOT, check=False)
    if done.returncode:
        print(f"error: {' '.join(str(part) for part in command)} failed", file=sys.stderr)
        print("  The lines above say why; without a network the first install cannot work.", file=sys.stderr)
        raise SystemExit(done.returncode)


def fingerprint(extra: str) -> str:
    """Changes when the dependencies do, so that a second run installs the wheel alone."""
    digest = hashlib.sha256(extra.encode())
    for name in ("pyproject.toml", "constraints.txt"):
        digest.update((ROOT / name).read_bytes())
    return digest.hexdigest()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--venv", type=Path, default=ROOT / ".venv")
    parser.add_argument("--extra", default="", help="test or dev")
    parser.add_argument("--no-model", action="store_true", help="do not make the pose model now")
    arguments = parser.parse_args()

    check_machine()
    environment: Path = arguments.venv.resolve()
    scripts = environment / ("Scripts" if os.name == "nt" else "bin")
    python = scripts / ("python.exe" if os.name == "nt" else "python")
    if not python.exists():
        print(f"Making the virtual environment {environment} …", flush=True)
        run(sys.executable, "-m", "venv", environment)

    build = ROOT / "build" / "wheel"
    shutil.rmtree(build, ignore_errors=True)
    print("Building the wheel …", flush=True)
    run(python, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", build, ROOT)
    wheel = next(build.glob("overlay-*.whl"))

    stamp = environment / f".installed-{arguments.extra or 'plain'}"
    wanted = fingerprint(arguments.extra)
    if not stamp.exists() or stamp.read_text() != wanted:
        print("Installing the dependencies (about 300 MB the first time) …", flush=True)
        target = f"{wheel}[{arguments.extra}]" if arguments.extra else str(wheel)
        run(python, "-m", "pip", "install", "--quiet", "--constraint", ROOT / "constraints.txt", target)
        stamp.write_text(wanted)
    run(python, "-m", "pip", "install", "--quiet", "--no-deps", "--force-reinstall", wheel)

    if not arguments.no_model:
        run(python, "-m", "overlay.pose.model")
    run(python, "-m", "overlay", "doctor", "--brief")


if __name__ == "__main__":
    main()
