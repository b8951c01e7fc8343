"""Many clips: a folder read on all cores into the library, resumed after an interruption, and watched as clips arrive.

``add_clips`` finds the clips, leaves out what the library holds already, has a ``Pool`` read the others and keeps each
in one transaction as soon as it is done.
"""

from overlay.batch.engine import engine, inputs_of
from overlay.batch.jobs import Pool, ReadJob, Told
from overlay.batch.pool import LocalPool
from overlay.batch.reading import read_clip, reference_key

__all__ = ["LocalPool", "Pool", "ReadJob", "Told", "engine", "inputs_of", "read_clip", "reference_key"]
