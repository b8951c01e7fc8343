"""What the size of the picture handed to the pose model, and the masks, cost in time and give in accuracy.

    python studies/pose_size.py [--quick]

Renders the synthetic player down the line and face on at 720 × 1280 through the downswing, tracks both clips at
several sizes, cleans, and compares with the truth. Writes docs/studies/pose_size.md.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from overlay.clean import clean
from overlay.golfer import CameraSpec, GolferSpec, render_clip, simulate, truth_track
from overlay.kinematics import torso_length
from overlay.landmarks import INDEX
from overlay.pose import track_clip
from overlay.settings.pose import PoseSettings

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "pose_size.md"
START_S, STOP_S, RATE_HZ = 2.2, 3.2, 60
HANDS = [INDEX["left_wrist"], INDEX["right_wrist"]]
BODY = [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "hip", "knee", "ankle")]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one view, fewer sizes; nothing is written")
    quick = parser.parse_args().quick
    motion = simulate(GolferSpec(seed=3))
    clips = []
    with tempfile.TemporaryDirectory() as folder:
        for view in ("dtl",) if quick else ("dtl", "fo"):
            camera = CameraSpec.for_motion(motion, view=view, width_px=720, height_px=1280)
            path = Path(folder) / f"{view}.mp4"
            render_clip(motion, camera, path, rate_hz=RATE_HZ, start_s=START_S, stop_s=STOP_S)
            clips.append((path, truth_track(motion, camera, RATE_HZ).between(START_S - 1e-6, STOP_S + 1e-6)))
        rows = []
        for side, masks in ((480, True), (640, True)) if quick else (
            (320, True), (480, True), (640, True), (640, False), (960, True), (1280, True)
        ):  # fmt: skip
            spent, hands, body, jitter = [], [], [], []
            for path, truth in clips:
                settings = PoseSettings(max_side_px=side)
                track_clip(path, use_cache=False, masks=masks, settings=settings)
                cpu, wall = time.process_time(), time.perf_counter()
                raw = track_clip(path, use_cache=False, masks=masks, settings=settings).track
                spent.append((time.process_time() - cpu, time.perf_counter() - wall, len(raw)))
                cleaned, size = clean(raw), torso_length(truth)
                off = np.linalg.norm(cleaned.points - truth.points, axis=2) / size
                hands.append(off[:, HANDS][~cleaned.filled[:, HANDS]])
                body.append(off[:, BODY])
                jitter.append(np.linalg.norm(np.diff(raw.points[:, BODY], n=3, axis=0), axis=2) / size)
            n = sum(count for _, _, count in spent)
            cpu_ms, wall_ms = (1e3 * sum(entry[i] for entry in spent) / n for i in (0, 1))
            at_hands, at_body = np.concatenate(hands), np.concatenate([b.ravel() for b in body])
            shake = np.median(np.concatenate([j.ravel() for j in jitter])) / np.sqrt(20)
            rows.append(
                f"| {side} | {'yes' if masks else 'no'} | {cpu_ms:.1f} | {wall_ms:.1f} "
                f"| {np.nanmedian(at_hands):.3f} | {np.nanpercentile(at_hands, 95):.3f} "
                f"| {np.nanmedian(at_body):.3f} | {np.nanpercentile(at_body, 95):.3f} | {shake:.4f} |"
            )
            print(rows[-1], flush=True)
    head = (
        "# Size of the picture handed to the pose model\n\n"
        f"Made by `python studies/pose_size.py{' --quick' if quick else ''}`: rendered player, 720 × 1280 at "
        f"{RATE_HZ} frames/s, {START_S}–{STOP_S} s (downswing and release), {len(clips)} view(s). Errors after "
        "cleaning in torso lengths against the model's truth; jitter from third differences of shoulders, hips, "
        "knees and ankles. Time per frame includes decoding and depends on the machine and what else it does.\n\n"
        "| longest side, px | masks | CPU, ms | wall, ms | hands median | hands p95 | body median | body p95 "
        "| jitter |\n|---|---|---|---|---|---|---|---|---|\n"
    )
    if not quick:
        PAGE.parent.mkdir(parents=True, exist_ok=True)
        PAGE.write_text(head + "\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
