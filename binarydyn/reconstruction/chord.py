"""Unknowns in which what is measured is nearly linear, integrated out by one move along a chord: one run a draw.

With the rough unknowns x fixed, the solution of the smooth ones s, and the likelihood integrated over them, follow from
what is late, r, at a guess of s, with slopes A(x) that are linear in x, from differences about a reference.  With the
information of the priors P, H = A^T C^-1 A + P, g = A^T C^-1 r + P s and d = -H^-1 g,
  ln L(x) = -(r^T C^-1 r + s^T P s + g^T d + ln |H|)/2,  solution s + d.
Kept slopes of one place would not do: that of an eccentricity before the impact turns with the apsidal rate, and so
with the primary's shape.  Its square moves the mean period: smooth unknowns with a prior bend those without one,
by what undoes their second order at the reference; such a change of coordinates has a determinant of 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .importance import prior_draws
from .likelihood import Likelihood, of_priors, quadratic
from .newton import STEP, Solved

FAR = 25.0
"""In chi2, from which a guess lies so far from its solution that it is moved twice, where the draw may count."""
_COUNTS = 30.0
"""Below the highest ln L by which a draw may still count, after a move that is wrong by a tenth of how far it was."""
_STEP_BENT = (0.1, 1.0)
"""Least and greatest step of u for second slopes, else two sigmas at fixed x."""
_PLACES, _AT_REFERENCE = 3, 5.0
"""Places for each coefficient of the slopes, and the weight of the reference among them."""
_WITHIN = 3.5
"""From the reference, beyond which slopes are taken as there."""
_WIDER = 1.5
_TURNING = 0.08
_BLOCK = 256
"""Runs in one call: their samples are held at once."""
_FIRST = 256
_FIRST_MOVES = 3
_SMOOTHED, _LEAST, _RIDGE = 20.0, -8.0, 1e-3
"""By which ln likelihoods are divided as weights of the guess, the least of these, and what holds it back."""


@dataclass
class Conditional:
    """ln L(x) of the rough unknowns in units of their priors' sigma, x (n, d), and the solutions of the smooth ones.

    reference: where slopes are taken.  bounded: the name of a smooth unknown whose value has bounds, or None.
    """

    likelihood: Likelihood
    reference: Solved
    bounded: str | None = None
    bounds: tuple[float, float] = (-np.inf, np.inf)
    runs: int = 0
    _quadratic: np.ndarray | None = field(default=None, repr=False)

    def __post_init__(self):
        asked, information = self.likelihood.model.unknowns, self.likelihood.information
        self.smooth, self.rough = np.flatnonzero(asked.smooth), np.flatnonzero(~asked.smooth)
        self.sigma_x = asked.prior_sigma_u[self.rough]
        self.information = information[self.smooth]
        self.weighing = self.likelihood.weighing
        self.s0 = self.reference.u[self.smooth]
        self.x0 = self.reference.u[self.rough] / self.sigma_x
        first = self.reference.slopes[:, self.smooth]
        told = self.weighing.applied(first)
        precision = first.T @ told + np.diag(self.information)
        self.line = -np.linalg.solve(precision, told.T @ self.reference.slopes[:, self.rough] * self.sigma_x).T
        self.bend = self._bends(first, told, np.sqrt(np.diag(np.linalg.inv(precision))))
        self.slopes = self._slopes_over_x(first)
        self.told = self.weighing.applied(self.slopes)
        self.gram = np.einsum("ams,bmt->abst", self.slopes, self.told, optimize=True)
        self.at = -1 if self.bounded is None else int(np.flatnonzero(self.smooth == asked.index(self.bounded))[0])

    def _bends(self, first: np.ndarray, told: np.ndarray, sigma: np.ndarray) -> np.ndarray:
        """(k, k) by how much flat unknowns (columns) move with the square of those with a prior (rows)."""
        known, free = np.flatnonzero(self.information > 0.0), np.flatnonzero(self.information == 0.0)
        bend = np.zeros((len(sigma), len(sigma)))
        if not (len(known) and len(free)):
            return bend
        step = np.clip(2.0 * sigma[known], *_STEP_BENT)
        u = np.repeat(self.reference.u[None], 2 * len(known), axis=0)
        u[np.arange(2 * len(known)), np.tile(self.smooth[known], 2)] += np.concatenate([step, -step])
        up, down = np.split(self.likelihood.late(u), 2)
        self.runs += len(u)
        half = np.nan_to_num(up + down - 2.0 * self.reference.late) / (2.0 * step[:, None] ** 2)
        matrix = first[:, free].T @ told[:, free]
        bend[np.ix_(known, free)] = -np.linalg.solve(matrix, told[:, free].T @ half.T).T
        return bend

    def _slopes_over_x(self, first: np.ndarray) -> np.ndarray:
        """(t, m, k) coefficients of A(x), quadratic in x, by least squares over places about the reference and of the
        prior, with s by one move of their own slopes; where these lead is the first guess."""
        terms = _terms(np.zeros((1, len(self.rough)))).shape[1]
        x = self._places(_PLACES * terms)
        here, slopes = self._own_slopes(x, s := self.guess(x))
        known = np.isfinite(here).all(axis=1) & np.isfinite(slopes).all(axis=(1, 2))
        x, s, here, slopes = x[known], s[known], here[known], slopes[known]
        told = self.weighing.applied(slopes)
        precision = np.swapaxes(slopes, 1, 2) @ told + np.diag(self.information)
        gradient = np.einsum("nm,nmk->nk", here, told) + s * self.information
        move = -np.linalg.solve(precision, gradient[..., None])[..., 0]
        ln = -0.5 * (quadratic(self.weighing, here) + np.sum(gradient * move, axis=1))
        self.learn(x, s + move, ln)
        w = _shares(ln)
        matrix = np.vstack([self._away(x) * w, _AT_REFERENCE * self._away(self.x0[None]), _RIDGE * np.eye(terms)])
        right = [slopes.reshape(len(x), -1) * w, _AT_REFERENCE * first.reshape(1, -1), np.zeros((terms, first.size))]
        found = np.linalg.lstsq(matrix, np.vstack(right), rcond=None)[0]
        return found.reshape(terms, *first.shape)

    def _places(self, count: int) -> np.ndarray:
        """(count, d) of which two thirds are about the reference."""
        normal = prior_draws(count, len(self.rough), 0)
        mean, covariance = self.start
        about = mean + normal[count // 3 :] @ np.linalg.cholesky(covariance).T
        return np.vstack([normal[: count // 3], about])

    def _own_slopes(self, x: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What is late at x (n, d) and s (n, k), (n, m), and its slopes there (n, m, k), one-sided."""
        n, k = s.shape
        many = np.repeat(x, k + 1, axis=0), np.repeat(s, k + 1, axis=0)
        many[1][:] += np.tile(np.vstack([np.zeros(k), STEP * np.eye(k)]), (n, 1))
        u = self.whole(*many)
        late = np.concatenate([self.likelihood.late(u[a : a + _BLOCK]) for a in range(0, len(u), _BLOCK)])
        self.runs += len(u)
        late = late.reshape(n, k + 1, -1)
        return late[:, 0], ((late[:, 1:] - late[:, :1]) / STEP).transpose(0, 2, 1)

    @property
    def start(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean (d,) and covariance (d, d) of x, were all linear, half as wide again."""
        whole = self.reference.covariance(self.likelihood)[np.ix_(self.rough, self.rough)]
        return self.x0, _WIDER**2 * whole / np.outer(self.sigma_x, self.sigma_x)

    @property
    def dimensions(self) -> int:
        """Of x."""
        return len(self.rough)

    def whole(self, x: np.ndarray, s: np.ndarray) -> np.ndarray:
        """u (n, p)."""
        u = np.empty((len(x), len(self.smooth) + len(self.rough)))
        u[:, self.rough], u[:, self.smooth] = x * self.sigma_x, self._unbent(s)
        return u

    def _unbent(self, s: np.ndarray) -> np.ndarray:
        """(n, k) u of the smooth unknowns."""
        return s + (s - self.s0) ** 2 @ self.bend

    def _away(self, x: np.ndarray) -> np.ndarray:
        """(n, t) with which the coefficients of slopes make A(x)."""
        return _terms(np.clip(x - self.x0, -_WITHIN, _WITHIN))

    def precision(self, x: np.ndarray) -> np.ndarray:
        """H (n, k, k)."""
        z = self._away(x)
        half = np.tensordot(z, self.gram, (1, 0))
        return np.einsum("nb,nbst->nst", z, half) + np.diag(self.information)

    def slopes_at(self, x: np.ndarray) -> np.ndarray:
        """A(x) (n, m, k)."""
        return np.tensordot(self._away(x), self.slopes, (1, 0))

    @property
    def turning(self) -> np.ndarray:
        """Places of the smooth unknowns whose slopes change with x, by _TURNING of themselves over its prior."""
        own = np.einsum("aass->as", self.gram)
        return np.flatnonzero(own[1 : 1 + len(self.rough)].sum(axis=0) > _TURNING**2 * own[0])

    def allowed(self, s: np.ndarray) -> np.ndarray:
        """(n,) whether the bounded unknown is within its bounds."""
        value = self.bounded_value(s)
        return (value >= self.bounds[0]) & (value <= self.bounds[1])

    def bounded_value(self, s: np.ndarray) -> np.ndarray:
        """(n,) value of the bounded unknown; 0 where there is none."""
        asked, k = self.likelihood.model.unknowns, self.smooth[self.at]
        return asked.centre[k] + asked.scale[k] * self._unbent(s)[:, self.at] if self.at >= 0 else np.zeros(len(s))

    def _ln_allowed(self, s: np.ndarray, precision: np.ndarray) -> np.ndarray:
        """(n,) ln of the share of the bounded unknown's normal distribution at x that is within its bounds."""
        from scipy.special import ndtr

        if self.at < 0 or not np.isfinite(self.bounds).any():
            return np.zeros(len(s))
        scale = abs(self.likelihood.model.unknowns.scale[self.smooth[self.at]])
        sigma = scale * np.sqrt(np.linalg.inv(precision)[:, self.at, self.at])
        low, high = (ndtr((edge - self.bounded_value(s)) / sigma) for edge in self.bounds)
        with np.errstate(divide="ignore"):
            return np.log(high - low)

    def guess(self, x: np.ndarray) -> np.ndarray:
        """(n, k) where s lies at x."""
        if self._quadratic is None:
            return self.s0 + (x - self.x0) @ self.line
        return _terms(x) @ self._quadratic

    def learn(self, x: np.ndarray, found: np.ndarray, ln: np.ndarray) -> None:
        """A quadratic guess of the solutions found (n, k), by least squares; good draws count most."""
        known = np.isfinite(ln)
        terms = _terms(x[known])
        if len(terms) < 2 * terms.shape[1]:
            return
        w = _shares(ln[known])
        matrix = np.vstack([terms * w, _RIDGE * np.eye(terms.shape[1])])
        right = np.vstack([found[known] * w, np.zeros((terms.shape[1], found.shape[1]))])
        self._quadratic = np.linalg.lstsq(matrix, right, rcond=None)[0]

    def moved(self, x: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """ln L (n,), solutions (n, k), and how far in chi2 the guesses s (n, k) were from them (n,)."""
        parts = [self._moved(x[a : a + _BLOCK], s[a : a + _BLOCK]) for a in range(0, len(x), _BLOCK)]
        ln, solution, far = (np.concatenate(column) for column in zip(*parts, strict=True))
        return ln, solution, far

    def _moved(self, x: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        late = self.likelihood.late(self.whole(x, s))
        self.runs += len(x)
        own, precision = quadratic(self.weighing, late), self.precision(x)
        pulls = np.einsum("nm,ams->nas", np.nan_to_num(late), self.told, optimize=True)
        gradient = np.einsum("na,nas->ns", self._away(x), pulls) + s * self.information
        move = -np.linalg.solve(precision, gradient[..., None])[..., 0]
        far = -np.sum(gradient * move, axis=1)
        with np.errstate(invalid="ignore"):
            cost = own + of_priors(s, self.information) - far + np.linalg.slogdet(precision)[1]
            ln = self._ln_allowed(s + move, precision) - 0.5 * cost
        return np.where(np.isfinite(own), ln, -np.inf), s + move, far

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """ln L (n,) and solutions (n, k); the first call learns where they lie."""
        if self._quadratic is None:
            self._begin(x[:: max(1, len(x) // max(_FIRST, 6 * _terms(x[:1]).shape[1]))])
        ln, s, far = self.moved(x, self.guess(x))
        high = ln + 0.1 * far > ln.max() - _COUNTS
        again = np.flatnonzero(np.isfinite(ln) & (far > FAR) & high)
        if len(again):
            ln[again], s[again], _ = self.moved(x[again], s[again])
        return ln, s

    def _begin(self, x: np.ndarray) -> None:
        s = self.guess(x)
        for _ in range(_FIRST_MOVES):
            ln, s, _ = self.moved(x, s)
        self.learn(x, s, ln)


def _shares(ln: np.ndarray) -> np.ndarray:
    """(n, 1) weights of rows of least squares: good draws count most."""
    return np.exp(0.5 * np.maximum((ln - ln.max()) / _SMOOTHED, _LEAST))[:, None]


def _terms(x: np.ndarray) -> np.ndarray:
    """(n, (d + 1)(d + 2)/2) of a quadratic polynomial."""
    i, j = np.triu_indices(x.shape[1])
    return np.hstack([np.ones((len(x), 1)), x, x[:, i] * x[:, j]])
