"""Measured light as CSV: what is read back, in any scale of time, and a sentence with its line for what is wrong; what
`light-curve --synthesise` writes has the noise that is asked for."""

import csv
import json

import numpy as np
import pytest
from astropy.time import Time, TimeDelta
from test_geometry import pair

from binarydyn.commands import main
from binarydyn.constants import DAY_S
from binarydyn.errors import ArgumentError, InputError
from binarydyn.observing.light_curve import Surface
from binarydyn.observing.synthetic_light import Photometer, synthesised_light
from binarydyn.photometry.noise_fit import noise_size
from binarydyn.photometry.red_noise import LightNoise
from binarydyn.scenario import example
from binarydyn.sky.ephemeris import offline
from binarydyn.sky.geometry import Sky
from binarydyn.sky.light_curve import light_curve_of
from binarydyn.store.measured_light import BRIGHTNESS, TIMES, read_light, write_light

HEAD = "seen_utc,magnitude,sigma_mag,filter,observer\n"
UTC = ("2031-05-03T01:02:03.5", "2031-05-03T06:20:00", "2031-05-08T01:02:03")
GOOD = HEAD + "".join(f"{utc}Z,{mag},0.01,V,A\n" for utc, mag in zip(UTC, (15.1, 15.2, 15.05), strict=True))
COARSE = Surface(facets=80)


@pytest.fixture(scope="module")
def sky():
    return Sky.of(pair())


def read(text, sky, tmp_path):
    path = tmp_path / "light.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_light(str(path), sky)


def test_what_is_right_is_read(sky, tmp_path):
    light = read("\ufeff" + GOOD + "\n\n", sky, tmp_path)
    assert light.magnitude.tolist() == [15.1, 15.2, 15.05] and set(light.filter) == {"V"}
    seen = light.time_s + sky.at(light.time_s).light_time_s
    np.testing.assert_allclose(np.diff(seen), [19076.5, 5.0 * DAY_S - 19077.0], atol=1e-3)
    assert light.zero_point.tolist() == [0, 0, 1] and light.line.tolist() == [2, 3, 4]


@pytest.mark.parametrize("name", TIMES)
def test_any_scale_of_time_means_the_same_instant(name, sky, tmp_path):
    """Against astropy's time scales, and light time from the distance at that instant."""
    wanted = read(GOOD, sky, tmp_path).time_s
    with offline():
        times = Time(list(UTC), scale="utc")
        if name.startswith("system"):
            times = times - TimeDelta(sky.at(wanted).observer_distance_m / 299792458.0, format="sec")
        scale = times.tdb if name.endswith("tdb") else times.utc
        cells = scale.jd.tolist() if "_jd_" in name else [text + "Z" for text in scale.isot]
    lines = "".join(f"{cell},15,0.01\n" for cell in cells)
    found = read(f"{name},magnitude,sigma_mag\n{lines}", sky, tmp_path)
    np.testing.assert_allclose(found.time_s, wanted, atol=1e-3)


def test_fluxes_are_magnitudes(sky, tmp_path):
    """-2.5 log10 F, and by the derivative 1.0857 sigma/F (any handbook)."""
    light = read("seen_utc,flux,sigma_flux\n2031-05-03T01:02:03,100,2\n2031-05-03T02:02:03,1e4,50\n", sky, tmp_path)
    np.testing.assert_allclose(light.magnitude, [-5.0, -10.0])
    np.testing.assert_allclose(light.sigma_mag, [0.0217147, 0.00542868], rtol=1e-5)


def test_nights_filters_and_observers_have_their_own_zero_points(sky, tmp_path):
    rows = [("03T01", "V", "A", ""), ("03T02", "R", "A", ""), ("03T03", "V", "B", ""), ("03T23", "V", "A", "x")]
    lines = "".join(f"2031-05-{t}:00:00,15,0.01,{f},{o},{n}\n" for t, f, o, n in rows)
    light = read("seen_utc,magnitude,sigma_mag,filter,observer,night\n" + lines, sky, tmp_path)
    assert len(set(light.zero_point.tolist())) == 4
    assert light.run[0] == light.run[1] and len(set(light.run.tolist())) == 3
    np.testing.assert_allclose(light.zero_point_columns.sum(axis=1), 10.0)


LINE = HEAD + "2031-05-03T01:02:03,15.1,0.01,V,A\n"


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "it is empty, a header with seen_utc, magnitude, sigma_mag is needed"),
        (HEAD, "no point is in the file"),
        (b"\xff\xfe" + HEAD.encode("utf-16-le"), "it is not UTF-8 text"),
        ("seen_utc;magnitude;sigma_mag\n1;2;3\n", "parted by something else than commas"),
        ("bjd_tdb,magnitude,sigma_mag\n2462000.5,15,0.01\n", "bjd_tdb has times at the barycentre"),
        ("jd,magnitude,sigma_mag\n2462000.5,15,0.01\n", r"is it jd, without a place or a time scale\?"),
        ("when,magnitude,sigma_mag\n2462000.5,15,0.01\n", "there is no column of times, seen_utc"),
        ("seen_utc,magnitude\n2031-05-03T01:02:03,15\n", "no brightness with its error, magnitude and sigma_mag or"),
        ("seen_utc,system_utc,magnitude,sigma_mag\n", "seen_utc and system_utc are both there"),
        ("seen_utc,magnitude,sigma_mag,flux,sigma_flux\n", "magnitudes and fluxes are both there"),
        ("seen_utc,seen_utc,magnitude,sigma_mag\n", "seen_utc is there twice"),
        (LINE + "2031-05-03T01:02:04,15.1\n", "line 3: 2 cells are given, the header names 5"),
        (LINE + "2462000.5,15.1,0.01,V,A\n", "line 3: seen_utc 2462000.5 is a number, perhaps a Julian date"),
        (LINE + "2031-05-03T01:02:04,bright,0.01,V,A\n", 'line 3: magnitude "bright" is given'),
        (LINE + "2031-05-03T01:02:04,nan,0.01,V,A\n", 'line 3: magnitude "nan" is given'),
        (LINE + "2031-05-03T01:02:04,15.1,0,V,A\n", 'line 3: sigma_mag "0" is given, allowed is .* 1e-05 .. 1'),
        (LINE + "2031-05-03T01:02:03,15.2,0.01,V,A\n", "line 3: this instant is already in line 2"),
        (LINE + "2061-05-03T01:02:03,15.2,0.01,V,A\n", "line 3: the point is .* days from the impact"),
        ("seen_jd_utc,magnitude,sigma_mag\n62000.5,15,0.01\n", 'line 2: seen_jd_utc "62000.5" is given'),
        ("seen_utc,flux,sigma_flux\n2031-05-03T01:02:03,-1,0.01\n", 'line 2: flux "-1" is given'),
        ("seen_utc,flux,sigma_flux\n2031-05-03T01:02:03,5,50\n", 'line 2: sigma_flux "50" is given, .* 5e-05 .. 5'),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text, words, sky, tmp_path):
    with pytest.raises(InputError, match=words):
        read(text, sky, tmp_path)


def test_what_is_written_is_read_back(sky, tmp_path):
    light, path = read(GOOD, sky, tmp_path), tmp_path / "again.csv"
    write_light(path, light, sky, "a test")
    again = read_light(str(path), sky)
    np.testing.assert_allclose(again.time_s, light.time_s, atol=0.06)  # dates are written to a tenth of a second
    np.testing.assert_allclose(again.magnitude, light.magnitude, atol=1e-6)
    assert again.zero_point.tolist() == light.zero_point.tolist()


def test_synthetic_light_is_that_of_the_pair_with_the_noise_that_is_asked_for():
    """The exact curve with the zero points fitted leaves white noise of its sigma (2 sigma of a variance) or, with red
    noise, numbers that its likelihood finds again."""
    quiet = synthesised_light(example(), -2.0, 4.0, Photometer(2.0, 1e-5, zero_point_mag=0.0), COARSE, 3)
    loud = synthesised_light(example(), -2.0, 4.0, Photometer(2.0, 0.01, 0.008, 20.0, 0.3), COARSE, 3)
    white = synthesised_light(example(), -2.0, 4.0, Photometer(2.0, 0.01, zero_point_mag=0.3), COARSE, 3)
    assert np.array_equal(quiet.time_s, loud.time_s) and len(quiet) > 900
    at = loud.zero_point_columns > 0.0
    zero = np.array([np.mean((loud.magnitude - quiet.magnitude)[which]) for which in at.T])
    assert 0.1 < zero.std() < 0.6
    noise = LightNoise.of(loud.sigma_mag, loud.time_s, loud.run, loud.zero_point_columns)
    found = noise_size(noise, loud.magnitude - quiet.magnitude)
    assert found.scale == pytest.approx(1.0, abs=0.1)
    assert found.amplitude_mag == pytest.approx(0.008, rel=0.3)
    assert 600.0 < found.time_s < 2400.0
    plain = white.magnitude - quiet.magnitude
    left = plain - at @ np.array([plain[which].mean() for which in at.T])
    assert left.std() == pytest.approx(0.01, rel=0.1)


def test_synthetic_light_has_no_noise_of_its_own():
    """Against the light curve of the same run at the same instants."""
    from binarydyn.dynamics import simulate
    from binarydyn.impact import impact_on
    from binarydyn.relaxed.start import start

    scenario = example()
    light = synthesised_light(scenario, 0.3, 1.5, Photometer(5.0, 1e-5, zero_point_mag=0.0), COARSE, 0)
    hit = impact_on(start(scenario).system, scenario)
    run = simulate(hit.system, 2.5, every_minutes=5.0, state=hit.state)
    curve = light_curve_of(run, Sky.of(scenario), light.time_s, facets=80)
    np.testing.assert_allclose(light.magnitude, curve.magnitude, atol=1e-3)


def test_the_command_writes_what_it_reads_and_says_where_it_comes_from(tmp_path, capsys):
    path = tmp_path / "light.csv"
    options = ["--from-days", "-1", "--days", "2", "--facets", "80", "--filters", "V,R", "--seed", "7"]
    assert main(["light-curve", "--synthesise", str(path), "--law", "lambert", "--json", *options]) == 0
    said = json.loads(capsys.readouterr().out)
    light = read_light(str(path), Sky.of(example()))
    assert said["points"] == len(light) and said["nights"] == len(set(light.night.tolist()))
    assert set(light.filter) == {"V", "R"}
    with path.open(encoding="utf-8") as stream:
        origin = {row["origin"] for row in csv.DictReader(stream)}
    (text,) = origin
    assert "law=lambert" in text and "seed=7" in text and example().sha256[:16] in text
    first = path.read_bytes()
    assert main(["light-curve", "--synthesise", str(path), "--law", "lambert", *options]) == 0
    assert path.read_bytes() == first
    capsys.readouterr()
    assert main(["light-curve", "--synthesise", str(path), "--csv", "x.csv"]) == 2
    assert "--synthesise: it is given with --csv" in capsys.readouterr().err


@pytest.mark.parametrize(
    "change, words",
    [
        ({"noise_mag": 0.0}, "noise_mag.*0 is given, allowed is 1e-05 .. 1"),
        ({"red_noise_minutes": 0.0}, "red_noise_minutes"),
        ({"filters": ("",)}, "a name is empty"),
    ],
)
def test_noise_that_no_photometer_has_is_refused(change, words):
    with pytest.raises(ArgumentError, match=words):
        Photometer(**change)


def test_a_table_of_a_light_curve_is_measured_light(tmp_path):
    """`light-curve --csv` with noise; without noise its errors of 0 are refused."""
    path, sky = tmp_path / "curve.csv", Sky.of(example())
    told = ["light-curve", "--from-days", "0.1", "--days", "0.1", "--facets", "80", "--csv", str(path)]
    assert main([*told, "--noise-mag", "0.02"]) == 0
    light = read_light(str(path), sky)
    assert set(light.sigma_mag) == {0.02} and {names[0] for names in BRIGHTNESS} == {"magnitude", "flux"}
    assert main(told) == 0
    with pytest.raises(InputError, match="line 2: sigma_mag"):
        read_light(str(path), sky)
