"""How a swing in space is brought to a student's body and camera."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting

# Lengths between the places where the pose model sees the joints, shares of stature. Trunk, arms, legs and foot:
# Drillis & Contini 1966 (in Winter 2009, fig. 4.1), the shank less the height at which ankles are reported; shoulders
# and hips: distance of the joint centres, by trial on rendered clips (docs/studies/render_tracking.md).
USUAL_SHARES: Mapping[str, float] = MappingProxyType(
    {
        "trunk": 0.290,
        "shoulder_width": 0.206,
        "hip_width": 0.111,
        "upper_arm": 0.186,
        "forearm": 0.146,
        "thigh": 0.245,
        "shank": 0.223,
        "foot": 0.152,
    }
)


@dataclass(frozen=True)
class RetargetSettings:
    """How a movement is carried over to other segment lengths."""

    shortest: float = setting(0.6, "ratio", "a factor below this is no person's proportion")
    longest: float = setting(1.6, "ratio", "a factor above this is no person's proportion")
    straightest: float = setting(0.9954, "ratio", "joint distance ÷ bone lengths of a straight limb: 11 deg of bend")
    knee: float = setting(0.0015, "ratio", "softness of that limit: it is reached without a jerk, and never passed")
    stiff: float = setting(0.03, "ratio", "an arm this far from straight counts half as much as a straight one")
    shortest_club: float = setting(0.86, "ratio", "a club this much shorter is another kind of club")
    longest_club: float = setting(1.18, "ratio", "a club this much longer is another kind of club")
    most_outward: float = setting(
        0.9, "ratio", "joint centres lie inside the breadth at which limbs turn by at most this"
    )
    hang: float = setting(
        0.02, "weight", "of where the hands hang, against a straight arm's bend: what that leaves open"
    )
    strike_hang: float = setting(0.05, "weight", "the same at impact, where the ball leaves less open")
    strike_club: float = setting(2.0, "weight", "of the club reaching the ball, against a straight arm's bend")
    fade: float = setting(0.6, "of impact to finish", "the meeting of the ball is forgotten well before the finish")
    most_bend_deg: float = setting(8.0, "deg", "further bent to the ball at impact, a body would be in another posture")
    floor_m: float = setting(0.012, "m", "how far the club head may pass lower than in the model: grass")


RETARGET = RetargetSettings()


# Errors of the mean pose at address, one coordinate, torso lengths: noise that is left after averaging, and the pose
# model's own habits on this player and these clothes.
JOINT_SD: Mapping[str, float] = MappingProxyType(
    {
        "shoulder": 0.045,
        "elbow": 0.05,
        "wrist": 0.05,
        "hip": 0.04,
        "knee": 0.03,
        "ankle": 0.03,
        "heel": 0.035,
        "foot_index": 0.045,
        "ear": 0.035,
        "nose": 0.035,
    }
)

# How a player may stand otherwise than the model at address, standard deviations; what is seen of it is a difference
# and never moves the ghost.
POSTURE_SD: Mapping[str, float] = MappingProxyType(
    {
        "pelvis_x_m": 0.025,
        "pelvis_y_m": 0.035,
        "pelvis_z_m": 0.02,
        "pelvis_turn_deg": 4.0,
        "pelvis_roll_deg": 2.0,
        "knee_x_m": 0.02,
        "knee_y_m": 0.025,
        "bend_deg": 6.0,
        "lean_deg": 3.0,
        "shoulder_turn_deg": 5.0,
        "shoulder_roll_deg": 3.0,
        "head_x_m": 0.02,
        "head_y_m": 0.03,
        "head_z_m": 0.02,
        "head_turn_deg": 8.0,
        "head_pitch_deg": 10.0,
        "head_roll_deg": 5.0,
        "hands_x_m": 0.03,
        "hands_y_m": 0.045,
        "hands_z_m": 0.04,
        "elbow_m": 0.025,
    }
)

# Part → what a fitted swing is wrong by, torso lengths, one coordinate of a phase mean: root mean square of exact
# joints against the fitted swing, over synthetic and rendered players with proportions of their own
# (docs/studies/body_fit.md). The lead arm down the line and the shoulders face on are mostly what the pose model's
# habits vary by. Swing-to-swing variation and pose noise are not in it: the score counts them for both sides, though a
# model has none, which is the margin for the habits of the other parts.
PART_SD: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "dtl": {
            "hands": 0.02,
            "lead_arm": 0.045,
            "trail_arm": 0.015,
            "shoulders": 0.02,
            "head": 0.02,
            "spine": 0.015,
            "pelvis": 0.01,
            "lead_leg": 0.01,
            "trail_leg": 0.02,
        },
        "fo": {
            "hands": 0.022,
            "lead_arm": 0.02,
            "trail_arm": 0.02,
            "shoulders": 0.07,
            "head": 0.025,
            "spine": 0.018,
            "pelvis": 0.016,
            "lead_leg": 0.015,
            "trail_leg": 0.02,
        },
    }
)


@dataclass(frozen=True)
class FitSettings:
    """What is assumed of camera, body and stance before looking, and how the picture is read."""

    retarget: RetargetSettings = field(default_factory=RetargetSettings, metadata={"unit": "", "reason": "see there"})
    # The camera; the same assumptions as in the filming check.
    distance: float = setting(2.4, "stature", "common practice: 4 m")
    distance_spread: float = setting(0.40, "log", "2.5 to 9 m at 95 %")
    focal: float = setting(1.15, "of the longer side", "phones: 0.75 (main camera) to 1.6 (zoomed 2x)")
    focal_spread: float = setting(0.30, "log", "the same; a field of view of 34 to 67 deg at 68 %")
    side_spread: float = setting(0.25, "stature", "a camera beside its place by up to 90 cm")
    lens_height: float = setting(0.45, "stature", "common practice: hand height, 79 cm")
    lens_height_spread: float = setting(0.22, "stature", "from the ground to head height")
    yaw_spread_deg: float = setting(8.0, "deg", "cameras are set up by eye")
    pitch_spread_deg: float = setting(2.0, "deg", "between a phone upright on a stand and one leant against a bag")
    roll_spread_deg: float = setting(2.5, "deg", "cameras are set up by eye")
    # The body.
    usual: Mapping[str, float] = field(
        default_factory=lambda: dict(USUAL_SHARES),
        metadata={"unit": "stature", "reason": "Drillis & Contini 1966; see USUAL_SHARES"},
    )
    proportion_spread: float = setting(0.05, "log", "adult segment lengths over stature vary by 3 to 6 %")
    model_slack: float = setting(
        0.30, "log", "a model's own segment this far from the usual share is measured otherwise"
    )
    # The stance.
    width_spread: float = setting(0.25, "log", "from feet together to half as wide again")
    open_spread_m: float = setting(0.04, "m", "one foot drawn back: 10 deg of an open stance")
    flare_spread_deg: float = setting(12.0, "deg", "from square to well turned out")
    # The pose.
    joint_sd: Mapping[str, float] = field(
        default_factory=lambda: dict(JOINT_SD), metadata={"unit": "torso", "reason": "see JOINT_SD"}
    )
    posture_sd: Mapping[str, float] = field(
        default_factory=lambda: dict(POSTURE_SD), metadata={"unit": "m or deg", "reason": "see POSTURE_SD"}
    )
    still_s: float = setting(0.25, "s", "real time before address over which the pose is averaged")
    hidden_visibility: float = setting(0.4, "fraction", "an elbow or wrist seen less is a guess")
    seen_visibility: float = setting(0.5, "fraction", "below it 88 % of arm errors over 40 px lie")
    # How long segments look over the swing.
    angle_deg: float = setting(
        8.0, "deg", "one player's limb is turned that differently from the model's: style studies"
    )
    turn_deg: float = setting(14.0, "deg", "shoulders and hips turn more or less by that from player to player")
    end_sd: float = setting(0.05, "torso", "error of a segment's length from both its ends")
    least_in_plane: float = setting(0.35, "ratio", "a segment turned further towards the camera tells nothing")
    looks_back: float = setting(
        4.0, "count", "independent looks in the backswing: pose and style err for a quarter of it"
    )
    looks_down: float = setting(2.0, "count", "the same in the downswing")
    looks_after: float = setting(1.0, "count", "and after impact, where players differ most")
    huber: float = setting(1.3, "SD", "beyond it a look counts less; the usual 1.345")
    look_floor: float = setting(0.015, "log", "habits of the pose model that are the same in every frame")
    least_joints: int = setting(9, "count", "of 19 at address: with fewer the posture cannot be told from the camera")
    least_torso_px: float = setting(8.0, "px", "a smaller player is a few pixels wide")
    most_steps: int = setting(30, "count", "Gauss–Newton steps; ten are usual")
    other_anchor: float = setting(2.5, "ratio", "postures away from address differ that much more than at address")
    head_sd: float = setting(0.04, "torso", "error of ball or club head in the picture, with that of the ground there")
    head_place_sd_m: float = setting(0.06, "m", "ball places of one club vary by a ball or two")
    # What is said of the fit.
    unseen_share: float = setting(0.15, "fraction", "the picture takes away less of what is not known beforehand")
    poor_residual: float = setting(0.16, "torso", "twice the usual distance at address")
    part_sd: Mapping[str, Mapping[str, float]] = field(
        default_factory=lambda: {key: dict(row) for key, row in PART_SD.items()},
        metadata={"unit": "torso", "reason": "see PART_SD"},
    )
    n_draws: int = setting(24, "count", "cameras that stand for what is not known; spreads to a seventh")


FIT = FitSettings()
