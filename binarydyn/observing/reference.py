"""What measured event times are held against: simulated systems over the days of the data, and what follows from them.

The apsidal rate is foretold by the systems' own orbits; so is how the mean period in the windows of [simulation]
differs from that in the window of the data, which it does where the secondary tumbles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..errors import FewCyclesError, InputError
from ..prediction.windows import periods_s
from ..relaxed.start import Start, start
from ..sampling.members import swept
from ..scenario import Scenario
from ..sky.geometry import Sky
from ..timing.exact import foreknown_of
from ..timing.terms import Foreknown
from .worlds import MEMBERS, World, Worlds, expected, worlds

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
    def of(
        cls,
        scenario: Scenario,
        days: tuple[float, float],
        members: int = MEMBERS,
        watch: Callable[[str, float], None] | None = None,
    ) -> Reference:
        """members: 0 for no simulation.  watch: as worlds.  InputError where the scenario has no place in the sky."""
        sky, begun = sky_and_start(scenario)
        simulated = members > 0 and max(days) <= MODELLED_DAYS
        found = worlds(scenario, sky, *days, members, watch=watch) if simulated else None
        return cls(scenario, sky, begun, days, found)

    @cached_property
    def expected(self) -> Foreknown:
        """With the apsidal rate of the drawn systems; that of an oblate primary without them."""
        known = expected(self.begun)
        members = self.found.members if self.found else ()
        return foreknown_of([world.orbit for world in members], known) if members else known

    @cached_property
    def wander_s(self) -> tuple[float, float] | None:
        """Mean and sd over some drawn systems of the change in the windows of [simulation] less that in those of the
        data; None where there is none."""
        some = self.found.members[:WANDERING] if self.found else ()
        away = [change for world in some if (change := wander_of(world)) is not None]
        return (float(np.mean(away)), float(np.std(away))) if away else None


def wander_of(world: World) -> float | None:
    """Change in the windows of [simulation], by the scenario's estimator, less that of its days; None: no period."""
    try:
        before, after = periods_s(swept(world.scenario), world.system, world.impact)
    except (FewCyclesError, InputError):
        return None
    return after - before - world.orbit.change_s


def sky_and_start(scenario: Scenario) -> tuple[Sky, Start]:
    """Where the system is, and its relaxed start.  InputError where the scenario does not say."""
    return Sky.of(scenario), start(scenario)
