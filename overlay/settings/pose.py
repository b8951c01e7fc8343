"""Thresholds of reading the pose out of a clip, and of checking who is in the picture."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class PoseSettings:
    """How frames are handed to a pose estimator, and what is kept."""

    max_side_px: int = setting(
        640,
        "px",
        "the landmark model sees a 256 px crop, so a larger picture only costs time; measured: docs/pose-model.md",
    )
    mask_side_px: int = setting(
        320, "px", "a ghost is drawn soft-edged; finer than the model's own 256 px mask adds nothing"
    )
    prefetch_frames: int = setting(8, "count", "decoding runs ahead on its own thread; enough to hide a key frame")
    timestamp_step_ms: int = setting(
        1_000_000, "ms", "so long that the library's own smoothing, which lags fast hands, has no effect"
    )
    min_detection: float = setting(0.5, "fraction", "the model's published default")
    min_presence: float = setting(0.5, "fraction", "the model's published default")
    min_tracking: float = setting(0.5, "fraction", "the model's published default")
    cache_limit_mb: float = setting(1024.0, "MB", "room for 100 one-minute clips with masks; oldest go first")


@dataclass(frozen=True)
class PeopleSettings:
    """When a clip is refused for who is in it."""

    n_samples: int = setting(8, "count", "spread over the clip; a passer-by is in a few of them, a partner in most")
    max_people: int = setting(3, "count", "more than two need not be told apart")
    n_more_samples: int = setting(24, "count", "looked at before saying that there is nobody: a swing takes 2 s")
    few_person_share: float = setting(0.25, "fraction", "of the samples; fewer with a person: more are looked at")
    least_person_share: float = setting(
        0.08, "fraction", "of all samples; fewer with a person: there is none (a 5 s swing in a minute is 0.083)"
    )
    second_size: float = setting(
        0.6, "fraction", "of the player's height in the picture; smaller is someone in the background"
    )
    second_share: float = setting(0.5, "fraction", "of the samples with a person; fewer is someone passing by")
    same_person_overlap: float = setting(
        0.5, "fraction", "two finds that share this much of the smaller box are one person"
    )
    cut_share: float = setting(0.5, "fraction", "of the samples with a person; walking in and out cuts fewer")
    head_room: float = setting(0.15, "torso", "from the ears to the picture's edge; half a head is 0.25")
    foot_room: float = setting(
        0.15, "torso", "from the ankles to the lower edge; the model squeezes legs it cannot see into the picture"
    )
    upright_deg: float = setting(
        60.0, "deg", "feet-to-head from upright; a golfer at address leans his trunk, 45 at most"
    )
    cut_margin: float = setting(
        0.01, "fraction", "of the picture's side; a joint this far outside is outside, less is noise"
    )
    min_detection: float = setting(0.5, "fraction", "the model's published default")
    on_the_way_s: float = setting(
        15.0,
        "s",
        "up to so much playback the samples are taken while the body is looked for: seeking to them decodes a short "
        "clip a second time; in a longer one a wrong clip is refused before the long run",
    )
