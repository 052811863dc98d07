"""Where results, tables and figures go: devices, links and other work are refused or followed, never eaten or lost."""

import json
import os
import resource
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from short_sweeps import HIT
from test_geometry import pair

from binarydyn.commands import main
from binarydyn.ensembles import rows_of
from binarydyn.errors import InputError
from binarydyn.files.csv_tables import LIGHT_CURVE, MIDDLES, TIMETABLE, check_csv, write_rows
from binarydyn.prediction import predict
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario
from binarydyn.store import SweepStore, open_result, write_prediction

GRID = Grid.of({"impactor.mass_kg": [400.0, 480.0]})
TABLES = {
    "mid": (["timing", "--days", "2", "--synthesise"], MIDDLES),
    "events": (["events", "--days", "1", "--csv"], TIMETABLE),
    "light": (["light-curve", "--days", "0.1", "--facets", "80", "--csv"], LIGHT_CURVE),
}


def refused(words, capsys) -> str:
    """The one line with which a command refuses."""
    assert main([str(word) for word in words]) == 2, words
    error = capsys.readouterr().err
    assert error.startswith("binarydyn: ") and error.count("\n") == 1, error
    return error


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "hit.toml"
    path.write_text(HIT)
    return path


# ---- devices and pipes

LIMITED = """
import contextlib, io, json, resource, signal, sys
from binarydyn.commands import main
from binarydyn import plots, store
pages = int(open("/proc/self/statm").read().split()[0])
whole = pages * resource.getpagesize() + (600 << 20)
resource.setrlimit(resource.RLIMIT_AS, (whole, whole))
signal.alarm(50)
told = []
for words in json.loads(sys.argv[1]):
    with contextlib.redirect_stderr(io.StringIO()) as said:
        code = main(words)
    told.append((words, code, said.getvalue()))
print(json.dumps(told))
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs the devices of Linux")
def test_a_device_or_a_pipe_is_refused_without_reading_it(file, tmp_path):
    """A child that may take 600 MB more than it has: what reads a device to its end dies of that, not the machine."""
    pipe, picture = tmp_path / "pipe", tmp_path / "pipe.png"
    os.mkfifo(pipe)
    os.mkfifo(picture)
    link = tmp_path / "link.h5"
    link.symlink_to("/dev/full")
    vary = ["--vary", "impactor.mass_kg=400:480:2"]
    asked = [
        ["predict", file, "--out", "/dev/full"],
        ["predict", file, "--out", pipe],
        ["predict", file, "--out", link],
        ["predict", file, "--plot", picture],
        ["sweep", file, *vary, "--out", "/dev/full"],
        ["sweep", file, *vary, "--out", pipe],
        ["check", pipe],
        ["check", "/dev/zero"],
        ["validate", pipe],
        ["timing", "--events", pipe],
        ["timing", "--events", "/dev/zero"],
        ["show", "/dev/zero"],
        ["show", pipe],
        ["merge", "/dev/zero", "--out", tmp_path / "x.h5"],
        ["merge", pipe, "--out", tmp_path / "x.h5"],
        *([*words, place] for words, _ in TABLES.values() for place in ("/dev/full", pipe)),
    ]
    words = json.dumps([list(map(str, each)) for each in asked])
    child = subprocess.run([sys.executable, "-c", LIMITED, words], capture_output=True, text=True, timeout=300.0)
    assert child.returncode == 0, child.stderr[-2000:]
    for given, code, said in json.loads(child.stdout):
        assert code == 2 and "device or a pipe" in said and said.count("\n") == 1, (given, code, said)
    assert stat.S_ISFIFO(pipe.stat().st_mode) and not (tmp_path / "x.h5").exists()


def test_a_seal_is_looked_for_in_the_last_bytes_alone():
    class Endless:
        """What has no size, as a device that came in the place of a file."""

        def seek(self, *_):
            return 0

        def read(self, count=-1):
            assert count >= 0, "an unbounded read"
            return bytes(count)

    from binarydyn.files.seal import _found

    assert _found(Endless()) is None


def test_a_folder_that_only_says_that_it_can_be_written_is_refused_before_anything_is_computed(
    file, tmp_path, capsys, monkeypatch
):
    def never(*_, **__):
        raise AssertionError("computed before")

    monkeypatch.setattr("binarydyn.commands.predict.run", never)
    if Path("/proc/self").exists():
        for option, name in (("--out", "x.h5"), ("--plot", "x.png")):
            assert f"/proc/{name}: it cannot be written" in refused(["predict", file, option, f"/proc/{name}"], capsys)

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("binarydyn.files.whole._new", full)
    assert "No space left" in refused(["predict", file, "--out", tmp_path / "a.h5"], capsys)
    monkeypatch.undo()
    assert os.listdir(tmp_path) == ["hit.toml"]


# ---- readers that go away

ABANDONED = """
import json, os, sys
from binarydyn.commands import main
told = []
for words in json.loads(sys.argv[1]):
    reader, writer = os.pipe()
    os.close(reader)
    os.dup2(writer, 1)
    os.close(writer)
    sys.stdout = open(1, "w", closefd=False)
    told.append((words, main(words)))
sys.stderr.write(json.dumps(told))
"""


def test_a_reader_who_goes_away_costs_no_file(file, tmp_path):
    """Whoever reads the standard output closes it before the first line."""
    short = ["--days", "0.1", "--facets", "80"]
    times = tmp_path / "mid.csv"
    asked = [
        ["predict", file, "--out", tmp_path / "p.h5", "--plot", tmp_path / "p.png", "--plot-aim", tmp_path / "a.png"],
        ["predict", file, "--json", "--out", tmp_path / "j.h5"],
        ["describe", file, "--plot", tmp_path / "d.png"],
        [
            "events",
            "--days",
            "1",
            "--csv",
            tmp_path / "e.csv",
            "--out",
            tmp_path / "e.h5",
            "--plot",
            tmp_path / "e.png",
        ],
        ["light-curve", *short, "--csv", tmp_path / "l.csv", "--plot", tmp_path / "l.png"],
        [
            "sweep",
            file,
            "--vary",
            "impactor.mass_kg=400:480:2",
            "--out",
            tmp_path / "s.h5",
            "--plot",
            tmp_path / "s.png",
        ],
        ["timing", "--days", "6", "--synthesise", times],
        ["timing", "--events", times, "--plot", tmp_path / "t.png"],
        ["show", tmp_path / "s.h5", "--plot", tmp_path / "o.png"],
        ["check", file],
        ["predict", "--help"],
        ["--version"],
    ]
    words = json.dumps([list(map(str, each)) for each in asked])
    child = subprocess.run([sys.executable, "-c", ABANDONED, words], stderr=subprocess.PIPE, text=True, timeout=600.0)
    assert child.returncode == 0 and "Error" not in child.stderr, child.stderr[-2000:]
    for given, code in json.loads(child.stderr.splitlines()[-1]):
        assert code == 141, given
        for place in given[2:]:
            path = Path(place)
            if path.suffix in (".h5", ".png", ".csv"):
                assert path.stat().st_size > 0, given
                if path.suffix == ".h5":
                    open_result(path)
                if path.suffix == ".png":
                    assert path.read_bytes().endswith(b"IEND\xaeB`\x82")


def test_what_is_computed_is_said_although_a_file_fails(file, tmp_path, capsys, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert main(["predict", str(file), "--out", str(tmp_path / "p.h5")]) == 2
    out, err = capsys.readouterr()
    assert "Period change" in out and "No space left" in err and err.count("\n") == 1
    assert os.listdir(tmp_path) == ["hit.toml"]


def test_without_a_standard_error_files_are_written_and_refusals_stay_off_the_output(file, tmp_path):
    """As `2>&-` has it."""
    shell = ["sh", "-c", 'exec "$@" 2>&-', "sh", sys.executable, "-m", "binarydyn"]
    for words, code in (
        (["predict", file, "--out", tmp_path / "p.h5"], 0),
        (["sweep", file, "--vary", "impactor.mass_kg=400,480", "--out", tmp_path / "s.h5"], 0),
        (["check", tmp_path / "nothing.toml"], 2),
    ):
        done = subprocess.run([*shell, *map(str, words)], stdout=subprocess.PIPE, text=True, timeout=300.0)
        assert done.returncode == code and bool(done.stdout) == (code == 0), words
    assert open_result(tmp_path / "p.h5").kind == "prediction" and open_result(tmp_path / "s.h5").kind == "sweep"


# ---- one name for two things


def test_two_outputs_of_one_name_are_refused_before_anything_is_computed(file, tmp_path, capsys, monkeypatch):
    for name in ("commands.predict.run", "relaxed.build", "dynamics.simulate"):
        monkeypatch.setattr(f"binarydyn.{name}", None)
    picture, link, hard = tmp_path / "x.png", tmp_path / "y.png", tmp_path / "z.png"
    picture.write_bytes(b"older")
    link.symlink_to(picture)
    os.link(picture, hard)
    (tmp_path / "folder").symlink_to(tmp_path)
    vary = ["--vary", "impactor.mass_kg=400:480:2"]
    table = tmp_path / "t.png"
    table.write_text("mid_utc,kind,body\n")
    for words in (
        ["predict", file, "--out", picture, "--plot", picture],
        ["predict", file, "--plot", picture, "--plot-aim", link],
        ["predict", file, "--plot", picture, "--plot-aim", hard],
        ["predict", file, "--plot", tmp_path / "new.png", "--plot-aim", tmp_path / "folder" / "new.png"],
        ["sweep", file, *vary, "--out", picture, "--plot", picture],
        ["events", file, "--csv", picture, "--plot", picture],
        ["events", file, "--csv", tmp_path / "t", "--out", tmp_path / "t"],
        ["light-curve", file, "--csv", picture, "--plot", link],
    ):
        assert "writes to the same file" in refused(words, capsys), words
    for words in (
        ["predict", file, "--out", file],
        ["predict", picture, "--plot", hard],
        ["timing", file, "--events", table, "--plot", table],
        ["infer", file, "--events", table, "--plot", table],
        ["show", picture, "--plot", picture],
    ):
        if words[1] == picture and words[0] == "predict":
            picture.write_text(HIT)
        assert "this is an input, a result would replace it" in refused(words, capsys), words
    rock = tmp_path / "rock.png"
    rock.write_text("v 1 0 0\n")
    file.write_text(HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "rock.png", unit = "m"}'))
    assert "this is an input" in refused(["describe", file, "--plot", rock], capsys)
    assert rock.read_text() == "v 1 0 0\n"


def test_a_hyphen_is_no_file(file, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    vary = ["--vary", "impactor.mass_kg=400:480:2"]
    for words in (["predict", file, "--out"], ["sweep", file, *vary, "--out"], ["merge", file, "--out"]):
        assert "-: nothing is written to the standard output but text" in refused([*words, "-"], capsys)
    for words, _ in TABLES.values():
        assert "-: nothing is written to the standard output but text" in refused([*words, "-"], capsys)
    assert os.listdir(tmp_path) == ["hit.toml"]


# ---- links


def test_what_stands_in_the_place_of_a_lock_or_a_draft_is_not_touched(file, tmp_path, capsys):
    scenario = Scenario.from_text(HIT, "hit.toml", tmp_path)
    precious, folder = tmp_path / "precious", tmp_path / "s.h5.parts"
    precious.write_text("all I have")
    folder.mkdir()
    (folder / "lock").symlink_to(precious)
    with (
        pytest.raises(InputError, match="folder for blocks cannot be made"),
        SweepStore(tmp_path / "s.h5", scenario, GRID),
    ):
        pass
    (folder / "lock").unlink()
    os.mkfifo(folder / "lock")
    with pytest.raises(InputError, match="its lock is no file"), SweepStore(tmp_path / "s.h5", scenario, GRID):
        pass
    (folder / "lock").unlink()
    os.link(precious, folder / "lock")
    with SweepStore(tmp_path / "s.h5", scenario, GRID):
        pass
    other = tmp_path / "other"
    other.mkdir()
    (other / ".mine.tmp").write_text("all I have")
    (tmp_path / "t.h5.parts").symlink_to(other)
    with (
        pytest.raises(InputError, match="this is a link, allowed is a folder"),
        SweepStore(tmp_path / "t.h5", scenario, GRID),
    ):
        pass
    for name in ("x.csv", "x.png"):
        (tmp_path / f".{name}.{os.getpid()}.tmp").symlink_to(precious)
    assert main(["light-curve", "--days", "0.1", "--facets", "80", "--csv", str(tmp_path / "x.csv")]) == 0
    assert main(["describe", str(file), "--plot", str(tmp_path / "x.png")]) == 0
    assert precious.read_text() == (other / ".mine.tmp").read_text() == "all I have"
    assert not (tmp_path / "x.csv").is_symlink() and (tmp_path / "x.csv").stat().st_size > 100


def test_a_block_that_is_a_pipe_is_damaged(file, tmp_path):
    scenario = Scenario.from_text(HIT, "hit.toml", tmp_path)
    folder = tmp_path / "s.h5.parts"
    folder.mkdir()
    os.mkfifo(folder / f"000001-{'0' * 64}.rows")
    with SweepStore(tmp_path / "s.h5", scenario, GRID) as store:
        assert len(store.damaged) == 1 and not len(store.done())


def test_a_result_goes_through_a_link_and_its_blocks_lie_beside_the_target(file, tmp_path):
    scenario = Scenario.from_text(HIT, "hit.toml", tmp_path)
    there, here = tmp_path / "there", tmp_path / "here"
    there.mkdir()
    here.mkdir()
    (here / "s.h5").symlink_to("../there/s.h5")  # dangling until it is written
    (here / "p.h5").symlink_to(there / "p.h5")
    rows = list(rows_of(scenario, GRID))
    with SweepStore(here / "s.h5", scenario, GRID) as store:
        store.keep(rows[0])
        store.flush()
        assert [path.name for path in there.iterdir()] == ["s.h5.parts"]
        with pytest.raises(InputError, match="1 blocks are kept"):
            open_result(here / "s.h5")
        store.keep(rows[1])
        store.finish()
    prediction = predict(scenario)
    for _ in range(2):
        write_prediction(here / "p.h5", prediction)
    assert sorted(path.name for path in there.iterdir()) == ["p.h5", "s.h5"]
    assert sorted(path.name for path in here.iterdir()) == ["p.h5", "s.h5"]
    assert (here / "s.h5").is_symlink() and (here / "p.h5").is_symlink()
    assert (
        open_result(here / "s.h5").statuses() == {"completed": 2} and open_result(there / "p.h5").kind == "prediction"
    )


def test_a_merge_goes_through_a_link(tmp_path):
    scenario = Scenario.from_text(HIT, "hit.toml", tmp_path)
    with SweepStore(tmp_path / "a.h5", scenario, GRID) as store:
        for row in rows_of(scenario, GRID):
            store.keep(row)
        store.finish()
    from binarydyn.store.tables.merge import merge
    from binarydyn.store.tables.sweeps import blocks_of

    (tmp_path / "m.h5").symlink_to("target.h5")
    other = blocks_of(tmp_path / "target.h5")
    other.acquire()  # somebody writes to the target itself
    with pytest.raises(InputError, match="another process writes"):
        merge([tmp_path / "a.h5"], tmp_path / "m.h5")
    other.release()
    merge([tmp_path / "a.h5"], tmp_path / "m.h5")
    assert (tmp_path / "m.h5").is_symlink() and open_result(tmp_path / "target.h5").statuses() == {"completed": 2}


def test_links_in_a_circle_are_one_sentence(file, tmp_path, capsys):
    (tmp_path / "a.h5").symlink_to("b.h5")
    (tmp_path / "b.h5").symlink_to("a.h5")
    assert "cannot be a file" in refused(["predict", file, "--out", tmp_path / "a.h5"], capsys)


# ---- tables


@pytest.mark.parametrize("which", TABLES)
def test_a_table_replaces_an_older_one_and_nothing_else(which, tmp_path, capsys):
    words, head = TABLES[which]
    scenario = tmp_path / "pair.csv"
    scenario.write_text(pair().text)
    words = [words[0], str(scenario), *words[1:]]
    (tmp_path / "s.h5").write_bytes(b"a result")
    (tmp_path / "notes").write_text("mine,yours\n")
    (tmp_path / "other").symlink_to("notes")
    for name in ("s.h5", "notes", "other"):
        assert (
            f"holds something else, allowed is a new file, one that ends in .csv, or a table that begins with {head[0]}"
            in (refused([*words, tmp_path / name], capsys))
        )
    assert "this is an input" in refused([*words, scenario], capsys)
    (tmp_path / "to_it.csv").symlink_to(scenario)
    assert "this is an input" in refused([*words, tmp_path / "to_it.csv"], capsys)
    assert scenario.read_text() == pair().text and (tmp_path / "notes").read_text() == "mine,yours\n"
    (tmp_path / "old.csv").write_text("any\n")
    (tmp_path / "older").write_text(",".join(head) + ",more\r\n")
    for name in ("old.csv", "older", "new", "new"):
        assert main([*words, str(tmp_path / name)]) == 0
        assert (tmp_path / name).read_text().startswith(",".join(head))
    assert not list(tmp_path.glob(".*"))


def test_a_table_that_finds_the_disk_full_leaves_the_old_one(tmp_path):
    """A limit on the size of files stands for a full disk: the same error at the same place."""
    rows = [dict.fromkeys(TIMETABLE, "x" * 100)] * 100
    write_rows(tmp_path / "t.csv", TIMETABLE, rows[:1])
    old = (tmp_path / "t.csv").read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(InputError, match=r"t\.csv: it cannot be written .File too large."):
            write_rows(tmp_path / "t.csv", TIMETABLE, rows)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert (tmp_path / "t.csv").read_bytes() == old and os.listdir(tmp_path) == ["t.csv"]


def test_an_empty_table_has_its_head(tmp_path):
    write_rows(tmp_path / "t", TIMETABLE, [])
    assert (tmp_path / "t").read_text().strip() == "side,kind,body,extent"
    check_csv(tmp_path / "t", TIMETABLE)
    with pytest.raises(InputError, match="something else"):
        check_csv(tmp_path / "t", MIDDLES)


# ---- names and kinds


def test_an_empty_name_is_called_empty(file, tmp_path, capsys):
    place = tmp_path / "pair.toml"
    place.write_text(pair().text)
    for words in (
        ["show", ""],
        ["sweep", file, "--vary", "impactor.mass_kg=400:480:2", "--out", ""],
        ["merge", "", "--out", tmp_path / "x.h5"],
        ["timing", place, "--events", ""],
        ["timing", place, "--synthesise", ""],
    ):
        assert "the name of the file is empty" in refused(words, capsys), words


def test_a_timetable_is_called_a_timetable(tmp_path, capsys):
    place, table = tmp_path / "pair.toml", tmp_path / "e.h5"
    place.write_text(pair().text)
    assert main(["events", str(place), "--days", "1", "--out", str(table)]) == 0
    capsys.readouterr()
    assert "this is a timetable, allowed is a sweep" in refused(["merge", table, "--out", tmp_path / "m.h5"], capsys)
    said = refused(["show", table, "--plot", tmp_path / "x.png"], capsys)
    assert "a timetable, allowed is a prediction, a sweep or a reconstruction" in said and "events --plot" in said
    said = refused(["predict", place, "--out", table], capsys)
    assert "it holds a timetable" in said
    assert "`predict`, `sweep`, `merge`, `events` and `reconstruct`" in refused(
        ["show", tmp_path / "none.parts"], capsys
    )


def test_what_rows_were_made_with_is_said_in_whole_words(file, tmp_path, capsys):
    words = [
        "sweep",
        str(file),
        "--vary",
        "impactor.mass_kg=400:480:2",
        "--table",
        "summary",
        "--out",
        str(tmp_path / "b.h5"),
    ]
    assert main([*words, "--quiet"]) == 0
    capsys.readouterr()
    said = refused([*words, "--refine", "2"], capsys)
    assert (
        "1.0 times the usual steps, without neighbouring trajectories, now 2.0 times the usual steps, without "
        "neighbouring trajectories" in said
    )


def test_an_unknown_key_without_a_table_is_told_where_all_stand(file, tmp_path, capsys):
    said = refused(["sweep", file, "--vary", "foo=1", "--out", tmp_path / "x.h5"], capsys)
    assert "check --keys" in said and "allowed here are ;" not in said
    said = refused(["sweep", file, "--vary", "mass_kg=1", "--out", tmp_path / "x.h5"], capsys)
    assert "belongs in [" in said


def test_a_figure_of_one_member_is_refused_before_anything_is_computed(tmp_path, capsys, monkeypatch):
    def never(*_, **__):
        raise AssertionError("computed before")

    monkeypatch.setattr("binarydyn.commands.predict.run", never)
    monkeypatch.setattr("binarydyn.ensembles.rows_of", never)
    drawn = tmp_path / "drawn.toml"
    drawn.write_text(HIT + '[sampling.quantities]\n"impactor.mass_kg" = {normal = [480.0, 5.0]}\n')
    page = tmp_path / "x.png"
    assert "2 are needed" in refused(["predict", drawn, "--plot-sample", page, "--count", "1"], capsys)
    for how in (["--sample", "random", "--count", "1"], ["--vary", "impactor.mass_kg=480"]):
        assert "2 are needed" in refused(["sweep", drawn, *how, "--out", tmp_path / "x.h5", "--plot", page], capsys)


# ---- event times


def test_what_no_campaign_is_made_of_is_one_sentence(tmp_path, capsys):
    place, sheet = tmp_path / "pair.toml", tmp_path / "x.csv"
    place.write_text(pair().text)
    words = ["timing", place, "--days", "2", "--synthesise", sheet]
    for more, said in (
        (["--seed", "-1"], "--seed: -1 is given, allowed is 0 .. 2^63 - 1"),
        (["--noise-s", "1e300"], "allowed is 0 or 0.001 .. 100000 s"),
        (["--noise-s", "1e-9"], "allowed is 0 or 0.001 .. 100000 s"),
        (["--noise-s", "nan"], "allowed is 0 or 0.001 .. 100000 s"),
        (["--share", "1e-9"], "leaves none"),
        (["--events", sheet], "--synthesise: it is given with --events"),
        (["--plot", tmp_path / "x.png"], "--synthesise: it is given with --plot"),
    ):
        assert said in refused([*words, *more], capsys)
    assert not sheet.exists()


@pytest.mark.parametrize("command", [["plan"], ["events", "--days", "2"], ["light-curve"], ["timing", "--synthesise"]])
def test_beyond_the_years_of_the_ephemeris_is_one_sentence(command, tmp_path, capsys, recwarn, monkeypatch):
    """The Earth's ephemeris is for 100 Julian years about J2000 (IAU SOFA, routine epv00): to 2100-01-01T12 TDB."""

    def never(*_, **__):
        raise AssertionError("simulated before")

    name, *more = command
    more += [str(tmp_path / "x.csv")] if name == "timing" else []
    text = pair("[campaign]\nnights_before = 8\nnights_after = 16\nleast_depth_mag = 0.005\n").text
    head = text.index("impact_epoch_utc"), text.index("\n", text.index("impact_epoch_utc"))
    for epoch in ("2100-12-31T23:00:00", "2100-01-01T10:00:00"):
        late = tmp_path / "late.toml"
        late.write_text(f'{text[: head[0]]}impact_epoch_utc = "{epoch}"{text[head[1] :]}')
        if epoch.startswith("2100-12"):
            monkeypatch.setattr("binarydyn.observing.timetable.simulate", never)
        said = refused([name, late, *more], capsys)
        monkeypatch.undo()
        assert "impact_epoch_utc" in said and "2100-01-01T12:00" in said
    assert not [w for w in recwarn if "Erfa" in w.category.__name__]


def test_the_served_time_ends_where_the_ephemeris_warns():
    from binarydyn.epochs import julian_date_tdb
    from binarydyn.sky.ephemeris import observer_about_sun_m
    from binarydyn.sky.geometry import Sky

    clock = Sky.of(pair()).clock
    end = (2488070.0 - julian_date_tdb(clock.epoch_utc.isoformat())) * 86400.0
    clock.check_served([0.0, end - 1.0])
    with pytest.raises(InputError, match="2100-01-01T11:58:"):
        observer_about_sun_m(clock, np.array([0.0, end + 1.0]))


# ---- what is compared with what


def test_the_error_of_the_fit_is_held_against_what_predict_reports():
    """With another estimator and spacing of samples, too."""
    from binarydyn.impact import impact_on
    from binarydyn.prediction.windows import periods_s
    from binarydyn.relaxed.start import start

    text = HIT.replace("days_before = 6.0", "days_before = 6.0\nsample_minutes = 45.0")
    scenario = Scenario.from_text(text + '[observation]\nestimator = "osculating"\n', "hit.toml", Path())
    found, begun = predict(scenario), start(scenario)
    before, after = periods_s(scenario, begun.system, impact_on(begun.system, scenario))
    assert after - before == found.period_change_s
    other = predict(Scenario.from_text(text, "hit.toml", Path())).period_change_s
    assert abs(other - found.period_change_s) > 0.1  # so the test tells them apart


def test_a_window_is_told_by_the_estimator_of_the_scenario():
    """How the change in the windows of [simulation] differs from that of the data: by as much as two estimators do."""
    from binarydyn.observing.reference import Reference, wander_of

    text, changes = pair().text, {}
    assert text.count('estimator = "weighted_fit"') == 1
    for method in ("weighted_fit", "osculating"):
        scenario = Scenario.from_text(text.replace("weighted_fit", method))
        reference = Reference.of(scenario, (3.0, 3.0), 1)
        nominal = reference.found.nominal
        changes[method] = wander_of(nominal), predict(scenario).period_change_s
    (a, own), (b, other) = changes.values()
    assert a - b == pytest.approx(own - other, abs=1e-3) and abs(other - own) > 0.01
