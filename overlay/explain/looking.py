"""One and the same movement as the two cameras of a comparison would show it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.data import Camera, Comparison, PoseTrack, Position, Positions, SpaceTrack, Swing, TimeMap
from overlay.score.measure import CellDifference, measure_cells
from overlay.score.parts import figure_of, likely_slow_factor
from overlay.settings.score import ScoreSettings


@dataclass(frozen=True)
class Movement:
    """A movement in the student's own time, ready to be looked at.

    Attributes
    ----------
    time_s : (T,) float
        Real seconds on the student's clock: what is fast or slow in his swing is so here, and the score takes the same
        share of the along-path difference.
    student, reference : SpaceTrack
        In the hand of each.
    seen : pair of ((T, 33) float, (T, 33) bool)
        Visibility and filled-in mask of the two real swings at the same moments of the movement, so that the same
        joints are left out.
    positions : pair of Positions
        Those which were found in the real swings.
    """

    time_s: FloatArray
    student: SpaceTrack
    reference: SpaceTrack
    seen: tuple[tuple[FloatArray, AnyArray], tuple[FloatArray, AnyArray]]
    positions: tuple[Positions, Positions]


def movement_of(comparison: Comparison, space: SpaceTrack, settings: ScoreSettings) -> Movement | None:
    """The movement brought to the student's time; None when fewer than two positions are known in both."""
    student, reference = comparison.student, comparison.scored_reference
    slow = likely_slow_factor(student, settings)
    known = [
        (time_s, at / slow)
        for name, time_s in space.positions.times().items()
        if (at := student.positions.time(name)) is not None
    ]
    if len(known) < 2:
        return None
    theirs, mine = (np.array(column) for column in zip(*known))
    # Two positions of the real swing may fall together to rounding; the map needs time to go on.
    mine = np.maximum.accumulate(mine + 1e-6 * np.arange(len(mine)))
    clock = TimeMap(theirs, mine)
    time_s = clock.to_reference(space.time_s)
    at_student = time_s * slow
    seen = (
        _seen(student, at_student),
        _seen(reference, comparison.time_map.to_reference(at_student)),
    )
    placed = {name: float(clock.to_reference(at)) for name, at in space.positions.times().items()}
    return Movement(
        time_s,
        space if space.handedness == student.handedness else space.mirrored(),
        space if space.handedness == reference.handedness else space.mirrored(),
        seen,
        (_positions(student, placed), _positions(reference, placed)),
    )


def _seen(swing: Swing, at_s: FloatArray) -> tuple[FloatArray, AnyArray]:
    track = swing.pose
    i = np.clip(np.searchsorted(track.time_s, at_s), 1, max(1, len(track) - 1))
    i = np.minimum(np.where(at_s - track.time_s[i - 1] < track.time_s[i] - at_s, i - 1, i), len(track) - 1)
    return track.visibility[i], track.filled[i] | ~np.all(np.isfinite(track.points[i]), axis=-1)


def _positions(swing: Swing, placed: dict[str, float]) -> Positions:
    found = tuple(
        Position(position.name, placed[position.name], position.confidence)
        for position in swing.positions.found
        if position.name in placed
    )
    missing = dict(swing.positions.missing)
    missing.update(
        {
            position.name: "the movement does not have it"
            for position in swing.positions.found
            if position.name not in placed
        }
    )
    return Positions(found, missing)


def seen_by(
    movement: Movement,
    cameras: tuple[Camera, Camera],
    comparison: Comparison,
    settings: ScoreSettings,
    *,
    all_seen: bool,
) -> tuple[CellDifference, ...]:
    """What the score measures between the two pictures of the one movement: the cells of a comparison.

    ``all_seen`` counts every joint as seen; else those that the real swings show.
    """
    identity = TimeMap(movement.time_s[[0, -1]], movement.time_s[[0, -1]])
    figures = []
    for side, (space, camera, real) in enumerate(
        zip(
            (movement.student, movement.reference),
            cameras,
            (comparison.student, comparison.scored_reference),
        )
    ):
        points = camera.project(space.points)
        visibility, filled = movement.seen[side]
        if all_seen:
            visibility, filled = np.ones_like(visibility), np.zeros_like(filled)
        gone = ~np.all(np.isfinite(points), axis=-1)
        track = PoseTrack(
            points, np.zeros(points.shape[:2]), np.where(gone, 0.0, visibility), movement.time_s, real.pose.image_size,
            "movement in space", filled=filled & ~gone,
        )  # fmt: skip
        swing = Swing(None, track, real.view, 1.0, real.handedness, 1.0, movement.positions[side])
        figures.append(figure_of(swing, settings))
    return measure_cells(figures[0], figures[1], identity, settings)
