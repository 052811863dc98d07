"""Magnitudes from the light of a pair by two scattering laws, and what is not known of its surfaces.

Real ground lies between Lommel-Seeliger and Lambert: F = F0/<F0> + c (F1/<F1> - F0/<F0>), each law over its own mean so
that c mixes shapes of light curves, not levels.  What c, the albedos of both bodies, the phase function and the
distances may be adds columns of one sigma to the noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .measured_light import MAG_OF_SHARE, MeasuredLight
from .pair_light import PairLight

LAW, LAW_SIGMA = 0.5, 0.5
"""c, and one sigma of it: as much as is not known (timing has the same for its middles)."""
ALBEDO_SIGMA = 0.05
"""One sigma of the logarithm of the albedo of the secondary over the primary's: spectra and colours of both bodies of a
pair agree (common practice)."""
SLOPE_SIGMA_MAG_DEG = 0.03
"""One sigma of a phase function's slope: that of most asteroids between 10 and 60 deg of phase (common practice)."""
CAUSES = ("scattering law", "albedo ratio", "phase slope", "distances")


@dataclass(frozen=True)
class TwoLaws:
    """level_m2 (2,): mean light by law; share: c; zero_point (m,): numbers of zero points, over each of which
    magnitudes are centred."""

    level_m2: np.ndarray
    zero_point: np.ndarray
    share: float = LAW

    @classmethod
    def about(cls, light: PairLight, zero_point: np.ndarray) -> TwoLaws:
        """With the levels of one member."""
        return cls(light.whole_m2[0].sum(axis=1).mean(axis=0), zero_point)

    def magnitudes(self, flux_m2: np.ndarray, share: float | None = None) -> np.ndarray:
        """(n, m), centred, from fluxes (n, m, 2) by law; share: another c."""
        c = self.share if share is None else share
        return self.centred(-2.5 * np.log10(flux_m2 / self.level_m2 @ np.array([1.0 - c, c])))

    def centred(self, magnitude: np.ndarray) -> np.ndarray:
        """Magnitudes (.., m) less their mean over each zero point."""
        count = np.bincount(self.zero_point)
        rows = np.atleast_2d(magnitude)
        sums = np.array([np.bincount(self.zero_point, row, len(count)) for row in rows])
        return magnitude - (sums / count)[:, self.zero_point].reshape(magnitude.shape)

    def columns(self, light: PairLight, phase_deg: np.ndarray, distance_mag: np.ndarray) -> np.ndarray:
        """(m, 4) one sigma of each of CAUSES, magnitudes, about one member; phase angles and 5 log10 of both distances
        (m,).

        The distances as a whole are one sigma, so that reduced and apparent magnitudes may both be given.
        """
        flux = light.flux()
        law = LAW_SIGMA * (self.magnitudes(flux, 1.0) - self.magnitudes(flux, 0.0))[0]
        left = (light.whole_m2 - light.missing_m2)[0] / self.level_m2 @ np.array([1.0 - self.share, self.share])
        albedo = -ALBEDO_SIGMA * MAG_OF_SHARE * left[:, 1] / left.sum(axis=1)
        given = [law, albedo, SLOPE_SIGMA_MAG_DEG * phase_deg, distance_mag]
        return np.column_stack([self.centred(column) for column in given])


def with_zero_points(light: MeasuredLight, columns: np.ndarray) -> np.ndarray:
    """(m, z + k): those of the zero points, and others."""
    return np.hstack([light.zero_point_columns, columns])
