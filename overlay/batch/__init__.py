"""Many clips: a folder read on all cores into the library, resumed after an interruption, and watched as clips arrive.

``add_clips`` finds the clips, leaves out what the library holds already, has a ``Pool`` read the others and keeps each
in one transaction as soon as it is done.
"""

from overlay.batch.adding import add_clips, add_outdated
from overlay.batch.documents import report_document, row_document
from overlay.batch.engine import engine, inputs_of
from overlay.batch.finding import Found, find_clips
from overlay.batch.jobs import Pool, ReadJob, Told
from overlay.batch.newest import NewestFolder
from overlay.batch.pool import LocalPool
from overlay.batch.reading import read_clip, reference_key
from overlay.batch.spec import AddReport, AddRow, AddSpec
from overlay.batch.watching import watch_folder

__all__ = [
    "AddReport",
    "AddRow",
    "AddSpec",
    "Found",
    "LocalPool",
    "NewestFolder",
    "Pool",
    "ReadJob",
    "Told",
    "add_clips",
    "add_outdated",
    "engine",
    "find_clips",
    "inputs_of",
    "read_clip",
    "reference_key",
    "report_document",
    "row_document",
    "watch_folder",
]
