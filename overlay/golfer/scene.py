"""The Larkspur Range around the player: ground, trees, boards, sky, painted once for each camera.

Scene axes are (towards the target, towards the ball side, up) in metres; for a left-handed player the target lies
along −X of the world, so the painter mirrors world X. Everything is procedural and seeded: no picture file is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from overlay.arrays import AnyArray
from overlay.golfer.looks import linear
from overlay.golfer.render_lens import Lens
from overlay.settings.render import LightSettings

TEXTURE = 512
MAT = (-0.85, 0.85, -0.80, 1.35)  # the hitting mat: from, to along the target line; from, to across it


@dataclass(frozen=True)
class Plate:
    """Background picture in linear light (H, W, 3) float32, and where it shows ground that can take a shadow."""

    picture: AnyArray
    ground: AnyArray


@lru_cache(maxsize=4)
def _texture(seed: int, slope: float) -> AnyArray:
    """(512, 512) float32 repeating noise of mean 0 and deviation 1 with a 1/f^slope spectrum."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft2(rng.standard_normal((TEXTURE, TEXTURE)))
    fy = np.fft.fftfreq(TEXTURE)[:, None]
    fx = np.fft.rfftfreq(TEXTURE)[None, :]
    size = np.hypot(fx, fy)
    size[0, 0] = 1.0
    spectrum *= size**-slope
    spectrum[0, 0] = 0.0
    noise = np.fft.irfft2(spectrum, s=(TEXTURE, TEXTURE))
    return np.asarray(noise / noise.std(), np.float32)


def _sample(texture: AnyArray, u: AnyArray, v: AnyArray) -> AnyArray:
    """Texture at (u, v) in periods, repeating, bilinear."""
    x = np.mod(u, 1.0) * TEXTURE
    y = np.mod(v, 1.0) * TEXTURE
    i, j = np.floor(x).astype(np.int32), np.floor(y).astype(np.int32)
    fx, fy = (x - i).astype(np.float32), (y - j).astype(np.float32)
    i, j = i % TEXTURE, j % TEXTURE
    i1, j1 = (i + 1) % TEXTURE, (j + 1) % TEXTURE
    top = texture[j, i] * (1 - fx) + texture[j, i1] * fx
    low = texture[j1, i] * (1 - fx) + texture[j1, i1] * fx
    return np.asarray(top * (1 - fy) + low * fy)


def _blades(x: AnyArray, y: AnyArray, footprint: AnyArray, octaves: tuple[tuple[float, float, float], ...]) -> AnyArray:
    """Sum of noise layers (period m, strength, spectrum slope); a layer fades when a pixel covers its grain."""
    total = np.zeros_like(x, dtype=np.float32)
    for k, (period, strength, slope) in enumerate(octaves):
        grain = period * 4.0 / TEXTURE
        keep = np.clip(1.6 - 0.8 * footprint / grain, 0.0, 1.0)
        total += strength * keep * _sample(_texture(11 + k, slope), x / period + 0.37 * k, y / period + 0.61 * k)
    return total


def _mix(base: AnyArray, top: AnyArray, alpha: AnyArray) -> AnyArray:
    return np.asarray(base + (top - base) * alpha[..., None], np.float32)


def _soft(edge0: float | AnyArray, edge1: float | AnyArray, x: AnyArray) -> AnyArray:
    t = np.clip((x - edge0) / (np.asarray(edge1) - edge0), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))


class _Painter:
    """Paints one plate; ``d`` are ray directions in scene axes, ``o`` the camera."""

    def __init__(self, lens: Lens, mirrored: bool, light: LightSettings) -> None:
        self.lens, self.light = lens, light
        self.flip = np.array([-1.0 if mirrored else 1.0, 1.0, 1.0])
        x, y = np.meshgrid(np.arange(lens.width) + 0.5, np.arange(lens.height) + 0.5)
        self.d = lens.rays(x, y) * self.flip
        self.o = lens.position * self.flip
        self.sun = np.array(light.towards_sun) / np.linalg.norm(light.towards_sun)
        # Light on level ground: what an albedo is multiplied with.
        self.level = np.array(light.sun) * self.sun[2] + np.array(light.sky)
        self.haze = np.array([0.62, 0.70, 0.80]) * np.array(light.sky) / 0.50 * 0.9

    def paint(self) -> Plate:
        picture = self._sky()
        for card in (
            ("x", 230.0, 17.0, 26.0, "#3d5540", 0.55, 3),
            ("y", 75.0, 13.0, 21.0, "#415a3c", 0.35, 5),
            ("y", -46.0, 12.0, 17.0, "#45603c", 0.22, 7),
            ("x", -40.0, 12.0, 17.0, "#45603c", 0.22, 8),
        ):
            self._trees(picture, *card)
        distance = self._ground(picture)
        picture = self._boards(picture)
        self._trees(picture, "y", -7.4, 1.35, 1.3, "#3f5a33", 0.02, 9, low=True)
        self._fence(picture)
        self._markers(picture)
        return Plate(np.ascontiguousarray(picture, np.float32), np.isfinite(distance).astype(np.uint8))

    def _sky(self) -> AnyArray:
        d = self.d / np.linalg.norm(self.d, axis=-1, keepdims=True)
        rise = np.clip(d[..., 2], 0.0, 1.0)
        sky = np.array(self.light.sky) / np.array([0.42, 0.49, 0.60])
        top, low = np.array([0.10, 0.25, 0.62]) * sky, np.array([0.50, 0.66, 0.84]) * sky
        picture = np.asarray(low + (top - low) * _soft(0.0, 0.75, rise)[..., None], np.float32)
        plane = 1.0 / np.maximum(rise + 0.06, 0.02)
        u, v = d[..., 0] * plane * 0.09, d[..., 1] * plane * 0.09
        noise = _sample(_texture(2, 1.75), u, v)
        grey = _soft(0.9 - 2.2 * self.light.cloud, 2.1 - 2.2 * self.light.cloud, noise)
        white = np.array([1.05, 1.06, 1.08]) * (0.55 + 0.45 * sky)
        return _mix(picture, white - 0.10 * grey[..., None], 0.85 * grey * _soft(0.01, 0.12, rise))

    def _trees(
        self, picture: AnyArray, axis: str, at: float, height: float, crown: float, colour: str, haze: float, seed: int,
        low: bool = False,
    ) -> None:  # fmt: skip
        """A row of trees (or a clipped hedge) in a vertical plane."""
        i = 0 if axis == "x" else 1
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (at - self.o[i]) / self.d[..., i]
        seen = (t > 0.5) & (t < 4000.0)
        t = np.where(seen, t, 1.0)
        along = self.o[1 - i] + t * self.d[..., 1 - i]
        z = self.o[2] + t * self.d[..., 2]
        seen &= (z < height * 2.4) & (z > 0.0) & (np.abs(along) < 900)
        rows = np.flatnonzero(seen.any(axis=1))
        if not len(rows):
            return
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        t, along, z, seen = t[part], along[part], z[part], seen[part]
        pixel = t / self.lens.focal[0]
        line = _sample(_texture(20 + seed, 1.4), along / (crown * 9.0), np.full_like(along, 0.1 * seed))
        fine = _sample(_texture(30, 1.1), along / (crown * 1.6), z / (crown * 1.6))
        wavy = height * (1.0 + 0.17 * line) + 0.07 * height * fine
        top = height + 0.035 * fine if low else wavy
        alpha = np.clip((top - z) / np.maximum(pixel * 1.5, 0.02 * height) + 0.5, 0.0, 1.0) * seen
        leaf = _sample(_texture(31, 0.9), along / (crown * 0.8), z / (crown * 0.8))
        clump = _sample(_texture(32, 1.5), along / (crown * 3.0), z / (crown * 2.2) + 0.3)
        base = linear(colour)
        # Crowns catch light on top and keep shade below.
        shade = (
            0.62
            + 0.30 * np.clip(z / height, 0, 1)
            + 0.13 * clump
            + 0.15 * leaf * np.clip(1.4 - pixel * 3 / crown, 0, 1)
        )
        tone = (1.0 + 0.10 * line)[..., None] * np.array([1.05, 1.0, 0.9]) + np.array([-0.03, 0.0, 0.02])
        leaves = base * np.maximum(shade, 0.15)[..., None] * tone * (self.level * 0.72)
        leaves = leaves + (self.haze - leaves) * haze
        picture[part] = _mix(picture[part], leaves, alpha)

    def _ground(self, picture: AnyArray) -> AnyArray:
        down = self.d[..., 2] < -1e-4
        t = np.where(down, -self.o[2] / np.where(down, self.d[..., 2], -1.0), np.inf)
        rows = np.flatnonzero(down.any(axis=1))
        if not len(rows):
            return np.asarray(t)
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        far = np.where(np.isfinite(t[part]), np.minimum(t[part], 3000.0), 3000.0)
        x = self.o[0] + far * self.d[part][..., 0]
        y = self.o[1] + far * self.d[part][..., 1]
        # Ground covered by one pixel, longer along the look than across it.
        foot = far / self.lens.focal[0] * np.clip(0.5 * far / self.o[2], 1.0, 6.0) ** 0.5
        range_grass, tee_grass = linear("#5f7f3c"), linear("#66853f")
        patch = _blades(x, y, foot, ((60.0, 0.05, 1.5), (9.0, 0.07, 1.3), (2.2, 0.09, 1.0), (0.75, 0.13, 0.7)))
        stripe = np.tanh(6 * np.sin(2 * np.pi * y / 9.0)) * 0.045
        grass = range_grass * (1.0 + patch + stripe)[..., None]
        dry = _soft(0.2, 1.6, _sample(_texture(12, 1.4), x / 40, y / 40))
        grass = _mix(grass, linear("#9a9a58") * (1.0 + patch)[..., None], 0.35 * dry)
        blades = _blades(x, y, foot, ((9.0, 0.06, 1.3), (1.1, 0.12, 0.9), (0.42, 0.30, 0.5), (0.20, 0.26, 0.35)))
        tee = tee_grass * (1.0 + blades)[..., None]
        edge = _sample(_texture(13, 1.2), x / 6, y / 6) * 0.12
        grass = _mix(grass, tee, _soft(0.12, -0.12, x - 3.4 + edge) * _soft(-0.12, 0.12, y + 4.1 + edge))
        gravel = linear("#b3a68e") * (1.0 + _blades(x, y, foot, ((4.0, 0.05, 1.2), (0.5, 0.10, 0.5))))[..., None]
        path = _soft(0.06, -0.06, y + 4.2 + edge) * _soft(-0.06, 0.06, y + 5.9 + edge)
        grass = _mix(grass, gravel, path)
        for gx, gy, r in ((105.0, -9.0, 8.0), (155.0, 14.0, 9.0), (62.0, 12.0, 6.0)):
            inside = _soft(1.08, 0.98, np.hypot((x - gx) / 1.3, y - gy) / r)
            grass = _mix(grass, linear("#86b258") * (1.0 + 0.4 * patch)[..., None], inside)
        self._mat(grass, x, y, foot)
        lit = grass * self.level
        haze = (1.0 - np.exp(-far / 900.0))[..., None]
        lit = lit + (self.haze - lit) * haze
        picture[part] = _mix(picture[part], lit, np.isfinite(t[part]).astype(np.float32))
        near = np.where(np.isfinite(t) & (t < 60.0), t, np.inf)
        return np.asarray(near)

    def _mat(self, grass: AnyArray, x: AnyArray, y: AnyArray, foot: AnyArray) -> None:
        x0, x1, y0, y1 = MAT
        sides = np.minimum(np.minimum(x - x0, x1 - x), np.minimum(y - y0, y1 - y))
        inside = np.clip(sides / np.maximum(foot, 1e-3) + 0.5, 0, 1)
        pile = _blades(x, y, foot, ((1.5, 0.05, 1.2), (0.30, 0.18, 0.5), (0.12, 0.20, 0.35)))
        worn = np.exp(-(((x - 0.02) / 0.16) ** 2 + ((y - 0.86) / 0.12) ** 2)) * 0.35
        turf = linear("#47774d") * (1.0 + pile - 0.35 * worn)[..., None]
        rubber = linear("#3f4244") * (1.0 + 0.5 * pile)[..., None]
        border = np.clip((sides - 0.035) / np.maximum(foot, 1e-3) + 0.5, 0, 1)
        surface = _mix(rubber, turf, border)
        # A painted line along the target line and one across, for the feet.
        for d in (np.abs(y - 1.16), np.abs(x - 0.0) + 10.0 * (np.abs(y - 0.50) > 0.22)):
            line = np.clip((0.010 - d) / np.maximum(foot, 1e-3) + 0.5, 0, 1) * border
            surface = _mix(surface, linear("#d9d6cc") * (1.0 + pile)[..., None], 0.55 * line)
        grass[...] = _mix(grass, surface, inside)

    # Things standing on the range ---------------------------------------------------------------------------

    def _to_picture(self, points: AnyArray) -> tuple[AnyArray, AnyArray]:
        return self.lens.project(np.asarray(points, float) * self.flip)

    def _polygon(self, picture: AnyArray, points: AnyArray, colour: AnyArray, alpha: float = 1.0) -> None:
        import cv2

        pixels, depth = self._to_picture(points)
        if np.any(depth < 0.3):
            return
        low = np.floor(pixels.min(axis=0)).astype(int) - 2
        high = np.ceil(pixels.max(axis=0)).astype(int) + 3
        low, high = np.maximum(low, 0), np.minimum(high, [self.lens.width, self.lens.height])
        if np.any(high - low < 1):
            return
        over = 4
        mask = np.zeros(((high[1] - low[1]) * over, (high[0] - low[0]) * over), np.uint8)
        cv2.fillPoly(mask, [np.round((pixels - low) * over - 0.5).astype(np.int32)], 255)
        cover = cv2.resize(mask, (int(high[0] - low[0]), int(high[1] - low[1])), interpolation=cv2.INTER_AREA)
        part = (slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0])))
        picture[part] = _mix(picture[part], colour, cover.astype(np.float32) / 255 * alpha)

    def _post(
        self, picture: AnyArray, foot: tuple[float, float, float], height: float, wide: float, colour: AnyArray
    ) -> None:
        across = np.cross([0.0, 0.0, 1.0], np.array(foot) - self.o)
        across = across / np.linalg.norm(across) * wide / 2
        base = np.array(foot)
        top = base + np.array([0, 0, height])
        self._polygon(picture, np.array([base - across, base + across, top + across, top - across]), colour)

    def _boards(self, picture: AnyArray) -> AnyArray:
        upright = (0.35 * np.array(self.light.sun) + 0.8 * np.array(self.light.sky)).astype(np.float32)
        larkspur = linear("#5b4fa8")
        for gx, gy in ((105.0, -9.0), (155.0, 14.0), (62.0, 12.0)):
            self._post(picture, (gx, gy, 0), 3.0, 0.10, linear("#e8e6e0") * upright)
            across = np.cross([0.0, 0.0, 1.0], np.array([gx, gy, 0]) - self.o)
            across = across / np.linalg.norm(across)
            top = np.array([gx, gy, 3.0])
            flag = np.array([top, top + 1.3 * across - [0, 0, 0.35], top - [0, 0, 0.75]])
            self._polygon(picture, flag, larkspur * 1.2 * upright)
        for distance, gy in ((50, -4.5), (100, 8.0), (150, -13.0), (200, 20.0)):
            scale = 1.0 + distance / 130.0
            gx = float(distance)
            for side in (-0.8, 0.8):
                self._post(picture, (gx, gy + side * scale, 0), 1.5 * scale, 0.09 * scale, linear("#6a5f55") * upright)
            low, high = 0.7 * scale, 1.7 * scale
            half = 1.0 * scale
            board = np.array([[gx, gy - half, low], [gx, gy + half, low], [gx, gy + half, high], [gx, gy - half, high]])
            self._polygon(picture, board, linear("#eceae3") * upright)
            self._lettering(picture, str(distance), np.array([gx, gy, 0.5 * (low + high)]), half * 0.8, 0.36 * scale)
        for k in range(9):
            # Poles of the side netting; the net itself is a veil.
            gx = 12.0 + 22.0 * k
            self._post(picture, (gx, 40.0, 0), 11.0, 0.28, linear("#56635a") * upright)
        return picture

    def _lettering(self, picture: AnyArray, text: str, centre: AnyArray, half: float, high: float) -> None:
        """Larkspur figures on a board that faces the tee, never mirrored."""
        import cv2

        pixels, depth = self._to_picture(centre)
        if depth < 1.0:
            return
        tall = 2.0 * high * self.lens.focal[1] / float(depth)
        if tall < 4 or not (0 < pixels[0] < self.lens.width and 0 < pixels[1] < self.lens.height):
            return
        over = 8
        size, _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_DUPLEX, 1.0, 2)
        factor = min(tall * over / size[1] * 0.72, 2 * half * self.lens.focal[0] / float(depth) * over / size[0])
        wide, high_px = int(size[0] * factor / over) + 3, int(size[1] * factor / over) + 3
        mask = np.zeros((high_px * over, wide * over), np.uint8)
        cv2.putText(mask, text, (over, int(high_px * over - over)), cv2.FONT_HERSHEY_DUPLEX, factor, 255,
                    max(1, round(2.4 * factor)), cv2.LINE_AA)  # fmt: skip
        cover = cv2.resize(mask, (wide, high_px), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        x, y = round(float(pixels[0]) - wide / 2), round(float(pixels[1]) - high_px / 2)
        x0, y0 = max(x, 0), max(y, 0)
        x1, y1 = min(x + wide, self.lens.width), min(y + high_px, self.lens.height)
        if x1 <= x0 or y1 <= y0:
            return
        part = (slice(y0, y1), slice(x0, x1))
        picture[part] = _mix(
            picture[part], linear("#4a3f9a") * self.level * 0.6, cover[y0 - y : y1 - y, x0 - x : x1 - x]
        )

    def _fence(self, picture: AnyArray) -> None:
        """A low post-and-rail fence between path and hedge, seen face on."""
        upright = (0.55 * np.array(self.light.sun) + 0.7 * np.array(self.light.sky)).astype(np.float32)
        wood = linear("#8d7a62")
        for z in (0.45, 0.85):
            rail = np.array(
                [[-30.0, -6.4, z - 0.045], [30.0, -6.4, z - 0.045], [30.0, -6.4, z + 0.045], [-30.0, -6.4, z + 0.045]]
            )
            self._polygon(picture, rail, wood * upright)
        for k in range(-15, 16):
            self._post(picture, (2.0 * k + 0.7, -6.38, 0), 1.0, 0.11, wood * 0.92 * upright)

    def _markers(self, picture: AnyArray) -> None:
        """Larkspur tee markers and bay dividers."""
        upright = (0.6 * np.array(self.light.sun) + 0.8 * np.array(self.light.sky)).astype(np.float32)
        larkspur = linear("#6a5acd")
        for x, y in ((2.3, -1.9), (2.3, 2.6), (2.6, 5.6), (2.6, -3.4)):
            ring = np.linspace(0, 2 * np.pi, 24)
            across = np.cross([0.0, 0.0, 1.0], np.array([x, y, 0]) - self.o)
            across = across / np.linalg.norm(across) * 0.055
            for shrink, tone in ((1.0, 0.75), (0.72, 1.1)):
                ball = np.array([x, y, 0.055]) + shrink * (
                    np.cos(ring)[:, None] * across + np.sin(ring)[:, None] * [0, 0, 0.055]
                )
                self._polygon(picture, ball + np.array([0, 0, 0.008 * (1 - shrink)]), larkspur * tone * upright)


def paint_plate(lens: Lens, mirrored: bool, light: LightSettings) -> Plate:
    """The background of one camera.

    Parameters
    ----------
    lens : Lens
    mirrored : bool
        True for a left-handed player: the target lies along −X.
    light : LightSettings
    """
    import cv2

    plate = _Painter(lens, mirrored, light).paint()
    # A phone lens is sharp near the player and a trace soft behind; that also calms shimmer in the far grass.
    sigma = 0.55 * lens.height / 854
    return Plate(cv2.GaussianBlur(plate.picture, (0, 0), max(sigma, 0.4)), plate.ground)
