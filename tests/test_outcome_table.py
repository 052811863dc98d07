"""The table of outcomes: one row and its function are all that a new outcome takes, and what a row says stands once."""

import ast
import json
import re
from pathlib import Path

import h5py
import pytest
from test_architecture import ORDER

from binarydyn.commands import main
from binarydyn.plots import prediction_figure
from binarydyn.prediction import outcomes as table
from binarydyn.prediction.outcome import FLAG, Outcome, Outlets
from binarydyn.prediction.outcomes import OUTCOMES, long_name_of, outcomes_of, shown_in
from binarydyn.prediction.predict import predict
from binarydyn.scenario import example, load, varied
from binarydyn.store import open_result, stored_prediction
from binarydyn.units import unit_of
from binarydyn.validation.quantities import Case, quantities

PACKAGE = Path(table.__file__).parent.parent
SHORT = {"simulation.days_before": 4.0, "simulation.days_after": 4.0, "simulation.degree": 2}
SAMPLING = '\n[sampling]\ncount = 8\n[sampling.quantities]\n"impactor.mass_kg" = {normal = [480.0, 5.0]}\n'
MADE_UP = Outcome(
    "made_up_length_after_m",
    "Made-up length",
    lambda prediction: 2.0 * prediction.start.separation_m,
    ".1f",
    Outlets.PRINT | Outlets.PAGE | Outlets.MEMBERS | Outlets.SUMMARY,
    "orbit",
)


@pytest.fixture
def made_up(monkeypatch):
    """The row alone, put into the table."""
    monkeypatch.setitem(OUTCOMES, MADE_UP.name, MADE_UP)
    return MADE_UP


@pytest.fixture
def asked(tmp_path):
    path = tmp_path / "short.toml"
    path.write_text(varied(example(), SHORT).to_toml() + SAMPLING)
    return str(path)


def test_a_new_outcome_is_one_row_and_its_function(made_up, asked, tmp_path, capsys):
    """Text, statistics, file with unit and words, JSON, figure, reference cases and summary tables have it."""
    file = str(tmp_path / "short.h5")
    assert main(["predict", asked, "--out", file]) == 0
    text = capsys.readouterr().out
    assert re.search(r"^Made-up length +m +- +1642\.0$", text, re.M)
    assert re.search(r"^Made-up length after the impact +m +1642 ", text, re.M)
    with h5py.File(file) as stored:
        for group in ("numbers", "members"):
            attributes = stored[group][made_up.name].attrs
            assert (attributes["units"], attributes["long_name"]) == ("m", "Made-up length after the impact")
    assert open_result(file).numbers[made_up.name] == pytest.approx(1642.0)
    assert main(["predict", asked, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer[made_up.name] == answer["statistics"][made_up.name]["median"] == pytest.approx(1642.0)
    figure = prediction_figure(stored_prediction(open_result(file)))
    words = [text.get_text() for text in figure.findobj(lambda artist: hasattr(artist, "get_text"))]
    assert "Made-up length, m" in words and "1642.0" in words
    assert main(["validate", "--names"]) == 0
    assert re.search(rf"^{made_up.name} +Made-up length after the impact, m", capsys.readouterr().out, re.M)
    assert quantities()[made_up.name].value(Case(load(asked)), None) == pytest.approx(1642.0)


def test_a_summary_table_has_the_columns_that_the_table_of_outcomes_says(made_up):
    from binarydyn.batch.summary_columns import SummaryColumns

    plain, beside = (set(SummaryColumns.of([0, 1], neighbours).columns) for neighbours in (False, True))
    assert made_up.name in plain and plain == {row.name for row in shown_in(Outlets.SUMMARY)}
    assert beside - plain == {row.name for row in shown_in(Outlets.NEIGHBOURS)} and plain < beside


def test_without_the_row_nothing_has_it():
    assert MADE_UP.name not in OUTCOMES and MADE_UP.name not in quantities()
    assert long_name_of(MADE_UP.name) == "made up length after"


def test_every_row_is_told_apart_and_the_order_is_that_of_the_groups():
    rows = list(OUTCOMES.values())
    assert len({row.long_name for row in rows}) == len(rows)
    groups = [row.group for row in rows]
    order = ["headline", "impact", "orbit", "attitude", "stability", "numerics"]
    assert groups == sorted(groups, key=order.index) and set(groups) == set(order)
    assert list(outcomes_of(predict(varied(example(), SHORT)))) == [row.name for row in rows if row.of]


def test_a_value_is_written_by_its_row():
    row = OUTCOMES["period_change_s"]
    assert row.said(-1578.5288) == "-1578.529 s" and row.text(-1e-9) == "+0.000"
    assert row.text(None) == row.text(float("nan")) == OUTCOMES["crater_regime"].text("") == "-"
    assert [OUTCOMES["tumbling"].text(value) for value in (True, False, None)] == ["yes", "no", "-"]
    assert OUTCOMES["degree"].text(4) == "4" and OUTCOMES["tumbling"].kind == FLAG
    assert all(row.unit == unit_of(row.name).replace("1", "") for row in OUTCOMES.values())


# ---- what a row says stands nowhere else ----


def code_of_the_package():
    """File and syntax tree of what may see the table, but of the table."""
    later = ORDER[ORDER.index("prediction") :]
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE)
        if path != Path(table.__file__) and name.parts[0] in later:
            yield name.as_posix(), ast.parse(path.read_text())


def texts(tree):
    """All literal texts that are no docstrings."""
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone:
            yield node.lineno, node.value


def test_no_label_of_an_outcome_is_written_elsewhere():
    """Alone, with the unit, or with the first letter small; those of three words and more not inside a sentence."""
    labels = {row.label.casefold(): row for row in OUTCOMES.values()}
    heads = set(labels) | {row.label_with_unit.casefold() for row in labels.values()}
    long = [label for label in labels if len(label.split()) > 2]
    found = []
    for name, tree in code_of_the_package():
        for line, text in texts(tree):
            words = text.casefold().strip(" ,:;=")
            if " " in words and words in heads or any(label in words for label in long):
                found.append(f"{name}:{line}: {text}")
    assert not found, "\n".join(found)


def test_no_unit_of_an_outcome_is_written_beside_its_name():
    """As a row of a table, an argument, or in a text behind the value."""
    found = []
    for name, tree in code_of_the_package():
        for node in ast.walk(tree):
            parts = node.elts if isinstance(node, ast.Tuple | ast.List) else getattr(node, "args", None)
            if isinstance(parts, list):
                units = [part.value for part in parts if isinstance(part, ast.Constant) and part.value]
                beside = [word for part in parts for word in outcomes_in(part) if OUTCOMES[word].unit in units]
                found += [f"{name}:{node.lineno}: {word}" for word in beside]
            if isinstance(node, ast.JoinedStr):
                found += [f"{name}:{node.lineno}: {word}" for word in said_with_unit(node)]
    assert not found, "\n".join(found)


def outcomes_in(part):
    """Names of outcomes in an expression: the name itself, or what is taken by it from a table."""
    part = part.slice if isinstance(part, ast.Subscript) else part
    return [part.value] if isinstance(part, ast.Constant) and part.value in OUTCOMES else []


def said_with_unit(text):
    """Outcomes of which a text writes the value and the unit behind it."""
    for value, behind in zip(text.values, text.values[1:], strict=False):
        names = [node.value for node in ast.walk(value) if isinstance(node, ast.Constant) and node.value in OUTCOMES]
        if names and isinstance(behind, ast.Constant) and OUTCOMES[names[0]].unit:
            if re.match(rf" {re.escape(OUTCOMES[names[0]].unit)}\b", behind.value):
                yield names[0]
