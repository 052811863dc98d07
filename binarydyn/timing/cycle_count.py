"""How many turns lie between measured events, and which other counts fit them as well.

Trial rates are scanned for those at which the longitudes less the turning stay together (largest mean cosine),
before t0 with a free phase, after it with the phase of before.  Each such rate is a count of turns and is fitted in
full (fit.py); those that fit as well within the noise are told, since data with gaps cannot tell them apart: over a
gap the count is safe where the period's sigma times the turns in it is well below the period.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError
from .fit import fitted, sides_of
from .mid_times import Readings
from .terms import TURN, Fit, Foreknown

REACH_BEFORE, REACH_AFTER = 0.01, 0.2
"""How far from the expected period counts are looked for, relative: before t0 it is known, after it the impact
decides."""
AS_GOOD_CHI2 = 9.0
"""A count whose chi2, scaled to the scatter, is no more above the best: three sigma of one number."""
DISAGREEMENT = 0.03
"""Scatter about the best fit, in periods (1.48 times the median), from which no count is right: chance makes 0.3."""
_STEP_RAD = 0.25
_LESS_TOGETHER = 0.1
_MOST = (4, 6)
_BLOCK = 4096


@dataclass(frozen=True)
class Timing:
    """The best fit, the fits with other counts that are as good, and the longest gap between events on either side."""

    fit: Fit
    others: tuple[Fit, ...]
    gap_before_s: float
    gap_after_s: float


def timing(
    seen: Readings,
    sigma_s: np.ndarray | None,
    expected: Foreknown,
    loss: str = "linear",
    reach: tuple[float, float] = (REACH_BEFORE, REACH_AFTER),
) -> Timing:
    """Count and fit.  Events in the order of time, t0 between some of them.

    InputError as in fit.fitted, and where no count makes the times agree."""
    after = sides_of(seen)
    rate = TURN / (expected.period_h * HOUR_S)
    sides = [(seen.time_s[s], seen.longitude_rad[s]) for s in (~after, after)]
    fits: dict[bytes, Fit] = {}
    for first, start in _trials(*sides[0], rate, reach[0], None)[: _MOST[0]]:
        for second, _ in _trials(*sides[1], rate, reach[1], start)[: _MOST[1]]:
            line = start + np.where(after, second, first) * seen.time_s
            turns = np.round((line - seen.longitude_rad) / TURN)
            turns -= turns[0]
            if turns.tobytes() not in fits:
                fits[turns.tobytes()] = fitted(seen, seen.longitude_rad + TURN * turns, sigma_s, expected, loss)
    ranked = sorted(fits.values(), key=lambda fit: fit.chi2)
    best = ranked[0]
    _refuse_disagreement(best, expected, reach)
    as_good = tuple(fit for fit in ranked[1:] if fit.chi2 - best.chi2 < AS_GOOD_CHI2 * best.factor**2)
    gaps = [float(np.diff(np.sort(np.append(time, 0.0))).max()) for time, _ in sides]
    return Timing(best, as_good, *gaps)


def _refuse_disagreement(best: Fit, expected: Foreknown, reach: tuple[float, float]) -> None:
    scatter = 1.4826 * float(np.median(np.abs(best.residual_s)))
    if scatter > DISAGREEMENT * expected.period_h * HOUR_S:
        before, after = (100.0 * part for part in reach)
        raise ArgumentError(
            "events",
            f"the times scatter by {scatter:.0f} s about the best fit, allowed are {100.0 * DISAGREEMENT:g} % of the "
            f"period: none within {before:g} % of {expected.period_h:g} h before and {after:g} % after the impact "
            "joins them; check mutual_orbit.period_h, impact_epoch_utc, kinds and bodies",
        )


def _trials(time: np.ndarray, longitude: np.ndarray, rate: float, reach: float, start: float | None):
    """Rates, with the longitude at t0, at which the events stay together, the best first."""
    half = max(2, int(np.ceil(reach * rate * np.abs(time).max() / _STEP_RAD)))
    rates = rate * (1.0 + reach * np.arange(-half - 1, half + 2) / half)
    together = np.concatenate(
        [
            np.exp(1j * (longitude - part[:, None] * time)).mean(axis=1)
            for part in np.array_split(rates, len(rates) // _BLOCK + 1)
        ]
    )
    height = np.abs(together) if start is None else np.real(together * np.exp(-1j * start))
    inner = np.flatnonzero((height[1:-1] >= height[:-2]) & (height[1:-1] > height[2:])) + 1
    found = []
    for i in inner if len(inner) else [int(np.argmax(height))]:
        bend = height[i - 1] - 2.0 * height[i] + height[i + 1] if 0 < i < len(height) - 1 else 0.0
        shift = 0.5 * (height[i - 1] - height[i + 1]) / bend if bend else 0.0
        best = rates[i] + shift * (rates[1] - rates[0])
        mean = np.exp(1j * (longitude - best * time)).mean()
        where = float(np.angle(mean)) if start is None else start
        found.append((float(np.real(mean * np.exp(-1j * where))), float(best), where))
    found.sort(reverse=True)
    return [(best, where) for top, best, where in found if top > found[0][0] - _LESS_TOGETHER]
