"""Modelled light against simulated measurements that share no formula with it, and both kinds of data in one fit."""

import json
from contextlib import redirect_stdout
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest

import binarydyn
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.observing.light_curve import Surface
from binarydyn.observing.synthetic_light import Photometer, synthesised_light
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.photometry.noise_fit import NoiseSize
from binarydyn.reconstruction.light import ROTATION, LightModel
from binarydyn.reconstruction.light_fit import fitted_light
from binarydyn.reconstruction.likelihood import Likelihood, quadratic
from binarydyn.reconstruction.newton import solved
from binarydyn.reconstruction.together import JointNoise, TimesAndLight
from binarydyn.scenario import example, varied
from binarydyn.sky.dips import DIP_LAWS
from binarydyn.timing.noise import Noise

QUIET = Photometer(6.0, 1e-5, zero_point_mag=0.0)
FINE = Surface(facets=8000)
SIGMA_MAG = 0.01


def quiet(scenario, surface=FINE):
    """Four nights of noise-free light, of which 0.01 mag are stated."""
    light = synthesised_light(scenario, -2.0, 4.0, QUIET, surface, 0)
    return replace(light, sigma_mag=np.full(len(light), SIGMA_MAG))


@pytest.fixture(scope="module")
def model():
    return LightModel.of(example(), quiet(example()), workers=1)


def between_laws(scenario):
    """(m,) magnitudes of half of either law, each over its mean; 20 000 facets are grainy to 0.2 mmag in events."""
    flux = [10.0 ** (-0.4 * quiet(scenario, Surface(law, facets=20_000)).magnitude) for law in DIP_LAWS]
    return -2.5 * np.log10(0.5 * (flux[0] + flux[1]))


def none(model):
    return np.zeros((1, len(model.unknowns.names)))


def beside_columns(model, late):
    """(m,) what is left of it after the columns, and the columns' shares."""
    share = np.linalg.lstsq(model.columns, late, rcond=None)[0]
    return late - model.columns @ share, dict(zip(model.causes, share, strict=True))


@pytest.mark.parametrize("law, share", [("lommel_seeliger", -1.0), ("lambert", 1.0)])
def test_the_nominal_guess_has_the_light_of_the_facets_and_the_column_of_the_law_is_the_law(law, share):
    """Half Lommel-Seeliger, half Lambert is 3 mmag off either; the column by one sigma takes that.  8000 facets are
    grainy to 0.3 mmag in events."""
    model = LightModel.of(example(), quiet(example(), Surface(law, facets=8000)), workers=1)
    late = model.observed - model.predicted(none(model))[0]
    left, shares = beside_columns(model, late)
    assert 2e-3 < late.std() < 5e-3 and left.std() < 4e-4
    assert shares["scattering law"] == pytest.approx(share, abs=0.05)
    assert abs(shares["albedo ratio"]) < 0.3


@pytest.mark.parametrize(
    "key, change",
    [
        ("secondary.semi_axes_m.1", -1.5),
        ("momentum_transfer.beta", 0.3),
        ("mutual_orbit.separation_m", 8.0),
        ("primary.rotation_phase_deg", 3.0),
    ],
)
def test_a_guess_has_the_light_of_the_scenario_with_its_values(model, key, change):
    other = example().replace({key: float(model.unknowns.centre[model.unknowns.index(key)] + change)})
    u = none(model)
    u[0, model.unknowns.index(key)] = change / model.unknowns.scale[model.unknowns.index(key)]
    moved = np.diff(model.predicted(np.vstack([none(model), u])), axis=0)[0]
    wanted = model._laws.centred(between_laws(other) - between_laws(example()))
    assert wanted.std() > 8e-4
    off, _ = beside_columns(model, moved - wanted)
    assert off.std() < 4e-4


def test_refused_guesses_are_rows_of_nan(model):
    u = np.repeat(none(model), 2, axis=0)
    u[1, model.unknowns.index("mutual_orbit.separation_m")] = -80.0
    found = model.predicted(u)
    assert np.isfinite(found[0]).all() and np.isnan(found[1]).all()


def test_the_rotation_of_the_primary_is_unknown_until_sampling_says_more(model):
    assert set(ROTATION) <= set(model.unknowns.names)
    assert np.isinf(model.unknowns.prior_sigma_u[model.unknowns.index(ROTATION[1])])
    assert model.unknowns.mixing.shape == (len(model.unknowns.names),) * 2


def test_a_fit_finds_what_made_the_light(model):
    """Noise-free light of another system within the priors, by another law: unknowns to well within their sigma."""
    truth = {"secondary.semi_axes_m.1": 60.5, "mutual_orbit.separation_m": 825.0, "momentum_transfer.beta": 2.4}
    light = quiet(varied(example(), truth))
    fit = TimesAndLight(None, LightModel.of(example(), light, workers=1))
    size = NoiseSize(1.0, 0.002, 1800.0, 0.0)
    likelihood = Likelihood(fit, fit.noise(None, size))
    found = solved(likelihood, none(model)[0])
    names, sigma = fit.unknowns.names, np.sqrt(np.diag(found.covariance(likelihood)))
    wanted = np.zeros(len(names))
    for key, value in truth.items():
        k = fit.unknowns.index(key)
        wanted[k] = (value - fit.unknowns.centre[k]) / fit.unknowns.scale[k]
    prior = np.isfinite(fit.unknowns.prior_sigma_u)
    told = sigma < 0.5 * np.where(prior, fit.unknowns.prior_sigma_u, np.inf)
    off = (found.u - wanted) / sigma
    assert told.sum() > 5 and np.abs(off).max() < 1.5
    assert np.sqrt(np.mean(off[told & ~prior] ** 2)) < 0.5


def test_both_kinds_of_data_are_weighed_in_two_blocks(model):
    """C^-1 against that of the dense covariance (numpy), and a likelihood that knows more than either."""
    mids = synthesised(example(), 3.0, Observing(noise_s=30.0), 1)
    both = TimesAndLight.of(example(), mids, model, workers=1)
    times = Noise.of(mids.sigma_s, mids.group, both.events.columns_s)
    noise = both.noise(times, NoiseSize(1.1, 0.004, 900.0, 0.0))
    assert isinstance(noise, JointNoise) and len(noise.own_variance(1.0)) == len(both.observed) == len(both.time_s)
    weighing = noise.at(1.3, 20.0)
    count, m = len(mids), len(both.observed)
    a = np.random.default_rng(0).normal(0.0, 0.01, (m, 3))
    of_times, of_light = times.at(1.3, 20.0), model.noise.at(1.1, 0.004, 900.0)
    wanted = np.vstack([of_times.applied(a[:count]), of_light.applied(a[count:])])
    np.testing.assert_allclose(weighing.applied(a), wanted, rtol=1e-12)
    np.testing.assert_allclose(weighing.gram(a), a.T @ wanted, rtol=1e-9)
    assert weighing.ln_det == pytest.approx(of_times.ln_det + of_light.ln_det)
    found = both.predicted(none(model))
    assert found.shape == (1, m) and np.abs(found[0, :count] - both.observed[:count]).max() < 3600.0


def test_a_fit_of_few_nights_tells_its_noise():
    """Noisy light: chi2 per degree of freedom 1 within four of its sigmas, the noise as put in, the truth within 3.5
    sigmas."""
    light = synthesised_light(example(), -2.0, 4.0, Photometer(6.0, 0.01, 0.006, 30.0, 0.1), FINE, 5)
    fit = fitted_light(TimesAndLight(None, LightModel.of(example(), light, workers=1)))
    chi2 = quadratic(fit.likelihood.weighing, fit.solved.late[None])[0]
    assert chi2 / len(light) == pytest.approx(1.0, abs=0.05 + 4.0 * np.sqrt(2.0 / len(light)))
    assert fit.size.scale == pytest.approx(1.0, abs=0.2) and 0.003 < fit.size.amplitude_mag < 0.01
    sigma = np.sqrt(np.diag(fit.covariance))
    assert np.abs(fit.solved.u / sigma).max() < 3.5


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    """Four nights of light, and what the command wrote and said of them."""
    folder = tmp_path_factory.mktemp("light")
    path = str(folder / "light.csv")
    wanted = ["light-curve", "--synthesise", path, "--from-days", "-2", "--days", "4", "--step-minutes", "10"]
    assert main([*wanted, "--facets", "500"]) == 0
    outputs = ["--out", str(folder / "found.h5"), "--plot", str(folder / "found.png"), "--draws", "200"]
    with redirect_stdout(StringIO()) as said:
        assert main(["reconstruct", "--light", path, "--json", *outputs]) == 0
    return folder, json.loads(said.getvalue())


def test_the_command_draws_what_happened_from_a_table_of_light(campaign):
    """The truth within four standard deviations; draws are wider than the one Gaussian where other minima are."""
    folder, told = campaign
    assert told["status"] == "completed" and told["effective_draws"] > 100.0
    assert told["points"] > 150 and told["zero_points"] == 4 and told["events_used"] == 0
    numbers = binarydyn.predict().numbers()
    truth = {"momentum_transfer.beta": 2.2, "secondary.semi_axes_m.0": 70.0, "mutual_orbit.separation_m": 821.0}
    truth |= {name: numbers[name] for name in ("period_change_s", "eccentricity_after")}
    for name, value in truth.items():
        one = told["intervals"][name]
        assert abs(one["mean"] - value) < 4.0 * one["sigma"], name
    assert told["chi2"] == pytest.approx(told["points"], rel=4.0 * np.sqrt(2.0 / told["points"]))
    assert 0.0 < told["lambert_share_sd"] < 0.5 and told["posterior_predictive_p"] > 1e-4
    assert (folder / "found.png").read_bytes()[:4] == b"\x89PNG"


def test_draws_from_light_are_kept_with_what_they_foretell(campaign):
    folder, told = campaign
    found = binarydyn.open(folder / "found.h5")
    assert found.summary["points"] == told["points"] and not len(found.times["observed_s"])
    light = found.light
    late = light["magnitude_mag"] - light["median_mag"]
    assert np.all(light["low_95_mag"] <= light["high_68_mag"]) and late.std() < 3.0 * light["sigma_mag"].mean()
    assert light["magnitude_mag"].std() > 1.2 * late.std()


def test_what_light_is_not_given_with_is_refused(campaign, capsys, tmp_path):
    path = campaign[0] / "light.csv"
    assert main(["reconstruct", "--light", str(path), "--robust"]) == 2
    assert "--light: it is given with --robust" in capsys.readouterr().err
    few = tmp_path / "few.csv"
    few.write_text("\n".join(path.read_text().splitlines()[:20]))
    assert main(["reconstruct", "--light", str(few)]) == 2
    assert "0 points of light lie after the impact" in capsys.readouterr().err
    with pytest.raises(InputError, match="neither times nor light"):
        binarydyn.reconstruct(example())
