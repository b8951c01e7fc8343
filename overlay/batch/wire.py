"""Messages between the pool and its workers: a length, then a pickle.

Only a process that this program started itself sits at the other end of the pipe, so nothing from outside is unpickled.
"""

from __future__ import annotations

import pickle
import struct
from typing import IO, Any

LENGTH = struct.Struct("!Q")


def send(pipe: IO[bytes], message: Any) -> None:
    """Write one message whole. Raises OSError when nobody reads any more."""
    content = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(LENGTH.pack(len(content)) + content)
    pipe.flush()


def receive(pipe: IO[bytes]) -> Any:
    """The next message. Raises EOFError when the other end is gone, in the middle of one too."""
    (length,) = LENGTH.unpack(_exactly(pipe, LENGTH.size))
    return pickle.loads(_exactly(pipe, length))


def _exactly(pipe: IO[bytes], n: int) -> bytes:
    parts = []
    while n:
        try:
            part = pipe.read(n)
        except (OSError, ValueError) as error:  # closed from this side meanwhile
            raise EOFError from error
        if not part:
            raise EOFError
        parts.append(part)
        n -= len(part)
    return b"".join(parts)
