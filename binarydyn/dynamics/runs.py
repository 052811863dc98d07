"""Simulations of one system or of many, by the integrator that the system names."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..errors import InputError
from ..integrators import batch, propagate, split_runs
from ..kinds import NUMBER, check_kind, takes
from ..motion.state import State, System
from ..motion.trajectory import Trajectory


@takes(system="System", days=NUMBER, every_minutes=NUMBER, state=(None, "State"), max_steps=NUMBER)
def simulate(
    system: System,
    days: float,
    *,
    every_minutes: float = 20.0,
    state: State | None = None,
    progress: Callable[[float], None] | None = None,
    max_steps: int = propagate.MAX_STEPS,
) -> Trajectory:
    """Integrate the full two-body problem from t0 on and return its samples.

    days: length of the run, d, backwards if negative; every_minutes: between samples, min (the splitting samples at
    its own steps, or more often if this is shorter); state: in place of the system's own; progress: is told the share
    that is done, now and then; max_steps: of the integrator, before it gives up.

    The trajectory's status names the end: done, contact, escape, step_failure or step_limit.  Systems with
    perturbations run with rungekutta, whatever they name.  Raises InputError.  Sources: INTEGRATORS.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=20.0)
    >>> print(run.status, len(run), run.yaw_deg.shape)
    completed 1441 (1441,)
    """
    if system.integrator == "splitting" and not system.perturbations:
        return simulate_many([system], days, [state], every_minutes, max_steps)[0]
    run = propagate.start(system, days, state, every_minutes)
    for share in propagate.blocks(run, max_steps):
        if progress:
            progress(share)
    return propagate.finished(run)


@takes(systems=Sequence, days=NUMBER, states=(None, Sequence), every_minutes=NUMBER)
def simulate_many(
    systems: Sequence[System],
    days: float,
    states: Sequence[State | None] | None = None,
    every_minutes: float = 20.0,
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
    alone = {
        k: simulate(asked[k][0], days, state=asked[k][1], every_minutes=every_minutes, max_steps=max_steps)
        for k in single
    }
    split = [k for k, (s, _) in enumerate(asked) if s.integrator == "splitting" and k not in alone]
    runs = {k: split_runs.start(asked[k][0], days, asked[k][1], every_minutes) for k in split}
    unfit = {id(run) for run in split_runs.integrate(list(runs.values()))}
    others = [k for k in range(len(asked)) if k not in alone and (k not in runs or id(runs[k]) in unfit)]
    runs |= {k: propagate.start(asked[k][0], days, asked[k][1], every_minutes) for k in others}
    batch.integrate([runs[k] for k in others], float(max_steps))
    return [alone[k] if k in alone else propagate.finished(runs[k]) for k in range(len(asked))]
