"""How well a clip's reference is fitted to another build in the picture, and what that does to the scores.

    python studies/flat_fit.py [--quick] [--tracks FOLDER] [--filmed FOLDER]

Three questions, in both views, on tracks of the synthetic golfer with the pose model's kind of noise, 60 frames/s:

- *reading*: ln of the ratio of two players' segments, as read and in truth, where builds differ by up to ±12 % in every
  proportion, styles differ as good players' do and cameras stand a little differently;
- *other build*: one movement by two builds; joints of the fitted reference against the student's, and how many cells
  of the score say "no difference detected", with and without the fit;
- *same player*: two swings of one player, which a fit must leave alone.

``--tracks`` adds how the readings vary on tracks that the pose model gave of rendered clips: a folder of
``positions_synthetic.py`` (and, with ``--filmed``, the set "tune" of ``filmed_clips.py``), whose players are of one
build, so that what varies is error. ``--filmed`` adds what a fit changes between the players of the set "test", who are
of one build too, so that every change is false.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import score_bed as bed

from overlay.align import align
from overlay.arrays import FloatArray
from overlay.data import Comparison, ReferenceFit, Swing
from overlay.errors import InputError
from overlay.files import write_text
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, Motion, NoiseSpec, StyleSpec, space_track
from overlay.landmarks import INDEX
from overlay.score import score
from overlay.segments import PAIRED, SEGMENT_NAMES, fit_in_picture, segment_lengths, segment_words
from overlay.settings.score import ScoreSettings
from overlay.settings.segments import READINGS
from overlay.terms import VIEW_WORDS, View

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "flat_fit.md"
VIEWS: tuple[View, ...] = ("dtl", "fo")
BUILD = ("arm", "forearm", "hand", "thigh", "shank", "trunk", "shoulders", "hips", "head", "foot")
STYLE = {
    "shoulder_turn_deg": 8.0, "pelvis_turn_deg": 5.0, "hands_height": 0.08, "hands_depth": 0.08, "shaft_top_deg": 12.0,
    "plane_deg": 3.0, "forward_bend_deg": 3.0, "knee_flex_deg": 4.0, "stance_width": 0.1, "arm_hang_deg": 3.0,
    "shift_m": 0.02, "flare_deg": 5.0,
}  # fmt: skip
"""SD of a good player's style; cut at two of them."""
JOINTS = tuple(
    f"{side}_{j}" for side in ("left", "right") for j in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
)


def style(rng: np.random.Generator) -> StyleSpec:
    return StyleSpec(**{name: float(np.clip(rng.normal(0, sd), -2 * sd, 2 * sd)) for name, sd in STYLE.items()})


def build(rng: np.random.Generator) -> BodySpec:
    scales: dict[str, Any] = {name: float(rng.uniform(0.88, 1.12)) for name in BUILD}
    return BodySpec(stature_m=float(rng.uniform(1.6, 1.9)), **scales)


def scene(
    rng: np.random.Generator, view: View, body: BodySpec, how: StyleSpec, seed: int, variation: float = 1.0
) -> bed.Recorded:
    """A swing before a camera that stands within ±2° (SD), 0.9 to 1.15 of its distance, −15 to +20 cm of its height."""
    spec: GolferSpec = replace(bed.short_spec(), body=body, style=how, seed=seed, variation=variation)
    usual = bed.recorded(spec, view)
    camera = replace(
        usual.camera,
        yaw_deg=float(rng.normal(0, 2)),
        distance_m=usual.camera.distance_m * float(rng.uniform(0.9, 1.15)),
        height_m=usual.camera.height_m + float(rng.uniform(-0.15, 0.2)),
        offset_m=float(rng.normal(0, 0.08)),
    )
    return replace(usual, camera=camera)


def any_scene(rng: np.random.Generator, view: View, body: BodySpec | None, seed: int) -> bed.Recorded:
    """As ``scene`` with a new build, where ``body`` is None; builds that cannot reach the ball are drawn again."""
    while True:
        try:
            return scene(rng, view, body or build(rng), style(rng), seed)
        except InputError:
            continue


def true_lengths(recorded: bed.Recorded) -> dict[str, float]:
    """Segment → ln of its length in trunk lengths, as the landmarks lie in space."""
    points = space_track(recorded.motion, 60.0).points

    def middle(*names: str) -> FloatArray:
        return np.asarray(points[:, [INDEX[name] for name in names]].mean(axis=1), np.float64)

    def between(a: FloatArray, b: FloatArray) -> float:
        return float(np.median(np.linalg.norm(a - b, axis=1)))

    shoulders, ears = middle("left_shoulder", "right_shoulder"), middle("left_ear", "right_ear")
    trunk = between(shoulders, middle("left_hip", "right_hip"))
    result = {
        "shoulder_width": between(middle("left_shoulder"), middle("right_shoulder")),
        "hip_width": between(middle("left_hip"), middle("right_hip")),
        "neck": between(shoulders, ears),
        "head": between(middle("nose"), ears),
        **{name: between(middle(f"left_{a}"), middle(f"left_{b}")) for name, (a, b) in PAIRED.items()},
    }
    return {name: float(np.log(value / trunk)) for name, value in result.items()}


def found(recorded: bed.Recorded, seed: int) -> Swing:
    return bed.found_swing(recorded, bed.track_of(recorded, noise=NoiseSpec(), seed=seed))


@dataclass
class Readings:
    """Errors of ln(student ÷ reference) by segment."""

    errors: dict[str, list[float]] = field(default_factory=dict)
    truth: dict[str, list[float]] = field(default_factory=dict)
    absent: dict[str, int] = field(default_factory=dict)

    def add(self, one: bed.Recorded, other: bed.Recorded, mine: Swing, theirs: Swing) -> None:
        read = segment_lengths(mine).lengths, segment_lengths(theirs).lengths
        true = true_lengths(one), true_lengths(other)
        for name in SEGMENT_NAMES[1:]:
            if name not in read[0] or name not in read[1]:
                self.absent[name] = self.absent.get(name, 0) + 1
                continue
            truth = true[0][name] - true[1][name]
            self.truth.setdefault(name, []).append(truth)
            self.errors.setdefault(name, []).append(float(np.log(read[0][name] / read[1][name])) - truth)


def rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values else float("nan")


def joint_errors(student: Swing, reference: Swing, comparison: Comparison) -> FloatArray:
    """(T, 12) torso lengths: joints of two swings at matched times, both on their own feet and in their own size."""
    address, finish = student.positions.time("address"), student.positions.time("finish")
    assert address is not None
    assert finish is not None
    times = np.linspace(address, finish, 60)

    def poses(swing: Swing, at: FloatArray, still_s: float) -> FloatArray:
        joints = [INDEX[name] for name in JOINTS]

        def points(when: FloatArray) -> FloatArray:
            track = swing.pose
            flat = track.points[:, joints].reshape(len(track), -1)
            columns = [np.interp(when, track.time_s[np.isfinite(c)], c[np.isfinite(c)]) for c in flat.T]
            return np.stack(columns, axis=-1).reshape(len(when), -1, 2)

        still = np.median(points(np.linspace(still_s - 0.25, still_s, 12)), axis=0)
        feet = (still[5] + still[11]) / 2
        torso = float(np.hypot(*((still[0] + still[6] - still[3] - still[9]) / 2)))
        return np.asarray((points(at) - feet) / torso, np.float64)

    mapped = comparison.time_map.to_reference(times)
    apart = poses(student, times, address) - poses(reference, mapped, float(comparison.time_map.to_reference(address)))
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]), np.float64)


@dataclass
class Tally:
    """What the score says of pairs that do not differ in movement."""

    quiet: int = 0
    cells: int = 0
    clean_pairs: int = 0
    pairs: int = 0
    joints: list[float] = field(default_factory=list)
    multiples: list[float] = field(default_factory=list)

    def add(self, comparison: Comparison, student: Swing, reference: Swing) -> None:
        rows = [row for row in comparison.differences if row.words != "not scored"]
        alarms = len(bed.detected(comparison))
        prior = ScoreSettings().prior
        self.multiples += [float(np.hypot(*row.offset)) / prior(row.part, row.phase) for row in rows]
        self.cells += len(rows)
        self.quiet += len(rows) - alarms
        self.pairs += 1
        self.clean_pairs += alarms == 0
        self.joints.append(float(np.median(joint_errors(student, reference, comparison))))

    @property
    def row(self) -> str:
        return (
            f"{self.quiet / max(1, self.cells):.1%} | {self.clean_pairs} of {self.pairs} | "
            f"{rms(self.multiples):.2f} | {np.median(self.joints):.1%} | {np.percentile(self.joints, 90):.1%}"
        )


def scored(student: Swing, reference: Swing, fit: ReferenceFit | None) -> Comparison:
    # Aligned as filmed: the alignment does not know of the fit, as in the tool.
    time_map = align(student, reference)
    if fit is None:
        return score(student, reference, time_map)
    return score(student, fit.swing, time_map, fit_sd=fit.sd)


HEAD = (
    "| view | reference | cells without a difference | pairs without any | RMS offset, SDs of the part "
    "| joints, median | joints, 90 % of pairs |\n|---|---|---|---|---|---|---|"
)


def reading_table(view: View, n: int, rng: np.random.Generator) -> list[str]:
    readings = Readings()
    for i in range(n):
        one, other = any_scene(rng, view, None, 100 + i), any_scene(rng, view, BodySpec(), 500 + i)
        readings.add(one, other, found(one, 2 * i), found(other, 2 * i + 1))
    lines = [
        f"\n{VIEW_WORDS[view].capitalize()}, {n} pairs:\n",
        "| segment | true differences, SD | error, RMS | bias | SD in the settings | not read |",
        "|---|---|---|---|---|---|",
    ]
    for name in READINGS[view]:
        errors = readings.errors.get(name, [])
        lines.append(
            f"| {segment_words(name)} | {np.std(readings.truth.get(name, [0.0])):.1%} | {rms(errors):.1%} | "
            f"{np.mean(errors or [np.nan]):+.1%} | {READINGS[view][name].sd:.1%} | {readings.absent.get(name, 0)} |"
        )
    return lines


def other_builds(view: View, n: int, rng: np.random.Generator) -> list[str]:
    before, blind, after = Tally(), Tally(), Tally()
    for i in range(n):
        # One movement, two builds, two cameras.
        one = None
        while one is None:
            try:
                one = scene(rng, view, build(rng), StyleSpec(), 0, 0.0)
            except InputError:
                continue
        other = scene(rng, view, BodySpec(), StyleSpec(), 0, 0.0)
        student, reference = found(one, 1000 + 2 * i), found(other, 1001 + 2 * i)
        fit = fit_in_picture(reference, student)
        before.add(scored(student, reference, None), student, reference)
        blind.add(scored(student, fit.swing, None), student, fit.swing)
        after.add(scored(student, reference, fit), student, fit.swing)
    rows = (("as filmed", before), ("fitted, its uncertainty left out of the test", blind), ("fitted", after))
    return [f"| {VIEW_WORDS[view]} | {name} | {tally.row} |" for name, tally in rows]


def same_players(view: View, n: int, rng: np.random.Generator) -> tuple[list[str], str]:
    plain, fitted, factors = Tally(), Tally(), []
    for i in range(n):
        how = style(rng)
        one, other = (scene(rng, view, BodySpec(), how, 3000 + 2 * i + k) for k in (0, 1))
        student, reference = found(one, 4000 + 2 * i), found(other, 4001 + 2 * i)
        fit = fit_in_picture(reference, student)
        plain.add(scored(student, reference, None), student, reference)
        fitted.add(scored(student, reference, fit), student, fit.swing)
        factors.append([fit.factors[name] for name in READINGS[view]])
    moved = np.abs(np.log(np.array(factors)))
    rows = [
        f"| {VIEW_WORDS[view]} | {name} | {tally.row} |" for name, tally in (("as filmed", plain), ("fitted", fitted))
    ]
    said = (
        f"{VIEW_WORDS[view].capitalize()}: {np.mean(moved == 0):.0%} of the lengths were left alone; the largest "
        f"change was {np.max(np.expm1(moved)):.1%}, the mean {np.mean(moved):.2%}."
    )
    return rows, said


def rendered_table(folder: Path, filmed: Path | None) -> list[str]:
    """SD of the readings over players of one build in rendered clips, × √2 as for a ratio of two."""
    import positions_synthetic as clips
    from scipy.stats import chi2

    from overlay.clean import clean
    from overlay.pose import load_track
    from overlay.positions import find_swings

    errors: dict[tuple[str, str], dict[str, list[float]]] = {}

    def add(view: str, player: str, swing: Swing, motion: Motion) -> None:
        truth = true_lengths(bed.Recorded(motion, CameraSpec.for_motion(motion, view), view))  # type: ignore[arg-type]
        for name, value in segment_lengths(swing).lengths.items():
            if name in truth:
                errors.setdefault((view, name), {}).setdefault(player, []).append(float(np.log(value)) - truth[name])

    for path in sorted(folder.glob("*-60.npz")) + sorted(folder.glob("*-30.npz")):
        view, hand, body, tempo, seed, _ = path.stem.split("-")
        swings = find_swings(clean(load_track(path).track), None, view=view, handedness=hand)  # type: ignore[arg-type]
        add(view, path.stem.rpartition("-")[0], swings[0], clips.Case(view, hand, body, tempo, int(seed)).motion())
    for view, swing, motion, name in filmed_swings(filmed, "tune") if filmed else ():
        add(view, name, swing, motion)
    players = {view: len(errors.get((view, "shank"), {})) for view in VIEWS}
    lines = [
        "\n## On rendered clips\n",
        "The pose model on rendered clips of players of one build ("
        + ", ".join(f"{VIEW_WORDS[view]} {n}" for view, n in players.items())
        + " players). What all share — the pose model puts some joints elsewhere than the table of segments does — "
        "cancels in a ratio. The settings hold the upper end of the 80 % interval of the SD of a ratio.\n",
        "| segment | down the line: bias | SD of a ratio | upper end | face on: bias | SD of a ratio | upper end |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in READINGS["dtl"]:
        cells = []
        for view in VIEWS:
            values = [float(np.mean(own)) for own in errors.get((view, name), {}).values()]
            n = len(values)
            if n < 3:
                cells.append("– | – | –")
                continue
            spread = float(np.std(values, ddof=1)) * 2**0.5
            upper = spread * float(np.sqrt((n - 1) / chi2.ppf(0.1, n - 1)))
            cells.append(f"{np.mean(values):+.1%} | {spread:.1%} | {upper:.1%}")
        lines.append(f"| {segment_words(name)} | {' | '.join(cells)} |")
    return lines


def filmed_swings(folder: Path, name: str) -> Iterator[tuple[View, Swing, Motion, str]]:
    """View, swing, motion and name of the rendered clips of a set, as the tool inspects them."""
    import filmed_clips

    from overlay.pipeline import inspect_clip

    for path in sorted(folder.glob(f"{name}-*.mp4")):
        view: View = "dtl" if "-dtl-" in path.stem else "fo"
        swing = inspect_clip(path).swings[0]
        if swing.view == view:
            yield view, swing, filmed_clips.saved(path).motion(), path.stem


def filmed_table(folder: Path) -> list[str]:
    """What a fit changes between players of one build on the clips that nothing was tuned on."""
    swings = {view: [s for own, s, _, _ in filmed_swings(folder, "test") if own == view] for view in VIEWS}
    lines = [
        "\n## False changes on test clips\n",
        f"{' and '.join(f'{len(own)} {VIEW_WORDS[view]}' for view, own in swings.items())} rendered players of one "
        "build, each fitted to each other of his view: every change is false. RMS of the natural logarithm of the "
        "factor.\n",
        "| segment | " + " | ".join(f"{VIEW_WORDS[view]} | left alone" for view in VIEWS) + " |",
        "|---|---|---|---|---|",
    ]
    factors = {
        view: [fit_in_picture(a, b).factors for a, b in itertools.permutations(own, 2)] for view, own in swings.items()
    }
    for name in READINGS["dtl"]:
        cells = []
        for view in VIEWS:
            logs = np.log([each[name] for each in factors[view]] or [1.0])
            cells.append(f"{rms(list(logs)):.1%} | {np.mean(logs == 0):.0%}")
        lines.append(f"| {segment_words(name)} | {' | '.join(cells)} |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few pairs, nothing is written")
    parser.add_argument("--tracks", type=Path, help="folder of positions_synthetic.py")
    parser.add_argument("--filmed", type=Path, help="folder of filmed_clips.py")
    wanted = parser.parse_args()
    n = 5 if wanted.quick else 40
    tables: list[list[str]] = [[], [], []]
    said: list[str] = []
    for number, view in enumerate(VIEWS):
        rng = np.random.default_rng([11, number])
        tables[0] += reading_table(view, n, rng)
        tables[1] += other_builds(view, n, rng)
        rows, sentence = same_players(view, n, rng)
        tables[2] += rows
        said.append(sentence)
    lines = [
        "# Fitting a clip's reference in the picture",
        "",
        f"Written by `studies/flat_fit.py`. {(__doc__ or '').split(chr(10) * 2)[2]}",
        "",
        "\n".join((__doc__ or "").split(chr(10) * 2)[3:4]),
        "\n## Reading",
        *tables[0],
        "\n## One movement, two builds\n",
        HEAD,
        *tables[1],
        f"\n{n} pairs a view. Joints: median distance in the picture from address to finish, torso lengths at address.",
        "\n## One player, two swings\n",
        HEAD,
        *tables[2],
        "",
        *said,
        *(rendered_table(wanted.tracks, wanted.filmed) if wanted.tracks else []),
        *(filmed_table(wanted.filmed) if wanted.tracks and wanted.filmed else []),
        "",
    ]
    if not wanted.tracks and OUT.exists():
        # The runs through pictures are not made again each time: their table stays.
        _, title, rendered = OUT.read_text(encoding="utf-8").partition("\n## On rendered clips\n")
        lines += [title.lstrip("\n") + rendered.rstrip("\n"), ""] if title else []
    text = "\n".join(lines)
    print(text)
    if not wanted.quick:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
