"""Thresholds of the template: one swing made of several."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting
from overlay.settings.align import AlignSettings
from overlay.settings.score import ScoreSettings


@dataclass(frozen=True)
class TemplateSettings:
    """How swings are brought together, averaged, and which are left out."""

    align: AlignSettings = AlignSettings()  # noqa: RUF009
    score: ScoreSettings = ScoreSettings()  # noqa: RUF009
    rate_hz: float = setting(
        120.0, "Hz", "frames of the template: at 60 a straight line cuts the hand path by 1.5 % of a torso length"
    )
    lead_in_s: float = setting(0.5, "s", "kept before address and after the finish, as swings are trimmed")
    fit_bodies: bool = setting(
        True, "", "bring every swing to the segment lengths of the one in the middle; off only to study what that gives"
    )
    rounds: int = setting(3, "count", "of aligning to the mean and taking the mean; a fourth moved nothing by 0.1 % T")
    least_weight: float = setting(
        0.02, "fraction", "a joint seen as badly as this still counts where no swing shows it better"
    )
    filled_weight: float = setting(0.2, "fraction", "of a value that cleaning filled in, against a measured one")
    taper_s: float = setting(
        0.03, "s", "over which a swing leaves the mean where its joint is lost, so that the mean does not jump"
    )
    huber: float = setting(1.7, "ratio", "of the spread: beyond it a swing's pull no longer grows; 95 % efficient")
    floor: float = setting(0.01, "torso", "smallest spread that is believed: what the pose model is sure of at best")
    measured_share: float = setting(
        0.5, "fraction", "of the swings must show a joint, a position, the club or the ball for it to count as measured"
    )
    cell_limit: float = setting(
        5.0,
        "ratio",
        "of the spread: a part further from the others in one phase is another movement; a player's own "
        "swings reach 3.5 in 200 synthetic swings, a clear fault 7 and more",
    )
    two_cell_limit: float = setting(4.0, "ratio", "the same for two or more parts and phases; own swings reach 2.9")
    mean_ratio: float = setting(
        2.0,
        "ratio",
        "root mean square over all parts and phases against the middle swing's; own swings reach 1.7, "
        "another style 2.4 and more",
    )
    wide_group: float = setting(
        1.5, "ratio", "of the usual spread of one player's swings: a group so much wider is of several players"
    )
    least_mean: float = setting(
        0.7, "ratio", "of the usual spread: closer than this to the others is never another swing"
    )
    spread_df: float = setting(3.0, "count", "how far the spread between few swings is pulled to the usual one")
    tempo_limit: float = setting(
        0.20,
        "fraction",
        "backswing or downswing longer or shorter than the others' by this is another swing; one "
        "player's vary by 2–5 %, address is found to 5 %",
    )
    tempo_ratio: float = setting(4.5, "ratio", "the same, and the next, in multiples of the spread between the swings")
    height_limit: float = setting(
        0.30, "torso", "hands that much lower at the top: a chip or a half swing, not the same swing"
    )
    explained: float = setting(0.5, "fraction", "of the movement that the others explain; less is another movement")
    seen_share: float = setting(0.5, "fraction", "of the joints measured over the swing; fewer is badly tracked")
    jitter_ratio: float = setting(3.0, "ratio", "of the others' frame-to-frame unrest; more is badly tracked")
    jitter_floor: float = setting(
        0.002, "torso", "unrest below this is movement: a sway of 0.3 T within a quarter of a second has 0.001"
    )
    duplicate: float = setting(
        0.003, "torso", "two tracks that agree to this at all times are one recording: noise alone is 0.5 % and more"
    )
    club_sd_deg: float = setting(3.0, "deg", "of a tracked shaft whose own uncertainty is not told")
