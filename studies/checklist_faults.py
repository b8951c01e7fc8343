"""Whether the checklist names a planted fault's row first, and keeps silent when there is none.

    python studies/checklist_faults.py [--seeds 20] [--quick]
    python studies/checklist_faults.py --rendered FOLDER

Each fault of the synthetic golfer, at three sizes, is filmed in the view whose rows look at it. Twenty players, each
with a body, a club and a style of his own, swing with the usual variation from swing to swing. What the tool gets is
the true joints with the errors of a pose model (``NoiseSpec``) and the true shaft with the errors that the shaft
tracker makes on rendered clips: hidden behind the body or seen too short, runs of frames without a confident angle, a
little angle error, an end that fades, one confident frame in two hundred wrong. Everything after that is the tool's
own: cleaning, positions, club and strike joined in, guide lines, measures, checklist. The camera stands as advised,
give or take 5 cm and 2°.

First the swing is held against the default tolerances, then against a swing of the same player without the fault
(another swing: the variation differs; camera as before, give or take 2 cm and 0.5°).

``--rendered`` takes pose tracks of rendered clips from FOLDER, where ``score_planted_faults.py --rendered --tracks
FOLDER`` leaves them; what is missing is rendered and tracked. The clips are not kept, so rows that need the shaft are
not read from them. Then each gross fault is rendered once, and the whole clip goes through every stage.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import sys
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from overlay.checklist import ChecklistSpec, check_swing, load_checklist
from overlay.clean import clean
from overlay.data import Ball, Checklist, ClubState, ClubTrack, Measure, Position, Positions, Strike, StrikeClue, Swing
from overlay.errors import ContentError, InputError
from overlay.files import write_text
from overlay.golfer import (
    FAULTS,
    BodySpec,
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    TempoSpec,
    simulate,
    true_club,
    truth_track,
)
from overlay.guides import guide_lines
from overlay.kinematics import behind_bar
from overlay.measure import measure_swing
from overlay.positions import club_candidates, find_swings, refine, strike_candidates
from overlay.settings.checklist import MEASURES
from overlay.terms import POSITION_NAMES, View, words

sys.path.insert(0, str(Path(__file__).resolve().parent))
from positions_synthetic import TEMPI, drawn_style

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "checklist_faults.md"
SIZES = (0.5, 1.0, 2.0)
RATES_HZ = (60.0, 120.0, 30.0, 60.0)
BELONGS: dict[str, tuple[View, str]] = {
    "sway": ("fo", "body_back"),
    "reverse_spine": ("fo", "body_back"),
    "early_release": ("fo", "through"),
    "flat_shoulder_turn": ("dtl", "top"),
    "laid_off": ("dtl", "top"),
    "across_the_line": ("dtl", "top"),
    "over_the_top": ("dtl", "lead_arm_down"),
    "posture_loss": ("dtl", "release"),
}
"""Fault → the view and the row of the checklist that it belongs to."""
assert set(BELONGS) == set(FAULTS)


# --- players and what is seen of them -----------------------------------------------------------------------------


def player(seed: int) -> GolferSpec:
    """A player who can also swing with every fault at its large size."""
    rng = np.random.default_rng([seed, 55])
    while True:
        style = drawn_style(rng)
        back_s, down_s = TEMPI[str(rng.choice(list(TEMPI)))]
        spec = GolferSpec(
            body=BodySpec(stature_m=float(rng.uniform(1.58, 1.93))),
            tempo=TempoSpec(pre_s=0.9, backswing_s=back_s, downswing_s=down_s, relax_s=0.4, post_s=0.0, waggle=0.0),
            style=style,
            handedness="left" if rng.random() < 0.25 else "right",
            club="driver" if rng.random() < 0.4 else "mid_iron",
            seed=int(rng.integers(1 << 30)),
            variation=1.0,
        )
        try:
            for fault in FAULTS:
                simulate(dataclasses.replace(spec, faults={fault: max(SIZES)}))
        except InputError:
            continue
        return spec


@dataclass(frozen=True)
class Stand:
    """How the camera stands: metres beside its place, degrees round."""

    offset_m: float
    yaw_deg: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Stand:
        return cls(float(rng.normal(0.0, 0.05)), float(rng.normal(0.0, 2.0)))

    def again(self, rng: np.random.Generator) -> Stand:
        return Stand(self.offset_m + float(rng.normal(0.0, 0.02)), self.yaw_deg + float(rng.normal(0.0, 0.5)))

    def camera(self, motion: Motion, view: View) -> CameraSpec:
        # As wide as high: a club far across the line stays in the picture, as the filming check asks for.
        return CameraSpec.for_motion(motion, view, offset_m=self.offset_m, yaw_deg=self.yaw_deg, width_px=854)


def shaft_share_seen(motion: Motion, camera: CameraSpec, times: np.ndarray) -> np.ndarray:
    """(T,) share of the shaft that hands, arms, trunk, head and legs do not hide."""
    state = motion.state(times)
    along = np.linspace(0.08, 1.0, 14)[None, :, None]
    points = state["grip"][:, None] + along * (state["club_head"] - state["grip"])[:, None]
    hidden = np.zeros(points.shape[:2])
    bars = [("pelvis", "neck", 0.15), ("neck", "head", 0.12)]
    for side in ("left", "right"):
        bars += [(f"{side}_{a}", f"{side}_{b}", radius) for a, b, radius in LIMBS]
    for low, high, radius in bars:
        hidden = np.maximum(hidden, behind_bar(state[low], state[high], radius, points, camera.position))
    return np.asarray(1.0 - (hidden > 0.5).mean(axis=1))


LIMBS = (
    ("hip", "knee", 0.08),
    ("knee", "ankle", 0.06),
    ("shoulder", "elbow", 0.055),
    ("elbow", "wrist", 0.05),
    ("wrist", "hand", 0.05),
)


def tracked_club(motion: Motion, camera: CameraSpec, times: np.ndarray, torso_px: float, seed: int) -> ClubTrack:
    """The true shaft with the errors that the shaft tracker makes on the eight rendered clips for tuning.

    There no frame with less than 0.4 torso lengths of visible shaft carries a confident angle, half of those up to
    0.8 do, and 91 to 100 % of the others, with gaps of a frame or two; the angle is off by 0.2° (median) and 0.5–1.4°
    (95 %), by more than 10° in 0–2 %; the length is right, but in one frame of twelve the end of the shaft has faded.
    """
    rng = np.random.default_rng([seed, 77])
    true = true_club(motion, camera, times)
    n = len(times)
    step_s = float(np.median(np.diff(times)))
    turning = np.abs(np.gradient(np.unwrap(np.radians(true.angle_deg)), times)) * 180 / math.pi
    blur_deg = turning / 500  # a shutter of 1/500 s
    visible = true.length_px * shaft_share_seen(motion, camera, times) / torso_px
    scored = visible > rng.uniform(0.4, 0.8)
    scored &= rng.random(n) > np.clip(blur_deg / 30, 0.0, 0.3)
    for start in rng.uniform(times[0], times[-1], rng.poisson(0.03 * (times[-1] - times[0]) / 0.03)):
        scored &= (times < start) | (times > start + rng.exponential(0.02) + 0.5 * step_s)
    spread_deg = np.where(rng.random(n) < 0.15, 1.0, 0.25)
    angle = true.angle_deg + rng.normal(0.0, spread_deg) + rng.normal(0.0, 0.1 * blur_deg)
    wrong = rng.random(n) < 0.005
    angle = np.where(wrong, angle + rng.choice((-1, 1), n) * rng.uniform(10, 25, n), angle)
    length = true.length_px * rng.normal(1.0, 0.04, n)
    length = np.where(rng.random(n) < 0.08, length * rng.uniform(0.5, 0.95, n), length)
    grip = true.grip + rng.normal(0.0, 0.015 * torso_px, (n, 2))
    state: list[ClubState] = ["measured" if good else "interpolated" for good in scored]
    return ClubTrack(times, grip, angle, length, tuple(state), np.full(n, 0.3))


def seen(motion: Motion, view: View, stand: Stand, rate_hz: float, seed: int) -> Swing:
    """The swing as the tool would have it of a clip: pose, club and strike with their errors, positions found."""
    camera = stand.camera(motion, view)
    track = clean(truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=seed))
    swings = find_swings(track, None, view=view, handedness=motion.spec.handedness)
    true = motion.position_times
    swing = min(swings, key=lambda one: abs((one.positions.time("top") or 1e9) - true["top"]))
    times = swing.pose.time_s
    rng = np.random.default_rng([seed, 78])
    place = camera.project(motion.ball_rest) + rng.normal(0.0, 0.01 * swing.torso_px, 2)
    hit_s = true["impact"] + float(rng.normal(0.0, 0.25 / rate_hz))
    ball = Ball((float(place[0]), float(place[1])), 0.085 * swing.torso_px, 0.9)
    clue = StrikeClue("ball", hit_s, 0.3 / rate_hz)
    strike = Strike(hit_s, 0.3 / rate_hz, True, ball, (clue,), "The ball is gone.")
    club = tracked_club(motion, camera, times, swing.torso_px, seed)
    swing = dataclasses.replace(swing, club=club, strike=strike)
    return refine(swing, candidates=(*club_candidates(swing), *strike_candidates(swing)))


def exact(motion: Motion, view: View) -> tuple[Measure, ...]:
    """Measures of the true swing: no noise, true positions, true club, camera at its place."""
    camera = CameraSpec.for_motion(motion, view)
    track = truth_track(motion, camera, 240.0)
    times = motion.position_times
    positions = Positions(tuple(Position(name, times[name], 1.0, "marked", 0.0) for name in POSITION_NAMES))
    pose = track.between(times["address"] - 0.4, times["finish"] + 0.2)
    ball = tuple(float(v) for v in camera.project(motion.ball_rest))
    strike = Strike(times["impact"], 0.0, True, Ball((ball[0], ball[1]), 8.0, 1.0))
    swing = Swing(None, pose, view, 1.0, motion.spec.handedness, 1.0, positions, true_club(motion, camera, pose.time_s))
    swing = dataclasses.replace(swing, strike=strike)
    return measure_swing(swing, guide_lines(swing))


def measured(swing: Swing) -> tuple[Measure, ...]:
    return measure_swing(swing, guide_lines(swing))


# --- one case -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """What was said of one swing."""

    fault: str
    size: float
    view: View
    seed: int
    alone: Checklist
    against: Checklist
    moved: frozenset[int] = frozenset()
    """Rows that the fault truly moves by more than this player's own swings differ."""

    def first(self, compared: bool) -> int:
        """Row that was named first; 0 when nothing was."""
        check = (self.against if compared else self.alone).first.check
        return 0 if check is None else check.row

    def named(self, compared: bool) -> str:
        """Measure that was named first; "" when nothing was."""
        return (self.against if compared else self.alone).first.focus


def truly_moved(
    before: Sequence[Measure], plain: GolferSpec, faults: Mapping[str, float], view: View, spec: ChecklistSpec
) -> frozenset[int]:
    """Rows with a measure whose true value the fault moves beyond 1.96·√2 of the spread from swing to swing."""
    after = {m.name: m.value for m in exact(simulate(dataclasses.replace(plain, faults=faults)), view)}
    change = {m.name: abs(after[m.name] - m.value) for m in before}
    return frozenset(
        row.number
        for row in spec.rows
        for part in row.measures
        if change.get(part.name, math.nan) > 1.96 * math.sqrt(2) * MEASURES[part.name].repeat_sd
    )


def run(
    seeds: Sequence[int], sizes: Sequence[float], spec: ChecklistSpec, *, plain_swings: int = 3, elsewhere: bool = True
) -> list[Case]:
    """Every fault in its own view, the largest in the other view too, and swings without a fault in both."""
    cases: list[Case] = []
    started = time.monotonic()
    for seed in seeds:
        plain = player(seed)
        rng = np.random.default_rng([seed, 56])
        rate_hz = RATES_HZ[seed % len(RATES_HZ)]
        jobs: dict[View, list[tuple[str, float]]] = {
            "dtl": [("", 0.0)] * plain_swings,
            "fo": [("", 0.0)] * plain_swings,
        }
        for fault, (own, _) in BELONGS.items():
            jobs[own] += [(fault, size) for size in sizes]
            if elsewhere:
                jobs["fo" if own == "dtl" else "dtl"].append((fault, max(sizes)))
        for view, wanted in jobs.items():
            stand = Stand.drawn(rng)
            best = dataclasses.replace(plain, seed=plain.seed + 1)
            before = exact(simulate(plain), view)
            reference = measured(seen(simulate(best), view, stand.again(rng), rate_hz, 100_000 + seed))
            for number, (fault, size) in enumerate(wanted):
                faults = {fault: size} if fault else {}
                golfer = dataclasses.replace(plain, faults=faults, seed=plain.seed + 2 + number)
                try:
                    swing = seen(simulate(golfer), view, stand, rate_hz, 1000 * seed + number)
                except (InputError, ContentError) as error:
                    print(f"  left out: {fault} {size} seed {seed}: {error.message}", flush=True)
                    continue
                mine = measured(swing)
                alone, against = check_swing(mine, view, spec), check_swing(mine, view, spec, reference=reference)
                moved = truly_moved(before, plain, faults, view, spec) if fault else frozenset()
                cases.append(Case(fault, size, view, seed, alone, against, moved))
        print(f"  player {seed}: {len(cases)} swings, {time.monotonic() - started:.0f} s", flush=True)
    return cases


# --- the page -----------------------------------------------------------------------------------------------------


def told(cases: Sequence[Case], compared: bool, leave: int = -1) -> str:
    """What was named first instead, by measure."""
    said = Counter(case.named(compared) or "nothing" for case in cases if case.first(compared) != leave)
    return ", ".join(f"{name if name == 'nothing' else words(name)} {n}" for name, n in said.most_common(4))


def silent_lines(cases: Sequence[Case]) -> list[str]:
    lines = [
        "| | view | swings | nothing to work on | said instead |",
        "|---|---|---|---|---|",
    ]
    for compared in (False, True):
        for view in ("dtl", "fo"):
            some = [case for case in cases if not case.fault and case.view == view]
            quiet = sum(case.first(compared) == 0 for case in some)
            head = "against a reference" if compared else "against the tolerances"
            share = f"{quiet / max(1, len(some)):.0%}"
            lines.append(f"| {head} | {view} | {len(some)} | {quiet} ({share}) | {told(some, compared, 0) or '–'} |")
    return lines


def fault_lines(cases: Sequence[Case], sizes: Sequence[float], spec: ChecklistSpec, compared: bool) -> list[str]:
    number = {row.key: row.number for row in spec.rows}
    lines = [
        "| fault | view | row | size | its row first | an earlier row, truly moved too | nothing | named instead |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for fault, (view, key) in BELONGS.items():
        row = number[key]
        for size in sizes:
            some = [case for case in cases if (case.fault, case.size, case.view) == (fault, size, view)]
            right = sum(case.first(compared) == row for case in some)
            earlier = sum(0 < case.first(compared) < row and case.first(compared) in case.moved for case in some)
            quiet = sum(case.first(compared) == 0 for case in some)
            lines.append(
                f"| {words(fault)} | {view} | {row} | {size:g} | {right}/{len(some)} | {earlier} | {quiet} |"
                f" {told(some, compared, row) or '–'} |"
            )
    return lines


def elsewhere_lines(cases: Sequence[Case]) -> list[str]:
    lines = ["| fault | view | against the tolerances | against a reference |", "|---|---|---|---|"]
    for fault, (own, _) in BELONGS.items():
        some = [case for case in cases if case.fault == fault and case.view != own]
        if some:
            lines.append(f"| {words(fault)} | {some[0].view} | {told(some, False)} | {told(some, True)} |")
    return lines


def moved_lines(cases: Sequence[Case], sizes: Sequence[float], spec: ChecklistSpec) -> list[str]:
    number = {row.key: row.number for row in spec.rows}
    lines = ["| fault | view | its row | rows it truly moves, size " + ", ".join(f"{size:g}" for size in sizes) + " |"]
    lines.append("|---|---|---|---|")
    for fault, (view, key) in BELONGS.items():
        parts = []
        for size in sizes:
            some = [case for case in cases if (case.fault, case.size, case.view) == (fault, size, view)]
            count = Counter(row for case in some for row in case.moved)
            parts.append(", ".join(f"row {row} in {n}" for row, n in sorted(count.items())) or "none")
        lines.append(f"| {words(fault)} | {view} | {number[key]} | {'; '.join(parts)} |")
    return lines


def read_lines(cases: Sequence[Case]) -> list[str]:
    """How often each measure could be read, and how far two swings of one player read apart, in its own noise."""
    lines = [
        "| measure | view | read | differences from the reference, SD in units of the told noise |",
        "|---|---|---|---|",
    ]
    for name, kind in MEASURES.items():
        checks = [
            check
            for case in cases
            if not case.fault and case.view == kind.view
            for check in case.against.checks
            if check.measure.name == name
        ]
        ratios = [
            check.difference.value / ((check.difference.interval[1] - check.difference.value) / 1.96)
            for check in checks
            if check.difference is not None and check.difference.valid and check.difference.interval is not None
        ]
        spread = f"{math.sqrt(float(np.mean(np.square(ratios)))):.2f}" if ratios else "–"
        read = sum(check.measure.valid for check in checks)
        lines.append(f"| {words(name)} | {kind.view} | {read}/{len(checks)} | {spread} |")
    return lines


def verdict_line(cases: Sequence[Case], spec: ChecklistSpec) -> list[str]:
    """Which of the figures asked for are reached."""
    number = {row.key: row.number for row in spec.rows}
    large = max(SIZES)
    lines = []
    for compared, head in ((False, "Against the tolerances"), (True, "Against a reference")):
        missed, reached = [], []
        for fault, (view, key) in BELONGS.items():
            some = [case for case in cases if (case.fault, case.size, case.view) == (fault, large, view)]
            right = [case.first(compared) == number[key] for case in some]
            moved = [0 < case.first(compared) < number[key] and case.first(compared) in case.moved for case in some]
            share, both = (sum(counted) / max(1, len(some)) for counted in (right, np.logical_or(right, moved)))
            told = f"{words(fault)} {share:.0%}"
            if both > share:
                told += f" ({both:.0%} with earlier rows that it truly moves too)"
            (reached if share >= 0.9 else missed).append(told)
        quiet = [case for case in cases if not case.fault]
        silent = sum(case.first(compared) == 0 for case in quiet) / max(1, len(quiet))
        lines.append(
            f"- {head}, size {large:g}, its row is the first named in 90 % and more: {', '.join(reached) or 'none'}."
            f" In fewer: {', '.join(missed) or 'none'}. No fault: nothing to work on in {silent:.0%} of {len(quiet)}."
        )
    return lines


def page(cases: Sequence[Case], sizes: Sequence[float], spec: ChecklistSpec, command: str) -> str:
    lines = [
        "# The checklist on planted faults",
        "",
        *(__doc__ or "").split("\n\n", 2)[2].split("\n\n``--rendered``")[0].strip().splitlines(),
        "",
        f"Made by `{command}`: {len({case.seed for case in cases})} players, {len(cases)} swings.",
        "",
        *verdict_line(cases, spec),
        "",
        "## No fault",
        "",
        *silent_lines(cases),
        "",
        "## A fault, against the default tolerances",
        "",
        *fault_lines(cases, sizes, spec, False),
        "",
        "## A fault, against a swing of the same player without it",
        "",
        *fault_lines(cases, sizes, spec, True),
        "",
        "## Which rows a fault truly moves",
        "",
        "From the exact swing (no noise, true positions, true shaft, camera at its place), with and without the fault,",
        "the rest of the swing the same: rows with a measure that moves by more than two swings of one player differ",
        "in 95 % of cases.",
        "",
        *moved_lines(cases, sizes, spec),
        "",
        f"## In the view whose rows do not look at it, size {max(sizes):g}",
        "",
        *elsewhere_lines(cases),
        "",
        "## What could be read of the swings without a fault",
        "",
        "Last column: 1 where the told noise is exactly what two swings of one player differ by; less where it is told",
        "too large, more where too small.",
        "",
        *read_lines(cases),
    ]
    return "\n".join(lines) + "\n"


# --- through pictures and the pose model ---------------------------------------------------------------------------

RENDERED: tuple[tuple[str, float], ...] = (("sway", 1.0), ("reverse_spine", 1.0), ("posture_loss", 1.0))
"""Faults whose row is read from the body alone, at the size that ``score_planted_faults.py`` renders."""
REFERENCES = range(2, 6)


def rendered(folder: Path, spec: ChecklistSpec) -> list[str]:
    """Renderings with and without a fault, each with its own looks, against the tolerances and against each other."""
    import score_bed

    def read(view: View, number: int, fault: str = "", size: float = 1.0) -> tuple[Measure, ...]:
        track = clean(score_bed.rendered_track(view, number, folder, fault, size))
        return measured(find_swings(track, None, view=view, handedness="right")[0])

    plain: dict[View, list[tuple[Measure, ...]]] = {
        view: [read(view, number) for number in REFERENCES] for view in ("dtl", "fo")
    }
    lines = [
        "| fault | size | view | row | against the tolerances | against plain renderings |",
        "|---|---|---|---|---|---|",
    ]
    number = {row.key: row.number for row in spec.rows}
    cases = [(fault, size, *BELONGS[fault], [read(BELONGS[fault][0], 1, fault, size)]) for fault, size in RENDERED]
    cases += [("none", 0.0, view, "", swings) for view, swings in plain.items()]
    for fault, size, view, key, swings in cases:
        alone = Counter(check_swing(mine, view, spec).first.focus or "nothing" for mine in swings)
        against = Counter(
            check_swing(mine, view, spec, reference=other).first.focus or "nothing"
            for mine in swings
            for other in plain[view]
            if other is not mine
        )
        said = [", ".join(f"{words(name)} {n}" for name, n in counts.most_common()) for counts in (alone, against)]
        lines.append(f"| {words(fault)} | {size:g} | {view} | {number.get(key, '–')} | {said[0]} | {said[1]} |")
    return lines


FILMED = (
    "over_the_top",
    "early_release",
    "laid_off",
    "across_the_line",
    "sway",
    "reverse_spine",
    "flat_shoulder_turn",
    "posture_loss",
)
FILMED_LOOKS = ("rowan", "mara", "idris", "tobin", "wren")


def filmed(folder: Path, spec: ChecklistSpec) -> list[str]:
    """Each gross fault rendered once and taken through every stage, club, strike and filming check included."""
    from overlay.golfer import render_clip
    from overlay.pipeline import inspect_clip, look_closer

    tempo = TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0, waggle=0.0)
    golfer = GolferSpec(tempo=tempo, variation=1.0)
    number = {row.key: row.number for row in spec.rows}
    jobs: list[tuple[str, View]] = [("", "fo"), ("", "dtl")]
    jobs += [(fault, BELONGS[fault][0]) for fault in FILMED]
    references: dict[View, tuple[Measure, ...]] = {}
    lines = [
        "| fault, size 2 | view | row | against the tolerances | against the plain swing |",
        "|---|---|---|---|---|",
    ]
    for i, (fault, view) in enumerate(jobs):
        faults = {fault: max(SIZES)} if fault else {}
        clip = folder / f"{view}-{fault or 'plain'}.mp4"
        if not clip.exists():
            motion = simulate(dataclasses.replace(golfer, seed=60 + i, faults=faults))
            camera = CameraSpec.for_motion(motion, view, width_px=640, height_px=640)
            render_clip(motion, camera, clip, rate_hz=60.0, shutter_s=1 / 1000, look=FILMED_LOOKS[i % 5], seed=i)
        looked = look_closer(inspect_clip(clip))
        swing = looked.swings[-1]
        closer = looked.closer[swing.swing_number]
        references.setdefault(view, closer.measures)
        alone = check_swing(closer.measures, swing.view, spec, filming=closer.filming).first.focus
        against = check_swing(closer.measures, swing.view, spec, reference=references[view]).first.focus
        row = number[BELONGS[fault][1]] if fault else "–"
        beside = (words(against) or "nothing") if fault else "–"
        lines.append(f"| {words(fault) or 'none'} | {view} | {row} | {words(alone) or 'nothing'} | {beside} |")
        print(lines[-1], flush=True)
    return lines


def rendered_page(lines: Sequence[str], whole: Sequence[str]) -> str:
    return "\n".join(
        [
            "# The checklist on rendered clips",
            "",
            "Made by `python studies/checklist_faults.py --rendered FOLDER`: rendered clips through the pose model,",
            "cleaning, positions, guide lines, measures and checklist; one clip a fault, four plain ones a view, each",
            "with its own looks and light. The clips are not kept, so rows that need the shaft are not read.",
            "",
            *lines,
            "",
            "Whole clips, one each, 640 × 640 at 60 frames/s, another swing of the player in every clip: pose, club,",
            "strike, filming check and all else as for a user's clip. What is named first:",
            "",
            *whole,
            "",
        ]
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=20, help="players")
    parser.add_argument("--first", type=int, default=0, help="number of the first player; the page uses 0")
    parser.add_argument("--quick", action="store_true", help="two players, the large size; nothing is written")
    parser.add_argument("--rendered", type=Path, metavar="FOLDER", help="through pictures and the pose model")
    options = parser.parse_args()
    spec = load_checklist()
    if options.rendered:
        options.rendered.mkdir(parents=True, exist_ok=True)
        text = rendered_page(rendered(options.rendered, spec), filmed(options.rendered, spec))
        print(text)
        if not options.quick:
            write_text(OUT.with_name("checklist_faults_rendered.md"), text)
        return
    sizes = SIZES[-1:] if options.quick else SIZES
    seeds = range(options.first, options.first + (2 if options.quick else options.seeds))
    cases = run(seeds, sizes, spec, plain_swings=1 if options.quick else 3)
    text = page(cases, sizes, spec, "python studies/checklist_faults.py")
    print(text)
    if not options.quick and options.first == 0:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
