"""Sun and Earth seen from the system: against skyfield with an ephemeris of its own, offline, and in closed forms."""

import socket
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from invented import PLACELESS

from binarydyn.constants import ASTRONOMICAL_UNIT_M, SPEED_OF_LIGHT_M_S
from binarydyn.errors import InputError
from binarydyn.kepler import Elements
from binarydyn.scenario import Scenario
from binarydyn.sky.ephemeris import Clock, ObservingSite, observer_about_sun_m
from binarydyn.sky.geometry import Sight, Sky

SUN_TOLERANCE_RAD, EARTH_TOLERANCE_RAD = 1e-6, 3e-6
PLACES = """
impact_epoch_utc = "2031-05-06T07:08:09.5"
[heliocentric_orbit]
semi_major_axis_au = 1.31
eccentricity = 0.27
inclination_deg = 6.2
node_deg = 121.0
argument_of_pericentre_deg = 310.0
mean_anomaly_deg = 77.0
epoch_jd_tdb = 2463000.5
"""


def pair(extra="", places=PLACES, pole="pole_longitude_deg = 131.0\npole_latitude_deg = 74.0\nnode_angle_deg = 40.0\n"):
    """The built-in system at another place among the planets."""
    text = PLACELESS.replace("[mutual_orbit]\n", "[mutual_orbit]\n" + pole)
    return Scenario.from_text(places.split("[")[0] + text + "\n[" + places.split("[", 1)[1] + extra)


@pytest.fixture
def no_network(monkeypatch):
    def refused(*_, **__):
        raise AssertionError("something asks for the network")

    monkeypatch.setattr(socket.socket, "connect", refused)
    monkeypatch.setattr(socket, "getaddrinfo", refused)


def angle(a, b):
    return 2.0 * np.arcsin(0.5 * np.linalg.norm(a - b, axis=-1))


DAYS = np.array([-400.0, -37.25, 0.0, 12.5, 61.0, 512.0])


def other_route(elements: Elements, jd_tdb: float, utc: datetime, place=None):
    """Heliocentric place of the system and of the observer, ecliptic J2000, m, by skyfield with DE421.

    Elements hold at jd_tdb; light time by skyfield's own iteration.
    """
    skyfield_data = pytest.importorskip(
        "skyfield_data", reason="skyfield-data, a package with an ephemeris, is not there"
    )
    api = pytest.importorskip("skyfield.api", reason="skyfield is not there")
    from skyfield.data.spice import inertial_frames
    from skyfield.keplerlib import _KeplerOrbit

    load = api.Loader(skyfield_data.get_skyfield_data_path(), expire=False, verbose=False)
    scale, planets = load.timescale(builtin=True), load("de421.bsp")
    semi_latus_au = elements.semi_major_axis_m / ASTRONOMICAL_UNIT_M * (1.0 - elements.eccentricity**2)
    angles = np.degrees([elements.inclination_rad, elements.node_rad, elements.argument_of_pericentre_rad])
    orbit = _KeplerOrbit._from_mean_anomaly(
        semi_latus_au,
        elements.eccentricity,
        *angles,
        np.degrees(elements.mean_anomaly_rad),
        scale.tdb_jd(jd_tdb),
        1.3271244e11,
        10,
        "pair",
    )
    ecliptic = inertial_frames["ECLIPJ2000"]
    orbit._rotation = ecliptic.T
    pair = planets["sun"] + orbit
    earth = planets["earth"] if place is None else planets["earth"] + api.wgs84.latlon(*place[:2], elevation_m=place[2])
    start = scale.from_datetime(utc)
    lines, suns, delays = [], [], []
    for day in DAYS:
        # the instant at the system is given: look for the observer's one a light time later
        at_pair = scale.tdb_jd(start.tdb + day)
        delay = 0.0
        for _ in range(4):
            seen = scale.tdb_jd(start.tdb + day + delay)
            delay = np.linalg.norm((earth.at(seen) - pair.at(at_pair)).position.au) * 499.004783836 / 86400.0
        lines.append(ecliptic @ (earth.at(seen) - pair.at(at_pair)).position.m)
        suns.append(ecliptic @ (planets["sun"].at(at_pair) - pair.at(at_pair)).position.m)
        delays.append(delay * 86400.0)
    return np.array(suns), np.array(lines), np.array(delays)


@pytest.mark.filterwarnings("ignore:The file finals2000A")  # polar motion of the other route, 10 m at most
@pytest.mark.parametrize("site", [None, ObservingSite(-70.7, -29.3, 2400.0)], ids=["geocentre", "site"])
def test_sun_and_earth_against_skyfield_with_de421(site, no_network):
    """Requirement: the Sun to 1e-6 rad, the Earth to 3e-6 rad, with the same elements on both sides."""
    scenario = pair()
    sky = replace(Sky.of(scenario), site=site, axes=np.eye(3))
    helio = scenario.heliocentric_orbit
    angles = np.radians([helio.inclination_deg, helio.node_deg, helio.argument_of_pericentre_deg])
    given = Elements(
        helio.semi_major_axis_au * ASTRONOMICAL_UNIT_M, helio.eccentricity, *angles, np.radians(helio.mean_anomaly_deg)
    )
    moment = datetime(2031, 5, 6, 7, 8, 9, 500000, tzinfo=UTC)
    place = None if site is None else (site.latitude_deg, site.longitude_deg, site.height_m)
    suns, lines, delays = other_route(given, helio.epoch_jd_tdb, moment, place)
    found = sky.at(DAYS * 86400.0)
    norms = [np.linalg.norm(vectors, axis=1) for vectors in (suns, lines)]
    assert angle(found.sun, suns / norms[0][:, None]).max() < SUN_TOLERANCE_RAD
    assert angle(found.observer, lines / norms[1][:, None]).max() < EARTH_TOLERANCE_RAD
    assert np.abs(found.light_time_s - delays).max() < 3e-4  # the same 3e-6 of some 100 s


def test_a_site_is_an_earth_radius_away_and_turns_with_the_earth(no_network):
    clock = Clock(datetime(2031, 5, 6, tzinfo=UTC))
    hours = np.arange(25) * 3600.0
    site = ObservingSite(17.0, 0.0)
    lever = observer_about_sun_m(clock, hours, site) - observer_about_sun_m(clock, hours)
    np.testing.assert_allclose(np.linalg.norm(lever, axis=1), 6378137.0, atol=1.0)  # WGS84
    sidereal = 86164.0905
    turned = observer_about_sun_m(clock, [sidereal], site) - observer_about_sun_m(clock, [sidereal])
    assert angle(lever[:1] / 6378137.0, turned / 6378137.0)[0] < 2e-6  # precession of a day
    assert angle(lever[0] / 6378137.0, lever[12] / 6378137.0) == pytest.approx(np.pi, abs=0.01)


def test_aberration_turns_the_two_lines_opposite_ways():
    """Light from the Sun falls in against the motion, light to the observer leaves behind it (Bradley), by v/c."""
    sky = replace(Sky.of(pair()), axes=np.eye(3))
    g = sky.at([0.0])
    from binarydyn.kepler import position_velocity

    velocity = position_velocity(sky.elements, np.array([0.0]))[1]
    across = velocity - np.sum(velocity * g.sun, axis=1) * g.sun
    assert angle(g.sunward, g.sun)[0] == pytest.approx(np.linalg.norm(across) / SPEED_OF_LIGHT_M_S, rel=1e-3)
    assert np.sum((g.sunward - g.sun) * velocity) > 0.0 > np.sum((g.earthward - g.observer) * velocity)


def test_angles_are_those_of_the_triangle():
    """Law of cosines in the triangle Sun, pair, observer; distances in au."""
    sky = Sky.of(pair())
    g = sky.at(DAYS * 86400.0)
    seen = np.linalg.norm(observer_about_sun_m(sky.clock, g.time_s + g.light_time_s), axis=1) / ASTRONOMICAL_UNIT_M
    r, d = g.sun_distance_au, g.observer_distance_au
    cosine = (r * r + d * d - seen * seen) / (2.0 * r * d)
    np.testing.assert_allclose(np.cos(np.radians(g.phase_angle_deg)), cosine, atol=1e-9)


def test_aspect_is_counted_from_the_pole():
    """A pole that points at the Earth is seen at aspect 0; axes of the frame keep lengths and hands."""
    places = Sky.of(pair())
    ecliptic = replace(places, axes=np.eye(3)).at([0.0]).observer[0]
    longitude, latitude = np.degrees([np.arctan2(ecliptic[1], ecliptic[0]), np.arcsin(ecliptic[2])])
    pole = f"pole_longitude_deg = {longitude}\npole_latitude_deg = {latitude}\n"
    assert Sky.of(pair(pole=pole)).at([0.0]).aspect_deg[0] == pytest.approx(0.0, abs=1e-5)
    assert np.linalg.det(places.axes) == pytest.approx(1.0)


def test_the_curves_over_a_window_are_the_directions_themselves(no_network):
    """Between their knots too, to 2e-8 rad: 0.1 ms of a 12-h orbit."""
    sky = replace(Sky.of(pair()), site=ObservingSite(-70.7, -29.3, 2400.0))
    sight = Sight(sky, -5.0 * 86400.0, 5.0 * 86400.0)
    time = np.linspace(-4.9, 4.9, 37) * 86400.0
    g = sky.at(time)
    assert angle(sight.sunward(time), g.sunward).max() < 2e-8
    assert angle(sight.earthward(time), g.earthward).max() < 2e-8
    np.testing.assert_allclose(sight.light_time_s(time), g.light_time_s, atol=1e-5)


def test_what_is_seen_left_a_light_time_before(no_network):
    """There and back within the error of the curves, 1e-5 s, for the pair and its site; the light time is minutes."""
    sky = replace(Sky.of(pair()), site=ObservingSite(-70.7, -29.3, 2400.0))
    sight, time = Sight(sky, -5.0 * 86400.0, 5.0 * 86400.0), np.linspace(-4.9, 4.8, 37) * 86400.0
    late = sky.at(time).light_time_s
    assert late.min() > 60.0 and np.abs(sight.left_s(time + late) - time).max() < 2e-5


def test_utc_of_what_is_seen():
    """Leap seconds count: TDB - UTC was 69.184 s in 2022 (37 leap seconds and 32.184 s, IERS bulletin C)."""
    clock = Clock(datetime(2022, 9, 26, 23, 14, 24, tzinfo=UTC))
    whole, rest = clock.tdb(0.0)
    assert (whole - 2459849.0 + rest)[0] * 86400.0 == pytest.approx(40464.0 + 69.184, abs=0.003)
    sky = Sky.of(pair())
    (text,) = sky.observed_utc([0.0])
    seen = datetime.fromisoformat(text)
    late = (seen - datetime(2031, 5, 6, 7, 8, 9, 500000, tzinfo=UTC)).total_seconds()
    assert late == pytest.approx(float(sky.at([0.0]).light_time_s[0]), abs=0.06)


@pytest.mark.parametrize(
    "missing, named",
    [
        ({"places": PLACES.replace('impact_epoch_utc = "2031-05-06T07:08:09.5"', "")}, "impact_epoch_utc"),
        ({"pole": ""}, "pole_longitude_deg"),
    ],
)
def test_what_is_missing_is_named(missing, named):
    with pytest.raises(InputError, match=named):
        Sky.of(pair(**missing))


def test_without_an_orbit_about_the_sun_there_is_no_geometry():
    with pytest.raises(InputError, match="heliocentric_orbit"):
        Sky.of(Scenario.from_text(PLACELESS))
