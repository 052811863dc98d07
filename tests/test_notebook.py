"""What a notebook calls beside sweeps and files: draws, a posterior and a light curve as tables, panels that show."""

import numpy as np
import pandas
import pytest
from scipy import stats
from short_sweeps import scenario

import binarydyn
from binarydyn.errors import InputError
from binarydyn.observing.light_curve import Surface
from binarydyn.sampling import Sample

BETA, MASS, SPEED = "momentum_transfer.beta", "impactor.mass_kg", "impactor.speed_km_s"
SHORT = {"simulation.days_before": 6.0, "simulation.days_after": 6.0}
GIVEN = {BETA: stats.norm(2.2, 0.3), MASS: [470.0, 480.0, 500.0], SPEED: stats.uniform(5.0, 1.0)}
RHO = [(BETA, SPEED, -0.6)]


# ---- draws


def test_draws_have_the_distributions_and_the_correlation_that_are_asked_for():
    """Kolmogorov and Smirnov's distance of n draws exceeds 1.63/sqrt(n) in 1 % of samples (Smirnov 1948, Ann. Math.
    Stat. 19, 279); Pearson's coefficient of n normal pairs has the standard error (1 - rho^2)/sqrt(n).
    """
    n = 4000
    rows = binarydyn.draw(n, GIVEN, correlations=RHO, seed=3)
    assert rows.index.tolist() == list(range(n)) and rows.index.name == "member" and list(rows) == list(GIVEN)
    for key in (BETA, SPEED):
        assert stats.kstest(rows[key], GIVEN[key].cdf).statistic < 1.63 / np.sqrt(n)
    assert rows[MASS].value_counts().to_dict() == pytest.approx(dict.fromkeys(GIVEN[MASS], n / 3), abs=4 * np.sqrt(n))
    scores = [stats.norm.ppf(GIVEN[key].cdf(rows[key])) for key in (BETA, SPEED)]
    assert np.corrcoef(scores)[0, 1] == pytest.approx(-0.6, abs=4 * 0.64 / np.sqrt(n))
    assert abs(np.corrcoef(rows[MASS], rows[BETA])[0, 1]) < 4 / np.sqrt(n)


def test_a_draw_is_the_member_of_the_same_table_in_a_scenario():
    sampling = {"seed": 3, "quantities": {BETA: {"normal": [2.2, 0.3]}, SPEED: {"uniform": [5.0, 6.0]}}}
    asked = scenario().replace({"sampling": sampling | {"correlations": [[BETA, SPEED, -0.6]]}})
    theirs = Sample.of(asked, "random", 50).draws(0, 50)
    ours = binarydyn.draw(50, {key: GIVEN[key] for key in (BETA, SPEED)}, correlations=RHO, seed=3)
    assert ours.to_numpy() == pytest.approx(theirs, rel=1e-12)
    assert binarydyn.draw(20, {key: GIVEN[key] for key in (BETA, SPEED)}, correlations=RHO, seed=3).equals(ours[:20])


@pytest.mark.parametrize(
    ("n", "quantities", "more", "words"),
    [
        (0, GIVEN, {}, "0 is given, allowed is 1 .. "),
        (3, {}, {}, "at least one distribution is needed"),
        (3, {BETA: "normal"}, {}, "a str is given, allowed is a frozen distribution"),
        (3, {BETA: [1.0, np.nan]}, {}, "a list is given, allowed is a frozen distribution"),
        (3, GIVEN, {"correlations": [(BETA, "speed", 0.5)]}, "'speed' is given, allowed are the keys in quantities"),
        (3, GIVEN, {"correlations": [(BETA, SPEED, 1.5)]}, "allowed is -1 < rho < 1"),
        (3, GIVEN, {"seed": -1}, "seed: -1 is given, allowed is 0"),
    ],
)
def test_what_cannot_be_drawn_is_refused(n, quantities, more, words):
    with pytest.raises(InputError) as caught:
        binarydyn.draw(n, quantities, **{"seed": 0} | more)
    assert words in str(caught.value) and "--" not in str(caught.value)


# ---- a posterior


@pytest.fixture(scope="module")
def posterior():
    sampling = {"quantities": {MASS: {"normal": [480.0, 5.0]}}}
    return binarydyn.infer(scenario().replace(SHORT | {"sampling": sampling}), -1500.0, 2.0, count=400, seed=0, runs=16)


def test_a_posterior_is_a_table(posterior):
    table = posterior.df
    assert table["status"].tolist() == posterior.status.tolist() and table["well"].tolist() == posterior.well.tolist()
    assert table["beta"].tolist() == posterior.beta.tolist() and table[MASS].tolist() == posterior.inputs[MASS].tolist()
    assert table["along_track_dv_mm_s"].tolist() == posterior.dv_mm_s.tolist() and table.index.name == "draw"
    marks = posterior.quantile([0.16, 0.84])
    assert marks["beta"].tolist() == np.quantile(posterior.beta[posterior.well], [0.16, 0.84]).tolist()
    assert posterior.quantile(0.5)["beta"] == np.median(posterior.beta[posterior.well])
    with pytest.raises(InputError, match="q: 1.5 is given, allowed is 0 .. 1"):
        posterior.quantile(1.5)


def test_a_posterior_says_what_it_found(posterior):
    assert repr(posterior).startswith(f"<Posterior 400 draws, {posterior.well.sum()} well: beta ")
    assert repr(posterior).endswith("; change -1500.0 +- 2 s>") and "<th>beta</th>" in posterior._repr_html_()
    assert (posterior == posterior) is True and (posterior == 1) is False


def test_a_change_is_taken_from_observed_or_asked_for_in_words_of_python():
    asked = scenario().replace(SHORT)
    with pytest.raises(InputError, match="sigma_s: it is missing while its partner is given"):
        binarydyn.infer(asked, -1500.0)
    with pytest.raises(InputError, match="no measured change is given; add .observed., or give it with its sigma"):
        binarydyn.infer(asked)
    known = asked.replace({"observed": {"period_change_s": -1500.0, "sigma_s": 2.0}})
    one, other = binarydyn.infer(known, count=100, runs=16), binarydyn.infer(asked, -1500.0, 2.0, count=100, runs=16)
    assert one.df.equals(other.df)


# ---- a light curve


def test_a_light_curve_is_a_dataset():
    found = binarydyn.light_curve(binarydyn.example(), -0.1, 0.2, 30.0, 0.01, 4, Surface(facets=80))
    data = found.to_xarray()
    assert data["magnitude"].dims == ("time_s",) and data["magnitude"].values.tolist() == found.magnitude.tolist()
    assert data["magnitude_without_noise"].values.tolist() == found.curve.magnitude.tolist()
    seen = (data["seen_utc"].values - np.datetime64(binarydyn.example().impact_epoch_utc)) / np.timedelta64(1, "s")
    assert seen == pytest.approx(found.curve.time_s + found.curve.light_time_s, abs=0.06)
    assert repr(found).startswith("<Photometry 10 epochs, -0.10 to 0.09 days from the impact")


# ---- panels


@pytest.fixture(scope="module")
def things():
    asked = scenario().replace(SHORT)
    grid = {BETA: [1.0, 2.0, 3.0], MASS: [300.0, 500.0], SPEED: [5.0, 6.0]}
    return {
        "prediction": binarydyn.predict(asked),
        "trajectory": binarydyn.simulate(binarydyn.build(asked), 6.0),
        "members": binarydyn.sweep(asked, grid, table="summary", workers=1),
    }


@pytest.mark.parametrize(
    ("panel", "kinds", "labels"),
    [
        ("orbit", {"prediction", "trajectory"}, ("Radial position at", "Along-track position at")),
        ("yaw", {"prediction", "trajectory"}, ("Time since ", "(deg)")),
        ("periods", {"prediction", "trajectory"}, ("Time since ", "Single-orbit period (h)")),
        ("aim", {"prediction"}, ("aim offset u, m", "aim offset v, m")),
        ("map", {"members"}, ("beta", "impactor mass, kg")),
    ],
)
def test_a_panel_is_drawn_in_a_figure_that_shows_or_in_axes_that_are_given(panel, kinds, labels, things):
    from matplotlib import pyplot

    draw = getattr(binarydyn.plot, panel)
    for kind in kinds:
        ax = draw(things[kind])
        assert ax.figure.number in pyplot.get_fignums()
        assert labels[0] in ax.get_xlabel() and labels[1] in ax.get_ylabel() and ax.has_data()
        mine = pyplot.figure().add_subplot()
        assert draw(things[kind], mine) is mine and mine.has_data()
        pyplot.close("all")
    for kind in (*(things.keys() - kinds),):
        with pytest.raises(InputError, match=f"plot.{panel}: a .* is given, allowed is a"):
            draw(things[kind])
    assert not pyplot.get_fignums()


def test_panels_show_what_they_are_given(things):
    from matplotlib import pyplot

    run, members = things["trajectory"], things["members"]
    (line,) = binarydyn.plot.yaw(run).get_lines()
    assert np.array_equal(line.get_ydata(), run.yaw_deg) and np.array_equal(line.get_xdata(), run.time_d)
    assert "held: impactor speed = 5 km/s" in binarydyn.plot.map(members).get_title()
    assert pandas.DataFrame(members.iter())["period_change_s"].equals(members.df["period_change_s"])
    pyplot.close("all")
