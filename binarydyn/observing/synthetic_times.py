"""Event times as observers would have them: middles of the dips that a system shows, with their errors.

Each time has an error of its own and one that it shares with the others of its observer's night (base lines, clocks);
the light of the dips follows one scattering law, and the middle is taken by one definition.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..constants import DAY_S
from ..errors import ArgumentError
from ..scenario import Scenario
from ..scenario.tables.sampling import check_seed
from ..scenario.wording import as_given
from ..sky.geometry import Sky
from ..sky.light_curve import LAWS
from ..timing.mid_times import DEFINITIONS, SIGMA_S, MidTimes, groups_of, nights_of
from .modelled_middles import off_conjunction_s
from .nights import check_counts, first_midnight_s, seen_dips
from .timetable import check_days
from .worlds import World, worlds

OBSERVERS = (1, 1000)
_OUTLYING = 10.0


@dataclass(frozen=True)
class Observing:
    """How the times come about: scattering law, definition of the middle, errors, s, of each time and of each night of
    an observer, how many observers share the events, what part of these is timed, and of these errs ten times as much;
    stated: the sigma in parts of the right one, 0 for none.
    """

    noise_s: float = 30.0
    night_noise_s: float = 0.0
    law: str = "lommel_seeliger"
    timed: str = DEFINITIONS[0]
    observers: int = 1
    share: float = 1.0
    outliers: float = 0.0
    stated: float = 1.0

    def __post_init__(self):
        for name, value, allowed in (("law", self.law, tuple(LAWS)), ("timed", self.timed, DEFINITIONS)):
            if value not in allowed:
                words = " or ".join(allowed)
                raise ArgumentError(name, f"{as_given(value)} is given, allowed is {words}; choose one")
        low, high = SIGMA_S
        for name in ("noise_s", "night_noise_s"):
            value = getattr(self, name)
            if not (value == 0.0 or low <= value <= high):
                raise ArgumentError(name, f"{value:g} is given, allowed is 0 or {low:g} .. {high:g} s; change it")
        for name, value, high in (("outliers", self.outliers, 0.5), ("stated", self.stated, 100.0)):
            if not 0.0 <= value <= high:
                raise ArgumentError(name, f"{value:g} is given, allowed is 0 .. {high:g}; change it")
        if not 0.0 < self.share <= 1.0:
            raise ArgumentError("share", f"{self.share:g} is given, allowed is above 0 to 1; change it")
        if not OBSERVERS[0] <= self.observers <= OBSERVERS[1]:
            raise ArgumentError(
                "observers", f"{self.observers} is given, allowed is {OBSERVERS[0]} .. {OBSERVERS[1]}; change it"
            )


def synthesised(scenario: Scenario, days: float, how: Observing, seed: int) -> MidTimes:
    """Of the events within days of t0 that the simulation shows.

    InputError for numbers that are not allowed, and where no event is left.
    """
    check_days(days)
    check_seed(seed)
    sky = Sky.of(scenario)
    world = worlds(scenario, sky, days, days, 0).nominal
    table = world.table(how.timed == DEFINITIONS[-1])
    rows = np.flatnonzero(np.abs(table.conjunction_s) <= days * DAY_S)
    exact = times_of(world, rows, how, first_midnight_s(scenario, sky))
    if not len(exact):
        raise ArgumentError("days", f"no event takes place within {days:g} days of the impact, 1 is needed; take more")
    return observed(exact, how, np.random.default_rng(seed))


def synthesised_nights(scenario: Scenario, how: Observing, seed: int) -> MidTimes:
    """The same of the events that the nights of [campaign] show, none of them lost.  Errors: InputError."""
    check_seed(seed)
    sky, campaign = Sky.of(scenario), scenario.campaign
    world = worlds(scenario, sky, campaign.nights_before + 1.0, campaign.nights_after + 1.0, 0).nominal
    found = seen_dips(scenario, world.sight, world.table(how.timed == DEFINITIONS[-1]))
    check_counts(scenario, found.passed)
    exact = times_of(world, found.rows, how, first_midnight_s(scenario, sky))
    return observed(exact, how, np.random.default_rng(seed))


def times_of(world: World, rows: np.ndarray, how: Observing, midnight_s: float) -> MidTimes:
    """Exact times of some events (n,) of a system; without those of which no light is missing."""
    table = world.table(how.timed == DEFINITIONS[-1])
    rows = rows[table.depth_m2[rows].max(axis=1) > 0.0] if how.timed != DEFINITIONS[-1] else rows
    timed = np.full(len(rows), how.timed)
    middle = in_one_law(off_conjunction_s(table, rows, timed), table.depth_m2[rows], how.law)
    middle = middle + table.conjunction_s[rows]
    seen = middle + world.sight.light_time_s(middle)
    mids = MidTimes(table.kind[rows], table.body[rows], seen, timed=timed, group=nights_of(seen, midnight_s))
    return mids.sorted()


def in_one_law(values: np.ndarray, depth_m2: np.ndarray, law: str) -> np.ndarray:
    """(n,) from values (n, 2) by Lommel-Seeliger and Lambert: the mean by the light that each has in the law."""
    weight = np.array(LAWS[law]) * depth_m2
    whole = weight.sum(axis=1)
    known = np.where(whole > 0.0, whole, 1.0)
    return np.where(whole > 0.0, np.sum(weight * np.nan_to_num(values), axis=1) / known, values.mean(axis=1))


def observed(exact: MidTimes, how: Observing, random: np.random.Generator) -> MidTimes:
    """Some of the times, at random, with errors; InputError where none is left.

    Where the times have sigmas, errors are of their size, else of noise_s; what is stated is a time's own error, since
    nobody knows what a night has in common.  Groups are those of the nights of the observers, drawn where there are
    several.
    """
    count = len(exact)
    sigma = np.full(count, how.noise_s) if exact.sigma_s is None else exact.sigma_s
    own = sigma * random.standard_normal(count) * np.where(random.random(count) < how.outliers, _OUTLYING, 1.0)
    kept = random.random(count) < how.share
    who = random.integers(how.observers, size=count)
    group = groups_of(exact.group, who) if count else exact.group
    common = how.night_noise_s * random.standard_normal(count)[group]
    seen = replace(
        exact,
        seen_s=exact.seen_s + own + common,
        sigma_s=how.stated * sigma if count and how.stated and sigma.all() else None,
        group=group,
        observer=np.array([f"observer {k + 1}" for k in who]) if how.observers > 1 else exact.observer,
    ).chosen(kept)
    if not len(seen):
        raise ArgumentError(
            "share", f"{how.share:g} of {count} events leaves none, 1 is needed; take more of them, or more days"
        )
    return seen.sorted()
