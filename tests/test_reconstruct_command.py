"""The command `reconstruct`, its file, its figure and its table for ArviZ, on a small campaign of the built-in pair."""

import json

import numpy as np
import pytest

import binarydyn
from binarydyn.commands import main
from binarydyn.scenario import example
from binarydyn.store.mid_times import read_mid_times

DAYS = 5


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    """Folder with times of contacts, and what the command wrote and printed of them."""
    folder = tmp_path_factory.mktemp("campaign")
    how = ["--days", f"{DAYS}", "--noise-s", "20", "--timed", "contacts", "--share", "0.25", "--seed", "4"]
    assert main(["timing", "--synthesise", str(folder / "times.csv"), *how]) == 0
    outputs = ["--out", str(folder / "found.h5"), "--plot", str(folder / "found.png")]
    code = main(["reconstruct", "--times", str(folder / "times.csv"), "--draws", "300", "--seed", "1", *outputs])
    return folder, code


@pytest.fixture(scope="module")
def found(campaign):
    return binarydyn.open(campaign[0] / "found.h5")


def test_the_truth_is_within_the_intervals(campaign, found):
    """Of one campaign: four standard deviations; the truth is what `predict` says of the built-in pair."""
    assert campaign[1] == 0 and found.status == "completed"
    truth = {"momentum_transfer.beta": 2.2, "mutual_orbit.separation_m": 821.0, "secondary.semi_axes_m.0": 70.0}
    numbers = binarydyn.predict().numbers()
    truth |= {name: numbers[name] for name in ("period_change_s", "along_track_dv_mm_s", "eccentricity_after")}
    off = {
        name: abs(found.intervals[name]["mean"] - value) / found.intervals[name]["sigma"]
        for name, value in truth.items()
    }
    assert max(off.values()) < 4.0, off


def test_intervals_are_in_order_and_narrower_than_before(found):
    for one in found.intervals.values():
        assert one["low_95"] <= one["low_68"] <= one["median"] <= one["high_68"] <= one["high_95"]
    known = [name for name, sd in found.prior_sd.items() if np.isfinite(sd)]
    assert all(found.intervals[name]["sigma"] < 1.3 * found.prior_sd[name] for name in known)
    assert found.intervals["e_cos"]["sigma"] < 0.5 * found.prior_sd["e_cos"]
    assert found.weight.sum() == pytest.approx(1.0) and 100.0 < found.summary["effective_draws"] <= len(found)


def test_saved_and_opened_it_is_the_same_to_the_bit(found, tmp_path):
    binarydyn.save(tmp_path / "again.h5", found)
    again = binarydyn.open(tmp_path / "again.h5")
    assert type(again) is type(found) and again.summary == found.summary and again.warnings == found.warnings
    for name in ("columns", "times"):
        one, other = getattr(found, name), getattr(again, name)
        assert list(one) == list(other) and all(np.array_equal(one[k], other[k], equal_nan=True) for k in one)
    assert (
        again.prior_sd == found.prior_sd and again.fisher_sd == found.fisher_sd and again.intervals == found.intervals
    )


def test_draws_of_equal_weight_have_the_same_mean(found):
    even = found.unweighted(4000)["period_change_s"]
    one = found.intervals["period_change_s"]
    assert even.mean() == pytest.approx(one["mean"], abs=0.05 * one["sigma"])


def test_arviz_takes_the_draws(found):
    pytest.importorskip("arviz")
    data = found.to_inference_data(500)
    assert data.posterior["momentum_transfer.beta"].shape == (1, 500)
    assert np.array_equal(data.observed_data["time_s"], found.times["observed_s"])


def test_the_figure_is_written(campaign):
    assert (campaign[0] / "found.png").read_bytes()[:4] == b"\x89PNG"


def test_show_tells_what_is_in_the_file(campaign, capsys):
    assert main(["show", str(campaign[0] / "found.h5")]) == 0
    shown = capsys.readouterr().out
    assert "momentum" not in shown.split("\n")[0] and "effective draws" in shown and "source_digest" in shown
    assert main(["show", "--json", str(campaign[0] / "found.h5")]) == 0
    assert json.loads(capsys.readouterr().out)["kind"] == "reconstruction"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["reconstruct"], "--times: no file is given"),
        (["reconstruct", "--times", "TIMES", "--draws", "5"], "--draws: 5 is given, allowed is 50 .. 100000"),
        (["reconstruct", "--times", "TIMES", "--seed", "-1"], "--seed: -1 is given"),
        (["reconstruct", "--times", "TIMES", "--out", "TIMES"], "--out"),
    ],
)
def test_bad_input_is_one_sentence(campaign, capsys, words, said):
    place = str(campaign[0] / "times.csv")
    assert main([place if word == "TIMES" else word for word in words]) == 2
    error = capsys.readouterr().err
    assert said in error and error.count("\n") == 1


def test_without_an_impact_nothing_is_looked_for(campaign, capsys, tmp_path):
    quiet = example().replace({"impactor": None, "momentum_transfer": None})
    quiet.to_toml(tmp_path / "quiet.toml")
    assert main(["reconstruct", str(tmp_path / "quiet.toml"), "--times", str(campaign[0] / "times.csv")]) == 2
    assert "no impact is given" in capsys.readouterr().err


def test_the_table_is_read_as_timing_reads_it(campaign, found):
    from binarydyn.observing.reference import sky_and_start

    sky, begun = sky_and_start(example())
    assert (
        len(read_mid_times(str(campaign[0] / "times.csv"), sky.clock, begun.period_h)) == found.summary["events_used"]
    )


def test_an_event_alone_is_refused(campaign, capsys):
    """A period on each side is behind every start of the fit."""
    alone = campaign[0] / "alone.csv"
    alone.write_text("".join((campaign[0] / "times.csv").read_text().splitlines(True)[:2]))
    assert main(["reconstruct", "--times", str(alone)]) == 2
    assert "before the impact are given, a period needs at least 3" in capsys.readouterr().err
