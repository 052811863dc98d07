"""What `timing` says of a fit of event times."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ...constants import DAY_S
from ...prediction.outcomes import OUTCOMES
from ...scenario.wording import CAUTION, counted
from ...terminal.tables import print_table
from ...timing.doubts import is_improbable
from ...timing.evidence import UNSTATED_SIGMA_S

if TYPE_CHECKING:
    from ...observing.event_times import TimingFit
    from ...timing.answer import Count, Fit

DIMMED = {"eclipse": "eclipsed", "occultation": "occulted", "both": "eclipsed and occulted"}
_ENDS = 6
"""First and last events that are printed."""


def timing_report(found: TimingFit) -> dict[str, Any]:
    """Everything that is printed, as plain data."""
    return {
        "scenario": found.scenario.name,
        "scenario_sha256": found.scenario.sha256,
        **_periods(found),
        **_change(found),
        **_orbit(found.fit),
        **_quality(found),
        "events": _events(found),
        "warnings": list(found.warnings),
        "caution": CAUTION,
    }


def _periods(found: TimingFit) -> dict[str, Any]:
    sides = {
        f"period_{side}{ending}": value(side)
        for side in ("before", "after")
        for ending, value in (("_h", found.fit.period_h), ("_sigma_s", found.fit.period_sigma_s))
    }
    return sides | {
        "period_change_s": found.fit.change_s,
        "period_change_sigma_s": found.change_sigma_s,
        "period_change_model_limit_s": found.fit.limit_s,
        "period_change_over_windows": _wander(found),
    }


def _wander(found: TimingFit) -> dict[str, float] | None:
    """Change in the windows of [simulation] less that in the window of the data, over simulated systems."""
    wander = found.reference.wander_s
    return wander and {"mean_s": wander[0], "sd_s": wander[1]}


def _over_windows(found: TimingFit) -> str:
    simulation, wander = found.scenario.simulation, found.reference.wander_s
    if wander is None:
        return "systems were not simulated"
    days = f"the {simulation.days_before:g} days before and {simulation.days_after:g} after the impact of [simulation]"
    return f"over {days}\nit is {wander[0]:+.3f} +- {wander[1]:.3f} s different in simulated systems"


def _change(found: TimingFit) -> dict[str, Any]:
    """Its intervals, and the mixture of Gaussians that it is."""
    whole = found.change
    return {
        "period_change_68_s": whole.interval(0.68),
        "period_change_95_s": whole.interval(0.95),
        "period_change_mixture_s": whole.as_dict(),
        "cycle_counts": [_count(one) for one in found.timing.counts],
        "cycle_count_is_certain": not found.timing.others,
    }


def _count(one: Count) -> dict[str, Any]:
    """chi2 there is with the pull of the priors, unlike that of the whole fit."""
    numbers = dict(vars(one))
    return numbers | {"chi2_with_priors": numbers.pop("chi2")}


def _orbit(fit: Fit) -> dict[str, Any]:
    """Where the secondary was at t0, the orbit on both sides of it, and how its mean motion drifts."""
    pairs = {
        "longitude_minus_nominal{}_deg": (math.degrees(part) for part in fit.of("longitude")),
        "eccentricity_after{}": fit.eccentricity_after,
        "eccentricity_before{}": fit.eccentricity_before,
        "apsidal_precession{}_deg_day": (math.degrees(part) * DAY_S for part in (fit.apsidal.mean, fit.apsidal.sigma)),
        "mean_motion_drift{}_deg_day2": (math.degrees(part) * DAY_S**2 for part in fit.of("drift")),
        "mean_motion_drift_alone{}_deg_day2": (math.degrees(part) * DAY_S**2 for part in fit.tried_drift_rad_s2),
    }
    told: dict[str, Any] = {}
    for name, (value, sigma) in pairs.items():
        told |= {name.format(""): value, name.format("_sigma"): sigma}
    told["longitude_minus_nominal_deg"] = math.remainder(told["longitude_minus_nominal_deg"], 360.0)
    return told


def _quality(found: TimingFit) -> dict[str, Any]:
    """What was fitted, how well, and what the noise is."""
    fit = found.fit
    return {
        "parameters": list(fit.values),
        "values": list(fit.values.values()),
        "covariance": fit.covariance.tolist(),
        "chi2": fit.chi2,
        "degrees_of_freedom": fit.degrees,
        "model_holds": not is_improbable(fit),
        "scatter_s": fit.scatter_s,
        "errors_scaled_by": fit.scale[0],
        "errors_scaled_by_sd": fit.scale[1],
        "night_error_s": fit.tau_s[0],
        "night_error_sd_s": fit.tau_s[1],
        "loss": "student" if found.robust else "gaussian",
        "outliers": fit.outliers,
    }


def _events(found: TimingFit) -> list[dict[str, Any]]:
    mids, fit = found.mids, found.fit
    names = ("mid_utc", "kind", "body", "cycle", "o_minus_c_s", "residual_s")
    numbers = (column.tolist() for column in (mids.kind, mids.body, turns(found), fit.before_s, fit.residual_s))
    rows = zip(found.sky.clock.utc(mids.seen_s), *numbers, strict=True)
    return [dict(zip(names, row, strict=True)) for row in rows]


def turns(found: TimingFit):
    """(n,) whole turns of the secondary since t0."""
    import numpy as np

    return np.floor((found.fit.counted_rad - found.fit.values["longitude"]) / (2.0 * np.pi)).astype(int)


def print_timing(found: TimingFit) -> None:
    fit, r = found.fit, timing_report(found)
    print(f"{found.scenario.name or 'scenario'} ({found.scenario.place}): {counted(len(found.mids), 'event')}")
    print_table(("", "unit", "value", "1 sigma"), _rows(found, r))
    low, high = ("{:+.3f} to {:+.3f} s".format(*r[f"period_change_{share}_s"]) for share in (68, 95))
    print(
        f"\nperiod change: 68 % {low}, 95 % {high}\n"
        f"of its uncertainty {fit.limit_s:.3f} s from shapes, pole and surface; {_over_windows(found)}\n"
        f"residual RMS {fit.scatter_s:.1f} s, chi2 {fit.chi2:.1f} for {fit.degrees} degrees of freedom\n"
        f"(events less longitude at t0 and both periods; the other parameters have priors)\n"
        f"noise: {fit.scale[0]:.2f} +- {fit.scale[1]:.2f} times {_the_sigma(fit)}, common to a night "
        f"{fit.tau_s[0]:.0f} +- {fit.tau_s[1]:.0f} s\n"
    )
    if found.timing.others:
        _print_counts(found)
    cells = [
        (
            e["mid_utc"][:19].replace("T", " "),
            f"{e['cycle']:+d}",
            f"{e['body']} {DIMMED[e['kind']]}",
            f"{e['o_minus_c_s'] / 60.0:+.2f}",
            f"{e['residual_s']:+.1f}",
        )
        for e in r["events"]
    ]
    if (left_out := len(cells) - 2 * _ENDS) > 1:
        more = (f"... ({left_out} more; --json has all)", "", "", "", "")
        cells = [*cells[:_ENDS], more, *cells[-_ENDS:]]
    print_table(("mid-time (UTC)", "cycle", "event", "O-C, min", "residual, s"), cells)
    print("O-C: relative to the pre-impact period, corrected for geometry and light time")
    for sentence in found.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def _the_sigma(fit) -> str:
    return "the stated sigma" if fit.stated else f"{UNSTATED_SIGMA_S:g} s (no sigma is stated)"


def _rows(found: TimingFit, r: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """Of the table of results."""
    change, precession = OUTCOMES["period_change_s"], OUTCOMES["apsidal_precession_after_deg_day"]
    drift = "mean_motion_drift{}_deg_day2"
    return [
        ("sidereal period before", "h", f"{r['period_before_h']:.6f}", f"{r['period_before_sigma_s']:.3f} s"),
        ("sidereal period after", "h", f"{r['period_after_h']:.6f}", f"{r['period_after_sigma_s']:.3f} s"),
        (change.label, change.unit, f"{found.fit.change_s:+.3f}", f"{found.change_sigma_s:.3f} s"),
        ("orbital longitude at t0 minus nominal", "deg", *_pair(r, "longitude_minus_nominal{}_deg", "+.4f")),
        ("eccentricity before", "", *_pair(r, "eccentricity_before{}", ".5f")),
        ("eccentricity after", "", *_pair(r, "eccentricity_after{}", ".5f")),
        (precession.long_name, precession.unit, *_pair(r, "apsidal_precession{}_deg_day", ".3f")),
        ("mean-motion drift rate", "deg/day2", *_pair(r, drift, ".2e")),
    ]


def _signed(one: Count) -> tuple[str, str]:
    return f"{one.change_s:+.2f}", f"{one.change_sigma_s:.2f} s"


def _print_counts(found: TimingFit) -> None:
    """The counts of cycles that the events allow."""
    rows = [
        (f"{one.weight:.3f}", *(f"{hours:.6f}" for hours in (one.period_before_h, one.period_after_h)), *_signed(one))
        for one in found.timing.counts[: 2 * _ENDS]
    ]
    print_table(
        ("probability", "period before, h", "period after, h", OUTCOMES["period_change_s"].label_with_unit, "1 sigma"),
        rows,
    )
    print()


def _pair(r: dict[str, Any], name: str, form: str) -> tuple[str, str]:
    return format(r[name.format("")], form), format(r[name.format("_sigma")], form.lstrip("+"))
