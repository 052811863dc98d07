"""Mutual events against closed forms of circles, areas against counting, and what is said where nothing happens."""

import numpy as np
import pytest
from meshes import box

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.constants import G
from binarydyn.dynamics import State, System, simulate
from binarydyn.observables.interpolation import pieces
from binarydyn.sky import outline, overlap
from binarydyn.sky.crossings import root, smallest
from binarydyn.sky.events import events
from binarydyn.sky.figure import Figure
from binarydyn.sky.geometry import Geometry, Sky
from binarydyn.sky.motion_between import MotionBetween, Places
from binarydyn.sky.outline import APART, gaps

R1, R2, A = 400.0, 90.0, 1200.0
CONTACT_TOLERANCE_S = 0.1
DEPTH_TOLERANCE_MAG = 1e-4
SUN_RAD = 4e-3


class FixedSky(Sky):
    """A Sun and an observer at rest, infinitely far away in given directions."""

    def __init__(self, sun, observer):
        object.__setattr__(self, "lines", [np.asarray(v, dtype=float) / np.linalg.norm(v) for v in (sun, observer)])

    def at(self, time_s):
        sun, seen = (np.repeat(line[None, :], len(time_s), axis=0) for line in self.lines)
        far = np.full(len(time_s), 6.957e8 / np.sin(SUN_RAD))
        return Geometry(np.asarray(time_s), sun, seen, sun, seen, far, far)


def circular(primary=None, secondary=None, distance=A, degree=2):
    """A circular equatorial pair whose secondary turns with it; the period is Kepler's, exact for spheres."""
    primary, secondary = primary or Ellipsoid((R1,) * 3, 2300.0), secondary or Ellipsoid((R2,) * 3, 2300.0)
    n = np.sqrt(G * (primary.mass_kg + secondary.mass_kg) / distance**3)
    state = State(
        np.array([distance, 0.0, 0.0]),
        np.array([0.0, distance * n, 0.0]),
        np.array([1.0, 0.0, 0.0, 0.0]),
        np.array([0.0, 0.0, 2.0 * np.pi / 9000.0]),
        np.array([1.0, 0.0, 0.0, 0.0]),
        np.array([0.0, 0.0, n]),
    )
    return System(primary, secondary, state, degree), n


@pytest.fixture(scope="module")
def spheres():
    system, n = circular()
    return simulate(system, 3.0), n


def test_contacts_of_a_circular_equatorial_pair_of_spheres_at_zero_phase(spheres):
    """a |sin(n t)| = R1 + R2 and R1 - R2 about each conjunction."""
    run, n = spheres
    direction = np.array([np.cos(2.0), np.sin(2.0), 0.0])
    found = [event for event in events(run, FixedSky(direction, direction)) if not event.is_cut]
    assert len(found) >= 4 * int(3.0 * 86400.0 * n / (2.0 * np.pi))  # two of each kind in a turn
    half_outer, half_inner = np.arcsin((R1 + R2) / A) / n, np.arcsin((R1 - R2) / A) / n
    for event in found:
        angle = 2.0 + (np.pi if event.body == "secondary" else 0.0)
        turns = np.round((event.mid_s * n - angle) / (2.0 * np.pi))
        middle = (angle + 2.0 * np.pi * turns) / n
        wanted = middle + np.array([-half_outer, -half_inner, half_inner, half_outer])
        np.testing.assert_allclose(event.contacts_s, wanted, atol=CONTACT_TOLERANCE_S)
        assert event.mid_s == pytest.approx(middle, abs=CONTACT_TOLERANCE_S)
        assert event.extent == ("total" if event.body == "secondary" else "annular")


def test_depth_of_a_full_eclipse(spheres):
    """-2.5 log10(1 - k^2 / (1 + k^2)), k = D2 / D1."""
    k = R2 / R1
    wanted = -2.5 * np.log10(1.0 - k * k / (1.0 + k * k))
    for event in events(spheres[0], FixedSky([1.0, 0.3, 0.0], [1.0, 0.3, 0.0])):
        if not event.is_cut:
            assert event.depth_mag == pytest.approx(wanted, abs=DEPTH_TOLERANCE_MAG)
            assert event.share == pytest.approx(1.0 if event.body == "secondary" else k * k, abs=1e-9)


def test_latitude_makes_events_shorter_then_grazing_then_absent(spheres):
    """At an angle b above the orbit the centres pass at a sin b: chords, and a miss of a sin b - R1 - R2."""
    run, n = spheres
    for b, extent in ((0.2, "total"), (0.3, "partial"), (0.417, "grazing"), (0.43, "absent")):
        line = np.array([np.cos(b), 0.0, np.sin(b)])
        seen = [event for event in events(run, FixedSky(line, line)) if event.body == "secondary" and not event.is_cut]
        assert {event.extent for event in seen} == {extent}, b
        if extent == "absent":
            assert seen[0].miss_m == pytest.approx(A * np.sin(b) - R1 - R2, abs=1e-3)
            assert seen[0].contacts_s == (None,) * 4
        else:
            half = np.arcsin(np.sqrt((R1 + R2) ** 2 - (A * np.sin(b)) ** 2) / (A * np.cos(b))) / n
            assert seen[0].duration_s == pytest.approx(2.0 * half, abs=CONTACT_TOLERANCE_S)


def test_seen_from_the_pole_nothing_happens(spheres):
    assert all(event.extent == "absent" for event in events(spheres[0], FixedSky([0.0, 0.01, 1.0], [0.0, 0.0, 1.0])))


def test_penumbra_and_umbra_of_a_sun_with_a_radius(spheres):
    """Contacts 1, 4 of the penumbra, 2, 3 of the umbra: R1 +- a cos(n t) tan(radius of the Sun) in place of R1."""
    run, n = spheres
    line = FixedSky([1.0, 0.0, 0.0], [1.0, 0.0, 0.0])
    seen = [e for e in events(run, line, "disc") if not e.is_cut and (e.kind, e.body) == ("eclipse", "secondary")]
    occulted = [
        e for e in events(run, line, "disc") if not e.is_cut and (e.kind, e.body) == ("occultation", "secondary")
    ]
    for event in seen:
        lag = np.array(event.contacts_s) - event.mid_s
        offset, depth = A * np.abs(np.sin(n * lag)), A * np.cos(n * lag)
        wanted = R1 + np.array([1, -1, -1, 1]) * depth * np.tan(SUN_RAD) + R2 * np.array([1, -1, -1, 1])
        np.testing.assert_allclose(offset, wanted, atol=0.2 * CONTACT_TOLERANCE_S)  # moves at 0.2 m/s
    assert seen[0].duration_s > occulted[0].duration_s + 20.0


def rotated(rng):
    """A random rotation matrix."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q * np.sign(np.linalg.det(q))


def test_shared_area_of_ellipses_against_counting():
    """Area by a midpoint grid of 1500 x 1500, whose error falls faster than its cell."""
    rng = np.random.default_rng(7)
    for _ in range(12):
        one, two = (m @ m.T + 0.05 * np.eye(2) for m in rng.normal(size=(2, 2, 2)))
        delta = rng.normal(size=2)
        x = np.linspace(-4.0, 4.0, 1500) * np.sqrt(np.trace(one))
        points = np.stack(np.meshgrid(x, x), axis=-1)
        inside = [
            np.einsum("xyi,ij,xyj->xy", points - c, np.linalg.inv(m), points - c) < 1.0
            for m, c in ((one, 0.0), (two, delta))
        ]
        counted = np.sum(inside[0] & inside[1]) * (x[1] - x[0]) ** 2
        found = overlap.shared_by_ellipses(one[None], two[None], delta[None])[0]
        assert found == pytest.approx(counted, abs=2e-3 * np.pi * np.sqrt(np.linalg.det(one)))


def test_shared_area_of_circles_in_closed_form():
    """The lens of two circles (Euclid by way of any handbook), to rounding, from apart to inside."""
    r, s = 2.0, 0.7
    for d in (0.0, 0.5, 1.3, 1.5, 2.0, 2.69, 2.71, 4.0):
        found = overlap.shared_by_ellipses(r * r * np.eye(2)[None], s * s * np.eye(2)[None], np.array([[0.0, d]]))[0]
        if d >= r + s:
            wanted = 0.0
        elif d <= r - s:
            wanted = np.pi * s * s
        else:
            one, two = (d * d + r * r - s * s) / (2 * d * r), (d * d + s * s - r * r) / (2 * d * s)
            root = np.sqrt((-d + r + s) * (d + r - s) * (d - r + s) * (d + r + s))
            wanted = r * r * np.arccos(one) + s * s * np.arccos(two) - 0.5 * root
        assert found == pytest.approx(wanted, abs=1e-10)


def placed(centre, axes1, axes2):
    centre = np.asarray(centre, dtype=float)[None]
    return Places(np.zeros((1, 3)), axes1[None], centre, axes2[None], centre)


def test_outlines_of_turned_ellipsoids_touch_where_their_ellipses_do():
    """At the gap's zero the shared area vanishes, in any orientation: two independent routes to the outline."""
    rng = np.random.default_rng(3)
    figures = [Figure.of(Ellipsoid(axes, 2000.0)) for axes in ((3.0, 2.0, 1.0), (1.5, 1.0, 0.6))]
    line = np.array([[0.36, 0.48, 0.8]])
    for _ in range(6):
        axes, side = (rotated(rng), rotated(rng)), np.cross(line[0], rng.normal(size=3))
        side /= np.linalg.norm(side)

        def gap(distance, axes=axes, side=side):
            return gaps(APART, placed(distance * side, *axes), figures, line)[0]

        low, high = 0.5, 8.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if gap(middle) < 0.0 else (low, middle)
        apart, touching = (
            overlap.areas(placed(d * side, *axes), figures, line)[2][0] for d in (low + 1e-4, low - 1e-3)
        )
        assert apart == 0.0 and touching > 0.0


def test_newtons_steps_between_ellipses_find_what_golden_sections_find():
    """The route of meshes, by values alone, on the same turned outlines; of these one in 1e5 has maxima too close for
    it."""
    rng, none = np.random.default_rng(7), np.empty((0, 3))
    turns = [np.array([rotated(rng)[:2].ravel() for _ in range(300)]) for _ in range(2)]
    semi = np.array([300.0, 260.0, 180.0]), np.array([120.0, 60.0, 40.0])
    delta, values = 300.0 * rng.normal(size=(300, 2)), np.empty(24)
    for mode in (outline.APART, outline.TWO_INSIDE_ONE, outline.ONE_INSIDE_TWO):
        found = np.empty(300)
        told = delta, *turns, semi[0], none, semi[1], none
        outline.gaps_kernel(np.int64(mode), *told, found)
        wanted = [
            outline.greatest(np.int64(mode), d, one, two, *told[3:], values)
            for d, one, two in zip(*told[:3], strict=True)
        ]
        np.testing.assert_allclose(found, wanted, atol=1e-8)


def test_zeros_and_minima_side_by_side():
    """Of tanh and of a parabola, each in an interval of its own."""
    low, calls = np.linspace(0.0, 250.0, 40), []

    def rising(time):
        calls.append(len(time))
        return np.tanh(0.01 * (time - 301.234567))

    assert np.abs(root(rising, low, np.linspace(305.0, 900.0, 40)) - 301.234567).max() < 1e-6 and len(calls) < 25
    time = np.linspace(0.0, 600.0, 65) + np.linspace(0.0, 5.0, 40)[:, None]
    when, least = smallest(lambda t: (t - 222.2) ** 2, time, (time - 222.2) ** 2)
    assert np.abs(when - 222.2).max() < 0.5 and (least == (when - 222.2) ** 2).all()
    when, _ = smallest(lambda t: t - 7.0, time, time - 7.0)
    assert (when == time[:, 0]).all()


def test_a_mesh_of_a_box_is_seen_as_a_box():
    """Silhouette of a unit cube along a diagonal: a hexagon of area sqrt 3; its gap to a sphere."""
    cube = Mesh(*box((1.0, 1.0, 1.0)), 2000.0)
    figures = Figure.of(cube), Figure.of(Ellipsoid((0.3, 0.3, 0.3), 2000.0))
    diagonal = np.array([[1.0, 1.0, 1.0]]) / np.sqrt(3.0)
    one, two, both = overlap.areas(placed([0.1, 0.0, 0.0], np.eye(3), np.eye(3)), figures, diagonal)
    assert one[0] == pytest.approx(np.sqrt(3.0), rel=1e-12)
    assert two[0] == pytest.approx(np.pi * 0.09, rel=1e-12) and both[0] == pytest.approx(two[0], rel=1e-5)
    far = placed([2.0, 0.2, 0.0], np.eye(3), np.eye(3))
    assert gaps(APART, far, figures, np.array([[0.0, 0.0, 1.0]]))[0] == pytest.approx(2.0 - 0.5 - 0.3, abs=1e-6)


def test_a_fine_mesh_gives_the_events_of_its_ellipsoid():
    """A geodesic mesh of 2000 facets strays from its ellipsoid by 1/2000 of the size, 0.1 m or 1 s of motion."""
    from binarydyn.sky.figure import mesh_of_ellipsoid

    solid = Ellipsoid((90.0, 75.0, 60.0), 2300.0)
    vertices, facets = mesh_of_ellipsoid(np.array(solid.semi_axes_m), 2000)
    mesh = Mesh(vertices, facets, 2300.0)
    line = FixedSky([1.0, 0.2, 0.05], [1.0, 0.25, 0.05])
    plain, meshed = (events(simulate(circular(secondary=body)[0], 1.5), line) for body in (solid, mesh))
    assert [(e.kind, e.body, e.extent, e.cycle) for e in plain] == [(e.kind, e.body, e.extent, e.cycle) for e in meshed]
    for one, two in zip(plain, meshed, strict=True):
        if one.duration_s:
            np.testing.assert_allclose(one.contacts_s[::3], two.contacts_s[::3], atol=2.0)
            assert one.depth_mag == pytest.approx(two.depth_mag, rel=0.01)


def test_between_samples_the_motion_is_that_of_a_finer_run():
    system, _ = circular(secondary=Ellipsoid((90.0, 75.0, 60.0), 2300.0))
    coarse, fine = MotionBetween(simulate(system, 1.0, every_minutes=15.0)), simulate(system, 1.0, every_minutes=1.0)
    found = coarse.places(fine.time_s)
    assert np.abs(found.position_m - fine.position_m).max() < 1e-5
    wanted = MotionBetween(fine).places(fine.time_s)
    assert np.abs(found.axes1 - wanted.axes1).max() < 1e-6 and np.abs(found.axes2 - wanted.axes2).max() < 1e-9


def test_motion_between_samples_is_the_polynomial_of_the_estimators():
    """observables/interpolation.py, whose order another test measures; the same operations: the same bits, at samples,
    at both ends and between."""
    run = simulate(circular(secondary=Ellipsoid((90.0, 75.0, 60.0), 2300.0))[0], 1.0, every_minutes=15.0)
    times = np.append(np.random.default_rng(1).uniform(run.time_s[0], run.time_s[-1], 500), run.time_s[[0, 7, -1]])
    value, rate = MotionBetween(run).at(times, 3)
    k = np.clip(np.searchsorted(run.time_s, times, side="right") - 1, 0, len(run.time_s) - 2)
    piece = pieces(run.time_s, run.position_m, run.velocity_m_s, k)
    wanted = piece.at((times - piece.origin_s)[:, None])
    assert (value == wanted[0]).all() and (rate == wanted[1]).all()
    assert (MotionBetween(run).at(times)[0][:, :3] == value).all()


def test_share_of_light_of_the_primary_of_65803():
    """About 96 % (Thomas et al. 2023, doi 10.1038/s41586-023-05805-2); extents of Daly et al. 2023, seen edge-on."""
    one, two = (
        Figure.of(Ellipsoid(tuple(0.5 * x for x in extents), 2400.0))
        for extents in ((851.0, 849.0, 620.0), (177.0, 174.0, 116.0))
    )
    line = np.array([[0.0, 1.0, 0.0]])
    areas = overlap.areas(placed([1206.0, 0.0, 0.0], np.eye(3), np.eye(3)), (one, two), line)
    assert areas[0][0] / (areas[0][0] + areas[1][0]) == pytest.approx(0.96, abs=0.005)
