"""What a reader must know of a fit of event times: whether it holds, counts, noise, outliers, drift, in sentences."""

from __future__ import annotations

import math

from ..constants import DAY_S
from .answer import CERTAIN, Fit, Timing
from .evidence import UNSTATED_SIGMA_S

LEAST_P = 1e-6
"""Probability of a chi2 as high, below which the model does not hold the data."""
PLAIN = 3.0
"""Sigmas from which a drift or an ellipse before t0 is told."""
FEW = 20
"""Events without a stated sigma below which nothing but the periods is looked for."""
_TOO_LARGE, _TOO_SMALL = 0.7, 1.3
_MOST = 5


def doubts(found: Timing) -> tuple[str, ...]:
    """Sentences, those that matter most first."""
    fit = found.fit
    return (*_holds(found), *_counts(found), *_causes(fit), *_scale(fit), *_outliers(fit), *_terms(fit), *_limit(fit))


def is_improbable(fit: Fit) -> bool:
    """Whether chi2 with the sigmas as stated is too high for the model to hold the data."""
    from scipy.special import chdtrc

    return fit.stated and fit.outliers is None and float(chdtrc(max(fit.degrees, 1), fit.chi2)) < LEAST_P


def _holds(found: Timing) -> tuple[str, ...]:
    fit = found.fit
    if not is_improbable(fit):
        return ()
    return (
        f"this model does not hold these data: chi2 {fit.chi2:.0f} of {fit.degrees} degrees of freedom, which chance "
        f"makes less often than once in a million; sigmas are too small by {fit.scale[0]:.1f}, some times lie far off "
        "(--robust), or the motion is no ellipse that turns evenly (a tumbling secondary), and then the change is that "
        "of the window of the data alone",
    )


def _counts(found: Timing) -> tuple[str, ...]:
    if not found.others:
        return ()
    told = found.counts[:_MOST]
    said = ", ".join(f"{one.change_s:+.1f} +- {one.change_sigma_s:.1f} s ({100.0 * one.weight:.2g} %)" for one in told)
    more = f" and {len(found.counts) - _MOST} more" if len(found.counts) > _MOST else ""
    gap = max(found.gap_before_s, found.gap_after_s) / DAY_S
    return (
        f"the number of turns is not certain: {said}{more}, none with a probability of {CERTAIN:g}; the interval spans "
        f"them all; the longest gap is {gap:.1f} days, events within it would decide",
    )


def _scale(fit: Fit) -> tuple[str, ...]:
    scale, spread = fit.scale
    if not fit.stated:
        few = f"; with fewer than {FEW} events no drift or ellipse before the impact is told" if fit.count < FEW else ""
        return (f"no sigma_s is given: the scatter says {scale * UNSTATED_SIGMA_S:.0f} s for each time{few}",)
    if scale + 2.0 * spread < _TOO_LARGE:
        return (
            f"the mid-times scatter {scale:.2f} times as much as their stated sigma; the errors follow the scatter",
        )
    if scale - 2.0 * spread > _TOO_SMALL and not is_improbable(fit):
        return (
            f"the mid-times scatter {scale:.2f} times as much as their stated sigma; all errors are scaled by that",
        )
    return ()


def _causes(fit: Fit) -> tuple[str, ...]:
    if not fit.larger:
        return ()
    said = ", ".join(f"{name} ({factor:.0f} times)" for name, factor in fit.larger)
    return (
        f"what was timed lies off what is modelled by more than expected: {said}; the error is in the sigma, but check "
        "what was timed",
    )


def _outliers(fit: Fit) -> tuple[str, ...]:
    return (f"{fit.outliers} times lie more than 5 sigma off and weigh little",) if fit.outliers else ()


def _terms(fit: Fit) -> tuple[str, ...]:
    """A drift or an ellipse before t0 that stand out."""
    if not fit.stated and fit.count < FEW:
        return ()
    said = []
    drift, spread = fit.tried_drift_rad_s2
    if abs(drift) > PLAIN * spread:
        said.append(
            f"a drift of the mean motion of {math.degrees(drift) * DAY_S**2:+.2e} deg/day2 would fit better by "
            f"{abs(drift) / spread:.1f} sigma; one of physical size is in the errors"
        )
    e, spread = fit.eccentricity_before
    if e > PLAIN * spread:
        said.append(
            f"an ellipse before the impact stands out: e {e:.4f} +- {spread:.4f}, where a relaxed orbit has none"
        )
    return tuple(said)


def _limit(fit: Fit) -> tuple[str, ...]:
    if fit.limit_s**2 < 0.5 * fit.change_sigma_s**2:
        return ()
    return (
        f"of the error of the change {fit.limit_s:.2f} s come from what is not known of shapes, pole and surface: more "
        "times of this kind will not lower it",
    )
