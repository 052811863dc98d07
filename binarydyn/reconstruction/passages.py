"""Mutual events of many runs near times at which they are expected, without a search: kernels.

Where the projected centres are nearest, f(t) = r.v - (r.l)(v.l) = 0, by Newton's method with f' = v^2 (r.l)^2/r^2 -
(v.l)^2, from a first guess by longitude; contacts 1 and 4 by Newton's method in the gap of the outlines,

    gap(t) = max over u of [u.d - h1(u) - h2(u)],  h(u)^2 = u E u,  d gap/dt = u.d',

E the outline of an ellipsoid (outline.py), the turning of the outlines neglected in the slope alone.  Motion between
the samples by the polynomial of degree 7 through four of them and their rates.  A line of sight turns evenly over the
hours about an event.  An event that does not take place has the instant of the smallest gap as both contacts.

Of one run and event: path (samples before t0, their step, samples after it, their step), eye (turn (3, 3) of the line
of sight into the frame of the run, the line (3,) at the expected time, its rate, the expected time, the tangent of the
Sun's radius, 0 for a point), semi (semi-axes (3,) of both), room (arrays to work in).
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from ..photometry.between_steps import COLUMNS, axes_at, between_samples
from ..sky.brightness import plane_of, seen_along
from ..sky.outline import APART, ellipse_excess, outline_matrix
from .dimming import ROOM, missing_at

_LONGEST_STEP = 0.5
"""Of a step towards a contact, in parts of the time from the nearest instant to it."""
_MOST_TURN = 0.3
"""Radians of a step towards the direction in which outlines are farthest apart."""
_NEAR_S, _SETTLED_S = 20.0, 0.1
"""A step shorter than these ends the search of the nearest instant, from which contacts are looked for, and of a
contact: the secant's next step would be a thousand times shorter."""
_SURELY, _GRAZING = 0.5, 0.05
"""In parts of both outlines' reach: centres that come nearer than the first overlap; outlines that overlap by less than
the second when centres are nearest are followed to the deepest."""


@kernel
def on_its_side(path, t, columns, value, rate):
    """The same of a run with an impact at t0."""
    before, step_before, after, step_after = path
    if t < 0.0:
        between_samples(before, step_before, t, columns, value, rate)
    else:
        between_samples(after, step_after, t, columns, value, rate)


@kernel
def line_at(turn, line, slope, late, found):
    """Fill found (3,) with the unit vector turn @ (line + late slope)."""
    x, y, z = line[0] + late * slope[0], line[1] + late * slope[1], line[2] + late * slope[2]
    s = 1.0 / math.sqrt(x * x + y * y + z * z)
    for a in range(3):
        found[a] = s * (turn[a, 0] * x + turn[a, 1] * y + turn[a, 2] * z)


@kernel
def gap_of_outlines(delta, one, two, angle):
    """Gap of two ellipses (xx, xy, yy) near contact and the angle of its direction u, by Newton's method from one."""
    gap = 0.0
    for _ in range(12):
        gap, slope, bend = ellipse_excess(APART, math.cos(angle), math.sin(angle), delta, one, two)
        step = -slope / bend if bend < 0.0 else math.copysign(_MOST_TURN, slope)
        angle += min(max(step, -_MOST_TURN), _MOST_TURN)
        if abs(step) < 1e-4:  # the gap is flat there: it errs by the square
            break
    return gap, angle


@kernel
def gap_at(path, eye, semi, t, angle, room):
    """Gap of the outlines at a time, m, less the penumbra's margin, its rate, and its direction; angle: a first guess
    of that, nan for the direction between the centres."""
    value, rate, seen, basis, across, shift, axes = room
    turn, line, slope, expected, widening = eye
    on_its_side(path, t, COLUMNS, value, rate)
    line_at(turn, line, slope, t - expected, seen)
    plane_of(seen, basis)
    axes_at(value, 3, axes)
    seen_along(basis, axes, rate, across, shift)
    one = outline_matrix(across, semi[0])
    vx, vy = shift[0], shift[1]
    axes_at(value, 7, axes)
    seen_along(basis, axes, value, across, shift)
    two = outline_matrix(across, semi[1])
    if angle != angle:
        angle = math.atan2(shift[1], shift[0])
    gap, angle = gap_of_outlines(shift, one, two, angle)
    return gap - widening * abs(shift[2]), math.cos(angle) * vx + math.sin(angle) * vy, angle


@kernel
def nearest_s(path, eye, front, room):
    """When the projected centres are nearest, to _NEAR_S, their distance then, m, and its speed, m/s: of the
    conjunction nearest to the expected time, of the secondary in front or behind."""
    value, rate, seen = room[0], room[1], room[2]
    turn, line, slope, expected, _ = eye
    sign = 1.0 if front else -1.0
    t, away, speed = expected, 0.0, 1.0
    for k in range(10):
        on_its_side(path, t, 3, value, rate)
        line_at(turn, line, slope, t - expected, seen)
        x, y, z, u, v, w = value[0], value[1], value[2], rate[0], rate[1], rate[2]
        if k == 0:
            ahead = math.atan2(y, x) - math.atan2(sign * seen[1], sign * seen[0])
            ahead -= 2.0 * math.pi * round(ahead / (2.0 * math.pi))
            t -= ahead * (x * x + y * y) / (x * v - y * u)
            continue
        along, toward = x * seen[0] + y * seen[1] + z * seen[2], u * seen[0] + v * seen[1] + w * seen[2]
        square, fast = x * x + y * y + z * z, u * u + v * v + w * w
        away, speed = math.sqrt(max(square - along * along, 0.0)), math.sqrt(max(fast - toward * toward, 0.0))
        step = (x * u + y * v + z * w - along * toward) / max(
            fast * along * along / square - toward * toward, 0.2 * fast
        )
        t -= step
        if abs(step) < _NEAR_S:
            break
    return t, away, speed


@kernel
def contact(path, eye, semi, middle, half, sign, room):
    """When outlines part, after (sign 1) or met, before (-1) the middle at which they overlap; half: how long that is
    from it, about.  Newton's method, then secants, in a bracket."""
    low, high, out = 0.0, math.inf, half
    last_out, last_gap, angle = 0.0, 0.0, math.nan
    for k in range(40):
        gap, rate, angle = gap_at(path, eye, semi, middle + sign * out, angle, room)
        slope = sign * rate if k == 0 else (gap - last_gap) / (out - last_out)
        low, high = (out, high) if gap < 0.0 else (low, out)
        step = -gap / slope if slope > 0.0 else math.copysign(math.inf, -gap)
        step = min(max(step, -_LONGEST_STEP * half), _LONGEST_STEP * half)
        last_out, last_gap = out, gap
        out += step
        if not low <= out <= high:
            out = 0.5 * (low + high)
        if abs(out - last_out) < _SETTLED_S:
            break
    return middle + sign * out


@kernel
def deepest(path, eye, semi, middle, reach_s, room):
    """When the gap is smallest, within reach_s of the middle, and the gap, by a golden section."""
    ratio = 0.5 * (math.sqrt(5.0) - 1.0)
    low, high = middle - reach_s, middle + reach_s
    a, b = high - ratio * (high - low), low + ratio * (high - low)
    fa, fb = gap_at(path, eye, semi, a, math.nan, room)[0], gap_at(path, eye, semi, b, math.nan, room)[0]
    for _ in range(22):
        if fa < fb:
            high, b, fb = b, a, fa
            a = high - ratio * (high - low)
            fa = gap_at(path, eye, semi, a, math.nan, room)[0]
        else:
            low, a, fa = a, b, fb
            b = low + ratio * (high - low)
            fb = gap_at(path, eye, semi, b, math.nan, room)[0]
    return (a, fa) if fa < fb else (b, fb)


@kernel
def contacts_of(path, eye, semi, front, room):
    """Contacts 1 and 4 of one event, s, and the gap that was met between them, m, or half the overlap of the reach
    where the centres come so near that none was asked for.  Where it is above 0 there is no event, and both are the
    instant of the smallest."""
    t, away, speed = nearest_s(path, eye, front, room)
    one, two = semi
    reach = 0.5 * (one[0] + one[2] + two[1] + two[2])
    half = math.sqrt(max(reach * reach - away * away, 0.04 * reach * reach)) / speed
    gap = away - reach
    if away > _SURELY * reach:
        gap = gap_at(path, eye, semi, t, math.nan, room)[0]
        if gap > -_GRAZING * reach:
            t, gap = deepest(path, eye, semi, t, 0.5 * half, room)
            half *= 0.5
    if gap >= 0.0:
        return t, t, gap
    first = contact(path, eye, semi, t, half, -1.0, room)
    return first, contact(path, eye, semi, t, half, 1.0, room), gap


@kernel
def contacts(before, after, steps, turns, lines, slopes, causes, expected, front, widening, semi1, semi2, ends, gaps):
    """Fill ends (n, m, 2, 2) and gaps (n, m, 2) of m events in n runs, by cause: eclipse, occultation.

    before, after (n, .., 20), steps (2,); turns (n, 3, 3); lines, slopes (2, m, 3) by cause, widening (2, m); causes
    (m, 2): which an event has; expected (m,); front (m,): the secondary is; semi1, semi2 (n, 3).
    """
    room = (
        np.empty(COLUMNS), np.empty(3), np.empty(3), np.empty(9), np.empty(9), np.empty(3), np.empty((3, 3)),
    )  # fmt: skip
    for i in range(len(ends)):
        path, semi = (before[i], steps[0], after[i], steps[1]), (semi1[i], semi2[i])
        for k in range(len(expected)):
            for c in range(2):
                if causes[k, c]:
                    eye = (turns[i], lines[c, k], slopes[c, k], expected[k], widening[c, k])
                    ends[i, k, c, 0], ends[i, k, c, 1], gaps[i, k, c] = contacts_of(path, eye, semi, front[k], room)


@kernel
def missing(
    before, after, steps, turns, lines, slopes, chosen, expected, front, semi1, semi2, ends, gaps, first, last,
    across, along, found,
):  # fmt: skip
    """Add to found (n, d, e, 2) the light that d chosen events of n runs miss at e instants from contact 1 to 4 of the
    whole, first and last (n, m), by every cause that takes place; across, along: of the strips of dimming.py."""
    epochs = found.shape[2]
    value, rate, seen, other, room = np.empty(COLUMNS), np.empty(3), np.empty(3), np.empty(3), np.empty(ROOM)
    axes1, axes2 = np.empty((3, 3)), np.empty((3, 3))
    for i in range(len(found)):
        path = before[i], steps[0], after[i], steps[1]
        for d in range(len(chosen)):
            k = chosen[d]
            for e in range(epochs):
                t = first[i, k] + (last[i, k] - first[i, k]) * e / (epochs - 1.0)
                placed = False
                for c in range(2):
                    if not (gaps[i, k, c] < 0.0 and ends[i, k, c, 0] < t < ends[i, k, c, 1]):
                        continue
                    if not placed:
                        on_its_side(path, t, COLUMNS, value, rate)
                        axes_at(value, 3, axes1)
                        axes_at(value, 7, axes2)
                        placed = True
                    line_at(turns[i], lines[c, k], slopes[c, k], t - expected[k], seen)
                    line_at(turns[i], lines[1 - c, k], slopes[1 - c, k], t - expected[k], other)
                    seeliger, lambert = missing_at(
                        value,
                        rate,
                        axes1,
                        axes2,
                        semi1[i],
                        semi2[i],
                        seen,
                        other,
                        front[k],
                        c == 0,
                        across,
                        along,
                        room,
                    )
                    found[i, d, e, 0] += seeliger
                    found[i, d, e, 1] += lambert


@kernel
def longitudes(before, after, steps, times, found):
    """Fill found (n, k) with the longitudes of the secondary, from -pi to pi, of n runs at times (k,)."""
    value, rate = np.empty(COLUMNS), np.empty(3)
    for i in range(len(found)):
        path = before[i], steps[0], after[i], steps[1]
        for k in range(len(times)):
            on_its_side(path, times[k], 3, value, rate)
            found[i, k] = math.atan2(value[1], value[0])
