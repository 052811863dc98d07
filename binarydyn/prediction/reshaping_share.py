"""What the velocity change and the reshaping each have of the period change, where an impact does both.

With P(velocity change, shape) the period after, measured over the same window in the same way, and P0 the period
before:

    total      P(velocity change, new) - P0
    reshaping  P(none, new) - P0            the shapes change, nothing pushes
    velocity change       P(velocity change, new) - P(none, new)  with minus without velocity change, at the new shape
    remainder  velocity change - [P(velocity change, old) - P0]   = total less what reshaping alone and the velocity
    change alone do

Shares do not add: reshaping and velocity change fill the total because the velocity change is counted at the new shape;
at the old one it does another part, and the remainder is the difference.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..dynamics import State, System, simulate
from ..errors import FewCyclesError, InputError
from ..impact import Impact, ImpactSpec, impact_on, reshaped
from ..kinds import sure
from ..observables import Estimate, period
from ..scenario import Scenario


@dataclass(frozen=True)
class Shares:
    """Shares of the period change, s; None where a run ended too early for its period."""

    reshaping_s: float | None
    dv_s: float | None
    interaction_s: float | None


def shares(
    begun: System, scenario: Scenario, impact: Impact, before: Estimate | None, after: Estimate | None
) -> Shares | None:
    """Run once without the velocity change and once without the reshaping; None where the shapes do not change.

    begun: the system before the impact; before, after: the periods, where they could be measured.
    """
    if impact.reshaped is None:
        return None
    if before is None or after is None:
        return Shares(None, None, None)
    before_s, after_s = before.value_s, after.value_s
    if impact.status == "reshaped":
        return Shares(after_s - before_s, 0.0, 0.0)
    alone = reshaped(begun, begun.state, sure(scenario.reshaping))
    reshaped_s = _period_s(alone.system, alone.state, scenario)
    pushed = impact_on(begun, ImpactSpec.of(scenario, reshaping=None))
    pushed_s = _period_s(pushed.system, pushed.state, scenario)
    velocity_change = None if reshaped_s is None else after_s - reshaped_s
    return Shares(
        reshaping_s=None if reshaped_s is None else reshaped_s - before_s,
        dv_s=velocity_change,
        interaction_s=None if velocity_change is None or pushed_s is None else velocity_change - (pushed_s - before_s),
    )


def _period_s(system: System, state: State, scenario: Scenario) -> float | None:
    """Mean period over the window after t0, as the prediction measures it."""
    given = scenario.simulation
    run = simulate(system, given.days_after, state=state, **given.run_options)
    try:
        return period(run, scenario.observation.estimator).value_s
    except (FewCyclesError, InputError):
        return None
