"""What if: the members of a design, predicted side by side; each gives one row, whatever becomes of it.

A row depends on its member alone, not on the number of workers, the order or what was done before, and equals
`predict(member_scenario(scenario, inputs)).numbers()` bit for bit.  Workers are threads, since kernels release
the interpreter.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from queue import SimpleQueue

from ..assessment import Prediction, predict
from ..constants import DAY_S
from ..errors import ConvergenceError, FewCyclesError, InputError
from ..scenario import Scenario, varied
from ..scenario.wording import one_line
from .design import Design, Grid
from .member_set import MemberSet

TOLERANCE = 1e-9
"""Of the integrator in a sweep, unless the scenario states one; predict's own is 1e-12."""
_IN_FLIGHT = 4
DECIDE_THE_IMPACT = ("impactor", "momentum_transfer", "boulders", "push", "reshaping")
_FAILURES = {InputError: "bad_input", ConvergenceError: "not_converged", FewCyclesError: "too_few_cycles"}


@dataclass(frozen=True)
class Row:
    """What became of one member: what it changed, and the flat table of `Prediction.numbers`, empty if there was none.

    status: `Prediction.status`; `not_measured` where the run ended well but its window was too short for a period;
    `bad_input`, `not_converged`, `too_few_cycles` or `error` where there is no prediction.  reason: empty for `done`.
    """

    index: int
    inputs: dict[str, float]
    numbers: dict[str, float | str | bool | None]
    status: str
    reason: str


class _Stopped(Exception):
    """Raised inside a member that nobody waits for any more."""


@dataclass
class _Gate:
    """Members that share all that comes before the impact: the first works it out, the others wait for the cache."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    is_open: bool = False


def swept(scenario: Scenario) -> Scenario:
    """The scenario that a sweep varies: with the tolerance of sweeps, unless it states its own."""
    if "tolerance" in scenario.simulation.model_fields_set:
        return scenario
    return varied(scenario, {"simulation.tolerance": TOLERANCE})


def member_scenario(scenario: Scenario, inputs: dict[str, float]) -> Scenario:
    """What the member with these inputs is predicted from.  Raises InputError for a value that is not allowed."""
    return varied(swept(scenario), inputs)


MOST_WORKERS = 1024
"""Threads; beyond any machine's cores they only wait for each other."""


def sweep(
    scenario: Scenario, design: Design | Mapping, workers: int | None = None, done: Collection[int] = ()
) -> Iterator[Row]:
    """Iterate over the rows of all members that are not in `done`, in any order; `workers` None: one for each core.

    A mapping {key: values} stands for the grid of them.  InputError for a key that the scenario does not have or
    workers below 1; what happens to a member is in its row. On KeyboardInterrupt, members under way are given up,
    rows that are ready are still yielded, then it goes on up.
    """
    design = Grid.of(design) if isinstance(design, Mapping) else design
    design.check(scenario)
    if workers is not None and not (isinstance(workers, int) and 1 <= workers <= MOST_WORKERS):
        raise InputError("--workers", f"{workers} is given, allowed is 1 .. {MOST_WORKERS}; change it or leave it out")
    return _rows(swept(scenario), design, workers or cores(), done)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _rows(base: Scenario, design: Design, workers: int, done: Collection[int]) -> Iterator[Row]:
    jobs, crew = _jobs(design, done), _Crew(base, design)
    for k, gate in islice(jobs, 1):
        # Alone in this thread: kernels are compiled, and the run before the impact is cached, once.
        yield _row(base, design, k, crew)
        gate.is_open = True
    try:
        waiting = 0
        for job in islice(jobs, _IN_FLIGHT * workers):
            waiting += 1
            crew.todo.put(job)
            if crew.size < workers:
                crew.hire()
        while waiting:
            row = crew.ready.get()
            following = next(jobs, None)
            if following:
                crew.todo.put(following)
            else:
                waiting -= 1
            yield row
    except KeyboardInterrupt:
        yield from crew.dismissed()
        raise
    finally:
        for _ in crew.dismissed():
            pass


class _Crew:
    """Threads that take jobs from one queue and put rows into another, until they are dismissed.

    The thread that hands out the work uses nothing but these two queues, whose operations an interruption cannot split:
    one that comes while a lock is being taken would leave it taken, and everybody waiting.
    """

    def __init__(self, base: Scenario, design: Design):
        self.base, self.design = base, design
        self.todo: SimpleQueue[tuple[int, _Gate] | None] = SimpleQueue()
        self.ready: SimpleQueue[Row | None] = SimpleQueue()
        self.size = 0
        self.is_stopped = False

    def hire(self) -> None:
        """One thread more; it cannot keep the process alive."""
        self.size += 1
        threading.Thread(target=self._work, name=f"member-{self.size}", daemon=True).start()

    def _work(self) -> None:
        try:
            while (job := self.todo.get()) and not self.is_stopped:
                k, gate = job
                self.ready.put(_gated(gate, self.base, self.design, k, self))
        except _Stopped:
            pass
        finally:
            self.ready.put(None)

    def dismissed(self) -> Iterator[Row]:
        """Stop all threads and yield the rows that they had ready; over once the last one is gone."""
        self.is_stopped = True
        for _ in range(self.size):
            self.todo.put(None)
        while self.size:
            if row := self.ready.get():
                yield row
            else:
                self.size -= 1


def _jobs(design: Design, done: Collection[int]) -> Iterator[tuple[int, _Gate]]:
    """Members to do, those together that differ in the impact alone: predict has their common part in its cache."""

    is_done = MemberSet(len(design), done).mask
    for members in design.together(tuple(key for key in design.keys if key.split(".")[0] not in DECIDE_THE_IMPACT)):
        gate = _Gate()
        yield from ((int(k), gate) for k in members if not is_done[k])


def _gated(gate: _Gate, base: Scenario, design: Design, k: int, crew: _Crew) -> Row:
    if not gate.is_open:
        with gate.lock:
            if not gate.is_open:
                row = _row(base, design, k, crew)
                gate.is_open = True
                return row
    return _row(base, design, k, crew)


def _row(base: Scenario, design: Design, k: int, crew: _Crew) -> Row:
    """One member from start to end; nothing that goes wrong in it may end the sweep."""

    def watch(stage: str, share: float) -> None:
        if crew.is_stopped:
            raise _Stopped

    inputs = design.member(k)
    try:
        prediction = predict(varied(base, inputs), watch)
        status, reason = _outcome(prediction)
        return Row(k, inputs, prediction.numbers(), status, reason)
    except _Stopped:
        raise
    except tuple(_FAILURES) as error:
        status = next(word for kind, word in _FAILURES.items() if isinstance(error, kind))
        return Row(k, inputs, {}, status, str(error))
    except Exception as error:
        return Row(k, inputs, {}, "error", one_line(f"{type(error).__name__}: {error}"))


def _outcome(prediction: Prediction) -> tuple[str, str]:
    """Status and reason of a member that was predicted."""
    status = prediction.status
    if status == "done":
        if prediction.period_change_s is not None:
            return status, ""
        short = (side for side in (prediction.before, prediction.after) if side.period is None)
        return "not_measured", "; ".join(sentence for side in short for sentence in side.warnings)
    if status in ("miss", "grazing", "no_impact"):
        return status, prediction.impact.reason
    run = (prediction.before if status.endswith("_before") else prediction.after).trajectory
    days = max(abs(run.time_s[0]), abs(run.time_s[-1])) / DAY_S
    return status, f"{run.status} {days:.3f} days from the impact"
