"""Beta by every name that it goes by: what one hit is called, and how one name is turned into another.

All are shares of the impactor's momentum m U, U from the secondary's centre.  With unit vectors E (ejecta axis), N
(surface normal), t (along the track), e = U/|U|, and p the momentum that ejecta carry away, over m |U|:

    ejecta_axis   1 - p.E / (e.E)                 Cheng et al. 2023, Nature 616, 457, eq. 1
    normal        (e - p).N / (e.N)               what arrives and leaves along the normal
    magnitude     |e - p|
    along_track   M2 dv_t / (m |U|), sign of e.t  all that changes the orbit's speed, boulders too
    system        1 - P.E / (e.E)                 P: what leaves both bodies, far away, from their barycentre

Ejecta are launched from turning ground: p counted from the secondary's centre has m_e w x s more than from the ground,
which is in the books where [mass_exchange] says how much leaves.  A hit gives p along E, in the frame that the scenario
says, so each name is a function of one number, and each can be turned back; `system` keeps the hit's ratio of what
leaves both bodies to what leaves the secondary.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ...columns import dot, turned
from ...errors import InputError
from ...kinds import check_choice, sure
from ..frame import orbit_axes
from ..leverage import Leverage
from ..struck import Impact

GROUND, CENTRE = "ground", "centre"
NAMES = ("ejecta_axis", "normal", "magnitude", "along_track", "system")
SECONDARY_LEFT, SYSTEM_LEFT, LAUNCHED = "days", "infinity", "minutes"
"""Epochs of what is counted: gone from the secondary; gone from both bodies; thrown up, before any of it falls back."""


@dataclass(frozen=True)
class Betas:
    """Beta of one hit or of n, by any name, from the one along the ejecta's axis in the frame of the scenario.

    Vectors (3,) or (3, n) in one frame: flight, ejecta, normal, track unit; ground: m_e w x s over m |U|; other:
    momentum from boulders that the secondary takes up, over m |U|.  centred: whether beta is counted from the
    secondary's centre.  kept: share of the enhancement that leaves both bodies; None where that is not known.
    """

    flight: np.ndarray
    ejecta: np.ndarray
    normal: np.ndarray
    track: np.ndarray
    ground: np.ndarray
    other: np.ndarray
    centred: bool = False
    kept: float | None = None

    def named(self, name: str, beta: Any, frame: str = CENTRE) -> Any:
        """() or (n,) what a beta is called by another name; frame: of the ejecta, for the first three names.

        InputError for `system` where it is not known what leaves both bodies.
        """
        straight, more = self._line(name, frame)
        if name == "magnitude":
            given = straight + (beta - 1.0) * more
            return np.sqrt(dot(given, given))
        return straight + (beta - 1.0) * more

    def back(self, name: str, value: Any, frame: str = CENTRE) -> Any:
        """() or (n,) the beta that is called so; of the two that have one magnitude the larger, nan where none has.

        InputError as of `named`.
        """
        straight, more = self._line(name, frame)
        with np.errstate(all="ignore"):
            if name != "magnitude":
                return 1.0 + (value - straight) / more
            square, half = dot(more, more), dot(straight, more)
            return 1.0 + (np.sqrt(half**2 - square * (dot(straight, straight) - value**2)) - half) / square

    def converted(self, value: Any, name: str, other: str, frame: str = CENTRE, other_frame: str = CENTRE) -> Any:
        """From one name and frame to another one."""
        return self.named(other, self.back(name, value, frame), other_frame)

    def _line(self, name: str, frame: str) -> tuple[Any, Any]:
        """What is received for beta 1, and what each unit of beta - 1 adds: numbers, or vectors of `magnitude`."""
        check_choice("Betas(name)", name, *NAMES)
        check_choice("Betas(frame)", frame, GROUND, CENTRE)
        share = dot(self.ejecta, self.flight)
        more = share * self.ejecta
        straight = self.flight - (0.0 if self.centred else self.ground)  # as seen from the secondary's centre
        if name == "along_track":
            sign = np.where(dot(self.flight, self.track) < 0.0, -1.0, 1.0)
            return sign * dot(straight + self.other, self.track), sign * dot(more, self.track)
        if name == "system":
            if self.kept is None:
                raise InputError(
                    "Betas(name)",
                    "it is not known what leaves the system, so `system` is no name for it; choose another",
                )
            return 1.0, self.kept
        straight = straight + (self.ground if frame == GROUND else 0.0)
        if name == "magnitude":
            return straight, more
        axis = self.ejecta if name == "ejecta_axis" else self.normal
        return dot(straight, axis) / dot(self.flight, axis), dot(more, axis) / dot(self.flight, axis)


def betas_of(impact: Impact, before: Any) -> Betas | None:
    """Of a hit on a secondary in a state before; None where nothing hit."""
    released, site = impact.released, impact.site
    if released is None or site is None:
        return None
    brought, axes = impact.brought_kg_m_s, orbit_axes(before)
    size = float(np.linalg.norm(brought))
    exchange, thrown = impact.exchange, impact.thrown
    ground = exchange.masses.ejecta_kg * exchange.ground_m_s if exchange else np.zeros(3)
    other = -thrown.momentum_kg_m_s if thrown else np.zeros(3)
    more = released.beta - 1.0
    return Betas(
        flight=turned(axes, brought / size),
        ejecta=turned(axes, released.axis),
        normal=turned(axes, impact.normal),
        track=np.array([1.0, 0.0, 0.0]),
        ground=turned(axes, ground) / size,
        other=turned(axes, other) / size,
        centred=bool(exchange and exchange.centred),
        kept=(released.beta_system - 1.0) / more if more else None,
    )


def betas_of_lever(lever: Leverage, momentum_kg_m_s: np.ndarray, centred: bool) -> Betas:
    """Of n hits whose beta is inferred; momentum (n,) m |U|.  What leaves both bodies is not known then."""
    flight, ejecta, normal = (each.T for each in (lever.flight, lever.ejecta, lever.normal))
    track = np.zeros_like(flight)
    track[0] = 1.0
    recoil, ground = (each.T / momentum_kg_m_s for each in (lever.recoil_kg_m_s, lever.ground_kg_m_s))
    return Betas(flight, ejecta, normal, track, ground, recoil + (0.0 if centred else ground), centred)


@dataclass(frozen=True)
class BetaRow:
    """A beta with what says which one it is: name, frame of the ejecta's velocities, epoch of what is counted."""

    name: str
    frame: str
    epoch: str
    value: float


def beta_table(impact: Impact, before: Any) -> tuple[BetaRow, ...]:
    """All that one hit is called; empty where nothing hit."""
    betas = betas_of(impact, before)
    if betas is None:
        return ()
    released, frames = sure(impact.released), (GROUND, CENTRE)
    beta = released.beta
    rows = [
        BetaRow(name, frame, SECONDARY_LEFT, float(betas.named(name, beta, frame)))
        for name in ("ejecta_axis", "normal", "magnitude")
        for frame in frames
    ]
    rows.append(BetaRow("along_track", CENTRE, SECONDARY_LEFT, float(betas.named("along_track", beta))))
    if scaled := released.scaled:
        rows.append(BetaRow("ejecta_axis", GROUND, LAUNCHED, scaled.beta_launched))
    return (*rows, BetaRow("system", "barycentre", SYSTEM_LEFT, float(released.beta_system)))
