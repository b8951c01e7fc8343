# mypy: ignore-errors
# Types of compiled functions are inferred from their arguments by the compiler.
"""Compiled kernels of the renderer: club over an exposure, ground shadow, layers put together, film.

This file is imported only inside the functions that render.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from overlay.golfer.render_kernels import march, near_ray, normal_at, sunlit


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _put(layer, depth, y, x, z, cover, r, g, b):
    """Add one sample of coverage to the layer in front of the body or to the one behind it."""
    which = 0 if z < depth[y, x] else 1
    layer[which, y, x, 0] += cover * r
    layer[which, y, x, 1] += cover * g
    layer[which, y, x, 2] += cover * b
    layer[which, y, x, 3] += cover


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def draw_shaft(ends, radii, camera, x0, y0, depth, light, sun, colour, weight, layer):
    """Draw a shaft once for each pair of ``ends`` (n, 2, 3; m), each with ``weight``.

    ``radii`` (2,) m at the ends; ``colour`` albedo r, g, b, mirror share. Thin lines keep their share of light:
    a line narrower than a pixel covers it partly.
    """
    height, width = depth.shape
    focal_x, focal_y, cx, cy = camera[12], camera[13], camera[14], camera[15]
    for k in range(ends.shape[0]):
        px = np.empty(2)
        py = np.empty(2)
        pz = np.empty(2)
        for e in range(2):
            x = ends[k, e, 0] - camera[0]
            y = ends[k, e, 1] - camera[1]
            z = ends[k, e, 2] - camera[2]
            pz[e] = max(x * camera[9] + y * camera[10] + z * camera[11], 0.05)
            px[e] = cx + focal_x * (x * camera[3] + y * camera[4] + z * camera[5]) / pz[e] - x0
            py[e] = cy + focal_y * (x * camera[6] + y * camera[7] + z * camera[8]) / pz[e] - y0
        # Light on a thin cylinder: what is square to its axis in the sun's direction.
        ax = ends[k, 1, 0] - ends[k, 0, 0]
        ay = ends[k, 1, 1] - ends[k, 0, 1]
        az = ends[k, 1, 2] - ends[k, 0, 2]
        size = 1.0 / math.sqrt(ax * ax + ay * ay + az * az + 1e-12)
        ax *= size
        ay *= size
        az *= size
        # View direction and picture-side direction of the cylinder.
        vx = camera[0] - ends[k, 0, 0]
        vy = camera[1] - ends[k, 0, 1]
        vz = camera[2] - ends[k, 0, 2]
        along = vx * ax + vy * ay + vz * az
        vx -= along * ax
        vy -= along * ay
        vz -= along * az
        size = 1.0 / math.sqrt(vx * vx + vy * vy + vz * vz + 1e-12)
        vx *= size
        vy *= size
        vz *= size
        ex = px[1] - px[0]
        ey = py[1] - py[0]
        long = math.sqrt(ex * ex + ey * ey) + 1e-6
        ux = ex / long
        uy = ey / long
        # Picture normal (−uy, ux) as a world direction.
        wx = -uy * camera[3] + ux * camera[6]
        wy = -uy * camera[4] + ux * camera[7]
        wz = -uy * camera[5] + ux * camera[8]
        along = wx * ax + wy * ay + wz * az
        wx -= along * ax
        wy -= along * ay
        wz -= along * az
        size = 1.0 / math.sqrt(wx * wx + wy * wy + wz * wz + 1e-12)
        wx *= size
        wy *= size
        wz *= size
        r0 = radii[0] * focal_y / pz[0]
        r1 = radii[1] * focal_y / pz[1]
        rim = max(r0, r1) + 1.0
        low_y = max(0, int(min(py[0], py[1]) - rim))
        high_y = min(height - 1, int(max(py[0], py[1]) + rim) + 1)
        for y in range(low_y, high_y + 1):
            # The columns of this row that the line can touch.
            a = px[0] - rim - 1.0
            b = px[0] + rim + 1.0
            if abs(uy) > 0.02:
                sa = (y + 0.5 - rim - 1.0 - py[0]) / uy
                sb = (y + 0.5 + rim + 1.0 - py[0]) / uy
                if sa > sb:
                    sa, sb = sb, sa
                sa = min(max(sa, -rim), long + rim)
                sb = min(max(sb, -rim), long + rim)
                xa = px[0] + sa * ux
                xb = px[0] + sb * ux
                a = min(xa, xb) - rim - 1.0
                b = max(xa, xb) + rim + 1.0
            else:
                a = min(px[0], px[1]) - rim
                b = max(px[0], px[1]) + rim
            for x in range(max(0, int(a)), min(width - 1, int(b) + 1) + 1):
                dx = x + 0.5 - px[0]
                dy = y + 0.5 - py[0]
                s = dx * ux + dy * uy
                end = min(1.0, max(0.0, s + 0.5)) * min(1.0, max(0.0, long - s + 0.5))
                if end <= 0.0:
                    continue
                q = dy * ux - dx * uy
                t = min(1.0, max(0.0, s / long))
                # Perspective: what is linear along the picture line is 1/depth.
                inverse = (1.0 - t) / pz[0] + t / pz[1]
                z = 1.0 / inverse
                thick = r0 * (1.0 - t) + r1 * t
                cover = min(1.0, max(0.0, q + 0.5 + thick)) - min(1.0, max(0.0, q + 0.5 - thick))
                cover = min(cover, 1.0) * end
                if cover <= 0.004:
                    continue
                side = min(0.98, max(-0.98, q / max(thick, 0.5)))
                front = math.sqrt(1.0 - side * side)
                nx = front * vx + side * wx
                ny = front * vy + side * wy
                nz = front * vz + side * wz
                toward = max(0.0, nx * sun[0] + ny * sun[1] + nz * sun[2])
                shine = toward**10 * colour[3] * 1.6
                up = 0.5 + 0.5 * nz
                c = cover * weight
                low = 1.0 - up
                _put(
                    layer, depth, y, x, z, c,
                    colour[0] * (light[0] * toward * 0.6 + light[3] * up * 1.15 + light[6] * low) + shine * light[0],
                    colour[1] * (light[1] * toward * 0.6 + light[4] * up * 1.15 + light[7] * low) + shine * light[1],
                    colour[2] * (light[2] * toward * 0.6 + light[5] * up * 1.15 + light[8] * low) + shine * light[2],
                )  # fmt: skip


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def draw_head(P, T, M, frames, reach, camera, x0, y0, depth, light, sun, weight, layer):
    """Draw a club head (primitives in its own axes) once for each frame (n, 12: origin, then three axes as rows)."""
    height, width = depth.shape
    n_prims = P.shape[0]
    every = np.arange(n_prims)
    active = np.empty(n_prims, np.int64)
    wake = np.empty(n_prims)
    apart = np.empty(n_prims)
    focal_x, focal_y, cx, cy = camera[12], camera[13], camera[14], camera[15]
    for k in range(frames.shape[0]):
        ox = camera[0] - frames[k, 0]
        oy = camera[1] - frames[k, 1]
        oz = camera[2] - frames[k, 2]
        zc = -(ox * camera[9] + oy * camera[10] + oz * camera[11])
        if zc < 0.3:
            continue
        u = cx - focal_x * (ox * camera[3] + oy * camera[4] + oz * camera[5]) / zc - x0
        v = cy - focal_y * (ox * camera[6] + oy * camera[7] + oz * camera[8]) / zc - y0
        rim = reach * focal_y / zc + 2.0
        lx = frames[k, 3] * ox + frames[k, 4] * oy + frames[k, 5] * oz
        ly = frames[k, 6] * ox + frames[k, 7] * oy + frames[k, 8] * oz
        lz = frames[k, 9] * ox + frames[k, 10] * oy + frames[k, 11] * oz
        for y in range(max(0, int(v - rim)), min(height, int(v + rim) + 1)):
            for x in range(max(0, int(u - rim)), min(width, int(u + rim) + 1)):
                for sub in range(2):
                    ax = (x0 + x + 0.25 + 0.5 * sub - cx) / focal_x
                    ay = (y0 + y + 0.25 + 0.5 * ((sub + k) % 2) - cy) / focal_y
                    wx = ax * camera[3] + ay * camera[6] + camera[9]
                    wy = ax * camera[4] + ay * camera[7] + camera[10]
                    wz = ax * camera[5] + ay * camera[8] + camera[11]
                    size = 1.0 / math.sqrt(wx * wx + wy * wy + wz * wz)
                    wx *= size
                    wy *= size
                    wz *= size
                    dx = frames[k, 3] * wx + frames[k, 4] * wy + frames[k, 5] * wz
                    dy = frames[k, 6] * wx + frames[k, 7] * wy + frames[k, 8] * wz
                    dz = frames[k, 9] * wx + frames[k, 10] * wy + frames[k, 11] * wz
                    n, start, stop = near_ray(P, every, 0, n_prims, lx, ly, lz, dx, dy, dz, active)
                    if n == 0:
                        continue
                    t, j = march(P, T, active, n, wake, apart, lx, ly, lz, dx, dy, dz, start, stop, 0.0001)
                    if j < 0:
                        continue
                    a, b, c = normal_at(P, T, active, n, lx + t * dx, ly + t * dy, lz + t * dz, 0.0006)
                    nx = frames[k, 3] * a + frames[k, 6] * b + frames[k, 9] * c
                    ny = frames[k, 4] * a + frames[k, 7] * b + frames[k, 10] * c
                    nz = frames[k, 5] * a + frames[k, 8] * b + frames[k, 11] * c
                    toward = max(0.0, nx * sun[0] + ny * sun[1] + nz * sun[2])
                    hx = sun[0] - wx
                    hy = sun[1] - wy
                    hz = sun[2] - wz
                    size2 = 1.0 / math.sqrt(hx * hx + hy * hy + hz * hz)
                    half = max(0.0, (nx * hx + ny * hy + nz * hz) * size2)
                    row = int(P[j, 3])
                    shine = M[row, 3] * half ** M[row, 4]
                    facing = max(0.0, -(nx * wx + ny * wy + nz * wz))
                    rim_light = (1.0 - facing) ** 3 * M[row, 6]
                    up = 0.5 + 0.5 * nz
                    low = 1.0 - up
                    r = M[row, 0] * (light[0] * toward + light[3] * up + light[6] * low)
                    g = M[row, 1] * (light[1] * toward + light[4] * up + light[7] * low)
                    b2 = M[row, 2] * (light[2] * toward + light[5] * up + light[8] * low)
                    _put(
                        layer, depth, y, x, t * size, 0.5 * weight,
                        r + shine * light[0] + rim_light * light[3],
                        g + shine * light[1] + rim_light * light[4],
                        b2 + shine * light[2] + rim_light * light[5],
                    )  # fmt: skip


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def draw_ball(centres, radius, camera, x0, y0, depth, light, sun, weight, layer):
    """Draw a white ball once for each centre (n, 3), each with ``weight``."""
    height, width = depth.shape
    focal_x, focal_y, cx, cy = camera[12], camera[13], camera[14], camera[15]
    for k in range(centres.shape[0]):
        x = centres[k, 0] - camera[0]
        y = centres[k, 1] - camera[1]
        z = centres[k, 2] - camera[2]
        zc = x * camera[9] + y * camera[10] + z * camera[11]
        if zc < 0.3:
            continue
        u = cx + focal_x * (x * camera[3] + y * camera[4] + z * camera[5]) / zc - x0
        v = cy + focal_y * (x * camera[6] + y * camera[7] + z * camera[8]) / zc - y0
        r = max(radius * focal_y / zc, 0.35)
        for py in range(max(0, int(v - r - 1)), min(height, int(v + r + 2))):
            for px in range(max(0, int(u - r - 1)), min(width, int(u + r + 2))):
                dx = (px + 0.5 - u) / r
                dy = (py + 0.5 - v) / r
                d = math.sqrt(dx * dx + dy * dy)
                cover = min(1.0, max(0.0, (1.0 - d) * r + 0.5))
                if cover <= 0.0:
                    continue
                f = math.sqrt(max(0.0, 1.0 - d * d))
                nx = dx * camera[3] + dy * camera[6] - f * camera[9]
                ny = dx * camera[4] + dy * camera[7] - f * camera[10]
                nz = dx * camera[5] + dy * camera[8] - f * camera[11]
                toward = max(0.0, nx * sun[0] + ny * sun[1] + nz * sun[2])
                up = 0.5 + 0.5 * nz
                c = cover * weight
                _put(
                    layer, depth, py, px, zc - radius, c,
                    0.86 * (light[0] * toward + light[3] * up + light[6] * (1 - up)) + 0.25 * toward ** 20,
                    0.86 * (light[1] * toward + light[4] * up + light[7] * (1 - up)) + 0.25 * toward ** 20,
                    0.84 * (light[2] * toward + light[5] * up + light[8] * (1 - up)) + 0.25 * toward ** 20,
                )  # fmt: skip


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _segment_gap(px, py, ax, ay, bx, by):
    """Distance in the plane from a point to a segment, and where along it."""
    ux = bx - ax
    uy = by - ay
    s = min(1.0, max(0.0, ((px - ax) * ux + (py - ay) * uy) / (ux * ux + uy * uy + 1e-12)))
    dx = px - ax - s * ux
    dy = py - ay - s * uy
    return math.sqrt(dx * dx + dy * dy), s


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def put_together(
    plate, ground, x0, y0, body, depth, layer, camera, light, sun, right, up, shadow, grid, feet, shaft, ball, curve,
    out,
):  # fmt: skip
    """Plate, ground shadow, what is behind the body, body, what is in front: display values 0–255 of a rectangle.

    ``feet`` (n, 5): x, y of heel and toe and the height of the lower, for the dark line where shoes meet the
    ground. ``shaft`` (2, 4): ends of the shaft and radius, for its thin shadow. ``ball``: centre and radius.
    """
    height, width = depth.shape
    focal_x, focal_y, cx, cy = camera[12], camera[13], camera[14], camera[15]
    # Where the shaft's shadow lies on the ground.
    ka = shaft[0, 2] / sun[2]
    kb = shaft[1, 2] / sun[2]
    sax = shaft[0, 0] - ka * sun[0]
    say = shaft[0, 1] - ka * sun[1]
    sbx = shaft[1, 0] - kb * sun[0]
    sby = shaft[1, 1] - kb * sun[1]
    # Bounds of what shaft and feet can darken, so that the rest of the ground needs no distances.
    rim = 0.10
    shaft_x0, shaft_x1 = min(sax, sbx) - rim, max(sax, sbx) + rim
    shaft_y0, shaft_y1 = min(say, sby) - rim, max(say, sby) + rim
    weights = np.empty(feet.shape[0])
    feet_x0 = feet_y0 = 1e9
    feet_x1 = feet_y1 = -1e9
    for k in range(feet.shape[0]):
        weights[k] = math.exp(-feet[k, 4] / 0.05)
        feet_x0 = min(feet_x0, min(feet[k, 0], feet[k, 2]) - 0.42)
        feet_x1 = max(feet_x1, max(feet[k, 0], feet[k, 2]) + 0.42)
        feet_y0 = min(feet_y0, min(feet[k, 1], feet[k, 3]) - 0.42)
        feet_y1 = max(feet_y1, max(feet[k, 1], feet[k, 3]) + 0.42)
    share = np.empty(3)
    for c in range(3):
        share[c] = light[c] * sun[2] / (light[c] * sun[2] + light[3 + c])
    for y in range(height):
        for x in range(width):
            r = plate[y0 + y, x0 + x, 0]
            g = plate[y0 + y, x0 + x, 1]
            b = plate[y0 + y, x0 + x, 2]
            a = body[y, x, 3]
            unshaded = True
            if a < 0.999 and ground[y0 + y, x0 + x] != 0:
                ax = (x0 + x + 0.5 - cx) / focal_x
                ay = (y0 + y + 0.5 - cy) / focal_y
                dz = ax * camera[5] + ay * camera[8] + camera[11]
                if dz < -1e-4:
                    t = -camera[2] / dz
                    gx = camera[0] + t * (ax * camera[3] + ay * camera[6] + camera[9])
                    gy = camera[1] + t * (ax * camera[4] + ay * camera[7] + camera[10])
                    lit = sunlit(shadow, right, up, sun, grid[0], grid[1], grid[2], gx, gy, 0.0, 0.004, 1.2)
                    # A thin shaft hides a share of the sun's disc (half a degree wide) that shrinks with height.
                    if shaft_x0 < gx < shaft_x1 and shaft_y0 < gy < shaft_y1:
                        gap, s = _segment_gap(gx, gy, sax, say, sbx, sby)
                        high = ka + (kb - ka) * s
                        blur = 0.004 + 0.0047 * high + t / focal_x
                        thick = shaft[0, 3] + (shaft[1, 3] - shaft[0, 3]) * s
                        dark = min(1.0, 2.0 * thick / (blur + thick)) * max(0.0, 1.0 - gap / (blur + thick))
                        lit = min(lit, 1.0 - dark)
                    if ball[3] > 0.0:
                        k = ball[2] / sun[2]
                        bx = gx - (ball[0] - k * sun[0])
                        by = gy - (ball[1] - k * sun[1])
                        # The shadow of a ball is an ellipse drawn out away from the sun.
                        flat = math.sqrt(sun[0] * sun[0] + sun[1] * sun[1]) + 1e-9
                        along = (bx * sun[0] + by * sun[1]) / flat * sun[2]
                        across = (bx * sun[1] - by * sun[0]) / flat
                        d = math.sqrt(along * along + across * across) / ball[3]
                        lit = min(lit, min(1.0, max(0.0, 1.0 + (d - 1.1) * 3.0)))
                    close = 1.0
                    if ball[3] > 0.0 and ball[2] < 0.05:
                        d = math.sqrt((gx - ball[0]) ** 2 + (gy - ball[1]) ** 2) / ball[3]
                        close -= 0.55 * max(0.0, 1.0 - d * 0.62)
                    if feet_x0 < gx < feet_x1 and feet_y0 < gy < feet_y1:
                        for k in range(feet.shape[0]):
                            gap, s = _segment_gap(gx, gy, feet[k, 0], feet[k, 1], feet[k, 2], feet[k, 3])
                            near = max(0.0, 1.0 - gap / 0.14)
                            wide = max(0.0, 1.0 - gap / 0.42)
                            close *= 1.0 - (0.62 * near * near + 0.20 * wide * wide) * weights[k]
                    unshaded = lit * close > 0.999
                    r *= (1.0 - share[0] * (1.0 - lit)) * close
                    g *= (1.0 - share[1] * (1.0 - lit)) * close
                    b *= (1.0 - share[2] * (1.0 - lit)) * close
            behind = min(1.0, layer[1, y, x, 3])
            front = min(1.0, layer[0, y, x, 3])
            if a == 0.0 and behind == 0.0 and front == 0.0 and unshaded:
                continue  # the backdrop stands there already
            r = r * (1.0 - behind) + layer[1, y, x, 0]
            g = g * (1.0 - behind) + layer[1, y, x, 1]
            b = b * (1.0 - behind) + layer[1, y, x, 2]
            r = r * (1.0 - a) + body[y, x, 0]
            g = g * (1.0 - a) + body[y, x, 1]
            b = b * (1.0 - a) + body[y, x, 2]
            r = r * (1.0 - front) + layer[0, y, x, 0]
            g = g * (1.0 - front) + layer[0, y, x, 1]
            b = b * (1.0 - front) + layer[0, y, x, 2]
            out[y0 + y, x0 + x, 0] = looked_up(curve, r)
            out[y0 + y, x0 + x, 1] = looked_up(curve, g)
            out[y0 + y, x0 + x, 2] = looked_up(curve, b)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def tone(value, exposure):
    """Display value 0–255 of linear light: a film-like shoulder, then the sRGB curve (IEC 61966-2-1)."""
    v = 1.0 - math.exp(-exposure * max(value, 0.0))
    if v <= 0.0031308:
        return 255.0 * 12.92 * v
    return 255.0 * (1.055 * v ** (1.0 / 2.4) - 0.055)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def looked_up(curve, value):
    """``tone`` from a table over the square root of light, 0 to 16."""
    at = min(math.sqrt(max(value, 0.0)), 3.9999) * 0.25 * (curve.shape[0] - 1)
    i = int(at)
    f = at - i
    return curve[i] + (curve[i + 1] - curve[i]) * f


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def tone_curve(exposure, out):
    """Fill the table of ``looked_up``."""
    for i in range(out.shape[0]):
        root = 4.0 * i / (out.shape[0] - 1)
        out[i] = tone(root * root, exposure)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def tone_picture(linear, exposure, out):
    for y in range(linear.shape[0]):
        for x in range(linear.shape[1]):
            for c in range(3):
                out[y, x, c] = tone(linear[y, x, c], exposure)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def film(values, noise, shift_y, shift_x, gain, contrast, brightness, out):
    """Display values to bytes, with sensor noise (a repeating picture, shifted) and contrast about mid grey."""
    rows, columns = noise.shape[0], noise.shape[1]
    width = values.shape[1]
    # Rows as plain runs of numbers, in single precision: the compiler makes vector instructions of them.
    flat = values.reshape(values.shape[0], 3 * width)
    grain = noise.reshape(rows, 3 * columns)
    bytes_out = out.reshape(values.shape[0], 3 * width)
    k1 = np.float32(brightness * contrast)
    k0 = np.float32(118.0 - 118.0 * contrast)
    # Photon noise seen after the display curve is strongest in the darker mid-tones.
    most, fall = np.float32(1.15 * gain), np.float32(0.0025 * gain)
    zero, full, half = np.float32(0.0), np.float32(255.0), np.float32(0.5)
    for y in range(values.shape[0]):
        ny = (y + shift_y) % rows
        x = 0
        while x < width:
            # As far as the noise picture goes before it begins again.
            nx = (x + shift_x) % columns
            run = min(width - x, columns - nx)
            for i in range(3 * run):
                v = flat[y, 3 * x + i] * k1 + k0
                v += grain[ny, 3 * nx + i] * (most - fall * min(max(v, zero), full))
                bytes_out[y, 3 * x + i] = np.uint8(np.int32(min(full, max(zero, v + half))))
            x += run
