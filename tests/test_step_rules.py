"""Step control in numbers: adaptive rules after Hairer, Norsett & Wanner 1993 (sec. II.4), the splitting's limits."""

import math

import numpy as np
import pytest

from binarydyn.integrators import step_rules as rules
from binarydyn.integrators.splitting import MOST_TURN
from binarydyn.integrators.tableau_splitting import DRIFTS


@pytest.mark.parametrize("error", [1e-12, 0.3, 1.0, 7.0])
def test_a_step_of_the_fitting_length_has_the_error_that_is_aimed_at(error):
    """The error of an order-8 step grows as h^8; 0.9^8 of the tolerance is aimed at."""
    assert error * rules.fitting(error) ** 8 == pytest.approx(0.9**8, rel=1e-14)


def test_steps_grow_and_shrink_within_their_limits():
    assert rules.longer(100.0, 2.0, rules.MOST) == 200.0 and rules.longer(100.0, 50.0, rules.MOST) == 600.0
    assert rules.longer(-100.0, 2.0, 1.0) == -100.0
    assert rules.shorter(100.0, 3.0, 0.5) == 50.0 and rules.shorter(-100.0, 1e20, 0.01) == -20.0
    assert rules.shorter(100.0, math.nan, math.nan) == rules.shorter(100.0, math.inf, 0.0) == 20.0
    assert rules.kept(100.0, 0.9) == rules.kept(100.0, 1.5) == 100.0
    assert rules.kept(100.0, 0.7) == 70.0 and rules.kept(100.0, 9.0) == 200.0


def test_a_step_is_too_short_where_it_hardly_moves_the_time():
    assert rules.too_short(1e-10, 0.0) and rules.too_short(-1e-7, 2e6) and not rules.too_short(1e-7, 5e5)


def test_the_clock_keeps_what_it_rounds():
    """A million steps of 0.1 s from a late time; naively some microseconds are lost."""
    t, lost, naive = 1e9, 0.0, 1e9
    for _ in range(1_000_000):
        t, lost = rules.clock(t, lost, 0.1)
        naive += 0.1
    assert (t - 1e9) - lost == pytest.approx(1e5, abs=1e-9) and abs(naive - 1e9 - 1e5) > 1e-3


def test_ends_are_told_by_distance_and_energy():
    def at(distance, speed):
        return rules.whereabouts(distance, 0.0, 0.0, 0.0, speed, 0.0, 2.0**2, 50.0**2, 8.0)

    assert at(1.9, 9.0) == rules.CONTACT and at(10.0, 9.0) == rules.DONE
    escape = math.sqrt(2.0 * 8.0 / 60.0)
    assert at(60.0, 1.01 * escape) == rules.ESCAPE and at(60.0, 0.99 * escape) == rules.DONE


def test_a_touch_is_halved_down_to_a_millionth_of_a_millionth_of_the_step():
    """By hand: after n halvings what is left is 2^-n long, and the touch lies in it."""
    low, high = 0.0, 1.0
    for _ in range(rules.HALVINGS):
        low, high = rules.halved(low, high, 0.5 * (low + high) >= 1.0 / 3.0)
    assert low < 1.0 / 3.0 <= high and high - low == 2.0**-rules.HALVINGS < 1e-12


def test_samples_are_due_in_both_directions_of_time():
    assert rules.is_due(20.0, 2, 10.0) and not rules.is_due(19.9, 2, 10.0)
    assert rules.is_due(-20.0, 2, -10.0) and not rules.is_due(-19.9, 2, -10.0)
    assert rules.ahead(2, 10.0, 15.0, 0.25) == 5.25


def test_steps_limit_before_pause():
    assert rules.used_up(9.0, 10.0, 3, 4) == rules.DONE and rules.used_up(9.0, 10.0, 4, 4) == rules.PAUSED
    assert rules.used_up(10.0, 10.0, 4, 4) == rules.STEP_LIMIT


def test_steps_of_the_splitting_fit_orbit_and_spin_and_miss_the_resonance():
    """Random pairs: never between 0.45 and 0.55 steps a cycle of the forcing, and never more than those need."""
    random, gm, window_s = np.random.default_rng(3), 30.0, 5e6
    y = np.zeros((20, 4000))
    y[0], y[12], y[19] = random.uniform(900.0, 2000.0, 4000), *random.uniform(1e-4, 3e-3, (2, 4000))
    turn = np.sqrt(gm / y[0] ** 3)
    steps = rules.steps_of(y, gm, window_s, np.ceil)
    h = window_s / steps
    share = h * np.abs(y[12] - turn) / np.pi
    assert not np.any((share > 0.45 * (1.0 + 1e-12)) & (share < 0.55))
    longest = np.minimum(0.48 / turn, 2.4 / np.maximum(turn, np.maximum(y[12], y[19])))
    assert np.all(h <= longest * (1.0 + 1e-12)) and np.mean(h > 0.99 * longest) > 0.5
    assert np.all(share[h < 0.99 * longest] > 0.44)  # shorter than needed only where they were moved off
    assert [float(rules.steps_of(y[:, k], gm, window_s, np.ceil)) for k in range(50)] == list(steps[:50])


def test_the_longest_drift_turns_as_far_as_its_series_hold_at_the_nearest_distance():
    gm, h = 30.0, -1200.0
    rate = math.sqrt(gm / rules.nearest_m(gm, h) ** 3)
    assert rate * abs(h) * max(DRIFTS) == pytest.approx(MOST_TURN, rel=1e-12)
