"""Companions of many cases at once: those of a single run, and what they say of it."""

import numpy as np
import pytest
from test_batch import member, thrown

from binarydyn.assessment.trust import TWIST_RAD, companions, is_unstable
from binarydyn.dynamics import State
from binarydyn.ensembles import companions as of_arrays
from binarydyn.ensembles.cases import accumulated, cases
from binarydyn.ensembles.companions import with_companions


@pytest.fixture(scope="module")
def systems():
    return [member(np.random.default_rng(300 + k)) for k in range(6)]


def test_companions_of_arrays_are_those_of_states(systems):
    """Twists by the product of quaternions, the move along v x r x r: to rounding of the companions of single runs."""
    given = cases(systems)
    for number, beside in enumerate(of_arrays.companions(given)):
        one_by_one = cases(systems, [companions(system.state)[number] for system in systems])
        assert beside.columns == pytest.approx(one_by_one.columns, rel=1e-14, abs=1e-13)
        assert np.abs(beside.columns - given.columns)[:17].max() > 0.1 * TWIST_RAD


def test_a_run_has_the_same_bits_with_companions(systems):
    given = cases(systems)
    alone, (beside, growth) = accumulated(given, 10.0), with_companions(given, 10.0)
    assert np.array_equal(alone.state, beside.state) and np.array_equal(alone.period_s, beside.period_s)
    assert np.all(growth > 0.1) and not is_unstable(growth, 10.0).any()


def test_a_moonlet_that_tumbles_is_named():
    """A moonlet of 1.3 axes ratio thrown onto an orbit of e = 0.25 is chaotic (Wisdom et al. 1984, Icarus 58, 137)."""
    calm = member(np.random.default_rng(300))
    eccentric = thrown(calm, 1.12 * calm.state.velocity_m_s[1])
    _, growth = with_companions(cases([calm, eccentric]), 60.0)
    assert is_unstable(growth, 60.0).tolist() == [False, True]


def test_a_case_that_ends_nowhere_is_not_trusted(systems):
    state = systems[0].state
    through = State.from_vector(state.vector * np.r_[np.full(3, 1e-3), np.ones(17)])
    _, growth = with_companions(cases([systems[0]], [through]), 5.0)
    assert growth[0] == np.inf or is_unstable(growth, 5.0)[0]
