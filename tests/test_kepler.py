"""Motion on an ellipse: Kepler's equation, propagation against an integration, elements there and back."""

import math
from itertools import product

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from binarydyn.constants import ASTRONOMICAL_UNIT_M, DAY_S, GM_SUN
from binarydyn.errors import InputError
from binarydyn.kepler import Elements, eccentric_anomaly, elements_at, position_velocity

ROUNDING = 2.3e-16
ECCENTRIC = Elements(1.3 * ASTRONOMICAL_UNIT_M, 0.62, 0.31, 4.1, 2.2, 5.0)


@pytest.mark.parametrize("eccentricity", [0.0, 0.1, 0.62, 0.97, 1.0 - 1e-9])
def test_keplers_equation_holds_to_rounding_for_any_anomaly(eccentricity):
    mean = np.concatenate([np.linspace(-20.0, 20.0, 4001), [1e-12, -1e-6, math.pi, -math.pi, 3.0 * math.pi]])
    anomaly = eccentric_anomaly(mean, eccentricity)
    # the equation itself rounds E, e sin E and their difference
    assert np.max(np.abs(anomaly - eccentricity * np.sin(anomaly) - mean) / (1.0 + np.abs(mean))) < 4 * ROUNDING
    assert np.all(np.diff(anomaly[:4001]) > 0.0)


def test_a_printed_worked_example_of_keplers_equation():
    """M = 5 deg, e = 0.1 gives E = 5.554589 deg (Meeus 1998, Astronomical Algorithms, ch. 30; from memory)."""
    assert math.degrees(float(eccentric_anomaly(math.radians(5.0), 0.1))) == pytest.approx(5.554589, abs=5e-7)


@pytest.mark.parametrize("days", [-700.0, 100.0, 3000.0])
def test_propagation_is_what_an_integration_of_two_bodies_gives(days):
    """Against scipy's DOP853 at 1e-13: r'' = -GM r / r^3."""

    def rates(_, y):
        return np.concatenate([y[3:], -GM_SUN * y[:3] / np.linalg.norm(y[:3]) ** 3])

    begun = np.concatenate(position_velocity(ECCENTRIC))
    scale = np.repeat([ASTRONOMICAL_UNIT_M, 3e4], 3)
    end = solve_ivp(rates, (0.0, days * DAY_S), begun, method="DOP853", rtol=1e-13, atol=1e-13 * scale).y[:, -1]
    ours = np.concatenate(position_velocity(ECCENTRIC, days * DAY_S))
    assert np.max(np.abs(ours - end) / scale) < 1e-9


@pytest.mark.parametrize(
    "eccentricity, inclination", list(product([0.0, 1e-6, 0.3, 0.95], [0.0, 1e-5, 1.2, 3.0, math.pi]))
)
def test_elements_there_and_back_put_the_body_where_it_was(eccentricity, inclination):
    """A circle has no pericentre and a plane orbit no node, so places are compared, not angles; 1e-12 of the size."""
    for node, argument, mean in product([0.3, 3.9], [0.0, 2.2, 5.5], [0.0, 0.4, 3.6, 6.2]):
        given = Elements(2e11, eccentricity, inclination, node, argument, mean)
        found = elements_at(*position_velocity(given))
        for time in (0.0, 4e7):
            (r, v), (r2, v2) = position_velocity(given, time), position_velocity(found, time)
            assert np.linalg.norm(r2 - r) < 3e-12 * np.linalg.norm(r) / (1.0 - eccentricity)
            assert np.linalg.norm(v2 - v) < 3e-12 * np.linalg.norm(v) / (1.0 - eccentricity)


def test_angles_come_back_where_they_are_defined():
    found = elements_at(*position_velocity(ECCENTRIC))
    for name, value in vars(ECCENTRIC).items():
        assert getattr(found, name) == pytest.approx(value, rel=1e-13), name


def test_the_axes_are_those_of_the_textbook():
    """Longitude of the pericentre on the sky at i = 0 is node + argument; at the node the motion crosses z upwards."""
    flat = Elements(1e11, 0.2, 0.0, 0.5, 0.7, 0.0)
    r, _ = position_velocity(flat)
    assert math.atan2(r[1], r[0]) == pytest.approx(1.2, rel=1e-14)
    assert np.linalg.norm(r) == pytest.approx(flat.pericentre_m, rel=1e-14)
    at_node = Elements(1e11, 0.0, 0.4, 0.5, 0.0, 0.0)
    r, v = position_velocity(at_node)
    assert math.atan2(r[1], r[0]) == pytest.approx(0.5, rel=1e-14) and abs(r[2]) < 1e-5
    assert v[2] / np.linalg.norm(v) == pytest.approx(math.sin(0.4), rel=1e-14)


def test_what_is_no_ellipse_is_refused():
    with pytest.raises(InputError, match="no motion on an ellipse"):
        elements_at([1e11, 0.0, 0.0], [0.0, math.sqrt(2.01 * GM_SUN / 1e11), 0.0])
    with pytest.raises(InputError, match="no motion on an ellipse"):
        elements_at([1e11, 0.0, 0.0], [1.0, 0.0, 0.0])
    with pytest.raises(InputError, match="eccentricity < 1"):
        Elements(1e11, 1.0, 0.0, 0.0, 0.0, 0.0)
