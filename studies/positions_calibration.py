"""Makes overlay/positions/calibration.json: how far each cue lies from the position it points at.

Swings of many synthetic players (body, tempo, style, camera, frame rate, noise all drawn at random) are tracked with
the noise of a pose model (0.15 to 2.2 times its usual size, half of the players swaying a little as people do),
cleaned, and their cues measured; a ridge regression per view and position then gives the true time from the cue times.
Errors are reported on players left out, and on players whose style lies further from the usual swing than any player
fitted on. The table says nothing about real players by itself: that is what
tests/end_to_end/test_real_tracks_positions.py is for.

    python studies/positions_calibration.py [--quick] [--swings 600] [--write]
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from overlay.clean import clean
from overlay.data import PoseTrack
from overlay.errors import InputError
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
from overlay.golfer.spec import STYLE_LIMITS
from overlay.kinematics import body_signals, torso_length
from overlay.positions import SwingCues, full_swings, measure_cues
from overlay.positions.estimate import ANCHORS, BACKSWING, Calibration
from overlay.settings.positions import PositionSettings
from overlay.terms import POSITION_NAMES

ROOT = Path(__file__).resolve().parent.parent
OUT = ROOT / "overlay" / "positions" / "calibration.json"
TABLE = ROOT / "docs" / "studies" / "positions_calibration.md"
VIEWS = ("dtl", "fo")
RATES_HZ = (30.0, 60.0, 120.0, 240.0)
RIDGE = 3.0
RIDGE_ONSET = 30.0
"""Of address and finish: many cues that say nearly the same. Both chosen on players left out."""
NOISE_SCALES = (0.7, 2.2)
QUIET_SCALES = (0.15, 0.8)
"""Every other player; clips filmed in good light from a tripod tremble far less than the usual noise."""
ONSETS = ("address", "finish")

FAR_GONE = ("_0.12_", "_0.20_")
"""Levels at which the club is let down differently by every player: left out of the finish, they only mislead."""

SWAY = 0.006
"""Largest standard deviation, torso lengths, of a living player's slow drift; half of the players have none."""
SWAY_S = 0.5


@dataclass(frozen=True)
class Row:
    """Cues of one swing and its true times, in downswings from the anchors."""

    view: str
    far_style: bool
    rate_hz: float
    unit_s: float
    back_unit_s: float
    swing_s: float
    cues: dict[str, float]
    truth: dict[str, float]
    tremble: float

    def scale_s(self, name: str) -> float:
        """The unit of time of a position."""
        return self.back_unit_s if name in BACKSWING else self.unit_s


def random_player(rng: np.random.Generator, far: bool) -> GolferSpec:
    """A player drawn at random; ``far`` ones differ from the usual swing by more than 0.45 of the limits somewhere."""
    reach = 0.45
    style = {}
    for name, limit in STYLE_LIMITS.items():
        share = float(np.clip(rng.normal(0.0, 0.25), -reach, reach))
        if far and rng.random() < 0.35:
            share = float(rng.choice((-1.0, 1.0)) * rng.uniform(reach, 0.95))
        style[name] = share * limit
    downswing_s = float(np.clip(rng.lognormal(math.log(0.265), 0.13), 0.19, 0.40))
    backswing_s = float(np.clip(downswing_s * rng.lognormal(math.log(3.3), 0.2), 0.6, 1.6))
    tempo = TempoSpec(
        pre_s=float(rng.uniform(0.8, 2.2)),
        backswing_s=backswing_s,
        downswing_s=downswing_s,
        through_s=float(rng.uniform(0.4, 0.65)),
        hold_s=float(rng.uniform(0.08, 1.2)),
        relax_s=float(rng.uniform(0.8, 1.8)),
        post_s=0.3,
        waggle=float(rng.choice((0.0, 1.0, 1.5))),
    )
    body = BodySpec(
        stature_m=float(rng.uniform(1.5, 1.98)),
        arm=float(rng.uniform(0.94, 1.06)),
        forearm=float(rng.uniform(0.94, 1.06)),
        trunk=float(rng.uniform(0.94, 1.06)),
        shoulders=float(rng.uniform(0.92, 1.08)),
    )
    return GolferSpec(
        body=body,
        tempo=tempo,
        style=StyleSpec(**style),
        club="driver" if rng.random() < 0.4 else "mid_iron",
        seed=int(rng.integers(1 << 30)),
        variation=1.0,
    )


def random_motion(rng: np.random.Generator, far: bool) -> Motion:
    """Draws players until one can reach the ball; a few style combinations cannot."""
    while True:
        try:
            return simulate(random_player(rng, far))
        except InputError:
            continue


def random_camera(rng: np.random.Generator, motion: Motion, view: str) -> CameraSpec:
    """A phone placed as advised, give or take."""
    usual = CameraSpec.for_motion(motion, view)
    return CameraSpec.for_motion(
        motion,
        view,
        height_m=float(usual.height_m + rng.normal(0.0, 0.12)),
        offset_m=float(rng.normal(0.0, 0.10)),
        yaw_deg=float(rng.normal(0.0, 4.0)),
        roll_deg=float(rng.normal(0.0, 0.7)),
        distance_m=float(rng.uniform(3.8, 5.5)),
    )


def swayed(track: PoseTrack, size: float, rng: np.random.Generator) -> PoseTrack:
    """The same track of a player who never stands quite still: each joint drifts slowly, half of it with the body."""
    from scipy.ndimage import gaussian_filter1d

    sigma = SWAY_S / float(np.median(np.diff(track.time_s)))
    reach = round(4 * sigma)
    drift = rng.normal(size=(len(track) + 2 * reach, track.points.shape[1] + 1, 2))
    drift = gaussian_filter1d(drift, sigma, axis=0)[reach : reach + len(track)]
    drift /= max(float(drift.std()), 1e-12)
    moved = math.sqrt(0.5) * (drift[:, 1:] + drift[:, :1]) * size * torso_length(track)
    return replace(track, points=track.points + moved)


def cues_of(track: PoseTrack) -> SwingCues | None:
    """Cues of the only swing of a right-handed player, None when not exactly one is found."""
    settings = PositionSettings()
    passes, _ = full_swings(body_signals(track), settings)
    if len(passes) != 1:
        return None
    return measure_cues(track, passes[0], float(track.time_s[0]), float(track.time_s[-1]), "right", settings)


def rows(n: int, seed: int) -> Iterator[Row]:
    """``n`` random swings a view; a third of them far from the usual style."""
    rng = np.random.default_rng(seed)
    for i in range(n):
        far = i % 3 == 2
        motion = random_motion(rng, far)
        for view in VIEWS:
            rate_hz = float(RATES_HZ[int(rng.integers(4))])
            raw = truth_track(
                motion,
                random_camera(rng, motion, view),
                rate_hz,
                noise=NoiseSpec(scale=float(rng.uniform(*NOISE_SCALES) if i % 2 else rng.uniform(*QUIET_SCALES))),
                seed=int(rng.integers(1 << 30)),
            )
            if rng.random() < 0.5:
                raw = swayed(raw, float(rng.uniform(0.2, 1.0)) * SWAY, rng)
            measured = cues_of(clean(raw))
            if measured is None:
                print(f"  swing {i} {view}: not exactly one swing found", flush=True)
                continue
            yield row_of(measured, motion.position_times, view, far, rate_hz)
        if (i + 1) % 50 == 0:
            print(f"  {i + 1} of {n} swings", flush=True)


def row_of(measured: SwingCues, truth: dict[str, float], view: str, far: bool, rate_hz: float) -> Row:
    """Everything in downswings from the anchor of each position."""
    return Row(
        view,
        far,
        rate_hz,
        measured.unit_s,
        measured.back_unit_s,
        truth["impact"] - truth["address"],
        {name: value for name, value in measured.cues.items() if math.isfinite(value)},
        {
            name: (truth[name] - measured.anchors[ANCHORS[name]])
            / (measured.back_unit_s if name in BACKSWING else measured.unit_s)
            for name in POSITION_NAMES
            if ANCHORS[name] in measured.anchors
        }
        | {f"anchor_{key}": value for key, value in measured.anchors.items()},
        measured.signals.tremble,
    )


def relative(row: Row, name: str, cue: str) -> float:
    """A cue in downswings from the anchor of position ``name``; NaN when missing."""
    anchor = row.truth[f"anchor_{ANCHORS[name]}"]
    return (row.cues.get(cue, math.nan) - anchor) / row.scale_s(name)


def wanted(name: str, cue: str) -> bool:
    """Whether a cue can tell anything about a position: its own side of the swing."""
    back = ("back_", "moved_", "quiet_", "leave", "depart_")
    top = ("top_", "plateau_", "speeds_up")
    down = ("down_", "low_", "fast", "arm_")
    after = ("through_",)
    end = ("let_down_", "let_late_", "hold_quiet", "last_held")
    groups = {
        "address": (*back,),
        "shaft_level_back": (*back, "top_height"),
        "lead_arm_level_back": (*back, "top_height"),
        "top": (*top, "back_rise_90", "down_rise_90", "down_rise_75", "down_arm_", "back_arm_p00"),
        "lead_arm_level_down": (*down, *top),
        "shaft_level_down": (*down, "through_rise_10", "through_rise_20"),
        "impact": (*down, "through_rise_10", "through_rise_20", "through_rise_30"),
        "shaft_level_through": (*down, *after),
        "finish": (*end,),
    }
    if name == "finish" and any(far in cue for far in FAR_GONE):
        return False
    return not cue.endswith("_anchor") and cue.startswith(groups[name])


def fit(data: list[Row], name: str) -> dict[str, Any]:
    """Robust ridge regression of one position in one view (Huber weights, cues standardised)."""
    names = sorted({cue for row in data for cue in row.cues if wanted(name, cue)})
    table = np.array([[relative(row, name, cue) for cue in names] for row in data])
    seen = np.isfinite(table)
    keep = seen.mean(axis=0) > 0.6
    names, table, seen = [n for n, k in zip(names, keep) if k], table[:, keep], seen[:, keep]
    truth = np.array([row.truth[name] for row in data])
    expected = np.nanmedian(table, axis=0)
    spread = np.maximum(1.4826 * np.nanmedian(np.abs(table - expected), axis=0), 0.01)
    away = np.clip(np.where(seen, table - expected, 0.0), -3 * spread, 3 * spread) / spread
    design = np.hstack([np.ones((len(data), 1)), away])
    weights = np.ones(len(data))
    penalty = (RIDGE_ONSET if name in ONSETS else RIDGE) * np.eye(design.shape[1])
    penalty[0, 0] = 0.0
    for _ in range(8):
        solution = np.linalg.solve(design.T @ (design * weights[:, None]) + penalty, design.T @ (truth * weights))
        residual = truth - design @ solution
        scale = max(1.4826 * float(np.median(np.abs(residual))), 1e-6)
        weights = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(residual), 1e-9))
    return {
        "cues": names,
        "expected": [round(float(v), 5) for v in expected],
        "spread": [round(float(v), 5) for v in spread],
        "weights": [round(float(v), 5) for v in solution[1:] / spread],
        "intercept": round(float(solution[0]), 5),
        "sd": 0.0,
        "tremble_sd": 0.0,
    }


def predict(model: dict[str, Any], row: Row, name: str) -> float:
    """The error-free part of ``Calibration.estimate``, in downswings from the anchor."""
    calibration = Calibration(*(model[key] for key in ("cues", "expected", "spread", "weights", "intercept", "sd")))
    anchor = row.truth[f"anchor_{ANCHORS[name]}"]
    time_s, _ = calibration.estimate(row.cues, anchor, row.scale_s(name))
    return (time_s - anchor) / row.scale_s(name)


def errors(model: dict[str, Any], data: list[Row], name: str) -> np.ndarray:
    """Estimated minus true, downswings."""
    return np.array([predict(model, row, name) - row.truth[name] for row in data])


def robust_sd(values: np.ndarray) -> float:
    """Standard deviation with the tails beyond three of them pulled in."""
    scale = max(1.4826 * float(np.median(np.abs(values))), 1e-4)
    return float(np.sqrt(np.mean(np.clip(values, -4 * scale, 4 * scale) ** 2)))


def uncertainty(errors_dw: np.ndarray, tremble: list[float]) -> dict[str, float]:
    """Standard deviation of the error on quiet tracks, and how it grows with the tremble of the track."""
    shake = np.nan_to_num(np.array(tremble), nan=float(np.nanmedian(tremble)))
    edge = float(np.percentile(shake, 75))
    quiet, loud = shake < edge, shake >= edge
    sd = robust_sd(errors_dw[quiet])
    grown = max(robust_sd(errors_dw[loud]) ** 2 - sd**2, 0.0)
    return {"sd": round(sd, 5), "tremble_sd": round(math.sqrt(grown) / float(np.mean(shake[loud])), 3)}


def within(errors_dw: np.ndarray, data: list[Row], name: str) -> float:
    """Share inside the GolfDB tolerance, frames rounded as the rule does."""
    good = 0
    for error, row in zip(errors_dw, data):
        tolerance = max(round(row.swing_s * row.rate_hz / 30), 1)
        good += abs(round(error * row.scale_s(name) * row.rate_hz)) <= tolerance
    return good / max(len(data), 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="60 swings, nothing written")
    parser.add_argument("--swings", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help=f"write {OUT.name}")
    arguments = parser.parse_args()
    data = list(rows(60 if arguments.quick else arguments.swings, arguments.seed))
    table, lines = calibrate(data)
    print("\n".join(lines))
    if arguments.write and not arguments.quick:
        write(table, lines)


def calibrate(data: list[Row]) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """Fit every position in both views; the table that ships and the report in Markdown."""
    table: dict[str, dict[str, Any]] = {view: {} for view in VIEWS}
    lines = [
        "# Calibration of the nine positions",
        "",
        "Made by `python studies/positions_calibration.py --write`. Errors in ms on players left out of the fit"
        " (5-fold by player) and on players with a style further out than any fitted on; share within the tolerance"
        " of the GolfDB rule.",
        "",
        "| view | position | left out: bias / sd ms | within | far styles: bias / sd ms | within |",
        "|---|---|---|---|---|---|",
    ]
    for view in VIEWS:
        usual = [row for row in data if row.view == view and not row.far_style]
        far = [row for row in data if row.view == view and row.far_style]
        for name in POSITION_NAMES:
            near_usual = [row for row in usual if name in row.truth]
            near_far = [row for row in far if name in row.truth]
            held = np.zeros(len(near_usual))
            for fold in range(5):
                train = [row for i, row in enumerate(near_usual) if i % 5 != fold]
                part = [i for i in range(len(near_usual)) if i % 5 == fold]
                held[part] = errors(fit(train, name), [near_usual[i] for i in part], name)
            outside = errors(fit(near_usual, name), near_far, name)
            # What ships is fitted on everybody; its uncertainty is that of players left out, near and far.
            model = fit(near_usual + near_far, name)
            model.update(uncertainty(np.concatenate([held, outside]), [row.tremble for row in near_usual + near_far]))
            table[view][name] = model
            unit = np.array([row.scale_s(name) for row in near_usual]) * 1e3
            unit_far = np.array([row.scale_s(name) for row in near_far]) * 1e3
            lines.append(
                f"| {view} | {name} | {np.median(held * unit):+.0f} / {robust_sd(held * unit):.0f} |"
                f" {within(held, near_usual, name):.1%} | {np.median(outside * unit_far):+.0f} /"
                f" {robust_sd(outside * unit_far):.0f} | {within(outside, near_far, name):.1%} |"
            )
    return table, lines


def write(table: dict[str, dict[str, Any]], lines: list[str]) -> None:
    """Put the table where the package reads it and the report beside the others."""
    OUT.write_text(json.dumps({"schema": 1, "views": table}, indent=None) + "\n", encoding="utf-8")
    TABLE.parent.mkdir(parents=True, exist_ok=True)
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
