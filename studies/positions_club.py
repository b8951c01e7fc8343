"""How much the club sharpens the nine positions: with and without it, on noisy truth and on rendered clips.

    python studies/positions_club.py [--seeds 1] [--rendered FOLDER] [--quick]
    python studies/positions_club.py --calibrate [--swings 120] [--quick]

On noisy truth the pose is the true joints with the errors of a pose model, and the club the true shaft with the errors
of a tracker: noise on angle, length and grip, more of it where the shaft is short or fast, interpolated or hidden where
the camera does not see it. With ``--rendered`` the clips of ``studies/filmed_clips.py`` (the set "test") go through the
pose model, the club tracker and the strike finder as a user's would.

``--calibrate`` writes ``overlay/positions/club_calibration.json``: how much too late a moment is read from the club,
and how far the readings spread, on players drawn as in ``studies/positions_calibration.py``.

The rule is that of ``studies/positions_synthetic.py``: right is within max(round(n / 30), 1) frames.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.clean import clean
from overlay.data import ClubState, ClubTrack, Swing
from overlay.errors import ContentError
from overlay.golfer import CameraSpec, Motion, NoiseSpec, true_club, truth_track
from overlay.golfer.club_truth import club_sight
from overlay.positions import club_candidates, find_swings, refine, strike_candidates
from overlay.positions.club_cues import read_club
from overlay.terms import POSITION_NAMES

sys.path.insert(0, str(Path(__file__).resolve().parent))
from positions_calibration import SWAY, random_camera, random_motion, swayed
from positions_synthetic import RATES_HZ, cases

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "studies" / "positions_club.md"
TABLE = ROOT / "overlay" / "positions" / "club_calibration.json"
VIEWS = ("dtl", "fo")
SIGHT_HZ, SLOW_SIGHT_HZ = 60.0, 20.0
"""What hides the shaft is traced so often from just before the top until after the strike, and elsewhere; interpolated
between."""
SHUTTERS_S = (1 / 1000, 1 / 500, 1 / 250)
FLOOR = {"address": 0.06, "shaft_level_back": 0.03, "top": 0.02, "finish": 0.10}
FAST_FLOOR = 0.012
"""Downswings: least spread told, whatever the synthetic players say. A camera tilted by 1.5° sees the shaft level 6 ms
early or late on the way back (0.022 downswings) and 1.5 ms in the downswing; and real players differ more."""
LEAST_TORSO = 0.4
"""A shaft of which less is seen is not found, torso lengths."""
ANGLE_SD_DEG = 0.6
"""Of a shaft one torso length long that stands still; the tracker's own is 0.1–0.4° on rendered and real clips."""
LOST = 0.12
"""Share of the frames with a visible shaft that a tracker is not sure of, in runs."""
LOST_RUN_S = 0.04
WRONG = 0.005
"""Share of the frames taken for sure that follow something else."""
LONGEST_GAP_S = 0.12
"""Longer gaps are not bridged."""


def tracked_club(
    true: ClubTrack, seen_px: FloatArray, torso_px: float, shutter_s: float, rng: np.random.Generator
) -> ClubTrack:
    """The true shaft with a tracker's errors.

    Parameters
    ----------
    true : ClubTrack
        As of ``overlay.golfer.true_club``.
    seen_px : (T,) float
        How much of the shaft the camera sees, as of ``overlay.golfer.club_truth.club_sight``.
    torso_px, shutter_s : float
    """
    n = len(true.time_s)
    step_s = float(np.median(np.diff(true.time_s)))
    turn = np.unwrap(np.radians(true.angle_deg))
    rate_deg = np.abs(np.degrees(np.gradient(turn, true.time_s)))
    sd = ANGLE_SD_DEG * np.clip(torso_px / np.maximum(seen_px, 1.0), 0.7, 3.0)
    # A fan of blur hides where in it the shaft was when the shutter opened: a third of its width.
    sd = np.hypot(sd, rate_deg * shutter_s / 6)
    angle = true.angle_deg + sd * rng.normal(size=n)
    wrong = rng.random(n) < WRONG
    angle[wrong] += rng.choice((-1.0, 1.0), wrong.sum()) * rng.uniform(8.0, 40.0, wrong.sum())
    length = np.minimum(true.length_px, seen_px + 0.16 * true.length_px) * (0.95 + 0.05 * rng.normal(size=n))
    grip = true.grip + 0.02 * torso_px * rng.normal(size=(n, 2))
    good = seen_px >= LEAST_TORSO * torso_px
    for start in np.flatnonzero(rng.random(n) < LOST * step_s / max(LOST_RUN_S, step_s)):
        good[start : start + max(1, round(rng.exponential(LOST_RUN_S) / step_s))] = False
    states: list[ClubState] = ["measured" if g else "hidden" for g in good]
    known = np.flatnonzero(good)
    for first, last in itertools.pairwise(known):
        gap_s = true.time_s[last] - true.time_s[first]
        if last > first + 1 and gap_s <= LONGEST_GAP_S:
            share = (true.time_s[first + 1 : last] - true.time_s[first]) / gap_s
            way = (angle[last] - angle[first] + 180.0) % 360.0 - 180.0
            angle[first + 1 : last] = angle[first] + share * way
            length[first + 1 : last] = length[first] + share * (length[last] - length[first])
            for i in range(first + 1, last):
                states[i] = "interpolated"
    hidden = np.array([state == "hidden" for state in states])
    angle[hidden] = np.nan
    length[hidden] = np.nan
    told = np.where(good, sd, np.where(hidden, math.nan, 15.0))
    return ClubTrack(true.time_s, grip, (angle + 180.0) % 360.0 - 180.0, length, tuple(states), told)


@dataclass(frozen=True)
class Seen:
    """One clip: the swing as the pose has it, with its club, and the truth."""

    name: str
    swing: Swing
    truth: dict[str, float]
    view: str
    rate_hz: float
    strike: bool = False


def seen_of(
    name: str,
    motion: Motion,
    camera: CameraSpec,
    rate_hz: float,
    noise: NoiseSpec,
    sway: float,
    rng: np.random.Generator,
) -> Seen | None:
    """Noisy pose and noisy club of one swing; None when not exactly one swing is found."""
    raw = truth_track(motion, camera, rate_hz, noise=noise, seed=int(rng.integers(1 << 30)))
    if sway > 0:
        raw = swayed(raw, sway, rng)
    try:
        swings = find_swings(clean(raw), handedness=motion.spec.handedness)
    except ContentError:
        return None
    if len(swings) != 1:
        return None
    (swing,) = swings
    times = swing.pose.time_s
    truth = motion.position_times
    slow = np.arange(times[0], times[-1] + 1 / SLOW_SIGHT_HZ, 1 / SLOW_SIGHT_HZ)
    coarse = np.union1d(slow, np.arange(truth["top"] - 0.1, truth["impact"] + 0.3, 1 / SIGHT_HZ))
    true = true_club(motion, camera, times)
    seen_px = np.interp(times, coarse, club_sight(motion, camera, coarse).seen) * true.length_px
    club = tracked_club(true, seen_px, swing.torso_px, float(rng.choice(SHUTTERS_S)), rng)
    return Seen(name, replace(swing, club=club), truth, camera.view, rate_hz)


def noisy(seeds: int, quick: bool) -> Iterator[Seen]:
    """The players of ``studies/positions_synthetic.py``, each at one frame rate."""
    for i, case in enumerate(list(cases(seeds))[:: 9 if quick else 1]):
        rng = np.random.default_rng([31, case.seed, i])
        motion = case.motion()
        found = seen_of(case.name, motion, case.camera(motion), RATES_HZ[i % 4], NoiseSpec(), 0.0, rng)
        if found is not None:
            yield found
        if (i + 1) % 12 == 0:
            print(f"  {i + 1} swings", flush=True)


def drawn(swings: int, seed: int) -> Iterator[Seen]:
    """Players drawn for the calibration: none of those above."""
    rng = np.random.default_rng([77, seed])
    for i in range(swings):
        motion = random_motion(rng, i % 3 == 2)
        for view in VIEWS:
            camera = random_camera(rng, motion, view)
            noise = NoiseSpec(scale=float(rng.uniform(0.2, 1.6)))
            sway = float(rng.uniform(0.2, 1.0)) * SWAY if rng.random() < 0.5 else 0.0
            found = seen_of(f"{view}-{i}", motion, camera, float(RATES_HZ[int(rng.integers(4))]), noise, sway, rng)
            if found is not None:
                yield found
        if (i + 1) % 10 == 0:
            print(f"  {i + 1} of {swings} swings", flush=True)


def rendered(folder: Path, name: str, only: int) -> Iterator[Seen]:
    """The clips of ``studies/filmed_clips.py``, through pose model, club tracker and strike finder."""
    from filmed_clips import saved

    from overlay.club import track_club
    from overlay.pipeline import inspect_clip
    from overlay.steady import camera_motion
    from overlay.strike import find_strike
    from overlay.video import open_clip

    for path in sorted(folder.glob(f"{name}-*.mp4"))[:only]:
        if not path.with_suffix(".json").exists():
            continue
        filmed = saved(path)
        inspection = inspect_clip(path)
        swing = inspection.swings[-1]
        with open_clip(path) as reader:
            motion = camera_motion(reader, swing, inspection.masks)
            club = track_club(reader, swing, inspection.masks, motion=motion)
            strike = find_strike(reader, swing, inspection.masks, club=club, sound=None, motion=motion)
        swing = replace(swing, club=club, camera_motion=motion, strike=strike)
        truth = filmed.motion().position_times
        yield Seen(path.stem, swing, truth, filmed.camera.view, filmed.rate_hz, strike=True)
        print(f"  {path.stem}", flush=True)


def calibrate(data: list[Seen]) -> dict[str, dict[str, dict[str, float]]]:
    """View → position → how late it is read and how far it spreads, in downswings."""
    table: dict[str, dict[str, dict[str, float]]] = {view: {} for view in VIEWS}
    for view in VIEWS:
        readings: dict[str, list[tuple[float, float]]] = {}
        for seen in data:
            if seen.view != view or seen.swing.view != view:
                continue
            read, unit_s = read_club(seen.swing)
            for name, (time_s, rows_sd_s) in read.items():
                readings.setdefault(name, []).append(((time_s - seen.truth[name]) / unit_s, rows_sd_s / unit_s))
        for name in (name for name in POSITION_NAMES if name in readings):
            error, rows_sd = np.array(readings[name]).T
            late = float(np.median(error))
            away = np.abs(error - late)
            # The tails beyond four spreads are pulled in; what the rows tell of themselves is counted apart.
            spread = np.minimum(away, 4 * 1.4826 * float(np.median(away)))
            rest = math.sqrt(max(float(np.mean(spread**2) - np.median(rows_sd) ** 2), 0.0))
            least = FLOOR.get(name, FAST_FLOOR)
            sd = max(rest, least)
            table[view][name] = {"late": round(late, 4), "sd": round(sd, 4)}
            print(f"  {view} {name}: {len(error)} readings, late {late:+.4f}, left {rest:.4f}, told {sd:.4f}")
    return table


@dataclass(frozen=True)
class Outcome:
    """Errors of one position of one clip, s; NaN where it is absent."""

    seen: Seen
    name: str
    without_s: float
    with_s: float
    club_s: float
    club_sd_s: float

    def right(self, error_s: float) -> bool:
        """The rule, in whole frames."""
        if math.isnan(error_s):
            return False
        rate, true = self.seen.rate_hz, self.seen.truth[self.name]
        n = round((self.seen.truth["impact"] - self.seen.truth["address"]) * rate)
        return abs(round((true + error_s) * rate) - round(true * rate)) <= max(round(n / 30), 1)


def outcomes(data: list[Seen]) -> list[Outcome]:
    """Every position of every clip, without and with what the club (and the strike) says."""
    results = []
    for seen in data:
        club = {candidate.name: candidate for candidate in club_candidates(seen.swing)}
        further = (*club.values(), *strike_candidates(seen.swing))
        after = refine(seen.swing, candidates=further).positions
        for name in POSITION_NAMES:
            true, one = seen.truth[name], club.get(name)
            before_s, after_s = (positions.time(name) for positions in (seen.swing.positions, after))
            results.append(
                Outcome(
                    seen,
                    name,
                    math.nan if before_s is None else before_s - true,
                    math.nan if after_s is None else after_s - true,
                    math.nan if one is None else one.time_s - true,
                    math.nan if one is None else one.sd_s,
                )
            )
    return results


def table(results: list[Outcome], title: str) -> list[str]:
    """One section of the page, a row a position and view."""
    clips = len({outcome.seen.name for outcome in results})
    right = [np.mean([o.right(e) for o, e in ((o, getattr(o, side)) for o in results)]) for side in SIDES]
    lines = [
        f"## {title}",
        "",
        f"{clips} clips. Within the tolerance over all positions: {right[0]:.1%} without, **{right[1]:.1%} with**.",
        "",
        "| view | position | within, without → with | median ms | RMS ms | p95 ms | club read | error ÷ sd, RMS |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for view in VIEWS:
        for name in POSITION_NAMES:
            part = [o for o in results if o.name == name and o.seen.view == view]
            if not part:
                continue
            cells = []
            for figure in (_median, _rms, _p95):
                one, other = (figure([getattr(o, side) for o in part]) for side in SIDES)
                cells.append(f"{one:.1f} → {other:.1f}")
            share = [float(np.mean([o.right(getattr(o, side)) for o in part])) for side in SIDES]
            read = [o for o in part if not math.isnan(o.club_s)]
            told = f"{_rms([o.club_s / o.club_sd_s for o in read]) / 1e3:.2f}" if read else "–"
            lines.append(
                f"| {view} | {name} | {share[0]:.0%} → {share[1]:.0%} | {' | '.join(cells)} |"
                f" {len(read) / len(part):.0%} | {told} |"
            )
    return [*lines, ""]


SIDES = ("without_s", "with_s")


def _known_ms(errors_s: list[float]) -> FloatArray:
    values = np.abs(np.array(errors_s)) * 1e3
    return values[np.isfinite(values)] if np.any(np.isfinite(values)) else np.array([np.nan])


def _median(errors_s: list[float]) -> float:
    return float(np.median(_known_ms(errors_s)))


def _rms(errors_s: list[float]) -> float:
    return float(np.sqrt(np.mean(_known_ms(errors_s) ** 2)))


def _p95(errors_s: list[float]) -> float:
    return float(np.percentile(_known_ms(errors_s), 95))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--rendered", type=Path, help="folder of the clips of studies/filmed_clips.py")
    parser.add_argument("--set", choices=("tune", "test"), default="test", dest="name")
    parser.add_argument("--calibrate", action="store_true", help=f"write {TABLE.name}")
    parser.add_argument("--swings", type=int, default=120, help="players drawn for the calibration")
    parser.add_argument("--quick", action="store_true", help="a small part, nothing written")
    options = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    if options.calibrate:
        found = calibrate(list(drawn(8 if options.quick else options.swings, 1)))
        if not options.quick:
            TABLE.write_text(json.dumps({"schema": 1, "views": found}, indent=1) + "\n", encoding="utf-8")
        return
    lines = [
        "# Positions with and without the club",
        "",
        f"Made by `python studies/positions_club.py --seeds {options.seeds} --rendered FOLDER`; the rule is that of"
        " [positions on noisy true joints](positions_noisy.md): within max(round(n / 30), 1) frames, n the frames from"
        " address to impact. Every figure is without → with the club. Its error ÷ its sd would be 1 if what the club"
        " says of its own uncertainty were exact; less is careful.",
        "",
        *table(outcomes(list(noisy(options.seeds, options.quick))), "Noisy true joints and a noisy true shaft"),
    ]
    if options.rendered is not None:
        clips = list(rendered(options.rendered, options.name, 2 if options.quick else 10_000))
        lines += table(outcomes(clips), f'Rendered clips, the set "{options.name}", with the strike')
    print("\n".join(lines))
    if not options.quick and options.rendered is not None and options.name == "test":
        PAGE.write_text("\n".join(lines).rstrip() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
