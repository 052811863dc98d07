"""The examples in the docstrings of the package give what they say."""

import doctest
from importlib import import_module
from pathlib import Path

import pytest

import binarydyn

PACKAGE = Path(binarydyn.__file__).parent
WITH_EXAMPLES = [
    ".".join(("binarydyn", *path.relative_to(PACKAGE).with_suffix("").parts))
    for path in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = doctest.testmod(import_module(name))
    assert found.attempted and not found.failed
