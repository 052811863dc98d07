"""The surroundings of a system against handbook values, closed forms and integrations; the effect on its solar
orbit."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from binarydyn import build
from binarydyn.constants import ASTRONOMICAL_UNIT_M as AU
from binarydyn.constants import DAY_S, EARTH_RADIUS_M, GM_SUN, G
from binarydyn.epochs import julian_date_tdb
from binarydyn.errors import InputError
from binarydyn.impact.frame import ecliptic_axes
from binarydyn.kepler import Elements, elements_at, position_velocity
from binarydyn.scenario import HeliocentricOrbit, MutualOrbit, example
from binarydyn.sky.ephemeris import Clock
from binarydyn.surroundings import (
    Deflection,
    Pass,
    circular_period_h,
    circular_speed_m_s,
    deflection,
    escape_speed_m_s,
    grounds,
    hill_radius_m,
    lead_years_for_earth_radius,
    light_acceleration_m_s2,
    range_of_speeds_m_s,
    rule_of_thumb_m,
    solar_flux_w_m2,
    sphere_of_influence_m,
    synchronous_radius_m,
    terminator_limits_m,
)

GM_EARTH = 3.986004e14  # m3/s2, IAU 2015 resolution B3, nominal
PAIR = 37.0  # m3/s2, 5.6e11 kg
ORBIT = Elements(1.64 * AU, 0.38, 0.06, 1.3, 5.6, 6.0)


def test_earth_has_the_hill_radius_and_the_sphere_of_influence_of_the_handbooks():
    """1.5e6 km and 9.25e5 km (handbook values), to their last digit."""
    assert hill_radius_m(AU, GM_EARTH) == pytest.approx(1.5e9, abs=0.05e9)
    assert sphere_of_influence_m(AU, GM_EARTH) == pytest.approx(9.25e8, abs=0.005e9)


def test_hill_radius_is_where_a_rotating_frame_has_its_equilibrium():
    """Root of n^2 (d - x) - GM_sun/(d - x)^2 + GM/x^2 = 0 near the small mass, to first order in x/d."""
    from scipy.optimize import brentq

    d, n2 = AU, GM_SUN / AU**3
    root = brentq(lambda x: n2 * (d - x) - GM_SUN / (d - x) ** 2 + PAIR / x**2, 1e3, 1e6, xtol=1e-6)
    assert hill_radius_m(d, PAIR) == pytest.approx(root, rel=5.0 * root / d)


def test_speeds_at_the_earth_are_those_of_the_handbooks():
    """7.91 and 11.19 km/s at the ground, synchronous orbit at 42 164 km (handbook values), with 86 164.1 s a turn."""
    assert circular_speed_m_s(GM_EARTH, EARTH_RADIUS_M) == pytest.approx(7.905e3, abs=1.0)
    assert escape_speed_m_s(GM_EARTH, EARTH_RADIUS_M) == pytest.approx(11.18e3, abs=1.0)
    radius = synchronous_radius_m(GM_EARTH, 2.0 * math.pi / 86164.1)
    assert radius == pytest.approx(42.164e6, abs=1e3)
    assert circular_period_h(GM_EARTH, radius) == pytest.approx(86164.1 / 3600.0, rel=1e-12)


def test_sunlight_falls_to_a_sixth_near_two_and_a_half_au():
    """Common practice: about a sixth near 2.5 au; (2.5)^2 = 6.25.  Pressure on black matter at 1 au: 4.54e-6 N/m2."""
    assert solar_flux_w_m2(AU) / solar_flux_w_m2(2.5 * AU) == pytest.approx(6.25, rel=1e-14)
    assert light_acceleration_m_s2(AU, 1.0, 0.0) == pytest.approx(4.54e-6, abs=5e-9)
    assert light_acceleration_m_s2(2.0 * AU, 0.02, 1.0) == pytest.approx(0.02 * 4.54e-6 / 2.0, rel=2e-3)


def _lit(radius, height_share, rounds=40, kick=1e-3):
    """Greatest distance, in sqrt(GM/g), of a displaced circular orbit with z/r = height_share after a small kick.

    Units GM = g = 1; light along z.
    """
    z = height_share * radius
    rho, rate = math.sqrt(radius**2 - z**2), radius**-1.5

    def motion(_, y):
        return np.concatenate([y[3:], -y[:3] / np.linalg.norm(y[:3]) ** 3 + [0.0, 0.0, 1.0]])

    begun = [rho, 0.0, z, 0.0, rate * rho, kick * rate * rho]
    gone = lambda _, y: np.linalg.norm(y[:3]) - 5.0  # noqa: E731
    gone.terminal = True
    run = solve_ivp(
        motion, (0.0, rounds * 2.0 * math.pi / rate), begun, method="DOP853", rtol=1e-11, atol=1e-12, events=gone
    )
    return np.linalg.norm(run.y[:3], axis=0).max()


def test_terminator_orbits_hold_up_to_the_limit_and_not_beyond():
    """Against an integration of a point mass with sunlight: displaced circles hold at z/r = 0.32, not at 0.35."""
    safe, largest = terminator_limits_m(1.0, 1.0)
    limit = math.sqrt(1.0 / 3.0)  # r at z/r = 1/3, of which `largest` is the distance from the axis
    assert largest == pytest.approx(limit * math.sqrt(1.0 - 1.0 / 9.0), rel=1e-14)
    assert _lit(math.sqrt(0.32), 0.32) < 1.05 * math.sqrt(0.32)
    assert _lit(math.sqrt(0.35), 0.35) > 4.9
    # at the safe limit an orbit begun in the plane of the body, whose energy is below the saddle's, stays within it
    saddle = 1.0
    assert -0.5 / safe == pytest.approx(-2.0, rel=1e-14)
    assert _lit(0.99 * safe, 0.0) < saddle
    assert safe < math.sqrt(3.0) / 4.0 < largest  # the limit in use (Scheeres 2012, from memory) lies between


def test_terminator_limit_of_a_small_pair_scales_with_the_spacecraft():
    near, far = (terminator_limits_m(PAIR, light_acceleration_m_s2(AU, ratio, 0.3)) for ratio in (0.04, 0.01))
    assert far[0] == pytest.approx(2.0 * near[0]) and far[1] == pytest.approx(2.0 * near[1])
    assert terminator_limits_m(PAIR, 0.0) == (math.inf, math.inf)


@pytest.mark.parametrize("speed, aim", [(0.2, 5e3), (0.05, 2e3), (5.0, 3e3)])
def test_a_pass_is_what_an_integration_gives(speed, aim):
    """From far away, r'' = -GM r/r^3 by scipy: closest approach, speed there, and the turn of the direction."""
    flight, far = Pass(PAIR, speed, aim), 3e9
    # The hyperbola itself at the start: straight on the asymptote would miss 2 GM / (far v^2) of the speed.
    v0 = flight.speed_m_s(far)
    across = aim * speed / far  # from the angular momentum b v
    begun = [-far, 0.0, math.sqrt(v0**2 - across**2), -across]

    def motion(_, y):
        return np.concatenate([y[2:], -PAIR * y[:2] / np.hypot(*y[:2]) ** 3])

    nearest = lambda _, y: np.dot(y[:2], y[2:])  # noqa: E731
    settings = {"method": "DOP853", "rtol": 1e-12, "atol": [1e-3, 1e-3, 1e-13, 1e-13]}
    run = solve_ivp(motion, (0.0, 2.0 * far / speed), begun, events=nearest, **settings)
    state = run.y_events[0][0]
    assert np.hypot(*state[:2]) == pytest.approx(flight.pericentre_m, rel=1e-4)
    assert np.hypot(*state[2:]) == pytest.approx(flight.speed_m_s(flight.pericentre_m), rel=1e-4)
    turned = math.atan2(*run.y[2:, -1][::-1]) - math.atan2(*run.y[2:, 0][::-1])
    assert abs((turned + math.pi) % (2.0 * math.pi) - math.pi) == pytest.approx(flight.turn_rad, abs=1e-4)


@pytest.mark.parametrize("speed, aim", [(0.2, 5e3), (1e-3, 1e6), (2e4, 7e7)])
def test_identities_of_a_hyperbola(speed, aim):
    """Vis-viva, e = 1 + q v^2/GM, turn = 2 asin(1/e), b v = q v_q, and the burns against their energies; rounding."""
    flight = Pass(PAIR, speed, aim)
    q, e = flight.pericentre_m, flight.eccentricity
    fastest = flight.speed_m_s(q)
    assert 0.5 * fastest**2 - PAIR / q == pytest.approx(0.5 * speed**2, rel=1e-6)
    assert e == pytest.approx(math.hypot(1.0, aim * speed**2 / PAIR), rel=1e-12)
    assert flight.turn_rad == pytest.approx(2.0 * math.asin(1.0 / e), rel=1e-6)
    assert q * fastest == pytest.approx(aim * speed, rel=1e-12)
    assert 0.5 * (fastest - flight.capture_dv_parabola_m_s()) ** 2 == pytest.approx(PAIR / q, rel=1e-6)
    assert (fastest - flight.capture_dv_circle_m_s()) ** 2 == pytest.approx(PAIR / q, rel=1e-6)
    assert math.sqrt(q * (q + 2.0 * PAIR / speed**2)) == pytest.approx(aim, rel=1e-12)


def test_a_pass_must_have_a_speed_and_an_aim():
    with pytest.raises(InputError, match="above 0"):
        Pass(PAIR, 0.0, 1e3)
    with pytest.raises(InputError, match="from 0"):
        Pass(PAIR, 0.1, -1e3)


def test_speeds_relative_to_a_moving_body_span_all_directions():
    rng = np.random.default_rng(3)
    ways = rng.normal(size=(2, 20000, 3))
    ways /= np.linalg.norm(ways, axis=-1)[..., None]
    speeds = np.linalg.norm(0.3 * ways[0] - 0.17 * ways[1], axis=-1)
    low, high = range_of_speeds_m_s(0.3, 0.17)
    assert (low, high) == pytest.approx((speeds.min(), speeds.max()), abs=1e-3)
    assert low <= speeds.min() and speeds.max() <= high


def test_the_impact_epoch_in_tdb():
    """J2000 is 11:58:55.816 UTC of 2000-01-01 (32 leap seconds + 32.184 s); TDB - TT is below 2 ms."""
    assert julian_date_tdb("2000-01-01T11:58:55.816") == pytest.approx(2451545.0, abs=3e-8)
    assert julian_date_tdb("2022-09-26T23:14:24.183") == pytest.approx(2459849.468335 + 69.184 / DAY_S, abs=1e-6)
    assert julian_date_tdb("2022-09-26T23:14:24.183Z") == julian_date_tdb("2022-09-26 23:14:24.183")
    with pytest.raises(InputError, match="ISO 8601"):
        julian_date_tdb("2022-09-26")


def test_clocks_are_those_of_a_general_library():
    """astropy's, over years with and without leap seconds, to 1 ns; texts about one to the letter."""
    from astropy.time import Time, TimeDelta

    epoch = datetime(2016, 12, 31, 22, 10, 5, 250000, tzinfo=UTC)
    clock = Clock(epoch)
    begun = Time(epoch.replace(tzinfo=None), scale="utc").tdb
    time_s = np.array([-1.2e9, -3.7e4, -1e-7, 0.0, 6594.7, 6594.83, 6595.3, 6596.0, 8.64e4, 4e8 + 0.123])
    theirs = begun + TimeDelta(time_s, format="sec", scale="tdb")
    days, more = clock.tdb(time_s)
    assert np.abs((days - theirs.jd1) + (more - theirs.jd2)).max() * DAY_S < 1e-9
    utc = theirs.utc
    utc.precision = 1
    assert clock.utc(time_s) == [f"{text}Z" for text in utc.isot] and "2016-12-31T23:59:60.5Z" in clock.utc(time_s)
    moments = [datetime(year, 7, 1, 3, 2, 1, 987654, tzinfo=UTC) for year in (1965, 1999, 2017, 2060)]
    their_s = (Time([one.replace(tzinfo=None) for one in moments], scale="utc").tdb - begun).sec
    assert clock.seconds_at(moments) == pytest.approx(their_s, abs=1e-6)
    julian = 2457754.5 + np.linspace(-400.0, 400.0, 7)
    for scale in ("utc", "tdb"):
        their_s = (Time(julian, format="jd", scale=scale).tdb - begun).sec
        assert clock.seconds_at_julian(julian, scale) == pytest.approx(their_s, abs=1e-6)


def _along(speed):
    _, velocity = position_velocity(ORBIT)
    return Deflection(ORBIT, speed * velocity / np.linalg.norm(velocity))


def test_a_push_along_the_motion_changes_axis_and_period_as_gauss_says():
    """da = 2 a^2 v dv / GM, dP = 3 P a v dv / GM (Gauss's equations); second order is dv/v = 3e-10."""
    found, dv = _along(1e-5), 1e-5
    r, velocity = position_velocity(ORBIT)
    v, a = np.linalg.norm(velocity), ORBIT.semi_major_axis_m
    assert found.along_track_m_s == pytest.approx(dv, rel=1e-12)
    assert found.after.semi_major_axis_m - a == pytest.approx(2.0 * a**2 * v * dv / GM_SUN, rel=1e-5)
    period = 2.0 * math.pi / ORBIT.mean_motion_rad_s()
    assert found.period_change_s == pytest.approx(3.0 * period * a * v * dv / GM_SUN, rel=1e-5)


def test_components_are_complete_and_right_handed():
    found = Deflection(ORBIT, np.array([1.0, -2.0, 0.5]) * 1e-5)
    parts = (found.along_track_m_s, *found.radial_normal_m_s)
    assert math.hypot(*parts) == pytest.approx(np.linalg.norm(found.dv_m_s), rel=1e-14)
    position, _ = position_velocity(ORBIT)
    outward = Deflection(ORBIT, 1e-5 * position / np.linalg.norm(position))
    assert outward.radial_normal_m_s[0] > 0.9e-5 and abs(outward.radial_normal_m_s[1]) < 1e-19


def test_displacement_is_what_two_integrations_give():
    """Orbits of +-1 m/s by scipy's DOP853 at 1e-13, where the difference is far above their errors; 1e-5 of it."""
    pushed, years = Deflection(ORBIT, np.array([0.3, -0.8, 0.5])), 3.0

    def motion(_, y):
        return np.concatenate([y[3:], -GM_SUN * y[:3] / np.linalg.norm(y[:3]) ** 3])

    r, v = position_velocity(ORBIT)
    ends = [
        solve_ivp(motion, (0.0, years * 365.25 * DAY_S), np.concatenate([r, v + dv]), method="DOP853", rtol=1e-13).y[
            :, -1
        ]
        for dv in (-pushed.dv_m_s, 0.0, pushed.dv_m_s)
    ]
    apart, velocity = 0.5 * (ends[2][:3] - ends[0][:3]), ends[1][3:]
    along, total = pushed.displacement_m(years)
    assert total == pytest.approx(np.linalg.norm(apart), rel=1e-5)
    assert along == pytest.approx(apart @ velocity / np.linalg.norm(velocity), rel=1e-5)


@pytest.mark.parametrize("orbit", [ORBIT, replace(ORBIT, eccentricity=0.0), replace(ORBIT, eccentricity=0.9)])
@pytest.mark.parametrize("dv", [[3e-6, -8e-6, 5e-6], [0.0, 0.0, 1e-7]])
def test_displacement_keeps_its_digits(orbit, dv):
    """To 1e-8, against differences of ellipses of velocity changes of metres a second, brought to zero by Richardson's
    rule.

    As a difference of two places it had errors of 1e-7 to 7e-7.
    """
    years, dv = np.array([0.01, 1.0, 7.3, 30.0]), np.array(dv)
    position, velocity = position_velocity(orbit)

    def slope(size: float) -> np.ndarray:
        ends = [elements_at(position, velocity + sign * size * dv / np.linalg.norm(dv)) for sign in (1.0, -1.0)]
        places = [position_velocity(end, years * 365.25 * DAY_S)[0] for end in ends]
        return (places[0] - places[1]) / (2.0 * size)

    first, second, third = (slope(size) for size in (0.8, 0.4, 0.2))
    once = [(4.0 * b - a) / 3.0 for a, b in ((first, second), (second, third))]
    expected = np.linalg.norm(dv) * (16.0 * once[1] - once[0]) / 15.0
    along, total = Deflection(orbit, dv).displacement_m(years)
    assert total == pytest.approx(np.linalg.norm(expected, axis=-1), rel=1e-8)
    then = position_velocity(orbit, years * 365.25 * DAY_S)[1]
    parts = np.sum(expected * then, axis=-1) / np.linalg.norm(then, axis=-1)
    assert along == pytest.approx(parts, abs=1e-8 * total.max())


def test_rule_of_thumb_holds_on_a_circle_and_is_the_published_one():
    """Ahrens & Harris 1992: 0.07 m/s over the years of lead moves one Earth radius; 3 dv t after whole revolutions."""
    assert lead_years_for_earth_radius(0.07) == pytest.approx(1.0, rel=0.05)
    assert lead_years_for_earth_radius(0.007) == pytest.approx(10.0, rel=0.05)
    assert lead_years_for_earth_radius(0.0) == math.inf
    circle = Elements(AU, 0.0, 0.0, 0.0, 0.0, 0.0)
    _, velocity = position_velocity(circle)
    pushed = Deflection(circle, 1e-5 * velocity / np.linalg.norm(velocity))
    turns = np.arange(1, 11) * 2.0 * math.pi / circle.mean_motion_rad_s() / (365.25 * DAY_S)
    along, _ = pushed.displacement_m(turns)
    assert along == pytest.approx(rule_of_thumb_m(1e-5, turns), rel=1e-5)


POLE = MutualOrbit(
    separation_m=1e3, period_h=12.0, pole_longitude_deg=40.0, pole_latitude_deg=-70.0, node_angle_deg=25.0
)
SUN = HeliocentricOrbit(
    semi_major_axis_au=1.64,
    eccentricity=0.38,
    inclination_deg=3.4,
    node_deg=73.0,
    argument_of_pericentre_deg=319.0,
    mean_anomaly_deg=232.0,
    epoch_jd_tdb=2459600.5,
)


def test_the_push_is_turned_from_the_pairs_frame_to_the_ecliptic():
    """A velocity change along the orbit normal points at the pole; the mean anomaly moves on to the impact."""
    found = deflection(SUN, "2022-09-26T23:14:24", POLE, np.array([0.0, 0.0, 2e-6]))
    longitude, latitude = math.radians(40.0), math.radians(-70.0)
    pole = [math.cos(latitude) * math.cos(longitude), math.cos(latitude) * math.sin(longitude), math.sin(latitude)]
    assert found.dv_m_s == pytest.approx(2e-6 * np.array(pole), abs=1e-20)
    assert deflection(SUN, "2022-09-26T23:14:24", POLE, np.array([1e-6, 0, 0])).dv_m_s == pytest.approx(
        1e-6 * ecliptic_axes(POLE)[0], abs=1e-20
    )
    # n from Kepler's third law in days: 360 / (365.2569 a^1.5), the Gaussian year
    days = 2459849.468 - 2459600.5
    assert math.degrees(found.before.mean_anomaly_rad) == pytest.approx(
        232.0 + 360.0 / (365.2569 * 1.64**1.5) * days, abs=1e-3
    )


def test_what_the_effect_on_the_solar_orbit_needs_is_named():
    with pytest.raises(InputError, match="heliocentric_orbit"):
        deflection(None, "2022-09-26T23:14:24", POLE, np.zeros(3))
    with pytest.raises(InputError, match="impact_epoch_utc"):
        deflection(SUN, "", POLE, np.zeros(3))
    with pytest.raises(InputError, match="pole"):
        deflection(SUN, "2022-09-26T23:14:24", MutualOrbit(separation_m=1e3, period_h=12.0), np.zeros(3))


def test_gravity_at_the_ground_is_that_of_a_ball_of_the_volume():
    """4/3 pi G rho R with R^3 = a b c (Newton's shell theorem)."""
    system = build(example())
    for ground, body in zip(grounds(system, 821.0), (system.primary, system.secondary), strict=True):
        radius = math.prod(body.semi_axes_m) ** (1.0 / 3.0)
        assert ground.gravity_m_s2 == pytest.approx(4.0 / 3.0 * math.pi * G * body.density_kg_m3 * radius, rel=1e-9)
