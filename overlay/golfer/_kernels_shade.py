# mypy: ignore-errors
# Types of compiled functions are inferred from their arguments by the compiler.
"""Compiled kernels of the renderer: surface patterns, light, the picture of the body tile by tile.

Colours are linear light until ``develop``. This file is imported only inside the functions that render.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from overlay.golfer._kernels_packet import (
    DX,
    DY,
    DZ,
    HIT,
    LANES,
    NEAR,
    NX,
    NY,
    NZ,
    SIZE,
    STEP,
    WAY,
    WIDE,
    X,
    Y,
    Z,
    packet_cull,
    packet_march,
    packet_surface,
    reaches,
)
from overlay.golfer.render_kernels import AX, FRAME, GROUP, MATERIAL, PART, PERSON, SCALE, SHAPE, sunlit

# Material rows of one person (see ``looks.materials``): albedo r g b, shine, gloss, softness of skin, sheen, folds.
SKIN, SHIRT, TROUSERS, BELT, SHOE, SOLE, GLOVE, HAIR, CAP, BRIM, GRIP, LIPS, EYE, IRIS, TRIM, BUCKLE, STEEL = range(17)
PER_PERSON = 17
# Columns of the person row: pelvis centre and axes, head centre and axes, look numbers.
PELVIS, PELVIS_AXES, HEAD, HEAD_AXES, THORAX, THORAX_AXES = 0, 3, 12, 15, 24, 27
STATURE, BELT_UP, HAIRLINE, STUBBLE, STRIPES, LONG_HAIR = 36, 37, 38, 39, 40, 41
N_PERSON = 42
# Parts that carry a pattern.
PLAIN, TRUNK, LEG, SLEEVE, FACE, CAP_PART, SHOE_PART, HAND_PART, HAIR_PART, BRIM_PART, ARM_PART = range(11)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def cloud(volume, x, y, z):
    """Smooth noise in −1…1 from a repeating volume whose edge is a power of two, trilinear."""
    last = volume.shape[0] - 1
    fx = math.floor(x)
    fy = math.floor(y)
    fz = math.floor(z)
    x -= fx
    y -= fy
    z -= fz
    x = x * x * (3.0 - 2.0 * x)
    y = y * y * (3.0 - 2.0 * y)
    z = z * z * (3.0 - 2.0 * z)
    # Masks, for whole-number division costs more than all the rest.
    i = int(fx) & last
    j = int(fy) & last
    k = int(fz) & last
    i1 = (i + 1) & last
    j1 = (j + 1) & last
    k1 = (k + 1) & last
    a = volume[i, j, k] + (volume[i1, j, k] - volume[i, j, k]) * x
    b = volume[i, j1, k] + (volume[i1, j1, k] - volume[i, j1, k]) * x
    c = volume[i, j, k1] + (volume[i1, j, k1] - volume[i, j, k1]) * x
    d = volume[i, j1, k1] + (volume[i1, j1, k1] - volume[i, j1, k1]) * x
    a += (b - a) * y
    c += (d - c) * y
    return a + (c - a) * z


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def local(F, who, origin, axes, px, py, pz):
    """Coordinates (right, forward, up) of a point in a segment frame of a person, m."""
    x = px - F[who, origin]
    y = py - F[who, origin + 1]
    z = pz - F[who, origin + 2]
    return (
        x * F[who, axes] + y * F[who, axes + 1] + z * F[who, axes + 2],
        x * F[who, axes + 3] + y * F[who, axes + 4] + z * F[who, axes + 5],
        x * F[who, axes + 6] + y * F[who, axes + 7] + z * F[who, axes + 8],
    )


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def step(edge0, edge1, x):
    t = min(1.0, max(0.0, (x - edge0) / (edge1 - edge0)))
    return t * t * (3.0 - 2.0 * t)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def paint(P, F, volume, j, px, py, pz):
    """Material code at a surface point and a factor on its colour (brows, stubble, seams, sole lines)."""
    code = int(P[j, MATERIAL])
    part = int(P[j, PART])
    who = int(P[j, PERSON])
    s = F[who, STATURE]
    if part in (TRUNK, LEG):
        x, y, z = local(F, who, PELVIS, PELVIS_AXES, px, py, pz)
        z = z / s - F[who, BELT_UP]
        if part == LEG and z < -0.03:
            return code, 1.0
        if z < -0.019:
            # Fly and pocket seams.
            if y > 0.0 and abs(x / s) < 0.004 and z > -0.15:
                return TROUSERS, 0.82
            return TROUSERS, 1.0
        if z < 0.019:
            if y > 0.0 and abs(x / s) < 0.026:
                return BUCKLE, 1.0
            return BELT, 1.0
        x, y, z = local(F, who, THORAX, THORAX_AXES, px, py, pz)
        x /= s
        z /= s
        if y > 0.0 and abs(x) < 0.019 and z > -0.09:
            # The placket of a polo shirt: two stitched edges and buttons.
            if abs(abs(x) - 0.017) < 0.0022:
                return SHIRT, 0.8
            if x * x + (z - 0.03) ** 2 < 0.00004 or x * x + (z + 0.035) ** 2 < 0.00004:
                return TRIM, 1.1
        if F[who, STRIPES] > 0.0 and 0.0 < z + 0.17 < F[who, STRIPES]:
            return TRIM, 1.0
        return SHIRT, 1.0
    if part == SLEEVE:
        x = px - P[j, AX]
        y = py - P[j, AX + 1]
        z = pz - P[j, AX + 2]
        w = (x * P[j, FRAME + 6] + y * P[j, FRAME + 7] + z * P[j, FRAME + 8]) / P[j, SHAPE]
        if w > 0.88:
            return (TRIM if F[who, STRIPES] > 0.0 else SHIRT), 0.9
        return SHIRT, 1.0
    if part == FACE:
        x, y, z = local(F, who, HEAD, HEAD_AXES, px, py, pz)
        side = 1.0 if x >= 0.0 else -1.0
        x = abs(x) / s
        y /= s
        z /= s
        if y > 0.045:
            bx = (x - 0.034) / 0.019
            bz = (z - (0.0275 - 0.25 * abs(x - 0.034))) / 0.0042
            if bx * bx + bz * bz < 1.0:
                return HAIR, 0.9
        hair_front = 0.018 + 0.35 * (z - 0.03) + F[who, HAIRLINE]
        if z > 0.075 + F[who, HAIRLINE] * 0.0 and y < 0.085 and y < 0.02 + (z - 0.03) * 1.2:
            return HAIR, 1.0
        if z > -0.055 and y < hair_front - 0.03 * step(0.0, -0.06, z) and y < 0.02 - 0.9 * max(0.0, -z - 0.01):
            return HAIR, 1.0
        if F[who, STUBBLE] > 0.0 and y > 0.0:
            low = step(-0.025, -0.05, z) * step(0.0, 0.03, y)
            moustache = step(0.03, 0.02, x) * step(-0.03, -0.036, z) * step(0.07, 0.08, y)
            return SKIN, 1.0 - F[who, STUBBLE] * max(low, moustache) * (
                0.8 + 0.2 * cloud(volume, 900 * px, 900 * py, 900 * pz)
            )
        if side == 0.0:
            return SKIN, 1.0
        return SKIN, 1.0
    if part == SHOE_PART:
        x = px - P[j, AX]
        y = py - P[j, AX + 1]
        z = pz - P[j, AX + 2]
        u = (x * P[j, FRAME] + y * P[j, FRAME + 1] + z * P[j, FRAME + 2]) / s
        v = (x * P[j, FRAME + 3] + y * P[j, FRAME + 4] + z * P[j, FRAME + 5]) / s
        w = (x * P[j, FRAME + 6] + y * P[j, FRAME + 7] + z * P[j, FRAME + 8]) / P[j, SHAPE]
        if 0.36 < w < 0.62 and abs(u) < 0.020 and v > 0.02:
            return code, 0.62 if abs((w * 14.0) % 1.0 - 0.5) < 0.22 else 0.85
        if w < 0.13 or abs(w - 0.68) < 0.012:
            return TRIM if w < 0.13 else code, 0.8
        return code, 1.0
    if part == CAP_PART:
        x, y, z = local(F, who, HEAD, HEAD_AXES, px, py, pz)
        if y > 0.0 and abs(x / s) < 0.0018:
            return CAP, 0.8
        if abs(x / s) < 0.016 and y > 0.05 and 0.062 < z / s < 0.086:
            return BRIM, 1.25
        return CAP, 1.0
    return code, 1.0


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def folds(P, F, volume, j, code, px, py, pz):
    """Height (m) of cloth folds: across the legs near knee and shoe, slanting over the shirt."""
    who = int(P[j, PERSON])
    part = int(P[j, PART])
    if code == TROUSERS and part == LEG:
        x = px - P[j, AX]
        y = py - P[j, AX + 1]
        z = pz - P[j, AX + 2]
        u = x * P[j, FRAME] + y * P[j, FRAME + 1] + z * P[j, FRAME + 2]
        v = x * P[j, FRAME + 3] + y * P[j, FRAME + 4] + z * P[j, FRAME + 5]
        w = x * P[j, FRAME + 6] + y * P[j, FRAME + 7] + z * P[j, FRAME + 8]
        t = w / P[j, SHAPE]
        # SCALE holds which end is loose: both ends of a thigh near hip and knee, the shin towards the shoe.
        if t < 0.3:
            # Near the hip the folds of seat and thigh are the same, so that no seam shows.
            x, y, z = local(F, who, PELVIS, PELVIS_AXES, px, py, pz)
            seat = 0.003 * cloud(volume, 10.0 * x, 10.0 * y, 18.0 * (z + 0.5 * abs(x)))
        else:
            seat = 0.0
        amount = 0.25 + 0.75 * (step(0.35, 0.0, t) + step(0.62, 1.0, t))
        slant = w + 0.45 * abs(u) - 0.25 * v
        shift = 7.0 * P[j, SCALE]
        own = amount * 0.0042 * cloud(volume, 9.0 * u + shift, 9.0 * v, 26.0 * slant + shift)
        mixed = step(0.05, 0.3, t)
        return seat + (own - seat) * mixed if P[j, SCALE] < 2.5 else own
    if code == SHIRT:
        x, y, z = local(F, who, THORAX, THORAX_AXES, px, py, pz)
        low = step(0.05, -0.35, z)
        a = cloud(volume, 7.0 * x + 5.0 * z, 6.0 * y + 3.0, 11.0 * z - 6.0 * x)
        b = cloud(volume, 8.0 * x - 9.0 * z + 11.0, 7.0 * y, 9.0 * z + 9.0 * x)
        return (0.0022 + 0.0038 * low) * (a + 0.7 * b)
    if code == TROUSERS:
        x, y, z = local(F, who, PELVIS, PELVIS_AXES, px, py, pz)
        return 0.003 * cloud(volume, 10.0 * x, 10.0 * y, 18.0 * (z + 0.5 * abs(x)))
    if code == HAIR:
        x, y, z = local(F, who, HEAD, HEAD_AXES, px, py, pz)
        return 0.0016 * cloud(volume, 220.0 * x, 220.0 * y, 60.0 * z)
    return 0.0


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def shade(P, M, F, volume, light, sun, right, up, shadow, grid, j, px, py, pz, dx, dy, dz, nx, ny, nz, near, wide):
    """Linear colour of the body at a point met along the unit direction ``d``."""
    gx, gy, gz = nx, ny, nz
    who = int(P[j, PERSON])
    code, factor = paint(P, F, volume, j, px, py, pz)
    row = who * PER_PERSON + code
    crease = 1.0
    if M[row, 7] > 0.0:
        h = 0.004
        f0 = folds(P, F, volume, j, code, px, py, pz)
        fx = (folds(P, F, volume, j, code, px + h, py, pz) - f0) / h
        fy = (folds(P, F, volume, j, code, px, py + h, pz) - f0) / h
        fz = (folds(P, F, volume, j, code, px, py, pz + h) - f0) / h
        along = fx * nx + fy * ny + fz * nz
        b = M[row, 7]
        nx -= b * (fx - along * nx)
        ny -= b * (fy - along * ny)
        nz -= b * (fz - along * nz)
        size = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz)
        nx *= size
        ny *= size
        nz *= size
        crease = min(1.0, 1.0 + 40.0 * b * min(0.0, f0))
    # Two short steps along the true normal said how hemmed in the point is.
    open_sky = 1.0 - 0.45 * max(0.0, 1.0 - near / 0.022) - 0.55 * max(0.0, 1.0 - wide / 0.07)
    open_sky = max(0.12, open_sky) * crease
    # The ground takes half the sky away from what stands on it.
    open_sky *= 0.62 + 0.38 * min(1.0, max(0.0, pz) / 0.35)
    toward = nx * sun[0] + ny * sun[1] + nz * sun[2]
    lit = 0.0
    if gx * sun[0] + gy * sun[1] + gz * sun[2] > -0.25:
        lit = sunlit(
            shadow,
            right,
            up,
            sun,
            grid[0],
            grid[1],
            grid[2],
            px + 0.014 * gx,
            py + 0.014 * gy,
            pz + 0.014 * gz,
            0.012,
            0.9,
        )
    up_ness = 0.5 + 0.5 * nz
    hx = sun[0] - dx
    hy = sun[1] - dy
    hz = sun[2] - dz
    size = 1.0 / math.sqrt(hx * hx + hy * hy + hz * hz)
    half = max(0.0, (nx * hx + ny * hy + nz * hz) * size)
    # Off the highlight the power is too small to be seen and too dear to be taken.
    shine = M[row, 3] * half ** M[row, 4] * lit if toward > 0.0 and lit > 0.0 and half > 0.4 else 0.0
    facing = max(0.0, -(nx * dx + ny * dy + nz * dz))
    rim = (1.0 - facing) ** 4 * M[row, 6] * open_sky
    soft = M[row, 5]
    r = g = b2 = 0.0
    for c in range(3):
        # Light bleeds through skin, red furthest: the shadow edge is warm.
        wrap = soft * (0.32 if c == 0 else (0.12 if c == 1 else 0.06))
        direct = max(0.0, (toward + wrap) / (1.0 + wrap)) * lit
        bleed = 0.75 + 0.25 * open_sky
        value = (
            M[row, c]
            * factor
            * (
                light[c] * direct * bleed
                + light[3 + c] * up_ness * open_sky
                + light[6 + c] * (1.0 - up_ness) * open_sky
            )
        )
        value += shine * light[c] + rim * light[3 + c]
        if c == 0:
            r = value
        elif c == 1:
            g = value
        else:
            b2 = value
    return r, g, b2


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _aim(S, lane, camera, px, py):
    """Direction of a picture point into a lane."""
    ax = (px - camera[14]) / camera[12]
    ay = (py - camera[15]) / camera[13]
    dx = ax * camera[3] + ay * camera[6] + camera[9]
    dy = ax * camera[4] + ay * camera[7] + camera[10]
    dz = ax * camera[5] + ay * camera[8] + camera[11]
    size = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
    S[DX + lane] = np.float32(dx * size)
    S[DY + lane] = np.float32(dy * size)
    S[DZ + lane] = np.float32(dz * size)
    S[STEP + lane] = np.float32(size)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def trace_body(
    P, T, M, F, volume, camera, light, sun, right, up, shadow, grid,
    origin_x, origin_y, n_x, n_y, tile, counts, items, wanted, colour, depth, owner,
):  # fmt: skip
    """Draw the body into ``colour`` (h, w, 4; premultiplied linear), ``depth`` and ``owner`` (h, w).

    First one ray a pixel, in blocks of 4×4; then, where neighbours differ in owner or depth, four rays a pixel
    replace it. Only tiles with ``wanted`` set are drawn. P and T are float32, ``tile`` a multiple of 4.
    """
    height, width = depth.shape
    most = items.shape[1]
    active = np.empty(most, np.int64)
    close = np.empty(most, np.int64)
    around = np.empty(most, np.int64)
    candidates = np.empty(most, np.int64)
    wake = np.empty(most, np.float32)
    least = np.empty(most, np.float32)
    S = np.zeros(SIZE, np.float32)
    reach = np.empty(P.shape[0], np.float32)
    reaches(P, reach)
    where_x = np.empty(4, np.int64)
    where_y = np.empty(4, np.int64)
    ox = np.float32(camera[0])
    oy = np.float32(camera[1])
    oz = np.float32(camera[2])
    tolerance = np.float32(0.12 / camera[13])
    for ty in range(n_y):
        for tx in range(n_x):
            t_index = ty * n_x + tx
            m = counts[t_index]
            if not wanted[t_index] or m == 0:
                continue
            for i in range(m):
                candidates[i] = items[t_index, i]
            for y in range(ty * tile, min(height, (ty + 1) * tile), 4):
                for x in range(tx * tile, min(width, (tx + 1) * tile), 4):
                    for i in range(LANES):
                        _aim(S, i, camera, origin_x + x + (i & 3) + 0.5, origin_y + y + (i >> 2) + 0.5)
                    n, start, stop = packet_cull(P, candidates, m, ox, oy, oz, S, active)
                    if n == 0:
                        continue
                    if packet_march(P, T, reach, active, n, wake, least, ox, oy, oz, start, stop, tolerance, S) == 0:
                        continue
                    e = max(np.float32(0.0007), np.float32(3.0) * tolerance * start)
                    packet_surface(P, T, reach, candidates, m, close, around, e, S)
                    for i in range(LANES):
                        yy = y + (i >> 2)
                        xx = x + (i & 3)
                        j = int(S[HIT + i])
                        if j < 0 or yy >= height or xx >= width:
                            continue
                        r, g, b = shade(
                            P, M, F, volume, light, sun, right, up, shadow, grid, j,
                            S[X + i], S[Y + i], S[Z + i], S[DX + i], S[DY + i], S[DZ + i],
                            S[NX + i], S[NY + i], S[NZ + i], S[NEAR + i], S[WIDE + i],
                        )  # fmt: skip
                        colour[yy, xx, 0] = r
                        colour[yy, xx, 1] = g
                        colour[yy, xx, 2] = b
                        colour[yy, xx, 3] = 1.0
                        depth[yy, xx] = S[WAY + i] * S[STEP + i]
                        owner[yy, xx] = 1 + int(P[j, MATERIAL]) + 64 * int(P[j, GROUP])
    edges = np.zeros((height, width), np.uint8)
    for y in range(height):
        for x in range(width):
            here = depth[y, x]
            mine = owner[y, x]
            own = colour[y, x, 0] + colour[y, x, 1] + colour[y, x, 2]
            for k in range(2):
                yy = y + (1 if k == 0 else 0)
                xx = x + (1 if k == 1 else 0)
                if yy >= height or xx >= width:
                    continue
                if mine == 0 and owner[yy, xx] == 0:
                    continue
                differs = abs(depth[yy, xx] - here) > 0.02
                if not differs and owner[yy, xx] != mine:
                    # Two parts that look alike need no fine edge.
                    other = colour[yy, xx, 0] + colour[yy, xx, 1] + colour[yy, xx, 2]
                    differs = abs(other - own) > 0.10 * (own + 0.05)
                if differs:
                    edges[y, x] = 1
                    edges[yy, xx] = 1
    for ty in range(n_y):
        for tx in range(n_x):
            t_index = ty * n_x + tx
            m = counts[t_index]
            if not wanted[t_index] or m == 0:
                continue
            for i in range(m):
                candidates[i] = items[t_index, i]
            found = 0
            last_y = min(height, (ty + 1) * tile) - 1
            last_x = min(width, (tx + 1) * tile) - 1
            for y in range(ty * tile, last_y + 1):
                for x in range(tx * tile, last_x + 1):
                    if edges[y, x] != 0:
                        where_x[found] = x
                        where_y[found] = y
                        found += 1
                    if found == 4 or (found > 0 and y == last_y and x == last_x):
                        for i in range(LANES):
                            k = min(i >> 2, found - 1)
                            # Rotated grid: four rays, none in the same row or column.
                            ray = i & 3
                            sx = 0.125 + 0.25 * ray
                            sy = 0.375 if ray == 0 else (0.875 if ray == 1 else (0.125 if ray == 2 else 0.625))
                            _aim(S, i, camera, origin_x + where_x[k] + sx, origin_y + where_y[k] + sy)
                        for k in range(found):
                            for c in range(4):
                                colour[where_y[k], where_x[k], c] = 0.0
                        n, start, stop = packet_cull(P, candidates, m, ox, oy, oz, S, active)
                        if n > 0 and (
                            packet_march(P, T, reach, active, n, wake, least, ox, oy, oz, start, stop, tolerance, S) > 0
                        ):
                            e = max(np.float32(0.0007), np.float32(3.0) * tolerance * start)
                            packet_surface(P, T, reach, candidates, m, close, around, e, S)
                            for i in range(4 * found):
                                j = int(S[HIT + i])
                                if j < 0:
                                    continue
                                # Rays of one pixel that meet the same surface share its light.
                                part = 0.25
                                for k in range(i + 1, (i & ~3) + 4):
                                    other = int(S[HIT + k])
                                    if (
                                        other >= 0
                                        and P[other, GROUP] == P[j, GROUP]
                                        and P[other, PART] == P[j, PART]
                                        and P[other, MATERIAL] == P[j, MATERIAL]
                                        and abs(S[WAY + k] - S[WAY + i]) < 0.02
                                    ):
                                        part += 0.25
                                        S[HIT + k] = -1.0
                                r, g, b = shade(
                                    P, M, F, volume, light, sun, right, up, shadow, grid, j,
                                    S[X + i], S[Y + i], S[Z + i], S[DX + i], S[DY + i], S[DZ + i],
                                    S[NX + i], S[NY + i], S[NZ + i], S[NEAR + i], S[WIDE + i],
                                )  # fmt: skip
                                yy = where_y[i >> 2]
                                xx = where_x[i >> 2]
                                colour[yy, xx, 0] += part * r
                                colour[yy, xx, 1] += part * g
                                colour[yy, xx, 2] += part * b
                                colour[yy, xx, 3] += part
                        found = 0
