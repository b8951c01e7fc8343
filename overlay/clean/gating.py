"""What the pose model only guesses: joints it cannot see, and joints outside the picture."""

from __future__ import annotations

import numpy as np

from overlay.arrays import BoolArray
from overlay.clean.work import HAND_JOINTS, Work, counted
from overlay.landmarks import INDEX
from overlay.settings.clean import CleanSettings

SIDES = ("left", "right")


def hidden(work: Work, settings: CleanSettings) -> BoolArray:
    """(T, J): wrists, hands and elbows the model says it cannot see.

    A hidden wrist that lies at a seen one is kept: both hold the club. The visibility of shoulders, hips and legs
    says nothing about their error, so it is not asked.
    """
    where = np.zeros(work.visibility.shape, bool)
    wrists = [INDEX[f"{side}_wrist"] for side in SIDES]
    gap = np.linalg.norm(work.points[:, wrists[0]] - work.points[:, wrists[1]], axis=1) / work.scale_px
    for side, wrist, other in zip(SIDES, wrists, reversed(wrists)):
        unseen = work.visibility[:, wrist] < settings.hidden_wrist
        linked = (gap <= settings.linked_wrists) & (work.visibility[:, other] >= settings.hidden_wrist)
        unseen &= ~linked
        for joint in HAND_JOINTS:
            where[:, INDEX[f"{side}_{joint}"]] = unseen
        elbow = INDEX[f"{side}_elbow"]
        where[:, elbow] = work.visibility[:, elbow] < settings.hidden_elbow
    return np.asarray(where & work.seen(), bool)


def outside(work: Work, settings: CleanSettings) -> BoolArray:
    """(T, J): joints placed outside the picture."""
    width, height = work.image_size
    margin = settings.outside_margin
    x, y = work.points[..., 0], work.points[..., 1]
    with np.errstate(invalid="ignore"):
        where = (x < -margin * width) | (x > (1 + margin) * width)
        where |= (y < -margin * height) | (y > (1 + margin) * height)
    return np.asarray(where, bool)


def gate(work: Work, settings: CleanSettings) -> None:
    """Drop both."""
    for name, where in (("outside the picture", outside(work, settings)), ("hidden", hidden(work, settings))):
        work.drop(where)
        if where.any():
            work.log.append(f"{name}: dropped {counted(where)}")
