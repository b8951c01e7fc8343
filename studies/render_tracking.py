"""How well the pose model tracks the rendered golfer, and what a frame costs.

    python studies/render_tracking.py [--quick]

Renders a swing for several looks in both views, runs the pose model on the files and compares with the true
landmarks. Errors are distances in the picture divided by torso length (median over the swing). Writes
docs/studies/render_tracking.md. ``--quick`` does one look at 15 frames per second and writes only where ``--out`` says.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import PoseTrack
from overlay.files import write_text
from overlay.golfer import CameraSpec, GolferSpec, render_clip, simulate, truth_track
from overlay.landmarks import INDEX
from overlay.pose import track_clip

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "render_tracking.md"
JOINTS = ("nose", "ear", "shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "foot_index")
MAIN = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")


def indices(joint: str) -> list[int]:
    return [INDEX["nose"]] if joint == "nose" else [INDEX[f"left_{joint}"], INDEX[f"right_{joint}"]]


def errors(found: PoseTrack, truth: PoseTrack, start_s: float, stop_s: float) -> tuple[FloatArray, float]:
    """(T, 33) distances in % of torso length over the swing, and the share of all frames with a person."""
    n = min(len(found), len(truth))
    keep = (truth.time_s[:n] >= start_s) & (truth.time_s[:n] <= stop_s)

    def middle(joint: str) -> FloatArray:
        return 0.5 * (truth.joint(f"left_{joint}") + truth.joint(f"right_{joint}"))

    torso = float(np.median(np.linalg.norm(middle("shoulder") - middle("hip"), axis=1)))
    apart = np.linalg.norm(found.points[:n] - truth.points[:n], axis=-1)[keep] / torso * 100.0
    return apart, float(np.mean(np.isfinite(found.points[:n, 0, 0])))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--quick", action="store_true", help="one look, 15 frames per second; written only where --out says"
    )
    parser.add_argument("--out", type=Path, help="file for the table instead of docs/studies/render_tracking.md")
    options = parser.parse_args()
    looks = ("rowan",) if options.quick else ("rowan", "mara", "idris")
    rate = 15.0 if options.quick else 30.0
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for look in looks:
            motion = simulate(GolferSpec(handedness="right" if look != "mara" else "left"))
            swing = motion.position_times["address"] - 0.3, motion.position_times["finish"] + 0.2
            for view in ("dtl", "fo"):
                camera = CameraSpec.for_motion(motion, view)
                truth = truth_track(motion, camera, rate)
                path = Path(folder) / f"{look}_{view}.mp4"
                # Compiling is done once a machine and is not what a frame costs.
                render_clip(motion, camera, path, rate_hz=rate, look=look, stop_s=0.1)
                before = time.process_time()
                render_clip(motion, camera, path, rate_hz=rate, look=look)
                cost = (time.process_time() - before) / len(truth) * 1000.0
                found = track_clip(path, use_cache=False, masks=False).track
                apart, detected = errors(found, truth, *swing)
                rows.append((look, motion.spec.handedness, view, detected, cost, apart))
                print(f"{look} {view}: detected {100 * detected:.1f} %, {cost:.0f} ms of CPU a frame")
    command = f"python studies/render_tracking.py{' --quick --out FILE' if options.quick else ''}"
    lines = [
        "# The pose model on the rendered golfer",
        "",
        f"`{command}`: 480×854, {rate:g} frames a second,",
        "one swing each. Median distance to the true landmark over the swing, % of torso length in the picture;",
        "CPU milliseconds a frame include encoding.",
        "",
        "| look | hand | view | detected % | ms a frame | six joints | " + " | ".join(JOINTS) + " |",
        "|---" * (6 + len(JOINTS)) + "|",
    ]
    for look, hand, view, detected, cost, apart in rows:
        together = float(np.nanmedian(apart[:, [i for joint in MAIN for i in indices(joint)]]))
        each = [f"{float(np.nanmedian(apart[:, indices(joint)])):.1f}" for joint in JOINTS]
        lines.append(
            f"| {look} | {hand} | {view} | {100 * detected:.1f} | {cost:.0f} | {together:.1f} | {' | '.join(each)} |"
        )
    out = options.out or (None if options.quick else PAGE)
    if out is not None:
        write_text(out, "\n".join(lines) + "\n")
    print("\n".join(lines[6:]))


if __name__ == "__main__":
    main()
