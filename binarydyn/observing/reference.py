"""What measured event times are held against: simulated systems over the days of the data, and what follows from them.

The apsidal rate is foretold by the systems' own orbits; so is how the mean period in the windows of [simulation]
differs from that in the window of the data, which it does where the secondary tumbles.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import FewCyclesError, InputError
from ..motion.state import oblate_term
from ..prediction.windows import periods_s
from ..relaxed.start import Start, start
from ..sampling.members import swept
from ..scenario import Scenario
from ..sky.geometry import Sky
from ..timing.cycle_count import sides_of
from ..timing.exact import ExactOrbit, foreknown_of
from ..timing.mid_times import readings_at
from ..timing.terms import TURN, Foreknown
from .worlds import MEMBERS, World, Worlds, worlds

APSIDAL_SHARE = 0.5
"""One sigma of the apsidal rate, in parts of that of an oblate primary: the secondary's shape changes it by so much."""
MODELLED_DAYS = 200.0
"""Longer campaigns are fitted without simulated systems."""
WANDERING = 12
"""Systems whose windows of [simulation] are run: their mean is good to a third of their standard deviation."""


@dataclass(frozen=True)
class Reference:
    """What measured times are held against: a scenario's nominal system, and others that may be the real one, over days
    (2,) before and after t0; found: None where the data are too long for that.
    """

    scenario: Scenario
    sky: Sky
    begun: Start
    days: tuple[float, float]
    found: Worlds | None

    @classmethod
    def of(cls, scenario: Scenario, days: tuple[float, float], members: int = MEMBERS) -> Reference:
        """members: 0 for no simulation.  InputError where the scenario has no place in the sky."""
        sky, begun = sky_and_start(scenario)
        simulated = members > 0 and max(days) <= MODELLED_DAYS
        return cls(scenario, sky, begun, days, worlds(scenario, sky, *days, members) if simulated else None)

    def orbit_of(self, world: World) -> ExactOrbit:
        """That of the fit's model, through the exact conjunctions of these days; InputError for too few of them."""
        time = world.dips.conjunction_s / DAY_S
        dips = world.dips.chosen((time >= -self.days[0]) & (time <= self.days[1]))
        seen = readings_at(world.sight, dips.kind, dips.body, dips.conjunction_s, dips.after)
        sides_of(seen)
        return ExactOrbit.through(seen, world.counted_rad(dips), expected(self.begun))

    @cached_property
    def orbits(self) -> tuple[tuple[World, ExactOrbit], ...]:
        """Of those drawn systems that have one."""
        found = []
        for world in self.found.members if self.found else ():
            with suppress(InputError):
                found.append((world, self.orbit_of(world)))
        return tuple(found)

    @cached_property
    def expected(self) -> Foreknown:
        """With the apsidal rate of the drawn systems; that of an oblate primary without them."""
        known = expected(self.begun)
        return foreknown_of([orbit for _, orbit in self.orbits], known) if self.orbits else known

    @cached_property
    def wander_s(self) -> tuple[float, float] | None:
        """Mean and sd over some drawn systems of the change in the windows of [simulation] less that in those of the
        data; None where there is none."""
        some = self.orbits[:WANDERING]
        away = [change for world, orbit in some if (change := wander_of(world, orbit)) is not None]
        return (float(np.mean(away)), float(np.std(away))) if away else None


def wander_of(world: World, orbit: ExactOrbit) -> float | None:
    """Change in the windows of [simulation], by the scenario's estimator, less that of an orbit; None: no period."""
    try:
        before, after = periods_s(swept(world.scenario), world.system, world.impact)
    except (FewCyclesError, InputError):
        return None
    return after - before - orbit.change_s


def sky_and_start(scenario: Scenario) -> tuple[Sky, Start]:
    """Where the system is, and its relaxed start.  InputError where the scenario does not say."""
    return Sky.of(scenario), start(scenario)


def expected(begun: Start) -> Foreknown:
    """Period of the relaxed orbit; apsidal rate that an oblate primary makes, +- APSIDAL_SHARE of it."""
    n = TURN / (begun.period_h * HOUR_S)
    rate = oblate_term(abs(begun.system.oblateness_m2), begun.separation_m) * n
    return Foreknown(begun.period_h, rate, APSIDAL_SHARE * rate + 1e-4 * n)
