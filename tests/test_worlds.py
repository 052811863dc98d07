"""Simulated systems behind the errors of event times: what is drawn, their events, offsets and errors of middles."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from test_geometry import pair

from binarydyn.commands.texts.timing import timing_report
from binarydyn.constants import DAY_S
from binarydyn.errors import InputError
from binarydyn.observables import attitude
from binarydyn.observing.cadence import Cadence
from binarydyn.observing.event_times import fitted_times, reference_for
from binarydyn.observing.modelled_middles import OFFSET_S, UNKNOWN_S, following_s, middles_for, off_conjunction_s
from binarydyn.observing.modelling_doubts import modelling_doubts
from binarydyn.observing.reference import Reference
from binarydyn.observing.synthetic_times import Observing, observed, synthesised
from binarydyn.observing.uncertain_inputs import POLE_DEG, SIZE_SHARE, drawn_inputs, usual_errors
from binarydyn.observing.worlds import worlds
from binarydyn.scenario import example, load, varied
from binarydyn.scenario.variation import value_of
from binarydyn.sky.dips import dips_of
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.timing.mid_times import MidTimes, readings, readings_at

DAYS = 3.0
MEMBERS = 6


@pytest.fixture(scope="module")
def found():
    scenario = pair()
    return worlds(scenario, Sky.of(scenario), DAYS, DAYS, MEMBERS)


def poles(rows):
    lon, lat = (
        np.radians([row[f"mutual_orbit.pole_{name}_deg"] for row in rows]) for name in ("longitude", "latitude")
    )
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=1)


def test_usual_errors_have_their_sizes_and_axes_stay_in_order():
    """3 %, 0.3 deg; of 4000 a standard deviation is good to 1.1 %.  Sorting keeps the product of the axes."""
    rows = drawn_inputs(pair(), 4000)
    separations = np.array([row["mutual_orbit.separation_m"] for row in rows])
    assert separations.std() / separations.mean() == pytest.approx(0.01, rel=0.05)
    stated = poles(
        [
            {
                f"mutual_orbit.pole_{n}_deg": value_of(pair(), f"mutual_orbit.pole_{n}_deg")
                for n in ("longitude", "latitude")
            }
        ]
    )
    away = np.degrees(np.arccos(np.clip(poles(rows) @ stated[0], -1.0, 1.0)))
    assert np.sqrt(np.mean(away**2)) == pytest.approx(POLE_DEG * np.sqrt(2.0), rel=0.05)  # Rayleigh's distribution
    axes = np.array([[row[f"secondary.semi_axes_m.{i}"] for i in range(3)] for row in rows])
    assert (np.diff(axes, axis=1) <= 0.0).all()
    assert np.log(axes.prod(axis=1)).std() == pytest.approx(SIZE_SHARE * np.sqrt(3.0), rel=0.05)
    assert "semi-axes 3 %" in usual_errors(pair())[0] and "momentum received 15 %" in usual_errors(pair())[0]


def test_a_member_is_the_same_whoever_else_is_drawn():
    assert drawn_inputs(pair(), 3, 5) == drawn_inputs(pair(), 8)[5:]


def test_what_sampling_says_is_drawn_and_nothing_else_but_the_impulse():
    text = '\n[sampling]\nseed = 4\n[sampling.quantities]\n"secondary.semi_axes_m.0" = {normal = [70.0, 1.0]}\n'
    (row,) = drawn_inputs(pair(text), 1)
    assert set(row) == {"secondary.semi_axes_m.0", "momentum_transfer.beta"}
    assert "[sampling] does not draw it" in usual_errors(pair(text))[0]
    (row,) = drawn_inputs(pair(text + '"momentum_transfer.beta" = {normal = [2.2, 0.1]}\n'), 1)
    assert set(row) == {"secondary.semi_axes_m.0", "momentum_transfer.beta"}
    assert usual_errors(pair(text + '"momentum_transfer.beta" = {normal = [2.2, 0.1]}\n')) == ()


def test_events_of_a_member_are_those_that_a_search_finds(found):
    """Against the search of the same run by itself: contacts to what both are found to (1 ms each, up to 3
    ms apart in 257 dips), with room for grazing ones, and the same kinds."""
    off = []
    for world in found.members:
        for run in world.runs:
            searched = dips_of(run, world.sight, rays=32, epochs=9)
            mine = world.dips.chosen(world.dips.after == (run.time_s[-1] > 0.0))
            for i in range(len(mine)):
                k = int(np.argmin(np.abs(searched.contacts_mid_s - mine.contacts_mid_s[i])))
                assert (searched.kind[k], searched.body[k]) == (mine.kind[i], mine.body[i])
                off += [searched.first_s[k] - mine.first_s[i], searched.last_s[k] - mine.last_s[i]]
    assert len(off) > 200 and np.abs(off).max() < 0.01


def test_a_sight_for_another_pole_is_that_of_its_sky():
    """Turned directions against those computed anew: splines of 1e-8 rad."""
    scenario = pair()
    other = Sky.of(varied(scenario, {"mutual_orbit.pole_longitude_deg": 210.0, "mutual_orbit.pole_latitude_deg": 80.0}))
    sight, time = Sight(Sky.of(scenario), -1e5, 1e5), np.linspace(-9e4, 9e4, 7)
    turned, anew = sight.for_sky(other), Sight(other, -1e5, 1e5)
    for name in ("sunward", "earthward", "light_time_s"):
        np.testing.assert_allclose(getattr(turned, name)(time), getattr(anew, name)(time), atol=3e-8)
    assert np.abs(sight.sunward(time) - anew.sunward(time)).max() > 1e-3


def measured(world, late_s=0.0, timed="dip_centroid"):
    """The world's own events as exact times, by the mean of both laws."""
    table = world.table(timed == "contacts")
    timed = np.full(len(table), timed)
    time = off_conjunction_s(table, np.arange(len(table)), timed).mean(axis=1) + table.conjunction_s + late_s
    return MidTimes(table.kind, table.body, time + world.sight.light_time_s(time), timed=timed), time


@pytest.mark.parametrize("timed", ["dip_centroid", "half_depth", "folded", "contacts", "unsaid"])
def test_offsets_are_the_median_of_the_systems_and_columns_their_covariance(found, timed):
    """Against numpy's median and covariance of the same values, event by event."""
    said, timed = timed != "unsaid", timed.replace("unsaid", "dip_centroid")
    mids, time = measured(found.nominal, timed=timed)
    mids = mids if said else MidTimes(mids.kind, mids.body, mids.seen_s)
    matched = middles_for(mids, time, found)
    assert (matched.rows == np.arange(len(mids))).all() and matched.known.all()
    values = []
    for world in found.members:
        table = world.table(timed == "contacts")
        at = {key: i for i, key in enumerate(table.keys())}
        rows = np.array([at[key] for key in found.nominal.table(timed == "contacts").keys()])
        late = world.late_s(timed == "contacts")[rows]
        values.append(off_conjunction_s(table, rows, mids.timed) + late[:, None])
    values = np.array(values)
    each = values.mean(axis=2)
    np.testing.assert_allclose(matched.middles.offset_s, np.median(each, axis=0), atol=1e-9)
    away = each - np.median(each, axis=0)
    covariance = away.T @ away / (MEMBERS - 1)
    law = np.median(0.5 * (values[:, :, 1] - values[:, :, 0]), axis=0)
    whole = covariance + np.outer(law, law)
    columns = matched.middles.columns_s
    same = (mids.kind[:, None] == mids.kind) & (mids.body[:, None] == mids.body)
    size = 5.0 if timed == "contacts" else np.array([OFFSET_S[body] for body in mids.body])
    rest = columns @ columns.T - whole - same * size**2
    # what is left is the column of the definition: of rank one, none for contacts and what is said to be a centroid
    values = np.linalg.eigvalsh(rest)
    assert values[:-1] == pytest.approx(0.0, abs=1e-5 * np.abs(columns).max() ** 2)
    assert (values[-1] < 1e-6) == (said and timed in ("contacts", "dip_centroid"))


def test_slopes_over_the_apsidal_rate_are_told_from_chance():
    """Of 40 systems and 30 independent events: a slope of one sd is found as numpy.polyfit has it but for Stein's
    factor, 1 - 28/30 of the squared error over the square (James & Stein); of chance, little is left."""
    random = np.random.default_rng(4)
    rates, noise = random.standard_normal(40) * 3e-7, random.standard_normal((40, 30))
    follows = noise + 1.0 * rates[:, None] / 3e-7
    wanted = np.polyfit(rates, follows, 1)[0]
    left = follows - rates[:, None] * wanted
    error = np.sum(left.var(axis=0)) * 40 / 38 / np.sum((rates - rates.mean()) ** 2)
    found = following_s(follows, rates) / wanted
    assert found == pytest.approx(np.full(30, found[0])) and 1.0 - error / (wanted @ wanted) < found[0] < 0.999
    by_chance = following_s(noise, rates)
    assert by_chance @ by_chance < 0.2 * np.sum(np.polyfit(rates, noise, 1)[0] ** 2)
    assert not following_s(noise[:9], rates[:9]).any() and not following_s(noise, np.ones(40)).any()


def test_conjunctions_less_what_is_no_ellipse_are_those_of_one(found):
    """Exact ones of a system that librates by seconds, moved by what they are late: the orbit that was laid through
    longitudes all around goes through them, to a hundredth of that."""
    world = found.nominal
    for apart in (False, True):
        table, late = world.table(apart), world.late_s(apart)
        seen = readings_at(world.sight, table.kind, table.body, table.conjunction_s, table.after)
        counted = world.counted_rad(table)
        left = world.orbit.late_s(seen.earlier(late), counted - seen.slide_rad_s * late)
        assert np.abs(left).max() < 0.01 * np.abs(late).max() and np.sqrt(np.mean(late**2)) > 1.0
    assert np.sqrt(np.mean(late**2)) < 2.0 * world.orbit.left_s


def test_an_event_is_known_by_its_turns_where_the_times_have_drifted(found):
    """Two thirds of a period late the nearest in time is another event; counted turns say which it is."""
    mids, time = measured(found.nominal, late_s=25000.0)
    counted = found.nominal.counted_rad(found.nominal.dips)
    late = (time > 0.0) & (time < (DAYS - 1.0) * DAY_S)
    assert (middles_for(mids, time, found).rows[late] != np.flatnonzero(late)).all()
    assert (middles_for(mids, time, found, counted).rows == np.arange(len(mids))).all()
    turns = np.diff(counted[(mids.kind == mids.kind[0]) & (mids.body == mids.body[0])])
    assert turns == pytest.approx(2.0 * np.pi, abs=0.02)


def test_what_no_system_shows_counts_for_little_and_an_overlap_is_said():
    """Where both of a body overlap, a lone occultation is none of the systems' events, an eclipse is taken for both."""
    found = worlds(example(), Sky.of(example()), 1.5, 1.5, 4)
    mids, time = measured(found.nominal)
    both = np.flatnonzero(mids.kind == "both")
    assert len(both) > 4
    for kind in ("occultation", "eclipse"):
        called = replace(mids, kind=np.where(np.arange(len(mids)) == both[2], kind, mids.kind))
        matched = middles_for(called, time, found)
        at, own = both[2], matched.middles.columns_s[both[2]]
        assert matched.known[at] == matched.overlapping[at] == (kind == "eclipse")
        assert (np.sqrt(own @ own) >= UNKNOWN_S) == (kind == "occultation") and matched.overlapping.sum() <= 1


def test_too_few_systems_are_refused():
    text = '\n[sampling]\nseed = 4\n[sampling.quantities]\n"impactor.aim_offset_m.0" = {normal = [0.0, 900.0]}\n'
    with pytest.raises(InputError, match="of 8 drawn systems can be simulated"):
        worlds(pair(text), Sky.of(pair(text)), 0.6, 0.6, 8)


def test_bare_times_of_the_primary_are_warned_of_with_their_size():
    """2022 geometry: a quarter of an hour from the conjunction; contacts are what they are."""
    scenario = load(Path(__file__).parents[1] / "reference_cases" / "impact_2022_heliocentric.toml")
    reference = Reference.of(scenario, (3.1, 3.1), 8)
    for timed, told in (("dip_centroid", True), ("contacts", False)):
        mids = synthesised(scenario, 3.0, Observing(0.0, timed=timed), 0)
        found = fitted_times(reference, replace(mids, sigma_s=np.full(len(mids), 30.0)))
        said = [sentence for sentence in found.doubts if "of the primary at phase angles" in sentence]
        assert len(said) == told
        if told:
            low, high = re.search(r"middle ([+-]\d+) to ([+-]\d+) s", said[0]).groups()
            assert int(low) < -600 and int(high) <= int(low) + 3000 and re.search(r"angles of 49 to 57 deg", said[0])


def test_a_change_that_wanders_is_told_and_one_that_does_not_is_not(found):
    reference = Reference(found.nominal.scenario, found.nominal.sight.sky, None, (DAYS, DAYS), found)
    for wander, sigma, told in (((0.01, 0.02), 1.0, 0), ((-9.0, 2.0), 3.0, 1)):
        reference.__dict__["wander_s"] = wander
        fit = SimpleNamespace(change_sigma_s=sigma, of=lambda _: (0.0, 0.01))
        said = [one for one in modelling_doubts(reference, *seen_of(found), fit) if "window of the data" in one]
        assert len(said) == told and all("-9.00 +- 2.00 s different" in one for one in said)


def test_the_change_of_a_tumbling_pair_is_that_of_the_days_of_the_data():
    """Secondaries that tumble, which the fit's ellipse does not hold (tens of seconds are left of exact conjunctions):
    three systems that it does not know, each within the interval of 99.9 % of the change in its own window, and none
    within that of another; that 60 days have another change is said, and by how much."""
    scenario = pair().replace({"secondary.semi_axes_m": [90.0, 63.0, 50.0], "momentum_transfer.beta": 4.5})
    mids = synthesised(scenario, 6.0, Observing(noise_s=0.0), 0)
    reference = reference_for(scenario, mids, 20)
    cadence, answers, truths = Cadence.of(reference, mids), [], []
    for k, world in enumerate(worlds(scenario, reference.sky, *reference.days, 3, 90).members):
        assert attitude(world.runs[1]).tumbling
        timed = observed(cadence.exact_in(world, "lambert"), Observing(noise_s=30.0), np.random.default_rng((5, k)))
        fit = fitted_times(reference, timed)
        answers.append(fit.change)
        truths.append(world.orbit)
        assert any("window of the data" in one and "different in simulated systems" in one for one in fit.warnings)
        assert timing_report(fit)["period_change_over_windows"]["sd_s"] > 3.0
    covered = [[abs(2.0 * answer.cdf(truth.change_s) - 1.0) < 0.999 for truth in truths] for answer in answers]
    assert (np.array(covered) == np.eye(len(truths))).all()
    assert min(truth.left_s for truth in truths) > 10.0 and max(answer.sigma for answer in answers) < 30.0


def seen_of(found):
    """Exact times of the nominal system, as a fit sees them."""
    mids, time = measured(found.nominal)
    matched = middles_for(mids, time, found)
    return mids, readings(mids, found.nominal.sight).earlier(matched.middles.offset_s), matched
