"""What `reconstruct` says of weighted draws."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ...plots.words import label_of
from ...reconstruction.answers.shapes import CHANGE, CHANGE_AT_LENGTH, SHAPES
from ...scenario.wording import CAUTION, counted, rounded
from ...terminal.tables import print_table
from ...units import printed_unit_of

if TYPE_CHECKING:
    from ...store.reconstructed import Reconstructed

_COMBINATIONS, _CORRELATED = 3, 4
_FIRST = (CHANGE, CHANGE_AT_LENGTH, "along_track_dv_mm_s", *SHAPES[:4])
"""Rows that stand first, below what scales the impact."""
_LABELS = {
    CHANGE: "period change, window of the data",
    CHANGE_AT_LENGTH: "period change, windows of [simulation]",
    "pole_x": "turn of the pole about x, rad",
    "pole_y": "turn of the pole about y, rad",
    "phase": "longitude at the impact minus nominal, rad",
    "e_cos": "eccentricity before, cosine part",
    "e_sin": "eccentricity before, sine part",
    "lib_cos": "libration before, cosine part, rad",
    "lib_sin": "libration before, sine part, rad",
}


def reconstructed_report(found: Reconstructed) -> dict[str, Any]:
    """Everything that is printed, as plain data."""
    completed = found.status == "completed"
    open_ones = found.open_combinations if completed else ()
    return {
        "scenario": found.scenario.name,
        "scenario_sha256": found.scenario.sha256,
        **found.summary,
        "intervals": {name: found.intervals[name] for name in _ordered(found)},
        "fisher_sd": dict(found.fisher_sd),
        "prior_sd": {name: None if math.isinf(sd) else sd for name, sd in found.prior_sd.items()},
        "least_known": [{"sd": one.sd, "components": one.components} for one in open_ones[:_COMBINATIONS]],
        "correlations_with_impulse": found.correlations if completed else {},
        "events": {name: values.tolist() for name, values in found.times.items()},
        "light": {name: values.tolist() for name, values in found.light.items()},
        "warnings": list(found.warnings),
        "caution": CAUTION,
    }


def _ordered(found: Reconstructed) -> list[str]:
    """Names of what is told, those asked for most first."""
    told = found.intervals
    first = [name for name in (found.impulse, *_FIRST) if name in told]
    return [*first, *(name for name in told if name not in first)]


def print_reconstructed(found: Reconstructed) -> None:
    """For a reader."""
    s = found.summary
    print(
        f"{found.scenario.name or 'scenario'} ({found.scenario.place}): {measured_words(found)}, "
        f"{s['window_before_days']:.1f} days before and {s['window_after_days']:.1f} after the impact"
    )
    print_table(("", "unit", "median", "68 %", "95 %", "SD", "SD if linear", "SD before"), _rows(found))
    if found.status == "completed":
        _print_what_is_open(found)
    print(
        f"\n{s['effective_draws']:.0f} effective draws of {len(found)}, k-hat {s['k_hat']:.2f}, {s['runs']:.0f} runs; "
        f"chi2 {s['chi2']:.1f} for {s['degrees_of_freedom']:.1f} degrees of freedom, posterior predictive p "
        f"{s['posterior_predictive_p']:.2f}"
    )
    for sentence in _noise(found):
        print(sentence)
    for sentence in found.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def measured_words(found: Reconstructed) -> str:
    """What was measured: so many events, so many points of light."""
    s = found.summary
    parts = [counted(int(s["events_used"]), "event")] if s["events_used"] else []
    if "points" in s:
        points, zero = counted(int(s["points"]), "point"), counted(int(s["zero_points"]), "zero point")
        parts.append(f"{points} of light, {zero}")
    return " and ".join(parts)


def _noise(found: Reconstructed) -> list[str]:
    s, said = found.summary, []
    if s["events_used"]:
        said.append(f"noise: {s['errors_scaled_by']:.2f} times the sigma, common to a night {s['night_error_s']:.0f} s")
    if "points" in s:
        red = f", red {s['red_noise_mag']:.4f} mag over {s['red_noise_minutes']:.0f} minutes"
        said.append(
            f"noise of light: {s['points_scaled_by']:.2f} times the sigma{red if s['red_noise_mag'] else ''}\n"
            f"scattering law: {s['lambert_share']:.2f} +- {s['lambert_share_sd']:.2f} of Lambert's, the rest "
            "Lommel-Seeliger's"
        )
    return said


def _rows(found: Reconstructed) -> list[tuple[str, ...]]:
    return [_row(found, name, found.intervals[name]) for name in _ordered(found)]


def _row(found: Reconstructed, name: str, one: dict[str, float]) -> tuple[str, ...]:
    """Digits by the standard deviation."""
    digits = max(0, 2 - math.ceil(math.log10(one["sigma"]))) if one["sigma"] > 0.0 else 6
    form = f"{'+' if name in (CHANGE, CHANGE_AT_LENGTH) else ''}.{digits}f"
    pairs = (f"{one[f'low_{p}']:{form}} to {one[f'high_{p}']:{form}}" for p in (68, 95))
    fisher, prior = found.fisher_sd.get(name), found.prior_sd.get(name)
    before = "" if prior is None else "flat" if math.isinf(prior) else rounded(prior, 2)
    linear = "-" if fisher is None or not math.isfinite(fisher) else rounded(fisher, 2)
    label = _words(name)
    return label, printed_unit_of(name), f"{one['median']:{form}}", *pairs, rounded(one["sigma"], 2), linear, before


def _words(name: str) -> str:
    """What a reader calls a column; its unit stands elsewhere."""
    return _LABELS.get(name) or label_of(name).partition(",")[0]


def _print_what_is_open(found: Reconstructed) -> None:
    """What the data leave open, and what the full motion adds to the period change alone."""
    s = found.summary
    if s["impulse_by_change_alone_sd"] and found.impulse:
        own = found.intervals[found.impulse]["sigma"]
        print(
            f"\n{_words(found.impulse)}: SD {rounded(own, 3)}; from the period change alone, with the same inputs, "
            f"{rounded(s['impulse_by_change_alone_sd'], 3)}"
        )
        strongest = list(found.correlations.items())[:_CORRELATED]
        print(f"correlated with {', '.join(f'{_words(name)} {rho:+.2f}' for name, rho in strongest)}")
    if found.open_combinations:
        print("least known combinations, in units of what was known before:")
    for one in found.open_combinations[:_COMBINATIONS]:
        parts = ", ".join(f"{size:+.2f} {_words(name)}" for name, size in one.components.items())
        print(f"  SD {one.sd:.2f}: {parts}")
