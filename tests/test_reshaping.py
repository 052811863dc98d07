"""New shapes at the impact: what is kept, what the period does, shares, the books, out-of-plane motion."""

from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.dynamics import State, System, simulate
from binarydyn.errors import InputError
from binarydyn.impact import first_order_change, hit, impact_budget, impact_on, reshaped
from binarydyn.impact.reshaping import reshaped_body
from binarydyn.observables import attitude
from binarydyn.observables.frequency import lines
from binarydyn.prediction import predict
from binarydyn.relaxed import build
from binarydyn.scenario import Reshaping, Scenario, varied
from binarydyn.store import open_result, write_prediction
from binarydyn.validation.solve_for import beta_for_change, primary_flattening_s, ratio_for_reshaping
from binarydyn.validation.validate import compared

# The 2022 pair with its later, longer secondary: Naidu et al. 2024, PSJ 5, 74, and Daly et al. 2023, Nature 616, 443.
OLD, NEW = (88.5, 87.0, 58.0), (97.57, 75.05, 60.98)
DATA = {
    "primary": {"semi_axes_m": [425.5, 424.5, 310.0], "density_kg_m3": 2400.0, "spin_period_h": 2.26},
    "secondary": {"semi_axes_m": list(OLD), "density_kg_m3": 2400.0},
    "mutual_orbit": {"separation_m": 1189.0, "period_h": 11.921493},
}
SHAPE = {"reshaping": {"secondary_semi_axes_m": list(NEW)}}


def scenario(*tables: dict) -> Scenario:
    data = dict(DATA)
    for table in tables:
        data |= table
    return Scenario.from_dict(data, "test")


def velocity_change(along_track=0.0, radial=0.0, normal=0.0) -> dict:
    return {"velocity_change": {"along_track_mm_s": along_track, "radial_mm_s": radial, "normal_mm_s": normal}}


@cache
def pair() -> System:
    return build(scenario())


@cache
def alone():
    return predict(scenario(SHAPE))


# What is kept ----------------------------------------------------------------------------------------------------


def test_mass_volume_spins_and_motion_are_kept():
    """Any attitude and spin: L = I w in the body frame is the same, w is not; nothing moves or turns at t0."""
    random = np.random.default_rng(3)
    one, two = (np.roll(turn.as_quat(), 1) for turn in Rotation.random(2, rng=random))
    state = State(
        np.array([1100.0, 200.0, -90.0]), np.array([0.01, 0.17, 0.02]), one, np.array([1e-5, 2e-5, 8e-4]), two,
        np.array([3e-5, -2e-5, 1.4e-4]),
    )  # fmt: skip
    new = reshaped(pair(), state, Reshaping(primary_semi_axes_m=(430, 420, 309), secondary_semi_axes_m=NEW))
    for name, rate in (("primary", "rate1_rad_s"), ("secondary", "rate2_rad_s")):
        old_body, new_body = getattr(pair(), name), getattr(new.system, name)
        assert new_body.mass_kg == pytest.approx(old_body.mass_kg, rel=1e-14)
        assert new_body.volume_m3 == pytest.approx(old_body.volume_m3, rel=1e-14)
        old_spin, new_spin = (b.inertia_kg_m2 * getattr(s, rate) for b, s in ((old_body, state), (new_body, new.state)))
        assert new_spin == pytest.approx(old_spin, rel=1e-14)
        assert np.abs(getattr(new.state, rate) / getattr(state, rate) - 1.0).min() > 1e-3
    for name in ("position_m", "velocity_m_s", "attitude1", "attitude2"):
        assert np.array_equal(getattr(new.state, name), getattr(state, name))
    assert new.system.secondary.semi_axes_m == pytest.approx(np.array(NEW) * (np.prod(OLD) / np.prod(NEW)) ** (1 / 3))


def test_axes_as_given_change_the_density():
    body = reshaped_body(pair().secondary, (100.0, 90.0, 70.0), "as_given")
    assert body.semi_axes_m == (100.0, 90.0, 70.0)
    ratio = np.prod(OLD) / (100.0 * 90.0 * 70.0)
    assert body.density_kg_m3 == pytest.approx(pair().secondary.density_kg_m3 * ratio, rel=1e-14)


def test_a_mesh_becomes_an_ellipsoid_of_its_volume_and_mass():
    corners = np.array([[x, y, z] for x in (-80.0, 80.0) for y in (-70.0, 70.0) for z in (-50.0, 50.0)])
    facets = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6]]
    mesh = Mesh(corners, [*facets, [0, 6, 4], [1, 5, 7], [1, 7, 3]], 2000.0)
    body = reshaped_body(mesh, (9.0, 8.0, 5.0))
    assert isinstance(body, Ellipsoid)
    assert body.volume_m3 == pytest.approx(160.0 * 140.0 * 100.0, rel=1e-12)
    assert body.mass_kg == pytest.approx(mesh.mass_kg, rel=1e-12)
    changed = reshaped(System(pair().primary, mesh, pair().state), pair().state, Reshaping(secondary_semi_axes_m=NEW))
    assert "no homogeneous ellipsoid" in changed.warnings[0]


def test_the_shapes_of_before_change_nothing():
    """Not even a bit of the run: the period change is that of the velocity change alone, and the share of the shape is
    zero."""
    same = {"reshaping": {"secondary_semi_axes_m": list(OLD)}}
    with_table, without = (predict(scenario(velocity_change(-1.0), *more)) for more in ((same,), ()))
    assert with_table.period_change_s == without.period_change_s
    assert with_table.numbers()["period_change_reshaping_s"] == pytest.approx(0.0, abs=1e-6)
    assert without.shares is None


def test_a_miss_changes_no_shape():
    miss = {"impactor": {"mass_kg": 500.0, "speed_km_s": 6.0, "direction": {"along_track": -1.0}}}
    miss["impactor"]["aim_offset_m"] = [500.0, 0.0]
    result = predict(scenario(miss, SHAPE))
    assert result.status == "miss" and result.shares is None and result.impact.system is result.start.system


def test_the_system_of_a_prediction_awaits_its_own_impact():
    """Also where the run before is shared with another scenario: hit gives the state that was predicted."""
    for along_track in (-1.0, -2.0):
        result = predict(scenario(velocity_change(along_track), SHAPE))
        system = hit(result.start.system)
        assert np.array_equal(system.state.vector, result.impact.state.vector)
        assert system.secondary == result.impact.system.secondary != result.start.system.secondary


# The period ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "table",
    [
        {"secondary_semi_axes_m": [90.5, 85.0, 58.0]},
        {"secondary_semi_axes_m": [94.0, 78.4, 61.0]},
        {"secondary_semi_axes_m": list(NEW)},
        {"secondary_semi_axes_m": [88.0, 87.5, 60.0]},
        {"primary_semi_axes_m": [425.5, 424.5, 300.0]},
        {"primary_semi_axes_m": [425.5, 424.5, 311.0], "secondary_semi_axes_m": [94.0, 78.4, 61.0]},
        {"secondary_semi_axes_m": [88.0, 87.5, 59.0], "volume": "as_given"},
    ],
)
def test_reshaping_alone_moves_the_period_as_the_circular_orbit_does(table):
    """The closed form of reshaping.py (pull of Murray & Dermott 1999, ch. 6) at degree 2, for which it is
    made; it is first order, so it is left with the square of k = 3/2 J2 (R/a)^2 = 1.8 %.  Degree 4 adds up to a tenth.
    """
    degree_2, degree_4 = (predict(scenario({"reshaping": table, "simulation": {"degree": n}})) for n in (2, 4))
    begun = degree_2.start
    closed = first_order_change(begun.system, degree_2.impact.system, begun.separation_m) * begun.period_h * 3600.0
    assert abs(closed) > 5.0
    assert degree_2.period_change_s == pytest.approx(closed, rel=0.018)
    assert 1.0 < degree_4.period_change_s / degree_2.period_change_s < 1.1
    assert degree_2.status == "completed" and degree_2.impact.status == "reshaped"
    assert degree_2.numbers()["period_change_reshaping_s"] == degree_2.period_change_s


def test_a_longer_moonlet_shortens_the_period():
    """Nakano et al. 2024, PSJ 5, 133, doi 10.3847/psj/ad4350: reshaping has a part of a change that is negative."""
    assert alone().period_change_s < -50.0
    assert alone().numbers()["period_change_dv_s"] == alone().numbers()["period_change_interaction_s"] == 0.0


# Shares ----------------------------------------------------------------------------------------------------------


def changes(*tables: dict, **keys: float) -> list[float]:
    """total, reshaping, velocity change, interaction; keys with `__` for the dot."""
    asked = varied(scenario(*tables), {name.replace("__", "."): value for name, value in keys.items()})
    numbers = predict(asked).numbers()
    return [numbers[f"period_change_{name}s"] for name in ("", "reshaping_", "dv_", "interaction_")]


MILD = {"reshaping": {"secondary_semi_axes_m": [94.0, 78.4, 61.0]}}


def test_shares_are_what_they_are_defined_as():
    """Each from predictions of its own: reshaping alone, and the velocity change alone at the old shape."""
    total, reshaping, pushed, remainder = changes(MILD, velocity_change(-2.63))
    shape_alone, push_alone = changes(MILD)[0], predict(scenario(velocity_change(-2.63))).period_change_s
    assert reshaping == pytest.approx(shape_alone, abs=1e-6)
    assert pushed == pytest.approx(total - shape_alone, abs=1e-6)
    assert remainder == pytest.approx(total - shape_alone - push_alone, abs=1e-6)
    assert abs(remainder) > 0.5  # they do not add


@pytest.mark.parametrize("tables", [(SHAPE,), (MILD, velocity_change(-2.63))])
def test_shares_repeat_to_a_tenth_of_a_second(tables):
    """Whatever the phase of the primary and the length of the windows."""
    first = changes(*tables)
    for keys in (
        {"primary__rotation_phase_deg": 47.0},
        {"primary__rotation_phase_deg": 90.0},
        {"simulation__days_before": 30.0, "simulation__days_after": 30.0},
        {"simulation__days_before": 100.0, "simulation__days_after": 100.0},
    ):
        data = {"simulation": {"days_before": 60.0, "days_after": 60.0}}
        again = changes(*tables, data, **keys)
        assert np.abs(np.subtract(again, first)).max() < 0.1


# Backwards -------------------------------------------------------------------------------------------------------


def test_the_shape_that_gives_a_share_gives_it():
    asked = scenario(SHAPE)
    ratio = ratio_for_reshaping(asked, -60.0)
    a = (np.prod(OLD) * 1.3 * ratio) ** (1.0 / 3.0)
    table = {"secondary_semi_axes_m": [a, a * NEW[1] / NEW[0], a / ratio], "volume": "kept"}
    assert predict(scenario({"reshaping": table})).period_change_s == pytest.approx(-60.0, abs=0.02)


def test_a_flatter_primary_is_the_reshaping_of_it():
    a, b, c = DATA["primary"]["semi_axes_m"]
    table = {"primary_semi_axes_m": [a, b, (c - 2.0) * ((c - 2.0) / c) ** 0.5]}  # scaled to the volume: c - 2 at last
    alone_s = predict(scenario({"reshaping": table})).period_change_s
    assert (
        primary_flattening_s(scenario(velocity_change(-1.0)), 2.0) == pytest.approx(alone_s, abs=1e-6)
        and alone_s < -20.0
    )


def test_the_beta_that_gives_a_change_gives_it():
    asked = scenario(HIT)
    beta = beta_for_change(asked, -1500.0)
    assert predict(varied(asked, {"momentum_transfer.beta": beta})).period_change_s == pytest.approx(-1500.0, abs=1e-3)
    with pytest.raises(InputError, match="an impactor"):
        beta_for_change(scenario(velocity_change(-1.0)), -1500.0)


def test_a_row_that_needs_a_new_shape_says_so():
    row = {"expected": [{"quantity": "reshaping_at_ac_s", "given": 1.6}]}
    with pytest.raises(InputError, match="needs .reshaping."):
        compared(scenario(velocity_change(-1.0), row))


# The books -------------------------------------------------------------------------------------------------------

HIT = {
    "impactor": {
        "mass_kg": 580.0,
        "speed_km_s": 6.1,
        "direction": {"along_track": -0.9, "radial": 0.2, "normal": 0.4},
        "aim_offset_m": [20.0, -12.0],
    },
    "momentum_transfer": {"beta": 3.0},
}


def conserved(system: System, state: State) -> tuple[float, np.ndarray]:
    """Energy and angular momentum by the integrator's own kernel, which knows nothing of impacts."""
    from numba import njit

    from binarydyn.constants import G
    from binarydyn.gravity.models import model_number
    from binarydyn.motion.equations import conserved as kernel

    constants, coefficients = system.parameters
    number = model_number(system.degree, True)
    energy, *moment = njit(lambda w, c, k: kernel(number, w, 0, c, k))(state.vector, coefficients, constants)
    product = G * system.primary.mass_kg * system.secondary.mass_kg
    return energy * product, np.array(moment) * system.reduced_mass_kg


@pytest.mark.parametrize("tables", [(HIT,), (SHAPE,), (HIT, SHAPE), (velocity_change(-2.0, 0.5, 1.0), SHAPE)])
def test_the_budget_closes_and_agrees_with_the_integrator(tables):
    asked = scenario(*tables)
    system = pair()
    impact = impact_on(system, asked)
    budget = impact_budget(system, system.state, impact)
    assert budget.energy_residual < 1e-15 and budget.angular_residual < 1e-15
    (e0, h0), (e1, h1) = conserved(system, system.state), conserved(impact.system, impact.state)
    sums = budget.energy_J.sum(axis=1) - budget.energy_J[:, 4]  # the integrator leaves the barycentre out
    assert sums[0] == pytest.approx(e0, rel=1e-13) and sums[-1] == pytest.approx(e1, rel=1e-13)
    size = np.linalg.norm(h0)
    assert np.abs(budget.angular_momentum_kg_m2_s[0].sum(axis=0) - h0).max() < 1e-13 * size
    assert np.abs(budget.angular_momentum_kg_m2_s[-1].sum(axis=0) - h1).max() < 1e-13 * size
    assert np.abs(h1 - h0 - budget.brought_kg_m2_s).max() < 1e-13 * size
    gained = budget.brought_J + budget.shapes_J - budget.energy_J[-1, 4]
    assert e1 - e0 == pytest.approx(gained, abs=1e-13 * abs(budget.energy_J[0]).sum())


def test_new_shapes_deepen_the_potential_as_their_quadrupole_says():
    """dU = -G M1 M2 dK/(2 a^3), K = (Ix' + Iy' + Iz' - 3 Ix')/M2 with the long axis on r: MacCullagh's formula
    (Murray & Dermott 1999, ch. 5); J2 J2' of degree 4, 5 J2 (R/a)^2 = 6 %, is left out."""
    new = alone().impact.reshaped
    begun = alone().start.system

    def maccullagh(body):
        return (body.inertia_kg_m2.sum() - 3.0 * body.inertia_kg_m2[0]) / body.mass_kg

    change = maccullagh(new.system.secondary) - maccullagh(begun.secondary)
    r = np.linalg.norm(begun.state.position_m)
    expected = -begun.gm_m3_s2 * begun.reduced_mass_kg * change / (2.0 * r**3)
    assert new.potential_change_J == pytest.approx(expected, rel=0.1)
    spin = begun.secondary.inertia_kg_m2[2] * begun.state.rate2_rad_s[2]
    moments = [body.inertia_kg_m2[2] for body in (begun.secondary, new.system.secondary)]
    assert new.rotational_change_J == pytest.approx(0.5 * spin**2 * (1 / moments[1] - 1 / moments[0]), rel=1e-9)
    assert new.angular_residual < 1e-15


# Out of the plane ------------------------------------------------------------------------------------------------


def spheres() -> Scenario:
    data = {
        "primary": {"semi_axes_m": [400.0] * 3, "density_kg_m3": 2400.0, "spin_period_h": 2.26},
        "secondary": {"semi_axes_m": [80.0] * 3, "density_kg_m3": 2400.0},
    }
    return scenario(data, velocity_change(-1.0, 0.0, 2.6))


def test_a_push_along_the_normal_tilts_the_orbit_by_its_share_of_the_speed():
    """Two spheres keep their plane: tan i = dv_n / (v + dv_t), to rounding; then nothing precesses."""
    result = predict(spheres())
    speed = float(np.linalg.norm(result.start.system.state.velocity_m_s))
    tilt = np.degrees(np.arctan2(2.6e-3, speed - 1e-3))
    numbers = result.numbers()
    assert numbers["orbit_plane_change_deg"] == pytest.approx(tilt, rel=1e-9)
    after = result.budget().angular_momentum_kg_m2_s[-1]
    normal, total = after[0] / np.linalg.norm(after[0]), after.sum(axis=0)
    apart = np.degrees(np.arccos(normal @ total / np.linalg.norm(total)))
    assert numbers["inclination_after_deg"] == pytest.approx(apart, rel=1e-6)
    assert abs(numbers["nodal_precession_after_deg_day"]) < 1e-9


@pytest.mark.parametrize("spin_h", [2.26, 40.0])
def test_the_tilted_orbit_and_the_primary_turn_about_their_common_angular_momentum(spin_h):
    """Orbit L and spin S of an oblate primary, i apart, both turn about H = L + S at -3/2 n (J2 R^2/a^2) cos i |H|/|S|:
    l' = -w cos i (s x l) with s = (H - L)/|S| (first order in J2; the torque of the averaged quadrupole, Goldstein
    1980, ch. 5).  At a spin of 40 h the orbit holds more than the primary and |H|/|S| is 1.6.  Left out: J4,
    relative -5/2 (J4/J2) (R/a)^2 = 75/14 J2 (R/a)^2 = 0.6 %, and the square of J2 (R/a)^2."""
    data = {
        "primary": {"semi_axes_m": [400.0, 400.0, 390.0], "density_kg_m3": 2400.0, "spin_period_h": spin_h},
        "secondary": {"semi_axes_m": [80.0] * 3, "density_kg_m3": 2400.0},
        "simulation": {"days_before": 10.0, "days_after": 120.0},
    }
    run = predict(scenario(data, velocity_change(0.0, 0.0, 6.0))).after
    system = run.system
    orbits = system.reduced_mass_kg * np.cross(run.position_m, run.velocity_m_s)
    spins = [
        Rotation.from_quat(np.roll(q, -1)).apply(system.primary.inertia_kg_m2 * w)
        for q, w in zip(run.attitude1[::30], run.rate1_rad_s[::30], strict=True)
    ]
    total = orbits[0] + spins[0]
    pole = total / np.linalg.norm(total)
    x = np.cross(pole, [0.0, 1.0, 0.0])
    x /= np.linalg.norm(x)
    y = np.cross(pole, x)
    tilt = np.arccos(orbits[0] @ spins[0] / np.linalg.norm(orbits[0]) / np.linalg.norm(spins[0]))
    a = float(np.mean(np.linalg.norm(run.position_m, axis=1)))
    mean_motion = np.sqrt(system.gm_m3_s2 / a**3)
    share = np.linalg.norm(total) / np.linalg.norm(spins[0])
    expected = -1.5 * mean_motion * system.oblateness_m2 / a**2 * np.cos(tilt) * share
    for vectors in (orbits[::30], np.array(spins)):
        angle = np.unwrap(np.arctan2(vectors @ y, vectors @ x))
        assert np.polyfit(run.time_s[::30], angle, 1)[0] == pytest.approx(expected, rel=0.006)
    assert share > 1.6 if spin_h > 10.0 else share < 1.04


def test_a_push_along_the_normal_rolls_the_moonlet_by_the_tilt_of_the_orbit():
    """The orbit turns about r by e = atan(dv_n/v), the secondary does not: seen from the orbiting frame, whose x points
    inward, it has rolled by +e and neither pitched nor yawed."""
    for normal in (2.0, -2.0):
        asked = scenario(velocity_change(0.0, 0.0, normal))
        impact = impact_on(pair(), asked)
        history = attitude(simulate(pair(), 1.0, state=impact.state))
        speed = float(np.linalg.norm(pair().state.velocity_m_s))
        assert history.roll_deg[0] == pytest.approx(np.degrees(np.arctan2(1e-3 * normal, speed)), rel=1e-6)
        assert abs(history.pitch_deg[0]) < 1e-9 and abs(history.yaw_deg[0]) < 1e-9


def test_a_small_roll_swings_with_the_modes_of_the_relaxed_state():
    """The lines of the roll after a velocity change along the normal are the modes of the linearised return map, which
    knows nothing of pushes; relative difference of the order of the tilt's square, 1e-7."""
    long = {"secondary": {"semi_axes_m": list(NEW), "density_kg_m3": 2400.0}, "simulation": {"days_after": 120.0}}
    result = predict(scenario(long, velocity_change(0.0, 0.0, 0.05)))
    history, modes = result.after.attitude, result.start.modes
    even = len(history.time_s) // 2 * 2
    found = sorted(
        2.0 * np.pi / 3600.0 / line.rate_rad_s for line in lines(history.time_s[:even], history.roll_deg[:even], 2)
    )
    expected = [mode.period_h for mode in modes if mode.name == "secondary_roll_pitch"]
    assert found == pytest.approx([min(expected), max(expected)], rel=1e-6)


# Kept in a file --------------------------------------------------------------------------------------------------


def test_a_stored_run_has_the_bodies_that_it_had(tmp_path):
    result = predict(scenario(SHAPE, {"simulation": {"days_before": 5.0, "days_after": 5.0}}))
    write_prediction(tmp_path / "new.h5", result)
    stored = open_result(tmp_path / "new.h5")
    for run, system in ((stored.before, result.start.system), (stored.after, result.impact.system)):
        for name in ("primary", "secondary"):
            ours, theirs = getattr(run.system, name), getattr(system, name)
            assert np.array_equal(ours.inertia_kg_m2, theirs.inertia_kg_m2)
            assert np.array_equal(ours.enclosing_axes_m, theirs.enclosing_axes_m)
    assert stored.numbers["period_change_reshaping_s"] == result.shares.reshaping_s
