"""MediaPipe's pose landmarker (Tasks API) on the CPU.

Three traps of the library are handled here and nowhere else: reading a mask ends the process when the picture's
width is not a multiple of 4 (``padded``); VIDEO mode smooths with a lag that depends on the time stamps (one fixed,
very long step switches it off, and smoothing is done later without lag); and it writes to stderr (``quiet``).
"""

from __future__ import annotations

import importlib.util
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from overlay.arrays import AnyArray, Image
from overlay.errors import SetupError
from overlay.landmarks import N_LANDMARKS
from overlay.pose.backends import Detection, PoseSession
from overlay.pose.masks import Mask
from overlay.pose.model import ensure_model, model_label
from overlay.pose.quiet import quiet_stderr
from overlay.progress import SILENT, Progress
from overlay.settings.pose import PeopleSettings, PoseSettings

WIDTH_STEP = 4
"""px. The library's picture rows must hold a multiple of this many pixels."""


def padded(image: Image) -> Image:
    """The picture, contiguous, its right edge repeated until the width is a multiple of 4."""
    missing = -image.shape[1] % WIDTH_STEP
    if missing:
        import cv2

        image = np.asarray(cv2.copyMakeBorder(image, 0, 0, 0, missing, cv2.BORDER_REPLICATE), np.uint8)
    return np.ascontiguousarray(image)


def _library() -> Any:
    """The library's vision module, with an error a user can act on when it is not there."""
    if importlib.util.find_spec("mediapipe") is None:
        raise SetupError(
            f"The pose library is not installed (this is {platform.system()} on {platform.machine()}).",
            "Install overlay with pip on Linux or Windows x86-64 or a Mac with Apple silicon; "
            "elsewhere give a saved track (.csv).",
        )
    try:
        from mediapipe.tasks.python import vision
    except (ImportError, OSError) as error:
        raise SetupError(
            f"The pose library cannot be loaded: {error}.", "Run `overlay doctor`; it names what is missing."
        ) from error
    return vision


def _landmarker(model: str, **options: Any) -> Any:
    vision = _library()
    from mediapipe.tasks.python.core.base_options import BaseOptions

    with open(model, "rb") as source:
        content = source.read()
    try:
        with quiet_stderr():
            # The content rather than the path: the library cannot open every path a system allows.
            base = BaseOptions(model_asset_buffer=content, delegate=BaseOptions.Delegate.CPU)
            return vision.PoseLandmarker.create_from_options(vision.PoseLandmarkerOptions(base_options=base, **options))
    except (RuntimeError, ValueError, OSError) as error:
        raise SetupError(
            f"The pose model {model} cannot be used: {str(error).splitlines()[0]}.",
            "Unset OVERLAY_POSE_MODEL, or delete the file; it is made again at the next run.",
        ) from error


def _detection(result: Any, person: int, width: int, image: Image, *, masks: bool) -> Detection:
    """``width`` is that of the padded picture, which the library's coordinates refer to."""
    marks = result.pose_landmarks[person]
    table = np.array([(mark.x, mark.y, mark.z, mark.visibility) for mark in marks], np.float64)
    if table.shape != (N_LANDMARKS, 4) or not np.all(np.isfinite(table)):
        table = np.where(np.isfinite(table), table, np.nan)
    mask = None
    if masks and result.segmentation_masks:
        raw = np.asarray(result.segmentation_masks[person].numpy_view())
        raw = raw.reshape(raw.shape[0], raw.shape[1])[:, : image.shape[1]]
        mask = _bytes(raw)
    points = table[:, :2] * np.array([width, image.shape[0]])
    return Detection(points, table[:, 2] * width, np.nan_to_num(np.clip(table[:, 3], 0.0, 1.0)), mask)


def _bytes(share: AnyArray) -> Mask:
    """0–1 → 0–255, rounded; far quicker than the same in numpy."""
    import cv2

    return np.asarray(cv2.convertScaleAbs(share, alpha=255.0), np.uint8)


class _Session:
    """Tracks one person through one clip."""

    def __init__(self, landmarker: Any, step_ms: int, *, masks: bool) -> None:
        self._landmarker = landmarker
        self._step_ms = step_ms
        self._masks = masks
        self._stamp_ms = 0

    def detect(self, image: Image) -> Detection | None:
        first = self._stamp_ms == 0
        self._stamp_ms += self._step_ms
        picture = padded(image)
        if first:
            # The graph starts lazily, and says so.
            with quiet_stderr():
                result = self._landmarker.detect_for_video(_picture(picture), self._stamp_ms)
        else:
            result = self._landmarker.detect_for_video(_picture(picture), self._stamp_ms)
        if not result.pose_landmarks:
            return None
        return _detection(result, 0, picture.shape[1], image, masks=self._masks)


def _picture(image: Image) -> Any:
    from mediapipe.tasks.python.vision.core.image import Image as Picture
    from mediapipe.tasks.python.vision.core.image import ImageFormat

    return Picture(ImageFormat.SRGB, image)


class MediaPipeBackend:
    """The default estimator. Makes the model at first use."""

    def __init__(self, progress: Progress = SILENT) -> None:
        self._model = ensure_model(progress)

    def label(self) -> str:
        return f"mediapipe {model_label(self._model)}"

    @contextmanager
    def session(self, settings: PoseSettings, *, masks: bool) -> Iterator[PoseSession]:
        vision = _library()
        landmarker = _landmarker(
            str(self._model),
            running_mode=vision.RunningMode.VIDEO,
            num_poses=1,
            min_pose_detection_confidence=settings.min_detection,
            min_pose_presence_confidence=settings.min_presence,
            min_tracking_confidence=settings.min_tracking,
            output_segmentation_masks=masks,
        )
        try:
            yield _Session(landmarker, settings.timestamp_step_ms, masks=masks)
        finally:
            landmarker.close()

    @contextmanager
    def everyone(self, settings: PeopleSettings) -> Iterator[Everyone]:
        """Looks at single pictures for several people."""
        vision = _library()
        landmarker = _landmarker(
            str(self._model),
            running_mode=vision.RunningMode.IMAGE,
            num_poses=settings.max_people,
            min_pose_detection_confidence=settings.min_detection,
        )
        try:
            yield Everyone(landmarker)
        finally:
            landmarker.close()


class Everyone:
    """Finds all people in single pictures."""

    def __init__(self, landmarker: Any) -> None:
        self._landmarker = landmarker

    def detect(self, image: Image) -> list[Detection]:
        picture = padded(image)
        with quiet_stderr():
            result = self._landmarker.detect(_picture(picture))
        return [
            _detection(result, person, picture.shape[1], image, masks=False)
            for person in range(len(result.pose_landmarks))
        ]
