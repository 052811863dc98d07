"""Period estimators, frequency analysis, orbit shape and attitude against closed forms, scipy and a J2 orbit."""

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from binarydyn import observables
from binarydyn.errors import FewCyclesError, InputError
from binarydyn.motion.state import System
from binarydyn.motion.trajectory import Trajectory
from binarydyn.observables import attitude, estimators, lines, orbit, orbit_shape, period, periods, single_orbit_periods
from binarydyn.observables import interpolation as between
from binarydyn.observables.window import window

DAY = 86400.0
LONGITUDE_METHODS = ("weighted_fit", "longitude_slope", "crossings", "frequency")


@dataclass(frozen=True)
class Lump:
    """A test double of a homogeneous ellipsoid: I_x = M (b^2 + c^2)/5 and so on."""

    semi_axes_m: tuple
    mass_kg: float
    is_even: bool = True
    bounding_radius_m: float = 500.0
    enclosing_axes_m: np.ndarray = field(default_factory=lambda: np.zeros(3))

    @property
    def inertia_kg_m2(self):
        a, b, c = np.square(self.semi_axes_m)
        return self.mass_kg / 5.0 * np.array([b + c, a + c, a + b])

    def moment(self, i, j, k):
        raise NotImplementedError


PAIR = System(Lump((420.0, 420.0, 330.0), 5.2e11), Lump((75.0, 70.0, 65.0), 4.1e9), None)
A_M = 1240.0
KEPLER_RATE = np.sqrt(PAIR.gm_m3_s2 / A_M**3)
KEPLER_PERIOD_S = 2.0 * np.pi / KEPLER_RATE


def trajectory(time, position, velocity, attitude2=None, rate2=None, attitude1=None, system=PAIR):
    """A Trajectory of given r, v; attitudes default to the inertial frame's."""
    n = len(time)
    fixed = np.tile([1.0, 0.0, 0.0, 0.0], (n, 1))
    zero = np.zeros((n, 3))
    q1, q2 = (fixed if q is None else q for q in (attitude1, attitude2))
    y = np.hstack([position, velocity, q1, zero, q2, zero if rate2 is None else rate2])
    return Trajectory(system, time, y, "completed", 0.0, 0.0, 0, 0)


def planar(time, r, radial, longitude, rate, **more):
    """Trajectory in the x-y plane from polar coordinates and their rates."""
    c, s, z = np.cos(longitude), np.sin(longitude), 0.0 * time
    position = np.stack([r * c, r * s, z], axis=1)
    velocity = np.stack([radial * c - r * rate * s, radial * s + r * rate * c, z], axis=1)
    return trajectory(time, position, velocity, **more)


def true_anomaly(time, e, m0=0.0):
    """Kepler's equation by Newton's method: true anomaly (unwrapped) and eccentric anomaly."""
    mean_anomaly = m0 + KEPLER_RATE * time
    E = np.array(mean_anomaly, dtype=float)
    for _ in range(50):
        E = E - (E - e * np.sin(E) - mean_anomaly) / (1.0 - e * np.cos(E))
    f = 2.0 * np.arctan2(np.sqrt(1.0 + e) * np.sin(0.5 * E), np.sqrt(1.0 - e) * np.cos(0.5 * E))
    return f + 2.0 * np.pi * np.round((E - f) / (2.0 * np.pi)), E


def ellipse(days=60.0, e=0.03, step=1200.0, deg_day=0.0, m0=1.0, time=None, **more):
    """A Kepler ellipse whose frame turns at deg_day: the sidereal rate is n + that, the radial rate n."""
    time = np.arange(0.0, days * DAY + 1.0, step) if time is None else time
    turning = np.radians(deg_day) / DAY
    f, E = true_anomaly(time, e, m0)
    near = 1.0 - e * np.cos(E)
    rate = KEPLER_RATE * np.sqrt(1.0 - e * e) / near**2
    return planar(
        time, A_M * near, A_M * e * np.sin(E) * KEPLER_RATE / near, f + turning * time, rate + turning, **more
    )


def sidereal_period_s(deg_day):
    return 2.0 * np.pi / (KEPLER_RATE + np.radians(deg_day) / DAY)


RATE = 2.0 * np.pi / 43000.0
RIPPLES = ((0.03, 0.96), (0.02, 1.37))  # amplitude, rate over the orbital rate


def rippled(cycles, phases, ripples=RIPPLES, samples_a_cycle=40):
    """A circular orbit of the rate RATE whose longitude carries oscillations of known rates."""
    span = cycles * 2.0 * np.pi / RATE
    time = np.linspace(0.0, span, int(cycles * samples_a_cycle) + 1)
    longitude, rate = RATE * time, np.full_like(time, RATE)
    for (amplitude, relative), phase in zip(ripples, phases, strict=True):
        longitude = longitude + amplitude * np.sin(relative * RATE * time + phase)
        rate = rate + amplitude * relative * RATE * np.cos(relative * RATE * time + phase)
    return planar(time, np.full_like(time, A_M), 0.0 * time, longitude, rate)


# Periods.


@pytest.mark.parametrize("method", LONGITUDE_METHODS)
@pytest.mark.parametrize("step", [1200.0, 2711.3])
def test_uniform_motion_gives_its_period_to_rounding(method, step):
    """1e-12 of the period: roundings of a longitude of some hundred radians; the last step is cut short."""
    time = np.append(np.arange(-40.0 * DAY, -300.0, step), -37.0)
    estimate = period(ellipse(e=0.0, time=time), method)
    assert estimate.value_s == pytest.approx(KEPLER_PERIOD_S, rel=1e-12)
    assert estimate.sigma_s < 1e-11 * KEPLER_PERIOD_S
    assert estimate.cycles == pytest.approx((time[-1] - time[0]) / KEPLER_PERIOD_S)


@pytest.mark.parametrize("e", [0.0, 0.02, 0.3])
def test_kepler_ellipse_gives_its_period(e):
    """Closed form 2 pi sqrt(a^3/GM), and each of the longitude estimators within 4 of its own sigmas of it."""
    found = periods(ellipse(e=e))
    assert found["weighted_fit"].value_s == pytest.approx(KEPLER_PERIOD_S, abs=1e-5)
    assert found["osculating"].value_s == pytest.approx(KEPLER_PERIOD_S, rel=1e-12)
    for method in LONGITUDE_METHODS:
        assert abs(found[method].value_s - KEPLER_PERIOD_S) <= 4.0 * found[method].sigma_s, method
        assert found[method].method == method


@pytest.mark.parametrize("deg_day", [7.0, -3.0])
def test_period_of_a_precessing_ellipse_is_the_sidereal_one(deg_day):
    expected = sidereal_period_s(deg_day)
    assert abs(expected - KEPLER_PERIOD_S) > 100.0
    assert period(ellipse(deg_day=deg_day)).value_s == pytest.approx(expected, abs=1e-6)


def test_weighted_fit_is_numpys_weighted_polynomial_fit():
    """numpy.polyfit with the square roots of sin^4(pi t/T) as its weights."""
    view = ellipse(days=9.0, e=0.1)
    theta = np.unwrap(np.arctan2(view.position_m[:, 1], view.position_m[:, 0]))
    weights = np.sin(np.pi * view.time_s / view.time_s[-1]) ** 4
    slope = np.polyfit(view.time_s / DAY, theta, 1, w=np.sqrt(weights))[0] / DAY
    assert period(view).value_s == pytest.approx(2.0 * np.pi / slope, rel=1e-11)


EXPONENTS = {"weighted_fit": -6.0, "longitude_slope": -2.0, "crossings": -1.0, "frequency": -4.0}


@pytest.mark.parametrize(("method", "exponent"), EXPONENTS.items())
def test_estimator_errors_fall_with_the_window_as_their_windows_say(method, exponent):
    """rms over random phases; the transform of sin^2k(pi t/T) falls as T^-(2k+1), an error of a rate as T^-(2k+2)."""
    random = np.random.default_rng(5)
    lengths = np.array([9.3, 12.1, 16.7, 22.4, 30.9])
    errors = []
    for cycles in lengths:
        spread = cycles * random.uniform(0.97, 1.03, 24)
        pairs = [period(rippled(c, random.uniform(0.0, 2.0 * np.pi, 2)), method) for c in spread]
        errors.append(np.sqrt(np.mean([(p.value_s - 43000.0) ** 2 for p in pairs])))
    assert np.polyfit(np.log(lengths), np.log(errors), 1)[0] == pytest.approx(exponent, abs=0.45)


@pytest.mark.parametrize("method", LONGITUDE_METHODS)
@pytest.mark.parametrize("cycles", [8.0, 25.0, 120.0])
def test_sigma_is_honest_on_quasi_periodic_longitudes(method, cycles):
    """Slowest oscillation 2 to 6 turns in the window: 19 of 20 errors lie within 3 sigma, half exceed 2 % of sigma."""
    random = np.random.default_rng(11)
    ratios = []
    for _ in range(40):
        ripples = tuple(
            zip(
                random.uniform(0.002, 0.05, 3),
                random.uniform([2.0 / cycles, 0.7, 1.5], [6.0 / cycles, 1.1, 4.0]),
                strict=True,
            )
        )
        found = period(rippled(cycles, random.uniform(0.0, 2.0 * np.pi, 3), ripples), method)
        ratios.append(abs(found.value_s - 43000.0) / found.sigma_s)
    assert np.mean(np.array(ratios) < 3.0) >= 0.95, np.sort(ratios)[-6:]
    assert np.median(ratios) > 0.02, np.median(ratios)


def test_single_cycle_periods_are_the_spacings_of_passages():
    """Passages of the first direction solved from Kepler's equation with scipy's brentq; 10 microseconds."""
    e, turning, m0 = 0.05, np.radians(6.0) / DAY, 0.4
    view = ellipse(days=20.0, e=e, deg_day=6.0, m0=m0)

    def longitude(t):
        return true_anomaly(t, e, m0)[0] + turning * t

    start, span = longitude(0.0), sidereal_period_s(6.0)
    whole = int((longitude(20.0 * DAY) - start) / (2.0 * np.pi))
    times = [0.0]
    for k in range(1, whole + 1):
        about = k * span
        times.append(brentq(lambda t, k=k: longitude(t) - start - 2.0 * np.pi * k, about - 3e3, about + 3e3, xtol=1e-9))
    found = single_orbit_periods(view)
    assert np.allclose(found, np.diff(times), rtol=0.0, atol=1e-5)
    assert found.std() > 5.0  # the pericentre turns, so the cycles differ
    assert period(view, "crossings").value_s == pytest.approx(times[-1] / whole, abs=1e-6)


def test_interpolation_between_samples_errs_as_the_eighth_power_of_the_step():
    """Degree-7 Hermite polynomial, error f^(8)/8! prod (t - t_i)^2 (textbook, e.g. Burden & Faires, ch. 3)."""
    steps, errors = np.array([0.5, 0.35, 0.25, 0.18]), []
    at = np.linspace(1.0, 9.0, 997)
    for step in steps:
        t = np.arange(0.0, 10.0 + step, step)
        errors.append(np.abs(between.values_at(t, np.sin(t), np.cos(t), at) - np.sin(at)).max())
    assert np.polyfit(np.log(steps), np.log(errors), 1)[0] == pytest.approx(8.0, abs=0.3)


def test_extrema_are_those_of_the_curve():
    """Of exp(-t/9) cos t: at tan t = -1/9; half a radian between samples, 8th-power error."""
    t = np.arange(0.0, 20.0, 0.5)
    fading = np.exp(-t / 9.0)
    value, rate = fading * np.cos(t), fading * (-np.sin(t) - np.cos(t) / 9.0)
    for sign, first in ((1, np.pi), (-1, 2.0 * np.pi)):
        times, values = between.extrema(t, value, rate, sign)
        expected = np.arange(first, 19.4, 2.0 * np.pi) - np.arctan(1.0 / 9.0)
        assert np.allclose(times, expected, rtol=0.0, atol=1e-6)
        assert np.allclose(values, np.exp(-expected / 9.0) * np.cos(expected), rtol=0.0, atol=1e-8)


# A system with an oblate primary, integrated by scipy.


@pytest.fixture(scope="module")
def oblate():
    """Planar J2 orbits r'' = -GM/r^2 (1 + 3/2 J2 R^2/r^2) by scipy, 40 days: launch speed over circular -> run."""

    def run(velocity_change):
        gm, j = PAIR.gm_m3_s2, PAIR.oblateness_m2
        speed = velocity_change * np.sqrt(gm / A_M * (1.0 + 1.5 * j / A_M**2))

        def rates(_, y):
            r2 = y[0] ** 2 + y[1] ** 2
            pull = -gm / r2**1.5 * (1.0 + 1.5 * j / r2)
            return [y[2], y[3], pull * y[0], pull * y[1]]

        time = np.arange(0.0, 40.0 * DAY + 1.0, 1200.0)
        y = solve_ivp(rates, (0.0, time[-1]), [A_M, 0.0, 0.0, speed], "DOP853", time, rtol=1e-12, atol=1e-10).y
        flat = np.zeros((len(time), 1))
        return trajectory(time, np.hstack([y[:2].T, flat]), np.hstack([y[2:].T, flat]))

    return {velocity_change: run(velocity_change) for velocity_change in (1.0, 0.985)}


def test_third_law_with_j2_holds_on_a_circular_orbit(oblate):
    """n^2 a^3/GM = 1 + 3/2 J2 (R/a)^2 is exact for this force; scipy's integration to 1e-10."""
    found = periods(oblate[1.0])
    assert found["third_law_j2"].value_s == pytest.approx(found["weighted_fit"].value_s, rel=1e-9)


def test_osculating_period_is_biased_by_three_quadrupole_terms_and_says_so(oblate):
    """bias +3 P J2 (R/a)^2 to first order; the second order is about 2 J2 (R/a)^2 of it."""
    found = periods(oblate[1.0])
    truth, q = found["weighted_fit"].value_s, PAIR.oblateness_m2 / A_M**2
    bias = found["osculating"].value_s - truth
    assert bias == pytest.approx(3.0 * q * truth, rel=4.0 * q)
    assert bias == pytest.approx(found["osculating"].sigma_s, rel=4.0 * q)


def test_model_periods_of_an_eccentric_orbit_lie_within_three_sigma(oblate):
    found = periods(oblate[0.985])
    for method in ("osculating", "third_law_j2"):
        assert abs(found[method].value_s - found["weighted_fit"].value_s) < 3.0 * found[method].sigma_s, method
    assert found["third_law_j2"].sigma_s < 0.1 * found["osculating"].sigma_s


def test_the_secondary_counts_in_the_error_of_the_third_law():
    """J2 R^2 = (a^2 + b^2 - 2 c^2)/10 and C22 R^2 = (a^2 - b^2)/20 of a homogeneous ellipsoid; on a circle, of a round
    primary, 3/4 (J2' + 6 C22') R'^2/r^2 of the period is all the error.
    """
    a, b, c, r = 120.0, 90.0, 60.0, 900.0
    system = System(Lump((300.0,) * 3, 3e11), Lump((a, b, c), 4e9), None)
    circle = SimpleNamespace(time_s=np.arange(9.0), separation_m=np.full(9, r), system=system)
    quadrupole = (a**2 + b**2 - 2.0 * c**2) / 10.0 + 6.0 * (a**2 - b**2) / 20.0
    expected = estimators.third_law_j2(circle) * 0.75 * quadrupole / r**2
    assert estimators.sigma_third_law_j2(circle) == pytest.approx(expected, rel=1e-9)


def test_apsidal_precession_of_an_oblate_primary(oblate):
    """3/2 n J2 (R/a)^2 (Murray & Dermott 1999, ch. 6), to twice J2 (R/a)^2 and e^2 of itself."""
    shape = orbit_shape(oblate[0.985])
    n, q = 2.0 * np.pi / periods(oblate[0.985])["weighted_fit"].value_s, PAIR.oblateness_m2 / shape.mean_separation_m**2
    theory = np.degrees(1.5 * n * q) * DAY
    assert 8.0 < theory < 20.0
    assert shape.apsidal_precession_deg_day == pytest.approx(theory, rel=2.0 * q + 4.0 * shape.eccentricity**2)
    assert shape.apsidal_precession_by_lines_deg_day == pytest.approx(shape.apsidal_precession_deg_day, abs=0.005)


# Orbit shape.


@pytest.mark.parametrize("e", [0.001, 0.03, 0.3])
def test_eccentricity_and_mean_separation_of_an_ellipse(e):
    """Extremes a (1 -+ e) between samples; time mean a (1 + e^2/2), with the window's end effect e a/(2 pi cycles)."""
    view = ellipse(e=e, step=2400.0)
    shape = orbit_shape(view)
    assert shape.eccentricity == pytest.approx(e, rel=1e-4 if e == 0.3 else 1e-7)
    assert shape.mean_separation_m == pytest.approx(A_M * (1.0 + 0.5 * e * e), abs=A_M * e / 300.0)
    assert shape.separation_max_m <= A_M * (1.0 + e) * (1.0 + 1e-6)


@pytest.mark.parametrize("deg_day", [7.0, -2.5])
def test_apsidal_precession_of_a_turning_ellipse(deg_day):
    shape = orbit_shape(ellipse(e=0.03, deg_day=deg_day))
    assert shape.apsidal_precession_deg_day == pytest.approx(deg_day, abs=1e-6)
    assert shape.apsidal_precession_by_lines_deg_day == pytest.approx(deg_day, abs=1e-5)


def ringing(amplitude_m, relative, e_m, step=1200.0, days=60.0):
    """Uniform longitude; r oscillates by e_m at 0.98 of the orbital rate and by amplitude_m at a forced one."""
    time = np.arange(0.0, days * DAY + 1.0, step)
    slow, fast = 0.98 * RATE, relative * RATE
    r = A_M - e_m * np.cos(slow * time) + amplitude_m * np.sin(fast * time)
    radial = e_m * slow * np.sin(slow * time) + amplitude_m * fast * np.cos(fast * time)
    return planar(time, r, radial, RATE * time, np.full_like(time, RATE))


def test_a_forced_ripple_does_not_count_as_pericentres():
    """Several minima a cycle: one pericentre each, and both precessions see 0.02 of the orbital rate."""
    shape = orbit_shape(ringing(6.0, 7.3, 30.0))
    expected = np.degrees(0.02 * RATE) * DAY
    assert shape.apsidal_precession_by_lines_deg_day == pytest.approx(expected, abs=0.005)
    assert shape.apsidal_precession_deg_day == pytest.approx(expected, abs=0.05)


def test_the_pericentre_is_the_lowest_minimum_of_each_radial_cycle():
    """Least value of the given r(t) on a grid of 2 s in each cycle from apocentre to apocentre."""
    view, kappa = ringing(6.0, 7.3, 30.0, days=10.0), 0.98 * RATE
    found = orbit._pericentres(window(view), orbit._radial_line(window(view)))
    for k, time in enumerate(found):
        fine = (np.pi + 2.0 * np.pi * k) / kappa + np.arange(0.0, 2.0 * np.pi / kappa, 2.0)
        r = -30.0 * np.cos(kappa * fine) + 6.0 * np.sin(7.3 * RATE * fine)
        assert time == pytest.approx(fine[np.argmin(r)], abs=30.0)
    assert len(found) == 19


def test_a_last_step_cut_short_changes_no_precession():
    time = np.append(np.arange(0.0, 40.0 * DAY, 1200.0), 40.0 * DAY - 1000.0)
    shape = orbit_shape(ellipse(time=time, deg_day=5.0))
    assert shape.apsidal_precession_deg_day == pytest.approx(5.0, abs=1e-6)
    assert shape.apsidal_precession_by_lines_deg_day == pytest.approx(5.0, abs=1e-4)


@pytest.mark.parametrize(("relative", "step"), [(7.3, 1200.0), (2.0, 1200.0), (10.95, 3600.0)])
def test_a_nearly_circular_orbit_has_no_pericentre_and_says_so(relative, step):
    """The third is sampled so coarsely that its forced line appears at 1.0 of the orbital rate."""
    shape = orbit_shape(ringing(2.0, relative, 0.3, step))
    assert shape.apsidal_precession_deg_day is None and shape.apsidal_precession_by_lines_deg_day is None
    assert "circular" in shape.warnings[0]
    assert shape.eccentricity == pytest.approx(2.3 / A_M, rel=0.05)


def test_a_circle_has_no_pericentre():
    shape = orbit_shape(ellipse(e=0.0))
    assert shape.apsidal_precession_deg_day is None and "constant" in shape.warnings[0]


def tilted(view, inclination, node):
    """The same planar orbit with its plane tilted and its node at `node` (n,) rad, turning."""
    planes = Rotation.from_rotvec(np.outer(node, [0.0, 0.0, 1.0])) * Rotation.from_rotvec([inclination, 0.0, 0.0])
    return planes.apply(view.position_m.copy()), planes.apply(view.velocity_m_s.copy())


def spinning(view, rad_s):
    """The same with the primary turning about inertial z."""
    y = view.y.copy()
    y[:, 12] = rad_s
    return replace(view, y=y)


def test_nodal_precession_and_inclination():
    """r and v turned with a plane whose node regresses; its own speed is left out of v, so the normal is exact.

    A primary that spins fast about z holds the total angular momentum there, and one that spins backwards too.
    """
    view, i = ellipse(), np.radians(3.0)
    node = np.radians(-1.7) * view.time_s / DAY + 0.4
    for spin in (1e8, -1e8):
        shape = orbit_shape(spinning(trajectory(view.time_s, *tilted(view, i, node)), spin))
        assert shape.nodal_precession_deg_day == pytest.approx(-1.7, abs=1e-9)
        assert shape.inclination_deg == pytest.approx(3.0, abs=1e-9)
    flat = orbit_shape(spinning(view, 1e8))
    assert flat.nodal_precession_deg_day is None and flat.inclination_deg < 1e-9
    assert not any("nod" in sentence for sentence in flat.warnings)


def test_without_spins_the_orbit_is_its_own_reference():
    """Two points: the total angular momentum is the orbit's, wherever that points."""
    view = ellipse()
    for degrees in (2.0, 95.0):
        position, velocity = tilted(view, np.radians(degrees), np.full_like(view.time_s, 0.7))
        shape = orbit_shape(trajectory(view.time_s, position, velocity))
        assert shape.inclination_deg == pytest.approx(0.0, abs=1e-9) and shape.nodal_precession_deg_day is None


def test_the_mean_normal_and_the_inclination_are_those_of_the_plane():
    view = ellipse()
    for degrees in (1e-3, 2.0, 95.0):
        position, velocity = tilted(view, np.radians(degrees), np.full_like(view.time_s, 0.7))
        shape = orbit_shape(spinning(trajectory(view.time_s, position, velocity), 1e10))
        angle = np.degrees(np.arctan2(np.linalg.norm(shape.normal[:2]), shape.normal[2]))
        assert angle == pytest.approx(degrees, rel=1e-9)
        if degrees < 90.0:
            assert shape.inclination_deg == pytest.approx(degrees, rel=1e-6)


# Frequency analysis.


def test_lines_of_a_complex_signal():
    """Three lines, one of them retrograde, found strongest first with amplitude and phase."""
    time = np.linspace(-5.0, 300.0, 2001)
    given = ((1.0, 2.0, 0.3), (0.4, -1.1, -2.0), (0.05, 2.9, 1.0))
    signal = sum(a * np.exp(1j * (w * time + p)) for a, w, p in given)
    found = lines(time, signal, 5)
    assert len(found) >= 3
    for line, (a, w, p) in zip(found, given, strict=False):
        assert line.rate_rad_s == pytest.approx(w, abs=1e-6)
        assert (line.amplitude, line.phase_rad) == pytest.approx((a, p), abs=1e-4)


def test_lines_of_a_real_signal_about_a_mean():
    time = np.arange(0.0, 400.0, 0.25)
    found = lines(time, 50.0 + 3.0 * np.cos(1.3 * time + 0.5) + 0.2 * np.cos(2.2 * time - 1.0), 2)
    assert [line.rate_rad_s for line in found] == pytest.approx([1.3, 2.2], abs=1e-6)
    assert [line.amplitude for line in found] == pytest.approx([3.0, 0.2], rel=1e-4)
    assert [line.phase_rad for line in found] == pytest.approx([0.5, -1.0], abs=1e-3)


def test_error_of_a_line_falls_as_the_fourth_power_of_the_window():
    """Hann window (Laskar 1993, Physica D 67, 257); rms over phases of a disturbing line."""
    random = np.random.default_rng(2)
    spans = np.array([60.0, 85.0, 120.0, 170.0, 240.0])
    errors = []
    for span in spans:
        off = []
        for _ in range(24):
            time = np.linspace(0.0, span * random.uniform(0.97, 1.03), 1200)
            signal = np.exp(1j * time) + 0.3 * np.exp(1j * (1.7 * time + random.uniform(0.0, 6.3)))
            off.append(lines(time, signal)[0].rate_rad_s - 1.0)
        errors.append(np.sqrt(np.mean(np.square(off))))
    assert np.polyfit(np.log(spans), np.log(errors), 1)[0] == pytest.approx(-4.0, abs=0.4)


# Attitude.


def turned(roll, pitch, yaw, **of_orbit):
    """An eccentric, tilted orbit whose secondary is turned by given angles (n,), rad, from the orbiting frame."""
    flat = ellipse(**of_orbit)
    tilt = Rotation.from_rotvec([0.3, -0.2, 0.0])
    r, v = tilt.apply(flat.position_m.copy()), tilt.apply(flat.velocity_m_s.copy())
    x, z = -r / np.linalg.norm(r, axis=1)[:, None], np.cross(r, v) / np.linalg.norm(np.cross(r, v), axis=1)[:, None]
    frame = Rotation.from_matrix(np.stack([x, np.cross(z, x), z], axis=-1))
    n = len(r)
    steps = [(axis, np.broadcast_to(a, n)) for axis, a in zip(np.eye(3), (roll, pitch, yaw), strict=True)]
    sequence = [
        Rotation.from_rotvec(angle[:, None] * axis) for axis, angle in steps
    ]  # each about the axes as turned so far
    body = (frame * sequence[0] * sequence[1] * sequence[2]).as_quat()[:, [3, 0, 1, 2]]
    return trajectory(flat.time_s, r, v, attitude2=body), frame


TIME = np.arange(0.0, 20.0 * DAY + 1.0, 1200.0)


def test_angles_are_scipys_intrinsic_xyz():
    """scipy Rotation.as_euler('XYZ') (intrinsic) of orbiting frame -> body; slow angles of up to 70 deg."""
    wave = [np.radians(70.0) * np.sin(TIME * w + p) for w, p in ((3e-5, 0.0), (4e-5, 1.0), (5e-5, 2.0))]
    view, frame = turned(*wave, days=20.0)
    found = attitude(view)
    body = Rotation.from_quat(view.attitude2[:, [1, 2, 3, 0]])
    expected = (frame.inv() * body).as_euler("XYZ", degrees=True)
    assert np.allclose(np.stack([found.roll_deg, found.pitch_deg, found.yaw_deg], axis=1), expected, atol=1e-9)
    assert np.allclose(expected, np.degrees(np.stack(wave, axis=1)), atol=1e-9)
    assert not found.tumbling and found.tumbling_reason is None


@pytest.mark.parametrize("end", [0.0, np.pi])
def test_libration_is_measured_from_the_nearer_end_of_the_long_axis(end):
    """One peak of 12 deg, 0.03 rad off the nearest sample: to 1e-5 of it, where the sample itself is 5e-4 short."""
    yaw = np.radians(12.0) * np.sin(1.3e-4 * TIME[:25] + 0.2)
    found = attitude(turned(0.0, 0.0, yaw + end, time=TIME[:25])[0])
    assert 12.0 - found.yaw_deg.max() > 4e-4 * 12.0
    assert np.allclose(found.yaw_deg, np.degrees(yaw), atol=1e-9)
    assert found.libration_max_deg == pytest.approx(12.0, rel=1e-5)
    assert found.roll_max_deg < 1e-9 and found.pitch_max_deg < 1e-9


def test_positive_yaw_turns_the_long_axis_from_the_primary_forwards_about_the_orbit_normal():
    """At r = -x the orbiting frame is the inertial one; a body turned from x towards y has yaw > 0."""
    time = np.arange(9) * 600.0
    flat = planar(time, np.full(9, A_M), np.zeros(9), np.pi + RATE * time, np.full(9, RATE))
    angle = np.pi / 18.0 + RATE * time
    body = np.stack([np.cos(angle / 2), 0 * time, 0 * time, np.sin(angle / 2)], axis=1)
    found = attitude(trajectory(time, flat.position_m, flat.velocity_m_s, attitude2=body))
    assert np.allclose(found.yaw_deg, 10.0, atol=1e-9)


def test_a_rotating_yaw_tumbles_when_it_passes_180_deg():
    rate = np.radians(30.0) / DAY
    found = attitude(turned(0.0, 0.0, 0.1 + rate * TIME, days=20.0)[0])
    assert found.yaw_deg[-1] == pytest.approx(np.degrees(0.1) + 600.0, abs=1e-8)
    assert found.tumbling and found.tumbling_reason.startswith("yaw beyond 180 deg at +5.8")
    assert found.libration_max_deg == 180.0
    swinging = attitude(turned(0.0, 0.0, np.radians(170.0) * np.sin(1e-5 * TIME), days=20.0)[0])
    assert not swinging.tumbling and swinging.libration_max_deg == pytest.approx(170.0, abs=0.01)


def test_roll_and_pitch_beyond_90_deg_tumble():
    ramp = np.radians(8.0) * TIME / DAY
    small = np.radians(5.0) * np.sin(5e-5 * TIME)
    rolling = attitude(turned(ramp, small, small, days=20.0)[0])
    assert rolling.tumbling_reason.startswith("roll beyond 90 deg at +11.2")
    assert rolling.roll_max_deg == pytest.approx(160.0, abs=1e-6)


def test_the_reason_for_tumbling_is_the_first_one():
    turning = np.radians(30.0) * TIME / DAY  # passes 180 deg after 6 days
    found = attitude(turned(np.radians(8.0) * TIME / DAY, 0.0, turning, days=20.0)[0])
    assert found.tumbling_reason.startswith("yaw beyond 180 deg at +6.0")


def test_pitch_passes_90_deg_without_a_jump():
    """The angles as given come back on both sides of the singular point, where roll and yaw are not defined singly."""
    ramp, yaw = np.radians(8.003) * TIME / DAY, np.radians(20.0) * np.sin(5e-5 * TIME)
    found = attitude(turned(0.1, ramp, yaw, days=20.0)[0])
    assert np.allclose(found.pitch_deg, np.degrees(ramp), atol=1e-6)
    assert np.allclose(found.yaw_deg, np.degrees(yaw), atol=1e-6)
    assert np.allclose(found.roll_deg, np.degrees(0.1), atol=1e-6)
    assert found.tumbling_reason.startswith("pitch beyond 90 deg at +11.25 d")


def test_secondary_spin_and_primary_pole():
    """A constant rate about the orbit normal, in the body frame; a pole on a cone of 0.7 deg, seven turns."""
    flat = ellipse(days=20.0)
    cone = Rotation.from_rotvec(np.outer(14.0 * np.pi * TIME / TIME[-1], [0, 0, 1.0])) * Rotation.from_rotvec(
        [0.0122173, 0, 0]
    )
    leaning = Rotation.from_rotvec([0.5, 0.3, -0.8])
    q2 = np.tile(leaning.as_quat()[[3, 0, 1, 2]], (len(TIME), 1))
    spin = np.tile(leaning.inv().apply([3e-5, 0.0, 2e-4]), (len(TIME), 1))
    view = trajectory(TIME, flat.position_m, flat.velocity_m_s, q2, spin, cone.as_quat()[:, [3, 0, 1, 2]])
    found = attitude(view)
    assert found.secondary_spin_period_h == pytest.approx(2.0 * np.pi / 2e-4 / 3600.0, rel=1e-12)
    assert found.primary_pole_wobble_deg == pytest.approx(np.degrees(0.0122173), rel=1e-4)
    assert attitude(flat).secondary_spin_period_h is None


# What is refused.


@pytest.mark.parametrize("method", observables.METHODS)
def test_fewer_than_five_cycles_are_refused_with_the_number(method):
    with pytest.raises(FewCyclesError, match="2.25 cycles") as caught:
        period(ellipse(time=np.linspace(0.0, 2.2453 * KEPLER_PERIOD_S, 100), e=0.0), method)
    assert (caught.value.needed, caught.value.method) == (5.0, method)
    assert caught.value.value_h == pytest.approx(KEPLER_PERIOD_S / 3600.0, rel=0.05)


def test_less_than_a_cycle_has_no_single_periods_and_no_shape():
    view = ellipse(time=np.linspace(0.0, 0.6 * KEPLER_PERIOD_S, 50))
    with pytest.raises(FewCyclesError):
        single_orbit_periods(view)
    with pytest.raises(FewCyclesError):
        period(view, "crossings")
    with pytest.raises(InputError, match="at least 1"):
        orbit_shape(view)


def test_a_short_window_has_a_shape_but_no_precession():
    shape = orbit_shape(ellipse(days=1.5))
    assert shape.eccentricity == pytest.approx(0.03, rel=1e-6)
    assert shape.apsidal_precession_deg_day is None and "5 are needed" in shape.warnings[0]


def spoilt(view, time=None, y=None):
    return Trajectory(
        view.system, view.time_s if time is None else time, view.y if y is None else y, "completed", 0, 0, 0, 0
    )


def with_nan(view):
    y = view.y.copy()
    y[7, 2] = np.nan
    return spoilt(view, y=y)


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (lambda v: spoilt(v, v.time_s[::-1]), "must ascend"),
        (with_nan, "finite"),
        (lambda v: spoilt(v, v.time_s[:5], v.y[:5]), "5 samples given"),
        (lambda v: ellipse(days=60.0, step=26000.0), "sample more often"),
        (lambda v: spoilt(v, y=v.y * ([1.0] * 3 + [-1.0] * 3 + [1.0] * 14)), "sample more often|does not rise"),
    ],
)
def test_unusable_samples_are_refused_in_one_sentence(spoil, sentence):
    with pytest.raises(InputError, match=sentence) as caught:
        periods(spoil(ellipse(days=10.0)))
    assert "\n" not in str(caught.value)


def test_an_unknown_method_is_answered_with_the_choices():
    with pytest.raises(InputError, match="weighted_fit, longitude_slope, crossings"):
        period(ellipse(days=10.0), "magic")


def test_the_plane_may_be_given_by_either_of_its_normals():
    view = ellipse(days=30.0)
    plain = period(view).value_s
    assert period(view, normal=np.array([0.0, 0.0, -5.0])).value_s == pytest.approx(plain, rel=1e-12)
    assert period(view, normal=np.array([0.3, 0.0, 1.0])).value_s == pytest.approx(plain, abs=1e-3)
    for normal in ([1.0, 0.0, 0.0], [0.0, 0.0, 0.0]):
        with pytest.raises(InputError, match="normal"):
            period(view, normal=np.array(normal))


def test_lines_refuse_an_uneven_grid():
    time = np.append(np.arange(20.0), 19.4)
    with pytest.raises(InputError, match="equal steps"):
        lines(np.sort(time), np.cos(time))
    with pytest.raises(InputError, match="n >= 8"):
        lines(time[:5], time[:5])
