"""Boulders thrown off at the site: recoil, torque, books, what falls back, and the tilt of the orbit."""

import numpy as np
import pytest
from invented import PLACELESS
from scipy.spatial.transform import Rotation

from binarydyn.constants import G
from binarydyn.errors import InputError
from binarydyn.impact import ImpactSpec, impact_budget, impact_on, orbit_axes
from binarydyn.prediction import predict
from binarydyn.relaxed import build
from binarydyn.scenario import Boulder, Direction, MutualOrbit, Scenario, example, varied

PAIR = build(example())
HEAD_ON = {"mass_kg": 500.0, "speed_km_s": 6.0, "direction": {"along_track": -1.0}}


def boulder(mass_kg: float, speed_m_s: float, **direction) -> Boulder:
    return Boulder(mass_kg=mass_kg, speed_m_s=speed_m_s, direction=Direction(**direction))


def hit(*boulders: Boulder, beta: float = 2.0, system=PAIR, **aim):
    spec = ImpactSpec.of(example(), boulders=boulders)
    changed = {"impactor": spec.impactor.model_copy(update={"direction": Direction(along_track=-1.0)} | aim)}
    changed["momentum_transfer"] = spec.momentum_transfer.model_copy(update={"beta": beta})
    return impact_on(system, ImpactSpec.of(example(), boulders=boulders, **changed))


def test_the_recoil_is_minus_the_momentum_over_the_mass():
    """M2 dv = -m u for each; along the normal of the orbit for a boulder that flies along it."""
    plain, more = hit(), hit(boulder(2e5, 12.0, normal=1.0), boulder(1e5, 9.0, radial=3.0, normal=4.0))
    recoil = (more.dv_m_s - plain.dv_m_s) @ orbit_axes(PAIR.state).T * PAIR.secondary.mass_kg
    assert recoil == pytest.approx([0.0, -0.6 * 9e5, -2.4e6 - 0.8 * 9e5], rel=1e-9, abs=1e-3)
    moved = more.state.velocity_m_s - plain.state.velocity_m_s
    assert moved == pytest.approx(more.dv_m_s - plain.dv_m_s, abs=1e-16)
    assert more.released.momentum_kg_m_s == pytest.approx(plain.released.momentum_kg_m_s)  # beta is of the ejecta


def test_the_recoil_turns_the_moonlet_about_the_site():
    """I dw = l x (-m u), in the body frame; none for a boulder along the line from the centre to the site."""
    thrown = boulder(2e5, 12.0, along_track=0.4, normal=1.0)
    plain, more = hit(aim_offset_m=(15.0, 9.0)), hit(thrown, aim_offset_m=(15.0, 9.0))
    to_body = Rotation.from_quat(np.roll(PAIR.state.attitude2, -1)).inv()
    carried = 2.4e6 * np.array([0.4, 0.0, 1.0]) / np.hypot(0.4, 1.0) @ orbit_axes(PAIR.state)
    expected = np.cross(more.site.point_m, -to_body.apply(carried)) / PAIR.secondary.inertia_kg_m2
    assert more.spin_change_rad_s - plain.spin_change_rad_s == pytest.approx(expected, rel=1e-9, abs=1e-18)
    central = np.array(more.site.point_m) @ to_body.as_matrix()  # body -> inertial
    straight = Boulder(mass_kg=2e5, speed_m_s=12.0, direction=Direction(inertial=tuple(central)))
    turned = hit(straight, aim_offset_m=(15.0, 9.0)).spin_change_rad_s - plain.spin_change_rad_s
    assert np.abs(turned).max() < 1e-9 * np.abs(expected).max()


def test_the_books_hold_the_boulders():
    """A thousand random handfuls: the audit of the momenta and the budget close to rounding."""
    random = np.random.default_rng(5)
    for _ in range(1000):
        some = [
            boulder(10 ** random.uniform(2, 6), 10 ** random.uniform(-2, 2), inertial=tuple(random.normal(size=3)))
            for _ in range(random.integers(1, 5))
        ]
        impact = hit(*some, beta=random.uniform(1, 5), aim_offset_m=tuple(random.uniform(-20, 20, 2)))
        audit = impact.audit
        residuals = (audit.linear_residual, audit.pair_residual, audit.angular_residual, audit.energy_residual)
        assert max(residuals) < 1e-12
        away = impact.released.momentum_kg_m_s + impact.thrown.momentum_kg_m_s
        assert audit.ejecta_kg_m_s == pytest.approx(away, rel=1e-15)
        assert audit.received_kg_m_s == pytest.approx(audit.impactor_kg_m_s - away, rel=1e-6, abs=1.0)
    budget = impact_budget(PAIR, PAIR.state, impact)
    assert budget.energy_residual < 1e-15 and budget.angular_residual < 1e-15


def test_slow_boulders_stay_with_the_pair_or_fall_back():
    """v_esc^2 = 2 G M2/d of the secondary; out of its well and with the secondary's velocity added, w^2 = 2 G (M1 +
    M2)/r is the least that leaves the system, and sqrt(w^2 - that) what is left of it (textbook): ahead less is needed
    than behind."""
    site, state = hit().site, PAIR.state
    low = np.sqrt(2.0 * G * PAIR.secondary.mass_kg / np.linalg.norm(site.point_m))
    square = 2.0 * G * PAIR.mass_kg / np.linalg.norm(state.position_m)
    own = PAIR.primary.mass_kg / PAIR.mass_kg * state.velocity_m_s
    for side in (1.0, -1.0):
        along = side * own @ orbit_axes(state)[0]
        needed = np.sqrt(along**2 + square - own @ own) - along
        between, beyond = (hit(boulder(1e3, share * needed, along_track=side)) for share in (0.999, 1.001))
        assert not between.thrown.pair_momentum_kg_m_s.any() and beyond.thrown.pair_momentum_kg_m_s.any()
        assert np.linalg.norm(between.thrown.momentum_kg_m_s) == pytest.approx(999.0 * needed)
        fast = hit(boulder(1e3, 3.0, along_track=side)).thrown.pair_momentum_kg_m_s
        left = np.linalg.norm(own + 3.0 * side * orbit_axes(state)[0]) ** 2 - square
        assert np.linalg.norm(fast) == pytest.approx(1e3 * np.sqrt(left), rel=1e-9)
    above, below = (hit(boulder(1e3, share * low, along_track=1.0)) for share in (1.01, 0.99))
    assert not above.warnings and "falls back" in below.warnings[0]


def test_boulders_outside_validity_are_named():
    assert "below the ground" in hit(boulder(1e3, 10.0, along_track=-1.0)).warnings[0]
    heavy = hit(boulder(2e-3 * PAIR.secondary.mass_kg, 0.5, along_track=1.0))
    assert "the secondary's mass" in heavy.warnings[0]
    assert hit(boulder(1e3, 10.0, along_track=1.0)).warnings == ()


def test_no_boulders_without_a_site():
    missed = hit(boulder(1e5, 10.0, normal=1.0), aim_offset_m=(900.0, 0.0))
    assert missed.status == "miss" and missed.thrown is None and not missed.dv_m_s.any()
    skyward = boulder(1e3, 10.0, ecliptic_longitude_deg=10.0, ecliptic_latitude_deg=20.0)
    with pytest.raises(InputError, match="pole"):
        impact_on(PAIR, ImpactSpec.of(Scenario.from_text(PLACELESS), boulders=(skyward,)))
    orbit = MutualOrbit(separation_m=821.0, period_h=10.42, pole_longitude_deg=30.0, pole_latitude_deg=70.0)
    along_pole = boulder(1e3, 10.0, ecliptic_longitude_deg=30.0, ecliptic_latitude_deg=70.0)
    spec = ImpactSpec.of(example(), boulders=(along_pole,), mutual_orbit=orbit)
    carried = impact_on(PAIR, spec).thrown.momentum_kg_m_s
    assert carried == pytest.approx([0.0, 0.0, 1e4], abs=1e-8)


def test_boulders_need_an_impactor_and_can_be_varied():
    row = {"mass_kg": 4e5, "speed_m_s": 5.0, "direction": {"normal": -1.0}}
    pushed = example().to_dict()
    del pushed["impactor"], pushed["momentum_transfer"]
    with pytest.raises(InputError, match="whose site they leave"):
        Scenario.from_dict(pushed | {"velocity_change": {"along_track_mm_s": -1.0}, "boulders": [row]}, "test")
    asked = Scenario.from_dict(example().to_dict() | {"boulders": [row]}, "test")
    assert varied(asked, {"boulders.0.mass_kg": 7.0}).boulders[0].mass_kg == 7.0
    assert Scenario.from_text(varied(asked, {"boulders.0.mass_kg": 7.0}).text).boulders[0].mass_kg == 7.0


def test_boulders_tilt_the_orbit():
    """By atan(p_n / (M2 v)) about r.  Then the orbit turns about the total angular momentum, which the velocity change
    has tilted by its share L/H of that."""
    data = example().to_dict() | {"impactor": HEAD_ON, "momentum_transfer": {"beta": 1.0}}
    data |= {"boulders": [{"mass_kg": 4e5, "speed_m_s": 5.0, "direction": {"normal": -1.0}}]}
    result = predict(Scenario.from_dict(data, "test"))
    state, mass = result.start.system.state, result.start.system.secondary.mass_kg
    speed = np.linalg.norm(state.velocity_m_s) + 1e-3 * result.impact.dv_along_track_mm_s
    numbers = result.numbers()
    assert numbers["boulders_dv_mm_s"] == pytest.approx(1e3 * 2e6 / mass, rel=1e-12)
    assert numbers["normal_dv_mm_s"] == pytest.approx(1e3 * 2e6 / mass, rel=1e-9)
    tilt = np.degrees(np.arctan2(2e6 / mass, speed))
    orbit, spin = result.budget().angular_momentum_kg_m2_s[1][:2]
    share = np.linalg.norm(orbit) / np.linalg.norm(orbit + spin)
    assert numbers["orbit_plane_change_deg"] == pytest.approx(tilt, rel=1e-9)
    assert numbers["angular_momentum_tilt_deg"] == pytest.approx(share * tilt, rel=0.02)  # the secondary's spin: 0.3 %
    assert numbers["inclination_after_deg"] == pytest.approx((1.0 - share) * tilt, rel=0.02)


def test_boulders_heavier_than_the_moonlet_are_refused():
    with pytest.raises(InputError, match="times the secondary's mass"):
        hit(boulder(1.1 * PAIR.secondary.mass_kg, 1.0, normal=1.0))
