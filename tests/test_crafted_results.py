"""Result files that somebody made on purpose, with a seal that fits: one sentence each, and none reaches elsewhere."""

import json
import os
from pathlib import Path

import h5py
import numpy as np
import pytest
from short_sweeps import HIT, stored

from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.files.seal import _LINE, sealed
from binarydyn.prediction import predict
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario
from binarydyn.store import open_result, write_prediction
from binarydyn.store.groups import Column, write_group
from binarydyn.store.provenance import ATTRIBUTES
from binarydyn.store.tables.table import Recipe

GRID = Grid.of({"impactor.mass_kg": [400.0, 480.0]})
ESCAPE = "\x1b]0;owned\x07\x1b[31m\u202e"


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("made")
    stored(folder / "sweep.h5", GRID)
    write_prediction(folder / "prediction.h5", predict(Scenario.from_text(HIT, "hit.toml")))
    return {kind: folder / f"{kind}.h5" for kind in ("sweep", "prediction")}


def crafted(made: Path, change, path: Path) -> Path:
    """A copy in which something was changed, with a new seal."""
    data = made.read_bytes()
    path.write_bytes(data[: _LINE.search(data).start()])
    with h5py.File(path, "r+") as file:
        change(file)
    path.write_bytes(sealed(path.read_bytes()))
    return path


def without(name):
    return lambda file: file.attrs.__delitem__(name)


def with_(name, value):
    return lambda file: file.attrs.__setitem__(name, value)


def huge(file):
    """745 GiB that were declared and never written."""
    del file["numbers/beta"]
    file["numbers"].create_dataset("beta", (100_000_000_000,), "<f8")


def soft(file):
    del file["numbers"]
    file["numbers"] = h5py.SoftLink("/changes")


def elsewhere(file):
    """A link to a pipe, which never answers whoever opens it."""
    pipe = Path(file.filename).with_name("pipe")
    os.mkfifo(pipe)
    del file["numbers"]
    file["numbers"] = h5py.ExternalLink(str(pipe), "/numbers")


def outside(file):
    """Values that lie in another file of the machine."""
    del file["after/time_s"]
    other = Path(file.filename).with_name("secret")
    other.write_bytes(bytes(80))
    file["after"].create_dataset("time_s", (10,), "<f8", external=[(str(other), 0, 80)])


def virtual(file):
    del file["after/time_s"]
    layout = h5py.VirtualLayout((10,), "<f8")
    layout[:] = h5py.VirtualSource("other.h5", "x", (10,))
    file["after"].create_virtual_dataset("time_s", layout)


def packed(file):
    """A megabyte of zeros that is a kilobyte in the file."""
    del file["after/time_s"]
    file["after"].create_dataset("time_s", data=np.zeros(1 << 17), compression="gzip")


def same_text_often(file):
    """Many references to one long text: more than the file has bytes, which reading them would take."""
    del file["warnings/warning"], file["warnings/number"]
    text = "x" * (1 << 16)
    file["warnings"].create_dataset("warning", data=np.array([text] + [""] * 999, object), dtype=h5py.string_dtype())
    file["warnings"].create_dataset("number", data=np.arange(1000))
    first = file["warnings/warning"].id.get_offset()
    file.flush()
    with open(file.filename, "r+b") as stream:
        stream.seek(first)
        one = stream.read(16)
        stream.seek(first)
        stream.write(one * 1000)


def odd_codes(file):
    rewritten(file, "status", 7)


def vast(file):
    """Numbers whose squares overflow, as no computation leaves them."""
    rewritten(file, "period_change_s", 1e302)


def rewritten(file, name, value):
    column = file["members"][name]
    column[...] = value
    total = Recipe(name, column.dtype.str, 2)
    total.add(column[()])
    column.attrs["content_sha256"] = total.hexadecimal


def many_in_one(file):
    """A column with an axis of its own among single values."""
    columns = {name: Column((), file["changes"][name][()]) for name in file["changes"]}
    del file["changes"]
    write_group(file, "changes", columns | {"time_s": Column(("time_s",), np.arange(3.0))})


CRAFTED = [
    ("prediction", many_in_one, "a column of many"),
    ("prediction", without("kind"), "it has no kind"),
    ("prediction", with_("kind", "\x1b[31mnew"), "it holds"),
    ("prediction", with_("kind", 3), "kind is of another kind"),
    ("prediction", with_("scenario_name", np.zeros(1000)), "scenario_name"),
    ("prediction", without("scenario_name"), "it has no scenario_name"),
    ("prediction", huge, "larger than the file"),
    ("prediction", soft, "there is no numbers"),
    ("prediction", elsewhere, "there is no numbers"),
    ("prediction", lambda file: file["numbers"].attrs.__setitem__("columns", "../../x"), "is named '../../x'"),
    ("prediction", lambda file: file["numbers"].attrs.__setitem__("columns", "a " * 20_000), "too many"),
    ("prediction", lambda file: file["numbers"].attrs.__delitem__("columns"), "columns is missing"),
    (
        "prediction",
        lambda file: write_group(file.create_group("old"), "x", {}) or file.move("start", "gone"),
        "no start",
    ),
    ("prediction", same_text_often, "longer than the file"),
    ("sweep", with_("design", "[" * 100_000), "its design is none"),
    ("sweep", with_("design", "{}"), "its design is none"),
    ("sweep", with_("design", '{"sample": "random", "quantities": [["a", "normal", [1, "x"]]]}'), "its design is none"),
    ("sweep", with_("design", "[[1, [2.0]]]"), "its design is none"),
    ("sweep", with_("design", json.dumps([["impactor.mass_kg", [1.0]]])), "another number of members"),
    ("sweep", with_("members", "many"), "members is of another kind"),
    ("sweep", without("members"), "it has no members"),
    ("sweep", lambda file: file["members"].attrs.__setitem__("columns", "member status"), "have no reason"),
    ("sweep", odd_codes, "mean no word"),
    ("sweep", vast, "holds numbers beyond 1e+150"),
]


@pytest.mark.parametrize(("kind", "change", "sentence"), CRAFTED)
def test_show_says_one_sentence(kind, change, sentence, made, tmp_path, capsys):
    path = crafted(made[kind], change, tmp_path / "x.h5")
    assert main(["show", str(path)]) == 2
    out, err = capsys.readouterr()
    assert err.count("\n") == 1 and sentence in err and "\x1b" not in err, err
    assert out == ""


@pytest.mark.parametrize("change", [outside, virtual, packed])
def test_runs_that_do_not_lie_in_the_file_are_not_read(change, made, tmp_path):
    with pytest.raises(InputError, match="does not lie in the file as it was written"):
        _ = open_result(crafted(made["prediction"], change, tmp_path / "x.h5")).after


def test_texts_of_a_file_do_not_command_the_terminal(made, tmp_path, capsys):
    def change(file):
        file.attrs["scenario_name"] = file.attrs["git_state"] = ESCAPE
        file.attrs["caution"] = ESCAPE
        del file["warnings"]
        number = Column.of("number", np.arange(1), "number")
        write_group(file, "warnings", {"number": number, "warning": Column.of("warning", [ESCAPE], "number")})

    path = crafted(made["prediction"], change, tmp_path / "x.h5")
    assert main(["show", str(path)]) == 0
    out = capsys.readouterr().out
    assert r"\x1b]0;owned\x07\x1b[31m\u202e, prediction" in out and r"warning: \x1b]0;owned" in out
    assert all(c.isprintable() or c == "\n" for c in out)


@pytest.mark.parametrize("command", ["check", "describe", "predict"])
def test_texts_of_a_scenario_do_not_command_the_terminal(command, tmp_path, capsys):
    text = HIT.replace('"an invented system"', r'"\u001b[31mred\u0007"' + '\ndescription = """two\nlines\\u001b[0m"""')
    path = tmp_path / "red.toml"
    path.write_text(text)
    assert main([command, str(path)]) == 0
    out = capsys.readouterr().out
    assert r"\x1b[31mred\x07" in out and all(c.isprintable() or c == "\n" for c in out)
    assert command != "check" or "two\nlines\\x1b[0m\n" in out


def test_a_name_with_a_zero_can_be_stored(tmp_path, capsys):
    path = tmp_path / "zero.toml"
    path.write_text(HIT.replace('"an invented system"', r'"a\u0000b"'))
    assert main(["predict", str(path), "--out", str(tmp_path / "p.h5")]) == 0
    assert open_result(tmp_path / "p.h5").scenario.name == "a\0b"


def test_all_attributes_that_are_written_are_read(made):
    for kind in ("sweep", "prediction"):
        with h5py.File(made[kind]) as file:
            assert set(file.attrs) <= ATTRIBUTES | {"backend", "workers"}
            assert set(file.attrs) == set(open_result(made[kind]).attributes)


def test_an_infinite_number_of_a_file_is_null_in_json(made, tmp_path, capsys):
    def change(file):
        columns = {name: Column((), file["changes"][name][()]) for name in file["changes"]}
        del file["changes"]
        write_group(file, "changes", columns | {"crossings": Column((), np.float64(np.inf))})

    assert main(["show", str(crafted(made["prediction"], change, tmp_path / "x.h5")), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["period_changes_s"]["crossings"] is None
