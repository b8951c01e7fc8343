"""Many clips of one range session: seconds a clip on this machine, and what a second worker gives.

    python studies/many_clips.py [--clips 70] [--subset 16] [--repeats 2] [--folder FOLDER] [--quick] [--only-material]

Renders eight swings of eight invented players and one recording of three swings (a quarter of an hour of one core),
makes the clips out of them (another half an hour), and adds them with ``overlay add`` to a fresh library with
an empty cache: all of them with two workers, then a part of them with one worker and with two in turn, then a
recording of three minutes. ``--folder`` keeps the clips: a second run goes on where the first one stopped.
Linux alone, since it reads memory from /proc. Nothing else may run beside it when the figures are to mean anything.
``--quick`` is four clips, and writes no page.

The clips are 1080×1920 at 60 frames/s as a phone writes them, and every one is another file: cut at another moment,
framed a few pixels differently, lighter or darker, with noise and sound of its own. The swings were rendered at
540×960 and enlarged, since the renderer needs half a second for a frame of the full size. That leaves the picture
softer than a camera's; the noise is added at the full size, so that decoder and motion finder meet as much of it as
they would at a dim range.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import datetime
import json
import math
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from overlay.arrays import Image
from overlay.golfer import (
    Act,
    BodySpec,
    CameraSpec,
    GolferSpec,
    Motion,
    Recording,
    StyleSpec,
    TempoSpec,
    range_sound,
    record,
    simulate,
)
from overlay.golfer.sound import SoundSpec

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "many_clips.md"
SIZE = (1080, 1920)
RATE_HZ = 60
CLIP_S = 3.0
RENDERED = (540, 960)
SHUTTER_S = 1 / 500
NOISE_LEVELS = 2.2
"""Standard deviation of the noise at the full size, grey levels: a phone at ISO 200 to 400."""
QUALITY = 16
"""Gives 15 to 25 Mbit/s with that noise, as phones do at 1080p60; the page says what came out."""
LOOKS = ("rowan", "mara", "idris", "tobin", "wren")
MASTERS = 8
LONG_ROUNDS = 3
"""How often the rendered recording is played, one after the other, to make the long one."""


# What is rendered ----------------------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Master:
    """One rendered swing, and when it happens in its clip."""

    number: int
    golfer: GolferSpec
    camera: CameraSpec
    look: str

    def motion(self) -> Motion:
        return simulate(self.golfer)

    def path(self, folder: Path) -> Path:
        return folder / f"swing-{self.number}-{self.camera.view}.mp4"


@lru_cache(maxsize=1)
def masters() -> tuple[Master, ...]:
    """Eight swings, both views, one left-hander; the same in every run."""
    made = []
    for number in range(MASTERS):
        rng = np.random.default_rng([61, number])
        golfer = GolferSpec(
            body=BodySpec(stature_m=float(rng.uniform(1.62, 1.90)), build=("slim", "medium", "broad")[number % 3]),  # type: ignore[arg-type]
            tempo=TempoSpec(
                pre_s=1.2,
                backswing_s=float(rng.uniform(0.75, 0.92)),
                downswing_s=float(rng.uniform(0.24, 0.29)),
                hold_s=0.15,
                relax_s=0.5,
                post_s=0.0,
                waggle=0.5 * (number % 2),
            ),
            style=StyleSpec(
                shoulder_turn_deg=float(rng.uniform(-8, 8)),
                hands_height=float(rng.uniform(-0.08, 0.08)),
                plane_deg=float(rng.uniform(-3, 3)),
            ),
            handedness="left" if number == 5 else "right",
            club=("mid_iron", "driver")[number // 4],  # type: ignore[arg-type]
            seed=number,
            variation=1.0,
        )
        view = ("dtl", "fo")[number % 2]
        camera = CameraSpec.for_motion(
            simulate(golfer), view, width_px=RENDERED[0], height_px=RENDERED[1], yaw_deg=float(rng.normal(0, 1.0))
        )
        made.append(Master(number, golfer, camera, LOOKS[number % len(LOOKS)]))
    return tuple(made)


def long_session() -> tuple[Recording, CameraSpec, str]:
    """One player over a minute: three balls placed and struck, one rehearsal; about 54 s that are no swing."""
    golfer = dataclasses.replace(masters()[0].golfer, handedness="right")
    swings = [dataclasses.replace(golfer, seed=100 + number) for number in range(3)]
    acts = [
        Act("stand", 7.0), Act("place_ball", 5.0), Act("waggle", 3.0), Act("swing", swing=swings[0]),
        Act("stand", 9.0), Act("place_ball", 5.0), Act("rehearse", 2.5), Act("swing", swing=swings[1]),
        Act("stand", 8.0), Act("place_ball", 5.0), Act("waggle", 3.0), Act("swing", swing=swings[2]),
        Act("stand", 6.0),
    ]  # fmt: skip
    recording = record(golfer, acts)
    camera = CameraSpec.for_motion(simulate(golfer), "fo", width_px=RENDERED[0], height_px=RENDERED[1])
    return recording, camera, "mara"


def render_all(folder: Path, n_masters: int = MASTERS, *, long: bool = True) -> None:
    """Everything that is rendered, without noise; what is there already stays."""
    from overlay.golfer import render_clip
    from overlay.golfer.render import Film

    wanted: list[tuple[Path, Any, CameraSpec, str]] = [
        (master.path(folder), master.motion(), master.camera, master.look) for master in masters()[:n_masters]
    ]
    if long:
        wanted.append((folder / "recording.mp4", *long_session()))
    for path, motion, camera, look in wanted:
        if path.exists():
            continue
        render_clip(
            motion, camera, path, rate_hz=RATE_HZ, shutter_s=SHUTTER_S, look=look, film=Film(noise=0), threads=1,
            quality=8,
        )  # fmt: skip
        print(path.name, flush=True)


# What is made of it --------------------------------------------------------------------------------------------------


class Camera:
    """Turns a rendered picture into one of the full size as this take's camera saw it."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([62, seed])
        self.gain = float(rng.uniform(0.85, 1.12))
        scale = SIZE[0] / RENDERED[0] * float(rng.uniform(1.0, 1.02))
        self.large = (math.ceil(scale * RENDERED[0]), math.ceil(scale * RENDERED[1]))
        self.corner = (int(rng.integers(self.large[0] - SIZE[0] + 1)), int(rng.integers(self.large[1] - SIZE[1] + 1)))
        self._rng = rng
        # A colour filter's interpolation ties neighbours together a little.
        noise = 0.6 * rng.standard_normal((SIZE[1] + 64, SIZE[0] + 64, 3), np.float32)
        noise += 0.8 * rng.standard_normal((*noise.shape[:2], 1), np.float32)
        noise = 0.72 * noise + 0.28 * np.roll(noise, 1, axis=1)
        levels = np.round(noise * (NOISE_LEVELS / noise.std()))
        # Bytes, added and taken away: much quicker than adding numbers with a sign.
        self._more, self._less = (np.clip(part, 0, 255).astype(np.uint8) for part in (levels, -levels))
        self._levels = np.clip(np.round(np.arange(256) * self.gain), 0, 255).astype(np.uint8)

    def take(self, picture: Image) -> Image:
        """(H, W, 3) uint8 of the full size."""
        import cv2

        left, top = self.corner
        large = cv2.resize(cv2.LUT(picture, self._levels), self.large, interpolation=cv2.INTER_CUBIC)
        large = large[top : top + SIZE[1], left : left + SIZE[0]]
        y, x = self._rng.integers(0, 64, 2)
        part = (slice(y, y + SIZE[1]), slice(x, x + SIZE[0]))
        return np.asarray(cv2.subtract(cv2.add(large, self._more[part]), self._less[part]), np.uint8)


def pictures(path: Path) -> Iterator[Image]:
    """The rendered pictures, one after the other."""
    from overlay.video import open_clip

    with open_clip(path) as reader:
        for frame in reader.frames():
            yield frame.image


def first_frame(motion: Motion, seed: int) -> int:
    """Where the clip is cut: with the whole swing in it, and more than half a second before it."""
    times = motion.position_times
    earliest = max(0.0, times["finish"] + 0.08 - CLIP_S)
    latest = max(earliest, min(times["address"] - 0.6, motion.duration_s - CLIP_S - 0.02))
    return math.floor(float(np.random.default_rng([63, seed]).uniform(earliest, latest)) * RATE_HZ)


def make_clip(master: Master, played: list[Image], out: Path, seed: int) -> None:
    """One clip of ``CLIP_S``: the swing of ``master``, cut, framed, lit, and heard in its own way."""
    motion = master.motion()
    times = motion.position_times
    first = first_frame(motion, seed)
    n = round(CLIP_S * RATE_HZ)
    place = motion.state(np.array([times["impact"]]))["club_head"][0]
    sound = range_sound(
        SoundSpec(seed=seed), start_s=first / RATE_HZ, stop_s=(first + n) / RATE_HZ, impacts_s=motion.impacts_s,
        distance_m=float(np.linalg.norm(master.camera.position - place)), club=master.golfer.club,
    )  # fmt: skip
    write(out, iter(played[first : first + n]), Camera(seed), sound)


def make_long(folder: Path, out: Path, rounds: int = LONG_ROUNDS) -> None:
    """The rendered recording as a clip, several times over: encoded once, its packets copied one after the other."""
    import av

    from overlay.files import atomic_path

    recording, camera, _ = long_session()
    n = math.floor(recording.duration_s * RATE_HZ + 1e-6) + 1
    sound = range_sound(
        SoundSpec(seed=7), start_s=0.0, stop_s=n / RATE_HZ, impacts_s=recording.impacts_s,
        distance_m=float(np.linalg.norm(camera.position - camera.aim)), club=recording.spec.club,
    )  # fmt: skip
    once = folder / "recording-once.mp4"
    if not once.exists():
        write(once, pictures(folder / "recording.mp4"), Camera(999), sound)
    with atomic_path(out) as temporary, av.open(str(temporary), "w") as target:
        with av.open(str(once)) as source:
            streams = {stream.index: target.add_stream_from_template(stream) for stream in source.streams}
        last: dict[int, float] = {}
        for played in range(rounds):
            with av.open(str(once)) as source:
                for packet in source.demux():
                    if packet.dts is None:
                        continue
                    later = round(Fraction(played * n, RATE_HZ) / packet.time_base)
                    packet.pts, packet.dts = packet.pts + later, packet.dts + later
                    at = packet.stream.index
                    # The last block of sound reaches beyond the last picture, into the next round.
                    if packet.dts > last.get(at, -math.inf):
                        last[at] = packet.dts
                        packet.stream = streams[at]
                        target.mux(packet)


def write(out: Path, played: Iterator[Image], camera: Camera, sound: Any) -> None:
    from overlay.settings.video import WriterSettings
    from overlay.video import VideoWriter

    settings = WriterSettings(key_every_s=1.0)
    with VideoWriter(out, *SIZE, Fraction(RATE_HZ), quality=QUALITY, sound=sound, settings=settings) as writer:
        for picture in played:
            writer.write(camera.take(picture))


def material(folder: Path, n_clips: int, *, long: bool) -> tuple[list[Path], Path | None]:
    """The clips of the session and the long recording, made when they are not there."""
    rendered, clips = folder / "rendered", folder / "session"
    for each in (rendered, clips):
        each.mkdir(parents=True, exist_ok=True)
    render_all(rendered, min(MASTERS, n_clips), long=long)
    paths = [clips / f"clip-{k:02d}-{masters()[k % MASTERS].camera.view}.mp4" for k in range(n_clips)]
    for master in masters()[:n_clips]:
        own = [(k, path) for k, path in enumerate(paths) if k % MASTERS == master.number and not path.exists()]
        played = list(pictures(master.path(rendered))) if own else []
        for number, path in own:
            make_clip(master, played, path, number)
            print(path.name, flush=True)
    recording = None
    if long:
        recording = folder / "long" / "recording-3-min.mp4"
        recording.parent.mkdir(exist_ok=True)
        if not recording.exists():
            make_long(rendered, recording)
            print(recording.name, flush=True)
    return paths, recording


# What is measured ----------------------------------------------------------------------------------------------------

STAGES = """
import json, os, sys, time
from pathlib import Path
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"):
    os.environ[name] = "1"
import cv2
cv2.setNumThreads(1)
from overlay.video import limit_threads
limit_threads(1)
from mediapipe.tasks.python import vision
from overlay.batch import ReadJob, read_clip
from overlay.files import sha256_of
from overlay.pipeline import ClipOptions

spent, calls, stack = {}, {"frames": 0}, ["other"]
since = [time.process_time(), time.perf_counter()]
def turn():
    cpu, wall = time.process_time(), time.perf_counter()
    at = spent.setdefault(stack[-1], [0.0, 0.0])
    at[0] += cpu - since[0]
    at[1] += wall - since[1]
    since[:] = [cpu, wall]
class Stages:
    def stage(self, name, total=None):
        turn()
        stack.append(name)
    def advance(self, amount=1.0):
        pass
    def done(self):
        turn()
        if len(stack) > 1:
            stack.pop()
detect = vision.PoseLandmarker.detect_for_video
def counted(self, *arguments, **named):
    calls["frames"] += 1
    return detect(self, *arguments, **named)
vision.PoseLandmarker.detect_for_video = counted
swings, frames, notes = 0, 0.0, []
for text in sys.argv[1:]:
    path = Path(text)
    job = ReadJob(path, sha256_of(path), ClipOptions(use_cache=False), path.stat().st_size)
    turn()
    read = read_clip(job, Stages())
    turn()
    del stack[1:]
    swings += len(read.swings)
    frames += read.duration_s * read.rate_hz
    notes += [read.problem] if read.problem else []
import resource
print(json.dumps({"stages": spent, "swings": swings, "posed": calls["frames"], "frames": frames, "problems": notes,
                  "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""
"""Reads clips as a worker does, and says what each stage took of the processor, all threads together."""


@dataclasses.dataclass
class Run:
    """One ``overlay add``."""

    seconds: float
    cpu_s: float
    n_clips: int
    counts: dict[str, int]
    n_swings: int
    swings_each: tuple[int, ...]
    parent_mb: float
    worker_mb: float

    @property
    def each_s(self) -> float:
        return self.seconds / self.n_clips


def environment(work: Path) -> dict[str, str]:
    """That of a user who has set nothing, with a library and a cache of its own."""
    own = {"OVERLAY_LIBRARY": str(work / "library.sqlite"), "OVERLAY_CACHE_DIR": str(work / "cache")}
    return {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")} | own


def add(paths: list[Path], workers: int) -> Run:
    """Add the clips with so many workers to a fresh library, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "overlay", "add", *map(str, paths), "--player", "Wren Aldous",
                   "--club", "mid iron", "--workers", str(workers), "--quiet", "--json"]  # fmt: skip
        started = time.perf_counter()
        process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(Path(folder)),
            cwd=folder,
        )
        peaks: dict[int, float] = {}
        stop = threading.Event()
        watching = threading.Thread(target=_watch, args=(process.pid, peaks, stop))
        watching.start()
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        said, complaints = process.communicate()
        seconds = time.perf_counter() - started
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        stop.set()
        watching.join()
    if not said:
        raise SystemExit(complaints)
    report = json.loads(said)
    parent = peaks.pop(process.pid, math.nan)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    for row in report["clips"]:
        if row["problem"]:
            print(f"   {Path(row['path']).name}: {row['problem']}", flush=True)
    return Run(
        seconds, cpu_s, len(paths), report["counts"], report["n_swings"],
        tuple(row["n_swings"] for row in report["clips"]), parent, max(peaks.values(), default=math.nan),
    )  # fmt: skip


def _watch(parent: int, peaks: dict[int, float], stop: threading.Event) -> None:
    """Highest resident memory of a process and its descendants, MB, as the system itself keeps it (Linux)."""
    while not stop.wait(0.5):
        waiting = [parent]
        while waiting:
            pid = waiting.pop()
            try:
                status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
                for thread in Path(f"/proc/{pid}/task").iterdir():
                    waiting += map(int, (thread / "children").read_text(encoding="utf-8").split())
            except OSError:
                continue
            for line in status.splitlines():
                if line.startswith("VmHWM:"):
                    peaks[pid] = int(line.split()[1]) / 1024


def stages(paths: list[Path]) -> dict[str, Any]:
    """What each stage takes, one clip after the other in one process set up as a worker's."""
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-c", STAGES, *map(str, paths)],
            check=False, capture_output=True, text=True, env=environment(Path(folder)), cwd=folder,
        )  # fmt: skip
    if done.returncode:
        raise SystemExit(done.stderr)
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    for problem in result["problems"]:
        print(f"   {problem}", flush=True)
    return result


def bit_rate(paths: list[Path]) -> float:
    """Mbit/s over all the clips of ``CLIP_S``."""
    return sum(path.stat().st_size for path in paths) * 8e-6 / (len(paths) * CLIP_S)


# The page ------------------------------------------------------------------------------------------------------------


def processor() -> str:
    try:
        for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.processor() or platform.machine()


def page(
    arguments: str,
    paths: list[Path],
    whole: Run,
    pairs: list[tuple[Run, Run]],
    each: tuple[int, dict[str, Any]],
    long: tuple[Run, dict[str, Any], float] | None,
) -> list[str]:
    """Lines of the page."""
    ratios = [one.seconds / two.seconds for one, two in pairs]
    ratio = statistics.median(ratios)
    n_read, told = each
    lines = [
        "# Many clips at once",
        "",
        f"Made by `python studies/many_clips.py{arguments}` on {datetime.date.today().isoformat()}: "
        f"{os.cpu_count()} cores ({processor()}), Python {platform.python_version()}, {platform.system()}. Wanted: at "
        "most 8 s a clip on 2 cores for 70 clips of 3 s at 1080p60; two workers 1.7 times as fast as one.",
        "",
        "## The clips",
        f"{len(paths)} files of {CLIP_S:g} s, {SIZE[0]}×{SIZE[1]} px at {RATE_HZ} frames/s, H.264 at "
        f"{bit_rate(paths):.0f} Mbit/s with sound, down the line and face on in turn. They are synthetic: "
        f"{min(MASTERS, len(paths))} swings of invented players were rendered at {RENDERED[0]}×{RENDERED[1]} px and "
        "enlarged with a cubic filter. Every file is cut at another moment, framed some pixels differently, lighter or "
        f"darker, and has noise (standard deviation {NOISE_LEVELS:g} grey levels at the full size) and sound of its "
        "own: no two share a frame, a hash, or a kept pose. The enlarged picture is softer than a camera's; what the "
        "decoder has to do follows from the bit rate, and what the pose model has to do is the same for any picture. "
        "Real clips move more in the background, where only the motion finder looks.",
        "",
        "## All of them, two workers",
        "",
        "| clips | added | swings | wall, s | **s a clip** | CPU, s a clip | parent's peak, MB | a worker's peak, MB |",
        "|---|---|---|---|---|---|---|---|",
        f"| {whole.n_clips} | {whole.counts.get('added', 0)} | {whole.n_swings} | {whole.seconds:.0f} | "
        f"**{whole.each_s:.2f}** | {whole.cpu_s / whole.n_clips:.2f} | {whole.parent_mb:.0f} | {whole.worker_mb:.0f} |",
        "",
        f"`overlay add` from its start to its end, a fresh library and an empty cache. {_swing_words(whole)}",
        "",
        "## One worker and two",
        "",
        f"{pairs[0][0].n_clips} of the clips, one worker and two in turn, each with a fresh library and cache.",
        "",
        "| run | one worker, s | two workers, s | ratio | CPU with one, s | CPU with two, s |",
        "|---|---|---|---|---|---|",
        *(
            f"| {k} | {one.seconds:.1f} | {two.seconds:.1f} | {one.seconds / two.seconds:.2f} | {one.cpu_s:.1f} | "
            f"{two.cpu_s:.1f} |"
            for k, (one, two) in enumerate(pairs, 1)
        ),
        "",
        f"Median ratio **{ratio:.2f}**. With two workers the same clips take "
        f"{statistics.median(two.cpu_s / one.cpu_s for one, two in pairs):.2f} times the processor time: cores share "
        "caches and memory. One worker keeps "
        f"{statistics.median(one.cpu_s / one.seconds for one, _ in pairs):.2f} cores busy: in a pool each decodes, "
        "looks and measures on one thread, since what one worker used beyond its core a second one could not gain. (A "
        "clip that is added alone has all cores.) Starting Python and loading the libraries, once a worker, is part "
        "of every time here.",
        "",
        "## Where the time goes",
        "",
        f"{n_read} of the clips read one after the other in one process set up as a worker, all its threads counted.",
        "",
        *_stage_table(told, n_read),
    ]
    if long is not None:
        run, seen, length_s = long
        lines += [
            "",
            "## One long recording",
            "",
            f"{length_s:.0f} s of the same kind with {3 * LONG_ROUNDS} swings (the same minute {LONG_ROUNDS} times "
            "over): the player stands, places balls, waggles, rehearses and swings.",
            "",
            "| swings found | wall, s | s a swing | CPU, s | pose ran on, frames | of, frames | share | peak, MB |",
            "|---|---|---|---|---|---|---|---|",
            f"| {run.n_swings} | {run.seconds:.0f} | {run.seconds / max(1, run.n_swings):.1f} | {run.cpu_s:.0f} | "
            f"{seen['posed']} | {seen['frames']:.0f} | {seen['posed'] / seen['frames']:.0%} | {run.worker_mb:.0f} |",
            "",
            "Wall and CPU are those of `overlay add`, which gives a recording that is alone all cores; the frames were "
            "counted in the run below.",
            "",
            *_stage_table(seen, 1),
        ]
    return lines


def _swing_words(run: Run) -> str:
    odd = sum(count != 1 for count in run.swings_each)
    return "Every clip gave its one swing." if odd == 0 else f"{odd} clips gave another number of swings than one."


def _stage_table(told: dict[str, Any], n: int) -> list[str]:
    spent = sorted(told["stages"].items(), key=lambda entry: -entry[1][0])
    total = [sum(values[k] for _, values in spent) for k in (0, 1)]
    return [
        "| stage | CPU, s a clip | wall, s a clip | share of CPU |",
        "|---|---|---|---|",
        *(
            f"| {name} | {cpu / n:.2f} | {wall / n:.2f} | {cpu / total[0]:.0%} |"
            for name, (cpu, wall) in spent
            if cpu / total[0] >= 0.005
        ),
        f"| all | {total[0] / n:.2f} | {total[1] / n:.2f} | |",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clips", type=int, default=70, help="how many clips; fewer than 70 writes no page")
    parser.add_argument("--subset", type=int, default=16, help="how many of them for one worker against two")
    parser.add_argument("--repeats", type=int, default=2, help="how often one worker and two take turns")
    parser.add_argument("--folder", type=Path, help="keep the clips here and use those that are here")
    parser.add_argument("--quick", action="store_true", help="four clips, no long recording; nothing is written")
    parser.add_argument("--no-long", action="store_true", help="without the long recording")
    parser.add_argument("--only-material", action="store_true", help="make the clips and stop")
    options = parser.parse_args()
    n_clips = 4 if options.quick else options.clips
    long = not (options.quick or options.no_long)
    with contextlib.ExitStack() as stack:
        folder = options.folder or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        paths, recording = material(folder.resolve(), n_clips, long=long)
        if options.only_material:
            return
        subset = paths[: min(options.subset, 2 if options.quick else options.subset)]
        each = (min(4, len(paths)), stages(paths[:4]))
        print(f"stages: {each[1]['stages']}", flush=True)
        pairs = []
        for _ in range(1 if options.quick else options.repeats):
            pairs.append((add(subset, 1), add(subset, 2)))
            print(f"{len(subset)} clips: {pairs[-1][0].seconds:.1f} s, {pairs[-1][1].seconds:.1f} s", flush=True)
        whole = add(paths, 2)
        print(f"{len(paths)} clips: {whole.seconds:.1f} s, {whole.each_s:.2f} s a clip", flush=True)
        alone = None
        if recording is not None:
            alone = (add([recording], 2), stages([recording]), LONG_ROUNDS * long_session()[0].duration_s)
        said = [f"--clips {n_clips}"] if n_clips != 70 else []
        lines = page("".join(f" {word}" for word in said), paths, whole, pairs, each, alone)
    if n_clips >= 70 and alone is not None:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        OUT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
