"""Light that a dip misses, by strips along the motion through what two outlines share: kernels.

The integrand is that of missing_light.py, an integral over the ground that both outlines cover.  There rays fill the
secondary's outline, each in or out of the primary's: 128 leave 6 s of a middle.  Here strips run through that outline
along the relative motion, their ends where they leave either ellipse, with Gauss's rule in each (Legendre) and across
them (Chebyshev, second kind; both in any handbook): what is left is a second with a third of the evaluations.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from ..sky.brightness import plane_of, seen_along
from ..sky.missing_light import half_gradient, is_met, outline_to_disc, top_of
from ..sky.shadows import quadric

ROOM = 45
"""Numbers to work in."""


def strips(count: int, points: int) -> tuple[np.ndarray, np.ndarray]:
    """(count, 2) places across the unit disc and their weights, (points, 2) along a strip from -1 to 1 likewise."""
    angle = np.pi * np.arange(1, count + 1) / (count + 1.0)
    across = np.column_stack([np.cos(angle), np.pi / (count + 1.0) * np.sin(angle)])
    return across, np.column_stack(np.polynomial.legendre.leggauss(points))


@kernel
def missing_at(centre2, velocity, axes1, axes2, semi1, semi2, line, other, front, unhidden, across, along, room):
    """Missing light, m2, by Lommel-Seeliger and by Lambert at albedo 1, at one instant.

    centre2, velocity (3,) of the secondary from the primary; axes (3, 3), semi (3,) of both; line, other (3,): along
    which light is kept, to the other one of Sun and observer; front: the secondary is in front; unhidden: leave out
    what is hidden; across, along: of strips; room (ROOM,).
    """
    basis, turn1, turn2, shift, moved = room[0:9], room[9:18], room[18:27], room[27:30], room[30:33]
    form1, form2 = room[33:39], room[39:45]
    plane_of(line, basis)
    seen_along(basis, axes1, velocity, turn1, moved)
    seen_along(basis, axes2, centre2, turn2, shift)
    quadric(turn1, semi1, form1)
    quadric(turn2, semi2, form2)
    ox = basis[0] * other[0] + basis[1] * other[1] + basis[2] * other[2]
    oy = basis[3] * other[0] + basis[4] * other[1] + basis[5] * other[2]
    oh = basis[6] * other[0] + basis[7] * other[1] + basis[8] * other[2]
    dx, dy, dh = shift[0], shift[1], shift[2]
    a, b, c = outline_to_disc(turn2, semi2)
    a1, b1, c1 = outline_to_disc(turn1, semi1)
    p = moved[0] / a
    q = (moved[1] - b * p) / c
    speed = math.sqrt(p * p + q * q)
    p, q = p / speed, q / speed
    seeliger, lambert = 0.0, 0.0
    # along a strip a place is start + t step; in the coordinates in which the primary's outline is the unit circle
    xt, yt = a * p, b * p + c * q
    ft = xt / a1
    gt = (yt - b1 * ft) / c1
    square = ft * ft + gt * gt
    for j in range(len(across)):
        s, half = across[j, 0], math.sqrt(1.0 - across[j, 0] * across[j, 0])
        xs, ys = -a * q * s, (c * p - b * q) * s
        f = (xs + dx) / a1
        g = (ys + dy - b1 * f) / c1
        mixed = f * ft + g * gt
        room_left = mixed * mixed - square * (f * f + g * g - 1.0)
        if room_left <= 0.0:
            continue
        root = math.sqrt(room_left)
        low, high = max(-half, (-mixed - root) / square), min(half, (-mixed + root) / square)
        if low >= high:
            continue
        for k in range(len(along)):
            t = 0.5 * (low + high) + 0.5 * (high - low) * along[k, 0]
            u, v = xs + t * xt, ys + t * yt
            if front:
                h = top_of(form1, u + dx, v + dy)
                nx, ny, nh = half_gradient(form1, u + dx, v + dy, h)
            else:
                h = top_of(form2, u, v)
                nx, ny, nh = half_gradient(form2, u, v, h)
            lit = nx * ox + ny * oy + nh * oh
            if not (h > -math.inf and lit > 0.0):
                continue
            if unhidden:
                if front and is_met(form2, u, v, h - dh, ox, oy, oh):
                    continue
                if not front and is_met(form1, u + dx, v + dy, h + dh, ox, oy, oh):
                    continue
            share = across[j, 1] * along[k, 1] * 0.5 * (high - low)
            seeliger += share * lit / (lit + nh)
            lambert += share * lit / math.sqrt(nx * nx + ny * ny + nh * nh)
    return seeliger * a * c, lambert * a * c
