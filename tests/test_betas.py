"""Beta by every name: closed forms, one hit called all of them, there and back."""

import json
from dataclasses import replace

import numpy as np
import pytest

import binarydyn as bd
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.impact import Betas, ImpactSpec, beta_table, betas_of, impact_on
from binarydyn.impact.books.betas import NAMES, betas_of_lever
from binarydyn.impact.leverage import leverage
from binarydyn.relaxed import build
from binarydyn.scenario import Boulder, Direction, Impactor, MassExchange, MomentumTransfer, example

PAIR = build(example())


def unit(*x) -> np.ndarray:
    return np.array(x) / np.linalg.norm(x)


def hit(frame="ground", beta=2.7, **more):
    impactor = Impactor(mass_kg=500.0, speed_km_s=6.0, direction=Direction(along_track=-1.0, normal=0.2),
                        aim_offset_m=(14.0, 9.0))  # fmt: skip
    transfer = MomentumTransfer(beta=beta, beta_system=1.9, ejecta_tilt_deg=20.0, ejecta_tilt_azimuth_deg=70.0)
    exchange = MassExchange(ejecta_kg=2e7, beta_frame=frame)
    return impact_on(PAIR, ImpactSpec(impactor, transfer, **({"mass_exchange": exchange} | more)))


def test_closed_forms():
    """Flight at an angle of cosine c to the axis, along the track: 1 + c^2 (b - 1) net, sqrt(1 + c^2 (b^2 - 1)) by
    size, b along an axis that is the normal (Cheng et al. 2023, Nature 616, 457, eq. 1, by hand)."""
    c, flight = np.cos(np.radians(25.0)), unit(-1.0, 0.0, 0.0)
    axis = np.array([c, np.sqrt(1.0 - c**2), 0.0])
    betas = Betas(flight, axis, axis, np.array([1.0, 0.0, 0.0]), np.zeros(3), np.zeros(3), kept=0.4)
    assert betas.named("ejecta_axis", 3.0) == pytest.approx(3.0, rel=1e-15)
    assert betas.named("normal", 3.0) == pytest.approx(3.0, rel=1e-15)
    assert betas.named("along_track", 3.0) == pytest.approx(1.0 + 2.0 * c**2, rel=1e-15)
    assert betas.named("magnitude", 3.0) == pytest.approx(np.sqrt(1.0 + 8.0 * c**2), rel=1e-15)
    assert betas.named("system", 3.0) == pytest.approx(1.8, rel=1e-15)
    straight = replace(betas, ejecta=-flight, normal=unit(1.0, 1.0, 0.0))
    assert straight.named("normal", 3.0) == pytest.approx(3.0, rel=1e-15)  # all of it is along the flight
    assert straight.named("magnitude", 3.0) == pytest.approx(3.0, rel=1e-15)


@pytest.mark.parametrize("frame", ["ground", "centre"])
def test_one_hit_called_by_every_name(frame):
    """From what the state and the books of the hit say, each by its definition, boulders and turning ground in it."""
    rock = Boulder(mass_kg=1e5, speed_m_s=7.0, direction=Direction(along_track=1.0, normal=2.0))
    impact = hit(frame, boulders=(rock,))
    rows = {(row.name, row.frame): row.value for row in beta_table(impact, PAIR.state)}
    brought, released, exchange = impact.brought_kg_m_s, impact.released, impact.exchange
    moved = 2e7 * exchange.ground_m_s  # of ejecta, from the centre beyond the ground
    from_centre = released.momentum_kg_m_s + (moved if frame == "ground" else 0.0)
    for seen, ejecta in (("centre", from_centre), ("ground", from_centre - moved)):
        size = np.linalg.norm(brought)
        for name, axis in (("ejecta_axis", released.axis), ("normal", impact.normal)):
            change = 1.0 - ejecta @ axis / (brought @ axis)
            assert rows[name, seen] == pytest.approx(change, rel=1e-12)
        assert rows["magnitude", seen] == pytest.approx(np.linalg.norm(brought - ejecta) / size, rel=1e-12)
    net = impact.system.secondary.mass_kg * 1e-3 * impact.dv_along_track_mm_s / -size
    assert rows["along_track", "centre"] == pytest.approx(net, rel=1e-12)
    assert rows["ejecta_axis", frame] == pytest.approx(2.7, rel=1e-14)
    assert abs(rows["ejecta_axis", "ground"] - rows["ejecta_axis", "centre"]) > 1e-3
    assert rows["system", "barycentre"] == 1.9


def test_there_and_back():
    """From each name and frame to each other and back, 500 hits: to 1e-12."""
    random = np.random.default_rng(4)
    for _ in range(500):
        flight, ejecta, normal, track = (unit(*random.normal(size=3)) for _ in range(4))
        if min(abs(flight @ ejecta), abs(flight @ normal), abs(ejecta @ track), abs(ejecta @ normal)) < 0.3:
            continue
        small = random.normal(0.0, 0.03, (2, 3))
        betas = Betas(flight, ejecta, normal, track, *small, centred=random.random() < 0.5, kept=random.uniform(0.1, 1))
        for name in NAMES:
            for frame in ("ground", "centre"):
                value = betas.named(name, beta := random.uniform(1.0, 5.0), frame)
                assert betas.back(name, value, frame) == pytest.approx(beta, rel=1e-12)
                for other in NAMES:
                    there = betas.converted(value, name, other, frame, "ground")
                    assert betas.converted(there, other, name, "ground", frame) == pytest.approx(value, rel=1e-12)


def test_epochs_of_a_material():
    """Less counts of what leaves the secondary than of all that is launched; far from both bodies the secondary's own
    velocity counts too, so that it may be more."""
    sand = MomentumTransfer(material={"name": "perlite_sand"}, ejecta_speed="launch")
    spec = ImpactSpec.of(example(), momentum_transfer=sand)
    rows = {(row.name, row.frame, row.epoch): row.value for row in beta_table(impact_on(PAIR, spec), PAIR.state)}
    launched, left = (rows["ejecta_axis", "ground", epoch] for epoch in ("minutes", "days"))
    assert launched > left > 1.0 and rows["system", "barycentre", "infinity"] > 1.0


def test_inferred_betas_are_those_of_the_hit():
    """Levers in arrays against the hit itself."""
    scenario = example().replace({"mass_exchange": {"ejecta_kg": 2e7}, "impactor.aim_offset_m": [12.0, 5.0]})
    impact, lever = impact_on(PAIR, scenario), leverage(PAIR, scenario)
    many, one = betas_of_lever(lever, np.array([480.0 * 5400.0]), False), betas_of(impact, PAIR.state)
    for name in ("ejecta_axis", "normal", "magnitude", "along_track"):
        for frame in ("ground", "centre"):
            found = many.named(name, np.array([2.2]), frame)
            assert found == pytest.approx([one.named(name, 2.2, frame)], rel=1e-11)
    with pytest.raises(InputError, match="not known what leaves the system"):
        many.named("system", 2.2)
    with pytest.raises(InputError, match="ejecta_axis or"):
        one.named("sideways", 2.2)


def test_commands_tell_them(tmp_path, capsys):
    """JSON of predict and infer, and the table in the text."""
    short = {"simulation.days_before": 4.0, "simulation.days_after": 4.0}
    path = tmp_path / "betas.toml"
    example().replace(short).to_toml(path)
    assert main(["predict", str(path), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    rows = {(row["name"], row["frame"], row["epoch"]): row["value"] for row in said["betas"]}
    assert rows["ejecta_axis", "ground", "days"] == rows["system", "barycentre", "infinity"] == 2.2
    assert said["beta_along_track"] == rows["along_track", "centre", "days"]
    assert main(["predict", str(path), "--budget"]) == 0
    assert "counted after" in capsys.readouterr().out
    assert main(["infer", str(path), "--period-change-s", "-1578", "--sigma-s", "2", "--count", "100", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["beta_by_name"]
    assert found["ejecta_axis_ground"]["mean"] == pytest.approx(2.2, abs=0.05)
    assert found["along_track"]["mean"] == pytest.approx(said["beta_along_track"], abs=0.05)
    assert bd.hit(PAIR, example()).impact.brought_kg_m_s @ np.ones(3) != 0.0
