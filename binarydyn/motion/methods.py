"""The integrators there are: what one needs to know to choose."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Integrator:
    """One row of the table: what a user needs to choose."""

    name: str
    order: str
    cost: str
    when: str
    citation: str


INTEGRATORS = {
    row.name: row
    for row in (
        Integrator(
            "rungekutta",
            "8(5,3), adaptive",
            "2.5 ms for 60 days at 0.2 m; tolerance decides",
            "always right: any orbit, contact, escape, samples at any cadence; the default",
            "Hairer, Norsett & Wanner 1993, Solving Ordinary Differential Equations I, 2nd ed., sec. II.5",
        ),
        Integrator(
            "splitting",
            "ABA(10,4), fixed step",
            "a tenth of that in batches at its own step, which is a thirteenth of the orbit, shorter for a fast spin",
            "many or long runs of pairs that stay apart: no drift; where bodies come near it falls back to rungekutta",
            "Blanes et al. 2013, Appl. Numer. Math. 68, 58, doi 10.1016/j.apnum.2013.01.003",
        ),
        Integrator(
            "gauss",
            "16, implicit, compensated sums",
            "nine times the first for 60 days, a second for ten years; the tolerance does not enter",
            "years and centuries, or a reference for the others: rounding alone is left, and it hardly drifts",
            "Hairer, McLachlan & Razakarivony 2008, BIT 48, 231, doi 10.1007/s10543-008-0170-3 (the doi from memory)",
        ),
    )
}
