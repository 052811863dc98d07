"""Hits worked out by the hundred against the same hits one by one, where flight, site and axes lie along each other."""

import numpy as np
import pytest
from short_sweeps import PAIR, scenario

from binarydyn.batch import prepared
from binarydyn.batch.ellipsoids import Ellipsoids
from binarydyn.batch.summary import summary_rows
from binarydyn.ensembles import rows_of
from binarydyn.impact import axes_of, hits
from binarydyn.impact.frame import aim_axes, tilted
from binarydyn.impact.hits import arrivals
from binarydyn.impact.momentum import ejecta_momentum, momentum_audit
from binarydyn.relaxed import build
from binarydyn.sampling import Grid
from binarydyn.scenario import example
from binarydyn.scenario.side_by_side import Varied

COMPONENTS = ("along_track", "radial", "normal")
SIDES = [-1.0, 0.0, 1.0]
FLIGHT = """
[impactor]
mass_kg = 480.0
speed_km_s = 5.4
direction = {along_track = -1.0}
grazing_deg = 90.0
"""
SITE = "site = {longitude_deg = 0.0, latitude_deg = 0.0}\n"
BETA, ROCK = "[momentum_transfer]\nbeta = 2.2\n", '[momentum_transfer]\nmaterial = {name = "weakly_cemented_basalt"}\n'
NAMED = BETA + "ejecta_direction = {along_track = 1.0}\n"
DIRECTIONS = {f"impactor.direction.{part}": SIDES for part in COMPONENTS}
AIMS = {f"impactor.aim_offset_m.{k}": [-20.0, 0.0, 20.0] for k in range(2)}
SITES = {"impactor.site.longitude_deg": [-90.0, 0.0, 90.0, 180.0], "impactor.site.latitude_deg": [-90.0, 0.0, 90.0]}
TILTS = {"momentum_transfer.ejecta_tilt_deg": [0.0, 10.0], "momentum_transfer.ejecta_tilt_azimuth_deg": [0.0, 90.0]}
NAMES = {f"momentum_transfer.ejecta_direction.{part}": SIDES for part in COMPONENTS}
CASES = {
    "aim": (FLIGHT + BETA, DIRECTIONS | AIMS | TILTS),
    "site": (FLIGHT + SITE + BETA, DIRECTIONS | SITES | TILTS),
    "material": (FLIGHT + SITE + ROCK, DIRECTIONS | SITES | TILTS),
    "named ejecta": (FLIGHT + SITE + NAMED, SITES | NAMES),
    "named ejecta of a material": (FLIGHT + SITE + ROCK + "ejecta_direction = {along_track = 1.0}\n", SITES | NAMES),
}


@pytest.mark.parametrize("name", CASES)
def test_axis_aligned_hits_are_the_same_alone_and_together(name, monkeypatch):
    """Every combination along the axes: status, sentence, velocity change and period of both paths.

    Pushes agree to rounding.  A velocity change that differs by 1e-15 of 1 mm/s moves a period by 1e-11 s; 1e-6 s
    leaves room.
    """
    text, keys = CASES[name]
    given, design = scenario(PAIR + text), Grid.of(keys)
    members = np.arange(len(design))
    together = summary_rows(given, design, members)
    monkeypatch.setattr(prepared, "_side_by_side", lambda *_: False)
    alone = summary_rows(given, design, members)
    assert together.status.tolist() == alone.status.tolist() and together.reason.tolist() == alone.reason.tolist()
    assert np.sum(alone.status == "completed") >= 18
    for column in ("along_track_dv_mm_s", "radial_dv_mm_s", "normal_dv_mm_s", "beta", "incidence_deg"):
        assert together.numbers[column] == pytest.approx(alone.numbers[column], abs=1e-9, nan_ok=True), column
    change = alone.numbers["period_change_s"]
    assert together.numbers["period_change_s"] == pytest.approx(change, abs=1e-6, nan_ok=True)


def test_full_and_brief_rows_of_a_hit_down_the_pole_agree():
    """Ejecta tilted from a flight along the secondary's z axis onto its pole: only its x axis says where azimuth 0 is.

    The splitting errs by 0.04 s at most in regular motion.
    """
    given = scenario(PAIR + FLIGHT + BETA + "ejecta_tilt_deg = 10.0\n")
    design = Grid.of({"impactor.direction.along_track": [0.0], "impactor.direction.normal": [-1.0, 1.0]})
    summary = summary_rows(given, design, np.arange(2)).numbers["period_change_s"]
    full = [row.numbers["period_change_s"] for row in rows_of(given, design, 1)]
    assert np.abs(full).min() > 1.0
    assert summary == pytest.approx(full, abs=0.04)


def test_azimuth_counts_from_the_x_axis_on_the_pole():
    """The last of three directions along the ground: of the flight, of the secondary's z axis, of its x axis.

    For all eight attitudes and a flight along the pole the axis leans by the tilt, towards x at azimuth 0.
    """
    random = np.random.default_rng(5)
    for _ in range(8):
        body, _ = np.linalg.qr(random.normal(size=(3, 3)))
        body *= np.linalg.det(body)
        for sign in (-1.0, 1.0):
            normal = sign * body[:, 2]
            axis = tilted(normal, -normal, body, 25.0, 0.0)
            expected = np.cos(np.radians(25.0)) * normal + np.sin(np.radians(25.0)) * body[:, 0]
            assert np.allclose(axis, expected, atol=1e-15)
            along = tilted(body[:, 0], -body[:, 0], body, 25.0, 0.0)
            assert np.allclose(along @ body, [np.cos(np.radians(25.0)), 0.0, np.sin(np.radians(25.0))], atol=1e-15)


def test_one_and_many_have_the_same_bits():
    """A column of an array (3, n) is worked out as a vector (3,) alone."""
    random = np.random.default_rng(2)
    r, v = random.normal(size=(2, 3, 9))
    body = np.stack([np.linalg.qr(m)[0] for m in random.normal(size=(9, 3, 3))], axis=-1)
    axes, normal = axes_of(r, v), body[:, 2]
    # Along the orbit normal, straight down on the pole, and along the track.
    flight = np.concatenate([axes[2, :, :3], -normal[:, 3:6], axes[0, :, 6:]], axis=1)
    tilt, azimuth = random.uniform(0.0, 80.0, size=(2, 9))
    tilt[::2] = 0.0
    plane, leaning = aim_axes(axes, flight), tilted(normal, flight, body, tilt, azimuth)
    for k in range(9):
        one = axes_of(r[:, k], v[:, k])
        assert np.array_equal(one, axes[..., k])
        assert np.array_equal(aim_axes(one, flight[:, k]), plane[..., k])
        assert np.array_equal(tilted(normal[:, k], flight[:, k], body[..., k], tilt[k], azimuth[k]), leaning[:, k])


def test_a_hit_among_many_has_the_bits_that_it_has_alone():
    """Site, incidence, axis of the ejecta, beta and state after: of every column of nine, and of it by itself."""
    given, system = scenario(PAIR + FLIGHT + BETA + "ejecta_tilt_deg = 10.0\n"), build(example())
    random, n = np.random.default_rng(4), 9
    aims = {f"impactor.aim_offset_m.{k}": random.uniform(-40.0, 40.0, n) for k in range(2)}
    aims["impactor.aim_offset_m.0"][4] = 300.0
    columns = {f"impactor.direction.{part}": random.normal(size=n) for part in COMPONENTS} | aims
    moonlets = Ellipsoids(np.array([[70.0, 61.5, 48.0]] * n).T + random.uniform(0.0, 3.0, (3, n)), np.full(n, 3120.0))
    y = np.repeat(system.state.vector[:, None], n, axis=1)
    together = hits(Varied(given, columns, n), system.primary, moonlets, y)
    assert set(together.status) == {"hit", "miss"} and np.sum(together.status == "hit") > 3
    for k in range(n):
        own = Varied(given, {name: values[[k]] for name, values in columns.items()}, 1)
        alone = hits(own, system.primary, moonlets.some(np.array([k])), y[:, :1])
        for name in ("y", "dv_mm_s", "beta", "incidence_deg", "status", "reason"):
            one, many = getattr(alone, name), getattr(together, name)
            assert np.array_equal(one[..., 0], many[..., k], equal_nan=one.dtype != object), name


def test_the_books_of_many_hits_balance():
    """Momentum, angular momentum and energy before and after, worked out anew from the states (momentum_audit).

    To rounding of what a state holds; the same states with a turned spin leave an angular residual.
    """
    random, n, system = np.random.default_rng(6), 50, build(example())
    given = Varied(example(), {f"impactor.aim_offset_m.{k}": random.uniform(-20.0, 20.0, n) for k in range(2)}, n)
    moonlets = Ellipsoids(np.array([[70.0, 61.5, 48.0]] * n).T, random.uniform(2000.0, 4000.0, n))
    y = np.repeat(system.state.vector[:, None], n, axis=1)
    y[17:20] += random.normal(0.0, 1e-4, (3, n))
    found = arrivals(given, system.primary, moonlets, y)
    beta, after = found.beta(moonlets.mass_kg), hits(given, system.primary, moonlets, y).y
    thrown = ejecta_momentum(found.brought_kg_m_s, beta, found.ejecta)
    books = [found.brought_kg_m_s, thrown, found.sites.point_m]
    audit = momentum_audit(system.primary, moonlets, y, after, *books)
    for name in ("linear_residual", "angular_residual", "energy_residual"):
        assert getattr(audit, name).shape == (n,) and getattr(audit, name).max() < 1e-14, name
    after[18] += 1e-8
    assert momentum_audit(system.primary, moonlets, y, after, *books).angular_residual.min() > 1e-9
