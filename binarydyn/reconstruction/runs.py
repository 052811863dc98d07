"""Runs of many guesses about one impact: relaxed starts, free modes, impacts, and both windows in lanes.

All runs of a side have one common step, that of the nominal system, so that what is read off them is smooth in the
guess.  Guesses that the scenario's rules refuse, that find no relaxed state, whose impactor misses, or whose bodies
come near or part, do not last; each has its reason.  Not here: perturbations, boulders, new shapes and masses, and
impactors on bodies that are no plain ellipsoids.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..batch.cases import accumulated, from_arrays
from ..batch.inputs import Inputs, doubtful, is_plain
from ..batch.starts import Starts, starts_of
from ..constants import DAY_S, HOUR_S
from ..dynamics import System
from ..dynamics.displacement import displaced
from ..errors import ConvergenceError, InputError
from ..impact.frame import axes_of_pole, ecliptic_axes
from ..impact.hits import hits
from ..integrators import split_runs
from ..integrators.lanes import aligned
from ..integrators.split_runs import UNFIT
from ..integrators.splitting import fill, to_rates, work_size
from ..integrators.step_rules import FARTHEST, nearest_m, steps_of
from ..motion.layout import FAR, LANES, LIMITS, NEAR, SIZE
from ..relaxed.asked import wanted_of
from ..relaxed.bodies import bodies
from ..relaxed.free_modes import excited, free_modes, yaw_of
from ..relaxed.periodic import find
from ..relaxed.start import Start, start
from ..sampling.members import cores
from ..scenario import Scenario, value_of, varied
from .unknowns import FREE_MODES, PERIOD, POLE_KEYS, TURNS, Unknowns, relaxed_base

MARGIN = 1.08
"""By which the common step is shorter than the nominal system needs: guesses may turn faster by so much."""
_LASTS = ""
_AHEAD_ORBITS = 1.5
"""By which runs reach beyond the first and the last event: guesses have it earlier or later."""


@dataclass(frozen=True)
class Stretch:
    """One side of t0 of n runs: samples (n, steps + 1, 20), each as State.vector, at 0, step_s, 2 step_s ..; step_s < 0
    before t0.  lasts (n,): where False the samples mean nothing."""

    step_s: float
    samples: np.ndarray
    lasts: np.ndarray

    @property
    def time_s(self) -> np.ndarray:
        """(steps + 1,) of the samples, s from t0."""
        return self.step_s * np.arange(self.samples.shape[1])


@dataclass(frozen=True)
class Runs:
    """n guesses run.  values (n, p) as of Unknowns; starts: bodies, masses and states before the free modes.

    y_before, y_after (20, n): at t0.  turns (n, 3, 3): lines of sight in the frame of each run are turns @ those of the
    scenario's sky.  why (n,): empty where the guess lasts, else a word and a reason.
    """

    values: np.ndarray
    starts: Starts
    y_before: np.ndarray
    y_after: np.ndarray
    turns: np.ndarray
    before: Stretch
    after: Stretch
    why: np.ndarray

    @property
    def lasts(self) -> np.ndarray:
        """(n,) whether each came through."""
        return self.why == _LASTS

    @property
    def steps_s(self) -> np.ndarray:
        """(2,) of both windows."""
        return np.array([self.before.step_s, self.after.step_s])


@dataclass(frozen=True)
class GuessedMotion:
    """What runs of guesses need: the scenario, what is unknown, days (2,) before and after t0, both positive; refine:
    by what factor steps are shorter than usual; workers: threads, None for one a core."""

    scenario: Scenario
    unknowns: Unknowns
    days: tuple[float, float]
    refine: float = 1.0
    workers: int | None = None

    def __post_init__(self):
        place, base = self.scenario.place, self.scenario
        without = ("boulders", "reshaping", "mass_exchange")
        if table := next((name for name in without if getattr(base, name)), None):
            raise InputError(f"{place}:{table}", "what happened is looked for without it; leave it out")
        if self.begun.system.perturbations is not None:
            raise InputError(
                f"{place}:perturbations", "some are on, what happened is looked for without them; switch them off"
            )
        if base.impactor and base.impactor.target != "secondary":
            said = "the primary is hit, what happened is looked for where the secondary is; change it"
            raise InputError(f"{place}:impactor.target", said)
        if base.impactor and not is_plain(base, "secondary"):
            raise InputError(
                f"{place}:secondary",
                "an impactor on a mesh or a layered body is given, allowed here is a plain ellipsoid; give the "
                "[velocity_change] in place of the impactor",
            )

    @cached_property
    def base(self) -> Scenario:
        """Without free modes, of a fixed degree."""
        return relaxed_base(self.scenario).replace({"simulation.degree": self.begun.system.degree})

    @cached_property
    def begun(self) -> Start:
        """The nominal start."""
        return start(relaxed_base(self.scenario))

    @property
    def nominal(self) -> System:
        """The scenario's pair in its relaxed state."""
        return self.begun.system

    @property
    def period_s(self) -> float:
        """Of the nominal orbit before t0."""
        return self.begun.period_h * HOUR_S

    @cached_property
    def steps(self) -> tuple[int, int]:
        """Of both windows."""
        before, after = (self._steps(days) for days in self.days)
        return before, after

    def _steps(self, days: float) -> int:
        system = self.begun.system
        time_s = days * DAY_S + _AHEAD_ORBITS * self.period_s
        needed = steps_of(system.state.vector, system.gm_m3_s2, time_s, np.ceil, MARGIN * self.refine, 4.0)
        return int(needed)

    def _step_s(self, side: int) -> float:
        return (self.days[side] * DAY_S + _AHEAD_ORBITS * self.period_s) / self.steps[side]

    @cached_property
    def _modes(self) -> dict[str, np.ndarray]:
        """Displacements (18,) by 1 of each of FREE_MODES, of the nominal relaxed state.

        Where the secondary is long, both motions in the plane mix: the eccentric one is that which moves r more, the
        libration that which moves the yaw more.
        """
        one, two = bodies(self.base)
        orbit = find(one, two, self.begun.system.degree, wanted_of(self.base))
        modes = [mode for mode in free_modes(orbit) if mode.name in ("epicyclic", "libration")]
        if len(modes) < 2:
            raise ConvergenceError("the relaxed state has no two free modes in the plane of the orbit", 0.0, 0)
        order = np.argsort([abs(mode.shape[0] / yaw_of(mode.shape)) for mode in modes])
        libration, eccentric = modes[order[0]], modes[order[-1]]
        parts = {}
        for phase, component in ((0.0, "cos"), (0.5 * math.pi, "sin")):
            parts[f"e_{component}"] = excited(orbit, eccentric, eccentric.shape[0], -1.0, -phase)
            parts[f"lib_{component}"] = excited(orbit, libration, yaw_of(libration.shape), 1.0, phase)
        return parts

    def runs(self, u: np.ndarray) -> Runs:
        """Of guesses u (n, p)."""
        values = self.unknowns.value(u)
        inputs, turns = self.inputs(values)
        why = self._refused(inputs)
        good = why == _LASTS
        starts, before, after = self._begun_of(inputs, values, good, why)
        windows: list[Stretch] = []
        for side, (y, sign) in enumerate(((before, -1.0), (after, 1.0))):
            step = sign * self._step_s(side)
            window = stretch_of(starts, y, step, self.steps[side], why == _LASTS, self.workers)
            why[(why == _LASTS) & ~window.lasts] = "ends early: the bodies come near or part"
            windows.append(window)
        one, two = windows
        return Runs(values, starts, before, after, turns, one, two, why)

    def inputs(self, values: np.ndarray) -> tuple[Inputs, np.ndarray]:
        """What guesses change in the scenario, and how the lines of sight turn with it."""
        own = (*TURNS, *FREE_MODES)
        columns = {name: np.ascontiguousarray(values[:, i]) for i, name in enumerate(self.unknowns.names)
                   if name not in own}  # fmt: skip
        e_cos, e_sin = (self.unknowns.column(values, name) for name in FREE_MODES[:2])
        if e_cos.any() or e_sin.any():
            columns[PERIOD] = self._relaxed_period_h(columns.get(PERIOD), e_cos, e_sin)
        inputs = _in_order(Inputs(self.base, columns, len(values)))
        small = np.array([self.unknowns.column(values, name) for name in TURNS])
        orbit = self.base.mutual_orbit
        if orbit.pole_deg is None:
            return inputs, small_turns(small)
        axes = axes_of_pole(*(inputs[key] for key in POLE_KEYS)).transpose(2, 0, 1)
        turned = small_turns(small) @ axes
        inputs = Inputs(self.base, dict(inputs.columns) | _pole_columns(turned), len(values))
        return inputs, turned @ ecliptic_axes(orbit).T

    def _relaxed_period_h(self, period_h: np.ndarray | None, e_cos: np.ndarray, e_sin: np.ndarray) -> np.ndarray:
        """(n,) of the relaxed state from which a free eccentricity makes a mean period.

        A circle that is displaced by r = a (1 - e_cos cos - ..), to first order, has E = -G M/(2 a) (1 + e_cos^2 - 5
        e_sin^2), so a period longer by 3/2 of the difference; measured on the built-in pair to a tenth of that.
        """
        mean = value_of(self.base, PERIOD) if period_h is None else period_h
        return mean / (1.0 + 1.5 * (5.0 * e_sin**2 - e_cos**2))

    def _refused(self, inputs: Inputs) -> np.ndarray:
        """(n,) why the scenario's rules refuse a guess; empty where they do not."""
        why = np.full(inputs.count, _LASTS, dtype=object)
        for i in np.flatnonzero(doubtful(inputs)).tolist():
            try:
                varied(self.base, {name: float(column[i]) for name, column in inputs.columns.items()})
            except InputError as error:
                why[i] = f"refused: {error}"
        return why

    def _begun_of(self, inputs: Inputs, values: np.ndarray, good: np.ndarray, why: np.ndarray):
        """Starts, and states (20, n) just before and just after the impact; those of guesses that are not good are
        another's."""
        at = np.flatnonzero(good)
        if not len(at):
            at = np.zeros(len(good), dtype=int)
            inputs, values = self.inputs(np.repeat(self.unknowns.centre[None], len(good), axis=0))[0], values
        place = at[np.minimum(np.searchsorted(at, np.arange(len(good))), len(at) - 1)]
        inputs = inputs.some(place)
        starts = starts_of(inputs)
        why[(why == _LASTS) & ~starts.found] = "not converged: no relaxed state was found"
        y = displaced(starts.y, self._displacement(values)) if set(FREE_MODES) & set(self.unknowns.names) else starts.y
        found = hits(inputs, starts.primary, starts.secondary, y)
        for word in ("miss", "grazing"):
            for i in np.flatnonzero((why == _LASTS) & (found.status == word)).tolist():
                why[i] = f"{word}: {found.reason[i]}"
        why[(why == _LASTS) & found.unsure] = "miss: the primary may be in the way"
        return starts, y, found.y

    def _displacement(self, values: np.ndarray) -> np.ndarray:
        """(18, n) along the free modes."""
        parts = [self.unknowns.column(values, name) * self._modes[name][:, None] for name in FREE_MODES]
        return np.sum(parts, axis=0)

    def change_s(self, runs: Runs, days: tuple[float, float]) -> np.ndarray:
        """(n,) period after less period before, in windows of some days before and after t0."""
        return np.diff(self.periods_s(runs, days), axis=0)[0]

    def periods_s(self, runs: Runs, days: tuple[float, float]) -> np.ndarray:
        """(2, n) mean sidereal periods in windows of some days before and after t0, as `predict` has them; nan where a
        guess does not last."""
        starts, found = runs.starts, []
        near = starts.primary.bounding_radius_m + starts.secondary.bounding_radius_m
        for y, sign, length in zip((runs.y_before, runs.y_after), (-1.0, 1.0), days, strict=True):
            cases = from_arrays(starts.model, y, starts.constants, starts.coefficients, near)
            outcomes = accumulated(cases, sign * length, workers=self.workers)
            found.append(np.where(runs.lasts & outcomes.fits, outcomes.period_s, np.nan))
        return np.array(found)


def _in_order(inputs: Inputs) -> Inputs:
    """Axes in their order, as drawn systems have them.  A primary whose second axis is the longer one is the same body
    a quarter turn on, so that times are smooth where a = b; a secondary points its long axis at the primary."""
    changed = dict(inputs.columns)
    for body in ("primary", "secondary"):
        names = [f"{body}.semi_axes_m.{i}" for i in range(3)]
        if set(names) & set(inputs.columns):
            axes = inputs.semi_axes_m(body)
            changed |= dict(zip(names, np.sort(axes, axis=0)[::-1], strict=True))
            if body == "primary":
                phase = "primary.rotation_phase_deg"
                changed[phase] = inputs[phase] + np.where(axes[1] > axes[0], 90.0, 0.0)
    return Inputs(inputs.scenario, changed, inputs.count)


def _pole_columns(axes: np.ndarray) -> dict[str, np.ndarray]:
    """The keys of the scenario, deg, of inertial frames whose rows are axes (n, 3, 3), ecliptic."""
    pole = axes[:, 2]
    longitude = np.arctan2(pole[:, 1], pole[:, 0])
    node = np.stack([-np.sin(longitude), np.cos(longitude), 0.0 * longitude], axis=1)
    ahead = np.arctan2(np.sum(axes[:, 0] * np.cross(pole, node), axis=1), np.sum(axes[:, 0] * node, axis=1))
    latitude = np.arcsin(np.clip(pole[:, 2], -1.0, 1.0))
    return dict(zip(POLE_KEYS, np.degrees([longitude, latitude, ahead]), strict=True))


def small_turns(w: np.ndarray) -> np.ndarray:
    """(n, 3, 3) turns by |w| radians about vectors w (3, n)."""
    angle = np.sqrt(np.sum(w * w, axis=0))
    x, y, z = w
    none = np.zeros_like(x)
    cross = np.array([[none, -z, y], [z, none, -x], [-y, x, none]]).transpose(2, 0, 1)
    first, second = np.sinc(angle / np.pi), 0.5 * np.sinc(0.5 * angle / np.pi) ** 2
    return np.eye(3) + first[:, None, None] * cross + second[:, None, None] * (cross @ cross)


def stretch_of(
    starts: Starts, y: np.ndarray, step_s: float, steps: int, good: np.ndarray, workers: int | None
) -> Stretch:
    """Steps of one length of those pairs from states y (20, n) that are good (n,), eight at a time."""
    count = y.shape[1]
    samples, lasts = np.full((count, steps + 1, SIZE), np.nan), np.zeros(count, dtype=bool)
    at = np.flatnonzero(good)
    near = np.maximum(starts.primary.bounding_radius_m + starts.secondary.bounding_radius_m,
                      nearest_m(starts.constants[0], step_s))  # fmt: skip
    advance = split_runs.entry(starts.model).advance

    def eight(some: np.ndarray) -> None:
        lanes = np.concatenate([some, np.repeat(some[:1], LANES - len(some))])
        work = aligned(work_size(starts.model))
        columns = work.reshape(-1, LANES)
        fill(columns, y[:, lanes], starts.constants[:, lanes], starts.coefficients[:, lanes])
        out = np.empty((LANES, steps + 2, SIZE))  # advance keeps a row for early ends, which there are none of
        limits, status = np.zeros((LANES, LIMITS)), np.zeros(LANES, dtype=np.int64)
        limits[:, NEAR], limits[:, FAR] = near[lanes], FARTHEST * np.linalg.norm(y[:3, lanes], axis=0)
        advance(work, out.ravel(), steps, 0, steps, step_s, limits.ravel(), status)
        out[:, 0] = y[:, lanes].T
        to_rates(out[:, 1:-1].transpose(2, 0, 1), columns[:, :, None])
        samples[some], lasts[some] = out[: len(some), :-1], status[: len(some)] != UNFIT

    with ThreadPoolExecutor(workers or cores()) as threads:
        for _ in threads.map(eight, [at[k : k + LANES] for k in range(0, len(at), LANES)]):
            pass
    return Stretch(step_s, samples, lasts)
