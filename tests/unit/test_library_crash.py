"""Programs ended by SIGKILL at random moments, and two programs that keep at once: nothing is lost or half there."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import library_killing
import pytest

from overlay.library import open_store

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL here")


@pytest.mark.parametrize(("job", "times"), [("keep", 6), ("migrate", 4), ("forget", 3), ("backup", 2)])
def test_a_program_that_is_ended_leaves_a_sound_library(job: str, times: int, tmp_path: Path) -> None:
    rng = random.Random(f"{job} 1")
    for i in range(times):
        outcome = library_killing.killed(job, tmp_path / str(i), rng)
        assert outcome.wrong == [], outcome


PROGRAM = """
import sys
sys.path.insert(0, {folder!r})
from pathlib import Path
from library_factory import clip_read
from library_killing import session
from overlay.library import open_store
which, path = sys.argv[1], Path(sys.argv[2])
with open_store(path) as store:
    for i in range(25):
        # Every fifth clip is kept by both.
        name = f"shared {{i}}" if i % 5 == 0 else f"{{which}} {{i}}"
        store.keep(session(store), clip_read(name, recorded_at=1e9 + 60 * i))
        store.tag("session", session(store), f"{{which}} {{i}}")
"""


def test_two_programs_keep_at_once_without_error_or_loss(tmp_path: Path) -> None:
    # The library does not exist yet: both of them make it.
    path = tmp_path / "new" / "library.sqlite"
    program = PROGRAM.format(folder=str(Path(__file__).parent))
    running = [
        subprocess.Popen([sys.executable, "-c", program, which, str(path)], stderr=subprocess.PIPE, text=True)
        for which in ("one", "two")
    ]
    for process in running:
        _, errors = process.communicate()
        assert process.returncode == 0, errors
    with open_store(path) as store:
        assert len(store.clips()) == 45
        assert store.count_swings() == 90
        assert len(store.players()) == len(store.sessions()) == 1
        assert len(store.sessions()[0].tags) == 50
        assert store.check() == ()


def test_the_look_at_a_killed_program_sees_a_loss(tmp_path: Path) -> None:
    with open_store(tmp_path / "library.sqlite") as store:
        store.keep(library_killing.session(store), library_killing.reading(0, "e1"))
    said = ["begun", "e1 0", "e1 1", "e2 0"]
    wrong = library_killing.look_keep(tmp_path, said)
    assert any("Clip 1 was kept" in sentence for sentence in wrong)
    assert any("Clip 0 was kept with e2" in sentence for sentence in wrong)
