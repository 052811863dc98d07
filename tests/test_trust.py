"""What a result says of its own worth.

Growth of neighbouring trajectories, choice of the degree of gravity, error of the model.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from test_assessment import pair

from binarydyn.bodies import Ellipsoid
from binarydyn.commands import main
from binarydyn.dynamics import simulate, simulate_many
from binarydyn.errors import InputError
from binarydyn.observables import period
from binarydyn.observables.chaos import TWIST_RAD, neighbours, simulate_with_neighbours
from binarydyn.prediction import predict
from binarydyn.relaxed import start
from binarydyn.relaxed.asked import wanted_of
from binarydyn.relaxed.bodies import bodies
from binarydyn.relaxed.degree import chosen_degree, estimated_error, next_degree
from binarydyn.relaxed.growth_by_map import chaos_of_relaxed
from binarydyn.relaxed.periodic import find
from binarydyn.sampling.summary_statistics import probabilities, which_are_chaotic
from binarydyn.scenario import Scenario, example, varied
from binarydyn.scenario.wording import rounded
from binarydyn.store import open_result
from binarydyn.vectors import quaternion_product

PRIMARY, SECONDARY = Ellipsoid((400.0, 380.0, 310.0), 2300.0), Ellipsoid((90.0, 75.0, 60.0), 2300.0)


def test_companions_are_twisted_about_each_axis_and_moved_along_the_track():
    state = start(pair()).system.state
    *twisted, moved = neighbours(state)
    for axis, companion in enumerate(twisted):
        q = state.attitude2
        w, *vector = quaternion_product(q[0], -q[1], -q[2], -q[3], *companion.attitude2)
        assert 2.0 * np.array(vector) == pytest.approx(TWIST_RAD * np.eye(3)[axis], rel=1e-6, abs=1e-12 * TWIST_RAD)
        assert np.array_equal(companion.position_m, state.position_m)
    shift = moved.position_m - state.position_m
    assert np.linalg.norm(shift) == pytest.approx(TWIST_RAD * np.linalg.norm(state.position_m), rel=1e-6)
    assert abs(shift @ state.position_m) < 1e-3 * np.linalg.norm(shift) * np.linalg.norm(state.position_m)
    assert shift @ state.velocity_m_s > 0.0


def test_the_run_itself_keeps_its_bits():
    system = start(pair()).system
    run, _ = simulate_with_neighbours(system, 5.0, system.state, 20.0, 10**9)
    assert np.array_equal(run.y, simulate(system, 5.0).y)


def test_a_librating_moonlet_is_regular_and_one_on_the_separatrix_is_not():
    """At 90 degrees from the line of centres the secondary stands on the edge between swinging and turning.

    A pendulum leaves its upper point by e every 1/(n sqrt(3 (B - A)/C)) (Murray & Dermott 1999, ch. 5):
    here 0.25 days, so a twist is a radian within a week.
    """
    system = start(pair()).system
    calm = simulate_with_neighbours(system, 20.0, system.state, 20.0, 10**9)[1]
    assert not calm.chaotic and 1.0 <= calm.divergence_factor < 40.0
    q = quaternion_product(*system.state.attitude2, np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5))
    upright = type(system.state)(
        system.state.position_m, system.state.velocity_m_s, system.state.attitude1, system.state.rate1_rad_s,
        np.array(q), system.state.rate2_rad_s,
    )  # fmt: skip
    edge = simulate_with_neighbours(system, 20.0, upright, 20.0, 10**9)[1]
    assert edge.chaotic and edge.divergence_factor > 1e4


def test_unstable_outcomes_are_named():
    """An impact that makes the secondary turn over and over irregularly says so in the flag and in a warning."""
    wild = predict(
        pair(mutual_orbit={"eccentricity": 0.0}, velocity_change={"along_track_mm_s": -25.0, "normal_mm_s": 15.0})
    )
    assert wild.numbers()["chaotic_after"] is True
    assert any("after the impact is chaotic" in sentence for sentence in wild.warnings)
    assert predict(pair()).numbers()["chaotic_after"] is False


def test_the_degree_follows_from_the_reach_of_the_primary():
    """0.05 (R/r)^(N+2) by hand: R/r = 0.4 at 1000 m, 0.2 at 2000 m."""
    assert estimated_error(4, PRIMARY, SECONDARY, 1000.0) == pytest.approx(0.05 * 0.4**6)
    assert chosen_degree(PRIMARY, SECONDARY, 2000.0, 1e-4)[0] == 2
    assert chosen_degree(PRIMARY, SECONDARY, 1000.0, 1e-4)[0] == 6
    degree, warnings = chosen_degree(PRIMARY, SECONDARY, 500.0, 1e-4)
    assert degree == 8 and "even degree 8" in warnings[0]
    assert [next_degree(n) for n in (2, 4, 6, 8)] == [4, 6, 8, None]


def test_auto_is_the_chosen_degree_and_its_estimate_covers_the_next_degree():
    """The model error, by running the next degree, stays below three times what the estimate promises; degree 2, which
    is not the default."""
    velocity_change = {"along_track_mm_s": -3.0}
    simulation = {"degree": "auto", "degree_accuracy": 1e-3, "model_error": "next_degree"}
    result = predict(pair(velocity_change=velocity_change, simulation=simulation))
    assert result.start.system.degree == result.numbers()["degree"] == 2
    by_two, by_four = (
        predict(pair(velocity_change=velocity_change, simulation={"degree": n})).period_change_s for n in (2, 4)
    )
    assert result.period_change_s == by_two
    assert result.model_error_s == by_four - by_two
    expected = estimated_error(2, result.start.system.primary, result.start.system.secondary, 1180.0)
    assert 0.0 < abs(result.model_error_s / result.period_change_s) < 3.0 * expected


def eccentric(eccentricity: float, **simulation) -> Scenario:
    """The built-in system with a free eccentricity."""
    changes = {f"simulation.{key}": value for key, value in simulation.items()}
    return varied(example(), {"mutual_orbit.eccentricity": eccentricity, **changes})


def test_chaos_before_the_impact_stands_in_text_file_and_counts(tmp_path, capsys):
    path, stored, swept = (str(tmp_path / name) for name in ("pair.toml", "pair.h5", "sweep.h5"))
    (tmp_path / "pair.toml").write_text(eccentric(0.09).text)
    assert main(["predict", path, "--out", stored]) == 0
    out = capsys.readouterr().out
    assert "before (chaotic)" in out and "warning: the motion before t0 is chaotic" in out
    numbers = open_result(stored).numbers
    assert numbers["chaotic_before"] is True and numbers["period_change_neighbour_sd_s"] > 0.5
    assert main(["sweep", path, "--vary", "impactor.mass_kg=400:500:2", "--out", swept]) == 0
    assert "before the impact: 2 chaotic; after the impact: " in capsys.readouterr().out
    result = open_result(swept)
    assert result.columns["chaotic_before"].tolist() == [1, 1]
    assert (
        which_are_chaotic(result.columns).all()
        and probabilities(result.columns)["chaotic_before"]["probability"] == 1.0
    )


def test_chaos_before_the_impact_is_named():
    """The built-in system with e = 0.09: a twist of 1e-7 rad at t0 moves the period before by seconds.

    With e = 0.05 it moves it by less than 1 ms, and both windows are regular.
    """
    moved = {}
    for eccentricity in (0.05, 0.09):
        begun = start(eccentric(eccentricity))
        runs = simulate_many([begun.system] * 5, -60.0, [begun.system.state, *neighbours(begun.system.state)])
        periods = [period(run).value_s for run in runs]
        moved[eccentricity] = max(periods) - min(periods)
        numbers = predict(eccentric(eccentricity)).numbers()
        assert numbers["chaotic_before"] is begun.chaos.chaotic is (eccentricity == 0.09)
        assert numbers["divergence_factor_before"] == begun.chaos.divergence_factor
        assert (numbers["divergence_factor_before"] > 1e6) is (eccentricity == 0.09)
        sentences = [s for s in begun.warnings if "the motion before t0 is chaotic" in s]
        assert len(sentences) == (eccentricity == 0.09)
    assert moved[0.05] < 1e-3 and moved[0.09] > 1.0


def test_the_return_map_says_of_a_relaxed_start_what_runs_say(monkeypatch):
    """Within 2 % over 60 days and a year, backwards and forwards, and no run is made for it."""
    systems = {}
    for name, scenario in (("close", example()), ("long primary", pair())):
        begun = start(scenario)
        systems[name] = begun.system, relaxed_orbit(scenario)
        assert begun.chaos == chaos_of_relaxed(systems[name][1], -scenario.simulation.days_before)
    for system, orbit in systems.values():
        for days in (-60.0, 60.0, -365.0):
            told = simulate_with_neighbours(system, days, system.state, 20.0, 10**9)[1]
            assert chaos_of_relaxed(orbit, days).divergence_factor == pytest.approx(told.divergence_factor, rel=0.02)
            assert not told.chaotic

    def refused(*_):
        raise AssertionError("a run was made")

    monkeypatch.setattr("binarydyn.observables.chaos.simulate_many", refused)
    assert start(example()).chaos.divergence_factor > 1.0


def relaxed_orbit(scenario):
    primary, secondary = bodies(scenario)
    return find(primary, secondary, scenario.simulation.degree, wanted_of(scenario))


def test_the_return_map_names_a_relaxed_state_that_grows():
    """A mode that grows by a factor g each orbit parts neighbouring trajectories by about g^orbits, up to half a
    turn."""
    orbit = relaxed_orbit(example())
    values, vectors = np.linalg.eig(orbit.return_map)
    per_orbit = 2.0 * np.pi / (orbit.rate_rad_s * orbit.turn_s)
    libration = [k for k in range(18) if abs(abs(np.angle(values[k])) / orbit.turn_s - 2 * np.pi / 16.95 / 3600) < 1e-6]
    assert len(libration) == 2
    values[libration] *= 1.1 ** (1.0 / per_orbit)
    grown = replace(orbit, return_map=np.real(vectors @ np.diag(values) @ np.linalg.inv(vectors)))
    days = 100.0 * 2.0 * np.pi / orbit.rate_rad_s / 86400.0
    assert 0.3 < chaos_of_relaxed(grown, days).divergence_factor / 1.1**100 < 10.0
    assert chaos_of_relaxed(grown, days).chaotic and not chaos_of_relaxed(orbit, days).chaotic
    assert chaos_of_relaxed(grown, 20.0 * days).divergence_factor == np.pi / TWIST_RAD


WIDE = """
[primary]
semi_axes_m = [603300.0, 603300.0, 578150.0]
mass_kg = 5.6832e20
spin_period_h = 10.656
[secondary]
semi_axes_m = [1801.0, 1330.0, 1027.0]
mass_kg = 5.62e12
[mutual_orbit]
period_h = 510.64
eccentricity = 0.1
solve_for = "separation"
[velocity_change]
along_track_mm_s = -1.0
[simulation]
days_before = 640.0
integrator = "splitting"
"""


@pytest.mark.parametrize("changes", [{}, {"days_before": 200.0}, {"days_before": 130.4, "integrator": "rungekutta"}])
@pytest.mark.parametrize("eccentricity", [0.07, 0.1])
def test_a_moonlet_that_does_not_stay_synchronous_is_refused_whatever_the_window(eccentricity, changes):
    """Its free libration (544 h) is so near the orbit (511 h) that an eccentricity e forces 2 e / (1 - (n/w)^2), 15 e,
    which is a radian and more.  Left alone it makes 46 turns in the 30 orbits of 640 days."""
    text = WIDE.replace("= 0.1\n", f"= {eccentricity}\n")
    for key, value in changes.items():
        text = re.sub(f"{key} = .*", f"{key} = {value!r}".replace("'", '"'), text)
    with pytest.raises(
        InputError, match=f"{eccentricity:g} is given, but the secondary does not stay synchronous"
    ) as told:
        start(Scenario.from_text(text, "wide.toml"))
    assert told.value.place == "wide.toml:mutual_orbit.eccentricity"
    assert re.search(r"days before t0 it has turned over \(an axis more than 90 deg off\), allowed is", str(told.value))


def test_a_short_window_does_not_hide_that_the_moonlet_turns_over():
    """e = 0.02: it turns over 1900 days before t0, in 90 orbits, where the window is 6 orbits."""
    text = WIDE.replace("= 0.1\n", "= 0.02\n").replace("640.0", "130.4").replace('"splitting"', '"rungekutta"')
    with pytest.raises(InputError, match="secondary does not stay synchronous: 19[0-9]0 days before"):
        start(Scenario.from_text(text, "wide.toml"))


def test_a_large_free_libration_that_turns_over_is_refused_and_a_smaller_one_is_not():
    with pytest.raises(InputError, match="secondary.libration_amplitude_deg: 60 is given, but"):
        start(varied(example(), {"secondary.libration_amplitude_deg": 60.0}))
    assert not start(varied(example(), {"secondary.libration_amplitude_deg": 20.0})).chaos.chaotic


def test_a_round_moonlet_may_turn_against_the_orbit():
    """Nothing locks it, so nothing is refused."""
    given = {"secondary.semi_axes_m.1": 70.0, "secondary.semi_axes_m.2": 70.0}
    assert start(varied(eccentric(0.05), given)).modes


def test_chaos_after_the_impact_is_told_in_the_words_of_chaos_before_it(capsys, tmp_path):
    """beta 12 makes the built-in secondary tumble; sizes above ten are written without an exponent."""
    path = tmp_path / "hard.toml"
    path.write_text(varied(example(), {"momentum_transfer.beta": 12.0}).to_toml())
    assert main(["predict", str(path)]) == 0
    text = capsys.readouterr().out
    assert "warning: the motion after the impact is chaotic: a neighbouring trajectory, 1e-07 rad beside it" in text
    assert re.search(r"fit error \d+ s", text) and re.search(r"the period by \d+ s \(standard deviation", text)
    assert (rounded(1243.0), rounded(0.000427, 1), rounded(112.0, 2, "+")) == ("1240", "0.0004", "+110")


def test_a_change_of_nothing_has_no_sign_of_minus(capsys, tmp_path):
    path = tmp_path / "normal.toml"
    data = {key: value for key, value in example().to_dict().items() if key not in ("impactor", "momentum_transfer")}
    path.write_text(Scenario.from_dict(data | {"velocity_change": {"normal_mm_s": 0.02}}, "test").to_toml())
    assert main(["predict", str(path)]) == 0
    assert not re.search(r"-0\.0+\b", capsys.readouterr().out.split("elative energy error")[0])
