"""Published numbers inverted together: closed problems with known posteriors, numbers of the motion by handbooks."""

import json
from dataclasses import dataclass

import numpy as np
import pytest
from closed_pair import NAMES, ClosedNumbers, apsidal_deg_day, kepler_change_s, libration_h, unknowns

from binarydyn.commands import main
from binarydyn.commands.texts.joint import joint_report, print_joint
from binarydyn.constants import HOUR_S
from binarydyn.errors import ConvergenceError, InputError
from binarydyn.inversion.degeneracy import PROFILE, gains, open_directions, profile
from binarydyn.inversion.guessed_numbers import IMPULSE, MotionNumbers
from binarydyn.inversion.joint import JointInversion, jointly_inverted
from binarydyn.inversion.of_scenario import check_names, unknowns_beside
from binarydyn.inversion.published import Published
from binarydyn.reconstruction.runs import GuessedMotion
from binarydyn.reconstruction.unknowns import Unknown, Unknowns
from binarydyn.scenario import example
from binarydyn.store.published_numbers import read_published

SIGMA = np.array([2e-4, 5.0, 0.002, 0.15, 0.3])
CORRELATION = np.eye(5)
CORRELATION[2, 3] = CORRELATION[3, 2] = 0.6
CORRELATION[0, 1] = CORRELATION[1, 0] = -0.5


@dataclass(frozen=True)
class Linear:
    """Numbers that are linear in three unknowns, of which the first is flat."""

    matrix: np.ndarray
    unknowns: Unknowns

    def of(self, u, names):
        found = dict(zip("pqr", (u @ self.matrix.T).T, strict=True)) | dict(zip("abc", u.T, strict=True))
        return np.column_stack([found[name] for name in names])


def linear() -> Linear:
    free, rough = Unknown("a", 0.0, 1.0, smooth=True), [Unknown.normal("b", 0.0, 1.0), Unknown.normal("c", 0.0, 1.0)]
    return Linear(np.array([[1.0, 0.8, 0.1], [0.2, 1.0, 0.9], [0.5, 0.4, 0.5]]), Unknowns.listed([free, *rough]))


def linear_case() -> tuple[Linear, Published, JointInversion]:
    numbers = linear()
    correlation = np.array([[1.0, 0.7, 0.0], [0.7, 1.0, -0.3], [0.0, -0.3, 1.0]])
    given = {"p": (1.2, 0.2), "q": (0.7, 0.3), "r": (0.9, 0.4)}
    published = Published.of(given, correlation, {"c": 0.1, "b": 0.1})
    return numbers, published, jointly_inverted(numbers, published, ("p",), draws=2000)


def exact(numbers: Linear, published: Published) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the Gaussian posterior, from dense matrices."""
    told = np.linalg.solve(published.covariance, numbers.matrix)
    covariance = np.linalg.inv(numbers.matrix.T @ told + np.diag([0.0, 1.0, 1.0]))
    return covariance @ (told.T @ published.values), covariance


def test_a_linear_problem_with_a_covariance_has_its_closed_posterior():
    numbers, published, found = linear_case()
    mean, covariance = exact(numbers, published)
    sigma = np.sqrt(np.diag(covariance))
    assert found.reference.u == pytest.approx(mean, abs=1e-3)
    assert found.covariance == pytest.approx(covariance, rel=1e-4)
    sampled = [found.intervals[name] for name in "abc"]
    assert [one["mean"] for one in sampled] == pytest.approx(mean, abs=4.0 * sigma.max() / np.sqrt(found.effective))
    assert [one["sigma"] for one in sampled] == pytest.approx(sigma, rel=4.0 / np.sqrt(2.0 * found.effective))
    assert found.fisher["p"][1] == pytest.approx(np.sqrt(numbers.matrix[0] @ covariance @ numbers.matrix[0]), rel=1e-4)
    late = published.values - numbers.matrix @ mean
    chi2 = late @ np.linalg.solve(published.covariance, late) + mean[1:] @ mean[1:]
    assert found.reference.cost == pytest.approx(chi2, rel=1e-3) and found.degrees == 2


def test_what_stays_open_is_the_eigenvector_of_the_posterior_in_units_of_the_prior():
    numbers, published, found = linear_case()
    _, covariance = exact(numbers, published)
    variance, vectors = np.linalg.eigh(covariance[1:, 1:])
    worst = found.directions[0]
    assert worst.sd == pytest.approx(np.sqrt(variance[-1]), rel=1e-4)
    parts = np.array([worst.parts[name] for name in "bc"])
    assert abs(parts @ vectors[:, -1]) == pytest.approx(1.0, abs=1e-4)
    assert worst.moves["a"] == pytest.approx(covariance[0, 1:] @ parts / variance[-1], rel=1e-3)
    assert found.sampled_sd(worst) == pytest.approx(worst.sd, rel=4.0 / np.sqrt(2.0 * found.effective))


def test_the_profile_of_a_linear_problem_is_a_parabola():
    _, _, found = linear_case()
    rises = [rise for _, rise in profile(found.likelihood, found.reference, found.directions[0])]
    assert rises == pytest.approx(np.square(PROFILE), rel=2e-3)


def test_what_one_more_number_brings_is_what_a_fit_with_it_has():
    _, _, found = linear_case()
    gain = {one.name: one for one in found.gains}["c"]
    with_it = np.linalg.inv(np.linalg.inv(found.covariance) + np.diag([0.0, 0.0, 1.0 / 0.1**2]))
    vector = found.directions[0].vector
    assert gain.left[0] == pytest.approx(np.sqrt(vector @ with_it @ vector) / found.directions[0].sd, rel=1e-6)
    assert gain.helped_left == pytest.approx(np.sqrt(np.min(np.diag(with_it) / np.diag(found.covariance))), rel=1e-6)
    assert gain.known_to == pytest.approx(np.sqrt(found.covariance[2, 2]), rel=1e-6)


def world(seed: int) -> tuple[np.ndarray, Published]:
    """A pair drawn from the priors, and its numbers as published."""
    random, numbers = np.random.default_rng(seed), ClosedNumbers(unknowns())
    u = random.standard_normal(7) * [5.0, 5.0, 1.0, 1.0, 1.0, 1.0, 1.0]
    noise = np.linalg.cholesky(CORRELATION * np.outer(SIGMA, SIGMA)) @ random.standard_normal(5)
    values = numbers.of(u[None], NAMES)[0] + noise
    return u, Published.of(dict(zip(NAMES, zip(values, SIGMA, strict=True), strict=True)), CORRELATION)


def weighed_prior(published: Published, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Draws (n, 5) of the priors of what is not flat and their weights: both flat unknowns are integrated out by
    Newton's method and a Gaussian, which the numbers allow (they are nearly linear in these)."""
    numbers, random = ClosedNumbers(unknowns()), np.random.default_rng(99)
    u = np.column_stack([np.zeros((count, 2)), random.standard_normal((count, 5))])
    for _ in range(5):
        here = published.whitened(numbers.of(u, NAMES))
        late, slopes = published.whitened(published.values) - here, []
        for k in range(2):
            moved = u.copy()
            moved[:, k] += 1e-3
            slopes.append((published.whitened(numbers.of(moved, NAMES)) - here) / 1e-3)
        a = np.stack(slopes, axis=2)
        gram, pull = np.einsum("nmi,nmj->nij", a, a), np.einsum("nmi,nm->ni", a, late)
        move = np.linalg.solve(gram, pull[..., None])[..., 0]
        u[:, :2] += move
    ln = -0.5 * np.sum(late**2, axis=1) + 0.5 * np.sum(pull * move, axis=1) - 0.5 * np.linalg.slogdet(gram)[1]
    ln = np.where(np.isfinite(ln), ln, -np.inf)
    weight = np.exp(ln - ln.max())
    return u[:, 2:], weight / weight.sum()


def test_draws_reach_the_tails_of_a_curved_posterior():
    """Sizes of an eccentricity bend its components into an arc: against 2e5 draws of the priors by their weights."""
    _, published = world(1)
    found = jointly_inverted(ClosedNumbers(unknowns()), published, draws=2000, seed=1)
    x, weight = weighed_prior(published, 200_000)
    mean = weight @ x
    sd = np.sqrt(weight @ (x - mean) ** 2)
    own = [found.intervals[name]["sigma"] for name in ("e_cos", "e_sin", "short_m", "a_b", "separation_m")]
    kurtosis = weight @ (x - mean) ** 4 / sd**4
    error = np.sqrt(0.25 * (kurtosis - 1.0) * (1.0 / found.effective + np.sum(weight**2)))  # of an sd, any handbook
    assert np.all(np.abs(own / (sd * [0.01, 0.01, 8.0, 0.03, 8.0]) - 1.0) < 4.0 * error)


def test_intervals_hold_the_truth():
    """Of 40 pairs drawn from the priors with seven unknowns, which the numbers tie, taken for three independent ones:
    68 and 95 % within 3.5 binomial sigmas of 120."""
    hits = np.zeros(2)
    asked = unknowns()
    for seed in range(40):
        u, published = world(seed)
        found = jointly_inverted(ClosedNumbers(asked), published, draws=400, seed=seed)
        for name, value in zip(asked.names, asked.value(u)[0], strict=True):
            one = found.intervals[name]
            hits += [one[f"low_{p}"] <= value <= one[f"high_{p}"] for p in (68, 95)]
    shares, expected = hits / (40 * len(asked.names)), np.array([0.68, 0.95])
    assert np.all(np.abs(shares - expected) < 3.5 * np.sqrt(expected * (1.0 - expected) / 120.0))


def test_numbers_that_say_nothing_of_a_flat_unknown_are_refused():
    numbers = ClosedNumbers(unknowns())
    with pytest.raises(ConvergenceError, match="do not tell dv_mm_s"):
        jointly_inverted(numbers, Published.of({"period_before_h": (10.42, 1e-3)}))


@pytest.fixture(scope="module")
def spheroid() -> MotionNumbers:
    """A small, nearly round secondary about an oblate primary, which the handbook's formulas describe."""
    scenario = example().replace(
        {
            "primary.semi_axes_m": [270.0, 270.0, 246.0],
            "secondary.semi_axes_m": [20.0, 19.0, 19.0],
            "mutual_orbit.separation_m": 1200.0,
            "mutual_orbit.period_h": 18.4,
            "impactor.mass_kg": 4.0,
            "impactor.direction": {"along_track": -1.0, "radial": 0.0, "normal": 0.0},
            "momentum_transfer.beta": 1.0,
        }
    )
    asked = unknowns_beside(scenario, Published.of({"libration_period_after_h": (30.0, 1.0)}))
    return MotionNumbers(GuessedMotion(scenario, asked, (10.0, 60.0)))


def test_numbers_of_the_motion_are_those_of_the_handbook(spheroid):
    """To first order in J2, dv and the figure: J2 (R/a)^2 = 0.002, e = 0.02, and the shape's own 1 - b/a = 0.05."""
    names = ("period_before_h", "period_change_s", "apsidal_precession_after_deg_day", "eccentricity_after",
             "libration_period_after_h", *IMPULSE)  # fmt: skip
    found = dict(zip(names, spheroid.of(np.zeros(len(spheroid.unknowns.names)), names)[0], strict=True))
    n, dv = 2.0 * np.pi / (found["period_before_h"] * HOUR_S), 1e-3 * found[IMPULSE[0]]
    assert abs(found[IMPULSE[1]]) < 1e-6 and abs(found[IMPULSE[2]]) < 1e-6
    assert found["period_change_s"] == pytest.approx(kepler_change_s(1200.0, n, dv), rel=0.02)
    assert found["eccentricity_after"] == pytest.approx(abs(2.0 * dv / (n * 1200.0)), rel=0.03)
    assert found["apsidal_precession_after_deg_day"] == pytest.approx(apsidal_deg_day(246.0, 1200.0, n), rel=0.05)
    assert found["libration_period_after_h"] == pytest.approx(libration_h(20.0 / 19.0, n), rel=0.05)


def test_unknowns_leave_out_the_lines_of_sight_and_a_measured_size_takes_the_place_of_the_usual_error():
    published = Published.of({"libration_period_after_h": (16.4, 0.3), "primary.semi_axes_m.2": (240.0, 2.0)})
    asked = unknowns_beside(example(), published)
    assert not {"phase", "pole_x", "pole_y"} & set(asked.names) and "lib_cos" in asked.names
    k = asked.index("primary.semi_axes_m.2")
    assert (asked.centre[k], asked.each[k].prior_sigma) == (240.0, 20.0)
    assert list(np.array(asked.names)[asked.smooth]) == ["mutual_orbit.period_h", "momentum_transfer.beta"]


def table(tmp_path, text: str) -> str:
    path = tmp_path / "numbers.csv"
    path.write_text(text)
    return str(path)


def test_a_table_is_read_with_correlations_or_covariances(tmp_path):
    named = "name,value,sigma,q\np,1.5,0.2,0.5\nq,-2,0.3,\nr,,0.1,\n"
    one = read_published(table(tmp_path, named))
    assert one.names == ("p", "q") and one.values.tolist() == [1.5, -2.0] and one.planned == {"r": 0.1}
    assert one.covariance == pytest.approx(np.array([[0.04, 0.03], [0.03, 0.09]]))
    other = read_published(table(tmp_path, "name,value,p,q\np,1.5,0.04,0.03\nq,-2,,0.09\n"))
    assert other.covariance == pytest.approx(one.covariance)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("name,value\np,1\n", "the column sigma is missing"),
        ("name;value;sigma\n", "the column name is missing, the cells seem to be parted"),
        ("name,value,sigma\np,1,\n", "line 2: p has no sigma"),
        ("name,value,sigma\np,1,0\n", "the sigma 0 is given, allowed is above 0"),
        ("name,value,sigma\np,x,1\n", 'line 2: value "x" is given, allowed is a number'),
        ("name,value,sigma\np,1,1\np,2,1\n", "it is given twice"),
        ("name,value,sigma\np,1,1\np,,1\n", "it is given twice"),
        ("name,value,sigma\np,,1\n", "no number with a value is given"),
        ("name,value,sigma,z\np,1,1,0\n", 'the column "z" is no name of a line with a value'),
        ("name,value,sigma,q\np,1,1,1\nq,1,1,\n", "the covariance is not positive definite"),
        ("name,value,sigma,p,q\np,1,1,1,0.5\nq,1,1,0.4,1\n", "two covariances of p and q"),
        ("name,value,sigma,p,q\np,1,1,2,0.5\nq,1,1,0.5,1\n", "a correlation of a number with itself other than 1"),
    ],
)
def test_a_wrong_table_is_answered_with_a_sentence(tmp_path, text, sentence):
    with pytest.raises(InputError, match=sentence):
        read_published(table(tmp_path, text))


def test_an_unknown_name_is_answered_with_the_nearest():
    published = Published.of({"eccentricity_afterwards": (0.03, 0.001)})
    with pytest.raises(InputError, match="did you mean eccentricity_after?"):
        check_names(published, unknowns_beside(example(), published))


def test_slopes_that_are_not_defined_are_left_out_of_what_would_tell():
    asked = linear().unknowns
    directions = open_directions(asked, np.diag([1.0, 0.5, 0.2]))
    slopes = {"p": np.array([0.0, 1.0, 0.0]), "q": np.full(3, np.nan)}
    told = gains(asked, np.diag([1.0, 0.5, 0.2]), slopes, {"p": 0.1, "q": 0.1}, directions)
    assert [gain.name for gain in told] == ["p"] and directions[0].parts == {"b": 1.0}


def test_what_is_printed_has_the_worst_combination_and_what_would_tell_it(capsys):
    _, published, found = linear_case()
    print_joint(example(), found)
    said = capsys.readouterr().out
    assert "3 numbers together" in said and "least known combinations" in said
    assert f"SD {found.directions[0].sd:.2f}" in said and "2000, k-hat" in said
    plain = joint_report(example(), found)
    json.dumps(plain)
    assert plain["least_known"][0]["moves_with_it"] == found.directions[0].moves
    assert {row["name"] for row in plain["would_tell"]} == {"b", "c"} and plain["prior_sd"]["a"] is None
    assert plain["measured"]["p"]["found"] == pytest.approx(found.values["p"])


def test_the_command_refuses_times_beside_published_numbers_and_names_that_nobody_measures(tmp_path, capsys):
    path = table(tmp_path, "name,value,sigma\nperiod_after,9.98,0.001\n")
    assert main(["reconstruct", "--measured", path, "--times", "x.csv"]) == 2
    assert "--measured: it is given with --times" in capsys.readouterr().err
    assert main(["reconstruct", "--measured", path]) == 2
    assert "numbers.csv: period_after: it is no outcome" in capsys.readouterr().err
