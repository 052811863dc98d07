"""An impact as one step: the system before it in, the system after it out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

import numpy as np

from ..errors import InputError
from ..kinds import check_choice, shape, takes
from ..motion.state import System
from ..scenario import Scenario, VelocityChange
from .apply import impact_on
from .frame import orbit_axes
from .struck import Impact, ImpactSpec


@takes(system="System", what=(None, "Scenario", "ImpactSpec"), velocity_change_m_s=(None, shape(3)))
def hit(
    system: System,
    what: Scenario | ImpactSpec | None = None,
    *,
    velocity_change_m_s: np.ndarray | None = None,
    frame: str = "orbit",
) -> System:
    """The system just after what hits its secondary, in its state and shapes of then; `.impact` tells what happened.

    what: a Scenario, of which the tables of the impact count; by default the one that the system was built from.
    velocity_change_m_s: in its place the change (3,), m/s, of the secondary's velocity relative to the primary: along
    track, radial and normal (frame "orbit"), or along the inertial axes ("inertial").
    A miss, or nothing that hits, changes neither state nor shapes.  Raises InputError, also where the system has been
    hit and nothing says what hits it next.  Source: eq. 1 of momentum.py, Cheng et al. 2023, Nature 616, 457.

    >>> import binarydyn as bd
    >>> system = bd.build(bd.example())
    >>> bd.hit(system).impact  # doctest: +ELLIPSIS
    <Impact hit: dv -1.9665 mm/s along track, 0.2700 radial, -0.6595 normal; hit at longitude -81.12, ... 13.87 deg>
    >>> slowed = bd.hit(system, velocity_change_m_s=[-2e-3, 0.0, 0.0])
    >>> print(round(bd.simulate(slowed, days=20.0).periods().period_h["weighted_fit"], 2))
    9.97
    """
    if what is not None and velocity_change_m_s is not None:
        raise InputError("hit", "what and velocity_change_m_s are both given, allowed is one of them; leave one out")
    if velocity_change_m_s is not None:
        what = ImpactSpec(velocity_change=_push(system, velocity_change_m_s, frame))
    if (what := what or cast(Any, system.impact)) is None or isinstance(what, Impact):
        so_far = f"has been hit already ({what.reason})" if what else "comes from no scenario that says what hits it"
        raise InputError("hit", f"the system {so_far}; give a scenario as `what`, or velocity_change_m_s")
    impact = impact_on(system, what)
    return replace(impact.system, impact=impact)


def _push(system: System, change_m_s: np.ndarray, frame: str) -> VelocityChange:
    """The same change in orbit axes, mm/s."""
    check_choice("hit(frame)", frame, "orbit", "inertial")
    change = 1e3 * np.asarray(change_m_s, dtype=float)
    if frame == "inertial":
        change = orbit_axes(system.state) @ change
    return VelocityChange(along_track_mm_s=change[0], radial_mm_s=change[1], normal_mm_s=change[2])
