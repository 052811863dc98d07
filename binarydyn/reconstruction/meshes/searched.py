"""What was timed of measured events where a body is a mesh or layered: by secants from the events of the nominal run.

The slower path: each run is followed as sky/dips.py does it (`dips_like`), milliseconds an event in place of
microseconds.  A run that does not show an event has no time of it, and events that t0 cuts are not found.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ...batch.ellipsoids import Ellipsoids
from ...batch.starts import Bodies
from ...bodies import Ellipsoid
from ...motion.state import Body, System
from ...motion.trajectory import Trajectory
from ...observing.modelled_middles import codes_of, nearest_rows, off_conjunction_s, places_of
from ...observing.worlds import joined
from ...sky.dips import Dips, Guide, dips_like
from ...sky.geometry import Sight
from ...timing.mid_times import DEFINITIONS
from ..runs import GuessedMotion, Runs
from ..timed import TimedEvents

_FEW = 4
"""Rays and instants where contacts alone are asked for."""


@dataclass(frozen=True)
class SearchedEvents(TimedEvents):
    """The same of any bodies; what overlaps in a run is one dip there."""

    motion: GuessedMotion = field(kw_only=True)

    def merged_in(self, runs: Runs) -> TimedEvents:
        """The same: each run says it for itself."""
        return self

    def middles_s(self, runs: Runs, timed: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(n, m, 2) what was timed by each scattering law, nan where a run does not show it, and whether (n, m) it
        does; timed (m,): by these definitions instead of those of the measured times."""
        timed = self.mids.timed if timed is None else timed
        out = np.full((len(runs.why), len(self), 2), np.nan)
        for i in np.flatnonzero(runs.lasts).tolist():
            paths, sight = self._paths(runs, i), self._sight(runs, i)
            for apart in (False, True):
                which = np.flatnonzero((timed == DEFINITIONS[-1]) == apart)
                if not len(which):
                    continue
                table = _table(self._guides, paths, sight, apart)
                at = places_of(codes_of(table), self._codes(apart)[which])
                rows, which = at[at >= 0], which[at >= 0]
                out[i, which] = off_conjunction_s(table, rows, timed[which]) + table.conjunction_s[rows][:, None]
        return out, np.isfinite(out).all(axis=2)

    @cached_property
    def _nominal(self) -> tuple[Trajectory, ...]:
        return self._paths(self.motion.runs(np.zeros(len(self.motion.unknowns.names))), 0)

    @cached_property
    def _guides(self) -> tuple[Guide, ...]:
        return tuple(Guide.of(path, self.sight, self.sunlight) for path in self._nominal)

    def _codes(self, apart: bool) -> np.ndarray:
        """(m,) of the nominal events that the measured ones are, -1 for none."""
        if apart not in self._known:
            table = _table(self._guides, self._nominal, self.sight, apart)
            rows = nearest_rows(self.mids, self.time_s, table, self.motion.period_s)
            self._known[apart] = np.where(rows >= 0, codes_of(table)[rows], -1)
        return self._known[apart]

    @cached_property
    def _known(self) -> dict[bool, np.ndarray]:
        return {}

    def _sight(self, runs: Runs, i: int) -> Sight:
        sky = self.sight.sky
        return self.sight.for_sky(replace(sky, axes=runs.turns[i] @ sky.axes))

    def _paths(self, runs: Runs, i: int) -> tuple[Trajectory, ...]:
        """One run before and after t0."""
        system, found = self._system(runs, i), []
        for stretch in (runs.before, runs.after):
            order = np.argsort(stretch.time_s)
            time, y = stretch.time_s[order], stretch.samples[i][order]
            found.append(Trajectory(system, time, y, "completed", None, None, 0, 0))
        return tuple(found)

    def _system(self, runs: Runs, i: int) -> System:
        """With the figures of a run."""
        starts, system = runs.starts, self.motion.nominal
        return replace(
            system,
            primary=_body(starts.primary, system.primary, i),
            secondary=_body(starts.secondary, system.secondary, i),
        )


def _body(bodies: Bodies, nominal: Body, i: int) -> Body:
    """One of many; those that are no ellipsoids have the figure of the nominal one."""
    if not isinstance(bodies, Ellipsoids):
        return nominal
    a, b, c = bodies.semi_axes_m[:, i].tolist()
    return Ellipsoid((a, b, c), float(bodies.density_kg_m3[i]))


def _table(guides: tuple[Guide, ...], paths: tuple[Trajectory, ...], sight: Sight, apart: bool) -> Dips:
    how = {"rays": _FEW, "epochs": _FEW} if apart else {}
    found = [dips_like(guide, path, sight, not apart, **how) for guide, path in zip(guides, paths, strict=True)]
    return joined(found)
