"""Measured light of a pair: magnitudes with errors, when, through which filter, by whom and in which night.

Magnitudes are those of both bodies together, of any zero point: one for each filter, observer and night is unknown.
Red noise is common to what one observer sees in one night, through all filters.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from ..timing.mid_times import groups_of

SIGMA_MAG = (1e-5, 1.0)
"""Allowed, mag: no photometry is better, and beyond it light is not measured."""
ZERO_POINT_SIGMA_MAG = 10.0
"""Of a zero point before anything is measured: any."""
MAG_OF_SHARE = 2.5 / np.log(10.0)
"""Magnitudes for a relative change of the flux."""


@dataclass(frozen=True)
class MeasuredLight:
    """m points, arrays (m,): time_s at the system, s from t0 (TDB), magnitude and its one sigma, filter and observer
    (texts), night (a text or a number).  line: where each stands in its file, else None."""

    time_s: np.ndarray
    magnitude: np.ndarray
    sigma_mag: np.ndarray
    filter: np.ndarray
    observer: np.ndarray
    night: np.ndarray
    line: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def run(self) -> np.ndarray:
        """(m,) numbers: the same for what one observer sees in one night."""
        return groups_of(_numbered(self.night), self.observer)

    @property
    def zero_point(self) -> np.ndarray:
        """(m,) numbers 0, 1, ..: the same for one filter, observer and night."""
        return groups_of(self.run, self.filter)

    @property
    def zero_point_columns(self) -> np.ndarray:
        """(m, z) one sigma of each zero point, magnitudes."""
        which = self.zero_point
        return ZERO_POINT_SIGMA_MAG * (which[:, None] == np.arange(which.max() + 1))

    def chosen(self, which: np.ndarray) -> MeasuredLight:
        """Some of them."""
        columns = {field.name: getattr(self, field.name) for field in fields(self)}
        return replace(self, **{name: column[which] for name, column in columns.items() if column is not None})

    def moved(self, by_mag: np.ndarray) -> MeasuredLight:
        """The same, fainter by so much (m,)."""
        return replace(self, magnitude=self.magnitude + by_mag)

    def sorted(self) -> MeasuredLight:
        """The same in the order of time."""
        return self.chosen(np.argsort(self.time_s, kind="stable"))


def _numbered(labels: np.ndarray) -> np.ndarray:
    return np.unique(labels, return_inverse=True)[1].ravel()


def magnitudes_of(flux: np.ndarray, sigma_flux: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(m,) magnitudes and their one sigma from fluxes in any unit, which are above 0."""
    return -2.5 * np.log10(flux), MAG_OF_SHARE * sigma_flux / flux
