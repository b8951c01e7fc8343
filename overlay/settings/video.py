"""What counts as a usable recording, how far frames are read ahead, and how results are encoded."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ReaderSettings:
    """Limits of what is accepted and tolerances in judging timestamps."""

    min_side_px: int = setting(8, "px", "below it no codec keeps a shape; a person needs far more, which pose checks")
    max_side_px: int = setting(16384, "px", "8K is 7680; a larger header is a broken one and would fill the memory")
    max_duration_s: float = setting(6 * 3600.0, "s", "practice lasts about two hours; longer means broken times")
    max_spacing_s: float = setting(2.0, "s", "median frame spacing: no swing can be followed below one picture in 2 s")
    min_spacing_s: float = setting(1e-4, "s", "10,000 frames/s: above every camera that films people")
    max_repeated: float = setting(
        0.5, "fraction", "more repeated times than good ones: the clock of the file is broken"
    )
    variable_tolerance: float = setting(
        0.05,
        "fraction of the frame spacing",
        "phone clocks jitter by 1–2 % at a constant rate; a dropped frame is 100 %",
    )
    gap_spacings: float = setting(2.5, "frame spacings", "one lost frame (2.0) is common and harmless; more is told")
    rate_agreement: float = setting(
        0.01, "fraction", "container rate and measured spacing differ by rounding up to 0.6 % (ms ticks at 240/s)"
    )
    truncation_s: float = setting(0.5, "s", "containers round the length they state by less than this")
    max_sample_aspect: float = setting(4.0, "", "2 is the most that real cameras use; beyond it the tag is broken")
    stills_rate: float = setting(30.0, "1/s", "the commonest camera rate; used only when a folder states none")
    hd_side_px: int = setting(
        720, "px", "shorter side from which untagged colour is BT.709, below it BT.601 (practice)"
    )
    prefetch_frames: int = setting(8, "count", "50 MB at 1080p; enough to ride over a key frame")
    shared_mb: float = setting(200.0, "MB", "kept of a swing so that it is decoded once: 4 s at 60 frames a second")


@dataclass(frozen=True)
class WriterSettings:
    """How results are encoded. Speeds were measured at 1080×1920 on two cores; see ``docs/studies/video.md``."""

    crf: int = setting(
        20, "x264 constant rate factor", "thin coloured lines and text stay clean; 23 smears red on green"
    )
    preset: str = setting(
        "veryfast", "", "as small as medium at half its CPU time; superfast more than doubles the file"
    )
    x264_params: str = setting(
        "subme=1:weightp=0:cpu-independent=1",
        "",
        "halves the CPU time of x264 for a file a fifth larger, 0.05 dB apart on real video; cpu-independent makes the "
        "same pictures give the same file, which B-frames otherwise did not, at no cost that could be measured",
    )
    queue_frames: int = setting(6, "count", "37 MB at 1080×1920; composing and encoding overlap")
    key_every_s: float = setting(0.5, "s", "a coach scrubs back and forth; players jump to key frames")
    sound_bits_s: int = setting(128_000, "bit/s", "one channel of AAC without a flaw that could be heard")
    max_rate: float = setting(1000.0, "1/s", "above every screen and camera; a larger number is a mistake")
    gif_least_delay_cs: int = setting(2, "1/100 s", "viewers show shorter delays as 10/100 s")


@dataclass(frozen=True)
class SoundReaderSettings:
    """How the sound of a recording is read."""

    lead_in_s: float = setting(0.2, "s", "decoding begins this much earlier: codecs need one or two blocks of 21 ms")
    longest_s: float = setting(600.0, "s", "115 MB at 48,000 samples a second; a swing lasts a few seconds")
    late_s: float = setting(0.1, "s", "sound that begins later than asked by more is looked for again from the start")
    jitter_s: float = setting(0.002, "s", "stamps rounded to 1/1000 s; a real gap is at least one block of 20 ms")
