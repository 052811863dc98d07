"""Inputs drawn before anything is measured, what follows from them, and the velocity change and beta behind a change in
each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..impact.leverage import Leverage
from ..kinds import sure
from .along_track import dv_for, levers, momenta
from .pair_draws import Pairs, pairs
from .surrogate import Surrogate, columns, refused


@dataclass(frozen=True)
class Draws:
    """The uncertain inputs drawn from the prior, and what follows from them before anything is measured.

    Arrays (n,): inputs by dotted names; refused: which of them a scenario could not have (the medians stand in their
    place, and they do not count); lever None without an impactor; noise: standard normal scores of the measurement.
    """

    inputs: dict[str, np.ndarray]
    refused: np.ndarray
    pair: Pairs
    lever: Leverage | None
    momentum_kg_m_s: np.ndarray
    noise: np.ndarray

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


def draws_at(surrogate: Surrogate, inputs: dict[str, np.ndarray], noise: np.ndarray) -> Draws:
    """Draws of stated inputs (n,), all those of the emulator by name, and noise (n,), and what follows from them."""
    scenario, nominal, count = surrogate.scenario, surrogate.nominal, len(noise)
    beyond = refused(scenario, inputs, count)
    if beyond.any():
        middle = {name: one.at_scores(0.0) for name, one in sure(scenario.sampling).quantities.items()}
        inputs = {name: np.where(beyond, middle[name], values) for name, values in inputs.items()}
    return Draws(
        inputs=inputs,
        refused=beyond,
        pair=pairs(scenario, inputs, count).corrected(surrogate.corrections, inputs),
        lever=levers(scenario, nominal, inputs, count),
        momentum_kg_m_s=momenta(scenario, inputs, count),
        noise=noise,
    )


def solution(surrogate: Surrogate, draws: Draws, change_s: np.ndarray) -> Solution:
    """The velocity changes and betas behind simulated period changes (n,); NaN where there is none."""
    target = surrogate.closed_form_for(draws.columns, change_s)
    dv = dv_for(target, draws.pair, draws.lever, draws.momentum_kg_m_s, surrogate.scenario)
    beta = np.full(len(dv), np.nan)
    if draws.lever is not None:
        with np.errstate(all="ignore"):
            beta = draws.lever.beta(dv, draws.pair.secondary_kg, draws.momentum_kg_m_s)
    return Solution(target, dv, beta)
