"""Numbers of guesses about an impact as the table of outcomes has them: what publications give, from runs in lanes."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..batch.ellipsoids import Ellipsoids
from ..bodies import Ellipsoid
from ..columns import turned
from ..constants import DAY_S
from ..errors import FewCyclesError, InputError
from ..impact.frame import axes_of
from ..motion.layout import POSITION, VELOCITY
from ..motion.state import State, System
from ..motion.trajectory import Trajectory
from ..observables import AttitudeHistory, Estimate, OrbitShape, attitude, orbit_shape, period
from ..observables.fundamental import FundamentalLines, fundamental_lines
from ..prediction.description import GravityFigure
from ..prediction.outcome import NUMBER
from ..prediction.outcomes import OUTCOMES
from ..reconstruction.runs import GuessedMotion, Runs, Stretch
from ..reconstruction.unknowns import Unknowns

_OF_THE_IMPACT = ("orbit_plane_change_deg", "angular_momentum_tilt_deg")
_OTHERS = ("period_change_s", "primary_density_kg_m3", "secondary_density_kg_m3", "total_mass_kg", "secondary_mass_kg")
MEASURABLE = tuple(
    row.name
    for row in OUTCOMES.values()
    if row.of and row.kind == NUMBER and row.name not in _OF_THE_IMPACT
    and (row.group in ("orbit", "attitude") or row.name in _OTHERS)
)  # fmt: skip
"""Outcomes that may be published; of both windows of [simulation], by the definitions of `predict`."""
IMPULSE = ("along_track_dv_mm_s", "radial_dv_mm_s", "normal_dv_mm_s")
FOLLOWING = (*IMPULSE, "eccentricity_before", "period_change_s", "primary_j2", "secondary_a_b", "density_ratio")
"""What follows from unknowns and is told of draws; the velocity change under its names in the table of outcomes,
density_ratio of the secondary to the primary."""
_BLOCK = 128


@dataclass(frozen=True)
class MotionNumbers:
    """Numbers by name of guesses: outcomes, or unknowns themselves; nan where a guess does not last, or has none."""

    motion: GuessedMotion

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.motion.unknowns

    def of(self, u: np.ndarray, names: Sequence[str]) -> np.ndarray:
        """(n, k) at u (n, p), of MEASURABLE, FOLLOWING, or the unknowns' names."""
        u = np.atleast_2d(u)
        blocks = [self._of(u[first : first + _BLOCK], names) for first in range(0, len(u), _BLOCK)]
        return np.concatenate(blocks)

    def _of(self, u: np.ndarray, names: Sequence[str]) -> np.ndarray:
        runs = self.motion.runs(u)
        found = np.full((len(u), len(names)), np.nan)
        received = _received_mm_s(runs)
        for i in np.flatnonzero(runs.lasts).tolist():
            pair = GuessedPair.of(self.motion, runs, i)
            known = dict(zip((*self.unknowns.names, *IMPULSE), (*runs.values[i], *received[:, i]), strict=True))
            found[i] = [known[name] if name in known else _number(pair, name) for name in names]
        return found


def _received_mm_s(runs: Runs) -> np.ndarray:
    """(3, n) velocity change along IMPULSE."""
    axes = axes_of(runs.y_before[POSITION], runs.y_before[VELOCITY])
    return 1e3 * np.array(turned(axes, runs.y_after[VELOCITY] - runs.y_before[VELOCITY]))


def _number(pair: GuessedPair, name: str) -> float:
    value = getattr(pair, name) if hasattr(pair, name) else OUTCOMES[name].of(pair)  # type: ignore[misc]
    return np.nan if value is None else float(value)


@dataclass(frozen=True)
class GuessedSide:
    """One window of a guess, measured as far as it is asked; None for what cannot be."""

    run: Trajectory

    @cached_property
    def period(self) -> Estimate | None:
        """By the weighted fit."""
        with suppress(InputError, FewCyclesError):
            return period(self.run, "weighted_fit")
        return None

    @cached_property
    def shape(self) -> OrbitShape | None:
        """Of the orbit."""
        with suppress(InputError):
            return orbit_shape(self.run)
        return None

    @cached_property
    def attitude(self) -> AttitudeHistory | None:
        """Of the secondary."""
        with suppress(InputError):
            return attitude(self.run)
        return None

    @cached_property
    def single_orbit_periods_s(self) -> np.ndarray:
        """Of each turn."""
        from ..observables import single_orbit_periods

        return single_orbit_periods(self.run)


@dataclass(frozen=True)
class GuessedPair:
    """One guess, as the table of outcomes reads a prediction: start.system, before, after, lines, period change."""

    system: System
    before: GuessedSide
    after: GuessedSide

    @classmethod
    def of(cls, motion: GuessedMotion, runs: Runs, i: int) -> GuessedPair:
        """Guess i of runs."""
        starts, nominal = runs.starts, motion.nominal
        one, two = (
            _body(many, i, body)
            for many, body in ((starts.primary, nominal.primary), (starts.secondary, nominal.secondary))
        )
        system = System(one, two, State.from_vector(runs.y_before[:, i]), nominal.degree)
        windows = zip((runs.before, runs.after), motion.days, strict=True)
        before, after = (GuessedSide(_trajectory(system, window, i, days)) for window, days in windows)
        return cls(system, before, after)

    @property
    def start(self) -> GuessedPair:
        """Itself: its system is that at t0."""
        return self

    @cached_property
    def lines(self) -> FundamentalLines:
        """Of the window after."""
        history = self.after.attitude
        return fundamental_lines(self.after.run, history) if history else FundamentalLines()

    @property
    def period_change_s(self) -> float | None:
        """After less before."""
        before, after = self.before.period, self.after.period
        return after.value_s - before.value_s if before and after else None

    @property
    def primary_j2(self) -> float:
        """By the mean radius."""
        return GravityFigure.of(self.system.primary).j2

    @property
    def secondary_a_b(self) -> float:
        """Of the ellipsoid of its moments of inertia, a/b = sqrt((B + C - A)/(A + C - B))."""
        a, b, c = self.system.secondary.inertia_kg_m2.tolist()
        return float(np.sqrt((b + c - a) / (a + c - b)))

    @property
    def density_ratio(self) -> float:
        """Of the secondary to the primary."""
        return self.system.secondary.density_kg_m3 / self.system.primary.density_kg_m3


def _body(bodies, i: int, nominal):
    density = float(bodies.density_kg_m3[i])
    if isinstance(bodies, Ellipsoids):
        return Ellipsoid(tuple(bodies.semi_axes_m[:, i].tolist()), density)
    return nominal.scaled_mass(density / nominal.density_kg_m3)


def _trajectory(system: System, window: Stretch, i: int, days: float) -> Trajectory:
    """Samples within so many days of t0, in ascending time."""
    count = int(np.searchsorted(np.abs(window.time_s), days * DAY_S, side="right"))
    order = slice(0, count) if window.step_s > 0.0 else slice(count - 1, None, -1)
    time, y = window.time_s[order], window.samples[i][order]
    return Trajectory(system, np.ascontiguousarray(time), np.ascontiguousarray(y), "completed", 0.0, 0.0, 0, 0)
