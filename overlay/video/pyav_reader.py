"""Reads video files with PyAV (FFmpeg): timestamps from the packets, pictures streamed from the key frame before."""

from __future__ import annotations

import itertools
import threading
import time
from bisect import bisect_right
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from overlay.arrays import AnyArray, Image
from overlay.data import Clip, Frame
from overlay.errors import InputError
from overlay.files import sha256_of
from overlay.settings.video import ReaderSettings
from overlay.video.capture import rate_from_metadata, rate_from_option
from overlay.video.facts import (
    Packets,
    colour_warnings,
    end_warnings,
    hint_for,
    is_full_range,
    load_av,
    matrix_of,
    scan,
    settled_capture,
)
from overlay.video.orientation import Orientation, from_matrix
from overlay.video.reader import Glance, Reader, fitted_size, index_at
from overlay.video.threads import most_threads
from overlay.video.timing import Timing, timing_of

_KNOWN: dict[tuple[str, int, int, int], tuple[Packets, Any, str]] = {}
_KNOWN_LOCK = threading.Lock()
FILES_KNOWN = 2
"""What was read of so many files lately is kept, student and reference; each is opened several times in a run."""
SETTLED_S = 2.0

LUMA_FIRST = ("yuv420p", "yuvj420p", "nv12", "yuv422p", "yuvj422p", "yuv444p", "yuvj444p")
"""Pixel formats whose first plane is the brightness in bytes."""

LEAVE_OUT_FROM = 1.5
"""Frames that no other leans on are passed over where the wanted spacing holds this many frames or more."""

TRIED_GLANCES = 30
"""So many pictures show how far apart the others lie."""


@contextmanager
def _as_input_error(path: Path, message: str, hint: str) -> Iterator[None]:
    av = load_av()
    try:
        yield
    except PermissionError as error:
        raise InputError(f"{path} cannot be read: no permission.", "Check who may read the file.") from error
    except (av.FFmpegError, ValueError, OSError, IndexError) as error:
        raise InputError(message, hint) from error


class PyAVReader(Reader):
    """A video file. See ``overlay.video.open_clip`` for the parameters and ``Reader`` for the contract."""

    def __init__(
        self,
        path: Path,
        *,
        mirrored: bool = False,
        rotation_deg: int | None = None,
        capture_rate: Fraction | float | None = None,
        settings: ReaderSettings | None = None,
    ) -> None:
        self._settings = settings or ReaderSettings()
        self._path = Path(path)
        self._lock = threading.Lock()
        self._cursor: _Cursor | None = None
        told = rate_from_option(capture_rate)
        _check_file(self._path)
        with self._opened() as container:
            stream = self._video_stream(container)
            self._stream_index = int(stream.index)
            packets, first, content_hash = self._scanned(container, stream)
            if first is None:
                raise InputError(
                    f"No picture of {self._path} can be decoded.", "Copy the clip from the camera again, it is damaged."
                )
            warnings: list[str] = []
            found = self._orientation(first, warnings)
            self._orient = found.chosen(rotation_deg=rotation_deg, mirrored=mirrored)
            self._stored_size = self._square_size(stream, first, warnings)
            width, height = self._orient.size(*self._stored_size)
            self._check_size(first.width, first.height)
            timing = self._timing(stream, packets, first, warnings)
            self._timing_ = timing
            warnings += timing.warnings
            warnings += end_warnings(container, stream, packets, timing, self._settings)
            warnings += colour_warnings(first)
            self._index_of = {} if timing.pts is None else {int(pts): i for i, pts in enumerate(timing.pts)}
            self._keys = self._key_table(packets, timing)
            stated = rate_from_metadata(dict(stream.metadata), dict(container.metadata))
            self.clip = Clip(
                path=self._path,
                content_hash=content_hash,
                width=width,
                height=height,
                rotation_deg=self._orient.rotation_deg,
                mirrored=mirrored,
                times_s=timing.times_s,
                nominal_rate=timing.nominal_rate,
                capture_rate=settled_capture(told, stated, timing, warnings),
                is_variable_rate=timing.is_variable_rate,
                has_audio=any(other.type == "audio" for other in container.streams),
                codec=str(stream.codec_context.name),
                pixel_format=str(first.format.name),
                bit_depth=max((int(part.bits) for part in first.format.components), default=8),
                warnings=tuple(warnings),
            )

    def _scanned(self, container: Any, stream: Any) -> tuple[Packets, Any, str]:
        """Packets, first picture and hash of the file: reading gigabytes once is enough for seventy swings in them."""
        status = self._path.stat()
        key = (str(self._path.resolve()), status.st_ino, status.st_size, status.st_mtime_ns)
        with _KNOWN_LOCK:
            known = _KNOWN.get(key)
        if known is None:
            known = (*scan(container, stream), sha256_of(self._path))
            # A file written a moment ago may be written again within one tick of its clock.
            if time.time() - status.st_mtime > SETTLED_S and known[1] is not None:
                with _KNOWN_LOCK:
                    _KNOWN[key] = known
                    while len(_KNOWN) > FILES_KNOWN:
                        _KNOWN.pop(next(iter(_KNOWN)))
        return known

    # Opening -----------------------------------------------------------------------------------------------------

    @contextmanager
    def _opened(self) -> Iterator[Any]:
        av = load_av()
        with _as_input_error(self._path, f"{self._path} is not a video that can be read.", hint_for(self._path)):
            # "file:" keeps names with a colon from being taken for a network address, and the whitelist keeps
            # playlists from opening one.
            container = av.open(f"file:{self._path}", options={"protocol_whitelist": "file"}, metadata_errors="replace")
        with container:
            yield container

    def _video_stream(self, container: Any) -> Any:
        dispositions = load_av().stream.Disposition
        # A picture of the cover inside a sound file is no recording.
        streams = [stream for stream in container.streams.video if not stream.disposition & dispositions.attached_pic]
        if not streams:
            kind = "holds sound but no pictures" if container.streams.audio else "holds no pictures"
            raise InputError(f"{self._path} {kind}.", "Give the video clip of the swing.")
        if container.format.name.endswith("_pipe") or container.format.name == "image2":
            raise InputError(f"{self._path} is a single picture, not a video.", "Give a clip, or a folder of stills.")
        known = [stream for stream in streams if stream.codec_context is not None]
        if not known:
            raise InputError(
                f"{self._path} uses a video codec that is not known here.", "Export it as H.264 from the phone."
            )

        # Phones add small extra tracks; the recording is the largest, of equals the one marked to be played.
        def rank(stream: Any) -> tuple[int, bool]:
            context = stream.codec_context
            return int(context.width or 0) * int(context.height or 0), bool(stream.disposition & dispositions.default)

        return max(known, key=rank)

    def _orientation(self, first: Any, warnings: list[str]) -> Orientation:
        matrix = first.side_data.get("DISPLAYMATRIX")
        if matrix is None:
            return Orientation()
        values = np.frombuffer(bytes(matrix), np.int32, 9).astype(np.float64)
        orientation, off_deg = from_matrix(values[0], values[1], values[3], values[4])
        if off_deg > 1.0:
            warnings.append(
                f"The file asks for a rotation {off_deg:.0f}° away from a right angle; it is shown rotated by "
                f"{orientation.rotation_deg}°."
            )
        return orientation

    def _square_size(self, stream: Any, first: Any, warnings: list[str]) -> tuple[int, int]:
        """Stored (width, height) with square pixels: the width takes the correction, as players do it."""
        aspect = stream.sample_aspect_ratio or stream.codec_context.sample_aspect_ratio
        if not aspect or aspect <= 0 or aspect == 1:
            return first.width, first.height
        most = self._settings.max_sample_aspect
        if not 1 / most <= float(aspect) <= most:
            warnings.append(f"The file states pixels {float(aspect):.3g} times as wide as high; that is ignored.")
            return first.width, first.height
        return max(1, round(first.width * float(aspect))), first.height

    def _check_size(self, width: int, height: int) -> None:
        least, most = self._settings.min_side_px, self._settings.max_side_px
        if min(width, height) < least:
            raise InputError(
                f"{self._path} is only {width}×{height} px.", "Give a clip in which the player can be made out."
            )
        if max(width, height) > most:
            raise InputError(
                f"{self._path} claims a picture of {width}×{height} px.", f"Export it smaller than {most} px a side."
            )

    def _timing(self, stream: Any, packets: Packets, first: Any, warnings: list[str]) -> Timing:
        pts, dts = packets.pts, packets.dts
        # Pictures that lean on ones before the first key frame never come out; nor do their times belong here.
        if first.pts is not None and all(value is not None for value in pts):
            keep = [i for i, value in enumerate(pts) if value is not None and value >= first.pts]
            if len(keep) < len(pts):
                warnings.append(
                    f"The first {len(pts) - len(keep)} of {len(pts)} frames cannot be decoded; the clip starts after "
                    "them."
                )
            pts, dts = [pts[i] for i in keep], [dts[i] for i in keep]
        reorders = bool(stream.codec_context.has_b_frames)
        if reorders and stream.container.format.name == "avi":
            # AVI has decoding times only; handed out as presentation times they name the wrong pictures.
            pts = [None] * len(pts)
        stated = stream.average_rate if all(value is not None for value in pts) else stream.guessed_rate
        return timing_of(
            str(self._path),
            pts,
            dts,
            Fraction(stream.time_base),
            Fraction(stated) if stated else None,
            reorders=reorders,
            settings=self._settings,
        )

    @staticmethod
    def _key_table(packets: Packets, timing: Timing) -> list[tuple[int, int]]:
        """(index of the frame, timestamp to seek to) of each key frame, ascending; empty when seeking is not safe."""
        if timing.pts is None:
            return []
        rank = {int(pts): i for i, pts in enumerate(timing.pts)}
        keys = []
        for pts, dts, is_key in zip(packets.pts, packets.dts, packets.keys):
            if is_key and pts is not None and pts in rank:
                keys.append((rank[pts], pts if dts is None else min(pts, dts)))
        return sorted(keys)

    # Reading -----------------------------------------------------------------------------------------------------

    def _key_before(self, index: int) -> int:
        """Position in the key table of the last key frame at or before ``index``; −1 for "from the start"."""
        return bisect_right(self._keys, (index, np.inf)) - 1

    def _pictures(self, first: int) -> Generator[tuple[int, Any], None, None]:
        """(index, decoded picture) from ``first`` on, indices strictly increasing."""
        key = self._key_before(first)
        while True:
            started = False
            with closing(self._decoded(self._keys[key][1] if key > 0 else None)) as pictures:
                for index, picture in pictures:
                    if not started and index > first and key > 0:
                        # Landed too late: the container's index names decoding times, or is wrong. Go further back.
                        break
                    started = True
                    if index >= first:
                        yield index, picture
            if started or key <= 0:
                return
            key = key - 1 if key > 2 else 0

    def _decoded(
        self, seek_to: int | None, *, sketchy: bool = False, leave_out: str = "DEFAULT"
    ) -> Generator[tuple[int, Any], None, None]:
        """``sketchy`` leaves the edges of blocks unsmoothed; ``leave_out`` says what is passed over."""
        av = load_av()
        with self._opened() as container:
            stream = container.streams[self._stream_index]
            most = most_threads()
            if most is None:
                stream.thread_type = "AUTO"
            else:
                stream.thread_type = "NONE" if most == 1 else "AUTO"
                stream.codec_context.thread_count = most
            if sketchy:
                stream.codec_context.options = {"skip_loop_filter": "all"}
            if leave_out != "DEFAULT":
                stream.codec_context.skip_frame = leave_out
            if seek_to is not None:
                try:
                    container.seek(seek_to, stream=stream)
                except av.FFmpegError:
                    return
            last = -1
            for picture in _decode_all(container, stream):
                index = last + 1 if self._timing_.pts is None else self._index_of.get(picture.pts, -1)
                if last < index < len(self._timing_.times_s):
                    last = index
                    yield index, picture

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        if last < first:
            return
        convert = self._converter(max_side)
        with closing(self._pictures(first)) as pictures:
            for index, picture in pictures:
                if index > last:
                    return
                yield Frame(index, float(self.clip.times_s[index]), convert(picture))
                if index == last:
                    return

    makes_sizes = True

    def in_sizes(
        self, first: int, last: int, sides_at: Callable[[int], Sequence[int]]
    ) -> Iterator[tuple[int, dict[int, Image]]]:
        converters: dict[int, Callable[[Any], Image]] = {}
        with closing(self._pictures(first)) as pictures:
            for index, picture in pictures:
                if index > last:
                    return
                sides = sides_at(index)
                for side in sides:
                    if side not in converters:
                        converters[side] = self._converter(side)
                yield index, {side: converters[side](picture) for side in sides}
                if index == last:
                    return

    def _glances(self, step_s: float, max_side: int) -> Iterator[Glance]:
        sparse = self._timing_.pts is not None and float(self.clip.nominal_rate) * step_s >= LEAVE_OUT_FROM
        if sparse:
            # How many frames lean on none is only known from the decoder: their spacing is looked at first.
            pictures = self._small_greys(max_side, "NONREF")
            first = list(itertools.islice(pictures, TRIED_GLANCES))
            times = np.array([glance.time_s for glance in first])
            if len(times) > 2 and float(np.percentile(np.diff(times), 90)) <= 1.2 * step_s:
                yield from first
                yield from pictures
                return
            pictures.close()
        yield from self._small_greys(max_side, "DEFAULT")

    def _small_greys(self, max_side: int, leave_out: str) -> Generator[Glance, None, None]:
        convert = _grey_converter(fitted_size(*self._stored_size, max_side))
        with closing(self._decoded(None, sketchy=True, leave_out=leave_out)) as pictures:
            for index, picture in pictures:
                yield Glance(float(self.clip.times_s[index]), convert(picture))

    def frame_at(self, time_s: float, *, max_side: int | None = None) -> Frame:
        wanted = index_at(self.clip, time_s)
        with self._lock:
            cursor = self._cursor
            key = self._key_before(wanted)
            key_index = self._keys[key][0] if key > 0 else 0
            # Going on from where we are beats seeking, unless a key frame lies between.
            if cursor is None or cursor.at > wanted or key_index > cursor.at:
                if cursor is not None:
                    cursor.close()
                cursor = self._cursor = _Cursor(self._pictures(key_index))
            found = cursor.advance(wanted)
            if found is None and key_index > 0:
                cursor.close()
                cursor = self._cursor = _Cursor(self._pictures(0))
                found = cursor.advance(wanted)
            if found is None:
                return self._nothing_at(time_s)
            index, picture = found
            return Frame(index, float(self.clip.times_s[index]), self._converter(max_side)(picture))

    def _converter(self, max_side: int | None) -> Callable[[Any], Image]:
        from av.video.reformatter import VideoReformatter

        reformatter = VideoReformatter()  # keeps its scaling tables from picture to picture
        shown = fitted_size(self.clip.width, self.clip.height, max_side)
        width, height = self._orient.size(*shown)

        def convert(picture: Any) -> Image:
            # At the full size this is swscale's fast path: 3 ms at 1080p, about one grey level dark. Its exact one
            # takes 20 ms, longer than decoding, and no stage can tell the difference.
            same = (width, height) == (picture.width, picture.height)
            plain = reformatter.reformat(
                picture,
                width=width,
                height=height,
                format="rgb24",
                interpolation="BILINEAR" if same else "AREA" if max_side else "BICUBIC",
                src_colorspace=matrix_of(picture, self._settings),
                src_color_range="JPEG" if is_full_range(picture) else "MPEG",
                dst_color_range="JPEG",
            )
            return self._orient.apply(np.asarray(plain.to_ndarray(), np.uint8))

        with _as_input_error(self._path, f"{self._path} cannot be converted to RGB.", "Export it as H.264."):
            return convert

    def close(self) -> None:
        with self._lock:
            if self._cursor is not None:
                self._cursor.close()
                self._cursor = None


def _grey_converter(size: tuple[int, int]) -> Callable[[Any], AnyArray]:
    """Decoded picture → (h, w) uint8 of its brightness, small and quick."""
    import cv2
    from av.video.reformatter import VideoReformatter

    reformatter = VideoReformatter()

    def convert(picture: Any) -> AnyArray:
        if picture.format.name not in LUMA_FIRST:
            plain = reformatter.reformat(picture, width=size[0], height=size[1], format="gray", interpolation="AREA")
            return np.asarray(plain.to_ndarray(), np.uint8)
        plane = picture.planes[0]
        rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: picture.height, : picture.width]
        # Half of the rows that would be averaged are enough, at a fraction of the time.
        rows = rows[:: max(1, picture.height // size[1] // 2)]
        return np.asarray(cv2.resize(rows, size, interpolation=cv2.INTER_AREA), np.uint8)

    return convert


class _Cursor:
    """One decoding position that only moves forward, remembering the picture it shows."""

    def __init__(self, pictures: Iterator[tuple[int, Any]]) -> None:
        self._pictures = pictures
        self._shown: tuple[int, Any] | None = None
        self._coming: tuple[int, Any] | None = None

    @property
    def at(self) -> int:
        return -1 if self._shown is None else self._shown[0]

    def advance(self, wanted: int) -> tuple[int, Any] | None:
        """The last picture with index ≤ wanted."""
        while self.at < wanted:
            if self._coming is None:
                self._coming = next(self._pictures, None)
            if self._coming is None or self._coming[0] > wanted:
                break
            self._shown, self._coming = self._coming, None
        return self._shown

    def close(self) -> None:
        close = getattr(self._pictures, "close", None)
        if close is not None:
            close()


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise InputError(f"{path} is a folder, not a video file.", "Use the stills reader, or name the clip in it.")
    if not path.is_file():
        state = "is not a file" if path.exists() else "does not exist"
        raise InputError(f"{path} {state}.", "Check the name and the folder.")
    if path.stat().st_size == 0:
        raise InputError(f"{path} is empty.", "Copy the clip from the camera again; the copy was cut off.")


def _decode_all(container: Any, stream: Any) -> Iterator[Any]:
    """Pictures in order of showing; what cannot be decoded is passed over."""
    av = load_av()
    demuxer = container.demux(stream)
    ended = False
    while not ended:
        try:
            packet = next(demuxer)
        except StopIteration:
            return
        except (av.FFmpegError, ValueError):
            packet, ended = None, True
        if packet is not None and packet.is_corrupt:
            continue
        try:
            pictures = stream.decode(packet)
        except (av.FFmpegError, ValueError):
            continue
        yield from pictures
