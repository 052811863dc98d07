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

from copy import copy
from dataclasses import dataclass, field, fields

import numpy as np

from ..timing.noise import Weighing
from .importance import prior_draws
from .likelihood import Likelihood, of_priors, quadratic
from .newton import Solved, slope_steps
from .scatter import NoiseGrid

FAR, _MORE_MOVES = 1.0, 3
"""In chi2, from which a guess lies so far from its solution that it is moved again, where the draw may count, and how
often.  With few events slopes far from the reference err so much that one move left ln L too low by 6 where the truth
was."""
_COUNTS = 30.0
"""Below the highest ln L by which a draw may still count, after a move that is wrong by a tenth of how far it was."""
_STEP_BENT = (0.1, 1.0)
"""Least and greatest step of u for second slopes, else two sigmas at fixed x."""
_PLACES, _AT_REFERENCE = 3, 5.0
"""Places for each coefficient of the slopes, and the weight of the reference among them."""
_WITHIN = 3.5
"""From the reference, beyond which slopes are taken as there."""
_WIDER = 1.5
_STEEP = 3.0
"""Times the usual slopes, beyond which motion at a place is chaotic and its slopes say nothing."""
_BLOCK = 256
"""Runs in one call: their samples are held at once."""
_FIRST = 256
_FIRST_MOVES = 3
_SMOOTHED, _LEAST, _RIDGE = 20.0, -8.0, 1e-3
"""By which ln likelihoods are divided as weights of the guess, the least of these, and what holds it back."""


@dataclass(frozen=True)
class Node:
    """C^-1 at one scale and common error of a night, ln of its share before the data less ln|C|/2, and with it of the
    slopes' coefficients (t, m, k): C^-1 of them, told, and gram (t, t, k, k)."""

    weighing: Weighing
    ln_share: float
    told: np.ndarray
    gram: np.ndarray

    @classmethod
    def of(cls, likelihood: Likelihood, ln_prior: float, slopes: np.ndarray) -> Node:
        weighing = likelihood.weighing
        told = weighing.applied(slopes)
        gram = np.einsum("ams,bmt->abst", slopes, told, optimize=True)
        return cls(weighing, float(ln_prior) - 0.5 * weighing.ln_det, told, gram)


@dataclass(frozen=True)
class Moved:
    """Of n guesses by j nodes: ln L (j, n), -inf for what cannot be; solutions (j, n, k) with their H (j, n, k, k); how
    far (j, n) in chi2 the guesses were from them."""

    ln: np.ndarray
    s: np.ndarray
    precision: np.ndarray
    far: np.ndarray

    @classmethod
    def joined(cls, parts: list[Moved]) -> Moved:
        """Of blocks of guesses."""
        return cls(*(np.concatenate([getattr(part, one.name) for part in parts], axis=1) for one in fields(cls)))

    @property
    def whole(self) -> np.ndarray:
        """(n,) ln L with the nodes integrated out."""
        top = np.maximum(self.ln.max(axis=0), -1e300)
        with np.errstate(divide="ignore"):
            return top + np.log(np.sum(np.exp(self.ln - top), axis=0))

    @property
    def share(self) -> np.ndarray:
        """(j, n) of each node; even where there is no motion."""
        whole = self.whole
        known = np.isfinite(whole)
        return np.where(known, np.exp(self.ln - np.where(known, whole, 0.0)), 1.0 / len(self.ln))

    @property
    def middle(self) -> tuple[np.ndarray, np.ndarray]:
        """Solutions (n, k) and how far they were (n,), over the nodes."""
        share = self.share
        return np.einsum("jn,jnk->nk", share, self.s), np.sum(share * self.far, axis=0)


@dataclass
class Conditional:
    """ln L(x) of the rough unknowns in units of their priors' sigma, x (n, d), and the solutions of the smooth ones.

    reference: where slopes are taken.  bounded: the name of a smooth unknown whose value has bounds, or None.
    grid: scales and common errors over which ln L is integrated; None: those of the likelihood alone.
    """

    likelihood: Likelihood
    reference: Solved
    bounded: str | None = None
    bounds: tuple[float, float] = (-np.inf, np.inf)
    grid: NoiseGrid | None = None
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
        self.step = slope_steps(self.weighing, first)
        told = self.weighing.applied(first)
        precision = first.T @ told + np.diag(self.information)
        self.line = -np.linalg.solve(precision, told.T @ self.reference.slopes[:, self.rough] * self.sigma_x).T
        self.bend = self._bends(first, told, np.sqrt(np.diag(np.linalg.inv(precision))))
        self._keep(self._slopes_over_x(first))
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
        x = self._places(_PLACES * self._count)
        x, s, here, slopes = self._own_slopes(x, self.guess(x))
        told = self.weighing.applied(slopes)
        precision = np.swapaxes(slopes, 1, 2) @ told + np.diag(self.information)
        gradient = np.einsum("nm,nmk->nk", here, told) + s * self.information
        move = -np.linalg.solve(precision, gradient[..., None])[..., 0]
        ln = -0.5 * (quadratic(self.weighing, here) + np.sum(gradient * move, axis=1))
        self.learn(x, s + move, ln)
        return self._through(
            np.vstack([x, self.x0]), np.vstack([slopes, first[None]]), np.vstack([_shares(ln), _AT_REFERENCE])
        )

    def _through(self, x: np.ndarray, slopes: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(t, m, k) coefficients of A(x), from slopes (n, m, k) at places x (n, d) of weights w (n, 1)."""
        terms = self._away(x)
        matrix = np.vstack([terms * w, _RIDGE * np.eye(terms.shape[1])])
        right = np.vstack([slopes.reshape(len(x), -1) * w, np.zeros((terms.shape[1], slopes[0].size))])
        return np.linalg.lstsq(matrix, right, rcond=None)[0].reshape(-1, *slopes.shape[1:])

    def nearer(self, x: np.ndarray, s: np.ndarray) -> Conditional:
        """The same with slopes from the first places x (n, d), s (n, k), as draws by weight, in place of those about
        the reference."""
        found = copy(self)
        x, _, _, slopes = self._own_slopes(x[: _PLACES * self._count], s[: _PLACES * self._count])
        found._keep(self._through(x, slopes, np.ones((len(x), 1))))
        return found

    def _keep(self, slopes: np.ndarray) -> None:
        grid = self.grid or NoiseGrid((self.likelihood,), np.array([0.5 * self.weighing.ln_det]), np.ones(1))
        self.nodes = [Node.of(one, share, slopes) for one, share in zip(grid.nodes, grid.ln_prior, strict=True)]

    @property
    def _count(self) -> int:
        """Of terms in x."""
        return _terms(np.zeros((1, len(self.rough)))).shape[1]

    def _places(self, count: int) -> np.ndarray:
        """(count, d) of which two thirds are about the reference."""
        normal = prior_draws(count, len(self.rough), 0)
        mean, covariance = self.start
        about = mean + normal[count // 3 :] @ np.linalg.cholesky(covariance).T
        return np.vstack([normal[: count // 3], about])

    def _own_slopes(self, x: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, ...]:
        """Those of x (n, d) and s (n, k) that last, what is late there (n, m), and its slopes (n, m, k), to one side or
        the other in turn: over many places second orders cancel."""
        n, k = s.shape
        step = self.step * np.where(np.arange(n) % 2, 1.0, -1.0)[:, None]
        many = np.repeat(x, k + 1, axis=0), np.repeat(s, k + 1, axis=0)
        many[1][:] += (np.vstack([np.zeros(k), np.eye(k)]) * step[:, None]).reshape(-1, k)
        u = self.whole(*many)
        late = np.concatenate([self.likelihood.late(u[a : a + _BLOCK]) for a in range(0, len(u), _BLOCK)])
        self.runs += len(u)
        late = late.reshape(n, k + 1, -1)
        slopes = ((late[:, 1:] - late[:, :1]) / step[:, :, None]).transpose(0, 2, 1)
        known = np.isfinite(late).all(axis=(1, 2))
        size = np.sum(slopes * self.weighing.applied(np.nan_to_num(slopes)), axis=1)
        known &= (size <= _STEEP**2 * np.median(size[known], axis=0)).all(axis=1)
        return x[known], s[known], late[known, 0], slopes[known]

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

    def precision(self, x: np.ndarray, node: int = 0) -> np.ndarray:
        """H (n, k, k)."""
        z = self._away(x)
        half = np.tensordot(z, self.nodes[node].gram, (1, 0))
        return np.einsum("nb,nbst->nst", z, half) + np.diag(self.information)

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

    def moved(self, x: np.ndarray, s: np.ndarray) -> Moved:
        """From guesses s (n, k) at x (n, d); one run each."""
        return Moved.joined([self._moved(x[a : a + _BLOCK], s[a : a + _BLOCK]) for a in range(0, len(x), _BLOCK)])

    def _moved(self, x: np.ndarray, s: np.ndarray) -> Moved:
        late = self.likelihood.late(self.whole(x, s))
        self.runs += len(x)
        parts = [self._by_node(k, x, s, late) for k in range(len(self.nodes))]
        return Moved(*map(np.array, zip(*parts, strict=True)))

    def _by_node(self, k: int, x: np.ndarray, s: np.ndarray, late: np.ndarray) -> tuple[np.ndarray, ...]:
        node = self.nodes[k]
        own, precision = quadratic(node.weighing, late), self.precision(x, k)
        pulls = np.einsum("nm,ams->nas", np.nan_to_num(late), node.told, optimize=True)
        gradient = np.einsum("na,nas->ns", self._away(x), pulls) + s * self.information
        move = -np.linalg.solve(precision, gradient[..., None])[..., 0]
        far = -np.sum(gradient * move, axis=1)
        with np.errstate(invalid="ignore"):
            cost = own + of_priors(s, self.information) - far + np.linalg.slogdet(precision)[1]
            ln = node.ln_share + self._ln_allowed(s + move, precision) - 0.5 * cost
        return np.where(np.isfinite(own), ln, -np.inf), s + move, precision, far

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """ln L (n,) and solutions (n, k); the first call learns where they lie."""
        if self._quadratic is None:
            self._begin(x[:: max(1, len(x) // max(_FIRST, 6 * _terms(x[:1]).shape[1]))])
        found = self.moved(x, self.guess(x))
        ln, (s, far) = found.whole, found.middle
        for _ in range(_MORE_MOVES):
            high = ln + 0.1 * far > ln.max() - _COUNTS
            again = np.flatnonzero(np.isfinite(ln) & (far > FAR) & high)
            if not len(again):
                break
            found = self.moved(x[again], s[again])
            ln[again], (s[again], far[again]) = found.whole, found.middle
        return ln, s

    def _begin(self, x: np.ndarray) -> None:
        s = self.guess(x)
        for _ in range(_FIRST_MOVES):
            found = self.moved(x, s)
            s = found.middle[0]
        self.learn(x, s, found.whole)


def _shares(ln: np.ndarray) -> np.ndarray:
    """(n, 1) weights of rows of least squares: good draws count most."""
    return np.exp(0.5 * np.maximum((ln - ln.max()) / _SMOOTHED, _LEAST))[:, None]


def _terms(x: np.ndarray) -> np.ndarray:
    """(n, (d + 1)(d + 2)/2) of a quadratic polynomial."""
    i, j = np.triu_indices(x.shape[1])
    return np.hstack([np.ones((len(x), 1)), x, x[:, i] * x[:, j]])
