"""Event times of guesses: without a search they are those of the full search, and what does not last says why."""

import math
from dataclasses import replace

import numpy as np
import pytest
from meshes import lumpy, obj_text

from binarydyn.batch.inputs import Inputs
from binarydyn.bodies import Mesh
from binarydyn.constants import DAY_S
from binarydyn.dynamics import simulate
from binarydyn.errors import InputError
from binarydyn.impact import impact_on
from binarydyn.impact.frame import ecliptic_axes
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.observing.worlds import A_TURN, World, joined, worlds
from binarydyn.prediction import predict
from binarydyn.reconstruction.event_times import EventModel
from binarydyn.reconstruction.unknowns import POLE_KEYS, Unknown, Unknowns
from binarydyn.relaxed.start import start
from binarydyn.scenario import Scenario, example, value_of, varied
from binarydyn.sky.dips import dips_of
from binarydyn.sky.event_search import EventSearch
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.sky.motion_between import MotionBetween
from binarydyn.timing.mid_times import MidTimes, line_longitudes_rad

DAYS = 4.0
LONG = {"secondary.semi_axes_m": [140.0, 95.0, 86.0]}
NAMES = {"centroid_s": "dip_centroid", "half_depth_s": "half_depth", "folded_s": "folded"}
SEARCH_S = 0.01
"""To which contacts of the search are promised, and those without one with a quarter of the usual step."""


def nought(model: EventModel) -> np.ndarray:
    return np.zeros((1, len(model.unknowns.names)))


def guess(model: EventModel, **values: float) -> np.ndarray:
    """(1, p) with some values, `__` for the dots of their names."""
    u, asked = nought(model), model.unknowns
    for name, value in values.items():
        k = asked.index(name.replace("__", "."))
        u[0, k] = (value - asked.centre[k]) / asked.scale[k]
    return u


def contacts_in(scenario: Scenario, days: float = DAYS) -> MidTimes:
    return synthesised(scenario, days, Observing(0.0, timed="contacts"), seed=0)


@pytest.fixture(scope="module")
def contacts() -> EventModel:
    """Of the built-in system."""
    return EventModel.of(example(), contacts_in(example()), refine=4.0)


@pytest.mark.parametrize("changes", [{}, LONG], ids=["built-in", "long secondary"])
def test_contacts_are_those_of_the_search(changes):
    scenario = example().replace(changes)
    model = EventModel.of(scenario, contacts_in(scenario), refine=4.0)
    late = model.predicted_s(nought(model))[0] - model.observed_s
    assert len(late) > 50 and np.abs(late).max() < SEARCH_S


def of_world(model: EventModel, world: World) -> np.ndarray:
    """(1, p) the guess that is a drawn system: its numbers, and how its pole turns the lines of sight."""
    drawn, asked = world.scenario, model.unknowns
    turn = ecliptic_axes(drawn.mutual_orbit) @ ecliptic_axes(model.motion.scenario.mutual_orbit).T
    angle = math.acos(0.5 * (np.trace(turn) - 1.0))
    if angle == 0.0:
        return nought(model)
    vector = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    values = dict(zip(("pole_x", "pole_y", "phase"), 0.5 * angle / math.sin(angle) * vector, strict=True))
    values |= {name.replace(".", "__"): value_of(drawn, name) for name in asked.names if "." in name}
    return guess(model, **values)


@pytest.mark.parametrize("changes", [{}, LONG], ids=["built-in", "long secondary"])
def test_events_of_drawn_systems_are_those_of_their_search(changes):
    """Sizes, separation, beta and pole are drawn; each is searched alone, with a sky of its own."""
    scenario = example().replace(changes)
    found = worlds(scenario, Sky.of(scenario), DAYS, DAYS, 3)
    for world in found.members:
        table = world.apart.chosen(np.abs(world.apart.conjunction_s) < (DAYS - 0.3) * DAY_S)
        exact = table.contacts_mid_s
        seen = exact + world.sight.light_time_s(exact)
        mids = MidTimes(table.kind, table.body, seen, timed=np.full(len(seen), "contacts"))
        model = EventModel.of(scenario, mids, refine=4.0)
        u = of_world(model, world)
        assert model.shown(u).all() and np.abs(model.predicted_s(u)[0] - exact).max() < SEARCH_S
        assert np.sqrt(np.mean((model.predicted_s(nought(model))[0] - exact) ** 2)) > 10.0


@pytest.mark.parametrize("timed", NAMES)
def test_dips_are_those_of_the_search(timed):
    """Against many more rays than strips: 3 s rms is what the errors of a fit have for it (timing/noise.py, FLOOR_S).

    All events of the built-in system in these days are eclipses and occultations of one body that overlap.
    """
    scenario = example()
    world = worlds(scenario, Sky.of(scenario), DAYS, DAYS, 0).nominal
    table = joined([dips_of(run, world.sight, rays=1024, epochs=121) for run in world.runs])
    table = table.chosen(np.abs(table.conjunction_s) < (DAYS - 0.3) * DAY_S)
    assert set(table.kind) == {"both"} and (table.depth_m2 > 0.0).all()
    exact = getattr(table, timed)
    seen = exact.mean(axis=1) + world.sight.light_time_s(exact.mean(axis=1))
    mids = MidTimes(table.kind, table.body, seen, timed=np.full(len(seen), NAMES[timed]))
    model = EventModel.of(scenario, mids)
    late = model.predicted_s(nought(model))[0] - model.observed_s
    by_law, shown = model.events.middles_s(model.motion.runs(nought(model)))
    assert shown.all() and np.sqrt(np.mean(late**2)) < 3.0
    assert np.sqrt(np.mean((by_law[0] - exact) ** 2)) < 4.0
    runs = model.motion.runs(nought(model))
    light = model.events.light(runs, model.events.passing(runs), np.arange(len(mids)), 61)
    assert np.abs(light[0].max(axis=1) / table.depth_m2 - 1.0).max() < 0.02
    law = 0.5 * (exact[:, 1] - exact[:, 0])
    assert np.corrcoef(model.columns_s[:, model.causes.index("scattering law")], law)[0, 1] > 0.95
    called_eclipses = replace(mids, kind=np.full(len(mids), "eclipse"))
    again = EventModel.of(scenario, called_eclipses)
    assert again.events.merged.all() and np.array_equal(again.predicted_s(nought(again))[0], late + model.observed_s)


def test_events_of_a_mesh_are_those_of_its_search(tmp_path):
    """A lumpy secondary of the built-in size; a guess with another separation is searched alone."""
    path = tmp_path / "lumps.obj"
    vertices, facets = lumpy(6, 1, 60.0)
    path.write_text(obj_text(vertices, facets))
    push = {"along_track_mm_s": -3.0}
    scenario = example().replace(
        {"secondary": Mesh.read(path, "m", density_kg_m3=3120.0), "impactor": None, "momentum_transfer": None,
         "velocity_change": push}
    )  # fmt: skip
    days = 1.5
    other = scenario.replace({"mutual_orbit.separation_m": 815.0})
    nominal, world = (worlds(one, Sky.of(one), days, days, 0).nominal for one in (scenario, other))
    for apart in (True, False):
        table = world.table(apart)
        table = table.chosen(np.abs(table.conjunction_s) < (days - 0.3) * DAY_S)
        exact = table.contacts_mid_s if apart else table.centroid_s.mean(axis=1)
        seen = exact + world.sight.light_time_s(exact)
        timed = np.full(len(seen), "contacts" if apart else "dip_centroid")
        model = EventModel.of(scenario, MidTimes(table.kind, table.body, seen, timed=timed), refine=4.0)
        found = model.predicted_s(np.concatenate([guess(model, mutual_orbit__separation_m=815.0), nought(model)]))
        assert len(exact) >= 5 and np.abs(found[0] - exact).max() < (SEARCH_S if apart else 1.0)
        assert np.sqrt(np.mean((found[1] - exact) ** 2)) > 1.0
    assert nominal.dips.kind.tolist() == world.dips.kind.tolist()


def test_an_event_across_the_impact_has_a_contact_on_either_side():
    """The eclipse of the primary is at t0; the search has it cut there, at the end of each run."""
    base = example()
    orbit, sky = base.mutual_orbit, Sky.of(base)
    sight = Sight(sky, -1e5, 1e5)
    line = line_longitudes_rad(sight, np.array(["eclipse"]), np.array(["primary"]), np.zeros(1))[0]
    scenario = base.replace({"mutual_orbit.node_angle_deg": orbit.node_angle_deg + math.degrees(line)})
    sky, system = Sky.of(scenario), start(scenario).system
    sight = Sight(sky, -2e5, 2e5)
    mids = MidTimes(np.array(["eclipse"]), np.array(["primary"]), sight.light_time_s(np.zeros(1)) + 20.0,
                    timed=np.array(["contacts"]))  # fmt: skip
    model = EventModel.of(scenario, mids, refine=4.0)
    found = model.events.passing(model.motion.runs(nought(model)))
    hit = impact_on(system, scenario)
    runs = simulate(system, -1.0, every_minutes=10.0), simulate(hit.system, 1.0, state=hit.state, every_minutes=10.0)
    before, after = (EventSearch(MotionBetween(run), sight, "eclipse").halves for run in runs)
    assert before.front[-1] and not before.has_last[-1] and after.front[0] and not after.has_first[0]
    assert abs(found.first_s[0, 0] - before.first_s[-1]) < SEARCH_S
    assert abs(found.last_s[0, 0] - after.last_s[0]) < SEARCH_S


def test_an_event_that_is_missed_is_told_and_its_time_goes_on_smoothly(contacts):
    """The pole is tipped until eclipses of the primary stop; the outlines are then nearest where contacts met."""
    tips = -np.linspace(0.05, 0.5, 46)
    u = np.concatenate([guess(contacts, pole_x=tip) for tip in tips])
    time, shown = contacts.predicted_s(u), contacts.shown(u)
    at = np.flatnonzero((contacts.mids.kind == "eclipse") & (contacts.mids.body == "primary"))[0]
    assert shown[0, at] and not shown[-1, at] and np.isfinite(time).all()
    last = np.flatnonzero(shown[:, at])[-1]
    assert not shown[last + 1 :, at].any()
    bends = np.abs(np.diff(time[last - 3 : last + 5, at], 2))
    assert bends.max() < 60.0


def test_a_tipped_pole_is_that_of_a_scenario_with_it(contacts):
    u = guess(contacts, pole_x=0.02, pole_y=-0.03, phase=0.04)
    inputs, turns = contacts.motion.inputs(contacts.unknowns.value(u))
    tipped = varied(example(), {key: float(inputs[key][0]) for key in POLE_KEYS})
    axes = ecliptic_axes(example().mutual_orbit)
    assert np.allclose(turns[0] @ axes, ecliptic_axes(tipped.mutual_orbit), atol=1e-12)
    z = turns[0] @ [0.0, 0.0, 1.0]
    assert np.allclose(z[:2], [-0.03, -0.02], atol=1e-3)


def test_a_flight_that_is_given_on_the_sky_turns_with_the_pole():
    """Against the impact of the scenario that has this pole."""
    on_sky = {"impactor.direction": {"ecliptic_longitude_deg": 30.0, "ecliptic_latitude_deg": -12.0}}
    scenario = example().replace(on_sky)
    model = EventModel.of(scenario, contacts_in(scenario, 2.0))
    u = guess(model, pole_x=0.2, phase=0.5)
    runs = model.motion.runs(np.concatenate([u, nought(model)]))
    inputs, _ = model.motion.inputs(model.unknowns.value(u))
    tipped = varied(scenario, {key: float(inputs[key][0]) for key in POLE_KEYS})
    exact = impact_on(start(tipped).system, tipped).state.velocity_m_s
    assert runs.lasts.all() and np.abs(runs.y_after[3:6, 0] - exact).max() < 1e-9
    assert np.abs(runs.y_after[3:6, 0] - runs.y_after[3:6, 1]).max() > 1e-4


def test_eccentricity_and_libration_before_the_impact_are_those_that_a_scenario_asks_for():
    """The scenario's own are calibrated by simulation; mean period and phase are solved for here, times of e = 0.005
    lie up to 2 e/n = 60 s about the circle's, and its libration is told to a few per cent of 10 s.
    """
    asked = {"mutual_orbit.eccentricity": 0.005, "mutual_orbit.pericentre_deg": 70.0}
    asked |= {"secondary.libration_amplitude_deg": 4.0, "secondary.libration_phase_deg": 130.0}
    scenario = example().replace(asked)
    mids = contacts_in(scenario)
    mids = mids.chosen(mids.seen_s < 0.0)
    model = EventModel.of(scenario, mids)
    assert model.unknowns.names.count("lib_cos") == 1
    free = [model.unknowns.index(name) for name in ("mutual_orbit.period_h", "phase")]

    def left(u: np.ndarray) -> np.ndarray:
        trials = np.repeat(u, 3, axis=0)
        trials[[1, 2], free] += 1.0
        late = model.observed_s - model.predicted_s(trials)
        slopes = (late[1:] - late[0]).T
        step = np.linalg.lstsq(slopes, -late[0], rcond=None)[0]
        return late[0] + slopes @ step

    assert np.sqrt(np.mean(left(nought(model)) ** 2)) < 0.3
    assert np.sqrt(np.mean(left(guess(model, e_cos=0.0, e_sin=0.0)) ** 2)) > 25.0
    assert np.sqrt(np.mean(left(guess(model, lib_cos=0.0, lib_sin=0.0)) ** 2)) > 0.5


def test_the_mean_period_stays_that_of_the_guess_where_it_is_eccentric(contacts):
    """A displacement to first order alone would move it by 7.5 e^2, 28 s at e = 0.01."""
    u = np.concatenate([guess(contacts, e_sin=0.01), guess(contacts, e_cos=-0.01)])
    before, _ = contacts.motion.periods_s(contacts.motion.runs(u), (20.0, 4.0))
    assert np.abs(before - contacts.motion.period_s).max() < 3.0


def test_what_does_not_last_is_a_row_of_nan_with_its_reason(contacts):
    aimed = Unknown("impactor.aim_offset_m.0", 0.0, 1.0, 5.0)
    asked = Unknowns.listed([*contacts.unknowns.each, aimed])
    model = EventModel.of(example(), contacts.mids, asked)
    u = np.concatenate([
        nought(model), guess(model, mutual_orbit__separation_m=300.0), guess(model, impactor__aim_offset_m__0=200.0),
        guess(model, momentum_transfer__beta=60.0),
    ])  # fmt: skip
    why = model.why(u)
    assert [reason.split(":")[0] for reason in why] == ["", "refused", "miss", "ends early"]
    assert "separation_m" in why[1] and "centre" in why[2]
    time = model.predicted_s(u)
    assert np.isfinite(time[0]).all() and np.isnan(time[1:]).all() and not model.shown(u)[1:].any()
    assert np.array_equal(np.isnan(model.change_s(u)), [False, True, True, True])


def test_axes_out_of_order_are_put_in_order(contacts):
    """A primary with b > a is the same body a quarter turn on: nothing jumps there.  A secondary is sorted."""
    asked = contacts.unknowns
    a, b, _ = example().primary.semi_axes_m
    u = guess(contacts, primary__semi_axes_m__0=b, primary__semi_axes_m__1=a)
    turned = EventModel.of(example().replace({"primary.rotation_phase_deg": 90.0}), contacts.mids, refine=4.0)
    late = contacts.predicted_s(u) - contacts.predicted_s(nought(contacts))
    assert np.abs(late).max() > 1.0
    assert np.abs(contacts.predicted_s(u) - turned.predicted_s(nought(turned))).max() < 1e-3
    swapped = guess(contacts, secondary__semi_axes_m__0=61.5, secondary__semi_axes_m__1=70.0)
    assert np.array_equal(contacts.predicted_s(swapped), contacts.predicted_s(nought(contacts)))
    assert isinstance(contacts.motion.inputs(asked.value(u))[0], Inputs)


def test_a_guess_does_not_depend_on_who_is_beside_it(contacts):
    u = 0.3 * np.random.default_rng(0).standard_normal((11, len(contacts.unknowns.names)))
    together = contacts.predicted_s(u)
    assert np.array_equal(together, np.concatenate([contacts.predicted_s(one) for one in u]))


def test_changes_are_those_of_prediction_and_of_the_orbits_of_simulated_systems(contacts):
    """The orbit's ellipse leaves seconds of each time, so its period hangs on where it is read: a slope over n/2 times
    with that scatter errs by scatter / span sqrt(12 / (n/2)) turns."""
    scenario = example()
    assert abs(contacts.change_over_s(nought(contacts))[0] - predict(scenario).period_change_s) < SEARCH_S
    found = worlds(scenario, Sky.of(scenario), *contacts.motion.days, 2)
    for world in (found.nominal, *found.members):
        orbit, count = world.orbit, 2.0 * DAYS * DAY_S / world.period_s * A_TURN
        fit_error_s = orbit.left_s * world.period_s / (DAYS * DAY_S) * math.sqrt(2.0 * 24.0 / count)
        away = contacts.change_s(of_world(contacts, world))[0] - orbit.change_s
        assert abs(away) < fit_error_s < 1.0


def test_unknowns_of_the_built_in_system():
    unknowns = Unknowns.of(example())
    assert unknowns.names[:3] == ("mutual_orbit.period_h", "phase", "momentum_transfer.beta")
    assert np.array_equal(np.isinf(unknowns.prior_sigma_u), np.arange(len(unknowns.names)) < 3)
    assert np.array_equal(unknowns.value(np.zeros(len(unknowns.names)))[0], unknowns.centre)
    with pytest.raises(ValueError, match="not in"):
        unknowns.index("separation")


def test_unknowns_have_the_distributions_of_sampling_and_their_correlations():
    """Quantiles of a uniform and a lognormal distribution at one sigma; a correlation of 0.6 of the scores."""
    quantities = {
        "mutual_orbit.separation_m": {"uniform": [800.0, 840.0]},
        "momentum_transfer.beta": {"lognormal": [2.2, 0.3]},
        "secondary.semi_axes_m.0": {"normal": [71.0, 2.0]},
    }
    pairs = [["mutual_orbit.separation_m", "secondary.semi_axes_m.0", 0.6]]
    scenario = example().replace({"sampling": {"quantities": quantities, "correlations": pairs}})
    asked = Unknowns.of(scenario)
    assert "pole_x" not in asked.names and asked.smooth.sum() == 5
    beta = asked.index("momentum_transfer.beta")
    assert np.isinf(asked.prior_sigma_u[beta])
    with_prior = Unknowns.of(scenario, beta_prior=True)
    assert with_prior.prior_sigma_u[beta] == 1.0
    u = np.random.default_rng(1).standard_normal((4000, len(asked.names)))
    x = with_prior.value(u)
    separation, size = (x[:, with_prior.index(name)] for name in ("mutual_orbit.separation_m",
                                                                  "secondary.semi_axes_m.0"))  # fmt: skip
    assert separation.min() > 800.0 and separation.max() < 840.0
    assert np.quantile(x[:, beta], 0.8413) == pytest.approx(2.2 * math.exp(0.3), rel=0.03)
    assert np.corrcoef(separation, size)[0, 1] == pytest.approx(0.6, abs=0.04)
    assert size.mean() == pytest.approx(71.0, abs=0.1) and size.std() == pytest.approx(2.0, rel=0.05)


def test_what_has_no_impact_or_other_physics_is_refused_in_a_sentence():
    with pytest.raises(InputError, match="no impact is given"):
        Unknowns.of(example().replace({"impactor": None, "momentum_transfer": None}))
    disturbed = example().replace({"perturbations.mean_motion_rate_rad_s2": 1e-17})
    with pytest.raises(InputError, match="switch them off"):
        EventModel.of(disturbed, MidTimes(np.array(["eclipse"]), np.array(["primary"]), np.array([1e4])))
