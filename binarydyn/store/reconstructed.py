"""What happened to a pair, from measured times and light, as a table of weighted draws with all that is told of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import ArgumentError
from ..files.whole import image, put
from ..kinds import WHOLE, takes
from ..lazy import Lazy
from ..notebook import Displayed, library
from ..observables.averages import INTERVALS
from ..observing.nights import first_midnight_s
from ..observing.reference import sky_and_start
from ..photometry.measured_light import MeasuredLight
from ..prediction.outcomes import OUTCOMES
from ..reconstruction.answers.shapes import CHANGE
from ..reconstruction.answers.told import Reconstruction
from ..reconstruction.answers.weighing import (
    Combination,
    combinations_of,
    correlations_with,
    gaussian_spread,
    weighted_quantiles,
    weighted_spread,
)
from ..reconstruction.light_fit import found_in_light, lambert_share
from ..reconstruction.posterior import found_in
from ..reconstruction.together import JointNoise
from ..scenario import Scenario
from ..sky.geometry import Sky
from ..timing.mid_times import MidTimes
from .groups import Column, write_group
from .measured_light import read_light
from .mid_times import read_mid_times
from .provenance import attributes
from .result import Result, refuse_other_kinds

if TYPE_CHECKING:
    import pandas

KIND = "reconstruction"
DRAWS = 400
"""Weighted ones: the ends of an interval of 95 % are then good to a tenth of the sigma."""
WEIGHT = "weight"


@dataclass(frozen=True, eq=False, repr=False)
class Reconstructed(Lazy, Displayed):
    """What `reconstruct` returns, and `open` of its file; n weighted draws.

    columns: arrays (n,) by name: weight (they sum to 1), unknowns in the unit of their name, and what follows; nan
    where a draw weighs nothing or something is not defined.  times: arrays (m,) of the events: observed_s, at the
    system from t0, what the draws foretell (median_s, low_68_s ..), sigma_s.  light: arrays (k,) of its points: time_s,
    magnitude_mag, centred over each zero point, sigma_mag without red noise, and what is foretold (median_mag ..), but
    for what is not known of the surfaces; empty where there is none.  prior_sd, fisher_sd: by name, of each
    unknown before the data (inf: flat), and of everything were all linear.  summary: what holds for all.
    """

    scenario: Scenario
    columns: Mapping[str, np.ndarray]
    times: Mapping[str, np.ndarray]
    light: Mapping[str, np.ndarray]
    prior_sd: Mapping[str, float]
    fisher_sd: Mapping[str, float]
    summary: Mapping[str, Any]
    warnings: tuple[str, ...]

    @classmethod
    def of(cls, done: Reconstruction) -> Reconstructed:
        """All that is kept."""
        found, fisher = done.found, done.fisher
        prior = {one.name: float(one.prior_sigma) for one in found.data.unknowns.each}
        columns = {WEIGHT: done.weight, **done.columns}
        fisher_sd = {name: sigma for name, (_, sigma) in fisher.items()}
        return cls(done.scenario, columns, _times(done), _light(done), prior, fisher_sd, _summary(done), done.warnings)

    def __len__(self) -> int:
        return len(self.weight)

    @property
    def weight(self) -> np.ndarray:
        """(n,) of the draws."""
        return self.columns[WEIGHT]

    @property
    def status(self) -> str:
        """`completed`, or `too_few_draws`, and then only the interval of the period change is told."""
        return self.summary["status"]

    @property
    def intervals(self) -> dict[str, dict[str, float]]:
        """Of everything by name: mean, sigma, median, low_68, high_68, low_95, high_95."""
        if self.status != "completed":
            return {CHANGE: gaussian_spread(self.summary["fitted_change_s"], self.fisher_sd[CHANGE])}
        told = {name: weighted_spread(values, self.weight) for name, values in self.columns.items() if name != WEIGHT}
        return {name: one for name, one in told.items() if one is not None}

    @property
    def open_combinations(self) -> tuple[Combination, ...]:
        """Of the unknowns with priors, in units of their sigmas, the least known first."""
        known = [name for name, sd in self.prior_sd.items() if np.isfinite(sd)]
        if not known:
            return ()
        u = np.column_stack([self.columns[name] / self.prior_sd[name] for name in known])
        return combinations_of(u, self.weight, tuple(known))

    @property
    def impulse(self) -> str | None:
        """Name of the unknown that scales the impact."""
        return self.summary["impulse"] or None

    @property
    def correlations(self) -> dict[str, float]:
        """Of what scales the impact with every other unknown, the strongest first."""
        if not self.impulse:
            return {}
        return correlations_with(self.impulse, {name: self.columns[name] for name in self.prior_sd}, self.weight)

    @property
    def df(self) -> pandas.DataFrame:
        """A pandas table, one draw a row, index `draw`."""
        pandas = library("pandas", "df")
        return pandas.DataFrame(dict(self.columns)).rename_axis("draw")

    def unweighted(self, count: int = 1000, seed: int = 0) -> dict[str, np.ndarray]:
        """Arrays (count,) by name of draws of equal weight."""
        at = (np.arange(count) + np.random.default_rng(seed).random()) / count
        places = np.minimum(np.searchsorted(np.cumsum(self.weight), at), len(self) - 1)
        return {name: values[places] for name, values in self.columns.items() if name != WEIGHT}

    def to_inference_data(self, count: int = 1000, seed: int = 0) -> Any:
        """An InferenceData of ArviZ: `count` draws of equal weight (posterior, one chain) and what was measured.

        InputError where ArviZ is not installed.
        """
        arviz = library("arviz", "to_inference_data")
        draws = {name: values[None] for name, values in self.unweighted(count, seed).items()}
        measured = {"time_s": self.times["observed_s"], "magnitude_mag": self.light.get("magnitude_mag", ())}
        observed = {name: np.asarray(values) for name, values in measured.items() if len(values)}
        return arviz.from_dict(posterior=draws, observed_data=observed)

    def _line(self) -> str:
        change = self.intervals[CHANGE]
        row = OUTCOMES[CHANGE]
        said = f"{row.label} {change['mean']:+.2f} +- {change['sigma']:.2f} {row.unit}"
        return f"{len(self)} draws, {self.summary['effective_draws']:.0f} effective: {said}"

    def _facts(self) -> dict[str, Any]:
        form = "{median:.6g} (68 %: {low_68:.6g} .. {high_68:.6g}; 95 %: {low_95:.6g} .. {high_95:.6g})"
        return {name: form.format(**one) for name, one in self.intervals.items()}


@takes(scenario="Scenario", draws=WHOLE, seed=WHOLE)
def reconstruct(
    scenario: Scenario,
    times: str | PathLike | MidTimes | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    robust: bool = False,
    beta_at_least: float | None = None,
    light: str | PathLike | MeasuredLight | None = None,
) -> Reconstructed:
    """What happened to a pair, from measured event times or light: the full two-body motion held against them.

    Parameters
    ----------
    scenario : with an impact, the place of the system, and what is uncertain in [sampling] (usual errors without it).
    times : a table of event times (CSV, as `timing` reads it), or what `timing.mid_times.MidTimes` holds.
    draws : weighted draws of the result, 50 to 100 000.
    seed : of all that is drawn.
    robust : errors of Student's t, for tables in which some times lie far off.
    beta_at_least : beta is known not to be less; None: nothing is known.
    light : a table of measured light (CSV, see README), beside times or alone; ellipsoids only, no `robust`.

    Returns
    -------
    Reconstructed: weighted draws of the impulse (beta, or the velocity change), sizes, separation, eccentricity,
    libration, apsidal rate and period change.  Research estimates, no hazard decision.

    Raises
    ------
    InputError for a table or scenario that cannot be used, ConvergenceError where no motion shows the events.
    """
    if times is None and light is None:
        raise ArgumentError("times", "neither times nor light are given, one of them is needed; give a table")
    if light is not None and robust:
        raise ArgumentError("robust", "it is given with light, allowed is it for times alone; leave one out")
    mids = times if times is None or isinstance(times, MidTimes) else _read(scenario, times)
    bounds = (-np.inf if beta_at_least is None else beta_at_least, np.inf)
    if light is None:
        assert mids is not None
        return Reconstructed.of(Reconstruction(scenario, found_in(scenario, mids, draws, seed, robust, bounds)))
    measured = light if isinstance(light, MeasuredLight) else _read_light(scenario, light)
    return Reconstructed.of(Reconstruction(scenario, found_in_light(scenario, measured, mids, draws, seed, bounds)))


def _read_light(scenario: Scenario, path: str | PathLike) -> MeasuredLight:
    sky = Sky.of(scenario)
    return read_light(str(path), sky, first_midnight_s(scenario, sky))


def _read(scenario: Scenario, path: str | PathLike) -> MidTimes:
    sky, begun = sky_and_start(scenario)
    return read_mid_times(str(path), sky.clock, begun.period_h, first_midnight_s(scenario, sky))


def _times(done: Reconstruction) -> dict[str, np.ndarray]:
    events, node = done.found.data.events, done.found.grid.best
    count = 0 if events is None else len(events.observed_s)
    first = slice(0, count)
    sigma = np.sqrt(node.noise.own_variance(node.scale)[first] + node.tau_s**2)
    return {"observed_s": done.found.data.observed[first], "sigma_s": sigma} | _bands(done, first, "s")


def _light(done: Reconstruction) -> dict[str, np.ndarray]:
    light, noise = done.found.data.light, done.found.grid.best.noise
    if light is None or not isinstance(noise, JointNoise):
        return {}
    points = slice(len(done.found.data.observed) - len(light.light), None)
    told = {"time_s": light.light.time_s, "magnitude_mag": light.observed}
    return told | {"sigma_mag": noise.size.scale * light.light.sigma_mag} | _bands(done, points, "mag")


def _bands(done: Reconstruction, which: slice, unit: str) -> dict[str, np.ndarray]:
    """What the draws foretell of some of the data."""
    found = done.found
    foretold = (found.data.observed + found.grid.best.later - found.weighted.late)[:, which]
    shares = list(INTERVALS.values())
    bands = [weighted_quantiles(column, done.weight, shares) for column in foretold.T]
    named = np.reshape(bands, (-1, len(shares))).T
    return {f"{name}_{unit}": values for name, values in zip(INTERVALS, named, strict=True)}


def _summary(done: Reconstruction) -> dict[str, Any]:
    found, alone = done.found, done.by_change_alone
    change = done.fisher[CHANGE][0]
    before, after = found.data.motion.days
    return {
        "status": "too_few_draws" if done.why_not else "completed",
        "reason": done.why_not,
        "impulse": done.impulse or "",
        "fitted_change_s": change,
        "impulse_by_change_alone": alone["mean"] if alone else None,
        "impulse_by_change_alone_sd": alone["sigma"] if alone else None,
        "effective_draws": done.effective,
        "k_hat": done.k_hat,
        "draws_of_rough_unknowns": float(len(found.draws.ln)),
        "runs": float(found.conditional.runs + len(found.weighted.ln_weight)),
        "events_used": 0.0 if found.data.events is None else float(len(found.data.events.observed_s)),
        "data_beyond_horizon": float(found.left_out),
        "horizon_days": found.horizon_s / DAY_S if np.isfinite(found.horizon_s) else None,
        "window_before_days": before,
        "window_after_days": after,
        "chi2": float(done.weight @ np.nan_to_num(done.chi2)),
        "degrees_of_freedom": done.degrees,
        "posterior_predictive_p": done.predictive_p,
        "errors_scaled_by": found.grid.moments("scale")[0],
        "night_error_s": found.grid.moments("tau_s")[0],
        **_of_light(done),
    }


def _of_light(done: Reconstruction) -> dict[str, Any]:
    light, noise = done.found.data.light, done.found.grid.best.noise
    if light is None or not isinstance(noise, JointNoise):
        return {}
    share, error = lambert_share(done.found)
    return {
        "points": float(len(light.light)),
        "zero_points": float(light.light.zero_point.max() + 1),
        "lambert_share": share,
        "lambert_share_sd": error,
        "points_scaled_by": noise.size.scale,
        "red_noise_mag": noise.size.amplitude_mag,
        "red_noise_minutes": noise.size.time_s * 60.0 / HOUR_S,
    }


def stored_reconstructed(result: Result) -> Reconstructed:
    """The draws in a file."""
    return Reconstructed.lazily(
        scenario=lambda: result.scenario,
        columns=lambda: result.draws("draws"),
        times=lambda: result.draws("times"),
        light=lambda: result.draws("light"),
        prior_sd=lambda: result.plain("prior_sd", KIND),
        fisher_sd=lambda: result.plain("fisher_sd", KIND),
        summary=lambda: result.plain("summary", KIND),
        warnings=lambda: result.warnings,
    )


def write_reconstructed(path: str | Path, found: Reconstructed) -> None:
    """Write draws, in place of older ones of that name.  InputError where it cannot."""
    check_reconstructed_target(path)
    sentences = list(found.warnings)
    warnings = {
        "number": Column.of("number", np.arange(len(sentences)), "number"),
        "warning": Column.of("warning", sentences, "number"),
    }

    def fill(file) -> None:
        file.attrs.update(attributes(found.scenario, KIND))
        for group, columns in (("draws", found.columns), ("times", found.times), ("light", found.light)):
            count = len(next(iter(columns.values()), ()))
            number = {"number": Column.of("number", np.arange(count), "number")}
            write_group(file, group, number | {name: Column(("number",), v) for name, v in columns.items()})
        for group, plain in (("prior_sd", found.prior_sd), ("fisher_sd", found.fisher_sd), ("summary", found.summary)):
            write_group(file, group, {name: Column.of(name, value) for name, value in plain.items()})
        write_group(file, "warnings", warnings)

    put(Path(path), image(fill))


def check_reconstructed_target(path: str | Path) -> None:
    """InputError, before anything is computed, where draws could not be written, or would replace other work."""
    refuse_other_kinds(path, KIND, "a reconstruction")
