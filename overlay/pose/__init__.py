"""Where the joints are: pose estimators run over clips, and tracks saved by any other estimator.

``track_clip`` runs an estimator (``backends``), ``load_track`` reads a saved track (``saved``); both give a raw
``PoseTrack``, which ``overlay.clean`` makes fit for measuring. ``people.check_one_person`` says beforehand whether
the clip shows one whole person. ``model`` makes the pose model.
"""

from __future__ import annotations

from overlay.pose.masks import MaskTrack
from overlay.pose.saved import SavedTrack, is_saved_track, load_track, save_track, write_csv
from overlay.pose.track import PoseResult, joined_tracks, track_clip

__all__ = [
    "MaskTrack",
    "PoseResult",
    "SavedTrack",
    "is_saved_track",
    "joined_tracks",
    "load_track",
    "save_track",
    "track_clip",
    "write_csv",
]
