"""Coefficients of Gauss's collocation with eight stages, order 16, computed in fifty digits.

mu_ij = a_ij / b_j = 1/2 (1 + x_i + sum_m P_m(x_j) (P_m+1(x_i) - P_m-1(x_i))), m = 1 .. 7, with the zeros x of P_8:
the integral of Lagrange's polynomial of x_j in Legendre's (Hairer, Lubich & Wanner 2006, Geometric Numerical
Integration, 2nd ed., sec. II.1.3); b_i = 1 / ((1 - x_i^2) P_8'(x_i)^2) on 0 .. 1 (Abramowitz & Stegun 1964, 25.4.29).
"""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from functools import cache

import numpy as np

STAGES = 8
_GRID = 2**52


@cache
def tables() -> np.ndarray:
    """(144,): mu and projection (8 x 8, columns first), b, nodes."""
    with localcontext() as context:
        context.prec = 50
        nodes = [_node(n) for n in range(STAGES)]
        p = [_legendre(x) for x in nodes]
        b = [1 / ((1 - x * x) * _slope(x) ** 2) for x in nodes]
        mu = np.full((STAGES, STAGES), 0.5)
        for i in range(STAGES):
            for j in range(i):
                terms = (p[j][m] * (p[i][m + 1] - p[i][m - 1]) for m in range(1, STAGES))
                # on a grid on which 1 - mu is exact; stages from both ends mirror each other
                mu[i, j] = float(round((1 + nodes[i] + sum(terms)) / 2 * _GRID)) / _GRID
                mu[j, i] = 1.0 - mu[i, j]
        upper = np.add.outer(np.arange(STAGES), np.arange(STAGES)) < STAGES
        mu = np.where(upper, mu, 1.0 - mu[::-1, ::-1])
        projection = [[float((2 * m + 1) * b[i] * p[i][m]) for i in range(STAGES)] for m in range(STAGES)]
        rows = [[float(v) for v in b], [float(x) for x in nodes]]
    return np.concatenate([mu.T.ravel(), np.transpose(projection).ravel(), *rows])


def _legendre(x: Decimal) -> list[Decimal]:
    """P_0(x) .. P_8(x)."""
    p = [Decimal(1), x]
    for m in range(1, STAGES):
        p.append(((2 * m + 1) * x * p[m] - m * p[m - 1]) / (m + 1))
    return p


def _slope(x: Decimal) -> Decimal:
    """P_8'(x)."""
    p = _legendre(x)
    return STAGES * (x * p[STAGES] - p[STAGES - 1]) / (x * x - 1)


def _node(n: int) -> Decimal:
    """The n-th zero of P_8, ascending, by Newton's method."""
    x = Decimal(-math.cos(math.pi * (n + 0.75) / (STAGES + 0.5)))
    for _ in range(8):
        x -= _legendre(x)[STAGES] / _slope(x)
    return x
