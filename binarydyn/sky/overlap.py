"""Areas of two outlines and of what they share.

Two ellipses exactly: where the one is the unit circle, the boundary of the other meets it at the roots of a polynomial
of degree four, and between them the area is a sum of arcs (Green's theorem).  Meshes by their convex outlines, clipped;
an ellipse beside a mesh as a polygon of 720 corners and the same area (its overlap is good to 1e-5 of the area).
"""

from __future__ import annotations

import numpy as np

from .figure import Figure
from .motion_between import Places
from .outline import across

_POLYGON = 720
_REAL = 1e-7
"""How far from the unit circle a root may lie; a double one is found to the root of the rounding."""


def ellipse(figure: Figure, axes: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """(m, 2, 2) matrices E of an ellipsoid's outlines, h(u)^2 = u E u; the area is pi sqrt(det E)."""
    seen = plane @ axes * figure.semi_axes_m
    return seen @ seen.transpose(0, 2, 1)


def areas(places: Places, figures: tuple[Figure, Figure], line: np.ndarray) -> tuple[np.ndarray, ...]:
    """(m,) three times: area of the first outline, of the second, and of what they share, m2; lines (m, 3)."""
    plane = across(line)
    delta = np.einsum("mij,mj->mi", plane, places.centre2_m - places.centre1_m)
    turned = places.axes1, places.axes2
    if not any(figure.is_mesh for figure in figures):
        one, two = (ellipse(figure, axes, plane) for figure, axes in zip(figures, turned, strict=True))
        return _ellipse_area(one), _ellipse_area(two), shared_by_ellipses(one, two, delta)
    found = []
    for i in range(len(line)):
        one, two = (_polygon(figure, axes[i], plane[i]) for figure, axes in zip(figures, turned, strict=True))
        both = clipped(one, two + delta[i])
        found.append([_polygon_area(corners) for corners in (one, two, both)])
    return tuple(np.array(found).reshape(-1, 3).T)


def _ellipse_area(matrix: np.ndarray) -> np.ndarray:
    return np.pi * np.sqrt(np.linalg.det(matrix))


def shared_by_ellipses(one: np.ndarray, two: np.ndarray, delta: np.ndarray) -> np.ndarray:
    """(m,) area shared by ellipses of matrices (m, 2, 2), the second displaced by delta (m, 2)."""
    to_circle = np.linalg.inv(np.linalg.cholesky(one))
    matrix = to_circle @ two @ to_circle.transpose(0, 2, 1)
    centre = np.einsum("mij,mj->mi", to_circle, delta)
    size, axes = np.linalg.eigh(matrix)
    half = np.sqrt(size)
    centre = np.einsum("mji,mj->mi", axes, centre)  # along the axes of the second, and the circle stays a circle
    found = np.array([_shared_with_circle(*c, *h) for c, h in zip(centre, half, strict=True)])
    return found / np.linalg.det(to_circle)


def _shared_with_circle(x: float, y: float, a: float, b: float) -> float:
    """Area shared by the unit circle and an ellipse at (x, y) with semi-axes a, b along the axes."""
    # |p(t)|^2 - 1 with p = (x + a cos t, y + b sin t), as a polynomial in z = exp(i t)
    second, first = 0.25 * (a * a - b * b), complex(a * x, -b * y)
    nought = x * x + y * y + 0.5 * (a * a + b * b) - 1.0
    roots = np.roots([second, first, nought, first.conjugate(), second])
    t = np.sort(np.angle(roots[np.abs(np.abs(roots) - 1.0) < _REAL]))

    def inside(angle: float) -> bool:
        return (x + a * np.cos(angle)) ** 2 + (y + b * np.sin(angle)) ** 2 < 1.0

    if len(t) < 2:
        return _one_in_the_other(x, y, a, b, inside(0.0))
    ends = np.append(t[1:], t[0] + 2.0 * np.pi)
    kept = [(s, e) for s, e in zip(t, ends, strict=True) if e > s and inside(0.5 * (s + e))]
    if not kept:
        return _one_in_the_other(x, y, a, b, False)
    if sum(e - s for s, e in kept) > 2.0 * np.pi - 1e-12:
        return np.pi * a * b
    total = 0.0
    for (start, end), (then, _) in zip(kept, kept[1:] + kept[:1], strict=True):
        total += 0.5 * (a * b * (end - start) + x * b * (np.sin(end) - np.sin(start)))
        total -= 0.5 * y * a * (np.cos(end) - np.cos(start))
        leaves = np.arctan2(y + b * np.sin(end), x + a * np.cos(end))
        enters = np.arctan2(y + b * np.sin(then), x + a * np.cos(then))
        total += 0.5 * np.remainder(enters - leaves, 2.0 * np.pi)  # along the circle to where the next arc begins
    return float(total)


def _one_in_the_other(x: float, y: float, a: float, b: float, second_inside: bool) -> float:
    """No crossings: the ellipse in the circle, the circle in the ellipse, or apart."""
    if second_inside:
        return np.pi * a * b
    return np.pi if (x / a) ** 2 + (y / b) ** 2 < 1.0 else 0.0


def _polygon(figure: Figure, axes: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """(k, 2) corners of an outline about its own middle, anticlockwise."""
    seen = plane @ axes
    if figure.is_mesh:
        from scipy.spatial import ConvexHull

        flat = figure.corners_m @ seen.T
        return flat[ConvexHull(flat).vertices]
    angle = 2.0 * np.pi / _POLYGON * np.arange(_POLYGON)
    size, turn = np.linalg.eigh((seen * figure.semi_axes_m) @ (seen * figure.semi_axes_m).T)
    turn = turn * [1.0, np.linalg.det(turn)]  # no mirror image
    same_area = np.sqrt(2.0 * np.pi / _POLYGON / np.sin(2.0 * np.pi / _POLYGON))
    return same_area * (np.stack([np.cos(angle), np.sin(angle)], axis=1) * np.sqrt(size)) @ turn.T


def clipped(corners: np.ndarray, by: np.ndarray) -> np.ndarray:
    """(k, 2) what is left of a convex polygon inside another one, both anticlockwise (Sutherland & Hodgman 1974)."""
    for start, end in zip(by, np.roll(by, -1, axis=0), strict=True):
        if not len(corners):
            break
        x, y = end - start
        side = x * (corners[:, 1] - start[1]) - y * (corners[:, 0] - start[0])
        ahead, side_ahead = np.roll(corners, -1, axis=0), np.roll(side, -1)
        with np.errstate(divide="ignore", invalid="ignore"):
            cut = corners + (side / (side - side_ahead))[:, None] * (ahead - corners)
        crossing = (side >= 0.0) != (side_ahead >= 0.0)
        both = np.stack([corners, cut], axis=1).reshape(-1, 2)
        corners = both[np.stack([side >= 0.0, crossing], axis=1).ravel()]
    return corners


def _polygon_area(corners: np.ndarray) -> float:
    x, y = corners.T if len(corners) else np.empty((2, 0))
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
