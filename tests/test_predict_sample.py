"""A prediction with drawn inputs: what it says of the members, beside the stated values, and what it refuses."""

import json
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from short_sweeps import HIT, scenario

from binarydyn import plots
from binarydyn.commands import main
from binarydyn.ensembles import rows_of
from binarydyn.observables.averages import told_intervals
from binarydyn.sampling import Sample
from binarydyn.store import Members, open_result

DRAWN = (
    HIT.replace("days_before", "degree = 2\ndays_before")  # the model's error then needs degree 4, not a further one
    + """
[requirement]
period_change_s = 300.0
precision_s = 7.3
[sampling]
count = 8
[sampling.quantities]
"impactor.mass_kg" = {normal = [480.0, 10.0]}
"mutual_orbit.separation_m" = {normal = [821.0, 4.0]}
"""
)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "pair.toml"
    path.write_text(DRAWN, encoding="utf-8")
    return str(path)


def said(capsys, *words) -> dict:
    assert main(["predict", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_members_are_those_of_a_sweep_and_stand_beside_the_stated_values(file, tmp_path, capsys):
    out = str(tmp_path / "p.h5")
    report = said(capsys, file, "--out", out)
    alone = said(capsys, file, "--nominal")
    assert alone.pop("warnings") == report["warnings"]
    assert {key: report[key] for key in alone} == alone
    rows = sorted(rows_of(scenario(DRAWN), Sample.of(scenario(DRAWN), "random")), key=lambda row: row.index)
    changes = np.array([row.numbers["period_change_s"] for row in rows])
    stored = open_result(out)
    assert stored.columns["period_change_s"].tolist() == changes.tolist()
    assert stored.columns["impactor.mass_kg"].tolist() == [row.inputs["impactor.mass_kg"] for row in rows]
    marks = report["statistics"]["period_change_s"]
    assert marks["median"] == np.median(changes) and marks["sigma"] == np.std(changes, ddof=1)
    assert marks["low_68"] == np.quantile(changes, 0.16) and marks["low_95"] is None
    assert report["probabilities"]["change_of_300_s"]["probability"] == np.mean(np.abs(changes) >= 300.0)
    assert report["model_error"]["next_degree_s"] != 0.0 and report["model_error"]["denser_moonlet_s"] != 0.0
    assert main(["show", out]) == 0
    printed = capsys.readouterr().out
    assert "at least 7 (68 %) or 40 (95 %) members" in printed and "intervals: 8 completed members" in printed
    assert "observing time to reach 7.3 s: see `binarydyn plan`" in printed


def test_an_interval_is_told_where_its_ends_are_in_the_sample():
    """One value beyond each end: 1 / 0.16 = 6.25 of them for 68 %, 1 / 0.025 = 40 for 95 %."""
    for count, has_68, has_95 in ((1, False, False), (6, False, False), (7, True, False), (39, True, False)):
        marks = told_intervals(np.arange(float(count)))
        assert (marks["low_68"] is not None, marks["high_95"] is not None) == (has_68, has_95)
        assert marks["median"] == 0.5 * (count - 1)
    assert told_intervals(np.arange(40.0))["high_95"] == pytest.approx(39 * 0.975)


def test_without_distributions_it_stays_one_run(tmp_path, capsys):
    path = tmp_path / "plain.toml"
    path.write_text(HIT, encoding="utf-8")
    assert "statistics" not in said(capsys, str(path))
    assert main(["predict", str(path), "--count", "5"]) == 2
    assert "allowed is where members are drawn" in capsys.readouterr().err


def test_what_is_refused(file, tmp_path, capsys):
    for words in (
        ["--nominal", "--seed", "3"],
        ["--sample", "sobl"],
        ["--count", "0"],
        ["--table", "short"],
        ["--plot-sample", "x.gif"],
    ):
        assert main(["predict", file, *words]) == 2
        errors = capsys.readouterr().err
        assert errors.startswith("binarydyn:") and errors.count("\n") == 1


def test_a_brief_table_says_the_same_of_what_it_has(file, capsys):
    """Period changes by the splitting, to 2 ms of the adaptive method's (its own word); what a campaign measures to
    is no outcome of either.
    """
    full, summary = said(capsys, file), said(capsys, file, "--table", "summary")
    for name in ("period_change_s", "along_track_dv_mm_s"):
        for mark in ("median", "sigma", "low_68"):
            assert summary["statistics"][name][mark] == pytest.approx(full["statistics"][name][mark], abs=4e-3)
    assert summary["probabilities"]["change_of_300_s"] == full["probabilities"]["change_of_300_s"]
    assert "chaotic_after" in summary["probabilities"] and "lost_lock_after" in summary["probabilities"]
    for report in (full, summary):
        assert report["required_precision_s"] == 7.3 and not any("measured" in name for name in report["probabilities"])
        assert report["completed"] == 8 and report["chaotic_members"] == 0
        assert report["statistics_of_regular"] == report["statistics"]


def test_a_brief_sweep_without_companions_has_the_same_intervals_and_says_what_was_not_looked_at(
    file, tmp_path, capsys
):
    texts, found = [], []
    for k, more in enumerate(([], ["--chaos"])):
        out = str(tmp_path / f"{k}.h5")
        assert main(["sweep", file, "--sample", "random", "--table", "summary", "--quiet", "--out", out, *more]) == 0
        texts.append(capsys.readouterr().out)
        assert main(["show", out, "--json"]) == 0
        found.append(json.loads(capsys.readouterr().out))
    without, beside = found
    assert without["statistics"] == beside["statistics"] and beside["chaotic_members"] == 0
    assert without["chaotic_members"] is without["statistics_of_regular"] is without["chaotic"] is None
    assert "chaos not checked" in texts[0] and "chaotic after" not in texts[0]
    assert "no member is chaotic" in texts[1] and "not checked" not in texts[1]


def test_a_stated_value_that_is_far_from_what_is_drawn_is_said(file, capsys):
    """20 kg are two sigmas of the mass, 40 kg are four."""
    for mass, count in ((500.0, 0), (520.0, 1)):
        with open(file, "w", encoding="utf-8") as stream:
            stream.write(DRAWN.replace("mass_kg = 480.0", f"mass_kg = {mass}"))
        sentences = [one for one in said(capsys, file)["warnings"] if "stands apart" in one]
        assert len(sentences) == count and all("impactor.mass_kg is stated as 520" in one for one in sentences)


def test_an_interruption_tells_what_is_done(file, capsys, monkeypatch):
    def until_five(*given, **named):
        for count, row in enumerate(rows_of(*given, **named)):
            if count == 5:
                raise KeyboardInterrupt
            yield row

    monkeypatch.setattr("binarydyn.ensembles.rows_of", until_five)
    assert main(["predict", file, "--json"]) == 130
    printed = capsys.readouterr()
    report = json.loads(printed.out)
    assert report["members_completed"] == 5 and report["period_change_s"] < 0.0 and "5 of 8 members" in printed.err


def test_the_figure_shows_the_members(file, tmp_path):
    """Seven members carry 68 % and no 95 %; rank correlations of a rising and of the same column are -1 and 1."""
    change = np.array([-500.0, -510.0, -520.0, -530.0, -540.0, -550.0, -560.0])
    columns = {"status": np.array(["completed"] * 7), "period_change_s": change, "chaotic_after": np.zeros(7)}
    columns |= {"impactor.mass_kg": np.arange(7.0), "mutual_orbit.separation_m": change}
    drawn = Members(scenario(DRAWN), Sample.of(scenario(DRAWN), "random"), columns, "full", "")
    figure = plots.sample_figure(drawn)
    renderer = FigureCanvasAgg(figure).get_renderer()
    assert all(text.get_window_extent(renderer).x1 < figure.bbox.x1 for text in figure.texts)
    bars, ranks = figure.axes
    assert sum(bar.get_height() for bar in bars.containers[0]) == 7  # the outermost ones too
    labels = bars.get_legend_handles_labels()[1]
    assert "68 %" in labels and "95 %" not in labels and "of these, chaotic" not in labels
    assert sorted(bar.get_width() for bar in ranks.patches) == pytest.approx([-1.0, 1.0])
    wild = replace(drawn, columns=columns | {"chaotic_after": np.array([1, 0, 0, 0, 0, 0, 0])})
    figure = plots.sample_figure(wild)
    assert "of these, chaotic" in figure.axes[0].get_legend_handles_labels()[1]
    said = [text.get_text() for text in figure.texts][1]
    assert "median \N{MINUS SIGN}530.0 s" in said and "7 of 7 members have a period change; 1 of them chaotic" in said
    path = tmp_path / "s.png"
    assert main(["predict", file, "--plot-sample", str(path)]) == 0 and path.stat().st_size > 10_000
