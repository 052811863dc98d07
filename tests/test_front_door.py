"""The functions that a notebook calls: another kind of thing, a second impact, too many members get one sentence."""

from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import binarydyn
from binarydyn import State, build, hit, load, pair, predict, simulate
from binarydyn.batch import summary_rows
from binarydyn.bodies import Ellipsoid, Layered, Mesh
from binarydyn.commands import main
from binarydyn.dynamics import relative_equilibrium, semi_major_axis_m, simulate_many
from binarydyn.ensembles import Backend, rows_of
from binarydyn.errors import InputError
from binarydyn.gravity import mutual_gravity
from binarydyn.impact import ImpactSpec, first_order_change, impact_budget, impact_on, orbit_axes, reshaped
from binarydyn.inference.infer import infer
from binarydyn.kepler import elements_at
from binarydyn.observables import (
    attitude,
    fundamental_lines,
    lines,
    orbit_shape,
    passage_times,
    period,
    periods,
    single_orbit_periods,
)
from binarydyn.observing.plan import plan
from binarydyn.observing.timetable import timetable
from binarydyn.prediction.description import describe
from binarydyn.sampling import Grid, Sample, member_scenario, swept
from binarydyn.scenario import Scenario, VelocityChange, example, value_of, varied
from binarydyn.store import open_result

MASS = "impactor.mass_kg"
SHORT = {"simulation.days_before": 6.0, "simulation.days_after": 6.0}


@pytest.fixture(scope="module")
def things() -> dict:
    """One of each kind that somebody might hand to the wrong function."""
    scenario = varied(example(), SHORT)
    system = build(scenario)
    made = {"scenario": scenario, "system": system, "state": system.state, "trajectory": simulate(system, 6.0)}
    made |= {"path": "pair.toml", "None": None, "number": 3, "list": [1, 2], "dict": {"a": 1}}
    made |= {"array": np.zeros((2, 2)), "prediction": (told := predict(scenario)), "side": told.after}
    return made


S, SYSTEM, STATE, RUN = "scenario", "system", "state", "trajectory"
WIDE = {"primary_spin_h": 2.0, "separation_m": 821.0}
ONE = {MASS: [480.0]}
DRAWN = {"sampling": {"quantities": {MASS: {"normal": [480.0, 5.0]}}}}


def first(rows):
    return next(iter(rows))


def bodies_of(things):
    return things[SYSTEM].primary, things[SYSTEM].secondary


CALLS = {
    "load": (lambda t, x: load(x), {"path"}),
    "open_result": (lambda t, x: open_result(x), set()),
    "build": (lambda t, x: build(x), {S}),
    "predict": (lambda t, x: predict(x), {S, "None"}),
    "pair primary": (lambda t, x: pair(x, t[SYSTEM].secondary, primary_spin_h=2.0, period_h=10.0), set()),
    "pair period_h": (
        lambda t, x: pair(*bodies_of(t), primary_spin_h=2.0, separation_m=821.0, period_h=x),
        {"number", "None"},
    ),
    "pair primary_spin_h": (lambda t, x: pair(*bodies_of(t), primary_spin_h=x, separation_m=821.0), {"number"}),
    "describe": (lambda t, x: describe(x), {S}),
    "plan": (lambda t, x: plan(x), {S}),
    "timetable": (lambda t, x: timetable(x), {S}),
    "infer scenario": (lambda t, x: infer(x, -1500.0, 1.0), {S}),
    "infer change_s": (lambda t, x: infer(t[S], x, 1.0), {"number"}),
    "infer sigma_s": (lambda t, x: infer(t[S], -1500.0, x), {"number"}),
    "infer count": (lambda t, x: infer(t[S], -1500.0, 1.0, x), set()),
    "infer seed": (lambda t, x: infer(t[S], -1500.0, 1.0, 1000, x), {"number", "None"}),
    "sweep scenario": (lambda t, x: first(rows_of(x, ONE, 1)), {S}),
    "sweep design": (lambda t, x: first(rows_of(t[S], x, 1)), set()),
    "sweep values": (lambda t, x: first(rows_of(t[S], {MASS: x}, 1)), {"list"}),
    "sweep workers": (lambda t, x: first(rows_of(t[S], ONE, x)), {"number", "None"}),
    "sweep done": (lambda t, x: list(rows_of(t[S], ONE, 1, x)), {"list", "array"}),
    "sweep backend": (lambda t, x: first(rows_of(t[S], ONE, backend=x)), {"None"}),
    "simulate system": (lambda t, x: simulate(x, 1.0), {SYSTEM}),
    "simulate days": (lambda t, x: simulate(t[SYSTEM], x), {"number"}),
    "simulate state": (lambda t, x: simulate(t[SYSTEM], 1.0, state=x), {STATE, "None"}),
    "simulate every_minutes": (lambda t, x: simulate(t[SYSTEM], 1.0, every_minutes=x), {"number"}),
    "simulate_many systems": (lambda t, x: simulate_many(x, 1.0), set()),
    "simulate_many states": (lambda t, x: simulate_many([t[SYSTEM]], 1.0, x), {"None"}),
    "periods": (lambda t, x: periods(x), {RUN, "side"}),
    "period": (lambda t, x: period(x), {RUN, "side"}),
    "period method": (lambda t, x: period(t[RUN], x), set()),
    "period normal": (lambda t, x: period(t[RUN], normal=x), {"None"}),
    "single_orbit_periods": (lambda t, x: single_orbit_periods(x), {RUN, "side"}),
    "passage_times": (lambda t, x: passage_times(x), {RUN, "side"}),
    "orbit_shape": (lambda t, x: orbit_shape(x), {RUN, "side"}),
    "attitude": (lambda t, x: attitude(x), {RUN, "side"}),
    "fundamental_lines": (lambda t, x: fundamental_lines(x, t["side"].attitude), {RUN, "side"}),
    "fundamental_lines history": (lambda t, x: fundamental_lines(t[RUN], x), set()),
    "lines": (lambda t, x: lines(x, np.zeros(9)), set()),
    "hit system": (lambda t, x: hit(x), {SYSTEM}),
    "hit what": (lambda t, x: hit(t[SYSTEM], x), {S, "None"}),
    "hit velocity_change_m_s": (lambda t, x: hit(t[SYSTEM], velocity_change_m_s=x), {"None"}),
    "hit frame": (lambda t, x: hit(t[SYSTEM], velocity_change_m_s=np.ones(3), frame=x), set()),
    "impact_on system": (lambda t, x: impact_on(x, t[S]), {SYSTEM}),
    "impact_on given": (lambda t, x: impact_on(t[SYSTEM], x), {S}),
    "impact_budget": (lambda t, x: impact_budget(t[SYSTEM], t[STATE], x), set()),
    "orbit_axes": (lambda t, x: orbit_axes(x), {STATE}),
    "first_order_change": (lambda t, x: first_order_change(x, t[SYSTEM], 800.0), {SYSTEM}),
    "reshaped": (lambda t, x: reshaped(t[SYSTEM], t[STATE], x), set()),
    "State": (lambda t, x: State(x, x, x, x, x, x), set()),
    "State.from_vector": (lambda t, x: State.from_vector(x), set()),
    "System primary": (lambda t, x: replace(t[SYSTEM], primary=x), set()),
    "System state": (lambda t, x: simulate(replace(t[SYSTEM], state=x), 1.0), {STATE}),
    "System.with_state": (lambda t, x: simulate(t[SYSTEM].with_state(x), 1.0), {STATE}),
    "System degree": (lambda t, x: replace(t[SYSTEM], degree=x), set()),
    "System integrator": (lambda t, x: replace(t[SYSTEM], integrator=x), set()),
    "System tolerance": (lambda t, x: replace(t[SYSTEM], tolerance=x), {"number"}),
    "System perturbations": (lambda t, x: replace(t[SYSTEM], perturbations=x), {"None"}),
    "System.gravity": (lambda t, x: t[SYSTEM].gravity(x), set()),
    "System.gravity attitude1": (lambda t, x: t[SYSTEM].gravity(np.ones(3), x), {"None"}),
    "State.tilted": (lambda t, x: t[STATE].tilted(x), set()),
    "State.tilted yaw_deg": (lambda t, x: t[STATE].tilted("primary", yaw_deg=x), {"number"}),
    "Trajectory[..]": (lambda t, x: t[RUN][x], {"number"}),
    "Trajectory.at": (lambda t, x: t[RUN].at(x), {"number"}),
    "Trajectory.seen_from": (lambda t, x: t[RUN].seen_from(x, np.ones(3)), set()),
    "Trajectory.seen_from direction": (lambda t, x: t[RUN].seen_from("primary", x), set()),
    "semi_major_axis_m": (lambda t, x: semi_major_axis_m(x), {SYSTEM}),
    "relative_equilibrium": (lambda t, x: relative_equilibrium(x, t[SYSTEM].secondary, 800.0), set()),
    "mutual_gravity": (lambda t, x: gravity_of(t, x, np.array([800.0, 0.0, 0.0])), set()),
    "mutual_gravity r_m": (lambda t, x: gravity_of(t, t[SYSTEM].primary, x), set()),
    "varied": (lambda t, x: varied(x, {MASS: 3.0}), {S}),
    "varied changes": (lambda t, x: varied(t[S], x), set()),
    "value_of": (lambda t, x: value_of(x, MASS), {S}),
    "Scenario.replace": (lambda t, x: t[S].replace(x), {"None"}),
    "Scenario.replace secondary": (lambda t, x: t[S].replace(secondary=x), set()),
    "Scenario[..]": (lambda t, x: t[S][x], set()),
    "Scenario.diff": (lambda t, x: t[S].diff(x), {S}),
    "Mesh.read": (lambda t, x: Mesh.read(x, "m", 2000.0), set()),
    "Mesh.read unit": (lambda t, x: Mesh.read("m.obj", x, 2000.0), set()),
    "Scenario.from_dict": (lambda t, x: Scenario.from_dict(x), set()),
    "Scenario.from_dict place": (lambda t, x: Scenario.from_dict(t[S].to_dict(), x), {"path"}),
    "Scenario.from_text": (lambda t, x: Scenario.from_text(x), set()),
    "Grid": (lambda t, x: Grid(x), set()),
    "Grid.of": (lambda t, x: Grid.of(x), set()),
    "Grid.from_texts": (lambda t, x: Grid.from_texts(x), set()),
    "Sample.of": (lambda t, x: Sample.of(x, "random"), set()),
    "Sample.of kind": (lambda t, x: Sample.of(t[S].replace(DRAWN), x), set()),
    "Sample.of count": (lambda t, x: Sample.of(t[S].replace(DRAWN), "random", x), {"number", "None"}),
    "Sample.of seed": (lambda t, x: Sample.of(t[S].replace(DRAWN), "random", 3, x), {"number", "None"}),
    "summary_rows": (lambda t, x: summary_rows(x, Grid.of(ONE), np.arange(1)), {S}),
    "summary_rows design": (lambda t, x: summary_rows(t[S], x, np.arange(1)), set()),
    "summary_rows members": (lambda t, x: summary_rows(t[S], Grid.of(ONE), x), set()),
    "swept": (lambda t, x: swept(x), {S}),
    "member_scenario": (lambda t, x: member_scenario(x, {}), {S}),
    "Backend": (lambda t, x: Backend(x), set()),
    "Backend workers": (lambda t, x: Backend(workers=x), {"number", "None"}),
    "Ellipsoid": (lambda t, x: Ellipsoid(x, 2000.0), set()),
    "Mesh": (lambda t, x: Mesh(x, np.array([[0, 1, 2]]), 2000.0), set()),
    "Layered": (lambda t, x: Layered(x, ()), set()),
    "Layered inclusions": (lambda t, x: Layered(t[SYSTEM].primary, x), set()),
}


def gravity_of(things, primary, r_m):
    return mutual_gravity(primary, things[SYSTEM].secondary, r_m, np.eye(3), np.eye(3))


def test_tab_completion_shows_the_names_and_the_rooms():
    """Nothing of the mechanism; each name is there, and its module's is the same thing."""
    shown = dir(binarydyn)
    rooms = set(shown) - set(binarydyn.__all__)
    assert all(isinstance(getattr(binarydyn, name), ModuleType) for name in rooms)
    assert rooms == {path.parent.name for path in Path(binarydyn.__file__).parent.glob("*/__init__.py")}
    assert {"predict", *binarydyn.__all__} <= set(shown) and len(shown) == len(set(shown))
    assert all(getattr(binarydyn, name) is not None for name in binarydyn.__all__)
    assert binarydyn.Ellipsoid is Ellipsoid and binarydyn.InputError is InputError
    with pytest.raises(AttributeError, match="no attribute 'predicted'"):
        binarydyn.predicted  # noqa: B018


@pytest.mark.parametrize("name", CALLS)
def test_another_kind_of_thing_gets_a_sentence(name, things):
    """One printable line that says what is given and what is allowed, in no words of the command line."""
    call, right = CALLS[name]
    for kind in things.keys() - right:
        with pytest.raises(InputError) as caught:
            call(things, things[kind])
        said = str(caught.value)
        assert said.isprintable() and len(said) < 700, (kind, said)
        assert "--" not in said and "`binarydyn" not in said, (kind, said)
        assert isinstance(caught.value, ValueError)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda t: simulate(t[S], 1.0), "a Scenario is given, allowed is a System; build(scenario) makes one"),
        (lambda t: predict("pair.toml"), "a text is given, allowed is a Scenario or None; load(path) reads one"),
        (lambda t: periods(t["prediction"]), "allowed is a Trajectory; take its .before or .after"),
        (lambda t: simulate(t[SYSTEM], 1.0, state=np.zeros(20)), "State.from_vector(values) makes one"),
        (lambda t: State(*[np.zeros(3)] * 6), "attitude1: an array (3,) is given, allowed is an array (4,)"),
        (lambda t: impact_budget(t[SYSTEM], t[STATE], t["prediction"]), "take its .impact"),
    ],
)
def test_the_sentence_says_how_to_get_the_right_thing(call, words, things):
    with pytest.raises(TypeError) as caught:
        call(things)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"integrator": "nonsense"}, "'nonsense' is given, allowed is rungekutta or splitting or gauss"),
        ({"degree": 3}, "3 is given, allowed is one of 2, 4, 6, 8"),
        ({"tolerance": 0.0}, "0.0 is given, allowed is above 0"),
    ],
)
def test_a_system_is_checked_when_it_is_made(changes, words, things):
    """What is unknown ran as Runge-Kutta."""
    with pytest.raises(InputError, match=words.replace("(", r"\(")):
        replace(things[SYSTEM], **changes)


def test_states_and_runs_are_looked_up_and_cut(things):
    """Against what the integrator itself gives: between samples, at them, and of a part."""
    system = things[SYSTEM]
    run = simulate(system, 2.0, every_minutes=10.0)
    exact = simulate(system, 3700.0 / 86400.0, every_minutes=1e4)[-1]
    off = np.abs(run.at(3700.0).vector - exact.vector)
    assert off.max() < 1e-7 and off[10:13].max() < 1e-7 * 8.6e-4  # m, and 1; rad/s, of a spin of 8.6e-4
    assert run.at(run.time_s[7]) == run[7] and run[7] != run[8] and run[-1] == run[len(run) - 1]
    part = run[100:200]
    assert type(part) is type(run) and np.array_equal(part.y, run.y[100:200]) and len(part) == 100
    assert np.array_equal(part.time_d, run.time_s[100:200] / 86400.0)
    with pytest.raises(InputError, match="allowed is 0 .. 172800"):
        run.at(172801.0)
    with pytest.raises(ValueError, match="read-only"):
        run.position_m[0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        system.state.position_m[0] = 0.0


def test_a_body_takes_the_place_of_what_a_scenario_says_of_one(things, tmp_path):
    scenario, body = things[S], Ellipsoid((80.0, 70.0, 60.0), 2400.0)
    other = scenario.replace({"secondary": body, "primary.spin_period_h": 3.0})
    assert other.secondary.semi_axes_m == (80.0, 70.0, 60.0) and other["secondary.density_kg_m3"] == 2400.0
    assert other == scenario.replace(
        {"secondary.semi_axes_m": [80.0, 70.0, 60.0], "secondary.density_kg_m3": 2400.0, "primary.spin_period_h": 3.0}
    )
    corners = 1e-3 * np.array([[70, 0, 0], [-70, 0, 0], [0, 60, 0], [0, -60, 0], [0, 0, 50], [0, 0, -50.0]])
    sides = [[i, j, k] if (i + j + k) % 2 else [i, k, j] for i in (0, 1) for j in (2, 3) for k in (4, 5)]
    sides = [[a, b, c] if np.linalg.det(corners[[a, b, c]]) > 0 else [a, c, b] for a, b, c in sides]
    lines = [f"v {x} {y} {z}" for x, y, z in corners] + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in sides]
    (tmp_path / "m.obj").write_text("\n".join(lines))
    mesh = Mesh.read(tmp_path / "m.obj", "km", 2400.0)
    found = scenario.replace(secondary=mesh)
    assert found.secondary.semi_axes_m is None and found["secondary.polyhedron.unit"] == "km"
    assert build(found).secondary.volume_m3 == mesh.volume_m3
    with pytest.raises(InputError, match="it comes from no file, which a scenario names"):
        scenario.replace(secondary=Mesh(1e3 * corners, sides, 2400.0))


def test_a_pair_of_two_bodies_is_that_of_a_scenario_which_says_the_same(things):
    """Densities from separation and period, or a period from densities: the same relaxed state, bit for bit."""
    scenario = example()
    one, two = (Ellipsoid(body.semi_axes_m, 3120.0) for body in (scenario.primary, scenario.secondary))
    made = pair(one, two, primary_spin_h=2.03, separation_m=821.0, period_h=10.42)
    assert made.state == build(scenario).state and made.secondary == build(scenario).secondary
    asked = {"mutual_orbit.period_h": None, "mutual_orbit.solve_for": "period"}
    assert pair(one, two, primary_spin_h=2.03, separation_m=821.0).state == build(scenario.replace(asked)).state
    with pytest.raises(InputError, match="neither separation_m nor period_h is given"):
        pair(one, two, primary_spin_h=2.03)
    with pytest.raises(InputError, match="the bodies overlap at 300 m"):
        pair(one, two, primary_spin_h=2.03, separation_m=300.0)
    with pytest.raises(InputError, match="comes from no scenario"):
        hit(made)


def test_a_prediction_is_a_line_a_table_and_a_series(things):
    prediction = things["prediction"]
    line, table, series = repr(prediction), prediction.changes(), prediction.to_series()
    assert f"change {prediction.period_change_s:.3f} s" in line and len(line) < 160 and line.isprintable()
    assert table.change_s.to_dict() == prediction.period_changes_s()
    assert series["period_change_s"] == prediction.period_change_s and None not in list(series)
    assert (
        prediction == prediction
        and not prediction == 3
        and prediction.before[0] == State.from_vector(prediction.before.y[0])
    )


def test_a_scenario_shows_its_own_names_alone():
    shown = [name for name in dir(Scenario) if not name.startswith("_")]
    assert not [name for name in shown if name.startswith("model_") or name in ("copy", "json", "construct")]
    assert {"replace", "diff", "to_dict", "to_toml", "from_dict", "impactor"} <= set(shown) and len(shown) < 40


def test_a_tilted_moonlet_begins_with_these_angles(things):
    """The sequence of Trajectory's roll, pitch and yaw, in the relaxed state, where all three are zero."""
    system = things[SYSTEM]
    state = system.state.tilted("secondary", roll_deg=3.0, pitch_deg=-2.0, yaw_deg=10.0)
    run = simulate(system, 0.2, state=state)
    assert [run.roll_deg[0], run.pitch_deg[0], run.yaw_deg[0]] == pytest.approx([3.0, -2.0, 10.0], abs=1e-6)
    turn = Rotation.from_quat(system.state.attitude2, scalar_first=True)
    turned = replace(system.state, attitude2=turn * Rotation.from_euler("XYZ", [3.0, -2.0, 10.0], degrees=True))
    assert turned.attitude2 @ state.attitude2 == pytest.approx(1.0, abs=1e-15)


def test_gravity_at_many_places_is_that_at_each(things):
    system, places = things[SYSTEM], np.array([[[821.0, 0.0, 0.0], [0.0, 900.0, 10.0]]])
    found = system.gravity(places, attitude2=Rotation.from_euler("z", 0.5))
    assert found.force_N.shape == (1, 2, 3) and found.potential_J.shape == found.converged.shape == (1, 2)
    axes1 = Rotation.from_quat(system.state.attitude1, scalar_first=True).as_matrix()
    axes2 = Rotation.from_euler("z", 0.5).as_matrix()
    alone = mutual_gravity(system.primary, system.secondary, places[0, 1], axes1, axes2)
    assert found.torque2_N_m[0, 1] == pytest.approx(alone.torque2_N_m, rel=1e-9)
    with pytest.raises(InputError, match="a distance of zero"):
        system.gravity(np.zeros(3))


def test_tables_of_a_run(things):
    """Osculating elements against those of one state by another route; labelled arrays are the run's own."""
    run = simulate(things[SYSTEM], 6.0)
    table, k = run.elements(), 100
    r, v = run.position_m[k], run.velocity_m_s[k]
    one = elements_at(r, v, run.system.gm_m3_s2)
    assert float(table.semi_major_axis_m[k]) == pytest.approx(one.semi_major_axis_m, rel=1e-12)
    assert float(table.eccentricity[k]) == pytest.approx(one.eccentricity, rel=1e-9)
    assert float(table.true_longitude_deg[k]) == pytest.approx(np.degrees(np.arctan2(r[1], r[0])) % 360.0, abs=1e-9)
    assert run.periods().loc["frequency", "period_h"] == periods(run)["frequency"].value_h
    assert np.array_equal(run.to_xarray().attitude2.sel(quaternion="w"), run.attitude2[:, 0])
    longitude, latitude = run.seen_from("secondary", -run.position_m)
    assert np.abs(longitude).max() < 0.01 and np.abs(latitude).max() < 1e-9
    assert run.seen_from("primary", [0.0, 0.0, 1.0])[1] == pytest.approx(90.0)


def test_things_show_themselves_in_a_line_and_compare_without_error(things):
    for name in (S, STATE, SYSTEM, RUN, "side"):
        thing = things[name]
        assert (
            repr(thing).startswith(f"<{type(thing).__name__} ") and len(repr(thing)) < 160 and "\n" not in repr(thing)
        )
        assert thing._repr_html_().count("<tr>") > 4
        assert thing == thing and not thing == 3 and thing in {thing}
    other = State.from_vector(things[STATE].vector)
    assert other == things[STATE] and hash(other) == hash(things[STATE])


def test_a_second_hit_is_asked_for(things):
    """A system is hit once by what its scenario says; impact_on and hit mean the same system after it."""
    system, scenario = things[SYSTEM], things[S]
    after = hit(system)
    impact = impact_on(system, scenario)
    assert np.array_equal(impact.system.state.vector, impact.state.vector) and impact.system.impact is impact
    assert after.state == impact.state == after.impact.state and after.impact.status == "hit"
    for system_hit in (after, impact.system, after.with_state(system.state)):
        with pytest.raises(InputError, match="has been hit already .hit at longitude"):
            hit(system_hit)
    with pytest.raises(InputError, match="comes from no scenario that says what hits it; give a scenario"):
        hit(replace(system, impact=None))
    twice = hit(after, ImpactSpec(velocity_change=VelocityChange(along_track_mm_s=1.0)))
    assert twice.state == hit(after, velocity_change_m_s=[1e-3, 0.0, 0.0]).state
    step = np.linalg.norm(twice.state.velocity_m_s - after.state.velocity_m_s)
    assert step == pytest.approx(1e-3, rel=1e-9)
    change = np.array([1e-3, -2e-3, 5e-4])
    moved = hit(after, velocity_change_m_s=change, frame="inertial").state.velocity_m_s - after.state.velocity_m_s
    assert moved == pytest.approx(change, abs=1e-15)


def test_a_miss_hits_nothing_however_often():
    scenario = varied(example(), SHORT | {"impactor.aim_offset_m.0": 500.0})
    system = build(scenario)
    once = hit(system)
    again = hit(once, scenario)
    assert impact_on(system, scenario).system is system
    assert once.state == again.state == system.state and once.impact.status == again.impact.status == "miss"


def test_so_many_members_are_confirmed(things, tmp_path, capsys):
    values = np.linspace(1.0, 2.0, 200)
    grid = {MASS: values + 400.0, "impactor.speed_km_s": values, "momentum_transfer.beta": values}
    with pytest.raises(
        InputError, match="8000000 members are asked for, some .* hours .* more than 100000 are started only"
    ):
        rows_of(things[S], grid, 1)
    assert first(rows_of(things[S], grid, 1, confirm=True)).status == "completed"
    assert first(rows_of(things[S], grid, 1, range(50, 8_000_000))).index < 50
    words = ["sweep", "--out", str(tmp_path / "s.h5"), "--quiet"]
    for key in grid:
        words += ["--vary", f"{key}=400:401:200" if key == MASS else f"{key}=1:2:200"]
    assert main(words) == 2
    assert "--confirm: 8000000 members are asked for" in capsys.readouterr().err


@dataclass(frozen=True)
class Diagonal:
    """A design of somebody's own: mass and phase grow together."""

    count: int
    keys = (MASS, "primary.rotation_phase_deg")
    sha256 = 64 * "d"
    json = '"mine"'

    def __len__(self) -> int:
        return self.count

    def member(self, k: int) -> dict[str, float]:
        return {MASS: 300.0 + k, "primary.rotation_phase_deg": 7.0 * k}

    def inputs(self, members) -> dict[str, np.ndarray]:
        return {MASS: 300.0 + members, "primary.rotation_phase_deg": 7.0 * members}

    def together(self, keys):
        yield from ([k] for k in range(self.count))

    def check(self, scenario) -> None:
        pass


def test_a_design_of_ones_own_goes_to_processes_and_into_files(things, monkeypatch, tmp_path):
    from binarydyn.ensembles import backends
    from binarydyn.store import SweepStore

    monkeypatch.setattr(backends, "ENOUGH", 1)
    design = Diagonal(6)
    alone, shared = (sorted(rows_of(things[S], design, n), key=lambda row: row.index) for n in (1, 2))
    assert repr(alone) == repr(shared) and [row.status for row in alone] == 6 * ["completed"]
    with SweepStore(tmp_path / "own.h5", things[S], design) as store:
        for row in shared:
            store.keep(row)
        result = store.finish()
    held = result.design
    assert [held.member(k) for k in range(6)] == [design.member(k) for k in range(6)] and result.sample is None
    assert tuple(held.keys) == design.keys and result.columns[MASS].tolist() == [300.0 + k for k in range(6)]
    with pytest.raises(InputError, match="this has no json, __len__, member"):
        rows_of(things[S], type("Half", (), {"keys": (MASS,), "sha256": ""})())


@pytest.mark.parametrize("integrator", ["rungekutta", "splitting", "gauss"])
def test_a_run_of_more_samples_than_memory_holds_is_refused(integrator):
    """As a file is; it ended in a MemoryError of ten pebibytes."""
    with pytest.raises(InputError, match="days: 1e[+]12 days at .* allowed is up to 1e[+]07"):
        simulate(replace(build(example()), integrator=integrator), days=1e12)
