"""What is called the middle of a dip: several definitions, of many dips side by side.

Curves y (.., k), the light that is missing at k evenly spaced epochs; found are places (..) from 0, the first epoch, to
1, the last.  A dip without light has its middle halfway.  Definitions as observers have them (common practice).
"""

from __future__ import annotations

import numpy as np

DEEP = 0.5
"""Share of the depth: half-depth times are where it is crossed, the parabola is laid through what is deeper."""


def centroid(y: np.ndarray) -> np.ndarray:
    """sum u y / sum y."""
    return _or_half(y, y @ np.linspace(0.0, 1.0, y.shape[-1]), np.sum(y, axis=-1))


def half_depth(y: np.ndarray) -> np.ndarray:
    """Mean of the first and of the last instant at half of the greatest depth."""
    level = DEEP * np.max(y, axis=-1)
    early, late = _crossing(y, level), _crossing(y[..., ::-1], level)
    return np.where(level > 0.0, 0.5 * (early + 1.0 - late), 0.5)


def minimum(y: np.ndarray) -> np.ndarray:
    """Vertex of the parabola through what is deeper than half the depth about the deepest; where it opens the other way
    or lies outside, the deepest.
    """
    u = np.linspace(0.0, 1.0, y.shape[-1])
    level = DEEP * np.max(y, axis=-1, keepdims=True)
    weight = np.where(_about_the_deepest(y, level) & (level > 0.0), 1.0, 0.0)
    about = _or_half(y, weight @ u, np.sum(weight, axis=-1))
    x = u - about[..., None]
    s0, s2, s3, s4 = (np.sum(weight * x**n, axis=-1) for n in (0, 2, 3, 4))
    t0, t1, t2 = (np.sum(weight * y * x**n, axis=-1) for n in (0, 1, 2))
    # least squares with the sum of x at 0: slope and curvature of t0/s0 + b x + c (x^2 - s2/s0)
    bend, tilt = t2 - t0 * s2 / np.maximum(s0, 1.0), t1
    room = s4 - s2 * s2 / np.maximum(s0, 1.0)
    determinant = s2 * room - s3 * s3
    b, c = tilt * room - bend * s3, bend * s2 - tilt * s3
    bent = (determinant > 0.0) & (c < 0.0)
    vertex = about - 0.5 * b / np.where(bent, c, -1.0)
    deepest = np.argmax(y, axis=-1) / (y.shape[-1] - 1.0)
    inside = bent & (vertex > 0.0) & (vertex < 1.0)
    return np.where(level[..., 0] > 0.0, np.where(inside, vertex, deepest), 0.5)


def folded(y: np.ndarray) -> np.ndarray:
    """Where the dip meets its own mirror image best (Kwee & van Woerden 1956, Bull. Astron. Inst. Neth. 12, 327)."""
    count = y.shape[-1]
    spectrum = np.fft.rfft(y, 2 * count)
    match = np.fft.irfft(spectrum * spectrum, 2 * count)[..., : 2 * count - 1]
    k = np.clip(np.argmax(match, axis=-1), 1, 2 * count - 3)
    before, at, after = (np.take_along_axis(match, (k + d)[..., None], -1)[..., 0] for d in (-1, 0, 1))
    bend = before - 2.0 * at + after
    step = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return np.where(np.max(y, axis=-1) > 0.0, 0.5 * (k + step) / (count - 1.0), 0.5)


def _or_half(y: np.ndarray, above: np.ndarray, below: np.ndarray) -> np.ndarray:
    some = below > 0.0
    return np.where(some, above / np.where(some, below, 1.0), 0.5)


def _about_the_deepest(y: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Whether an epoch is deeper than a level together with all between it and the deepest one."""
    shallow = y < level
    stretch = np.cumsum(shallow, axis=-1)
    return ~shallow & (stretch == np.take_along_axis(stretch, np.argmax(y, axis=-1)[..., None], -1))


def _crossing(y: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Where a curve first reaches a level, between epochs by a straight line."""
    k = np.argmax(y >= level[..., None], axis=-1)
    above = np.take_along_axis(y, k[..., None], -1)[..., 0]
    under = np.take_along_axis(y, np.maximum(k - 1, 0)[..., None], -1)[..., 0]
    rise = above - under
    back = np.where(rise > 0.0, (above - level) / np.where(rise > 0.0, rise, 1.0), 0.0)
    return (k - np.where(k > 0, back, 0.0)) / (y.shape[-1] - 1.0)
