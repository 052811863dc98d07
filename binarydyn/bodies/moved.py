"""Integrals of a body seen from another point and along other axes, exact but for rounding."""

from __future__ import annotations

import numpy as np

from .integrals import DEGREE, place_of_moment

_PLACE = place_of_moment()


def mass_integrals(body) -> np.ndarray:
    """(165,) int x^i y^j z^k dm in the body's principal frame, kg m^(i+j+k), as place_of_moment lists them."""
    return np.array([body.moment(*p) for p in _PLACE])


def moved(turn: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """(165, 165): from integrals of x^i y^j z^k to those of the powers of turn @ x + shift.

    A row is the polynomial x'^i y'^j z'^k written in x, y, z: one linear form after the other multiplied on.
    """
    size = DEGREE + 1
    keep = tuple(np.array(list(_PLACE)).T)
    polynomials = {(0, 0, 0): np.zeros((size, size, size))}
    polynomials[0, 0, 0][0, 0, 0] = 1.0
    for p in list(_PLACE)[1:]:
        axis = next(n for n in range(3) if p[n])
        i, j, k = (n - (m == axis) for m, n in enumerate(p))
        before = polynomials[i, j, k]
        product = shift[axis] * before
        product[1:] += turn[axis, 0] * before[:-1]
        product[:, 1:] += turn[axis, 1] * before[:, :-1]
        product[:, :, 1:] += turn[axis, 2] * before[:, :, :-1]
        polynomials[p] = product
    return np.array([polynomials[p][keep] for p in _PLACE])
