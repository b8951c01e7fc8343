"""What programs that are ended by SIGKILL at random moments leave of a library.

    python studies/kill_library.py [--times 100] [--seed 1] [--quick]

Each time a program works on a library of its own (keeping clips, new ones and known ones again; bringing older
libraries to this version; forgetting players; writing backups) and is ended at a random moment. Then what it left is
looked at: every clip that was told as kept is whole, no other is half there, the check is clean, whoever is forgotten
has left no byte, a copy that bears its name is sound, and the work can go on. The program and the look are those of
the tests (tests/unit/library_killing.py).
"""

from __future__ import annotations

import argparse
import collections
import datetime
import os
import platform
import random
import sqlite3
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "unit")]

import library_killing  # noqa: E402
from library_killing import Outcome  # noqa: E402

PAGE = ROOT / "docs" / "studies" / "kill_library.md"
SHARES = {"keep": 0.4, "migrate": 0.25, "forget": 0.2, "backup": 0.15}
WORDS = {
    "keep": "keeping clips",
    "migrate": "bringing older libraries to this version",
    "forget": "forgetting players",
    "backup": "writing backups",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="8 times, no page")
    asked = parser.parse_args()
    times = 8 if asked.quick else asked.times
    rng = random.Random(asked.seed)
    jobs = [job for job, share in SHARES.items() for _ in range(round(share * times))]
    rng.shuffle(jobs)
    outcomes = []
    with tempfile.TemporaryDirectory(prefix="kill-library-") as scratch:
        for i, job in enumerate(jobs):
            outcome = library_killing.killed(job, Path(scratch) / str(i), rng)
            outcomes.append(outcome)
            print(
                f"{i + 1:3d} {job:8s} after {outcome.after_s:5.2f} s, {len(outcome.said):3d} words",
                outcome.wrong,
                flush=True,
            )
    bad = [outcome for outcome in outcomes if outcome.wrong]
    print(f"{len(outcomes)} programs ended, {len(bad)} left something wrong.")
    if not asked.quick:
        PAGE.write_text(page(outcomes), encoding="utf-8")
    if bad:
        sys.exit(1)


INTRO = """# Programs ended at random moments, and the library they leave

Written by `studies/kill_library.py`. A program works on a library of its own and is ended by SIGKILL, in half of the
cases at a moment drawn evenly over its run, in the others within 30 ms of having said that a step is done. Then the
library is opened again: every clip that was told as kept must be whole, none may be half there, the check must be
clean, no byte of a forgotten player may be left in any file of the folder, a copy that bears its name must be sound,
and the work must go on.
"""


def page(outcomes: list[Outcome]) -> str:
    """The page of the study."""
    by_job = collections.defaultdict(list)
    for outcome in outcomes:
        by_job[outcome.job].append(outcome)
    wrong = [outcome for outcome in outcomes if outcome.wrong]
    lines = [
        INTRO,
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, SQLite "
        f"{sqlite3.sqlite_version}, {datetime.date.today().isoformat()}.",
        "",
        "| while | ended | steps told before the end | left something wrong |",
        "|---|---:|---:|---:|",
    ]
    for job, found in sorted(by_job.items()):
        steps = [len(outcome.said) - 1 for outcome in found]
        bad = sum(bool(outcome.wrong) for outcome in found)
        lines.append(f"| {WORDS[job]} | {len(found)} | {min(steps)}–{max(steps)} | {bad} |")
    lines += [f"| all | {len(outcomes)} | | {len(wrong)} |", ""]
    lines += [f"- {outcome.job}, after {outcome.after_s:.2f} s: {'; '.join(outcome.wrong)}" for outcome in wrong]
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    main()
