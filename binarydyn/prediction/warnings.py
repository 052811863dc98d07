"""What a prediction warns of: runs that end early, motion that cannot be trusted, a system that does not stay
relaxed."""

from __future__ import annotations

from ..bodies.averaged import free_turns
from ..constants import HOUR_S
from ..kinds import sure
from ..observables import ground_hold
from ..observables.chaos import TWIST_RAD, Chaos, by_seconds
from ..observables.ground import FRICTION_DEG
from ..relaxed.by_simulation import turned_days
from ..relaxed.start import Start
from ..scenario import Scenario
from ..scenario.wording import rounded
from .solar_tide import left_out
from .swing import swing_remark
from .windows import Side, fit_error_s

STEEPER_DEG = 1.0
"""By how much the steepest slope must grow to be told."""
NOTHING_CHANGES = ("miss", "no_impact")
"""Statuses after which the orbit is the relaxed one, which has neither pericentre nor node."""


def remarks(scenario: Scenario, begun: Start, before: Side, after: Side, chaos: Chaos, status: str) -> tuple[str, ...]:
    """Sentences about both windows, in the order of time; status: of the prediction."""
    found = _before(scenario, begun, before) + _early_end(after)
    if status not in NOTHING_CHANGES or not after.shape:
        found += after.warnings
    error_s = fit_error_s(before, after)
    if status not in NOTHING_CHANGES:
        found += _ground(scenario, before, after)
    if error_s is not None and status not in NOTHING_CHANGES:
        found += left_out(scenario, sure(before.period).value_s, sure(after.period).value_s, error_s, "fit error")
    return found + _unlocked(begun) + _doubts(chaos) + _disagreement(after, chaos)


def _before(scenario: Scenario, begun: Start, before: Side) -> tuple[str, ...]:
    """What is wrong with the window before t0; that a relaxed orbit has neither pericentre nor node is right."""
    if not before.shape:
        return before.warnings
    found = []
    measured = sure(before.period)
    miss_s = measured.value_s - begun.period_h * HOUR_S
    if abs(miss_s) > max(0.01, 5.0 * measured.sigma_s):
        found.append(
            f"before the impact the period is {miss_s:+.3g} s from the calibrated one: the system does not stay relaxed"
        )
    turned = turned_days(before)
    if turned is not None:
        found.append(
            f"{rounded(turned)} days before the impact the secondary has turned over, so the system is not "
            f"synchronous as "
            "the scenario says"
        )
    return (*found, *swing_remark(scenario, begun, before))


def _early_end(after: Side) -> tuple[str, ...]:
    """How a run ended before its window did, and when."""
    words = {"contact": "the bodies touch", "escape": "the secondary leaves"}
    run = after
    if run.status == "completed":
        return ()
    end = words.get(run.status, f"the run ends in {run.status}")
    return (f"{end} {run.time_s[-1] / HOUR_S:.4g} h after the impact",)


def _ground(scenario: Scenario, before: Side, after: Side) -> tuple[str, ...]:
    """Where the secondary would not stay as rigid as it is simulated, though it did before the impact."""
    one, two = ground_hold(before), ground_hold(after)
    if one is None or two is None:
        return ()
    said, cohesion = [], scenario.secondary.cohesion_Pa
    if two.slope_max_deg > max(FRICTION_DEG, one.slope_max_deg + STEEPER_DEG):
        what = "is lifted off" if two.slope_max_deg > 90.0 else "slides"
        said.append(
            f"the secondary's ground becomes as steep as {two.slope_max_deg:.0f} deg ({one.slope_max_deg:.0f} before "
            f"the impact), beyond {FRICTION_DEG:g} deg: what is loose {what}"
        )
    if two.needed_cohesion_Pa > max(cohesion, one.needed_cohesion_Pa):
        said.append(
            f"the secondary takes a cohesion of {two.needed_cohesion_Pa:.2g} Pa to hold together after the impact "
            f"({one.needed_cohesion_Pa:.2g} before it), {cohesion:g} Pa is stated: it does not stay as rigid as it is "
            "simulated"
        )
    return tuple(said)


def _unlocked(begun: Start) -> tuple[str, ...]:
    """That a round secondary has no lock to lose."""
    free = free_turns(begun.system.secondary.inertia_kg_m2)
    if free.all():
        return (
            "nothing locks the secondary: gravity has no grip on a ball, which cannot tumble; its roll, pitch and yaw "
            "are turns, not librations",
        )
    if free[2]:
        return (
            "nothing locks the secondary's turn about its pole, about which it is round: its yaw is a turn, no "
            "libration",
        )
    return ()


def _doubts(chaos: Chaos) -> tuple[str, ...]:
    if not chaos.chaotic:
        return ()
    return (
        f"the motion after the impact is chaotic: a neighbouring trajectory, {TWIST_RAD:g} rad beside it at t0, "
        f"diverges by a factor of {chaos.divergence_factor:.3g}, so the secondary's attitude, and the "
        f"period{by_seconds(chaos)}, depend on more than can be known",
    )


def _disagreement(after: Side, chaos: Chaos) -> tuple[str, ...]:
    """Where the two criteria of tumbling, the angles and the neighbouring trajectories, say different things."""
    if after.attitude is None or after.attitude.tumbling == chaos.chaotic:
        return ()
    if chaos.chaotic:
        return ("the secondary does not tumble within the window, but chaotic as it is it may do so later",)
    return (
        f"the secondary tumbles ({after.attitude.tumbling_reason}), but regularly: neighbouring trajectories stay "
        f"beside it, "
        f"so its attitude can be predicted",
    )
