"""What a table of measured events timed, as simulated systems have it: the offset from the conjunction, and its errors.

An event is found in every system by kind, body and cycle.  Its offset is its mid-time less when the system's orbit, an
ellipse that turns evenly, has the conjunction, so that libration is in it: the median over the drawn systems, of the
mean of both scattering laws, and follows the apsidal rate as far as the systems show that it does: what goes together
is not counted twice.  By one sigma of each cause it may be wrong by: half the difference of the laws; half that
of two definitions of a middle, unless a centroid is said to be one; an offset common to a kind and body; and what the
drawn systems differ by, (value - median)/sqrt(count - 1) each, so that the sum of their squares is the variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..sky.dip_causes import MEASURED_KINDS
from ..sky.dips import Dips
from ..sky.events import BODIES
from ..timing.mid_times import DEFINITIONS, MidTimes
from ..timing.middles import OFFSET_OF, Middles
from ..timing.terms import TURN
from .worlds import World, Worlds

OFFSET_S = {"primary": 30.0, "secondary": 10.0}
"""One sigma of an offset common to all dips of a kind and body: base line, albedo ratio, surface (measured on two
systems: what a straight base line of 30 minutes leaves on average)."""
CONTACTS_OFFSET_S = 5.0
MOST_S = 300.0
"""By which a drawn system counts: beyond, it is another event."""
UNKNOWN_S = 1000.0
"""One sigma of an event that the drawn systems do not show: as far as a dip may lie from its conjunction."""
_FEWEST_FOLLOWED = 10
"""Systems from which on slopes over their apsidal rate are taken."""
LEAST_SHARE = 0.25
"""Of the systems that must show an event."""
_CYCLES = 1 << 20
_ATTRIBUTES = {"dip_centroid": "centroid_s", "half_depth": "half_depth_s", "minimum": "minimum_s", "folded": "folded_s"}


@dataclass(frozen=True)
class Matched:
    """n measured events in the nominal system: rows (n,) of its table, -1 where it has none, and the middles.

    known (n,): whether enough systems show it.  overlapping (n,): called an eclipse where the systems have an
    occultation at once.
    """

    rows: np.ndarray
    middles: Middles
    known: np.ndarray
    overlapping: np.ndarray


def timed_apart(mids: MidTimes) -> np.ndarray:
    """(n,) which times are contacts of an eclipse or an occultation by itself; those of both are of the whole dip."""
    return (mids.timed == DEFINITIONS[-1]) & (mids.kind != MEASURED_KINDS[-1])


def middles_for(mids: MidTimes, time_s: np.ndarray, found: Worlds, counted_rad: np.ndarray | None = None) -> Matched:
    """Offsets and errors of measured events at time_s (n,) at the system.

    counted_rad (n,): their longitudes with the turns since t0, which then say which event each is; else it is the
    nearest in time.
    """
    by_contacts = timed_apart(mids)
    parts = [
        _matched(mids.chosen(which), time_s[which], found, None if counted_rad is None else counted_rad[which], apart)
        for which, apart in ((~by_contacts, False), (by_contacts, True))
        if which.any()
    ]
    order = np.argsort(np.concatenate([np.flatnonzero(which) for which in (~by_contacts, by_contacts)]))
    return _together(parts, order)


def _together(parts: list[Matched], order: np.ndarray) -> Matched:
    """Events timed by dips and by contacts in their order; what is drawn moves both, other causes one of them."""
    rows, known, overlapping = (
        np.concatenate([getattr(part, name) for part in parts])[order] for name in ("rows", "known", "overlapping")
    )
    offset = np.concatenate([part.middles.offset_s for part in parts])[order]
    columns = np.concatenate([part.middles.columns_s for part in parts])[order]
    used = np.any(columns != 0.0, axis=0)
    causes = tuple(name for name, here in zip(parts[0].middles.causes, used, strict=True) if here)
    alone = np.diag(np.where(known, 0.0, UNKNOWN_S))[:, ~known]
    turned = np.concatenate([part.middles.turned_s for part in parts])[order]
    middles = Middles(offset, np.hstack([columns[:, used], alone]), (*causes, *[""] * alone.shape[1]), turned)
    return Matched(rows, middles, known, overlapping)


def _matched(mids: MidTimes, time_s: np.ndarray, found: Worlds, counted_rad, apart: bool) -> Matched:
    nominal = found.nominal.table(apart)
    rows = (_nearest if counted_rad is None else _counted)(
        mids, time_s if counted_rad is None else counted_rad, found.nominal, apart
    )
    codes = np.where(rows >= 0, codes_of(nominal)[rows], -1)
    values = np.full((len(found.members), len(mids), 2), np.nan)
    half = values.copy()
    are_both = np.full(values.shape[:2], np.nan)
    for m, world in enumerate(found.members):
        table = world.table(apart)
        at = places_of(codes_of(table), codes)
        there = at >= 0
        late = world.late_s(apart)[at[there]]
        values[m, there] = off_conjunction_s(table, at[there], mids.timed[there]) + late[:, None]
        half[m, there] = (table.half_depth_s - table.centroid_s)[at[there]]
        are_both[m, there] = table.kind[at[there]] == MEASURED_KINDS[-1]
    both = _median(are_both) > 0.5
    overlapping = (mids.kind == MEASURED_KINDS[0]) & both
    other = are_both != ((mids.kind == MEASURED_KINDS[-1]) | both)
    values[other] = half[other] = np.nan
    known = np.mean(np.isfinite(values[:, :, 0]), axis=0) >= LEAST_SHARE
    values[:, ~known] = half[:, ~known] = np.nan
    return Matched(rows, _middles(mids, values, half, known, _rates(found)), known, overlapping)


def _middles(mids: MidTimes, values: np.ndarray, half: np.ndarray, known: np.ndarray, rates: np.ndarray) -> Middles:
    """Rates (members,): of the apsides.  From values (members, n, 2) by law, nan where a system has no such event."""
    count = len(values)
    each = values.mean(axis=2)
    turned = following_s(np.clip(np.nan_to_num(each - _median(each)), -MOST_S, MOST_S), rates)
    each = each - (rates - np.median(rates))[:, None] * turned
    offset = np.nan_to_num(_median(each))
    law = np.nan_to_num(_median(0.5 * (values[:, :, 1] - values[:, :, 0])))
    definition = np.nan_to_num(_median(0.5 * half.mean(axis=2)))
    drawn = np.clip(np.nan_to_num(each - offset), -MOST_S, MOST_S).T / np.sqrt(max(count - 1, 1))
    columns = np.hstack([drawn, named_columns(mids, law, definition)])
    return Middles(offset, np.where(known[:, None], columns, 0.0), ("",) * count + CAUSES, np.where(known, turned, 0.0))


def _rates(found: Worlds) -> np.ndarray:
    return np.array([world.orbit.apsidal_rad_s for world in found.members])


def following_s(off_s: np.ndarray, rates: np.ndarray) -> np.ndarray:
    """(n,) slopes of columns (members, n) over rates (members,), smaller by what chance makes of slopes: the positive
    part of James & Stein's factor, for errors that events share 1 - (sum - 2 greatest)/|slope|^2, of the eigenvalues
    of their covariance (Bock 1975, Ann. Stat. 3, 209, doi 10.1214/aos/1176343009, from memory)."""
    count, t = len(rates), rates - rates.mean() if len(rates) else rates
    if count < _FEWEST_FOLLOWED or not t.any():
        return np.zeros(off_s.shape[1])
    slope = t @ off_s / (t @ t)
    left = off_s - off_s.mean(axis=0) - t[:, None] * slope
    errors = np.linalg.svd(left, compute_uv=False) ** 2 / (count - 2) / (t @ t)
    by_chance, whole = max(errors.sum() - 2.0 * errors[0], 0.0), slope @ slope
    return slope * max(1.0 - by_chance / whole, 0.0) if whole else slope


CAUSES = (
    "scattering law",
    "definition of the middle",
    *(f"{OFFSET_OF} {kind}, {body}" for kind in MEASURED_KINDS for body in BODIES),
)
"""Of errors that many events share, whatever the system."""


def named_columns(mids: MidTimes, law_s: np.ndarray, definition_s: np.ndarray) -> np.ndarray:
    """(n, 8) by how much one sigma of each of CAUSES moves the events, s; law_s, definition_s (n,): of the first two,
    which move no contacts; nor does the second what is said to be a centroid."""
    contacts, centroid = mids.timed == DEFINITIONS[-1], mids.said & (mids.timed == DEFINITIONS[0])
    law, definition = np.where(contacts, 0.0, law_s), np.where(contacts | centroid, 0.0, definition_s)
    return np.hstack([np.column_stack([law, definition]), _offsets(mids, contacts)])


def _offsets(mids: MidTimes, contacts: np.ndarray) -> np.ndarray:
    """(n, 6): a column for each kind and body."""
    columns = []
    for kind in MEASURED_KINDS:
        for body in BODIES:
            size = np.where(contacts, CONTACTS_OFFSET_S, OFFSET_S[body])
            columns.append(np.where((mids.kind == kind) & (mids.body == body), size, 0.0))
    return np.column_stack(columns)


def off_conjunction_s(table: Dips, rows: np.ndarray, timed: np.ndarray) -> np.ndarray:
    """(n, 2) what was timed less the conjunction, by law; nan where no light is missing."""
    found = np.repeat(table.contacts_mid_s[rows][:, None], 2, axis=1)
    for name, attribute in _ATTRIBUTES.items():
        if not (dip := timed == name).any():
            continue  # measured where it is asked for
        found[dip] = getattr(table, attribute)[rows[dip]]
        found[dip] = np.where(table.depth_m2[rows[dip]] > 0.0, found[dip], np.nan)
    return found - table.conjunction_s[rows][:, None]


def _median(values: np.ndarray) -> np.ndarray:
    """Over the first axis, without what is not known; nan where nothing is."""
    known = np.isfinite(values)
    filled = np.where(known, values, np.inf)
    count = known.sum(axis=0)
    ordered = np.sort(filled, axis=0)
    low, high = (np.clip(k, 0, len(values) - 1)[None] for k in ((count - 1) // 2, count // 2))
    middle = 0.5 * (np.take_along_axis(ordered, low, 0) + np.take_along_axis(ordered, high, 0))[0]
    return np.where(count > 0, middle, np.nan)


def _class(kind: np.ndarray, body: np.ndarray) -> np.ndarray:
    """(n,) eclipses and what is both count as one kind."""
    return 2 * (kind == "occultation") + (body == "secondary")


def codes_of(table: Dips) -> np.ndarray:
    """(n,) kind, body and cycle as one number."""
    return _class(table.kind, table.body) * _CYCLES + table.cycle + _CYCLES // 2


def places_of(codes: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """(n,) where each wanted code stands, -1 where it does not."""
    order = np.argsort(codes)
    at = np.clip(np.searchsorted(codes[order], wanted), 0, max(len(codes) - 1, 0))
    return np.where(codes[order][at] == wanted, order[at], -1) if len(codes) else np.full(len(wanted), -1)


def _nearest(mids: MidTimes, time_s: np.ndarray, world: World, apart: bool) -> np.ndarray:
    """(n,) rows of the nominal system's events of the same kind and body that are nearest in time, to half a turn."""
    return nearest_rows(mids, time_s, world.table(apart), world.period_s)


def nearest_rows(mids: MidTimes, time_s: np.ndarray, nominal: Dips, period_s: float) -> np.ndarray:
    """(n,) rows of a table, by the same rule; -1 where there is none."""
    mine, its = _class(mids.kind, mids.body), _class(nominal.kind, nominal.body)
    middle = off_conjunction_s(nominal, np.arange(len(nominal)), np.full(len(nominal), mids.timed[0])).mean(axis=1)
    middle = np.nan_to_num(middle) + nominal.conjunction_s
    return _rows(mine, its, np.abs(middle - time_s[:, None]), 0.5 * period_s)


def _counted(mids: MidTimes, counted_rad: np.ndarray, world: World, apart: bool) -> np.ndarray:
    """(n,) the same, at the same longitude."""
    nominal = world.table(apart)
    mine, its = _class(mids.kind, mids.body), _class(nominal.kind, nominal.body)
    return _rows(mine, its, np.abs(world.counted_rad(nominal) - counted_rad[:, None]), 0.5 * TURN)


def _rows(mine: np.ndarray, its: np.ndarray, away: np.ndarray, most: float) -> np.ndarray:
    """(n,) columns of the least of away (n, m) among those of the same class, -1 where it is not below `most`."""
    away = np.where(mine[:, None] == its, away, np.inf)
    if not away.shape[1]:
        return np.full(len(mine), -1)
    return np.where(away.min(axis=1) < most, np.argmin(away, axis=1), -1)
