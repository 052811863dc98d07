"""Whole members by the block: bits of each whatever its block, numbers of `predict`, outcomes with names."""

import numpy as np
import pytest
from short_sweeps import HIT, PUSH, scenario

from binarydyn.batch import adaptive as near
from binarydyn.batch import prepared, starts
from binarydyn.batch.inputs import Inputs, doubtful
from binarydyn.batch.summary import TIGHT, summary_rows
from binarydyn.batch.summary_columns import SummaryColumns
from binarydyn.ensembles import rows_of
from binarydyn.errors import InputError
from binarydyn.prediction import predict
from binarydyn.prediction.outcome import Outlets
from binarydyn.prediction.outcomes import shown_in
from binarydyn.sampling import Grid, Sample
from binarydyn.scenario import example, varied

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
"primary.spin_period_h" = {uniform = [2.03, 2.6]}
"""
)


def same(one, other, places=slice(None)) -> bool:
    """Every bit of two blocks; `places` of the first are the rows of the second."""
    columns = [(values, other.numbers[name]) for name, values in one.numbers.items()]
    texts = [(one.status, other.status), (one.reason, other.reason)]
    return all(a[places].tolist() == b.tolist() for a, b in texts) and all(
        a[places].tobytes() == b.tobytes() for a, b in columns
    )


@pytest.mark.parametrize("text", [SAMPLED, PUSH])
def test_a_member_has_the_same_bits_in_any_block(text):
    given = scenario(text)
    design = (
        Sample.of(given, "random", 24) if text == SAMPLED else Grid.of({"velocity_change.radial_mm_s": np.arange(24.0)})
    )
    whole = summary_rows(given, design, np.arange(24))
    assert set(whole.status.tolist()) == {"completed"}
    mixed = np.random.default_rng(1).permutation(24)
    assert same(whole, summary_rows(given, design, mixed), mixed)
    for size in (1, 7):
        for first in (0, 7, 14):
            part = np.arange(first, first + size)
            assert same(whole, summary_rows(given, design, part), part)


def test_threads_that_relax_starts_change_no_bit(monkeypatch):
    given = scenario(SAMPLED)
    design, members = Sample.of(given, "random", 24), np.arange(24)
    whole = summary_rows(given, design, members)
    monkeypatch.setattr(starts, "_PART", 7)
    assert same(whole, summary_rows(given, design, members, workers=2))
    grid = Grid.of({"primary.rotation_phase_deg": np.arange(12.0), "momentum_transfer.beta": [1.0, 2.0]})
    assert same(summary_rows(given, grid, members, workers=3), summary_rows(given, grid, members))


MATERIAL = SAMPLED.replace(
    '"momentum_transfer.beta" = {uniform = [1.0, 3.0]}',
    '"momentum_transfer.material.strength_Pa" = {uniform = [1.0, 50.0]}',
)
MATERIAL += '[momentum_transfer.material]\nname = "weakly_cemented_basalt"\n'
TILTED = SAMPLED + '"momentum_transfer.ejecta_tilt_deg" = {uniform = [0.0, 20.0]}\n'
TILTED += '"momentum_transfer.ejecta_tilt_azimuth_deg" = {uniform = [0.0, 360.0]}\n'
TILTED += (
    '"impactor.aim_offset_m.0" = {uniform = [-75.0, 75.0]}\n"impactor.aim_offset_m.1" = {uniform = [-20.0, 20.0]}\n'
)
NAMED = SAMPLED + "[momentum_transfer.ejecta_direction]\nalong_track = 0.9\nnormal = 0.3\n"
AT_SITE = SAMPLED.replace("[sampling]", "[impactor.site]\nlongitude_deg = -80.0\nlatitude_deg = 10.0\n[sampling]")
AT_SITE += '"impactor.site.longitude_deg" = {uniform = [-180.0, 180.0]}\n'
RATIOS = (
    SAMPLED.replace(
        "semi_axes_m = [70.0, 61.5, 48.0]\ndensity_kg_m3 = 3120.0",
        "axis_ratio_ab = 1.15\naxis_ratio_bc = 1.25\nvolume_equivalent_diameter_m = 120.0\nmass_kg = 2.6e9",
    )
    .replace("secondary.density_kg_m3", "secondary.axis_ratio_ab")
    .replace("[3120.0, 200.0]", "[1.15, 0.05]")
)
RETROGRADE = SAMPLED.replace("spin_period_h = 2.03", "spin_period_h = -2.03\nrotation_phase_deg = 40.0")
RETROGRADE = RETROGRADE.replace("[2.03, 2.6]", "[-2.6, -2.03]")
SEPARATION = SAMPLED.replace("separation_m = 821.0", 'solve_for = "separation"').replace(
    '"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}', '"mutual_orbit.period_h" = {normal = [10.42, 0.1]}'
)
PERIOD = SAMPLED.replace("period_h = 10.42", 'solve_for = "period"').replace("mutual_orbit.period_h", "mutual_orbit.x")
IMPACTS = HIT + "[sampling.quantities]\n" + '"impactor.mass_kg" = {uniform = [200.0, 900.0]}\n'
LUMP = "\n[[{}.inclusions]]\nsemi_axes_m = [{}]\ncentre_m = [{}]\ndensity_kg_m3 = 4500.0\n"
WITHOUT_PRIMARY = SAMPLED.replace('"primary.semi_axes_m.1" = {uniform = [255.0, 268.0]}', "")
LUMPY = WITHOUT_PRIMARY + LUMP.format("primary", "80.0, 70.0, 60.0", "90.0, 40.0, 30.0")
PUSHED = (
    PUSH
    + LUMP.format("secondary", "20.0, 20.0, 15.0", "15.0, 10.0, 8.0")
    + """
[sampling.quantities]
"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}
"primary.rotation_phase_deg" = {uniform = [0.0, 180.0]}
"velocity_change.radial_mm_s" = {uniform = [-2.0, 2.0]}
"""
)
VARIANTS = [LUMPY, PUSHED, SAMPLED, MATERIAL, TILTED, NAMED, AT_SITE, RATIOS, RETROGRADE, SEPARATION, PERIOD, IMPACTS]


@pytest.mark.parametrize("text", VARIANTS)
def test_side_by_side_is_as_alone(text, monkeypatch):
    """Inputs, starts and impacts in arrays against `varied`, `start` and `impact_on` of each member.

    Relaxed states agree to 1e-11 (periodic.TURN_LIMIT is 1e-12 of a residual); a period over a window is then off by
    ten times that at most in regular motion.
    """
    given, single, by_itself = scenario(text), [], prepared.by_itself
    design, members = Sample.of(given, "random", 12), np.arange(12)
    monkeypatch.setattr(prepared, "by_itself", lambda *given: single.append(1) or by_itself(*given))
    ours = summary_rows(given, design, members)
    assert not single
    monkeypatch.setattr(prepared, "_side_by_side", lambda *_: False)
    theirs = summary_rows(given, design, members)
    assert len(single) == 12
    assert ours.status.tolist() == theirs.status.tolist() and ours.reason.tolist() == theirs.reason.tolist()
    for name, values in ours.numbers.items():
        if name == "period_change_s":
            assert values == pytest.approx(theirs.numbers[name], abs=1e-5, nan_ok=True)
        elif name.endswith("angle_max_after_deg") or name.startswith("tilt"):
            assert values == pytest.approx(theirs.numbers[name], abs=1e-4, nan_ok=True), name
        else:
            assert values == pytest.approx(theirs.numbers[name], rel=1e-9, abs=1e-9, nan_ok=True), name


@pytest.mark.parametrize("alone", [False, True])
def test_each_column_is_filled(alone, monkeypatch):
    """An outcome of the summary table that nothing works out would be a column of -1, where it is a flag, or of nan."""
    if alone:
        monkeypatch.setattr(prepared, "_side_by_side", lambda *_: False)
    given = scenario(MATERIAL)
    block = summary_rows(given, Sample.of(given, "random", 3), np.arange(3), chaos=True)
    assert set(block.numbers) == {row.name for row in shown_in(Outlets.SUMMARY | Outlets.NEIGHBOURS)}
    assert [name for name, values in block.numbers.items() if not np.isfinite(values).all() or -1 in values] == []


def test_numbers_are_those_of_predict():
    """Of the same names; the period within what the splitting may err by (0.04 s at most in regular motion)."""
    given = scenario(SAMPLED)
    design = Sample.of(given, "random", 4)
    ours = summary_rows(given, design, np.arange(4))
    for k in range(4):
        theirs = predict(varied(given, design.member(k))).numbers()
        shared = [name for name in ours.numbers if name in theirs and name not in ("period_after_h", "period_change_s")]
        assert len(shared) >= 9
        for name in shared:
            # Greatest angles are those at the ends of steps, half a step of 0.48 rad from the true one: 1 - cos 0.24.
            within = 0.03 if name in ("long_axis_misalignment_max_after_deg", "pole_tilt_max_after_deg") else 1e-6
            assert ours.numbers[name][k] == pytest.approx(float(theirs[name]), rel=within), name
        assert ours.numbers["period_change_s"][k] == pytest.approx(theirs["period_change_s"], abs=0.04)


def test_the_tight_setting_keeps_its_promise():
    """60 days of the built-in system against `predict`, whose own error at 1e-12 is 1e-7 s; TIGHT promises 1e-4 s."""
    design = Grid.of({"momentum_transfer.beta": [1.5, 2.5], "primary.rotation_phase_deg": [0.0, 50.0]})
    ours = summary_rows(example(), design, np.arange(4), refine=TIGHT).numbers["period_change_s"]
    for k in range(4):
        exact = predict(varied(example(), design.member(k))).period_change_s
        assert ours[k] == pytest.approx(exact, abs=1e-4)


def test_what_becomes_of_a_member_has_a_name():
    given = scenario(HIT)
    key = "impactor.aim_offset_m.0"
    block = summary_rows(given, Grid.of({key: [0.0, 68.0, 500.0, 2e6]}), np.arange(4))
    assert block.status.tolist() == ["completed", "grazing", "miss", "bad_input"]
    with pytest.raises(InputError) as refused:
        varied(given, {key: 2e6})
    assert block.reason[3] == str(refused.value)
    assert np.isnan(block.numbers["period_change_s"][3]) and abs(block.numbers["period_change_s"][2]) < 0.01
    close = Grid.of({"mutual_orbit.separation_m": [821.0, 346.0, 340.0]})
    none = summary_rows(scenario(PUSH), close, np.arange(3))
    assert none.status.tolist() == ["completed", "contact", "bad_input"]


def test_near_and_far_members_end_as_in_a_full_sweep():
    """They run by the method of `predict`: the same ends to the last digit, the same periods to 1e-5 s."""
    given = scenario(PUSH)
    design = Grid.of({"velocity_change.along_track_mm_s": [-1.0, -30.0, -40.0, -60.0, 120.0]})
    ours = summary_rows(given, design, np.arange(5), chaos=True)
    theirs = sorted(rows_of(given, design, 1), key=lambda row: row.index)
    assert (
        ours.status.tolist()
        == [row.status for row in theirs]
        == ["completed", "completed", "contact", "contact", "escape"]
    )
    assert ours.reason.tolist() == [row.reason for row in theirs]
    for k, row in enumerate(theirs):
        assert ours.numbers["chaotic_after"][k] == row.numbers["chaotic_after"]
        if row.status == "completed":
            assert ours.numbers["period_change_s"][k] == pytest.approx(row.numbers["period_change_s"], abs=0.04)


UNSTABLE = HIT.replace("= 6.0", "= 30.0")
UNSTABLE += """
[momentum_transfer]
beta = 3.0
[sampling.quantities]
"secondary.semi_axes_m.1" = {uniform = [55.0, 65.5]}
"secondary.semi_axes_m.2" = {uniform = [44.0, 55.0]}
"""


def test_companions_change_no_other_number_and_tell_what_is_unstable():
    """As `predict` tells it, whose divergence_factor is the largest over the run, not that at its end."""
    given = scenario(UNSTABLE)
    design, members = Sample.of(given, "random", 6), np.arange(6)
    without, beside = summary_rows(given, design, members), summary_rows(given, design, members, chaos=True)
    assert set(beside.numbers) - set(without.numbers) == {
        "divergence_factor_before",
        "chaotic_before",
        "divergence_factor_at_end",
        "chaotic_after",
        "period_change_neighbour_sd_s",
    }
    assert all(np.array_equal(values, beside.numbers[name], equal_nan=True) for name, values in without.numbers.items())
    told = [predict(varied(given, design.member(k))).chaos for k in range(6)]
    assert beside.numbers["chaotic_after"].tolist() == [chaos.chaotic for chaos in told]
    assert 0 < sum(chaos.chaotic for chaos in told) < 6
    for growth, chaos in zip(beside.numbers["divergence_factor_at_end"], told, strict=True):
        assert growth <= 1.01 * chaos.divergence_factor or chaos.chaotic


def test_a_member_that_does_not_relax_or_has_too_few_cycles_says_so():
    given = scenario(PUSH.replace("period_h = 10.42", 'solve_for = "period"'))
    design = Grid.of({"primary.spin_period_h": [2.03, 10.4]})
    ours, theirs = summary_rows(given, design, np.arange(2)), list(rows_of(given, design, 1))
    assert ours.status.tolist() == [row.status for row in theirs] == ["completed", "not_converged"]
    assert ours.reason.tolist() == [row.reason for row in theirs]
    short = scenario(PUSH.replace("days_after = 6.0", "days_after = 1.5"))
    block = summary_rows(short, Grid.of({"velocity_change.radial_mm_s": [0.0]}), np.arange(1))
    assert block.status.tolist() == ["not_measured"] and "cycles in the window" in block.reason[0]
    assert np.isnan(block.numbers["period_change_s"][0]) and block.numbers["separation_max_after_m"][0] > 800.0


def test_the_adaptive_method_says_the_same_of_regular_members():
    """What is run again where bodies come near, for members that do not; extremes between samples and steps differ."""
    given = scenario(SAMPLED)
    design, members = Sample.of(given, "random", 6), np.arange(6)
    steps = summary_rows(given, design, members, refine=4.0)
    table = SummaryColumns.of(members)
    table.columns["period_before_h"][:] = steps.numbers["period_before_h"]
    near.followed(given, design, table, members, chaos=False)
    assert table.status.tolist() == ["completed"] * 6
    assert table.columns["period_change_s"] == pytest.approx(steps.numbers["period_change_s"], abs=1e-3)
    for name, within in (("separation_min_after_m", 0.5), ("separation_max_after_m", 0.5)):
        assert table.columns[name] == pytest.approx(steps.numbers[name], abs=within)
    for name in ("long_axis_misalignment_max_after_deg", "pole_tilt_max_after_deg"):
        assert table.columns[name] == pytest.approx(steps.numbers[name], abs=0.5)
    assert not table.columns["lost_lock_after"].any()


WIDE = (
    SAMPLED.split("[sampling.quantities]")[0]
    + """[sampling.quantities]
"primary.semi_axes_m.0" = {uniform = [150.0, 400.0]}
"secondary.semi_axes_m.0" = {uniform = [50.0, 90.0]}
"primary.spin_period_h" = {normal = [2.03, 5.0]}
"primary.density_kg_m3" = {lognormal = [3120.0, 4.0]}
"mutual_orbit.separation_m" = {uniform = [300.0, 1500.0]}
"mutual_orbit.period_h" = {lognormal = [10.42, 1.0]}
"impactor.radius_m" = {lognormal = [0.6, 2.0]}
"momentum_transfer.beta" = {normal = [5.0, 5.0]}
"""
)
WIDE = WIDE.replace("speed_km_s = 5.4", "speed_km_s = 5.4\nradius_m = 0.6")


def test_no_member_that_the_schema_refuses_passes_for_a_good_one():
    given = scenario(WIDE)
    design, refused = Sample.of(given, "random", 400), []
    for k in range(400):
        try:
            varied(given, design.member(k))
            refused.append(False)
        except InputError:
            refused.append(True)
    doubted = doubtful(Inputs.of(given, design, np.arange(400)))
    assert 100 < sum(refused) < 390
    assert np.array_equal(doubted, refused)


def test_what_only_a_single_run_can_do_is_refused():
    given = scenario(HIT + '[observation]\nestimator = "frequency"\n')
    with pytest.raises(InputError, match="choose the full table"):
        summary_rows(given, Grid.of({MASS: [1.0]}), np.arange(1))


def test_an_eccentric_member_has_the_numbers_of_the_adaptive_method():
    """A fixed step errs by seconds at the pericentre of e = 0.24 (10 days, before); sweeps run at 1e-9: 1e-5 s."""
    given = varied(scenario(PUSH), {"velocity_change.along_track_mm_s": 20.0, "simulation.days_after": 10.0})
    design = Grid.of({"velocity_change.radial_mm_s": [0.0, 1.0]})
    summary = summary_rows(given, design, np.arange(2))
    ratio = summary.numbers["separation_max_after_m"] / summary.numbers["separation_min_after_m"]
    assert np.all(ratio > 1.3)
    for row in rows_of(given, design, 1):
        assert summary.numbers["period_change_s"][row.index] == pytest.approx(row.numbers["period_change_s"], abs=1e-5)


def test_brief_members_tell_chaos_before_the_impact_too():
    """Varied bodies, whose starts are searched side by side: as `predict` tells it of each, from a return map of its
    own; with a free eccentricity of 0.09 on the built-in system, the runs of a start by itself do."""
    given = scenario(UNSTABLE)
    design = Sample.of(given, "random", 3)
    ours = summary_rows(given, design, np.arange(3), chaos=True)
    for k in range(3):
        theirs = predict(varied(given, design.member(k))).numbers()
        assert ours.numbers["divergence_factor_before"][k] == pytest.approx(
            theirs["divergence_factor_before"], rel=0.01
        )
        assert ours.numbers["chaotic_before"][k] == theirs["chaotic_before"] == 0
    wild = varied(scenario(PUSH), {"mutual_orbit.eccentricity": 0.09, "simulation.days_before": 60.0})
    block = summary_rows(wild, Grid.of({"velocity_change.radial_mm_s": [0.0, 0.5]}), np.arange(2), chaos=True)
    assert block.numbers["chaotic_before"].tolist() == [1, 1] and block.status.tolist() == ["completed"] * 2
    assert np.all(block.numbers["divergence_factor_before"] > 1e6) and np.all(
        block.numbers["period_change_neighbour_sd_s"] > 0.1
    )
