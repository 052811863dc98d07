"""Drawn members: distributions and correlations against theory, what they depend on, what they say together."""

from dataclasses import replace

import numpy as np
import pytest

from binarydyn.commands.shell import main
from binarydyn.ensembles import Sample, sweep
from binarydyn.ensembles.spread import chances, spread, spread_without, unstable
from binarydyn.scenario import Scenario
from binarydyn.scenario.scenario import builtin
from binarydyn.store import SweepStore, open_result

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
    return Scenario.from_text(builtin().text + TEXT, "drawn.toml")


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
    scenario = Scenario.from_text(builtin().text.split("[simulation]")[0] + SHORT + TEXT, "drawn.toml")
    design, path = Sample.of(scenario, "sobol"), tmp_path_factory.mktemp("sample") / "s.h5"
    with SweepStore(path, scenario, design) as store:
        for row in sweep(scenario, design):
            store.append(row)
        store.finish()
    return scenario, design, open_result(path)


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
    said = chances(result.columns, 1500.0)
    assert said["change_of_1500_s"]["chance"] == np.mean(np.abs(change) >= 1500.0)
    assert said["contact"] == {"chance": 0.0, "standard_error": 1.0 / 12.0}


def test_unstable_members_count_like_any_other():
    """Those pushed most are unstable: left out, the median would be that of the others alone."""
    columns = {"status": np.array(["done"] * 4 + ["contact"]), "unstable_after": np.array([0, 0, 0, 1, -1])}
    columns["period_change_s"] = np.array([-5.0, -6.0, -7.0, -900.0, np.nan])
    found, chaotic = spread(columns)["period_change_s"], unstable(columns)
    assert found["median"] == -6.5 and found["sigma"] == np.std([-5.0, -6.0, -7.0, -900.0], ddof=1)
    assert chaotic.tolist() == [False, False, False, True, False]
    rest = spread_without(columns, chaotic)["period_change_s"]
    assert (rest["median"], rest["sigma"]) == (-6.0, 1.0)
    assert chances(columns)["unstable_after"]["chance"] == pytest.approx(1.0 / 5.0)


def test_where_companions_did_not_look_nothing_is_said_of_stability():
    columns = {"status": np.array(["done", "done"]), "period_change_s": np.array([-5.0, -7.0])}
    for flags in ({}, {"unstable_after": np.array([0, -1])}):
        assert unstable(columns | flags) is None and "unstable_after" not in chances(columns | flags)
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
