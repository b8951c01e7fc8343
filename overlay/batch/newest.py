"""The newest comparison as video, stills and report, always under the same names."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data.record import ClipRead
from overlay.errors import InputError
from overlay.files import output_error
from overlay.pipeline import OUTPUT_NAMES, OutputOptions, check_outputs, compare_clips, write_outputs
from overlay.pipeline.told import told_options
from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from overlay.batch.reference import Chosen

MAKING = ".newest.part"


@dataclass(frozen=True)
class NewestFolder:
    """The folder in which the newest comparison lies, to be kept open in a player or browser.

    Every file is replaced whole, under the name it always has; a folder that is made in the meantime beside them is
    hidden, and removed.
    """

    folder: Path
    options: OutputOptions = dataclasses.field(default_factory=OutputOptions)

    def check(self, watched: Path) -> None:
        """Refuse a folder that would be watched itself, or cannot be written.

        Raises
        ------
        InputError, OutputError
        """
        if self.folder.resolve() == watched.resolve():
            raise InputError(
                f"{self.folder} is the folder that is watched: the results would be taken for clips.",
                "Choose another folder for --out, such as one inside it.",
            )
        check_outputs(self._paths().values(), ())

    def _paths(self) -> dict[str, Path]:
        return {name: self.folder / file for name, file in OUTPUT_NAMES.items() if name in self.options.wanted}

    def write(self, read: ClipRead, chosen: Chosen, *, progress: Progress = SILENT) -> Mapping[str, Path]:
        """Compare the last swing of a clip that was just read, and put the results into the folder.

        Returns
        -------
        mapping name → Path

        Raises
        ------
        InputError, ContentError, MismatchError
            As ``pipeline.compare_clips``.
        OutputError
            The folder cannot be written.
        """
        assert chosen.source is not None
        options = told_options(read.told)
        outcome = compare_clips(
            read.path,
            chosen.source,
            student_options=options,
            stature_cm=options.stature_cm,
            same_player=chosen.same_player,
            progress=progress,
        )
        making = self.folder / MAKING
        paths = self._paths()
        try:
            shutil.rmtree(making, ignore_errors=True)
            write_outputs(outcome, making, self.options, progress=progress)
            for path in paths.values():
                os.replace(making / path.name, path)
        except OSError as error:
            raise output_error(self.folder, error) from error
        finally:
            with contextlib.suppress(OSError):
                shutil.rmtree(making, ignore_errors=True)
        return paths
