"""The filming check of one clip: everything measured, the most important finding first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from overlay.data import CameraMotion, FilmingFinding, FilmingReport, PoseTrack, Swing
from overlay.filming import frame, picture, place
from overlay.filming.blur import shutter_finding
from overlay.filming.scene import gather
from overlay.filming.second_look import with_second_look
from overlay.settings.filming import FilmingSettings

if TYPE_CHECKING:
    from overlay.pose import MaskTrack
    from overlay.video import Reader

ORDER = (
    "view",
    "whole_body",
    "other_people",
    "camera_offset",
    "camera_height",
    "yaw",
    "roll",
    "club_in_frame",
    "steadiness",
    "shutter_blur",
    "frame_rate",
    "distance",
    "player_size_px",
    "exposure",
    "contrast",
    "camera_distance",
)
"""What misleads most comes first."""

GRADES = ("fail", "warn", "not seen", "pass")


def check_filming(
    reader: Reader | None,
    track: PoseTrack,
    swing: Swing | None,
    masks: MaskTrack | None,
    *,
    motion: CameraMotion | None = None,
    stature_cm: float | None = None,
    settings: FilmingSettings | None = None,
) -> FilmingReport:
    """How well a clip is filmed, and what to do about it.

    Parameters
    ----------
    reader : Reader or None
        Of the swing's own clip, turned as the pose was. None (a saved track): what needs pictures is "not seen".
    track : PoseTrack
        Of the whole recording.
    swing : Swing or None
        None when none was found: what needs no swing is still told.
    masks : MaskTrack or None
    motion : CameraMotion or None
        None: that of the swing, or what the feet tell.
    stature_cm : float or None
        The player's height. None: a usual one, with its uncertainty in the intervals.
    settings : FilmingSettings

    Returns
    -------
    FilmingReport
        Failures first, then warnings, then what could not be seen, then what is good; within each the most important
        first. Intervals are 95 %.
    """
    scene = gather(reader, track, swing, masks, motion, stature_cm, settings or FilmingSettings())
    scene = with_second_look(scene)
    still = picture.still_picture(scene)
    found = place.locate(scene, picture.background_tilt(scene, still))
    findings = [
        frame.view_finding(scene),
        frame.whole_body_finding(scene),
        frame.others_finding(scene),
        *place.place_findings(scene, found),
        frame.club_finding(scene, found),
        frame.steadiness_finding(scene),
        shutter_finding(scene),
        frame.rate_finding(scene),
        *frame.distance_findings(scene, found),
        frame.size_finding(scene),
        *picture.light_findings(scene, still),
    ]
    return FilmingReport(tuple(sorted(findings, key=_rank)))


def _rank(finding: FilmingFinding) -> tuple[int, int]:
    return GRADES.index(finding.verdict), ORDER.index(finding.name)
