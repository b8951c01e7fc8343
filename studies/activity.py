"""Whether the stretches in which the body is looked for hold every swing, what they leave out, and what they change.

    python studies/activity.py [FOLDER] [--only N] [--quick]

Renders recordings of several players: walking in, placing a ball, waggling, rehearsing, swinging twice or three times.
Each is looked at as it is and changed: filmed by hand, in changing light, with people walking by, with another player
swinging far away, in the dark, small in a wide picture, at fewer frames, and slowed. A swing is held when its stretch
reaches from 0.3 s before its address to 0.3 s after the end of its held finish. Then the positions found from the
stretches are compared with those of the whole recording. Recordings stay in FOLDER, so that a second run is quick.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from overlay.activity import find_stretches
from overlay.arrays import AnyArray
from overlay.data import Frame
from overlay.files import write_text
from overlay.golfer import render_clip
from overlay.golfer.recording import Act, record
from overlay.terms import POSITION_NAMES
from overlay.video import Glance, Reader, open_clip

sys.path.insert(0, str(Path(__file__).resolve().parent))
from filmed_clips import plan

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "activity.md"
RATES = (30.0, 60.0, 30.0, 60.0)
HEIGHT, WIDTH = 640, 360
FINER = 3
"""Changes are made on pictures so many times as large as those that are looked at."""

Change = Callable[[int, float, AnyArray], AnyArray]
"""(number, seconds, picture (h, w)) → the picture changed."""


def acts(number: int) -> list[Act]:
    """What the player of a recording does."""
    ways = (
        "walk4 place3 stand2.5 waggle2 swing stand3 stand6 rehearse2.5 stand6 waggle2 swing stand9",
        "stand3 place3 waggle2.5 swing stand5 walk4 stand8 waggle1.8 swing place3 stand8",
        "stand6 rehearse2 stand8 swing stand8 place4 waggle2 swing stand6 walk5 stand3 swing stand5",
        "place3 stand7 waggle3 swing stand10 place3 waggle2 swing stand8 place3 swing stand6",
    )
    kinds = {"walk": "walk", "place": "place_ball", "stand": "stand", "waggle": "waggle", "rehearse": "rehearse"}
    found = []
    for word in ways[number % len(ways)].split():
        name = word.rstrip("0123456789.")
        found.append(Act("swing") if name == "swing" else Act(kinds[name], float(word[len(name) :])))  # type: ignore[arg-type]
    return found


def recording(folder: Path, number: int) -> Path:
    """A rendered recording and, beside it, the true times of its swings."""
    path = folder / f"range-{number}.mp4"
    beside = path.with_suffix(".json")
    if path.exists() and beside.exists():
        return path
    filmed = plan("test", number, folder)
    golfer = dataclasses.replace(filmed.golfer, tempo=dataclasses.replace(filmed.golfer.tempo, hold_s=0.8))
    made = record(golfer, acts(number))
    camera = dataclasses.replace(filmed.camera, width_px=WIDTH, height_px=HEIGHT, shake_deg=0.0)
    render_clip(made, camera, path, rate_hz=RATES[number % 4], shutter_s=1 / 500, look=filmed.look)
    beside.write_text(json.dumps(made.swings), encoding="utf-8")
    return path


class Changed(Reader):
    """A recording whose small pictures are changed, and whose clock may be slowed."""

    def __init__(
        self, reader: Reader, change: Change | None = None, every: int = 1, slow: float = 1.0, told: bool = False
    ) -> None:
        clip = reader.clip
        rate = clip.nominal_rate / every / Fraction(slow)
        self.clip = dataclasses.replace(
            clip,
            times_s=clip.times_s[::every] * slow,
            nominal_rate=rate,
            capture_rate=rate * Fraction(slow) if told else None,
        )
        self._reader, self._change, self._every, self._slow = reader, change, every, slow

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        raise NotImplementedError

    def _glances(self, step_s: float, max_side: int) -> Iterator[Glance]:
        import cv2

        steps = self._reader.glances(0.0, max_side=FINER * max_side if self._change else max_side)
        for number, glance in enumerate(steps):
            if number % self._every:
                continue
            grey = glance.grey
            if self._change is not None:
                grey = self._change(number, glance.time_s, grey)
                share = max_side / max(grey.shape)
                size = (max(1, round(grey.shape[1] * share)), max(1, round(grey.shape[0] * share)))
                grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
            yield Glance(glance.time_s * self._slow, grey)


def by_hand(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """A hand that sways by a hundredth of the picture and trembles by a five-hundredth, with a little roll."""
    import cv2

    height, width = grey.shape
    sway = 0.010 * width * np.array([np.sin(1.3 * time_s) + 0.5 * np.sin(3.1 * time_s), np.sin(1.7 * time_s + 1.0)])
    tremble = 0.002 * width * np.array([np.sin(41.0 * time_s), np.sin(53.0 * time_s + 2.0)])
    turn = 0.3 * np.sin(0.9 * time_s) + 0.06 * np.sin(47.0 * time_s)
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.02 + 0.005 * np.sin(0.5 * time_s))
    matrix[:, 2] += sway + tremble
    return np.asarray(cv2.warpAffine(grey, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE), np.uint8)


def light(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """Clouds that take a third of the light within a second, and lamps that flicker by 5 %."""
    gain = 0.83 + 0.17 * np.tanh(3.0 * np.sin(0.8 * time_s)) + 0.05 * np.sin(2 * np.pi * 7.3 * time_s)
    return np.clip(grey * gain, 0, 255).astype(np.uint8)


def _figure(grey: AnyArray, x: float, tall: float, phase: float, shade: int) -> AnyArray:
    """A walking person of that height (share of the picture), drawn over it."""
    import cv2

    height, _width = grey.shape
    size = tall * height
    foot = 0.97 * height
    hip, neck = foot - 0.5 * size, foot - 0.85 * size
    thick = max(2, round(0.09 * size))
    lines = [((x, hip), (x, neck), 2 * thick)]
    for sign in (1.0, -1.0):
        step = sign * 0.22 * size * np.sin(phase)
        lines.append(((x, hip), (x + step, foot), thick))
        lines.append(((x, neck + 0.08 * size), (x - 0.7 * step, hip), max(2, thick // 2)))
    out = grey.copy()
    for start, stop, wide in lines:
        cv2.line(out, tuple(np.int32(start)), tuple(np.int32(stop)), shade, wide)  # type: ignore[call-overload]
    cv2.circle(out, (int(x), int(neck - 0.08 * size)), max(2, round(0.07 * size)), shade, -1)
    return out


def walker(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """Somebody of half the height walks through the picture every eight seconds, 2.5 s long, in and out of swings."""
    share = (time_s % 8.0) / 2.5
    return grey if share > 1.0 else _figure(grey, (1.4 * share - 0.2) * grey.shape[1], 0.5, 11.0 * time_s, 40)


def close_by(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """Somebody larger than the picture passes close to the camera within a second, every eleven seconds."""
    share = (time_s % 11.0) / 1.0
    return grey if share > 1.0 else _figure(grey, (2.0 * share - 0.5) * grey.shape[1], 1.3, 9.0 * time_s, 30)


def far_away(first: list[AnyArray]) -> Change:
    """Another player, a quarter as tall, swings at the side of the picture all the time."""
    import cv2

    def change(number: int, time_s: float, grey: AnyArray) -> AnyArray:
        height, width = grey.shape
        other = first[number % len(first)]
        small = cv2.resize(other, (width // 4, height // 4), interpolation=cv2.INTER_AREA)
        out = grey.copy()
        out[height // 3 : height // 3 + small.shape[0], : small.shape[1]] = small
        return out

    return change


def dim(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """A third of the contrast, and noise of 6 levels in the large picture."""
    noise = np.random.default_rng(number).normal(0.0, 6.0, grey.shape)
    return np.clip(0.35 * grey + 10.0 + noise, 0, 255).astype(np.uint8)


def wide(number: int, time_s: float, grey: AnyArray) -> AnyArray:
    """A landscape picture with the player in the middle: a third of the height less of him."""
    import cv2

    height, width = grey.shape
    out = np.asarray(cv2.resize(grey[:, : width // 6], (height * 16 // 9, height)), np.uint8)
    small = cv2.resize(grey, (round(width * 0.67), round(height * 0.67)), interpolation=cv2.INTER_AREA)
    left = (out.shape[1] - small.shape[1]) // 2
    out[height - small.shape[0] :, left : left + small.shape[1]] = small
    return out


def cases(reader: Reader) -> list[tuple[str, Changed]]:
    """A recording as it is and changed."""
    rate = float(reader.clip.nominal_rate)
    swinging = [glance.grey for glance in reader.glances(0.0, max_side=192)]
    return [
        ("as filmed", Changed(reader)),
        ("filmed by hand", Changed(reader, by_hand)),
        ("changing light", Changed(reader, light)),
        ("somebody walks through behind", Changed(reader, walker)),
        ("somebody passes close to the camera", Changed(reader, close_by)),
        ("another player far away, swinging", Changed(reader, far_away(swinging[len(swinging) // 3 :]))),
        ("dim and noisy", Changed(reader, dim)),
        ("wide picture, player two thirds as tall", Changed(reader, wide)),
        (f"half the frames a second ({rate / 2:.0f})", Changed(reader, every=2)),
        ("half speed, told", Changed(reader, slow=2.0, told=True)),
        ("half speed, not told", Changed(reader, slow=2.0)),
    ]


@dataclasses.dataclass
class Tally:
    """Of one kind of change."""

    swings: int = 0
    held: int = 0
    everywhere: int = 0
    recordings: int = 0
    kept_s: float = 0.0
    length_s: float = 0.0
    cpu_s: float = 0.0


def count(folder: Path, numbers: range) -> dict[str, Tally]:
    """Every recording in every way."""
    tallies: dict[str, Tally] = {}
    for number in numbers:
        path = recording(folder, number)
        swings = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        with open_clip(path) as reader:
            for name, changed in cases(reader):
                tally = tallies.setdefault(name.split(" (")[0], Tally())
                started = time.process_time()
                found = find_stretches(changed)
                tally.cpu_s += time.process_time() - started
                slow = changed._slow
                tally.recordings += 1
                tally.everywhere += found.whole
                tally.kept_s += found.length_s
                tally.length_s += float(changed.clip.times_s[-1])
                for truth in swings:
                    first_s, last_s = (truth["address"] - 0.3) * slow, (truth["finish"] + 0.3) * slow
                    inside = any(start <= max(first_s, 0.0) and stop >= last_s for start, stop in found.stretches)
                    tally.swings += 1
                    tally.held += inside
                    if not inside:
                        print(f"  missed: {path.name}, {name}, impact {truth['impact'] * slow:.2f}", found.stretches)
    return tallies


def moved(folder: Path, numbers: range) -> tuple[dict[str, list[float]], list[tuple[float, float, int, int]]]:
    """Position name → how far apart it is found, frames; and CPU s and frames of the stretches and of everything."""
    from overlay.pipeline import ClipOptions, inspect_clip

    apart: dict[str, list[float]] = {}
    costs = []
    for number in numbers:
        path = recording(folder, number)
        found, spent = [], []
        for everywhere in (False, True):
            started = time.process_time()
            found.append(inspect_clip(path, ClipOptions(everywhere=everywhere, use_cache=False)))
            spent.append(time.process_time() - started)
        part, whole = found
        frame_s = float(np.median(np.diff(whole.track.time_s)))
        if len(part.swings) != len(whole.swings):
            raise SystemExit(
                f"{path.name}: {len(part.swings)} swings in the stretches, {len(whole.swings)} in all of it"
            )
        for one, other in zip(part.swings, whole.swings):
            for name in POSITION_NAMES:
                here, there = one.positions.time(name), other.positions.time(name)
                if here is not None and there is not None:
                    apart.setdefault(name, []).append(abs(here - there) / frame_s)
        costs.append((spent[0], spent[1], len(part.track), len(whole.track)))
    return apart, costs


def page(tallies: dict[str, Tally], apart: dict[str, list[float]], costs: list[tuple[float, float, int, int]]) -> str:
    """The page."""
    lines = [
        "# Where the body is looked for",
        "",
        f"`python studies/activity.py --only {len(costs)}` renders recordings of players at the range, changes them",
        "and finds stretches. Held: the stretch reaches from 0.3 s before the address to 0.3 s after the end of the",
        "held finish.",
        "",
        "| recording | swings | held | kept of the time | recordings kept whole | CPU s for a minute |",
        "|---|---|---|---|---|---|",
    ]
    for name, tally in tallies.items():
        lines.append(
            f"| {name} | {tally.swings} | {tally.held} | {tally.kept_s / tally.length_s:.0%} | "
            f"{tally.everywhere} of {tally.recordings} | {60 * tally.cpu_s / tally.length_s:.1f} |"
        )
    lines += [
        "",
        "Times in CPU seconds include the changes made. Positions from the stretches against those from every frame,",
        "pose model included, in frames:",
        "",
        "| position | swings | median | largest |",
        "|---|---|---|---|",
    ]
    for name, values in apart.items():
        lines.append(f"| {name} | {len(values)} | {np.median(values):.2f} | {np.max(values):.2f} |")
    lines += ["", "| frames looked at | of | CPU s | CPU s for every frame |", "|---|---|---|---|"]
    lines += [f"| {part} | {whole} | {cpu:.1f} | {full:.1f} |" for cpu, full, part, whole in costs]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?", help="where the rendered recordings stay")
    parser.add_argument("--only", type=int, default=4, help="not more than this many recordings")
    parser.add_argument("--quick", action="store_true", help="one recording, no pose model; no page is written")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        os.environ.setdefault("OVERLAY_CACHE_DIR", temporary)
        numbers = range(1 if options.quick else options.only)
        tallies = count(folder, numbers)
        apart, costs = ({}, []) if options.quick else moved(folder, numbers)
    text = page(tallies, apart, costs)
    print(text)
    if not options.quick:
        write_text(PAGE, text)


if __name__ == "__main__":
    main()
