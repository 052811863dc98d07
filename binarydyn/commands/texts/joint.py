"""What `reconstruct --measured` says of published numbers inverted together, and of what would tell more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ...scenario.wording import CAUTION, rounded
from ...terminal.tables import print_table
from ...units import printed_unit_of

if TYPE_CHECKING:
    from ...inversion.degeneracy import OpenDirection
    from ...inversion.joint import JointInversion
    from ...scenario import Scenario

IMPROBABLE = 0.01
_GAINS = 8
_EXACT = 1e-12
"""Relative standard deviation below which a number is taken as given."""


def joint_report(scenario: Scenario, found: JointInversion) -> dict[str, Any]:
    """Everything that is printed, as plain data."""
    asked, planned = found.unknowns, found.directions
    prior = dict(zip(asked.names, (asked.prior_sigma_u * asked.scale).tolist(), strict=True))
    return {
        "scenario": scenario.name,
        "scenario_sha256": scenario.sha256,
        "measured": {
            name: {"value": value, "sigma": sigma, "found": found.values.get(name)}
            for name, value, sigma in zip(
                found.published.names, found.published.values.tolist(), found.published.sigma.tolist(), strict=True
            )
        },
        "intervals": found.intervals,
        "linear": {name: {"value": value, "sd": sd} for name, (value, sd) in found.fisher.items()},
        "prior_sd": {name: sd if math.isfinite(sd) else None for name, sd in prior.items()},
        "least_known": [_open(found, one) for one in planned],
        "profile": [{"prior_sd": t, "chi2_rise": rise} for t, rise in found.profile],
        "would_tell": [vars(gain) for gain in found.gains],
        "chi2": found.reference.cost,
        "degrees_of_freedom": found.degrees,
        "probability": found.probability,
        "effective_draws": found.effective,
        "k_hat": found.draws.k_hat,
        "warnings": list(warnings_of(found)),
        "caution": CAUTION,
    }


def _open(found: JointInversion, one: OpenDirection) -> dict[str, Any]:
    return {"sd": one.sd, "sampled_sd": found.sampled_sd(one), "components": one.parts, "moves_with_it": one.moves}


def warnings_of(found: JointInversion) -> tuple[str, ...]:
    """What a reader must know."""
    said = []
    if found.why_not:
        said.append(f"{found.why_not}: the draws do not hold, only what slopes say is told")
    if found.probability is not None and found.probability < IMPROBABLE:
        said.append(
            f"no motion has all the numbers within their errors (probability {found.probability:.2g}): check values, "
            "sigmas and definitions; intervals follow the stated errors"
        )
    return tuple(said)


def print_joint(scenario: Scenario, found: JointInversion) -> None:
    """For a reader."""
    print(f"{scenario.name or 'scenario'} ({scenario.place}): {len(found.published.names)} numbers together")
    print_table(("", "unit", "median", "68 %", "95 %", "SD", "SD if linear", "SD before"), _rows(found))
    print("\nleast known combinations, in units of what was known before:")
    for one in found.directions:
        parts = ", ".join(f"{size:+.2f} {name}" for name, size in one.parts.items())
        moves = ", ".join(f"{name} by {rounded(by, 2)}" for name, by in one.moves.items())
        print(
            f"  SD {one.sd:.2f} ({found.sampled_sd(one):.2f} of the draws): {parts}; one unit moves {moves or 'none'}"
        )
    curve = ", ".join(f"{t:+.2f}: {rise:.2f}" if math.isfinite(rise) else f"{t:+.2f}: -" for t, rise in found.profile)
    print(f"chi2 along the first, all else solved anew, above its least (4, 1, 1, 4 were all linear): {curve}")
    _print_gains(found)
    chance = "" if found.probability is None else f", probability {found.probability:.2f}"
    print(
        f"\n{found.effective:.0f} effective draws of {len(found.weighted.ln_weight)}, k-hat {found.draws.k_hat:.2f}; "
        f"chi2 {found.reference.cost:.1f} for {found.degrees} degrees of freedom{chance}"
    )
    for sentence in warnings_of(found):
        print(f"warning: {sentence}")
    print(CAUTION)


def _rows(found: JointInversion) -> list[tuple[str, ...]]:
    asked = found.unknowns
    prior = dict(zip(asked.names, (asked.prior_sigma_u * asked.scale).tolist(), strict=True))
    return [_row(found, name, prior.get(name)) for name in found.columns]


def _row(found: JointInversion, name: str, prior: float | None) -> tuple[str, ...]:
    """Digits by the standard deviation; where the draws do not hold, the solution alone."""
    value, linear = found.fisher[name]
    one = found.intervals.get(name)
    before = "" if prior is None else rounded(abs(prior), 2) if math.isfinite(prior) else "flat"
    told = rounded(linear, 2) if math.isfinite(linear) else "-"
    size = one["sigma"] if one else linear
    form = (
        f".{max(0, 2 - math.ceil(math.log10(size)))}f" if math.isfinite(size) and size > _EXACT * abs(value) else ".6g"
    )
    if one is None:
        return name, printed_unit_of(name), format(value, form), "-", "-", "-", told, before
    pairs = (f"{one[f'low_{p}']:{form}} to {one[f'high_{p}']:{form}}" for p in (68, 95))
    return name, printed_unit_of(name), format(one["median"], form), *pairs, rounded(one["sigma"], 2), told, before


def _print_gains(found: JointInversion) -> None:
    """Which number would tell most of what is open, to first order."""
    if not found.gains:
        return
    print("\nwhat one more number would leave, to first order, of the SD of these combinations and of one unknown:")
    head = ("measured too", "unit", "with SD", "known to", *(f"{k + 1}" for k in range(len(found.directions))), "helps")
    cells = [
        (
            gain.name, printed_unit_of(gain.name), rounded(gain.sigma, 2), rounded(gain.known_to, 2),
            *(f"{left:.2f}" for left in gain.left), f"{gain.helped} {gain.helped_left:.2f}",
        )
        for gain in found.gains[:_GAINS]
    ]  # fmt: skip
    print_table(head, cells)
