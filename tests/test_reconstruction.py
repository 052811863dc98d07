"""What happened: draws, their weights and the unknowns that are integrated out, on problems whose answer is known."""

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares, minimize
from scipy.special import logsumexp
from scipy.stats import chi2 as chi2_distribution
from scipy.stats import genpareto, multivariate_normal, truncnorm
from test_unstable_runs import PAIR

from binarydyn.constants import DAY_S
from binarydyn.prediction import predict
from binarydyn.reconstruction.answers.shapes import CHANGE_AT_LENGTH, shapes_of
from binarydyn.reconstruction.answers.told import Reconstruction
from binarydyn.reconstruction.answers.weighing import (
    against_truth,
    combinations_of,
    correlations_with,
    weighted_quantiles,
    weighted_spread,
)
from binarydyn.reconstruction.chord import Conditional
from binarydyn.reconstruction.exact import ExactWeights, Weighted, exactly_weighed
from binarydyn.reconstruction.horizon import chaotic, horizon_s
from binarydyn.reconstruction.importance import (
    Kernels,
    RoughDraws,
    adapted,
    k_hat,
    ln_normal,
    pareto_shape,
    prior_draws,
    refreshed,
    weights,
)
from binarydyn.reconstruction.likelihood import Likelihood
from binarydyn.reconstruction.newton import solved
from binarydyn.reconstruction.runs import GuessedMotion
from binarydyn.reconstruction.scatter import NoiseGrid, without_outliers
from binarydyn.reconstruction.unknowns import Unknowns
from binarydyn.scenario import Scenario, example
from binarydyn.timing.noise import FLOOR_S, Noise


@dataclass(frozen=True)
class Names:
    """Unknowns a, b (smooth), c, d (rough) of unit scale."""

    names: tuple = ("a", "b", "c", "d")
    centre: np.ndarray = field(default_factory=lambda: np.zeros(4))
    scale: np.ndarray = field(default_factory=lambda: np.ones(4))
    prior_sigma_u: np.ndarray = field(default_factory=lambda: np.array([np.inf, 2.0, 0.7, 1.3]))
    smooth: np.ndarray = field(default_factory=lambda: np.array([True, True, False, False]))

    def value(self, u):
        return self.centre + self.scale * u

    def index(self, name):
        return self.names.index(name)


class Line:
    """Times that are linear in the unknowns, and, `bent`, quadratic in c."""

    def __init__(self, seed=1, bent=0.0, count=30):
        random = np.random.default_rng(seed)
        self.unknowns, self.bent = Names(), bent
        self.matrix = 20.0 * random.standard_normal((count, 4))
        self.curve = 20.0 * random.standard_normal(count)
        self.observed = np.zeros(count)
        truth = np.array([0.4, -1.0, 0.8, 0.5])
        self.observed = self.predicted(truth[None])[0] + 60.0 * random.standard_normal(count)

    def predicted(self, u):
        return u @ self.matrix.T + self.bent * (u[:, 2] ** 2)[:, None] * self.curve


def noise_of(count, group=None, columns=None):
    return Noise.of(np.full(count, np.sqrt(60.0**2 - FLOOR_S**2)), group, columns)


def exact_posterior(likelihood):
    """Mean and covariance of a linear problem with Gaussian errors and priors, from the dense matrices."""
    model, noise = likelihood.model, likelihood.noise
    common = likelihood.tau_s**2 * noise.members.T @ noise.members
    c = np.diag(noise.own_variance(1.0)) + common + noise.causes_s @ noise.causes_s.T
    told = np.linalg.solve(c, model.matrix)
    covariance = np.linalg.inv(model.matrix.T @ told + np.diag(likelihood.information))
    return covariance @ (told.T @ model.observed), covariance, c


def linear_likelihood():
    model = Line()
    group = np.repeat(np.arange(6), 5)
    columns = np.column_stack([np.linspace(-30.0, 30.0, 30), 20.0 * np.cos(np.arange(30))])
    return Likelihood(model, noise_of(30, group, columns), 1.0, 25.0)


def test_a_linear_problem_is_solved_in_closed_form():
    likelihood = linear_likelihood()
    mean, covariance, _ = exact_posterior(likelihood)
    found = solved(likelihood, np.array([3.0, -3.0, 1.0, 1.0]))
    assert found.u == pytest.approx(mean, abs=1e-4 * np.sqrt(np.diag(covariance).min()))
    assert found.covariance(likelihood) == pytest.approx(covariance, rel=1e-6)


def test_a_bent_problem_has_the_minimum_that_scipy_finds():
    likelihood = Likelihood(Line(bent=2.0), noise_of(30))

    def residuals(u):
        known = np.sqrt(likelihood.information)
        return np.concatenate([likelihood.late(u[None])[0] / 60.0, known * u])

    theirs = least_squares(residuals, np.zeros(4), method="lm", xtol=1e-12, ftol=1e-12)
    mine = solved(likelihood, np.zeros(4))
    assert mine.cost == pytest.approx(2.0 * theirs.cost, rel=1e-5)
    assert mine.u == pytest.approx(theirs.x, abs=2e-3)


class Jumping(Line):
    """The same times to 4 s: sums over strips jump like this, each at another guess."""

    def predicted(self, u):
        return 4.0 * np.round(super().predicted(u) / 4.0)


def test_slopes_are_not_those_of_jumps():
    """Against the closed form without jumps: 4 s in a step that moves times by 10 s or more err by 4/sqrt(12) of it, a
    tenth, at each of 30 times independently; a step of 0.02 moves them by 0.4 s."""
    likelihood, calm = (Likelihood(kind(), noise_of(30)) for kind in (Jumping, Line))
    mean, covariance, _ = exact_posterior(calm)
    found = solved(likelihood, np.array([0.3, -0.3, 0.5, 0.5]))
    sigma = np.sqrt(np.diag(covariance))
    assert np.sqrt(np.diag(found.covariance(likelihood))) == pytest.approx(sigma, rel=0.1)
    assert np.abs(found.u - mean).max() < 0.2 * sigma.max()


def test_scale_and_common_error_are_integrated_out_of_the_smooth_unknowns():
    """ln L(x) over several nodes against the sum of their dense marginal likelihoods, up to one constant; the shares of
    nodes in each draw likewise."""
    likelihood = linear_likelihood()
    reference = solved(likelihood, np.zeros(4))
    grid = NoiseGrid.of(likelihood, reference, True).few(5)
    assert 2 < len(grid.nodes) <= 5 and len({node.tau_s for node in grid.nodes}) > 1
    target = Conditional(likelihood, reference, grid=grid)
    x = np.random.default_rng(2).standard_normal((200, 2))
    found = target.moved(x, target.guess(x))
    parts = []
    for node, share in zip(grid.nodes, grid.ln_prior, strict=True):
        noise = node.noise
        own = np.diag(noise.own_variance(node.scale)) + node.tau_s**2 * noise.members.T @ noise.members
        smooth = node.model.matrix[:, :2] * [1e3, 2.0]
        wide = own + noise.causes_s @ noise.causes_s.T + smooth @ smooth.T
        late = node.model.observed - x * [0.7, 1.3] @ node.model.matrix[:, 2:].T
        parts.append(share + multivariate_normal(np.zeros(len(own)), wide).logpdf(late))
    theirs = logsumexp(parts, axis=0)
    assert np.ptp(found.whole - theirs) < 1e-3
    assert found.share == pytest.approx(np.exp(parts - theirs), abs=1e-3)


def test_few_nodes_of_the_noise_have_the_evidence_and_the_mean_of_all():
    """Their shares sum to the evidence of the grid, and the mean scale is within what a sixth of it spans."""
    likelihood = linear_likelihood()
    grid = NoiseGrid.of(likelihood, solved(likelihood, np.zeros(4)), True)
    few = grid.few(6)
    evidence = np.log(grid.weight) - grid.ln_prior
    kept = [grid.nodes.index(node) for node in few.nodes]
    assert np.exp(few.ln_prior + evidence[kept]).sum() == pytest.approx(
        np.exp(grid.ln_prior + evidence).sum(), rel=1e-9
    )
    (scale, spread), (few_scale, _) = grid.moments("scale"), few.moments("scale")
    assert few_scale == pytest.approx(scale, abs=spread)


def test_a_fit_that_scales_its_sigmas_does_not_call_the_motion_wrong():
    """Times that scatter twice as much as stated: the p of the fit's own noise against sums over its nodes by hand."""
    model = Line(count=60)
    model.observed = model.predicted(np.zeros((1, 4)))[0] + 120.0 * np.random.default_rng(3).standard_normal(60)
    likelihood = Likelihood(model, noise_of(60))
    grid = NoiseGrid.of(likelihood, solved(likelihood, np.zeros(4)), True)
    late = likelihood.late(0.3 * np.random.default_rng(4).standard_normal((5, 4)))
    weighted = Weighted(np.zeros((5, 4)), np.zeros(5), late, np.zeros(5, dtype=bool))
    found = SimpleNamespace(grid=grid, weighted=weighted, data=model)
    done = Reconstruction(example(), found)
    variance = np.array([node.noise.own_variance(node.scale)[0] for node in grid.nodes])
    chi2 = np.sum(late**2, axis=1) / variance[:, None]
    share = np.exp(grid.ln_prior[:, None] - 30.0 * np.log(variance)[:, None] - 0.5 * (chi2 - chi2.min()))
    expected = np.mean(np.sum(share * chi2_distribution.sf(chi2, 60), axis=0) / share.sum(axis=0))
    assert done.predictive_p == pytest.approx(expected, rel=1e-6)
    assert 0.01 < done.predictive_p and chi2_distribution.sf(np.sum(late[0] ** 2) / 60.0**2, 60) < 1e-6


def test_integrating_out_is_exact_where_times_are_linear():
    """ln L(x) against the dense marginal likelihood of a flat and a normal unknown, up to one constant."""
    likelihood = linear_likelihood()
    reference = solved(likelihood, np.zeros(4))
    target = Conditional(likelihood, reference)
    x = np.random.default_rng(2).standard_normal((300, 2))
    ln, s = target(x)
    mean, covariance, c = exact_posterior(likelihood)
    model = likelihood.model
    wide = c + model.matrix[:, :2] @ np.diag([1e8, 2.0**2]) @ model.matrix[:, :2].T
    theirs = multivariate_normal(model.observed, wide).logpdf(x * [0.7, 1.3] @ model.matrix[:, 2:].T)
    assert np.ptp(ln - theirs) < 1e-4
    rough = covariance[2:, 2:]
    expected = mean[:2] + (x * [0.7, 1.3] - mean[2:]) @ np.linalg.solve(rough, covariance[2:, :2])
    assert s == pytest.approx(expected, abs=1e-3)


def test_weighted_draws_have_the_moments_of_the_exact_posterior():
    likelihood = linear_likelihood()
    draws = adapted(Conditional(likelihood, solved(likelihood, np.zeros(4))), 2, seed=3)
    mean, covariance, _ = exact_posterior(likelihood)
    w, x = weights(draws.ln_weight), draws.x * [0.7, 1.3]
    sigma = np.sqrt(np.diag(covariance)[2:])
    assert draws.k_hat < 0.7 and draws.effective > 200.0
    assert np.abs(w @ x - mean[2:]).max() < 4.0 / np.sqrt(draws.effective) * sigma.max()
    spread = np.cov(x.T, aweights=w)
    assert spread == pytest.approx(covariance[2:, 2:], abs=6.0 / np.sqrt(draws.effective) * sigma.max() ** 2)


class Shell:
    """A narrow ring in three dimensions, of which a second part is heavier: what one Gaussian does not describe."""

    def __call__(self, x):
        ring = -0.5 * ((np.hypot(x[:, 0], x[:, 1]) - 1.5) / 0.05) ** 2 - 0.5 * (x[:, 2] / 0.05) ** 2
        return ring + x[:, 0], np.zeros((len(x), 1))

    def learn(self, x, found, ln):
        pass


def test_draws_adapt_to_a_ring():
    """Mean of x0 over the angle by quadrature: the ring is thin, so prior and tilt act along it alone."""
    angle = np.linspace(0.0, 2.0 * np.pi, 20001)[:-1]
    radius = 1.5 + 0.05 * np.linspace(-6.0, 6.0, 241)[:, None]
    ln = -0.5 * ((radius - 1.5) / 0.05) ** 2 - 0.5 * radius**2 + radius * np.cos(angle) + np.log(radius)
    expected = float(np.exp(logsumexp(ln, b=radius * np.cos(angle) + 10.0) - logsumexp(ln)) - 10.0)
    draws = adapted(Shell(), 3, seed=5)
    w = weights(draws.ln_weight)
    assert draws.effective > 200.0 and draws.k_hat < 0.7
    assert w @ draws.x[:, 0] == pytest.approx(expected, abs=4.0 * 1.1 / np.sqrt(draws.effective))


def test_densities_of_kernels_are_those_they_draw_from():
    """The mean of any density over that of the draws is 1; this one lies where most kernels do."""
    random = np.random.default_rng(4)
    sigma, centre = np.array([0.1, 0.5, 1.0]), np.array([1.0, 0.0, 0.0])
    x = random.standard_normal((500, 3)) * sigma + centre
    kernels = Kernels.about(x, np.full(500, 1.0 / 500), random)
    y = kernels.draw(40_000, random)
    ratio = np.exp(ln_normal((y - centre) / sigma) - np.log(sigma).sum() - kernels.ln_density(y))
    assert ratio.mean() == pytest.approx(1.0, abs=4.0 * ratio.std() / 200.0)


@pytest.mark.parametrize("shape", [-0.2, 0.3, 0.6, 0.9])
def test_the_shape_of_a_pareto_tail_is_found(shape):
    """Draws of scipy's generalised Pareto distribution; the error of k is (1 + k)/sqrt(n) (Zhang & Stephens 2009)."""
    above = np.sort(genpareto(shape).rvs(4000, random_state=np.random.default_rng(7)))
    assert pareto_shape(above) == pytest.approx(shape, abs=4.0 * (1.0 + shape) / np.sqrt(4000))


@pytest.mark.parametrize("wide", [0.5, 1.0, 2.0])
def test_k_hat_is_that_of_arviz(wide):
    arviz = pytest.importorskip("arviz")
    ln = wide * np.random.default_rng(8).standard_normal(3000) ** 2
    assert k_hat(ln) == pytest.approx(float(arviz.psislw(ln)[1]), abs=0.02)


def test_exact_weights_undo_what_was_linear():
    """A bent problem with a night's common error and an unknown scale, against the posterior on a fine grid of u."""
    model = Line(bent=2.0)
    noise = noise_of(30, np.repeat(np.arange(6), 5))
    likelihood = Likelihood(model, noise, 1.0, 20.0)
    reference = solved(likelihood, np.zeros(4))
    grid = NoiseGrid.of(likelihood, reference, True)
    target = Conditional(grid.best, reference)
    found = exactly_weighed(target, adapted(target, 2, seed=1), ExactWeights(grid), 2000, 1)
    assert found.effective > 1000.0
    told = found.weight @ found.u[:, 0], found.weight @ found.u[:, 0] ** 2
    wide = reference.covariance(likelihood)[0, 0]
    assert 0.7 * wide < told[1] - told[0] ** 2 < 1.6 * wide
    c = np.linspace(-3.0, 3.0, 1201)
    ln = logsumexp([share + ln_of_c(node, c) for node, share in zip(grid.nodes, grid.ln_prior, strict=True)], axis=0)
    w = weights(ln - 0.5 * (c / 0.7) ** 2)
    mean, sigma = w @ c, np.sqrt(w @ (c - w @ c) ** 2)
    mine = found.weight @ found.u[:, 2]
    assert mine == pytest.approx(mean, abs=5.0 * sigma / np.sqrt(200.0))
    assert np.sqrt(found.weight @ (found.u[:, 2] - mine) ** 2) == pytest.approx(sigma, rel=5.0 / np.sqrt(400.0))


def ln_of_c(likelihood, c):
    """ln of the likelihood at each c, a flat, b and d of their priors: from the dense covariance of the times."""
    model, noise = likelihood.model, likelihood.noise
    others = model.matrix[:, [0, 1, 3]] * [1e3, 2.0, 1.3]
    own = np.diag(noise.own_variance(likelihood.scale)) + likelihood.tau_s**2 * noise.members.T @ noise.members
    late = model.observed - c[:, None] * model.matrix[:, 2] - model.bent * (c**2)[:, None] * model.curve
    return multivariate_normal(np.zeros(len(own)), own + others @ others.T).logpdf(late)


def test_outliers_leave_the_minimum_of_students_t():
    """The stand-in Gaussian problem against scipy's minimum of the likelihood of Student's t with the same scale."""
    model = Line(count=60)
    model.unknowns = replace(model.unknowns, prior_sigma_u=np.full(4, np.inf))
    model.observed[::12] += 600.0
    likelihood = Likelihood(model, noise_of(60))
    calm, far = without_outliers(likelihood, solved(likelihood, np.zeros(4)))
    assert far == 5
    scale = np.sqrt((calm.noise.own_variance(1.0)).mean())
    mine = solved(calm, np.zeros(4))
    z = likelihood.late(mine.u[None])[0]
    core = np.sort(np.abs(z))[:55]
    assert 0.5 * 60.0 < scale < 2.5 * 60.0 and core.std() < 60.0

    def excess(sigma):
        return np.mean(5.0 * (z / sigma) ** 2 / (4.0 + (z / sigma) ** 2)) - 1.0

    sigma = brentq(excess, 10.0, 300.0)

    def minus_ln(u):
        return 2.5 * np.sum(np.log1p((likelihood.late(u[None])[0] / sigma) ** 2 / 4.0))

    assert minimize(minus_ln, mine.u + 0.1, tol=1e-12).x == pytest.approx(mine.u, abs=2e-3)
    few = 1.0 + 4.0 / 60.0  # Huber's K is between 1 and this here, and the chi2 left (n - p)/K^2
    assert 56.0 / few**2 < mine.cost < 56.0 * (1.0 + 1e-6)


def test_bounds_cut_what_scales_the_impact():
    """A flat unknown with a lower bound: its marginal is the truncated normal of scipy."""
    likelihood = linear_likelihood()
    mean, covariance, _ = exact_posterior(likelihood)
    reference, sigma = solved(likelihood, np.zeros(4)), np.sqrt(covariance[0, 0])
    target = Conditional(likelihood, reference, "a", (mean[0] + 0.5 * sigma, np.inf))
    grid = NoiseGrid((likelihood,), np.zeros(1), np.ones(1))
    found = exactly_weighed(target, adapted(target, 2, seed=2, start=target.start), ExactWeights(grid), 3000, 2)
    kept = found.weight > 0.0
    assert found.u[kept, 0].min() >= mean[0] + 0.5 * sigma
    expected = truncnorm(0.5, np.inf, mean[0], sigma)
    assert found.weight @ found.u[:, 0] == pytest.approx(expected.mean(), abs=5.0 * expected.std() / np.sqrt(500.0))


def test_weighted_quantiles_are_those_of_repeated_values():
    """numpy's rule of Hazen puts the steps of equal weights at their middles, as here."""
    values = np.random.default_rng(5).standard_normal(41)
    even = weighted_quantiles(values, np.full(41, 1.0 / 41), [0.1, 0.5, 0.93])
    assert even == pytest.approx(np.quantile(values, [0.1, 0.5, 0.93], method="hazen"), abs=1e-12)
    lame = np.append(values, [1e9, np.nan])
    assert weighted_quantiles(lame, np.append(np.ones(41), [0.0, 1.0]) / 42.0, [0.5]) == pytest.approx(even[1])


def test_least_known_combinations_are_eigenvectors():
    random = np.random.default_rng(6)
    u = random.standard_normal((20_000, 2)) @ np.array([[1.0, 1.0], [-0.1, 0.1]]) / np.sqrt(2.0)
    one, other = combinations_of(u, np.full(len(u), 1.0 / len(u)), ("x", "y"))
    assert one.sd == pytest.approx(1.0, abs=0.03) and other.sd == pytest.approx(0.1, abs=0.003)
    assert one.components["x"] == pytest.approx(np.sqrt(0.5), abs=0.01) == one.components["y"]


def test_draws_are_weighed_by_name():
    columns = {"a": np.array([0.0, 1.0, 2.0]), "b": np.array([0.0, -2.0, -4.0]), "c": np.ones(3)}
    assert correlations_with("a", columns, np.array([0.5, 0.25, 0.25])) == {"b": pytest.approx(-1.0)}
    assert weighted_spread(np.array([1.0, np.nan]), np.array([0.3, 0.7])) is None


def test_shapes_of_the_nominal_motion_are_those_of_predict():
    """Adaptive and fixed steps agree to the error of the latter (DEVELOPERS.md: 0.04 s at most)."""
    scenario = example()
    motion = GuessedMotion(scenario, Unknowns.of(scenario), (14.0, 14.0))
    found = shapes_of(motion, np.zeros((1, len(motion.unknowns.names))), np.ones(1, dtype=bool), True)
    told = predict(scenario).numbers()
    assert found[CHANGE_AT_LENGTH][0] == pytest.approx(told["period_change_s"], abs=0.04)
    assert found["along_track_dv_mm_s"][0] == pytest.approx(told["along_track_dv_mm_s"], rel=1e-6)
    assert found["eccentricity_after"][0] == pytest.approx(told["eccentricity_after"], rel=0.03)
    assert horizon_s(motion, np.zeros(len(motion.unknowns.names))) == np.inf
    assert not chaotic(motion, np.zeros((1, len(motion.unknowns.names)))).any()


def test_what_is_unfit_weighs_nothing():
    """Of a linear problem, where c < 0.5: what is left is the truncated normal of scipy."""
    likelihood = linear_likelihood()
    reference = solved(likelihood, np.zeros(4))
    target, grid = Conditional(likelihood, reference), NoiseGrid((likelihood,), np.zeros(1), np.ones(1))
    weigher = ExactWeights(grid, lambda u: u[:, 2] < 0.5)
    found = exactly_weighed(target, adapted(target, 2, seed=2, start=target.start), weigher, 2000, 2)
    mean, covariance, _ = exact_posterior(likelihood)
    sigma = np.sqrt(covariance[2, 2])
    assert found.left_out.mean() == pytest.approx(multivariate_normal(mean[2], sigma**2).cdf(0.5), abs=0.05)
    expected = truncnorm((0.5 - mean[2]) / sigma, np.inf, mean[2], sigma)
    assert found.weight @ found.u[:, 2] == pytest.approx(expected.mean(), abs=5.0 * expected.std() / np.sqrt(500.0))


def test_fresh_draws_reach_a_tail_that_was_not_drawn():
    """All draws before lie at x < 0.1 of a normal of sigma 0.1 (with the prior): sd and tail are those of scipy all
    the same, a sixth of one stage counts, and the draws of the prior weigh nothing."""

    class Narrow:
        def __call__(self, x):
            return -0.5 * np.sum((x / 0.1) ** 2, axis=1), np.zeros((len(x), 1))

        def learn(self, x, found, ln):
            pass

    x = 0.1 * prior_draws(2048, 4, 3)
    x = x[x[:, 0] < 0.1]
    before = RoughDraws(x, np.zeros((len(x), 1)), np.zeros(len(x)), np.zeros(len(x)), 256, ((len(x), 1e3, 0.0),))
    after = refreshed(Narrow(), before, np.random.default_rng(5))
    w = weights(after.ln_weight)
    sigma = 1.0 / np.sqrt(101.0)
    assert w[:256].sum() == 0.0 and after.effective > (len(after.x) - 256) / 6.0
    assert w @ after.x[:, 0] ** 2 == pytest.approx(sigma**2, rel=4.0 * np.sqrt(2.0 / after.effective))
    assert w @ (after.x[:, 0] > sigma) == pytest.approx(0.1587, abs=4.0 * np.sqrt(0.1335 / after.effective))
    unwidened = Kernels.about(x, np.full(len(x), 1.0 / len(x)), np.random.default_rng(5))
    assert unwidened.wider.factors == pytest.approx(2.5 * unwidened.factors)


def test_a_chaotic_motion_has_a_horizon():
    """The pair of tests/test_unstable_runs.py, of which `predict` says that it is chaotic in its 60 days."""
    scenario = Scenario.from_text(PAIR, "pair.toml")
    motion = GuessedMotion(scenario, Unknowns.of(scenario), (5.0, 60.0))
    horizon = horizon_s(motion, np.zeros(len(motion.unknowns.names))) / DAY_S
    assert 1.0 < horizon < 60.0
    assert chaotic(motion, np.zeros((1, len(motion.unknowns.names)))).all()


def test_draws_against_a_truth_are_those_of_as_many_equal_ones():
    """Weights of 1 to 3 are as many copies (from the definition); a draw without a value counts nowhere."""
    values, times = np.array([3.0, -1.0, np.nan, 2.0]), np.array([1, 3, 2, 2])
    copies = np.repeat(values, times)[np.isfinite(np.repeat(values, times))]
    expected = (copies < 2.5).mean(), copies.mean() - 2.5, copies.std()
    assert against_truth(2.5, values, times / times.sum()) == pytest.approx(expected, rel=1e-12)
