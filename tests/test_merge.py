"""Parts of one design: samples that grow in their file, files of several machines in one, what they must share."""

import json
import os

import numpy as np
import pytest
from short_sweeps import HIT, content, scenario

from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.sampling import Block, Grid, Sample
from binarydyn.store import SweepStore, open_result, stored_members
from binarydyn.store.tables.merge import merge

MASS, SPEED = "impactor.mass_kg", "impactor.speed_km_s"
DRAWN = HIT + f'[sampling]\nseed = 7\n[sampling.quantities]\n"{MASS}" = {{normal = [480.0, 10.0]}}\n'
GRID = Grid.of({MASS: np.linspace(300.0, 900.0, 10), SPEED: [4.0, 6.0]})


def invented(members, factor: float = 1.0) -> Block:
    """Rows that depend on their member alone, without a simulation; every seventh ended early."""
    members = np.array(list(members))
    ended = members % 7 == 6
    change = np.where(ended, np.nan, np.sin(members) * factor)
    reason = np.array([f"contact {0.5 * k:.3f} days from the impact" if bad else "" for k, bad in zip(members, ended)])  # noqa: B905
    numbers = {"period_change_s": change, "tumbling": members % 2}
    return Block(members, numbers, np.where(ended, "contact", "completed"), reason)


def written(path, design, members=None, text=DRAWN, factor=1.0, part=None):
    """A finished file with these members, or what is wanted and not there yet; and how many were computed."""
    with SweepStore(path, scenario(text), design, block_rows=3, part=part) as store:
        todo = np.flatnonzero(~store.needless().mask) if members is None else members
        for one in np.array_split(todo, max(1, len(todo) // 2)):
            if len(one):
                store.keep(invented(one, factor))
        return store.finish(), len(todo)


def sample(count: int, kind: str = "random") -> Sample:
    return Sample.of(scenario(DRAWN), kind, count)


@pytest.mark.parametrize("kind", ["random", "sobol"])
def test_a_sample_grows_in_its_file_and_nothing_is_done_again(kind, tmp_path):
    path = tmp_path / "s.h5"
    assert written(path, sample(20, kind))[1] == 20
    result, computed = written(path, sample(50, kind))
    assert computed == 30 and result.columns["member"].tolist() == list(range(50)) and result.sample.count == 50
    whole, _ = written(tmp_path / "w.h5", sample(50, kind))
    assert content(path) == content(whole.path) and sorted(os.listdir(tmp_path)) == ["s.h5", "w.h5"]
    assert result.columns[MASS].tolist() == sample(50, kind).draws(0, 50)[:, 0].tolist()


def test_a_growing_sample_that_is_left_keeps_the_old_file_and_goes_on(tmp_path):
    path = tmp_path / "s.h5"
    written(path, sample(20))
    with SweepStore(path, scenario(DRAWN), sample(50)) as store:
        store.keep(invented(range(20, 33)))
    assert len(open_result(path).columns["member"]) == 20
    assert written(path, sample(20))[1] == 0 and (tmp_path / "s.h5.parts").is_dir()  # the rest is not thrown away
    assert written(path, sample(50))[1] == 17
    assert content(path) == content(written(tmp_path / "w.h5", sample(50))[0].path)


def test_what_cannot_grow_says_so_in_a_sentence(tmp_path):
    written(tmp_path / "l.h5", sample(20, "latin"))
    with pytest.raises(InputError, match="Latin hypercube of 20, whose members depend on the count"):
        written(tmp_path / "l.h5", sample(30, "latin"))
    with SweepStore(tmp_path / "m.h5", scenario(DRAWN), sample(20, "latin")) as store:
        store.keep(invented(range(5)))
    with pytest.raises(InputError, match="cannot be extended"):
        written(tmp_path / "m.h5", sample(30, "latin"))
    written(tmp_path / "s.h5", sample(20))
    with pytest.raises(InputError, match="members up to 19, 10 are asked for, allowed is at least 20"):
        written(tmp_path / "s.h5", sample(10))
    written(tmp_path / "g.h5", GRID)
    with pytest.raises(InputError, match="another design"):
        written(tmp_path / "g.h5", Grid.of({MASS: np.linspace(300.0, 900.0, 11), SPEED: [4.0, 6.0]}))


def test_parts_merge_to_the_file_of_one_machine(tmp_path, capsys):
    a, b, c = (tmp_path / f"{name}.h5" for name in "abc")
    written(a, GRID, part=range(8))
    written(b, GRID, part=range(6, 15))
    result, missing = merge([a, b], c)
    assert missing.tolist() == [15, 16, 17, 18, 19] and len(result.columns["member"]) == 15
    assert np.isnan(stored_members(result).on_grid("period_change_s")[-1]).all()
    assert main(["merge", str(a), str(b), "--out", str(c), "--json"]) == 1
    report = json.loads(capsys.readouterr().out)
    assert report["missing"] == 5 and report["first_missing"] == "15:20" and report["members_of_design"] == 20
    assert written(c, GRID)[1] == 5
    assert content(c) == content(written(tmp_path / "w.h5", GRID)[0].path)
    assert main(["merge", str(c), "--out", str(tmp_path / "d.h5")]) == 0
    assert ", complete" in capsys.readouterr().out and content(tmp_path / "d.h5") == content(c)


def test_a_merge_takes_what_is_there_with_it_and_the_larger_sample(tmp_path):
    written(tmp_path / "a.h5", sample(10))
    written(tmp_path / "b.h5", sample(30), part=range(20, 30))
    written(tmp_path / "c.h5", sample(30), part=range(10, 20))
    assert merge([tmp_path / "a.h5", tmp_path / "b.h5"], tmp_path / "o.h5")[1].tolist() == list(range(10, 20))
    result, missing = merge([tmp_path / "c.h5"], tmp_path / "o.h5")
    assert not len(missing) and result.sample.count == 30
    assert content(tmp_path / "o.h5") == content(written(tmp_path / "w.h5", sample(30))[0].path)
    assert not list(tmp_path.glob("*.parts"))


def test_what_does_not_belong_together_is_refused_by_name(tmp_path, monkeypatch):
    a, b, out = (tmp_path / f"{name}.h5" for name in "abo")
    written(a, GRID, part=range(8))
    written(b, GRID, part=range(6, 15), factor=1.0 + 2.0**-52)
    with pytest.raises(InputError, match=r"b\.h5: member 7 has another period_change_s than in .*a\.h5"):
        merge([a, b], out)
    written(tmp_path / "s.h5", sample(10))
    with pytest.raises(InputError, match=r"s\.h5: it holds results of another design"):
        merge([a, tmp_path / "s.h5"], out)
    monkeypatch.setattr(np, "__version__", "0.0.1")
    written(tmp_path / "n.h5", GRID, part=range(8, 9))
    monkeypatch.undo()
    with pytest.raises(InputError, match=r"n\.h5: it holds results of another version of numpy"):
        merge([a, tmp_path / "n.h5"], out)
    with pytest.raises(InputError, match="no file is given"):
        merge([], out)
    with pytest.raises(InputError, match="no such file"):
        merge([tmp_path / "none.h5"], out)
    assert not out.exists() and not list(tmp_path.glob("*.parts"))


def test_an_overlap_of_equal_bits_is_no_contradiction_though_zero_has_two_signs(tmp_path):
    a, b = tmp_path / "a.h5", tmp_path / "b.h5"
    for path, zero in ((a, 0.0), (b, -0.0)):
        block = invented(range(3))
        with SweepStore(path, scenario(DRAWN), GRID, part=range(3)) as store:
            store.keep(Block(block.members, {"period_change_s": np.full(3, zero)}, block.status, block.reason))
            store.finish()
    assert len(merge([a, a], tmp_path / "o.h5")[0].columns["member"]) == 3
    with pytest.raises(InputError, match="member 0 has another period_change_s"):
        merge([a, b], tmp_path / "o.h5")


def test_a_part_of_a_design_by_command(tmp_path, capsys):
    (tmp_path / "pair.toml").write_text(HIT)
    words = ["sweep", str(tmp_path / "pair.toml"), "--vary", f"{MASS}=300:900:6", "--json"]
    for part, name in (("0:3", "a"), ("3:6", "b")):
        assert main([*words, "--members", part, "--out", str(tmp_path / f"{name}.h5")]) == 0
        report = json.loads(capsys.readouterr().out)
        assert (report["computed"], report["members"], report["members_of_design"]) == (3, 3, 6)
    assert main([*words, "--out", str(tmp_path / "w.h5")]) == 0
    assert main(["merge", *(str(tmp_path / f"{name}.h5") for name in "ab"), "--out", str(tmp_path / "m.h5")]) == 0
    assert content(tmp_path / "m.h5") == content(tmp_path / "w.h5")
    capsys.readouterr()
    for part in ("3", "3:3", "5:2", "0:7", "-1:3", "a:b", "0:3:1"):
        assert main([*words, "--members", part, "--out", str(tmp_path / "x.h5")]) == 2
        err = capsys.readouterr().err
        assert err.startswith("binarydyn: --members") and "allowed is FIRST:END" in err and len(err.splitlines()) == 1


def test_failures_are_counted_by_reason(tmp_path, capsys):
    written(tmp_path / "s.h5", sample(30))
    assert main(["show", str(tmp_path / "s.h5"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["failures"]
    assert found == [
        {
            "status": "contact",
            "reason": "contact # days from the impact",
            "members": 4,
            "first_member": 6,
            "first_reason": "contact 3.000 days from the impact",
        }
    ]
    assert main(["show", str(tmp_path / "s.h5")]) == 0
    assert "first contact of 4 alike, member 6: contact 3.000 days" in capsys.readouterr().out


def test_a_merge_that_is_refused_leaves_nothing_behind(tmp_path):
    written(tmp_path / "a.h5", GRID, part=range(8))
    written(tmp_path / "b.h5", GRID, part=range(6, 15), factor=2.0)
    with pytest.raises(InputError, match="has another period_change_s"):
        merge([tmp_path / "a.h5", tmp_path / "b.h5"], tmp_path / "o.h5")
    assert sorted(os.listdir(tmp_path)) == ["a.h5", "b.h5"]
