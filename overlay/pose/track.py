"""Runs a pose estimator over a clip: every frame, in one streaming pass, the result kept for the next run."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from overlay.data import Clip, PoseTrack
from overlay.errors import InputError
from overlay.landmarks import N_LANDMARKS
from overlay.pose import backends, cache
from overlay.pose.masks import Mask, MaskTrack, pack
from overlay.progress import SILENT, Progress
from overlay.settings.pose import PoseSettings

if TYPE_CHECKING:
    from overlay.video import Reader


@dataclass(frozen=True)
class PoseResult:
    """What was seen in a clip: the raw track, the clip, and the person masks if asked for."""

    track: PoseTrack
    clip: Clip
    masks: MaskTrack | None = None
    from_cache: bool = False


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
) -> PoseResult:
    """Find the joints in every frame of a clip.

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

    Returns
    -------
    PoseResult
        The track is as the estimator gave it: uncleaned, NaN in frames without a person, in pixels of the
        displayed picture.

    Raises
    ------
    InputError
        The clip cannot be read, or there is no such backend.
    SetupError
        The estimator cannot run on this machine.
    """
    from overlay.video import open_clip

    settings = settings or PoseSettings()
    with open_clip(Path(path), mirrored=mirrored, rotation_deg=rotation_deg, capture_rate=capture_rate) as reader:
        estimator = backends.make(backend, progress)
        key = cache.key_of(
            {
                "clip": reader.clip.content_hash,
                "rotation_deg": reader.clip.rotation_deg,
                "mirrored": reader.clip.mirrored,
                "size": (reader.clip.width, reader.clip.height),
                "backend": backend,
                "model": estimator.label(),
                "settings": _relevant(settings),
            }
        )
        kept = cache.load(key, masks=masks) if use_cache else None
        if kept is not None:
            return PoseResult(kept[0], reader.clip, kept[1], from_cache=True)
        track, found = _run(reader, estimator, backend, settings, progress, masks=masks)
        cache.store(key, track, found, settings.cache_limit_mb)
        return PoseResult(track, reader.clip, found)


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
) -> tuple[PoseTrack, MaskTrack | None]:
    from overlay.video import prefetch
    from overlay.video.reader import scale_of

    clip = reader.clip
    size = (clip.width, clip.height)
    mask_size = _mask_size(size, settings.mask_side_px)
    times: list[float] = []
    points, depths, visibilities, packed = [], [], [], []
    progress.stage("finding the body", clip.n_frames)
    pictures = reader.frames(max_side=settings.max_side_px)
    try:
        # Decoding runs ahead on a thread of its own, beside the estimator.
        with (
            prefetch(pictures, settings.prefetch_frames) as ahead,
            estimator.session(settings, masks=masks) as session,
        ):
            for frame in ahead:
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
    finally:
        progress.done()
    if not times:
        raise InputError(f"{clip.path} holds no frame that can be decoded.", "Export the clip again, or trim it.")
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
