"""What a reader must know of how measured times were modelled, in sentences."""

from __future__ import annotations

import math

import numpy as np

from ..kinds import sure
from ..scenario.wording import counted
from ..timing.answer import Fit
from ..timing.mid_times import DEFINITIONS, MidTimes, Readings
from .modelled_middles import Matched
from .reference import Reference
from .uncertain_inputs import usual_errors

PHASE_DEG = 10.0
"""Beyond it the middle of a dip of the primary depends on the ground and the base line."""
FAR_OFF = 5.0
"""Errors of an event by which its middle lies off the conjunction where that is worth a warning."""
ASTRAY_DEG = 5.0
"""Of the secondary's longitude at t0, from which on a scenario is told to be another one."""
WANDER_SHARE = 0.5
"""Of the sigma of the change, from which on the change in other windows is told."""


def modelling_doubts(
    reference: Reference, mids: MidTimes, seen: Readings, matched: Matched | None, fit: Fit
) -> tuple[str, ...]:
    """Those that matter most first."""
    if matched is None:
        return (
            "no systems were simulated, so mid-times were taken for conjunctions: nothing is known of their errors",
        )
    bare, strange = _bare(reference, mids, seen, matched), _strange(matched)
    if reference.scenario.kind_of_impact == "none":
        strange += ("the scenario has no impact, nor have the systems behind offsets and errors; add [impactor]",)
    return (
        *_astray(fit),
        *bare,
        *strange,
        *_wander(reference, fit.change_sigma_s),
        *usual_errors(reference.scenario),
        *_few(reference),
    )


def _astray(fit: Fit) -> tuple[str, ...]:
    """Where the secondary is not where the scenario has it at t0: the events are then modelled as others."""
    longitude, sigma = (math.degrees(part) for part in sure(fit.of("longitude")))
    away = math.remainder(longitude, 360.0)
    if abs(away) < max(ASTRAY_DEG, FAR_OFF * sigma):
        return ()
    return (
        f"the secondary is {away:+.1f} deg from where the scenario has it at the impact: check body and kind of the "
        "events (180 deg: bodies exchanged), what was timed, and the phase of the scenario",
    )


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
        f"{counted(int(bare.sum()), 'dip')} of the primary at phase angles of {phase[bare].min():.0f} to "
        f"{phase[bare].max():.0f} deg: the light has its middle {low} to {high} s from the conjunction of centres; the "
        f"fit takes that off, to {np.median(sigma[bare]):.0f} s each, which is in the sigma; not in it is a base line "
        "that is not the light of the turning primary (straight ones: 100 to 200 s), so measure against modelled light",
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
        f"it; over the {simulation.days_before:g} days before and {simulation.days_after:g} after of [simulation] it "
        f"is {wander[0]:+.2f} +- {wander[1]:.2f} s different in simulated systems",
    )


def _few(reference: Reference) -> tuple[str, ...]:
    worlds = sure(reference.found)
    lost = worlds.tried - len(worlds.members)
    return (f"{lost} of {worlds.tried} drawn systems have no such runs and are left out",) if lost else ()
