"""Drawn members: distributions and correlations against theory, what they depend on, what they say together."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest, bootstrap, expon, lognorm, norm, t, uniform

from binarydyn.commands.sampled import print_sampled, sampled
from binarydyn.commands.shell import main
from binarydyn.ensembles import rows_of
from binarydyn.observables.averages import INTERVALS, interval_errors, intervals
from binarydyn.sampling import Sample
from binarydyn.sampling.summary_statistics import bound, probabilities, spread, spread_without, which_are_chaotic
from binarydyn.scenario import Scenario
from binarydyn.scenario.scenario import example
from binarydyn.store import SweepStore, open_result, stored_members

TEXT = """
[sampling]
count = 12
seed = 7
correlations = [["impactor.mass_kg", "momentum_transfer.beta", 0.6]]
[sampling.quantities]
"impactor.mass_kg" = {normal = [480.0, 10.0]}
"momentum_transfer.beta" = {lognormal = [2.2, 0.2]}
"impactor.speed_km_s" = {uniform = [5.0, 6.0]}
"""
SHORT = "\n[simulation]\ndays_before = 6\ndays_after = 6\n[requirement]\nperiod_change_s = 1500.0\n"


@pytest.fixture(scope="module")
def scenario():
    return Scenario.from_text(example().text + TEXT, "drawn.toml")


@pytest.mark.parametrize("kind", ["random", "sobol", "latin"])
def test_moments_and_correlations_are_those_asked_for(kind, scenario):
    """4096 draws: means within 4 standard errors, Pearson's correlation of the normal scores 0.6 within 4 / sqrt(n)."""
    n = 4096
    x = Sample.of(scenario, kind, n).draws(0, n)
    scores = np.array([(x[:, 0] - 480.0) / 10.0, np.log(x[:, 1] / 2.2) / 0.2, (x[:, 2] - 5.5) * np.sqrt(12.0)])
    assert np.abs(scores.mean(axis=1)).max() < 4.0 / np.sqrt(n)
    assert scores.std(axis=1) == pytest.approx(np.ones(3), abs=4.0 / np.sqrt(n))
    asked = np.array([[1.0, 0.6, 0.0], [0.6, 1.0, 0.0], [0.0, 0.0, 1.0]])
    assert np.abs(np.corrcoef(scores) - asked).max() < 4.0 / np.sqrt(n)
    assert x[:, 2].min() >= 5.0 and x[:, 2].max() <= 6.0


def test_low_discrepancy_beats_chance(scenario):
    """The mean of a smooth function: Sobol's error at 4096 points is far below 1 / sqrt(n) (Owen 1998)."""
    n, errors = 4096, {}
    for kind in ("random", "sobol"):
        x = Sample.of(scenario, kind, n).draws(0, n)
        errors[kind] = abs(x[:, 0].mean() - 480.0) / 10.0
    assert errors["sobol"] < 0.1 / np.sqrt(n)


@pytest.mark.parametrize("kind", ["random", "sobol"])
def test_a_member_depends_on_seed_and_number_alone(kind, scenario):
    small, large = Sample.of(scenario, kind, 10), Sample.of(scenario, kind, 9000)
    assert small.member(7) == large.member(7) == Sample.from_json(small.json).member(7)
    assert np.array_equal(large.draws(4090, 4100)[3], large.draws(4093, 4094)[0])
    assert small.member(7) != replace(small, seed=8).member(7)
    assert len({tuple(row) for row in large.draws(0, 200)}) == 200


def test_latin_hypercube_has_one_member_in_each_stratum(scenario):
    """McKay, Beckman & Conover 1979, Technometrics 21, 239."""
    x = Sample.of(scenario, "latin", 100).draws(0, 100)[:, 2]
    assert sorted(np.floor((x - 5.0) * 100.0).astype(int)) == list(range(100))


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    scenario = Scenario.from_text(example().text.split("[simulation]")[0] + SHORT + TEXT, "drawn.toml")
    design, path = Sample.of(scenario, "sobol"), tmp_path_factory.mktemp("sample") / "s.h5"
    with SweepStore(path, scenario, design) as store:
        for row in rows_of(scenario, design):
            store.keep(row)
        store.finish()
    return scenario, design, stored_members(open_result(path))


def test_a_stored_sample_knows_how_it_was_drawn(stored):
    _, design, result = stored
    assert result.sample == design and result.keys == design.keys and not result.axes
    assert result.columns["impactor.mass_kg"].tolist() == design.draws(0, 12)[:, 0].tolist()


def test_spread_and_chances(stored):
    _, _, result = stored
    change = result.columns["period_change_s"]
    found = spread(result.columns)["period_change_s"]
    assert found["median"] == np.median(change)
    assert found["low_68"] < found["median"] < found["high_68"] and found["low_95"] is found["high_95"] is None
    said = probabilities(result.columns, 1500.0)
    assert said["change_of_1500_s"]["probability"] == np.mean(np.abs(change) >= 1500.0)
    assert said["contact"] == {"probability": 0.0, "standard_error": None, "bound_95": bound(0, 12)}
    assert found["standard_errors"]["median"] > 0.0 and found["standard_errors"]["low_68"] is None


LAWS = {"normal": norm(), "uniform": uniform(), "exponential": expon(), "lognormal": lognorm(0.5), "Student": t(3)}


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(("name", "count"), [("median", 12), ("low_68", 20), ("high_68", 64), ("high_95", 200)])
def test_the_error_of_a_quantile_covers_the_truth(law, name, count):
    """In 800 samples: one error in 68 % of them, two in 95 %, the truth from scipy's distributions.  3 sigma of 800
    are 5 and 2 %; the rest is that the law of a quantile of few members is no normal one, and that in heavy tails the
    error errs on the side of caution.
    """
    truth, random = LAWS[law].ppf(INTERVALS[name]), np.random.default_rng(count)
    off = []
    for values in LAWS[law].rvs((800, count), random_state=random):
        off.append(abs(intervals(values)[name] - truth) / interval_errors(values)[name])
    assert 0.60 < np.mean(np.array(off) < 1.0) < 0.80 and 0.895 < np.mean(np.array(off) < 2.0) < 0.985


def test_the_error_of_a_quantile_is_that_of_resampling():
    """Against scipy's bootstrap, whose own noise of 4000 resamples is 1 %; its quantile lies between two members, ours
    on one: 5 %.  Fewer than 3 members beyond have no error.
    """
    values = norm.rvs(size=400, random_state=np.random.default_rng(3))
    for name in ("median", "low_68", "high_95"):
        drawn = bootstrap(
            (values,), lambda x, axis, q=INTERVALS[name]: np.quantile(x, q, axis=axis), n_resamples=4000,
            method="percentile", random_state=np.random.default_rng(1),
        )  # fmt: skip
        assert interval_errors(values)[name] == pytest.approx(drawn.standard_error, rel=0.08)
    told = {count: interval_errors(np.arange(float(count))) for count in (5, 6, 18, 19, 119, 120)}
    assert told[5]["median"] is None and told[6]["median"] > 0.0
    assert told[18]["low_68"] is None and told[19]["low_68"] > 0.0
    assert told[119]["high_95"] is None and told[120]["high_95"] > 0.0
    assert interval_errors(np.ones(50))["median"] == 0.0
    many = interval_errors(np.linspace(0.0, 1.0, 1_000_001))["median"]
    assert many == pytest.approx(0.5 / np.sqrt(1e6), rel=1e-3)  # sqrt(q (1 - q) / n) over the density (textbook)


def test_a_chance_of_none_or_all_has_a_bound():
    """The one-sided interval by scipy; nearly 3/n, the rule of three (Hanley & Lippman-Hand 1983; from memory)."""
    for count in (1, 12, 64, 1000):
        none = binomtest(0, count, alternative="less").proportion_ci(0.95, "exact").high
        every = binomtest(count, count, alternative="greater").proportion_ci(0.95, "exact").low
        assert bound(0, count) == pytest.approx(none, rel=1e-9) and bound(count, count) == pytest.approx(
            every, rel=1e-9
        )
    assert bound(0, 1000) == pytest.approx(3.0 / 1000.0, rel=0.01) and bound(1, 12) is None
    columns = {"status": np.array(["completed"] * 3 + ["contact"])}
    assert probabilities(columns)["contact"] == {
        "probability": 0.25,
        "standard_error": np.sqrt(0.1875 / 4),
        "bound_95": None,
    }


def test_errors_and_bounds_are_told_in_words_beside_their_numbers(stored, capsys):
    """One column, each cell saying which it is."""
    _, _, result = stored
    report = sampled(result)
    print_sampled(report)
    text = capsys.readouterr().out
    assert f"below {bound(0, 12):.4g}" in text and "one-sided 95 % bound where none or all members" in text
    share = report["probabilities"]["tumbling"]
    assert share["bound_95"] is not None or f"+- {share['standard_error']:.2g}" in text
    change = report["statistics"]["period_change_s"]
    line = next(line for line in text.splitlines() if line.startswith("Period change"))
    median, error = re.search(r" s +(\S+) \+- (\S+)", line).groups()
    assert float(error) == pytest.approx(change["standard_errors"]["median"], rel=0.05)
    assert float(median) == pytest.approx(change["median"], abs=change["standard_errors"]["median"])
    assert "standard error of the order statistic" in text


def test_unstable_members_count_like_any_other():
    """Those pushed most are chaotic: left out, the median would be that of the others alone."""
    columns = {"status": np.array(["completed"] * 4 + ["contact"]), "chaotic_after": np.array([0, 0, 0, 1, -1])}
    columns["period_change_s"] = np.array([-5.0, -6.0, -7.0, -900.0, np.nan])
    found, chaotic = spread(columns)["period_change_s"], which_are_chaotic(columns)
    assert found["median"] == -6.5 and found["sigma"] == np.std([-5.0, -6.0, -7.0, -900.0], ddof=1)
    assert chaotic.tolist() == [False, False, False, True, False]
    rest = spread_without(columns, chaotic)["period_change_s"]
    assert (rest["median"], rest["sigma"]) == (-6.0, 1.0)
    assert probabilities(columns)["chaotic_after"]["probability"] == pytest.approx(1.0 / 5.0)


def test_where_companions_did_not_look_nothing_is_said_of_stability():
    columns = {"status": np.array(["completed", "completed"]), "period_change_s": np.array([-5.0, -7.0])}
    for flags in ({}, {"chaotic_after": np.array([0, -1])}):
        assert which_are_chaotic(columns | flags) is None and "chaotic_after" not in probabilities(columns | flags)
        assert spread(columns | flags)["period_change_s"]["median"] == -6.0


def test_a_sample_does_not_contradict_the_tilt_of_its_members(stored):
    """What `predict` prints as the mean tilt is what the sample has intervals of; a mean normal over nodal turns is
    not tilted at all and is no outcome.
    """
    columns = stored[2].columns
    assert spread(columns)["inclination_after_deg"]["median"] == np.median(columns["inclination_after_deg"])
    assert "inclination_change_deg" not in columns


def test_figure_of_a_sample(stored):
    from binarydyn.plots import sweep_figure

    figure = sweep_figure(stored[2])
    assert "median" in " ".join(text.get_text() for text in figure.texts)
    assert figure.axes[0].get_ylabel() == "members"


def test_what_the_command_refuses(tmp_path, scenario, capsys):
    file, out = tmp_path / "drawn.toml", str(tmp_path / "x.h5")
    file.write_text(scenario.text)
    refused = [["--sample", "sobl"], ["--sample", "random", "--vary", "impactor.mass_kg=1,2"], ["--count", "5"]]
    refused += [["--sample", "random", "--count", "0"], ["--sample", "random", "--seed", "-1"]]
    for arguments in refused:
        assert main(["sweep", str(file), *arguments, "--out", out]) == 2
        said = capsys.readouterr().err.strip()
        assert said.startswith("binarydyn:") and "\n" not in said and "allowed is" in said
    assert main(["sweep", "--sample", "random", "--out", out]) == 2
    assert "no [sampling.quantities]" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["random", "sobol", "latin"])
def test_a_member_alone_has_the_bits_that_it_has_among_many(kind):
    """A matrix product would not: its order of sums follows the number of rows."""
    names = ("impactor.mass_kg", "impactor.speed_km_s", "momentum_transfer.beta")
    quantities = tuple((name, "lognormal", (2.0, 0.3)) for name in names)
    close = tuple(tuple(1.0 if i == j else 0.37 for i in range(3)) for j in range(3))
    sample = Sample(kind, quantities, close, 5000, 7)
    among = sample.inputs(np.arange(5000))
    alone = [sample.member(k) for k in range(5000)]
    for key, values in among.items():
        assert np.array_equal(values, [inputs[key] for inputs in alone])
    some = np.array([0, 4095, 4096, 4999])
    assert all(np.array_equal(values, among[key][some]) for key, values in sample.inputs(some).items())


def test_a_stream_is_that_of_its_own_counter(scenario):
    """Against numpy's own generator started anew for the member."""
    sample = Sample.of(scenario, "random", 3000)
    fresh = np.random.Generator(np.random.Philox(key=sample.seed, counter=[0, 0, 0, 2777])).standard_normal(3)
    assert np.array_equal(sample._scores(2777, 2778)[0], fresh)


def test_the_identity_of_a_sample_that_can_grow_has_no_count(scenario):
    for kind, grows in (("random", True), ("sobol", True), ("latin", False)):
        small, large = Sample.of(scenario, kind, 10), Sample.of(scenario, kind, 20)
        assert (small.sha256 == large.sha256) is grows and small != large
        assert replace(small, seed=8).sha256 != small.sha256
