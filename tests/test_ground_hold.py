"""Slopes of the secondary's ground and the cohesion that it takes: closed forms, limits, warnings."""

import numpy as np
import pytest

import binarydyn as bd
from binarydyn.constants import HOUR_S, G
from binarydyn.motion.state import State, System
from binarydyn.motion.trajectory import Trajectory
from binarydyn.observables import ground_hold
from binarydyn.observables.ground import needed_cohesion_Pa, self_pulls, slopes_deg
from binarydyn.prediction import predict
from binarydyn.scenario import example

FAR = 1e6
SHORT = {"simulation.days_before": 4.0, "simulation.days_after": 4.0}


def spinning(axes, density, period_h=np.inf) -> Trajectory:
    """An ellipsoid that turns about its short axis, far from a small other body."""
    rate = [0.0, 0.0, 2.0 * np.pi / (period_h * HOUR_S)]
    state = State([FAR, 0.0, 0.0], [0.0, 1e-3, 0.0], rate2_rad_s=rate)
    system = System(bd.Ellipsoid((1.0, 1.0, 1.0), 1000.0), bd.Ellipsoid(axes, density), state)
    return Trajectory(system, np.zeros(1), state.vector[None].copy(), "completed", 0.0, 0.0, 0, 0)


def pulls(axes, density, rate) -> np.ndarray:
    return -np.diag(2.0 * np.pi * G * density * self_pulls(axes))[None] + rate**2 * np.diag([1.0, 1.0, 0.0])[None]


def test_self_gravity_of_spheroids():
    """A sphere: 2/3 each.  An oblate spheroid: A3 = 2/e^2 (1 - sqrt(1-e^2) arcsin e/e) (Chandrasekhar 1969, Ellipsoidal
    Figures of Equilibrium, table; from memory)."""
    assert self_pulls((5.0, 5.0, 5.0)) == pytest.approx([2.0 / 3.0] * 3, rel=1e-14)
    e = 0.8
    polar = 2.0 / e**2 * (1.0 - np.sqrt(1.0 - e**2) * np.arcsin(e) / e)
    found = self_pulls((1.0, 1.0, 0.6))
    assert found[2] == pytest.approx(polar, rel=1e-12) and found.sum() == pytest.approx(2.0, rel=1e-13)


def test_the_spin_limit_of_a_ball():
    """3.3 h/sqrt(rho) with rho in g/cm3 (Pravec & Harris 2000, Icarus 148, 12): w^2 = 4 pi G rho/3, where the equator
    is weightless: faster, ground lifts off there, and grains of any friction, phi -> 90 deg, no longer hold the whole.
    """
    density, axes = 2000.0, (80.0, 80.0, 80.0)
    limit = np.sqrt(4.0 / 3.0 * np.pi * G * density)
    assert 2.0 * np.pi / limit / HOUR_S == pytest.approx(3.3 / np.sqrt(2.0), rel=0.01)
    for factor, lifted in ((0.99, False), (1.01, True)):
        pull = pulls(axes, density, factor * limit)
        assert bool(slopes_deg(pull, axes).max() > 90.0) == lifted
        assert bool(needed_cohesion_Pa(pull, axes, density, 89.999)[0] > 1e-3) == lifted
    held = ground_hold(spinning(axes, density, 2.0 * np.pi / (1.01 * limit) / HOUR_S))
    assert held.slope_max_deg > 90.0 and held.needed_cohesion_Pa > 0.0


def test_slopes_of_a_turning_ball_in_closed_form():
    """q = w^2/(4 pi G rho/3): the pull at latitude l has a part q sin l cos l along the ground and 1 - q cos^2 l down;
    the steepest slope has the sine of q/(2 - q) (maximum of the tangent by hand)."""
    density, axes, q = 1500.0, (70.0, 70.0, 70.0), 0.4
    pull = pulls(axes, density, np.sqrt(q * 4.0 / 3.0 * np.pi * G * density))
    assert np.radians(slopes_deg(pull, axes).max()) == pytest.approx(np.arcsin(q / (2.0 - q)), rel=0.01)
    assert slopes_deg(pulls(axes, density, 0.0), axes).max() == pytest.approx(0.0, abs=1e-5)


def test_cohesion_of_a_long_body_at_rest():
    """Mean stress -rho 2 pi G rho A_i a_i^2/5 along each axis (virial theorem); in balance with itself a ball needs no
    cohesion, whatever its friction; without friction what it takes is sqrt 3/2 times the shear (Mises)."""
    density, axes = 2000.0, (100.0, 60.0, 50.0)
    pull = pulls(axes, density, 0.0)
    assert needed_cohesion_Pa(pulls((60.0,) * 3, density, 0.0), (60.0,) * 3, density, 1e-9)[0] < 1e-9
    own = -2.0 * np.pi * G * density**2 * self_pulls(axes) * np.square(axes) / 5.0
    shear = np.sqrt(0.5 * np.sum((own - own.mean()) ** 2))
    found = needed_cohesion_Pa(pull, axes, density, 1e-9)[0]
    assert found == pytest.approx(np.sqrt(3.0) / 2.0 * shear, rel=1e-6)


def test_what_a_prediction_says_of_it():
    """Little in a locked secondary; told with numbers, before and after, in one that the hit spins up; weighed against
    the cohesion that is stated; the body hit far off its centre stands for one that is spun up."""
    calm = predict(example().replace(SHORT))
    numbers = calm.numbers()
    assert 0.0 < numbers["slope_max_before_deg"] < 35.0 and numbers["needed_cohesion_after_Pa"] == 0.0
    assert not any("cohesion" in said for said in calm.warnings)
    hard = SHORT | {"impactor.mass_kg": 40000.0, "impactor.aim_offset_m": [50.0, 0.0]}
    spun = predict(example().replace(hard))
    needed = spun.numbers()["needed_cohesion_after_Pa"]
    assert needed > 0.1 and any(f"takes a cohesion of {needed:.2g} Pa" in said for said in spun.warnings)
    assert any("ground becomes as steep as" in said for said in spun.warnings)
    solid = predict(example().replace(hard | {"secondary.cohesion_Pa": 1e5}))
    assert not any("takes a cohesion" in said for said in solid.warnings)
    assert solid.period_change_s == spun.period_change_s
