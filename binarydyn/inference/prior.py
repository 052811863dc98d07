"""Inputs drawn before anything is measured, what follows from them, and the velocity change and beta behind a change in
each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..columns import unit
from ..impact import impact_on, is_sure, tilts_in_orbit
from ..impact.leverage import Leverage
from ..kinds import sure
from .along_track import dv_for, levers, momenta
from .pair_draws import Pairs, pairs
from .surrogate import Surrogate, columns, refused


@dataclass(frozen=True)
class Draws:
    """The uncertain inputs drawn from the prior, and what follows from them before anything is measured.

    Arrays (n,): inputs by dotted names; refused: which of them a scenario could not have (the medians stand in their
    place, and they do not count); lever None without an impactor; noise: standard normal scores of the measurement;
    slopes (k, n): of tilts of the surface normal.
    """

    inputs: dict[str, np.ndarray]
    refused: np.ndarray
    pair: Pairs
    lever: Leverage | None
    momentum_kg_m_s: np.ndarray
    noise: np.ndarray
    slopes: np.ndarray

    @property
    def columns(self) -> np.ndarray:
        """(n, d) inputs side by side, as the emulator takes them."""
        return columns(self.inputs, len(self.noise))


@dataclass(frozen=True)
class Solution:
    """Arrays (n,): closed-form change behind the simulated one, along-track velocity change, beta (NaN without an
    impactor)."""

    closed_form_s: np.ndarray
    dv_m_s: np.ndarray
    beta: np.ndarray


def ground_tilts(surrogate: Surrogate) -> np.ndarray:
    """(2, 3) orbit axes: 1 sigma of the surface normal about two axes along the ground at the site of the stated aim;
    (0, 3) where it is sure, or where the ejecta do not follow it."""
    scenario, system = surrogate.scenario, surrogate.nominal.system
    given = scenario.impactor
    if not given or scenario.momentum_transfer.ejecta_direction or is_sure(system.secondary, given):
        return np.zeros((0, 3))
    site = impact_on(system, scenario).site
    return np.zeros((0, 3)) if site is None else tilts_in_orbit(system, system.state, scenario, site)


def draws_at(
    surrogate: Surrogate, inputs: dict[str, np.ndarray], noise: np.ndarray, slopes: np.ndarray | None = None
) -> Draws:
    """Draws of stated inputs (n,), all those of the emulator by name, and noise (n,), and what follows from them.

    slopes (k, n): standard scores of the tilts of the normal as of ground_tilts; none: it is the one that was taken.
    """
    scenario, nominal, count = surrogate.scenario, surrogate.nominal, len(noise)
    beyond = refused(scenario, inputs, count)
    if beyond.any():
        middle = {name: one.at_scores(0.0) for name, one in sure(scenario.sampling).quantities.items()}
        inputs = {name: np.where(beyond, middle[name], values) for name, values in inputs.items()}
    return Draws(
        inputs=inputs,
        refused=beyond,
        pair=pairs(scenario, inputs, count).corrected(surrogate.corrections, inputs),
        lever=_on_tilted_ground(levers(scenario, nominal, inputs, count), surrogate, slopes),
        momentum_kg_m_s=momenta(scenario, inputs, count),
        noise=noise,
        slopes=np.zeros((0, count)) if slopes is None else slopes,
    )


def _on_tilted_ground(lever: Leverage | None, surrogate: Surrogate, slopes: np.ndarray | None) -> Leverage | None:
    """With the normal, and the ejecta's axis that follows it, tilted by scores (k, n)."""
    if lever is None or slopes is None or not len(slopes):
        return lever
    tilt = slopes.T @ ground_tilts(surrogate)
    ejecta, normal = (unit((each + tilt).T).T for each in (lever.ejecta, lever.normal))
    return replace(lever, ejecta=ejecta, normal=normal)


def solution(surrogate: Surrogate, draws: Draws, change_s: np.ndarray) -> Solution:
    """The velocity changes and betas behind simulated period changes (n,); NaN where there is none."""
    target = surrogate.closed_form_for(draws.columns, change_s)
    dv = dv_for(target, draws.pair, draws.lever, draws.momentum_kg_m_s, surrogate.scenario)
    beta = np.full(len(dv), np.nan)
    if draws.lever is not None:
        with np.errstate(all="ignore"):
            beta = draws.lever.beta(dv, draws.pair.secondary_kg, draws.momentum_kg_m_s)
    return Solution(target, dv, beta)
