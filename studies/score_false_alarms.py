"""How often two recordings of the same swing are said to differ, and how large the noise of each part is.

    python studies/score_false_alarms.py [--quick] [--rendered [--tracks FOLDER]]

Three questions, each in both views, at 60 frames/s:

- *same swing*: one motion, two recordings with different pose noise. Every phase should say "no difference detected".
- *same player*: two swings with the usual variation from swing to swing.
- *other camera or body*: the same swing from a slightly other place, or by another body; a bias that no test knows of.

The track-level mode adds noise of the pose model's kind to the projected joints and runs cleaning, position finding,
alignment and score. ``--rendered`` renders pictures and runs the pose model on them.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import score_bed as bed

from overlay.align import align
from overlay.clean import clean
from overlay.data import Comparison, Swing
from overlay.errors import OverlayError
from overlay.files import write_text
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, NoiseSpec, simulate
from overlay.positions import find_swings
from overlay.score import score
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, View, words

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "score_false_alarms.md"
VIEWS: tuple[View, ...] = ("dtl", "fo")


class Tally:
    """Counts over comparisons of swings that do not differ."""

    def __init__(self) -> None:
        self.n = 0
        self.quiet = 0
        self.alarms: Counter[tuple[str, str]] = Counter()
        self.offsets: dict[tuple[str, str], list[tuple[float, float]]] = {}
        self.failed: list[str] = []

    def add(self, comparison: Comparison) -> None:
        self.n += 1
        found = bed.detected(comparison)
        self.quiet += not found
        self.alarms.update(found)
        for row in comparison.differences:
            if row.words != "not scored":
                self.offsets.setdefault((row.phase, row.part), []).append(row.offset)

    def sd(self, part: str) -> list[float]:
        """SD of one swing's coordinate in each phase, torso lengths: √(mean |D|²/(2·2))."""
        result = []
        for phase in bed.PHASE_NAMES:
            d = np.array(self.offsets.get((phase, part), []))
            result.append(float(np.sqrt(np.mean(np.sum(d**2, axis=1)) / 4)) if len(d) > 2 else float("nan"))
        return result


def alarm_row(name: str, view: str, tally: Tally) -> str:
    worst = ", ".join(f"{words(part)} in {words(phase)} {n}" for (phase, part), n in tally.alarms.most_common(2))
    failed = f"; {len(tally.failed)} failed" if tally.failed else ""
    return f"| {name} | {view} | {tally.n}{failed} | {tally.quiet} ({tally.quiet / max(1, tally.n):.0%}) | {worst} |"


def sd_table(title: str, tally: Tally, settings: ScoreSettings) -> list[str]:
    lines = [
        f"\n{title}\n",
        "| part | " + " | ".join(words(name) for name in bed.PHASE_NAMES) + " | prior, through swing |",
    ]
    lines.append("|---" * (len(bed.PHASE_NAMES) + 2) + "|")
    for part in PARTS:
        cells = " | ".join("–" if np.isnan(sd) else f"{100 * sd:.1f}" for sd in tally.sd(part))
        lines.append(
            f"| {words(part)} | {cells} | {100 * settings.prior_sd[part]:.1f}, "
            f"{100 * settings.prior(part, 'through_swing'):.1f} |"
        )
    return lines


def track_level(seeds: int) -> list[str]:
    settings = ScoreSettings()
    noise = NoiseSpec()
    rows = [
        "| comparison | view | comparisons | nothing detected | most frequent false findings |",
        "|---|---|---|---|---|",
    ]
    tables: list[str] = []
    plain = GolferSpec()
    for view in VIEWS:
        same, player = Tally(), Tally()
        scene = bed.recorded(plain, view)
        for seed in range(seeds):
            same.add(bed.compare(scene, scene, seed, noise=noise))
            if seed % 5 == 0:
                one, other = (bed.recorded(bed.with_seed(plain, 1 + 2 * seed + i), view) for i in (0, 1))
                player.add(bed.compare(one, other, 1000 + seed, noise=noise))
        rows += [alarm_row("same swing", view, same), alarm_row("same player, two swings", view, player)]
        print(*rows[-2:], sep="\n", flush=True)
        tables += sd_table(f"SD of one swing, % of a torso length, same swing, {view}", same, settings)
        tables += sd_table(f"SD of one swing, % of a torso length, same player, {view}", player, settings)
    return [*rows, *tables]


CHANGES: dict[str, dict[str, float]] = {
    "camera 5° round": {"yaw_deg": 5.0},
    "camera 0.15 m aside": {"offset_m": 0.15},
    "camera 0.15 m higher": {"height_m": 0.15},
    "camera 25 % further": {"distance_m": 1.25},
    "body 12 % longer arms": {"arm": 1.12, "forearm": 1.12},
    "body 10 % longer legs": {"thigh": 1.10, "shank": 1.10},
    "body 1.60 m tall": {"stature_m": 1.60},
}


def changed(view: View, change: dict[str, float]) -> bed.Recorded:
    """The plain swing by another body or from another place."""
    motion = simulate(GolferSpec(body=BodySpec(**{n: v for n, v in change.items() if hasattr(BodySpec(), n)})))
    usual = CameraSpec.for_motion(motion, view)
    camera = {name: value for name, value in change.items() if not hasattr(BodySpec(), name)}
    for name in ("height_m", "offset_m"):
        if name in camera:
            camera[name] += getattr(usual, name)
    if "distance_m" in camera:
        camera["distance_m"] *= usual.distance_m
    return bed.Recorded(motion, replace(usual, **camera), view)


def bias_table() -> list[str]:
    settings = ScoreSettings()
    lines = [
        "\nBias that another place of the camera or another body brings, true joints without noise, largest part\n",
        "| change | view | largest, torso lengths | in multiples of its SD | median over parts and phases |",
        "|---|---|---|---|---|",
    ]
    for name, change in CHANGES.items():
        for view in VIEWS:
            cells = bed.truth_cells(changed(view, change), bed.recorded(GolferSpec(), view), settings)
            multiples = bed.truth_multiples(cells, settings)
            sizes = {(c.phase, c.part): float(np.hypot(*c.offset)) for c in cells if not c.reason}
            worst = max(multiples, key=lambda key: multiples[key])
            lines.append(
                f"| {name} | {view} | {words(worst[1])} in {words(worst[0])}: {sizes[worst]:.2f} "
                f"| {multiples[worst]:.1f} | {np.median(list(sizes.values())):.3f} |"
            )
    return lines


def rendered(numbers: range, folder: Path) -> list[str]:
    """The same swing rendered with other looks, camera places and picture noise, every pair through all stages."""
    settings = ScoreSettings()
    rows = [
        "| comparison | view | comparisons | nothing detected | most frequent false findings |",
        "|---|---|---|---|---|",
    ]
    tables: list[str] = []
    for view in VIEWS:
        same, other = Tally(), Tally()
        swings: list[tuple[int, Swing]] = []
        for number in numbers:
            track = clean(bed.rendered_track(view, number, folder))
            try:
                swings.append((number // 2, find_swings(track, None, view=view, handedness="right")[0]))
            except OverlayError as error:
                other.failed.append(error.message)
        for i, (look, one) in enumerate(swings):
            for another, two in swings[i + 1 :]:
                (same if look == another else other).add(score(one, two, align(one, two)))
        rows += [alarm_row("same look, rendered", view, same), alarm_row("other look, rendered", view, other)]
        tables += sd_table(f"SD of one swing, % of a torso length, rendered, other look, {view}", other, settings)
    return [*rows, *tables]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="10 seeds, or 4 rendered clips a view; nothing is written")
    parser.add_argument("--rendered", action="store_true", help="through pictures and the pose model")
    parser.add_argument("--clips", nargs=2, type=int, default=(0, 8), help="first and one past the last rendering")
    parser.add_argument("--tracks", help="folder in which rendered tracks are kept between runs")
    arguments = parser.parse_args()
    command = "python studies/score_false_alarms.py"
    if arguments.rendered:
        lines = ["# False alarms of the score, rendered clips", "", (__doc__ or "").split("\n\n")[0], ""]
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(arguments.tracks or temporary)
            folder.mkdir(parents=True, exist_ok=True)
            first, past = (0, 4) if arguments.quick else arguments.clips
            numbers = range(first, past)
            lines += [f"Made by `{command} --rendered --clips {first} {past}`.", ""]
            lines += rendered(numbers, folder)
        out = OUT.with_name("score_false_alarms_rendered.md")
    else:
        lines = ["# False alarms of the score", "", (__doc__ or "").split("\n\n")[0], ""]
        lines += [f"Made by `{command}`.", ""]
        lines += [*track_level(10 if arguments.quick else 100), *bias_table()]
        out = OUT
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.quick:
        write_text(out, text)


if __name__ == "__main__":
    main()
