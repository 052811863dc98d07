"""How much light one ellipsoid takes from another, smooth in where both are: rays whose edges are soft, a kernel.

In sky/missing_light.py a ray counts or not, so light jumps by a ray when a body moves: the slopes of a fit do not bear
that.  Here a ray near the primary's outline, or near the edge of what the nearer body hides, counts in part, over a
ray's spacing on either side; the secondary's outline needs none, for the rays move with it.
"""

from __future__ import annotations

import math

from .._jit import kernel
from ..sky.brightness import plane_of, seen_along
from ..sky.missing_light import half_gradient, outline_to_disc, top_of
from ..sky.shadows import quadric

_LIMB = 1.0 - 1e-9
"""Where a ray just beside an outline finds its ground, in parts of the outline."""


@kernel
def soft(inside):
    """From 0 at -1 to 1 at 1, with even slopes: how much of a ray counts, so many spacings inside an edge."""
    x = min(max(0.5 + 0.5 * inside, 0.0), 1.0)
    return x * x * (3.0 - 2.0 * x)


@kernel
def inside_outline(a, b, c, x, y):
    """How far (x, y) lies inside an ellipse, nearly its distance near the edge; (a, b, c): outline_to_disc."""
    u = x / a
    v = (y - b * u) / c
    square = u * u + v * v
    # the gradient of u^2 + v^2 is twice that
    gx, gy = u / a - b * v / (a * c), v / c
    steep = math.sqrt(gx * gx + gy * gy)
    return 0.5 * (1.0 - square) / steep if steep > 0.0 else a, square


@kernel
def hidden_share(form, x, y, h, ox, oy, oh, size, spacing):
    """How much of ground at a place from an ellipsoid's middle is hidden by it along (ox, oy, oh)."""
    gx, gy, gh = half_gradient(form, ox, oy, oh)
    along = gx * x + gy * y + gh * h
    if along >= 0.0:
        return 0.0
    ax, ay, ah = half_gradient(form, x, y, h)
    nearest = ax * x + ay * y + ah * h - along * along / (gx * ox + gy * oy + gh * oh)
    return soft((1.0 - math.sqrt(max(nearest, 0.0))) * size / spacing)


@kernel
def light_taken(place, axes1, axes2, semi1, semi2, line, other, unhidden, disc, room, found):
    """Add to found (2, 2), m2, by body and by law, what the nearer body takes along a line from the other one.

    place (3,) of the secondary from the primary; axes (3, 3), semi (3,) of both; line (3,) along which light is taken,
    other (3,): to the other one of Sun and observer; unhidden: leave out what the nearer body hides along that; disc
    (n, 2) from disc_points; room (36,): for intermediate results.
    """
    basis, turn, form1, form2 = room[0:9], room[9:18], room[18:24], room[24:30]
    shift, centre = room[30:33], room[33:36]
    centre[0], centre[1], centre[2] = 0.0, 0.0, 0.0
    plane_of(line, basis)
    seen_along(basis, axes1, centre, turn, shift)
    quadric(turn, semi1, form1)
    a1, b1, c1 = outline_to_disc(turn, semi1)
    seen_along(basis, axes2, place, turn, shift)
    quadric(turn, semi2, form2)
    a, b, c = outline_to_disc(turn, semi2)
    dx, dy, dh = shift[0], shift[1], shift[2]
    ox = basis[0] * other[0] + basis[1] * other[1] + basis[2] * other[2]
    oy = basis[3] * other[0] + basis[4] * other[1] + basis[5] * other[2]
    oh = basis[6] * other[0] + basis[7] * other[1] + basis[8] * other[2]
    spacing = math.sqrt(math.pi * a * c / len(disc))
    front, seeliger, lambert = dh > 0.0, 0.0, 0.0
    for k in range(len(disc)):
        u, v = a * disc[k, 0], b * disc[k, 0] + c * disc[k, 1]
        x, y = u + dx, v + dy
        within, square = inside_outline(a1, b1, c1, x, y)
        share = soft(within / spacing)
        if share == 0.0:
            continue
        if front:
            back = min(1.0, _LIMB / math.sqrt(square)) if square > 0.0 else 1.0
            x, y = back * x, back * y
            h = top_of(form1, x, y)
            nx, ny, nh = half_gradient(form1, x, y, h)
        else:
            h = top_of(form2, u, v)
            nx, ny, nh = half_gradient(form2, u, v, h)
        across = nx * ox + ny * oy + nh * oh
        if not across > 0.0:  # nor where there is no ground
            continue
        if unhidden and front:
            share *= 1.0 - hidden_share(form2, x - dx, y - dy, h - dh, ox, oy, oh, math.sqrt(a * c), spacing)
        elif unhidden:
            share *= 1.0 - hidden_share(form1, x, y, h + dh, ox, oy, oh, math.sqrt(a1 * c1), spacing)
        nh = max(nh, 0.0)
        seeliger += share * across / (across + nh)
        lambert += share * across / math.sqrt(nx * nx + ny * ny + nh * nh)
    body = 0 if front else 1
    found[body, 0] += seeliger * spacing * spacing
    found[body, 1] += lambert * spacing * spacing
