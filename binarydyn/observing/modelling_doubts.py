"""What a reader must know of how measured times were modelled, in sentences."""

from __future__ import annotations

import numpy as np

from ..kinds import sure
from ..timing.mid_times import DEFINITIONS, MidTimes, Readings
from .modelled_middles import Matched
from .reference import Reference
from .uncertain_inputs import usual_errors

PHASE_DEG = 10.0
"""Beyond it the middle of a dip of the primary depends on the ground and the base line."""
FAR_OFF = 5.0
"""Errors of an event by which its middle lies off the conjunction where that is worth a warning."""
WANDER_SHARE = 0.5
"""Of the sigma of the change, from which on the change in other windows is told."""


def modelling_doubts(
    reference: Reference, mids: MidTimes, seen: Readings, matched: Matched | None, sigma_s: float
) -> tuple[str, ...]:
    """Those that matter most first; sigma_s: of the change."""
    if matched is None:
        return (
            "no systems were simulated, so mid-times were taken for conjunctions: nothing is known of their errors",
        )
    bare, strange = _bare(reference, mids, seen, matched), _strange(matched)
    return (*bare, *strange, *_wander(reference, sigma_s), *usual_errors(reference.scenario), *_few(reference))


def _bare(reference: Reference, mids: MidTimes, seen: Readings, matched: Matched) -> tuple[str, ...]:
    """Times of the primary's dips without the light curves that they were taken from."""
    middles, phase = matched.middles, reference.sky.at(seen.time_s).phase_angle_deg
    sigma = np.sqrt(np.sum(middles.columns_s**2, axis=1))
    own = np.hypot(sigma, mids.sigma_s if mids.sigma_s is not None else 0.0)
    bare = (mids.body == "primary") & (mids.timed != DEFINITIONS[-1]) & (phase > PHASE_DEG)
    bare &= np.abs(middles.offset_s) > FAR_OFF * own
    if not bare.any():
        return ()
    low, high = (f"{edge(middles.offset_s[bare]):+.0f}" for edge in (np.min, np.max))
    return (
        f"{bare.sum()} mid-times of the primary's dips at phase angles of {phase[bare].min():.0f} to "
        f"{phase[bare].max():.0f} deg lie {low} to {high} s from their conjunctions, by a model that is good to "
        f"{np.median(sigma[bare]):.0f} s each: a base line that is no modelled light is not in it",
    )


def _strange(matched: Matched) -> tuple[str, ...]:
    """Events that the systems do not have, or have otherwise."""
    said = []
    if number := int(np.sum(~matched.known)):
        said.append(
            f"{number} of {len(matched.known)} events are not what simulated systems show there and weigh next to "
            "nothing; check kind, body and time"
        )
    if number := int(np.sum(matched.overlapping)):
        said.append(
            f"{number} eclipses overlap with an occultation of the same body and are taken for one dip of both; call "
            "them so, or say that contacts were timed"
        )
    return tuple(said)


def _wander(reference: Reference, sigma_s: float) -> tuple[str, ...]:
    """Where the change in the windows of a prediction is another one."""
    wander = reference.wander_s
    if wander is None or np.hypot(*wander) < WANDER_SHARE * sigma_s:
        return ()
    simulation, days = reference.scenario.simulation, reference.days
    return (
        f"the change is that in the window of the data, {days[0]:.0f} days before the impact and {days[1]:.0f} after "
        f"it; in the {simulation.days_before:g} and {simulation.days_after:g} days of [simulation] it is "
        f"{wander[0]:+.2f} +- {wander[1]:.2f} s different in simulated systems",
    )


def _few(reference: Reference) -> tuple[str, ...]:
    worlds = sure(reference.found)
    lost = worlds.tried - len(worlds.members)
    return (f"{lost} of {worlds.tried} drawn systems have no such runs and are left out",) if lost else ()
