"""Runs every study in this folder, one after the other; each writes its table to docs/studies.

python studies/run_all.py [--quick]
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> None:
    quick = ["--quick"] if "--quick" in sys.argv[1:] else []
    failed = []
    for script in sorted(HERE.glob("*.py")):
        if script.name == Path(__file__).name:
            continue
        print(f"== {script.name}", flush=True)
        started = time.monotonic()
        done = subprocess.run([sys.executable, str(script), *quick], check=False)
        print(f"   {time.monotonic() - started:.0f} s, exit code {done.returncode}", flush=True)
        if done.returncode:
            failed.append(script.name)
    if failed:
        raise SystemExit(f"failed: {', '.join(failed)}")


if __name__ == "__main__":
    main()
