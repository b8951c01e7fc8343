"""How surely two views of one swing are recognised, what is gained by both, and how near their measures come to space.

    python studies/pair_views.py [--players N] [--quick] [--out FILE]        joints, shaft and sounds with real errors
    python studies/pair_views.py --filmed FOLDER [--set test|tune] [--out FILE]   clips of filmed_clips.py, both views

Without ``--filmed``: players who differ in body, style, fault, club and hand are seen by two cameras that stand a
hand's breadth, a few degrees and decimetres off; joints carry the errors of a pose model (``NoiseSpec``), the shaft
those of a tracker (``measures_truth.noisy_club``), the clips start apart and run at 30 to 240 frames a second. "Another
swing" is the same player's next one (``variation`` 1). Two phones' sounds share the strike and other people's strikes,
each with its own way through the air, microphone, gain, wind and murmur.

With ``--filmed``: each clip of filmed_clips.py gets the same swing filmed from the other side (written to
FOLDER/pairs), and both go through the whole pipeline.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from overlay.arrays import FloatArray
from overlay.clean import clean
from overlay.data import FilmingReport, Swing, ViewPair
from overlay.errors import OverlayError
from overlay.golfer import CameraSpec, Motion, NoiseSpec, SoundSpec, range_sound, simulate, truth_track
from overlay.golfer.sound import strike_wave
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX
from overlay.pair import ClipFacts, PairSettings, find_pairs, fused_positions, match_sounds, pair_views
from overlay.pair.measures import DEFINITIONS
from overlay.pair.space import JOINTS
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES, words
from overlay.video import Sound

sys.path.insert(0, str(Path(__file__).resolve().parent))
from measures_truth import _completed, player

FEW = dataclasses.replace(PairSettings(), space=dataclasses.replace(PairSettings().space, draws=8))
"""For what does not look at the measures."""
DOCS = Path(__file__).resolve().parent.parent / "docs" / "studies"
RATES = (30.0, 60.0, 60.0, 120.0, 240.0)


# --- the truth in space -----------------------------------------------------------------------------------------


def in_space(motion: Motion, time_s: float) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Points of a right-hander in torso lengths, origin midway between the ankles at address; and the trail → lead
    directions of chest and pelvis."""
    address, _, _ = _raw(motion, motion.position_times["address"])
    points, chest, pelvis = _raw(motion, time_s)

    def middle(joint: str) -> FloatArray:
        return np.asarray((address[f"lead_{joint}"] + address[f"trail_{joint}"]) / 2, np.float64)

    torso = float(np.linalg.norm(middle("shoulder") - middle("hip")))
    origin = middle("ankle")
    return {name: (place - origin) / torso for name, place in points.items()}, {"chest": chest, "pelvis": pelvis}


def _raw(motion: Motion, time_s: float) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
    state = motion.state(np.array([time_s]))
    places = landmark_points(state, motion.spec.body.stature_m)[0]
    left = motion.spec.handedness == "left"
    flip = np.array([-1.0 if left else 1.0, 1.0, 1.0])
    sides = {"lead": "right" if left else "left", "trail": "left" if left else "right"}
    points = {}
    for name in JOINTS:
        side, joint = name.split("_")
        points[name] = places[INDEX[f"{sides[side]}_{joint}"]] * flip
    points["hands"] = (points["lead_wrist"] + points["trail_wrist"]) / 2
    points["grip"], points["club_head"] = state["grip"][0] * flip, state["club_head"][0] * flip
    sign = 1.0 if left else -1.0
    return points, sign * state["thorax_axes"][0, :, 0] * flip, sign * state["pelvis_axes"][0, :, 0] * flip


def truth(motion: Motion) -> dict[str, float]:
    """Every measure of both views, by its own formula on the true points."""
    at = motion.position_times

    def space(name: str) -> dict[str, FloatArray]:
        return {point: place[None] for point, place in in_space(motion, at[name])[0].items()}

    address = space("address")
    return {
        definition.name: float(definition.formula(space(definition.position), address)[0]) for definition in DEFINITIONS
    }


# --- pairs with realistic errors --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """Two views as they would reach the pairing, and the truth: the face-on clip's clock is ``ahead_s`` ahead."""

    name: str
    dtl: Swing
    fo: Swing
    motion: Motion
    fo_motion: Motion
    ahead_s: float
    filming: tuple[FilmingReport | None, FilmingReport | None] = (None, None)

    @property
    def same(self) -> bool:
        return self.motion is self.fo_motion


def on_clock(swing: Swing, ahead_s: float, slow: float = 1.0) -> Swing:
    """The swing with its clock set ahead, and played slower."""

    def moved(time_s: Any) -> Any:
        return (time_s + ahead_s) * slow

    found = tuple(
        dataclasses.replace(
            position,
            time_s=float(moved(position.time_s)),
            sd_s=None if position.sd_s is None else position.sd_s * slow,
        )
        for position in swing.positions.found
    )
    club = swing.club
    motion = swing.camera_motion
    return dataclasses.replace(
        swing,
        pose=dataclasses.replace(swing.pose, time_s=moved(swing.pose.time_s)),
        positions=dataclasses.replace(swing.positions, found=found),
        club=None if club is None else dataclasses.replace(club, time_s=moved(club.time_s)),
        camera_motion=None if motion is None else dataclasses.replace(motion, time_s=moved(motion.time_s)),
        quality={**swing.quality, "slow_factor_estimate": 1.0 if slow == 1.0 else slow * 0.93},
    )


def seen_from(motion: Motion, view: str, rng: np.random.Generator, rate_hz: float, seed: int) -> Swing:
    """One view of a swing with the errors of camera, pose model and club tracker."""
    camera = CameraSpec.for_motion(
        motion,
        view,
        offset_m=float(rng.normal(0.0, 0.05)),
        yaw_deg=float(rng.normal(0.0, 2.5)),
        roll_deg=float(rng.normal(0.0, 0.5)),
        height_m=float(np.clip(rng.normal(0.76, 0.06), 0.5, 1.1)),
        distance_m=float(rng.normal(4.0, 0.3)),
        shake_deg=0.12 if rng.random() < 0.2 else 0.0,
        shake_seed=seed,
    )
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=seed)
    swing = find_swings(clean(track), view=view, handedness=motion.spec.handedness)[0]  # type: ignore[arg-type]
    return _completed(swing, motion, camera, seed, rng)


def cases(players: int, same: bool, first: int = 0) -> Iterator[Case]:
    """Both views of one swing, or of one swing and the player's next one."""
    for number in range(first, first + players):
        motion = player(number)
        other = motion if same else simulate(dataclasses.replace(motion.spec, seed=motion.spec.seed + 1))
        rng = np.random.default_rng([number, 991])
        rates = float(rng.choice(RATES)), float(rng.choice(RATES))
        ahead = float(rng.uniform(-0.3, 0.3))
        try:
            dtl = seen_from(motion, "dtl", rng, rates[0], 2 * number)
            fo = seen_from(other, "fo", rng, rates[1], 2 * number + 1)
        except OverlayError:
            continue
        yield Case(f"{number}-{rates[0]:.0f}-{rates[1]:.0f}", dtl, on_clock(fo, ahead), motion, other, ahead)


# --- two phones' sounds -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Other:
    """Another player's strike: when, where (m from the ball), and which burst of noise."""

    time_s: float
    place: tuple[float, float]
    seed: int


def others_of(rng: np.random.Generator, stop_s: float, per_s: float) -> tuple[Other, ...]:
    found = []
    for _ in range(rng.poisson(per_s * stop_s)):
        away, angle = float(rng.uniform(6.0, 40.0)), float(rng.uniform(0.0, 2 * math.pi))
        found.append(
            Other(
                float(rng.uniform(0.0, stop_s)),
                (away * math.cos(angle), away * math.sin(angle)),
                int(rng.integers(1 << 20)),
            )
        )
    return tuple(found)


def heard(
    rng: np.random.Generator,
    others: tuple[Other, ...],
    strike_s: float,
    strike_seed: int,
    place: tuple[float, float],
    start_s: float,
    stop_s: float,
    rate: int,
) -> Sound:
    """What one phone records: bursts from their places, its own microphone, gain, echoes, wind and murmur."""
    from scipy.signal import lfilter

    spec = SoundSpec(
        rate=rate,
        strike=0.0,
        others_per_s=0.0,
        seed=int(rng.integers(1 << 30)),
        wind=float(rng.uniform(0.2, 1.5)),
        murmur=float(rng.uniform(0.3, 1.5)),
    )
    out = range_sound(spec, start_s=start_s, stop_s=stop_s).samples.astype(np.float64)
    bursts = [(strike_s, (0.0, 0.0), strike_seed), *((other.time_s, other.place, other.seed) for other in others)]
    for time_s, source, seed in bursts:
        away = max(math.dist(source, place), 0.5)
        wave = 1.2 / away * _burst(rate, seed)
        if away > 5.0:
            a = math.exp(-2 * math.pi * min(12_000.0 / (1.0 + away / 15.0), 0.49 * rate) / rate)
            wave = np.asarray(lfilter([1.0 - a], [1.0, -a], wave))
        first = round((time_s + away / 343.0 - start_s) * rate)
        low, high = max(0, first), min(len(out), first + len(wave))
        if high > low:
            out[low:high] += wave[low - first : high - first]
    out = np.asarray(lfilter([1.0, float(rng.uniform(-0.5, 0.5))], [1.0], out * 10 ** (rng.uniform(-12, 6) / 20)))
    for _ in range(3):
        late, size = int(rng.uniform(0.0005, 0.006) * rate), float(rng.uniform(-0.4, 0.4))
        echo = np.zeros_like(out)
        echo[late:] = out[:-late]
        out = out + size * echo
    return Sound(np.clip(out, -1, 1).astype(np.float32), float(rate), 0.0)


def _burst(rate: int, seed: int) -> FloatArray:
    """One strike as air carries it, the same for every phone."""
    from scipy.signal import resample_poly

    share = Fraction(rate, 192_000)
    wave = strike_wave(192_000, "driver" if seed % 2 else "mid_iron", seed)
    return np.asarray(resample_poly(wave, share.numerator, share.denominator), np.float64)


def two_phones(
    number: int, same: bool, per_s: float, rates: tuple[int, int] = (48_000, 44_100)
) -> tuple[Sound, Sound, tuple[float, float]]:
    """Both sounds and the strike on each clock; ``same``: of one strike, else of two on another occasion."""
    rng = np.random.default_rng([number, 5])
    strike = 20.0
    starts = [strike - float(rng.uniform(1.5, 2.2)) for _ in range(2)]
    places = (
        (-3.8 * float(rng.uniform(0.8, 1.2)), 0.3),
        (0.2, 4.2 * float(rng.uniform(0.8, 1.2))),
    )
    others = others_of(rng, 40.0, per_s)
    first = heard(rng, others, strike, number, places[0], starts[0], starts[0] + 3.5, rates[0])
    if not same:
        others = others_of(rng, 40.0, per_s)
    seed = number if same else number + 1000
    second = heard(rng, others, strike, seed, places[1], starts[1], starts[1] + 3.8, rates[1])
    return first, second, (strike - starts[0], strike - starts[1])


def sound_rows(trials: int) -> list[str]:
    rows = [
        "| other strikes a second | moments | offset error, median / p95 | said one (> 95 %) | said two (> 95 %) |",
        "|---|---|---|---|---|",
    ]
    limit = PairSettings().odds
    for per_s in (0.0, 0.3, 1.0):
        for same in (True, False):
            errors, odds = [], []
            for number in range(trials):
                first, second, strikes = two_phones(number, same, per_s)
                rng = np.random.default_rng([number, 6])
                expected = strikes[1] - strikes[0]
                found = match_sounds(
                    first,
                    second,
                    expected_s=expected + float(rng.normal(0.0, 0.01)),
                    expected_sd_s=0.01,
                    strikes_s=strikes,
                )
                odds.append(0.0 if found is None else found.odds)
                if found is not None:
                    errors.append(abs(found.offset_s - expected))
            said = np.mean(np.array(odds) >= limit), np.mean(np.array(odds) <= -limit)
            rows.append(
                f"| {per_s:g} | {'the same' if same else 'others'} | {_ms(errors)} | {said[0]:.0%} | {said[1]:.0%} |"
            )
    return rows


def _ms(errors: list[float]) -> str:
    if not errors:
        return "–"
    return f"{1000 * np.median(errors):.1f} / {1000 * np.percentile(errors, 95):.1f} ms"


# --- the figures ------------------------------------------------------------------------------------------------


@dataclass
class Tally:
    """What became of one measure."""

    unit: str
    errors: list[float] = field(default_factory=list)
    inside: list[bool] = field(default_factory=list)
    halves: list[float] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)


def tally(found: list[tuple[Case, ViewPair]]) -> dict[str, Tally]:
    table = {definition.name: Tally(definition.unit) for definition in DEFINITIONS}
    for case, pair in found:
        right = truth(case.motion)
        for measure in pair.measures:
            row = table[measure.name]
            if not measure.valid or measure.interval is None:
                row.reasons.append(measure.reason.split(":")[0])
                continue
            error = measure.value - right[measure.name]
            if row.unit == "deg":
                error = (error + 180.0) % 360.0 - 180.0
            low, high = measure.interval
            row.errors.append(error)
            row.inside.append(bool(low - measure.value <= -error <= high - measure.value))
            row.halves.append((high - low) / 2)
    return table


def measure_rows(table: dict[str, Tally]) -> list[str]:
    rows = [
        "| measure | position | n | median error | p95 | bias | half interval | truth inside |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for definition in DEFINITIONS:
        row = table[definition.name]
        total = len(row.errors) + len(row.reasons)
        if not row.errors:
            rows.append(f"| {definition.title} | {words(definition.position)} | 0 of {total} | | | | | |")
            continue
        digits, sign = (1, "°") if row.unit == "deg" else (3, " T")
        error = np.abs(row.errors)
        rows.append(
            f"| {definition.title} | {words(definition.position)} | {len(row.errors)} of {total} "
            f"| {np.median(error):.{digits}f}{sign} | {np.percentile(error, 95):.{digits}f}{sign} "
            f"| {np.median(row.errors):+.{digits}f}{sign} | ±{np.median(row.halves):.{digits}f}{sign} "
            f"| {np.mean(row.inside):.0%} |"
        )
    inside = [flag for row in table.values() for flag in row.inside]
    rows.append("")
    rows.append(f"Of all {len(inside)} intervals {np.mean(inside):.1%} hold the truth.")
    lost = sorted({reason for row in table.values() for reason in row.reasons})
    if lost:
        rows.append(f"Not measured: {'; '.join(lost)}.")
    return rows


def paired(case: Case, **told: Any) -> ViewPair:
    return pair_views(case.dtl, case.fo, filming=case.filming, **told)


def position_rows(found: list[tuple[Case, ViewPair]]) -> list[str]:
    """Error of each position as each view alone finds it, and as both find it, on each view's own clock."""
    errors: dict[str, dict[str, list[float]]] = {
        name: {"dtl": [], "both dtl": [], "fo": [], "both fo": [], "z": []} for name in POSITION_NAMES
    }
    for case, pair in found:
        if not pair.one_swing:
            continue
        both = fused_positions(pair)
        for name in POSITION_NAMES:
            right = case.motion.position_times[name] - _start(case.dtl)
            for view, swing, true in (("dtl", pair.dtl, right), ("fo", pair.fo, right + case.ahead_s)):
                alone, fused = swing.positions.get(name), both[view].get(name)  # type: ignore[index]
                if alone is not None and fused is not None:
                    errors[name][view].append(alone.time_s - true)
                    errors[name][f"both {view}"].append(fused.time_s - true)
                    if fused.sd_s:
                        errors[name]["z"].append((fused.time_s - true) / fused.sd_s)
    columns = ("dtl", "both dtl", "fo", "both fo")
    rows = [
        "| position | down the line alone | both, on its clock | face on alone | both, on its clock "
        "| error ÷ sd told, RMS |",
        "|---|---|---|---|---|---|",
    ]
    totals: dict[str, list[float]] = {which: [] for which in columns}
    for name in POSITION_NAMES:
        row = errors[name]
        if not row["z"]:
            continue
        cells = []
        for which in columns:
            values = np.array(row[which])
            cells.append(
                f"{1000 * np.median(np.abs(values)):.1f} / {1000 * math.sqrt(np.mean(values**2)):.1f}"
                if len(values)
                else "–"
            )
            if name != "finish":
                totals[which].extend(row[which])
        rows.append(f"| {words(name)} | {' | '.join(cells)} | {math.sqrt(np.mean(np.square(row['z']))):.2f} |")
    said = {which: 1000 * math.sqrt(np.mean(np.square(totals[which]))) for which in columns}
    rows.append("")
    rows.append(
        f"All but the finish, RMS: down the line {said['dtl']:.1f} → {said['both dtl']:.1f} ms, face on "
        f"{said['fo']:.1f} → {said['both fo']:.1f} ms."
    )
    return rows


_STARTS: dict[int, float] = {}


def _start(swing: Swing) -> float:
    """Motion time at the clip's time 0; filmed clips may start later."""
    return _STARTS.get(id(swing), 0.0)


def decision_rows(same: list[Case], apart: list[Case]) -> list[str]:
    """How often one swing is said, with each kind of evidence."""
    kinds = ("nothing but the movement", "times in the files", "sound", "both", "told by hand", "told wrongly (0.4 s)")
    counts = {kind: {True: [0, 0], False: [0, 0]} for kind in kinds}
    for rows in (same, apart):
        for number, case in enumerate(rows):
            rng = np.random.default_rng([number, 77])
            begins = 1.7e9, 1.7e9 - case.ahead_s + float(rng.normal(0.0, 1.0))
            if not case.same:
                begins = begins[0], begins[1] + float(rng.uniform(40.0, 150.0))
            recorded = tuple(float(math.floor(begin)) for begin in begins)
            sounds = sounds_of(case, number)
            told: dict[str, dict[str, Any]] = {
                kinds[0]: {},
                kinds[1]: {"recorded_at": recorded},
                kinds[2]: {"sounds": sounds},
                kinds[3]: {"sounds": sounds, "recorded_at": recorded},
            }
            if case.same:
                told[kinds[4]] = {"offset_s": case.ahead_s + float(rng.normal(0.0, 0.015))}
                told[kinds[5]] = {"offset_s": case.ahead_s + 0.4}
            for kind, given in told.items():
                pair = paired(case, settings=FEW, **given)
                entry = counts[kind][case.same]
                entry[0] += pair.one_swing
                entry[1] += 1
    lines = ["| told | one swing: said so | another swing: taken for one |", "|---|---|---|"]
    for kind in kinds:
        cells = [
            f"{entry[0]} of {entry[1]}" if entry[1] else "–" for entry in (counts[kind][True], counts[kind][False])
        ]
        lines.append(f"| {kind} | {cells[0]} | {cells[1]} |")
    return lines


def sounds_of(case: Case, number: int) -> tuple[Sound, Sound]:
    """Two phones' sounds on the clocks of the clips."""
    first, second, strikes = two_phones(number, case.same, 0.3)
    at = case.motion.position_times["impact"], case.fo_motion.position_times["impact"] + case.ahead_s
    shift = at[0] - strikes[0], at[1] - strikes[1]
    return (
        dataclasses.replace(first, start_s=first.start_s + shift[0]),
        dataclasses.replace(second, start_s=second.start_s + shift[1]),
    )


def offset_line(found: list[tuple[Case, ViewPair]]) -> str:
    """How far off the time map is at impact."""
    errors, shares = [], []
    for case, pair in found:
        if not pair.one_swing:
            continue
        at = case.motion.position_times["impact"] - _start(case.dtl)
        error = float(pair.time_map.to_reference(at)) - at - case.ahead_s
        errors.append(error)
        shares.append(abs(error) <= 1.96 * pair.sd_s)
    return (
        f"Time map of {len(errors)} pairs at impact: error {_ms([abs(e) for e in errors])} (median / p95); "
        f"{np.mean(shares):.0%} lie within the 95 % told."
    )


def tempo_lines(same: list[Case], apart: list[Case]) -> list[str]:
    """Slowed clips, and swings whose tempo differs."""
    slowed, said, errors = 0, 0, []
    for case in same:
        slow = on_clock(case.fo, 0.0, 8.0)
        pair = pair_views(case.dtl, slow, offset_s=8.0 * case.ahead_s, settings=FEW)
        slowed += 1
        said += pair.one_swing
        at = case.motion.position_times["impact"]
        errors.append(abs(float(pair.time_map.to_reference(at)) / 8.0 - at - case.ahead_s))
    refused = [paired(case, offset_s=_best_offset(case), settings=FEW).one_swing for case in apart]
    return [
        f"Face on at 8 times slow motion whose rate is not told, offset told by hand: taken for one swing in {said} of "
        f"{slowed}, time map at impact off by {_ms(errors)} (median / p95, real time).",
        f"Another swing of the player told to be the same, at the offset of its own impact: refused in "
        f"{len(refused) - sum(refused)} of {len(refused)}; the others' tempo lies within what positions can tell.",
    ]


def _best_offset(case: Case) -> float:
    one, other = case.dtl.positions.time("impact"), case.fo.positions.time("impact")
    return 0.0 if one is None or other is None else other - one


def session_line(swings: int) -> str:
    """A handful of clips sorted into pairs: phones' clocks 37 s apart, one clip of each view without a partner."""
    rng = np.random.default_rng(12)
    clips, right = [], set()
    begin = 1.7e9
    for number in range(swings):
        begin += float(rng.uniform(45.0, 130.0))
        first, second, strikes = two_phones(number, True, 0.3)
        starts = begin, begin + strikes[0] - strikes[1] + 37.0
        if number != 1:
            clips.append(ClipFacts(f"d{number}", "dtl", "right", strikes[0], math.floor(starts[0]), first))
        if number != 3:
            clips.append(ClipFacts(f"f{number}", "fo", "right", strikes[1], math.floor(starts[1]), second))
        if number not in (1, 3):
            right.add((f"d{number}", f"f{number}"))
    with_both = {(pair.dtl, pair.fo) for pair in find_pairs(clips)}
    silent = [dataclasses.replace(clip, sound=None) for clip in clips]
    by_time = {(pair.dtl, pair.fo) for pair in find_pairs(silent)}
    return (
        f"{len(clips)} clips of {swings} swings, the phones' clocks 37 s apart, two clips without a partner: by time "
        f"and sound {len(with_both & right)} of {len(right)} pairs found and {len(with_both - right)} wrong ones, by "
        f"time alone {len(by_time & right)} and {len(by_time - right)}."
    )


def joints_page(players: int, trials: int) -> str:
    same, apart = list(cases(players, True)), list(cases(players, False, first=500))
    found = [(case, paired(case, offset_s=case.ahead_s)) for case in same]
    lines = [
        "# Both views of a swing",
        "",
        f"Written by `studies/pair_views.py --players {players}`; how the swings are made is told at its top. Pairs of "
        f"one swing: {len(same)}; of a swing and the player's next one: {len(apart)}. T: torso length in space.",
        "",
        "## Is it one swing?",
        "",
        *decision_rows(same, apart),
        "",
        offset_line(found),
        *tempo_lines(same, apart),
        session_line(8),
        "",
        "### Sound",
        "",
        f"{trials} pairs of recordings a row; the strike alone is in all, other people's strikes are not.",
        "",
        *sound_rows(trials),
        "",
        "## Positions from both views",
        "",
        "Median / RMS error in ms against the true time; only where both the view alone and the pair have one.",
        "",
        *position_rows(found),
        "",
        "## Measures of both views",
        "",
        "Against the true points in space; cameras as drawn, no filming check.",
        "",
        *measure_rows(tally(found)),
        "",
    ]
    return "\n".join(lines)


# --- rendered clips ---------------------------------------------------------------------------------------------


def second_view(path: Path, folder: Path) -> Path:
    """The same swing from the other side, rendered once, with what it was made from beside it."""
    from filmed_clips import saved

    from overlay.golfer import render_clip

    filmed = saved(path)
    kind, number = path.stem.split("-")[:2]
    view = "fo" if filmed.camera.view == "dtl" else "dtl"
    out = folder / f"{kind}-{number}-{view}-60.mp4"
    if out.exists() and out.with_suffix(".json").exists():
        return out
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([int(number), 77, kind == "test"])
    motion = filmed.motion()
    camera = CameraSpec.for_motion(
        motion, view, offset_m=float(rng.normal(0.0, 0.05)), yaw_deg=float(rng.normal(0.0, 2.5))
    )
    start_s = round(float(rng.uniform(0.05, 0.3)), 4)
    render_clip(
        motion, camera, out, rate_hz=60.0, shutter_s=1 / 1000, look=filmed.look, seed=motion.spec.seed % 1000,
        threads=1, start_s=start_s,
    )  # fmt: skip
    told = {
        "golfer": filmed.golfer.to_dict(), "camera": camera.to_dict(), "rate_hz": 60.0, "shutter_s": 1 / 1000,
        "look": filmed.look, "start_s": start_s,
    }  # fmt: skip
    out.with_suffix(".json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    return out


def looked_at(path: Path) -> tuple[Swing, FilmingReport]:
    """A clip through the whole pipeline."""
    from filmed_clips import saved

    from overlay.pipeline import ClipOptions, inspect_clip, look_closer

    filmed = saved(path)
    options = ClipOptions(view=filmed.camera.view, handedness=filmed.golfer.handedness)  # type: ignore[arg-type]
    looked = look_closer(inspect_clip(path, options), options=options)
    swing = looked.swings[-1]
    return swing, looked.closer[swing.swing_number].filming


def filmed_cases(folder: Path, name: str, most: int) -> Iterator[Case]:
    from filmed_clips import saved

    for path in sorted(folder.glob(f"{name}-*.mp4"))[:most]:
        both = {saved(path).camera.view: path}
        other = second_view(path, folder / "pairs")
        both[saved(other).camera.view] = other
        try:
            (dtl, dtl_filming), (fo, fo_filming) = looked_at(both["dtl"]), looked_at(both["fo"])
        except OverlayError as error:
            print(f"{path.name}: {error}", file=sys.stderr)
            continue
        starts = [
            float(json.loads(both[view].with_suffix(".json").read_text(encoding="utf-8")).get("start_s", 0.0))
            for view in ("dtl", "fo")
        ]
        motion = saved(path).motion()
        _STARTS[id(dtl)] = starts[0]
        yield Case(path.stem, dtl, fo, motion, motion, starts[0] - starts[1], (dtl_filming, fo_filming))


def filmed_page(folder: Path, name: str, most: int) -> str:
    rows = list(filmed_cases(folder, name, most))
    found = [(case, paired(case, offset_s=case.ahead_s)) for case in rows]
    said = sum(pair.one_swing for _, pair in found)
    bare = [(dataclasses.replace(case, filming=(None, None)), pair) for case, pair in found]
    bare = [(case, paired(case, offset_s=case.ahead_s)) for case, _ in bare]
    lines = [
        "# Both views of a swing, rendered clips",
        "",
        f"Written by `studies/pair_views.py --filmed FOLDER --set {name}`: {len(rows)} players, each filmed down the "
        "line and face on, both clips through the whole pipeline. T: torso length in space.",
        "",
        f"Told by hand: taken for one swing in {said} of {len(found)}.",
        offset_line(found),
        "",
        "## Positions from both views",
        "",
        "Median / RMS error in ms against the true time; only where both the view alone and the pair have one.",
        "",
        *position_rows(found),
        "",
        "## Measures of both views, directions of the cameras from the filming check",
        "",
        *measure_rows(tally(found)),
        "",
        "## The same, cameras taken as usual",
        "",
        *measure_rows(tally(bare)),
        "",
    ]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--players", type=int, default=24)
    parser.add_argument("--quick", action="store_true", help="4 players, or 2 filmed ones")
    parser.add_argument("--filmed", type=Path, help="folder of filmed_clips.py")
    parser.add_argument("--set", choices=("tune", "test"), default="test", dest="name")
    parser.add_argument("--most", type=int, default=12, help="not more than this many filmed players")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    if options.filmed is not None:
        text = filmed_page(options.filmed, options.name, 2 if options.quick else options.most)
        out = options.out or DOCS / "pair_views_filmed.md"
    else:
        text = joints_page(4 if options.quick else options.players, 6 if options.quick else 40)
        out = options.out or DOCS / "pair_views.md"
    if options.quick and options.out is None:
        print(text)
        return
    out.write_text(text, encoding="utf-8")
    print(out)


if __name__ == "__main__":
    main()
