"""``overlay watch``: clips are added as they arrive, and the newest comparison is shown at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.add import checked, finish, make_pool, need_player, read_spec, session_options
from overlay.cli.add_show import AddDisplay, now_words, row_line
from overlay.cli.options import library_option
from overlay.cli.record_options import plain

if TYPE_CHECKING:
    from overlay.batch import AddRow
    from overlay.errors import OverlayError


@click.command("watch")
@click.argument("folder", type=click.Path(path_type=Path))
@session_options
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write video, stills and report of the newest comparison here, always under the same names.",
)
@click.option("--no-video", is_flag=True, help="With --out: stills, report and scores only.")
@click.option("--only-new", is_flag=True, help="Leave what is in the folder already: a phone's camera folder, say.")
@click.option(
    "--still",
    type=click.FloatRange(0.0, 600.0),
    metavar="SECONDS",
    help="How long a file must stand still before it is taken for whole. Default: 3.",
)
@library_option
@click.option("--quiet", "-q", is_flag=True, help="No progress; the comparisons are shown all the same.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole report as JSON at the end (docs/adding.md).")
def command(
    folder: Path,
    out: Path | None,
    no_video: bool,
    only_new: bool,
    still: float | None,
    library: Path | None,
    quiet: bool,
    as_json: bool,
    workers: int | None,
    cluster: str | None,
    **values: Any,
) -> int:
    """Watch FOLDER, such as the one a phone copies its clips into, and add every clip as soon as it is whole.

    After each clip: what to work on first, how it differs from the reference, and what is wrong with the filming.
    Ends with Ctrl-C and a table of what came in.
    """
    from overlay.batch import NewestFolder, watch_folder
    from overlay.library import open_store
    from overlay.pipeline import OUTPUT_NAMES, OutputOptions
    from overlay.settings.batch import WatchSettings

    spec = read_spec(values)
    need_player(spec)
    if no_video and out is None:
        raise click.UsageError("--no-video is for --out.")
    wanted = frozenset(OUTPUT_NAMES) - ({"video"} if no_video else set())
    newest = None if out is None else NewestFolder(out, OutputOptions(wanted=wanted))
    settings = WatchSettings() if still is None else WatchSettings(still_s=still)
    with open_store(library) as store, make_pool(workers, cluster) as pool:
        spec = checked(spec, store)
        display = _WatchDisplay(quiet, pool.workers, folder, as_json)

        def work() -> Any:
            return watch_folder(
                store,
                folder,
                spec,
                pool,
                display,
                display.told,
                display.running,
                out=newest,
                late=display.late,
                written=display.written,
                only_new=only_new,
                settings=settings,
            )

        return finish(work, display, spec.player, as_json)


class _WatchDisplay(AddDisplay):
    """Shows each clip's answer as soon as it is there, on standard output (with --json on standard error)."""

    def __init__(self, quiet: bool, workers: int, folder: Path, as_json: bool) -> None:
        super().__init__(quiet, workers)
        self._err = as_json
        self.say(f"Watching {plain(str(folder), 200)}; Ctrl-C ends it.")

    def say(self, text: str, *, bold: bool = False) -> None:
        from rich.console import Console
        from rich.text import Text

        from overlay.cli.show import console

        if self._bars is not None and (self._err or sys.stdout.isatty()):
            self._bars.console.print(Text(text, style="bold" if bold else ""))
        else:
            out = Console(stderr=True, highlight=False, soft_wrap=True) if self._err else console()
            out.print(Text(text, style="bold" if bold else ""))
            # Whoever reads it through a pipe waits for it too.
            out.file.flush()

    def done(self) -> None:
        self._begin(0)
        self._draw("waiting for the next clip")

    def told(self, row: AddRow) -> None:
        self.forget(row)
        if row.state in ("known", "moved", "skipped") and not row.problem:
            self.say(row_line(row))
            return
        self.say(f"{now_words()}  {row_line(row)}", bold=not row.problem)
        if row.problem and row.hint:
            self.say(f"  {plain(row.hint, 400)}")
        if row.read is None or row.problem:
            return
        last = row.read.swings[-1]
        if last.first_sentence:
            self.say(f"  First: {plain(last.first_sentence, 1000)}")
        if last.comparison is not None:
            self.say(f"  Against {plain(last.comparison.reference_name, 60)}: {plain(last.comparison.first, 1000)}")
        if row.note:
            self.say(f"  {plain(row.note, 1000)}")
        faulty = [finding for finding in last.filming.findings if finding.verdict in ("warn", "fail")]
        for finding in faulty:
            said = f"{finding.sentence} {finding.advice}".rstrip()
            self.say(f"  Filming, {finding.verdict}: {plain(said, 1000)}")
        if not faulty:
            self.say("  Filming: good.")

    def late(self, path: Path, why: str) -> None:
        """A file that does not become whole."""
        self.say(f"{now_words()}  {plain(path.name, 60)}: still waited for: {plain(why, 300)}.")

    def written(self, path: Path, paths: dict[str, Path], error: OverlayError | None) -> None:
        """Where the newest comparison lies, or why not."""
        if error is not None:
            self.say(f"  No pictures of {plain(path.name, 60)}: {plain(error.message, 400)} {plain(error.hint, 400)}")
            return
        shown = paths.get("video") or paths.get("report")
        if shown is not None:
            self.say(f"{now_words()}  {plain(path.name, 60)} compared: {shown}")
