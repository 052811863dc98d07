"""Ten nights of light of drawn pairs, and the dips that the very same photons show.

A truth is the invented pair, with sizes, separation, pole and an eccentricity before the hit drawn from the priors of
what is unknown, beta evenly about the nominal one.  Its light is summed over facets; errors are drawn here.  A dip is
timed by the best there is: its true shape, shifted, with its depth and the night's zero point free and the covariance
of the errors known, so that no dip could be timed better from these points.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from binarydyn.constants import DAY_S
from binarydyn.observing.light_curve import Surface
from binarydyn.observing.synthetic_light import Photometer, synthesised_light
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.photometry.measured_light import MAG_OF_SHARE, MeasuredLight
from binarydyn.photometry.red_noise import red_noise
from binarydyn.reconstruction.light import LightModel
from binarydyn.reconstruction.runs import GuessedMotion
from binarydyn.reconstruction.unknowns import FREE_MODES, TURNS, Unknowns
from binarydyn.scenario import Scenario, example, varied
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.timing.mid_times import MidTimes, nights_of

SEED = 72210
"""Of the truths and their errors; drawn once, before any was fitted."""
DAYS, STEP_MINUTES, FACETS = 5.0, 1.6, 2000
WHITE_MAG, RED_MAG, RED_S, ZERO_MAG = 0.01, 0.005, 1800.0, 0.05
BETA, BOUNDS = "momentum_transfer.beta", (0.7, 1.25)
WORST_S = 300.0
"""Dips that are timed worse than that nobody times."""
_NONE = Photometer(STEP_MINUTES, 1e-5, zero_point_mag=0.0)


@dataclass(frozen=True)
class Truth:
    """The scenario, its unknowns by name, its light with errors, and the dips of that light."""

    scenario: Scenario
    values: dict[str, float]
    light: MeasuredLight
    dips: MidTimes


def truth(number: int) -> Truth:
    """Errors: those of the package where a truth cannot be simulated."""
    random = np.random.default_rng([SEED, number])
    pair = example()
    asked = Unknowns.of(pair)
    u = np.where(np.isfinite(asked.prior_sigma_u), asked.prior_sigma_u, 0.0) * random.standard_normal(len(asked.names))
    i = asked.index(BETA)
    low, high = (share * asked.centre[i] for share in BOUNDS)
    u[i] = (random.uniform(low, high) - asked.centre[i]) / asked.scale[i]
    values = dict(zip(asked.names, asked.value(u[None])[0].tolist(), strict=True))
    inputs, _ = GuessedMotion(pair, asked.without(*FREE_MODES), (1.0, 1.0)).inputs(
        asked.without(*FREE_MODES).value(u[[name not in FREE_MODES for name in asked.names]][None])
    )
    changes = {key: float(column[0]) for key, column in inputs.columns.items() if key not in TURNS}
    size, angle = math.hypot(values["e_cos"], values["e_sin"]), math.atan2(values["e_sin"], values["e_cos"])
    changes |= {"mutual_orbit.eccentricity": size, "mutual_orbit.pericentre_deg": math.degrees(angle) % 360.0}
    return observed(varied(pair, changes), values, random)


def observed(scenario: Scenario, values: dict[str, float], random) -> Truth:
    exact = synthesised_light(scenario, -DAYS, 2.0 * DAYS, _NONE, Surface(facets=FACETS), 0)
    errors = red_noise(exact.time_s, exact.run, RED_MAG, RED_S, random) + WHITE_MAG * random.standard_normal(len(exact))
    errors = errors + ZERO_MAG * random.standard_normal(exact.zero_point.max() + 1)[exact.zero_point]
    light = replace(exact.moved(errors), sigma_mag=np.full(len(exact), WHITE_MAG))
    return Truth(scenario, values, light, dips_of(scenario, exact, errors))


def dips_of(scenario: Scenario, exact: MeasuredLight, errors: np.ndarray) -> MidTimes:
    """Centroids of the dips that lie whole within a night, with their errors."""
    mids = synthesised(scenario, DAYS, Observing(noise_s=0.0), 0)
    sight = Sight(Sky.of(scenario), -DAYS * DAY_S - 2e4, DAYS * DAY_S + 2e4)
    time, names = sight.left_s(mids.seen_s), ("primary", "secondary")
    model = LightModel.of(scenario, exact, workers=1)
    light = model.pair_light(model.motion.runs(np.zeros((1, len(model.unknowns.names)))))
    whole, taken = light.whole_m2[0, :, :, 0].sum(axis=1), light.missing_m2[0, :, :, 0]
    kept, late, sigma = [], [], []
    for night in range(exact.run.max() + 1):
        at = np.flatnonzero(exact.run == night)
        at = at[np.argsort(exact.time_s[at])]
        shown = []
        for k in np.flatnonzero((time > exact.time_s[at[0]]) & (time < exact.time_s[at[-1]])):
            some = _stretch(taken[at, names.index(mids.body[k])], exact.time_s[at], time[k])
            if some is not None:
                shown.append((k, MAG_OF_SHARE * np.where(some, taken[at, names.index(mids.body[k])] / whole[at], 0.0)))
        if shown:
            moved, error = _shifts(exact.time_s[at], [shape for _, shape in shown], errors[at])
            kept += [k for k, _ in shown]
            late, sigma = [*late, *moved], [*sigma, *error]
    good = np.array(sigma) < WORST_S
    chosen = mids.chosen(np.array(kept)[good])
    seen = chosen.seen_s + np.array(late)[good]
    return replace(chosen, seen_s=seen, sigma_s=np.array(sigma)[good], group=nights_of(seen)).sorted()


def _stretch(taken: np.ndarray, time_s: np.ndarray, middle_s: float) -> np.ndarray | None:
    """(m,) which points of a night belong to the dip about an instant; None where it is not whole or another's too."""
    dark = taken > 0.0
    place = int(np.argmin(np.abs(time_s - middle_s)))
    if not dark[place]:
        return None
    begin, end = place, place
    while begin > 0 and dark[begin - 1]:
        begin -= 1
    while end < len(dark) - 1 and dark[end + 1]:
        end += 1
    if begin < 3 or end > len(dark) - 4:
        return None
    number = np.arange(len(dark))
    return (number >= begin) & (number <= end)


def _shifts(time_s: np.ndarray, shapes: list[np.ndarray], errors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How late each dip of a night appears by the errors, s, and one sigma of it; zero point and depths free."""
    apart = np.abs(time_s[:, None] - time_s)
    covariance = WHITE_MAG**2 * np.eye(len(time_s)) + RED_MAG**2 * np.exp(-apart / RED_S)
    columns = [np.ones(len(time_s))]
    for shape in shapes:
        columns += [shape, -np.gradient(shape, time_s)]
    matrix = np.column_stack(columns)
    told = np.linalg.solve(covariance, matrix)
    found = np.linalg.inv(matrix.T @ told)
    return (found @ (told.T @ errors))[2::2], np.sqrt(np.diag(found)[2::2])
