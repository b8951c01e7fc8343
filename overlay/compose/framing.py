"""One framing for both players: the same body size, the feet at the same place, mirrored where the hands differ.

Both panes then show the same level at the same height, and the ghost needs no further fitting: it is the
reference's pane laid over the student's.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import PoseTrack, ReferenceFit, Swing
from overlay.errors import DataError
from overlay.kinematics import hand_path, torso_length
from overlay.landmarks import INDEX
from overlay.settings.compose import COMPOSE, ComposeSettings

CHAIN_IN_TORSOS = 2.71
"""Torso + thigh + shank in shoulder–hip lengths: (.288 + .245 + .246) / .288, Drillis & Contini 1966."""


@dataclass(frozen=True)
class Body:
    """Where a player stands and how large he is in his picture, at address.

    Attributes
    ----------
    feet : (2,) float, px
        Midpoint of the ankles.
    torso_px : float
        A torso length, averaged over trunk and legs so that a bent posture does not change it.
    """

    feet: FloatArray
    torso_px: float


def measure_body(swing: Swing, settings: ComposeSettings = COMPOSE) -> Body:
    """Feet and size around address (the start of the swing when address is missing).

    Raises
    ------
    DataError
        Neither the trunk nor the picture's own torso length is known.
    """
    track = swing.pose
    address_s = swing.positions.time("address")
    if address_s is None:
        address_s = swing.start_s
    near = np.abs(track.time_s - address_s) <= settings.address_window_s * max(1.0, swing.slow_factor)
    if not np.any(near):
        near[np.argmin(np.abs(track.time_s - address_s))] = True

    def middle(names: tuple[str, ...], keep: BoolArray) -> FloatArray:
        points = track.points[keep][:, [INDEX[name] for name in names]].reshape(-1, 2)
        points = points[np.isfinite(points[:, 0])]
        return np.median(points, axis=0) if len(points) else np.full(2, np.nan)

    everywhere = np.ones(len(track), bool)
    chain: list[FloatArray] = []
    for joint in ("shoulder", "hip", "knee", "ankle"):
        names = (f"left_{joint}", f"right_{joint}")
        both = [middle((name,), near) for name in names]
        known = [point for point in both if np.isfinite(point[0])]
        chain.append(np.mean(known, axis=0) if known else middle(names, everywhere))
    lengths = [float(np.linalg.norm(b - a)) for a, b in itertools.pairwise(chain)]
    total = sum(lengths)
    torso = total / CHAIN_IN_TORSOS if np.isfinite(total) and total > 0 else swing.torso_px
    if not np.isfinite(torso) or torso <= 0:
        torso = torso_length(track)
    if not np.isfinite(torso) or torso <= 0:
        raise DataError("The size of the player is not known: no trunk in the track.", "Give shoulders and hips.")
    feet = chain[3]
    if not np.isfinite(feet[0]):
        hips = chain[1]
        # Without ankles the feet are where the legs end: 1.7 torso lengths under the hips (Drillis & Contini 1966).
        feet = hips + np.array([0.0, 1.7 * torso])
    if not np.all(np.isfinite(feet)):
        feet = np.array([track.image_size[0] / 2, track.image_size[1] * 0.9])
    return Body(np.asarray(feet, np.float64), float(torso))


@dataclass(frozen=True)
class Window:
    """A rectangle in torso lengths from the feet: x right, y down."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def union(self, other: Window) -> Window:
        return Window(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )

    def within(self, other: Window) -> Window:
        """The part that lies inside ``other``; itself where they do not meet."""
        left, right = max(self.left, other.left), min(self.right, other.right)
        top, bottom = max(self.top, other.top), min(self.bottom, other.bottom)
        return Window(left, top, right, bottom) if right > left and bottom > top else self

    def with_aspect(self, narrowest: float, widest: float, allowed: Window) -> Window:
        """Made wider or taller until width ÷ height is in range, growing towards ``allowed`` first."""
        width, height = self.width, self.height
        if width / height < narrowest:
            grow = narrowest * height - width
            left = _share(grow, self.left - allowed.left, allowed.right - self.right)
            return Window(self.left - left, self.top, self.right + grow - left, self.bottom)
        if width / height > widest:
            grow = width / widest - height
            top = _share(grow, self.top - allowed.top, allowed.bottom - self.bottom)
            return Window(self.left, self.top - top, self.right, self.bottom + grow - top)
        return self


def _share(grow: float, room_before: float, room_after: float) -> float:
    """How much of ``grow`` goes to the first side: evenly, unless one side has no picture left."""
    before, after = max(room_before, 0.0), max(room_after, 0.0)
    if before + after < grow:
        return before + (grow - before - after) / 2
    return float(np.clip(grow / 2, grow - after, before))


def _seen(points: FloatArray, body: Body, mirrored: bool) -> FloatArray:
    """(N, 2) the finite ones of (..., 2) px, in torso lengths from the feet."""
    flat = (points.reshape(-1, 2) - body.feet) / body.torso_px * np.array([-1.0 if mirrored else 1.0, 1.0])
    return np.asarray(flat[np.isfinite(flat[:, 0])], np.float64)


def body_window(track: PoseTrack, body: Body, mirrored: bool, margin: float = 0.0) -> Window:
    """Where the body and the hands are during the swing, with a margin in torso lengths.

    A single wild joint must not zoom the picture out: the outer 0.5 % at each end are left out, of the hands 2 %.
    """
    flat = _seen(track.points, body, mirrored)
    low, high = np.percentile(flat, 0.5, axis=0), np.percentile(flat, 99.5, axis=0)
    # The head reaches above nose and ears, and the soles below the ankles.
    window = Window(
        low[0] - margin, low[1] - max(margin, 0.2), high[0] + margin, max(float(high[1]), 0.15) + max(margin, 0.1)
    )
    hands = _seen(hand_path(track).points, body, mirrored)
    if not len(hands):
        return window
    low, high = np.percentile(hands, 2, axis=0), np.percentile(hands, 98, axis=0)
    near = max(margin, 0.15)
    return window.union(Window(low[0] - near, low[1] - near, high[0] + near, window.bottom))


def wanted_window(
    track: PoseTrack, body: Body, mirrored: bool, with_club: bool = True, settings: ComposeSettings = COMPOSE
) -> Window:
    """What is good to see of a player: the body with a margin, and room for the club around the hands."""
    window = body_window(track, body, mirrored, settings.body_margin)
    hands = _seen(hand_path(track).points, body, mirrored)
    if not len(hands):
        return window
    low, high = np.percentile(hands, 1, axis=0), np.percentile(hands, 99, axis=0)
    side, up = (settings.hand_reach, settings.hand_reach_up) if with_club else (settings.drawn_reach,) * 2
    return window.union(Window(low[0] - side, low[1] - up, high[0] + side, window.bottom))


def ball_window(swing: Swing, body: Body, mirrored: bool, settings: ComposeSettings = COMPOSE) -> Window | None:
    """Room around the ball and the club head at address; None where neither was seen.

    Ball and shaft plane lines end there, and down the line that is further out than the hands ever come.
    """
    places = []
    if swing.strike is not None and swing.strike.ball is not None:
        places.append(np.asarray(swing.strike.ball.place, np.float64))
    address_s = swing.positions.time("address")
    if swing.club is not None and address_s is not None and len(swing.club.time_s):
        i = int(np.argmin(np.abs(swing.club.time_s - address_s)))
        if swing.club.scored[i]:
            places.append(swing.club.head[i])
    seen = _seen(np.asarray(places, np.float64).reshape(-1, 2), body, mirrored)
    if not len(seen):
        return None
    near = settings.ball_margin
    low, high = seen.min(axis=0), seen.max(axis=0)
    return Window(float(low[0]) - near, float(low[1]) - near, float(high[0]) + near, float(high[1]) + near)


ANYWHERE = Window(-100.0, -100.0, 100.0, 100.0)
"""The edges of a picture that is drawn: none."""


def picture_window(image_size: tuple[int, int], body: Body, mirrored: bool) -> Window:
    """The whole picture in torso lengths from the feet."""
    left, right = (edge / body.torso_px for edge in (-body.feet[0], image_size[0] - body.feet[0]))
    if mirrored:
        left, right = -right, -left
    top, bottom = (edge / body.torso_px for edge in (-body.feet[1], image_size[1] - body.feet[1]))
    return Window(left, top, right, bottom)


@dataclass(frozen=True)
class Placement:
    """How a picture is brought into a pane: a crop in whole pixels, enlarged or reduced, flipped if wanted.

    Whole pixels let the picture be resized instead of warped, which is five times faster; what is drawn goes
    through the same numbers, so it stays on the body. Both scales differ by less than half a pixel over the pane.

    Attributes
    ----------
    left, top, width, height : int
        The crop, px of the picture; may reach beyond its edges.
    pane_size : (width, height) px
    flip : bool
    """

    left: int
    top: int
    width: int
    height: int
    pane_size: tuple[int, int]
    flip: bool = False

    @property
    def scale(self) -> float:
        """Pane pixels per picture pixel."""
        return self.pane_size[1] / self.height

    @property
    def matrix(self) -> FloatArray:
        """(2, 3): picture → pane, where a pixel reaches from its number to the next."""
        x, y = self.pane_size[0] / self.width, self.pane_size[1] / self.height
        if self.flip:
            return np.array([[-x, 0.0, self.pane_size[0] + x * self.left], [0.0, y, -y * self.top]])
        return np.array([[x, 0.0, -x * self.left], [0.0, y, -y * self.top]])


def placement(body: Body, window: Window, flip: bool, pane_size: tuple[int, int]) -> Placement:
    """The crop that shows ``window`` around a player."""
    left, right = (-window.right, -window.left) if flip else (window.left, window.right)
    width = max(2, round((right - left) * body.torso_px))
    height = max(2, round(window.height * body.torso_px))
    return Placement(
        round(body.feet[0] + left * body.torso_px),
        round(body.feet[1] + window.top * body.torso_px),
        width,
        height,
        pane_size,
        flip,
    )


@dataclass(frozen=True)
class Framing:
    """How two players are brought into panes of one size.

    Attributes
    ----------
    pane_size : (width, height) px, both even
    places : Placement of student and reference
    feet_y : float
        Pane row of the ankles.
    mirrored : bool
        Whether the reference is flipped.
    ghost : Placement or None
        Of the picture the fitted reference lies in, for the ghost; None where nothing was fitted.
    """

    pane_size: tuple[int, int]
    places: tuple[Placement, Placement]
    feet_y: float
    mirrored: bool
    ghost: Placement | None = None


def frame_players(
    student: Swing,
    reference: Swing,
    *,
    with_pictures: tuple[bool, bool],
    least_px: int,
    most_px: int,
    fit: ReferenceFit | None = None,
    settings: ComposeSettings = COMPOSE,
) -> Framing:
    """Find the window and pane size that suit both players.

    Parameters
    ----------
    student, reference : Swing
    fit : ReferenceFit or None
        A reference in the student's own picture gets his placement; one that was scaled gets a third for its ghost.
    with_pictures : two bool
        Whether there is a picture, whose edges then bound the window.
    least_px, most_px : int
        Pane height; in between, the student's own resolution decides.
    """
    shared = fit is not None and fit.in_student_picture
    mirrored = student.handedness != reference.handedness
    mine = measure_body(student, settings)
    # In the student's own picture the reference stands in his shoes: one body measures both.
    bodies = (mine, mine if shared else measure_body(reference, settings))
    flips = (False, mirrored)
    wanted, allowed, cores = [], [], []
    for swing, body, flip, has_picture in zip((student, reference), bodies, flips, with_pictures):
        with_club = has_picture or swing.club is not None
        window = wanted_window(swing.pose, body, flip, with_club, settings)
        ball = ball_window(swing, body, flip, settings)
        window = window if ball is None else window.union(ball)
        edge = picture_window(swing.pose.image_size, body, flip) if has_picture else ANYWHERE
        wanted.append(window.within(edge))
        allowed.append(edge)
        cores.append(body_window(swing.pose, body, flip).within(edge))
    # A fit that changed nothing needs no warping.
    fitted = None if fit is None or shared or fit.swing is reference else measure_body(fit.swing, settings)
    if fit is not None and fitted is not None:
        cores.append(body_window(fit.swing.pose, fitted, mirrored).within(allowed[0]))
    # Room for the club only where both pictures have it, so that no pane ends in plain ground; the bodies always.
    common = allowed[0].within(allowed[1])
    window = wanted[0].union(wanted[1]).within(common)
    for core in cores:
        window = window.union(core)
    window = window.with_aspect(settings.narrowest, settings.widest, common)
    natural = window.height * max(
        (body.torso_px for body, has_picture in zip(bodies, with_pictures) if has_picture),
        default=most_px / window.height,
    )
    height = int(np.clip(round(natural), least_px, most_px))
    height -= height % 2
    width = round(height * window.width / window.height / 2) * 2
    size = (width, height)
    places = tuple(placement(body, window, flip, size) for body, flip in zip(bodies, flips))
    ghost = None if fitted is None else placement(fitted, window, mirrored, size)
    return Framing(size, (places[0], places[1]), -window.top * height / window.height, mirrored, ghost)


def frame_one(
    swing: Swing, *, with_picture: bool, least_px: int, most_px: int, settings: ComposeSettings = COMPOSE
) -> Framing:
    """As ``frame_players`` for a single player, who is never mirrored."""
    return frame_players(
        swing, swing, with_pictures=(with_picture, with_picture), least_px=least_px, most_px=most_px, settings=settings
    )


def transformed(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """(..., 2) points through a (2, 3) matrix."""
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2], np.float64)


def inverted(matrix: FloatArray) -> FloatArray:
    """The (2, 3) matrix that undoes another."""
    back = np.linalg.inv(matrix[:, :2])
    return np.column_stack([back, -back @ matrix[:, 2]])
