"""Thresholds of view and handedness finding."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ViewSettings:
    """What separates down the line from face on, measured over one swing.

    The three cues and their scales were read from 72 hand-labelled real swings, where each alone separates the
    camera labels with at most two exceptions.
    """

    sweep_middle: float = setting(0.78, "torso", "real swings: down the line 0.0–0.7, face on 0.85–1.85")
    sweep_scale: float = setting(0.20, "torso", "half the gap between the two groups of real swings")
    width_middle: float = setting(0.48, "torso", "real swings: down the line 0.03–0.45, face on 0.5–0.9")
    width_scale: float = setting(0.10, "torso", "spread of shoulder and hip width inside each group")
    reach_middle: float = setting(0.36, "torso", "real swings: hands down the line 0.3–0.8 in front, face on 0.0–0.35")
    reach_scale: float = setting(0.15, "torso", "spread of the hands' offset inside each group")
    turn_scale: float = setting(
        0.30, "torso", "a shoulder line shorter than this is too uncertain to tell chest from back"
    )
    diagonal: float = setting(0.8, "", "below this combined evidence the camera stands between the two views")
    high: float = setting(0.45, "torso", "hands above the hips by this much count as high")
    rise: float = setting(0.40, "torso", "least drop of the hands into the strike")
    still: float = setting(0.15, "fraction", "hands below this share of their peak speed are still")
    still_share: float = setting(0.60, "fraction", "a strike has no still hands at the bottom, an address has")
