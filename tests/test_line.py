"""The potential on the line of centres as powers of the distance, against the full mutual potential."""

import numpy as np
import pytest

from binarydyn.bodies import Ellipsoid
from binarydyn.bodies.averaged import Averaged
from binarydyn.constants import G
from binarydyn.gravity.line import line_potential
from binarydyn.gravity.mutual import mutual_gravity

FACING = np.diag([-1.0, -1.0, 1.0])


@pytest.mark.parametrize("degree", [2, 4])
def test_it_is_the_mutual_potential_of_an_averaged_primary_and_an_aligned_secondary(degree):
    """Both to rounding: the generated kernels, and the force from their gradient."""
    primary, secondary = Ellipsoid((400.0, 370.0, 300.0), 2300.0), Ellipsoid((150.0, 120.0, 90.0), 2000.0)
    gm, reduced = G * (primary.mass_kg + secondary.mass_kg), 1.0 / (1.0 / primary.mass_kg + 1.0 / secondary.mass_kg)
    line = line_potential(primary, secondary, degree, gm)
    for r in (700.0, 1500.0):
        exact = mutual_gravity(Averaged(primary), secondary, [r, 0.0, 0.0], np.eye(3), FACING, degree)
        assert line.energy_m2_s2(r, 0.0) == pytest.approx(exact.potential_J / reduced, rel=1e-13)
        assert line.rate_rad_s(r) ** 2 * r == pytest.approx(-exact.force_N[0] / reduced, rel=1e-13)
        slope = np.log(line.rate_rad_s(1.0001 * r) / line.rate_rad_s(r / 1.0001)) / (2.0 * np.log(1.0001))
        assert line.rate_slope(r) == pytest.approx(slope, rel=1e-7)
        energy = line.energy_m2_s2(r, line.rate_rad_s(r) * r)
        assert line.circular_m(energy) == pytest.approx(r, rel=1e-13)


def test_bodies_that_are_not_even_have_odd_terms_of_the_right_sign():
    """A secondary heavy at the end that faces the primary is drawn more strongly; degree 3 by hand.

    int (x^3 - 3/2 x (y^2 + z^2)) dm over both masses, x of the secondary counting towards the primary.
    """

    class Lopsided(Ellipsoid):
        is_even = False

        def moment(self, i, j, k):
            return 7.0e5 * self.mass_kg if (i, j, k) == (3, 0, 0) else super().moment(i, j, k)

    primary, secondary = Ellipsoid((400.0, 370.0, 300.0), 2300.0), Lopsided((150.0, 120.0, 90.0), 2000.0)
    line = line_potential(primary, secondary, 4, 1.0)
    assert line.coefficients[3] == pytest.approx(7.0e5, rel=1e-12)
    exact = mutual_gravity(Averaged(primary), secondary, [900.0, 0.0, 0.0], np.eye(3), FACING, 4)
    reduced = 1.0 / (1.0 / primary.mass_kg + 1.0 / secondary.mass_kg)
    gm = G * (primary.mass_kg + secondary.mass_kg)
    found = line_potential(primary, secondary, 4, gm).energy_m2_s2(900.0, 0.0)
    assert found == pytest.approx(exact.potential_J / reduced, rel=1e-13)
