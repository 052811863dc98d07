"""Relative equilibria against closed forms, against the simulation, and against the free modes of the relaxed orbit."""

import math

import numpy as np
import pytest
from contracts import Cloud, G
from scipy.spatial.transform import Rotation

from binarydyn.bodies import Ellipsoid
from binarydyn.bodies.averaged import Averaged, round_axes
from binarydyn.dynamics import State, System, circular_orbits, relative_equilibria, relative_equilibrium, simulate
from binarydyn.dynamics.displacement import displaced
from binarydyn.dynamics.equilibrium_search import FACINGS, Turning, search
from binarydyn.dynamics.stability import _names, second_derivative
from binarydyn.errors import ConvergenceError
from binarydyn.gravity import mutual_gravity
from binarydyn.relaxed.circular import Wanted
from binarydyn.relaxed.free_modes import free_modes
from binarydyn.relaxed.periodic import find

HOUR_S = 3600.0
SPIN_RAD_S = 2.0 * math.pi / (2.5 * HOUR_S)
SPHERES = Ellipsoid((300.0, 300.0, 300.0), 2000.0), Ellipsoid((200.0, 200.0, 200.0), 2000.0)
LONG_PAIR = Ellipsoid((300.0, 240.0, 200.0), 2000.0), Ellipsoid((200.0, 150.0, 120.0), 2000.0)


def gm(one, two) -> float:
    return G * (one.mass_kg + two.mass_kg)


def reduced_mass(one, two) -> float:
    return one.mass_kg * two.mass_kg / (one.mass_kg + two.mass_kg)


def matrices(state: State) -> list[np.ndarray]:
    return [Rotation.from_quat(np.roll(q, -1)).as_matrix() for q in (state.attitude1, state.attitude2)]


# ---- two spheres ----


def test_two_spheres_obey_keplers_third_law():
    """n^2 = G M / r^3 (Kepler; spheres act as points), and the radial oscillation has the orbit's own period."""
    found = relative_equilibrium(*SPHERES, separation_m=1000.0)
    assert found.rate_rad_s**2 == pytest.approx(gm(*SPHERES) / 1000.0**3, rel=1e-14)
    assert found.mode("epicyclic").rate_rad_s == pytest.approx(found.rate_rad_s, rel=1e-10)
    assert found.stable and found.residual < 1e-12


def synchronous_spheres(momentum_share: float) -> tuple[float, list[float]]:
    """Angular momentum, as a share of the least one, and the separations of synchronous spheres that have it.

    H = (I + m r^2) sqrt(G M / r^3), I of both; least where m r^2 = 3 I (Hut 1980, A&A 92, 167).  With x = sqrt r:
    m x^4 - H x^3 / sqrt(G M) + I = 0.
    """
    inertia, m = sum(body.inertia_kg_m2[2] for body in SPHERES), reduced_mass(*SPHERES)
    turn = math.sqrt(3.0 * inertia / m)
    momentum = momentum_share * (inertia + m * turn**2) * math.sqrt(gm(*SPHERES) / turn**3)
    roots = np.roots([m, -momentum / math.sqrt(gm(*SPHERES)), 0.0, 0.0, inertia])
    return momentum, sorted(float(x.real) ** 2 for x in roots if abs(x.imag) < 1e-9 * abs(x))


@pytest.mark.parametrize("share", [1.002, 1.05])
def test_synchronous_spheres_have_an_inner_and_an_outer_orbit_of_the_same_angular_momentum(share):
    """The outer one has the least energy and the inner one has not (Hut 1980; Scheeres 2009, CMDA 104, 103)."""
    momentum, separations = synchronous_spheres(share)
    inner, outer = circular_orbits(*SPHERES, momentum)
    assert [inner.separation_m, outer.separation_m] == pytest.approx(separations, rel=1e-10)
    assert (inner.branch, outer.branch) == ("inner", "outer")
    assert (inner.minimum_energy, outer.minimum_energy) == (False, True)
    assert inner.energy_J > outer.energy_J
    for orbit in (inner, outer):
        assert orbit.angular_momentum_kg_m2_s == pytest.approx(momentum, rel=1e-12)


def test_below_the_least_angular_momentum_there_is_no_circular_orbit():
    momentum, separations = synchronous_spheres(0.999)
    assert separations == []
    assert circular_orbits(*SPHERES, momentum) == ()


def test_an_inner_orbit_inside_the_touching_distance_is_left_out():
    """At this angular momentum the closed form puts it at 420 m, less than the sum of the radii."""
    momentum, separations = synchronous_spheres(1.2)
    assert separations[0] < 500.0
    (outer,) = circular_orbits(*SPHERES, momentum)
    assert outer.separation_m == pytest.approx(separations[1], rel=1e-10)


@pytest.mark.parametrize("spin2", [1e-4, -1e-4])
def test_spheres_with_given_spins_have_one_orbit(spin2):
    """H - I1 W1 - I2 W2 = m sqrt(G M r): the spins are kept, so r follows from what is left.

    To tilt a spin against the rest takes up orbital momentum and energy; to tilt a backward spin sets energy free.
    """
    spins, m = (4e-4, spin2), reduced_mass(*SPHERES)
    own = sum(body.inertia_kg_m2[2] * spin for body, spin in zip(SPHERES, spins, strict=True))
    momentum = own + m * math.sqrt(gm(*SPHERES) * 1234.0)
    (orbit,) = circular_orbits(*SPHERES, momentum, spins_rad_s=spins)
    assert orbit.separation_m == pytest.approx(1234.0, rel=1e-12)
    assert orbit.branch == "outer" and orbit.minimum_energy == (spin2 > 0.0)


# ---- second degree in closed form ----


@pytest.mark.parametrize("facing", FACINGS)
@pytest.mark.parametrize("which", [0, 1])
def test_rate_of_a_sphere_and_an_ellipsoid_to_second_degree(facing, which):
    """n^2 = G M / r^3 (1 + 3/2 (I_x + I_y + I_z - 3 I_r) / (M_e r^2)), I_r about the axis along r.

    From the second-order potential of Scheeres 2009, CMDA 104, 103, exact at degree 2.
    """
    sphere, ellipsoid = SPHERES[0], Ellipsoid((200.0, 150.0, 120.0), 2300.0)
    pair = (ellipsoid, sphere) if which == 0 else (sphere, ellipsoid)
    facings = (facing, "long") if which == 0 else ("long", facing)
    found = relative_equilibrium(*pair, separation_m=900.0, facing=facings, degree=2)
    inertia = ellipsoid.inertia_kg_m2
    shape = (inertia.sum() - 3.0 * inertia[FACINGS.index(facing)]) / ellipsoid.mass_kg
    expected = gm(*pair) / 900.0**3 * (1.0 + 1.5 * shape / 900.0**2)
    assert found.rate_rad_s**2 == pytest.approx(expected, rel=1e-13)
    by_rate = relative_equilibrium(*pair, rate_rad_s=found.rate_rad_s, facing=facings, degree=2)
    assert by_rate.separation_m == pytest.approx(900.0, rel=1e-12)


@pytest.mark.parametrize("facing", FACINGS)
def test_attitude_of_a_satellite_under_gravity_gradient(facing):
    """A secondary of 1 m, 1 km from a sphere: the textbook's satellite, whose orbit does not answer.

    Pitch s^2 = -3 (I_t - I_r)/I_n n^2; the other two s^4 + (1 + 3 k1 + k1 k3) s^2 + 4 k1 k3 = 0, k1 = (I_n - I_r)/I_t,
    k3 = (I_n - I_t)/I_r, with r along the radius, t along the motion, n normal (Hughes 1986, Spacecraft Attitude
    Dynamics, ch. 9, from memory).  Neglected: (R'/a)^2 = 1e-6.  With the long axis on r it is stable, with the next it
    turns away at n sqrt(3 (B - A)/C).
    """
    a, b, c = Ellipsoid((1.0, 0.8, 0.65), 2000.0).inertia_kg_m2
    radial, motion, normal = {"long": (a, b, c), "intermediate": (b, a, c), "short": (c, a, b)}[facing]
    k1, k3 = (normal - radial) / motion, (normal - motion) / radial
    squares = [-3.0 * (motion - radial) / normal, *np.roots([1.0, 1.0 + 3.0 * k1 + k1 * k3, 4.0 * k1 * k3])]
    expected = np.sort(np.abs(squares)) ** 0.5
    found = relative_equilibrium(
        SPHERES[0], Ellipsoid((1.0, 0.8, 0.65), 2000.0), separation_m=1000.0, facing=("long", facing), degree=2
    )
    names = ("libration", "secondary_roll_pitch")
    values = [m.eigenvalue_rad_s / found.rate_rad_s for m in found.modes if m.name in names]
    assert np.sort(np.abs(values)) == pytest.approx(expected, rel=5e-6)
    assert sum(value.real > 1e-3 for value in values) == sum(np.real(squares) > 0.0)
    assert np.all(np.isreal(squares))
    assert found.stable == (facing == "long")
    if facing == "intermediate":
        assert found.mode("libration").growth_rad_s == pytest.approx(found.growth_rad_s)
        assert found.growth_rad_s == pytest.approx(found.rate_rad_s * math.sqrt(3.0 * (b - a) / c), rel=5e-6)


def test_radial_and_out_of_plane_motion_of_a_point_about_an_oblate_body():
    """Exact at degree 2, j = J2 (R/r)^2:  nu^2 = G M / r^3 (1 + 9/2 j), kappa^2 = G M / r^3 (1 - 3/2 j).

    From the derivatives of -G M / r [1 - j/2 (3 z^2/r^2 - 1)]; nu = n sqrt(1 + 3 j) up to 9/4 j^2 and n - kappa =
    3/2 n j up to 9/4 j^2 (Murray & Dermott 1999, ch. 6).  The primary's nod is 1e-9.
    """
    primary, point = Ellipsoid((400.0, 400.0, 300.0), 2000.0), Ellipsoid((0.4, 0.4, 0.4), 2000.0)
    r = 1300.0
    j = (400.0**2 - 300.0**2) / 5.0 / r**2
    found = relative_equilibrium(primary, point, separation_m=r, spins_rad_s=(SPIN_RAD_S, None), degree=2)
    n, up, radial = found.rate_rad_s, found.mode("out_of_plane").rate_rad_s, found.mode("epicyclic").rate_rad_s
    assert n**2 == pytest.approx(gm(primary, point) / r**3 * (1.0 + 1.5 * j), rel=1e-12)
    assert up**2 == pytest.approx(gm(primary, point) / r**3 * (1.0 + 4.5 * j), rel=1e-8)
    assert radial**2 == pytest.approx(gm(primary, point) / r**3 * (1.0 - 1.5 * j), rel=1e-8)
    assert abs(up / n - math.sqrt(1.0 + 3.0 * j)) < 9.0 / 4.0 * j**2
    assert abs(1.0 - radial / n - 1.5 * j) < 9.0 / 4.0 * j**2


def test_orbit_and_equator_precess_together():
    """A heavy secondary nods the primary: the node turns (1 + L/S) times faster, 3/2 n j (1 + L/S) in all.

    L, S angular momenta of orbit and spin (Goldstein 1980, 2nd ed., sec. 5-8 for the torque; both turn about L + S).
    Neglected: j itself, and n / spin of it.
    """
    primary, moon = Ellipsoid((400.0, 400.0, 390.0), 2000.0), Ellipsoid((150.0, 150.0, 150.0), 2000.0)
    r = 2500.0
    j = (400.0**2 - 390.0**2) / 5.0 / r**2
    found = relative_equilibrium(primary, moon, separation_m=r, spins_rad_s=(SPIN_RAD_S, None), degree=2)
    n = found.rate_rad_s
    ratio = reduced_mass(primary, moon) * r**2 * n / (primary.inertia_kg_m2[2] * SPIN_RAD_S)
    assert ratio > 0.2
    rate = found.mode("out_of_plane").rate_rad_s / n - 1.0
    assert rate == pytest.approx(1.5 * j * (1.0 + ratio), rel=0.01)


# ---- stability, energy and angular momentum ----


def test_along_a_family_energy_changes_by_the_rate_times_the_angular_momentum():
    """dE = n dH (Scheeres 2009, CMDA 104, 103), and the slope of H is what differences of H say."""
    step, r = 1.0, 900.0
    less, here, more = (relative_equilibrium(*LONG_PAIR, separation_m=r + k * step) for k in (-1, 0, 1))
    momentum = more.angular_momentum_kg_m2_s - less.angular_momentum_kg_m2_s
    # Errors of the differences: (step / r)^2.
    assert (more.energy_J - less.energy_J) / momentum == pytest.approx(here.rate_rad_s, rel=1e-5)
    assert here.momentum_slope_kg_m_s == pytest.approx(momentum / (2.0 * step), rel=1e-5)


def test_of_two_orbits_with_one_angular_momentum_only_the_outer_is_stable_with_the_long_axes_aligned():
    outer = relative_equilibrium(*LONG_PAIR, separation_m=1100.0)
    inner, again = circular_orbits(*LONG_PAIR, outer.angular_momentum_kg_m2_s)
    assert again.separation_m == pytest.approx(1100.0, rel=1e-10)
    assert (outer.branch, outer.stable, outer.minimum_energy) == ("outer", True, True)
    assert (inner.branch, inner.stable, inner.minimum_energy) == ("inner", False, False)
    assert inner.separation_m < 800.0 and inner.energy_J > outer.energy_J


def test_arrangements_of_a_pair_only_the_long_axes_have_the_least_energy():
    """Nine of them (Scheeres 2009, CMDA 104, 103); the energies at one separation are ordered by the axes."""
    every = {found.name: found for found in relative_equilibria(*LONG_PAIR, separation_m=1100.0)}
    assert len(every) == 9 and list(every)[0] == "long-long"
    assert [name for name, found in every.items() if found.minimum_energy] == ["long-long"]
    assert [name for name, found in every.items() if found.stable] == ["long-long"]
    assert all(len(found.eigenvalues_rad_s) == 14 for found in every.values())
    fast_first = sorted(every.values(), key=lambda found: -found.rate_rad_s)
    assert (fast_first[0].name, fast_first[-1].name) == ("long-long", "short-short")


def test_energy_and_equations_of_motion_are_two_forms_of_one_thing():
    """Q, made from the linearised motion, is a second derivative and so symmetric."""
    random = np.random.default_rng(3)
    pair = Cloud.random(random, size_m=150.0), Cloud.random(random, size_m=60.0)
    found = search(Turning(*pair, (None, None), 4), 900.0, None, ("long", "intermediate"))
    scale = found.pair.energy_scale
    Q = second_derivative(found.pair, found.A, found.y) * scale * scale[:, None]
    assert np.abs(Q - Q.T).max() < 1e-10


def test_names_of_the_motions():
    """Seven where both bodies turn with the orbit: its tilt is then that of the whole system, which is left out.

    The turn of a round primary about its axis is nothing to name, and the orbit's tilt against its equator is.
    """
    names = [mode.name for mode in relative_equilibrium(*LONG_PAIR, separation_m=1100.0).modes]
    assert sorted(names) == sorted(
        ["epicyclic", "libration", "primary_libration"] + ["primary_pole", "secondary_roll_pitch"] * 2
    )
    (spinning, *_) = relative_equilibria(*LONG_PAIR, separation_m=1100.0, primary_spin_rad_s=SPIN_RAD_S)
    assert sorted(mode.name for mode in spinning.modes) == sorted(
        ["epicyclic", "libration", "out_of_plane", "primary_pole"] + ["secondary_roll_pitch"] * 2
    )


@pytest.mark.parametrize("yaw, name", [(0.4, "secondary_roll_pitch"), (0.6, "libration")])
def test_a_motion_is_named_after_the_part_with_most_energy(yaw, name):
    """Turns are in units whose squares are energies; the yaw of an upright body is its turn about z."""
    found = search(Turning(*LONG_PAIR, (None, None), 4), 1100.0, None, ("long", "long"))
    shape = np.zeros((1, 18), dtype=complex)
    shape[0, 12:15] = math.sqrt(1.0 - yaw), 0.0, math.sqrt(yaw)
    assert _names(found.pair, found.y, shape) == [name]


# ---- against the simulation and the relaxed orbit ----


def test_a_run_from_a_stable_equilibrium_stays_there():
    """Ten days, doubly synchronous: in the frame that turns at n nothing moves."""
    found = relative_equilibrium(*LONG_PAIR, separation_m=1100.0)
    run = simulate(System(*LONG_PAIR, found.state), 10.0)
    angle = found.rate_rad_s * run.time_s
    expected = 1100.0 * np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
    assert run.status == "completed"
    # Twelve orbits at a relative tolerance of 1e-12; what the run loses grows along the track.
    assert np.abs(run.position_m - expected).max() < 1e-10 * 1100.0
    for k, attitude in enumerate((run.attitude1, run.attitude2)):
        turned = Rotation.from_rotvec(angle[:, None] * [0.0, 0.0, 1.0]).as_matrix() @ matrices(found.state)[k]
        assert np.abs(Rotation.from_quat(np.roll(attitude, -1, axis=1)).as_matrix() - turned).max() < 1e-10


def test_a_run_beside_an_unstable_equilibrium_departs_as_predicted():
    """The secondary's intermediate axis points at the primary; begun 1e-7 along the growing motion.

    Between 1e-6 and 1e-3 the departure grows as exp(g t): squares of it are 1e-6, the decaying partner is not there.
    """
    found = relative_equilibrium(*LONG_PAIR, separation_m=1100.0, facing=("long", "intermediate"))
    mode = found.mode("libration")
    assert not found.stable and mode.growth_rad_s == found.growth_rad_s > 0.1 * found.rate_rad_s
    move = np.real(mode.shape / mode.shape[14]) * 1e-7
    begun = State.from_vector(displaced(found.state.vector, move))
    days = 9.5 / found.growth_rad_s / 86400.0
    run = simulate(System(*LONG_PAIR, begun), days, every_minutes=5.0)
    longitude = np.unwrap(np.arctan2(run.position_m[:, 1], run.position_m[:, 0]))
    C2 = Rotation.from_quat(np.roll(run.attitude2, -1, axis=1)).as_matrix()
    along = C2[:, :, 1]
    yaw = np.arctan(np.tan(np.arctan2(along[:, 1], along[:, 0]) - longitude))
    part = (np.abs(yaw) > 1e-6) & (np.abs(yaw) < 1e-3)
    slope = np.polyfit(run.time_s[part], np.log(np.abs(yaw[part])), 1)[0]
    assert part.sum() > 50
    assert slope == pytest.approx(mode.growth_rad_s, rel=1e-5)


def relaxed(primary, secondary, separation_m=1000.0):
    return find(primary, secondary, 4, Wanted(SPIN_RAD_S, 0.0, 1.0, separation_m, None))


def test_modes_are_the_free_modes_of_the_relaxed_orbit_about_a_spheroid():
    """Two ways to the same numbers: a return map over one turn, and the equations linearised in the turning frame.

    The map has one mode more, the tilt of the whole system in space, seen from the turning frame at exactly n; and it
    knows the fast nod of the primary only modulo its turn.  The map's in-plane differences are good to 1e-8.
    """
    pair = Ellipsoid((330.0, 330.0, 270.0), 2100.0), Ellipsoid((95.0, 78.0, 66.0), 2100.0)
    orbit = relaxed(*pair)
    found = relative_equilibrium(*pair, separation_m=1000.0, spins_rad_s=(SPIN_RAD_S, None))
    assert found.rate_rad_s == pytest.approx(orbit.rate_rad_s, rel=1e-10)
    ours = np.array([mode.rate_rad_s for mode in found.modes if mode.name != "primary_pole"])
    theirs = np.array([mode.rate_rad_s for mode in free_modes(orbit)])
    assert len(ours) == 5
    distance = np.abs(theirs[None, :] / ours[:, None] - 1.0)
    assert np.all(distance.min(axis=1) < 1e-8)
    rest = np.delete(theirs, distance.argmin(axis=1))
    assert np.abs(rest / found.rate_rad_s - 1.0).min() < 1e-10
    (nod,) = (mode.rate_rad_s for mode in found.modes if mode.name == "primary_pole")
    turn = math.remainder(nod * orbit.turn_s, 2.0 * math.pi)
    assert np.abs(rest - abs(turn) / orbit.turn_s).min() < 1e-7 * nod


def test_averaging_the_primary_moves_the_modes_by_the_square_of_its_elongation():
    """The response that the average leaves out is of second order: four times smaller for half the elongation."""
    moonlet, errors = Ellipsoid((95.0, 78.0, 66.0), 2100.0), []
    for half in (8.0, 4.0):
        primary = Ellipsoid((330.0 + half, 330.0 - half, 270.0), 2100.0)
        modes = {mode.name: mode.rate_rad_s for mode in free_modes(relaxed(primary, moonlet))}
        (found, *_) = relative_equilibria(primary, moonlet, 1000.0, primary_spin_rad_s=SPIN_RAD_S)
        errors.append(modes["libration"] / found.mode("libration").rate_rad_s - 1.0)
    assert 1e-7 < abs(errors[0]) < 1e-3
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.1)


# ---- bodies of any shape ----


def test_bodies_of_any_shape_stand_still():
    """Force and torques from the gravity of the package, the equations written out: F = -m n^2 r, tau = w x H.

    Only components in the plane for F; the equilibria lie beside the principal axes.
    """
    random = np.random.default_rng(12)
    pair = Cloud.random(random, size_m=150.0), Cloud.random(random, size_m=60.0)
    for facing in (("long", "long"), ("-long", "long"), ("long", "intermediate"), ("short", "-long")):
        found = relative_equilibrium(*pair, separation_m=900.0, facing=facing)
        n, C = found.rate_rad_s * np.array([0.0, 0.0, 1.0]), matrices(found.state)
        r = found.state.position_m
        pull = mutual_gravity(*pair, r, *C, degree=4)
        size = np.linalg.norm(pull.force_N)
        assert np.abs(pull.force_N - reduced_mass(*pair) * np.cross(n, np.cross(n, r))).max() < 1e-12 * size
        for body, own, torque in zip(pair, C, (pull.torque1_N_m, pull.torque2_N_m), strict=True):
            momentum = own @ (body.inertia_kg_m2 * (own.T @ n))
            assert np.abs(torque - np.cross(n, momentum)).max() < 1e-12 * n[2] * np.linalg.norm(momentum)
        assert abs(r[1]) < 1e-9 and 1e-3 < abs(r[2]) < 10.0
    names = {found.name for found in relative_equilibria(*pair, 900.0, primary_spin_rad_s=SPIN_RAD_S)}
    assert len(names) == 12 and "-long--short" in names


def test_an_averaged_body_is_the_mean_over_turns_about_z():
    """Against the mean over 16 turns of a cloud of points, exact for trigonometric polynomials to degree 15."""
    cloud = Cloud.random(np.random.default_rng(5))
    mean = Averaged(cloud)
    turns = [Rotation.from_rotvec([0.0, 0.0, 2.0 * math.pi * k / 16]).as_matrix() for k in range(16)]
    turned = [Cloud(cloud.points_m @ turn.T, cloud.masses_kg) for turn in turns]
    for p in [
        (2, 0, 0),
        (0, 2, 1),
        (2, 2, 0),
        (4, 0, 2),
        (0, 6, 1),
        (2, 4, 2),
        (1, 0, 2),
        (1, 1, 1),
        (0, 0, 3),
        (3, 1, 0),
    ]:
        size = cloud.mass_kg * cloud.bounding_radius_m ** sum(p)
        assert abs(mean.moment(*p) - np.mean([body.moment(*p) for body in turned])) < 1e-15 * size
    assert mean.inertia_kg_m2[0] == mean.inertia_kg_m2[1] == pytest.approx(np.mean(cloud.inertia_kg_m2[:2]))
    assert round_axes(mean) == (2,) and round_axes(cloud) == ()


@pytest.mark.parametrize(
    ("axes", "expected"),
    [((3.0, 3.0, 3.0), (0, 1, 2)), ((3.0, 3.0, 2.0), (2,)), ((3.0, 2.0, 2.0), (0,)), ((3.0, 2.5, 2.0), ())],
)
def test_axes_about_which_a_body_is_round(axes, expected):
    assert round_axes(Ellipsoid(axes, 2000.0)) == expected


def test_a_moonlet_that_is_round_about_its_long_axis_has_one_motion_less():
    """Its turn about that axis is felt by nothing: twelve eigenvalues instead of fourteen, none of them near zero."""
    found = relative_equilibrium(LONG_PAIR[0], Ellipsoid((200.0, 130.0, 130.0), 2000.0), separation_m=1300.0)
    assert len(found.eigenvalues_rad_s) == 12 and found.stable
    assert np.abs(found.eigenvalues_rad_s).min() > 0.05 * found.rate_rad_s


# ---- what is refused ----


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({}, "one of the two"),
        ({"separation_m": 900.0, "rate_rad_s": 1e-4}, "one of the two"),
        ({"separation_m": 900.0, "facing": ("long", "broad")}, "broad"),
        ({"separation_m": 900.0, "spins_rad_s": (1e-4, None)}, "round about z"),
        ({"separation_m": 900.0, "degree": 3}, "degree: 3 is given"),
    ],
)
def test_wrong_arguments_are_refused(arguments, says):
    with pytest.raises(ValueError, match=says):
        relative_equilibrium(*LONG_PAIR, **arguments)


@pytest.mark.parametrize(
    ("facing", "says"), [(("intermediate", "long"), "no relative equilibrium"), (("long", "long"), "over 45 deg")]
)
def test_where_nothing_stands_still_it_says_so(facing, says):
    """Clouds whose arms are longer than the distance; for one arrangement the search ends in another one."""
    random = np.random.default_rng(12)
    pair = Cloud.random(random, size_m=150.0), Cloud.random(random, size_m=60.0)
    with pytest.raises(ConvergenceError, match=says) as caught:
        relative_equilibrium(*pair, separation_m=60.0, facing=facing)
    assert caught.value.steps > 1 and (caught.value.residual > 1e-12) == says.startswith("no")


def test_says_where_the_series_need_not_converge():
    assert not relative_equilibrium(*SPHERES, separation_m=499.0).converged
    assert relative_equilibrium(*SPHERES, separation_m=501.0).converged
