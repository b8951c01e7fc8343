"""The data that stages pass to each other: frozen dataclasses over numpy, checked when they are made.

Times are seconds on the clip's own playback clock unless a name says otherwise. Missing is NaN, never 0.
Picture coordinates are pixels of the displayed picture (after rotation and mirroring), x right, y down.
"""

from overlay.data.answers import (
    Check,
    Checklist,
    Comparison,
    FilmingFinding,
    FilmingReport,
    FilmingVerdict,
    FirstThing,
    Guide,
    Measure,
    PhaseDifference,
    PhaseTiming,
    TimeMap,
    Verdict,
    Words,
)
from overlay.data.model import (
    Band,
    CameraPart,
    KeptPictures,
    Model,
    ModelKind,
    Provenance,
    ReferenceFit,
    Spread,
    ViewPair,
)
from overlay.data.recording import CLUB_STATES, CameraMotion, Clip, ClubState, ClubTrack, Frame, PoseTrack
from overlay.data.space import Camera, SpaceTrack
from overlay.data.swing import Ball, ClubMark, Marks, Position, PositionMark, Positions, Strike, StrikeClue, Swing

__all__ = [
    "CLUB_STATES",
    "Ball",
    "Band",
    "Camera",
    "CameraMotion",
    "CameraPart",
    "Check",
    "Checklist",
    "Clip",
    "ClubMark",
    "ClubState",
    "ClubTrack",
    "Comparison",
    "FilmingFinding",
    "FilmingReport",
    "FilmingVerdict",
    "FirstThing",
    "Frame",
    "Guide",
    "KeptPictures",
    "Marks",
    "Measure",
    "Model",
    "ModelKind",
    "PhaseDifference",
    "PhaseTiming",
    "PoseTrack",
    "Position",
    "PositionMark",
    "Positions",
    "Provenance",
    "ReferenceFit",
    "SpaceTrack",
    "Spread",
    "Strike",
    "StrikeClue",
    "Swing",
    "TimeMap",
    "Verdict",
    "ViewPair",
    "Words",
]
