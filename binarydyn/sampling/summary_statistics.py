"""How sure a prediction is: medians, intervals and chances over drawn members."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..observables.averages import interval_errors, told_intervals
from ..prediction.outcome import FLAG, NUMBER, Outlets
from ..prediction.outcomes import shown_in


def spread(columns: Mapping[str, np.ndarray]) -> dict[str, dict[str, Any]]:
    """Median, 68 % and 95 % interval and standard deviation of each outcome over all members that ended well, and the
    standard errors of the median and of the intervals' ends; None for what their number does not carry
    (averages.told_intervals, averages.interval_errors).

    columns: as Result.columns.  Chaotic members count: what one of them does is unpredictable, but a sample of them
    is a fair sample of outcomes.  They are those that are pushed most, so leaving them out would bias every statistic.
    """
    return _over(columns, columns["status"] == "completed")


def which_are_chaotic(columns: Mapping[str, np.ndarray]) -> np.ndarray | None:
    """(members,) which ended well and are chaotic in either window; None where neighbouring trajectories did not look
    at all that ended well."""
    after, before = _flagged(columns, "chaotic_after"), _flagged(columns, "chaotic_before")
    return after if before is None or after is None else after | before


def _flagged(columns: Mapping[str, np.ndarray], name: str) -> np.ndarray | None:
    """(members,) which ended well and have a flag; None where it is not known of all that ended well."""
    well, flag = columns["status"] == "completed", columns.get(name)
    if flag is None or not well.any() or np.any(flag[well] < 0):
        return None
    return well & (flag == 1)


def spread_without(columns: Mapping[str, np.ndarray], left_out: np.ndarray) -> dict[str, dict[str, Any]]:
    """As `spread`, without some of the members; left_out: (members,) which."""
    return _over(columns, (columns["status"] == "completed") & ~left_out)


def _over(columns: Mapping[str, np.ndarray], well: np.ndarray) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for name in (row.name for row in shown_in(Outlets.MEMBERS) if row.kind == NUMBER):
        values = columns[name][well].astype(float) if name in columns else np.empty(0)
        values = values[np.isfinite(values)]
        if len(values):
            sigma = float(values.std(ddof=1)) if len(values) > 1 else None
            found[name] = {**told_intervals(values), "sigma": sigma, "standard_errors": interval_errors(values)}
    return found


CONFIDENCE = 0.95


def probabilities(
    columns: Mapping[str, np.ndarray], least_change_s: float | None = None
) -> dict[str, dict[str, float | None]]:
    """Share of the members with each outcome, and its standard error sqrt(p (1 - p) / n).

    Where none or all of them have it, there is no such error but a bound that holds with 95 %: see `bound`.

    least_change_s: what is required of the size of the period change.
    """
    status, count = columns["status"], len(columns["status"])
    flags = {word: status == word for word in ("contact", "escape", "miss")}
    flags["no_prediction"] = np.isin(status, ("bad_input", "not_converged", "too_few_cycles", "not_measured", "error"))
    for row in (row for row in shown_in(Outlets.MEMBERS) if row.kind == FLAG and row.name in columns):
        known = _flagged(columns, row.name) if row.group == "stability" else columns[row.name] == 1
        flags |= {} if known is None else {row.name: known}
    unknown = np.full(count, np.nan)
    if least_change_s is not None:
        flags[f"change_of_{least_change_s:g}_s"] = np.abs(columns.get("period_change_s", unknown)) >= least_change_s
    return {name: _probability(int(np.sum(flag)), count) for name, flag in flags.items()}


def bound(hits: int, count: int) -> float | None:
    """One-sided 95 % bound of a chance of which no member, or each, is a case; None for others (Clopper & Pearson 1934,
    Biometrika 26, 404; from memory).

    A chance above it leaves `count` members without a case less than 5 % of the time: 1 - 0.05^(1/n), about 3/n.
    """
    unlikely = (1.0 - CONFIDENCE) ** (1.0 / count)
    return 1.0 - unlikely if hits == 0 else unlikely if hits == count else None


def _probability(hits: int, count: int) -> dict[str, float | None]:
    share, beyond = hits / count, bound(hits, count)
    error = float(np.sqrt(share * (1.0 - share) / count)) if beyond is None else None
    return {"probability": share, "standard_error": error, "bound_95": beyond}
