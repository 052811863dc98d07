"""Dips of light: when a mutual event is deepest for an observer, by several definitions and for two scattering laws.

The middle of an event's contacts is not what is timed: at a phase angle the dimmed ground is lit and seen from aside,
so the light that is missing has its middle elsewhere, by minutes.  Here it is the missing flux of the dimmed body
against the same body undisturbed (missing_light.py).  A straight base line drawn through the light curve instead brings
the body's own rotation into it.

An eclipse and an occultation of one body that overlap in time are one dip, of the kind `both`.  Times are instants at
the system, s from t0.  The Sun is a point in the light that is missing; with sunlight `disc` only contacts are those of
the penumbra.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..motion.trajectory import Trajectory
from .dip_causes import BOTH, ECLIPSE, MEASURED_KINDS, OCCULTATION, Causes
from .dip_middles import centroid, folded, half_depth, minimum
from .event_search import KINDS, EventSearch, Halves
from .geometry import Sight
from .missing_light import disc_points, light_of_ellipsoid, missing_of_ellipsoids
from .motion_between import MotionBetween

__all__ = ["BOTH", "DIP_LAWS", "EPOCHS", "MEASURED_KINDS", "RAYS", "Dips", "dips_of"]
DIP_LAWS = ("lommel_seeliger", "lambert")
"""Scattering laws of the columns, as light_curve.py names them."""
RAYS, EPOCHS = 256, 61
_CONJUNCTION_STEPS = 4
"""Each gains a factor of the Sun's angular rate over the orbit's, 1e-3."""


@dataclass(frozen=True)
class Dips:
    """n dips in the order of their contacts' middles.

    kind (n,): one of MEASURED_KINDS.  body: the one that is dimmed.  cycle: as Event.cycle; of `both` its eclipse's,
    and occultation_cycle its occultation's (of others the same as cycle).  conjunction_s: when the secondary's
    longitude in the plane of the orbit before t0 is that of the Sun (eclipse, both) or of the observer, turned by pi
    where the secondary is dimmed; it may lie beyond the run's ends, where the last motion is drawn on.  first_s,
    last_s: contacts 1 and 4 of the whole.
    centroid_s, half_depth_s, folded_s, minimum_s (n, 2): middles by definition (dip_middles.py) for each of DIP_LAWS.
    depth_m2 (n, 2): missing light at the deepest; light_m2 (n, 2): of both bodies undisturbed, halfway between the
    contacts; in the unit of LightCurve.brightness_m2 at albedo 1.  Where depth_m2 is 0 (dimmed ground that is dark or
    not seen), the definitions give the middle of the contacts.
    """

    kind: np.ndarray
    body: np.ndarray
    cycle: np.ndarray
    occultation_cycle: np.ndarray
    conjunction_s: np.ndarray
    first_s: np.ndarray
    last_s: np.ndarray
    centroid_s: np.ndarray
    half_depth_s: np.ndarray
    folded_s: np.ndarray
    minimum_s: np.ndarray
    depth_m2: np.ndarray
    light_m2: np.ndarray

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def contacts_mid_s(self) -> np.ndarray:
        """(n,) mean of contacts 1 and 4 of the whole."""
        return 0.5 * (self.first_s + self.last_s)

    def chosen(self, which: np.ndarray) -> Dips:
        """Some of them."""
        return Dips(*(getattr(self, field.name)[which] for field in fields(self)))

    def keys(self) -> list[tuple[str, str, int]]:
        """Kind, body and cycle of each: what names a dip."""
        return list(zip(self.kind.tolist(), self.body.tolist(), self.cycle.tolist(), strict=True))


def dips_of(
    trajectory: Trajectory,
    sight: Sight,
    sunlight: str = "point",
    kinds: tuple[str, ...] = KINDS,
    merged: bool = True,
    rays: int = RAYS,
    epochs: int = EPOCHS,
) -> Dips:
    """All dips that lie whole within a run; `sight` covers it.

    kinds: the causes that are looked for.  merged: overlapping eclipse and occultation of one body as one; else each
    cause by itself, the eclipse without the ground that is hidden.  rays (a multiple of 4) through the secondary's
    outline, epochs from contact 1 to 4.  What they leave of a centroid, rms and greatest, s: 256 and 61, 1.7 and 5;
    128 and 31, 3 and 11 (2022 geometry; a minimum, 15 and 35 rms).  InputError as `events`.
    """
    motion = MotionBetween(trajectory)
    halves = {kind: EventSearch(motion, sight, kind, sunlight).halves for kind in KINDS if kind in kinds}
    return dips_in(motion, sight, halves, merged, rays, epochs)


def dips_in(
    motion: MotionBetween, sight: Sight, halves: dict[str, Halves], merged: bool, rays: int, epochs: int
) -> Dips:
    """The same where the halves of the orbit by kind, and the contacts in them, are known."""
    return _measured(motion, sight, Causes.of(halves, merged), disc_points(rays), epochs)


def _measured(motion: MotionBetween, sight: Sight, causes: Causes, disc: np.ndarray, epochs: int) -> Dips:
    first, last, cycle = causes.first_s, causes.last_s, causes.leading("cycle")
    time = first[:, None] + (last - first)[:, None] * np.linspace(0.0, 1.0, epochs)
    missing = _missing(motion, sight, causes, time, disc)

    def middle(definition) -> np.ndarray:
        return first[:, None] + (last - first)[:, None] * definition(missing.transpose(0, 2, 1))

    return Dips(
        kind=causes.kind,
        body=causes.body,
        cycle=cycle,
        occultation_cycle=np.where(causes.kind == BOTH, causes.values(OCCULTATION, "cycle", 0), cycle),
        conjunction_s=_conjunctions(motion, sight, causes, 0.5 * (first + last)),
        first_s=first,
        last_s=last,
        centroid_s=middle(centroid),
        half_depth_s=middle(half_depth),
        folded_s=middle(folded),
        minimum_s=middle(minimum),
        depth_m2=missing.max(axis=1),
        light_m2=_undisturbed(motion, sight, 0.5 * (first + last), disc),
    )


def _missing(motion: MotionBetween, sight: Sight, causes: Causes, time: np.ndarray, disc: np.ndarray) -> np.ndarray:
    """(n, k, 2) missing light at times (n, k), m2."""
    count, flat = time.shape[1], time.ravel()
    places, lines = motion.places(flat), (sight.sunward(flat), sight.earthward(flat))
    semi1, semi2 = (figure.semi_axes_m for figure in motion.figures)
    front = np.repeat(causes.front, count)
    found = np.zeros((len(flat), 2))
    for kind, line, other in ((ECLIPSE, *lines), (OCCULTATION, *lines[::-1])):
        here = np.repeat(causes.has(kind), count)
        part = np.zeros((int(here.sum()), 2))
        placed = (places.centre1_m, places.centre2_m, places.axes1, places.axes2)
        missing_of_ellipsoids(
            *(value[here] for value in placed), semi1, semi2, line[here], other[here], front[here],
            kind == ECLIPSE, disc, part,
        )  # fmt: skip
        found[here] += part
    return found.reshape(*time.shape, 2)


def _undisturbed(motion: MotionBetween, sight: Sight, time: np.ndarray, disc: np.ndarray) -> np.ndarray:
    """(n, 2) light of both bodies at times (n,) without the dip, m2."""
    places, found = motion.places(time), np.zeros((len(time), 2))
    for axes, figure in zip((places.axes1, places.axes2), motion.figures, strict=True):
        light_of_ellipsoid(axes, figure.semi_axes_m, sight.earthward(time), sight.sunward(time), disc, found)
    return found


def _conjunctions(motion: MotionBetween, sight: Sight, causes: Causes, time: np.ndarray):
    """(n,) when the longitude is that of the line, nearest to times (n,): Newton's method."""
    turned, eclipsed = np.where(causes.front, 0.0, np.pi), causes.has(ECLIPSE)
    for _ in range(_CONJUNCTION_STEPS):
        at = np.clip(time, motion.start_s, motion.end_s)
        (x, y, _), (u, v, _) = (found.T for found in motion.at(at, slice(0, 3)))
        sun, seen = sight.sunward(at), sight.earthward(at)
        line = np.where(eclipsed[:, None], sun, seen)
        ahead = np.arctan2(y, x) - np.arctan2(line[:, 1], line[:, 0]) + turned
        time = at - (np.remainder(ahead + np.pi, 2.0 * np.pi) - np.pi) * (x * x + y * y) / (x * v - y * u)
    return time
