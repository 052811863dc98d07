"""What each uncertain input does to beta (without an impactor: to the velocity change), and how much of the width comes
from it.

The best straight line through the draws that count, y = y0 + sum b_i (x_i - mean), by least squares: steps of one
sigma and more, so that an aim crosses the facets of a mesh as its draws do, where a derivative sees only one.  The
share of an input is b_i cov(x_i, y) over the variance of y (negative where a correlation takes away).  They add up to
what the first order explains; the rest is curvature, what inputs do together, and edges of facets.  What an input does
by itself in whatever form is V(E[y | x_i])/V(y), as in inference/sobol_indices.py, here from means of binned draws.

A slope is off by what the draws scatter about the line, and by the emulator's leave-one-out error e (relation.py), some
e db/dP / (w sqrt(runs)), w the spread of the input in the design.  So inputs that are known very well, and add nothing
to the width, have slopes that mean nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..kinds import sure
from .posterior import Posterior

_BINS, _IN_A_BIN = 25, 40
MEASURED, RELATION = "observed.period_change_s", "error of the emulator, s"
SLOPE = "slope of the ground, sigmas,"


@dataclass(frozen=True)
class Derivative:
    """Of beta, or of the velocity change in mm/s, to an input in its own unit, over its distribution; see above.

    at: median of the distribution; slope_error: one sigma of the slope; share: of the variance, by the slope;
    share_by_itself: in whatever form.
    """

    name: str
    at: float
    sigma: float
    slope: float
    slope_error: float
    share: float
    share_by_itself: float

    @property
    def contribution(self) -> float:
        """What one sigma of the input adds, with its sign."""
        return self.slope * self.sigma


@dataclass(frozen=True)
class Linearised:
    """The posterior to first order: one row for each input, the measurement and the emulator's error.

    sigma: of the first order alone; explained: its share of the whole variance, the sum of the shares.
    """

    rows: tuple[Derivative, ...]
    sigma: float
    explained: float


def propagated(posterior: Posterior) -> Linearised | None:
    """None where the draws that count are too few for a line, or are all alike."""
    well, surrogate = posterior.well, posterior.surrogate
    inputs = {name: values[well] for name, values in posterior.inputs.items()}
    ground = {f"{SLOPE} {i + 1}": scores[well] for i, scores in enumerate(posterior.slopes)}
    stated, inputs = inputs, inputs | ground
    x = np.column_stack([*inputs.values(), posterior.drawn_change_s[well]])
    y = posterior.beta[well] if posterior.has_beta else posterior.dv_mm_s[well]
    count, size = x.shape
    if count < size + 2 or not y.std() > 0.0:
        return None
    slopes, errors, parts = _line(x, y)
    # The emulator knows no tilts of the ground.
    width = np.insert(surrogate.departure.width, len(stated), np.full(len(ground), np.inf))
    spread = width * np.sqrt(surrogate.fitted_runs)
    errors = np.hypot(errors, np.abs(slopes[-1]) * surrogate.error_s / spread)
    # The emulator's error (with that of chaotic runs near the draws), the last row, acts as the measurement's.
    measured, added = posterior.sigma_s, posterior.emulator_error_s
    two = np.array([measured**2, added**2]) / (measured**2 + added**2)
    slopes, errors = np.append(slopes, slopes[-1]), np.append(errors, errors[-1])
    sigmas = [*(values.std() for values in inputs.values()), measured, added]
    medians = (sure(posterior.scenario.sampling).quantities[name].at_scores(0.0) for name in stated)
    centres = [*medians, *(0.0 for _ in ground), posterior.change_s, 0.0]
    alone = np.array([share_alone(column, y) for column in x.T])
    shares, alone = (np.append(each[:-1], each[-1] * two) for each in (parts / y.var(), alone))
    numbers = zip([*inputs, MEASURED, RELATION], centres, sigmas, slopes, errors, shares, alone, strict=True)
    rows = tuple(Derivative(name, *map(float, row)) for name, *row in numbers)
    explained = float(shares.sum())
    return Linearised(rows, float(np.sqrt(explained) * y.std()), explained)


def share_alone(x: np.ndarray, y: np.ndarray) -> float:
    """V(E[y | x])/V(y) of draws (n,): between equally full bins of x, less what as many bins have of the rest alone."""
    bins = int(np.clip(len(y) // _IN_A_BIN, 2, _BINS))
    groups = np.array_split(y[np.argsort(x, kind="stable")], bins)
    within = sum(len(group) * group.var() for group in groups) / (len(y) - bins)
    return float(max(0.0, 1.0 - within * (len(y) - 1) / (len(y) * y.var())))


def _line(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Slopes of y (n,) over the columns of x (n, d), their errors, and the parts of the variance of y, each (d,)."""
    wide = x.std(axis=0)
    wide = np.where(wide > 0.0, wide, 1.0)
    z, lift = (x - x.mean(axis=0)) / wide, y - y.mean()
    inverse = np.linalg.pinv(z.T @ z)
    found = inverse @ (z.T @ lift)
    rest = lift - z @ found
    errors = np.sqrt(np.diagonal(inverse) * (rest @ rest) / (len(y) - x.shape[1] - 1))
    return found / wide, errors / wide, found * (z.T @ lift) / len(y)
