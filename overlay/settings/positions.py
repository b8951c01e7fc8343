"""Thresholds of swing finding and of the nine positions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from overlay.settings import setting


@dataclass(frozen=True)
class PositionSettings:
    """Everything is measured in torso lengths and in the swing's own downswing time, so that a slowed clip, a small
    picture and a tall player need no other numbers."""

    # Which sweeps of the hands are full swings.
    high: float = setting(0.45, "torso", "hands above the hips by this much count as high; real tops: 0.9–1.9")
    rise: float = setting(0.40, "torso", "least drop into the strike; real swings: 0.6–1.8")
    still: float = setting(0.15, "fraction", "hands below this share of the sweep's peak speed are still")
    still_share: float = setting(0.45, "fraction", "still part of the low stretch; strikes 0.0–0.33, an address > 0.6")
    full_height: float = setting(0.62, "torso", "hands at the top of a full swing are above this; half swings are not")
    full_finish: float = setting(0.55, "torso", "hands after a full swing rise above this unless the clip ends first")
    turned: float = setting(0.15, "torso", "least range of the signed shoulder or hip width; real strikes: 0.18–1.4")
    rehearsal_speed: float = setting(
        0.5, "fraction", "a sweep slower than this share of the recording's fastest is a rehearsal"
    )
    rehearsal_height: float = setting(0.6, "fraction", "as above for the height of the hands at the top")
    rate_of_return: float = setting(
        6.0, "fraction", "a downswing longer than this many times the following rise to half height is no strike"
    )
    least_frames: int = setting(12, "frames", "fewer frames cannot hold a swing at 30 frames per second")
    least_trust: float = setting(0.15, "fraction", "mean visibility of the better wrist below which hands are unseen")
    most_hidden: float = setting(0.6, "fraction", "frames from top to finish without hands above which it is a guess")
    most_unseen: float = setting(0.5, "fraction", "share of frames without hands above which a swing is not believed")

    hidden_share: float = setting(
        0.12, "fraction", "of the recording with hidden hands in one stretch: that is why no swing is found in it"
    )

    # The fine grid.
    grid_per_downswing: int = setting(100, "count", "grid step of 1–3 ms in real time; finer changes nothing")
    smoothing: float = setting(0.05, "downswing", "Gaussian sigma, 13 ms at a downswing of 0.27 s, about 12 Hz")
    before_top: float = setting(9.0, "downswing", "searched before the top; backswings last 2–6 downswings")
    after_impact: float = setting(16.0, "downswing", "searched after impact; a finish is often held for 2 s")

    # Address and finish.
    still_speed: float = setting(0.12, "fraction", "of the mean backswing speed: the hands count as still below it")
    held_speed: float = setting(0.08, "fraction", "of the peak hand speed: the end position is held below it")
    still_again: float = setting(
        0.004, "fraction", "of the peak hand speed: slower is a drift within the held position"
    )
    relaxed: float = setting(0.12, "torso", "the hands have left the held end position beyond this")
    least_takeaway: float = setting(
        0.08,
        "backswing",
        "least share that the takeaway takes; real clips by eye 0.27, synthetic 0.40 to 0.55",
    )
    still_at_edge_s: float = setting(0.06, "s", "a clip must show at least this much stillness to own the position")

    # Tempo.
    downswing_s: float = setting(0.27, "s", "median of 758 real-time clips, GolfDB labels (McNally et al. 2019)")
    backswing_s: float = setting(0.87, "s", "median of the same labels")
    real_time_low: float = setting(0.6, "fraction", "5–95 % of the same labels is 0.74–1.3: below this, sped up")
    real_time_high: float = setting(1.6, "fraction", "above this the clip plays slower than life")
    tempo_low: float = setting(2.0, "ratio", "real clips lie within 2.0–6.0; outside, a clip is slowed or speed-ramped")
    tempo_high: float = setting(6.0, "ratio", "as above")
    margin_s: float = setting(0.5, "s", "kept before the address and after the finish, real time")

    # Fusion.
    tolerance: float = setting(
        1 / 30, "fraction", "of address → impact, the rule of GolfDB; confidence is the chance of it"
    )
    disagreement: float = setting(3.0, "sd", "sources further apart than this are not averaged; the surer one is taken")
    least_confidence: float = setting(
        0.08,
        "probability",
        "a position less sure than this is absent, not guessed; at 0.1 a finish is off by 0.1 s (one SD, known warps), "
        "which still ends the swing for the alignment far better than the end of the clip does (p95 42 against 126 ms)",
    )


class LevelWindow(NamedTuple):
    """Which rows a passage of the shaft through level is fitted to.

    Attributes
    ----------
    before, after : float
        Downswings before the last row below level and after the first one above it.
    before_deg, after_deg : float
        The rows may be this far from level. 0 after: none are taken there, and the rows before are carried on.
    gap : float
        Downswings between the rows on both sides, at most; or how far level may lie beyond the last row.
    """

    before: float
    after: float
    before_deg: float
    after_deg: float
    gap: float


class Onset(NamedTuple):
    """How the beginning of a movement out of a still place is fitted.

    Attributes
    ----------
    of : "shaft" or "direction"
        Where the club head lies from the grip, in shaft lengths, or the direction of that alone, in radians.
    far : float
        Fitted until it is this far from the still place.
    power : float
        Of time, by which the way grows.
    before : float
        Downswings before the first guess that the beginning may lie at most.
    """

    of: str
    far: float
    power: float
    before: float


@dataclass(frozen=True)
class ClubCueSettings:
    """How moments are read from the club's track. Times are shares of the swing's downswing time."""

    least_rows: int = setting(6, "count", "fewer frames with a visible shaft show no movement")
    full_percentile: float = setting(95.0, "%", "length of the whole shaft: the longest seen but for outliers")
    usual_sd_deg: float = setting(2.0, "deg", "where the tracker tells no uncertainty")
    least_sd_deg: float = setting(0.5, "deg", "no shaft is read off finer than this")
    length_share: float = setting(0.08, "fraction", "how well the visible end of the shaft is known")
    level_fo: LevelWindow = setting(  # noqa: RUF009 - frozen, so shared safely
        LevelWindow(0.5, 0.5, 50.0, 50.0, 0.8), "downswing, deg", "within 50° a parabola holds; the shaft is seen whole"
    )
    level_dtl_back: LevelWindow = setting(  # noqa: RUF009 - frozen, so shared safely
        LevelWindow(0.35, 0.35, 60.0, 60.0, 1.1),
        "downswing, deg",
        "end-on the shaft is lost for up to 1.1 downswings of a slow takeaway (rendered clips)",
    )
    level_dtl_down: LevelWindow = setting(  # noqa: RUF009 - frozen, so shared safely
        LevelWindow(0.10, 0.10, 30.0, 36.0, 0.15),
        "downswing, deg",
        "across longer gaps the body hides part of the shaft and 20 ms are lost; the pose alone is better then",
    )
    level_dtl_through: LevelWindow = setting(  # noqa: RUF009 - frozen, so shared safely
        LevelWindow(0.35, 0.0, 36.0, 0.0, 0.3), "downswing, deg", "after level the body hides the club"
    )
    least_below_deg: float = setting(3.0, "deg", "nearer to level the last row before the body is no better than noise")
    frame_share: float = setting(0.06, "fraction", "of the frame spacing: what the shutter leaves open of a passage")
    level_deg: float = setting(75.0, "deg", "rows on either side of level further off than this bracket nothing")
    gap_share: float = setting(0.10, "fraction", "of a gap in the rows: what is read across it may be off by so much")
    beyond_share: float = setting(0.15, "fraction", "of the way that level is read beyond the last row, likewise")
    reach_sd: float = setting(4.0, "sd", "searched around the pose's time, in its standard deviations")
    reach: float = setting(0.3, "downswing", "searched at least")

    # The change of direction at the top.
    top_deg: float = setting(25.0, "deg", "rows this near to the turning point are fitted; further off a cubic bends")
    top_before: float = setting(0.6, "downswing", "as above in time, on the way up")
    top_after: float = setting(0.4, "downswing", "on the way down, which is quicker")
    top_gap: float = setting(0.35, "downswing", "a longer gap may hide the turning point")
    top_reach: float = setting(0.6, "downswing", "searched around the pose's time at least")

    # Leaving address, and the held finish.
    leave_address: Onset = setting(  # noqa: RUF009 - frozen, so shared safely
        Onset("shaft", 0.3, 1.5, 9.0), "", "of six ways of fitting the one with the least spread, face on: 10 ms"
    )
    leave_finish: Onset = setting(  # noqa: RUF009 - frozen, so shared safely
        Onset("direction", 0.3, 1.5, 1.0),
        "",
        "likewise; of the direction, since what hides the shaft, and with it its visible length, changes in the hold",
    )
    onset_frame_share: float = setting(0.25, "fraction", "of the frame spacing: smoothing invents nothing in between")
    rounds: int = setting(2, "count", "each takes its still stretch before what the last one found")
    still_for: float = setting(1.5, "downswing", "before leaving: the still place is the median of this stretch")
    still_until: float = setting(0.1, "downswing", "before leaving: the end of it")
    still_within: float = setting(0.12, "shaft", "the club is not still when half of its rows lie further off")
    moving: float = setting(0.25, "shaft", "further from the still place than any error of a track: it moved there")
    fitted_for: float = setting(1.5, "downswing", "before leaving: rows that are fitted")
    onset_gap: float = setting(0.6, "downswing", "a longer gap may hide the beginning")
    most_jump: float = setting(
        0.7,
        "fraction",
        "of the way fitted, from one row to the next; real ones at 30 frames/s reach 0.6, a tracker "
        "that had held on to something else and finds the shaft again 1.0",
    )
    held_over: float = setting(0.5, "downswing", "the club is held while its direction hardly changes within this")
    held_turn: float = setting(
        0.12, "rad", "as above: 7°; a club that sinks while it is held turned by 5° in a real clip, one let down by 20°"
    )
    held_least: float = setting(0.2, "downswing", "shorter is no hold")
    finish_after: float = setting(1.2, "downswing", "after impact the club is still on its way to the finish")
