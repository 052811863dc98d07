"""`binarydyn plan`: how well a campaign will measure the period change, night by night, and when it is detected."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ..scenario.wording import CAUTION, counted
from ..terminal.options import File, Json, Plot, scenario_of
from ..terminal.progress import say_if_cold, stages
from ..terminal.tables import check_outputs, number_cell, print_json, print_table, told_after

if TYPE_CHECKING:
    from ..observing.plan import Detection, Plan


def plan(
    file: File = "",
    as_json: Json = False,
    plot: Plot = "",
) -> int:
    """Expected sigma of the period change against the nights after the impact, by the fit that `timing` makes."""
    from ..observing.plan import plan as run

    scenario = scenario_of(file)
    check_outputs({"--plot": plot}, scenario, file)
    say_if_cold()
    found = run(scenario, stages())
    with told_after(lambda: print_json(plan_report(found)) if as_json else _print(found)):
        if plot:
            from ..plots.pages.plan import save_plan

            save_plan(plot, found)
    return 0


_MARKS = ("low_68", "median", "high_68")


def plan_report(found: Plan) -> dict[str, Any]:
    """Everything that is printed, as plain data; inf for a sigma that the events do not tell yet."""
    return {
        "scenario": found.scenario.name,
        "scenario_sha256": found.scenario.sha256,
        "campaign": found.scenario.campaign.model_dump(),
        "campaign_is_given": _is_given(found),
        "drawn_systems": len(found.systems),
        "period_change_s": found.change_s,
        "events_before": found.events_before,
        "nights": [
            {
                "night": night.number,
                "date_utc": night.date_utc,
                "events": night.events,
                "sigma_s": night.sigma_s,
                "detection_probability": night.detection_probability,
                "change_over_sigma": abs(found.change_s) / night.sigma_s,
                "sigma_with_losses_s": dict(zip(_MARKS, night.sigmas_with_loss_s, strict=True)),
            }
            for night in found.nights
        ],
        "change_detected": _detection(found.predicted),
        "required_change_detected": _detection(found.required),
        "required_precision": _detection(found.measured_to),
        "warnings": list(found.warnings),
        "caution": CAUTION,
    }


def _detection(one: Detection | None) -> dict[str, Any] | None:
    if one is None:
        return None
    losses = dict(zip(_MARKS, one.with_losses, strict=True))
    return {"size_s": one.size_s, "night": one.night, "night_with_losses": losses, "probability": one.probability}


def _print(found: Plan) -> None:
    from ..observing.plan import DETECTED, HISTORIES

    campaign = found.scenario.campaign
    print(f"{found.scenario.name or 'scenario'} ({found.scenario.place}): predicted change {found.change_s:+.1f} s")
    print(
        f"mid-time uncertainty {campaign.mid_time_sigma_s:g} s and {campaign.night_sigma_s:g} s common to a night, "
        f"{campaign.night_h:g} h per night, {100.0 * campaign.lost_fraction:.0f} % of nights lost; "
        f"{counted(found.events_before, 'event')} before the impact"
    )
    if found.scenario.observer.longitude_deg is not None:
        limits = f"Sun below {campaign.sun_below_deg:g} and the system above {campaign.system_above_deg:g} deg"
        print(f"counts events that fall entirely within a night, with the {limits} at the site")
    else:
        print("counts events that fall entirely within a night; no site given: darkness and altitude are not applied")
    if not _is_given(found):
        print("no [campaign]: default nights (see `check --keys`)")
    print()
    head = (
        "night",
        "date (UTC)",
        "events",
        "sigma, s",
        "S/N",
        "P(detected)",
        "with weather loss: median, s",
        "68 %, s",
    )
    print_table(head, [_cells(found, night) for night in found.nights])
    print(
        "sigma: of the fit of `timing`, eccentric orbit, with night errors and those of the modelled mid-times\n"
        f"P(detected): probability that the measured change is {DETECTED:g} sigma off zero; it, and sigma with weather "
        f"loss, over\n{HISTORIES} draws of the weather and of {counted(len(found.systems), 'system')}; "
        "-: too few events for a fit\n"
    )
    for one, what in (
        (found.predicted, "the predicted change of {size:.4g} s is detected at 3 sigma"),
        (found.required, "the required change of {size:.4g} s is detected at 3 sigma"),
        (found.measured_to, "the required precision of {size:.4g} s is reached"),
    ):
        if one is not None:
            print(_sentence(one, what.format(size=one.size_s), found))
    for sentence in found.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def _is_given(found: Plan) -> bool:
    return "campaign" in found.scenario.model_fields_set


def _sentence(one: Detection, what: str, found: Plan) -> str:
    if one.night is None:
        return f"{what} in none of the {len(found.nights)} nights"
    low, median, high = ("later" if night is None else str(night) for night in one.with_losses)
    date = found.nights[one.night - 1].date_utc
    return (
        f"{what} after night {one.night} ({date}); with weather loss: night {median} (68 %: {low} to {high}), "
        f"by the last night with a probability of {one.probability:.2f}"
    )


def _cells(found: Plan, night) -> tuple[str, ...]:
    low, median, high = night.sigmas_with_loss_s
    ratio = abs(found.change_s) / night.sigma_s
    texts = (
        number_cell(night.sigma_s, ".3g"),
        number_cell(ratio if ratio > 0.0 else math.inf, ".1f"),
        f"{night.detection_probability:.2f}",
    )
    return str(night.number), night.date_utc, str(night.events), *texts, number_cell(median, ".3g"), _range(low, high)


def _range(low: float, high: float) -> str:
    """Of 68 %; open where the worst sixth of the histories has too few events."""
    if math.isinf(low):
        return "-"
    return f"{low:.3g} or more" if math.isinf(high) else f"{low:.3g} to {high:.3g}"
