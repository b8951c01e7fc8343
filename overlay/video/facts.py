"""What a video file says about itself: its packets, its first picture, its colours, where it was cut off."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from overlay.settings.video import ReaderSettings
from overlay.video.timing import Timing

# FFmpeg's numbers (ITU-T H.273): transfer curves of HDR, matrices.
_PQ, _HLG = 16, 18
_UNSPECIFIED = 2
_BT709, _BT601 = 1, 5
# Matrices that swscale knows by the same number.
_KNOWN_MATRICES = (1, 4, 5, 6, 7, 9)
_FULL_RANGE = 2


def load_av() -> Any:
    """The av module, with FFmpeg's messages off: they would reach the user's screen from foreign threads."""
    import av
    import av.logging

    av.logging.set_level(None)
    return av


@dataclass
class Packets:
    """What the packets of the video stream say, in file order."""

    pts: list[int | None] = field(default_factory=list)
    dts: list[int | None] = field(default_factory=list)
    keys: list[bool] = field(default_factory=list)
    n_damaged: int = 0
    stopped_early: bool = False


def hint_for(path: Path) -> str:
    """What to do about a file that FFmpeg refuses."""
    try:
        with open(path, "rb") as source:
            start = source.read(12)
    except OSError:
        start = b""
    if start[4:8] in (b"ftyp", b"mdat", b"wide", b"skip", b"free"):
        return "Its index is missing, as when recording or copying was cut off: copy it from the camera again."
    return "Give a clip as the phone or camera saved it (MP4, MOV, MKV, WebM, AVI)."


def scan(container: Any, stream: Any) -> tuple[Packets, Any]:
    """Walk the packets; only the first picture is decoded, for what it says about size, colour and rotation."""
    av = load_av()
    packets = Packets()
    first = None
    demuxer = container.demux(stream)
    while True:
        try:
            packet = next(demuxer)
        except StopIteration:
            break
        except (av.FFmpegError, ValueError):
            packets.stopped_early = True
            break
        if first is None:
            try:
                first = next(iter(packet.decode()), None)
            except (av.FFmpegError, ValueError):
                first = None
        if packet.size == 0 or packet.is_discard:
            continue
        if packet.is_corrupt:
            packets.n_damaged += 1
            continue
        packets.pts.append(packet.pts)
        packets.dts.append(packet.dts)
        packets.keys.append(bool(packet.is_keyframe))
    if first is None:
        try:
            first = next(iter(stream.decode(None)), None)
        except (av.FFmpegError, ValueError):
            first = None
    return packets, first if packets.pts else None


def end_warnings(container: Any, stream: Any, packets: Packets, timing: Timing, settings: ReaderSettings) -> list[str]:
    """Whether the file holds less than it promises."""
    found = len(packets.pts) + packets.n_damaged
    end_s = float(timing.times_s[-1]) + 1.0 / float(timing.nominal_rate)
    promised_s = None
    if stream.duration is not None:
        promised_s = float(stream.duration * stream.time_base)
    elif container.duration is not None and not container.streams.audio:
        promised_s = container.duration / 1e6
    if int(stream.frames or 0) > found and packets.pts:
        return [
            f"The file is cut off: {found} of {stream.frames} frames are there, up to {end_s:.2f} s; "
            "copy it from the camera again to get the rest."
        ]
    if packets.n_damaged or packets.stopped_early or (promised_s and promised_s - end_s > settings.truncation_s):
        return [f"The file is cut off or damaged: it is used up to {end_s:.2f} s; copy it from the camera again."]
    return []


def colour_warnings(first: Any) -> list[str]:
    """Sentences about the first decoded picture's colours and scan: 10-bit, HDR, interlaced."""
    warnings = []
    depth = max((int(part.bits) for part in first.format.components), default=8)
    if depth > 8:
        warnings.append(f"The clip has {depth}-bit colour; it is read with 8 bits, which is enough to find the body.")
    curve = {_PQ: "PQ", _HLG: "HLG"}.get(int(first.color_trc))
    if curve:
        warnings.append(f"The clip is HDR ({curve}); its colours may look flat here, since they are not tone-mapped.")
    if first.interlaced_frame:
        warnings.append("The clip is interlaced: fast parts show combs. Film progressive if the camera can.")
    return warnings


def matrix_of(picture: Any, settings: ReaderSettings) -> int:
    """The picture's YUV matrix as FFmpeg numbers it; where the file is silent, by size as players do."""
    matrix = int(picture.colorspace)
    if matrix in _KNOWN_MATRICES:
        return matrix
    return _BT709 if min(picture.width, picture.height) >= settings.hd_side_px else _BT601


def is_full_range(picture: Any) -> bool:
    """Whether luma uses 0–255 instead of 16–235."""
    return int(picture.color_range) == _FULL_RANGE or str(picture.format.name).startswith(("yuvj", "rgb", "bgr", "gbr"))


def settled_capture(
    told: Fraction | None, stated: tuple[Fraction, str] | None, timing: Timing, warnings: list[str]
) -> Fraction | None:
    """The capture rate that counts: what the user told, else what the file says; adds warnings."""
    if told is not None:
        if stated is not None and abs(float(told / stated[0]) - 1.0) > 0.01:
            warnings.append(
                f"The file says it was filmed at {float(stated[0]):g} frames per second; {float(told):g} is used, "
                "as told."
            )
        return told
    if stated is None:
        return None
    factor = float(stated[0] / timing.nominal_rate)
    if factor > 1.01:
        warnings.append(
            f"Slow motion: the file says it was filmed at {float(stated[0]):g} frames per second and plays at "
            f"{float(timing.nominal_rate):g}; real times are {factor:.3g} times shorter."
        )
    elif factor < 0.99:
        warnings.append(
            f"Time lapse: the file says it was filmed at {float(stated[0]):g} frames per second and plays at "
            f"{float(timing.nominal_rate):g}."
        )
    return stated[0]
