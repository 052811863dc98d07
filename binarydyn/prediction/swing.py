"""What swings the secondary before the impact: the orbit's eccentricity, the turning primary's equator, or itself."""

from __future__ import annotations

import math

import numpy as np

from ..bodies.averaged import free_turns
from ..constants import HOUR_S
from ..kinds import sure
from ..observables import lines
from ..observables.frequency import Line, even_count
from ..relaxed.start import Start
from ..scenario import Scenario
from .windows import Side

FORCED_LIBRATION_DEG = 1.0
"""Swing before the impact that a primary far from resonance does not force (measured: below 0.1)."""
NEAR_RESONANCE = 2.0
"""Times 2 e that an eccentricity e swings the secondary where its libration w is near the orbit's rate n.

In space it swings by 2 e / (1 - (n/w)^2), and against the line of centres by 2 e / ((w/n)^2 - 1) (Murray & Dermott
1999, ch. 5, from memory): less than that from w/n = 1.22 up, and below 0.7.
"""
_COUNT = 3
TURN = 2.0 * math.pi


def swing_remark(scenario: Scenario, begun: Start, before: Side) -> tuple[str, ...]:
    """What swings the secondary more than is asked for and more than an eccentricity does far from resonance."""
    if before.attitude is None or before.attitude.tumbling or free_turns(_inertia(begun))[2]:
        return ()
    swing, e = before.attitude.libration_max_deg, scenario.mutual_orbit.eccentricity
    asked = scenario.secondary.libration_amplitude_deg + NEAR_RESONANCE * math.degrees(2.0 * e)
    if swing <= FORCED_LIBRATION_DEG + asked:
        return ()
    said = f"before the impact {{}} the secondary by {swing:.3g} deg"
    cause = _cause(scenario, begun, before)
    if cause == "primary":
        return (
            said.format("the primary's spin alone swings")
            + ", near a resonance with a free mode, and the prediction depends on rotation_phase_deg",
        )
    if cause == "eccentricity":
        return (
            said.format(f"the orbit's eccentricity of {sure(before.shape).eccentricity:.2g} swings")
            + f", since its libration of {_mode_h(begun, 'libration'):.4g} h is near resonance with the orbit, and the "
            "prediction depends on pericentre_deg",
        )
    return (said.format("a free libration swings") + ", more than the scenario asks for",)


def _inertia(begun: Start) -> np.ndarray:
    return begun.system.secondary.inertia_kg_m2


def _mode_h(begun: Start, name: str) -> float:
    mode = begun.mode(name)
    return mode.period_h if mode else math.nan


def _cause(scenario: Scenario, begun: Start, before: Side) -> str:
    """By which of the rates that can force it the yaw swings most; a free libration that is asked for aside.

    A primary round about its pole forces nothing; where nothing can, the libration is free.
    """
    run, count = before, even_count(before.time_s)
    rates = (
        [("eccentricity", TURN / (_mode_h(begun, "epicyclic") * HOUR_S))] if scenario.mutual_orbit.eccentricity else []
    )
    if not free_turns(begun.system.primary.inertia_kg_m2)[2]:
        spin = TURN / (scenario.primary.spin_period_h * HOUR_S)
        slip, step = abs(spin - TURN / sure(before.period).value_s), float(run.time_s[1] - run.time_s[0])
        rates += [("primary", _seen(k * slip, step)) for k in (1, 2)]
    if scenario.secondary.libration_amplitude_deg:
        rates.append(("libration", TURN / (_mode_h(begun, "libration") * HOUR_S)))
    rates = [(name, rate) for name, rate in rates if math.isfinite(rate) and rate > 0.0]
    if not rates:
        return "libration"
    found = lines(run.time_s[:count], sure(before.attitude).yaw_deg[:count], _COUNT)
    causes = [_nearest(line, rates) for line in found]
    return next((cause for cause in causes if cause != "libration"), "libration")


def _seen(rate: float, step_s: float) -> float:
    """The rate at which samples so far apart show an oscillation."""
    often = TURN / step_s
    return abs(rate - often * round(rate / often))


def _nearest(line: Line, rates: list[tuple[str, float]]) -> str:
    return min(rates, key=lambda named: abs(math.log(line.rate_rad_s / named[1])))[0]
