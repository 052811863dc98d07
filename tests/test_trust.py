"""What a result says of its own worth.

Growth of companion runs, choice of the degree of gravity, error of the model.
"""

import numpy as np
import pytest
from test_assessment import pair

from binarydyn.assessment import predict, start
from binarydyn.assessment.degree import chosen_degree, estimated_error, next_degree
from binarydyn.assessment.trust import TWIST_RAD, companions, simulate_with_companions
from binarydyn.bodies import Ellipsoid
from binarydyn.dynamics import simulate
from binarydyn.vectors import quaternion_product

PRIMARY, SECONDARY = Ellipsoid((400.0, 380.0, 310.0), 2300.0), Ellipsoid((90.0, 75.0, 60.0), 2300.0)


def test_companions_are_twisted_about_each_axis_and_moved_along_the_track():
    state = start(pair()).system.state
    *twisted, moved = companions(state)
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
    run, _ = simulate_with_companions(system, 5.0, system.state, 20.0, 10**9)
    assert np.array_equal(run.y, simulate(system, 5.0).y)


def test_a_librating_moonlet_is_regular_and_one_on_the_separatrix_is_not():
    """At 90 degrees from the line of centres the moonlet stands on the edge between swinging and turning.

    A pendulum leaves its upper point by e every 1/(n sqrt(3 (B - A)/C)) (Murray & Dermott 1999, ch. 5):
    here 0.25 days, so a twist is a radian within a week.
    """
    system = start(pair()).system
    calm = simulate_with_companions(system, 20.0, system.state, 20.0, 10**9)[1]
    assert not calm.unstable and 1.0 <= calm.amplification < 40.0
    q = quaternion_product(*system.state.attitude2, np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5))
    upright = type(system.state)(
        system.state.position_m, system.state.velocity_m_s, system.state.attitude1, system.state.rate1_rad_s,
        np.array(q), system.state.rate2_rad_s,
    )  # fmt: skip
    edge = simulate_with_companions(system, 20.0, upright, 20.0, 10**9)[1]
    assert edge.unstable and edge.amplification > 1e4


def test_unstable_outcomes_are_named():
    """A hit that makes the moonlet turn over and over irregularly says so in the flag and in a warning."""
    wild = predict(pair(mutual_orbit={"eccentricity": 0.0}, push={"along_track_mm_s": -25.0, "normal_mm_s": 15.0}))
    assert wild.numbers()["unstable_after"] is True
    assert any("unstable" in sentence for sentence in wild.warnings)
    assert predict(pair()).numbers()["unstable_after"] is False


def test_the_degree_follows_from_the_reach_of_the_primary():
    """0.05 (R/r)^(N+2) by hand: R/r = 0.4 at 1000 m, 0.2 at 2000 m."""
    assert estimated_error(4, PRIMARY, SECONDARY, 1000.0) == pytest.approx(0.05 * 0.4**6)
    assert chosen_degree(PRIMARY, SECONDARY, 2000.0, 1e-4)[0] == 2
    assert chosen_degree(PRIMARY, SECONDARY, 1000.0, 1e-4)[0] == 6
    degree, warnings = chosen_degree(PRIMARY, SECONDARY, 500.0, 1e-4)
    assert degree == 8 and "even degree 8" in warnings[0]
    assert [next_degree(n) for n in (2, 4, 6, 8)] == [4, 6, 8, None]


def test_auto_is_the_chosen_degree_and_its_estimate_covers_the_next_degree():
    """The model error, by running the next degree, stays below three times what the estimate promises."""
    push = {"along_track_mm_s": -3.0}
    simulation = {"degree": "auto", "degree_accuracy": 5e-4, "model_error": "next_degree"}
    result = predict(pair(push=push, simulation=simulation))
    assert result.start.system.degree == result.numbers()["degree"] == 4
    by_hand = predict(pair(push=push, simulation={"degree": 6})).period_change_s
    by_four = predict(pair(push=push, simulation={"degree": 4})).period_change_s
    assert result.period_change_s == by_four
    assert result.model_error_s == by_hand - by_four
    expected = estimated_error(4, result.start.system.primary, result.start.system.secondary, 1180.0)
    assert 0.0 < abs(result.model_error_s / result.period_change_s) < 3.0 * expected
