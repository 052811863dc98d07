"""The emulator of the period change against the velocity change over the uncertain inputs: built once, used for any
draws.

The departure of full simulations (relation_runs.py) from the closed form on a Kepler orbit (along_track.py) is a
quadratic polynomial (emulator.py), whose leave-one-out error is told.  Valid where the outcomes are smooth.  A run
whose attitude is chaotic or turns over to the end of the window has a period all the same, some seconds off the
smooth ones: it is not fitted to, and what such runs are off by is a second error, for the draws nearest to one.
Draws nearest to a run that ended early are pointed out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..errors import ConvergenceError
from ..relaxed.start import Start
from ..scenario import Scenario
from ..scenario.ranges import are_in_range
from ..scenario.variation import key_of, value_of
from .pair_draws import pairs
from .quadratic import Quadratic, quadratic_fit, terms_of

_FAR_AWAY = 1e100
"""Sigmas of the design, beyond which nothing is near."""


@dataclass(frozen=True)
class Surrogate:
    """Departure of the period change from the closed form, s, over inputs and closed form, and what it was fitted to.

    nominal: the start at the stated values.  corrections: log ratios of the system's masses and separations to Kepler's
    third law, over the inputs.  points (runs, inputs + 1): the design, closed form last.  bad (runs,): which ended
    early or were refused; chaotic (runs,): which ended well but chaotic or tumbling.  chaotic_error_s: their rms off
    what was fitted to the regular ones; 0 where there is none, or where fitted_to_all (too few are regular), so that
    error_s holds theirs.  targets: range of the closed form that is covered, s.
    """

    scenario: Scenario
    nominal: Start
    departure: Quadratic
    corrections: dict[str, Quadratic]
    points: np.ndarray
    bad: np.ndarray
    chaotic: np.ndarray
    chaotic_error_s: float
    fitted_to_all: bool
    targets: tuple[float, float]

    @property
    def runs(self) -> int:
        """Simulations."""
        return len(self.points)

    @property
    def left_out(self) -> int:
        """Simulations that ended early or were refused."""
        return int(self.bad.sum())

    @property
    def chaotic_runs(self) -> int:
        """Simulations that ended well but are chaotic, or tumble."""
        return int(self.chaotic.sum())

    @property
    def fitted_runs(self) -> int:
        """Simulations behind the polynomial."""
        return len(self.departure.left_out)

    @property
    def error_s(self) -> float:
        """Leave-one-out error of the period change."""
        return self.departure.error

    @property
    def pair_error(self) -> float:
        """Relative, of the emulated masses and separations."""
        return float(max(fit.error for fit in self.corrections.values()))

    def closed_form_for(self, x: np.ndarray, change_s: np.ndarray) -> np.ndarray:
        """(n,) closed-form changes whose simulated ones are the given, at inputs (n, d).

        A fixed point that gains a digit or more a step; it runs away where there is no velocity change, and is no
        number there.
        """
        target = change_s.copy()
        with np.errstate(over="ignore", invalid="ignore"):
            for _ in range(60):
                new = change_s - self.departure(np.column_stack([x, target]))
                moved, target = np.abs(new - target).max(), new
                if moved < 1e-7 * np.abs(change_s).max():
                    break
        return target

    def nearest_is(self, which: np.ndarray, x: np.ndarray, target: np.ndarray) -> np.ndarray:
        """(n,) whether the run nearest to a draw, in sigmas of the design, is one of `which` (runs,): bad, chaotic."""
        if not which.any():
            return np.zeros(len(target), dtype=bool)
        z = self._scaled(np.column_stack([x, target]))
        # Where there is no velocity change the closed form has run away; the tree squares what it is given.
        return which[self._tree.query(np.where(np.abs(z) < _FAR_AWAY, z, 0.0))[1]]

    @cached_property
    def _tree(self):
        from scipy.spatial import cKDTree

        return cKDTree(self._scaled(self.points))

    def _scaled(self, points: np.ndarray) -> np.ndarray:
        return (points - self.departure.centre) / self.departure.width


def columns(inputs: Mapping[str, np.ndarray], count: int) -> np.ndarray:
    """(count, d) inputs side by side, in their order."""
    return np.column_stack(list(inputs.values())) if inputs else np.empty((count, 0))


@dataclass(frozen=True)
class Simulated:
    """Those runs of a design that could begin: their places in it, starts, simulated changes of the period, s (NaN
    where a run ended early), and whether each is regular.
    """

    places: np.ndarray
    begun: Sequence[Start]
    change_s: np.ndarray
    regular: np.ndarray


def surrogate_of(
    scenario: Scenario,
    nominal: Start,
    inputs: Mapping[str, np.ndarray],
    target: np.ndarray,
    targets: tuple[float, float],
    simulated: Simulated,
) -> Surrogate:
    """Fit what came out over inputs (runs,) and closed forms (runs,).  ConvergenceError if too few end well."""
    runs, found, change = len(target), simulated.places, simulated.change_s
    completed = np.isfinite(change)
    regular = simulated.regular & completed
    needed = 2 * terms_of(len(inputs) + 1)
    few = bool(regular.sum() < needed)
    smooth = completed if few else regular
    if smooth.sum() < needed:
        raise ConvergenceError(
            f"only {smooth.sum()} of {runs} runs end well, {needed} are needed for the emulator; narrow [sampling] or "
            "add runs"
        )
    x = columns(inputs, runs)
    points, departs = np.column_stack([x, target]), change - target[found]
    departure = quadratic_fit(points[found[smooth]], departs[smooth])
    # What masses and separations are besides what Kepler's third law says.
    rough = pairs(scenario, {name: values[found] for name, values in inputs.items()}, len(found))
    ratios = rough.against(simulated.begun)
    corrections = {name: quadratic_fit(x[found], np.log(ratio)) for name, ratio in ratios.items()}
    beside = completed & ~smooth
    off = _rms(departs[beside] - departure(points[found[beside]]))
    # A point that no scenario could have says nothing of the draws beside it, which one could.
    bad = ~_at(found[completed], runs) & ~refused(scenario, inputs, runs)
    chaotic = _at(found[completed & ~regular], runs)
    return Surrogate(scenario, nominal, departure, corrections, points, bad, chaotic, off, few, targets)


def refused(scenario: Scenario, inputs: Mapping[str, np.ndarray], count: int) -> np.ndarray:
    """(count,) inputs with a value outside the range of its key, or with semi-axes that are not a >= b >= c."""
    known, found = scenario.known_keys(), np.zeros(count, dtype=bool)
    for name, values in inputs.items():
        found |= ~are_in_range(values, key_of(name, known).facts)
    for body in ("primary", "secondary"):
        names = [f"{body}.semi_axes_m.{i}" for i in range(3)]
        if any(name in inputs for name in names):
            a, b, c = (inputs[n] if n in inputs else value_of(scenario, n) for n in names)
            found |= ~((a >= b) & (b >= c))
    return found


def _at(places: np.ndarray, count: int) -> np.ndarray:
    """(count,) True at the places."""
    there = np.zeros(count, dtype=bool)
    there[places] = True
    return there


def _rms(values: np.ndarray) -> float:
    """Of values (n,); 0 of none."""
    return float(np.sqrt(np.mean(values**2))) if len(values) else 0.0
