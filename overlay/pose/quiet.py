"""Keeps the chatter of native libraries off the user's screen."""

from __future__ import annotations

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_LOCK = threading.RLock()


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send what native code writes to the process's stderr to nowhere while the block runs.

    Python's own ``sys.stderr`` shares the file descriptor, so the block must be short. When the block raises, what
    was said is added to the exception as a note.
    """
    with _LOCK:
        try:
            sys.stderr.flush()
            kept = os.dup(2)
        except (OSError, ValueError, AttributeError):
            # No stderr at all (a windowed program): nothing to keep quiet.
            yield
            return
        with tempfile.TemporaryFile() as said:
            os.dup2(said.fileno(), 2)
            try:
                yield
            except BaseException as error:
                said.seek(0)
                text = said.read().decode(errors="replace").strip()
                if text:
                    error.add_note(text[-2000:])
                raise
            finally:
                os.dup2(kept, 2)
                os.close(kept)
