"""A sweep in a notebook: one table in order, the same however it is asked for, and the same from its file."""

import numpy as np
import pandas
import pytest
from short_sweeps import content, scenario, stored

from binarydyn.ensembles import Backend, rows_of
from binarydyn.errors import InputError
from binarydyn.sampling import Grid
from binarydyn.store import Members, open_result, stored_members, sweep

MASS, BETA = "impactor.mass_kg", "momentum_transfer.beta"
GRID = {MASS: [300.0, -1.0], BETA: [1.0, 2.2, 3.0]}


@pytest.fixture(scope="module")
def found() -> Members:
    return sweep(scenario(), GRID, workers=2)


def test_members_are_the_rows_in_the_order_of_the_grid(found):
    rows = sorted(rows_of(scenario(), Grid.of(GRID), 1), key=lambda row: row.index)
    assert found.df.index.tolist() == [row.index for row in rows] == list(range(6)) and found.df.index.name == "member"
    assert found.df["status"].tolist() == [row.status for row in rows] == 3 * ["completed"] + 3 * ["bad_input"]
    assert found.ok.tolist() == 3 * [True] + 3 * [False] and found.df["reason"].tolist() == [r.reason for r in rows]
    assert found.df[BETA].tolist() == 2 * GRID[BETA]
    for name, value in rows[0].numbers.items():
        held = found.df[name].iloc[0]
        assert pandas.isna(held) if value is None else held == value, name
    assert found.df["period_change_s"].dtype == float and np.isnan(found.df["period_change_s"].iloc[5])
    assert pandas.isna(found.df["tumbling"].iloc[5]) and not found.df["tumbling"].iloc[0]
    assert [row[BETA] for row in found.iter()] == found.df[BETA].tolist()


def test_a_table_and_a_list_of_rows_are_one_member_a_row(found):
    rows = [{MASS: 300.0, BETA: 2.2}, {MASS: 300.0, BETA: 1.0}]
    for over in (rows, pandas.DataFrame(rows)):
        listed = sweep(scenario(), over, workers=1)
        assert listed.df["period_change_s"].tolist() == found.df["period_change_s"].iloc[[1, 0]].tolist()
        assert not listed.axes and listed.to_xarray()["period_change_s"].dims == ("member",)
    with pytest.raises(InputError, match="these members are no grid"):
        listed.on_grid("period_change_s")


def test_a_grid_has_its_keys_as_axes(found):
    data = found.to_xarray()
    assert data["period_change_s"].dims == (MASS, BETA) and data["period_change_s"].attrs["units"] == "s"
    assert data["period_change_s"].sel({MASS: 300.0, BETA: 2.2}) == found.df["period_change_s"].iloc[1]
    assert data[MASS].attrs["units"] == "kg" and np.isnan(data["period_change_s"].sel({MASS: -1.0})).all()


@pytest.mark.parametrize("table", ["full", "summary"])
def test_a_file_holds_what_the_command_writes_and_gives_the_members_back(found, table, tmp_path):
    told = []
    live = sweep(scenario(), GRID, table=table, workers=1, progress=lambda word, share: told.append((word, share)))
    kept = sweep(scenario(), GRID, table=table, workers=1, out=tmp_path / "a.h5")
    assert told[-1] == ("members", 1.0) and type(kept) is type(live) is Members
    for name in ("keys", "sample", "table", "options", "scenario", "design"):
        assert getattr(kept, name) == getattr(live, name), name
    assert kept.df.equals(live.df) and kept.to_xarray().identical(live.to_xarray()) and repr(kept) == repr(live)
    assert kept._repr_html_() == live._repr_html_() and repr(list(kept.iter())) == repr(list(live.iter()))
    if table == "full":
        stored(tmp_path / "b.h5", Grid.of(GRID))
        assert content(tmp_path / "a.h5") == content(tmp_path / "b.h5")
        assert live.df.equals(found.df)


def test_a_sweep_goes_on_from_its_file(found, tmp_path):
    assert stored(tmp_path / "s.h5", Grid.of(GRID), stop_after=4) is None
    told = []
    whole = sweep(scenario(), GRID, workers=1, out=tmp_path / "s.h5", progress=lambda _, share: told.append(share))
    assert len(told) == 2 and whole.df.equals(found.df)
    assert stored_members(open_result(tmp_path / "s.h5")).df.equals(found.df)


def test_it_says_what_it_is(found):
    assert repr(found) == "<Members 6: 3 completed, 3 bad_input; varies 2 keys; full table>"
    assert "<th>bad_input</th><td>3</td>" in found._repr_html_()
    assert (found == found) is True and (found == 3) is False


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ([], "0 rows are given, allowed are 1 .. "),
        ([{MASS: 3.0}, {BETA: 3.0}], "row 1 has not the keys of the first"),
        ([{MASS: 3.0}, 7], "row 1 has not the keys of the first"),
        ([{MASS: "heavy"}], '"heavy" is given, allowed is a finite number'),
        ([{MASS: float("nan")}], "nan is given, allowed is a finite number"),
        ([{"impactor.mass": 3.0}], "write mass_kg"),
        ("pair.toml", "a str is given, allowed is {key: values}, a table or a list of rows"),
        (7, "a int is given, allowed is {key: values}, a table or a list of rows"),
    ],
)
def test_what_is_no_design_is_refused(over, words):
    with pytest.raises(InputError) as caught:
        sweep(scenario(), over, workers=1)
    assert words in str(caught.value) and "--" not in str(caught.value)


def test_so_many_members_are_confirmed_before_they_are_computed():
    with pytest.raises(InputError, match="200000 members are asked for, some .* confirm it"):
        sweep(scenario(), {MASS: np.linspace(300.0, 400.0, 200_000)}, backend=Backend(workers=1))
