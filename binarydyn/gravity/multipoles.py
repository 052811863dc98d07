"""The multipoles of one body: traceless symmetric tensors T with  int dm / |r - s| = M sum_n T^(n) r^n / r^(2n+1).

T^(n) r^n = (1/M) int r^n s^n P_n(cos) dm is a harmonic polynomial of degree n (P_n Legendre); a tensor is kept as a
dict from the powers (i, j, k) to its component with i indices x, j indices y and k indices z.
"""

from __future__ import annotations

from functools import lru_cache
from math import comb, factorial

import numpy as np

Powers = tuple[int, int, int]


def powers(n: int) -> list[Powers]:
    """All (i, j, k) with i + j + k = n, x first."""
    return [(i, j, n - i - j) for i in range(n, -1, -1) for j in range(n - i, -1, -1)]


def multinomial(p: Powers) -> int:
    """(i + j + k)! / (i! j! k!): in how many orders the indices of a component can stand."""
    return factorial(sum(p)) // (factorial(p[0]) * factorial(p[1]) * factorial(p[2]))


@lru_cache(maxsize=16)
def _legendre(n: int) -> list[tuple[int, float]]:
    """Coefficients c_m of  P_n(cos) = sum_m c_m cos^(n - 2m)  (Abramowitz & Stegun 1964, 22.3.8)."""
    return [(m, (-1) ** m * comb(n, m) * comb(2 * n - 2 * m, n) / 2.0**n) for m in range(n // 2 + 1)]


@lru_cache(maxsize=16)
def _projection(n: int) -> list[tuple[Powers, list[tuple[Powers, float]]]]:
    """For each component of T^(n): which moments of degree n it is made of, and with what factors.

    r^n s^n P_n = sum_m c_m (r.s)^(n-2m) (r.r)^m (s.s)^m, expanded in powers of r; the coefficient of r^p is
    multinomial(p) T_p.
    """
    table: dict[Powers, dict[Powers, float]] = {p: {} for p in powers(n)}
    for m, c in _legendre(n):
        for a in powers(n - 2 * m):
            for b in powers(m):
                for d in powers(m):
                    p = (a[0] + 2 * b[0], a[1] + 2 * b[1], a[2] + 2 * b[2])
                    s = (a[0] + 2 * d[0], a[1] + 2 * d[1], a[2] + 2 * d[2])
                    weight = c * multinomial(a) * multinomial(b) * multinomial(d)
                    table[p][s] = table[p].get(s, 0.0) + weight
    return [(p, [(s, w / multinomial(p)) for s, w in sorted(row.items())]) for p, row in table.items()]


def multipole(body, n: int) -> dict[Powers, float]:
    """T^(n) of a body, in m^n: components of the traceless tensor from its inertia integrals per unit mass.

    Of many bodies at once where moments and mass are arrays.
    """
    moments = {s: body.moment(*s) / body.mass_kg for s in powers(n)}
    return {p: sum(w * moments[s] for s, w in row) for p, row in _projection(n)}


def component_list(degree: int, even: bool) -> list[tuple[int, Powers]]:
    """The components that a kernel of this total degree reads for one body, in the order of its parameters.

    Degree 2 has only its diagonal, because body frames are principal; an even body has no odd components.
    """
    names = []
    for n in range(2, degree + 1):
        for p in powers(n):
            odd = any(i % 2 for i in p)
            if not (odd and (even or n == 2)):
                names.append((n, p))
    return names


def coefficients(primary, secondary, degree: int, even: bool) -> np.ndarray:
    """Parameters of a field kernel: the components of the primary, then those of the secondary seen from the primary.

    The secondary's odd tensors change sign, because r points from the primary to the secondary.
    """
    values = []
    for body, sign in ((primary, 1), (secondary, -1)):
        tensors = {n: multipole(body, n) for n in range(2, degree + 1) if not (even and n % 2)}
        values += [tensors[n][p] * sign**n for n, p in component_list(degree, even)]
    return np.array(values)
