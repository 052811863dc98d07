"""Predicted sigmas of mid-times: closed forms on a nearly spherical pair, events searched anew, and refusals."""

import csv
import json
from types import SimpleNamespace

import numpy as np
import pytest
from test_geometry import PLACES

from binarydyn.commands import main
from binarydyn.observing.timetable import timetable
from binarydyn.observing.timetable_sigmas import _members, _mid_times, _runs, _shift_sigmas, with_sigmas
from binarydyn.sampling import Sample
from binarydyn.scenario import Scenario
from binarydyn.sky.events import events
from binarydyn.sky.geometry import Sky
from binarydyn.store import open_result

ROUND = """
[primary]
semi_axes_m = [270.0, 270.0, 269.99]
density_kg_m3 = 2400.0
spin_period_h = 2.9
[secondary]
semi_axes_m = [20.0, 19.0, 18.0]
density_kg_m3 = 2400.0
[mutual_orbit]
separation_m = 900.0
period_h = 11.5
pole_longitude_deg = 131.0
pole_latitude_deg = 80.0
[velocity_change]
along_track_mm_s = -0.01
"""
PERIOD_S, SIGMA_S, DAYS = 11.5 * 3600.0, 2.0, 6.0


def scenario(quantities: str) -> Scenario:
    text = PLACES.split("[")[0] + ROUND + "\n[" + PLACES.split("[", 1)[1]
    return Scenario.from_text(text + f"\n[sampling]\n[sampling.quantities]\n{quantities}\n", "round.toml")


def spread(quantities: str, count: int = 16):
    asked = scenario(quantities)
    return with_sigmas(timetable(asked, DAYS), Sample.of(asked, "random", count))


@pytest.fixture(scope="module")
def with_period():
    return spread(f'"mutual_orbit.period_h" = {{normal = [11.5, {SIGMA_S / 3600.0}]}}')


def test_an_uncertain_period_moves_each_middle_by_its_cycles(with_period):
    """t = (cycles since t0) P_syn, so dt/dP = t P_syn / P^2: circular orbit of spheres seen along one line.

    What is left (1 %) is the secondary's shadow: its outline is not round and turns with it.
    """
    known = [entry for entry in with_period.entries if entry.counts]
    synodic = with_period.ephemerides[0].spacing_s
    assert len(known) > 20
    for entry in known:
        wanted = abs(entry.event.mid_s) * synodic / PERIOD_S**2 * SIGMA_S
        assert entry.mid_time_sigma_s == pytest.approx(wanted, rel=0.01)


def test_a_known_push_hardly_blurs_the_drift(with_period):
    """The time shift is dP per cycle, and dP = 3 P dv/v: with P uncertain by 5e-5 it is uncertain by less than 1e-3 of
    itself.
    """
    late = [entry for entry in with_period.entries if entry.shift_s is not None]
    assert len(late) > 10
    assert all(entry.shift_sigma_s < 1e-3 * abs(entry.shift_s) + 0.01 for entry in late)


def test_an_uncertain_push_moves_the_middles_as_a_push_along_a_circle_does():
    """Along the track a velocity change dv moves the secondary by y = dv (4 sin(n t) / n - 3 t) and outwards by x = 2
    dv / n times (1 - cos(n t)) (Clohessy & Wiltshire 1960, J. Aerosp. Sci. 27, 653).

    Contacts lie at angles -f and f from the line, f half the event's turn.  Seen from s = sin(elevation) above the
    orbit they are where r^2 (s^2 + (1 - s^2) sin^2 f) is constant, so a larger r moves them by df / f' = -x / r (s^2 +
    (1 - s^2) sin^2 f) / ((1 - s^2) sin f cos f): together 4 becomes 4 cos f + 2 (s^2 / (1 - s^2) + sin^2 f) / cos f.
    First order in dv/v, on a line that turns with the Sun: two thousandths of 3 t.  The secondary has 20 m, since one
    whose spin is locked takes 3 I2 / (m r^2) of the velocity change's effect besides (1 % at 80 m).
    """
    sigma_mm_s = 0.005
    table = spread(f'"velocity_change.along_track_mm_s" = {{normal = [-0.01, {sigma_mm_s}]}}')
    n = 2.0 * np.pi / PERIOD_S
    synodic = {(line.kind, line.body): line.spacing_s for line in table.ephemerides}
    late = [entry for entry in table.entries if entry.side == "after" and entry.counts]
    assert len(late) > 10
    for entry in late:
        t, place = entry.event.mid_s, table.sky.at(entry.event.mid_s)
        aspect = place.solar_aspect_deg if entry.event.kind == "eclipse" else place.aspect_deg
        s2, f = np.cos(np.radians(aspect[0])) ** 2, 0.5 * n * entry.event.duration_s
        four = 4.0 * np.cos(f) + 2.0 * (s2 / (1.0 - s2) + np.sin(f) ** 2) / np.cos(f)
        share = 1e-3 * sigma_mm_s / (n * table.start.separation_m)
        share *= synodic[entry.event.kind, entry.event.body] / PERIOD_S
        wanted = share * abs(four * np.sin(n * t) / n - 3.0 * t)
        assert entry.mid_time_sigma_s == pytest.approx(wanted, abs=2e-3 * share * 3.0 * t)
        assert entry.shift_sigma_s == pytest.approx(entry.mid_time_sigma_s, rel=1e-9)
    before = [entry for entry in table.entries if entry.side == "before" and entry.counts]
    assert before and all(entry.mid_time_sigma_s == 0.0 for entry in before)


def test_a_members_middles_are_those_of_a_search_from_scratch():
    """A pole, a period and a velocity change that differ: events() knows nothing of the nominal ones; 1 ms."""
    asked = scenario(
        '"mutual_orbit.period_h" = {normal = [11.5, 0.002]}\n'
        '"mutual_orbit.pole_longitude_deg" = {normal = [131.0, 1.0]}\n'
        '"velocity_change.along_track_mm_s" = {normal = [-0.01, 0.1]}'
    )
    table, sample = timetable(asked, DAYS), Sample.of(asked, "random", 16)
    pairs, failed = _members(asked, sample)
    assert not failed
    for name in ("before", "after", "without"):
        ours = _mid_times(table, name, pairs[:2], sample)[1]
        (run,) = _runs(name, table.runs[name], pairs[1:2])
        found = {(e.kind, e.body, e.cycle): e.mid_s for e in events(run, Sky.of(pairs[1][0]))}
        late = [
            middle - found[e.kind, e.body, e.cycle]
            for e, middle in zip(table.found(name), ours, strict=True)
            if e.duration_s is not None
        ]
        assert len(late) > 10 and np.abs(late).max() < 1e-3


def test_the_command_prints_and_keeps_them(tmp_path, capsys):
    path, out, sheet = (tmp_path / name for name in ("r.toml", "e.h5", "e.csv"))
    path.write_text(scenario('"velocity_change.along_track_mm_s" = {normal = [-0.01, 0.002]}').text, encoding="utf-8")
    words = ["events", str(path), "--days", "2", "--members", "8", "--out", str(out), "--csv", str(sheet)]
    assert main([*words, "--json", "--plot", str(tmp_path / "e.svg")]) == 0
    report = json.loads(capsys.readouterr().out)
    sigmas = [row["mid_time_sigma_s"] for row in report["events"] if row["mid_time_sigma_s"]]
    assert len(sigmas) > 3 and report["nights"][-1]["shift_sigma_s"] > 0.0
    stored = open_result(out).events["mid_time_sigma_s"]
    assert [x for x in stored.tolist() if x > 0.0] == sigmas
    with sheet.open(encoding="utf-8") as stream:
        assert [
            float(line["mid_time_sigma_s"])
            for line in csv.DictReader(stream)
            if line["mid_time_sigma_s"] not in ("", "0.0")
        ] == sigmas
    assert main(["events", str(path), "--days", "2", "--members", "8"]) == 0
    said = capsys.readouterr().out
    assert (
        "sigma, min  sigma of time shift, min" in said
        and "from 8 members of [sampling]" in said
        and "ambiguous" not in said
    )
    assert report["sigma_members"] == 8
    assert main(["events", str(path), "--days", "2", "--nominal"]) == 0
    assert "sigma" not in capsys.readouterr().out


def test_where_the_count_of_turns_is_lost_is_said():
    """Half of a turn is 5.75 h, and 4 mm/s are 1 h in the period (3 dv/v P): ambiguous from the first event on that is
    moved by more than that half.
    """
    table = spread('"velocity_change.along_track_mm_s" = {normal = [-0.01, 4.0]}', 8)
    far = [entry for entry in table.entries if (entry.mid_time_sigma_s or 0.0) > 0.5 * table.ephemerides[0].spacing_s]
    sentences = [one for one in table.warnings if "ambiguous" in one]
    assert far and len(sentences) == 1 and table.utc(far[0])[-1] in sentences[0]


def test_too_few_members_and_members_without_distributions_are_refused(tmp_path, capsys):
    path = tmp_path / "r.toml"
    path.write_text(scenario('"velocity_change.along_track_mm_s" = {normal = [-0.01, 0.002]}').text, encoding="utf-8")
    for words in (["--members", "3"], ["--members", "0"], ["--members", "8", "--nominal"]):
        assert main(["events", str(path), *words]) == 2
        errors = capsys.readouterr().err
        assert errors.startswith("binarydyn: --members:") and errors.count("\n") == 1


def test_what_moves_both_timetables_alike_is_no_uncertainty_of_the_shift():
    """A common 100 s and 3 s of the impact's own: the shift is known to 3 s, either time to 100 s."""
    scores = np.random.default_rng(5).normal(size=(400, 2))
    event = SimpleNamespace(kind="eclipse", body="primary", cycle=4)
    table = SimpleNamespace(found=lambda side: [event])
    common, own = 100.0 * scores[:, :1], 3.0 * scores[:, 1:]
    sigma = _shift_sigmas(table, {"after": common + own, "without": common}, scores)
    assert sigma == pytest.approx([3.0], rel=1e-6)
