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
from .outline import outline_matrix
from .shadows import CELLS, SLACK, ellipsoid_top, facet_top, mesh_grid, quadric


def disc_points(count: int) -> np.ndarray:
    """(at least count, 2) points that share the unit disc evenly, the same after every quarter turn.

    Four spirals that advance by a quarter of the golden angle (one spiral: Vogel 1979, Math. Biosci. 44, 179, doi
    10.1016/0025-5564(79)90080-4); the symmetry keeps a dip of a symmetric transit symmetric.
    """
    k = np.arange(-(-count // 4))
    radius, angle = np.sqrt((k + 0.5) / len(k)), k * np.pi * (3.0 - math.sqrt(5.0)) / 4.0
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return np.concatenate([np.stack(turned, axis=1) for turned in ((x, y), (-y, x), (-x, -y), (y, -x))])


@kernel
def outline_to_disc(turn, semi):
    """Cholesky factor (a, b, c) of an ellipsoid's outline: (a x, b x + c y) of the unit disc's points fill it."""
    xx, xy, yy = outline_matrix(turn, semi)
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
def in_other_frame(basis, other, x, y, h):
    """A place given along the rows of basis (9,), along those of another one."""
    a = basis[0] * x + basis[3] * y + basis[6] * h
    b = basis[1] * x + basis[4] * y + basis[7] * h
    c = basis[2] * x + basis[5] * y + basis[8] * h
    return (
        other[0] * a + other[1] * b + other[2] * c,
        other[3] * a + other[4] * b + other[5] * c,
        other[6] * a + other[7] * b + other[8] * c,
    )


@kernel
def top_of(form, x, y):
    """Height of an ellipsoid's upper surface above its middle; -inf beside it."""
    return ellipsoid_top(form[0], form[1], form[2], form[3], form[4], form[5], x, y)


@kernel
def is_over(form, x, y):
    """Whether an ellipsoid has a place above or below (x, y), counted from its middle: `top_of` without the height."""
    half = form[3] * x + form[4] * y
    return half * half > form[5] * (form[0] * x * x + 2.0 * form[1] * x * y + form[2] * y * y - 1.0)


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
        near = abs(dh) < max(semi1[0], semi1[1], semi1[2]) + max(semi2[0], semi2[1], semi2[2])
        a, b, c = outline_to_disc(turn2, semi2)
        seeliger, lambert = 0.0, 0.0
        for k in range(len(disc)):
            u, v = a * disc[k, 0], b * disc[k, 0] + c * disc[k, 1]
            x, y = u + dx, v + dy
            h1, h2 = -math.inf, -math.inf
            if front[m]:
                h1 = top_of(form1, x, y)
                if h1 == -math.inf or (near and top_of(form2, u, v) + dh <= h1):
                    continue
                nx, ny, nh = half_gradient(form1, x, y, h1)
            else:
                if not is_over(form1, x, y):
                    continue
                h2 = top_of(form2, u, v)
                if h2 == -math.inf or (near and top_of(form1, x, y) <= h2 + dh):
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
def missing_of_meshes(
    centres, axes, vertices, facets, convex, reach, rays_semi, lines, others, front, unhidden, disc, found
):
    """The same of two meshes: pairs (primary, secondary) of centres (m, 3), axes (m, 3, 3), vertices, facets, whether
    they are convex, and reach, m.  Rays fill the outline of an ellipsoid about the secondary, rays_semi (3,).

    Ground in the shadow of its own hills, or behind them, misses nothing.
    """
    basis, aside, turn, shift = np.empty(9), np.empty(9), np.empty((4, 9)), np.empty((4, 3))
    seen = (np.empty((len(facets[0]), 10)), np.empty((len(facets[1]), 10)))
    seen_aside = (np.empty((len(facets[0]), 10)), np.empty((len(facets[1]), 10)))
    placed = (np.empty((len(vertices[0]), 3)), np.empty((len(vertices[1]), 3)))
    frame, heads = np.empty((4, 4)), np.empty((4, CELLS * CELLS + 1), np.int64)
    none = np.empty(0, np.int64)
    for m in range(len(found)):
        plane_of(lines[m], basis)
        plane_of(others[m], aside)
        for b in range(2):
            seen_along(basis, axes[b][m], centres[b][m], turn[b], shift[b])
            seen_along(aside, axes[b][m], centres[b][m], turn[2 + b], shift[2 + b])
        a, b21, c = outline_to_disc(turn[1], rays_semi)
        if np.hypot(shift[0, 0] - shift[1, 0], shift[0, 1] - shift[1, 1]) > reach[0] + reach[1]:
            continue
        dim = 0 if front[m] else 1
        entries0 = mesh_grid(turn[0], shift[0], vertices[0], facets[0], placed[0], seen[0], frame[0], heads[0])
        entries1 = mesh_grid(turn[1], shift[1], vertices[1], facets[1], placed[1], seen[1], frame[1], heads[1])
        aside0, aside1 = none, none
        hides = unhidden and np.hypot(shift[2, 0] - shift[3, 0], shift[2, 1] - shift[3, 1]) < reach[0] + reach[1]
        by0 = hides if dim == 1 else not convex[0]
        by1 = hides if dim == 0 else not convex[1]
        if by0:
            aside0 = mesh_grid(turn[2], shift[2], vertices[0], facets[0], placed[0], seen_aside[0], frame[2], heads[2])
        if by1:
            aside1 = mesh_grid(turn[3], shift[3], vertices[1], facets[1], placed[1], seen_aside[1], frame[3], heads[3])
        ox, oy, oh = along_lines(basis, others, m)
        seeliger, lambert = 0.0, 0.0
        for k in range(len(disc)):
            x = a * disc[k, 0] + shift[1, 0]
            y = b21 * disc[k, 0] + c * disc[k, 1] + shift[1, 1]
            h0, x0, y0 = facet_top(x, y, seen[0], frame[0], heads[0], entries0)
            h1, x1, y1 = facet_top(x, y, seen[1], frame[1], heads[1], entries1)
            ground, over, sx, sy = (h0, h1, x0, y0) if dim == 0 else (h1, h0, x1, y1)
            across = oh - sx * ox - sy * oy
            if not (ground > -math.inf and over > ground) or across <= 0.0:
                continue
            if by0 or by1:
                u, v, h = in_other_frame(basis, aside, x, y, ground)
                if by0 and facet_top(u, v, seen_aside[0], frame[2], heads[2], aside0)[0] > h + SLACK * reach[0]:
                    continue
                if by1 and facet_top(u, v, seen_aside[1], frame[3], heads[3], aside1)[0] > h + SLACK * reach[1]:
                    continue
            seeliger += across / (across + 1.0)
            lambert += across / math.sqrt(1.0 + sx * sx + sy * sy)
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
