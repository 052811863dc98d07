"""What a measured period change says of the velocity change and of beta: one row a draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..impact.leverage import Leverage
from ..kinds import sure
from ..scenario import Scenario
from .surrogate import Surrogate

DONE, ENDED, MISS, NO_SOLUTION, OUTSIDE = "completed", "ended_early", "miss", "no_solution", "outside_design"
REFUSED = "bad_input"


@dataclass(frozen=True)
class Posterior:
    """What `infer` returns: one row a draw, arrays (n,).

    status: `completed`, `bad_input` (a value that its key does not allow), `ended_early` (the nearest simulation did,
    or was refused), `miss`, `no_solution` (no velocity change gives the change, or beta has no leverage) or
    `outside_design`. near_chaotic: whether the nearest simulation is chaotic or tumbles, so that the error of such is
    added. dv_mm_s: along-track velocity change; beta: NaN-free only where has_beta and status is done.  density_kg_m3:
    the secondary's, as calibrated.  inputs: by dotted names.  drawn_change_s: the measurement with its noise and the
    emulator's error.
    """

    scenario: Scenario
    change_s: float
    sigma_s: float
    surrogate: Surrogate
    status: np.ndarray
    near_chaotic: np.ndarray
    dv_mm_s: np.ndarray
    beta: np.ndarray
    density_kg_m3: np.ndarray
    volume_m3: np.ndarray
    momentum_kg_m_s: np.ndarray
    lever: Leverage | None
    inputs: dict[str, np.ndarray]
    drawn_change_s: np.ndarray
    warnings: tuple[str, ...]

    @property
    def well(self) -> np.ndarray:
        """(n,) which draws count."""
        return self.status == DONE

    @property
    def emulator_error_s(self) -> float:
        """What the emulator adds to the measurement's sigma, rms over the draws that count."""
        share = float(self.near_chaotic[self.well].mean()) if self.well.any() else 0.0
        return math.hypot(self.surrogate.error_s, math.sqrt(share) * self.surrogate.chaotic_error_s)

    @property
    def has_beta(self) -> bool:
        """Whether an impactor is given, without which only the velocity change is inferred."""
        return self.lever is not None

    def beta_at(self, density_kg_m3: float) -> np.ndarray:
        """(k,) betas of the draws that count if the secondary had this density at its drawn volume, the velocity change
        as found."""
        mass = density_kg_m3 * self.volume_m3
        return sure(self.lever).beta(1e-3 * self.dv_mm_s, mass, self.momentum_kg_m_s)[self.well]
