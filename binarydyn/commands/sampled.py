"""What drawn members say together: intervals of the outcomes and chances, for JSON and for a reader."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING, Any

from ..prediction.model_discrepancy import DENSER, ModelError
from ..prediction.outcomes import OUTCOMES
from ..sampling import Sample
from ..sampling.drawn import members_of
from ..sampling.summary_statistics import probabilities, spread, spread_without, which_are_chaotic
from ..scenario import Scenario
from ..scenario.wording import counted
from ..terminal.interruption import Interruption
from ..terminal.progress import watched
from ..terminal.tables import print_table

if TYPE_CHECKING:
    from ..ensembles import Backend
    from ..store import Members

_MOST_DIGITS = 6
"""Decimals of a quantile; of smaller errors than these carry, the power of ten is told."""


def draw_members(scenario: Scenario, sample: Sample, where: Backend) -> tuple[Members, bool]:
    """Predict the members of a sample, and whether all are done: an interruption keeps those that are.

    KeyboardInterrupt where none is done yet; InputError where the summary table has not what the scenario asks for.
    """
    from ..ensembles import rows_of
    from ..store import Members
    from ..store.tables.rows import table_of

    parts, rows = [], rows_of(members_of(scenario), sample, backend=where, confirm=True)  # the scenario names the count
    try:
        with Interruption() as interruption:
            for part in watched(rows, len(sample), 0, "sample"):
                with interruption.held():
                    parts.append(part)
    except KeyboardInterrupt:
        if not parts:
            raise
    drawn = Members.of(scenario, sample, table_of(parts, sample), where)
    if len(drawn) < len(sample):
        said = f"interrupted, {len(drawn)} of {len(sample)} members completed; `sweep --sample` keeps and resumes"
        print(f"binarydyn: {said}", file=sys.stderr)
    return drawn, len(drawn) == len(sample)


def sampled(result: Members) -> dict[str, Any]:
    """How the members were drawn, the spread of each outcome over all that ended well, and chances.

    statistics_of_regular, chaotic_members: None where neighbouring trajectories did not run.
    """
    columns, asked = result.columns, result.scenario.requirement
    chaotic = which_are_chaotic(columns)
    return {
        "sample": {name: getattr(result.sample, name) for name in ("kind", "seed", "count")},
        "completed": int((columns["status"] == "completed").sum()),
        "statistics": spread(columns),
        "chaotic_members": None if chaotic is None else int(chaotic.sum()),
        "statistics_of_regular": None if chaotic is None else spread_without(columns, chaotic),
        "probabilities": probabilities(columns, asked.period_change_s if asked else None),
        "required_precision_s": asked and asked.precision_s,
    }


def drawn_report(drawn: Members, error: ModelError) -> dict[str, Any]:
    """What a prediction says of its sample, with what the model itself may be off by."""
    statuses, reasons = drawn.columns["status"].tolist(), drawn.columns["reason"].tolist()
    return sampled(drawn) | {
        "members_completed": len(statuses),
        "statuses": drawn.statuses(),
        "first_reasons": {word: reasons[statuses.index(word)] for word in drawn.statuses() if word != "completed"},
        "model_error": {
            "next_degree_s": error.next_degree_s,
            "denser_moonlet_s": error.denser_moonlet_s,
            "denser_by": DENSER,
        },
    }


def print_drawn(report: dict[str, Any]) -> None:
    """The same for a reader."""
    how, counts = report["sample"], ", ".join(f"{count} {word}" for word, count in report["statuses"].items())
    print(f"\n{report['members_completed']} of {how['count']} members ({how['kind']}, seed {how['seed']}): {counts}")
    for word, reason in report["first_reasons"].items():
        print(f"first {word}: {reason}")
    row = OUTCOMES["period_change_s"]
    if change := report["statistics"].get(row.name):
        ends = [
            f", {share} % {_with_error(change, f'low_{share}', '+')} to {_with_error(change, f'high_{share}', '+')}"
            for share in (68, 95)
            if change[f"low_{share}"] is not None
        ]
        sigma = "" if change["sigma"] is None else f", SD {change['sigma']:.3g}"
        print(f"{row.label_with_unit}: median {_with_error(change, 'median', '+')}{sigma}{''.join(ends)}")
    error = report["model_error"]
    said = [
        f"{words} {error[name]:+.3g} s"
        for name, words in (
            ("next_degree_s", "next degree of gravity"),
            ("denser_moonlet_s", f"density ratio times {error['denser_by']:g}"),
        )
        if error[name] is not None
    ]
    if said:
        print(f"model discrepancy: {', '.join(said)}")
    print()
    print_sampled(report)


def print_sampled(report: dict[str, Any]) -> None:
    """Intervals and chances as tables; where the members are too few for an end of an interval, why it is missing."""
    from ..store import long_name_of, unit_of

    rows, missing = [], set()
    for name, marks in report["statistics"].items():
        unit = unit_of(name)
        ends = [_with_error(marks, key) for key in ("low_68", "high_68", "low_95", "high_95")]
        middle = _with_error(marks, "median"), _text(marks["sigma"])
        rows.append((long_name_of(name), "" if unit == "1" else unit, *middle, *ends))
        missing |= {share for share in (68, 95) if marks[f"low_{share}"] is None}
    print_table(("outcome", "unit", "median", "SD", "68 % from", "to", "95 % from", "to"), rows)
    print()
    probabilities = report["probabilities"]
    rows = [(name.replace("_", " "), f"{c['probability']:.4g}", _error_words(c)) for name, c in probabilities.items()]
    print_table(("probability of", "value", "standard error, or 95 % bound"), rows)
    if any(c["bound_95"] is not None for c in probabilities.values()):
        print("below, above: one-sided 95 % bound where none or all members are a case (Clopper & Pearson; some 3 / N)")
    if report["completed"]:
        print(f"intervals: {report['completed']} completed members")
        print(_stability(report))
    if (required := report["required_precision_s"]) is not None:
        print(f"observing time to reach {required:g} s: see `binarydyn plan`")
    if missing:
        print("intervals need at least 7 (68 %) or 40 (95 %) members")
    if report["statistics"]:
        print(_of_errors(report["sample"]["kind"]))


def _stability(report: dict[str, Any]) -> str:
    """What neighbouring trajectories say of the members, and what the period change would be without the chaotic
    ones."""
    count = report["chaotic_members"]
    if count is None:
        return "chaos not checked (use --chaos)"
    if not count:
        return "no member is chaotic"
    said = f"{counted(count, 'chaotic member')}: attitude unpredictable, period uncertain by seconds"
    rest = report["statistics_of_regular"].get("period_change_s")
    if rest:
        sigma = "" if rest["sigma"] is None else f", SD {rest['sigma']:.3g} s"
        said += f"; regular members only: period change median {rest['median']:+.2f} s{sigma}"
    return said


def _of_errors(kind: str) -> str:
    """What +- means, and of which sample."""
    said = "+- of a median or an end: standard error of the order statistic, where 3 members are expected beyond"
    return said if kind == "random" else f"{said}; that of a random sample, an upper bound for {kind}"


def _error_words(probability: dict[str, float | None]) -> str:
    """1 sigma of a chance, or where there is none its bound."""
    if probability["bound_95"] is None:
        return f"+- {probability['standard_error']:.2g}"
    return f"{'below' if probability['probability'] == 0.0 else 'above'} {probability['bound_95']:.4g}"


def _with_error(marks: dict[str, Any], name: str, sign: str = "") -> str:
    """A quantile to the second digit of its error, with it; without an error, or with none above 0, as it is."""
    value, error = marks[name], marks["standard_errors"][name]
    if value is None or not error:
        return _text(value) if value is None or not sign else f"{value:+.2f}"
    digits = max(0, 1 - math.floor(math.log10(float(f"{error:.1e}"))))
    if digits > _MOST_DIGITS:
        return f"{value:{sign}.6g} +- {error:.1e}"
    return f"{value:{sign}.{digits}f} +- {error:.{digits}f}"


def _text(value: float | None) -> str:
    return "-" if value is None else f"{value:.6g}"
