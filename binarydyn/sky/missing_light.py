"""How much light a body misses while the other one stands in its light or before it: by rays along that line, kernels.

A ray runs along the line to the Sun (eclipse) or to the observer (occultation) through the secondary's outline.  Where
it meets both bodies, the lower ground is dimmed.  A ray stands for dA across the line, so for dA / mu_line of ground,
whose light is mu mu0 S (brightness.py); with mu_other the cosine towards the other one of Sun and observer, it misses

    dA mu_other / (mu + mu0)   (Lommel-Seeliger),        dA mu_other   (Lambert),

and nothing where mu_other <= 0.  Eclipsed ground that the other body hides is left out, so that an eclipse and an
occultation of one body add up.  Surfaces are exact: no facets, and nothing is subtracted from a light curve.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from .brightness import plane_of, seen_along
from .shadows import ellipsoid_top, quadric


def disc_points(count: int) -> np.ndarray:
    """(count, 2) points that share the unit disc evenly, count a multiple of 4, the same after every quarter turn.

    Four spirals that advance by a quarter of the golden angle (one spiral: Vogel 1979, Math. Biosci. 44, 179, doi
    10.1016/0025-5564(79)90080-4); the symmetry keeps a dip of a symmetric transit symmetric.
    """
    k = np.arange(count // 4)
    radius, angle = np.sqrt((k + 0.5) / len(k)), k * np.pi * (3.0 - math.sqrt(5.0)) / 4.0
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return np.concatenate([np.stack(turned, axis=1) for turned in ((x, y), (-y, x), (-x, -y), (y, -x))])


@kernel
def outline_to_disc(turn, semi):
    """Cholesky factor (a, b, c) of an ellipsoid's outline: (a x, b x + c y) of the unit disc's points fill it."""
    xx, xy, yy = 0.0, 0.0, 0.0
    for j in range(3):
        x, y = turn[j] * semi[j], turn[3 + j] * semi[j]
        xx += x * x
        xy += x * y
        yy += y * y
    a = math.sqrt(xx)
    b = xy / a
    return a, b, math.sqrt(yy - b * b)


@kernel
def half_gradient(form, x, y, h):
    """Half the gradient of an ellipsoid's quadratic form at a place from its middle: along the outward normal."""
    return (
        form[0] * x + form[1] * y + form[3] * h,
        form[1] * x + form[2] * y + form[4] * h,
        form[3] * x + form[4] * y + form[5] * h,
    )


@kernel
def is_met(form, x, y, h, ox, oy, oh):
    """Whether the ray from a place outside an ellipsoid, counted from its middle, along (ox, oy, oh) meets it."""
    gx, gy, gh = half_gradient(form, ox, oy, oh)
    along = gx * x + gy * y + gh * h
    if along >= 0.0:
        return False
    ax, ay, ah = half_gradient(form, x, y, h)
    return along * along > (gx * ox + gy * oy + gh * oh) * (ax * x + ay * y + ah * h - 1.0)


@kernel
def along_lines(basis, vectors, m):
    """Components of vectors[m] (3,) along the rows of basis (9,)."""
    x, y, z = vectors[m, 0], vectors[m, 1], vectors[m, 2]
    return (
        basis[0] * x + basis[1] * y + basis[2] * z,
        basis[3] * x + basis[4] * y + basis[5] * z,
        basis[6] * x + basis[7] * y + basis[8] * z,
    )


@kernel
def top_of(form, x, y):
    """Height of an ellipsoid's upper surface above its middle; -inf beside it."""
    return ellipsoid_top(form[0], form[1], form[2], form[3], form[4], form[5], x, y)


@kernel
def missing_of_ellipsoids(centres1, centres2, axes1, axes2, semi1, semi2, lines, others, front, unhidden, disc, found):
    """Add to found (m, 2), m2, what is missing at m epochs by Lommel-Seeliger and by Lambert, albedo 1.

    centres (m, 3), axes (m, 3, 3), semi (3,) of both bodies; lines and others (m, 3) along which light is kept and to
    the other one of Sun and observer; front (m,): the secondary is in front; unhidden: leave out what is hidden.
    """
    basis, turn1, turn2, shift1, shift2 = np.empty(9), np.empty(9), np.empty(9), np.empty(3), np.empty(3)
    form1, form2 = np.empty(6), np.empty(6)
    for m in range(len(found)):
        plane_of(lines[m], basis)
        seen_along(basis, axes1[m], centres1[m], turn1, shift1)
        seen_along(basis, axes2[m], centres2[m], turn2, shift2)
        quadric(turn1, semi1, form1)
        quadric(turn2, semi2, form2)
        ox, oy, oh = along_lines(basis, others, m)
        dx, dy, dh = shift2[0] - shift1[0], shift2[1] - shift1[1], shift2[2] - shift1[2]
        a, b, c = outline_to_disc(turn2, semi2)
        seeliger, lambert = 0.0, 0.0
        for k in range(len(disc)):
            u, v = a * disc[k, 0], b * disc[k, 0] + c * disc[k, 1]
            x, y = u + dx, v + dy
            h1, h2 = top_of(form1, x, y), top_of(form2, u, v)
            if front[m]:
                if not (h1 > -math.inf and h2 + dh > h1):
                    continue
                nx, ny, nh = half_gradient(form1, x, y, h1)
            else:
                if not (h2 > -math.inf and h1 > h2 + dh):
                    continue
                nx, ny, nh = half_gradient(form2, u, v, h2)
            across = nx * ox + ny * oy + nh * oh
            if across <= 0.0:
                continue
            if unhidden:
                if front[m] and is_met(form2, u, v, h1 - dh, ox, oy, oh):
                    continue
                if not front[m] and is_met(form1, x, y, h2 + dh, ox, oy, oh):
                    continue
            seeliger += across / (across + nh)
            lambert += across / math.sqrt(nx * nx + ny * ny + nh * nh)
        share = math.pi * a * c / len(disc)
        found[m, 0] += seeliger * share
        found[m, 1] += lambert * share


@kernel
def light_of_ellipsoid(axes, semi, seen, suns, disc, found):
    """Add to found (m, 2), m2, the light of one body alone at m epochs, by the same rays along the line of sight."""
    basis, turn, shift, form, nowhere = np.empty(9), np.empty(9), np.empty(3), np.empty(6), np.zeros(3)
    for m in range(len(found)):
        plane_of(seen[m], basis)
        seen_along(basis, axes[m], nowhere, turn, shift)
        quadric(turn, semi, form)
        ox, oy, oh = along_lines(basis, suns, m)
        a, b, c = outline_to_disc(turn, semi)
        seeliger, lambert = 0.0, 0.0
        for k in range(len(disc)):
            x, y = a * disc[k, 0], b * disc[k, 0] + c * disc[k, 1]
            h = top_of(form, x, y)
            if h > -math.inf:
                nx, ny, nh = half_gradient(form, x, y, h)
                across = nx * ox + ny * oy + nh * oh
                if across > 0.0:
                    seeliger += across / (across + nh)
                    lambert += across / math.sqrt(nx * nx + ny * ny + nh * nh)
        found[m, 0] += seeliger * math.pi * a * c / len(disc)
        found[m, 1] += lambert * math.pi * a * c / len(disc)
