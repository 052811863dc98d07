"""Light missing in eclipses and occultations of two lumpy, spotted bodies, by rays that share no code with the package.

A body is star-shaped: r(d) = [(d_x/a)^2 + (d_y/b)^2 + (d_z/c)^2]^(-1/2) (1 + sum of h_k P_l(k)(axis_k . d)), d a unit
vector; its albedo is 1 but for round spots.  Scattering after Hapke 1981, J. Geophys. Res. 86, 3039, without opposition
surge, isotropic grains of albedo W: light towards the observer per ground area
mu mu0/(mu + mu0) H(mu) H(mu0), H(x) = (1 + 2x)/(1 + 2x sqrt(1 - W)); W = 0 is Lommel-Seeliger.
"""

import math

import numpy as np
from numba import njit

LUMPS, SPOTS = 6, 3
"""Rows of a body's table, besides its semi-axes: axis (3), height, degree; direction (3), cosine of radius, factor."""
SHAPE = 3 + 5 * LUMPS + 5 * SPOTS
_STEPS = 14


def body(semi_axes_m, random, lumps: float, spots: float) -> np.ndarray:
    """(SHAPE,) one body; lumps and spots: sd of relative heights and of relative albedos."""
    out = np.zeros(SHAPE)
    out[:3] = semi_axes_m
    rows = out[3 : 3 + 5 * LUMPS].reshape(LUMPS, 5)
    rows[:, :3] = _directions(random, LUMPS)
    rows[:, 4] = random.integers(2, 6, LUMPS)
    rows[:, 3] = lumps * random.standard_normal(LUMPS) / np.sqrt(rows[:, 4])
    rows = out[3 + 5 * LUMPS :].reshape(SPOTS, 5)
    rows[:, :3] = _directions(random, SPOTS)
    rows[:, 3] = np.cos(np.radians(random.uniform(15.0, 45.0, SPOTS)))
    rows[:, 4] = np.clip(1.0 + spots * random.standard_normal(SPOTS), 0.3, 2.0)
    return out


def _directions(random, count: int) -> np.ndarray:
    v = random.standard_normal((count, 3))
    return v / np.linalg.norm(v, axis=1)[:, None]


@njit(cache=False)
def radius(shape, x, y, z):
    """Of the surface in the direction of (x, y, z), any length."""
    size = math.sqrt(x * x + y * y + z * z)
    x, y, z = x / size, y / size, z / size
    bump = 1.0
    for k in range(LUMPS):
        at = 3 + 5 * k
        t = shape[at] * x + shape[at + 1] * y + shape[at + 2] * z
        low, high = 1.0, t
        for n in range(1, int(shape[at + 4])):
            low, high = high, ((2 * n + 1) * t * high - n * low) / (n + 1)
        bump += shape[at + 3] * high
    return bump / math.sqrt((x / shape[0]) ** 2 + (y / shape[1]) ** 2 + (z / shape[2]) ** 2)


@njit(cache=False)
def above(shape, x, y, z):
    """Height over the surface, along the radius."""
    return math.sqrt(x * x + y * y + z * z) - radius(shape, x, y, z)


@njit(cache=False)
def top(shape, p, d, reach):
    """Largest s at which p + s d, d a unit vector, enters the body from outside; nan: it passes by."""
    along = -(p[0] * d[0] + p[1] * d[1] + p[2] * d[2])
    off = p[0] * p[0] + p[1] * p[1] + p[2] * p[2] - along * along
    if off >= reach * reach:
        return math.nan
    half = math.sqrt(reach * reach - off)
    low, lowest = along, math.inf
    for i in range(9):
        s = along + half * (1.0 - 0.25 * i)
        h = above(shape, p[0] + s * d[0], p[1] + s * d[1], p[2] + s * d[2])
        if h < 0.0:
            low, lowest = s, h
            break
    if not lowest < 0.0:
        return math.nan
    high = low + 0.25 * half
    for _ in range(_STEPS):
        s = 0.5 * (low + high)
        if above(shape, p[0] + s * d[0], p[1] + s * d[1], p[2] + s * d[2]) < 0.0:
            low = s
        else:
            high = s
    return 0.5 * (low + high)


@njit(cache=False)
def albedo(shape, x, y, z):
    size, out = math.sqrt(x * x + y * y + z * z), 1.0
    for k in range(SPOTS):
        at = 3 + 5 * LUMPS + 5 * k
        if shape[at] * x + shape[at + 1] * y + shape[at + 2] * z > shape[at + 3] * size:
            out *= shape[at + 4]
    return out


@njit(cache=False)
def normal(shape, x, y, z):
    """Outward unit vector, by differences."""
    step = 0.01 * shape[2]
    gx = above(shape, x + step, y, z) - above(shape, x - step, y, z)
    gy = above(shape, x, y + step, z) - above(shape, x, y - step, z)
    gz = above(shape, x, y, z + step) - above(shape, x, y, z - step)
    size = math.sqrt(gx * gx + gy * gy + gz * gz)
    return gx / size, gy / size, gz / size


@njit(cache=False)
def scattered(mu, mu0, grain):
    """Light of a unit of ground."""
    g = math.sqrt(1.0 - grain)
    return mu * mu0 / (mu + mu0) * (1.0 + 2.0 * mu) / (1.0 + 2.0 * mu * g) * (1.0 + 2.0 * mu0) / (1.0 + 2.0 * mu0 * g)


@njit(cache=False)
def missing(shape1, shape2, axes1, axes2, centre1, centre2, line, other, is_eclipse, grain, count, reach1, reach2):
    """Light missing from the body that is behind as seen along `line`, of epochs (m,): m2 at albedo 1.

    axes (m, 3, 3): columns are a body's axes; line (m, 3): to the Sun in an eclipse, to the observer in an occultation,
    other: the other of both.  count^2 rays over a square about the secondary.
    """
    out = np.zeros(len(line))
    for m in range(len(line)):
        l, o = line[m], other[m]
        u = np.array([l[1], -l[0], 0.0])
        u /= math.sqrt(u[0] ** 2 + u[1] ** 2)
        v = np.array([l[1] * u[2] - l[2] * u[1], l[2] * u[0] - l[0] * u[2], l[0] * u[1] - l[1] * u[0]])
        apart = centre2[m] - centre1[m]
        x, y = apart @ u, apart @ v
        if x * x + y * y > (reach1 + reach2) ** 2:
            continue
        front = apart @ l > 0.0
        back_shape, front_shape = (shape1, shape2) if front else (shape2, shape1)
        back_axes, front_axes = (axes1[m], axes2[m]) if front else (axes2[m], axes1[m])
        back, ahead = (centre1[m], centre2[m]) if front else (centre2[m], centre1[m])
        back_reach, front_reach = (reach1, reach2) if front else (reach2, reach1)
        lb, lf, ob, of = l @ back_axes, l @ front_axes, o @ back_axes, o @ front_axes
        cell = 2.0 * reach2 / count
        total = 0.0
        for i in range(count):
            for j in range(count):
                place = centre2[m] + (-reach2 + (i + 0.5) * cell) * u + (-reach2 + (j + 0.5) * cell) * v
                p = (place - back) @ back_axes
                s = top(back_shape, p, lb, back_reach)
                if math.isnan(s) or math.isnan(top(front_shape, (place - ahead) @ front_axes, lf, front_reach)):
                    continue
                gx, gy, gz = p[0] + s * lb[0], p[1] + s * lb[1], p[2] + s * lb[2]
                nx, ny, nz = normal(back_shape, gx, gy, gz)
                along, across = nx * lb[0] + ny * lb[1] + nz * lb[2], nx * ob[0] + ny * ob[1] + nz * ob[2]
                if along < 0.02 or across <= 0.0:
                    continue
                if is_eclipse:  # ground that the other body hides is left to the occultation
                    ground = back + back_axes @ np.array([gx, gy, gz])
                    hidden = top(front_shape, (ground - ahead) @ front_axes, of, front_reach)
                    if not math.isnan(hidden) and hidden > 0.0:
                        continue
                mu, mu0 = (across, along) if is_eclipse else (along, across)
                total += scattered(mu, mu0, grain) * albedo(back_shape, gx, gy, gz) / along
        out[m] = total * cell * cell
    return out
