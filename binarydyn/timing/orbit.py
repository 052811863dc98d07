"""How late events are against an orbit whose mean motion changes at t0 and that is an ellipse which turns evenly.

Mean longitude l on either side of t0: l(0) + n t + n' t^2/2.  The secondary's true longitude at an event, read off the
geometry (mid_times.py), is turned into a mean one by Kepler's equation of an ellipse whose apsides turn evenly:
eccentricity vector (h, k) = e (sin, cos) of the pericentre at t0.  2 pi/n is the mean *sidereal* period, that of
`estimates`.  The true longitude is continuous at t0, so both sides share it; n' and the turning are those of both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .mid_times import Readings
from .terms import INDEX

_LEAST_E = 1e-8
"""Below it the slopes along h and k are those of a circle, to rounding."""


def mean_longitude(true_rad: Any, h: float, k: float, turned_rad: np.ndarray | float = 0.0) -> Any:
    """Mean longitude on an ellipse from the true one, with whole turns kept; e = |(h, k)| below 1.

    M - f = -2 atan(b sin f / (1 + b cos f)) - e sin E, b = e / (1 + sqrt(1 - e^2)).
    """
    e = math.hypot(h, k)
    return _mean(true_rad, true_rad - math.atan2(h, k) - turned_rad, e)


def _mean(true_rad: Any, f: Any, e: Any) -> Any:
    b = e / (1.0 + np.sqrt(1.0 - e * e))
    less = 2.0 * np.arctan2(b * np.sin(f), 1.0 + b * np.cos(f))
    return true_rad - less - e * np.sin(f - less)


@dataclass(frozen=True)
class _Mean:
    """Mean longitude, and its derivatives with respect to the true one and to h and k; that to the turning is 1 less
    the first."""

    value: np.ndarray
    along: np.ndarray
    h: np.ndarray
    k: np.ndarray

    @classmethod
    def of(cls, true_rad: np.ndarray, h: np.ndarray, k: np.ndarray, turned_rad: np.ndarray | float) -> _Mean:
        """dM/df = (1 - e^2)^(3/2)/(1 + e cos f)^2, dM/de = -sqrt(1 - e^2) sin f (2 + e cos f)/(1 + e cos f)^2 (Kepler's
        equation, derived)."""
        e, where = np.hypot(h, k), np.arctan2(h, k)
        f = true_rad - where - turned_rad
        root, beyond = np.sqrt(1.0 - e * e), 1.0 + e * np.cos(f)
        along = root**3 / beyond**2
        stretch = -root * np.sin(f) * (1.0 + beyond) / beyond**2
        turn = np.where(e < _LEAST_E, 2.0 * np.cos(f), (1.0 - along) / np.maximum(e, _LEAST_E))
        sine, cosine = np.sin(where), np.cos(where)
        return cls(_mean(true_rad, f, e), along, stretch * sine + turn * cosine, stretch * cosine - turn * sine)


@dataclass(frozen=True)
class Counted:
    """Readings (n,) whose longitudes have their turns: counted_rad (n,), or (b, n) for several counts at once."""

    seen: Readings
    counted_rad: np.ndarray

    def of(self, which: np.ndarray | int) -> Counted:
        """Some of the counts, or one."""
        return replace(self, counted_rad=self.counted_rad[which])

    def late_s(self, x: np.ndarray) -> np.ndarray:
        """(.., n) O-C against orbits with parameters x (.., 9)."""
        return self.late_and_slopes(x)[0]

    def late_and_slopes(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same, and its derivatives (.., n, 9) with respect to the parameters."""
        after, time = self.seen.after, self.seen.time_s
        p = {name: x[..., i, None] for name, i in INDEX.items()}
        rate, h, k = (np.where(after, p[f"{c}_after"], p[f"{c}_before"]) for c in ("rate", "h", "k"))
        begin = _Mean.of(p["longitude"], h, k, 0.0)
        place = _Mean.of(self.counted_rad, h, k, p["apsidal_rate"] * time)
        pace = rate - self.seen.slide_rad_s
        late = (begin.value + rate * time + 0.5 * p["drift"] * time**2 - place.value) / pace
        own = {"rate": (time - late) / pace, "h": (begin.h - place.h) / pace, "k": (begin.k - place.k) / pace}
        slopes = {
            f"{c}_{side}": on * slope for side, on in (("after", after), ("before", ~after)) for c, slope in own.items()
        }
        slopes["longitude"] = begin.along / pace
        slopes["apsidal_rate"] = (place.along - 1.0) * time / pace - self.seen.turned_s
        slopes["drift"] = 0.5 * time**2 / pace
        return late - self.seen.turned_s * p["apsidal_rate"], np.stack([slopes[name] for name in INDEX], axis=-1)

    def line_s(self, x: np.ndarray) -> np.ndarray:
        """(n,) O-C against the mean motion alone, without the swing of the ellipses."""
        return self._against(x, np.where(self.seen.after, 1, 0), False)

    def before_s(self, x: np.ndarray) -> np.ndarray:
        """(n,) O-C against what holds before t0, as if it went on."""
        return self._against(x, np.zeros(len(self.seen.after), dtype=int), True)

    def _against(self, x: np.ndarray, side: np.ndarray, ellipse: bool) -> np.ndarray:
        """(n,) of the motion before (0) or after (1) t0."""
        sides = [INDEX[f"{c}_before"] for c in ("rate", "h", "k")], [INDEX[f"{c}_after"] for c in ("rate", "h", "k")]
        rate, h, k = x[np.array(sides)[side]].T
        time, turned = self.seen.time_s, x[INDEX["apsidal_rate"]] * self.seen.time_s
        begin = _Mean.of(x[INDEX["longitude"]], h, k, 0.0).value
        place = _Mean.of(self.counted_rad, h, k, turned).value if ellipse else self.counted_rad
        mean = begin + rate * time + 0.5 * x[INDEX["drift"]] * time**2
        return (mean - place) / (rate - self.seen.slide_rad_s)
