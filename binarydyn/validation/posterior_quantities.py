"""What a reference case may compare of its posterior: medians, each with half of its 68 % interval as its spread."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..errors import InputError
from ..inference.posterior import Posterior
from ..kinds import sure
from ..scenario import Scenario
from .case import Case, Quantity


def aligned_beta(posterior: Posterior, density_kg_m3: float) -> np.ndarray:
    """(k,) betas of the draws that count if flight, ejecta and velocity change were along one line: |M2 dv_t| / (m
    U)."""
    brought = posterior.momentum_kg_m_s[posterior.well]
    mass = density_kg_m3 * posterior.volume_m3[posterior.well]
    return np.abs(1e-3 * posterior.dv_mm_s[posterior.well]) * mass / brought


def refuse_without_measurement(scenario: Scenario, quantity: str, place: str) -> None:
    """InputError where a posterior is asked of a case that measures nothing, or says nothing of its inputs."""
    needed: dict[str, object] = {"observed": scenario.observed, "sampling": scenario.sampling}
    if "beta" in quantity:
        needed["impactor"] = scenario.impactor
    for table, given in needed.items():
        if given is None:
            raise InputError(place, f"{quantity} needs [{table}], which the case does not give; add it")


def _of(values: Callable[[Posterior, float | None], np.ndarray], says: str, needs_given: str = "") -> Quantity:
    def spread(case: Case, given: float | None) -> float:
        low, high = np.quantile(values(case.posterior, given), [0.16, 0.84])
        return float(0.5 * (high - low))

    return Quantity(
        lambda case, given: float(np.median(values(case.posterior, given))), says, needs_given, spread=spread
    )


_AT = "density of the secondary, kg/m3"
POSTERIOR = {
    "posterior_dv_mm_s": _of(
        lambda posterior, _: posterior.dv_mm_s[posterior.well],
        "median velocity change along the track, from [observed]",
    ),
    "posterior_beta": _of(
        lambda posterior, _: posterior.beta[posterior.well], "median momentum enhancement, from [observed]"
    ),
    "posterior_beta_at": _of(
        lambda posterior, given: posterior.beta_at(sure(given)),
        "median momentum enhancement, from [observed], at a density of the secondary; at 0 the offset of its line",
        _AT,
    ),
    "posterior_aligned_beta_at": _of(
        lambda posterior, given: aligned_beta(posterior, sure(given)),
        "the same if flight, ejecta and velocity change were along one line",
        _AT,
    ),
}
"""By the names that reference cases use; `posterior_beta` and those at a density need an [impactor]."""
