"""The mutual potential to total degree N and its gradients, written once as operations on a tape.

U = -G M1 M2 (u + Phi), u = 1/r, with T and S the multipole tensors of the two bodies (multipoles.py; S with the signs
seen from the primary), both taken in one frame, and the partial contractions  L_k = T x^(p-k),  R_k = S x^(q-k)
(tensors of rank k):

  Phi = sum_{p,q} sum_{k <= min(p,q)} c_{pqk} u^(2n+1-2k) <L_k, R_k>,                              n = p + q <= N
  c_{pqk} = (-1)^k (2n-2k-1)!! / (k! (2p-1)!! (2q-1)!!) p!/(p-k)! q!/(q-k)!

This is  T(grad) S(grad) 1/r  by Hobson's theorem (Hobson 1931, Spherical and Ellipsoidal Harmonics, ch. IV; the
products of the two harmonic polynomials are projected back onto harmonics, which gives the sum over k).  Other forms:
Paul 1988 (Celestial Mechanics 44, 49), Hou, Scheeres & Xin 2017 (CMDA 127, 369).  Gradients: d L_k/dx = (p-k) L_(k+1),
so nothing is differentiated numerically; a turn of one body acts on x and on the k free indices, which gives the
torques.  No tensor above the lower rank of a pair is turned.
"""

from __future__ import annotations

from math import factorial

from .multipoles import Powers, component_list, multinomial, powers
from .tape import Tape, Term

Vector = list


def _double_factorial(n: int) -> int:
    return 1 if n <= 0 else n * _double_factorial(n - 2)


def pair_coefficient(p: int, q: int, k: int) -> float:
    """c_{pqk} of the module's formula."""
    n = p + q
    up = _double_factorial(2 * n - 2 * k - 1) * factorial(p) * factorial(q)
    down = (
        factorial(k) * _double_factorial(2 * p - 1) * _double_factorial(2 * q - 1) * factorial(p - k) * factorial(q - k)
    )
    return (-1) ** k * up / down


def _raised(p: Powers, axis: int, by: int = 1) -> Powers:
    x, y, z = (value + by * (i == axis) for i, value in enumerate(p))
    return x, y, z


def _total(values):
    result = 0.0
    for value in values:
        result = result + value
    return result


class Powered:
    """Powers of x, y, z and of u on a tape, each made once from smaller ones."""

    def __init__(self, x: Vector, u: Term):
        self.x, self._u = x, {1: u, 2: u * u}
        self.squares = [v * v for v in x]

    def u(self, n: int) -> Term:
        """u^n, as u^2 times u^(n-2) for odd n."""
        if n not in self._u:
            self._u[n] = self._u[2] * self.u(n - 2)
        return self._u[n]

    def monomial(self, p: Powers):
        """x^i y^j z^k, odd factors times squares."""
        result = 1.0
        for axis, power in enumerate(p):
            for _ in range(power // 2):
                result = self.squares[axis] * result
        for axis, power in enumerate(p):
            if power % 2:
                result = self.x[axis] * result
        return result


class Contractions:
    """L_k = T x^(n-k) of one tensor T of rank n, for any k, each component evaluated once."""

    def __init__(self, n: int, tensor: dict[Powers, Term | float], at: Powered):
        self.n, self.at, self._known = n, at, {n: tensor}

    def rank(self, k: int) -> dict[Powers, Term | float]:
        """All components of L_k.

        Ask for the highest rank first, since the lower ones follow from it at three products a component.
        """
        if k not in self._known:
            self._known[k] = self._from_next(k) if k + 1 in self._known else self._from_top(k)
        return self._known[k]

    def prepare(self, highest: int) -> Contractions:
        """Make every rank from the highest that will be needed down to 0."""
        for k in range(min(highest, self.n), -1, -1):
            self.rank(k)
        return self

    def _from_next(self, k: int):
        above = self.rank(k + 1)
        return self._traceless(k, lambda b: _total(above[_raised(b, i)] * self.at.x[i] for i in range(3)))

    def _from_top(self, k: int):
        """n - k contractions at once.

        Of an even tensor only products with an even rest remain, so the odd factor stands outside.
        """
        top = self._known[self.n]

        def component(b):
            odd = tuple(i % 2 for i in b)
            found = [(g, top[tuple(map(sum, zip(b, g, strict=True)))]) for g in powers(self.n - k)]
            found = [(g, t) for g, t in found if isinstance(t, Term)]
            if all(tuple(i % 2 for i in g) == odd for g, _ in found):
                rest = [(multinomial(g), tuple(i - o for i, o in zip(g, odd, strict=True)), t) for g, t in found]
                return self.at.monomial(odd) * _total(t * (m * self.at.monomial(g)) for m, g, t in rest)
            return _total(t * (multinomial(g) * self.at.monomial(g)) for g, t in found)

        return self._traceless(k, component)

    @staticmethod
    def _traceless(k: int, component):
        """Components by the given rule; those with two z indices follow from the trace, which vanishes."""
        found = {b: component(b) for b in powers(k) if b[2] < 2}
        for b in sorted(set(powers(k)) - set(found), key=lambda b: b[2]):
            lower = _raised(b, 2, -2)
            found[b] = -(found[_raised(lower, 0, 2)] + found[_raised(lower, 1, 2)])
        return found


def inner(a: dict, b: dict, k: int):
    """<A, B>, full contraction of two rank-k tensors."""
    return _total(a[p] * (multinomial(p) * b[p]) for p in powers(k))


def inner_one_free(a: dict, b: dict, k: int) -> Vector:
    """Vector  sum A_{i jl..} B_{jl..}  of a rank-(k+1) and a rank-k tensor."""
    return [_total(a[_raised(p, i)] * (multinomial(p) * b[p]) for p in powers(k)) for i in range(3)]


def turned_against(a: dict, b: dict, k: int) -> Vector:
    """Vector  eps_{ijl} A_{j..} B_{l..}  of two rank-k tensors: how <A, B> changes when A is turned."""
    out = []
    for i in range(3):
        j, l = (i + 1) % 3, (i + 2) % 3
        pairs = [(multinomial(p), _raised(p, j), _raised(p, l)) for p in powers(k - 1)]
        out.append(_total(m * (a[pj] * b[pl] - a[pl] * b[pj]) for m, pj, pl in pairs))
    return out


def turned(tensor: dict, n: int, matrix: list[list]) -> dict:
    """A rank-n tensor in another frame, v' = matrix v, one index at a time."""
    if n == 2 and all(isinstance(tensor[p], float) for p in powers(2) if any(i % 2 for i in p)):
        return _turned_diagonal(tensor, matrix)
    mixed = {(((0, 0, 0)), p): tensor[p] for p in powers(n)}
    for done in range(n):
        step = {}
        for a in powers(done + 1):
            axis = next(i for i in range(3) if a[i])
            for b in powers(n - done - 1):
                parts = (matrix[axis][j] * mixed[_raised(a, axis, -1), _raised(b, j)] for j in range(3))
                step[a, b] = _total(parts)
        mixed = step
    return {a: mixed[a, (0, 0, 0)] for a in powers(n)}


def _turned_diagonal(tensor: dict, matrix: list[list]) -> dict:
    diagonal = [tensor[_raised((0, 0, 0), j, 2)] for j in range(3)]
    half = [[matrix[i][j] * diagonal[j] for j in range(3)] for i in range(2)]

    def component(p):
        i, l = [axis for axis in range(3) for _ in range(p[axis])]
        return _total(half[i][j] * matrix[l][j] for j in range(3))

    return Contractions._traceless(2, component)


def cross(a: Vector, b: Vector) -> Vector:
    """a x b."""
    return [a[(i + 1) % 3] * b[(i + 2) % 3] - a[(i + 2) % 3] * b[(i + 1) % 3] for i in range(3)]


def scaled_sum(parts: list[tuple]) -> Vector:
    """sum of factor * vector; the factors of one vector are added first."""
    factors: dict[tuple, list] = {}
    vectors = {}
    for factor, vector in parts:
        key = tuple(getattr(v, "name", v) for v in vector)
        factors.setdefault(key, []).append(factor)
        vectors[key] = vector
    return [_total(_total(factors[key]) * vectors[key][i] for key in vectors) for i in range(3)]


def as_vector(tensor: dict) -> Vector:
    """The components of a rank-1 tensor."""
    return [tensor[1, 0, 0], tensor[0, 1, 0], tensor[0, 0, 1]]


def tensors(degree: int, even: bool, tape: Tape, first: int) -> dict[int, dict]:
    """The tensors of one body as kernel parameters c[first], c[first + 1], .."""
    found: dict[int, dict] = {n: dict.fromkeys(powers(n), 0.0) for n in range(2, degree + 1)}
    components = component_list(degree, even)
    for (n, p), term in zip(components, tape.array("c", range(first, first + len(components))), strict=True):
        found[n][p] = term
    return {n: t for n, t in found.items() if not (even and n % 2)}
