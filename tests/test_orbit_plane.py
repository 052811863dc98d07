"""How an impact turns the orbit's plane, and how that plane precesses about the total angular momentum afterwards."""

import json
import math

import numpy as np
import pytest
from scipy.integrate import quad

from binarydyn import build, predict, simulate
from binarydyn.batch.summary import summary_rows
from binarydyn.commands import main
from binarydyn.constants import DAY_S
from binarydyn.dynamics.angular_momentum import angular_momenta
from binarydyn.ensembles import rows_of
from binarydyn.impact import impact_on
from binarydyn.observables import orbit_shape
from binarydyn.prediction.outcomes import OUTCOMES
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario, example, varied
from binarydyn.validation.quantities import quantities

SPHEROID_M = (300.0, 300.0, 240.0)


def spheroid_and_sphere(spin_h: float = 2.5) -> Scenario:
    """A sphere 1000 m from a spheroid, pushed along the orbit's normal."""
    data = {
        "primary": {"semi_axes_m": list(SPHEROID_M), "density_kg_m3": 2400.0, "spin_period_h": spin_h},
        "secondary": {"semi_axes_m": [60.0] * 3, "density_kg_m3": 2400.0},
        "mutual_orbit": {"separation_m": 1000.0, "solve_for": "period"},
        "velocity_change": {"along_track_mm_s": 0.0, "radial_mm_s": 0.0, "normal_mm_s": 0.02},
        "simulation": {"days_before": 5.0},
    }
    return Scenario.from_dict(data, "test")


def rates_about_a_spheroid(a: float, c: float, gm: float, r: float) -> tuple[float, float]:
    """Mean motion and frequency across the plane, rad/s, of a circular orbit in the equator of a homogeneous spheroid.

    Chandrasekhar 1969, Ellipsoidal Figures of Equilibrium, ch. 3 (from memory): exact, by the integrals over u.
    """
    unit = gm / r**3
    a, c = a / r, c / r
    flat = quad(lambda u: (a * a + u) ** -2 * (c * c + u) ** -0.5, 1.0 - a * a, math.inf, epsabs=0.0, epsrel=1e-11)[0]
    high = quad(lambda u: (a * a + u) ** -1 * (c * c + u) ** -1.5, 1.0 - a * a, math.inf, epsabs=0.0, epsrel=1e-11)[0]
    return math.sqrt(1.5 * unit * flat), math.sqrt(1.5 * unit * high)


@pytest.mark.parametrize("spin_h", [2.5, -2.5])
def test_the_node_turns_as_in_the_exact_field_of_a_spheroid_times_what_the_orbit_adds(spin_h):
    """n - nu times H/S, the orbit L and the spin S of the primary both turning about H = L + S.

    H/S is 1 + L/S, or with S against L and larger 1 - |L/S|.  To 2e-3: the potential ends at degree 4, and J6 would add
    105/16 J6 (R/a)^6 of 3/2 J2 (R/a)^2, 1.1e-3; the square of L/S, 1e-3, is left out.
    """
    result = predict(varied(spheroid_and_sphere(), {"primary.spin_period_h": spin_h}))
    system, state = result.start.system, result.start.system.state
    n, nu = rates_about_a_spheroid(300.0, 240.0, system.gm_m3_s2, np.linalg.norm(state.position_m))
    orbit, spin, _ = angular_momenta(system.primary, system.secondary, state.vector)[:, 2]
    expected = math.degrees((n - nu) * (1.0 + orbit / spin)) * DAY_S
    found = result.numbers()["nodal_precession_after_deg_day"]
    assert found == pytest.approx(expected, rel=2e-3)
    assert abs(orbit / spin) > 0.02  # about the plane of before the rate is 3 % off over 60 days


def test_the_nodal_rate_does_not_hang_on_the_window():
    """Built-in pair: within 0.003 deg/day from 20 to 300 days; about the plane of before it was -4.41 to -4.72."""
    hit = impact_on(build(example()), example())
    rates = []
    for days in (20.0, 30.0, 40.0, 60.0, 90.0, 120.0, 300.0):
        part = simulate(hit.system, days, state=hit.state)
        rates.append(orbit_shape(part).nodal_precession_deg_day)
    assert rates[-1] == pytest.approx(-4.574, abs=0.001)
    assert rates == pytest.approx([rates[-1]] * len(rates), abs=0.003)


def test_the_plane_jumps_at_the_hit_by_the_closed_form():
    """atan(dv_n / (v + dv_t)) at a start whose velocity is across r; built-in system 0.278848 deg."""
    result = predict(example())
    numbers, state = result.numbers(), result.start.system.state
    speed = float(np.linalg.norm(state.velocity_m_s))
    jump = math.degrees(
        math.atan2(abs(numbers["normal_dv_mm_s"]) * 1e-3, speed + numbers["along_track_dv_mm_s"] * 1e-3)
    )
    assert numbers["orbit_plane_change_deg"] == pytest.approx(jump, rel=1e-9)
    # the axis H moves by the share of the velocity change's moment: |dH| / |H| of the budget's books
    before, after = result.budget().angular_momentum_kg_m2_s.sum(axis=1)
    cosine = before @ after / np.linalg.norm(before) / np.linalg.norm(after)
    assert numbers["angular_momentum_tilt_deg"] == pytest.approx(math.degrees(math.acos(cosine)), rel=1e-6)
    assert 0.01 < numbers["angular_momentum_tilt_deg"] < 0.02
    # the orbit circles the new axis at what is left of the jump, L' being turned towards it by the tilt
    apart = numbers["orbit_plane_change_deg"] - numbers["angular_momentum_tilt_deg"]
    assert numbers["inclination_after_deg"] == pytest.approx(apart, rel=0.02)


def test_a_miss_turns_nothing_and_a_planar_push_has_no_node_and_no_warning_of_it():
    data = example().to_dict() | {"velocity_change": {"along_track_mm_s": -2.0}}
    data = {key: value for key, value in data.items() if key not in ("impactor", "momentum_transfer")}
    planar = predict(Scenario.from_dict(data, "test"))
    numbers = planar.numbers()
    assert numbers["nodal_precession_after_deg_day"] is None
    assert numbers["orbit_plane_change_deg"] < 1e-9 and numbers["angular_momentum_tilt_deg"] < 1e-9
    assert not any("nodal" in sentence for sentence in planar.warnings)
    miss = predict(varied(example(), {"impactor.aim_offset_m.0": 500.0})).numbers()
    assert miss["status"] == "miss" and miss["orbit_plane_change_deg"] == miss["angular_momentum_tilt_deg"] == 0.0


NEW = ("orbit_plane_change_deg", "angular_momentum_tilt_deg")


def test_full_and_brief_rows_tell_the_same_turns():
    """For hits as arrays, and for members that go alone (a mesh's way: here with boulders)."""
    base = varied(example(), {"simulation.days_before": 5.0, "simulation.days_after": 5.0})
    thrown = {"mass_kg": 1e4, "speed_m_s": 2.0, "direction": {"normal": 1.0}}
    for scenario in (base, Scenario.from_dict(base.to_dict() | {"boulders": [thrown]}, "test")):
        grid = Grid.of({"impactor.mass_kg": [300.0, 900.0]})
        rows = list(rows_of(scenario, grid))
        summary = summary_rows(scenario, grid, np.arange(2))
        for name in NEW:
            assert summary.numbers[name] == pytest.approx([row.numbers[name] for row in rows], rel=1e-9)
            assert summary.numbers[name][1] > 2.0 * summary.numbers[name][0] > 0.0


def test_the_turns_are_told_everywhere(capsys, tmp_path):
    """Printed, in JSON, stored with their unit, in the sample's intervals and for reference cases."""
    import h5py

    path, stored = tmp_path / "pair.toml", str(tmp_path / "r.h5")
    text = example().text.replace("= 60.0", "= 5.0").replace("degree = 4", "degree = 2")
    path.write_text(text + '\n[sampling]\ncount = 8\n[sampling.quantities]\n"impactor.mass_kg" = {normal = [480, 5]}\n')
    assert main(["predict", str(path), "--out", stored]) == 0
    out = capsys.readouterr().out
    for name in (*NEW, "inclination_after_deg"):
        assert out.count(OUTCOMES[name].label) == 2  # of the stated values, and among the intervals
    assert "Inclination to pre-impact orbit" in out and "old plane" not in out
    assert main(["predict", str(path), "--nominal", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    units = {}
    with h5py.File(stored) as file:
        file.visititems(lambda name, thing: units.update({name.split("/")[-1]: thing.attrs.get("units")}))
    for name in NEW:
        assert name in json.dumps(report) and name in quantities()
        assert units.get(name) == "deg"


def test_the_angular_momenta_are_those_of_a_turning_pair():
    """m a^2 n along z, and I w of each body, by hand; their sum is kept along a run to its drift."""
    system = build(example())
    parts = angular_momenta(system.primary, system.secondary, system.state.vector)
    r, v = system.state.position_m, system.state.velocity_m_s
    assert parts[0] == pytest.approx(system.reduced_mass_kg * np.cross(r, v), rel=1e-14)
    spin = 2.0 * math.pi / (2.03 * 3600.0)
    assert parts[1][2] == pytest.approx(system.primary.inertia_kg_m2[2] * spin, rel=1e-3)
    hit = impact_on(system, example())
    run = simulate(hit.system, 10.0, state=hit.state)
    total = angular_momenta(system.primary, system.secondary, run.y.T).sum(axis=0)
    assert np.abs(total - total[:, :1]).max() < 1e-11 * np.linalg.norm(total[:, 0])
