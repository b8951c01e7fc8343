"""Programs on the library that are ended by SIGKILL at a random moment, and what must hold afterwards.

As a program (``python library_killing.py JOB FOLDER``) it works until it is ended and says after each step what is
done.
As a module it starts such a program, ends it, and looks at what it left. Used by the tests and by
studies/kill_library.py.
"""

from __future__ import annotations

import datetime
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from library_factory import clip_read, comparison, digest, swing_read

from overlay.library import Store, open_store
from overlay.library.opening import connect, copies_before
from overlay.library.schema import MIGRATIONS

JOBS = ("keep", "migrate", "forget", "backup")
DAY = datetime.date(2031, 5, 4)
N_CLIPS = 40
N_PLAYERS = 6
LONGEST_S = 1.5
"""The moment of the end is drawn between the first sign of life and this much later."""


def player_name(i: int) -> str:
    return f"Wren Holloway the {i:03d}rd"


def session(store: Store, name: str = "Mara Lindqvist") -> int:
    return store.ensure_session(store.ensure_player(name).id, DAY, "7 iron").id


def reading(i: int, engine: str = "e1"):  # type: ignore[no-untyped-def]
    """Clip ``i``: two swings, one of them compared."""
    return clip_read(
        f"clip {i}",
        swing_read(1, 1.0 + i, compared=comparison()),
        swing_read(2, 2.0 + i, start_s=7.0),
        recorded_at=1e9 + 60 * i,
        engine=engine,
    )


def say(word: object) -> None:
    print(word, flush=True)


# --- the programs ---


def keep(folder: Path) -> None:
    """Keeps clips, each new one and then all once more with another engine."""
    with open_store(folder / "library.sqlite") as store:
        id = session(store)
        say("begun")
        for engine in ("e1", "e2", "e3", "e4"):
            for i in range(N_CLIPS):
                store.keep(id, reading(i, engine))
                say(f"{engine} {i}")


def old_library(path: Path, players: int = 1, clips: int = 4) -> None:
    """A library that lacks the last migration, with content."""
    db = connect(path, migrations=MIGRATIONS[:-1])
    with Store(db) as store:
        for p in range(players):
            id = session(store, player_name(p))
            for i in range(clips):
                store.keep(id, clip_read(f"old {p} {i}"))


def migrate(folder: Path) -> None:
    """Opens one library of the version before after the other."""
    say("begun")
    for i in range(10_000):
        path = folder / f"library-{i}.sqlite"
        shutil.copy(folder / "old.sqlite", path)
        say(f"opening {i}")
        open_store(path).close()
        say(f"opened {i}")


def forget(folder: Path) -> None:
    """Forgets one player after the other, as the notes of the last one say."""
    with open_store(folder / "library.sqlite") as store:
        say("begun")
        for i in range(N_PLAYERS):
            store.forget(player_name(i))
            say(f"forgotten {i}")
    time.sleep(60)


def backup(folder: Path) -> None:
    """Copies the library into the same file again and again."""
    with open_store(folder / "library.sqlite") as store:
        say("begun")
        for i in range(10_000):
            store.backup(folder / "backup.sqlite", replace=True)
            say(f"copied {i}")


# --- starting, ending, looking ---


@dataclass(frozen=True)
class Outcome:
    """What a program had said when it was ended, after how long, and what is wrong with what it left."""

    job: str
    after_s: float
    said: list[str]
    wrong: list[str]


def prepare(job: str, folder: Path) -> None:
    """What the program needs to begin."""
    if job == "migrate":
        old_library(folder / "old.sqlite")
    if job in ("forget", "backup"):
        with open_store(folder / "library.sqlite") as store:
            for p in range(N_PLAYERS):
                id = session(store, player_name(p))
                for i in range(3):
                    store.keep(id, clip_read(f"clip {p} {i}", swing_read(compared=comparison())))
                store.add_note("player", p + 1, f"A remark on number {p:03d} alone.")


def killed(job: str, folder: Path, rng: random.Random) -> Outcome:
    """Start the program of a job, end it at a random moment, and look at what is left.

    Half of the moments are drawn over the whole run, half of them right after something was said: that is where the
    work is.
    """
    folder.mkdir(parents=True)
    prepare(job, folder)
    program = subprocess.Popen(
        [sys.executable, __file__, job, str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "OMP_NUM_THREADS": "1", "OVERLAY_LIBRARY": str(folder / "library.sqlite")},
    )
    assert program.stdout is not None
    lines = [program.stdout.readline().strip()]
    begun = time.monotonic()
    if rng.random() < 0.5:
        time.sleep(rng.uniform(0, LONGEST_S))
    else:
        for _ in range(rng.randrange(1, 12)):
            line = program.stdout.readline().strip()
            if not line:
                break
            lines.append(line)
            if line == f"forgotten {N_PLAYERS - 2}":
                break
        time.sleep(rng.uniform(0, 0.03))
    program.send_signal(signal.SIGKILL)
    after = time.monotonic() - begun
    rest, _ = program.communicate()
    lines += rest.split("\n")
    said = [line for line in lines if line]
    wrong = [] if said and said[0] == "begun" else [f"The program did not begin: {said}."]
    return Outcome(job, after, said, wrong + LOOKS[job](folder, said))


def look_keep(folder: Path, said: list[str]) -> list[str]:
    """Every clip that was said to be kept is whole, no other is half there, and the rest can be kept."""
    wrong = []
    with open_store(folder / "library.sqlite") as store:
        wrong += store.check()
        told = [line.split() for line in said if line.startswith("e")]
        for i in range(N_CLIPS):
            engines = [engine for engine, n in told if int(n) == i]
            clip = store.clip_by_hash(digest(f"clip {i}"))
            if not engines:
                continue
            if clip is None or clip.engine < engines[-1]:
                wrong.append(f"Clip {i} was kept with {engines[-1]} and is {clip}.")
                continue
            for swing in store.swings():
                if swing.clip_id == clip.id and swing.tempo_ratio != swing.number + i:
                    wrong.append(f"Swing {swing.number} of clip {i} has another tempo ratio.")
        id = session(store)
        for i in range(N_CLIPS):
            store.keep(id, reading(i, "e9"))
        if (len(store.clips()), store.count_swings()) != (N_CLIPS, 2 * N_CLIPS):
            wrong.append(f"After going on there are {len(store.clips())} clips and {store.count_swings()} swings.")
        wrong += store.check()
    return wrong


def look_migrate(folder: Path, said: list[str]) -> list[str]:
    """Every library is as it was or as it is to be, nothing of its content is lost, and it can be opened."""
    wrong = []
    paths = sorted(folder.glob("library-*.sqlite"), key=lambda path: path.stat().st_mtime)
    for path in paths[-3:]:
        if path.stat().st_size < (folder / "old.sqlite").stat().st_size and f"opening {path.stem[8:]}" not in said:
            continue  # ended while the old library was being copied into place
        with open_store(path) as store:
            wrong += [f"{path.name}: {sentence}" for sentence in store.check()]
            if len(store.clips()) != 4 or store.count_swings() != 8:
                wrong.append(f"{path.name}: has {len(store.clips())} clips and {store.count_swings()} swings.")
        copies = copies_before(path)
        if [copy.name for copy in copies] != [f"{path.name}.before-{MIGRATIONS[-1].name}"]:
            wrong.append(f"{path.name}: its copies are {[copy.name for copy in copies]}.")
        for copy in copies:
            with open_store(copy) as store:
                wrong += [f"{copy.name}: {sentence}" for sentence in store.check()]
        unfinished = [found.name for found in folder.glob(f".{path.stem}.*") if "before-" in found.name]
        if unfinished:
            wrong.append(f"{path.name}: {unfinished} are left.")
    return wrong


def look_forget(folder: Path, said: list[str]) -> list[str]:
    """Everyone is either wholly there or wholly gone, to the byte, once the library was opened again."""
    wrong = []
    with open_store(folder / "library.sqlite") as store:
        wrong += store.check()
        there = {player.name for player in store.players()}
        n_swings = {name: store.count_swings(_of(name)) for name in there}
    for i in range(N_PLAYERS):
        name = player_name(i)
        if f"forgotten {i}" in said and name in there:
            wrong.append(f"{name} was forgotten and is there.")
        if name in there and n_swings[name] != 3:
            wrong.append(f"{name} has {n_swings[name]} swings.")
        if name not in there:
            wrong += traces(folder, [name, f"number {i:03d} alone", f"clip {i} 0", digest(f"clip {i} 0")])
    return wrong


def _of(name: str):  # type: ignore[no-untyped-def]
    from overlay.library import SwingFilter

    return SwingFilter(players=(name,))


def traces(folder: Path, texts: list[str]) -> list[str]:
    """Which of the texts stand in any file of the folder, in one of the encodings SQLite knows, whatever its case."""
    wrong = []
    for path in sorted(found for found in folder.iterdir() if found.is_file()):
        content = path.read_bytes().lower()
        for text in texts:
            if any(text.lower().encode(code) in content for code in ("utf-8", "utf-16-le", "utf-16-be")):
                wrong.append(f"{path.name} still holds {text!r}.")
    return wrong


def look_backup(folder: Path, said: list[str]) -> list[str]:
    """The library is sound, and a backup that bears its name is whole."""
    wrong = []
    with open_store(folder / "library.sqlite") as store:
        wrong += store.check()
        players = store.players()
    copy = folder / "backup.sqlite"
    if copy.exists():
        with open_store(copy) as store:
            wrong += [f"backup: {sentence}" for sentence in store.check()]
            if store.players() != players or store.count_swings() != 3 * N_PLAYERS:
                wrong.append("The backup lacks something.")
    elif any(line.startswith("copied") for line in said):
        wrong.append("There is no backup.")
    return wrong


LOOKS = {"keep": look_keep, "migrate": look_migrate, "forget": look_forget, "backup": look_backup}
PROGRAMS = {"keep": keep, "migrate": migrate, "forget": forget, "backup": backup}


if __name__ == "__main__":
    PROGRAMS[sys.argv[1]](Path(sys.argv[2]))
