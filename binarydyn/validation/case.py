"""A scenario to be compared, whose prediction, description and posterior are worked out once somebody asks for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from ..dynamics import Equilibrium
from ..inference.infer import infer
from ..inference.posterior import Posterior
from ..kinds import sure
from ..prediction.description import Description, standing_still
from ..prediction.predict import Prediction, predict
from ..scenario import Scenario
from ..surroundings import Deflection
from .solve_for import NoNumberError

POSTERIOR_DRAWS, POSTERIOR_RUNS = 4000, 128
"""The draws leave 0.02 sigma of a median open; the runs are enough for nine inputs and the velocity change."""


@dataclass(frozen=True)
class Case:
    """A scenario, and its prediction once somebody asks for it."""

    scenario: Scenario

    @cached_property
    def prediction(self) -> Prediction:
        """As `predict` gives it, so what is validated is what a user gets."""
        return predict(self.scenario)

    @cached_property
    def posterior(self) -> Posterior:
        """From [observed] and [sampling]; NoNumberError where no draw counts."""
        observed = sure(self.scenario.observed)
        change_s, sigma_s = observed.period_change_s, observed.sigma_s
        found = infer(self.scenario, change_s, sigma_s, POSTERIOR_DRAWS, runs=POSTERIOR_RUNS)
        if not found.well.any():
            raise NoNumberError("no draw has a velocity change that gives the measured change")
        return found

    def number(self, name: str) -> float:
        """One of the prediction's numbers; NoNumberError, which names the outcome, where there is none."""
        value = self.prediction.numbers()[name]
        if value is None:
            raise NoNumberError(f"there is no {name}, the run ends in {self.prediction.status}")
        return float(value)

    def mode(self, name: str) -> float:
        """Period, h, of a free mode of the relaxed state."""
        mode = self.prediction.start.mode(name)
        if mode is None:
            raise NoNumberError(f"the relaxed state has no {name} mode")
        return float(mode.period_h)

    @cached_property
    def equilibrium(self) -> Equilibrium:
        """At the relaxed separation, the primary averaged over its spin."""
        return self._standing_still("long")

    @cached_property
    def turned(self) -> Equilibrium:
        """The same with the secondary's intermediate axis along r."""
        return self._standing_still("intermediate")

    def _standing_still(self, facing: str) -> Equilibrium:
        return standing_still(self.scenario, self.prediction.start, facing)

    @cached_property
    def deflection(self) -> Deflection:
        """Of the heliocentric orbit; NoNumberError, which names what is missing, where there is none."""
        described = Description(self.scenario, self.prediction.start)
        if described.deflection is None:
            raise NoNumberError(f"the heliocentric effect needs {described.deflection_missing}")
        return described.deflection

    def attitude_periods_h(self) -> tuple[float, ...]:
        """Of the secondary's turns about r and about its motion at the equilibrium, the faster first."""
        return tuple(mode.period_h for mode in self.equilibrium.modes if mode.name == "secondary_roll_pitch")


@dataclass(frozen=True)
class Quantity:
    """How a number comes from a case and, for those that solve for something, from what is given.

    spread: one sigma of it by the case's own posterior, which needs [observed] and [sampling].
    """

    value: Callable[[Case, float | None], float]
    says: str
    needs_given: str = ""
    spread: Callable[[Case, float | None], float] | None = None
    needs_ellipsoids: bool = False
    needs_reshaping: bool = False
