"""The splitting: its parts against exact solutions, its order, what it conserves, and when it hands over."""

from dataclasses import replace

import numpy as np
import pytest
from test_batch import assert_same, member, thrown

from binarydyn.constants import DAY_S
from binarydyn.dynamics import INTEGRATORS, simulate, simulate_many
from binarydyn.impact import hit
from binarydyn.integrators import batch, splitting, step_rules
from binarydyn.motion.equations import parameters
from binarydyn.observables import period
from binarydyn.prediction import predict
from binarydyn.relaxed import build
from binarydyn.scenario import Scenario, example, varied

LANES = splitting.LANES


def split(system):
    return replace(system, integrator="splitting")


def lanes_with(y, constants):
    """Work array with the same state and constants in every lane, no gravity beyond the monopole."""
    work = batch.aligned(splitting.work_size(102))
    columns = work.reshape(-1, LANES)
    columns[:20] = np.array(y)[:, None]
    columns[20:28] = np.array([*constants, 1.0 / np.linalg.norm(y[:3])])[:, None]
    return work, columns


def test_the_compositions_are_consistent_and_symmetric():
    for weights in (splitting.DRIFTS, splitting.KICKS):
        assert sum(weights) == pytest.approx(1.0, abs=1e-15) and tuple(weights) == tuple(weights[::-1])
    assert len(splitting.DRIFTS) == len(splitting.KICKS) + 1


@pytest.mark.parametrize("e", [0.0, 0.2, 0.5])
def test_drift_is_keplers_orbit(e):
    """Against Kepler's equation, M = E - e sin E, over ten orbits in steps of a tenth of a radian.

    With e = 0.5 that is as far as the series may turn at the pericentre.
    """
    gm, a = 35.0, 1200.0
    assert 0.1 / (1.0 - e) ** 1.5 < splitting.MOST_TURN
    n = np.sqrt(gm / a**3)
    q = a * (1.0 - e)
    y = np.zeros(20)
    y[0], y[4], y[6], y[13] = q, np.sqrt(gm * (1.0 + e) / q), 1.0, 1.0
    work, columns = lanes_with(y, [gm, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    h, count = 0.1 / n, 628
    for _ in range(count):
        splitting.module(102).drift(work, h)
    mean = n * h * count
    anomaly = mean
    for _ in range(50):
        anomaly -= (anomaly - e * np.sin(anomaly) - mean) / (1.0 - e * np.cos(anomaly))
    expected = a * np.array([np.cos(anomaly) - e, np.sqrt(1.0 - e * e) * np.sin(anomaly), 0.0])
    assert np.abs(columns[:3, 3] - expected).max() < 1e-10 * a
    assert columns[splitting.INVERSE, 3] * np.linalg.norm(columns[:3, 3]) == pytest.approx(1.0, abs=1e-14)


def test_drift_is_the_free_symmetric_top():
    """Precession of a symmetric top: w_perp turns in the body at (1 - I3/I1) w3 (Landau & Lifshitz, Mechanics, par.

    35).
    """
    e1, e3 = 2.0, 1.3
    l = np.array([0.02, 0.0, 0.05])
    y = np.zeros(20)
    y[0], y[4], y[6], y[13] = 1000.0, 0.2, 1.0, 1.0
    y[10:13] = l
    work, columns = lanes_with(y, [40.0, e1, e1, e3, 1.0, 1.0, 1.0])
    steps, h = 400, 2.0
    for _ in range(steps):
        splitting.module(102).drift(work, h)
    angle = (e3 - e1) * l[2] * h * steps
    turned = [l[0] * np.cos(angle), -l[0] * np.sin(angle), l[2]]
    assert columns[10:13, 0] == pytest.approx(turned, abs=1e-14)
    assert np.linalg.norm(columns[6:10, 0]) == pytest.approx(1.0, abs=1e-13)


def test_fitted_order():
    """Errors of epsilon h^10 + epsilon^2 h^4 fall by 2^4 or more as the step is halved.

    Down to the kick's own second order.
    """
    errors = []
    for seed in range(4, 8):
        system = member(np.random.default_rng(seed))
        tight = simulate(replace(system, tolerance=1e-14), 1.0)
        row = []
        for steps in (40, 80, 160, 320):
            run = simulate(split(system), 1.0, every_minutes=1440.0 / steps)
            assert run.steps == steps
            row.append(np.linalg.norm(run.position_m[-1] - tight.position_m[-1]))
        errors.append(row)
    slopes = -np.diff(np.log2(errors), axis=1).mean(axis=0)
    assert slopes[0] > 3.5 and 1.7 < slopes[2] < 4.0
    assert np.max(np.array(errors)[:, 2]) < 1e-5 * 2.0  # m in a day: where the second order takes over it is small


def test_forwards_and_back_meet():
    """A symmetric composition run backwards undoes itself, up to rounding that grows with the steps.

    1e-9 of the size here.
    """
    system = split(member(np.random.default_rng(6)))
    there = simulate(system, 2.0)
    back = simulate(system, -2.0, state=there[-1])
    assert np.abs(back.y[0] - system.state.vector).max() < 1e-9 * 1180.0


def test_the_period_is_that_of_the_adaptive_run_and_angular_momentum_is_kept():
    """30 days of 12 members: period to 0.01 s, what observers' best are worth.

    Momentum to rounding over 5500 kicks, 1e-11.
    """
    systems = [member(np.random.default_rng(100 + k)) for k in range(12)]
    systems = [replace(system, tolerance=1e-12) for system in systems]
    exact, ours = simulate_many(systems, 30.0), simulate_many([split(system) for system in systems], 30.0)
    for one, other in zip(exact, ours, strict=True):
        assert abs(period(one).value_s - period(other).value_s) < 0.01
        assert other.relative_angular_momentum_error < 1e-11
        assert other.relative_energy_error < 1e-5


def test_lane_mates_change_no_bit():
    systems = [split(member(np.random.default_rng(50 + k))) for k in range(11)]
    for system, run in zip(systems, simulate_many(systems, 3.0), strict=True):
        assert_same(simulate(system, 3.0), run)


def test_where_bodies_meet_or_part_the_adaptive_run_takes_over():
    random = np.random.default_rng(9)
    for speed in (0.01, 3.0):
        system = thrown(member(random), speed)
        assert_same(simulate(split(system), 3.0), simulate(system, 3.0))


def test_steps_follow_orbit_and_spin():
    system = member(np.random.default_rng(1))
    step = 1.0 / step_rules.steps_of(system.state.vector, system.gm_m3_s2, 1.0, float)
    rate = np.linalg.norm(system.state.rate1_rad_s)
    assert step == pytest.approx(min(step_rules.STEP_TURN / (0.1485e-3), step_rules.STEP_SPIN / rate), rel=0.05)
    run = simulate(split(system), 2.0)
    assert np.diff(run.time_s).max() <= step * (1.0 + 1e-12) and run.time_s[-1] == pytest.approx(2.0 * DAY_S)


def test_the_table_is_what_a_scenario_may_ask_for():
    assert set(Scenario.known_keys()["simulation.integrator"].facts["choices"]) == set(INTEGRATORS)
    assert all(row.citation and row.when and row.cost and row.order for row in INTEGRATORS.values())


def test_kick_conserves_angular_momentum_by_itself():
    """The torques and the pull of one kick leave r x m v + spins as they were, to 1e-13 of r x m v."""
    system = member(np.random.default_rng(12))
    constants, coefficients = parameters(system.primary, system.secondary, 4, True)
    work = batch.aligned(splitting.work_size(104))
    columns = work.reshape(-1, LANES)
    y = system.state.vector
    y[10:13] /= constants[1:4]
    y[17:20] /= constants[7:10]
    columns[:20] = y[:, None]
    inverse = 1.0 / np.linalg.norm(y[:3])
    columns[20:28] = np.array([constants[0], *constants[1:4], *constants[7:10], inverse])[:, None]
    columns[28:] = coefficients[:, None]
    before = _momentum(columns[:20, 0], constants[0])
    splitting.module(104).kick(work, 900.0)
    after = _momentum(columns[:20, 0], constants[0])
    assert np.abs(after - before).max() < 1e-13 * np.linalg.norm(np.cross(y[:3], y[3:6]))
    assert np.abs(columns[10:13, 0] - y[10:13]).max() > 0.0


def _momentum(y, gm):
    """r x v + G (M1 + M2) (C1 l1 + C2 l2), per reduced mass."""
    from scipy.spatial.transform import Rotation

    spins = sum(Rotation.from_quat(np.roll(y[i : i + 4], -1)).apply(y[i + 4 : i + 7]) for i in (6, 13))
    return np.cross(y[:3], y[3:6]) + gm * spins


def test_a_given_spacing_does_not_bring_the_step_into_resonance():
    """Samples every 38 min put 2 steps into a cycle of the primary's forcing of the built-in system: 76 mm in 60 days,
    where steps off the resonance stay below 10 mm; against Gauss's method
    """
    changed = hit(build(example()))
    exact = simulate(replace(changed, integrator="gauss"), 60.0, every_minutes=1440.0 / 84.0)
    run = simulate(split(changed), 60.0, every_minutes=38.0)
    rate = np.linalg.norm(changed.state.rate1_rad_s) - 2.0 * np.pi / period(run).value_s
    share = (run.time_s[1] - run.time_s[0]) * rate / np.pi
    assert share < step_rules.RESONANCE[0] * 1.001 or share > step_rules.RESONANCE[1] * 0.999
    assert run.time_s[-1] == pytest.approx(exact.time_s[-1], abs=1e-6)
    assert np.linalg.norm(run.position_m[-1] - exact.position_m[-1]) < 0.01


def test_both_windows_of_a_prediction_are_run_with_the_integrator_that_is_asked_for():
    """Seven kicks for each sample, which only the splitting makes."""
    short = {"simulation.days_before": 6.0, "simulation.days_after": 6.0}
    data = varied(example(), short).text.replace("[simulation]", '[simulation]\nintegrator = "splitting"')
    result = predict(Scenario.from_text(data))
    for run in (result.before, result.after):
        assert run.evaluations == len(splitting.KICKS) * (len(run.time_s) - 1)
    assert abs(result.before.period.value_h - result.start.period_h) * 3600.0 < 0.01
