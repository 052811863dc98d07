"""`light-curve`: what is normalised, marked, noisy and refused; events against the timetable."""

import csv
import json

import numpy as np
import pytest
from invented import PLACELESS

from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.observing.light_curve import Surface, light_curve, span
from binarydyn.observing.light_curve_rows import curve_rows
from binarydyn.observing.timetable import timetable
from binarydyn.plots.pages.light_curve import light_curve_figure
from binarydyn.scenario import Scenario, example, varied

COARSE = Surface(facets=500)


@pytest.fixture(scope="module")
def found():
    return light_curve(example(), -0.6, 1.2, 6.0, surface=COARSE)


@pytest.fixture(scope="module")
def told(found):
    return curve_rows(found)


def test_epochs_are_a_closed_grid_and_t0_is_after_the_impact(found, told):
    time = np.array([row["time_s"] for row in told])
    np.testing.assert_allclose(time, -0.6 * 86400.0 + 360.0 * np.arange(289), atol=1e-6)
    assert [row["side"] for row in told] == ["before"] * 144 + ["after"] * 145
    assert time[144] == pytest.approx(0.0, abs=1e-6) and found.status == "completed"


def test_the_mean_flux_of_the_whole_curve_is_one(told):
    """Of both sides together: neither side alone has mean 1."""
    flux = 10.0 ** (-0.4 * np.array([row["magnitude_without_noise"] for row in told]))
    assert flux.mean() == pytest.approx(1.0, abs=1e-12)
    assert abs(flux[:144].mean() - 1.0) > 1e-4


def test_events_are_those_of_the_timetable(found):
    """Every one that touches the curve, and no other; here the parts of those that overlap are told, by themselves."""
    happens = [entry.event for entry in timetable(example(), 1.0).entries if entry.counts]
    first, last = found.curve.time_s[[0, -1]]
    wanted = [e for e in happens if span(e)[1] >= first and span(e)[0] <= last]
    assert len(found.events) >= 10 and len(wanted) >= 6
    for other in wanted:
        inside = [e for e in found.events if e.body == other.body and abs(e.mid_s - other.mid_s) < 7200.0]
        kinds = {kind for kind, *_ in other.causes}
        mine = [e for e in inside if e.kind in kinds]
        assert {e.kind for e in mine} == kinds and other.extent in {e.extent for e in mine}
        assert min(span(e)[0] for e in mine) == pytest.approx(span(other)[0], abs=0.05)
        assert max(span(e)[1] for e in mine) == pytest.approx(span(other)[1], abs=0.05)


def test_the_moonlet_is_dark_only_where_an_event_of_it_is_marked(told):
    """In between it has its share, k^2 / (1 + k^2) for spheres; a triaxial body's varies by a third."""
    share = np.array([row["share_of_secondary"] for row in told])
    marked = np.array(["of the secondary" in row["events"] for row in told])
    alone = np.array([row["events"] == "" for row in told])
    assert np.sum(share == 0.0) > 20 and marked[share == 0.0].all()
    k2 = (70.0 * 61.5 * 48.0) ** (2 / 3) / (271.0 * 262.0 * 246.0) ** (2 / 3)
    np.testing.assert_allclose(share[alone], k2 / (1.0 + k2), rtol=0.35)
    magnitude = np.array([row["magnitude_without_noise"] for row in told])
    assert magnitude[marked & (share == 0.0)].mean() - magnitude[alone].mean() > 0.03


def test_a_darker_moonlet_has_a_smaller_share(told):
    dark = curve_rows(light_curve(example(), -0.02, 0.02, 6.0, surface=Surface(albedo_ratio=0.5, facets=500)))
    bright = [row for row in told if row["time_s"] == pytest.approx(dark[0]["time_s"], abs=200.0)][0]
    s = bright["share_of_secondary"]
    assert dark[0]["share_of_secondary"] == pytest.approx(0.5 * s / (1.0 - 0.5 * s), rel=0.1)


def test_noise_has_its_sigma_and_its_seed(found):
    noisy, same, other = (light_curve(example(), 0.1, 0.5, 3.0, 0.02, seed, Surface(facets=80)) for seed in (4, 4, 5))
    errors = noisy.magnitude - noisy.curve.magnitude
    assert errors.std() == pytest.approx(0.02, rel=4.0 / np.sqrt(2.0 * len(errors)))
    assert np.array_equal(noisy.magnitude, same.magnitude) and not np.array_equal(noisy.magnitude, other.magnitude)
    assert np.array_equal(found.magnitude, found.curve.magnitude)


def test_weeks_after_the_impact_there_is_no_before():
    late = light_curve(example(), 9.0, 0.3, 10.0, surface=Surface(facets=80))
    assert late.curve.time_s[0] == 9.0 * 86400.0 and {row["side"] for row in curve_rows(late)} == {"after"}
    assert late.events and all(span(event)[1] >= late.curve.time_s[0] for event in late.events)


def test_a_contact_ends_the_curve(tmp_path, capsys):
    text = example().text
    hard = text.replace(
        text[text.index("[impactor]") : text.index("[simulation]")], "[velocity_change]\nalong_track_mm_s = -70.0\n"
    )
    file = tmp_path / "hard.toml"
    file.write_text(hard)
    assert main(["light-curve", str(file), "--facets", "80", "--json"]) == 1
    shown = json.loads(capsys.readouterr().out)
    assert shown["status"] == "contact" and 288 < shown["epochs"] < 577
    assert any("ends early" in sentence for sentence in shown["warnings"])
    with pytest.raises(InputError, match="begin earlier"):
        light_curve(Scenario.from_text(hard), 3.0, 0.1, surface=Surface(facets=80))


def test_without_a_file_the_invented_pair_shines(tmp_path, capsys):
    sheet, figure = tmp_path / "l.csv", tmp_path / "l.svg"
    words = ["light-curve", "--days", "0.5", "--from-days", "-0.25", "--step-minutes", "15", "--facets", "80"]
    words += ["--noise-mag", "0.01", "--seed", "3", "--law", "lambert", "--phase-law", "linear_exponential"]
    assert main([*words, "--csv", str(sheet), "--plot", str(figure)]) == 0
    shown = capsys.readouterr().out
    assert "Lambert: S = mu mu0" in shown and "0.5 exp(-alpha / 0.1 rad)" in shown and "hazard" in shown
    assert "0 is the mean flux" in shown and "noise: 0.01 mag, seed 3" in shown and "secondary eclipsed" in shown
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    with sheet.open(encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    assert len(lines) == len(told["epochs_seen"]) == told["epochs"] == 49
    for line, row in zip(lines, told["epochs_seen"], strict=True):
        assert float(line["magnitude"]) == row["magnitude"] and line["events"] == row["events"]
    assert told["phase_law"] == "linear_exponential" and told["law"] == "lambert"
    assert figure.stat().st_size > 10_000


def test_the_figure_has_a_bar_for_each_event(found):
    lines = light_curve_figure(found).axes[0].get_lines()
    names = [line.get_label() for line in lines]
    bars = [name for name in names if name == "_event" or " of the " in name]
    assert len(bars) == len(found.events) and "before the impact" in names and "after the impact" in names


@pytest.mark.parametrize(
    "words, said",
    [
        (["--days", "0"], "0.01 .. 3650"),
        (["--days", "nan"], "0.01 .. 3650"),
        (["--from-days", "1e5"], "-3650 .. 3650"),
        (["--step-minutes", "0"], "0.05 .. 1440"),
        (["--step-minutes", "0.05", "--days", "100"], "allowed 2 .. 50000"),
        (["--noise-mag", "-0.1"], "0 .. 10"),
        (["--seed", "-1"], "0 .. 2^63"),
        (["--law", "phong"], "lommel_seeliger"),
        (["--phase-law", "linear"], "linear_exponential"),
        (["--albedo-ratio", "0"], "0.01 .. 100"),
        (["--facets", "3"], "80 .. 200000"),
        (["--csv", "no/where.csv"], "folder"),
        (["--plot", "curve.gif"], ".png"),
        (["nothing.toml"], "no such file"),
    ],
)
def test_wrong_options_are_one_sentence(words, said, capsys):
    assert main(["light-curve", *words]) == 2
    errors = capsys.readouterr().err
    assert said in errors and errors.count("\n") == 1


def test_a_pair_without_a_place_is_refused(tmp_path, capsys):
    file = tmp_path / "nowhere.toml"
    file.write_text(PLACELESS)
    assert main(["light-curve", str(file)]) == 2
    errors = capsys.readouterr().err
    assert "heliocentric_orbit" in errors and errors.count("\n") == 1


def test_a_miss_changes_no_brightness():
    """The run after is the run that goes on: the curve is that without an impact."""
    text = example().text
    quiet = Scenario.from_text(text[: text.index("[impactor]")] + text[text.index("[simulation]") :])
    missed = varied(example(), {"impactor.aim_offset_m.0": 500.0})
    one, two = (light_curve(s, 0.0, 0.4, 10.0, surface=Surface(facets=80)) for s in (quiet, missed))
    assert two.impact.status == "miss" and np.array_equal(one.magnitude, two.magnitude)


def test_new_shapes_shine_from_t0_on():
    """Within a minute nothing turns or moves by more than a tenth of what the other shape changes."""
    text = example().text.replace(
        "[simulation]", "[reshaping]\nsecondary_semi_axes_m = [84.0, 61.5, 40.0]\n[simulation]"
    )
    found = light_curve(Scenario.from_text(text), -0.0125, 0.025, 0.5, surface=Surface(facets=500))
    share = np.array([row["share_of_secondary"] for row in curve_rows(found)])
    first = int(np.flatnonzero(found.curve.time_s >= 0.0)[0])
    assert abs(found.curve.time_s[first]) < 1e-6
    step, drift = abs(share[first] - share[first - 1]), abs(share[first + 1] - share[first])
    assert step > 10.0 * drift
