"""Designs and members: a row depends on its member alone, and whatever becomes of a member is a row."""

import json
import math
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from queue import SimpleQueue

import numpy as np
import pytest
from short_sweeps import HIT, PUSH, scenario

from binarydyn.commands import main
from binarydyn.ensembles import pool, rows_of
from binarydyn.errors import InputError
from binarydyn.prediction import predict
from binarydyn.sampling import Grid, MemberSet, member_scenario, members, swept
from binarydyn.scenario import varied
from binarydyn.terminal.interruption import Interruption

# the function hides the module of its name
WINDOWS = sys.modules["binarydyn.prediction.windows"]
MASS, SPEED = "impactor.mass_kg", "impactor.speed_km_s"


def in_order(rows) -> list:
    return sorted(rows, key=lambda row: row.index)


def bits(numbers: dict) -> dict:
    """Floats as the hexadecimal text of their bits, so that equal means the same."""
    return {name: float(value).hex() if isinstance(value, float) else value for name, value in numbers.items()}


# ---- designs


def test_a_grid_holds_both_ends_and_its_last_axis_varies_fastest():
    grid = Grid.from_texts([f"{MASS}=300:900:3", f"{SPEED} = 4, 8"])
    assert grid.keys == (MASS, SPEED) and grid.shape == (3, 2) and len(grid) == 6
    assert [tuple(grid.member(k).values()) for k in range(6)] == [
        (300.0, 4.0), (300.0, 8.0), (600.0, 4.0), (600.0, 8.0), (900.0, 4.0), (900.0, 8.0)
    ]  # fmt: skip
    assert dict(grid.axes)[MASS] == tuple(np.linspace(300.0, 900.0, 3))
    assert Grid.from_texts(["a=5"]).axes == (("a", (5.0,)),)
    assert Grid.from_texts(["a=9:3:4"]).axes == (("a", (9.0, 7.0, 5.0, 3.0)),)
    with pytest.raises(ValueError):
        grid.member(6)


def test_the_hash_of_a_design_tells_designs_apart_and_survives_its_text():
    grid = Grid.of({MASS: np.linspace(0.1, 0.7, 7), SPEED: [1 / 3]})
    assert Grid.from_json(grid.json) == grid and Grid.from_json(grid.json).sha256 == grid.sha256
    others = [
        Grid.of({SPEED: [1 / 3], MASS: np.linspace(0.1, 0.7, 7)}),
        Grid.of({MASS: np.linspace(0.1, 0.7, 7), SPEED: [math.nextafter(1 / 3, 1)]}),
        Grid.of({MASS: np.linspace(0.1, 0.7, 8), SPEED: [1 / 3]}),
    ]
    assert len({grid.sha256, *(other.sha256 for other in others)}) == 4


@pytest.mark.parametrize(
    ("vary", "word"),
    [
        (["impactor.mas_kg=1,2"], "did you mean mass_kg?"),
        (["impactor.mass_g=1,2"], "mass_kg"),
        (["mass_kg=1,2"], "belongs in"),
        (["impactor.direction=1,2"], "impactor.direction.along_track"),
        (["name=1,2"], "not a single number"),
        (["velocity_change.radial_mm_s=1,2"], "does not give"),
        (["sampling.seed=1,2"], "not a single number"),
        ([f"{MASS}=300:900"], "2 numbers are between the colons"),
        ([f"{MASS}=300:900:13:2"], "4 numbers"),
        ([f"{MASS}=300:900:0"], "count"),
        ([f"{MASS}=300:900:-1"], "count"),
        ([f"{MASS}=300:900:2.5"], "count"),
        ([f"{MASS}=300:900:1e3"], "count"),
        ([f"{MASS}=300:900:"], "count"),
        ([f"{MASS}=300:900:99999999999"], "count"),
        ([f"{MASS}=300:900:\u0663"], "count"),
        ([f"{MASS}=300:900:1"], "one value between"),
        ([f"{MASS}=300:300:2"], "two different ends"),
        ([f"{MASS}=300kg:900kg:3"], "without a unit"),
        ([f"{MASS}=300,,900"], "a number"),
        ([f"{MASS}=300,inf"], "finite"),
        ([f"{MASS}=nan"], "finite"),
        ([f"{MASS}=-1e308:1.7e308:3"], "too far apart"),
        ([f"{MASS}=300,300"], "twice"),
        ([f"{MASS}="], "key and values"),
        (["=1,2"], "key and values"),
        ([MASS], "key and values"),
        ([""], "key and values"),
        ([f"{MASS}=1,2", f"{MASS}=3"], "twice"),
        ([f"{MASS}=1:2:9999", f"{SPEED}=1:2:9999"], "members"),
        ([], "nothing to vary"),
    ],
)
def test_a_wrong_vary_is_one_line(vary, word, tmp_path, capsys):
    file = tmp_path / "pair.toml"
    file.write_text(HIT)
    words = [part for text in vary for part in ("--vary", text)]
    assert main(["sweep", str(file), *words, "--out", str(tmp_path / "s.h5")]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("binarydyn: --vary") and len(err.splitlines()) == 1
    assert word in err
    assert [path.name for path in tmp_path.iterdir()] == ["pair.toml"]


def test_no_worker_is_refused():
    with pytest.raises(InputError, match="workers: 0 is given"):
        rows_of(scenario(), Grid.of({MASS: [1.0]}), workers=0)


# ---- rows

GRID = Grid.of({MASS: [300.0, 500.0, 900.0], "primary.rotation_phase_deg": [0.0, 77.0]})


@pytest.fixture(scope="module")
def rows() -> list:
    return in_order(rows_of(scenario(), GRID, workers=2))


def test_each_member_gives_one_row(rows):
    assert [row.index for row in rows] == list(range(6))
    assert [row.inputs for row in rows] == [GRID.member(k) for k in range(6)]
    assert {(row.status, row.reason) for row in rows} == {("completed", "")}
    changes = [row.numbers["period_change_s"] for row in rows]
    assert all(change < -100.0 for change in changes) and len(set(changes)) == 6


def test_a_row_is_what_predict_says_bit_for_bit(rows):
    WINDOWS._before_of.cache_clear()
    for row in reversed(rows):
        asked = varied(scenario(), {**row.inputs, "simulation.tolerance": 1e-9})
        assert bits(predict(asked).numbers()) == bits(row.numbers)


def test_a_row_is_what_the_command_says_in_a_process_of_its_own(rows, tmp_path):
    file = tmp_path / "member.toml"
    file.write_text(member_scenario(scenario(), rows[3].inputs).text)
    done = subprocess.run(
        [sys.executable, "-m", "binarydyn", "predict", str(file), "--json"], capture_output=True, text=True, check=True
    )
    said = json.loads(done.stdout)
    assert bits({name: said[name] for name in rows[3].numbers}) == bits(rows[3].numbers)


def test_a_process_that_compiles_and_one_that_loads_give_the_same_bits(rows, tmp_path):
    """Else a resumed sweep would differ from one in one go, whose rows all come from the process that compiled."""
    file = tmp_path / "member.toml"
    file.write_text(member_scenario(scenario(), rows[3].inputs).text)
    command = [sys.executable, "-m", "binarydyn", "predict", str(file), "--json"]
    empty = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    runs = [subprocess.run(command, capture_output=True, text=True, check=True, env=empty) for _ in range(2)]
    assert runs[0].stdout == runs[1].stdout


@pytest.mark.parametrize("workers", [1, 3])
def test_the_number_of_workers_changes_no_bit(rows, workers):
    WINDOWS._before_of.cache_clear()
    again = in_order(rows_of(scenario(), GRID, workers))
    assert [(r.inputs, bits(r.numbers), r.status) for r in again] == [
        (r.inputs, bits(r.numbers), r.status) for r in rows
    ]


def test_what_is_done_is_left_out_and_changes_no_bit(rows):
    WINDOWS._before_of.cache_clear()
    rest = in_order(rows_of(scenario(), GRID, 2, done={0, 2, 3, 4}))
    assert [row.index for row in rest] == [1, 5]
    assert [bits(row.numbers) for row in rest] == [bits(rows[k].numbers) for k in (1, 5)]
    assert list(rows_of(scenario(), GRID, 2, done=range(6))) == []


def test_the_tolerance_of_sweeps_gives_way_to_one_that_is_stated():
    assert swept(scenario()).simulation.tolerance == 1e-9
    stated = HIT.replace("days_before", "tolerance = 1e-11\ndays_before")
    assert swept(scenario(stated)).simulation.tolerance == 1e-11
    a, b = in_order(rows_of(scenario(), Grid.of({"simulation.tolerance": [1e-7, 1e-12]}), 1))
    assert a.numbers["relative_energy_error"] > 100.0 * b.numbers["relative_energy_error"]
    assert bits(b.numbers) == bits(predict(scenario(HIT)).numbers())


def test_what_members_share_is_worked_out_once(monkeypatch):
    """Ten states before the impact, more than predict keeps, in the order in which they would drive each other out."""
    calls = Counter()
    start = WINDOWS.start
    monkeypatch.setattr(
        WINDOWS, "start", lambda asked: calls.update([asked.primary.rotation_phase_deg]) or start(asked)
    )
    WINDOWS._before_of.cache_clear()
    phases = [float(phase) for phase in range(10)]
    done = list(rows_of(scenario(), Grid.of({MASS: [300.0, 500.0, 700.0], "primary.rotation_phase_deg": phases}), 2))
    assert len(done) == 30 and calls == Counter(phases)


# ---- failures


def outcome(text: str, key: str, values: list[float]) -> dict[float, tuple[str, str]]:
    rows = list(rows_of(scenario(text), Grid.of({key: values}), 2))
    assert len(rows) == len(values)
    for row in rows:
        assert (row.status == "completed") == (row.reason == "")
        json.dumps(row.numbers, allow_nan=False)
    return {row.inputs[key]: (row.status, row.reason) for row in rows}


def test_what_becomes_of_a_push():
    found = outcome(PUSH, "velocity_change.along_track_mm_s", [-100.0, -1.0, 80.0])
    assert {value: status for value, (status, _) in found.items()} == {
        -100.0: "contact",
        -1.0: "completed",
        80.0: "escape",
    }
    assert "days from the impact" in found[80.0][1]


def test_what_becomes_of_a_hit():
    found = outcome(HIT, MASS, [-5.0, 480.0])
    assert found[-5.0][0] == "bad_input" and "allowed is 0.001" in found[-5.0][1]
    assert outcome(HIT, "impactor.aim_offset_m.0", [500.0])[500.0][0] == "miss"
    assert outcome(PUSH.partition("[velocity_change]")[0], "primary.rotation_phase_deg", [5.0])[5.0][0] == "no_impact"


def test_what_becomes_of_a_short_window_and_of_a_start_that_is_not_found():
    status, reason = outcome(HIT, "simulation.days_after", [0.2])[0.2]
    assert status == "not_measured" and "cycles in the window" in reason
    harder = HIT.replace("[mutual_orbit]", "libration_amplitude_deg = 59.0\n[mutual_orbit]\neccentricity = 0.15")
    for status, reason in outcome(harder, "simulation.degree", [2.0, 4.0]).values():
        assert status == "bad_input" and "the secondary does not stay synchronous" in reason


def test_an_error_of_any_kind_is_a_row_and_the_others_go_on(monkeypatch):
    def predict(asked, progress):
        if asked.impactor.mass_kg == 300.0:
            raise ZeroDivisionError("on\npurpose")
        return real(asked, progress=progress)

    real = members.predict
    monkeypatch.setattr(members, "predict", predict)
    found = outcome(HIT, MASS, [200.0, 300.0, 400.0])
    assert found[300.0] == ("error", "ZeroDivisionError: on\\npurpose")
    assert found[200.0][0] == found[400.0][0] == "completed"


# ---- interruption


def all_members_left() -> bool:
    """Whether the threads have ended, or do so at once: they have nothing to do any more."""
    crew = [thread for thread in threading.enumerate() if thread.name.startswith("member")]
    for thread in crew:
        thread.join(10.0)
    return not any(thread.is_alive() for thread in crew)


def test_a_sweep_that_is_left_gives_up_the_members_under_way(monkeypatch):
    begun, ended = [], []
    real = members.predict

    def predict(asked, progress):
        if asked.impactor.mass_kg < 103.0:
            return real(asked, progress=progress)
        begun.append(asked.impactor.mass_kg)
        for _ in range(5000):
            progress("on and on", 0.5)
            time.sleep(0.001)
        ended.append(asked.impactor.mass_kg)

    monkeypatch.setattr(members, "predict", predict)
    rows = rows_of(scenario(), Grid.of({MASS: np.arange(100.0, 200.0)}), 2)
    for _ in range(3):
        next(rows)
    while len(begun) < 2:
        time.sleep(0.001)
    rows.close()
    assert all_members_left() and len(begun) == 2 and ended == []


class Interrupted:
    """A queue whose third reading is interrupted, once all that was handed out has come back: for 2 threads, 4 each."""

    def __init__(self):
        self.queue, self.readings = SimpleQueue(), 0
        self.put, self.empty = self.queue.put, self.queue.empty

    def get(self, timeout=None):
        if threading.current_thread() is threading.main_thread():
            self.readings += 1
            if self.readings == 3:
                while self.queue.qsize() < 8:
                    time.sleep(0.001)
                raise KeyboardInterrupt
        return self.queue.get(timeout=timeout)


def test_an_interruption_still_gives_the_rows_that_are_ready(monkeypatch):
    monkeypatch.setattr(pool, "SimpleQueue", Interrupted)
    rows, seen = rows_of(scenario(), Grid.of({MASS: np.linspace(100.0, 900.0, 50)}), 2), []
    with pytest.raises(KeyboardInterrupt):
        for row in rows:
            seen.append(row.index)
    assert sorted(seen) == list(range(1 + 2 + 8))
    assert all_members_left()


def test_what_is_held_is_done_to_its_end_and_no_interruption_is_lost():
    done, before = [], signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), Interruption() as interruption:
        with interruption.held():
            signal.raise_signal(signal.SIGINT)
            done.append("held")
        done.append("not reached")
    assert done == ["held"]

    class Callback:
        def __del__(self):
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(KeyboardInterrupt), Interruption() as interruption:
        sys.unraisablehook, hook = lambda _: done.append("lost"), sys.unraisablehook
        Callback()
        sys.unraisablehook = hook
        with interruption.held():
            done.append("held again")
    assert done == ["held", "lost", "held again"]
    assert signal.getsignal(signal.SIGINT) is before


# ---- which members, in which order


def test_a_set_of_members_is_a_set():
    some = MemberSet(10, [3, 5])
    some.add(np.array([7]))
    assert some == {3, 5, 7} and len(some) == 3 and list(some) == [3, 5, 7] and 4 not in some and 11 not in some
    assert MemberSet(20, some) == some and some & {5, 9} == {5}


def test_members_that_agree_come_together():
    grid = Grid.of({MASS: [1.0, 2.0, 3.0], "primary.rotation_phase_deg": [0.0, 9.0], SPEED: [4.0, 5.0]})
    groups = [list(group) for group in grid.together(("primary.rotation_phase_deg",))]
    assert sorted(sum(groups, [])) == list(range(12)) and [len(group) for group in groups] == [6, 6]
    for group in groups:
        assert len({grid.member(k)["primary.rotation_phase_deg"] for k in group}) == 1
    assert [list(group) for group in grid.together(())] == [list(range(12))]
    found = grid.inputs(np.arange(12))
    assert all({key: values[k] for key, values in found.items()} == grid.member(k) for k in range(12))
