"""Validation: each published value of a reference case beside what the simulation gives, and a verdict.

A row passes if |ours - theirs| <= 3 sqrt(sigma_theirs^2 + sigma_inputs^2).  sigma_inputs is half the difference of two
runs at +-1 sigma of each uncertain input, in quadrature over the inputs; they are taken as independent.  Where theirs
and the inputs come out of one and the same fit that would be too lenient: such a row says why its inputs do not count.
Of a posterior the median is compared, and half of its 68 % interval stands in place of sigma_inputs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import ConvergenceError, InputError
from ..kinds import sure
from ..renamed import COLUMNS, now
from ..scenario import Expected, InputSigma, Scenario, value_of, varied
from ..scenario.nearest import nearest
from .case import Case
from .formulas import FORMULAS
from .posterior_quantities import refuse_without_measurement
from .quantities import quantities
from .solve_for import NoNumberError

LIMIT_SIGMAS = 3.0
"""Beyond this a row is a miss."""
PASS, KNOWN_MISS, MISS, SHOWN = "pass", "MISS known", "MISS new", "shown"
_FOLDER = "reference_cases"


@dataclass(frozen=True)
class Comparison:
    """One row: what was expected, what came out, and how far apart they are.

    ours is None, with the reason, where there is no such number.  theirs is None where nothing is compared.
    inputs: sigma of the difference from each input; sigma_inputs all of them, counted or not.
    """

    expected: Expected
    ours: float | None
    theirs: float | None
    inputs: Mapping[str, float]
    reason: str = ""

    @property
    def sigma_inputs(self) -> float:
        """Of the difference, from all inputs."""
        return math.hypot(*self.inputs.values())

    @property
    def sigma_theirs(self) -> float | None:
        """The source's sigma on the side on which ours lies."""
        if self.theirs is None:
            return None
        below = self.ours is not None and self.ours < self.theirs
        return sure(self.expected.sigma)[0 if below else 1]

    @property
    def difference_sigmas(self) -> float | None:
        """Ours minus theirs over sqrt(sigma_theirs^2 + sigma_inputs^2), the latter where it counts."""
        if self.ours is None or self.theirs is None:
            return None
        counted = 0.0 if self.expected.inputs_not_counted else self.sigma_inputs
        return (self.ours - self.theirs) / math.hypot(sure(self.sigma_theirs), counted)

    @property
    def verdict(self) -> str:
        """PASS, KNOWN_MISS, MISS, or SHOWN where nothing is compared; no number at all is never a known miss."""
        if self.ours is None:
            return MISS
        if self.theirs is None:
            return SHOWN
        if abs(sure(self.difference_sigmas)) <= LIMIT_SIGMAS:
            return PASS
        return KNOWN_MISS if self.expected.known_discrepancy else MISS


def reference_files(package: Path = Path(__file__).parents[1]) -> tuple[Path, ...]:
    """The reference cases: inside an installed package, beside it in a source checkout.  InputError without any."""
    for folder in (package / _FOLDER, package.parent / _FOLDER):
        if files := tuple(sorted(folder.glob("*.toml"))):
            return files
    raise InputError(
        _FOLDER, f"no reference case lies in {package} or beside it; install the package anew, or name a file"
    )


def compared(scenario: Scenario) -> tuple[Comparison, ...]:
    """Every row of a reference case.  InputError for a name that is not known, before anything is run."""
    if not scenario.expected:
        raise InputError(scenario.place, "there is no [[expected]] row to compare with; add one, or use predict")
    for row, expected in enumerate(scenario.expected):
        _check_names(scenario, row, expected)
    nominal, sides = Case(scenario), [(entry, _moved(scenario, entry)) for entry in scenario.input_sigma]
    return tuple(_comparison(expected, nominal, sides) for expected in scenario.expected)


def _check_names(scenario: Scenario, row: int, expected: Expected) -> None:
    place = f"{scenario.place}:expected.{row}"
    for name, table in (("quantity", quantities()), ("formula", FORMULAS)):
        word = getattr(expected, name)
        if word and word not in table:
            close = nearest(word, table)
            hint = now(word, COLUMNS) or (f"did you mean {close}?" if close else f"allowed are {', '.join(table)}")
            raise InputError(f"{place}.{name}", f'"{word}" is not known; {hint}')
    quantity = quantities()[expected.quantity]
    if bool(quantity.needs_given) != (expected.given is not None):
        wanted = (
            f"a number is needed ({quantity.needs_given}); add it"
            if quantity.needs_given
            else "none is allowed; remove it"
        )
        raise InputError(f"{place}.given", f"for {expected.quantity} {wanted}")
    if quantity.spread:
        refuse_without_measurement(scenario, expected.quantity, f"{place}.quantity")
    if quantity.needs_reshaping and not (scenario.reshaping and scenario.reshaping.secondary_semi_axes_m):
        raise InputError(f"{place}.quantity", f"{expected.quantity} needs [reshaping] of the secondary; add it")
    if quantity.needs_ellipsoids and not (scenario.primary.semi_axes_m and scenario.secondary.semi_axes_m):
        raise InputError(f"{place}.quantity", f"{expected.quantity} needs semi_axes_m for both bodies; give them")


def _moved(scenario: Scenario, entry: InputSigma) -> tuple[Case, Case]:
    """The case with an input one sigma up and one down."""
    up, down = (
        varied(scenario, {name: value_of(scenario, name) + sign * entry.sigma for name in entry.keys})
        for sign in (1.0, -1.0)
    )
    return Case(up), Case(down)


def _comparison(expected: Expected, nominal: Case, sides: Sequence[tuple[InputSigma, tuple[Case, Case]]]) -> Comparison:
    """One row in the case and in its versions; a search that fails or a run that ends early is its reason."""
    where, theirs, inputs = "", expected.value, {}
    spread = quantities()[expected.quantity].spread
    try:
        ours, theirs = _ours(expected, nominal), _theirs(expected, nominal)
        if spread:
            return Comparison(expected, ours, theirs, {"posterior": spread(nominal, expected.given)})
        if theirs is None:
            return Comparison(expected, ours, None, {})
        for entry, versions in sides:
            where = f"with {', '.join(entry.keys)} one sigma off: "
            up, down = (_ours(expected, case) - sure(_theirs(expected, case)) for case in versions)
            inputs[", ".join(entry.keys)] = 0.5 * abs(up - down)
        if expected.given_sigma:
            where = "with what is given one sigma off: "
            up, down = (_ours(expected, nominal, sign * expected.given_sigma) for sign in (1.0, -1.0))
            inputs["given"] = 0.5 * abs(up - down)
    except (ConvergenceError, NoNumberError) as error:
        return Comparison(expected, None, theirs, {}, where + str(error))
    return Comparison(expected, ours, theirs, inputs)


def _ours(expected: Expected, case: Case, more: float = 0.0) -> float:
    given = None if expected.given is None else expected.given + more
    value = quantities()[expected.quantity].value(case, given)
    if not math.isfinite(value):
        raise NoNumberError(f"{expected.quantity} is not finite")
    return float(value)


def _theirs(expected: Expected, case: Case) -> float | None:
    return FORMULAS[expected.formula](case.prediction.start) if expected.formula else expected.value
