"""What everything beside the pose model costs, as a share of the pose model's own time on the same frames; and memory.

    python studies/cost.py [--quick]

Renders two clips of the synthetic golfer, compares them without a cache in a process of its own, and counts the time
spent inside the pose model's calls. The ratio is between two times of one run, so it holds on any machine. Peak memory
is that of a comparison whose student clip is 60 s of 1080p (10 s with --quick).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "cost.md"

MEASURE = """
import json, resource, sys, time
from pathlib import Path
from mediapipe.tasks.python import vision

spent = {"track": 0.0, "people": 0.0, "frames": 0}
def timed(original, what):
    def call(self, *arguments, **named):
        start = time.perf_counter()
        try:
            return original(self, *arguments, **named)
        finally:
            spent[what] += time.perf_counter() - start
            spent["frames"] += what == "track"
    return call
vision.PoseLandmarker.detect_for_video = timed(vision.PoseLandmarker.detect_for_video, "track")
vision.PoseLandmarker.detect = timed(vision.PoseLandmarker.detect, "people")

from overlay.pipeline import (
    ClipOptions, Outcome, OutputOptions, compare_inspections, inspect_clip, look_closer, write_outputs,
)
student, reference, out = map(Path, sys.argv[1:4])
plain = ClipOptions(use_cache=False)
start = time.perf_counter()
# One clip after the other: with both at once the time inside the model would be counted twice.
one, other = (look_closer(inspect_clip(path, plain)) for path in (student, reference))
outcome = Outcome(compare_inspections(one, other), one, other)
middle = time.perf_counter()
write_outputs(outcome, out, OutputOptions())
end = time.perf_counter()
print(json.dumps({
    "pose_s": spent["track"], "people_s": spent["people"], "frames": spent["frames"],
    "find_s": middle - start, "write_s": end - middle,
    "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
}))
"""


def measure(student: Path, reference: Path, out: Path) -> dict[str, float]:
    """Times and peak memory of one uncached comparison in a fresh process."""
    command = [sys.executable, "-c", MEASURE, str(student), str(reference), str(out)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(done.stderr)
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def lengthened(clip: Path, out: Path, seconds: float, width: int, height: int) -> Path:
    """The clip enlarged to width × height with its first frame held so that it lasts ``seconds``."""
    import cv2

    from overlay.video import VideoWriter, open_clip

    with open_clip(clip) as reader:
        rate = Fraction(reader.clip.nominal_rate)
        spare = max(0, int(seconds * rate) - reader.clip.n_frames)
        with VideoWriter(out, width, height, rate) as writer:
            for frame in reader.frames():
                image = cv2.resize(frame.image, (width, height), interpolation=cv2.INTER_LINEAR)
                if frame.index == 0:
                    for _ in range(spare):
                        writer.write(image)
                writer.write(image)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="10 s instead of 60 s; nothing is written")
    quick = parser.parse_args().quick

    from overlay.golfer import CameraSpec, GolferSpec, render_clip, simulate

    rows = []
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        camera = CameraSpec(view="fo")
        clips = []
        for name, faults in (("student", {"sway": 1.0}), ("reference", {})):
            motion = simulate(GolferSpec(faults=faults))
            clips.append(render_clip(motion, camera, work / f"{name}.mp4", rate_hz=60, seed=len(clips)))
        small = measure(clips[0], clips[1], work / "out")
        rows.append(("480×854, 60 frames/s, one swing each", small))
        seconds = 10 if quick else 60
        big = lengthened(clips[0], work / "big.mp4", seconds, 1080, 1920)
        other = lengthened(clips[1], work / "big2.mp4", 0, 1080, 1920)
        rows.append((f"1080×1920, 60 frames/s, {seconds} s and one swing", measure(big, other, work / "out2")))

    lines = [
        "# Cost beside the pose model",
        "",
        f"`python studies/cost.py{' --quick' if quick else ''}` on {platform.machine()}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}. Wanted: the rest at most 0.60 of the pose model's own time; "
        "at most 900 MB for 60 s of 1080p. Who is in the picture is asked of the same model on single frames: that "
        "time is the model's, but not on the same frames, so it counts on neither side of the ratio.",
        "",
        "| clips | frames | pose model, s | who is in the picture, s | decode to score, s | sheet, report, video, s "
        "| rest ÷ pose | peak, MB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, row in rows:
        model_s = row["pose_s"] + row["people_s"]
        rest = row["find_s"] + row["write_s"] - model_s
        lines.append(
            f"| {name} | {row['frames']:.0f} | {row['pose_s']:.1f} | {row['people_s']:.1f} | "
            f"{row['find_s'] - model_s:.1f} | "
            f"{row['write_s']:.1f} | {rest / row['pose_s']:.2f} | {row['peak_mb']:.0f} |"
        )
    if not quick:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        OUT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
