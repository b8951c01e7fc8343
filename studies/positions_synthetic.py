"""How well the nine positions are found on the synthetic set: 2 views × 2 hands × 3 bodies × 3 tempi × 4 frame rates.

    python studies/positions_synthetic.py [--seeds 3] [--quick]
    python studies/positions_synthetic.py --rendered WORK_FOLDER [--only N] [--quick]

Without ``--rendered`` the tracks are the true joints with the errors of a pose model. With it every swing is rendered
once at 240 frames a second (or ``--fastest``), thinned to 120, 60 and 30, and every clip is tracked by the pose model
as a user's would be; pictures and tracks stay in WORK_FOLDER, and a second run goes on where the first one stopped.

A position is right when it lies within max(round(n / 30), 1) frames of the truth, n the frames from address to impact
(GolfDB's rule, McNally et al. 2019). A position reported absent counts as wrong. Players are drawn with their own
style, so that no two are alike.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from overlay.clean import clean
from overlay.data import PoseTrack
from overlay.errors import ContentError, InputError
from overlay.golfer import (
    BodySpec,
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    StyleSpec,
    TempoSpec,
    simulate,
    truth_track,
)
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES

DOCS = Path(__file__).resolve().parent.parent / "docs" / "studies"
VIEWS = ("dtl", "fo")
HANDS = ("right", "left")
BODIES = {"short": (1.58, "slim"), "middle": (1.76, "medium"), "tall": (1.93, "broad")}
TEMPI = {"quick": (0.70, 0.22), "middle": (0.87, 0.27), "slow": (1.25, 0.33)}
"""Backswing and downswing, s: within the 5–95 % of GolfDB's real-time clips, downswing rounded up for the slow one."""
RATES_HZ = (30, 60, 120, 240)
LOOKS = ("rowan", "mara")
STYLE_SPREAD = {
    "shoulder_turn_deg": 7.0,
    "pelvis_turn_deg": 4.0,
    "hands_height": 0.07,
    "hands_depth": 0.07,
    "shaft_top_deg": 11.0,
    "plane_deg": 2.5,
    "forward_bend_deg": 2.5,
    "knee_flex_deg": 3.5,
    "stance_width": 0.10,
    "arm_hang_deg": 2.5,
    "shift_m": 0.025,
    "lag_deg": 9.0,
    "shaft_lean_m": 0.018,
    "finish_height": 0.06,
    "trail_foot_lift_deg": 4.0,
    "flare_deg": 4.0,
}
"""Standard deviation of each style value between players; the limits of the model are about three times as far."""


def drawn_style(rng: np.random.Generator) -> StyleSpec:
    """A player's own style."""
    return StyleSpec(
        **{name: float(np.clip(rng.normal(0.0, sd), -2 * sd, 2 * sd)) for name, sd in STYLE_SPREAD.items()}
    )


@dataclass(frozen=True)
class Case:
    """One swing of the set."""

    view: str
    hand: str
    body: str
    tempo: str
    seed: int

    @property
    def name(self) -> str:
        return f"{self.view}-{self.hand}-{self.body}-{self.tempo}-{self.seed}"

    def motion(self) -> Motion:
        """The player, drawn from the case's own random numbers."""
        rng = np.random.default_rng([self.seed, *map(ord, f"{self.hand}{self.body}{self.tempo}")])
        while True:
            try:
                return simulate(self._player(rng))
            except InputError:
                continue  # This style cannot reach the ball with these proportions: draw another.

    def _player(self, rng: np.random.Generator) -> GolferSpec:
        style = drawn_style(rng)
        backswing_s, downswing_s = TEMPI[self.tempo]
        stature_m, build = BODIES[self.body]
        tempo = TempoSpec(
            pre_s=1.0,
            backswing_s=backswing_s * float(rng.uniform(0.95, 1.05)),
            downswing_s=downswing_s * float(rng.uniform(0.95, 1.05)),
            hold_s=float(rng.uniform(0.15, 0.6)),
            relax_s=1.0,
            post_s=0.1,
            waggle=float(rng.choice((0.0, 1.0))),
        )
        return GolferSpec(
            body=BodySpec(stature_m=stature_m, build=build),  # type: ignore[arg-type]
            tempo=tempo,
            style=style,
            handedness=self.hand,  # type: ignore[arg-type]
            club="driver" if rng.random() < 0.4 else "mid_iron",
            seed=int(rng.integers(1 << 30)),
            variation=1.0,
        )

    def camera(self, motion: Motion) -> CameraSpec:
        """Placed as advised, give or take a hand's breadth and a few degrees."""
        rng = np.random.default_rng([self.seed, *map(ord, self.name)])
        return CameraSpec.for_motion(
            motion,
            self.view,
            offset_m=float(rng.normal(0.0, 0.06)),
            yaw_deg=float(rng.normal(0.0, 2.5)),
        )


def cases(seeds: int) -> Iterator[Case]:
    for seed in range(seeds):
        for view in VIEWS:
            for hand in HANDS:
                for body in BODIES:
                    for tempo in TEMPI:
                        yield Case(view, hand, body, tempo, seed)


def judge(track: PoseTrack, truth: dict[str, float], case: Case, rate_hz: int) -> dict[str, Any]:
    """Errors of one clip: name → (error s, confidence), and what else was found."""
    try:
        swings = find_swings(clean(track))
    except ContentError as error:
        return {"case": case.name, "rate_hz": rate_hz, "found": 0, "why": error.message}
    swing = swings[-1]
    step_s = 1.0 / rate_hz
    n = round((truth["impact"] - truth["address"]) * rate_hz)
    return {
        "case": case.name,
        "rate_hz": rate_hz,
        "found": len(swings),
        "view_right": swing.view == case.view,
        "hand_right": swing.handedness == case.hand,
        "n": n,
        "frame_s": step_s,
        "errors": {
            position.name: (position.time_s - truth[position.name], position.confidence)
            for position in swing.positions.found
        },
        "missing": dict(swing.positions.missing),
        "truth": {name: truth[name] for name in POSITION_NAMES},
    }


def noisy(seeds: int, quick: bool) -> list[dict[str, Any]]:
    """Mode A: true joints with a pose model's errors."""
    results = []
    chosen = list(cases(seeds))[:: 7 if quick else 1]
    for i, case in enumerate(chosen):
        motion = case.motion()
        camera = case.camera(motion)
        for rate_hz in RATES_HZ:
            track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=1000 * case.seed + rate_hz + i)
            results.append(judge(track, motion.position_times, case, rate_hz))
        if (i + 1) % 12 == 0:
            print(f"  {i + 1} of {len(chosen)} swings", flush=True)
    return results


def rendered(folder: Path, only: int | None, quick: bool, fastest_hz: int) -> list[dict[str, Any]]:
    """Mode B: rendered at the fastest rate, thinned, tracked by the pose model."""
    from overlay.golfer import render_clip
    from overlay.pose import load_track, save_track, track_clip
    from overlay.video import VideoWriter, open_clip

    folder.mkdir(parents=True, exist_ok=True)
    results = []
    chosen = list(cases(1))
    # Spread over views, hands, bodies and tempi first, so that a part of the set is a fair sample of it.
    chosen = [chosen[(i * 7) % len(chosen)] for i in range(len(chosen))]
    chosen = chosen[: 2 if quick else only]
    for i, case in enumerate(chosen):
        motion = case.motion()
        camera = case.camera(motion)
        full = folder / f"{case.name}-{fastest_hz}.mp4"
        if not full.exists():
            started = time.monotonic()
            render_clip(motion, camera, full, rate_hz=float(fastest_hz), look=LOOKS[i % len(LOOKS)], seed=i)
            print(f"  rendered {case.name} in {time.monotonic() - started:.0f} s", flush=True)
        for rate_hz in (rate for rate in RATES_HZ if rate <= fastest_hz):
            saved = folder / f"{case.name}-{rate_hz}.npz"
            if not saved.exists():
                clip_path = folder / f"{case.name}-{rate_hz}.mp4"
                if not clip_path.exists():
                    with open_clip(full) as reader:
                        clip = reader.clip
                        with VideoWriter(clip_path, clip.width, clip.height, Fraction(rate_hz)) as writer:
                            for frame in reader.frames():
                                if frame.index % (fastest_hz // rate_hz) == 0:
                                    writer.write(frame.image)
                save_track(saved, track_clip(clip_path, masks=False, use_cache=False).track)
            results.append(judge(load_track(saved).track, motion.position_times, case, rate_hz))
        print(f"  {i + 1} of {len(chosen)} swings: {short(results)}", flush=True)
    return results


def tolerance_frames(result: dict[str, Any]) -> int:
    return max(round(result["n"] / 30), 1)


def frame_error(result: dict[str, Any], name: str) -> int | None:
    """Whole frames between the frame named and the true frame, as the rule compares them; None when absent."""
    if name not in result.get("errors", {}):
        return None
    error_s, _ = result["errors"][name]
    true = result["truth"][name]
    return round((true + error_s) / result["frame_s"]) - round(true / result["frame_s"])


def right(result: dict[str, Any], name: str) -> bool:
    error = frame_error(result, name)
    return error is not None and abs(error) <= tolerance_frames(result)


def mean(values: list[bool]) -> float:
    """Share of true ones; NaN when there are none."""
    return float(np.mean(values)) if values else float("nan")


def shown(value: float, form: str) -> str:
    """The value in this form; a dash when there is none."""
    return "–" if np.isnan(value) else format(value, form)


def short(results: list[dict[str, Any]]) -> str:
    scores = [right(r, name) for r in results for name in POSITION_NAMES]
    return f"{np.mean(scores):.1%} of positions within the tolerance"


def table(results: list[dict[str, Any]], title: str, command: str) -> list[str]:
    """The report, as lines of Markdown."""
    found = [r for r in results if r["found"] == 1]
    share = np.mean([right(r, name) for r in results for name in POSITION_NAMES])
    lines = [
        f"# {title}",
        "",
        f"Made by `{command}`: {len(results)} clips of {len({r['case'] for r in results})} swings;"
        f" exactly one swing found in {len(found)};"
        f" view right in {sum(bool(r.get('view_right')) for r in results)},"
        f" hand right in {sum(bool(r.get('hand_right')) for r in results)}.",
        "",
        f"Within the tolerance over all positions: **{share:.1%}**"
        f" (all nine at once in {np.mean([all(right(r, n) for n in POSITION_NAMES) for r in results]):.1%} of clips).",
        "",
        "| position | within | median error ms | p95 abs ms | bias ms | absent | "
        + " | ".join(f"{rate} /s" for rate in RATES_HZ)
        + " | dtl | fo |",
        "|---" * (8 + len(RATES_HZ)) + "|",
    ]
    for name in POSITION_NAMES:
        found_s = [r["errors"][name][0] for r in results if name in r.get("errors", {})]
        errors = np.array(found_s or [np.nan]) * 1e3
        by_rate = [mean([right(r, name) for r in results if r["rate_hz"] == rate]) for rate in RATES_HZ]
        by_view = [mean([right(r, name) for r in results if r["case"].startswith(view)]) for view in VIEWS]
        absent = sum(name not in r.get("errors", {}) for r in results)
        off = np.abs(errors)
        figures = (shown(float(np.median(off)), ".1f"), shown(float(np.percentile(off, 95)), ".1f"))
        shares = " | ".join(shown(share, ".0%") for share in (*by_rate, *by_view))
        lines.append(
            f"| {name} | {np.mean([right(r, name) for r in results]):.1%} | {' | '.join(figures)} |"
            f" {shown(float(np.median(errors)), '+.1f')} | {absent} | {shares} |"
        )
    sixty = [r for r in results if r["rate_hz"] == 60]
    for name in ("top", "impact"):
        errors = np.array([abs(r["errors"][name][0]) * 1e3 for r in sixty if name in r.get("errors", {})] or [np.nan])
        median_ms = shown(float(np.median(errors)), ".1f")
        lines += ["", f"Median time error of {name} at 60 frames a second: {median_ms} ms."]
    lines += ["", *confidence_table(results)]
    return lines


def confidence_table(results: list[dict[str, Any]]) -> list[str]:
    """Is a surer position a better one: share within the tolerance by the confidence told."""
    pairs = [
        (confidence, abs(error_s) <= max(r["n"] / 30, 1) * r["frame_s"], abs(error_s) * 1e3)
        for r in results
        for error_s, confidence in r.get("errors", {}).values()
    ]
    lines = ["| confidence told | positions | within the tolerance | median error ms |", "|---|---|---|---|"]
    edges = (0.0, 0.4, 0.6, 0.8, 0.9, 0.97, 1.001)
    for low, high in itertools.pairwise(edges):
        part = [p for p in pairs if low <= p[0] < high]
        if part:
            lines.append(
                f"| {low:.2f}–{min(high, 1):.2f} | {len(part)} | {np.mean([p[1] for p in part]):.1%} |"
                f" {np.median([p[2] for p in part]):.1f} |"
            )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--rendered", type=Path, help="folder for clips and tracks")
    parser.add_argument("--only", type=int, help="so many of the 36 rendered swings")
    parser.add_argument("--fastest", type=int, choices=RATES_HZ, default=240, help="render no faster than this")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", type=Path, help="also write every error to this file")
    arguments = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    if arguments.rendered:
        results = rendered(arguments.rendered, arguments.only, arguments.quick, arguments.fastest)
        title, name, command = "Positions on rendered clips", "positions_rendered", "--rendered WORK_FOLDER"
        if arguments.only is not None:
            command += f" --only {arguments.only}"
        if arguments.fastest != max(RATES_HZ):
            command += f" --fastest {arguments.fastest}"
    else:
        results = noisy(arguments.seeds, arguments.quick)
        title, name, command = "Positions on noisy true joints", "positions_noisy", f"--seeds {arguments.seeds}"
    if arguments.quick:
        command += " --quick"
    lines = table(results, title, f"python studies/positions_synthetic.py {command}")
    print("\n".join(lines))
    lost = [r for r in results if r["found"] != 1]
    for result in lost:
        print(
            f"  {result['case']} at {result['rate_hz']}: {result['found']} swings {result.get('why', '')}",
            file=sys.stderr,
        )
    if arguments.json:
        arguments.json.write_text(json.dumps(results), encoding="utf-8")
    if not arguments.quick:
        DOCS.mkdir(parents=True, exist_ok=True)
        (DOCS / f"{name}.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
