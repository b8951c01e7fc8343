"""The command ``overlay``: commands are imported when they are called, errors become two lines and an exit code."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Mapping
from typing import Any, ClassVar

import click

from overlay import __version__
from overlay.errors import OverlayError

COMMANDS = {
    "compare": ("overlay.cli.compare", "Compare a student's swing with a reference: video, stills, report, scores."),
    "inspect": ("overlay.cli.inspect", "Find the swing and its positions in one clip, and say how good the clip is."),
    "filming": ("overlay.cli.filming", "Check how one clip is filmed: camera place, frame, light; and what to do."),
    "mark": ("overlay.cli.mark", "Correct by hand what was found in a clip: positions, club, view, hand."),
    "add": ("overlay.cli.add", "Add clips and whole folders of them to a player's record."),
    "watch": ("overlay.cli.watch", "Add clips as they arrive in a folder, and compare the newest at once."),
    "model": ("overlay.cli.model", "Keep references: a swing, the middle of several, one made from numbers."),
    "players": ("overlay.cli.players", "List the players of the library, or change what is known of one."),
    "sessions": ("overlay.cli.sessions", "List the sessions: who, when, which club, how many swings, what failed."),
    "session": ("overlay.cli.session", "Show one session, change it, write its page, remove it."),
    "swings": ("overlay.cli.swings", "List swings, filtered and sorted by anything that is measured."),
    "best": ("overlay.cli.best", "List a player's best swings, or mark one."),
    "note": ("overlay.cli.note", "Write, show and remove notes and tags on a player, session, clip or swing."),
    "holding": (
        "overlay.cli.holding",
        "Say whether a change holds across sessions, and how sure that is.",
    ),
    "trend": ("overlay.cli.trend", "Draw a measure over all sessions, all of a view, or what repeats."),
    "then-and-now": ("overlay.cli.then_now", "Film an older best swing beside the newest best."),
    "export": ("overlay.cli.export", "Write what is kept as tables: CSV or Parquet, tracks as CSV."),
    "backup": ("overlay.cli.backup", "Copy the library to a file and check the copy, or restore it from one."),
    "check": ("overlay.cli.check", "Check that the library is whole."),
    "forget": ("overlay.cli.forget", "Remove everything that is kept of a player."),
    "demo": ("overlay.cli.demo", "Render two invented players and compare them, start to finish."),
    "doctor": ("overlay.cli.doctor", "Check that this machine has what overlay needs."),
}

SECTIONS = {
    "A swing": ("compare", "inspect", "filming", "mark"),
    "References": ("model",),
    "The record": ("add", "watch", "players", "sessions", "session", "swings", "best", "note"),
    "Change": ("holding", "trend", "then-and-now"),
    "Keeping it safe": ("export", "backup", "check", "forget"),
    "This machine": ("demo", "doctor"),
}
"""How the help lists them."""

INTERNAL_ERROR = 70
"""EX_SOFTWARE of sysexits.h."""


class LazyGroup(click.Group):
    """Knows its commands' names and one-liners without importing them: help must be quick.

    ``table`` is name → (module, one-liner); the module's ``command`` is meant unless it says ``module:attribute``.
    """

    table: ClassVar[Mapping[str, tuple[str, str]]] = COMMANDS
    sections: ClassVar[Mapping[str, tuple[str, ...]]] = {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module, _, attribute = self.table[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute or "command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        placed = {name for names in self.sections.values() for name in names}
        rest = tuple(name for name in self.table if name not in placed)
        for title, names in {**self.sections, "Commands": rest}.items():
            rows = [(name, self.table[name][1]) for name in names if name in self.table]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)


class TopGroup(LazyGroup):
    """All commands, listed by what they are for."""

    sections = SECTIONS


@click.group(
    cls=TopGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Everything stays on this machine. Set OVERLAY_DEBUG=1 to see a traceback with an error.",
)
@click.version_option(__version__, prog_name="overlay")
@click.pass_context
def group(ctx: click.Context) -> None:
    """Does this swing look like the swing we want, and where does it first differ?

    overlay finds the swing and its positions in a clip, lines a student's swing up with a reference swing moment
    by moment, shows both in one video and scores the difference phase by phase. It keeps every rep, and says across
    sessions whether a change is holding.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def report_error(message: str, hint: str) -> None:
    """Two lines on standard error, in which nothing acts on the terminal: names of files and people are anybody's."""
    lines = ("".join(letter for letter in " ".join(text.split()) if letter.isprintable()) for text in (message, hint))
    click.echo("error: {}\n  {}".format(*lines), err=True)


def run(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; used by ``main`` and by tests."""
    debug = bool(os.environ.get("OVERLAY_DEBUG"))
    try:
        result: Any = group.main(args=arguments, prog_name="overlay", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.UsageError as error:
        where = error.ctx.command_path if error.ctx else "overlay"
        report_error(error.format_message(), f"`{where} --help` lists what can be given.")
        return 2
    except click.ClickException as error:
        report_error(error.format_message(), "`overlay --help` lists what can be given.")
        return 2
    except (click.Abort, KeyboardInterrupt):
        if debug:
            raise
        report_error("Stopped.", "Nothing half-written was left behind; run the same command to start again.")
        return 130
    except BrokenPipeError:
        # The reader of our output has gone (`| head`): say nothing, as other tools do.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    except OverlayError as error:
        if debug:
            raise
        report_error(error.message, error.hint)
        return error.exit_code
    except MemoryError:
        if debug:
            raise
        report_error(
            "The machine has not enough memory for this clip.", "Cut the clip to the swing, or film at a lower size."
        )
        return INTERNAL_ERROR
    except Exception as error:
        if debug:
            raise
        report_error(
            f"overlay met something it did not expect ({type(error).__name__}: {error}).",
            "This is a fault of overlay: run again with OVERLAY_DEBUG=1 and report what it prints.",
        )
        return INTERNAL_ERROR


def main() -> None:
    """Entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal that cannot show a character must not end the run.
            stream.reconfigure(errors="replace")
    raise SystemExit(run())
