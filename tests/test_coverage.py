"""Synthetic times of observers, and how often the fit's intervals hold drawn truths."""

import json
import signal
from dataclasses import replace

import numpy as np
import pytest
from test_geometry import pair

from binarydyn.commands import main
from binarydyn.constants import DAY_S
from binarydyn.errors import InputError
from binarydyn.observing.cadence import Cadence
from binarydyn.observing.coverage import SHARES, Coverage, Trial, coverages, tried
from binarydyn.observing.event_times import fitted_times, reference_for
from binarydyn.observing.synthetic_times import Observing, in_one_law, observed, synthesised, times_of
from binarydyn.timing.mid_times import DEFINITIONS
from binarydyn.timing.mixture import Mixture

DAYS = 5.0


@pytest.fixture(scope="module")
def reference():
    return reference_for(pair(), synthesised(pair(), DAYS, Observing(0.0), 0))


def test_an_observer_times_the_dip_that_the_scenario_shows(reference):
    """Centroids of the nominal system's table plus light time; another law and another definition are other times."""
    mids = synthesised(pair(), DAYS, Observing(0.0), 0)
    dips, sight = reference.found.nominal.dips, reference.found.nominal.sight
    seen = np.sort(dips.centroid_s[:, 0] + sight.light_time_s(dips.centroid_s[:, 0]))
    assert np.abs(mids.seen_s[:, None] - seen).min(axis=1).max() < 0.01 and len(mids) > 40
    for how in (Observing(0.0, law="lambert"), Observing(0.0, timed="half_depth"), Observing(0.0, timed="contacts")):
        other = synthesised(pair(), DAYS, how, 0)
        away = np.abs(other.seen_s[:, None] - mids.seen_s).min(axis=1)
        assert set(other.timed) == {how.timed} and 3.0 < np.median(away) < 3000.0
    assert in_one_law(np.array([[1.0, 3.0]]), np.array([[2.0, 6.0]]), "lommel_seeliger_lambert") == pytest.approx(
        (1.0 * 2.0 + 0.1 * 6.0 * 3.0) / (2.0 + 0.1 * 6.0)
    )


def test_noise_is_a_times_own_and_a_nights():
    """Of 4000 times in nights of four observers: variances to three of their errors; sigma_s is a time's own alone."""
    exact = synthesised(pair(), 1.0, Observing(0.0), 0)
    many = exact.chosen(np.arange(4000) % len(exact))
    many = replace(many, group=np.arange(4000) // 20)
    seen = observed(many, Observing(40.0, 30.0, observers=4), np.random.default_rng(1))
    order = np.argsort(many.seen_s, kind="stable")
    assert set(seen.sigma_s) == {40.0} and set(seen.observer) == {f"observer {k}" for k in (1, 2, 3, 4)}
    one = observed(many, Observing(40.0, 30.0), np.random.default_rng(1))
    late = np.empty(4000)
    late[:] = np.nan
    # times far enough apart keep their order
    for night in range(200):
        mine = one.group == night
        late[night] = np.mean(one.seen_s[mine]) - np.mean(many.seen_s[many.group == night])
    common = np.nanvar(late)
    wanted = 30.0**2 + 40.0**2 / 20.0
    assert common == pytest.approx(wanted, rel=3.0 * np.sqrt(2.0 / 200.0)) and len(order) == 4000
    assert observed(many, Observing(40.0, stated=0.0), np.random.default_rng(1)).sigma_s is None
    assert set(observed(many, Observing(40.0, stated=0.5), np.random.default_rng(1)).sigma_s) == {20.0}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"law": "phong"}, "allowed is lambert or lommel_seeliger"),
        ({"timed": "middle"}, "allowed is dip_centroid or half_depth"),
        ({"noise_s": -1.0}, "0.001 .. 100000"),
        ({"night_noise_s": np.nan}, "night_noise_s"),
        ({"observers": 0}, "allowed is 1 .. 1000"),
        ({"outliers": 0.9}, "allowed is 0 .. 0.5"),
        ({"share": 0.0}, "above 0 to 1"),
    ],
)
def test_what_nobody_observes_is_refused(changed, said):
    with pytest.raises(InputError, match=said):
        Observing(**changed)


@pytest.mark.parametrize("timed", DEFINITIONS)
def test_exact_times_of_a_drawn_system_give_its_change(reference, timed):
    """Of a member that the errors are made of, by the mean of no law: 3 sigma, which a wrong definition misses."""
    world = reference.found.members[1]
    truth = world.orbit.change_s
    how = Observing(0.0, timed=timed, law="lambert")
    rows = np.arange(len(world.table(timed == "contacts")))
    mids = times_of(world, rows, how, 0.0)
    mids = mids.chosen(np.abs(mids.seen_s) < (DAYS - 0.5) * DAY_S)
    found = fitted_times(reference, replace(mids, sigma_s=np.full(len(mids), 5.0)))
    assert abs(found.change.mean - truth) < 3.0 * found.change_sigma_s < 15.0
    assert abs(truth - reference.found.nominal.orbit.change_s) > 30.0


def test_a_cadence_is_found_in_the_system_that_it_is_of(reference):
    mids = synthesised(pair(), DAYS, Observing(0.0), 0)
    cadence = Cadence.of(reference, mids.chosen(np.arange(0, len(mids), 3)))
    again = cadence.exact_in(reference.found.nominal, "lommel_seeliger")
    np.testing.assert_allclose(again.seen_s, mids.seen_s[::3], atol=0.01)
    with pytest.raises(InputError, match="none of them is an event of the scenario"):
        Cadence.of(reference, replace(mids, seen_s=mids.seen_s + 40.0 * DAY_S))


def trial(k, truth, mean, sigma):
    below = Mixture.gaussian(mean, sigma).cdf(truth)
    return Trial(k, "completed", 5, *(np.full(3, value) for value in (truth, mean, sigma, below)))


def test_shares_and_verdicts_are_those_of_drawn_errors():
    """Normal errors of the stated sigma hold, of twice and of half of it do not; shares to three binomial errors."""
    z = np.random.default_rng(3).standard_normal(400)
    for factor, verdict in ((1.0, "holds"), (2.0, "too narrow"), (0.5, "too wide")):
        told = Coverage.of([trial(k, 0.0, factor * value, 1.0) for k, value in enumerate(z)], 0)
        assert told.verdict == verdict and told.rms == pytest.approx(factor * np.sqrt(np.mean(z**2)))
        if factor == 1.0:
            assert np.abs((np.array(told.covered) - SHARES) / told.covered_sigma).max() < 3.0
            assert abs(told.bias) < 3.0 * told.bias_sigma
    assert coverages([Trial(0, "not simulated")]) == []


def test_intervals_hold_drawn_truths(reference):
    """40 truths with nightly errors, laws in turn: 90 % intervals of the change and of e to three binomial errors."""
    cadence = Cadence.of(reference, synthesised(pair(), DAYS, Observing(0.0), 0))
    rows = list(tried(reference, cadence, Observing(40.0, 20.0), 40))
    assert [row.number for row in rows] == list(range(40)) and {row.status for row in rows} == {"completed"}
    change, e, _ = coverages(rows)
    for one in (change, e):
        assert abs(one.covered[2] - 0.9) < 3.0 * one.covered_sigma[2]
        assert abs(one.bias) < 4.0 * one.bias_sigma
        assert 0.6 < one.rms / one.median_sigma < 1.5


def test_the_command_says_the_same_in_words_numbers_and_a_figure(tmp_path, capsys):
    path, sheet, figure = tmp_path / "pair.toml", tmp_path / "s.csv", tmp_path / "c.svg"
    path.write_text(pair().text, encoding="utf-8")
    assert main(["timing", str(path), "--synthesise", str(sheet), "--days", "3", "--observers", "2"]) == 0
    capsys.readouterr()
    words = ["coverage", str(path), "--events", str(sheet), "--truths", "10", "--night-noise-s", "10"]
    assert main([*words, "--json", "--plot", str(figure)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["truths"] == told["fitted"] == len(told["trials"]) == 10 and figure.stat().st_size > 10_000
    assert [one["name"] for one in told["quantities"]][0] == "period_change_s"
    assert told["observing"]["laws"] == ["lommel_seeliger", "lambert"] and "law" not in told["observing"]
    assert all(np.isfinite(trial["mean"]).all() for trial in told["trials"])
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "10 of 10 truths fitted" in said and "hazard" in said
    (line,) = (line for line in said.splitlines() if line.startswith("intervals: "))
    verdicts = [one["verdict"] for one in told["quantities"]]
    assert f"period change {verdicts[0]}, eccentricity after {verdicts[1]}, " in line and line.endswith(verdicts[2])


def test_an_interruption_keeps_what_is_done(tmp_path, capsys, monkeypatch):
    from binarydyn.observing import coverage

    real = coverage._trial

    def third(*given):
        if given[4][1] == 2:
            signal.raise_signal(signal.SIGINT)
        return real(*given)

    monkeypatch.setattr(coverage, "_trial", third)
    assert main(["coverage", "--days", "2", "--truths", "10"]) == 130
    found = capsys.readouterr()
    assert "2 of 2 truths fitted" in found.out and "interrupted after 2 of 10 truths" in found.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--truths", "3"], "allowed is 10 .. 10000"),
        (["--days", "3", "--campaign"], "one is allowed"),
        (["--outliers", "2"], "allowed is 0 .. 0.5"),
        (["--timed", "x"], "dip_centroid or half_depth"),
        (["--events", "none.csv"], "no such file"),
        (["--days", "300"], "200 a side are allowed"),
    ],
)
def test_what_is_refused(words, said, capsys):
    assert main(["coverage", *words]) == 2
    errors = capsys.readouterr().err
    assert said in errors and errors.count("\n") == 1
