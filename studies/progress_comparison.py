"""Two swings of one player with months between them: what the cameras explain, and what is found beyond them.

    python studies/progress_comparison.py [--quick] [--players N] [--told]
    python studies/progress_comparison.py --rendered FOLDER

One player, two swings with the usual human variation. On the *same day* one camera films both; *months later*
distance (3–6 m), height and offset (±15 cm), yaw (±5°), zoom and frame rate (30, 60, 120 frames/s) are drawn anew for
each of the two. Joints carry errors of the pose model's kind and go through cleaning, position finding, alignment and
score. Where each camera stood is estimated from the tracks alone, with the usual swing for the movement: each *by
itself* (``overlay.fit.estimate_camera``), and both *together* as clips of one player
(``overlay.explain.same_player_cameras``). That one camera filmed both on the same day is not told to either.
``--told`` takes the true cameras with errors of a set size instead, which tests the explanation by itself.

- *False differences*: nothing was changed. A table counts when it names any difference; *beyond the cameras* when one
  of them stays after ``overlay.explain.beyond``.
- *A real change*: the later swing has a fault of size 1–2 that one swing against one can see in this view. It counts as
  found when the part and phase in which it is truly largest is among the differences named.
- *Bound*: the true part of the cameras in a difference (the player's own movement between the two true cameras, along
  the measured difference) against ``could_explain``.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import score_bed as bed
from positions_synthetic import drawn_style

from overlay.align import align
from overlay.arrays import FloatArray
from overlay.data import Camera, Comparison, SpaceTrack, Swing
from overlay.errors import InputError
from overlay.explain import beyond, camera_parts, same_player_cameras
from overlay.explain.beyond import found, part_of
from overlay.explain.cameras import moved
from overlay.explain.looking import movement_of, seen_by
from overlay.files import write_text
from overlay.fit import estimate_camera
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, Motion, NoiseSpec, TempoSpec, simulate
from overlay.golfer.space import space_track
from overlay.score import score
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, View, words

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "progress_comparison.md"
VIEWS: tuple[View, ...] = ("dtl", "fo")
RATES = (30.0, 60.0, 120.0)
CHANGES: dict[str, tuple[tuple[str, float], ...]] = {
    # Fault and the least size at which one swing against one sees it in this view (score_planted_faults.md).
    "dtl": (("over_the_top", 1.5), ("flat_shoulder_turn", 1.0), ("posture_loss", 1.0)),
    "fo": (("sway", 1.0), ("reverse_spine", 1.0), ("flat_shoulder_turn", 1.0), ("early_release", 1.5)),
}
TOLD_SD = {
    "dtl": {"height_m": 0.025, "offset_m": 0.015, "yaw_deg": 1.5, "distance_m": 0.3},
    "fo": {"height_m": 0.035, "offset_m": 0.015, "yaw_deg": 1.2, "distance_m": 0.3},
}
"""Errors of the filming check on rendered clips (filming_errors.md)."""


@dataclass(frozen=True)
class Player:
    """One player: what stays the same for months."""

    body: BodySpec
    tempo: TempoSpec
    style: Any
    club: Any
    change: str
    size: float

    def swing(self, seed: int, *, changed: bool) -> Motion:
        faults = {self.change: self.size} if changed else {}
        return simulate(
            GolferSpec(self.body, self.tempo, faults, club=self.club, style=self.style, seed=seed, variation=1.0)
        )


def drawn_player(rng: np.random.Generator, view: View) -> tuple[Player, tuple[Motion, Motion, Motion]]:
    """A player, two of his swings, and the second of them with the change; styles that reach the ball with all."""
    changes = CHANGES[view]
    fault, least = changes[int(rng.integers(len(changes)))]
    while True:
        player = Player(
            BodySpec(stature_m=float(rng.uniform(1.58, 1.93))),
            TempoSpec(
                pre_s=0.9, backswing_s=float(rng.uniform(0.75, 1.05)), downswing_s=float(rng.uniform(0.24, 0.30)),
                hold_s=0.3, relax_s=0.5, post_s=0.0, waggle=0.0,
            ),
            drawn_style(rng),
            "driver" if rng.random() < 0.4 else "mid_iron",
            fault,
            float(rng.uniform(least, 2.0)),
        )  # fmt: skip
        seeds = [int(seed) for seed in rng.integers(1 << 30, size=2)]
        try:
            motions = (
                player.swing(seeds[0], changed=False),
                player.swing(seeds[1], changed=False),
                player.swing(seeds[1], changed=True),
            )
        except InputError:
            continue
        return player, motions


@dataclass(frozen=True)
class Day:
    """How a swing was filmed."""

    distance_m: float
    height_m: float
    offset_m: float
    yaw_deg: float
    zoom: float
    rate_hz: float

    def camera(self, motion: Motion, view: View) -> CameraSpec:
        usual = CameraSpec.for_motion(motion, view)
        return replace(
            usual,
            distance_m=self.distance_m,
            # Zoomed so that the player fills the picture about as usual.
            zoom=self.zoom * self.distance_m / usual.distance_m,
            height_m=usual.height_m + self.height_m,
            offset_m=self.offset_m,
            yaw_deg=self.yaw_deg,
        )


def drawn_day(rng: np.random.Generator) -> Day:
    distance_m = float(rng.uniform(3, 6))
    height_m, offset_m, yaw_deg = (float(rng.uniform(-half, half)) for half in (0.15, 0.15, 5.0))
    return Day(distance_m, height_m, offset_m, yaw_deg, float(rng.uniform(0.85, 1.05)), float(rng.choice(RATES)))


@dataclass
class Recorded:
    """A swing as it was filmed and found."""

    scene: bed.Recorded
    swing: Swing
    estimate: Any = None


def as_camera(camera: CameraSpec) -> Camera:
    return Camera(camera.position, camera.axes, camera.focal_px, camera.principal_px)


MODES = ("by itself", "together")


class Estimator:
    """Where two cameras stood."""

    def __init__(self, told: bool) -> None:
        self.told = told
        self._generic: dict[str, SpaceTrack] = {}

    def generic(self, club: str) -> SpaceTrack:
        """The usual swing with this kind of club: nobody's own."""
        if club not in self._generic:
            self._generic[club] = space_track(simulate(GolferSpec(club=club)))  # type: ignore[arg-type]
        return self._generic[club]

    @property
    def modes(self) -> tuple[str, ...]:
        return MODES[:1] if self.told else MODES

    def pair(self, mine: Recorded, theirs: Recorded, mode: str, rng: np.random.Generator) -> tuple[Any, Any]:
        if self.told:
            return self._told(mine, rng), self._told(theirs, rng)
        space = self.generic(theirs.scene.motion.spec.club)
        if mode == "together":
            return same_player_cameras(space, mine.swing, theirs.swing)
        for recorded in (mine, theirs):
            if recorded.estimate is None:
                recorded.estimate = estimate_camera(space, recorded.swing)
        return mine.estimate, theirs.estimate

    def _told(self, recorded: Recorded, rng: np.random.Generator) -> Any:
        sds = TOLD_SD[recorded.scene.view]
        wrong = {name: float(rng.normal(0.0, sd)) for name, sd in sds.items()}
        return SimpleNamespace(camera=moved(as_camera(recorded.scene.camera), **wrong), camera_sd=sds)


def record(motion: Motion, view: View, day: Day, seed: int) -> Recorded:
    scene = bed.Recorded(motion, day.camera(motion, view), view)
    track = bed.track_of(scene, noise=NoiseSpec(), seed=seed, rate_hz=day.rate_hz)
    return Recorded(scene, bed.found_swing(scene, track))


def true_parts(
    comparison: Comparison, mine: Recorded, theirs: Recorded, settings: ScoreSettings
) -> dict[tuple[str, str], FloatArray]:
    """The cameras' true offsets: the player's own movement between the two true cameras."""
    movement = movement_of(comparison, space_track(theirs.scene.motion), settings)
    assert movement is not None
    cameras = as_camera(mine.scene.camera), as_camera(theirs.scene.camera)
    cells = seen_by(movement, cameras, comparison, settings, all_seen=False)
    return {(cell.phase, cell.part): cell.offset for cell in cells if not cell.reason}


@dataclass
class Tally:
    """Counts over pairs of one kind."""

    n: int = 0
    named: int = 0
    stayed: int = 0
    target_named: int = 0
    target_stayed: int = 0
    unknown: int = 0
    bounds: list[bool] = field(default_factory=list)
    shares: list[float] = field(default_factory=list)

    def rate(self, count: int) -> str:
        return f"{count / max(1, self.n):.0%} ({count} of {self.n})"


def count(
    tallies: dict[str, Tally],
    mine: Recorded,
    theirs: Recorded,
    estimator: Estimator,
    rng: np.random.Generator,
    target: tuple[str, str] | None,
) -> None:
    """One pair into the tally of every mode."""
    comparison = score(mine.swing, theirs.swing, align(mine.swing, theirs.swing))
    named = found(comparison)
    truth = true_parts(comparison, mine, theirs, ScoreSettings()) if named else {}
    for mode in estimator.modes:
        tally = tallies[mode]
        tally.n += 1
        if not named:
            continue
        student_fit, reference_fit = estimator.pair(mine, theirs, mode, rng)
        space = estimator.generic(theirs.scene.motion.spec.club)
        parts = camera_parts(comparison, space, student_fit=student_fit, reference_fit=reference_fit)
        told = replace(comparison, camera_parts=parts)
        tally.named += 1
        left = {(row.phase, row.part) for row in beyond(told)}
        tally.stayed += bool(left)
        tally.target_named += target in {(row.phase, row.part) for row in named}
        tally.target_stayed += target in left
        for row in named:
            part = part_of(told, row)
            cell = (row.phase, row.part)
            if part is None or not math.isfinite(part.sd):
                tally.unknown += 1
                continue
            tally.shares.append(part.share)
            if cell in truth:
                along = float(truth[cell] @ np.array(row.offset)) / math.hypot(*row.offset)
                tally.bounds.append(min(along, row.value) <= part.could_explain + 1e-9)


def target_of(mine: Recorded, plain: bed.Recorded, settings: ScoreSettings) -> tuple[str, str]:
    """Part and phase in which the change is truly largest, both swings seen by the later camera."""
    truth = bed.truth_multiples(bed.truth_cells(mine.scene, plain, settings), settings)
    return max(truth, key=lambda cell: truth[cell])


KINDS = ("same day", "months later")
Key = tuple[str, str, bool]


def run(players: int, estimator: Estimator, first: int = 0) -> dict[Key, dict[str, Tally]]:
    """(view, kind of pair, whether there is a change) → mode → tally."""
    tallies: dict[Key, dict[str, Tally]] = {
        (view, kind, changed): {mode: Tally() for mode in estimator.modes}
        for view in VIEWS
        for kind in KINDS
        for changed in (False, True)
    }
    for number in range(first, first + players):
        for view in VIEWS:
            rng = np.random.default_rng([61, number, view == "fo"])
            _, (before, after, changed) = drawn_player(rng, view)
            then, now = drawn_day(rng), drawn_day(rng)
            seeds = [int(seed) for seed in rng.integers(1 << 20, size=5)]
            old = record(before, view, then, seeds[0])
            for k, (kind, is_changed) in enumerate((kind, changed) for kind in KINDS for changed in (False, True)):
                motion, day = changed if is_changed else after, then if kind == "same day" else now
                new = record(motion, view, day, seeds[k + 1])
                target = None
                if is_changed:
                    plain = bed.Recorded(after, new.scene.camera, view)
                    target = target_of(new, plain, ScoreSettings())
                count(tallies[view, kind, is_changed], new, old, estimator, rng, target)
        if number % 5 == 4:
            print(f"{number + 1 - first} players", flush=True)
    return tallies


def lines_of(tallies: dict[Key, dict[str, Tally]], modes: tuple[str, ...]) -> list[str]:
    heads = " | ".join(f"any beyond the cameras, {mode}" for mode in modes)
    lines = [
        "## Nothing was changed: tables that name a difference",
        "",
        f"| view | pair | any difference named | {heads} |",
        "|---|---|---|" + "---|" * len(modes),
    ]
    for view in VIEWS:
        for kind in KINDS:
            of = tallies[view, kind, False]
            first = of[modes[0]]
            rest = " | ".join(t.rate(t.stayed) for t in of.values())
            lines.append(f"| {view} | {kind} | {first.rate(first.named)} | {rest} |")
    heads = " | ".join(f"named beyond the cameras, {mode}" for mode in modes)
    lines += [
        "",
        "## A real change: is it found?",
        "",
        f"| view | pair | part and phase named | {heads} |",
        "|---|---|---|" + "---|" * len(modes),
    ]
    for view in VIEWS:
        for kind in KINDS:
            of = tallies[view, kind, True]
            first = of[modes[0]]
            rest = " | ".join(t.rate(t.target_stayed) for t in of.values())
            lines.append(f"| {view} | {kind} | {first.rate(first.target_named)} | {rest} |")
    lines += [
        "",
        "## The bound",
        "",
        "| view | pair | cameras | true part of the cameras within the bound | median share that they could explain |",
        "|---|---|---|---|---|",
    ]
    for view in VIEWS:
        for kind in KINDS:
            for mode in modes:
                both = [tallies[view, kind, changed][mode] for changed in (False, True)]
                bounds = [ok for t in both for ok in t.bounds]
                shares = [share for t in both for share in t.shares]
                unknown = sum(t.unknown for t in both)
                if bounds:
                    said = f"{np.mean(bounds):.0%} ({sum(bounds)} of {len(bounds)})"
                    lines.append(
                        f"| {view} | {kind} | {mode} | {said} | {np.median(shares):.0%}"
                        f"{f'; {unknown} not known' if unknown else ''} |"
                    )
    return lines


def movement_lines(players: int, estimator: Estimator) -> list[str]:
    """The usual swing in place of the player's own: how far what it shows between two true cameras is from his."""
    settings = ScoreSettings()
    rest: dict[tuple[str, str], list[FloatArray]] = {}
    own: dict[tuple[str, str], list[FloatArray]] = {}
    for number in range(players):
        for view in VIEWS:
            rng = np.random.default_rng([62, number, view == "fo"])
            _, (motion, *_) = drawn_player(rng, view)
            scenes = [bed.Recorded(motion, drawn_day(rng).camera(motion, view), view) for _ in range(2)]
            swings = [bed.true_swing(scene, bed.track_of(scene, noise=None)) for scene in scenes]
            comparison = score(swings[0], swings[1], bed.true_map(*scenes))
            cameras = as_camera(scenes[0].camera), as_camera(scenes[1].camera)
            offsets = []
            for space in (space_track(motion), estimator.generic(motion.spec.club)):
                movement = movement_of(comparison, space, settings)
                assert movement is not None
                cells = seen_by(movement, cameras, comparison, settings, all_seen=False)
                offsets.append({(cell.phase, cell.part): cell.offset for cell in cells if not cell.reason})
            for cell in set(offsets[0]) & set(offsets[1]):
                own.setdefault((view, cell[1]), []).append(offsets[0][cell])
                rest.setdefault((view, cell[1]), []).append(offsets[1][cell] - offsets[0][cell])

    def rms(values: list[FloatArray]) -> float:
        return float(np.sqrt(np.mean(np.sum(np.square(values), axis=1))))

    lines = [
        "",
        "## The usual swing in place of the player's own",
        "",
        "What two true cameras show between them of the player's own movement, and how far the usual swing's is from "
        f"it: root mean square over the phases of {players} players a view, torso lengths.",
        "",
        "| part | " + " | ".join(f"{view}: the cameras' effect | off by | share" for view in VIEWS) + " |",
        "|---|" + "---|---|---|" * len(VIEWS),
    ]
    for part in PARTS:
        columns = []
        for view in VIEWS:
            effect, off = (rms(table[view, part]) if (view, part) in table else math.nan for table in (own, rest))
            columns.append(f"{effect:.3f} | {off:.3f} | {off / effect:.0%}" if math.isfinite(effect) else "– | – | –")
        lines.append(f"| {words(part)} | {' | '.join(columns)} |")
    return lines


RENDERED = OUT.with_name("progress_comparison_rendered.md")
FILMED: dict[str, tuple[Day, Day, str, float]] = {
    # January's and May's camera, the change (one that the pose model shows in this view) and its size.
    "dtl": (Day(3.6, 0.05, 0.05, -2.0, 1.0, 60.0), Day(5.2, -0.10, -0.08, 3.0, 0.95, 60.0), "posture_loss", 1.5),
    "fo": (Day(4.0, -0.05, 0.10, 2.0, 1.0, 60.0), Day(5.5, 0.12, -0.10, -3.0, 0.95, 60.0), "sway", 1.5),
}


def rendered_swing(motion: Motion, view: View, day: Day, look: str, light: str, path: Path) -> Recorded:
    """One clip through the pose model; its track is kept beside it, so that a run can be taken up again."""
    from overlay.golfer import render_clip
    from overlay.golfer.render import Film
    from overlay.pose import load_track, save_track, track_clip

    camera = replace(day.camera(motion, view), width_px=288, height_px=512)
    saved = path.with_suffix(".npz")
    if not saved.exists():
        clip = render_clip(
            motion, camera, path, rate_hz=day.rate_hz, look=look, film=Film(light=light), ball=True, threads=1
        )
        save_track(saved, track_clip(clip, use_cache=False, masks=False).track)
    scene = bed.Recorded(motion, camera, view)
    return Recorded(scene, bed.found_swing(scene, load_track(saved).track))


def rendered_lines(folder: Path) -> list[str]:
    folder.mkdir(parents=True, exist_ok=True)
    estimator, settings = Estimator(told=False), ScoreSettings()
    lines = [
        "| view | May | differences named | beyond the cameras, by itself | together | truly largest | its size | "
        "cameras could explain, by itself | together |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for view in VIEWS:
        then, now, fault, size = FILMED[view]
        player = Player(
            BodySpec(), TempoSpec(pre_s=0.8, hold_s=0.2, relax_s=0.4, post_s=0.0, waggle=0.0),
            drawn_style(np.random.default_rng(12)), "mid_iron", fault, size,
        )  # fmt: skip
        swings = [player.swing(seed, changed=changed) for seed, changed in ((1, False), (2, False), (2, True))]
        old = rendered_swing(swings[0], view, then, "rowan", "day", folder / f"january-{view}.mp4")
        for motion, name in ((swings[1], "as he was"), (swings[2], f"{words(fault)} {size:g}")):
            path = folder / f"may-{view}-{'plain' if motion is swings[1] else fault}.mp4"
            new = rendered_swing(motion, view, now, "mara", "evening", path)
            comparison = score(new.swing, old.swing, align(new.swing, old.swing))
            named = found(comparison)
            cells, told = [], []
            plain = bed.Recorded(swings[1], new.scene.camera, view)
            target = target_of(new, plain, settings) if motion is swings[2] else None
            row = next((r for r in comparison.differences if (r.phase, r.part) == target), None)
            for mode in MODES:
                mine, theirs = estimator.pair(new, old, mode, np.random.default_rng(0))
                space = estimator.generic("mid_iron")
                parts = camera_parts(comparison, space, student_fit=mine, reference_fit=theirs)
                explained = replace(comparison, camera_parts=parts)
                cells.append(str(len(beyond(explained))))
                part = None if row is None else part_of(explained, row)
                told.append("" if part is None else f"{part.could_explain:.2f}")
            where = "" if target is None else f"{words(target[1])}, {words(target[0])}"
            length = "" if row is None else f"{row.value:.2f} ({row.words})"
            lines.append(
                f"| {view} | {name} | {len(named)} | {' | '.join(cells)} | {where} | {length} | {' | '.join(told)} |"
            )
            print(lines[-1], flush=True)
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="4 players a view; nothing is written")
    parser.add_argument("--players", type=int, default=60, help="a view")
    parser.add_argument(
        "--first", type=int, default=0, help="number of the first player; not 0: for tuning, nothing is written"
    )
    parser.add_argument(
        "--told", action="store_true", help="true cameras with errors of a set size; nothing is written"
    )
    parser.add_argument("--rendered", type=Path, metavar="FOLDER", help="through pictures; clips and tracks stay there")
    arguments = parser.parse_args()
    if arguments.rendered:
        head = [
            "# Progress comparison, rendered clips",
            "",
            "Made by `python studies/progress_comparison.py --rendered FOLDER`.",
        ]
        write_text(RENDERED, "\n".join([*head, "", *rendered_lines(arguments.rendered)]) + "\n")
        return
    estimator = Estimator(arguments.told)
    tallies = run(4 if arguments.quick else arguments.players, estimator, arguments.first)
    lines = lines_of(tallies, estimator.modes)
    lines += movement_lines(2 if arguments.quick else 20, estimator)
    print("\n".join(lines))
    if arguments.quick or arguments.told or arguments.first:
        return
    head = ["# Progress comparison", "", (__doc__ or "").split("\n\n", 2)[2].strip(), ""]
    head += [f"Made by `python studies/progress_comparison.py --players {arguments.players}`.", ""]
    write_text(OUT, "\n".join([*head, *lines]) + "\n")


if __name__ == "__main__":
    main()
