"""The impact itself: from the system just before it to the system just after it, whichever of the bodies is hit."""

from __future__ import annotations

from dataclasses import replace

from ..columns import cross, length, turned
from ..constants import G
from ..errors import InputError
from ..kinds import sure, takes
from ..motion.state import State, System
from ..scenario import Direction, Reshaping, Scenario
from .frame import direction_in_space, mirrored, mirrored_state, orbit_axes
from .reshaping import reshaped
from .struck import Impact, ImpactSpec, struck

PRIMARY = "primary"
WEIGHTLESS_SHARE = 0.1
"""Of the gravity at a site, taken up by the spin, from which craters in the gravity regime and what falls back differ
by some per cent."""


@takes(system="System", given=("Scenario", "ImpactSpec"), state=(None, "State"))
def impact_on(system: System, given: Scenario | ImpactSpec, state: State | None = None) -> Impact:
    """Hit the secondary of a system that is in `state` (default: the system's), or its primary, as a scenario or a spec
    says.

    A miss changes no shapes either.  InputError where the orbit axes are not defined or the site's coordinates name no
    ground.
    """
    before = system.state if state is None else state
    impact = _of_target(system, before, given)
    if given.reshaping is not None and impact.status != "miss":
        impact = _reshaped(impact, given.reshaping)
    if not impact.happened:
        return impact
    after = replace(impact, system=replace(impact.system, state=impact.state, impact=None))
    object.__setattr__(after.system, "impact", after)  # in place of what is to hit it: each names the other
    return after


def _of_target(system: System, before: State, given: Scenario | ImpactSpec) -> Impact:
    """A hit of the primary is one of the secondary of the mirrored system."""
    if given.impactor is None or given.impactor.target == "secondary":
        return struck(system, before, given)
    spec = _in_space(ImpactSpec.of(given), before)
    seen = replace(mirrored(system), state=mirrored_state(before))
    try:
        found = struck(seen, seen.state, spec)
    except InputError as error:
        raise InputError(error.place, _swapped(error.sentence)) from None
    said = (*found.warnings, *_weightless(system, before, found))
    found = replace(found, warnings=said)
    told = replace(found, reason=_swapped(found.reason), warnings=tuple(map(_swapped, said)), target=PRIMARY)
    if not found.happened:
        return replace(told, state=before, system=system)
    dv = -found.dv_m_s
    along_track, radial, normal = (1e3 * turned(orbit_axes(before), dv)).tolist()
    return replace(
        told,
        state=mirrored_state(found.state),
        system=mirrored(found.system),
        dv_m_s=dv,
        dv_along_track_mm_s=along_track,
        dv_radial_mm_s=radial,
        dv_normal_mm_s=normal,
        kept_dv_m_s=-found.kept_dv_m_s,
        mirror=found,
    )


def _in_space(spec: ImpactSpec, before: State) -> ImpactSpec:
    """With all directions along inertial axes, which stay where bodies are mirrored."""
    axes = orbit_axes(before)

    def inertial(direction: Direction) -> Direction:
        return Direction(inertial=tuple(direction_in_space(direction, axes, spec.mutual_orbit).tolist()))

    impactor, transfer = sure(spec.impactor), spec.momentum_transfer
    impactor = impactor.model_copy(update={"direction": inertial(impactor.direction)})
    if transfer.ejecta_direction:
        transfer = transfer.model_copy(update={"ejecta_direction": inertial(transfer.ejecta_direction)})
    boulders = tuple(rock.model_copy(update={"direction": inertial(rock.direction)}) for rock in spec.boulders)
    return replace(spec, impactor=impactor, momentum_transfer=transfer, boulders=boulders)


def _swapped(sentence: str) -> str:
    """Of the bodies by each other's names."""
    parts = (part.replace("secondary", PRIMARY) for part in sentence.split(PRIMARY))
    return "secondary".join(parts)


def _weightless(system: System, before: State, found: Impact) -> tuple[str, ...]:
    """How much of the gravity at the site the spin takes up, which the scaling and escape speeds do not know."""
    if found.site is None:
        return ()
    point, rate = found.site.point_m, before.rate1_rad_s
    off_axis = cross(rate, cross(point, rate))
    share = length(off_axis) * length(point) ** 2 / (G * system.primary.mass_kg)
    if share < WEIGHTLESS_SHARE:
        return ()
    return (
        f"the spin takes up {100.0 * share:.0f} % of the secondary's gravity at the site, above "
        f"{100.0 * WEIGHTLESS_SHARE:g} %, which craters, escape speeds and fall-back do not count",
    )


def _reshaped(impact: Impact, given: Reshaping) -> Impact:
    """The same impact on bodies that then take their new shapes."""
    new = reshaped(impact.system, impact.state, given)
    status, reason = impact.status, impact.reason
    if status == "none":
        status, reason = "reshaped", "nothing hits; the shapes change"
    warnings = impact.warnings + new.warnings
    return replace(
        impact, status=status, reason=reason, state=new.state, system=new.system, reshaped=new, warnings=warnings
    )
