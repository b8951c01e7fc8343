"""Writes H.264 MP4 files that phones and browsers play: yuv420p, BT.709, even sizes, index in front."""

from __future__ import annotations

import errno
import math
import queue
import threading
from contextlib import AbstractContextManager
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from overlay.arrays import Image
from overlay.errors import DataError, OutputError
from overlay.files import atomic_path, output_error
from overlay.settings.video import WriterSettings
from overlay.video.facts import load_av
from overlay.video.sound import Sound

AAC_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 64000, 88200, 96000)
AAC_BLOCK = 1024
_BT709 = 1
_LIMITED = 1
_FINISH = object()
_REPEAT = object()


class VideoWriter:
    """Writes pictures as a constant-rate H.264 video, whole or not at all.

    Encoding runs on a thread of its own, a few pictures behind, so that composing and encoding overlap. The file
    appears under its name when the with-block ends without an exception; otherwise nothing is left.

    Parameters
    ----------
    path : Path
        Ending in .mp4 (or .mov, .m4v, .mkv).
    width, height : int
        Size of the pictures, px. An odd side is padded by repeating its last column or row, since 4:2:0 colour
        needs even ones.
    rate : Fraction or float
        Pictures per second.
    quality : int or None
        x264's constant rate factor, 0 (lossless) … 51; lower is better and larger.
    sound : Sound or None
        Written beside the pictures as AAC, on their clock: sound before the first picture and after the last one is
        left out.
    settings : WriterSettings

    Raises
    ------
    OutputError
        The folder cannot be written, the disk is full, nothing was written, or the encoder failed.
    DataError
        Size, rate or a picture does not fit.
    """

    def __init__(
        self,
        path: Path | str,
        width: int,
        height: int,
        rate: Fraction | float,
        *,
        quality: int | None = None,
        sound: Sound | None = None,
        settings: WriterSettings | None = None,
    ) -> None:
        self._settings = settings or WriterSettings()
        self.path = Path(path)
        if width < 1 or height < 1:
            raise DataError(f"A video of {width}×{height} px is not possible.", "Give a size of at least 1×1 px.")
        if not math.isfinite(float(rate)) or not 0 < rate <= self._settings.max_rate:
            raise DataError(f"A rate of {rate} pictures per second is not possible.", "Give a rate above 0, e.g. 30.")
        self.width, self.height = int(width), int(height)
        self.rate = Fraction(rate).limit_denominator(10_000)
        self._quality = self._settings.crf if quality is None else quality
        if not 0 <= self._quality <= 51:
            raise DataError(f"A quality of {quality} is not possible.", "Use 0 (best) to 51 (smallest).")
        if sound is not None and round(sound.rate) not in AAC_RATES:
            raise DataError(
                f"A sound of {sound.rate:g} samples a second cannot be written.",
                f"Use {', '.join(map(str, AAC_RATES))}.",
            )
        self._sound = sound
        self.n_written = 0
        self._queue: queue.Queue[Any] = queue.Queue(self._settings.queue_frames)
        self._failure: BaseException | None = None
        self._abort = threading.Event()
        self._thread: threading.Thread | None = None
        self._place: AbstractContextManager[Path] | None = None

    def __enter__(self) -> VideoWriter:
        place = atomic_path(self.path)
        temporary = place.__enter__()
        self._place = place
        self._thread = threading.Thread(target=self._encode, args=(temporary,), name="overlay-encode", daemon=True)
        self._thread.start()
        return self

    def write(self, image: Image) -> None:
        """Add one picture.

        Parameters
        ----------
        image : (height, width, 3) uint8 RGB
            Copied, so the caller may draw on it again at once.

        Raises
        ------
        DataError
            The picture has another size or type.
        OutputError
            Encoding an earlier picture failed.
        """
        if self._thread is None:
            raise DataError("The video is not open for writing.", "Use the writer in a with-block.")
        if image.shape != (self.height, self.width, 3) or image.dtype != np.uint8:
            raise DataError(
                f"A picture of shape {image.shape} and type {image.dtype} does not fit a "
                f"{self.width}×{self.height} px video.",
                "Give uint8 pictures of shape (height, width, 3).",
            )
        even_height, even_width = self.height + self.height % 2, self.width + self.width % 2
        padded = np.empty((even_height, even_width, 3), np.uint8)
        padded[: self.height, : self.width] = image
        padded[self.height :, : self.width] = image[-1:]
        padded[:, self.width :] = padded[:, self.width - 1 : self.width]
        self._put(padded)
        self.n_written += 1

    def repeat(self) -> None:
        """Show the last picture for one more frame, without copying and converting it again.

        Raises
        ------
        DataError
            No picture was written yet.
        OutputError
            Encoding an earlier picture failed.
        """
        if self._thread is None or self.n_written == 0:
            raise DataError("There is no picture to repeat.", "Write a picture first.")
        self._put(_REPEAT)
        self.n_written += 1

    def _put(self, item: Any) -> None:
        while self._failure is None:
            try:
                self._queue.put(item, timeout=0.1)
                return
            except queue.Full:
                continue
        raise self._failure

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._thread is not None
        assert self._place is not None
        try:
            if error is None and self.n_written == 0:
                error = OutputError(f"No picture was given for {self.path}.", "Check that the clips overlap in time.")
            if error is None:
                try:
                    self._put(_FINISH)
                except BaseException as failure:
                    error = failure
            if error is not None:
                self._abort.set()
            self._thread.join()
        except BaseException as interrupt:  # Ctrl-C while waiting
            self._abort.set()
            self._thread.join()
            error = interrupt
        self._thread = None
        if error is None:
            error = self._failure
        place, self._place = self._place, None
        if error is None:
            place.__exit__(None, None, None)
            return
        # The temporary file goes. The place is not shown the error itself: it would take an OSError of the caller's
        # for one of the disk's. The caller's own error goes on by itself.
        stop = _Aborted()
        place.__exit__(_Aborted, stop, None)
        if kind is None:
            raise error

    def _encode(self, temporary: Path) -> None:
        try:
            self._encode_to(temporary)
        except _Aborted:
            return
        except BaseException as error:  # raised again by write() or at the end of the with-block
            self._failure = self._translated(error)

    def _translated(self, error: BaseException) -> BaseException:
        av = load_av()
        if isinstance(error, (av.FFmpegError, OSError)):
            number = getattr(error, "errno", None)
            if isinstance(number, int) and number in errno.errorcode:
                return _caused(output_error(self.path, OSError(number, str(error.strerror or error))), error)
            return _caused(OutputError(f"{self.path} could not be encoded: {error}.", "Try another size."), error)
        return error

    def _encode_to(self, temporary: Path) -> None:
        av = load_av()
        from av.video.reformatter import Interpolation, VideoReformatter

        settings = self._settings
        options = {"movflags": "+faststart"} if self.path.suffix.lower() in (".mp4", ".mov", ".m4v") else {}
        container = av.open(f"file:{temporary}", "w", options=options)
        try:
            stream = container.add_stream("libx264", rate=self.rate)
            stream.width, stream.height = self.width + self.width % 2, self.height + self.height % 2
            stream.pix_fmt = "yuv420p"
            stream.time_base = 1 / self.rate
            codec = stream.codec_context
            codec.color_range, codec.colorspace = _LIMITED, _BT709
            codec.color_primaries, codec.color_trc = _BT709, _BT709
            codec.gop_size = max(1, round(float(self.rate) * settings.key_every_s))
            stream.options = {"preset": settings.preset, "crf": str(self._quality), "x264-params": settings.x264_params}
            track = None if self._sound is None else _SoundTrack(container, self._sound, settings)
            reformatter = VideoReformatter()
            # Without accurate rounding every picture comes out a tenth of a grey level darker, at the same speed.
            how = int(Interpolation.BILINEAR) | int(Interpolation.ACCURATE_RND)
            picture: Any = None
            for number, image in enumerate(self._images()):
                # x264 copies what it is given, so the frame of a repeated picture may be handed over again.
                if image is not _REPEAT:
                    picture = reformatter.reformat(
                        av.VideoFrame.from_ndarray(image, format="rgb24"),
                        format="yuv420p",
                        interpolation=how,
                        src_color_range="JPEG",
                        dst_colorspace=_BT709,
                        dst_color_range="MPEG",
                    )
                    picture.color_range, picture.colorspace = _LIMITED, _BT709
                    picture.color_primaries, picture.color_trc = _BT709, _BT709
                picture.pts, picture.time_base = number, 1 / self.rate
                container.mux(stream.encode(picture))
                if track is not None:
                    track.write_until((number + 1) / float(self.rate))
            container.mux(stream.encode(None))
            if track is not None:
                track.write_until(self.n_written / float(self.rate), last=True)
        except BaseException:
            _close_quietly(container)
            raise
        container.close()
        if options:
            check_whole(temporary)

    def _images(self) -> Any:
        while True:
            try:
                item = self._queue.get(timeout=0.1)
            except queue.Empty:
                item = None
            if self._abort.is_set():
                raise _Aborted
            if item is _FINISH:
                return
            if item is not None:
                yield item


class _SoundTrack:
    """Encodes a sound piece by piece, beside the pictures, so that neither waits long for the other in the file."""

    def __init__(self, container: Any, sound: Sound, settings: WriterSettings) -> None:
        self._container = container
        self._rate = round(sound.rate)
        lead = round(sound.start_s * sound.rate)
        samples = sound.samples[max(0, -lead) :]
        self._samples = np.concatenate([np.zeros(max(0, lead), np.float32), samples])
        self._stream = container.add_stream("aac", rate=self._rate)
        self._stream.bit_rate = settings.sound_bits_s
        self._stream.codec_context.layout = "mono"
        self._stream.codec_context.format = "fltp"
        self._at = 0

    def write_until(self, time_s: float, *, last: bool = False) -> None:
        """Whole blocks up to ``time_s``; the begun one as well when it is the last call."""
        av = load_av()
        stop = min(len(self._samples), round(time_s * self._rate))
        while self._at + (1 if last else AAC_BLOCK) <= stop:
            block = self._samples[None, self._at : min(self._at + AAC_BLOCK, stop)]
            piece = av.AudioFrame.from_ndarray(np.ascontiguousarray(block), format="fltp", layout="mono")
            piece.sample_rate, piece.pts, piece.time_base = self._rate, self._at, Fraction(1, self._rate)
            self._container.mux(self._stream.encode(piece))
            self._at += block.shape[1]
        if last:
            self._container.mux(self._stream.encode(None))


class _Aborted(Exception):
    """The with-block was left by an exception: stop encoding."""


def _caused(error: BaseException, cause: BaseException) -> BaseException:
    error.__cause__ = cause
    return error


def _close_quietly(container: Any) -> None:
    try:
        container.close()
    except Exception:  # the first error is the one to tell
        return


def check_whole(path: Path) -> None:
    """Make sure that an MP4's boxes fill the file and its index stands before its pictures.

    A muxer that meets a full disk while flushing does not always say so.

    Raises
    ------
    OSError
        ENOSPC when the file is shorter than its boxes say, EIO when it is not laid out as it should be.
    """
    boxes = mp4_boxes(path)
    if boxes and sum(size for _, size in boxes) > path.stat().st_size:
        raise OSError(errno.ENOSPC, "the file is incomplete", str(path))
    names = [name for name, _ in boxes]
    if "moov" not in names or "mdat" not in names or names.index("moov") > names.index("mdat"):
        raise OSError(errno.EIO, "the file was not finished", str(path))


def mp4_boxes(path: Path) -> list[tuple[str, int]]:
    """Top-level boxes of an MP4 as (type, size in bytes), in file order (ISO/IEC 14496-12, 4.2)."""
    boxes = []
    total = path.stat().st_size
    with open(path, "rb") as source:
        at = 0
        while at + 8 <= total:
            source.seek(at)
            head = source.read(16)
            size = int.from_bytes(head[:4], "big")
            if size == 1:
                size = int.from_bytes(head[8:16], "big")
            elif size == 0:
                size = total - at
            if size < 8:
                break
            boxes.append((head[4:8].decode("latin-1"), size))
            at += size
    return boxes
