"""Runs the studies behind docs/studies, one after the other; each writes its own page.

    python studies/run_all.py [--quick] [--rendered FOLDER]

``--quick`` runs a small version of each and writes no page. ``--rendered`` adds the runs through rendered clips and
the pose model, about an hour; clips and tracks stay in FOLDER, and a second run goes on where the first one stopped.
The studies of real swings say so and stop when OVERLAY_REAL_DATA names no folder.

Not run here: positions_calibration.py, since with ``--write`` it replaces the table that the package ships. Run it by
itself, and the studies after it.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent

RUNS: tuple[tuple[str, ...], ...] = (
    ("video.py",),
    ("pose_size.py",),
    ("render_tracking.py",),
    ("positions_synthetic.py", "--seeds", "1"),
    ("alignment_warps.py",),
    ("alignment_real.py",),
    ("score_spread.py",),
    ("score_false_alarms.py",),
    ("score_planted_faults.py",),
    ("template_synthetic.py",),
    ("template_real.py",),
    ("guide_lines.py",),
    ("measures_truth.py",),
    ("checklist_faults.py",),
    ("filming_errors.py",),
    ("strike_time.py",),
    ("positions_club.py",),
    ("reference_models.py",),
    ("reference_models_real.py",),
    ("hostile_models.py",),
    ("flat_fit.py",),
    ("body_fit.py",),
    ("pair_views.py",),
    ("progress_comparison.py",),
    ("session_cameras.py",),
    ("holding_simulation.py",),
    ("kill_add.py",),
    ("many_clips.py",),
    ("library_size.py",),
    ("kill_library.py",),
    ("cost.py",),
)


def rendered_runs(folder: Path) -> tuple[tuple[str, ...], ...]:
    """The runs through pictures, with the arguments that their pages name."""
    tracks = str(folder / "score")
    return (
        ("positions_synthetic.py", "--rendered", str(folder / "positions"), "--only", "5", "--fastest", "60"),
        ("score_false_alarms.py", "--rendered", "--clips", "0", "4", "--tracks", tracks),
        ("score_planted_faults.py", "--rendered", "--clips", "2", "6", "--tracks", tracks),
        ("checklist_faults.py", "--rendered", tracks),
        ("activity.py", str(folder / "range")),
        ("filmed_clips.py", str(folder / "filmed")),
        ("club_shaft.py", str(folder / "filmed")),
        ("strike_time.py", "--clips", str(folder / "filmed")),
        ("positions_club.py", "--seeds", "1", "--rendered", str(folder / "filmed")),
        ("guide_lines.py", "--filmed", str(folder / "filmed")),
        ("measures_truth.py", "--filmed", str(folder / "filmed")),
        ("body_fit.py", "--rendered", str(folder / "filmed")),
        ("flat_fit.py", "--filmed", str(folder / "filmed")),
        ("pair_views.py", "--filmed", str(folder / "pairs")),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a small version of each; nothing is written")
    parser.add_argument("--rendered", type=Path, metavar="FOLDER", help="the runs through rendered clips too")
    options = parser.parse_args()
    runs = RUNS + (rendered_runs(options.rendered.resolve()) if options.rendered else ())
    failed = []
    for script, *arguments in runs:
        command = [*arguments, *(["--quick"] if options.quick else [])]
        said = " ".join([script, *command])
        print(f"== {said}", flush=True)
        started = time.monotonic()
        done = subprocess.run([sys.executable, str(HERE / script), *command], check=False)
        print(f"   {time.monotonic() - started:.0f} s, exit code {done.returncode}", flush=True)
        if done.returncode:
            failed.append(said)
    if failed:
        raise SystemExit(f"failed: {', '.join(failed)}")


if __name__ == "__main__":
    main()
