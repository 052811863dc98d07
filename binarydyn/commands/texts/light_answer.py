"""What `reconstruct --light` says of measured light."""

from __future__ import annotations

import math
from typing import Any

from ...constants import DAY_S, HOUR_S
from ...prediction.outcomes import OUTCOMES
from ...reconstruction.answers.shapes import CHANGE
from ...reconstruction.light_fit import LightAnswer
from ...scenario.wording import CAUTION, counted, rounded
from ...terminal.tables import print_table


def light_report(found: LightAnswer) -> dict[str, Any]:
    """Everything that is printed, as plain data."""
    fit, size = found.fit, found.fit.size
    change, error = fit.change_s()
    law, law_sigma = fit.law
    return {
        "scenario": found.scenario.name,
        "scenario_sha256": found.scenario.sha256,
        "points": len(fit.data.light.light),
        "zero_points": int(fit.data.light.light.zero_point.max()) + 1,
        "events": 0 if fit.data.events is None else len(fit.data.events.observed_s),
        "left_out": found.left_out,
        "horizon_days": found.horizon_s / DAY_S,
        "period_change_s": change,
        "period_change_sigma_s": error,
        "unknowns": {
            name: {"value": value, "sigma": sigma, "sigma_before": None if math.isinf(before) else before}
            for name, (value, sigma, before) in found.rows.items()
        },
        "lambert_share": law,
        "lambert_share_sigma": law_sigma,
        "errors_scaled_by": size.scale,
        "red_noise_mag": size.amplitude_mag,
        "red_noise_minutes": size.time_s * 60.0 / HOUR_S,
        "chi2_per_dof": fit.chi2_per_dof,
        "warnings": list(found.warnings),
        "caution": CAUTION,
    }


def print_light_answer(found: LightAnswer) -> None:
    """For a reader."""
    told = light_report(found)
    change = OUTCOMES[CHANGE]
    data = counted(told["points"], "point") + (f" and {counted(told['events'], 'event')}" if told["events"] else "")
    print(
        f"{found.scenario.name or 'scenario'} ({found.scenario.place}): {data}, "
        f"{counted(told['zero_points'], 'zero point')}\n"
        f"{change.label} {told[CHANGE]:+.2f} +- {rounded(told['period_change_sigma_s'], 2)} {change.unit}, "
        "in the window of the data\n"
    )
    print_table(("", "value", "1 sigma", "1 sigma before"), [_row(name, *row) for name, row in found.rows.items()])
    red = f", red {told['red_noise_mag']:.4f} mag over {told['red_noise_minutes']:.0f} minutes"
    print(
        f"\nnoise: {told['errors_scaled_by']:.2f} times the sigma{red if told['red_noise_mag'] else ''}; "
        f"chi2 {told['chi2_per_dof']:.2f} per degree of freedom\n"
        f"scattering law: {told['lambert_share']:.2f} +- {told['lambert_share_sigma']:.2f} of Lambert's, the rest "
        "Lommel-Seeliger's; errors are those of one Gaussian about the fit, too small for beta and "
        "the secondary's axes, which have other minima"
    )
    for sentence in found.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def _row(name: str, value: float, sigma: float, before: float) -> tuple[str, ...]:
    """Digits by the sigma."""
    digits = max(0, 2 - math.ceil(math.log10(sigma))) if sigma > 0.0 else 6
    return name, f"{value:.{digits}f}", rounded(sigma, 2), "flat" if math.isinf(before) else rounded(before, 2)
