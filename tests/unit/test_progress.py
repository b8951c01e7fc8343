"""Progress: stopping work at its next step, and a stage per thread."""

from __future__ import annotations

import threading

import pytest

from overlay.cli.show import PlainStages, RichStages, progress_display
from overlay.progress import SILENT, Stoppable, Stopped


class Heard:
    def __init__(self) -> None:
        self.said: list[object] = []

    def stage(self, name: str, total: float | None = None) -> None:
        self.said.append(("stage", name, total))

    def advance(self, amount: float = 1.0) -> None:
        self.said.append(amount)

    def done(self) -> None:
        self.said.append("done")


def test_stoppable_passes_on_until_stopped() -> None:
    heard, stop = Heard(), threading.Event()
    progress = Stoppable(heard, stop)
    progress.stage("finding the body", 3)
    progress.advance()
    stop.set()
    with pytest.raises(Stopped):
        progress.advance()
    with pytest.raises(Stopped):
        progress.stage("next")
    progress.done()
    assert heard.said == [("stage", "finding the body", 3), 1.0, "done"]


def test_each_thread_closes_its_own_stage() -> None:
    from rich.progress import Progress as Bars

    bars = Bars(disable=True)
    stages = RichStages(bars)
    stages.stage("student", 10)

    def other() -> None:
        stages.stage("reference", 5)
        stages.advance(2)
        stages.done()

    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    stages.advance(4)
    by_name = {task.description: task for task in bars.tasks}
    assert by_name["reference"].completed == 5
    assert by_name["student"].completed == 4


def test_quiet_is_silent_and_a_pipe_gets_lines(capsys: pytest.CaptureFixture[str]) -> None:
    with progress_display(True) as progress:
        assert progress is SILENT
    with progress_display(False) as progress:
        assert isinstance(progress, PlainStages)
        progress.stage("drawing the video", 10)
        progress.advance()
        progress.done()
    assert capsys.readouterr().err == "drawing the video …\n"
