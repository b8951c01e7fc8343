# mypy: ignore-errors
# Types of compiled functions are inferred from their arguments by the compiler.
"""Compiled kernels of the renderer: a distance field of body shapes, ray marching, shadow map.

A body is a table of primitives, one a row (columns below), sorted by group. Within a group shapes melt into one
another (smooth union), between groups the nearer one wins, so that an arm never grows into the shirt it crosses.
The signed distance formulas are the usual first-order ones (distance to an axis minus a radius profile; ellipsoid
k0 (k0 - 1) / k1), the smooth union is the quadratic polynomial one. All lengths are metres, world axes.

This file is imported only inside the functions that render: importing numba takes a second.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# Columns of a primitive row.
TYPE, GROUP, BLEND, MATERIAL, AX, BX, BOUND = 0, 1, 2, 3, 4, 7, 10
FRAME, SHAPE = 11, 20  # nine numbers of a frame (rows: right, forward, up), then the numbers of the shape
PART, PERSON, SCALE = 28, 29, 30
N_COLUMNS = 31
LIMB, ELLIPSOID, BOX, LOFT = 0, 1, 2, 3
# A loft is seven polynomials of degree 8 along its axis (−1 to 1): 1/half width, 1/forward, 1/backward extent,
# centre x, centre y, cos and sin of the twist.
FAR = 1e9
LONGEST_BLEND = 0.07  # m, no blend of a body of up to 2 m is longer


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def curve(T, row, column, t):
    """One polynomial of a loft."""
    value = T[row, column, 8]
    for k in range(7, -1, -1):
        value = value * t + T[row, column, k]
    return value


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def distance(P, T, j, px, py, pz):
    """Signed distance (m) from a point to primitive ``j``, exact near the surface."""
    kind = int(P[j, TYPE])
    x = px - P[j, AX]
    y = py - P[j, AX + 1]
    z = pz - P[j, AX + 2]
    if kind == LIMB:
        along = x * P[j, FRAME + 6] + y * P[j, FRAME + 7] + z * P[j, FRAME + 8]
        length = P[j, SHAPE]
        t = along / length
        t = min(1.0, max(0.0, t))
        radius = P[j, SHAPE + 1] + t * (P[j, SHAPE + 2] + t * (P[j, SHAPE + 3] + t * P[j, SHAPE + 4]))
        w = t * length
        x -= w * P[j, FRAME + 6]
        y -= w * P[j, FRAME + 7]
        z -= w * P[j, FRAME + 8]
        wide = P[j, SHAPE + 5]
        if wide != 0.0:
            u = x * P[j, FRAME] + y * P[j, FRAME + 1] + z * P[j, FRAME + 2]
            x -= u * wide * P[j, FRAME]
            y -= u * wide * P[j, FRAME + 1]
            z -= u * wide * P[j, FRAME + 2]
        return math.sqrt(x * x + y * y + z * z) - radius
    u = x * P[j, FRAME] + y * P[j, FRAME + 1] + z * P[j, FRAME + 2]
    v = x * P[j, FRAME + 3] + y * P[j, FRAME + 4] + z * P[j, FRAME + 5]
    w = x * P[j, FRAME + 6] + y * P[j, FRAME + 7] + z * P[j, FRAME + 8]
    if kind == ELLIPSOID:
        # The shape holds one over each radius.
        a = u * P[j, SHAPE]
        b = v * P[j, SHAPE + 1]
        c = w * P[j, SHAPE + 2]
        k0 = math.sqrt(a * a + b * b + c * c)
        a *= P[j, SHAPE]
        b *= P[j, SHAPE + 1]
        c *= P[j, SHAPE + 2]
        return k0 * (k0 - 1.0) / (math.sqrt(a * a + b * b + c * c) + 1e-9)
    if kind == BOX:
        # A bend in the up direction, growing with the square of u: the brim of a cap, the arch of a shoe.
        w += P[j, SHAPE + 4] * u * u
        qu = abs(u) - P[j, SHAPE]
        qv = abs(v) - P[j, SHAPE + 1]
        qw = abs(w) - P[j, SHAPE + 2]
        inside = min(max(qu, max(qv, qw)), 0.0)
        qu = max(qu, 0.0)
        qv = max(qv, 0.0)
        qw = max(qw, 0.0)
        return math.sqrt(qu * qu + qv * qv + qw * qw) + inside - P[j, SHAPE + 3]
    length = P[j, SHAPE]
    row = int(P[j, SHAPE + 1])
    cap = P[j, SHAPE + 2]
    t = min(1.0, max(-1.0, 2.0 * w / length - 1.0))
    cx = curve(T, row, 3, t)
    cy = curve(T, row, 4, t)
    cos = curve(T, row, 5, t)
    sin = curve(T, row, 6, t)
    u -= cx
    v -= cy
    a = u * cos + v * sin
    b = v * cos - u * sin
    # The first three curves are one over half width, forward and backward extent.
    across = curve(T, row, 0, t)
    deep = curve(T, row, 1, t) if b >= 0.0 else curve(T, row, 2, t)
    a *= across
    b *= deep
    # Between an ellipse and a rounded rectangle: a trunk is boxier than an ellipse.
    a2 = a * a
    b2 = b * b
    k2 = a2 + b2 + 1e-12
    bulge = 1.0 - P[j, SHAPE + 3] * a2 * b2 / (k2 * k2)
    k0 = math.sqrt(k2) * bulge
    a *= across
    b *= deep
    side = k0 * (k0 - 1.0) / (math.sqrt(a * a + b * b) * bulge + 1e-9)
    beyond = abs(w - 0.5 * length) - 0.5 * length + cap
    side += cap
    inside = min(max(side, beyond), 0.0)
    side = max(side, 0.0)
    beyond = max(beyond, 0.0)
    return math.sqrt(side * side + beyond * beyond) + inside - cap


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def field(P, T, active, n, px, py, pz):
    """Distance to the whole body and the primitive the nearest surface belongs to."""
    best = FAR
    owner = -1
    group = -1.0
    joined = FAR
    nearest = FAR
    who = -1
    for i in range(n):
        j = active[i]
        d = distance(P, T, j, px, py, pz)
        k = P[j, BLEND]
        if P[j, GROUP] != group:
            if joined < best:
                best = joined
                owner = who
            group = P[j, GROUP]
            joined = FAR
            nearest = FAR
            who = -1
        if k < 0.0:
            # A negative blend carves: eye sockets, the open rim of a cap.
            k = -k
            h = max(k - abs(joined + d), 0.0)
            joined = max(joined, -d) + h * h * 0.25 / k
            continue
        h = max(k - abs(joined - d), 0.0)
        if h > 0.0:
            joined = min(joined, d) - h * h * 0.25 / k
        elif d < joined:
            joined = d
        if d < nearest:
            nearest = d
            who = j
    if joined < best:
        best = joined
        owner = who
    return best, owner


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def near_ray(P, candidates, first, last, ox, oy, oz, dx, dy, dz, active):
    """Pick the candidates whose bounding capsule the ray meets; return their number and the depth range."""
    n = 0
    start = FAR
    stop = 0.0
    possible = False
    for i in range(first, last):
        j = candidates[i]
        x = P[j, AX] - ox
        y = P[j, AX + 1] - oy
        z = P[j, AX + 2] - oz
        ta = x * dx + y * dy + z * dz
        ux = P[j, BX] - P[j, AX]
        uy = P[j, BX + 1] - P[j, AX + 1]
        uz = P[j, BX + 2] - P[j, AX + 2]
        tu = ux * dx + uy * dy + uz * dz
        x -= ta * dx
        y -= ta * dy
        z -= ta * dz
        ux -= tu * dx
        uy -= tu * dy
        uz -= tu * dz
        uu = ux * ux + uy * uy + uz * uz
        s = 0.0
        if uu > 1e-12:
            s = min(1.0, max(0.0, -(x * ux + y * uy + z * uz) / uu))
        x += s * ux
        y += s * uy
        z += s * uz
        bound = P[j, BOUND]
        if x * x + y * y + z * z < bound * bound:
            active[n] = j
            n += 1
            near = min(ta, ta + tu) - bound
            far = max(ta, ta + tu) + bound
            if P[j, BLEND] >= 0.0:
                start = min(start, near)
                stop = max(stop, far)
                # Blending lifts a surface by a quarter of the blend length at most.
                tight = bound - 0.7 * P[j, BLEND]
                if x * x + y * y + z * z < tight * tight:
                    possible = True
    if not possible:
        n = 0
    return n, max(start, 0.05), stop


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def march(P, T, active, n, wake, apart, ox, oy, oz, dx, dy, dz, start, stop, tolerance):
    """Depth along the ray of the first surface (FAR if none) and its primitive.

    A primitive that lies farther than the nearest surface by more than its blend length sleeps until the ray has
    gone half that difference (both distances change by at most the way gone): ``wake`` holds that depth.
    ``apart`` holds the last distance of each.
    """
    t = start
    for i in range(n):
        wake[i] = -FAR
    for _ in range(56):
        px = ox + t * dx
        py = oy + t * dy
        pz = oz + t * dz
        best = FAR
        owner = -1
        group = -1.0
        joined = FAR
        nearest = FAR
        who = -1
        for i in range(n):
            if wake[i] > t:
                continue
            j = active[i]
            d = distance(P, T, j, px, py, pz)
            apart[i] = d
            k = P[j, BLEND]
            if P[j, GROUP] != group:
                if joined < best:
                    best = joined
                    owner = who
                group = P[j, GROUP]
                joined = FAR
                nearest = FAR
                who = -1
            if k < 0.0:
                k = -k
                h = max(k - abs(joined + d), 0.0)
                joined = max(joined, -d) + h * h * 0.25 / k
                continue
            h = max(k - abs(joined - d), 0.0)
            if h > 0.0:
                joined = min(joined, d) - h * h * 0.25 / k
            elif d < joined:
                joined = d
            if d < nearest:
                nearest = d
                who = j
        if joined < best:
            best = joined
            owner = who
        if best < tolerance * t:
            return t, owner
        for i in range(n):
            if wake[i] <= t:
                spare = apart[i] - best - LONGEST_BLEND
                if spare > 0.0:
                    wake[i] = t + 0.45 * spare
        t += max(best * 0.95, tolerance * t)
        if t > stop:
            break
    return FAR, -1


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def awake(active, n, wake, apart, t, reach, close):
    """The primitives that shape the surface at a hit: awake and within ``reach`` of it."""
    m = 0
    for i in range(n):
        if wake[i] <= t and apart[i] < reach:
            close[m] = active[i]
            m += 1
    return m


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def around(P, candidates, m, px, py, pz, reach, close):
    """The candidates whose bounding capsule comes within ``reach`` of a point."""
    n = 0
    for i in range(m):
        j = candidates[i]
        x = px - P[j, AX]
        y = py - P[j, AX + 1]
        z = pz - P[j, AX + 2]
        ux = P[j, BX] - P[j, AX]
        uy = P[j, BX + 1] - P[j, AX + 1]
        uz = P[j, BX + 2] - P[j, AX + 2]
        uu = ux * ux + uy * uy + uz * uz
        if uu > 1e-12:
            s = min(1.0, max(0.0, (x * ux + y * uy + z * uz) / uu))
            x -= s * ux
            y -= s * uy
            z -= s * uz
        r = P[j, BOUND] + reach
        if P[j, BLEND] > 0.0:
            r -= P[j, BLEND]
        if x * x + y * y + z * z < r * r:
            close[n] = j
            n += 1
    return n


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def shadow_map(P, T, n_prims, sun, right, up, u0, v0, cell, maps):
    """Height towards the sun (p·sun, m) of the first surface seen from the sun, for cells of a square grid.

    ``maps`` (3, rows, columns): the heights, then their least and greatest about each cell, see ``sunlit``.
    """
    out = maps[0]
    rows, columns = out.shape
    every = np.arange(n_prims)
    candidates = np.empty(n_prims, np.int64)
    active = np.empty(n_prims, np.int64)
    wake = np.empty(n_prims)
    apart = np.empty(n_prims)
    block = 8
    for by in range(0, rows, block):
        for bx in range(0, columns, block):
            cu = u0 + (bx + block / 2) * cell
            cv = v0 + (by + block / 2) * cell
            reach = 0.75 * block * cell
            # One fat ray a block throws out what none of its rays can meet.
            m = 0
            for i in range(n_prims):
                j = every[i]
                au = P[j, AX] * right[0] + P[j, AX + 1] * right[1] + P[j, AX + 2] * right[2] - cu
                av = P[j, AX] * up[0] + P[j, AX + 1] * up[1] + P[j, AX + 2] * up[2] - cv
                bu = P[j, BX] * right[0] + P[j, BX + 1] * right[1] + P[j, BX + 2] * right[2] - cu
                bv = P[j, BX] * up[0] + P[j, BX + 1] * up[1] + P[j, BX + 2] * up[2] - cv
                lu = bu - au
                lv = bv - av
                ll = lu * lu + lv * lv
                s = 0.0
                if ll > 1e-12:
                    s = min(1.0, max(0.0, -(au * lu + av * lv) / ll))
                au += s * lu
                av += s * lv
                r = P[j, BOUND] + reach
                if au * au + av * av < r * r:
                    candidates[m] = j
                    m += 1
            for y in range(by, min(by + block, rows)):
                for x in range(bx, min(bx + block, columns)):
                    out[y, x] = -FAR
                    if m == 0:
                        continue
                    u = u0 + (x + 0.5) * cell
                    v = v0 + (y + 0.5) * cell
                    ox = right[0] * u + up[0] * v + sun[0] * 10.0
                    oy = right[1] * u + up[1] * v + sun[1] * 10.0
                    oz = right[2] * u + up[2] * v + sun[2] * 10.0
                    n, start, stop = near_ray(P, candidates, 0, m, ox, oy, oz, -sun[0], -sun[1], -sun[2], active)
                    if n == 0:
                        continue
                    t, owner = march(
                        P, T, active, n, wake, apart, ox, oy, oz, -sun[0], -sun[1], -sun[2], start, stop, 0.0004
                    )
                    if owner >= 0:
                        out[y, x] = 10.0 - t
    _bounds(maps)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _bounds(maps):
    """Least and greatest height within the cells that the taps of ``sunlit`` can touch, −2 to +3 each way."""
    rows, columns = maps.shape[1:]
    low = np.empty((rows, columns), np.float32)
    high = np.empty((rows, columns), np.float32)
    for y in range(rows):
        for x in range(columns):
            a = maps[0, y, x]
            b = a
            for k in range(max(0, x - 2), min(columns, x + 4)):
                a = min(a, maps[0, y, k])
                b = max(b, maps[0, y, k])
            low[y, x] = a
            high[y, x] = b
    for y in range(rows):
        first, last = max(0, y - 2), min(rows, y + 4)
        for x in range(columns):
            maps[1, y, x] = low[y, x]
            maps[2, y, x] = high[y, x]
        for k in range(first, last):
            for x in range(columns):
                maps[1, y, x] = min(maps[1, y, x], low[k, x])
                maps[2, y, x] = max(maps[2, y, x], high[k, x])


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def sunlit(maps, right, up, sun, u0, v0, cell, px, py, pz, bias, spread):
    """Share of sunlight (0–1) that reaches a point: 3×3 blended taps of the shadow map, ``spread`` cells apart.

    Where all heights that the taps can touch lie on one side, the taps need not be taken. ``spread`` is at most 1.2.
    """
    shadow = maps[0]
    rows, columns = shadow.shape
    u = (px * right[0] + py * right[1] + pz * right[2] - u0) / cell - 0.5
    v = (px * up[0] + py * up[1] + pz * up[2] - v0) / cell - 0.5
    height = px * sun[0] + py * sun[1] + pz * sun[2] + bias
    if u < -2.0 or v < -2.0 or u > columns + 1.0 or v > rows + 1.0:
        return 1.0
    if u >= 0.0 and v >= 0.0 and u < columns and v < rows:
        if maps[2, int(v), int(u)] < height:
            return 1.0
        # At the rim taps beyond the map count as lit.
        if u > 2.0 and v > 2.0 and u < columns - 4.0 and v < rows - 4.0 and maps[1, int(v), int(u)] >= height:
            return 0.0
    lit = 0.0
    for iy in range(-1, 2):
        y = v + iy * spread
        fy = math.floor(y)
        wy = y - fy
        y0 = int(fy)
        for ix in range(-1, 2):
            x = u + ix * spread
            fx = math.floor(x)
            wx = x - fx
            x0 = int(fx)
            if x0 < 0 or y0 < 0 or x0 + 1 >= columns or y0 + 1 >= rows:
                lit += 1.0
                continue
            a = 1.0 if shadow[y0, x0] < height else 0.0
            b = 1.0 if shadow[y0, x0 + 1] < height else 0.0
            c = 1.0 if shadow[y0 + 1, x0] < height else 0.0
            d = 1.0 if shadow[y0 + 1, x0 + 1] < height else 0.0
            top = a + (b - a) * wx
            low = c + (d - c) * wx
            lit += top + (low - top) * wy
    return lit / 9.0


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def bin_tiles(P, n_prims, camera, origin_x, origin_y, n_x, n_y, tile, margin, counts, items):
    """Lists of the primitives that may be seen in each tile of the picture, in primitive order.

    ``camera``: position (3), then rows right/f, down/f, forward of the world-to-camera matrix and the principal
    point, see ``Lens.packed``. ``margin`` (m) widens the bounds for the occlusion samples.
    """
    focal_x, focal_y, cx, cy = camera[12], camera[13], camera[14], camera[15]
    for t in range(n_x * n_y):
        counts[t] = 0
    for j in range(n_prims):
        r = P[j, BOUND] + margin
        x0 = y0 = FAR
        x1 = y1 = -FAR
        for end in range(2):
            c = AX if end == 0 else BX
            x = P[j, c] - camera[0]
            y = P[j, c + 1] - camera[1]
            z = P[j, c + 2] - camera[2]
            sx = x * camera[3] + y * camera[4] + z * camera[5]
            sy = x * camera[6] + y * camera[7] + z * camera[8]
            sz = x * camera[9] + y * camera[10] + z * camera[11]
            near = max(sz - r, 0.1)
            px = cx + focal_x * sx / max(sz, 0.1)
            py = cy + focal_y * sy / max(sz, 0.1)
            rx = focal_x * r / near * 1.05
            ry = focal_y * r / near * 1.05
            x0 = min(x0, px - rx)
            x1 = max(x1, px + rx)
            y0 = min(y0, py - ry)
            y1 = max(y1, py + ry)
        tx0 = max(0, int((x0 - origin_x) // tile))
        tx1 = min(n_x - 1, int((x1 - origin_x) // tile))
        ty0 = max(0, int((y0 - origin_y) // tile))
        ty1 = min(n_y - 1, int((y1 - origin_y) // tile))
        for ty in range(ty0, ty1 + 1):
            for tx in range(tx0, tx1 + 1):
                t = ty * n_x + tx
                if counts[t] < items.shape[1]:
                    items[t, counts[t]] = j
                    counts[t] += 1


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def normal_at(P, T, active, n, x, y, z, e):
    """Unit surface normal from four field values on a tetrahedron of edge ``e``."""
    a, _ = field(P, T, active, n, x + e, y - e, z - e)
    b, _ = field(P, T, active, n, x - e, y - e, z + e)
    c, _ = field(P, T, active, n, x - e, y + e, z - e)
    d, _ = field(P, T, active, n, x + e, y + e, z + e)
    nx = a - b - c + d
    ny = c + d - a - b
    nz = b + d - a - c
    size = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    return nx / size, ny / size, nz / size
