"""How often the intervals of a fit of event times hold the truth, for one's own scenario and cadence.

Truths are drawn from what is uncertain, as the systems behind the fit's errors are, but others than these.  The events
of a cadence are taken from each by one of two scattering laws in turn, with errors, and fitted as measured ones are.
The period change is held against that of the truth in the window of the data, eccentricity and apsidal rate against
those of the orbit through its exact conjunctions.  Truth and fit share the dynamics, the light and the distributions:
what these have wrong is not in the result.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import ArgumentError, BinarydynError
from ..scenario.tables.sampling import check_seed
from ..scenario.wording import as_given
from ..sky.dips import DIP_LAWS
from ..timing.exact import ExactOrbit
from ..timing.mid_times import MidTimes
from ..timing.mixture import Mixture
from .cadence import Cadence
from .event_times import fitted_times
from .reference import Reference
from .synthetic_times import Observing, observed
from .worlds import MEMBERS, World, worlds

SHARES = (0.5, 0.68, 0.9, 0.95)
TRUTHS = (10, 10_000)
QUANTITIES = ("period_change_s", "eccentricity_after", "apsidal_precession_rad_s")
RMS_WITHIN = 0.15
"""By which the rms error may differ from the stated sigma, relative, where an error bar holds."""
PULL = 2.5
"""Binomial errors by which a covered share may be off: four shares at 2 would fail an honest bar in one of seven."""
_TOGETHER = 8
"""Truths that are simulated side by side: one set of lanes."""


@dataclass(frozen=True)
class Trial:
    """One truth and its fit: by QUANTITIES (3,) the truth, mean and sigma, and the probability of less than the truth.

    status: `completed`, or why there is no fit.  events: in the fit.
    """

    number: int
    status: str
    events: int = 0
    truth: np.ndarray = field(default_factory=lambda: np.empty(0))
    mean: np.ndarray = field(default_factory=lambda: np.empty(0))
    sigma: np.ndarray = field(default_factory=lambda: np.empty(0))
    below: np.ndarray = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True)
class Coverage:
    """Of one quantity over `count` trials: covered (4,) at SHARES and the binomial error of each, bias and its error,
    rms error, median of the stated sigma."""

    name: str
    count: int
    covered: tuple[float, ...]
    covered_sigma: tuple[float, ...]
    bias: float
    bias_sigma: float
    rms: float
    median_sigma: float

    @classmethod
    def of(cls, trials: Sequence[Trial], which: int) -> Coverage:
        """Of QUANTITIES[which], over trials that are completed, at least one."""
        truth, mean, sigma, below = (
            np.array([getattr(trial, name)[which] for trial in trials]) for name in ("truth", "mean", "sigma", "below")
        )
        away, n = mean - truth, len(trials)
        return cls(
            QUANTITIES[which],
            n,
            tuple(float(np.mean(np.abs(2.0 * below - 1.0) < share)) for share in SHARES),
            tuple(float(np.sqrt(share * (1.0 - share) / n)) for share in SHARES),
            float(away.mean()),
            float(away.std() / np.sqrt(n)),
            float(np.sqrt(np.mean(away**2))),
            float(np.median(sigma)),
        )

    @property
    def verdict(self) -> str:
        """`holds`, `too narrow` or `too wide`: by shares, to PULL binomial errors, and by the rms error against sigma,
        to RMS_WITHIN and twice its own error."""
        pulls = (np.array(self.covered) - SHARES) / self.covered_sigma
        excess, room = self.rms / self.median_sigma - 1.0, RMS_WITHIN + 2.0 / np.sqrt(2.0 * self.count)
        if pulls.min() < -PULL or excess > room:
            return "too narrow"
        return "too wide" if pulls.max() > PULL or excess < -room else "holds"


def coverages(trials: Sequence[Trial]) -> list[Coverage]:
    """Of each quantity; none where no trial is completed."""
    done = [trial for trial in trials if trial.status == "completed"]
    return [Coverage.of(done, k) for k in range(len(QUANTITIES))] if done else []


def check_truths(count: int) -> None:
    """InputError for a number of truths that is not allowed."""
    low, high = TRUTHS
    if not low <= count <= high:
        raise ArgumentError("truths", f"{count} is given, allowed is {low} .. {high}; change it")


def check_law(law: str | None) -> None:
    """InputError for a law that no truth follows."""
    if law not in (None, *DIP_LAWS):
        raise ArgumentError("law", f"{as_given(law)} is given, allowed is {' or '.join(DIP_LAWS)}; choose one")


def laws_of(law: str | None) -> tuple[str, ...]:
    """Which the truths follow in turn."""
    return (law,) if law else DIP_LAWS


def tried(
    reference: Reference,
    cadence: Cadence,
    how: Observing,
    count: int,
    seed: int = 0,
    robust: bool = False,
    law: str | None = None,
) -> Iterator[Trial]:
    """`count` trials one after another, by laws_of(law).  That of `how` is not used.

    InputError for impossible numbers.
    """
    check_truths(count)
    check_law(law)
    check_seed(seed)
    laws = laws_of(law)
    for begin in range(0, count, _TOGETHER):
        number = min(_TOGETHER, count - begin)
        scenario, sky = reference.scenario, reference.sky
        some = worlds(scenario, sky, *reference.days, number, MEMBERS + begin, least_share=0.0)
        for k, world in enumerate(some.members, begin):
            yield _trial(reference, world, cadence, replace(how, law=laws[k % len(laws)]), (seed, k), robust)
        lost = range(begin + len(some.members), begin + number)
        yield from (Trial(k, "not simulated: refused, missed or ended early") for k in lost)


def _trial(
    reference: Reference, world: World, cadence: Cadence, how: Observing, key: tuple[int, int], robust: bool
) -> Trial:
    """How: with the law of this truth."""
    try:
        orbit, exact = world.orbit, cadence.exact_in(world, how.law)
    except BinarydynError as error:
        return Trial(key[1], str(error))
    return trial_of(reference, orbit, exact, how, key, robust)


def trial_of(
    reference: Reference, orbit: ExactOrbit, exact: MidTimes, how: Observing, key: tuple[int, int], robust: bool
) -> Trial:
    """Of a truth and its exact times; key: seed, and number of the truth."""
    try:
        found = fitted_times(reference, observed(exact, how, np.random.default_rng(key)), robust)
    except BinarydynError as error:
        return Trial(key[1], str(error))
    truth = np.array([orbit.change_s, orbit.eccentricity, orbit.apsidal_rad_s])
    told: tuple[Mixture, ...] = (found.change, found.fit.eccentricity, found.fit.apsidal)
    mean, sigma = (np.array([getattr(one, name) for one in told]) for name in ("mean", "sigma"))
    below = np.array([one.cdf(value) for one, value in zip(told, truth, strict=True)])
    return Trial(key[1], "completed", len(found.mids), truth, mean, sigma, below)
