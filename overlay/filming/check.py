"""The filming check of one clip: everything measured, the most important finding first."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from overlay.data import CameraMotion, FilmingFinding, FilmingReport, PoseTrack, Swing
from overlay.filming import frame, picture, place
from overlay.filming.blur import background_times, fast_rows, shutter_finding
from overlay.filming.scene import Scene, gather
from overlay.filming.second_look import second_times, with_second_look
from overlay.settings.filming import FilmingSettings
from overlay.settings.pose import PoseSettings
from overlay.settings.video import ReaderSettings

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
    scene = with_second_look(decoded_once(scene))
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


def decoded_once(scene: Scene) -> Scene:
    """The scene with a reader that has decoded what the parts of the check look at in one pass."""
    from overlay.video import SharedReader, Wanted

    if scene.reader is None or not len(scene.track):
        return scene
    club = None if scene.swing is None else scene.swing.club
    large, small = scene.settings.picture_side_px, PoseSettings().max_side_px
    times = [(scene.moment_s, large)]
    times += [(time_s, small) for time_s in (*second_times(scene), *frame.people_times(scene))]
    rows, _ = fast_rows(scene)
    if club is not None and len(rows):
        times += [(float(time_s), large) for time_s in (*background_times(scene), *club.time_s[rows])]
    wanted = [Wanted(float(time_s), float(time_s), side) for time_s, side in times]
    reader = SharedReader(scene.reader, wanted, ReaderSettings().shared_mb)
    reader.read()
    return dataclasses.replace(scene, reader=reader)


def _rank(finding: FilmingFinding) -> tuple[int, int]:
    return GRADES.index(finding.verdict), ORDER.index(finding.name)
