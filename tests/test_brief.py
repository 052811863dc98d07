"""Whole members by the block: bits of each whatever its block, numbers of `predict`, outcomes with names."""

import numpy as np
import pytest
from short_sweeps import HIT, PUSH, scenario

from binarydyn.assessment import predict
from binarydyn.ensembles import Grid, Sample
from binarydyn.ensembles.brief import brief_members
from binarydyn.errors import InputError
from binarydyn.scenario import varied

MASS = "impactor.mass_kg"
SAMPLED = (
    HIT
    + """
[sampling]
seed = 3
[sampling.quantities]
"primary.semi_axes_m.1" = {uniform = [255.0, 268.0]}
"secondary.density_kg_m3" = {normal = [3120.0, 200.0]}
"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}
"momentum_transfer.beta" = {uniform = [1.0, 3.0]}
"impactor.direction.radial" = {normal = [0.15, 0.02]}
"""
)


def same(one, other, places=slice(None)) -> bool:
    """Every bit of two blocks; `places` of the first are the rows of the second."""
    columns = [(one.status, other.status), (one.reason, other.reason)]
    columns += [(values, other.numbers[name]) for name, values in one.numbers.items()]
    return all(a[places].tobytes() == np.asarray(b, dtype=a.dtype).tobytes() for a, b in columns)


@pytest.mark.parametrize("text", [SAMPLED, PUSH])
def test_a_member_has_the_same_bits_in_any_block(text):
    given = scenario(text)
    design = Sample.of(given, "random", 24) if text == SAMPLED else Grid.of({"push.radial_mm_s": np.arange(24.0)})
    whole = brief_members(given, design, np.arange(24))
    assert set(whole.status.tolist()) == {"done"}
    mixed = np.random.default_rng(1).permutation(24)
    assert same(whole, brief_members(given, design, mixed), mixed)
    for size in (1, 7):
        for first in (0, 7, 14):
            part = np.arange(first, first + size)
            assert same(whole, brief_members(given, design, part), part)


def test_numbers_are_those_of_predict():
    """Of the same names; the period within what the splitting may err by (0.04 s at most in regular motion)."""
    given = scenario(SAMPLED)
    design = Sample.of(given, "random", 4)
    ours = brief_members(given, design, np.arange(4))
    for k in range(4):
        theirs = predict(varied(given, design.member(k))).numbers()
        shared = [name for name in ours.numbers if name in theirs and name not in ("period_after_h", "period_change_s")]
        assert len(shared) >= 9
        for name in shared:
            assert ours.numbers[name][k] == pytest.approx(theirs[name], rel=1e-6), name
        assert ours.numbers["period_change_s"][k] == pytest.approx(theirs["period_change_s"], abs=0.04)


def test_what_becomes_of_a_member_has_a_name():
    given = scenario(HIT)
    key = "impactor.aim_offset_m.0"
    block = brief_members(given, Grid.of({key: [0.0, 68.0, 500.0, 2e6]}), np.arange(4))
    assert block.status.tolist() == ["done", "grazing", "miss", "bad_input"]
    with pytest.raises(InputError) as refused:
        varied(given, {key: 2e6})
    assert block.reason[3] == str(refused.value)
    assert np.isnan(block.numbers["period_change_s"][3]) and abs(block.numbers["period_change_s"][2]) < 0.01
    close = Grid.of({"mutual_orbit.separation_m": [821.0, 346.0, 340.0]})
    none = brief_members(scenario(PUSH), close, np.arange(3))
    assert none.status.tolist() == ["done", "too_near", "bad_input"]


def test_what_only_a_single_run_can_do_is_refused():
    given = scenario(HIT + '[observation]\nestimator = "frequency"\n')
    with pytest.raises(InputError, match="--table full"):
        brief_members(given, Grid.of({MASS: [1.0]}), np.arange(1))
