"""Renders a set of clips with known truth: players, cameras, rates and shutters drawn at random, once and for good.

    python studies/filmed_clips.py FOLDER [--set tune|test] [--only N] [--quick]

Each clip is an MP4 with a JSON file beside it that holds the golfer and camera it was made from, so that any study can
ask for joints, club, ball and strike of any frame. A second run goes on where the first one stopped.
The set "tune" is for choosing thresholds, the set "test" is for the figures and for nothing else.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from overlay.errors import InputError
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, Motion, TempoSpec, simulate

sys.path.insert(0, str(Path(__file__).resolve().parent))
from positions_synthetic import drawn_style

SEEDS = {"tune": 7_000, "test": 9_000}
COUNT = {"tune": 8, "test": 20}
RATES = ((60.0, 1 / 1000), (60.0, 1 / 500), (30.0, 1 / 1000), (120.0, 1 / 1000), (60.0, 1 / 250), (240.0, 1 / 2000))
LOOKS = ("rowan", "mara", "idris", "tobin", "wren")


@dataclass(frozen=True)
class Filmed:
    """One clip of the set and everything it was made from."""

    path: Path
    golfer: GolferSpec
    camera: CameraSpec
    rate_hz: float
    shutter_s: float
    look: str

    def motion(self) -> Motion:
        return simulate(self.golfer)


def plan(name: str, number: int, folder: Path) -> Filmed:
    """The clip of that number, the same in every run."""
    rng = np.random.default_rng([SEEDS[name], number])
    view = ("dtl", "fo")[number % 2]
    while True:
        style = drawn_style(rng)
        golfer = GolferSpec(
            body=BodySpec(stature_m=float(rng.uniform(1.58, 1.93)), build=str(rng.choice(("slim", "medium", "broad")))),  # type: ignore[arg-type]
            tempo=TempoSpec(
                pre_s=float(rng.uniform(0.9, 1.2)),
                backswing_s=float(rng.uniform(0.70, 1.15)),
                downswing_s=float(rng.uniform(0.22, 0.31)),
                hold_s=float(rng.uniform(0.15, 0.4)),
                relax_s=0.5,
                post_s=0.0,
                waggle=float(rng.choice((0.0, 0.5))),
            ),
            style=style,
            handedness="left" if rng.random() < 0.25 else "right",
            club="driver" if rng.random() < 0.4 else "mid_iron",
            seed=int(rng.integers(1 << 30)),
            variation=1.0,
        )
        try:
            motion = simulate(golfer)
        except InputError:
            continue  # This style cannot reach the ball with these proportions: draw another.
        break
    camera = CameraSpec.for_motion(
        motion,
        view,
        offset_m=float(rng.normal(0, 0.05)),
        yaw_deg=float(rng.normal(0, 2.0)),
        shake_deg=0.12 if rng.random() < 0.25 else 0.0,
        shake_seed=number,
    )
    rate_hz, shutter_s = RATES[int(rng.integers(len(RATES)))] if number >= len(RATES) else RATES[number]
    look = LOOKS[int(rng.integers(len(LOOKS)))]
    return Filmed(folder / f"{name}-{number:02d}-{view}-{rate_hz:.0f}.mp4", golfer, camera, rate_hz, shutter_s, look)


def saved(path: Path) -> Filmed:
    """What the JSON beside a rendered clip says."""
    told: dict[str, Any] = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return Filmed(
        path,
        GolferSpec.from_dict(told["golfer"]),
        CameraSpec.from_dict(told["camera"]),
        told["rate_hz"],
        told["shutter_s"],
        told["look"],
    )


def render(filmed: Filmed) -> None:
    """Render the clip and write what it was made from, unless both are there."""
    from overlay.golfer import render_clip

    beside = filmed.path.with_suffix(".json")
    if filmed.path.exists() and beside.exists():
        return
    motion = filmed.motion()
    render_clip(
        motion,
        filmed.camera,
        filmed.path,
        rate_hz=filmed.rate_hz,
        shutter_s=filmed.shutter_s,
        look=filmed.look,
        seed=motion.spec.seed % 1000,
        threads=1,
    )
    told = {
        "golfer": filmed.golfer.to_dict(),
        "camera": filmed.camera.to_dict(),
        "rate_hz": filmed.rate_hz,
        "shutter_s": filmed.shutter_s,
        "look": filmed.look,
    }
    beside.write_text(json.dumps(told, indent=1), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", choices=tuple(COUNT), default="test", dest="name")
    parser.add_argument("--only", type=int, default=10_000, help="not more than this many clips")
    parser.add_argument("--quick", action="store_true", help="three clips")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for number in range(min(COUNT[options.name], 3 if options.quick else options.only)):
        filmed = plan(options.name, number, options.folder)
        render(filmed)
        print(filmed.path.name, flush=True)


if __name__ == "__main__":
    main()
