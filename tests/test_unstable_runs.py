"""Runs whose attitude is chaotic have a period: they count in what is inferred and in whose uncertainty it is."""

from dataclasses import replace

import numpy as np
import pytest
from short_sweeps import PUSH

from binarydyn.batch.periods_after import one_by_one, periods_after
from binarydyn.errors import ConvergenceError
from binarydyn.inference import surrogate_runs
from binarydyn.inference.infer import infer, inverted, prior
from binarydyn.inference.linearised import propagated
from binarydyn.inference.posterior import DONE, ENDED
from binarydyn.inference.posterior_report import report
from binarydyn.inference.prior import draws_at, solution
from binarydyn.inference.response import period_change
from binarydyn.inference.sensitivity import of_inference, of_prediction
from binarydyn.inference.surrogate_runs import related
from binarydyn.prediction import predict
from binarydyn.relaxed.start import start
from binarydyn.scenario import Scenario, varied

PAIR = """
[primary]
semi_axes_m = [402.0, 391.0, 355.0]
density_kg_m3 = 2400.0
spin_period_h = 2.61
[secondary]
semi_axes_m = [88.0, 76.0, 66.0]
density_kg_m3 = 2400.0
[mutual_orbit]
separation_m = 1180.0
period_h = 11.4
[impactor]
mass_kg = 720.0
speed_km_s = 6.3
direction = {along_track = -0.9, radial = 0.3, normal = 0.2}
[momentum_transfer]
beta = 3.15
[sampling]
seed = 11
[sampling.quantities]
"secondary.density_kg_m3" = {normal = [2400.0, 350.0]}
"mutual_orbit.separation_m" = {normal = [1180.0, 20.0]}
"impactor.speed_km_s" = {normal = [6.3, 0.01]}
"secondary.semi_axes_m.0" = {normal = [88.0, 3.0]}
"""
SEPARATION = "mutual_orbit.separation_m"
DRAWS = 4000


@pytest.fixture(scope="module")
def scenario():
    return Scenario.from_text(PAIR, "pair.toml")


@pytest.fixture(scope="module")
def forward(scenario):
    return predict(scenario)


@pytest.fixture(scope="module")
def posterior(scenario, forward):
    return infer(scenario, forward.period_change_s, 2.0, DRAWS, runs=64)


def test_a_change_whose_own_run_is_unstable_is_inferred(forward, posterior):
    """The run that made the change is chaotic by its neighbouring trajectories, and so is what places the design."""
    assert forward.numbers()["chaotic_after"] and not forward.numbers()["tumbling"]
    assert posterior.well.all() and posterior.surrogate.left_out == 0 and posterior.surrogate.chaotic_runs > 5
    low, high = np.quantile(posterior.beta, [0.16, 0.84])
    assert low < 3.15 < high


def test_at_the_true_inputs_beta_is_the_true_one(scenario, posterior):
    """What is left is the error that is said; beta less its offset is in proportion to the change."""
    surrogate = posterior.surrogate
    inputs = {name: np.array([value]) for name, value in _stated(scenario).items()}
    found = solution(surrogate, draws_at(surrogate, inputs, np.zeros(1)), np.array([posterior.change_s])).beta[0]
    error = np.hypot(surrogate.error_s, surrogate.chaotic_error_s)
    assert abs(found - 3.15) < 3.0 * error * 3.15 / abs(posterior.change_s)


def _stated(scenario):
    names = scenario.sampling.quantities
    return {name: law.normal[0] for name, law in names.items()}


def test_the_inputs_keep_their_prior_where_many_draws_are_near_unstable_runs(posterior):
    """Left out, they would move the mean separation, density and axis by more than 5 standard errors of a mean."""
    near = posterior.near_chaotic
    assert 0.1 < near.mean() < 0.5
    for name, law in posterior.scenario.sampling.quantities.items():
        x, (mean, sigma) = posterior.inputs[name][posterior.well], law.normal
        assert abs(x.mean() - mean) < 3.0 * sigma / np.sqrt(DRAWS)
        if name != "impactor.speed_km_s":
            assert abs(posterior.inputs[name][~near].mean() - mean) > 5.0 * sigma / np.sqrt(DRAWS)


def test_what_unstable_runs_are_off_by_is_said(posterior):
    surrogate = posterior.surrogate
    assert surrogate.error_s < surrogate.chaotic_error_s < 3.0  # 0.15 and 0.32 s of 1962 s, changes being 450 s wide
    told = f"{int(posterior.near_chaotic.sum())} of {DRAWS} draws are nearest to a run whose attitude is chaotic"
    assert any(told in sentence and "are added to their error" in sentence for sentence in posterior.warnings)
    found = report(posterior)
    assert found["chaotic_error_s"] == surrogate.chaotic_error_s
    assert found["simulations_chaotic"] == surrogate.chaotic_runs
    assert found["draws_near_chaotic"] == int(posterior.near_chaotic.sum())
    assert found["draws_by_status"] == {DONE: DRAWS}


# ---- three kinds of runs, on a system whose runs are all regular, so that the kinds are known ----

CHANGE_S, SIGMA_S = -630.0, 2.0


@pytest.fixture(scope="module")
def pushed():
    law = f'\n[sampling]\nseed = 5\n[sampling.quantities]\n"{SEPARATION}" = {{normal = [821.0, 4.0]}}\n'
    return Scenario.from_text(PUSH + law, "pushed.toml")


@pytest.fixture(scope="module")
def windows(pushed):
    """Periods and regular of the first run and of the design, as periods_after gives them."""
    kept = []

    def after(systems, states, days):
        kept.append(periods_after(systems, states, days))
        return kept[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(surrogate_runs, "periods_after", after)
        surrogate = related(pushed, CHANGE_S, SIGMA_S, 32)
    assert all(regular.all() for _, regular in kept)
    return surrogate, kept


def related_otherwise(pushed, windows, change):
    """The relation of the windows, where those of the design are what `change` makes of copies of them."""
    results = iter(windows[1])

    def after(systems, states, days):
        periods, regular = (part.copy() for part in next(results))
        if len(periods) > 1:
            change(periods, regular)
        return periods, regular

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(surrogate_runs, "periods_after", after)
        return related(pushed, CHANGE_S, SIGMA_S, 32)


OTHERS = np.arange(1, 32, 4)


def test_unstable_runs_are_beside_the_fit_and_their_draws_are_wider(pushed, windows):
    """Shifted by +-30 s: the fit is that of the others, the second error is 30 s, and only draws near them widen."""

    def shifted(periods, regular):
        periods[OTHERS] += np.where(np.arange(len(OTHERS)) % 2, 30.0, -30.0)
        regular[OTHERS] = False

    surrogate = related_otherwise(pushed, windows, shifted)
    plain = windows[0]
    assert surrogate.chaotic_runs == len(OTHERS) and surrogate.left_out == 0 and not surrogate.fitted_to_all
    assert surrogate.fitted_runs == 32 - len(OTHERS)
    assert surrogate.error_s < 0.2 and surrogate.chaotic_error_s == pytest.approx(30.0, rel=0.01)
    found = inverted(surrogate, prior(surrogate, DRAWS), CHANGE_S, SIGMA_S)
    same = inverted(plain, prior(plain, DRAWS), CHANGE_S, SIGMA_S)
    near, off = found.near_chaotic, found.dv_mm_s / same.dv_mm_s - 1.0
    assert 0.05 < near.mean() < 0.6
    assert np.abs(off[~near]).max() < 1e-3 < 0.02 < off[near].std()
    assert found.emulator_error_s == pytest.approx(30.0 * np.sqrt(near.mean()), rel=0.02)
    row = next(row for row in propagated(found).rows if row.name.startswith("error of the emulator"))
    assert row.sigma == found.emulator_error_s


def test_where_few_are_regular_the_relation_is_fitted_to_all(pushed, windows):
    def chaotic(periods, regular):
        regular[4:] = False

    surrogate = related_otherwise(pushed, windows, chaotic)
    assert surrogate.fitted_to_all and surrogate.chaotic_runs == 28 and surrogate.chaotic_error_s == 0.0
    assert (surrogate.departure.coefficients == windows[0].departure.coefficients).all()
    found = inverted(surrogate, prior(surrogate, DRAWS), CHANGE_S, SIGMA_S)
    assert any("fitted to all" in sentence for sentence in found.warnings) and found.well.all()
    assert not any("added to their error" in sentence for sentence in found.warnings)


def test_draws_near_a_run_that_ended_early_are_left_out(pushed, windows):
    """Whatever is said of its regularity, a run without a period is no outcome."""

    def ended(periods, regular):
        periods[OTHERS] = np.nan

    surrogate = related_otherwise(pushed, windows, ended)
    assert surrogate.left_out == len(OTHERS) and surrogate.chaotic_runs == 0
    found = inverted(surrogate, prior(surrogate, DRAWS), CHANGE_S, SIGMA_S)
    lost = int(np.sum(found.status == ENDED))
    assert 0 < lost < DRAWS and found.well.sum() == DRAWS - lost
    assert f"{lost} of {DRAWS} draws are nearest to a run that ends early or is refused" in " ".join(found.warnings)

    def all_but_few(periods, regular):
        periods[8:] = np.nan

    with pytest.raises(ConvergenceError, match="only 8 of 32 runs end well") as refused:
        related_otherwise(pushed, windows, all_but_few)
    assert "residual" not in str(refused.value)


@pytest.mark.parametrize("after", [one_by_one, periods_after])
def test_a_run_that_ends_early_has_no_period(pushed, after):
    """Thrown against the motion at two thirds of the orbital speed (0.14 m/s), the secondary meets the primary."""
    system = start(pushed).system
    hit = replace(system.state, velocity_m_s=system.state.velocity_m_s / 3.0)
    periods, regular = after([system], [hit], 6.0)
    assert np.isnan(periods[0]) and not regular[0]


# ---- sensitivity ----


def test_unstable_members_take_part_in_the_response(scenario, forward):
    """Inputs in which a quadratic is good: what chaotic members are off by leaves the share small."""
    names = (SEPARATION, "secondary.semi_axes_m.0")
    given = {name: scenario.to_dict()["sampling"]["quantities"][name] for name in names}
    asked = Scenario.from_dict(scenario.to_dict() | {"sampling": {"seed": 11, "quantities": given}}, "asked")
    fit = period_change(asked, 64)
    assert fit.chaotic > 3 and not fit.left_out and len(fit.fit.left_out) == 64
    assert fit.error_share < 1e-4
    found = fit({name: np.array([_stated(scenario)[name]]) for name in names})[0]
    assert abs(found - forward.period_change_s) < 5.0 * fit.fit.error
    told = f"{fit.chaotic} of 64 simulations have a chaotic attitude; they count"
    assert any(told in sentence for sentence in of_prediction(asked, 256, runs=64).warnings)


def test_a_drawn_beta_is_no_input_of_what_is_inferred(pushed, scenario):
    """And what it is correlated with stays."""
    given = scenario.to_dict()["sampling"]
    beta = "momentum_transfer.beta"
    sampling = {
        "seed": 11,
        "correlations": [[beta, SEPARATION, 0.3], [SEPARATION, "impactor.speed_km_s", 0.2]],
        "quantities": {beta: {"lognormal": [3.0, 0.25]}}
        | {name: given["quantities"][name] for name in (SEPARATION, "impactor.speed_km_s")},
    }
    asked = Scenario.from_dict(scenario.to_dict() | {"sampling": sampling}, "asked")
    found = infer(asked, -1500.0, 2.0, 500, runs=32)
    assert list(found.inputs) == [SEPARATION, "impactor.speed_km_s"]
    assert found.scenario.sampling.correlations == ((SEPARATION, "impactor.speed_km_s", 0.2),)
    assert sum(beta in sentence for sentence in found.warnings) == 1
    budget = of_inference(asked, -1500.0, 2.0, 256, runs=32)
    assert beta not in budget.indices.names and sum(beta in sentence for sentence in budget.warnings) == 1
    assert varied(asked, {}).sampling.quantities.keys() == sampling["quantities"].keys()  # asked itself is as it was


def test_draws_that_no_scenario_could_have_do_not_count():
    """Semi-axes out of order, and values outside their key's range: named, and nothing absurd is worked out of them."""
    drawn = Scenario.from_text(
        PAIR.split("[sampling]")[0]
        + "[simulation]\ndays_before = 12\ndays_after = 12\n[sampling]\nseed = 1\n[sampling.quantities]\n"
        + '"secondary.semi_axes_m.0" = {normal = [88.0, 10.0]}\n"impactor.mass_kg" = {lognormal = [720.0, 6.0]}\n',
        "drawn.toml",
    )
    found = infer(drawn, -1900.0, 5.0, 4000, runs=64)
    bad = found.status == "bad_input"
    axis, mass = found.inputs["secondary.semi_axes_m.0"][~bad], found.inputs["impactor.mass_kg"][~bad]
    assert axis.min() >= 76.0 and 1e-3 <= mass.min() and mass.max() <= 1e9
    # Normal tails: a < 76 m is 1.2 sigma; 1e-3 and 1e9 kg are 2.25 and 2.36 sigma of the logarithm.
    tails = 1.0 - (1.0 - 0.1151) * (1.0 - 0.0122 - 0.0091)
    assert bad.mean() == pytest.approx(tails, abs=0.02)
    assert np.all(np.isfinite(found.beta[found.well]))
    assert any("semi-axes out of order" in sentence for sentence in found.warnings)
    assert report(found)["draws_by_status"]["bad_input"] == bad.sum()
