"""The timetable before and after the impact: numbering, time shift, ephemeris, files, and refusals."""

import csv
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from invented import PLACELESS
from test_geometry import PLACES, pair

from binarydyn import plots
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.files.csv_tables import TIMETABLE, write_rows
from binarydyn.observing.modelled_middles import middles_for
from binarydyn.observing.reference import Reference
from binarydyn.observing.timetable import timetable
from binarydyn.observing.timetable_rows import COLUMNS, rows, without_conjunction
from binarydyn.prediction import predict
from binarydyn.scenario import Scenario, example, varied
from binarydyn.sky.events import events
from binarydyn.store import Events, open_result, save
from binarydyn.store.mid_times import read_mid_times
from binarydyn.timing.mid_times import readings

DAYS = 6.0
KINDS = [(kind, body) for kind in ("eclipse", "occultation") for body in ("primary", "secondary")]


@pytest.fixture(scope="module")
def table():
    return timetable(pair(), DAYS)


@pytest.fixture(scope="module")
def overlapping():
    """The built-in pair, at a phase angle of 25 deg."""
    return timetable(example(), 4.0)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "pair.toml"
    path.write_text(pair().text, encoding="utf-8")
    return path


def of_kind(table, label, side=None):
    """Those of a kind and body, alone or as a part of both."""
    entries = [e for e in table.entries if any((kind, body) == label for kind, body, _ in e.event.causes)]
    return [entry for entry in entries if side is None or entry.side == side]


def cycle_of(entry, label):
    return next(cycle for kind, _, cycle in entry.event.causes if kind == label[0])


def test_conjunctions_are_numbered_through_the_impact(table):
    """Each once, 0 the first whose middle comes after t0."""
    for label in KINDS:
        whole = [entry for entry in of_kind(table, label) if not entry.event.is_cut]
        cycles = [cycle_of(entry, label) for entry in whole]
        assert cycles == list(range(cycles[0], cycles[-1] + 1)), label
        assert all((cycle_of(entry, label) >= 0) == (entry.side == "after") for entry in whole)
        assert len(cycles) >= 2 * int(DAYS * 24.0 / table.period_before_h) - 1


def test_the_drift_grows_by_the_change_of_the_period(table):
    """Slope of the time shift over the cycles against the difference of the sidereal periods, which the time shift
    never saw.

    The synodic periods that it consists of are longer by their share of the Sun's motion, below 0.3 % here; an
    eccentric orbit that turns bends the line by 1 % over six days.
    """
    change_s = 3600.0 * (table.period_after_h - table.period_before_h)
    assert abs(change_s) > 1000.0
    for label in KINDS[:2]:
        known = [entry for entry in of_kind(table, label, "after") if entry.shift_s is not None]
        assert len(known) >= 10
        slope = np.polyfit([entry.event.cycle for entry in known], [entry.shift_s for entry in known], 1)[0]
        assert slope == pytest.approx(change_s, rel=0.02)


def test_every_whole_event_after_the_impact_has_a_drift(table):
    late = [
        entry for entry in table.entries if entry.side == "after" and entry.counts and entry.event.kind != "occultation"
    ]
    assert late and all(entry.shift_s is not None for entry in late)
    assert all(entry.shift_s is None for entry in table.entries if entry.side == "before")


def test_without_an_impact_nothing_drifts():
    """The run after is the run without, and observed minus calculated stays within what geometry bends in six days."""
    text = pair().text
    quiet = pair().from_text(text[: text.index("[impactor]")] + "[heliocentric_orbit]" + PLACES.split("]", 1)[1])
    table = timetable(quiet, DAYS)
    drifts = [entry.shift_s for entry in table.entries if entry.shift_s is not None]
    assert drifts and np.abs(drifts).max() < 1e-3
    late = [e.o_minus_c_s for e in table.entries if e.side == "after" and e.o_minus_c_s is not None]
    assert np.abs(late).max() < 60.0
    assert table.impact.status == "none" and table.status == "completed"


def test_synodic_spacing_and_sidereal_period(table):
    """Eclipses follow the Sun's longitude in the orbit's plane, and are seen ever later as the light's way grows:
    P_seen = P / (1 - P l'/2 pi) (1 + tau'), l' and tau' from the geometry over the window.
    """
    period_s, ends = 3600.0 * table.period_before_h, np.array([-DAYS * 86400.0, 0.0])
    g = table.sky.at(ends)
    longitude = np.unwrap(np.arctan2(g.sunward[:, 1], g.sunward[:, 0]))
    rate, later = (float(np.diff(x)[0] / np.diff(ends)[0]) for x in (longitude, g.light_time_s))
    wanted = period_s / (1.0 - period_s * rate / (2.0 * np.pi)) * (1.0 + later)
    assert abs(wanted - period_s) > 10.0  # there is something to see
    for line in table.ephemerides:
        if line.kind == "eclipse":
            error = line.scatter_s * np.sqrt(12.0 / line.count**3)
            assert line.spacing_s == pytest.approx(wanted, abs=4.0 * error + 0.2)


def test_utc_is_the_instant_at_the_pair_and_the_light_time(table):
    from datetime import datetime

    found = rows(table)[5]
    t0 = datetime.fromisoformat(table.scenario.impact_epoch_utc + "+00:00")
    seen = (datetime.fromisoformat(found["mid_utc"]) - t0).total_seconds()
    assert seen == pytest.approx(found["mid_s"] + found["light_time_s"], abs=0.06)
    assert 400.0 < found["light_time_s"] < 600.0


def test_a_row_has_both_middles_and_the_spread_over_scattering_laws(table):
    """The mean over the laws of what light_curve shows (test_dips.py), seen a light time later; mid_utc is that of
    contacts, and says so."""
    from datetime import datetime

    found = rows(table)
    assert {row["timed"] for row in found} == {"contacts"}
    dipped = [row for row in found if row["dip_kind"]]
    assert dipped and {row["dip_kind"] for row in dipped} <= {"eclipse", "occultation", "both"}
    t0 = datetime.fromisoformat(table.scenario.impact_epoch_utc + "+00:00")
    for row, entry in zip(found, table.entries, strict=True):
        dip = entry.event.dip
        if dip is None:
            assert all(row[name] is None for name in ("dip_kind", "dip_mid_utc", "dip_mid_s", "dip_depth_mag"))
            continue
        assert row["dip_mid_s"] == sum(dip.centroid_s) / 2 and row["dip_minimum_s"] == sum(dip.minimum_s) / 2
        assert row["dip_law_spread_s"] == dip.centroid_s[1] - dip.centroid_s[0]
        seen = (datetime.fromisoformat(row["dip_mid_utc"]) - t0).total_seconds()
        assert seen == pytest.approx(row["dip_mid_s"] + row["light_time_s"], abs=0.1)
    assert all(row["dip_kind"] == row["kind"] for row in dipped)
    assert len({row["dip_mid_s"] for row in dipped}) == len(dipped)


def test_an_eclipse_and_an_occultation_that_overlap_are_one_event(overlapping):
    """Against the events of the runs, each by itself: contacts of the whole; nothing that overlaps is left apart."""
    table = overlapping
    for side in ("before", "after"):
        alone = {
            (e.kind, e.body, e.cycle): e
            for e in events(table.runs[side], table.sky, dips=False)
            if e.duration_s is not None
        }
        entries = [entry for entry in table.entries if entry.side == side and entry.counts]
        both = [entry.event for entry in entries if entry.event.kind == "both"]
        assert len(both) >= 4 and {event.body for event in both} == {"primary", "secondary"}
        for event in both:
            (first, *_, last), (begin, *_, end) = (alone[cause].contacts_s for cause in event.causes)
            assert max(first, begin) < min(last, end)
            assert event.contacts_s == (min(first, begin), None, None, max(last, end))
            assert event.mid_s == 0.5 * (event.contacts_s[0] + event.contacts_s[3])
        single = [entry.event for entry in entries if entry.event.kind != "both"]
        assert len(single) + 2 * len(both) == len(alone)
        for one in single:
            for two in single:
                if one.kind == "eclipse" and two.kind == "occultation" and one.body == two.body:
                    assert one.contacts_s[3] <= two.contacts_s[0] or two.contacts_s[3] <= one.contacts_s[0]
    late = [entry for entry in table.entries if entry.event.kind == "both" and entry.side == "after"]
    without = {
        (e.kind, e.body, e.cycle): e for e in events(table.runs["without"], table.sky, dips=False) if e.duration_s
    }
    for entry in late:
        ends = [without[cause].contacts_s for cause in entry.event.causes]
        middle = 0.5 * (min(first for first, *_ in ends) + max(last for *_, last in ends))
        assert entry.shift_s == pytest.approx(entry.event.mid_s - middle, abs=1e-6)


def test_the_table_for_a_reader_has_the_dips(file, capsys):
    assert main(["events", str(file), "--days", "1"]) == 0
    text = capsys.readouterr().out
    assert "dip (UTC)  by law, s" in text and "dip: centroid of the light that is missing" in text


def test_nights_hold_each_drifting_event_once(table):
    nights = table.nights()
    assert [night.date_utc for night in nights] == sorted({night.date_utc for night in nights})
    assert sum(night.events for night in nights) == sum(entry.shift_s is not None for entry in table.entries)
    drifts = [night.shift_s for night in nights]
    assert all(later < sooner for sooner, later in zip(drifts, drifts[1:], strict=False))  # ever earlier


def test_json_csv_and_file_say_the_same(file, tmp_path, capsys):
    out, sheet = tmp_path / "e.h5", tmp_path / "e.csv"
    assert main(["events", str(file), "--days", "2", "--json", "--csv", str(sheet), "--out", str(out)]) == 0
    report = json.loads(capsys.readouterr().out)
    stored = open_result(out)
    with sheet.open(encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    assert stored.kind == "events" and len(lines) == len(report["events"]) == len(stored.events["mid_utc"])
    for line, given, kept in zip(lines, report["events"], stored.events["depth_mag"], strict=True):
        assert float(line["depth_mag"]) == given["depth_mag"] == kept
        assert line["dip_mid_utc"] == (given["dip_mid_utc"] or "") and line["timed"] == given["timed"] == "contacts"
        assert line["mid_utc"] == given["mid_utc"] and (line["shift_s"] == "") == (given["shift_s"] is None)
    assert {given["extent"] for given in report["events"]} & {"partial", "total", "annular"}
    assert [given["kind"] for given in report["events"]] == [line["kind"] for line in lines]
    assert main(["show", str(out), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["events"][3]["depth_mag"] == report["events"][3]["depth_mag"]


def test_the_table_for_a_reader_says_what_is_absent(file, capsys):
    assert main(["events", str(file), "--days", "1"]) == 0
    text = capsys.readouterr().out
    assert "no sidereal period: too short a table" in text and "- h before" not in text
    assert "duration, min  depth, mag" in text
    assert "absent in" in text and "conjunctions (gap " in text and "time shift, min" in text and "hazard" in text


CASES = Path(__file__).parents[1] / "reference_cases"


def test_a_short_table_is_no_orbit_seen_from_its_pole(tmp_path, capsys):
    """0.1 days of the 2022 pair, whose eclipse comes within 2.4 h; the empty table has the columns of a full one."""
    case, files = str(CASES / "impact_2022_heliocentric.toml"), [tmp_path / f"{k}.csv" for k in (1, 2)]
    stored = tmp_path / "none.h5"
    assert main(["events", case, "--days", "0.1", "--csv", str(files[0]), "--out", str(stored)]) == 0
    text = capsys.readouterr().out
    assert "from its pole, to" not in text and "from the orbit's pole: observer 141.47, Sun 101.26 deg" in text
    assert "no conjunction for an eclipse within 0.1 days of t0, where an orbit takes 11.92 h" in text
    assert "11.3 deg away, so there may be some" in text and "51.5 deg away, so there is none" in text
    assert main(["events", case, "--days", "1", "--csv", str(files[1])]) == 0
    empty, full = (file.read_text(encoding="utf-8").splitlines() for file in files)
    assert len(empty) == 1 and empty[0] == full[0] and len(full[0].split(",")) == 33 and len(full) > 2
    assert any(",eclipse," in line and ",absent," not in line for line in full[1:])
    assert "mid_utc" in open_result(stored).events and not len(open_result(stored).events["mid_utc"])


@pytest.mark.parametrize(("aspect", "polar"), [(0.4, True), (179.5, True), (2.0, False), (120.0, False)])
def test_only_the_aspect_says_that_an_orbit_is_seen_from_its_pole(table, aspect, polar):
    """The same table, without its rows, under other directions."""
    towards = np.array([[np.sin(np.radians(aspect)), 0.0, np.cos(np.radians(aspect))]])
    sky = SimpleNamespace(at=lambda time_s: replace(table.sky.at([0.0]), sun=towards, observer=towards))
    said = without_conjunction(replace(table, entries=(), sky=sky))
    assert len(said) == 2 and all(("from its pole, to" in sentence) == polar for sentence in said)
    assert ("lit from its pole" in said[0] and "seen from its pole" in said[1]) == polar
    assert without_conjunction(table) == []


def test_the_figure_shows_every_event_that_takes_place(table, tmp_path):
    figure = plots.timetable_figure(table)
    depths = figure.axes[1]
    drawn = sum(len(line.get_xdata()) for line in depths.get_lines() if not line.get_label().startswith("_"))
    assert drawn == sum(entry.counts for entry in table.entries)
    deepest = max(entry.event.depth_mag for entry in table.entries if entry.counts)
    assert depths.get_ylim()[1] > 1.1 * deepest  # whole marks, below the mark of the impact
    saved = plots.save_timetable(tmp_path / "e.svg", table)
    assert saved.stat().st_size > 10_000


def test_both_is_one_row_in_table_csv_json_file_and_figure(overlapping, tmp_path, capsys):
    out, sheet = tmp_path / "e.h5", tmp_path / "e.csv"
    assert main(["events", "--days", "1", "--json", "--csv", str(sheet), "--out", str(out)]) == 0
    kinds = [given["kind"] for given in json.loads(capsys.readouterr().out)["events"]]
    with sheet.open(encoding="utf-8") as stream:
        assert [line["kind"] for line in csv.DictReader(stream)] == kinds and kinds.count("both") > 6
    assert [str(kind) for kind in open_result(out).events["kind"]] == kinds
    assert main(["events", "--days", "1"]) == 0
    said = capsys.readouterr().out
    assert sum("eclipsed and occulted" in line[:80] for line in said.splitlines()) >= kinds.count("both")
    depths = plots.timetable_figure(overlapping).axes[1]
    drawn = {line.get_label(): len(line.get_xdata()) for line in depths.get_lines()}
    assert drawn["eclipse and occultation of the primary"] == sum(
        (e.event.kind, e.event.body) == ("both", "primary") for e in overlapping.entries
    )


def test_times_of_both_from_the_table_are_those_of_the_systems(overlapping, tmp_path):
    """What `events --csv` writes is read as contacts of the whole: offsets of a fit are then those of such events."""
    mids = read_mid_times(str(_sheet(overlapping, tmp_path)), overlapping.sky.clock, overlapping.start.period_h)
    reference = Reference.of(overlapping.scenario, (4.1, 4.1), 6)
    time = readings(mids, reference.found.nominal.sight).time_s
    matched = middles_for(mids, time, reference.found)
    table, both = reference.found.nominal.dips, mids.kind == "both"
    assert both.sum() > 20 and matched.known[both].all()
    assert (table.kind[matched.rows[both]] == "both").all()
    away = time[both] - table.contacts_mid_s[matched.rows[both]]
    assert np.abs(away).max() < 0.4  # a tenth of a second in the table, contacts to 0.2 s


def _sheet(table, tmp_path):
    write_rows(str(tmp_path / "e.csv"), TIMETABLE, rows(table), COLUMNS)
    return tmp_path / "e.csv"


def test_a_site_on_the_ground_sees_other_times(table):
    """An Earth radius nearer or farther: up to 21 ms of light time, and up to 6e-5 rad at 0.7 au of parallax."""
    moved = timetable(pair(extra="\n[observer]\nlongitude_deg = 20.0\nlatitude_deg = -32.0\nheight_m = 1700.0\n"), 1.0)
    assert moved.sky.site is not None
    seen = {(e.event.kind, e.event.body, e.event.cycle): e.seen_s for e in table.entries if e.event.kind == "eclipse"}
    late = [
        e.seen_s - seen[label] for e in moved.entries if (label := (e.event.kind, e.event.body, e.event.cycle)) in seen
    ]
    assert late and 1e-6 < np.abs(late).max() < 0.05


@pytest.mark.parametrize(
    "text, named, said",
    [
        ("[observer]\nlongitude_deg = 20.0\n", "observer.latitude_deg", "together"),
        ("[observer]\nheight_m = 20.0\n", "observer.height_m", "site"),
        ("[observer]\nlatitude_deg = 95.0\nlongitude_deg = 0.0\n", "observer.latitude_deg", "-90 .. 90 deg"),
        ('[observer]\nsunlight = "lamp"\n', "observer.sunlight", "point or disc"),
        ("[observer]\nlongitude = 20.0\n", "observer.longitude", "longitude_deg"),
    ],
)
def test_a_wrong_observer_is_one_sentence(text, named, said, tmp_path, capsys):
    path = tmp_path / "pair.toml"
    path.write_text(pair().text + "\n" + text, encoding="utf-8")
    assert main(["events", str(path)]) == 2
    errors = capsys.readouterr().err
    assert named in errors and said in errors and errors.count("\n") == 1


def test_wrong_options_are_one_sentence(file, tmp_path, capsys):
    sweep_like = tmp_path / "not.h5"
    sweep_like.write_bytes(b"nothing")
    for words, said in (
        (["--days", "0"], "0.1 .. 3650"),
        (["--days", "nan"], "0.1 .. 3650"),
        (["--csv", str(tmp_path / "no" / "e.csv")], "folder"),
        (["--out", str(sweep_like)], "not.h5"),
        (["--plot", str(tmp_path / "e.gif")], ".png"),
    ):
        assert main(["events", str(file), *words]) == 2
        errors = capsys.readouterr().err
        assert said in errors and errors.count("\n") == 1
    sweep_like.with_suffix(".toml").write_text(PLACELESS)
    assert main(["events", str(sweep_like.with_suffix(".toml"))]) == 2
    assert "heliocentric_orbit" in capsys.readouterr().err


def test_a_timetable_replaces_no_prediction(file, tmp_path, table):
    from binarydyn.store import write_prediction

    path = tmp_path / "p.h5"
    write_prediction(path, predict(varied(example(), {"simulation.days_before": 3.0, "simulation.days_after": 3.0})))
    with pytest.raises(InputError, match="holds a prediction"):
        save(path, Events.of(table))


def test_the_built_in_pair_shows_events_about_its_impact_and_moves_as_without_a_place(capsys):
    """Its invented orbit about the Sun decides what is seen and not a bit of what happens."""
    assert main(["events", "--days", "1", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    seen = {(event["side"], event["kind"], event["body"]) for event in told["events"] if event["depth_mag"] > 0.02}
    assert seen >= {(side, "both", body) for side in ("before", "after") for body in ("primary", "secondary")}
    assert all(abs(event["mid_s"]) > 0.5 * 3600.0 for event in told["events"])  # none is under way at t0
    assert 10.0 < told["phase_angle_deg"] < 40.0 and told["observer_distance_au"] < 0.5
    short = {"simulation.days_before": 5.0, "simulation.days_after": 5.0}
    here, nowhere = (predict(varied(pair, short)) for pair in (example(), Scenario.from_text(PLACELESS)))
    assert here.numbers() == nowhere.numbers()
    assert np.array_equal(here.after.y, nowhere.after.y)
