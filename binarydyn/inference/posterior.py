"""What a measured period change says of the velocity change and of beta: one row a draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import ArgumentError
from ..impact.books.betas import CENTRE, GROUND, betas_of_lever
from ..impact.leverage import Leverage
from ..kinds import sure
from ..notebook import Displayed, library
from ..scenario import Scenario
from ..scenario.wording import as_given
from .surrogate import Surrogate

if TYPE_CHECKING:
    import pandas

DONE, ENDED, MISS, NO_SOLUTION, OUTSIDE = "completed", "ended_early", "miss", "no_solution", "outside_design"
REFUSED = "bad_input"


@dataclass(frozen=True, eq=False, repr=False)
class Posterior(Displayed):
    """What `infer` returns: one row a draw, arrays (n,).

    status: `completed`, `bad_input` (a value that its key does not allow), `ended_early` (the nearest simulation did,
    or was refused), `miss`, `no_solution` (no velocity change gives the change, or beta has no leverage) or
    `outside_design`. near_chaotic: whether the nearest simulation is chaotic or tumbles, so that the error of such is
    added. dv_mm_s: along-track velocity change; beta: NaN-free only where has_beta and status is done.  density_kg_m3:
    the secondary's, as calibrated.  inputs: by dotted names.  drawn_change_s: the measurement with its noise and the
    emulator's error.  slopes (k, n): scores of the tilts of the surface normal about two axes; k 0 where it is sure.
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
    slopes: np.ndarray

    @property
    def df(self) -> pandas.DataFrame:
        """A pandas table, index `draw`: status, whether it is `well`, what was drawn, and what follows; an outcome of a
        draw that does not count may be nan.
        """
        pandas, beta = library("pandas", "df"), {"beta": self.beta} if self.has_beta else {}
        columns = {"status": self.status, "well": self.well, **self.inputs, "period_change_s": self.drawn_change_s}
        columns |= {"along_track_dv_mm_s": self.dv_mm_s, "secondary_density_kg_m3": self.density_kg_m3, **beta}
        return pandas.DataFrame(columns, pandas.RangeIndex(len(self.status), name="draw"))

    def quantile(self, q: float | Sequence[float]) -> pandas.DataFrame | pandas.Series:
        """Quantiles of all that is drawn or follows, over the draws that count; q: 0 to 1, a row for each of several.

        InputError for q outside of 0 to 1.
        """
        if not np.all((np.asarray(q) >= 0.0) & (np.asarray(q) <= 1.0)):
            raise ArgumentError("q", f"{as_given(q)} is given, allowed is 0 .. 1; change it")
        return self.df[self.well].drop(columns=["status", "well"]).quantile(q)

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

    def _line(self) -> str:
        beta = f" beta {_mean(self.beta[self.well], '.3g')};" if self.has_beta else ""
        velocity_change = f" velocity change {_mean(self.dv_mm_s[self.well], '.4g')} mm/s;" if self.well.any() else ""
        change = f"change {self.change_s:+.1f} +- {self.sigma_s:.2g} s"
        return f"{len(self.status)} draws, {self.well.sum()} well:{beta}{velocity_change} {change}"

    def _facts(self) -> dict[str, Any]:
        marks = self.quantile([0.025, 0.16, 0.5, 0.84, 0.975])
        return {
            name: "{2:.5g} (68 %: {1:.5g} .. {3:.5g}; 95 %: {0:.5g} .. {4:.5g})".format(*marks[name]) for name in marks
        }

    def betas(self) -> dict[str, np.ndarray]:
        """(k,) betas of the draws that count by their other names (impact/books/betas.py), the ejecta's velocities from
        the ground and from the secondary's centre: `normal_ground`, ..; along_track is net, boulders counted."""
        exchange, well = self.scenario.mass_exchange, self.well
        centred = exchange is not None and exchange.beta_frame == CENTRE
        betas = betas_of_lever(sure(self.lever), self.momentum_kg_m_s, centred)
        frames = (GROUND, CENTRE)
        found = {
            f"{name}_{frame}": betas.named(name, self.beta, frame)[well]
            for name in ("ejecta_axis", "normal", "magnitude")
            for frame in frames
        }
        return found | {"along_track": betas.named("along_track", self.beta)[well]}

    def beta_at(self, density_kg_m3: float) -> np.ndarray:
        """(k,) betas of the draws that count if the secondary had this density at its drawn volume, the velocity change
        as found."""
        mass = density_kg_m3 * self.volume_m3
        return sure(self.lever).beta(1e-3 * self.dv_mm_s, mass, self.momentum_kg_m_s)[self.well]


def _mean(values: np.ndarray, form: str) -> str:
    return f"{values.mean():{form}} +- {values.std():.2g}" if len(values) else "-"
