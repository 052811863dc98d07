"""Dips of light against closed forms of spheres, against differences of faceted light curves, and their definitions."""

from dataclasses import replace
from math import cos, pi, radians, sin

import numpy as np
import pytest
from meshes import lumpy
from test_events import R1, R2, A, FixedSky, circular
from test_light_curve import angle_iron

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.dynamics import simulate
from binarydyn.sky.dip_middles import centroid, folded, half_depth, minimum
from binarydyn.sky.dips import BOTH, DIP_LAWS, Dips, Guide, dips_like, dips_of
from binarydyn.sky.events import events
from binarydyn.sky.figure import mesh_of_ellipsoid
from binarydyn.sky.geometry import Sight
from binarydyn.sky.light_curve import light_curve_of
from binarydyn.sky.motion_between import MotionBetween

DEFINITIONS = ("centroid_s", "half_depth_s", "folded_s", "minimum_s")
GRAIN_S = 5.0
"""What 20000 facets leave of a middle: a facet is 1/60 of the secondary's outline, which moves by itself in 700 s."""
GRAIN = 0.02
"""Of a depth, likewise."""
RAYS_SHARE = 5e-3
"""By which 256 rays miss the light of what they cover."""


def sight_of(run, sun, seen):
    return Sight(FixedSky(sun, seen), run.time_s[0], run.time_s[-1])


def at_phase(degrees):
    """Lines to the Sun and to the observer a little above the orbit, so that no event is central."""
    half = radians(degrees) / 2.0
    return [cos(1.0 - half), sin(1.0 - half), 0.03], [cos(1.0 + half), sin(1.0 + half), -0.02]


@pytest.fixture(scope="module")
def spheres():
    return simulate(circular()[0], 1.5)


@pytest.fixture(scope="module")
def triaxial():
    return simulate(circular(Ellipsoid((400.0, 350.0, 300.0), 2300.0), Ellipsoid((140.0, 110.0, 90.0), 2300.0))[0], 1.2)


def test_central_dips_of_spheres_at_zero_phase(spheres):
    """Evenly bright discs (Lommel-Seeliger: pi r^2 / 2); Lambert: 2 pi/3 R^2 [1 - (1 - r^2/R^2)^(3/2)], the integral of
    the cosine over what is covered.  A dip is its own mirror image, so all definitions agree with the contacts.
    """
    line = [1.0, 0.0, 0.0]
    found = dips_of(spheres, sight_of(spheres, line, line))
    assert len(found) >= 4 and set(found.kind) == {BOTH} and set(found.body) == {"primary", "secondary"}
    for name in DEFINITIONS:
        late = getattr(found, name) - found.contacts_mid_s[:, None]
        assert np.abs(late).max() < (3.0 if name == "minimum_s" else 0.7), name
    cap = 2.0 * pi / 3.0 * R1**2 * (1.0 - (1.0 - (R2 / R1) ** 2) ** 1.5)
    for body, lambert in (("primary", cap), ("secondary", 2.0 * pi / 3.0 * R2**2)):
        wanted = [[0.5 * pi * R2**2, lambert]] * int(np.sum(found.body == body))
        np.testing.assert_allclose(found.depth_m2[found.body == body], wanted, rtol=RAYS_SHARE)
    wanted = (R1**2 + R2**2) * np.array([[0.5 * pi, 2.0 * pi / 3.0]] * len(found))
    np.testing.assert_allclose(found.light_m2, wanted, rtol=RAYS_SHARE)


def test_ground_that_is_hidden_misses_no_light_for_being_dark(spheres):
    """Seen from the Sun every shadow is hidden: no depth, and the middle is that of the contacts."""
    line = [1.0, 0.0, 0.0]
    found = dips_of(spheres, sight_of(spheres, line, line), kinds=("eclipse",))
    assert len(found) >= 4 and set(found.kind) == {"eclipse"} and np.all(found.depth_m2 == 0.0)
    for name in DEFINITIONS:
        np.testing.assert_allclose(getattr(found, name), found.contacts_mid_s[:, None] * [1.0, 1.0], atol=1e-6)


def test_ground_that_is_dark_or_not_seen_misses_nothing(spheres):
    """The Sun from ahead, the observer opposite: an eclipse of the primary falls on the side that nobody sees."""
    found = dips_of(spheres, sight_of(spheres, [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]))
    assert len(found) >= 4 and np.all(found.depth_m2 == 0.0) and BOTH not in found.kind


def undisturbed(run):
    """The same bodies with the same attitudes, so far apart that neither darkens the other."""
    y = run.y.copy()
    y[:, 2] += 1e8
    return replace(run, y=y)


@pytest.mark.parametrize("law", DIP_LAWS)
@pytest.mark.parametrize("degrees, kinds", [(70.0, {"eclipse", "occultation"}), (25.0, {BOTH}), (6.0, {BOTH})])
def test_dips_against_a_faceted_light_curve(triaxial, degrees, kinds, law):
    """Flux of the pair less flux of its bodies alone, summed over 20000 facets (brightness.py) at the same instants."""
    lines = at_phase(degrees)
    found, alone = dips_of(triaxial, sight_of(triaxial, *lines), rays=1024), undisturbed(triaxial)
    assert set(found.kind) == kinds and set(found.body) == {"primary", "secondary"}
    k = DIP_LAWS.index(law)
    for i in range(min(6, len(found))):
        time = np.linspace(found.first_s[i], found.last_s[i], 61)
        full, dimmed = (
            light_curve_of(run, FixedSky(*lines), time, law=law, facets=20000).brightness_m2
            for run in (alone, triaxial)
        )
        missing = (full - dimmed)[:, 0 if found.body[i] == "primary" else 1]
        assert found.depth_m2[i, k] == pytest.approx(missing.max(), rel=GRAIN, abs=1.0)
        assert found.light_m2[i, k] == pytest.approx(full[30].sum(), rel=RAYS_SHARE)
        if missing.max() > 1.0:
            assert found.centroid_s[i, k] == pytest.approx(np.sum(time * missing) / np.sum(missing), abs=GRAIN_S)


def test_dips_are_the_whole_events(triaxial):
    """Without merging there is one for each event with contacts 1 and 4, under the same name."""
    lines = at_phase(25.0)
    whole = {(e.kind, e.body, e.cycle): e for e in events(triaxial, FixedSky(*lines)) if e.duration_s}
    sight = sight_of(triaxial, *lines)
    apart, merged = dips_of(triaxial, sight, merged=False), dips_of(triaxial, sight)
    assert set(apart.keys()) == set(whole) and len(apart) == len(whole)
    for key, mid in zip(apart.keys(), apart.contacts_mid_s, strict=True):
        assert mid == pytest.approx(whole[key].mid_s, abs=1e-6)
    assert BOTH in merged.kind and BOTH not in apart.kind
    assert len(merged) == len(apart) - np.sum(merged.kind == BOTH)
    for i in np.flatnonzero(merged.kind == BOTH):
        one = whole["eclipse", merged.body[i], merged.cycle[i]].contacts_s
        two = whole["occultation", merged.body[i], merged.occultation_cycle[i]].contacts_s
        assert max(one[0], two[0]) < min(one[3], two[3])
        assert (merged.first_s[i], merged.last_s[i]) == (min(one[0], two[0]), max(one[3], two[3]))


def test_an_event_has_the_dip_that_it_makes(triaxial):
    """Its own, or the one of both while they overlap; none where it is cut or no light is missing."""
    for degrees in (70.0, 25.0):
        lines = at_phase(degrees)
        found = dips_of(triaxial, sight_of(triaxial, *lines))
        made = {}
        for i, (kind, body, cycle) in enumerate(found.keys()):
            names = (
                [(kind, cycle)] if kind != BOTH else [("eclipse", cycle), ("occultation", found.occultation_cycle[i])]
            )
            made |= {(name, body, number): i for name, number in names}
        told = events(triaxial, FixedSky(*lines))
        assert any(event.dip for event in told) and {e.dip.kind for e in told if e.dip} == set(found.kind)
        for event in told:
            i = made.get((event.kind, event.body, event.cycle))
            if i is None or found.depth_m2[i, 0] == 0.0:
                assert event.dip is None
                continue
            assert event.dip.centroid_s == tuple(found.centroid_s[i]) and event.dip.minimum_s == tuple(
                found.minimum_s[i]
            )
            assert event.dip.mid_s == pytest.approx(found.centroid_s[i].mean()) and event.dip.kind == found.kind[i]
            assert event.dip.spread_s == found.centroid_s[i, 1] - found.centroid_s[i, 0]
            left = 1.0 - found.depth_m2[i] / found.light_m2[i]
            np.testing.assert_allclose(10.0 ** (-0.4 * np.array(event.dip.depth_mag)), left, rtol=1e-12)
    assert not any(event.dip for event in events(triaxial, FixedSky(*lines), dips=False))


def test_conjunctions_are_in_longitude(triaxial):
    sun, seen = at_phase(70.0)
    found = dips_of(triaxial, sight_of(triaxial, sun, seen))
    place = MotionBetween(triaxial).position_m(found.conjunction_s)
    lines = np.where((found.kind == "eclipse")[:, None], sun, seen) * np.where(found.body == "primary", 1, -1)[:, None]
    ahead = np.arctan2(place[:, 1], place[:, 0]) - np.arctan2(lines[:, 1], lines[:, 0])
    assert np.abs(np.sin(ahead)).max() < 1e-9 and np.cos(ahead).min() > 0.0
    assert np.abs(found.conjunction_s - found.contacts_mid_s).max() < 600.0


def test_few_rays_and_epochs_are_enough_for_many_worlds(triaxial):
    """128 rays and 31 epochs move centroids by less than a hundredth of an event, the grain of the outline."""
    sight = sight_of(triaxial, *at_phase(25.0))
    fine, coarse = dips_of(triaxial, sight), dips_of(triaxial, sight, rays=128, epochs=31)
    assert coarse.keys() == fine.keys()
    assert (np.abs(coarse.centroid_s - fine.centroid_s) / (fine.last_s - fine.first_s)[:, None]).max() < 0.01


def test_a_run_like_another_has_the_dips_that_a_search_finds():
    """Other sizes and another distance: contacts to the touching of outlines within 2 cm, 0.1 s of motion."""
    bodies = [((400.0, 350.0, 300.0), (140.0, 110.0, 90.0)), ((420.0, 345.0, 290.0), (130.0, 115.0, 92.0))]
    one, two = (
        simulate(circular(*(Ellipsoid(axes, 2300.0) for axes in pair), distance=distance)[0], 3.0)
        for pair, distance in zip(bodies, (A, 1.01 * A), strict=True)
    )
    for degrees in (70.0, 25.0):
        sight = sight_of(one, *at_phase(degrees))
        guide = Guide.of(one, sight)
        for run in (one, two):
            found, wanted = dips_like(guide, run, sight, rays=256, epochs=61), dips_of(run, sight)
            assert found.keys() == [key for key in wanted.keys() if key in found.keys()]
            assert len(wanted) - len(found) <= (0 if run is one else 1)
            same = wanted.chosen(np.array([key in found.keys() for key in wanted.keys()]))
            for name in ("first_s", "last_s", "conjunction_s", "centroid_s"):
                np.testing.assert_allclose(getattr(found, name), getattr(same, name), atol=0.3)


def test_meshes_of_ellipsoids_have_the_dips_of_their_ellipsoids(triaxial):
    """The other kernel, facets found by their cells: to the grain of 2000 facets, twice that of GRAIN_S."""
    bodies = [
        Mesh(*mesh_of_ellipsoid(np.array(axes), 2000), 2300.0) for axes in ((400.0, 350.0, 300.0), (140.0, 110.0, 90.0))
    ]
    meshed = simulate(circular(*bodies)[0], 1.2)
    for degrees in (70.0, 25.0):
        plain, found = (dips_of(run, sight_of(run, *at_phase(degrees))) for run in (triaxial, meshed))
        assert found.keys() == plain.keys()
        some = plain.depth_m2[:, 0] > 100.0
        np.testing.assert_allclose(found.centroid_s[some], plain.centroid_s[some], atol=2.0 * GRAIN_S)
        np.testing.assert_allclose(found.depth_m2, plain.depth_m2, rtol=2.0 * GRAIN, atol=20.0)
        np.testing.assert_allclose(found.light_m2, plain.light_m2, rtol=GRAIN)


def test_dips_of_a_lumpy_secondary_against_its_faceted_light_curve():
    """Hills hide and darken their own ground in both."""
    primary, secondary = (Mesh(*lumpy(n, seed, size), 2300.0) for n, seed, size in ((12, 1, 330.0), (10, 2, 100.0)))
    run = simulate(circular(primary, secondary, degree=4)[0], 0.8)
    lines, alone = at_phase(50.0), undisturbed(run)
    found = dips_of(run, sight_of(run, *lines), rays=1024)
    assert set(found.body) == {"primary", "secondary"}
    for i in range(len(found)):
        time = np.linspace(found.first_s[i], found.last_s[i], 61)
        full, dimmed = (light_curve_of(one, FixedSky(*lines), time).brightness_m2 for one in (alone, run))
        missing = (full - dimmed)[:, 0 if found.body[i] == "primary" else 1]
        assert found.depth_m2[i, 0] == pytest.approx(missing.max(), rel=3.0 * GRAIN, abs=20.0)
        if missing.max() > 500.0:
            assert found.centroid_s[i, 0] == pytest.approx(np.sum(time * missing) / np.sum(missing), abs=4.0 * GRAIN_S)


@pytest.mark.parametrize("degrees", [70.0, 6.0])
def test_ground_behind_or_in_the_shadow_of_its_own_hills_misses_nothing(degrees):
    """A primary with a notch, an L: with its own shadows forgotten, centroids would be off by up to 600 s."""
    primary, secondary = (
        Mesh(*shape, 2300.0) for shape in (angle_iron(380.0, 4), mesh_of_ellipsoid(np.full(3, 100.0)))
    )
    run, lines = simulate(circular(primary, secondary, distance=1500.0)[0], 1.6), at_phase(degrees)
    found, alone = dips_of(run, sight_of(run, *lines), rays=1024), undisturbed(run)
    dimmed_primary = np.flatnonzero(found.body == "primary")
    assert len(dimmed_primary) >= 2
    for i in dimmed_primary:
        time = np.linspace(found.first_s[i], found.last_s[i], 61)
        full, dimmed = (light_curve_of(one, FixedSky(*lines), time).brightness_m2 for one in (alone, run))
        missing = (full - dimmed)[:, 0]
        assert found.depth_m2[i, 0] == pytest.approx(missing.max(), rel=GRAIN)
        assert found.centroid_s[i, 0] == pytest.approx(np.sum(time * missing) / np.sum(missing), abs=2.0 * GRAIN_S)


def test_chosen_takes_the_same_rows_of_all(triaxial):
    found = dips_of(triaxial, sight_of(triaxial, *at_phase(25.0)))
    some = found.chosen(np.array([2, 0]))
    assert isinstance(some, Dips) and some.keys() == [found.keys()[2], found.keys()[0]]
    np.testing.assert_array_equal(some.minimum_s, found.minimum_s[[2, 0]])


def test_a_pair_seen_and_lit_from_its_pole_has_no_dips(spheres):
    assert len(dips_of(spheres, sight_of(spheres, [0.0, 0.0, 1.0], [0.0, 0.01, 1.0]))) == 0


def test_definitions_on_a_crooked_triangle():
    """A rise to 1 at p and a fall: centroid (1 + p)/3, half-depth 1/4 + p/2; folding against all shifts tried."""
    u = np.linspace(0.0, 1.0, 501)
    for p in (0.3, 0.5, 0.62):
        y = np.minimum(u / p, (1.0 - u) / (1.0 - p))
        assert centroid(y) == pytest.approx((1.0 + p) / 3.0, abs=1e-5)
        assert half_depth(y) == pytest.approx(0.25 + 0.5 * p, abs=1e-5)
        tried = np.linspace(0.2, 0.8, 6001)
        match = [np.sum(y * np.interp(2.0 * t - u, u, y, 0.0, 0.0)) for t in tried]
        assert folded(y) == pytest.approx(tried[np.argmax(match)], abs=1e-3)


def test_the_minimum_is_the_vertex_of_a_parabola_and_of_two_lobes_the_deeper():
    u = np.linspace(0.0, 1.0, 61)
    dip = np.maximum(0.0, 1.0 - ((u - 0.43) / 0.2) ** 2)
    lobes = np.exp(-(((u - 0.2) / 0.1) ** 2)) + 0.9 * np.exp(-(((u - 0.8) / 0.1) ** 2))
    found = minimum(np.stack([dip, lobes, np.zeros(61)]))
    assert found == pytest.approx([0.43, 0.2, 0.5], abs=1e-2) and found[0] == pytest.approx(0.43, abs=1e-9)
