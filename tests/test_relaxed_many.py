"""Relaxed states side by side: those of the search for one system, whatever is given and however far pairs differ."""

from dataclasses import replace

import numpy as np
import pytest

from binarydyn.batch.ellipsoids import Ellipsoids
from binarydyn.bodies import Ellipsoid
from binarydyn.dynamics.displacement import FREE, displaced
from binarydyn.dynamics.shooting import PAIR, change
from binarydyn.motion.layout import ATTITUDE1, ATTITUDE2, LANES, RATE1, SIZE
from binarydyn.relaxed.asked import StartKey
from binarydyn.relaxed.circular import Wanted
from binarydyn.relaxed.newton import ACCEPTED, PairColumns
from binarydyn.relaxed.periodic import find, find_all
from binarydyn.scenario import example
from binarydyn.vectors import quaternion_product

COUNT = 12
ARRAYS = ("constants", "coefficients", "flattening_m2")


def pairs(spread: float, degree: int = 4):
    """PairColumns about the built-in one and what they must have, each number off by a share of it."""
    random = np.random.default_rng(5)
    bodies = []
    for axes in ((271.0, 262.0, 246.0), (70.0, 61.5, 48.0)):
        sizes = np.array(axes)[:, None] * (1.0 + spread * random.standard_normal((3, COUNT)))
        density = 3120.0 * (1.0 + spread * random.standard_normal(COUNT))
        bodies.append(Ellipsoids(-np.sort(-sizes, axis=0), density))
    given = np.array([2.0 * np.pi / 7308.0, 821.0, 2.0 * np.pi / 37512.0])[:, None]
    spin, separation, rate = given * (1.0 + spread * random.standard_normal((3, COUNT)))
    return bodies, PairColumns.of(*bodies, degree), spin, random.uniform(-3.0, 3.0, COUNT), separation, rate


@pytest.mark.parametrize("unknown", ["mass_factor", "separation_m", "rate_rad_s"])
@pytest.mark.parametrize("spread", [0.01, 0.1])
def test_relaxed_states_are_those_of_each_pair(unknown, spread):
    """Both searches end below 1e-10 of a residual; ten times that in units of distance, speed and rates."""
    bodies, both, spin, phase, separation, rate = pairs(spread)
    asked = {"mass_factor": np.ones(COUNT), "separation_m": separation, "rate_rad_s": rate} | {unknown: None}
    found = find_all(both, Wanted(spin, phase, **asked))
    assert found.found.all() and found.residual.max() < ACCEPTED
    for i in range(COUNT):
        one, two = (Ellipsoid(tuple(b.semi_axes_m[:, i]), b.density_kg_m3[i]) for b in bodies)
        own = {name: None if values is None else float(values[i]) for name, values in asked.items()}
        orbit = find(one, two, 4, Wanted(float(spin[i]), float(phase[i]), **own))
        scale = np.repeat(orbit.scale[[0, 3, 6, 9, 12, 15]], (3, 3, 4, 3, 4, 3))
        assert np.abs((orbit.state.vector - found.y[:, i]) / scale).max() < 1e-9
        ours = (found.mass_factor[i], found.separation_m[i], found.rate_rad_s[i])
        assert ours == pytest.approx((orbit.mass_factor, orbit.separation_m, orbit.rate_rad_s), rel=1e-9)


def test_a_pair_that_does_not_relax_leaves_the_others_their_bits():
    """A primary that turns with the orbit has no short turn; its neighbours do not notice."""
    _, both, spin, phase, separation, rate = pairs(0.03)
    asked = {"mass_factor": None, "separation_m": separation, "rate_rad_s": rate}
    alone = find_all(both, Wanted(spin, phase, **asked))
    locked = spin.copy()
    locked[4] = rate[4]
    among = find_all(both, Wanted(locked, phase, **asked))
    others = np.arange(COUNT) != 4
    assert alone.found.all() and among.found.tolist() == others.tolist()
    assert np.array_equal(among.y[:, others], alone.y[:, others])
    assert np.array_equal(among.rate_rad_s[others], alone.rate_rad_s[others])


@pytest.mark.parametrize("half", [False, True])
def test_a_displacement_is_read_as_it_was_made(half):
    """Arrays make it, a kernel in lanes reads it: equal but for the cube of the turns, from any attitude, for a primary
    that stands half a turn on, and whichever of its two quaternions an attitude has."""
    random, lane, sense = np.random.default_rng(3), 5, -1.0
    for _ in range(20):
        y, move = random.standard_normal(SIZE), 1e-4 * random.standard_normal(FREE)
        for q in (ATTITUDE1, ATTITUDE2):
            y[q] /= np.linalg.norm(y[q])
        ahead = y.copy()
        if half:
            ahead[ATTITUDE1] = quaternion_product(*y[ATTITUDE1], 0.0, 0.0, 0.0, sense)
            ahead[RATE1] *= (-1.0, -1.0, 1.0)
        w, kept, out = np.zeros(SIZE * LANES), np.zeros((PAIR + 1) * LANES), np.zeros(FREE)
        kept[lane : SIZE * LANES : LANES] = y
        w[lane::LANES] = displaced(ahead, move)
        w[np.arange(SIZE)[ATTITUDE2] * LANES + lane] *= random.choice((-1.0, 1.0))
        change(w, kept, lane, half, sense, out)
        assert out == pytest.approx(move, abs=1e-11)


@pytest.mark.parametrize("unknown", ["mass_factor", "separation_m", "rate_rad_s"])
def test_one_pair_has_the_bits_that_it_has_among_many(unknown):
    """One search serves both, so states, maps and all else of it are equal, not close."""
    bodies, both, spin, phase, separation, rate = pairs(0.03)
    asked = {"mass_factor": np.ones(COUNT), "separation_m": separation, "rate_rad_s": rate} | {unknown: None}
    many = find_all(both, Wanted(spin, phase, **asked), maps=True, whole=True)
    for i in range(COUNT):
        one = replace(both, **{name: getattr(both, name)[..., i : i + 1] for name in ARRAYS})
        own = {name: None if values is None else float(values[i]) for name, values in asked.items()}
        alone = vars(find_all(one, Wanted(float(spin[i]), float(phase[i]), **own), maps=True, whole=True))
        among = {name: value[i] if name == "return_map" else value[..., i] for name, value in vars(many).items()}
        assert all(np.array_equal(np.squeeze(alone[name]), among[name]) for name in among) and among["found"]


@pytest.mark.parametrize(
    "key, value, decides",
    [
        ("primary.semi_axes_m.2", 240.0, True),
        ("primary.rotation_phase_deg", 1.0, True),
        ("secondary.libration_amplitude_deg", 1.0, True),
        ("mutual_orbit.separation_m", 822.0, True),
        ("mutual_orbit.solve_for", "mass", True),
        ("simulation.tolerance", 1e-11, True),
        ("perturbations.mean_motion_rate_rad_s2", 1e-18, True),
        ("impactor.mass_kg", 501.0, False),
        ("momentum_transfer.beta", 3.0, False),
    ],
)
def test_what_decides_a_start_keeps_it_apart_and_nothing_else_does(key, value, decides):
    """Starts are kept for scenarios that agree in what decides them: one too few would give another pair's start."""
    base = example()
    other = base.replace({key: value})
    assert other[key] == value != base[key]
    assert (StartKey(base) != StartKey(other)) is decides
    assert StartKey(base) == StartKey(base.replace({})) and hash(StartKey(base)) == hash(StartKey(base.replace({})))
