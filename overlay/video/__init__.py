"""Reading and writing recordings: timestamps in seconds, pictures as they are to be shown, files whole or not at all.

``open_clip`` gives a ``Reader`` for a video file or a folder of stills; ``follow`` and ``prefetch`` stream from it.
``read_sound`` gives the sound of a file on the same clock.
``VideoWriter``, ``write_gif`` and ``write_png`` write. The libraries behind them are loaded when first used.
"""

from __future__ import annotations

from overlay.video.pictures import read_image, write_gif, write_png
from overlay.video.reader import BACKENDS, Backend, Glance, Reader, fitted_size, index_at, open_clip, scale_of
from overlay.video.shared import SharedReader, Wanted
from overlay.video.sound import Sound, read_sound
from overlay.video.stream import Prefetch, follow, prefetch
from overlay.video.threads import limit_threads
from overlay.video.writer import VideoWriter

__all__ = [
    "BACKENDS",
    "Backend",
    "Glance",
    "Prefetch",
    "Reader",
    "SharedReader",
    "Sound",
    "VideoWriter",
    "Wanted",
    "fitted_size",
    "follow",
    "index_at",
    "limit_threads",
    "open_clip",
    "prefetch",
    "read_image",
    "read_sound",
    "scale_of",
    "write_gif",
    "write_png",
]
