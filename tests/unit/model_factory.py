"""Models made by hand with everything a model can hold, for what stores, shows and attacks them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from check_factory import with_club
from comparison_factory import make_swing

from overlay.data import (
    Ball,
    Band,
    CameraMotion,
    FilmingFinding,
    FilmingReport,
    KeptPictures,
    Model,
    Position,
    Positions,
    Provenance,
    SpaceTrack,
    Spread,
    Strike,
    StrikeClue,
    Swing,
    TimeMap,
)
from overlay.landmarks import N_LANDMARKS
from overlay.terms import PARTS, PHASES, POSITION_NAMES, View


def full_swing(view: View = "dtl", seed: int = 1, rate: int = 30) -> Swing:
    """A swing that uses every field there is, NaN and infinity among the numbers."""
    rng = np.random.default_rng(seed)
    swing = with_club(replace(make_swing(view=view, missing=("shaft_level_down",), rate=rate), clip=None))
    pose, club = swing.pose, swing.club
    assert club is not None
    n = len(pose)
    pose = replace(
        pose,
        points=pose.points + rng.normal(0, 0.1, pose.points.shape),
        depth=rng.normal(0, 20, pose.depth.shape),
        visibility=rng.uniform(0, 1, pose.visibility.shape).astype(np.float32),
        filled=rng.uniform(0, 1, pose.filled.shape) > 0.9,
        source="mediapipe",
        model="pose 3 – heavy",
        log=("read", "smoothed at 6 Hz"),
    )
    club = replace(
        club,
        angle_deg=np.where(np.arange(n) % 5 == 0, np.nan, club.angle_deg),
        state=tuple(("measured", "marked", "interpolated", "hidden")[i % 4] for i in range(n)),  # type: ignore[misc]
        angle_sd_deg=rng.uniform(0.5, 3, n),
    )
    matrices = np.tile(np.eye(2, 3), (n, 1, 1)) + rng.normal(0, 1e-4, (n, 2, 3))
    matrices[3] = np.nan
    impact = swing.positions.times()["impact"]
    found = tuple(
        replace(position, sd_s=None if i % 3 == 0 else 0.004 + i / 1000)
        for i, position in enumerate(swing.positions.found)
    )
    return replace(
        swing,
        pose=pose,
        club=club,
        positions=Positions(found, dict(swing.positions.missing)),
        swing_number=2,
        torso_px=60.25,
        quality={"hands_seen": 0.98, "never": math.nan, "endless": math.inf, "slow_factor_estimate": 1.0},
        notes=("The shaft was seen in 71 % of the frames.", "Zweite Notiz – äöü"),
        strike=Strike(
            impact,
            0.003,
            True,
            Ball((215.0, 262.0), 5.5, 0.8, impact - 0.01, math.nan),
            (StrikeClue("ball", impact, 0.004), StrikeClue("sound", impact + 0.002, 0.002)),
            "The ball is gone.",
        ),
        camera_motion=CameraMotion(pose.time_s, matrices),
    )


def filming() -> FilmingReport:
    """A filming report with an interval, an open one and a value that was not seen."""
    return FilmingReport(
        (
            FilmingFinding("camera_height", 0.9, "m", (0.7, 1.1), "pass", "The camera stands at hand height."),
            FilmingFinding("blur", math.nan, "px", None, "not seen", "No edge was sharp enough.", "Film in daylight."),
            FilmingFinding("rate", 60.0, "1/s", (60.0, math.inf), "warn", "60 frames a second.", "Film at 120."),
        )
    )


def band(n: int = 8) -> Band:
    """A band with a spread for every phase and part but one."""
    spreads = {
        (phase.name, part): Spread(0.01 + 0.001 * i + 0.002 * j, 6.5 + i)
        for i, phase in enumerate(PHASES)
        for j, part in enumerate(PARTS)
    }
    del spreads["release", "head"]
    return Band(n, spreads, "one player")


def provenance() -> Provenance:
    return Provenance(
        made_at="2031-05-04T10:00:00+00:00",
        made_by="overlay 1.0",
        pose_model="pose 3",
        sources=("range one.mp4, swing 2", "range two.mp4, swing 1"),
        left_out=("range three.mp4, swing 1: its backswing is another movement",),
        label="Illustrative template, not a norm.",
        notes=("Filmed at Larkspur Range.",),
    )


def swing_model(name: str = "My best swing", rate: int = 30) -> Model:
    """Both views of one swing."""
    dtl, fo = full_swing("dtl", 1, rate), full_swing("fo", 2, rate)
    return Model(
        name,
        "swing",
        swings={"dtl": dtl, "fo": fo},
        filming={"dtl": filming(), "fo": filming()},
        pair_map=TimeMap(
            np.array([0.0, 0.7, 2.0]), np.array([1.0, 1.7, 3.01]), {"cost": math.nan}, 1.0, ("By sound.",)
        ),
        club_kind="mid iron",
        player="Robin of Larkspur Range",
        provenance=provenance(),
    )


def template_model(name: str = "Template") -> Model:
    """The middle of several, one view."""
    return Model(name, "template", swings={"fo": full_swing("fo", 3)}, bands={"fo": band()}, provenance=provenance())


def space_model(name: str = "Space") -> Model:
    """A swing in space, of no particular shape."""
    rng = np.random.default_rng(4)
    n = 120
    times = np.linspace(0.0, 2.0, n)
    found = tuple(Position(word, 0.2 * i + 0.1, 1.0) for i, word in enumerate(POSITION_NAMES))
    track = SpaceTrack(
        times,
        rng.normal(0, 0.5, (n, N_LANDMARKS, 3)),
        rng.normal(0, 0.5, (n, 3)),
        rng.normal(0, 0.5, (n, 3)),
        np.array([0.1, 0.8, 0.02]),
        Positions(found, {}),
        stature_m=1.81,
        club_kind="driver",
    )
    return Model(name, "space", space=track, bands={"dtl": band(1), "fo": band(1)}, club_kind="driver")


def with_pictures(model: Model, size: tuple[int, int] = (60, 80)) -> Model:
    """The model with a cut-out of every position found."""
    import cv2

    pictures = {}
    for view, swing in model.swings.items():
        times = np.array([position.time_s for position in swing.positions.found])
        colours, alphas = [], []
        for i in range(len(times)):
            alpha = np.zeros((size[1], size[0]), np.uint8)
            cv2.circle(alpha, (size[0] // 2, size[1] // 2), 10 + i, 255, -1)
            colour = np.dstack([alpha // 2, alpha // 3, alpha])
            colours.append(cv2.imencode(".jpg", colour)[1].tobytes())
            alphas.append(cv2.imencode(".png", alpha)[1].tobytes())
        pictures[view] = KeptPictures(times, size, tuple(colours), tuple(alphas))
    return replace(model, pictures=pictures)
