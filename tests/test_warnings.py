"""Warnings belong to a result: with --json they are in the object and stderr stays empty, else they follow the text."""

import json
from pathlib import Path

import pytest

import binarydyn
from binarydyn.commands.shell import main
from binarydyn.prediction.outcomes import OUTCOMES
from binarydyn.scenario.scenario import example
from binarydyn.store import open_result

COMMANDS = Path(binarydyn.__file__).parent / "commands"


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("warnings") / "doubtful.toml"
    text = example().text.replace("= 3120.0", "= 2000.0").replace("days_before = 60.0", "days_before = 5.0")
    path.write_text(text.replace("days_after = 60.0", "days_after = 5.0"))
    return str(path)


@pytest.mark.parametrize("command", [["predict"], ["describe"], ["infer", "--count", "100"]])
def test_a_warning_is_told_once_and_where_the_result_is(file, command, capsys):
    name, *options = command
    options += ["--period-change-s", "-900", "--sigma-s", "3"] if name == "infer" else []
    words = "there is no [sampling]" if name == "infer" else "masses, separation and period disagree"
    assert main([name, file, *options, "--json"]) == 0
    out, err = capsys.readouterr()
    assert [words in sentence for sentence in json.loads(out)["warnings"]].count(True) == 1
    assert err == ""
    assert main([name, file, *options]) == 0
    out, err = capsys.readouterr()
    assert [line for line in out.splitlines() if words in line][0].startswith("warning: ") and "warning" not in err


def test_a_miss_changes_nothing_and_says_no_more(tmp_path, capsys):
    path = tmp_path / "miss.toml"
    text = example().text.replace("= 60.0", "= 5.0")
    assert "aim_offset_m = [0.0, 0.0]" in text
    path.write_text(text.replace("aim_offset_m = [0.0, 0.0]", "aim_offset_m = [200.0, 0.0]"))
    assert main(["predict", str(path)]) == 1
    out = capsys.readouterr().out
    assert (
        "miss" in out
        and "no impact, so nothing changes: the line of flight passes the secondary's centre at 200 m" in out
    )
    assert "period change" not in out.lower() and "fit error" not in out and len(out.splitlines()) <= 4
    stored = str(tmp_path / "miss.h5")
    assert main(["predict", str(path), "--json", "--out", stored]) == 1
    report = json.loads(capsys.readouterr().out)
    assert report["status"] == "miss" and report["period_before_h"] == pytest.approx(report["period_after_h"])
    assert report["period_change_s"] is report["period_change_fit_error_s"] is None
    assert report["period_changes_by_estimator_s"] == report["analytic_period_changes_s"] == {}
    assert json.dumps(open_result(stored).numbers) == json.dumps(
        {name: report[name] for name in OUTCOMES if name in report}
    )
    assert open_result(stored).period_changes_s == {}


def test_who_asks_for_the_stated_values_alone_is_not_warned_of_it(tmp_path, capsys):
    path = tmp_path / "single.toml"
    sampling = '\n[sampling.quantities]\n"impactor.mass_kg" = {normal = [480.0, 5.0]}\n'
    path.write_text(example().text.replace("= 60.0", "= 5.0") + sampling)
    assert main(["predict", str(path), "--nominal", "--json"]) == 0
    out, err = capsys.readouterr()
    report = json.loads(out)
    assert not any("sampl" in sentence for sentence in report["warnings"]) and "statistics" not in report and err == ""


@pytest.mark.parametrize("path", sorted(COMMANDS.glob("*.py")), ids=lambda path: path.stem)
def test_no_command_warns_beside_its_result(path):
    """But for sweep, which says while it runs what it found damaged in the file."""
    lines = path.read_text().splitlines()
    aside = [line for line in lines if "warning" in line and "sys.stderr" in line]
    assert len(aside) == (1 if path.stem == "sweep" else 0)
