"""Outcomes at the edges, through the command line: each has a name, an exit code and valid JSON, never a traceback."""

import json

import numpy as np
import pytest
from meshes import lumpy, obj_text
from test_assessment import SPIN_H, pair

from binarydyn.commands import main
from binarydyn.dynamics import simulate
from binarydyn.errors import ConvergenceError, InputError
from binarydyn.observables import orbit_shape
from binarydyn.prediction import predict
from binarydyn.relaxed import start
from binarydyn.scenario import Scenario, example, varied


def run(capsys, file, *words):
    code = main(["predict", str(file), *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def written(tmp_path, **tables):
    file = tmp_path / "case.toml"
    file.write_text(pair(**tables).text)
    return file


def no_constant(word):
    raise AssertionError(f"{word} is no JSON")


@pytest.mark.parametrize("velocity_change", [-100.0, 200.0, -115.0])
def test_an_early_end_is_a_result(velocity_change, tmp_path, capsys):
    """Contact after minutes or hours, and escape: exit 1, JSON without a period after."""
    code, out, err = run(capsys, written(tmp_path, velocity_change={"along_track_mm_s": velocity_change}), "--json")
    answer = json.loads(out, parse_constant=no_constant)
    assert code == 1 and answer["status"] in ("contact", "escape") and "Traceback" not in err
    assert any("after the impact" in sentence for sentence in answer["warnings"])


def test_a_window_without_a_period_is_no_success(tmp_path, capsys):
    code, out, _ = run(capsys, written(tmp_path, simulation={"days_before": 1.0, "days_after": 1.0}), "--json")
    assert code == 1 and json.loads(out)["period_change_s"] is None


def test_modes_without_a_period_are_valid_json(tmp_path, capsys):
    """A secondary heavier than the primary has free modes that grow without swinging."""
    file = written(tmp_path, secondary={"semi_axes_m": [420.0, 380.0, 320.0]})
    code, out, _ = run(capsys, file, "--json")
    assert code in (0, 1)
    if out:
        json.loads(out, parse_constant=no_constant)


def test_a_primary_that_turns_with_the_orbit_is_refused_at_once():
    """Where the period is what is searched, the form of the scenario cannot see it.

    The search says so within a step.
    """
    begun = start(pair(mutual_orbit={"period_h": None, "solve_for": "period"}))
    with pytest.raises(ConvergenceError, match="doubly synchronous"):
        start(pair(primary={"spin_period_h": begun.period_h}, mutual_orbit={"period_h": None, "solve_for": "period"}))


def test_a_separation_that_is_found_must_not_make_the_bodies_overlap():
    dense = {"density_kg_m3": 2300.0}
    orbit = {"separation_m": None, "period_h": 3.0, "solve_for": "separation"}
    with pytest.raises((InputError, ConvergenceError)):
        start(pair(primary={**dense, "spin_period_h": 2.0}, secondary=dense, mutual_orbit=orbit))


@pytest.mark.parametrize("eccentricity", [0.02, 0.05])
def test_the_eccentricity_is_the_one_that_is_asked_for(eccentricity):
    """Geometric, (r_max - r_min)/(r_max + r_min) over the window before, to 1e-3; two spheres have nothing forced."""
    spheres = {"primary": {"semi_axes_m": [300.0] * 3}, "secondary": {"semi_axes_m": [60.0] * 3}}
    for pericentre in (0.0, 180.0):
        asked = pair(**spheres, mutual_orbit={"eccentricity": eccentricity, "pericentre_deg": pericentre})
        before = simulate(start(asked).system, -30.0)
        assert orbit_shape(before).eccentricity == pytest.approx(eccentricity, rel=2e-3)


def test_a_mesh_that_is_edited_is_read_again(tmp_path):
    vertices, facets = lumpy(4, 3)[:2]
    file = tmp_path / "moonlet.obj"
    changes = []
    for stretch in (1.0, 1.3):
        file.write_text(obj_text(vertices * [stretch, 1.0, 1.0] * 80.0 / np.abs(vertices).max(), facets))
        data = {
            "primary": {"semi_axes_m": [400.0, 350.0, 310.0], "density_kg_m3": 2300.0, "spin_period_h": SPIN_H},
            "secondary": {"polyhedron": {"file": str(file), "unit": "m"}, "density_kg_m3": 2300.0},
            "mutual_orbit": {"separation_m": 1180.0, "period_h": 11.9},
            "velocity_change": {"along_track_mm_s": -2.0},
            "simulation": {"days_before": 6.0, "days_after": 6.0},
        }
        changes.append(predict(Scenario.from_dict(data, "mesh")).start.system.secondary.mass_kg)
    assert changes[1] > 1.2 * changes[0]


def test_states_that_are_none_are_refused_and_long_quaternions_are_turned_into_attitudes():
    system = start(pair()).system
    state = system.state
    long = type(state)(
        *(getattr(state, name) * (2.0 if "attitude" in name else 1.0) for name in state.__dataclass_fields__)
    )
    assert np.abs(simulate(system, 0.2, state=long).y - simulate(system, 0.2).y).max() < 1e-9
    for name in ("attitude1", "position_m"):
        parts = {field: getattr(state, field) * (0.0 if field == name else 1.0) for field in state.__dataclass_fields__}
        with pytest.raises(ValueError, match="length zero"):
            simulate(system, 0.2, state=type(state)(**parts))
    with pytest.raises(ValueError, match="above 0"):
        simulate(system, 0.2, every_minutes=-5.0)


@pytest.mark.parametrize("ratio", [1.25, 1.35, 1.6])
def test_near_a_resonance_the_dependence_on_phase_is_said(ratio):
    """Spins near the orbit's rate: the primary swings the secondary by degrees before anything hits it.

    Far from it, not.
    """
    words = ("near a resonance", "is chaotic", "stay relaxed")

    def said(scenario):
        return any(word in sentence for sentence in predict(scenario).warnings for word in words)

    assert said(varied(example(), {"primary.spin_period_h": 10.42 / ratio})) and not said(example())


def test_a_name_is_no_formula(tmp_path):
    from binarydyn.plots import save_prediction

    data = {**pair().to_dict(), "name": r"$\frac{a}{$ pair"}
    save_prediction(str(tmp_path / "page.png"), predict(Scenario.from_dict(data, "named")))
    assert (tmp_path / "page.png").stat().st_size > 10_000
