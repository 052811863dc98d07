"""A planned campaign: its sigmas against closed forms, the fit itself and synthetic campaigns; its nights; refusals."""

import json
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from test_geometry import pair
from test_timing import AFTER_S, EXPECTED, PERIOD_S, columns_of, drawn_off, ellipse_events, nightly

from binarydyn import plots
from binarydyn.commands import main
from binarydyn.observing.plan import DETECTED, _for_good, plan
from binarydyn.sky.ephemeris import ObservingSite, offline
from binarydyn.sky.geometry import Sky, altitudes_deg
from binarydyn.timing.design import TimingDesign
from binarydyn.timing.fit import fitted
from binarydyn.timing.mid_times import Readings
from binarydyn.timing.middles import Middles
from binarydyn.timing.noise import FLOOR_S, Noise
from binarydyn.timing.orbit import Counted
from binarydyn.timing.starts import Normal
from binarydyn.timing.terms import NAMES, TURN, Priors

CAMPAIGN = """
[campaign]
nights_before = 8
nights_after = 16
least_depth_mag = 0.005
mid_time_sigma_s = 40.0
night_sigma_s = 20.0
[requirement]
period_change_s = 73.0
precision_s = 7.3
"""


@pytest.fixture(scope="module")
def text():
    return pair(CAMPAIGN).text


@pytest.fixture(scope="module")
def found():
    return plan(pair(CAMPAIGN))


@pytest.mark.parametrize("side", ["before", "after"])
def test_a_line_has_the_sigma_of_a_slope(side):
    """sigma sqrt(12 / (N (N^2 - 1))) a cycle for N equally spaced times (standard least squares), twice that for a
    period of two events: one side alone, on a circle (narrow priors hold everything
    else: 1e-5).
    """
    seen, counted = ellipse_events(days=(9.0, 5.0))
    values = {"longitude": 0.3, "rate_before": TURN / PERIOD_S, "rate_after": TURN / AFTER_S}
    values = dict.fromkeys(NAMES, 0.0) | values | {"apsidal_rate": EXPECTED.apsidal_rad_s}
    design = TimingDesign.of(seen, counted, EXPECTED, values)
    free = np.isin(NAMES, ("longitude", f"rate_{side}"))
    line = replace(design, prior=np.diag(np.where(free, 0.0, 1e9)), slopes=np.where(free, design.slopes, 0.0))
    chosen = (seen.time_s < 0.0) if side == "before" else (seen.time_s >= 0.0)
    count, sigma_s = int(chosen.sum()), 25.0
    assert 10 < count < 50
    sides, information = line.information(np.sqrt(sigma_s**2 - FLOOR_S**2), 0.0, chosen)
    ours = line.change_sigmas_s(information[sides][0])
    assert ours == pytest.approx(2.0 * sigma_s * np.sqrt(12.0 / (count * (count**2 - 1.0))), rel=1e-5)


def test_the_covariance_is_that_which_the_fit_states():
    """The same events, the same noise, nights and causes: information summed over nights with the causes as parameters,
    and the whole covariance of the fit at the same point."""
    seen, counted = ellipse_events(e=0.03, days=(20.0, 12.0))
    sigma, night, columns = np.full(len(counted), 30.0), nightly(seen), columns_of(seen)
    middles = Middles(np.zeros(len(counted)), columns)
    known = replace(EXPECTED, eccentricity_sigma=0.004, ellipse=(0.2, -0.5))
    values = fitted(seen, counted, sigma, night, middles, known).values
    design = TimingDesign.of(seen, counted, known, values, middles)
    ours = design.change_sigmas_s(design.information(30.0, 15.0, night)[1].sum(axis=0))
    priors = Priors.of(known, float(np.abs(seen.time_s).max()))
    x = np.array([values[name] for name in NAMES])
    matrix = Normal.at(x, Counted(seen, counted), Noise.of(sigma, night, columns).at(1.0, 15.0), priors).matrix
    inverse = np.linalg.inv(matrix) * np.outer(priors.scale, priors.scale)
    slopes = TURN / x[1:3] ** 2 * [1.0, -1.0]
    assert ours == pytest.approx(np.sqrt(slopes @ inverse[1:3, 1:3] @ slopes), rel=1e-6)


def test_synthetic_campaigns_scatter_as_foretold(found):
    """100 campaigns of six nights whose events have errors of their own, of their night, and of each cause, and whose
    apsidal rate's prior is drawn too: the scatter of their fits against the predicted sigma; 1 / sqrt(2 N) of it is
    7 %, three times that allowed.  The sigma that they state on median: 10 %.
    """
    night, count, nominal = 6, 100, found.nominal
    chosen = (nominal.night_of < 0) | (nominal.night_of <= night)
    part = Readings(*(column[chosen] for column in vars(nominal.readings).values()))
    group, columns = nominal.night_of[chosen], nominal.middles.columns_s[chosen]
    sigma, known, middles = np.full(chosen.sum(), 40.0), nominal.expected, Middles(np.zeros(chosen.sum()), columns)
    changes = []
    for seed in range(count):
        noisy, random = drawn_off(part, 40.0, 20.0, columns, seed, group), np.random.default_rng((night, seed))
        rate = known.apsidal_rad_s + known.apsidal_sigma_rad_s * random.standard_normal()
        prior = replace(known, apsidal_rad_s=rate)
        changes.append(fitted(noisy, nominal.counted_rad[chosen], sigma, group, middles, prior).change)
    foretold = found.nights[night - 1].sigma_s
    assert np.std([change.mean for change in changes], ddof=1) == pytest.approx(
        foretold, rel=3.0 / np.sqrt(2.0 * count)
    )
    assert np.median([change.sigma for change in changes]) == pytest.approx(foretold, rel=0.1)


def test_probabilities_are_those_of_drawn_campaigns(found):
    """A history drawn with its error, and counted where it stands out: the binomial error of 200 histories."""
    lost, random = found.sigmas_s, np.random.default_rng(3)
    sizes = np.array([found.systems[k % len(found.systems)].orbit.change_s for k in range(len(lost))])
    assert np.std(sizes) > 0.05 * np.abs(np.mean(sizes))
    for night in found.nights:
        sigma = lost[:, night.number - 1]
        known = np.isfinite(sigma)
        measured = sizes[known] + sigma[known] * random.standard_normal(known.sum())
        share = np.sum(np.abs(measured) > DETECTED * sigma[known]) / len(lost)
        error = np.sqrt(max(share * (1.0 - share), 0.01) / len(lost))
        assert abs(night.detection_probability - share) < 3.5 * error
    assert found.nights[0].detection_probability < 0.05 < 0.95 < found.nights[-1].detection_probability
    assert found.measured_to.probability == np.mean(lost[:, -1] <= 7.3)


def test_nights_show_whole_events_within_their_hours(found):
    """Local midnight of no site is 0 h UTC; the middle of a night lies within 4 h less half an event of it."""
    assert [night.number for night in found.nights] == list(range(1, 17))
    dates = [datetime.fromisoformat(night.date_utc) for night in found.nights]
    assert all(later - sooner == timedelta(days=1) for sooner, later in zip(dates, dates[1:], strict=False))
    assert [night.events for night in found.nights] == sorted(night.events for night in found.nights)
    texts = Sky.of(found.scenario).clock.utc(found.nominal.mids.seen_s)
    clock = np.array([int(text[11:13]) + int(text[14:16]) / 60.0 for text in texts])
    assert np.abs((clock + 12.0) % 24.0 - 12.0).max() < 4.0
    late = found.nominal.readings.time_s >= 0.0
    assert (found.nominal.night_of[late] > 0).all() and (found.nominal.night_of[~late] < 0).all()
    assert found.nights[-1].events == late.sum() and found.events_before == (~late).sum()


SITE = ObservingSite(20.8, -32.4, 1800.0)


def test_altitudes_are_those_of_a_general_library():
    """astropy's horizontal frame, with the same Earth: 0.2 deg between the two verticals, and the Sun's aberration."""
    import astropy.units as u
    from astropy.coordinates import AltAz, CartesianRepresentation, EarthLocation, SkyCoord, get_sun
    from astropy.time import Time

    sky = replace(Sky.of(pair()), site=SITE)
    seen = 3600.0 * np.arange(0.0, 48.0, 3.0)
    sun, up = altitudes_deg(sky, seen)
    time = Time(*sky.clock.tdb(seen), format="jd", scale="tdb")
    with offline():
        frame = AltAz(obstime=time, location=EarthLocation(20.8 * u.deg, -32.4 * u.deg, 1800.0 * u.m))
        theirs = get_sun(time).transform_to(frame).alt.deg
        sightline = -sky.at(seen - sky.at(seen).light_time_s).observer @ sky.axes
        obliquity = np.radians(23.4392911)
        c, s = np.cos(obliquity), np.sin(obliquity)
        x, y, z = sightline.T
        place = SkyCoord(CartesianRepresentation(x, c * y - s * z, s * y + c * z), frame="gcrs", obstime=time)
        pairs = SkyCoord(place.spherical.lon, place.spherical.lat, frame="gcrs", obstime=time)
        others = pairs.transform_to(frame).alt.deg
    assert np.abs(sun - theirs).max() < 0.21 and np.abs(up - others).max() < 0.21
    assert sun.max() > 20.0 and sun.min() < -20.0


def test_a_site_sees_what_is_up_in_its_dark():
    """Fewer events than around the clock; none with the Sun up or the system down."""
    extra = "\n[observer]\nlongitude_deg = 20.8\nlatitude_deg = -32.4\nheight_m = 1800.0\n"
    night = "\n[campaign]\nnights_before = 8\nnights_after = 14\nnight_h = 24.0\nleast_depth_mag = 0.005\n"
    free = night + "sun_below_deg = 90.0\nsystem_above_deg = -90.0\n"
    dark, always = plan(pair(extra + night + "system_above_deg = 5.0\n")), plan(pair(extra + free))
    assert 5 <= dark.nights[-1].events < always.nights[-1].events
    sky = Sky.of(dark.scenario)
    sun, up = altitudes_deg(sky, dark.nominal.mids.seen_s)
    assert sun.max() < -12.0 and up.min() > 5.0


def test_more_nights_never_hurt_and_losses_do(found):
    told = [night.sigma_s for night in found.nights if np.isfinite(night.sigma_s)]
    assert len(told) > 10 and all(later <= sooner for sooner, later in zip(told, told[1:], strict=False))
    last = found.nights[-1]
    assert last.sigma_s < last.sigmas_with_loss_s[0] < last.sigmas_with_loss_s[1] < last.sigmas_with_loss_s[2]
    assert all(night.sigma_s <= night.sigmas_with_loss_s[1] for night in found.nights)
    for system in found.systems:
        closed = np.arange(len(system.nights)) % 3 > 0
        assert (system.sigmas_s() <= system.sigmas_s(closed)).all()


def test_sigma_is_one_thing_in_table_sentence_and_figure(text, found, tmp_path, capsys, monkeypatch):
    """What a column shows after a night is what the sentence about that night says."""
    night = found.measured_to.night
    assert found.nights[night - 1].sigma_s <= 7.3 < found.nights[night - 2].sigma_s
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    monkeypatch.setattr("binarydyn.observing.plan.plan", lambda scenario, progress: found)
    assert main(["plan", str(path)]) == 0
    said = capsys.readouterr().out
    head = next(line for line in said.splitlines() if line.startswith("night "))
    place = head.index("sigma, s")
    column = {}
    for line in said.splitlines():
        if line[:5].strip().isdigit():
            column[int(line[:5])] = line[place:].split()[0]
    assert f"7.3 s is reached after night {night} " in said
    assert float(column[night]) <= 7.3 < float(column[night - 1])
    axes = plots.plan_figure(found).axes[0]
    losses, clear = (line.get_ydata() for line in axes.get_lines()[:2])
    assert len(clear) >= len(losses) and (clear[len(clear) - len(losses) :] <= losses).all()
    assert clear[-1] == found.nights[-1].sigma_s and losses[-1] == found.nights[-1].sigmas_with_loss_s[1]


def test_the_night_of_detection_is_the_first_from_which_on_it_stands_out(found):
    """Three sigma; the required error likewise."""
    size = found.required.size_s
    assert size == 73.0 and found.predicted.size_s == abs(found.change_s)
    late = [night for night in found.nights if night.number >= found.required.night]
    assert all(size / night.sigma_s >= DETECTED for night in late)
    assert not size / found.nights[found.required.night - 2].sigma_s >= DETECTED
    assert found.nights[found.measured_to.night - 1].sigma_s <= 7.3
    low, median, high = found.required.with_losses
    assert low <= median <= high and found.required.night <= median
    assert _for_good(np.array([np.inf, 2.0, 9.0, 2.0, 1.0]), 3.0) == 4
    assert _for_good(np.array([np.inf, 9.0]), 3.0) is None and _for_good(np.array([1.0]), 3.0) == 1


def test_the_command_says_the_same_in_words_numbers_and_a_figure(text, found, tmp_path, capsys, monkeypatch):
    path, figure = tmp_path / "p.toml", tmp_path / "p.svg"
    path.write_text(text, encoding="utf-8")
    assert main(["plan", str(path), "--json", "--plot", str(figure)]) == 0
    report = json.loads(capsys.readouterr().out)
    assert [night["sigma_s"] for night in report["nights"]][-1] == found.nights[-1].sigma_s
    assert report["change_detected"]["night"] == found.predicted.night and report["nights"][0]["sigma_s"] is None
    assert figure.stat().st_size > 10_000
    monkeypatch.setattr("binarydyn.observing.plan.plan", lambda scenario, progress: found)
    assert main(["plan", str(path)]) == 0
    said = capsys.readouterr().out
    assert "the required change of 73 s is detected at 3 sigma after night" in said and "hazard" in said
    assert "fall entirely within a night" in said and "no site given" in said
    assert "no [campaign]" not in said
    assert report["campaign_is_given"] is True and report["drawn_systems"] == len(found.systems)
    assert "there is no [sampling]" in said
    drawn = '\n[sampling.quantities]\n"momentum_transfer.beta" = {lognormal = [2.2, 0.2]}\n'
    monkeypatch.setattr("binarydyn.observing.plan.plan", lambda *_: replace(found, scenario=pair(drawn)))
    path.write_text(pair(drawn).text, encoding="utf-8")
    assert main(["plan", str(path)]) == 0
    said = capsys.readouterr().out
    assert "default nights" in said and f"change {found.change_s:+.1f} s" in said
    drawn = plots.plan_figure(found).axes[0]
    assert drawn.get_yscale() == "log" and drawn.get_lines()[1].get_ydata()[-1] == found.nights[-1].sigma_s


PLACE = "\n[observer]\nlongitude_deg = 20.8\nlatitude_deg = -32.4"


@pytest.mark.parametrize(
    "changed, named, said",
    [
        ("lost_fraction = 1.0", "campaign.lost_fraction", "0 .. 0.99"),
        ("mid_time_sigma_s = 0.0", "campaign.mid_time_sigma_s", "0.001 .. 100000 s"),
        ("nights_after = 0", "campaign.nights_after", "1 .. 3650"),
        ("nights = 3", "campaign.nights", "nights_"),
        ("nights_after = 1", "campaign", "the fit needs 3"),
        ("nights_after = 5\nleast_depth_mag = 5.0", "campaign", "0 are 5 mag deep; lower least_depth_mag"),
        ("nights_after = 5\nnight_h = 0.1", "campaign", "lie whole inside the 0.1 h; add hours"),
        (
            f"nights_after = 5\nsun_below_deg = -89.0{PLACE}",
            "campaign",
            "Sun below -89 deg; choose",
        ),
        (f"nights_after = 5\nsystem_above_deg = 89.0{PLACE}", "campaign", "above 89 deg; choose another site"),
    ],
)
def test_what_is_refused(changed, named, said, tmp_path, capsys):
    path = tmp_path / "p.toml"
    path.write_text(f"{pair().text}\n[campaign]\nnights_before = 5\n{changed}\n", encoding="utf-8")
    assert main(["plan", str(path)]) == 2
    errors = capsys.readouterr().err
    assert named in errors and said in errors and errors.count("\n") == 1
