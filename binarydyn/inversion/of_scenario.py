"""Published numbers of a scenario's pair: which may be given, what is unknown, and what the motion makes of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..constants import DAY_S
from ..errors import ArgumentError, ConvergenceError, InputError
from ..reconstruction.horizon import horizon_s
from ..reconstruction.posterior import DRAWS
from ..reconstruction.runs import GuessedMotion
from ..reconstruction.unknowns import PERIOD, POLE_KEYS, TURNS, Unknown, Unknowns
from ..scenario import Scenario
from ..scenario.nearest import nearest
from ..scenario.tables.sampling import check_seed
from .guessed_numbers import FOLLOWING, MEASURABLE, MotionNumbers
from .joint import JointInversion, jointly_inverted
from .published import Published

USUAL_SIGMAS = {
    "period_before_h": 1e-4,
    "period_after_h": 1e-4,
    "eccentricity_before": 0.003,
    "eccentricity_after": 0.003,
    "apsidal_precession_after_deg_day": 0.1,
    "libration_amplitude_after_deg": 1.0,
    "libration_period_after_h": 0.1,
    "separation_before_m": 5.0,
    "primary_density_kg_m3": 50.0,
}
"""One sigma of numbers that could be measured, where a table plans none: as good as campaigns of photometry, radar and
a visit get (from memory).  Semi-axes are measured to AXIS_SIGMA_M."""
AXIS_SIGMA_M = 1.0
_LOOSE = 10.0
"""Sigmas of a published number to which its own unknown is held where [sampling] does not draw it."""


def inverted_of(
    scenario: Scenario, published: Published, draws: int = 400, seed: int = 0, workers: int | None = None
) -> JointInversion:
    """Published numbers of a pair to what happened; outcomes are those of the windows of [simulation].

    Errors: InputError for unknown names and scenarios that have no impact, ArgumentError for wrong counts,
    ConvergenceError where no regular motion has the numbers, or where they do not tell an unknown without a prior.
    """
    low, high = DRAWS
    if not low <= draws <= high:
        raise ArgumentError("draws", f"{draws} is given, allowed is {low} .. {high}; change it")
    check_seed(seed)
    asked = unknowns_beside(scenario, published)
    check_names(published, asked)
    published = published if published.planned else replace(published, planned=_usual(published, asked))
    days = scenario.simulation.days_before, scenario.simulation.days_after
    numbers = MotionNumbers(GuessedMotion(scenario, asked, days, workers=workers))
    found = jointly_inverted(numbers, published, FOLLOWING, draws, seed)
    horizon = horizon_s(numbers.motion, found.reference.u)
    if np.isfinite(horizon):
        raise ConvergenceError(
            f"neighbouring trajectories part {horizon / DAY_S:.1f} days after the impact, within "
            f"the window of {days[1]:g} days; nothing is claimed of it, give a shorter days_after in [simulation]"
        )
    return found


def unknowns_beside(scenario: Scenario, published: Published) -> Unknowns:
    """Those of the scenario that numbers of the motion depend on: no lines of sight; a free libration where a number
    about libration is given.

    Unknowns with a prior count as rough, since sizes of an eccentricity or a swing are not linear in its components.  A
    published number that is an unknown itself takes the place of the usual error, but stands beside one of [sampling].
    """
    names = (*published.names, *published.planned)
    whole = Unknowns.of(scenario, libration=any("libration" in name for name in names))
    kept = [k for k, name in enumerate(whole.names) if name not in (*TURNS, *POLE_KEYS)]
    correlation = (whole.mixing @ whole.mixing.T)[np.ix_(kept, kept)]
    each = [_loosened(whole.each[k], published) for k in kept]
    smooth = [replace(one, smooth=not np.isfinite(one.prior_sigma) or one.name == PERIOD) for one in each]
    return Unknowns(tuple(smooth), np.linalg.cholesky(correlation))


def _loosened(one: Unknown, published: Published) -> Unknown:
    if one.name not in published.names or one.distribution or not np.isfinite(one.prior_sigma):
        return one
    k = published.names.index(one.name)
    return Unknown.normal(one.name, float(published.values[k]), _LOOSE * float(published.sigma[k]))


def check_names(published: Published, unknowns: Unknowns) -> None:
    """InputError for a name that is neither an outcome that may be published nor an unknown."""
    allowed = (*MEASURABLE, *unknowns.names)
    for name in (*published.names, *published.planned):
        if name not in allowed:
            close = nearest(name, allowed)
            hint = f"did you mean {close}?" if close else f"allowed are outcomes such as {MEASURABLE[0]}"
            raise InputError(
                f"{published.place}: {name}",
                f"it is no outcome that may be published and not unknown here ({', '.join(unknowns.names)}); {hint}",
            )


def _usual(published: Published, unknowns: Unknowns) -> dict[str, float]:
    """Numbers that could be measured, with usual sigmas."""
    axes = [name for name in unknowns.names if ".semi_axes_m." in name]
    every = USUAL_SIGMAS | dict.fromkeys(axes, AXIS_SIGMA_M)
    return {name: sigma for name, sigma in every.items() if name not in published.names}
