"""What is left when ``overlay add`` and ``overlay watch`` are killed at random moments.

    python studies/kill_add.py [--quick] [--trials N] [--clips FOLDER]

Each trial starts the command on a folder of three clips that the library does not hold yet, kills it (SIGKILL, which no
program can answer) after a random time, one time in three after one of its workers, and then asks: does the library
check clean, is everything in it that was told as added, is every clip of it whole, are all workers gone, is any
half-written file left. Then the same command goes on, is killed again or not, until the folder is complete. One library
serves all trials. Clips are saved tracks of the synthetic golfer; with ``--clips`` every fifth folder holds a video.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

PAGE = HERE.parent / "docs" / "studies" / "kill_add.md"
PER_FOLDER = 3


@dataclasses.dataclass
class Tally:
    """What the trials came to."""

    kills: dict[str, int] = dataclasses.field(default_factory=lambda: {"add": 0, "watch": 0})
    with_worker: int = 0
    told: int = 0
    lost: int = 0
    unclean: int = 0
    half: int = 0
    survivors: int = 0
    leftovers: int = 0
    unfinished: int = 0
    folders: int = 0
    at_s: list[float] = dataclasses.field(default_factory=list)
    with_some: int = 0
    """Kills before which something but not everything of the folder was told as added."""


def base_tracks() -> list[object]:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track

    tracks = []
    for seed, view in ((0, "dtl"), (1, "fo"), (2, "dtl")):
        motion = simulate(GolferSpec(seed=seed))
        camera = CameraSpec.for_motion(motion, view)
        noise = NoiseSpec(dropout=0.0, hip_swap=0.0)
        tracks.append((truth_track(motion, camera, 30.0, noise=noise, seed=seed), view))
    return tracks


def fill_folder(folder: Path, number: int, tracks: list[object], clips: list[Path]) -> None:
    """Three clips that no folder before had: the golfer stands a hair further to the right each time."""
    from overlay.pose import save_track

    folder.mkdir(parents=True)
    for i in range(PER_FOLDER):
        if clips and i == 0 and number % 5 == 1:
            # Bytes behind the last box are no part of the film: another file, the same pictures.
            source = clips[number % len(clips)]
            content = source.read_bytes()
            tail = f"{number}".encode()
            free = (len(tail) + 8).to_bytes(4, "big") + b"free" + tail
            (folder / f"clip{number}.mp4").write_bytes(content + free)
            continue
        track, view = tracks[i]  # type: ignore[misc]
        moved = dataclasses.replace(track, points=track.points + 1e-4 * (number + 1))
        save_track(folder / f"swing{number}-{i}.npz", moved, view=view, handedness="right")


def children_of(pid: int) -> list[int]:
    try:
        return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def alive(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


def run_once(command: list[str], environment: dict[str, str], work: Path, after_s: float | None, worker_too: bool):
    """Start the command and kill it after a time (None: let it end). Names told as added, seconds, workers left."""
    said = work / "said.txt"
    started = time.monotonic()
    with open(said, "w") as out:
        process = subprocess.Popen(command, env=environment, cwd=work, stdout=out, stderr=subprocess.STDOUT)
    workers: list[int] = []
    code = None
    if after_s is None:
        code = process.wait(900)
    else:
        try:
            process.wait(after_s)
        except subprocess.TimeoutExpired:
            workers = children_of(process.pid)
            if worker_too and workers:
                os.kill(workers[0], signal.SIGKILL)
                time.sleep(0.05)
            process.kill()
        code = process.wait()
    took = time.monotonic() - started
    until = time.monotonic() + 20
    while any(alive(pid) for pid in workers) and time.monotonic() < until:
        time.sleep(0.05)
    text = said.read_text(errors="replace")
    added = {
        line.split(": added")[0].split("] ")[-1].split("  ")[-1].strip()
        for line in text.splitlines()
        if ": added: " in line
    }
    return code, added, took, sum(alive(pid) for pid in workers), text


def examine(tally: Tally, library: Path, cache: Path, folder: Path, told: set[str]) -> set[str]:
    """Ask everything that has to hold after a kill; what of the folder is in the library."""
    from overlay.library import open_store

    held: set[str] = set()
    if library.exists():
        with open_store(library) as store:
            tally.unclean += bool(store.check())
            for clip in store.clips():
                if clip.path.parent == folder:
                    held.add(clip.path.name)
            swings = store.swings()
            for clip in store.clips():
                mine = [swing for swing in swings if swing.clip_id == clip.id]
                whole = len(mine) == clip.n_swings and clip.n_swings > 0
                whole = whole and all(store.measures_of(swing.id) for swing in mine[:1])
                tally.half += not whole
    tally.lost += len(told - held)
    tally.leftovers += len([path for path in cache.rglob("*") if ".part" in path.name])
    return held


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="6 kills; nothing is written")
    parser.add_argument("--trials", type=int, default=100, help="kills")
    parser.add_argument("--clips", type=Path, help="a folder of videos, one of which is in every fifth folder")
    options = parser.parse_args()
    trials = 6 if options.quick else options.trials
    if os.name != "posix":
        raise SystemExit("This study sends signals as POSIX has them.")
    rng = np.random.default_rng(20260503)
    tracks = base_tracks()
    clips = sorted(options.clips.glob("*.mp4")) if options.clips else []
    tally = Tally()
    work = Path(tempfile.mkdtemp(prefix="kill_add_"))
    library, cache = work / "library.sqlite", work / "cache"
    cache.mkdir()
    environment = dict(os.environ, OVERLAY_CACHE_DIR=str(cache), OVERLAY_LIBRARY=str(library), OMP_NUM_THREADS="1")
    environment["PYTHONPATH"] = str(HERE.parent)
    program = [sys.executable, "-m", "overlay"]
    told = ["--player", "Rowan Vale", "--club", "7 iron", "--date", "2026-05-03", "--workers", "2"]
    try:
        number = 0
        fill_folder(work / "f0", number, tracks, clips)
        code, added, whole_s, _, text = run_once(
            [*program, "add", str(work / "f0"), *told], environment, work, None, False
        )
        if code != 0 or len(added) != PER_FOLDER:
            raise SystemExit(f"The folder cannot be added even in peace:\n{text}")
        while sum(tally.kills.values()) < trials:
            number += 1
            folder = work / f"f{number}"
            fill_folder(folder, number, tracks, clips)
            tally.folders += 1
            everything = {path.name for path in folder.iterdir()}
            done: set[str] = set()
            for _ in range(3):
                if sum(tally.kills.values()) >= trials:
                    break
                which = "watch" if rng.random() < 0.35 else "add"
                command = [*program, which, str(folder), *told, *(["--still", "0.2"] if which == "watch" else [])]
                # Up to a little after the end: the watch goes on by itself.
                after_s = float(rng.uniform(0.0, 1.15 * whole_s))
                worker_too = bool(rng.random() < 1 / 3)
                code, added, took, survivors, _ = run_once(command, environment, work, after_s, worker_too)
                if code == -signal.SIGKILL:
                    tally.kills[which] += 1
                    tally.with_worker += worker_too
                    tally.at_s.append(took)
                tally.survivors += survivors
                done |= added
                tally.told += len(added)
                held = examine(tally, library, cache, folder, done)
                tally.with_some += 0 < len(held) < PER_FOLDER
                if held == everything:
                    break
            code, _, _, _, text = run_once([*program, "add", str(folder), *told], environment, work, None, False)
            held = examine(tally, library, cache, folder, everything)
            tally.unfinished += code != 0 or held != everything
            print(f"{sum(tally.kills.values())} of {trials} kills", flush=True)
            shutil.rmtree(folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    page = report(tally, clips, whole_s)
    print(page)
    if not options.quick:
        PAGE.write_text(page, encoding="utf-8")
    bad = (tally.lost, tally.unclean, tally.half, tally.survivors, tally.unfinished)
    if any(bad):
        raise SystemExit("Something was lost, half-recorded, unclean, or left running.")


def report(tally: Tally, clips: list[Path], whole_s: float) -> str:
    n = sum(tally.kills.values())
    share = np.array(tally.at_s) / whole_s
    material = "three saved tracks, in every fifth folder one of them a video" if clips else "three saved tracks"
    return f"""# Killed at random moments

Written by `studies/kill_add.py`. {n} times `overlay add` ({tally.kills["add"]}) or `overlay watch` \
({tally.kills["watch"]}) was killed with SIGKILL while it read folders of {PER_FOLDER} new clips ({material}) with two \
workers into one library; in {tally.with_worker} of the trials one of its workers was killed just before. The moments \
are uniform over the time a run takes in peace and a little more (a tenth of them lie before \
{np.quantile(share, 0.1):.0%} of it, half before {np.quantile(share, 0.5):.0%}). After {tally.with_some} kills a part \
of the folder was in the library and a part was not.

| after a kill | count |
|---|---:|
| kills | {n} |
| clips told as added before the kill | {tally.told} |
| of these not in the library | {tally.lost} |
| clips half-recorded (swings or measures missing) | {tally.half} |
| libraries that do not check clean | {tally.unclean} |
| workers still running after 20 s | {tally.survivors} |
| half-written files left in the cache | {tally.leftovers} |
| folders ({tally.folders}) that a rerun did not complete | {tally.unfinished} |
"""


if __name__ == "__main__":
    main()
