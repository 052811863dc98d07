"""Mass that joins and leaves the secondary at the impact: books, closed forms, what it is worth in the period."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import binarydyn as bd
from binarydyn.bodies import Altered, Ellipsoid, Inclusion, Layered
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.impact import ImpactSpec, impact_budget, impact_on, orbit_axes
from binarydyn.impact.leverage import leverage
from binarydyn.inference.along_track import state_after
from binarydyn.prediction.mass_share import mass_share_s
from binarydyn.prediction.windows import periods_s
from binarydyn.relaxed import build, start
from binarydyn.scenario import Boulder, Direction, Impactor, MassExchange, MomentumTransfer, example, load

PAIR = build(example())
CASES = Path(__file__).parent.parent / "reference_cases"
SHORT = {"simulation.days_before": 4.0, "simulation.days_after": 4.0}


def struck(system=PAIR, exchange=None, boulders=(), beta=2.0, **aim):
    impactor = Impactor(mass_kg=500.0, speed_km_s=6.0, direction=Direction(along_track=-1.0), **aim)
    return impact_on(
        system, ImpactSpec(impactor, MomentumTransfer(beta=beta), boulders=boulders, mass_exchange=exchange)
    )


def turned(random) -> bd.System:
    """The pair with its secondary turned and spinning at random, with no axis alone."""
    roll, pitch, yaw = random.normal(0, 9, 3)
    state = PAIR.state.tilted("secondary", roll_deg=roll, pitch_deg=pitch, yaw_deg=yaw)
    return PAIR.with_state(replace(state, rate2_rad_s=state.rate2_rad_s + random.normal(0, 1e-4, 3)))


def matrix(attitude) -> np.ndarray:
    return Rotation.from_quat(np.roll(attitude, -1)).as_matrix()


def totals(system, state, primary_m, primary_m_s) -> np.ndarray:
    """(10,) mass, mass times place, momentum and angular momentum of both bodies in the inertial frame."""
    out = np.zeros(10)
    for body, place, speed, attitude, rate in (
        (system.primary, primary_m, primary_m_s, state.attitude1, state.rate1_rad_s),
        (
            system.secondary,
            primary_m + state.position_m,
            primary_m_s + state.velocity_m_s,
            state.attitude2,
            state.rate2_rad_s,
        ),
    ):
        spin = matrix(attitude) @ (body.inertia_kg_m2 * rate)
        out += particle(body.mass_kg, place, speed) + np.concatenate([np.zeros(7), spin])
    return out


def particle(mass, place, speed) -> np.ndarray:
    return np.concatenate([[mass], mass * place, mass * speed, np.cross(place, mass * speed)])


@pytest.mark.parametrize("frame", ["ground", "centre"])
def test_mass_centre_momentum_and_angular_momentum_close(frame):
    """Bodies and impactor before against bodies, ejecta and boulders after, each summed by itself (Newton).

    Ejecta fly off as one particle with beta's momentum, on top of the ground's motion w x s where it counts from there.
    """
    random = np.random.default_rng(3)
    for _ in range(40):
        system = turned(random)
        ejecta_kg, share = 10 ** random.uniform(4, 7.8), random.uniform(0, 1)
        rock = Boulder(mass_kg=1e5, speed_m_s=8.0, direction=Direction(inertial=tuple(random.normal(size=3))))
        exchange = MassExchange(ejecta_kg=ejecta_kg, returned_share=share, beta_frame=frame)
        impact = struck(system, exchange, (rock,), aim_offset_m=tuple(random.uniform(-20, 20, 2)))
        state = system.state
        primary_m, primary_m_s = random.normal(0, 50, 3), random.normal(0, 0.1, 3)
        moonlet_m, moonlet_m_s = primary_m + state.position_m, primary_m_s + state.velocity_m_s
        turn = matrix(state.attitude2)
        site_m = moonlet_m + turn @ impact.site.point_m
        ground = turn @ np.cross(state.rate2_rad_s, impact.site.point_m) if frame == "ground" else np.zeros(3)
        flight = -orbit_axes(state)[0]
        before = totals(system, state, primary_m, primary_m_s) + particle(500.0, site_m, moonlet_m_s + 6000.0 * flight)
        gone_kg = ejecta_kg * (1.0 - share)
        thrown = 8.0 * np.array(rock.direction.unit)
        after = totals(impact.system, impact.state, primary_m, primary_m_s)
        after += particle(gone_kg, site_m, moonlet_m_s + ground + impact.released.momentum_kg_m_s / gone_kg)
        after += particle(1e5, site_m, moonlet_m_s + thrown)
        sizes = np.repeat([np.linalg.norm(before[at]) for at in (slice(0, 1), slice(1, 4), slice(4, 7))], [1, 3, 3])
        sizes = np.concatenate([sizes, np.full(3, np.linalg.norm(before[7:]))])
        assert np.abs((after - before) / sizes).max() < 2e-14
        audit = impact.audit
        assert max(audit.linear_residual, audit.angular_residual, audit.energy_residual) < 1e-12
        assert audit.pair_residual < 1e-12
    budget = impact_budget(system, state, impact)
    assert budget.stages[1] == "masses exchanged" and budget.exchanged_J != 0.0
    assert budget.energy_residual < 1e-14 and budget.angular_residual < 1e-14


def test_mass_that_only_lets_go_changes_no_motion():
    """A stone that leaves with the ground's own velocity leaves every other stone with the one it had: v + w x is kept
    about any place, and the place of each (kinematics of a rigid body)."""
    random = np.random.default_rng(11)
    for _ in range(20):
        system, place = turned(random), random.normal(0, 30, 3)
        asked = ImpactSpec(mass_exchange=MassExchange(ejecta_kg=3e7, from_m=tuple(place)))
        impact = impact_on(system, asked)
        assert impact.status == "mass_exchange"
        turn, origin_m = impact.system.secondary.seen_from(system.secondary)
        for stone_m in random.normal(0, 60, (4, 3)):
            seen = []
            for state, own in ((system.state, stone_m), (impact.state, turn @ (stone_m - origin_m))):
                axes = matrix(state.attitude2)
                speed = state.velocity_m_s + axes @ np.cross(state.rate2_rad_s, own)
                seen.append((state.position_m + axes @ own, speed))
            assert seen[1][0] == pytest.approx(seen[0][0], abs=1e-10)
            assert seen[1][1] == pytest.approx(seen[0][1], abs=1e-14)


def test_nothing_exchanged_is_nothing_changed():
    """To the last bit, with the same bodies."""
    nothing = MassExchange(ejecta_kg=0.0, impactor="neglected")
    with_table, without = struck(exchange=nothing, aim_offset_m=(7.0, 3.0)), struck(aim_offset_m=(7.0, 3.0))
    assert np.array_equal(with_table.state.vector, without.state.vector)
    assert with_table.exchange is None and with_table.system.secondary is PAIR.secondary
    assert with_table.audit.pair_residual == without.audit.pair_residual


def test_integrals_are_those_of_a_body_with_a_hole():
    """Against a small void, a ball of next to no density, by the integrals of layered bodies: to (size/distance)^2."""
    outer, place, radius = Ellipsoid((70.0, 61.5, 48.0), 3000.0), np.array([20.0, -15.0, 9.0]), 0.5
    void = Layered(outer, (Inclusion(Ellipsoid((radius,) * 3, 1e-9), tuple(place)),))
    mass = 3000.0 * 4.0 / 3.0 * np.pi * radius**3
    taken = Altered.of(outer, place, -mass)
    for powers in ((1, 1, 0), (2, 0, 0), (1, 1, 1), (3, 0, 0), (0, 2, 2), (5, 1, 0)):
        ours, theirs, whole = (body.moment(*powers) for body in (taken, void, outer))
        assert abs(ours - theirs) < 2e-3 * abs(theirs - whole) + 1e-12 * outer.mass_kg * 70.0 ** sum(powers)
    assert taken.inertia_kg_m2 - void.inertia_kg_m2 == pytest.approx(0.0, abs=2e-3 * mass * place @ place)
    assert taken.centre_m == pytest.approx(void.centre_m, rel=1e-9)
    back = Altered.of(taken, taken.seen_from(outer)[0] @ (place - taken.seen_from(outer)[1]), mass)
    assert back.inertia_kg_m2 == pytest.approx(outer.inertia_kg_m2, rel=1e-13)
    assert back.centre_m == pytest.approx(np.zeros(3), abs=1e-12)


def test_what_falls_back_lies_evenly():
    """It leaves the whole where it was: mass and centre as without ejecta, the figure off by the share at the site."""
    impact = struck(exchange=MassExchange(ejecta_kg=2e7, returned_share=1.0, impactor="neglected"), beta=1.0)
    assert impact.exchange.masses.gained_kg == 0.0
    assert impact.system.secondary.mass_kg == pytest.approx(PAIR.secondary.mass_kg, rel=1e-15)
    assert np.array_equal(impact.state.position_m, PAIR.state.position_m)
    _, origin_m = impact.system.secondary.seen_from(PAIR.secondary)
    assert origin_m == pytest.approx(-2e7 / PAIR.secondary.mass_kg * impact.site.point_m, rel=1e-12)


@pytest.fixture(scope="module")
def fit_case():
    scenario = load(CASES / "impact_2022_fit.toml")
    return scenario, start(scenario)


def test_what_mass_is_worth_in_the_period(fit_case):
    """1e7 kg from 10, 20, 30 m outward: -4.0, -8.1, -12.1 s by the shift of the centre, as from dP/P = 6 d/a and as
    simulated with the state moved by hand, and +1.5 s by the smaller mass: dP/P = -2 dM/M at a given place and speed.

    The half difference of both sides is the shift; the mean is the smaller mass and the square of the place: the mass
    is missing in the secondary's elongation too.
    """
    scenario, begun = fit_case
    plain = impact_on(begun.system, scenario)
    plain_s = periods_s(scenario, begun.system, plain)[1]
    for outward_m, known_s in ((10.0, -4.0), (20.0, -8.1), (30.0, -12.1)):
        worth, closed = [], []
        for side in (-1.0, 1.0):  # x points at the primary
            exchange = MassExchange(ejecta_kg=1e7, from_m=(side * outward_m, 0.0, 0.0))
            impact = impact_on(begun.system, ImpactSpec.of(scenario, mass_exchange=exchange))
            worth.append(periods_s(scenario, begun.system, impact)[1] - plain_s)
            closed.append(mass_share_s(begun, impact))
        assert 0.5 * (worth[0] - worth[1]) == pytest.approx(known_s, rel=0.02)
        assert 0.5 * (closed[0] - closed[1]) == pytest.approx(known_s, rel=0.02)
        assert 0.5 * (worth[0] + worth[1]) == pytest.approx(1.5, abs=0.3)
        assert worth == pytest.approx(closed, abs=0.5)


def test_the_added_impactor_is_a_loss_backwards():
    """All masses small: what a gain does is minus what a loss does."""
    added = struck(exchange=MassExchange(), beta=1.0)
    assert added.exchange.masses.gained_kg == 500.0
    assert added.exchange.shift_m == pytest.approx(
        500.0 / (PAIR.secondary.mass_kg + 500.0) * matrix(PAIR.state.attitude2) @ added.site.point_m, rel=1e-12
    )
    alone = struck(beta=1.0)
    ratio = np.linalg.norm(added.dv_m_s) / np.linalg.norm(alone.dv_m_s)
    assert ratio == pytest.approx(1.0 - 500.0 / PAIR.secondary.mass_kg, abs=1e-11)


def test_masses_of_a_material_leave_and_return():
    """Launched = lost + captured, as the scaling says; warnings that mass is neglected are gone."""
    sand = ImpactSpec(
        Impactor(mass_kg=500.0, speed_km_s=6.0, direction=Direction(along_track=-1.0)),
        MomentumTransfer(material={"name": "sand"}),
        mass_exchange=MassExchange(),
    )
    impact, kept = impact_on(PAIR, sand), impact_on(PAIR, replace(sand, mass_exchange=None))
    masses, scaled = impact.exchange.masses, impact.released.scaled
    assert masses.ejecta_kg == pytest.approx(scaled.mass_lost_kg, rel=1e-12)
    assert masses.returned_kg == pytest.approx(scaled.mass_captured_kg, rel=1e-9)
    assert any("neglected" in sentence for sentence in kept.warnings)
    assert not any("neglected" in sentence for sentence in impact.warnings)
    assert any("wide crater" in sentence for sentence in impact.warnings)


@pytest.mark.parametrize("frame", ["ground", "centre"])
def test_backwards_to_the_beta_that_was_given(frame):
    """The along-track change of the whole hit gives back its beta, and that change the state after the hit."""
    table = {"ejecta_kg": 2e7, "returned_share": 0.2, "beta_frame": frame}
    scenario = example().replace({"mass_exchange": table, "impactor.aim_offset_m": [12.0, 5.0]})
    impact, lever = impact_on(PAIR, scenario), leverage(PAIR, scenario)
    dv, momentum = 1e-3 * impact.dv_along_track_mm_s, 480.0 * 5400.0
    mass = np.array([PAIR.secondary.mass_kg])
    assert lever.beta(np.array([dv]), mass, np.array([momentum]))[0] == pytest.approx(2.2, rel=1e-10)
    system, state = state_after(PAIR, scenario, lever, dv, momentum)
    assert system.secondary.mass_kg == impact.system.secondary.mass_kg
    assert state.vector == pytest.approx(impact.state.vector, rel=1e-11, abs=1e-14)


def test_mass_that_leaves_with_new_shapes():
    """The new ellipsoid has the mass that stays, its centre where that is, and the spin that is left."""
    exchange = {"ejecta_kg": 5e7, "from_m": [-30.0, 10.0, 0.0]}
    scenario = example().replace(
        {"impactor": None, "momentum_transfer": None, "mass_exchange": exchange}
        | {"reshaping": {"secondary_semi_axes_m": [75.0, 60.0, 46.0]}}
    )
    impact = impact_on(PAIR, scenario)
    new = impact.system.secondary
    assert isinstance(new, Ellipsoid) and new.mass_kg == pytest.approx(PAIR.secondary.mass_kg - 5e7, rel=1e-14)
    assert np.linalg.norm(impact.state.position_m - PAIR.state.position_m) == pytest.approx(
        5e7 / new.mass_kg * np.hypot(30.0, 10.0), rel=1e-9
    )
    left = impact.exchange.system.secondary.inertia_kg_m2 * impact.exchange.state.rate2_rad_s
    assert new.inertia_kg_m2 * impact.state.rate2_rad_s == pytest.approx(left, rel=1e-12, abs=1e-3)


def test_a_prediction_tells_the_exchange(tmp_path, capsys):
    """Text, JSON and file; a member that goes alone has it too."""
    scenario = example().replace(SHORT | {"mass_exchange": {"ejecta_kg": 1e7}})
    path, out = tmp_path / "mass.toml", tmp_path / "mass.h5"
    scenario.to_toml(path)
    assert main(["predict", str(path), "--out", str(out)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    numbers = bd.open(out).numbers()
    assert f"exchange of mass (attitude left out) {numbers['period_change_mass_s']:+.3f} s" in text
    assert numbers["mass_change_kg"] == pytest.approx(480.0 - 1e7, rel=1e-12)
    assert numbers["centre_shift_m"] > 0.05 and numbers["principal_axes_turn_deg"] > 0.01
    rows = bd.sweep(scenario, {"mass_exchange.ejecta_kg": [1e7, 0.0]}, table="summary").df
    assert rows.period_change_s.iloc[0] == pytest.approx(numbers["period_change_s"], abs=0.05)
    assert rows.period_change_s.iloc[1] != rows.period_change_s.iloc[0]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"ejecta_kg": -1.0}, "0 .. 1e+12 kg"),
        ({"returned_share": 1.5}, "0 .. 1"),
        ({"returned_share": 0.5}, "without any ejecta"),
        ({"from_m": [1.0, 2.0, 3.0]}, "whose site the mass leaves from"),
        ({"beta_frame": "space"}, "ground or centre"),
    ],
)
def test_bad_tables_are_refused(table, said):
    with pytest.raises(InputError, match=said.replace("+", r"\+")):
        example().replace({"mass_exchange": table})


def test_what_is_off_the_ground_is_refused():
    still = {"impactor": None, "momentum_transfer": None}
    on, off = ({"mass_exchange": {"ejecta_kg": 1e6, "from_m": [x, 0.0, 0.0]}} for x in (70.0, 70.2))
    assert example().replace(still | on).mass_exchange.from_m[0] == 70.0
    with pytest.raises(InputError, match="off the secondary"):
        example().replace(still | off)
    assert example().replace({"impactor.normal_radius_m": 48.0}).impactor.normal_radius_m == 48.0
    with pytest.raises(InputError, match="up to the shortest semi-axis, 48 m"):
        example().replace({"impactor.normal_radius_m": 49.0})
    primary = {"impactor.target": "primary", "impactor.normal_radius_m": 49.0}
    assert example().replace(primary).impactor.target == "primary"
    with pytest.raises(InputError, match="hits of the secondary alone"):
        example().replace(primary | {"impactor.normal_sigma_deg": 5.0})


def test_more_than_a_point_can_lose_is_refused():
    with pytest.raises(InputError, match="at most 0.1"):
        struck(exchange=MassExchange(ejecta_kg=1e9))
    with pytest.raises(InputError, match="both ejecta_kg and from_m"):
        example().replace(
            {"impactor": None, "momentum_transfer": None, "velocity_change": {"along_track_mm_s": -1.0}}
            | {"mass_exchange": {"ejecta_kg": 1e6}}
        )
