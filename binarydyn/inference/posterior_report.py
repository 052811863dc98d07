"""A posterior in numbers: intervals, correlation with the density, the line beta(rho), a table of densities."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..observables.averages import intervals
from .linearised import Linearised, propagated
from .posterior import Posterior

DENSITIES_KG_M3 = (1500.0, 2400.0, 3300.0)
_DENSITY = ("secondary.density_kg_m3", "secondary.mass_kg")
LEAST_SPREAD = 1e-3
"""Relative spread of the density below which neither a correlation nor a line means anything."""


def spread_of(values: np.ndarray) -> dict[str, float]:
    """Mean, standard deviation, median, 68 and 95 % of values (n,)."""
    return {"mean": float(values.mean()), "sigma": float(values.std())} | intervals(values)


def line_of_density(posterior: Posterior) -> dict[str, Any] | None:
    """Least squares beta = slope rho/2400 + offset over the draws, the scatter about it, and the middle 95 % of rho.

    None unless the secondary's density or mass is itself drawn, independently of all else: a density that follows the
    separation has a line of its own, which says nothing of another density at the same separation.
    """
    given, well = posterior.scenario.sampling, posterior.well
    drawn = [name for name in _DENSITY if name in posterior.inputs]
    correlated = {name for row in given.correlations for name in row[:2]} if given else set()
    x, y = posterior.density_kg_m3[well] / 2400.0, posterior.beta[well]
    if not drawn or correlated.intersection(drawn) or x.std() < LEAST_SPREAD * x.mean():
        return None
    slope, offset = np.polyfit(x, y, 1)
    scatter = float(np.std(y - slope * x - offset))
    return {
        "slope_at_2400_kg_m3": float(slope),
        "offset": float(offset),
        "scatter": scatter,
        "correlation_with_density": float(np.corrcoef(x, y)[0, 1]),
        "density_range_kg_m3": [float(rho) for rho in 2400.0 * np.quantile(x, [0.025, 0.975])],
    }


def report(posterior: Posterior) -> dict[str, Any]:
    """Everything that is printed, as plain data."""
    well, surrogate = posterior.well, posterior.surrogate
    names, counts = np.unique(posterior.status, return_counts=True)
    found: dict[str, Any] = {
        "period_change_s": posterior.change_s,
        "sigma_s": posterior.sigma_s,
        "draws": len(well),
        "draws_by_status": dict(zip(map(str, names), map(int, counts), strict=True)),
        "simulations": surrogate.runs,
        "simulations_left_out": surrogate.left_out,
        "simulations_chaotic": surrogate.chaotic_runs,
        "emulator_error_s": surrogate.error_s,
        "chaotic_error_s": surrogate.chaotic_error_s,
        "draws_near_chaotic": int(np.sum(posterior.near_chaotic & well)),
        "emulator_error_of_the_system": surrogate.pair_error,
        "along_track_dv_mm_s": spread_of(posterior.dv_mm_s[well]),
        "secondary_density_kg_m3": spread_of(posterior.density_kg_m3[well]),
        "beta": None,
    }
    if posterior.has_beta:
        found["beta"] = spread_of(posterior.beta[well])
        found["beta_by_name"] = {name: spread_of(values) for name, values in posterior.betas().items()}
        found["beta_of_density"] = line_of_density(posterior)
        found["beta_at_density"] = {f"{d:g}": spread_of(posterior.beta_at(d)) for d in DENSITIES_KG_M3}
        varied = [name for name, x in posterior.inputs.items() if x.std() > 0.0]
        found["correlation_of_beta"] = {
            name: float(np.corrcoef(posterior.inputs[name][well], posterior.beta[well])[0, 1]) for name in varied
        }
    found["linearised"] = _plain(propagated(posterior), "beta" if posterior.has_beta else "along_track_dv_mm_s")
    return found


def _plain(linear: Linearised | None, of: str) -> dict[str, Any] | None:
    if linear is None:
        return None
    names = {
        "at": "at",
        "sigma": "sigma",
        "derivative": "slope",
        "derivative_error": "slope_error",
        "contribution": "contribution",
        "share": "share",
        "share_by_itself": "share_by_itself",
    }
    rows = {row.name: {name: getattr(row, field) for name, field in names.items()} for row in linear.rows}
    return {"of": of, "sigma": linear.sigma, "explained": linear.explained, "inputs": rows}
