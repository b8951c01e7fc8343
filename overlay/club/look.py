"""One pass over a swing's frames: evidence for the shaft in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.club.background import Background, learn, spaced_by_path
from overlay.club.hands import forearms, hands_seen
from overlay.club.rays import CHANGE_UNIT, FrameEvidence, Rays
from overlay.data import CameraMotion, Swing
from overlay.progress import Progress
from overlay.settings.club import ClubSettings
from overlay.steady import PersonArea, row_of

if TYPE_CHECKING:
    from overlay.pose import MaskTrack
    from overlay.video import Reader


@dataclass(frozen=True)
class Seen:
    """Evidence of all frames; None where a frame could not be decoded.

    ``factor`` is clip px per px of the small picture, in x and y.
    """

    frames: tuple[FrameEvidence | None, ...]
    rays: Rays
    factor: FloatArray


def small_side(swing: Swing, settings: ClubSettings) -> int:
    """Longest side, px, at which a torso is ``settings.torso_px``; never more than the clip has."""
    width, height = swing.pose.image_size
    longest = max(width, height)
    return int(np.clip(round(longest * settings.torso_px / swing.torso_px), 64, min(longest, settings.most_side_px)))


def look(
    reader: Reader,
    swing: Swing,
    masks: MaskTrack | None,
    hands: FloatArray,
    motion: CameraMotion | None,
    settings: ClubSettings,
    progress: Progress,
) -> Seen:
    """Evidence for the shaft in every frame of the swing; ``hands`` (T, 2) px of the clip."""
    import cv2

    times = swing.pose.time_s
    side = small_side(swing, settings)
    area = PersonArea(swing, masks, settings.person_margin)
    width, height = swing.pose.image_size
    moving = motion is not None and not np.array_equal(
        motion.matrices, np.tile(np.eye(2, 3), (len(motion.time_s), 1, 1))
    )
    probe = reader.frame_at(float(times[0]), max_side=side).image.shape
    factor = np.array([width / probe[1], height / probe[0]])

    def to_reference(time_s: float) -> FloatArray:
        assert motion is not None
        whole = np.vstack([motion.at(time_s), [0.0, 0.0, 1.0]])
        scale = np.diag([factor[0], factor[1], 1.0])
        return np.asarray((np.linalg.inv(scale) @ whole @ scale)[:2], np.float64)

    rows = spaced_by_path(hands, settings.background_frames)
    background = learn(reader, times[rows], side, area.at, to_reference if moving else None, settings)
    torso = swing.torso_px / float(factor.mean())
    rays, wide = Rays(settings, torso), Rays(settings, torso, wide=True)
    sure = hands_seen(swing.pose) >= settings.hands_seen
    arms = forearms(swing.pose) / factor
    found: list[FrameEvidence | None] = [None] * len(times)
    progress.stage("the club", len(times))
    for frame in reader.frames(float(times[0]), float(times[-1]), max_side=side):
        row = row_of(times, frame.time_s)
        if row is None:
            continue
        progress.advance()
        if not np.all(np.isfinite(hands[row])):
            continue
        image = frame.image
        behind = background
        if behind is not None and moving:
            matrix, size = to_reference(frame.time_s), (image.shape[1], image.shape[0])
            flags = cv2.WARP_INVERSE_MAP
            behind = Background(
                np.asarray(
                    cv2.warpAffine(
                        behind.picture, matrix, size, flags=flags | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
                    )
                ),
                np.asarray(
                    cv2.warpAffine(
                        behind.spread, matrix, size, flags=flags | cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE
                    )
                ),
                np.asarray(cv2.warpAffine(behind.known, matrix, size, flags=flags | cv2.INTER_NEAREST)),
            )
        body = area.body(frame.time_s, (image.shape[0], image.shape[1]))
        channels = frame_channels(image, behind, body, arms[row], torso, settings)
        search = rays if sure[row] else wide
        found[row] = search.evidence(search.canvas(channels, hands[row] / factor))
    progress.done()
    return Seen(tuple(found), rays, factor)


def frame_channels(
    image: AnyArray,
    background: Background | None,
    body: AnyArray | None,
    arms: FloatArray,
    torso_px: float,
    settings: ClubSettings,
) -> AnyArray:
    """(h, w, 4) uint8: luminance, change against the background, weight of evidence, cost of going on.

    ``body`` (h, w) is 255 on the player; ``arms`` (2, 2, 2) px are elbow and wrist of both.
    """
    import cv2

    s = settings
    height, width = image.shape[:2]
    light = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    if background is None:
        change = np.full((height, width), int(2 * CHANGE_UNIT), np.uint8)
    else:
        difference = cv2.absdiff(image, background.picture)
        largest = np.maximum(np.maximum(difference[..., 0], difference[..., 1]), difference[..., 2])
        change = cv2.divide(largest, background.spread, scale=CHANGE_UNIT)
        # An unknown background tells nothing, so what lies there counts by its contrast alone.
        change[background.known == 0] = int(2 * CHANGE_UNIT)
    weight = np.full((height, width), 255, np.uint8)
    cost = np.full((height, width), round(255 * s.gap_cost), np.uint8)
    if body is not None:
        band = max(1, round(0.035 * torso_px))
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * band + 1, 2 * band + 1))
        inner, outer = cv2.erode(body, kernel), cv2.dilate(body, kernel)
        weight[outer > 0] = round(255 * s.edge_weight)
        weight[inner > 0] = round(255 * s.body_weight)
        cost[outer > 0] = round(255 * s.body_gap_cost)
    for arm in arms:
        if np.all(np.isfinite(arm)):
            elbow, wrist = (tuple(int(v) for v in np.round(point)) for point in arm)
            thick = max(2, round(0.17 * torso_px))
            line = np.zeros((height, width), np.uint8)
            cv2.line(line, elbow, wrist, 255, thick)
            weight[line > 0] = np.minimum(weight[line > 0], round(255 * s.arm_weight))
    # The rim of a picture is a line itself, the more so where the camera moves: it tells nothing.
    rim = max(2, round(s.rim * torso_px))
    for edge in (weight[:rim], weight[-rim:], weight[:, :rim], weight[:, -rim:]):
        edge[:] = 0
    for edge in (cost[:rim], cost[-rim:], cost[:, :rim], cost[:, -rim:]):
        edge[:] = 0
    return np.dstack([light, change, weight, cost])
