"""Simulated systems that may be the observed one, and the dips of light that each of them shows.

The nominal system and members drawn from what is uncertain (uncertain_inputs.py), each relaxed, hit and run over the
days of the data.  What differs between them is how wrong a modelled mid-time may be (middles.py): derivatives at one
sigma are not enough, since shapes and the phase of the primary act together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..dynamics import System, Trajectory, simulate_many
from ..errors import BinarydynError, InputError
from ..impact import Impact, impact_on
from ..motion.state import oblate_term
from ..relaxed.start import Start, start
from ..scenario import Scenario, varied
from ..sky.dips import Dips, Guide, dips_like
from ..sky.geometry import Sight, Sky
from ..timing.exact import ExactOrbit
from ..timing.mid_times import Readings, line_longitudes_rad, readings_at
from ..timing.terms import TURN, Foreknown
from .timetable import sample_minutes
from .uncertain_inputs import drawn_inputs

MEMBERS = 40
"""Behind the errors of a fit: a standard deviation of 40 is good to 11 %."""
LEAST_SHARE = 0.5
"""Of the members that must come through: fewer do not say what may be."""
APSIDAL_SHARE = 0.5
"""One sigma of the apsidal rate, in parts of that of an oblate primary: the secondary's shape changes it by so much."""
_MARGIN_S = 7200.0
_FEW = 4
A_TURN = 5.3
"""Longitudes a turn through which the orbit of a run is laid: not a whole number, so that they fall everywhere."""


@dataclass(frozen=True)
class World:
    """One system about its impact: runs before and after t0, seen along a sight of its own.

    guides: the events of the nominal system, which this one has at other times; so cycles are the nominal ones.  dips:
    in the order of time; overlapping eclipses and occultations of a body are one.  known: of its orbit before the runs.
    """

    scenario: Scenario
    known: Foreknown
    system: System
    impact: Impact
    sight: Sight
    runs: tuple[Trajectory, ...]
    guides: tuple[Guide, ...]
    dips: Dips

    @cached_property
    def apart(self) -> Dips:
        """Each eclipse and each occultation by itself, as contacts are timed; the light is not that of all of it."""
        return _dips(self.guides, self.runs, self.sight, merged=False, rays=_FEW, epochs=_FEW)

    def table(self, apart: bool) -> Dips:
        """One of both."""
        return self.apart if apart else self.dips

    @property
    def period_s(self) -> float:
        """Of the relaxed orbit, before t0."""
        return self.known.period_h * HOUR_S

    @cached_property
    def orbit(self) -> ExactOrbit:
        """That of the fit's model through the longitudes of both runs, all around: at its conjunctions alone an ellipse
        that turns with their line is not told from another one."""
        parts = []
        for run in self.runs:
            every = max(1, round(self.period_s / (A_TURN * abs(run.time_s[1] - run.time_s[0]))))
            kept = np.flatnonzero(run.time_s != 0.0)[::every]
            parts.append((run.time_s[kept], _since_t0_rad(run)[kept]))
        time, longitude = (np.concatenate(column) for column in zip(*parts, strict=True))
        return ExactOrbit.through(Readings(time, longitude % TURN, np.zeros(len(time))), longitude, self.known)

    def late_s(self, apart: bool) -> np.ndarray:
        """(n,) by how much the conjunctions of a table come later than on that orbit: libration is no ellipse."""
        return self._late_apart_s if apart else self._late_s

    @cached_property
    def _late_s(self) -> np.ndarray:
        return self._late_of(self.dips)

    @cached_property
    def _late_apart_s(self) -> np.ndarray:
        return self._late_of(self.apart)

    def _late_of(self, table: Dips) -> np.ndarray:
        seen = readings_at(self.sight, table.kind, table.body, table.conjunction_s, table.after)
        return self.orbit.late_s(seen, self.counted_rad(table))

    def counted_rad(self, table: Dips) -> np.ndarray:
        """(n,) longitudes of the secondary at the conjunctions, with the turns since t0."""
        time = table.conjunction_s
        return with_turns(line_longitudes_rad(self.sight, table.kind, table.body, time), time, self.runs)


@dataclass(frozen=True)
class Worlds:
    """The nominal one, and members; tried: how many were drawn."""

    nominal: World
    members: tuple[World, ...]
    tried: int


def worlds(
    scenario: Scenario,
    sky: Sky,
    days_before: float,
    days_after: float,
    count: int = MEMBERS,
    first: int = 0,
    least_share: float = LEAST_SHARE,
    like: World | None = None,
    watch: Callable[[str, float], None] | None = None,
) -> Worlds:
    """The nominal system and members first .. first + count - 1, seen over days before and after t0.

    like: whose events they have at other times; None: the nominal system's own.  watch: is told a stage and the share
    of it that is done.  InputError where the nominal system has no such run, or too few members have.
    """
    told = watch or (lambda stage, share: None)
    sight = Sight(sky, -days_before * DAY_S - _MARGIN_S, days_after * DAY_S + _MARGIN_S)
    inputs = [{}, *drawn_inputs(scenario, count, first)]
    begun = [(k, one) for k, changes in enumerate(inputs) if (one := _begun(scenario, changes, k == 0)) is not None]
    spacing = sample_minutes(scenario)
    told("simulating systems", 0.0)
    before = simulate_many([own.system for _, (_, own, _) in begun], -days_before, every_minutes=spacing)
    told("simulating systems", 0.5)
    after = simulate_many(
        [hit.system for _, (*_, hit) in begun], days_after, [hit.state for _, (*_, hit) in begun], spacing
    )
    found: list[World] = []
    for (k, (member, relaxed, hit)), *runs in zip(begun, before, after, strict=True):
        told("dips of systems", len(found) / len(begun))
        if all(run.status == "completed" for run in runs):
            own = sight.for_sky(Sky.of(member))
            like = like or (found[0] if found else None)
            guides = like.guides if like else tuple(Guide.of(run, own, member.observer.sunlight) for run in runs)
            dips = _dips(guides, runs, own)
            found.append(World(member, expected(relaxed), relaxed.system, hit, own, tuple(runs), guides, dips))
        elif k == 0:
            raise InputError(scenario.place, f"the run of these days ends early ({runs[0].status}, {runs[1].status})")
    told("dips of systems", 1.0)
    if len(found) - 1 < least_share * count:
        raise InputError(
            scenario.place,
            f"only {len(found) - 1} of {count} drawn systems can be simulated over these days, {least_share:g} of them "
            "are needed; see [sampling]",
        )
    return Worlds(found[0], tuple(found[1:]), count)


def expected(begun: Start) -> Foreknown:
    """Period of the relaxed orbit; apsidal rate that an oblate primary makes, +- APSIDAL_SHARE of it."""
    n = TURN / (begun.period_h * HOUR_S)
    rate = oblate_term(abs(begun.system.oblateness_m2), begun.separation_m) * n
    return Foreknown(begun.period_h, rate, APSIDAL_SHARE * rate + 1e-4 * n)


def _begun(scenario: Scenario, changes: dict[str, float], must: bool) -> tuple[Scenario, Start, Impact] | None:
    """Of a member; None for one that is refused, or that the impactor misses."""
    try:
        member = varied(scenario, changes)
        begun = start(member)
        hit = impact_on(begun.system, member)
    except BinarydynError:
        if must:
            raise
        return None
    return None if hit.status == "miss" and not must else (member, begun, hit)


def _dips(guides: Sequence[Guide], runs: Sequence[Trajectory], sight: Sight, **how) -> Dips:
    return joined([dips_like(guide, run, sight, **how) for guide, run in zip(guides, runs, strict=True)])


def joined(parts: Sequence[Dips]) -> Dips:
    """Several tables as one, in the order of time."""
    whole = Dips(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Dips)})
    return whole.chosen(np.argsort(whole.conjunction_s, kind="stable"))


def _longitude_rad(run: Trajectory) -> np.ndarray:
    """(m,) of the secondary, at the samples of a run, with the turns since the first."""
    return np.unwrap(np.arctan2(run.position_m[:, 1], run.position_m[:, 0]))


def _since_t0_rad(run: Trajectory) -> np.ndarray:
    """(m,) the same with the turns since t0, where a run begins."""
    angle = _longitude_rad(run)
    return angle - TURN * np.round((angle[-1] if run.time_s[0] < 0.0 else angle[0]) / TURN)


def with_turns(longitude_rad: np.ndarray, time_s: np.ndarray, runs: Sequence[Trajectory]) -> np.ndarray:
    """(n,) longitudes with the turns since t0 that runs before and after it have at times (n,)."""
    out = np.empty(len(time_s))
    for run, side in zip(runs, (time_s < 0.0, time_s >= 0.0), strict=True):
        simulated = np.interp(time_s[side], run.time_s, _since_t0_rad(run))
        out[side] = longitude_rad[side] + TURN * np.round((simulated - longitude_rad[side]) / TURN)
    return out
