"""How many turns lie between measured events: every count that keeps their longitudes together.

Trial rates are scanned for those at which the longitudes less the turning stay together (largest mean cosine), before
t0 with a free phase, after it with the phase of before.  Each such rate is a count of turns; which of them are right is
not said here but by the evidence of their fits (evidence.py), since data with gaps cannot tell them apart: over a gap
the count is safe where the period's sigma times the turns in it is well below the period.
"""

from __future__ import annotations

import numpy as np

from ..errors import ArgumentError
from .mid_times import Readings
from .orbit import Counted
from .terms import INDEX, NAMES, TURN, Foreknown

REACH = (0.01, 0.2)
"""How far from the expected period counts are looked for, relative: before t0 it is known, after it the impact
decides."""
EVENTS_NEEDED = 3
_STEP_RAD = 0.25
_LESS_TOGETHER = 0.3
_MOST = (3, 60)
_BLOCK = 4096


def check_enough(after: np.ndarray) -> None:
    """ArgumentError where too few events are before or after t0; after (n,): which come after it."""
    for side, number in (("before", int(np.sum(~after))), ("after", int(np.sum(after)))):
        if number < EVENTS_NEEDED:
            raise ArgumentError(
                "events",
                f"{number} events {side} the impact are given, a period needs at least {EVENTS_NEEDED}; add some",
            )


def sides_of(seen: Readings) -> np.ndarray:
    """(n,) which events come after t0; InputError where there are too few on a side."""
    check_enough(after := seen.after)
    return after


def counts(seen: Readings, expected: Foreknown, reach: tuple[float, float] = REACH) -> Counted:
    """All counts (b, n) that the data may have, b at least 1; InputError for too few events."""
    after = sides_of(seen)
    sides = [(seen.time_s[s], seen.longitude_rad[s]) for s in (~after, after)]
    found: dict[bytes, np.ndarray] = {}
    for first, start in _trials(*sides[0], expected.rate_rad_s, reach[0], None)[: _MOST[0]]:
        for second, _ in _trials(*sides[1], expected.rate_rad_s, reach[1], start)[: _MOST[1]]:
            line = start + np.where(after, second, first) * seen.time_s
            turns = np.round((line - seen.longitude_rad) / TURN)
            turns -= turns[np.argmin(np.abs(seen.time_s))]
            found.setdefault(turns.tobytes(), seen.longitude_rad + TURN * turns)
    return Counted(seen, np.array(list(found.values())))


def straight(counted: Counted, apsidal_rad_s: float) -> np.ndarray:
    """(b, 9) parameters of straight lines through counts (b, n), on circles; that after t0 begins where the other
    ends."""
    after, time = counted.seen.after, counted.seen.time_s
    out = np.zeros((len(counted.counted_rad), len(NAMES)))
    for x, longitude in zip(out, counted.counted_rad, strict=True):
        rate, start = np.polyfit(time[~after], longitude[~after], 1)
        late = time[after]
        x[INDEX["longitude"]], x[INDEX["rate_before"]] = start, rate
        x[INDEX["rate_after"]] = late @ (longitude[after] - start) / (late @ late)
    out[:, INDEX["apsidal_rate"]] = apsidal_rad_s
    return out


def longest_gaps_s(seen: Readings) -> tuple[float, float]:
    """Between events, before and after t0, which counts as one."""
    sides = (seen.time_s[~seen.after], seen.time_s[seen.after])
    before, after = (float(np.diff(np.sort(np.append(time, 0.0))).max()) for time in sides)
    return before, after


def _trials(time: np.ndarray, longitude: np.ndarray, rate: float, reach: float, start: float | None):
    """Rates, with the longitude at t0, at which the events stay together, the best first."""
    half = max(2, int(np.ceil(reach * rate * np.abs(time).max() / _STEP_RAD)))
    rates = rate * (1.0 + reach * np.arange(-half - 1, half + 2) / half)
    together = np.concatenate(
        [
            np.exp(1j * (longitude - part[:, None] * time)).mean(axis=1)
            for part in np.array_split(rates, len(rates) // _BLOCK + 1)
        ]
    )
    height = np.abs(together) if start is None else np.real(together * np.exp(-1j * start))
    inner = np.flatnonzero((height[1:-1] >= height[:-2]) & (height[1:-1] > height[2:])) + 1
    found = []
    for i in inner if len(inner) else [int(np.argmax(height))]:
        bend = height[i - 1] - 2.0 * height[i] + height[i + 1] if 0 < i < len(height) - 1 else 0.0
        shift = 0.5 * (height[i - 1] - height[i + 1]) / bend if bend else 0.0
        best = rates[i] + shift * (rates[1] - rates[0])
        mean = np.exp(1j * (longitude - best * time)).mean()
        where = float(np.angle(mean)) if start is None else start
        found.append((float(np.real(mean * np.exp(-1j * where))), float(best), where))
    found.sort(reverse=True)
    return [(best, where) for top, best, where in found if top > found[0][0] - _LESS_TOGETHER]
