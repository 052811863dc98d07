"""Hits of the primary: its own push and spin, the orbit's opposite, books, words, and what does not take them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import binarydyn as bd
from binarydyn.constants import HOUR_S
from binarydyn.errors import InputError
from binarydyn.impact import ImpactSpec, beta_table, impact_budget, impact_on, orbit_axes
from binarydyn.prediction import predict
from binarydyn.relaxed import build
from binarydyn.scenario import Boulder, Direction, Impactor, MassExchange, MomentumTransfer, example

PAIR = build(example())
SHORT = {"simulation.days_before": 4.0, "simulation.days_after": 4.0}


def struck(direction=None, beta=2.0, exchange=None, boulders=(), system=PAIR, **aim):
    impactor = Impactor(target="primary", mass_kg=5e5, speed_km_s=6.0,
                        direction=Direction(**(direction or {"along_track": -1.0})), **aim)  # fmt: skip
    transfer = MomentumTransfer(beta=beta, ejecta_tilt_deg=10.0)
    return impact_on(system, ImpactSpec(impactor, transfer, boulders=boulders, mass_exchange=exchange))


def matrix(attitude) -> np.ndarray:
    return Rotation.from_quat(np.roll(attitude, -1)).as_matrix()


def totals(system, state) -> np.ndarray:
    """(10,) mass, mass times place, momentum, angular momentum, with the first body at the origin at rest."""
    out = np.zeros(10)
    sides = (system.primary, 0.0 * state.position_m, 0.0 * state.velocity_m_s, state.attitude1, state.rate1_rad_s), (
        system.secondary, state.position_m, state.velocity_m_s, state.attitude2, state.rate2_rad_s)  # fmt: skip
    for body, place, speed, attitude, rate in sides:
        out += particle(body.mass_kg, place, speed)
        out[7:] += matrix(attitude) @ (body.inertia_kg_m2 * rate)
    return out


def particle(mass, place, speed) -> np.ndarray:
    return np.concatenate([[mass], mass * place, mass * speed, np.cross(place, mass * speed)])


def moved(sums, place, speed) -> np.ndarray:
    """The same sums with the origin, at rest so far, at a place and a speed."""
    mass, first, momentum, spin = sums[0], sums[1:4], sums[4:7], sums[7:]
    turned = spin + np.cross(place, momentum) + np.cross(first, speed) + mass * np.cross(place, speed)
    return np.concatenate([[mass], first + mass * place, momentum + mass * speed, turned])


def test_momentum_and_spin_go_into_the_primary():
    """dv1 = J/M1 and I1 dw1 = l x J in its frame; r' changes by -dv1, the secondary by nothing (Newton)."""
    impact, state = struck(aim_offset_m=(60.0, -40.0)), PAIR.state
    received = impact.brought_kg_m_s - impact.released.momentum_kg_m_s
    assert impact.state.velocity_m_s - state.velocity_m_s == pytest.approx(-received / PAIR.primary.mass_kg, rel=1e-9)
    torque = np.cross(impact.site.point_m, matrix(state.attitude1).T @ received)
    change = impact.state.rate1_rad_s - state.rate1_rad_s
    assert change == pytest.approx(torque / PAIR.primary.inertia_kg_m2, rel=1e-9, abs=1e-18)
    assert np.array_equal(impact.state.rate2_rad_s, state.rate2_rad_s)
    assert np.array_equal(impact.state.position_m, state.position_m)
    along = orbit_axes(state) @ impact.dv_m_s
    assert 1e3 * along == pytest.approx(
        [impact.dv_along_track_mm_s, impact.dv_radial_mm_s, impact.dv_normal_mm_s], rel=1e-12
    )
    assert impact.dv_along_track_mm_s > 0.0  # pushed back along the track: the secondary runs ahead of it
    shape = np.square(PAIR.primary.semi_axes_m)
    assert np.sum(np.square(impact.site.point_m) / shape) == pytest.approx(1.0, rel=1e-12)
    net = [row.value for row in beta_table(impact, state) if row.name == "along_track"]
    assert net == pytest.approx([received @ -orbit_axes(state)[0] / np.linalg.norm(impact.brought_kg_m_s)], rel=1e-10)


def test_books_close_with_masses_and_boulders():
    """Mass, centre, momentum and angular momentum before against bodies, ejecta and boulders after; budget and audit.

    The primary after the hit is at -M1's shift and has the speed that closes the momentum: one origin for both sides.
    """
    random = np.random.default_rng(12)
    for _ in range(20):
        rock = Boulder(mass_kg=3e6, speed_m_s=9.0, direction=Direction(inertial=tuple(random.normal(size=3))))
        state = PAIR.state.tilted("primary", roll_deg=7.0, pitch_deg=-11.0, yaw_deg=random.uniform(0, 360))
        system = PAIR.with_state(replace(state, rate1_rad_s=state.rate1_rad_s + random.normal(0, 1e-4, 3)))
        state, exchange = system.state, MassExchange(ejecta_kg=4e8)
        impact = struck(exchange=exchange, boulders=(rock,), system=system, aim_offset_m=(50.0, 20.0))
        site = matrix(state.attitude1) @ impact.site.point_m
        ground = matrix(state.attitude1) @ np.cross(state.rate1_rad_s, impact.site.point_m)
        before = totals(system, state) + particle(5e5, site, 6000.0 * -orbit_axes(state)[0])
        after = totals(impact.system, impact.state)
        # The secondary keeps its place and speed, which tells where the primary's centre is and how it moves.
        after = moved(after, state.position_m - impact.state.position_m, state.velocity_m_s - impact.state.velocity_m_s)
        after += particle(4e8, site, ground + impact.released.momentum_kg_m_s / 4e8)
        after += particle(3e6, site, 9.0 * np.array(rock.direction.unit))
        sizes = [np.linalg.norm(before[at]) for at in (slice(0, 1), slice(1, 4), slice(4, 7), slice(7, 10))]
        assert np.abs((after - before) / np.repeat(sizes, [1, 3, 3, 3])).max() < 1e-12
        audit = impact.audit
        assert max(audit.linear_residual, audit.angular_residual, audit.energy_residual, audit.pair_residual) < 1e-12
    budget = impact_budget(system, state, impact)
    assert budget.energy_residual < 1e-13 and budget.angular_residual < 1e-13
    spin = 0.5 * state.rate1_rad_s @ (PAIR.primary.inertia_kg_m2 * state.rate1_rad_s)
    assert budget.energy_J[0, 1] == pytest.approx(spin, rel=1e-14)


def test_the_period_changes_as_by_the_opposite_push():
    """Against the same change of r' given as such: all but what the spin does, to 0.05 s; the spin by dP = -P dw/w."""
    scenario = example().replace(
        SHORT | {"impactor.target": "primary", "impactor.mass_kg": 5e3, "impactor.aim_offset_m": [100.0, 0.0]}
    )
    found = predict(scenario)
    numbers, impact = found.numbers(), found.impact
    push = dict(zip(("along_track_mm_s", "radial_mm_s", "normal_mm_s"),
                    1e3 * orbit_axes(found.start.system.state) @ impact.dv_m_s, strict=True))  # fmt: skip
    plain = example().replace(SHORT | {"impactor": None, "momentum_transfer": None, "velocity_change": push})
    assert numbers["period_change_s"] > 10.0
    assert numbers["period_change_s"] == pytest.approx(predict(plain).period_change_s, abs=0.05)
    rate = 2.0 * np.pi / (2.03 * HOUR_S)
    change = -2.03 * HOUR_S * impact.spin_change_rad_s[2] / rate
    assert numbers["primary_spin_period_change_s"] == pytest.approx(change, rel=1e-3)
    assert any("of the primary's gravity at the site" in said for said in found.warnings)
    row = bd.sweep(scenario, {"impactor.mass_kg": [5e3]}, table="summary").df.iloc[0]
    assert row.period_change_s == pytest.approx(numbers["period_change_s"], abs=0.05)


def test_words_and_refusals(tmp_path):
    """A miss names the body that is missed; what takes hits of the secondary alone says so."""
    miss = struck(aim_offset_m=(900.0, 0.0))
    assert miss.status == "miss" and "passes the primary's centre" in miss.reason
    assert miss.state is PAIR.state and miss.system.primary is PAIR.primary
    behind = struck(direction={"radial": -1.0})
    assert behind.status == "miss" and "meets the secondary before the primary" in behind.reason
    scenario = example().replace({"impactor.target": "primary"})
    with pytest.raises(InputError, match="for the secondary alone"):
        bd.infer(scenario, -10.0, 1.0, count=100)
    with pytest.raises(InputError, match="secondary or primary"):
        example().replace({"impactor.target": "moon"})
