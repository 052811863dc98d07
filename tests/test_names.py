"""Names: an old one is answered with the new; and what a user reads has no retired words."""

import ast
import re
from dataclasses import dataclass
from inspect import Parameter, signature
from pathlib import Path
from typing import Annotated

import pytest

import binarydyn.constants
from binarydyn import renamed
from binarydyn.commands import main
from binarydyn.ensembles import Backend
from binarydyn.errors import InputError
from binarydyn.sampling.block import TABLES
from binarydyn.scenario import Scenario, example
from binarydyn.scenario.keys import known_keys
from binarydyn.scenario.variation import why_not_numeric
from binarydyn.terminal.options import gathered
from binarydyn.validation.quantities import quantities
from binarydyn.validation.validate import compared

PACKAGE = Path(binarydyn.constants.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))
TEXTS = {path: path.read_text(encoding="utf-8") for path in FILES}


@pytest.mark.parametrize("old", renamed.KEYS)
def test_an_old_key_of_a_scenario_is_answered_with_the_new(old):
    new = renamed.KEYS[old]
    assert new in known_keys(Scenario) and old not in known_keys(Scenario)
    table, _, key = old.rpartition(".")
    head = f"[[{table.removesuffix('.<row>')}]]" if table.endswith("<row>") else f"[{table}]"
    text = f"{head}\n{key} = 1.0\n" if table else f"[{key}]\nalong_track_mm_s = 1.0\n"
    with pytest.raises(InputError, match=f"unknown key; it is called {re.escape(new)} now"):
        Scenario.from_text(text, "pair.toml")


def test_what_lies_in_a_renamed_table_is_found_too():
    assert "it is called velocity_change.radial_mm_s now" in why_not_numeric(example(), "push.radial_mm_s")


@pytest.mark.parametrize("old", renamed.OPTIONS)
def test_an_old_option_is_answered_with_the_new(old, capsys):
    command = ["predict"] if old == "--single" else ["sweep", "--out", "x.h5"]
    assert main([*command, old]) == 2
    assert f"No such option: {old}; it is called {renamed.OPTIONS[old]} now; write that\n" in capsys.readouterr().err


@pytest.mark.parametrize("old", renamed.SWEEP_TABLES)
def test_an_old_table_is_answered_with_the_new(old):
    assert renamed.SWEEP_TABLES[old] in TABLES
    with pytest.raises(InputError, match=f"it is called {renamed.SWEEP_TABLES[old]} now"):
        Backend(table=old)


@pytest.mark.parametrize("old", renamed.COLUMNS)
def test_an_old_column_is_gone_and_a_reference_case_that_asks_for_it_gets_the_new(old):
    new, elsewhere = renamed.COLUMNS[old], [text for path, text in TEXTS.items() if path.name != "renamed.py"]
    assert any(re.search(rf"\b{new}\b", text) for text in elsewhere)
    assert not any(re.search(rf"\b{old}\b", text) for text in elsewhere)
    case = example().replace({"expected": [{"quantity": old, "value": 1.0, "sigma": 1.0, "source": "none"}]})
    with pytest.raises(InputError, match=f"it is called {new} now"):
        compared(case)
    assert old not in quantities()


SHARED = {
    "advance entry fill integrate sample source start touching_fraction work_size module": "what each method of "
    "integration, on a processor or as a text for one, has under the same name; `relaxed.start` is their start",
    "describe events infer light_curve merge plan predict reconstruct sweep timing": "a command and the function that "
    "it runs",
    "accumulated neighbours": "the same of many members in lanes, on a GPU or one by one",
    "cross turned": "vectors as columns and as operations on a tape",
    "opened": "a pool of workers, by threads, processes or a cluster",
    "orbit periods": "a panel of a figure and what it shows",
    "to_xarray": "a run and a light curve as a dataset",
    "passage_times": "the same of a run and of a window of it",
    "load": "`load` reads a scenario; `shooting.load` puts a run into a lane, read beside its module",
}
"""Public function names that several modules have, and the one meaning that they share there."""


def defined(kind: type) -> dict[str, list[str]]:
    """Where each class, or each public function of a module, is defined."""
    found: dict[str, list[str]] = {}
    for path, text in TEXTS.items():
        tree = ast.parse(text)
        nodes = ast.walk(tree) if kind is ast.ClassDef else tree.body
        for node in nodes:
            if isinstance(node, kind) and (kind is ast.ClassDef or not node.name.startswith("_")):
                found.setdefault(node.name, []).append(path.relative_to(PACKAGE).as_posix())
    return found


def test_class_names_are_unique_in_the_package():
    assert {name: places for name, places in defined(ast.ClassDef).items() if len(places) > 1} == {}


def test_a_public_function_name_stands_for_one_meaning():
    allowed = {name for names in SHARED for name in names.split()}
    several = {name: places for name, places in defined(ast.FunctionDef).items() if len(places) > 1}
    assert {name: places for name, places in several.items() if name not in allowed} == {}
    assert allowed <= set(several), "names that only one module has need no permission"


RETIRED = (
    r"moonlet|\bpush(?:es)?\b|companion|\bbrief\b|foretold|\btwist|amplification|a hair|\bmiddles\b|energy drift|"
    r"turned over after|books close|least energy|small motions?\b|ended well|chance of|own error|lost nights|"
    r"change of velocity|for the barycentre|takes over from|burn to|machine-readable"
)
"""Words of the glossary that are retired from what a user reads."""


def sentences(text: str):
    """Texts of a file that a user may read: strings of several words that are no docstrings."""
    tree = ast.parse(text)
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            if " " in node.value.strip():
                yield node.value


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_what_a_user_reads_has_no_retired_words(path):
    assert [said for said in sentences(TEXTS[path]) if re.search(RETIRED, said, re.I)] == []


def test_options_that_go_together_are_asked_for_one_by_one_and_come_as_one():
    @dataclass(frozen=True)
    class Band:
        low: Annotated[float, "--low"] = 1.0
        high: float = 2.0

    @gathered
    def made_up(*, first: int, band: Band, last: str = ""):
        return first, band, last

    asked = signature(made_up).parameters
    assert list(asked) == ["first", "low", "high", "last"] and asked["low"].annotation == Annotated[float, "--low"]
    assert [one.default for one in asked.values()] == [Parameter.empty, 1.0, 2.0, ""]
    assert made_up(first=1, low=0.5, high=3.0, last="x") == (1, Band(0.5, 3.0), "x")
