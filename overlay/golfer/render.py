"""Pictures and clips of the synthetic golfer.

A frame is put together from a background plate (painted once for a camera), the body (a distance field marched tile
by tile, see ``render_kernels``), the club drawn many times over the exposure, shadows, and film. The time of a frame
is the middle of its exposure. The same arguments give the same bytes, on one thread or many.
"""

from __future__ import annotations

import copy
import dataclasses
import math
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Sequence

import numpy as np

from overlay.arrays import AnyArray, FloatArray, Image
from overlay.errors import InputError
from overlay.golfer.looks import LOOKS, Look, find_look
from overlay.golfer.render_body import Shapes, shapes
from overlay.golfer.render_club import HEAD_REACH_M, SHAFT_RADII_M, club_path, head_shapes
from overlay.golfer.render_exposure import Between, Moved, exposure_postures, lead_side
from overlay.golfer.render_lens import Lens, lens_of
from overlay.golfer.scene import Plate, paint_plate
from overlay.golfer.sound import SoundSpec, range_sound
from overlay.progress import SILENT, Progress
from overlay.settings.render import LIGHTS, LightSettings, RenderSettings
from overlay.video.sound import Sound

if TYPE_CHECKING:
    from overlay.golfer.camera import CameraSpec
    from overlay.golfer.motion import Motion, Posture

__all__ = [
    "LOOKS", "Bystander", "Film", "Studio", "exposure_postures", "lead_side", "render_clip", "render_frame",
]  # fmt: skip

FAR = 1e9


@dataclass(frozen=True)
class Film:
    """How the light is recorded.

    Attributes
    ----------
    light : str
        Name in ``settings.render.LIGHTS``: day, overcast, evening.
    brightness, contrast : float
        Factors on the picture, contrast about mid grey.
    noise : float
        Factor on the sensor noise of that light; 0 for none.
    seed : int
    """

    light: str = "day"
    brightness: float = 1.0
    contrast: float = 1.0
    noise: float = 1.0
    seed: int = 0

    def __post_init__(self) -> None:
        if self.light not in LIGHTS:
            raise InputError(f"{self.light!r} is not a light.", f"Use one of {', '.join(LIGHTS)}.")
        for name in ("brightness", "contrast", "noise"):
            value = getattr(self, name)
            if not math.isfinite(value) or not 0.0 <= value <= 10.0:
                raise InputError(f"{name} of the picture is {value!r}.", "Give a number from 0 to 10.")


@dataclass(frozen=True)
class Bystander:
    """A second person in the background: a posture, a look, and where his origin stands (X, Y in m)."""

    posture: Posture
    look: str | Look
    place: tuple[float, float]


@dataclass
class _Layers:
    """Working pictures of one rectangle of the frame."""

    x0: int
    y0: int
    width: int
    height: int
    body: AnyArray = field(init=False)
    depth: AnyArray = field(init=False)
    club: AnyArray = field(init=False)

    def __post_init__(self) -> None:
        self.body = np.zeros((self.height, self.width, 4), np.float32)
        self.depth = np.full((self.height, self.width), FAR, np.float32)
        self.club = np.zeros((2, self.height, self.width, 4), np.float32)


class Studio:
    """Everything about a picture that does not move: camera, light, background, noise.

    Parameters
    ----------
    camera : CameraSpec
        Needs ``project``, ``width_px`` and ``height_px``.
    look : name in ``LOOKS`` or Look
    film : Film
    lead : "left" or "right"
        The player's lead side; "right" mirrors the range for a left-handed player.
    bystanders : other people in the picture
    settings : RenderSettings
    """

    def __init__(
        self, camera: CameraSpec, look: str | Look = "rowan", *, film: Film | None = None, lead: str = "left",
        bystanders: Sequence[Bystander] = (), settings: RenderSettings | None = None,
    ) -> None:  # fmt: skip
        from overlay.golfer._kernels_picture import tone_curve, tone_picture

        self.settings = settings or RenderSettings()
        self.film = film or Film()
        self.look = find_look(look)
        self.lead = lead
        self.camera: Any = camera
        trembles = float(getattr(camera, "shake_deg", 0.0)) > 0.0
        self.lens: Lens = lens_of(dataclasses.replace(self.camera, shake_deg=0.0) if trembles else camera)
        if self.lens.width < 16 or self.lens.height < 16 or self.lens.width * self.lens.height > 40_000_000:
            raise InputError(
                f"A picture of {self.lens.width}×{self.lens.height} px cannot be rendered.",
                "Choose a size between 16×16 and 40 million px.",
            )
        self.packed = self.lens.packed()
        self.mirrored = lead == "right"
        light: LightSettings = LIGHTS[self.film.light]
        self.light_settings = light
        towards = np.array(light.towards_sun) * np.array([-1.0 if self.mirrored else 1.0, 1.0, 1.0])
        self.sun = towards / np.linalg.norm(towards)
        self.sun_right = np.cross([0.0, 0.0, 1.0], self.sun)
        self.sun_right /= np.linalg.norm(self.sun_right)
        self.sun_up = np.cross(self.sun, self.sun_right)
        self.light = np.array([*light.sun, *light.sky, *light.ground])
        self.volume = np.random.default_rng(5).uniform(-1.0, 1.0, (32, 32, 32)).astype(np.float32)
        # A trembling camera only turns, so its background is a window that moves over a larger plate.
        self.margin = 0
        if trembles:
            self.margin = (
                math.ceil(4.5 * math.radians(self.camera.shake_deg) * max(*self.lens.focal, self.lens.height)) + 2
            )
        self.wide = self.lens.widened(self.margin)
        self.plate = paint_plate(self.wide, self.mirrored, light)
        self.backdrop = np.empty(self.plate.picture.shape, np.float32)
        tone_picture(self.plate.picture, light.exposure, self.backdrop)
        self.curve = np.empty(4097, np.float32)
        tone_curve(light.exposure, self.curve)
        self.bystanders: list[tuple[Any, Look, str]] = [
            (Moved(person.posture, np.array([*person.place, 0.0])), find_look(person.look), lead_side(person.posture))
            for person in bystanders
        ]
        self.noise = self._noise()

    def _noise(self) -> AnyArray:
        """Repeating noise pictures, a little softened as a camera's colour filter does."""
        s = self.settings
        rng = np.random.default_rng([self.film.seed, 77])
        shape = (s.noise_frames, min(self.lens.height, 512) + 61, min(self.lens.width, 512) + 37, 1)
        grey, colour = rng.standard_normal(shape), rng.standard_normal((*shape[:3], 3))
        noise = 0.85 * grey + 0.5 * colour
        noise = 0.72 * noise + 0.28 * np.roll(noise, 1, axis=2)
        return np.asarray(noise * s.noise_levels * self.film.noise * self.light_settings.noise, np.float32)

    def at(self, time_s: float) -> Studio:
        """The studio as a trembling camera sees it at one time; itself when the camera stands still."""
        if not self.margin:
            return self
        import cv2

        turned = copy.copy(self)
        turned.margin = 0
        turned.lens = lens_of(self.camera.at(time_s))
        turned.packed = turned.lens.packed()
        size = (self.lens.width, self.lens.height)
        # Pixel centres lie at half pixels for the lens and at whole ones for the resampler.
        half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
        back = np.linalg.inv(half) @ self.wide.matrix() @ self.wide.axes @ turned.lens.axes.T
        back = back @ np.linalg.inv(turned.lens.matrix()) @ half
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        picture = cv2.warpPerspective(self.plate.picture, back, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        ground = cv2.warpPerspective(
            self.plate.ground,
            back,
            size,
            flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        turned.plate = Plate(picture, ground)
        turned.backdrop = cv2.warpPerspective(self.backdrop, back, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return turned

    # One frame ---------------------------------------------------------------------------------------------

    def frame(self, exposure: Sequence[Posture], index: int = 0, *, ball: bool = True) -> Image:
        """One picture.

        Parameters
        ----------
        exposure : postures, equally spaced from the opening to the closing of the shutter; one for a still.
        index : int
            Frame number, only for the noise.
        ball : bool
            Whether the posture's ball is drawn.

        Returns
        -------
        (H, W, 3) uint8 RGB
        """
        from overlay.golfer import _kernels_picture as picture

        values = self.backdrop.copy()
        middle: Any = exposure[len(exposure) // 2]
        built = self._shapes(middle)
        rect = self._rectangle(built, exposure, ball)
        if rect is not None:
            shadow, grid = self._shadow(built)
            layers = _Layers(*rect)
            self._body(layers, exposure, built, shadow, grid)
            self._club(layers, exposure)
            ball_at = self._ball(layers, exposure) if ball else None
            self._together(layers, middle, ball_at, shadow, grid, values)
        out = np.empty(values.shape, np.uint8)
        rng = np.random.default_rng([self.film.seed, index])
        which, dy, dx = int(rng.integers(len(self.noise))), int(rng.integers(4096)), int(rng.integers(4096))
        gain = 1.0 if self.film.noise > 0 else 0.0
        picture.film(values, self.noise[which], dy, dx, gain, self.film.contrast, self.film.brightness, out)
        return out

    def _shapes(self, posture: Posture) -> Shapes:
        return shapes([(posture, self.look, self.lead), *self.bystanders])

    def _rectangle(self, built: Shapes, exposure: Sequence[Any], ball: bool) -> tuple[int, int, int, int] | None:
        """x, y, width, height of the part of the picture that differs from the plate."""
        p = built.primitives
        ends = np.concatenate([p[:, 4:7], p[:, 7:10]])
        radius = np.tile(p[:, 10], 2)
        club = np.array([[np.asarray(q.grip, float), np.asarray(q.club_head, float)] for q in exposure]).reshape(-1, 3)
        spheres = [ends, club]
        radii = [radius, np.full(len(club), 0.16)]
        shade = [ends - self.sun * (ends[:, 2:] / self.sun[2]), club - self.sun * (club[:, 2:] / self.sun[2])]
        spheres.extend(shade)
        radii.extend([radius / self.sun[2] ** 0.5 + 0.06, np.full(len(club), 0.06)])
        if ball:
            balls = [np.asarray(q.ball, float) for q in exposure if q.ball is not None]
            if balls:
                spheres.append(np.array(balls))
                radii.append(np.full(len(balls), 0.12))
        points, reach = np.concatenate(spheres), np.concatenate(radii)
        pixels, depth = self.lens.project(points)
        ok = depth > 0.4
        if not ok.any():
            return None
        grow = (reach * max(self.lens.focal) / np.maximum(depth - reach, 0.3))[ok, None] + 3.0
        low = np.floor(np.min(pixels[ok] - grow, axis=0)).astype(int)
        high = np.ceil(np.max(pixels[ok] + grow, axis=0)).astype(int)
        low = np.clip(low, 0, [self.lens.width, self.lens.height])
        high = np.clip(high, 0, [self.lens.width, self.lens.height])
        if np.any(high <= low):
            return None
        return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])

    def _shadow(self, built: Shapes) -> tuple[AnyArray, FloatArray]:
        from overlay.golfer.render_kernels import shadow_map

        p = built.primitives
        ends = np.concatenate([p[:, 4:7], p[:, 7:10]])
        radius = np.tile(p[:, 10], 2)
        u, v = ends @ self.sun_right, ends @ self.sun_up
        cell = self.settings.shadow_cell_m
        u0, v0 = float((u - radius).min()) - 2 * cell, float((v - radius).min()) - 2 * cell
        columns, rows = int(((u + radius).max() - u0) / cell) + 3, int(((v + radius).max() - v0) / cell) + 3
        out = np.empty((3, rows, columns), np.float32)
        shadow_map(p, built.lofts, len(p), self.sun, self.sun_right, self.sun_up, u0, v0, cell, out)
        return out, np.array([u0, v0, cell])

    def _body(
        self, layers: _Layers, exposure: Sequence[Posture], built: Shapes, shadow: AnyArray, grid: FloatArray
    ) -> None:
        s = self.settings
        n = 1
        if len(exposure) > 1:
            travel = self._travel(exposure, ("left_wrist", "right_wrist", "left_hand", "right_hand", "left_elbow"))
            n = int(np.clip(math.ceil(travel / s.body_blur_px), 1, s.most_body_exposures))
        if n == 1:
            self._trace(layers, built, shadow, grid, None, layers.body, layers.depth)
            return
        # Only tiles that something moves in are drawn again for each moment of the exposure.
        moments = [Between(exposure, (k + 0.5) / n) for k in range(n)]
        tables = [self._shapes(moment) for moment in moments]  # type: ignore[arg-type]
        moving = self._moving(layers, tables)
        self._trace(layers, built, shadow, grid, None, layers.body, layers.depth)
        if not moving.any():
            return
        total = np.zeros_like(layers.body)
        for table in tables:
            body = np.zeros_like(layers.body)
            self._trace(layers, table, shadow, grid, moving, body, np.full_like(layers.depth, FAR))
            total += body
        tile = s.tile_px
        rows, columns = -(-layers.height // tile), -(-layers.width // tile)
        mask = np.kron(moving.reshape(rows, columns), np.ones((tile, tile), bool))[: layers.height, : layers.width]
        layers.body[mask] = total[mask] / n

    def _travel(self, exposure: Sequence[Any], joints: Sequence[str]) -> float:
        points = np.array([[np.asarray(q.joints[name], float) for name in joints] for q in exposure])
        pixels, _ = self.lens.project(points)
        return float(np.max(np.sum(np.linalg.norm(np.diff(pixels, axis=0), axis=-1), axis=0)))

    def _moving(self, layers: _Layers, tables: list[Shapes]) -> AnyArray:
        """Per tile: whether a primitive that moves more than half a pixel over the exposure can be seen in it."""
        first, last = tables[0].primitives, tables[-1].primitives
        a, _ = self.lens.project(first[:, 4:7])
        b, _ = self.lens.project(last[:, 4:7])
        c, _ = self.lens.project(first[:, 7:10])
        d, _ = self.lens.project(last[:, 7:10])
        moved = np.maximum(np.linalg.norm(a - b, axis=1), np.linalg.norm(c - d, axis=1)) > 0.5
        tile = self.settings.tile_px
        rows, columns = -(-layers.height // tile), -(-layers.width // tile)
        wanted = np.zeros(rows * columns, bool)
        if not moved.any():
            return wanted
        for table in tables:
            counts, _ = self._bins(layers, Shapes(table.primitives[moved], table.lofts, table.persons, table.materials))
            wanted |= counts > 0
        return wanted

    def _bins(self, layers: _Layers, built: Shapes) -> tuple[AnyArray, AnyArray]:
        from overlay.golfer.render_kernels import bin_tiles

        tile = self.settings.tile_px
        rows, columns = -(-layers.height // tile), -(-layers.width // tile)
        n = len(built.primitives)
        counts = np.zeros(rows * columns, np.int64)
        items = np.zeros((rows * columns, n), np.int64)
        bin_tiles(
            built.primitives, n, self.packed, layers.x0, layers.y0, columns, rows, tile,
            self.settings.occlusion_margin_m, counts, items,
        )  # fmt: skip
        return counts, items

    def _trace(
        self, layers: _Layers, built: Shapes, shadow: AnyArray, grid: FloatArray, wanted: AnyArray | None,
        colour: AnyArray, depth: AnyArray,
    ) -> None:  # fmt: skip
        from overlay.golfer._kernels_shade import trace_body

        counts, items = self._bins(layers, built)
        tile = self.settings.tile_px
        rows, columns = -(-layers.height // tile), -(-layers.width // tile)
        owner = np.zeros(depth.shape, np.int32)
        trace_body(
            built.primitives.astype(np.float32), built.lofts.astype(np.float32), built.materials, built.persons,
            self.volume, self.packed, self.light, self.sun, self.sun_right, self.sun_up, shadow, grid,
            layers.x0, layers.y0, columns, rows, tile, counts, items,
            np.ones(rows * columns, bool) if wanted is None else wanted, colour, depth, owner,
        )  # fmt: skip

    def _club(self, layers: _Layers, exposure: Sequence[Any]) -> None:
        from overlay.golfer._kernels_picture import draw_head, draw_shaft

        s = self.settings
        n = 1
        if len(exposure) > 1:
            heads = np.array([np.asarray(q.club_head, float) for q in exposure])
            pixels, _ = self.lens.project(heads)
            travel = float(np.sum(np.linalg.norm(np.diff(pixels, axis=0), axis=-1)))
            n = int(np.clip(math.ceil(travel / s.club_blur_px), 1, s.most_club_exposures))
        path = club_path(exposure, n, self.mirrored)
        kind = str(exposure[0].club_kind)
        steel = np.array([0.50, 0.51, 0.53, 0.9])
        shaft = path.ends.copy()
        # The head begins where the shaft ends; the grip (part of the body) hides the upper end.
        draw_shaft(shaft, np.array(SHAFT_RADII_M[kind]), self.packed, layers.x0, layers.y0, layers.depth, self.light,
                   self.sun, steel, 1.0 / n, layers.club)  # fmt: skip
        rows, lofts, materials = head_shapes(kind)
        few = path.frames if n <= 24 else path.frames[np.linspace(0, n - 1, 24).round().astype(int)]
        draw_head(rows, lofts, materials, np.ascontiguousarray(few), HEAD_REACH_M, self.packed, layers.x0, layers.y0,
                  layers.depth, self.light, self.sun, 1.0 / len(few), layers.club)  # fmt: skip

    def _ball(self, layers: _Layers, exposure: Sequence[Any]) -> FloatArray | None:
        """Draws the ball over the exposure; returns where it was in the middle, None when it was gone."""
        from overlay.golfer._kernels_picture import draw_ball, draw_shaft

        radius = self.settings.ball_radius_m
        balls = [None if q.ball is None else np.asarray(q.ball, float) for q in exposure]
        seen = [b for b in balls if b is not None]
        if not seen:
            return None
        share = len(seen) / len(balls)
        travel = float(np.linalg.norm(seen[-1] - seen[0]))
        n = int(np.clip(math.ceil(travel / (0.5 * radius)), 1, 80)) if len(seen) > 1 else 1
        knots = np.linspace(0, 1, len(seen))
        at = (np.arange(n) + 0.5) / n
        centres = np.stack([np.interp(at, knots, np.array(seen)[:, k]) for k in range(3)], axis=1)
        tee = str(exposure[0].club_kind) == "driver" and balls[0] is not None and balls[0][2] < 0.2
        if tee and balls[0] is not None:
            foot = balls[0] * np.array([1.0, 1.0, 0.0])
            top = balls[0] - [0.0, 0.0, radius * 0.9]
            wood = np.array([0.72, 0.62, 0.45, 0.1])
            draw_shaft(np.array([[top, foot]]), np.array([0.0042, 0.0026]), self.packed, layers.x0, layers.y0,
                       layers.depth, self.light, self.sun, wood, 1.0, layers.club)  # fmt: skip
        draw_ball(centres, radius, self.packed, layers.x0, layers.y0, layers.depth, self.light, self.sun, share / n,
                  layers.club)  # fmt: skip
        return np.array([*seen[len(seen) // 2], radius])

    def _together(
        self,
        layers: _Layers,
        middle: Any,
        ball: FloatArray | None,
        shadow: AnyArray,
        grid: FloatArray,
        values: AnyArray,
    ) -> None:
        from overlay.golfer._kernels_picture import put_together

        feet = []
        for person in (middle, *(moved for moved, _, _ in self.bystanders)):
            for side in ("left", "right"):
                heel, toe = (np.asarray(person.joints[f"{side}_{name}"], float) for name in ("heel", "toe"))
                feet.append([heel[0], heel[1], toe[0], toe[1], max(0.0, 0.5 * (heel[2] + toe[2]) - 0.02)])
        kind = str(middle.club_kind)
        radii = SHAFT_RADII_M[kind]
        grip, head = np.asarray(middle.grip, float), np.asarray(middle.club_head, float)
        shaft = np.array([[*grip, radii[0]], [*head, radii[1]]])
        put_together(
            self.plate.picture, self.plate.ground, layers.x0, layers.y0, layers.body, layers.depth, layers.club,
            self.packed, self.light, self.sun, self.sun_right, self.sun_up, shadow, grid, np.array(feet), shaft,
            np.zeros(4) if ball is None else ball, self.curve, values,
        )  # fmt: skip


def render_frame(
    posture: Posture, camera: CameraSpec, look: str | Look = "rowan", *, exposure: Sequence[Posture] = (),
    film: Film | None = None, frame_index: int = 0, ball: bool = True, bystanders: Sequence[Bystander] = (),
) -> Image:  # fmt: skip
    """One picture of a posture.

    Parameters
    ----------
    posture : Posture
    camera : CameraSpec
    look : name in ``LOOKS`` or Look
    exposure : postures from shutter opening to closing for motion blur; ``posture`` alone when empty.
    film : Film
        Light, noise and its seed.
    frame_index : int
        Which noise picture.
    ball : bool
    bystanders : other people in the picture

    Returns
    -------
    (H, W, 3) uint8 RGB

    Raises
    ------
    InputError
        Unknown look or light, picture size out of range.

    Making many pictures with one camera: make a ``Studio`` once, it keeps the background.
    """
    studio = Studio(camera, look, film=film, lead=lead_side(posture), bystanders=bystanders)
    time_s = float(getattr(posture, "time_s", 0.0))
    return studio.at(time_s).frame(tuple(exposure) or (posture,), frame_index, ball=ball)


def _in_order(jobs: Iterator[Any], work: Any, threads: int) -> Iterator[Any]:
    """Results of ``work(job)`` in the order of the jobs, a few at a time on threads."""
    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[Any]] = deque()
        try:
            for job in jobs:
                waiting.append(pool.submit(work, job))
                if len(waiting) > 2 * threads:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


def render_clip(
    motion: Motion, camera: CameraSpec, path: Path | str, *, rate_hz: float = 60.0, shutter_s: float = 1 / 1000,
    look: str | Look = "rowan", seed: int = 0, ball: bool | Literal["stays"] = True, progress: Progress = SILENT,
    playback_rate: float | None = None, film: Film | None = None, start_s: float = 0.0, stop_s: float | None = None,
    bystanders: Sequence[Bystander] = (), threads: int | None = None, quality: int | None = None,
    sound: SoundSpec | None = None,
) -> Path:  # fmt: skip
    """Render a motion to an MP4 file.

    Parameters
    ----------
    motion : Motion
    camera : CameraSpec
    path : file to write, whole or not at all
    rate_hz : pictures per second of the motion
    shutter_s : exposure of each, at most 1/rate_hz; the frame's time is its middle
    look : name in ``LOOKS`` or Look
    seed : int
        Of the noise (``film`` overrides it).
    ball : bool or "stays"
        "stays" is a rehearsal past a ball that lies there before and after; False one without a ball.
    progress : Progress
    playback_rate : frames per second of the file; None plays in real time. 240 captured and 30 played is slow
        motion by 8.
    film : Film
    start_s, stop_s : part of the motion; all of it by default
    bystanders : other people in the picture
    threads : workers, by default one a core
    quality : constant rate factor handed to the writer, None for its own default
    sound : SoundSpec or None
        Write a sound track: the strike (where a ball is struck), other people, wind. Stretched in slow motion.

    Raises
    ------
    InputError
        A rate, exposure or part that cannot be; unknown look.
    OutputError
        The file cannot be written.
    """
    import os

    from overlay.video import VideoWriter

    if not (math.isfinite(rate_hz) and 1.0 <= rate_hz <= 10_000.0):
        raise InputError(f"A picture rate of {rate_hz!r} per second cannot be rendered.", "Give 1 to 10000.")
    if not (math.isfinite(shutter_s) and 0.0 <= shutter_s <= 1.0 / rate_hz + 1e-9):
        raise InputError(
            f"A shutter of {shutter_s!r} s does not fit {rate_hz:g} pictures per second.",
            f"Give 0 to {1.0 / rate_hz:.5f} s.",
        )
    if playback_rate is not None and not (math.isfinite(playback_rate) and 1.0 <= playback_rate <= 240.0):
        raise InputError(f"A playback rate of {playback_rate!r} per second is out of range.", "Give 1 to 240.")
    stop = motion.duration_s if stop_s is None else min(stop_s, motion.duration_s)
    n = math.floor((stop - start_s) * rate_hz + 1e-6) + 1
    if start_s < 0 or n < 1:
        raise InputError(
            f"The part from {start_s:g} s to {stop:g} s holds no frame.", f"The motion lasts {motion.duration_s:.2f} s."
        )
    film = film or Film(seed=seed)
    studio = Studio(camera, look, film=film, lead=lead_side(motion.posture(start_s)), bystanders=bystanders)
    times = start_s + np.arange(n) / rate_hz

    def work(index: int) -> Image:
        exposure = exposure_postures(motion, float(times[index]), shutter_s)
        if ball == "stays":
            exposure = tuple(dataclasses.replace(posture, ball=motion.ball_rest) for posture in exposure)
        return studio.at(float(times[index])).frame(exposure, index, ball=bool(ball))

    rate = Fraction(playback_rate if playback_rate is not None else rate_hz).limit_denominator(1001)
    options: dict[str, Any] = {} if quality is None else {"quality": quality}
    if sound is not None:
        options["sound"] = _heard(motion, camera, sound, ball is True, (start_s, start_s + n / rate_hz), rate_hz / rate)
    progress.stage("rendering", n)
    with VideoWriter(Path(path), studio.lens.width, studio.lens.height, rate, **options) as writer:
        for image in _in_order(iter(range(n)), work, threads or os.cpu_count() or 1):
            writer.write(image)
            progress.advance()
    progress.done()
    return Path(path)


def _heard(
    motion: Motion, camera: CameraSpec, spec: SoundSpec, struck: bool, part: tuple[float, float], slow: Fraction | float
) -> Sound:
    """The sound track of a rendered part of a motion or recording."""
    hits = tuple(motion.impacts_s)
    passes = tuple(getattr(motion, "passes_s", ()))
    if not struck:
        hits, passes = (), tuple(sorted((*passes, *hits)))
    last = (*hits, *passes)[-1] if hits or passes else part[0]
    # The club head is at the ball then, to within its size: a tenth of a millisecond.
    place = motion.state(np.array([last]))["club_head"][0]
    return range_sound(
        spec,
        start_s=part[0],
        stop_s=part[1],
        impacts_s=hits,
        passes_s=passes,
        distance_m=float(np.linalg.norm(camera.position - place)),
        club=motion.spec.club,
        slow=float(slow),
    )
