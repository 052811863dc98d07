"""What a crater throws out, how fast and how much of it, by the point-source scaling of Housen & Holsapple 2011.

Icarus 211, 856.  With a, delta, m, U the radius, density, mass and speed of the impactor and rho, Y, g the ground's
density, strength and gravity, launched at x from n1 a to n2 R from the centre:

    v(x)/U = C1 [(x/a) (rho/delta)^nu]^(-1/mu) (1 - x/(n2 R))^p
    M(<x)/m = (3 k/4 pi) (rho/delta) [(x/a)^3 - n1^3]
    R (rho/m)^(1/3) = H2 (rho/delta)^((1-3nu)/3) (Y/(rho U^2))^(-mu/2)                           strength
    R (rho/m)^(1/3) = H1 (rho/delta)^((2+mu-6nu)/(3(2+mu))) (g a/U^2)^(-mu/(2+mu))               gravity

Every number may be an array (n,) of draws.  Valid for a vertical impact, faster than sound in the ground, on flat and
even ground that reaches much farther than the crater.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

import numpy as np

from ..scenario import Material

Numbers = float | np.ndarray
_NEWTON_STEPS = 40
_NODES = 48


@dataclass(frozen=True)
class GroundMaterial:
    """Parameters of the scaling; h1 is nan without a gravity regime, h2 and strength_Pa without a strength regime."""

    mu: Numbers
    nu: Numbers
    k: Numbers
    c1: Numbers
    h1: Numbers
    h2: Numbers
    n1: Numbers
    n2: Numbers
    p: Numbers
    density_kg_m3: Numbers
    strength_Pa: Numbers

    @classmethod
    def of(cls, material: Material) -> GroundMaterial:
        """As a scenario gives it."""
        values = {name: getattr(material, name) for name in cls.__dataclass_fields__}
        return cls(**{name: np.nan if value is None else value for name, value in values.items()})

    @classmethod
    def named(cls, name: str) -> GroundMaterial:
        """A row of the table of materials."""
        return cls.of(Material.model_validate({"name": name}))


@dataclass(frozen=True)
class Blow:
    """What strikes the ground: a ball straight down, under the gravity of the place."""

    mass_kg: Numbers
    radius_m: Numbers
    density_kg_m3: Numbers
    speed_m_s: Numbers
    gravity_m_s2: Numbers


@dataclass(frozen=True)
class Crater:
    """What a blow makes of the ground; `outermost` and `innermost` are launch places, m from the centre.

    by_strength: which regime governs, the one with the smaller crater: what stops it first.
    """

    ground: GroundMaterial
    blow: Blow
    radius_m: Numbers
    by_strength: bool | np.ndarray

    @classmethod
    def of(cls, ground: GroundMaterial, blow: Blow) -> Crater:
        """The crater of a blow."""
        strength, gravity = strength_radius_m(ground, blow), gravity_radius_m(ground, blow)
        by_strength = np.isnan(gravity) | (strength < gravity)
        return cls(ground, blow, np.where(by_strength, strength, gravity)[()], by_strength)

    @property
    def innermost_m(self) -> Numbers:
        """n1 a, but nothing is thrown out of a crater that is no larger than that."""
        return np.minimum(self.ground.n1 * self.blow.radius_m, self.outermost_m)

    @property
    def outermost_m(self) -> Numbers:
        """n2 R."""
        return self.ground.n2 * self.radius_m

    @property
    def launched_kg(self) -> Numbers:
        """All that is thrown out."""
        return self.mass_within_kg(self.outermost_m)

    def launch_speed_m_s(self, x_m: Numbers) -> Numbers:
        """v(x); 0 at the rim unless p is 0."""
        g, near = self.ground, np.maximum(1.0 - x_m / self.outermost_m, 0.0)
        return self.blow.speed_m_s * g.c1 * (x_m / self.blow.radius_m * self._ratio**g.nu) ** (-1.0 / g.mu) * near**g.p

    def mass_within_kg(self, x_m: Numbers) -> Numbers:
        """What is launched inside of x."""
        scale = 3.0 * self.ground.k / (4.0 * pi) * self._ratio * self.blow.mass_kg / self.blow.radius_m**3
        return scale * (x_m**3 - self.innermost_m**3)

    def reach_m(self, escape_speed_m_s: Numbers) -> Numbers:
        """The launch place within which the speed is above the escape speed: v falls all the way outwards."""
        g, out = self.ground, self.outermost_m
        with np.errstate(divide="ignore"):
            excess = np.log(self.blow.speed_m_s * g.c1) - np.log(escape_speed_m_s)
        excess = excess - np.log(out / self.blow.radius_m * self._ratio**g.nu) / g.mu
        return np.clip(out * _place(excess, 1.0 / g.mu, g.p), self.innermost_m, out)

    def momentum_kg_m_s(self, escape_speed_m_s: Numbers, far_away: bool = False) -> Numbers:
        """Sum of speed times mass over what is faster than the escape speed, without regard to direction.

        far_away: of sqrt(v^2 - v_esc^2), what is left of the speed, by quadrature.
        """
        reach = self.reach_m(escape_speed_m_s)
        return self._left_over(reach, escape_speed_m_s) if far_away else self._at_launch(reach)

    def _at_launch(self, reach_m: Numbers) -> Numbers:
        """int v dM = (9k/4pi) m U C1 (rho/delta)^(1-nu/mu) X^(3-1/mu) int y^(2-1/mu) (1-y)^p dy, y = x/(n2 R) and
        X = n2 R/a: an incomplete beta function."""
        from scipy.special import beta, betainc

        g, blow, out = self.ground, self.blow, self.outermost_m
        one, two = 3.0 - 1.0 / g.mu, g.p + 1.0
        share = (betainc(one, two, reach_m / out) - betainc(one, two, self.innermost_m / out)) * beta(one, two)
        scale = 9.0 * g.k / (4.0 * pi) * g.c1 * self._ratio ** (1.0 - g.nu / g.mu)
        return blow.mass_kg * blow.speed_m_s * scale * (out / blow.radius_m) ** one * share

    def _left_over(self, reach_m: Numbers, escape_speed_m_s: Numbers) -> Numbers:
        total: Numbers = 0.0
        for x, mass in self.launches(reach_m):
            total = total + mass * np.sqrt(np.maximum(self.launch_speed_m_s(x) ** 2 - escape_speed_m_s**2, 0.0))
        return total

    def launches(self, reach_m: Numbers) -> Iterator[tuple[Numbers, Numbers]]:
        """Places inside of a reach and the masses launched there: nodes and weights of sums over what is launched.

        Gauss-Legendre in s, x = reach (n1 a/reach)^(s^2), which takes a root of the speed at the reach away.
        """
        nodes, weights = np.polynomial.legendre.leggauss(_NODES)
        span = np.log(reach_m / np.maximum(self.innermost_m, 1e-9 * reach_m))
        scale = 9.0 * self.ground.k / (4.0 * pi) * self._ratio * self.blow.mass_kg / self.blow.radius_m**3
        for s, weight in zip(0.5 * (nodes + 1.0), 0.5 * weights, strict=True):
            x = reach_m * np.exp(-span * s**2)
            yield x, scale * weight * x**3 * 2.0 * s * span

    @property
    def _ratio(self) -> Numbers:
        return self.ground.density_kg_m3 / self.blow.density_kg_m3


def strength_radius_m(g: GroundMaterial, blow: Blow) -> Numbers:
    """R where the ground's strength ends the crater; nan without a strength."""
    ratio, size = g.density_kg_m3 / blow.density_kg_m3, (blow.mass_kg / g.density_kg_m3) ** (1.0 / 3.0)
    stress = g.strength_Pa / (g.density_kg_m3 * blow.speed_m_s**2)
    return g.h2 * size * ratio ** ((1.0 - 3.0 * g.nu) / 3.0) * stress ** (-g.mu / 2.0)


def gravity_radius_m(g: GroundMaterial, blow: Blow) -> Numbers:
    """R where the weight of the ground ends the crater; nan without h1."""
    ratio, size = g.density_kg_m3 / blow.density_kg_m3, (blow.mass_kg / g.density_kg_m3) ** (1.0 / 3.0)
    exponent = (2.0 + g.mu - 6.0 * g.nu) / (3.0 * (2.0 + g.mu))
    weight = blow.gravity_m_s2 * blow.radius_m / blow.speed_m_s**2
    return g.h1 * size * ratio**exponent * weight ** (-g.mu / (2.0 + g.mu))


def _place(excess: Numbers, steep: Numbers, p: Numbers) -> Numbers:
    """y in (0, 1] with -steep ln y + p ln(1 - y) + excess = 0; 1 where the left side stays above 0 (p = 0).

    Newton's method in w = ln(y/(1-y)), where the left side falls and is convex, straight at both ends (steep > p), so
    that it converges from anywhere.
    """
    from scipy.special import expit, log_expit

    excess, steep, p = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in (excess, steep, p)))
    w = excess / steep
    known = np.isfinite(excess) & (p > 0.0)
    w = np.where(known, w, 0.0)
    for _ in range(_NEWTON_STEPS):
        value = -steep * log_expit(w) + p * log_expit(-w) + excess
        slope = -steep * expit(-w) - p * expit(w)
        w = np.where(known, w - np.where(known, value, 0.0) / slope, w)
    free = np.where(np.isposinf(excess), 1.0, np.exp(np.minimum(excess / steep, 0.0)))
    return np.where(known, expit(w), free)[()]
