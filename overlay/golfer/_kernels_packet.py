# mypy: ignore-errors
# Types of compiled functions are inferred from their arguments by the compiler.
"""Compiled kernels of the renderer: sixteen rays at a time.

The same distance field as in ``render_kernels``, written so that the compiler turns each inner loop over ``LANES``
into vector instructions: single precision, one scratch array with constant offsets, no branches inside the loops.
This file is imported only inside the functions that render.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from overlay.golfer.render_kernels import (
    AX,
    BLEND,
    BOUND,
    BOX,
    BX,
    ELLIPSOID,
    FRAME,
    GROUP,
    LIMB,
    LONGEST_BLEND,
    SHAPE,
    TYPE,
)

LANES = 16
# Offsets into the scratch array (float32).
X, Y, Z = 0, 16, 32  # points
DX, DY, DZ = 48, 64, 80  # directions
WAY = 96  # depth along the ray
D = 112  # distance to one primitive
JOINED, NEAREST, BEST = 128, 144, 160
ALIVE = 176
NX, NY, NZ = 192, 208, 224  # normals
NEAR, WIDE = 240, 256  # distances for occlusion
PX, PY, PZ = 272, 288, 304  # hit points
STEP = 320
WHO, OWNER, HIT = 336, 352, 368  # primitive numbers; whole numbers are exact in single precision
LEVEL, LU, LV, LW, LC = 384, 400, 416, 432, 448  # of a loft: place along it, coordinates, seven curves
PREV, LAST = 560, 576  # of each ray: distance at the last place, the step from there if it was a bold one
SIZE = 592

F0, F1, HALF, QUARTER = np.float32(0.0), np.float32(1.0), np.float32(0.5), np.float32(0.25)
NONE = np.float32(-1.0)
TINY, FAR32 = np.float32(1e-9), np.float32(1e9)
TWO = np.float32(2.0)
SPEED, BOLD = np.float32(0.95), np.float32(1.4)
LONGEST = np.float32(LONGEST_BLEND)
CLOSE = np.float32(0.003)
SLEEP = np.float32(0.45)
STEP_NEAR, STEP_WIDE = np.float32(0.022), np.float32(0.07)
REACH = np.float32(0.14)
GRAZE = np.float32(6.0)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def packet_distance(P, T, j, S):
    """Distances of the sixteen points to primitive ``j``, into D."""
    kind = int(P[j, TYPE])
    ax = P[j, AX]
    ay = P[j, AX + 1]
    az = P[j, AX + 2]
    r0 = P[j, FRAME]
    r1 = P[j, FRAME + 1]
    r2 = P[j, FRAME + 2]
    w0 = P[j, FRAME + 6]
    w1 = P[j, FRAME + 7]
    w2 = P[j, FRAME + 8]
    s0 = P[j, SHAPE]
    s1 = P[j, SHAPE + 1]
    s2 = P[j, SHAPE + 2]
    s3 = P[j, SHAPE + 3]
    s4 = P[j, SHAPE + 4]
    if kind == LIMB:
        wide = P[j, SHAPE + 5]
        per = F1 / s0
        for i in range(LANES):
            x = S[X + i] - ax
            y = S[Y + i] - ay
            z = S[Z + i] - az
            t = min(F1, max(F0, (x * w0 + y * w1 + z * w2) * per))
            radius = s1 + t * (s2 + t * (s3 + t * s4))
            w = t * s0
            x -= w * w0
            y -= w * w1
            z -= w * w2
            u = (x * r0 + y * r1 + z * r2) * wide
            x -= u * r0
            y -= u * r1
            z -= u * r2
            S[D + i] = math.sqrt(x * x + y * y + z * z) - radius
        return
    f0 = P[j, FRAME + 3]
    f1 = P[j, FRAME + 4]
    f2 = P[j, FRAME + 5]
    if kind == ELLIPSOID:
        for i in range(LANES):
            x = S[X + i] - ax
            y = S[Y + i] - ay
            z = S[Z + i] - az
            a = (x * r0 + y * r1 + z * r2) * s0
            b = (x * f0 + y * f1 + z * f2) * s1
            c = (x * w0 + y * w1 + z * w2) * s2
            k0 = math.sqrt(a * a + b * b + c * c)
            a *= s0
            b *= s1
            c *= s2
            S[D + i] = k0 * (k0 - F1) / (math.sqrt(a * a + b * b + c * c) + TINY)
        return
    if kind == BOX:
        for i in range(LANES):
            x = S[X + i] - ax
            y = S[Y + i] - ay
            z = S[Z + i] - az
            u = x * r0 + y * r1 + z * r2
            v = x * f0 + y * f1 + z * f2
            w = x * w0 + y * w1 + z * w2 + s4 * u * u
            qu = abs(u) - s0
            qv = abs(v) - s1
            qw = abs(w) - s2
            inside = min(max(qu, max(qv, qw)), F0)
            qu = max(qu, F0)
            qv = max(qv, F0)
            qw = max(qw, F0)
            S[D + i] = math.sqrt(qu * qu + qv * qv + qw * qw) + inside - s3
        return
    row = int(s1)
    per = TWO / s0
    middle = HALF * s0
    for i in range(LANES):
        x = S[X + i] - ax
        y = S[Y + i] - ay
        z = S[Z + i] - az
        w = x * w0 + y * w1 + z * w2
        S[LEVEL + i] = min(F1, max(-F1, w * per - F1))
        S[LU + i] = x * r0 + y * r1 + z * r2
        S[LV + i] = x * f0 + y * f1 + z * f2
        S[LW + i] = w
    for column in range(7):
        c0 = T[row, column, 0]
        c1 = T[row, column, 1]
        c2 = T[row, column, 2]
        c3 = T[row, column, 3]
        c4 = T[row, column, 4]
        c5 = T[row, column, 5]
        c6 = T[row, column, 6]
        c7 = T[row, column, 7]
        c8 = T[row, column, 8]
        o = LC + LANES * column
        for i in range(LANES):
            t = S[LEVEL + i]
            S[o + i] = c0 + t * (c1 + t * (c2 + t * (c3 + t * (c4 + t * (c5 + t * (c6 + t * (c7 + t * c8)))))))
    for i in range(LANES):
        w = S[LW + i]
        u = S[LU + i] - S[LC + 48 + i]
        v = S[LV + i] - S[LC + 64 + i]
        cos = S[LC + 80 + i]
        sin = S[LC + 96 + i]
        across = S[LC + i]
        ahead = S[LC + 16 + i]
        behind = S[LC + 32 + i]
        a = u * cos + v * sin
        b = v * cos - u * sin
        deep = ahead if b >= F0 else behind
        a *= across
        b *= deep
        a2 = a * a
        b2 = b * b
        k2 = a2 + b2 + TINY
        bulge = F1 - s3 * a2 * b2 / (k2 * k2)
        k0 = math.sqrt(k2) * bulge
        a *= across
        b *= deep
        side = k0 * (k0 - F1) / (math.sqrt(a * a + b * b) * bulge + TINY) + s2
        beyond = abs(w - middle) - middle + s2
        inside = min(max(side, beyond), F0)
        side = max(side, F0)
        beyond = max(beyond, F0)
        S[D + i] = math.sqrt(side * side + beyond * beyond) + inside - s2


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def _open_group(S):
    """Close the running group: its joined surface competes with the best so far."""
    for i in range(LANES):
        better = S[JOINED + i] < S[BEST + i]
        S[BEST + i] = min(S[BEST + i], S[JOINED + i])
        S[OWNER + i] = S[WHO + i] if better else S[OWNER + i]
        S[JOINED + i] = FAR32
        S[NEAREST + i] = FAR32
        S[WHO + i] = NONE


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def _start(S):
    for i in range(LANES):
        S[BEST + i] = FAR32
        S[JOINED + i] = FAR32
        S[NEAREST + i] = FAR32
        S[WHO + i] = NONE
        S[OWNER + i] = NONE


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy", inline="always")
def _join(S, j, k):
    """Join primitive ``j`` with blend length ``k`` (carving when negative) to the running group."""
    if k < F0:
        k = -k
        q = QUARTER / k
        for i in range(LANES):
            h = max(k - abs(S[JOINED + i] + S[D + i]), F0)
            S[JOINED + i] = max(S[JOINED + i], -S[D + i]) + h * h * q
        return
    q = QUARTER / max(k, TINY)
    name = np.float32(j)
    for i in range(LANES):
        d = S[D + i]
        h = max(k - abs(S[JOINED + i] - d), F0)
        S[JOINED + i] = min(S[JOINED + i], d) - h * h * q
        mine = d < S[NEAREST + i]
        S[NEAREST + i] = min(S[NEAREST + i], d)
        S[WHO + i] = name if mine else S[WHO + i]


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def packet_field(P, T, active, n, S):
    """Distance of the sixteen points to the body (BEST) and the nearest primitive (OWNER)."""
    _start(S)
    group = -F1
    for i in range(n):
        j = active[i]
        if P[j, GROUP] != group:
            _open_group(S)
            group = P[j, GROUP]
        packet_distance(P, T, j, S)
        _join(S, j, P[j, BLEND])
    _open_group(S)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def packet_cull(P, candidates, m, ox, oy, oz, S, active):
    """Candidates that any ray of the packet may meet; their number and the depth range of their bounds."""
    cx = F0
    cy = F0
    cz = F0
    for i in range(LANES):
        cx += S[DX + i]
        cy += S[DY + i]
        cz += S[DZ + i]
    size = F1 / math.sqrt(cx * cx + cy * cy + cz * cz)
    cx *= size
    cy *= size
    cz *= size
    spread = F0
    for i in range(LANES):
        x = S[DX + i] - cx
        y = S[DY + i] - cy
        z = S[DZ + i] - cz
        spread = max(spread, x * x + y * y + z * z)
    spread = math.sqrt(spread)
    n = 0
    start = FAR32
    stop = F0
    possible = False
    for i in range(m):
        j = candidates[i]
        x = P[j, AX] - ox
        y = P[j, AX + 1] - oy
        z = P[j, AX + 2] - oz
        ta = x * cx + y * cy + z * cz
        ux = P[j, BX] - P[j, AX]
        uy = P[j, BX + 1] - P[j, AX + 1]
        uz = P[j, BX + 2] - P[j, AX + 2]
        tu = ux * cx + uy * cy + uz * cz
        x -= ta * cx
        y -= ta * cy
        z -= ta * cz
        ux -= tu * cx
        uy -= tu * cy
        uz -= tu * cz
        uu = ux * ux + uy * uy + uz * uz
        s = F0
        if uu > TINY:
            s = min(F1, max(F0, -(x * ux + y * uy + z * uz) / uu))
        x += s * ux
        y += s * uy
        z += s * uz
        far = max(ta, ta + tu)
        bound = P[j, BOUND] + spread * far
        gap = x * x + y * y + z * z
        if gap < bound * bound:
            active[n] = j
            n += 1
            if P[j, BLEND] >= F0:
                start = min(start, min(ta, ta + tu) - bound)
                stop = max(stop, far + bound)
                tight = bound - np.float32(0.7) * P[j, BLEND]
                if gap < tight * tight:
                    possible = True
    if not possible:
        n = 0
    return n, max(start, np.float32(0.05)), stop


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def reaches(P, reach):
    """How far (m) the surface of its group can be when a primitive still bends it: the longest blend from it on.

    A primitive meets what was joined before it over its own blend length, and what comes after over theirs; the
    quarter more is for what several blends in a row add.
    """
    longest = F0
    group = -F1
    for j in range(P.shape[0] - 1, -1, -1):
        if P[j, GROUP] != group:
            group = P[j, GROUP]
            longest = F0
        longest = max(longest, abs(P[j, BLEND]))
        reach[j] = np.float32(1.25) * longest + np.float32(0.002)


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def packet_march(P, T, reach, active, n, wake, least, ox, oy, oz, start, stop, tolerance, S):
    """March the sixteen rays: WAY holds the depth, HIT the primitive met or −1, X Y Z the points; return hits.

    Primitives sleep as in ``render_kernels.march``, counted in the longest way any ray has gone. A ray that grazes
    a surface goes on by a least step of a few tolerances; should it end below a surface it is set back onto it.
    """
    least_step = GRAZE * tolerance
    for i in range(LANES):
        S[WAY + i] = start
        S[ALIVE + i] = F1
        S[HIT + i] = NONE
        S[LAST + i] = F0
    for i in range(n):
        wake[i] = -F1
    gone = F0
    for _ in range(64):
        for i in range(LANES):
            S[X + i] = ox + S[WAY + i] * S[DX + i]
            S[Y + i] = oy + S[WAY + i] * S[DY + i]
            S[Z + i] = oz + S[WAY + i] * S[DZ + i]
        _start(S)
        group = -F1
        for k in range(n):
            if wake[k] > gone:
                continue
            j = active[k]
            if P[j, GROUP] != group:
                _open_group(S)
                group = P[j, GROUP]
            packet_distance(P, T, j, S)
            _join(S, j, P[j, BLEND])
            small = FAR32
            for i in range(LANES):
                small = min(small, S[D + i])
            least[k] = small
        _open_group(S)
        most = F0
        longest = -FAR32
        for i in range(LANES):
            alive = S[ALIVE + i] > HALF
            d = S[BEST + i]
            # A bold step was too bold when the free spheres about both its ends do not touch.
            back = S[LAST + i] > F0 and S[LAST + i] > S[PREV + i] + d
            hit = alive and not back and d < tolerance * S[WAY + i]
            S[HIT + i] = S[OWNER + i] if hit else S[HIT + i]
            S[WAY + i] += min(d, F0) if hit else F0
            go = alive and not hit and (back or S[WAY + i] < stop)
            S[ALIVE + i] = F1 if go else F0
            # Where two surfaces meet the distance shrinks ever more slowly; a least step gets there all the same.
            small_step = least_step * S[WAY + i]
            bold = d * BOLD
            step = max(bold, small_step)
            step = S[PREV + i] * SPEED - S[LAST + i] if back else step
            step = step if go else F0
            S[LAST + i] = F0 if (back or bold < small_step) else bold
            S[PREV + i] = d
            S[WAY + i] += step
            most = max(most, abs(step))
            longest = max(longest, S[BEST + i] if go else -FAR32)
        if most <= F0:
            break
        for k in range(n):
            if wake[k] <= gone:
                spare = least[k] - longest - reach[active[k]]
                wake[k] = gone + SLEEP * spare if spare > F0 else -F1
        gone += most
    hits = 0
    for i in range(LANES):
        late = S[ALIVE + i] > HALF and S[BEST + i] < CLOSE
        S[HIT + i] = S[OWNER + i] if late else S[HIT + i]
        hits += 1 if S[HIT + i] > -HALF else 0
        S[X + i] = ox + S[WAY + i] * S[DX + i]
        S[Y + i] = oy + S[WAY + i] * S[DY + i]
        S[Z + i] = oz + S[WAY + i] * S[DZ + i]
    return hits


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def packet_surface(P, T, reach, candidates, m, close, around, e, S):
    """Unit normals (NX NY NZ) at the points X Y Z and the distances NEAR and WIDE two short steps out from them.

    ``e`` is the half edge of the tetrahedron of samples, m. X Y Z are left at the surface.
    """
    n_close = 0
    n_around = 0
    for k in range(m):
        j = candidates[k]
        packet_distance(P, T, j, S)
        small = FAR32
        for i in range(LANES):
            small = min(small, S[D + i] if S[HIT + i] > -HALF else FAR32)
        if small < REACH:
            around[n_around] = j
            n_around += 1
            if small < reach[j] + TWO * e:
                close[n_close] = j
                n_close += 1
    for i in range(LANES):
        S[PX + i] = S[X + i]
        S[PY + i] = S[Y + i]
        S[PZ + i] = S[Z + i]
        S[NX + i] = F0
        S[NY + i] = F0
        S[NZ + i] = F0
    for corner in range(4):
        ex = e if corner == 0 or corner == 3 else -e
        ey = e if corner == 2 or corner == 3 else -e
        ez = e if corner == 1 or corner == 3 else -e
        for i in range(LANES):
            S[X + i] = S[PX + i] + ex
            S[Y + i] = S[PY + i] + ey
            S[Z + i] = S[PZ + i] + ez
        packet_field(P, T, close, n_close, S)
        sx = F1 if ex > F0 else -F1
        sy = F1 if ey > F0 else -F1
        sz = F1 if ez > F0 else -F1
        for i in range(LANES):
            S[NX + i] += sx * S[BEST + i]
            S[NY + i] += sy * S[BEST + i]
            S[NZ + i] += sz * S[BEST + i]
    for i in range(LANES):
        size = F1 / math.sqrt(S[NX + i] ** 2 + S[NY + i] ** 2 + S[NZ + i] ** 2 + TINY * TINY)
        S[NX + i] *= size
        S[NY + i] *= size
        S[NZ + i] *= size
    for far in range(2):
        out = STEP_WIDE if far == 1 else STEP_NEAR
        for i in range(LANES):
            S[X + i] = S[PX + i] + out * S[NX + i]
            S[Y + i] = S[PY + i] + out * S[NY + i]
            S[Z + i] = S[PZ + i] + out * S[NZ + i]
        packet_field(P, T, around, n_around, S)
        if far == 1:
            for i in range(LANES):
                S[WIDE + i] = S[BEST + i]
        else:
            for i in range(LANES):
                S[NEAR + i] = S[BEST + i]
    for i in range(LANES):
        S[X + i] = S[PX + i]
        S[Y + i] = S[PY + i]
        S[Z + i] = S[PZ + i]
