"""Worlds that are richer than what a fit knows, and the event times that they show.

A truth is the invented pair, with sizes, separation, pole and push drawn from what is uncertain, and with what the fit
leaves out: lumps, another scattering law, spots, an orbit that is eccentric before the hit, a tilted primary, a
secondary that rocks, mass that leaves at the hit, errors that nights share, also from night to night.  Light is that of
light.py.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from light import body, missing, radius

import binarydyn as bd
from binarydyn.constants import DAY_S
from binarydyn.observing.reference import Reference
from binarydyn.observing.uncertain_inputs import drawn_inputs
from binarydyn.observing.worlds import World, joined
from binarydyn.scenario import Scenario, varied
from binarydyn.sky.dips import Guide, dips_like
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.sky.motion_between import MotionBetween
from binarydyn.timing.exact import ExactOrbit
from binarydyn.timing.mid_times import MidTimes

SEED = 88301
"""Of the truths; drawn once, before any was fitted."""
FIRST = 60_000
"""Number of the first member: none that a fit draws."""
DAYS, NIGHT_H = 14.0, 8.0
GRID_S, RAYS, EPOCHS = 120.0, 22, 41
LEAST_DEPTH = 0.2
"""Of the deepest dip of the same body: shallower ones nobody times."""
_MARGIN_S = 7200.0


@dataclass(frozen=True)
class Ingredients:
    """What a truth has and the fit has not: sd or size of each, 0 for none."""

    lumps: float = 0.0
    grain: float = 0.0
    spots: float = 0.0
    eccentricity: float = 0.0
    tilt_deg: float = 0.0
    rocking_deg: float = 0.0
    lost_mass: float = 0.0
    night_s: float = 0.0
    from_night_to_night: float = 0.0
    noise_s: float = 40.0


@dataclass(frozen=True)
class Truth:
    """Times as measured, the orbit through the exact conjunctions of the same days, beta."""

    mids: MidTimes
    orbit: ExactOrbit
    beta: float


def truth(reference: Reference, what: Ingredients, number: int) -> Truth:
    """Errors: those of the package where a truth cannot be simulated."""
    random = np.random.default_rng([SEED, number])
    scenario = reference.scenario
    member = varied(scenario, drawn_inputs(scenario, 1, FIRST + number)[0])
    shapes = [
        body(getattr(member, name).semi_axes_m, random, what.lumps, what.spots) for name in ("primary", "secondary")
    ]
    before = _moved(_built(member, shapes, what.lumps > 0.0), what, random)
    struck = bd.hit(before, member)
    after = _lighter(struck, what.lost_mass * abs(random.standard_normal()))
    sight = Sight(Sky.of(member), -DAYS * DAY_S - _MARGIN_S, DAYS * DAY_S + _MARGIN_S)
    runs = [
        bd.simulate(system, side * (DAYS + 0.02), every_minutes=10.0) for system, side in ((before, -1), (after, 1))
    ]
    guides = tuple(Guide.of(run, sight) for run in runs)
    dips = joined([dips_like(guide, run, sight, rays=4, epochs=4) for guide, run in zip(guides, runs, strict=True)])
    world = World(member, reference.found.nominal.known, before, struck.impact, sight, tuple(runs), guides, dips)
    exact = joined_times([_seen(run, sight, shapes, what) for run in runs])
    return Truth(_with_errors(exact, what, random), world.orbit, member.momentum_transfer.beta)


def _built(member: Scenario, shapes, lumpy: bool) -> bd.System:
    """The relaxed pair; lumpy bodies as meshes of the same mass as the ellipsoids."""
    system = bd.build(member)
    if not lumpy:
        return system
    meshes = []
    for one, shape in zip((system.primary, system.secondary), shapes, strict=True):
        mesh = bd.Mesh(*_facets(shape), 1000.0)
        meshes.append(mesh.scaled_mass(one.mass_kg / mesh.mass_kg))
    orbit = member.mutual_orbit
    return bd.pair(
        *meshes,
        primary_spin_h=member.primary.spin_period_h,
        separation_m=orbit.separation_m,
        period_h=orbit.period_h,
        degree=member.simulation.degree,
    )


def _facets(shape, parts: int = 10):
    """Vertices and facets of the surface: a divided octahedron, pushed out."""
    from scipy.spatial import ConvexHull

    grid = [
        (i, j, k)
        for i in range(-parts, parts + 1)
        for j in range(-parts, parts + 1)
        for k in range(-parts, parts + 1)
        if abs(i) + abs(j) + abs(k) == parts
    ]
    points = np.array(grid, dtype=float)
    points /= np.linalg.norm(points, axis=1)[:, None]
    facets = ConvexHull(points).simplices
    a, b, c = points[facets].transpose(1, 0, 2)
    inward = np.sum(a * np.cross(b, c), axis=1) < 0.0
    facets[inward] = facets[inward][:, ::-1]
    return points * np.array([radius(shape, *p) for p in points])[:, None], facets


def _moved(system: bd.System, what: Ingredients, random) -> bd.System:
    """The state at t0 with an ellipse, a tilt and a rocking of any direction and phase."""
    state = system.state
    along = random.standard_normal(2) * what.eccentricity / math.sqrt(2.0)
    r, v = state.position_m, state.velocity_m_s
    outward = r / np.linalg.norm(r)
    state = replace(state, velocity_m_s=v * (1.0 + 0.5 * along[0]) + outward * np.linalg.norm(v) * along[1])
    for name, size in (("primary", what.tilt_deg), ("secondary", what.rocking_deg)):
        if size > 0.0:
            roll, pitch, yaw = size * random.standard_normal(3)
            state = state.tilted(
                name, **({"yaw_deg": yaw} if name == "secondary" else {"roll_deg": roll, "pitch_deg": pitch})
            )
    return replace(system, state=state)


def _lighter(system: bd.System, share: float) -> bd.System:
    return replace(system, secondary=system.secondary.scaled_mass(1.0 - share)) if share else system


@dataclass(frozen=True)
class Seen:
    kind: np.ndarray
    body: np.ndarray
    time_s: np.ndarray
    depth: np.ndarray


def joined_times(parts: list[tuple[Seen, Sight]]) -> MidTimes:
    seen = [part for part, _ in parts]
    kind, name, time, depth = (
        np.concatenate([getattr(one, f) for one in seen]) for f in ("kind", "body", "time_s", "depth")
    )
    deepest = {b: depth[name == b].max(initial=0.0) for b in ("primary", "secondary")}
    kept = depth > LEAST_DEPTH * np.array([deepest[b] for b in name])
    time = time[kept]
    return MidTimes(kind[kept], name[kept], time + parts[0][1].light_time_s(time)).sorted()


def _seen(run: bd.Trajectory, sight: Sight, shapes, what: Ingredients) -> tuple[Seen, Sight]:
    """Centroids of all dips whose middle lies in the hours of a night."""
    motion = MotionBetween(run)
    reach = [shape[:3].max() * (1.0 + 1.2 * np.abs(shape[3 : 3 + 30].reshape(-1, 5)[:, 3]).sum()) for shape in shapes]
    grid = np.arange(motion.start_s + GRID_S, motion.end_s - GRID_S, GRID_S)
    r = motion.position_m(grid)
    close, front = np.zeros((2, len(grid)), dtype=bool), np.zeros((2, len(grid)), dtype=bool)
    for row, line in enumerate((sight.sunward(grid), sight.earthward(grid))):
        along = np.sum(r * line, axis=1)
        close[row] = np.linalg.norm(r - along[:, None] * line, axis=1) < sum(reach)
        front[row] = along > 0.0
    found = []
    for name, side in (("primary", True), ("secondary", False)):
        near = (close & (front == side)).any(axis=0).astype(int)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], near, [0]])))
        for begin, end in zip(edges[::2], edges[1::2] - 1, strict=True):
            if begin > 0 and end < len(grid) - 1 and _is_night(0.5 * (grid[begin] + grid[end])):
                found += _dips(motion, sight, shapes, reach, what, name, grid[begin], grid[end])
    columns = [np.array(c) for c in zip(*found, strict=True)] if found else [np.empty(0)] * 4
    return Seen(*columns), sight


def _is_night(time_s: float) -> bool:
    return (time_s / DAY_S) % 1.0 < NIGHT_H / 24.0


def _dips(motion, sight, shapes, reach, what, name, begin, end):
    """Each stretch of missing light: kind, body, centroid, greatest depth."""
    time = np.linspace(begin, end, EPOCHS)
    sun, seen = sight.sunward(time), sight.earthward(time)
    places = _places(motion, time)
    bodies = (shapes[0], shapes[1], *places)
    light = np.zeros((2, EPOCHS))
    for row, (line, other) in enumerate(((sun, seen), (seen, sun))):
        position = places[3] - places[2]
        side = (np.sum(position * line, axis=1) > 0.0) == (name == "primary")
        light[row] = np.where(side, missing(*bodies, line, other, row == 0, what.grain, RAYS, *reach), 0.0)
    both = light.sum(axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (both > 0.0).astype(int), [0]])))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        m = both[a:b]
        causes = light[:, a:b].max(axis=1) > 0.0
        kind = "both" if causes.all() else ("eclipse" if causes[0] else "occultation")
        if len(m) > 3:
            yield kind, name, float(time[a:b] @ m / m.sum()), float(m.max())


def _places(motion: MotionBetween, time):
    """Axes and centres of both, as light.missing takes them: of a mesh those in which its surface is given."""
    places = motion.places(time)
    out_axes, out_centres = [], []
    system = motion.trajectory.system
    for one, axes, centre in (
        (system.primary, places.axes1, places.centre1_m),
        (system.secondary, places.axes2, places.centre2_m),
    ):
        if hasattr(one, "facets"):
            axes, centre = axes @ one.axes, centre - axes @ (one.axes @ one.centre_m)
        out_axes.append(np.ascontiguousarray(axes))
        out_centres.append(np.ascontiguousarray(centre))
    return out_axes[0], out_axes[1], out_centres[0], out_centres[1]


def _with_errors(mids: MidTimes, what: Ingredients, random) -> MidTimes:
    """Own errors, those of a night, and of these the part that goes on to the next night (a first-order process)."""
    nights = np.unique(mids.group)
    common, last = {}, 0.0
    rho = what.from_night_to_night
    for k, night in enumerate(nights):
        last = random.standard_normal() if k == 0 else rho * last + math.sqrt(1.0 - rho**2) * random.standard_normal()
        common[night] = what.night_s * last
    late = np.array([common[night] for night in mids.group]) + what.noise_s * random.standard_normal(len(mids))
    return replace(mids, seen_s=mids.seen_s + late, sigma_s=np.full(len(mids), what.noise_s))
