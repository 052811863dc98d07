"""A few of the kills, full disks, flipped bits and truncations of the experiment `15_nothing_lost`."""

import importlib.util
import random
import signal
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

from binarydyn.errors import InputError
from binarydyn.files import seal
from binarydyn.prediction import predict
from binarydyn.store import SweepStore, open_result, write_prediction

EXPERIMENT = Path(__file__).parents[1] / "experiments" / "15_nothing_lost" / "campaign.py"


@pytest.fixture(scope="module")
def campaign():
    spec = importlib.util.spec_from_file_location("campaign", EXPERIMENT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_a_killed_store_loses_the_block_in_flight_at_most(campaign, tmp_path):
    found = campaign.invented_kills(tmp_path, 3, seed=5, members=20_000)
    assert found.moments.total() == 3 and found.most <= 2 * campaign.AT_ONCE


def test_a_killed_sweep_computes_the_block_in_flight_again_at_most(campaign, tmp_path):
    assert campaign.simulated_kills(tmp_path, 1, seed=3, members=40).moments.total() == 1


def test_a_full_disk_is_one_sentence_and_the_sweep_goes_on_once_there_is_room(campaign, tmp_path):
    if not campaign.can_mount():
        pytest.skip("only root can mount a small disk")
    assert campaign.full_disks(tmp_path, [40], members=20) == {"full at blocks": 1}


@pytest.mark.parametrize("how", ["flipped", "cut"])
def test_damage_is_named_or_computed_anew(how, campaign, tmp_path):
    campaign.fill(tmp_path / "s.h5", campaign.invented_grid(512))
    write_prediction(tmp_path / "p.h5", predict(campaign.asked()))
    for name in ("s.h5", "p.h5"):
        found = campaign.damaged_results(tmp_path / name, getattr(campaign, how), 20, 3, tmp_path)
        assert found == {"named": 20}
    (tmp_path / "blocks").mkdir()
    found = campaign.damaged_blocks(getattr(campaign, how), 3, 4, tmp_path / "blocks", members=2048)
    assert found == {"named and computed anew": 3}


def test_every_bit_of_the_seal_counts(tmp_path):
    content = b"\x89HDF\r\n\x1a\n, anything"
    path, data = tmp_path / "a.h5", seal.sealed(content)
    path.write_bytes(data)
    seal.check_seal(path)
    for k in range(8 * len(content), 8 * len(data), 3):
        changed = bytearray(data)
        changed[k // 8] ^= 1 << k % 8
        path.write_bytes(changed)
        with pytest.raises(InputError, match="no whole result file"):
            seal.check_seal(path)
    path.write_bytes(data + b"\n")
    with pytest.raises(InputError, match="not at its end"):
        seal.check_seal(path)


LOCKED = """
import sys, time
sys.path.insert(0, sys.argv[1])
import campaign
with campaign.SweepStore(campaign.Path(sys.argv[2]), campaign.asked(), campaign.invented_grid(8)) as store:
    store.keep(campaign.invented(campaign.np.arange(3)))
    store.flush()
    print("locked", flush=True)
    time.sleep(600.0)
"""


def test_a_dead_process_does_not_hold_the_lock(campaign, tmp_path):
    path, design = tmp_path / "s.h5", campaign.invented_grid(8)
    command = [sys.executable, "-c", LOCKED, str(EXPERIMENT.parent), str(path)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "locked\n"
    with pytest.raises(InputError, match="another process writes this sweep"):
        SweepStore(path, campaign.asked(), design).__enter__()
    process.send_signal(signal.SIGKILL)
    process.wait()
    with SweepStore(path, campaign.asked(), design) as store:
        assert store.done() == {0, 1, 2}


class Clock:
    """Seconds that pass when they are told to."""

    now_s = 100.0

    def monotonic(self) -> float:
        return self.now_s


def test_a_kill_costs_a_second_at_most_and_a_fifth_of_what_was_done_in_the_beginning(campaign, tmp_path, monkeypatch):
    """Rows every 0.05 s: the first is kept at once, later ones no later than 1 s, and nearly all of the blocks last."""
    clock = Clock()
    monkeypatch.setattr("binarydyn.store.tables.sweeps.time", clock)
    with SweepStore(tmp_path / "s.h5", campaign.asked(), campaign.invented_grid(400)) as store:
        for k in range(400):
            store.keep(campaign.invented(np.array([k])))
            lost = k + 1 - len(store.done())
            assert 0.05 * (lost - 1) <= min(1.0, 0.25 * 0.05 * k), k
            clock.now_s += 0.05
        assert len(list(tmp_path.glob("s.h5.parts/*.rows"))) < 45


def test_a_file_is_the_same_whatever_the_blocks_and_their_order_were(campaign, tmp_path):
    """And whatever is joined at once: all columns together or one after another."""
    design, order = campaign.invented_grid(300), np.arange(300)
    for k in range(3):
        random.Random(k).shuffle(order)
        order = np.concatenate(([6 * k], order[order != 6 * k]))  # the first status met is done, contact or done
        with SweepStore(tmp_path / f"{k}.h5", campaign.asked(), design, block_rows=7 + 40 * k) as store:
            for members in np.array_split(order, 20 - 6 * k):
                store.keep(campaign.invented(members))
            store.finish()
    wanted = campaign.content(tmp_path / "0.h5")
    assert campaign.content(tmp_path / "1.h5") == campaign.content(tmp_path / "2.h5") == wanted
    digests = {h5py.File(tmp_path / f"{k}.h5")["members"].attrs["content_sha256"] for k in range(3)}
    assert len(digests) == 1


def test_columns_joined_one_after_another_are_the_same(campaign, tmp_path, monkeypatch):
    from binarydyn.store.tables import joined, table

    campaign.fill(tmp_path / "a.h5", campaign.invented_grid(300))
    monkeypatch.setattr(joined, "_AT_ONCE", 8)
    monkeypatch.setattr(joined, "PIECE", 16)
    monkeypatch.setattr(table, "PIECE", 16)
    campaign.fill(tmp_path / "b.h5", campaign.invented_grid(300))
    assert campaign.content(tmp_path / "a.h5") == campaign.content(tmp_path / "b.h5")
    columns = open_result(tmp_path / "b.h5").columns
    block = campaign.invented(np.arange(300))
    assert columns["reason"].tolist() == block.reason.tolist()
    assert np.array_equal(columns["quantity_3_m"], block.numbers["quantity_3_m"], equal_nan=True)


def test_a_column_that_changed_after_opening_is_noticed(campaign, tmp_path):
    campaign.fill(tmp_path / "a.h5", campaign.invented_grid(64))
    result = open_result(tmp_path / "a.h5")
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        file["members/quantity_0_m"][3] = 7.0
    with pytest.raises(InputError, match="quantity_0_m is not what was written"):
        result.columns["quantity_0_m"]
