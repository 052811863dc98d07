"""Weights of minima, scales and night errors against marginal likelihoods in closed form; mixtures against scipy."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import halfcauchy
from test_timing import AFTER_S, EXPECTED_WIDE, PERIOD_S, columns_of, drawn_off, ellipse_events, nightly

from binarydyn.constants import DAY_S
from binarydyn.timing.cycle_count import straight
from binarydyn.timing.doubts import doubts
from binarydyn.timing.evidence import AS_STATED, NO_COMMON_ERROR, RATIOS, STATED_SD, Weigher, _common, _ln_scale
from binarydyn.timing.fit import timing
from binarydyn.timing.mid_times import Readings
from binarydyn.timing.mixture import MOST_PARTS, Mixture, mixed
from binarydyn.timing.noise import FLOOR_S, Noise
from binarydyn.timing.orbit import Counted
from binarydyn.timing.starts import minima
from binarydyn.timing.terms import Priors


def test_evidence_is_the_density_of_the_data():
    """With proper priors of every parameter a linear problem has the data's density N(0, C + J P^-1 J^T) about the
    centre of the priors (scipy.stats.multivariate_normal), at any scale and night error."""
    from scipy.stats import multivariate_normal

    seen, longitude = ellipse_events(e=0.03, turning=1.2e-6, days=(4.0, 4.0))
    columns = columns_of(seen)
    seen = drawn_off(seen, 30.0, 20.0, columns, 2)
    sigma, group = np.full(len(longitude), 30.0), nightly(seen)
    noise = Noise.of(sigma, group, columns)
    priors = Priors.of(EXPECTED_WIDE, 4.0 * DAY_S)
    counted = Counted(seen, longitude[None])
    found = minima(straight(counted, EXPECTED_WIDE.apsidal_rad_s), counted, noise.at(1.0, 0.0), priors)
    priors = replace(priors, precision=np.maximum(priors.precision, 1.0 / priors.scale**2))
    priors = replace(priors, centre=found.x[0] + 0.3 * priors.scale)
    weigher = Weigher.of(found, noise, priors, True)
    late, slopes = Counted(seen, longitude).late_and_slopes(found.x[0])
    slopes = slopes * priors.scale
    # O-C of the linear model at the centre of the priors
    expected = late + slopes @ ((priors.centre - found.x[0]) / priors.scale)
    ours, theirs = [], []
    for scale, tau in ((1.0, 0.0), (0.6, 0.0), (1.0, 35.0), (2.5, 60.0)):
        ours.append(weigher.solved(scale, tau)[0][0])
        own = np.diag((scale * sigma) ** 2 + FLOOR_S**2) + tau**2 * (group[:, None] == group) + columns @ columns.T
        whole = own + slopes @ np.linalg.inv(priors.scaled) @ slopes.T
        theirs.append(multivariate_normal.logpdf(expected, cov=whole))
    np.testing.assert_allclose(np.diff(ours), np.diff(theirs), atol=1e-5)


def test_priors_of_the_noise_have_unit_mass():
    """Of ln s but for one constant that all nodes share, sqrt(2 pi); of tau over its grid, where half of what is not 0
    lies below one sigma (scipy.stats.halfcauchy), to the steps of the grid.  Nights of one event may err too."""
    ln_s = np.linspace(-8.0, 8.0, 20001)
    mass = np.trapezoid(np.exp(_ln_scale(ln_s, True)), ln_s)
    assert mass == pytest.approx(np.sqrt(2.0 * np.pi), rel=1e-6)
    spike = AS_STATED / STATED_SD * np.exp(-0.5 * (ln_s / STATED_SD) ** 2)
    assert np.trapezoid(spike, ln_s) / mass == pytest.approx(AS_STATED, rel=1e-6)
    for group in (np.array([0, 0, 1, 1]), np.arange(4)):
        ratios, ln = _common(Noise.of(np.ones(4), group, None))
        assert np.exp(ln).sum() == pytest.approx(1.0) and np.exp(ln[0]) == pytest.approx(NO_COMMON_ERROR)
        assert np.array_equal(ratios[1:], RATIOS)
        below = np.cumsum(np.exp(ln[1:]))[:-1] / (1.0 - NO_COMMON_ERROR)
        np.testing.assert_allclose(below, halfcauchy.cdf(np.sqrt(RATIOS[1:] * RATIOS[:-1])), rtol=1e-12)
    assert len(_common(Noise.of(np.ones(4), None, None))[0]) == 1


def test_nights_of_one_event_have_the_error_of_a_night():
    """42 s common to a night beside 42 s, one event a night: such data tell the sum of both alone.  Six sets: the sigma
    of the change is on average within 7 % of that with 59 s stated and nothing in common; without nights it is not.
    """
    seen, longitude = ellipse_events(e=0.03, turning=1.2e-6, days=(14.0, 14.0))
    first = np.sort(np.unique(nightly(seen), return_index=True)[1])
    nothing, sigma, group = np.zeros((len(longitude), 1)), np.full(len(first), 42.0), np.arange(len(first))
    ratios = []
    for seed in range(6):
        late = drawn_off(seen, 42.0, 42.0, nothing, seed)
        some = Readings(*(column[first] for column in vars(late).values()))
        told = [
            timing(some, size * sigma, which, None, EXPECTED_WIDE)
            for size, which in ((1.0, group), (1.0, None), (np.sqrt(2.0), None))
        ]
        own, none, whole = (one.fit.change_sigma_s for one in told)
        ratios.append([own / whole, none / whole])
    nights, without = np.mean(ratios, axis=0)
    assert abs(nights - 1.0) < 0.07 < 1.0 - without


def test_a_night_error_is_found():
    """40 s common to a night beside 20 s: within three of its sd, and none where there is none."""
    seen, longitude = ellipse_events(e=0.03, turning=1.2e-6, days=(25.0, 25.0))
    nothing = np.zeros((len(longitude), 1))
    for tau in (40.0, 0.0):
        late = drawn_off(seen, 20.0, tau, nothing, 3)
        fit = timing(late, np.full(len(longitude), 20.0), nightly(seen), None, EXPECTED_WIDE).fit
        assert abs(fit.tau_s[0] - tau) < 3.0 * fit.tau_s[1] + 5.0
        assert abs(fit.change_s - AFTER_S + PERIOD_S) < 3.5 * fit.change_sigma_s


def test_a_mixture_is_what_it_says():
    """Against scipy.stats: distribution, density, quantiles; draws within their errors; thinned, the same moments."""
    from scipy.stats import norm

    weights, means, sigmas = np.array([0.2, 0.5, 0.3]), np.array([-3.0, 0.0, 40.0]), np.array([1.0, 2.0, 0.5])
    found = Mixture(weights, means, sigmas)
    at = np.linspace(-20.0, 50.0, 70001)
    np.testing.assert_allclose(found.density(at), weights @ norm.pdf(at, means[:, None], sigmas[:, None]), atol=1e-15)
    assert found.cdf(1.0) == pytest.approx(weights @ norm.cdf(1.0, means, sigmas), abs=1e-12)
    assert np.trapezoid(at * found.density(at), at) == pytest.approx(found.mean, rel=1e-6)
    variance = np.trapezoid((at - found.mean) ** 2 * found.density(at), at)
    assert found.sigma == pytest.approx(np.sqrt(variance), rel=1e-4)
    low, high = found.interval(0.9)
    assert [found.cdf(low), found.cdf(high)] == pytest.approx([0.05, 0.95], abs=1e-9)
    drawn = found.draws(np.random.default_rng(1), 20000)
    assert abs(drawn.mean() - found.mean) < 4.0 * found.sigma / np.sqrt(20000.0)
    assert np.mean(drawn > 20.0) == pytest.approx(0.3, abs=0.015)
    many = Mixture(np.full(200, 0.005), np.linspace(-1.0, 1.0, 200), np.linspace(1.0, 3.0, 200))
    thin = many.thinned()
    assert len(thin.weights) <= MOST_PARTS and thin.weights.sum() == pytest.approx(1.0)
    assert [thin.mean, thin.sigma] == pytest.approx([many.mean, many.sigma])
    assert thin.quantile(0.975) == pytest.approx(many.quantile(0.975), rel=0.02)
    halves = [Mixture(0.5 * weights, means, sigmas), Mixture(0.5 * weights, means + 1.0, sigmas)]
    assert mixed(halves).mean == pytest.approx(found.mean + 0.5)


def test_weights_of_counts_are_as_often_right_as_they_say():
    """One night 39 days after t0: over 40 sets of noise the mean weight of the right count is how often the heaviest is
    right, within three binomial errors, and the change lies where the mixture says."""
    seen, longitude = ellipse_events(e=0.0, days=(20.0, 40.0))
    days = seen.time_s / DAY_S
    some = (days < 0.0) | (days > 38.0)
    part = Readings(*(column[some] for column in vars(seen).values()))
    sigma, truth, known = (
        np.full(some.sum(), 800.0),
        AFTER_S - PERIOD_S,
        replace(EXPECTED_WIDE, eccentricity_sigma=0.01),
    )
    weights, right, inside = [], [], []
    for seed in range(40):
        late = drawn_off(part, 800.0, 0.0, np.zeros((len(sigma), 1)), seed)
        found = timing(late, sigma, None, None, known)
        near = np.abs([one.change_s - truth for one in found.counts])
        weights.append(found.counts[0].weight)
        right.append(near[0] == near.min())
        inside.append(0.025 < found.fit.change.cdf(truth) < 0.975)
        assert bool(found.others) == any("number of turns is not certain" in said for said in doubts(found))
    error = np.sqrt(np.mean(np.array(weights) * (1.0 - np.array(weights))) / len(weights))
    assert 0.3 < np.mean(weights) < 0.98
    assert abs(np.mean(right) - np.mean(weights)) < 3.0 * error
    assert np.mean(inside) > 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / 40.0)
