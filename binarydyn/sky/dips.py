"""Dips of light: when a mutual event is deepest for an observer, by several definitions and for two scattering laws.

The middle of an event's contacts is not what is timed: at a phase angle the dimmed ground is lit and seen from aside,
so the light that is missing has its middle elsewhere, by minutes.  Here it is the missing flux of the dimmed body
against the same body undisturbed (missing_light.py).  A straight base line from 30 minutes of the light curve on either
side instead brings the body's own rotation into it: in the 2022 geometry, dips deeper than 2 % over 30 days, it moves
centroids of the primary's by 107 s rms (Lommel-Seeliger) and 215 s (Lambert, at most 674 s), of the secondary's by 20
to 25 s.

An eclipse and an occultation of one body that overlap in time are one dip, of the kind `both`.  Times are instants at
the system, s from t0.  The Sun is a point in the light that is missing, its disc would move
centroids by 0.5 s rms and 1.2 s at most; with sunlight `disc` only contacts are those of the penumbra.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from ..motion.trajectory import Trajectory
from .dip_causes import BOTH, ECLIPSE, MEASURED_KINDS, OCCULTATION, Causes
from .dip_light import DimmedBodies
from .dip_middles import centroid, folded, half_depth, minimum
from .event_search import KINDS, EventSearch, Halves
from .followed import Guide, conjunctions_s
from .geometry import Sight
from .motion_between import MotionBetween

__all__ = [
    "BOTH",
    "DIP_LAWS",
    "EPOCHS",
    "MEASURED_KINDS",
    "RAYS",
    "Dips",
    "Guide",
    "dips_in",
    "dips_like",
    "dips_of",
]
DIP_LAWS = ("lommel_seeliger", "lambert")
"""Scattering laws of the columns, as light_curve.py names them."""
RAYS, EPOCHS = 256, 61


@dataclass(frozen=True)
class Dips:
    """n dips in the order of their contacts' middles.

    kind (n,): one of MEASURED_KINDS.  body: the one that is dimmed.  cycle: as Event.cycle; of `both` its eclipse's,
    and occultation_cycle its occultation's (of others the same as cycle).  conjunction_s: when the secondary's
    longitude in the plane of the orbit before t0 is that of the Sun (eclipse, both) or of the observer, turned by pi
    where the secondary is dimmed; it may lie beyond the run's ends, where the last motion is drawn on.  first_s,
    last_s: contacts 1 and 4 of the whole.
    missing_m2 (n, k, 2): the light that is missing at k even steps from first_s to last_s, for each of DIP_LAWS;
    light_m2 (n, 2): of both bodies undisturbed, halfway between the contacts; in the unit of LightCurve.brightness_m2
    at albedo 1.
    centroid_s, half_depth_s, folded_s, minimum_s (n, 2): middles by definition (dip_middles.py); of a dip without depth
    (dimmed ground that is dark or not seen) the middle of the contacts.
    """

    kind: np.ndarray
    body: np.ndarray
    cycle: np.ndarray
    occultation_cycle: np.ndarray
    conjunction_s: np.ndarray
    first_s: np.ndarray
    last_s: np.ndarray
    missing_m2: np.ndarray
    light_m2: np.ndarray

    def __len__(self) -> int:
        return len(self.kind)

    @cached_property
    def centroid_s(self) -> np.ndarray:
        """(n, 2) of the missing light."""
        return self._middle_s(centroid)

    @cached_property
    def half_depth_s(self) -> np.ndarray:
        """(n, 2) of the times at half depth."""
        return self._middle_s(half_depth)

    @cached_property
    def folded_s(self) -> np.ndarray:
        """(n, 2) of the mirror image."""
        return self._middle_s(folded)

    @cached_property
    def minimum_s(self) -> np.ndarray:
        """(n, 2) of the deepest part."""
        return self._middle_s(minimum)

    def _middle_s(self, definition) -> np.ndarray:
        places = definition(self.missing_m2.transpose(0, 2, 1))
        return self.first_s[:, None] + (self.last_s - self.first_s)[:, None] * places

    @cached_property
    def depth_m2(self) -> np.ndarray:
        """(n, 2) missing light at the deepest."""
        return self.missing_m2.max(axis=1)

    @property
    def contacts_mid_s(self) -> np.ndarray:
        """(n,) mean of contacts 1 and 4 of the whole."""
        return 0.5 * (self.first_s + self.last_s)

    @property
    def after(self) -> np.ndarray:
        """(n,) which come after t0, whatever their conjunction does; none is cut by it."""
        return self.first_s >= 0.0

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
    cause by itself.  rays (in fours) through the secondary's outline, epochs from contact 1 to 4.  What they
    leave of a centroid, rms and greatest, s: 256 and 61, 1.7 and 5; 128 and 31, 3 and 11 (2022 geometry; a minimum, 15
    and 35 rms).  Two ellipsoids are exact but for that, a mesh is seen as its facets.  InputError as `events`.
    """
    motion = MotionBetween(trajectory)
    halves = {kind: EventSearch(motion, sight, kind, sunlight).halves for kind in KINDS if kind in kinds}
    return dips_in(motion, sight, halves, merged, rays, epochs)


def dips_in(
    motion: MotionBetween,
    sight: Sight,
    halves: dict[str, Halves],
    merged: bool = True,
    rays: int = RAYS,
    epochs: int = EPOCHS,
) -> Dips:
    """The same where the halves of the orbit by kind, and the contacts in them, are known."""
    return _measured(DimmedBodies(motion, sight, rays), Causes.of(halves, merged), epochs)


def dips_like(
    guide: Guide, trajectory: Trajectory, sight: Sight, merged: bool = True, rays: int = 128, epochs: int = 31
) -> Dips:
    """The same of a run like the one behind the guide, without a search: for many worlds that differ little.

    Events whose cycle is not among the guide's are not found.
    """
    motion = MotionBetween(trajectory)
    return _measured(DimmedBodies(motion, sight, rays), Causes.of(guide.followed(motion, sight), merged), epochs)


def _measured(bodies: DimmedBodies, causes: Causes, epochs: int) -> Dips:
    first, last, cycle = causes.first_s, causes.last_s, causes.leading("cycle")
    return Dips(
        kind=causes.kind,
        body=causes.body,
        cycle=cycle,
        occultation_cycle=np.where(causes.kind == BOTH, causes.values(OCCULTATION, "cycle", 0), cycle),
        conjunction_s=_conjunctions(bodies.motion, bodies.sight, causes),
        first_s=first,
        last_s=last,
        missing_m2=bodies.missing(causes, first[:, None] + (last - first)[:, None] * np.linspace(0.0, 1.0, epochs)),
        light_m2=bodies.undisturbed(0.5 * (first + last)),
    )


def _conjunctions(motion: MotionBetween, sight: Sight, causes: Causes) -> np.ndarray:
    """(n,) of the eclipse, where there is none of the occultation."""
    mid, eclipsed = 0.5 * (causes.first_s + causes.last_s), causes.has(ECLIPSE)
    found = np.empty(len(causes))
    for here, line in ((eclipsed, sight.sunward), (~eclipsed, sight.earthward)):
        found[here] = conjunctions_s(motion, line, causes.front[here], mid[here])
    return found
