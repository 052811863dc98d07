"""Neighbouring trajectories of many cases at once: those of a single run, and what they say of it."""

from dataclasses import replace

import numpy as np
import pytest
from test_batch import member, thrown

from binarydyn.batch import chaos as of_arrays
from binarydyn.batch.cases import accumulated, cases
from binarydyn.batch.chaos import with_neighbours
from binarydyn.batch.periods_after import periods_after
from binarydyn.dynamics import Drift, Perturbations, State, simulate
from binarydyn.observables import attitude, period
from binarydyn.observables.chaos import TWIST_RAD, is_chaotic, neighbours, simulate_with_neighbours
from binarydyn.relaxed import start
from binarydyn.scenario import example, varied


@pytest.fixture(scope="module")
def systems():
    return [member(np.random.default_rng(300 + k)) for k in range(6)]


def test_companions_of_arrays_are_those_of_states(systems):
    """Twists by the product of quaternions, the move along v x r x r: to rounding of the neighbouring trajectories of
    single runs."""
    given = cases(systems)
    for number, beside in enumerate(of_arrays.neighbours(given)):
        one_by_one = cases(systems, [neighbours(system.state)[number] for system in systems])
        assert beside.columns == pytest.approx(one_by_one.columns, rel=1e-14, abs=1e-13)
        assert np.abs(beside.columns - given.columns)[:17].max() > 0.1 * TWIST_RAD


def test_a_run_has_the_same_bits_with_companions(systems):
    given = cases(systems)
    alone, (same, beside) = accumulated(given, 10.0), with_neighbours(given, 10.0)
    assert np.array_equal(alone.state, same.state) and np.array_equal(alone.period_s, same.period_s)
    assert np.all(beside.growth > 0.1) and not is_chaotic(beside.growth, 10.0).any()


def test_a_moonlet_that_tumbles_is_named():
    """A secondary of 1.3 axes ratio thrown onto an orbit of e = 0.25 is chaotic (Wisdom et al. 1984, Icarus 58,
    137)."""
    calm = member(np.random.default_rng(300))
    eccentric = thrown(calm, 1.12 * calm.state.velocity_m_s[1])
    _, beside = with_neighbours(cases([calm, eccentric]), 60.0)
    assert is_chaotic(beside.growth, 60.0).tolist() == [False, True]


def test_a_case_that_ends_nowhere_is_not_trusted(systems):
    state = systems[0].state
    through = State.from_vector(state.vector * np.r_[np.full(3, 1e-3), np.ones(17)])
    _, beside = with_neighbours(cases([systems[0]], [through]), 0.1)
    assert beside.growth[0] == np.inf or is_chaotic(beside.growth, 0.1)[0]
    assert np.isnan(beside.period_spread_s[0])


AXES = ((70.0, 55.0, 48.0), (70.0, 50.0, 45.0), (70.0, 61.5, 48.0))
"""Of secondaries of the built-in system, pushed so that some tumble."""


@pytest.fixture(scope="module")
def tumbling():
    """Pairs pushed against the motion, and out of the plane."""
    found = []
    for axes in AXES:
        begun = start(varied(example(), {"secondary.semi_axes_m.1": axes[1], "secondary.semi_axes_m.2": axes[2]}))
        for velocity_change in ((-4e-4, -4e-3, 0.0), (-4e-4, -4e-3, 3e-3), (-6e-4, -6e-3, 3e-3)):
            velocity = begun.system.state.velocity_m_s + np.array(velocity_change)
            found.append(begun.system.with_state(replace(begun.system.state, velocity_m_s=velocity)))
    return found


def test_how_far_the_period_of_a_tumbling_pair_is_known_is_a_number(tumbling):
    """The fixed-step path errs against the adaptive one by up to a minute where the secondary tumbles, by 0.01 s where
    it does not; the standard deviation over the run and its neighbouring trajectories says so.

    Of a normal law with five members, the difference of two draws passes 4 of their standard deviations in 5 % of cases
    (Student's t of 4 degrees, two-sided, times the root of 2).
    """
    found, beside = with_neighbours(cases(tumbling), 60.0)
    exact = [replace(system, tolerance=1e-12) for system in tumbling]
    told = [simulate_with_neighbours(system, 60.0, system.state, 20.0, 10**9) for system in exact]
    off = np.abs(found.period_s - [period(run).value_s for run, _ in told])
    chaotic = is_chaotic(beside.growth, 60.0)
    assert found.fits.all() and 3 <= chaotic.sum() <= 8 and off[chaotic].max() > 5.0
    assert np.all(off[chaotic] < 4.0 * np.maximum(beside.period_spread_s[chaotic], 0.01))
    assert np.all(off[~chaotic] < 0.01) and np.all(beside.period_spread_s[~chaotic] < 0.01)
    single = np.array([chaos.period_spread_s for _, chaos in told])
    assert np.array_equal(single > 0.5, chaotic) or np.all(single[~chaotic] < 0.01)


def test_regular_means_the_same_with_a_perturbation_and_without(tumbling):
    """A drift of nothing sends the same runs one by one instead of through lanes."""
    idle = Perturbations(drift=Drift(1e-40))
    beside = [replace(system, perturbations=idle) for system in tumbling]
    states = [system.state for system in tumbling]
    periods, regular = periods_after(tumbling, states, 60.0)
    others, same = periods_after(beside, states, 60.0)
    assert regular.tolist() == same.tolist() and 0 < regular.sum() < len(regular)
    assert others[regular] == pytest.approx(periods[regular], abs=0.02)
    turned = [attitude(simulate(system, 60.0)).tumbling for system in tumbling]
    assert np.any(~regular & ~np.array(turned))  # chaotic ones that have not turned over yet
