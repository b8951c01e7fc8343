"""Evidence for a shaft along every direction from the hands, and the line refined about each peak."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.settings.club import ClubSettings

CHANGE_UNIT = 16.0
"""Levels of the change picture per unit of noise."""

SAMPLES_AT_ONCE = 150_000
"""Samples of rays worked on together; for four channels this is about what a core's own memory holds."""


@dataclass(frozen=True)
class Line:
    """A line through the hands as measured in one frame, px of the small picture.

    ``angle_deg`` clockwise from +x; ``offset_px`` of the line from the hands, along its normal (angle + 90°);
    ``sd_deg`` from the scatter about the line; ``stop_px`` where its evidence ends; ``score`` in T.
    """

    angle_deg: float
    offset_px: float
    stop_px: float
    score: float
    sd_deg: float
    evidence: float
    """Mean evidence along it, 0–1."""


@dataclass(frozen=True)
class FrameEvidence:
    """Score (N,) of each direction in T, and the refined lines at its peaks, best first."""

    score: FloatArray
    lines: tuple[Line, ...]


class Rays:
    """Samples pictures along rays; the geometry is made once."""

    def __init__(self, settings: ClubSettings, torso_px: float, *, wide: bool = False) -> None:
        import cv2

        s = self._settings = settings
        self.torso_px = torso_px
        self.angles_deg = np.arange(0.0, 360.0, s.angle_step_deg)
        self._r = np.arange(s.ray_start * torso_px, s.ray_stop * torso_px, s.ray_step_px)
        offset, step = (s.wide_offset, s.wide_step_px) if wide else (s.offset, s.offset_step_px)
        self._beside = [max(1, round(px / step)) for px in s.ridge_px]
        self._margin = max(self._beside)
        half = round(offset * torso_px / step)
        self.offsets_px = np.arange(-half, half + 1) * step
        rows = np.arange(-half - self._margin, half + self._margin + 1) * step
        self.reach = int(np.ceil(s.ray_stop * torso_px + (half + self._margin) * step)) + 3
        angle = np.radians(self.angles_deg)[:, None, None]
        x = self.reach + self._r * np.cos(angle) - rows[:, None] * np.sin(angle)
        y = self.reach + self._r * np.sin(angle) + rows[:, None] * np.cos(angle)
        self._shape = x.shape
        flat = (x.reshape(-1, x.shape[-1]).astype(np.float32), y.reshape(-1, x.shape[-1]).astype(np.float32))
        self._maps = cv2.convertMaps(*flat, cv2.CV_16SC2)
        # Some directions at a time, so that what is worked on stays in the processor's own memory.
        count = -(-int(np.prod(self._shape)) // SAMPLES_AT_ONCE)
        edges = np.linspace(0, len(self.angles_deg), count + 1).round().astype(int).tolist()
        self._parts = list(itertools.pairwise(edges))
        cost = s.wide_offset_cost if wide else s.offset_cost
        self._offset_cost = (cost * (self.offsets_px / torso_px) ** 2).astype(np.float32)
        self._fan = max(1, round(s.fan_deg / s.angle_step_deg))
        # What a byte of each channel stands for: looking it up is quicker than counting it out, and the same.
        byte = np.arange(256, dtype=np.float32)
        self._light_of = np.minimum(byte * np.float32(1 / s.full_contrast), 1.0)
        self._gate_of = np.minimum(byte * np.float32(1 / (2.0 * CHANGE_UNIT)), 1.0)
        self._change_of = np.minimum(byte * np.float32(1 / (s.full_change * CHANGE_UNIT)), 1.0)
        self._fan_of = np.minimum(byte * np.float32(1 / (2.0 * s.full_change * CHANGE_UNIT)), 0.7)
        self._share_of = byte * np.float32(1 / 255)

    def canvas(self, channels: AnyArray, grip: FloatArray) -> AnyArray:
        """The picture (h, w, C) moved so that ``grip`` is the middle of a square; 0 outside the picture."""
        import cv2

        size = 2 * self.reach + 1
        move = np.array([[1.0, 0.0, self.reach - grip[0]], [0.0, 1.0, self.reach - grip[1]]])
        return np.asarray(cv2.warpAffine(channels, move, (size, size), flags=cv2.INTER_LINEAR))

    def evidence(self, canvas: AnyArray) -> FrameEvidence:
        """Scores of all directions on a canvas of channels luminance, change, weight, gap cost (all uint8)."""
        import cv2

        s = self._settings
        core = slice(self._margin, self._shape[1] - self._margin)
        parts = []
        for first, last in self._parts:
            rows = slice(first * self._shape[1], last * self._shape[1])
            sampled = cv2.remap(canvas, self._maps[0][rows], self._maps[1][rows], cv2.INTER_LINEAR)
            parts.append([part.reshape(last - first, *self._shape[1:]) for part in cv2.split(sampled)])
        change_at = np.concatenate([part[1][:, core] for part in parts])
        # The directions on either side, once round.
        change_at = np.concatenate([change_at[-self._fan :], change_at, change_at[: self._fan]])
        best = np.empty((self._shape[0], len(self.offsets_px)), np.float32)
        stop = np.empty(best.shape, np.int64)
        for (first, last), (light, change, weight, cost) in zip(self._parts, parts):
            on_change, on_light = self._ridges(light, change)
            gain = self._fanned(change_at[first : last + 2 * self._fan])
            np.maximum(gain, on_change, out=gain)
            np.maximum(gain, on_light, out=gain)
            gain *= _looked_up(weight[:, core], self._share_of)
            gain -= _looked_up(cost[:, core], self._share_of)
            total = np.cumsum(gain, axis=2, out=gain)
            ends = np.argmax(total, axis=2, out=stop[first:last])
            best[first:last] = np.take_along_axis(total, ends[..., None], axis=2)[..., 0]
        best *= np.float32(s.ray_step_px / self.torso_px)
        best = np.maximum(best, 0.0) - self._offset_cost
        which = np.argmax(best, axis=1)
        score = np.take_along_axis(best, which[:, None], axis=1)[:, 0].astype(np.float64)
        return FrameEvidence(score, self._lines(canvas, score, which, stop))

    def _ridges(self, light: AnyArray, change: AnyArray) -> tuple[AnyArray, AnyArray]:
        """Evidence (angles, offsets, r) 0–1 of a line that differs from what lies to both sides."""
        m, rows = self._margin, self._shape[1]
        x_light, x_change = light[:, m : rows - m], change[:, m : rows - m]
        most_light = np.zeros(x_light.shape, np.uint8)
        most_change = np.zeros(x_light.shape, np.uint8)
        for b in self._beside:
            left, right = slice(m - b, rows - m - b), slice(m + b, rows - m + b)
            a, c = light[:, left], light[:, right]
            high, low = np.maximum(a, c), np.minimum(a, c)
            most_light = np.maximum(most_light, np.maximum(x_light, high) - high)
            most_light = np.maximum(most_light, low - np.minimum(x_light, low))
            high = np.maximum(change[:, left], change[:, right])
            most_change = np.maximum(most_change, np.maximum(x_change, high) - high)
        on_light = _looked_up(most_light, self._light_of)
        on_light *= _looked_up(x_change, self._gate_of)
        return _looked_up(most_change, self._change_of), on_light

    def _fanned(self, change: AnyArray) -> AnyArray:
        """Evidence of a shaft smeared into a fan: differs from what lies some degrees to both sides.

        ``change`` holds the directions asked for, and as many as the fan is wide on either side.
        """
        k = self._fan
        high = np.maximum(change[: -2 * k], change[2 * k :])
        return _looked_up(np.maximum(change[k:-k], high) - high, self._fan_of)

    def _lines(self, canvas: AnyArray, score: FloatArray, which: AnyArray, stop: AnyArray) -> tuple[Line, ...]:
        """A line fitted about each of the highest peaks."""
        s = self._settings
        around = np.stack([np.roll(score, k) for k in (-2, -1, 1, 2)])
        peaks = np.flatnonzero((score > 0.05) & np.all(score >= around, axis=0))
        peaks = peaks[np.argsort(-score[peaks], kind="stable")][: s.keep]
        lines = []
        for p in peaks:
            reach = self._r[int(stop[p, which[p]])]
            lines.append(
                self._fit(canvas, float(self.angles_deg[p]), float(self.offsets_px[which[p]]), reach, float(score[p]))
            )
        return tuple(lines)

    def _fit(self, canvas: AnyArray, angle_deg: float, offset_px: float, reach: float, score: float) -> Line:
        """Robust straight line through the middles of the ridge along a ray (two rounds of Huber weights)."""
        import cv2

        s = self._settings
        r: FloatArray = np.arange(self._r[0], max(reach, self._r[0] + 6 * s.ray_step_px) + 0.5, s.ray_step_px)
        weight: FloatArray = np.zeros(len(r))
        half = 12
        across = np.arange(-half, half + 1) * 0.5
        wide = round(s.ridge_px[0] / 0.5)
        tilt, shift, sd, mean = 0.0, 0.0, 6.0, 0.0
        for _turn in range(2):
            a = float(np.radians(angle_deg))
            rows = offset_px + np.concatenate(
                [across[0] - np.arange(wide, 0, -1) * 0.5, across, across[-1] + np.arange(1, wide + 1) * 0.5]
            )
            x = self.reach + r[None] * np.cos(a) - rows[:, None] * np.sin(a)
            y = self.reach + r[None] * np.sin(a) + rows[:, None] * np.cos(a)
            sampled = cv2.remap(canvas, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR).astype(np.float32)
            q = self._profile(sampled, wide)
            weight, middle = _middles(q, across)
            tilt, shift, sd, mean = _robust_line(r, middle, weight)
            angle_deg += float(np.degrees(np.arctan(tilt)))
            offset_px += shift
        # Where the line ends: as the ray, but a gap costs more, so that a ball beyond the head is not taken in.
        end = int(np.argmax(np.cumsum(np.minimum(weight, 1.0) - 0.5)))
        return Line(angle_deg % 360.0, offset_px, float(r[end]), score, float(np.degrees(np.arctan(sd))), mean)

    def _profile(self, sampled: AnyArray, wide: int) -> AnyArray:
        """Evidence (across, r) on a fine strip, not cut off at 1, as the fit weighs by it."""
        s = self._settings
        rows = sampled.shape[0]
        core = slice(wide, rows - wide)
        left, right = slice(0, rows - 2 * wide), slice(2 * wide, rows)
        light, change, weight = sampled[..., 0], sampled[..., 1], sampled[..., 2] / 255
        x, a, c = light[core], light[left], light[right]
        on_light = np.maximum(np.maximum(x - np.maximum(a, c), np.minimum(a, c) - x), 0) / s.full_contrast
        on_light *= np.minimum(change[core] / (2 * CHANGE_UNIT), 1.0)
        on_change = np.maximum(change[core] - np.maximum(change[left], change[right]), 0) / (
            s.full_change * CHANGE_UNIT
        )
        return np.asarray(np.minimum(np.maximum(on_light, on_change), 2.0) * weight[core])


def _looked_up(values: AnyArray, table: AnyArray) -> AnyArray:
    """``table`` (256,) at each of ``values``, bytes of three dimensions."""
    import cv2

    # OpenCV wants rows without gaps between their values; those of a slice along the second axis have none.
    flat = values.reshape(len(values), -1)
    return np.asarray(cv2.LUT(flat, table), np.float32).reshape(values.shape)


def _middles(q: AnyArray, across: AnyArray) -> tuple[FloatArray, FloatArray]:
    """Weight (R,) and middle (R,) of the ridge in each column of ``q`` (across, R), looked for near the centre."""
    near = np.exp(-0.5 * (across / 2.5) ** 2)[:, None]
    held = q * near
    top = np.argmax(held, axis=0)
    index = np.arange(q.shape[1])
    peak = held[top, index]
    window = np.abs(across[:, None] - across[top][None]) <= 2.0
    mass = np.where(window, q, 0.0)
    total = mass.sum(axis=0)
    middle = np.where(total > 1e-6, (mass * across[:, None]).sum(axis=0) / np.maximum(total, 1e-6), 0.0)
    weight = np.where(peak > 0.15, np.minimum(peak, 1.0), 0.0)
    return np.asarray(weight, np.float64), np.asarray(middle, np.float64)


def _middle_of(values: FloatArray) -> float:
    """The median, without what numpy's own does for arrays of other kinds."""
    n = len(values)
    half = n // 2
    if n % 2:
        return float(np.partition(values, half)[half])
    low, high = np.partition(values, (half - 1, half))[half - 1 : half + 1]
    return float((low + high) / 2)


def _robust_line(r: FloatArray, middle: FloatArray, weight: FloatArray) -> tuple[float, float, float, float]:
    """Slope, offset at r = 0, standard deviation of the slope, and mean weight."""
    w = weight.copy()
    mean = float(np.mean(np.minimum(weight, 1.0)))
    slope = level = 0.0
    if np.count_nonzero(w) < 5:
        return 0.0, 0.0, 0.1, mean
    scatter = 1.0
    known = weight > 0
    for _ in range(3):
        total = w.sum()
        centre = float((w * r).sum() / total)
        y = float((w * middle).sum() / total)
        power = float((w * (r - centre) ** 2).sum())
        if power < 1e-6:
            return 0.0, 0.0, 0.1, mean
        slope = float((w * (r - centre) * (middle - y)).sum() / power)
        level = y - slope * centre
        away = np.abs(middle - level - slope * r)
        scatter = max(0.3, 1.4826 * _middle_of(away[known]))
        w = weight * np.minimum(1.0, 1.5 * scatter / np.maximum(away, 1e-9))
    # Neighbouring samples share pixels and faults of the picture: one in twelve is its own, by trial on rendered clips.
    sd = scatter / np.sqrt(max(power, 1e-6) / 12.0)
    return slope, level, float(sd), mean
