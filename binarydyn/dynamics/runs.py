"""Simulations of one system or of many, by the integrator that the system names; the table of integrators."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..errors import InputError
from ..kinds import NUMBER, check_kind, takes
from . import batch, propagate, split_runs
from .state import State, System
from .trajectory import Trajectory


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


@takes(system="System", days=NUMBER, state=(None, "State"), sample_minutes=NUMBER, max_steps=NUMBER)
def simulate(
    system: System,
    days: float,
    state: State | None = None,
    sample_minutes: float = 20.0,
    max_steps: int = propagate.MAX_STEPS,
    watch: Callable[[float], None] | None = None,
) -> Trajectory:
    """Integrate the full two-body problem over `days` from t0 (backwards if negative) and return its samples.

    The trajectory's status names the end: done, contact, escape, step_failure or step_limit.  ValueError if days is 0
    or not finite.  The splitting samples at its own steps, or more often if sample_minutes is shorter.  Systems with
    perturbations run with rungekutta, whatever they name.  `watch` is told the share that is done, now and then.
    """
    if system.integrator == "splitting" and not system.perturbations:
        return simulate_many([system], days, [state], sample_minutes, max_steps)[0]
    run = propagate.start(system, days, state, sample_minutes)
    for share in propagate.blocks(run, max_steps):
        if watch:
            watch(share)
    return propagate.finished(run)


@takes(systems=Sequence, days=NUMBER, states=(None, Sequence), sample_minutes=NUMBER)
def simulate_many(
    systems: Sequence[System],
    days: float,
    states: Sequence[State | None] | None = None,
    sample_minutes: float = 20.0,
    max_steps: int = propagate.MAX_STEPS,
) -> list[Trajectory]:
    """`simulate` for many systems over the same days: the same trajectories bit for bit, several times faster.

    Systems may differ in everything; those that share a gravity model and an integrator run side by side, those with
    perturbations one by one, and those of Gauss's method, whose stages fill the lanes.
    """
    states = states or [None] * len(systems)
    if len(states) != len(systems):
        raise InputError(
            "simulate_many(states)", f"{len(states)} are given for {len(systems)} systems; give one for each"
        )
    for system, state in zip(systems, states, strict=True):
        check_kind("simulate_many(systems)", system, "System")
        check_kind("simulate_many(states)", state, None, "State")
    asked = list(zip(systems, states, strict=True))
    single = [k for k, (s, _) in enumerate(asked) if s.perturbations or s.integrator == "gauss"]
    alone = {k: simulate(asked[k][0], days, asked[k][1], sample_minutes, max_steps) for k in single}
    split = [k for k, (s, _) in enumerate(asked) if s.integrator == "splitting" and k not in alone]
    runs = {k: split_runs.start(asked[k][0], days, asked[k][1], sample_minutes) for k in split}
    unfit = {id(run) for run in split_runs.integrate(list(runs.values()))}
    others = [k for k in range(len(asked)) if k not in alone and (k not in runs or id(runs[k]) in unfit)]
    runs |= {k: propagate.start(asked[k][0], days, asked[k][1], sample_minutes) for k in others}
    batch.integrate([runs[k] for k in others], float(max_steps))
    return [alone[k] if k in alone else propagate.finished(runs[k]) for k in range(len(asked))]
