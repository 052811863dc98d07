"""Event times as CSV: what is read back, and a sentence with its line for everything that is wrong."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_geometry import pair

from binarydyn import plots
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.observing.event_times import timing_fit
from binarydyn.observing.plan import plan
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.observing.timetable import timetable
from binarydyn.plots.pages.timing import save_timing
from binarydyn.relaxed.start import start
from binarydyn.scenario import example
from binarydyn.sky.geometry import Sky
from binarydyn.store.mid_times import read_mid_times, write_mid_times
from binarydyn.timing.fit import timing
from binarydyn.timing.mid_times import readings

PERIOD_H = 10.42
HEAD = "mid_utc,kind,body,sigma_s\n"
GOOD = HEAD + (
    "2031-05-03T01:02:03.5Z,eclipse,primary,30\n"
    "2031-05-03T06:20:00,eclipse,secondary,31.5\n"
    "2031-05-08T01:02:03+00:00,occultation,primary,30\n"
)


@pytest.fixture(scope="module")
def clock():
    return Sky.of(pair()).clock


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "pair.toml"
    path.write_text(pair().text, encoding="utf-8")
    return path


def read(text, clock, tmp_path):
    path = tmp_path / "times.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_mid_times(str(path), clock, PERIOD_H)


def test_what_is_right_is_read(clock, tmp_path):
    """In any order and spelling of UTC; a byte mark, empty lines and other columns do not matter."""
    mids = read("\ufeff" + GOOD + "\n\n", clock, tmp_path)
    assert list(mids.kind) == ["eclipse", "eclipse", "occultation"]
    assert list(mids.body) == ["primary", "secondary", "primary"]
    np.testing.assert_allclose(np.diff(mids.seen_s), [19076.5, 5.0 * 86400.0 - 19077.0])
    assert set(mids.timed) == {"dip_centroid"} and not mids.said.any()


def test_what_is_written_is_read_back(clock, tmp_path):
    mids = synthesised(pair(), 3.0, Observing(20.0), 4)
    write_mid_times(tmp_path / "w.csv", mids, clock)
    back = read_mid_times(str(tmp_path / "w.csv"), clock, PERIOD_H)
    np.testing.assert_allclose(back.seen_s, mids.seen_s, atol=0.0501)  # tenths of a second
    assert list(back.kind) == list(mids.kind) and list(back.body) == list(mids.body)
    np.testing.assert_array_equal(back.sigma_s, 20.0)
    assert list(back.timed) == list(mids.timed) and back.said.all()


def test_a_timetable_is_read_as_it_is(file, clock, tmp_path, capsys):
    """Events that do not take place, or are cut by the impact, are passed over."""
    assert main(["events", str(file), "--days", "3", "--csv", str(tmp_path / "e.csv")]) == 0
    mids = read_mid_times(str(tmp_path / "e.csv"), clock, PERIOD_H)
    entries = [entry for entry in timetable(pair(), 3.0).entries if entry.counts]
    assert mids.sigma_s is None and len(mids) == len(entries) < len(timetable(pair(), 3.0).entries)
    np.testing.assert_allclose(mids.seen_s, sorted(entry.seen_s for entry in entries), atol=0.0501)
    capsys.readouterr()


def test_what_does_not_take_place_is_passed_over(clock, tmp_path):
    """Said by its extent, or by a contact that is missing."""
    lines = [
        "mid_utc,kind,body,extent,contact1_utc,contact4_utc",
        "2031-05-03T01:02:03Z,eclipse,primary,absent,x,x",
        "2031-05-03T11:02:03Z,eclipse,primary,partial,x,x",
        "2031-05-03T21:02:03Z,eclipse,primary,partial,x,",
        "2031-05-04T07:02:03Z,eclipse,primary,partial,,x",
    ]
    assert list(read("\n".join(lines), clock, tmp_path).line) == [3]


def test_what_was_timed_is_the_centroid_of_the_dip_unless_it_is_said(clock, tmp_path):
    """Both at once is a kind of its own; an empty cell says nothing, as an absent column."""
    lines = [
        "mid_utc,kind,body,timed",
        "2031-05-03T01:02:03Z,both,primary,",
        "2031-05-03T06:20:00Z,eclipse,secondary,folded",
    ]
    mids = read("\n".join(lines), clock, tmp_path)
    assert list(mids.timed) == ["dip_centroid", "folded"] and list(mids.kind) == ["both", "eclipse"]
    assert set(read(GOOD, clock, tmp_path).timed) == {"dip_centroid"}


def test_a_night_of_an_observer_is_a_group(clock, tmp_path):
    """From noon to noon of the site: 20 h and 4 h UTC are one night at Greenwich, two at 180 deg.  Two observers may
    have timed one event, which one of them may not have timed twice.
    """
    head = "mid_utc,kind,body,observer\n"
    rows = [f"2031-05-0{day}:02:03Z,eclipse,{body}" for day, body in (("3T20", "primary"), ("4T04", "secondary"))]
    seen = head + "".join(f"{row},{who}\n" for row in rows for who in ("near", "far"))
    path = tmp_path / "two.csv"
    path.write_text(seen)
    t0 = clock.epoch_utc
    midnight_s = -(t0.hour * 3600.0 + t0.minute * 60.0 + t0.second)
    one = read_mid_times(str(path), clock, PERIOD_H, midnight_s)
    other = read_mid_times(str(path), clock, PERIOD_H, midnight_s + 43200.0)
    assert list(one.observer) == ["near", "far"] * 2
    assert one.group[0] == one.group[2] != one.group[1] == one.group[3]
    assert len(set(other.group)) == 4
    kept = one.chosen(np.array([1, 3]))
    assert len(set(kept.group)) == 1 and list(kept.observer) == ["far", "far"]
    path.write_text(seen + f"{rows[0]},far\n")
    with pytest.raises(InputError, match="line 6: this eclipse of the primary is already in line 3"):
        read_mid_times(str(path), clock, PERIOD_H)


@pytest.mark.parametrize(
    ("column", "meant"),
    [("definition", "timed"), ("Uncertainty_s", "sigma_s"), ("sigma_", "sigma_s"), ("site", "observer")],
)
def test_a_column_that_may_stand_for_another_is_refused(column, meant, clock, tmp_path):
    """It would be ignored, and a wrong definition stays silent in chi2; one of other matters is told."""
    rows = "2031-05-03T01:02:03Z,both,primary,folded\n"
    with pytest.raises(InputError, match=f"{column} is not known and would be ignored, is it {meant}"):
        read(f"mid_utc,kind,body,{column}\n{rows}", clock, tmp_path)
    found = read(f"mid_utc,kind,body,filter\n{rows}", clock, tmp_path)
    assert len(found) == 1 and found.chosen(np.array([0])).warnings == (
        "the column filter is not used, known are mid_utc, kind, body, sigma_s, timed, observer",
    )


LINE = "2031-05-09T01:02:03Z,eclipse,primary,30\n"
WRONG = [
    ("", "times.csv", "empty"),
    ("\n \n", "times.csv", "empty"),
    (HEAD, "times.csv", "no event"),
    (b"\x89PNG\r\n\x00\xff", "line 1", "UTF-8"),
    (b"mid_utc\x00", "times.csv", "binary"),
    (GOOD.encode() + b"2031-05-09T01:02:03Z,eclipse,\xff\n", "line 5", "UTF-8"),
    (GOOD.replace("mid_utc", "mid"), "line 1", "does not say its time scale"),
    (GOOD.replace("mid_utc", "mid_jd"), "line 1", "another time scale"),
    (GOOD.replace("mid_utc", "mid_tdb"), "line 1", "another time scale"),
    (GOOD.replace("mid_utc", "middle"), "line 1", "does not say its time scale"),
    (GOOD.replace(",kind", ",kinds"), "line 1", "is it kinds?"),
    (GOOD.replace(",body", ",target"), "line 1", "column body is missing"),
    (GOOD.replace(",", ";"), "line 1", "commas"),
    (GOOD.replace("sigma_s", "kind"), "line 1", "twice"),
    ("\n" + GOOD.replace("body,sigma_s", "body,sigma_s,sigma_s"), "line 2", "twice"),
    (GOOD + "2463000.5,eclipse,primary,30\n", "line 5", "Julian date"),
    (GOOD + "2031-05-09,eclipse,primary,30\n", "line 5", "date and time in UTC"),
    (GOOD + "2031-05-09T01:02:03 TDB,eclipse,primary,30\n", "line 5", "date and time in UTC"),
    (GOOD + "2031-05-09T01:02:03+02:00,eclipse,primary,30\n", "line 5", "date and time in UTC"),
    (GOOD + "2031-13-09T01:02:03Z,eclipse,primary,30\n", "line 5", "date and time in UTC"),
    (GOOD + "1931-05-09T01:02:03Z,eclipse,primary,30\n", "line 5", "1972"),
    (GOOD + "2019-05-09T01:02:03Z,eclipse,primary,30\n", "line 5", "days from the impact"),
    (GOOD + "2043-05-09T01:02:03Z,eclipse,primary,30\n", "line 5", "days from the impact"),
    (GOOD + LINE.replace("eclipse", "transit"), "line 5", "eclipse, occultation or both"),
    (GOOD + LINE.replace("primary", "moonlet"), "line 5", "primary or secondary"),
    (GOOD + LINE.replace("30", "thirty"), "line 5", "0.001 .. 100000"),
    (GOOD.replace("sigma_s", "timed"), "line 2", 'timed "30" is given, allowed is dip_centroid, half_depth'),
    (GOOD.replace("body,sigma_s", "body,timed,timed"), "line 1", "the column timed is there twice"),
    (GOOD.replace("body,sigma_s", "body,observer,observer"), "line 1", "the column observer is there twice"),
    (GOOD + LINE.replace("30", "nan"), "line 5", "0.001 .. 100000"),
    (GOOD + LINE.replace("30", "0"), "line 5", "0.001 .. 100000"),
    (GOOD + LINE.replace("30", "1e-300"), "line 5", "0.001 .. 100000"),
    (GOOD + LINE.replace("30", "1e300"), "line 5", "0.001 .. 100000"),
    (",\n,,\n", "times.csv", "empty"),
    (GOOD + LINE.replace(",30", ","), "line 5", "all or none"),
    (GOOD + LINE.replace(",30", ""), "line 5", "3 cells"),
    (GOOD + LINE.replace("30", "30,4"), "line 5", "5 cells"),
    (GOOD + '2031-05-09T01:02:03Z,"eclipse,primary,30\n', "line 5", "no CSV"),
    (GOOD + "2031-05-03T01:02:03.5Z,eclipse,primary,30\n", "line 5", "already in line 2"),
    (GOOD + "2031-05-03T01:40:00Z,eclipse,primary,30\n", "line 5", "already in line 2"),
]


@pytest.mark.parametrize(("text", "place", "said"), WRONG, ids=[f"{i}-{row[2]}" for i, row in enumerate(WRONG)])
def test_what_is_wrong_is_one_sentence_with_its_line(text, place, said, clock, tmp_path):
    with pytest.raises(InputError) as error:
        read(text, clock, tmp_path)
    sentence = str(error.value)
    assert place in sentence and said in sentence and "\n" not in sentence and str(tmp_path) in sentence


@settings(max_examples=150, deadline=None)
@given(
    text=st.one_of(
        st.binary(max_size=200), st.text(max_size=80).map(lambda rest: (GOOD + rest).encode("utf-8", "surrogatepass"))
    )
)
def test_whatever_is_given_is_read_or_refused(text, clock, tmp_path_factory):
    """Never another error, never a number that is none."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(text)
    try:
        mids = read_mid_times(str(path), clock, PERIOD_H)
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert np.isfinite(mids.seen_s).all() and len(mids) >= 3


def test_the_commands_refuse_with_exit_code_two(file, tmp_path, capsys):
    good, wrong = tmp_path / "good.csv", tmp_path / "wrong.csv"
    good.write_text(GOOD)
    wrong.write_text(GOOD + LINE.replace("30", "x"))
    for words, said in (
        (["timing", str(file)], "no file is given"),
        (["timing", str(file), "--events", str(good), "--events", str(wrong)], "2 files are given"),
        (["timing", str(file), "--events", str(wrong)], "line 5"),
        (["timing", str(file), "--events", str(tmp_path / "none.csv")], "no such file"),
        (["timing", str(file), "--events", str(tmp_path)], "this is a folder"),
        (["timing", str(file), "--events", str(good)], "before the impact"),
        (["timing", str(file), "--events", str(good), "--plot", "x.gif"], ".png"),
        (["timing", str(file), "--synthesise", str(tmp_path / "no" / "x.csv")], "folder"),
        (["timing", str(file), "--synthesise", str(tmp_path / "x.csv"), "--noise-s", "-1"], "noise"),
        (["timing", str(file), "--synthesise", str(tmp_path / "x.csv"), "--share", "0"], "share"),
        (["timing", str(file), "--synthesise", str(tmp_path / "x.csv"), "--days", "0"], "0.1 .. 3650"),
        (["timing", str(file), "--synthesise", str(tmp_path / "x.csv"), "--days", "3", "--campaign"], "with --days"),
        (["timing", str(file), "--events", str(good), "--campaign"], "--campaign: it is given with no --synthesise"),
        (["timing", str(file), "--events", str(good), "--law", "lambert"], "--law: it is given with no --synthesise"),
        (["timing", str(file), "--events", str(good), "--seed", "0"], "--seed: it is given with no --synthesise"),
        (["timing", str(file), "--events", str(good), "--noise-s", "3"], "--noise-s: it is given with no --synth"),
        (["timing", str(file), "--days", "3"], "--days: it is given with no --synthesise"),
        (["timing", str(file), "--evnets", str(good)], "see binarydyn timing --help"),
        (["coverage", str(file), "--events", str(good), "--timed", "folded"], "--timed: it is given with --events"),
        (["coverage", str(file), "--events", str(good), "--noise-s", "3"], "--noise-s: it is given with --events"),
        (["coverage", str(file), "--days", "300"], "--days: 300 days are given, 200 a side are allowed"),
        (["coverage", str(file), "--law", "phong"], "allowed is lommel_seeliger or lambert"),
        (["infer", str(file), "--events", str(wrong)], "line 5"),
        (["infer", str(file), "--events", str(good), "--sigma-s", "2"], "remove one"),
    ):
        assert main(words) == 2, words
        told = capsys.readouterr().err.splitlines()
        (error,) = (line for line in told if not line.startswith("compiling kernels"))  # a cold cache says so first
        assert said in error, (words, error)
    assert main(["timing", "--events", str(good)]) == 2


def test_from_the_simulation_to_beta(file, tmp_path, capsys):
    """Synthesise, fit, infer, by the command line: beta of the built-in system within three sigma."""
    sheet, figure = tmp_path / "s.csv", tmp_path / "s.svg"
    given_words = ["--synthesise", str(sheet), "--days", "10", "--noise-s", "20", "--seed", "5"]
    assert main(["timing", str(file), *given_words]) == 0
    first = sheet.read_text()
    assert main(["timing", str(file), *given_words]) == 0 and sheet.read_text() == first
    capsys.readouterr()
    assert main(["timing", str(file), "--events", str(sheet), "--json", "--plot", str(figure)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["period_change_s"] + 1578.53) < 3.0 * found["period_change_sigma_s"] < 10.0
    assert found["eccentricity_after"] == pytest.approx(0.029, abs=0.004)
    assert len(found["events"]) == len(first.splitlines()) - 1 and found["cycle_count_is_certain"]
    assert figure.stat().st_size > 20_000
    sheet.write_text("".join(f"{line},{'note' if k == 0 else 'x'}\n" for k, line in enumerate(first.splitlines())))
    idle = "the column note is not used"
    assert main(["timing", str(file), "--events", str(sheet)]) == 0
    text = capsys.readouterr().out
    assert idle in text and "sidereal period after" in text and "O-C, min" in text and "hazard" in text
    rows = [line for line in text.splitlines() if line.startswith("20")]
    assert len(rows) == 12 and f"... ({len(found['events']) - 12} more; --json has all)" in text
    off = found["longitude_minus_nominal_deg"]
    assert abs(off) < 4.0 * found["longitude_minus_nominal_sigma_deg"] < 1.0
    assert main(["infer", str(file), "--events", str(sheet), "--count", "1000", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    beta = told["beta"]
    assert any(sentence.startswith(idle) for sentence in told["warnings"])
    assert abs(beta["mean"] - 2.2) < 3.0 * beta["sigma"] < 0.1


def test_the_moonlet_stands_on_the_zero_of_longitude_at_the_impact():
    """So a fitted longitude is one against the scenario's."""
    position = start(pair()).system.state.position_m
    assert position[0] > 0.0 and abs(position[1]) < 1e-9 * position[0]


def test_synthesis_on_the_nights_of_the_campaign_is_what_a_plan_foretells(tmp_path, capsys):
    """The same events, and the sigma of their fit that of the plan, which has exact times and knows the noise."""
    path, sheet = tmp_path / "pair.toml", tmp_path / "s.csv"
    nights = "\n[campaign]\nnights_before = 8\nnights_after = 9\nmid_time_sigma_s = 40.0\nleast_depth_mag = 0.005\n"
    path.write_text(pair(nights).text, encoding="utf-8")
    assert main(["timing", str(path), "--synthesise", str(sheet), "--campaign", "--json"]) == 0
    written = json.loads(capsys.readouterr().out)
    foretold = plan(pair(nights))
    count = foretold.events_before + foretold.nights[-1].events
    assert (written["events"], written["noise_s"], written["days"]) == (count, 40.0, None)
    assert len(sheet.read_text().splitlines()) == count + 1
    assert main(["timing", str(path), "--events", str(sheet), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["errors_scaled_by"] - 1.0) < 3.0 * found["errors_scaled_by_sd"] < 0.4
    # 10 %: the fit takes scale and error of nights from the scatter, which tells the scale to 8 %
    assert found["period_change_sigma_s"] == pytest.approx(foretold.nights[-1].sigma_s, rel=0.1)
    # without the common error of a night, which the plan knows to be none; 40 drawn systems here, 16 there
    scenario = pair(nights)
    mids = read_mid_times(str(sheet), Sky.of(scenario).clock, PERIOD_H)
    whole = timing_fit(scenario, mids)
    seen = readings(whole.mids, whole.reference.found.nominal.sight)
    fit = timing(seen, whole.mids.sigma_s, None, whole.matched.middles, whole.reference.expected).fit
    assert fit.change_sigma_s / fit.scale[0] == pytest.approx(foretold.nights[-1].sigma_s, rel=0.05)


def test_the_figure_shows_every_event(tmp_path):
    for scenario in (pair(), example()):  # lone events, and overlapping ones
        found = timing_fit(scenario, synthesised(scenario, 4.0, Observing(), 1), check=False)
        figure = plots.timing_figure(found)
        for ax in figure.axes:
            marks = [line for line in ax.get_lines() if line.get_marker() not in ("None", "X", "", None)]
            assert sum(len(line.get_xdata()) for line in marks) == len(found.mids)
        assert save_timing(tmp_path / "t.png", found).stat().st_size > 20_000
