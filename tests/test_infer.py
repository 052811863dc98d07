"""Backwards to beta: closed forms, the forward simulation as the judge, what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from binarydyn.bodies import Ellipsoid
from binarydyn.commands.shell import main
from binarydyn.errors import InputError
from binarydyn.impact import impact_on, orbit_axes
from binarydyn.impact.leverage import leverage, leverages
from binarydyn.inference.infer import infer
from binarydyn.inference.posterior_report import report
from binarydyn.inference.quadratic import quadratic_fit
from binarydyn.prediction.predict import predict
from binarydyn.relaxed.start import start
from binarydyn.scenario import Scenario, varied
from binarydyn.scenario.scenario import example

SAMPLING = """
[sampling]
seed = 3
[sampling.quantities]
"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}
"secondary.density_kg_m3" = {uniform = [2400.0, 3600.0]}
"impactor.speed_km_s" = {normal = [5.4, 0.05]}
"""
SHORT = "\n[simulation]\ndays_before = 12\ndays_after = 12\n"


@pytest.fixture(scope="module")
def scenario():
    return Scenario.from_text(example().text.split("[simulation]")[0] + SHORT + SAMPLING, "back.toml")


@pytest.fixture(scope="module")
def forward(scenario):
    return predict(scenario)


@pytest.fixture(scope="module")
def posterior(scenario, forward):
    return infer(scenario, forward.period_change_s, 2.0, 4000)


def test_beta_is_the_inverse_of_the_momentum_transfer(scenario):
    """Equation 1 (Cheng et al. 2023, Nature 616, 457) forwards by impact_on, solved for beta: to rounding."""
    system = start(scenario).system
    done, lever = impact_on(system, scenario), leverage(system, scenario)
    momentum = np.array([480.0 * 5400.0])
    mass = np.array([system.secondary.mass_kg])
    dv = np.array([1e-3 * done.dv_along_track_mm_s])
    assert lever.beta(dv, mass, momentum)[0] == pytest.approx(2.2, rel=1e-12)
    whole = 1e3 * lever.velocity_change(dv, mass, momentum)[0]
    wanted = [done.dv_along_track_mm_s, done.dv_radial_mm_s, done.dv_normal_mm_s]
    np.testing.assert_allclose(whole, wanted, rtol=1e-11, atol=1e-12)


def test_levers_of_drawn_hits_are_those_of_whole_hits():
    """Aim, flight on the sky, node, shape of the moonlet, tilt and a boulder drawn together, against impact_on of each.

    One draw misses.  Rows agree to the rounding of a site 60 m from the centre.
    """
    data = example().to_dict()
    sky = {"ecliptic_longitude_deg": 200.0, "ecliptic_latitude_deg": -3.0}
    boulder = {"mass_kg": 2e5, "speed_m_s": 12.0, "direction": {"normal": 1.0}}
    data |= {"impactor": data["impactor"] | {"direction": sky}, "boulders": [boulder]}
    scenario, random, n = Scenario.from_dict(data, "drawn"), np.random.default_rng(8), 12
    laws = {
        "impactor.direction.ecliptic_longitude_deg": (195.0, 215.0),
        "impactor.aim_offset_m.0": (-15.0, 15.0),
        "mutual_orbit.node_angle_deg": (0.0, 10.0),
        "secondary.semi_axes_m.1": (55.0, 66.0),
        "momentum_transfer.ejecta_tilt_deg": (0.0, 20.0),
        "boulders.0.speed_m_s": (5.0, 20.0),
    }
    inputs = {name: random.uniform(*ends, n) for name, ends in laws.items()}
    inputs["impactor.aim_offset_m.0"][3] = 500.0
    system, found = start(scenario).system, leverages(start(scenario).system, scenario, inputs)
    axes = orbit_axes(system.state)
    for k in range(n):
        own = varied(scenario, {name: float(values[k]) for name, values in inputs.items()})
        moonlet = Ellipsoid.of_mass(own.secondary.semi_axes_m, system.secondary.mass_kg)
        whole = impact_on(replace(system, secondary=moonlet), own)
        assert found.hit[k] == (whole.status == "hit") == (k != 3), whole.reason
        if found.hit[k]:
            assert found.ejecta[k] == pytest.approx(axes @ whole.released.axis, abs=1e-14)
            assert found.point_m[k] == pytest.approx(whole.site.point_m, abs=1e-12)
            assert found.recoil_kg_m_s[k] == pytest.approx(-axes @ whole.thrown.momentum_kg_m_s, rel=1e-12, abs=1e-6)
            brought = whole.audit.impactor_kg_m_s / np.linalg.norm(whole.audit.impactor_kg_m_s)
            assert found.flight[k] == pytest.approx(axes @ brought, abs=1e-14)
        else:
            assert np.isnan(found.flight[k]).all() and np.isnan(found.point_m[k]).all()


def test_leave_one_out_error_is_that_of_refitting():
    """Closed form against leaving each run out for real; a quadratic is reproduced to rounding."""
    rng = np.random.default_rng(1)
    x = rng.normal(size=(30, 2))
    y = np.sin(x[:, 0]) + x[:, 0] * x[:, 1] ** 2
    whole = quadratic_fit(x, y)
    for k in (0, 7, 29):
        rest = np.arange(30) != k
        assert whole.left_out[k] == pytest.approx(y[k] - quadratic_fit(x[rest], y[rest])(x[k : k + 1])[0], rel=1e-8)
    assert quadratic_fit(x, 1.0 + x[:, 0] - 3.0 * x[:, 0] * x[:, 1]).error < 1e-12


def test_the_posterior_holds_the_truth(scenario, forward, posterior):
    """Draws repeat the closed form of the error: sigma(dv)/dv from the change and, at first order, the separation."""
    found = report(posterior)
    velocity_change, beta = found["along_track_dv_mm_s"], found["beta"]
    truth = forward.numbers()["along_track_dv_mm_s"]
    assert abs(velocity_change["median"] / truth - 1.0) < 4e-3
    wanted = np.hypot(2.0 / forward.period_change_s, 8.0 / 821.0)  # dv = dP v / 3P, v in proportion to separation
    assert velocity_change["sigma"] / abs(velocity_change["mean"]) == pytest.approx(wanted, rel=0.08)
    assert beta["low_68"] < 2.2 < beta["high_68"]
    assert found["emulator_error_s"] < 0.5 and posterior.well.all()


def test_one_draw_in_full_gives_the_change_asked_for(scenario, posterior):
    """The nominal draw by `predict`: beta from the median row goes in, the emulated change comes out."""
    from binarydyn.scenario import varied

    for k in (0, 1):
        values = {name: float(x[k]) for name, x in posterior.inputs.items()}
        forward = predict(varied(scenario, values | {"momentum_transfer.beta": float(posterior.beta[k])}))
        assert forward.numbers()["along_track_dv_mm_s"] == pytest.approx(posterior.dv_mm_s[k], rel=2e-5)
        assert abs(forward.period_change_s - posterior.change_s) < 4.5 * np.hypot(2.0, posterior.surrogate.error_s)
        assert forward.numbers()["secondary_density_kg_m3"] == pytest.approx(posterior.density_kg_m3[k], rel=1e-4)


def test_beta_grows_with_the_density(posterior):
    """beta + const is linear in M2: the line through 1500 and 3300 kg/m3 passes 2400 for every draw."""
    low, middle, high = (posterior.beta_at(d) for d in (1500.0, 2400.0, 3300.0))
    np.testing.assert_allclose(0.5 * (low + high), middle, rtol=1e-12)
    line = report(posterior)["beta_of_density"]
    assert line["correlation_with_density"] > 0.9
    assert line["slope_at_2400_kg_m3"] + line["offset"] == pytest.approx(np.median(middle), rel=0.02)


def test_what_the_command_refuses(tmp_path, scenario, capsys):
    file = tmp_path / "back.toml"
    file.write_text(scenario.text)
    refused = [[], ["--period-change-s", "-900"], ["--sigma-s", "1"], ["--period-change-s", "0", "--sigma-s", "1"]]
    refused += [["--period-change-s", "-900", "--sigma-s", "0"]]
    refused += [["--period-change-s", "-900", "--sigma-s", "1", "--count", "5"]]
    for arguments in refused:
        assert main(["infer", str(file), *arguments]) == 2
        said = capsys.readouterr().err.strip()
        assert said.startswith("binarydyn:") and "\n" not in said


def test_a_change_of_the_wrong_sign_is_refused(scenario, forward):
    """A velocity change against the motion cannot lengthen the period, whatever beta is."""
    with pytest.raises(InputError, match="the other way"):
        infer(scenario, -forward.period_change_s, 2.0, 500)
    doubtful = infer(scenario, 0.4 * forward.period_change_s, 2.0, 500)
    assert any("beta below 1" in sentence for sentence in doubtful.warnings)
