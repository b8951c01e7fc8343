"""Runs a pose estimator over a clip: every frame, in one streaming pass, the result kept for the next run."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from overlay.data import Clip, Frame, PoseTrack
from overlay.errors import DataError, InputError
from overlay.landmarks import N_LANDMARKS
from overlay.pose import backends, cache
from overlay.pose.masks import Mask, MaskTrack, joined_masks, pack
from overlay.progress import SILENT, Progress
from overlay.settings.pose import PoseSettings

if TYPE_CHECKING:
    from overlay.video import Reader


TIME_SLACK_S = 1e-6
"""Times are compared with this slack: far below any frame spacing."""


@dataclass(frozen=True)
class PoseResult:
    """What was seen in a clip: the raw track, the clip, and the person masks if asked for."""

    track: PoseTrack
    clip: Clip
    masks: MaskTrack | None = None
    from_cache: bool = False


Span = tuple[float, float]
"""Start and stop, seconds."""


def track_clip(
    path: Path,
    *,
    backend: str = "mediapipe",
    mirrored: bool = False,
    rotation_deg: int | None = None,
    capture_rate: Fraction | float | None = None,
    progress: Progress = SILENT,
    use_cache: bool = True,
    masks: bool = True,
    settings: PoseSettings | None = None,
    stretches: Sequence[Span] | None = None,
    watch: Callable[[Frame], None] | None = None,
) -> PoseResult:
    """Find the joints in every frame of a clip, or in every frame of some stretches of it.

    Parameters
    ----------
    path : Path
        A video, or a folder of stills.
    backend : str
        A name from ``overlay.pose.backends``.
    mirrored, rotation_deg, capture_rate
        As for ``overlay.video.open_clip``.
    progress : Progress
    use_cache : bool
        Whether a result kept from an earlier run may be used (it is kept in any case).
    masks : bool
        Whether to keep person masks too.
    settings : PoseSettings
    stretches : sequence of (start_s, stop_s), optional
        Only the frames with start_s ≤ time ≤ stop_s are looked at; in time order and apart from each other. Each is
        tracked, and kept, on its own, so that what is found in one does not depend on the others. None: all frames.
    watch : function, optional
        Given every frame that is looked at, at its reduced size; none of what was kept from an earlier run.

    Returns
    -------
    PoseResult
        The track is as the estimator gave it: uncleaned, NaN in frames without a person, in pixels of the
        displayed picture. With stretches, their frames follow each other in one track.

    Raises
    ------
    InputError
        The clip cannot be read, or there is no such backend.
    DataError
        The stretches are not in order, overlap, or hold no frame.
    SetupError
        The estimator cannot run on this machine.
    """
    from overlay.video import open_clip

    settings = settings or PoseSettings()
    with open_clip(Path(path), mirrored=mirrored, rotation_deg=rotation_deg, capture_rate=capture_rate) as reader:
        estimator = backends.make(backend, progress)
        source = {
            "clip": reader.clip.content_hash,
            "rotation_deg": reader.clip.rotation_deg,
            "mirrored": reader.clip.mirrored,
            "size": (reader.clip.width, reader.clip.height),
            "backend": backend,
            "model": estimator.label(),
            "settings": _relevant(settings),
        }
        found: list[tuple[PoseTrack, MaskTrack | None]] = []
        spans = _spans(reader.clip, stretches)
        wanted = reader.clip.n_frames if spans is None else sum(last - first + 1 for first, last in spans)
        all_kept, begun = True, False
        try:
            for span in [None] if spans is None else spans:
                key = cache.key_of(source if span is None else {**source, "frames": span})
                kept = cache.load(key, masks=masks) if use_cache else None
                if kept is None:
                    if not begun:
                        progress.stage("finding the body", wanted)
                    begun, all_kept = True, False
                    kept = _run(reader, estimator, backend, settings, progress, masks=masks, span=span, watch=watch)
                    if kept is None:
                        continue
                    cache.store(key, kept[0], kept[1], settings.cache_limit_mb)
                elif begun and span is not None:
                    progress.advance(span[1] - span[0] + 1)
                found.append(kept)
        finally:
            if begun:
                progress.done()
        if not found:
            raise InputError(f"{path} holds no frame that can be decoded.", "Export the clip again, or trim it.")
        track = joined_tracks([track for track, _ in found])
        mask_tracks = [part for _, part in found if part is not None]
        return PoseResult(track, reader.clip, joined_masks(mask_tracks) if mask_tracks else None, from_cache=all_kept)


def _spans(clip: Clip, stretches: Sequence[Span] | None) -> list[tuple[int, int]] | None:
    """(first, last) frame of each stretch; None when that is every frame."""
    if stretches is None:
        return None
    times = clip.times_s
    spans: list[tuple[int, int]] = []
    for start_s, stop_s in stretches:
        first = int(np.searchsorted(times, start_s - TIME_SLACK_S))
        last = int(np.searchsorted(times, stop_s + TIME_SLACK_S, side="right")) - 1
        if not last >= first or (spans and first <= spans[-1][1]):
            raise DataError(
                f"The stretch from {start_s} to {stop_s} s holds no frame of its own.",
                "Give stretches inside the clip, in time order and apart from each other.",
            )
        spans.append((first, last))
    if not spans:
        raise DataError("No stretch is given.", "Give at least one, or None for the whole clip.")
    return None if spans == [(0, len(times) - 1)] else spans


def joined_tracks(tracks: Sequence[PoseTrack]) -> PoseTrack:
    """Tracks of one recording one after the other; one alone is returned as it is.

    Raises
    ------
    DataError
        Times that do not go on increasing.
    """
    if len(tracks) == 1:
        return tracks[0]
    first = tracks[0]
    log = tuple(dict.fromkeys(line for track in tracks for line in track.log))
    return dataclasses.replace(
        first,
        points=np.concatenate([track.points for track in tracks]),
        depth=np.concatenate([track.depth for track in tracks]),
        visibility=np.concatenate([track.visibility for track in tracks]),
        time_s=np.concatenate([track.time_s for track in tracks]),
        filled=np.concatenate([track.filled for track in tracks]),
        log=log,
    )


def _relevant(settings: PoseSettings) -> dict[str, Any]:
    """The settings a result depends on."""
    values = dataclasses.asdict(settings)
    for name in ("prefetch_frames", "cache_limit_mb"):
        values.pop(name)
    return values


def _run(
    reader: Reader,
    estimator: backends.PoseBackend,
    name: str,
    settings: PoseSettings,
    progress: Progress,
    *,
    masks: bool,
    span: tuple[int, int] | None,
    watch: Callable[[Frame], None] | None,
) -> tuple[PoseTrack, MaskTrack | None] | None:
    """All frames, or those of ``span`` (first, last); None when none of them can be decoded."""
    from overlay.video import prefetch
    from overlay.video.reader import scale_of

    clip = reader.clip
    size = (clip.width, clip.height)
    mask_size = _mask_size(size, settings.mask_side_px)
    times: list[float] = []
    points, depths, visibilities, packed = [], [], [], []
    start_s, stop_s = (None, None) if span is None else (float(clip.times_s[span[0]]), float(clip.times_s[span[1]]))
    pictures = reader.frames(start_s, stop_s, max_side=settings.max_side_px)
    # Decoding runs ahead on a thread of its own, beside the estimator.
    with (
        prefetch(pictures, settings.prefetch_frames) as ahead,
        estimator.session(settings, masks=masks) as session,
    ):
        for frame in ahead:
            if watch is not None:
                watch(frame)
            found = session.detect(frame.image)
            times.append(frame.time_s)
            if found is None:
                points.append(np.full((N_LANDMARKS, 2), np.nan))
                depths.append(np.full(N_LANDMARKS, np.nan))
                visibilities.append(np.zeros(N_LANDMARKS))
            else:
                # Each axis has its own factor: the reduced size is rounded to whole pixels.
                scale = np.array(scale_of(frame, clip))
                points.append(found.points * scale)
                depths.append(found.depth * scale[0])
                visibilities.append(found.visibility)
            if masks:
                packed.append(b"" if found is None or found.mask is None else _packed(found.mask, mask_size))
            progress.advance()
    if not times:
        return None
    time_s = np.array(times)
    n_seen = int(np.sum(np.any(np.isfinite(np.array(points)[..., 0]), axis=1)))
    track = PoseTrack(
        points=np.array(points),
        depth=np.array(depths),
        visibility=np.array(visibilities),
        time_s=time_s,
        image_size=size,
        source=name,
        model=estimator.label(),
        log=(f"{name}: a person in {n_seen} of {len(times)} frames",),
    )
    return track, MaskTrack(time_s, mask_size, size, tuple(packed)) if masks else None


def _mask_size(size: tuple[int, int], side_px: int) -> tuple[int, int]:
    factor = min(1.0, side_px / max(size))
    return max(1, round(size[0] * factor)), max(1, round(size[1] * factor))


def _packed(mask: Mask, size: tuple[int, int]) -> bytes:
    if (mask.shape[1], mask.shape[0]) != size:
        import cv2

        mask = np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_AREA), np.uint8)
    return pack(mask)
