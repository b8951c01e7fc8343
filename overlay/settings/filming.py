"""Thresholds of the filming check."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class FilmingSettings:
    """What is assumed of camera and player, and from when on a finding is a warning or a failure."""

    # Where the camera stands: what is assumed before looking.
    least_joints: int = setting(9, "count", "of 17 at address: with fewer the posture cannot be told from the camera")
    most_steps: int = setting(40, "count", "Gauss–Newton steps; ten are usual")
    distance: float = setting(2.4, "stature", "common practice: 4 m")
    distance_spread: float = setting(0.45, "log", "2.5 to 10 m at 95 %")
    focal: float = setting(1.15, "of the longer side", "phones: 0.75 (main camera) to 1.6 (zoomed 2x)")
    focal_spread: float = setting(0.30, "log", "the same")
    side_spread: float = setting(0.25, "stature", "a camera beside its place by up to 90 cm")
    lens_height: float = setting(0.45, "stature", "common practice: hand height, 79 cm")
    lens_height_spread: float = setting(0.22, "stature", "from the ground to head height")
    yaw_spread_deg: float = setting(10.0, "deg", "cameras are set up by eye")
    roll_spread_deg: float = setting(2.5, "deg", "cameras are set up by eye")
    level_pitch_deg: float = setting(0.5, "deg", "a phone upright on a stand; 1° is 7 cm of height at 4 m")
    tilted_pitch_deg: float = setting(6.0, "deg", "a phone leant against a bag")
    tilted_share: float = setting(
        0.02, "fraction", "a tilt must be plain: at 0.25 two in five level rendered clips had a wrong height"
    )
    still_s: float = setting(0.25, "s", "real time before address over which the pose is averaged")
    hidden_visibility: float = setting(0.4, "fraction", "a wrist seen less is a guess: METHODS of the pose trials")
    biased_source: str = setting("mediapipe", "", "the pose model whose habits ``address_shape.json`` holds")
    stature_cm: float = setting(173.0, "cm", "where it is not told: between the means of adult women and men")
    stature_sd_cm: float = setting(9.0, "cm", "spread of adults of both sexes")
    stature_told_sd_cm: float = setting(1.5, "cm", "what people say and shoes add")
    torso_of_stature: float = setting(0.288, "fraction", "shoulder .818 − hip .530, Drillis & Contini 1966")

    # Where the camera stands: what is still good.
    low_lens_cm: float = setting(71.0, "cm", "common practice: 28 in")
    high_lens_cm: float = setting(81.0, "cm", "common practice: 32 in")
    height_warn_cm: float = setting(9.0, "cm", "an error of 15 cm is to be told: docs/studies/filming_errors.md")
    height_fail_cm: float = setting(25.0, "cm", "common practice, no source")
    height_doubt_cm: float = setting(60.0, "cm", "half an interval wider than this says nothing")
    offset_warn_cm: float = setting(9.0, "cm", "an error of 15 cm is to be told: docs/studies/filming_errors.md")
    offset_fail_cm: float = setting(25.0, "cm", "common practice, no source")
    middle_sd_cm: float = setting(1.0, "cm", "where exactly hand line and body's middle are")
    yaw_warn_deg: float = setting(2.5, "deg", "an error of 5° is to be told: docs/studies/filming_errors.md")
    yaw_fail_deg: float = setting(8.0, "deg", "common practice, no source")
    yaw_doubt_deg: float = setting(8.0, "deg", "half an interval wider than this says nothing")
    roll_warn_deg: float = setting(1.6, "deg", "an error of 3° is to be told: docs/studies/filming_errors.md")
    roll_fail_deg: float = setting(5.0, "deg", "no angle from a picture is finer than this")
    roll_doubt_deg: float = setting(5.0, "deg", "half an interval wider than this says nothing")
    near_m: float = setting(2.5, "m", "nearer, the near foot looks a fifth larger than the far one")

    # What the frame holds.
    view_sure: float = setting(0.8, "fraction", "below it the view is not clear")
    head_above_face: float = setting(0.35, "torso", "from nose and ears to the top of a cap")
    sole_below_feet: float = setting(0.08, "torso", "from heel and toe to the sole")
    room_warn: float = setting(0.08, "torso", "about a hand's breadth")
    room_fail: float = setting(-0.05, "torso", "noise of the joints at the edge")
    club_room_warn: float = setting(0.0, "torso", "the head just inside")
    club_room_fail: float = setting(-0.15, "torso", "the head outside by more than its place is known")
    club_of_stature: float = setting(0.55, "fraction", "a mid iron of 0.94 m and a driver of 1.14 m, for 1.75 m")
    near_top_s: float = setting(0.05, "s", "real time about the top in which the club has hardly moved")
    share_wanted: float = setting(0.58, "fraction", "nose to ankles; leaves room for the club above and below")
    share_low_warn: float = setting(0.33, "fraction", "common practice, no source")
    share_low_fail: float = setting(0.20, "fraction", "common practice, no source")
    share_high_warn: float = setting(0.78, "fraction", "a club above the head needs a quarter of the picture")
    torso_warn_px: float = setting(90.0, "px", "the club is looked for at a torso of 100 px")
    torso_fail_px: float = setting(45.0, "px", "half of that: hands are a few pixels wide")
    people_samples: int = setting(8, "count", "pictures of the swing that are searched for others")
    shake_warn: float = setting(1.0, "% torso", "the pose model's own noise of feet is 0.7")
    shake_fail: float = setting(8.0, "% torso", "about 12 px: guide lines no longer fit their place")
    rate_warn: float = setting(48.0, "frames/s", "common practice: 60 frames a second or more")
    rate_fail: float = setting(22.0, "frames/s", "a downswing of five pictures")
    downswing_s: float = setting(0.27, "s", "median of real-time clips (GolfDB labels)")

    # The picture.
    picture_side_px: int = setting(960, "px", "long lines and outlines are as clear as in a larger picture")
    dark_warn: float = setting(18.0, "% of white", "median of the player; common practice, no source")
    dark_fail: float = setting(10.0, "% of white", "common practice, no source")
    bright_behind: float = setting(60.0, "% of white", "a background this bright fools the camera's exposure")
    burnt: float = setting(98.0, "% of white", "no detail left")
    burnt_warn: float = setting(12.0, "% of the player", "a white shirt in the sun; common practice, no source")
    burnt_fail: float = setting(35.0, "% of the player", "common practice, no source")
    contrast_warn: float = setting(8.0, "%", "common practice, no source")
    contrast_fail: float = setting(4.0, "%", "common practice, no source")
    line_share: float = setting(0.04, "of the longer side", "shorter segments are texture")
    line_total: float = setting(0.25, "of the longer side", "least length of lines that agree")
    horizon_share: float = setting(0.10, "of the height", "a level line further from the middle row counts half")
    line_sd_deg: float = setting(0.35, "deg", "posts and rails as they stand")
    most_tilt_deg: float = setting(12.0, "deg", "further off, a line is neither upright nor level")

    # The shutter.
    fast_deg_s: float = setting(500.0, "deg/s", "slower, the fan is as wide as the shaft")
    long_torso: float = setting(0.6, "torso", "a club seen end-on does not tell")
    after_impact_s: float = setting(0.05, "s", "real time after impact in which the club is still fast")
    most_fans: int = setting(12, "count", "pictures that are looked at, the fastest first")
    least_fans: int = setting(2, "count", "one alone may be a shadow")
    background_pictures: int = setting(15, "count", "the club covers a place in few of them")
    fan_from: float = setting(0.30, "of the visible length", "beyond the hands and forearms")
    fan_to: float = setting(0.80, "of the visible length", "short of the club head")
    fan_least_levels: float = setting(6.0, "of 255", "three times the noise of a picture")
    shaft_px: float = setting(3.0, "px", "a shaft of 9–15 mm at 200–300 px a metre, with its soft edge")
    impact_deg_s: float = setting(2000.0, "deg/s", "a shaft near impact turns 15–30° in 1/100 s: common practice")
    shutter_doubt: float = setting(0.2, "fraction", "trials on rendered clips: docs/studies/filming_errors.md")
    shutter_floor_s: float = setting(0.0008, "s", "a fan as wide as the error of the shaft's own thickness")
    smear_warn_deg: float = setting(6.0, "deg", "1/330 s; more than the error of a shaft angle")
    smear_fail_deg: float = setting(14.0, "deg", "1/140 s: the shaft is a fan, its angle a guess")

    # Two cameras.
    line_warn_deg: float = setting(3.0, "deg", "twice the error of each")
    line_fail_deg: float = setting(8.0, "deg", "more than most faults turn the club")
    size_warn: float = setting(25.0, "%", "perspective; common practice, no source")
