"""The light curve of a scenario about its impact: magnitudes, synthetic noise, and which mutual event is under way.

The run before t0 and the one after the impact, each from the relaxed start (as in timetable.py), seen and lit as
sky/light_curve.py says.  Magnitudes are reduced ones (distances to the Sun and the observer are not in them)
and 0 is the mean flux of the whole curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..constants import DAY_S
from ..dynamics import Trajectory
from ..errors import ArgumentError
from ..impact import Impact, impact_on
from ..kinds import takes
from ..notebook import Displayed, later
from ..relaxed.start import Start, start
from ..scenario import Scenario
from ..scenario.tables.sampling import check_seed
from ..scenario.wording import as_given
from ..sky.events import Event, events
from ..sky.geometry import Sky
from ..sky.light_curve import DEFAULT_FACETS, LAWS, PHASE_LAWS, LightCurve, light_curve_of
from .timetable import event_run

LIMITS = {
    "from_days": (-3650.0, 3650.0),
    "days": (0.01, 3650.0),
    "step_minutes": (0.05, 1440.0),
    "noise_mag": (0.0, 10.0),
    "albedo_ratio": (0.01, 100.0),
    "facets": (80, 200_000),
}
MOST_EPOCHS = 50_000
_STEEPEST_RAD = 2.0
"""Beyond this phase angle the linear-exponential law is not valid: it turns negative."""


@dataclass(frozen=True)
class Surface:
    """How the ground scatters: law and phase law by name, albedo of the secondary over the primary's, facets a body."""

    law: str = "lommel_seeliger"
    phase_law: str = "none"
    albedo_ratio: float = 1.0
    facets: int = DEFAULT_FACETS

    def __post_init__(self):
        for name, value, table in (("law", self.law, LAWS), ("phase_law", self.phase_law, PHASE_LAWS)):
            if value not in table:
                raise ArgumentError(name, f"{as_given(value)} is given, allowed is {' or '.join(table)}; choose one")


@dataclass(frozen=True, eq=False, repr=False)
class Photometry(Displayed):
    """What `light_curve` returns.

    curve: (m,) epochs, s from t0 at the system.  magnitude (m,): with noise of noise_mag.  events: those that touch the
    curve, in the order of time.
    """

    scenario: Scenario
    start: Start
    impact: Impact
    sky: Sky
    surface: Surface
    curve: LightCurve
    magnitude: np.ndarray
    noise_mag: float
    seed: int
    events: tuple[Event, ...]
    status: str
    warnings: tuple[str, ...]

    to_xarray = later("observing.light_curve_rows:to_xarray")

    def _line(self) -> str:
        magnitude, days = self.curve.magnitude, self.curve.time_s[[0, -1]] / DAY_S
        return (
            f"{len(magnitude)} epochs, {days[0]:.2f} to {days[1]:.2f} days from the impact, {self.status}; "
            f"{np.ptp(magnitude):.3f} mag, {len(self.events)} events"
        )

    def _facts(self) -> dict[str, Any]:
        return {"epochs": len(self.curve.time_s), "status": self.status} | {
            f"{event.kind} of the {event.body}, {event.mid_s:.0f} s": f"{event.depth_mag:.3f} mag"
            for event in self.events
        }

    def under_way(self) -> list[list[Event]]:
        """For each epoch the events that it falls into."""
        return [[event for event in self.events if _holds(event, t)] for t in self.curve.time_s]


@takes(scenario="Scenario")
def light_curve(
    scenario: Scenario,
    from_days: float = -1.0,
    days: float = 2.0,
    step_minutes: float = 5.0,
    noise_mag: float = 0.0,
    seed: int = 0,
    surface: Surface | None = None,
) -> Photometry:
    """Magnitudes of the system about the impact, with synthetic noise, and the mutual events that are under way.

    Parameters
    ----------
    scenario : with an epoch of the impact, the pole of the mutual orbit and the orbit about the Sun.
    from_days : first epoch, days from the impact, negative before it.
    days : from the first to the last epoch, which are step_minutes apart.
    noise_mag : 1 sigma of independent normal errors; seed : of them.
    surface : how the ground scatters; None: Lommel-Seeliger, one albedo.

    Returns
    -------
    Photometry; `.curve` has epochs (m,) and brightness, `.magnitude` (m,) those with noise, `.to_xarray()` all of it.

    Raises
    ------
    InputError for numbers beyond LIMITS and where the scenario does not say where the system is.  Contact and escape
    end the curve early and are its status.

    Examples
    --------
    >>> import binarydyn as bd
    >>> found = bd.light_curve(bd.example(), -0.1, 0.2, 30.0)
    >>> found.to_xarray()["magnitude"].dims
    ('time_s',)
    """
    surface = surface or Surface()
    time = _epochs(from_days, days, step_minutes, noise_mag, seed, surface)
    sky = Sky.of(scenario)
    begun = start(scenario)
    impact = impact_on(begun.system, scenario)
    runs = runs_about(scenario, begun, impact, time)
    pieces, found, margin_s = [], [], begun.period_h * 3600.0
    for run in runs:
        wanted = time[(time >= run.time_s[0]) & (time <= run.time_s[-1]) & ((time < 0.0) == (run.time_s[0] < 0.0))]
        if len(wanted):
            near = part_of_run(run, wanted[0] - margin_s, wanted[-1] + margin_s)
            conjunctions = events(near, sky, scenario.observer.sunlight, dips=False)
            found += [event for event in conjunctions if _touches(event, wanted)]
            albedos = (1.0, surface.albedo_ratio)
            pieces.append(light_curve_of(near, sky, wanted, surface.law, surface.phase_law, surface.facets, albedos))
    if not pieces:
        raise ArgumentError("from_days", f"the run ends before {from_days:g} days from the impact; begin earlier")
    curve = joined_curves(pieces)
    return Photometry(
        scenario=scenario,
        start=begun,
        impact=impact,
        sky=sky,
        surface=surface,
        curve=curve,
        magnitude=curve.noisy(noise_mag, seed),
        noise_mag=noise_mag,
        seed=seed,
        events=tuple(found),
        status=next((run.status for run in runs if run.status != "completed"), "completed"),
        warnings=begun.warnings + impact.warnings + _warnings(curve, surface, len(time)),
    )


def _epochs(from_days, days, step_minutes, noise_mag, seed, surface: Surface) -> np.ndarray:
    """(m,) s from t0; InputError for numbers that are not allowed."""
    given = {
        "from_days": from_days,
        "days": days,
        "step_minutes": step_minutes,
        "noise_mag": noise_mag,
        "albedo_ratio": surface.albedo_ratio,
        "facets": surface.facets,
    }
    for name, value in given.items():
        low, high = LIMITS[name]
        if not low <= value <= high:
            raise ArgumentError(name, f"{value:g} is given, allowed is {low:g} .. {high:g}; change it")
    check_seed(seed)
    count = int(days * 1440.0 / step_minutes + 1e-9) + 1
    if not 2 <= count <= MOST_EPOCHS:
        raise ArgumentError(
            "step_minutes",
            f"{step_minutes:g} minutes over {days:g} days are {count} epochs, allowed 2 .. {MOST_EPOCHS}; change one",
        )
    return from_days * DAY_S + step_minutes * 60.0 * np.arange(count)


def runs_about(scenario: Scenario, begun: Start, impact: Impact, time: np.ndarray) -> list[Trajectory]:
    """Before and after t0, as far as epochs lie there, and an orbit beyond so that events at the ends are whole."""
    more = 1.5 * begun.period_h / 24.0
    runs = []
    if time[0] < 0.0:
        runs.append(event_run(scenario, begun.system, time[0] / DAY_S - more))
    if time[-1] >= 0.0:
        runs.append(event_run(scenario, impact.system, time[-1] / DAY_S + more, impact.state))
    return runs


def part_of_run(run: Trajectory, first_s: float, last_s: float) -> Trajectory:
    """The samples between two instants."""
    kept = (run.time_s >= first_s) & (run.time_s <= last_s)
    return replace(run, time_s=run.time_s[kept], y=run.y[kept])


def joined_curves(pieces: list[LightCurve]) -> LightCurve:
    """Several as one."""
    names = ("time_s", "light_time_s", "phase_angle_deg", "brightness_m2")
    parts = {name: np.concatenate([getattr(piece, name) for piece in pieces]) for name in names}
    return LightCurve(**parts, albedos=pieces[0].albedos)


def span(event: Event) -> tuple[float, float]:
    """Contacts 1 and 4, s; where the run begins or ends within the event, there."""
    first, _, _, last = event.contacts_s
    return (
        2.0 * event.mid_s - last if first is None and last is not None else event.mid_s if first is None else first,
        2.0 * event.mid_s - first if last is None and first is not None else event.mid_s if last is None else last,
    )


def _holds(event: Event, time_s: float) -> bool:
    first, last = span(event)
    return first <= time_s <= last


def _touches(event: Event, time_s: np.ndarray) -> bool:
    first, last = span(event)
    return event.extent != "absent" and last >= time_s[0] and first <= time_s[-1]


def _warnings(curve: LightCurve, surface: Surface, wanted: int) -> tuple[str, ...]:
    said = []
    if len(curve.time_s) < wanted:
        said.append(f"the run ends early: {len(curve.time_s)} of {wanted} epochs are there")
    steepest = float(curve.phase_angle_deg.max())
    if surface.phase_law == "linear_exponential" and steepest > np.degrees(_STEEPEST_RAD):
        said.append(f"the phase angle reaches {steepest:.0f} deg, the linear-exponential law is valid to 115 deg")
    return tuple(said)
