"""Source text of the kernels `field` and `potential` for a total degree and a symmetry, from expansion.py."""

from __future__ import annotations

from dataclasses import dataclass, field

from .expansion import (
    Contractions,
    Powered,
    as_vector,
    cross,
    inner,
    inner_one_free,
    pair_coefficient,
    scaled_sum,
    tensors,
    turned,
    turned_against,
)
from .multipoles import component_list
from .tape import Tape

ARGUMENTS = "x, y, z, X, Y, Z, u, C11, C12, C13, C21, C22, C23, C31, C32, C33, c"


@dataclass
class Frame:
    """Terms gathered in the frame of one body.

    Gradients of Phi through the own and the other body, and what turns the indices.
    """

    at: Powered
    own: list = field(default_factory=list)
    other: list = field(default_factory=list)
    radial: list = field(default_factory=list)
    twist: list = field(default_factory=list)
    value: list = field(default_factory=list)

    def add_single(self, n: int, tensor: Contractions, side: list):
        """The term of one body's multipole against the other's mass: u^(2n+1) T x^n."""
        w = self.at.u(2 * n + 1)
        self.value.append((w, tensor.rank(0)[0, 0, 0]))
        self.radial.append(((2 * n + 1) * self.at.u(2 * n + 3), tensor.rank(0)[0, 0, 0]))
        side.append((n * w, as_vector(tensor.rank(1))))

    def add_pair(self, p: int, q: int, left: Contractions, right: Contractions):
        """The term of the own multipole of degree p against the other's of degree q.

        The latter already in this frame.
        """
        for k in range(min(p, q) + 1):
            c, m = pair_coefficient(p, q, k), 2 * (p + q) + 1 - 2 * k
            w, l, r = self.at.u(m), left.rank(k), right.rank(k)
            value = inner(l, r, k)
            self.value.append((c * w, value))
            self.radial.append(((m * c) * self.at.u(m + 2), value))
            if k < p:
                self.own.append(self._gradient(c * (p - k) * w, left.rank(k + 1), r, k))
            if k < q:
                self.other.append(self._gradient(c * (q - k) * w, right.rank(k + 1), l, k))
            if k:
                self.twist.append(((c * k) * w, turned_against(r, l, k)))

    @staticmethod
    def _gradient(factor, higher: dict, lower: dict, k: int) -> tuple:
        """(factor, vector) of one gradient; with k = 0 the scalar joins the factor."""
        if k == 0:
            return factor * lower[0, 0, 0], as_vector(higher)
        return factor, inner_one_free(higher, lower, k)

    def gradient_and_torques(self):
        """(gradient of Phi without its radial part, torque on the own body, torque on the other), per G M1 M2."""
        own, other, twist = scaled_sum(self.own), scaled_sum(self.other), scaled_sum(self.twist)
        gradient = [a + b for a, b in zip(own, other, strict=True)]
        on_own = [a - b for a, b in zip(cross(own, self.at.x), twist, strict=True)]
        on_other = [a + b for a, b in zip(cross(other, self.at.x), twist, strict=True)]
        return gradient, on_own, on_other


def _total(parts):
    result = 0.0
    for factor, value in parts:
        result = result + factor * value
    return result


def _frames(degree: int, even: bool, tape: Tape, x1: list, x2: list, u, matrix: list[list]):
    """Every term of Phi placed in the frame where the lower-rank tensor is the one that is turned."""
    transposed = [list(column) for column in zip(*matrix, strict=True)]
    first = tensors(degree, even, tape, 0)
    second = tensors(degree, even, tape, len(component_list(degree, even)))
    frames = Frame(Powered(x1, u)), Frame(Powered(x2, u))
    frames[1].at._u = frames[0].at._u
    at1, at2 = frames[0].at, frames[1].at
    one = {n: Contractions(n, t, at1) for n, t in first.items()}
    two = {n: Contractions(n, t, at2) for n, t in second.items()}
    pairs = [(p, q) for p in first for q in second if p + q <= degree]
    two_in_1 = {q: Contractions(q, turned(second[q], q, matrix), at1) for q in {q for p, q in pairs if p >= q}}
    one_in_2 = {p: Contractions(p, turned(first[p], p, transposed), at2) for p in {p for p, q in pairs if q > p}}
    for n in first:
        one[n].prepare(max([1] + [min(n, q + 1) for p, q in pairs if p == n and p >= q]))
        two[n].prepare(max([1] + [min(n, p + 1) for p, q in pairs if q == n and q > p]))
    for tensor in [*two_in_1.values(), *one_in_2.values()]:
        tensor.prepare(tensor.n)
    for n in first:
        frames[0].add_single(n, one[n], frames[0].own)
        if n in two_in_1:
            frames[0].add_single(n, two_in_1[n], frames[0].other)
        else:
            frames[1].add_single(n, two[n], frames[1].own)
    for p, q in pairs:
        if p >= q:
            frames[0].add_pair(p, q, one[p], two_in_1[q])
        else:
            frames[1].add_pair(q, p, two[q], one_in_2[p])
    return frames, transposed


def matrix_times(matrix: list[list], vector: list) -> list:
    """matrix . vector."""
    return [row[0] * vector[0] + row[1] * vector[1] + row[2] * vector[2] for row in matrix]


def field_terms(degree: int, even: bool, tape: Tape, x1: list, x2: list, u, matrix: list[list]):
    """What the field is on a tape, which reads the coefficients c: nine results and Phi.

    The results: gradient of Phi (frame of the primary), torques on the primary (its frame) and on the secondary (its
    frame), per G M1 M2, all without the monopole.  Given: r in both frames, u = 1/r, C (frame 2 -> frame 1).
    """
    (one, two), transposed = _frames(degree, even, tape, x1, x2, u, matrix)
    gradient1, torque1, other1 = one.gradient_and_torques()
    gradient2, torque2, other2 = two.gradient_and_torques()
    radial = _total(one.radial + two.radial)
    turned_gradient, turned_torque = matrix_times(matrix, gradient2), matrix_times(matrix, other2)
    back = matrix_times(transposed, other1)
    results = [gradient1[i] + turned_gradient[i] - radial * x1[i] for i in range(3)]
    results += [torque1[i] + turned_torque[i] for i in range(3)]
    results += [torque2[i] + back[i] for i in range(3)]
    return results, _total(one.value + two.value)


def source(degree: int, even: bool) -> str:
    """Python text of a module with the kernels `field` and `potential`; see field_terms for what goes in and out."""
    tape = Tape()
    terms = tape.inputs(*[name.strip() for name in ARGUMENTS.split(",")[:-1]])
    matrix = [terms[7:10], terms[10:13], terms[13:16]]
    results, phi = field_terms(degree, even, tape, terms[0:3], terms[3:6], terms[6], matrix)
    kind = "even bodies" if even else "any bodies"
    head = f'"""Mutual gravity to degree {degree}, {kind}: written by binarydyn.gravity.generator."""\n'
    head += "from binarydyn._jit import fma, kernel\n\n\n"
    field_text = tape.source("field", ARGUMENTS, results)
    potential_text = tape.source("potential", ARGUMENTS, [phi])
    return f"{head}@kernel\n{field_text}\n\n@kernel\n{potential_text}"
