"""How much one player's posture varies from shot to shot, and how much players differ in that.

    OVERLAY_REAL_DATA=FOLDER python studies/score_spread.py [--quick]

Reads ``swing_features_8_positions.csv`` of the folder: posture features of 1,757 shots by 8 players at 8 positions
(CaddieSet, Jung et al., CVPR Workshops 2025). For angles that are given at address and later, the change from address
is taken, as the score does. Groups are one player with one club in one view; values beyond four robust SDs are left
out. The scatter of the groups' SDs gives the degrees of freedom of a scaled inverse χ² prior: the variance of log s² is
trigamma(ν/2) beyond what the group sizes explain. Without the folder the study says so and stops.
"""

from __future__ import annotations

import argparse
import csv
import os
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.special import polygamma

from overlay.files import write_text

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "score_spread.md"
FEATURES = (("DTL", "SPINE-ANGLE"), ("FACEON", "SHOULDER-ANGLE"), ("FACEON", "UPPER-TILT"))
LEAST = 8


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def group_spreads(rows: list[dict[str, str]], view: str, column: str, base: str) -> tuple[np.ndarray, np.ndarray]:
    """SD and degrees of freedom of the change from address in each group."""
    groups: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        value = number(row[column]) - number(row[base])
        if row["View"] == view and np.isfinite(value):
            groups.setdefault((row["GolferId"], row["ClubType"]), []).append(value)
    sds, dfs = [], []
    for values in groups.values():
        v = np.array(values)
        if len(v) < LEAST:
            continue
        middle = np.median(v)
        robust = 1.4826 * np.median(np.abs(v - middle))
        v = v[np.abs(v - middle) <= 4 * max(robust, 1e-9)]
        if len(v) >= LEAST and v.std() > 0:
            sds.append(v.std(ddof=1))
            dfs.append(len(v) - 1)
    return np.array(sds), np.array(dfs)


def excess(sds: np.ndarray, dfs: np.ndarray) -> float:
    """Variance of log s² beyond sampling."""
    return float(np.var(np.log(sds**2), ddof=1) - np.mean(polygamma(1, dfs / 2)))


def freedom(variance: float) -> float:
    """ν with trigamma(ν/2) = variance."""
    return float(2 * brentq(lambda x: polygamma(1, x) - max(variance, 1e-3), 0.05, 2000.0))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="nothing is written")
    quick = parser.parse_args().quick
    folder = os.environ.get("OVERLAY_REAL_DATA")
    path = Path(folder or "") / "swing_features_8_positions.csv"
    if not folder or not path.is_file():
        print("OVERLAY_REAL_DATA names no folder with swing_features_8_positions.csv; nothing to do.")
        return
    with open(path, newline="", encoding="utf-8") as source:
        rows = list(csv.DictReader(source))
    lines = [
        "# Spread of one player from shot to shot",
        "",
        "Made by `OVERLAY_REAL_DATA=FOLDER python studies/score_spread.py`.",
        "",
        *(__doc__ or "").split("\n\n", 2)[2].strip().splitlines(),
        "",
        "| view | change from address of | position | groups | SD of a player, median | lowest | highest | ν |",
        "|---|---|---|---|---|---|---|---|",
    ]
    scatter = []
    for view, feature in FEATURES:
        for position in range(1, 8):
            column = f"{position}-{feature}"
            if column not in rows[0]:
                continue
            sds, dfs = group_spreads(rows, view, column, f"0-{feature}")
            if len(sds) < 5:
                continue
            scatter.append(excess(sds, dfs))
            unit = "" if feature == "UPPER-TILT" else "°"
            lines.append(
                f"| {view} | {feature} | {position} | {len(sds)} | {np.median(sds):.2f}{unit} | {sds.min():.2f}{unit} "
                f"| {sds.max():.2f}{unit} | {freedom(scatter[-1]):.0f} |"
            )
    lines += ["", f"All together (mean of the variances of log s²): ν = {freedom(float(np.mean(scatter))):.0f}."]
    text = "\n".join(lines) + "\n"
    print(text)
    if not quick:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
