"""Limits of a model file, of names in the library, and of the pictures that are kept."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ModelSettings:
    """What a model file may hold; more is refused before anything of it is expanded."""

    max_bytes: int = setting(60_000_000, "bytes", "both views with the pictures of a ghost take a third of it")
    max_members: int = setting(4_200, "count", "two pictures a moment, 1,000 moments a view, two views, and the arrays")
    max_expanded_bytes: int = setting(
        150_000_000, "bytes", "two views of the most frames with everything that is tracked take 60 MB"
    )
    suspicious_bytes: int = setting(10_000_000, "bytes", "below this even constant arrays, which shrink 1000-fold, fit")
    max_ratio: float = setting(60.0, "", "measured: 1.5–4 on kept swings; a zip bomb reaches 1,000")
    max_json_bytes: int = setting(2_000_000, "bytes", "a template of 500 swings takes 0.2 MB")
    max_json_depth: int = setting(12, "count", "the format itself is 6 deep")
    max_frames: int = setting(20_000, "count", "80 s at 240 frames/s; a swing lasts 2–6 s")
    max_swing_s: float = setting(300.0, "s", "a swing of 6 s at 30-fold slow motion takes 180 s")
    max_time_s: float = setting(1e6, "s", "11 days: no clip's clock goes further")
    max_px: float = setting(1e6, "px", "ten times the widest picture: a joint beyond it is no measurement")
    max_metres: float = setting(1e3, "m", "a swing in space takes 3 m")
    outside_s: float = setting(
        2.0, "s", "a position that was marked by hand may lie this far outside the track that was kept"
    )
    max_text: int = setting(4_000, "characters", "the longest sentence of overlay itself has 300")
    max_texts: int = setting(2_000, "count", "sources of a template of 500 swings, with reasons")
    max_numbers: int = setting(500, "count", "named numbers of one swing; overlay itself writes some 30")
    max_findings: int = setting(200, "count", "the filming check makes 15")
    max_name: int = setting(60, "characters", "what a line of the list has room for")
    max_name_bytes: int = setting(180, "bytes", "file systems take 255, and a temporary name beside it needs some")


@dataclass(frozen=True)
class KeptPictureSettings:
    """How cut-outs of the player are kept."""

    max_height_px: int = setting(540, "px", "the height of a pane in the comparison video: more would not be shown")
    max_width_px: int = setting(960, "px", "a picture of 16:9 at that height")
    max_pixels: int = setting(1_500_000, "px", "what is decoded at most: three times the largest picture that is kept")
    max_picture_bytes: int = setting(400_000, "bytes", "measured: 8–30 kB a cut-out; this refuses what is no cut-out")
    max_moments: int = setting(1_000, "count", "60 a second of the longest swing that is worth watching, 16 s")
    max_rate_hz: float = setting(60.0, "1/s", "the ghost video plays no more in real time")
    jpeg_quality: int = setting(82, "", "common practice, no source; edges of the club stay clean at this quality")
    least_alpha: int = setting(8, "of 255", "below it a ghost shows nothing, and noise of the mask costs bytes")
    widen: float = setting(
        0.008, "of height", "soft edges take their colour from this rim; 4 px keep a JPEG block's bleeding out of them"
    )
