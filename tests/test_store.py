"""Result files: read back bit for bit, readable by others, whole whatever happens, else refused in one line."""

import json
import os
import random
import re
import shutil
import signal
import time

import h5py
import numpy as np
import pytest
import xarray
from short_sweeps import HIT, PUSH, child, content, scenario, stored

from binarydyn import _jit
from binarydyn.commands import main
from binarydyn.constants import DAY_S
from binarydyn.ensembles import identity, rows_of
from binarydyn.errors import InputError
from binarydyn.files import seal
from binarydyn.files import whole as files
from binarydyn.observables import attitude, periods
from binarydyn.prediction import predict
from binarydyn.sampling import Block, Grid, Row
from binarydyn.scenario import Scenario
from binarydyn.store import (
    SweepStore,
    long_name_of,
    open_result,
    provenance,
    stored_members,
    stored_prediction,
    unit_of,
    write_prediction,
)
from binarydyn.store.groups import Column

MASS, SPEED = "impactor.mass_kg", "impactor.speed_km_s"
GRID = Grid.of({MASS: [-1.0, 300.0, 500.0, 900.0], SPEED: [4.0, 6.0, 8.0]})
MANY = 240
VARY = f"{MASS}=300:900:{MANY}"


@pytest.fixture(scope="module")
def prediction():
    return predict(scenario())


@pytest.fixture(scope="module")
def prediction_file(prediction, tmp_path_factory):
    path = tmp_path_factory.mktemp("prediction") / "p.h5"
    write_prediction(path, prediction)
    return path


@pytest.fixture(scope="module")
def sweep_file(tmp_path_factory):
    """In one go, in one block, by one thread."""
    path = tmp_path_factory.mktemp("sweep") / "s.h5"
    stored(path, GRID, workers=1, rows=1000)
    return path


@pytest.fixture(scope="module")
def many_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("many") / "s.h5"
    stored(path, Grid.from_texts([VARY]), rows=1000)
    return path


# ---- what is in a file


def test_a_prediction_reads_back_bit_for_bit(prediction, prediction_file):
    result = open_result(prediction_file)
    assert result.kind == "prediction" and result.scenario == prediction.scenario
    assert json.dumps(result.numbers) == json.dumps(prediction.numbers())
    for name in ("before", "after"):
        side, run = getattr(prediction, name), getattr(result, name)
        assert run.y.tobytes() == side.y.tobytes() and run.time_s.tobytes() == side.time_s.tobytes()
        again = getattr(stored_prediction(result), name)
        assert again.single_orbit_periods_s.tobytes() == side.single_orbit_periods_s.tobytes()
        assert (run.status, run.steps, run.relative_energy_error) == (
            "completed",
            side.steps,
            side.relative_energy_error,
        )
    assert result.period_changes_s["weighted_fit"] == prediction.period_change_s
    assert result.period_changes_s["closed_form_vis_viva"] == prediction.analytic_changes_s()["vis_viva"]
    assert result.calibration["mass_factor"] == prediction.start.mass_factor
    assert result.warnings == prediction.warnings


def test_a_stored_run_can_be_measured_like_a_fresh_one(prediction, prediction_file):
    result = open_result(prediction_file)
    for name in ("before", "after"):
        run, fresh = getattr(result, name), getattr(prediction, name)
        assert periods(run) == periods(fresh)
        assert attitude(run).libration_max_deg == attitude(fresh).libration_max_deg


def test_the_rows_of_a_sweep(sweep_file):
    result = stored_members(open_result(sweep_file))
    assert result.keys == (MASS, SPEED) and result.statuses() == {"completed": 9, "bad_input": 3}
    assert result.columns["member"].tolist() == list(range(12))
    assert result.on_grid(MASS)[:, 0].tolist() == [-1.0, 300.0, 500.0, 900.0]
    row = next(iter(rows_of(scenario(), GRID, 1, done=set(range(12)) - {7})))
    assert result.on_grid("period_change_s")[2, 1] == row.numbers["period_change_s"]
    stored = {name: values[7] for name, values in result.columns.items()}
    for name, value in row.numbers.items():
        assert np.isnan(stored[name]) if value is None else stored[name] == value
    assert np.isnan(result.on_grid("period_change_s")[0]).all() and result.columns["tumbling"][0] == -1
    assert "allowed is 0.001" in result.columns["reason"][0]


def test_a_sweep_without_one_prediction_and_one_that_ends_in_contact(tmp_path):
    bad = stored(tmp_path / "b.h5", Grid.of({MASS: [-1.0, -2.0]}))
    assert bad.statuses() == {"bad_input": 2} and set(bad.columns) == {"member", MASS, "status", "reason"}
    hard = stored(tmp_path / "c.h5", Grid.of({"velocity_change.along_track_mm_s": [-100.0, -1.0]}), PUSH)
    assert hard.columns["status"].tolist() == ["contact", "completed"]


def groups(path) -> list[str]:
    with h5py.File(path) as file:
        return list(file)


@pytest.mark.parametrize("which", ["prediction_file", "sweep_file"])
def test_others_can_read_every_group(which, request):
    """With xarray through h5netcdf, which knows netCDF-4 alone and nothing of this package."""
    path = request.getfixturevalue(which)
    assert xarray.open_dataset(path, engine="h5netcdf").attrs["kind"] in path.parent.name
    assert xarray.open_dataset(path).attrs["format"] == "binarydyn result"  # found out by its first bytes
    for name in groups(path):
        with xarray.open_dataset(path, engine="h5netcdf", group=name) as data:
            data.load()
            for key, variable in data.variables.items():
                assert variable.dtype.kind in "fiU", (name, key)
                if variable.dims == (key,):
                    assert key in data.coords
    if which == "sweep_file":
        data = xarray.open_dataset(path, engine="h5netcdf", group="members")
        assert data.sizes == {"member": 12} and data["period_change_s"].attrs["units"] == "s"
        assert data[MASS].values.tolist() == [-1.0] * 3 + [300.0] * 3 + [500.0] * 3 + [900.0] * 3
        words = dict(zip(data.status.attrs["flag_values"], data.status.attrs["flag_meanings"].split(), strict=True))
        assert [words[code] for code in data.status.values[[0, 4]]] == ["bad_input", "completed"]
        assert data["window_days"].values[4] == 6.0 and "allowed is 0.001" in data.reason.values[0]
    else:
        data = xarray.open_dataset(path, engine="h5netcdf", group="after")
        assert data.position_m.dims == ("time_s", "axis") and data.attitude2.dims == ("time_s", "component")
        assert data.time_s.values[-1] == 6.0 * DAY_S


@pytest.mark.parametrize("which", ["prediction_file", "sweep_file"])
def test_every_dataset_says_its_unit_and_name_and_none_is_pickled(which, request):
    with h5py.File(request.getfixturevalue(which)) as file:

        def check(name, thing):
            if isinstance(thing, h5py.Dataset):
                assert thing.attrs["units"] and thing.attrs["long_name"], name
                assert thing.dtype.kind in "fi" or h5py.check_string_dtype(thing.dtype).encoding == "utf-8", name
                assert thing.is_scale or all(len(dim) == 1 for dim in thing.dims), name

        file.visititems(check)


@pytest.mark.parametrize(
    ("name", "unit", "words"),
    [
        ("period_before_h", "h", "Orbit period before the impact"),
        ("period_change_s", "s", "Period change"),
        ("along_track_dv_mm_s", "mm/s", "Velocity change along-track"),
        ("velocity_m_s", "m/s", "velocity"),
        ("rate1_rad_s", "rad/s", "rate1"),
        ("nodal_precession_after_deg_day", "deg/day", "Nodal precession rate after the impact"),
        ("roll_max_after_deg", "deg", "Maximum roll after the impact"),
        ("separation_after_m", "m", "Mean separation after the impact"),
        ("total_mass_kg", "kg", "Total mass"),
        ("primary_density_kg_m3", "kg/m3", "Primary density"),
        ("inertia_kg_m2", "kg m2", "inertia"),
        ("window_days", "d", "Window"),
        ("simulation.sample_minutes", "min", "simulation sample"),
        ("impactor.speed_km_s", "km/s", "impactor speed"),
        ("primary.semi_axes_m.0", "m", "primary semi axes 0"),
        ("momentum_transfer.beta", "1", "momentum transfer beta"),
        ("eccentricity_after", "1", "Eccentricity after the impact"),
        ("relative_energy_error", "1", "Relative energy error"),
        ("status", "1", "Status"),
    ],
)
def test_units_follow_from_names_and_words_from_them_or_from_the_table_of_outcomes(name, unit, words):
    assert (unit_of(name), long_name_of(name)) == (unit, words)


def test_a_file_says_where_it_comes_from(sweep_file):
    found = open_result(sweep_file).attributes
    assert found["scenario"] == HIT and found["scenario_sha256"] == scenario().sha256
    assert Grid.from_json(found["design"]) == GRID and found["design_sha256"] == GRID.sha256
    assert found["tolerance"] == "1e-09" and found["members"] == 12 and found["schema"] == 3
    assert found["numpy_version"] == np.__version__ and re.fullmatch("[0-9a-f]{64}", found["source_digest"])
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00", found["created_utc"])
    assert "no hazard decision" in found["caution"]
    assert (
        found["seed"].startswith("none")
        and provenance.attributes(
            Scenario.from_text(
                HIT + f"[sampling]\nseed = 7\n[sampling.quantities]\n'{MASS}' = {{normal = [480.0, 1.0]}}\n"
            ),
            "sweep",
        )["seed"]
        == "7"
    )


# ---- interrupted


@pytest.mark.parametrize("stop_after", [1, 5, 11])
def test_a_sweep_that_was_left_and_resumed_is_the_same_file(stop_after, sweep_file, tmp_path):
    path = tmp_path / "s.h5"
    assert stored(path, GRID, stop_after=stop_after) is None
    assert not path.exists()
    with SweepStore(path, scenario(), GRID) as store:
        assert len(store.done()) == stop_after
    stored(path, GRID)
    assert content(path) == content(sweep_file)
    assert os.listdir(tmp_path) == ["s.h5"]


def command(folder) -> list[str]:
    (folder / "pair.toml").write_text(HIT)
    return ["sweep", str(folder / "pair.toml"), "--vary", VARY, "--out", str(folder / "s.h5"), "--json"]


def interrupted(folder, sent: signal.Signals) -> tuple[int, str]:
    """Start the command, send it a signal once two blocks are there; exit code and what it said."""
    process = child(*command(folder))
    while process.poll() is None and len(list(folder.glob("s.h5.parts/*.rows"))) < 2:
        time.sleep(0.002)
    process.send_signal(sent)
    err = process.communicate()[1]
    assert (folder / "s.h5.parts").is_dir() and not (folder / "s.h5").exists()
    return process.returncode, err


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_an_interrupted_command_resumes_to_the_same_file(sent, many_file, tmp_path, capsys):
    code, err = interrupted(tmp_path, sent)
    if sent is not signal.SIGKILL:
        told = [line for line in err.splitlines() if not line.startswith("sweep: ")]  # progress, on a slow machine
        assert code == 128 + sent and len(told) == 1 and "repeat the command to resume" in told[0]
        assert ("terminated" if sent is signal.SIGTERM else "interrupted") in told[0]
    else:
        assert code == -signal.SIGKILL
    assert main(command(tmp_path)) == 0
    report = json.loads(capsys.readouterr().out)
    assert 10 <= report["reused"] < MANY and report["reused"] + report["computed"] == MANY
    # the file was named otherwise, and that is all
    ours, theirs = content(tmp_path / "s.h5"), content(many_file)
    for name in ("@scenario_place", "@scenario_folder"):
        assert ours.pop(name) != theirs.pop(name)
    assert ours == theirs
    assert sorted(os.listdir(tmp_path)) == ["pair.toml", "s.h5"]


def test_a_finished_sweep_has_nothing_to_do(sweep_file, tmp_path, capsys):
    (tmp_path / "pair.toml").write_text(HIT)
    words = ["sweep", str(tmp_path / "pair.toml"), "--vary", f"{MASS}=300,-5", "--out", str(tmp_path / "s.h5")]
    assert main(words) == 1
    first, before = capsys.readouterr().out, (tmp_path / "s.h5").read_bytes()
    (tmp_path / "s.h5.parts").mkdir()  # as a kill between the rename and the removal leaves it
    (tmp_path / "s.h5.parts" / f"000001-{64 * 'a'}.rows").write_bytes(b"")
    assert main(words) == 1
    assert (
        "all members already present" in capsys.readouterr().out
        and "2 members computed" in first
        and "first bad_input" in first
    )
    assert (tmp_path / "s.h5").read_bytes() == before and not (tmp_path / "s.h5.parts").exists()


@pytest.mark.parametrize("how", ["flipped", "shortened", "emptied"])
def test_a_damaged_block_is_noted_and_computed_anew(how, sweep_file, tmp_path):
    path = tmp_path / "s.h5"
    stored(path, GRID, stop_after=9, rows=3)
    block = sorted((tmp_path / "s.h5.parts").glob("000002-*.rows"))[0]
    data = bytearray(block.read_bytes())
    data[random.Random(5).randrange(len(data))] ^= 1
    block.write_bytes({"flipped": bytes(data), "shortened": bytes(data[:-1]), "emptied": b""}[how])
    with SweepStore(path, scenario(), GRID) as store:
        assert len(store.damaged) == 1 and "000002" in store.damaged[0] and len(store.done()) == 6
    stored(path, GRID)
    assert content(path) == content(sweep_file)


def test_temporary_files_of_a_dead_process_are_no_blocks(sweep_file, tmp_path):
    path = tmp_path / "s.h5"
    stored(path, GRID, stop_after=4)
    block = next((tmp_path / "s.h5.parts").glob("*.rows"))
    shutil.copy(block, block.with_name(f".{block.name}.99999.tmp"))
    block.unlink()
    with SweepStore(path, scenario(), GRID) as store:
        assert store.done() == set()
    stored(path, GRID)
    assert content(path) == content(sweep_file) and os.listdir(tmp_path) == ["s.h5"]


# ---- refused


def refusal(path, text=HIT, design=GRID) -> str:
    with pytest.raises(InputError) as error, SweepStore(path, scenario(text), design):
        pass
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.mark.parametrize("finished", [True, False])
def test_rows_of_something_else_are_not_mixed_in(finished, tmp_path, monkeypatch):
    path = tmp_path / "s.h5"
    stored(path, GRID, stop_after=None if finished else 5)
    assert "another scenario" in refusal(path, HIT.replace("480.0", "481.0"))
    assert "another design" in refusal(path, design=Grid.of({MASS: [300.0, 500.0], SPEED: [4.0]}))
    monkeypatch.setattr(provenance, "source_digest", lambda: "0" * 64)
    assert "another state of the package's source" in refusal(path)
    monkeypatch.undo()
    monkeypatch.setattr(np, "__version__", "0.0.1")
    assert "another version of numpy" in refusal(path)
    monkeypatch.undo()
    with SweepStore(path, scenario(), GRID) as store:
        assert len(store.done()) == (12 if finished else 5)


def test_a_mesh_that_was_changed_is_noticed(tmp_path):
    (tmp_path / "rock.obj").write_text("v 1 0 0\n")
    text = HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "rock.obj", unit = "m"}')
    asked = Scenario.from_text(text, "pair.toml", tmp_path)
    with SweepStore(tmp_path / "s.h5", asked, GRID) as store:
        store.keep(Row(0, GRID.member(0), {}, "error", "made up"))
    with SweepStore(tmp_path / "s.h5", asked, GRID) as store:
        assert store.done() == {0}
    (tmp_path / "rock.obj").write_text("v 2 0 0\n")
    with pytest.raises(InputError, match="other mesh files"), SweepStore(tmp_path / "s.h5", asked, GRID):
        pass


def test_the_digest_of_the_source_sees_an_edit_in_any_folder_that_may_decide_a_number(tmp_path, monkeypatch):
    package = tmp_path / "binarydyn"
    shutil.copytree(identity._PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(identity, "_PACKAGE", package)
    digest = identity.source_digest.__wrapped__
    seen = digest()
    folders = {path for path in package.iterdir() if path.is_dir()} | {package / "scenario" / "invented.toml"}
    assert {"surroundings", "impact", "sampling", "files"} <= {path.name for path in folders}
    for place in sorted(folders | set(package.glob("*.py"))):
        with open(place / "__init__.py" if place.is_dir() else place, "a") as file:
            file.write("#")
        decides = place.name not in ("files", "store", "plots", "terminal", "commands")
        assert (digest() != seen) is decides, place.name
        seen = digest()
    (package / "surroundings" / "new.py").write_text("")
    assert digest() != seen


@pytest.mark.parametrize("name", ["constants.py", "vectors.py", "gravity/tape.py"])
def test_kernels_are_compiled_anew_after_an_edit_of_what_their_code_holds(name, tmp_path, monkeypatch):
    package = tmp_path / "binarydyn"
    shutil.copytree(identity._PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(_jit, "_PACKAGE", package)
    assert _jit._digest() == _jit.source_digest
    with open(package / name, "a") as file:
        file.write("#")
    assert _jit._digest() != _jit.source_digest


def test_two_processes_do_not_share_an_output(tmp_path):
    path = tmp_path / "s.h5"
    with SweepStore(path, scenario(), GRID):
        assert "another process" in refusal(path)
    with SweepStore(path, scenario(), GRID) as store:
        assert store.done() == set()
    assert os.listdir(tmp_path) == []


def shown(path, capsys) -> str:
    """The one line with which `show` refuses."""
    assert main(["show", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("binarydyn: ") and len(err.splitlines()) == 1
    return err


@pytest.mark.parametrize("which", ["prediction_file", "sweep_file"])
def test_a_truncated_file_is_one_line(which, request, tmp_path, capsys):
    data = request.getfixturevalue(which).read_bytes()
    for share in (0.0, 0.001, 0.01, 0.3, 0.9, 0.999):
        (tmp_path / "cut.h5").write_bytes(data[: int(share * len(data))])
        assert "no whole result file" in shown(tmp_path / "cut.h5", capsys)


def test_changed_numbers_are_one_line(sweep_file, prediction_file, tmp_path, capsys):
    for original, name in ((sweep_file, "members/period_change_s"), (prediction_file, "numbers/period_change_s")):
        path = shutil.copy(original, tmp_path)
        with h5py.File(path, "r+") as file:
            file[name][...] = np.nextafter(file[name][...], 0.0)
        assert "no whole result file" in shown(path, capsys)


def test_foreign_and_newer_files_are_one_line(tmp_path, capsys, monkeypatch):
    with h5py.File(tmp_path / "foreign.h5", "w") as file:
        file["x"] = 1.0
    assert "no whole result file" in shown(tmp_path / "foreign.h5", capsys)
    (tmp_path / "odd.h5").write_bytes(seal.sealed((tmp_path / "foreign.h5").read_bytes()))
    assert "no binarydyn result" in shown(tmp_path / "odd.h5", capsys)
    monkeypatch.setattr(seal, "SCHEMA", 4)
    monkeypatch.setattr(seal, "version", lambda _: "9.1")
    (tmp_path / "newer.h5").write_bytes(seal.sealed(b"anything"))
    monkeypatch.undo()
    assert "version 4, allowed is 3; read it with binarydyn 9.1" in shown(tmp_path / "newer.h5", capsys)
    (tmp_path / "text.h5").write_text(HIT)
    said = shown(tmp_path / "text.h5", capsys)
    assert "this is no result file, allowed is one of this package" in said and "SHA-256" not in said
    assert "folder" in shown(tmp_path, capsys)
    assert "no such file" in shown(tmp_path / "none.h5", capsys)
    assert "no such file" in shown("a\0b", capsys)
    assert "no such file" in shown("a" * 5000, capsys)


def test_a_place_that_cannot_be_written_is_refused_before_anything_is_computed(sweep_file, tmp_path):
    for path, word in ((tmp_path, "folder"), (tmp_path / "none" / "s.h5", "no folder"), (tmp_path / "a\0b", "cannot")):
        assert word in refusal(path)
    assert "cannot" in refusal(tmp_path / ("a" * 300)) and "cannot be written" in refusal(tmp_path / ("a" * 252))
    (tmp_path / "notes.txt").write_text("mine")
    assert "no result file" in refusal(tmp_path / "notes.txt")
    assert os.listdir(tmp_path) == ["notes.txt"]


def test_nothing_but_a_prediction_is_replaced_by_a_prediction(prediction, sweep_file, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    path = shutil.copy(sweep_file, tmp_path)
    for there in (tmp_path / "notes.txt", path):
        before = open(there, "rb").read()
        with pytest.raises(InputError):
            write_prediction(there, prediction)
        assert open(there, "rb").read() == before
    write_prediction(tmp_path / "p.h5", prediction)
    write_prediction(tmp_path / "p.h5", prediction)
    assert open_result(tmp_path / "p.h5").kind == "prediction"


def test_a_write_that_fails_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "a.h5"
    files.put(path, b"old")

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(InputError, match="No space left"):
        files.put(path, b"new")
    assert path.read_bytes() == b"old" and os.listdir(tmp_path) == ["a.h5"]


# ---- shown


def test_show_prints_a_prediction(prediction, prediction_file, capsys):
    assert main(["show", str(prediction_file)]) == 0
    out = capsys.readouterr().out
    assert f"{prediction.period_change_s:.10g}" in out and "no hazard decision" in out and scenario().sha256 in out
    assert main(["show", str(prediction_file), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["numbers"]["period_change_s"] == prediction.period_change_s and report["kind"] == "prediction"


def test_show_prints_a_sweep(sweep_file, capsys):
    assert main(["show", str(sweep_file)]) == 0
    out = capsys.readouterr().out
    assert "9 completed, 3 bad_input" in out and "first bad_input" in out and "no hazard decision" in out
    assert main(["show", str(sweep_file), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    change = open_result(sweep_file).columns["period_change_s"]
    # a head-on impact: the more momentum, the larger the loss of period
    assert report["period_change_s"]["largest"] == {"value_s": np.nanmin(change), "at": {MASS: 900.0, SPEED: 8.0}}
    assert report["period_change_s"]["smallest"] == {"value_s": np.nanmax(change), "at": {MASS: 300.0, SPEED: 4.0}}
    assert report["statuses"] == {"completed": 9, "bad_input": 3}


# ---- many rows at once


def block_of(rows: list[Row]) -> Block:
    """Rows as columns, as members computed together give them."""
    names = [name for name in max((row.numbers for row in rows), key=len) if name != "status"]
    unknown = {name: Column.of(name, None).values.item() for name in names}
    values = {name: [row.numbers.get(name) for row in rows] for name in names}
    numbers = {name: np.array([unknown[name] if x is None else x for x in listed]) for name, listed in values.items()}
    plain = ([row.index for row in rows], [row.status for row in rows], [row.reason for row in rows])
    members, status, reason = map(np.array, plain)
    return Block(members, numbers, status, reason)


def test_rows_and_blocks_of_them_give_the_same_file(sweep_file, tmp_path):
    rows = list(rows_of(scenario(), GRID, 1))
    with SweepStore(tmp_path / "s.h5", scenario(), GRID, block_rows=5) as store:
        store.keep(block_of(rows[:7]))
        store.keep(rows[7])
        store.keep(block_of(rows[8:]))
        assert store.done() == set(range(12))
        store.finish()
    assert content(tmp_path / "s.h5") == content(sweep_file)


def test_a_brief_table_does_not_go_on_a_full_one(tmp_path):
    stored(tmp_path / "s.h5", GRID, stop_after=5)
    with pytest.raises(InputError, match="another table"):
        SweepStore(tmp_path / "s.h5", scenario(), GRID, table="summary").__enter__()
    with pytest.raises(InputError, match="full or summary"):
        SweepStore(tmp_path / "s.h5", scenario(), GRID, table="short")


def test_a_block_has_as_many_values_as_members_and_each_once():
    two = np.array(["completed", "completed"])
    with pytest.raises(ValueError, match="period_h"):
        Block(np.arange(2), {"period_h": np.zeros(3)}, two, two)
    with pytest.raises(ValueError, match="twice"):
        Block(np.array([4, 4]), {}, two, two)
