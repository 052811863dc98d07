"""Mean motion, libration, precession and nutation: closed forms, made-up signals, and lines of simulated motion."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from test_assessment import pair
from test_observables import KEPLER_PERIOD_S, KEPLER_RATE, ellipse

from binarydyn.bodies import Ellipsoid
from binarydyn.constants import DAY_S
from binarydyn.dynamics import relative_equilibrium, simulate
from binarydyn.observables import FundamentalLines, attitude, fundamental_lines, small_motion
from binarydyn.observables.chaos import simulate_with_neighbours
from binarydyn.observables.frequency import Line, peeled, wave
from binarydyn.prediction import predict
from binarydyn.relaxed import start
from binarydyn.vectors import quaternion_of_turn, quaternion_product

HOUR = 3600.0


@pytest.mark.parametrize("axes", [(100.0, 80.0, 70.0), (100.0, 95.0, 60.0), (100.0, 72.0, 66.0)])
def test_rates_of_small_motion_are_those_of_the_linearised_equations(axes):
    """A secondary of 100 m, 100 km from a heavy sphere: what is left out is (R'/a)^2 = 1e-6, m/M = 4e-6, and twenty
    times as much where libration and orbit nearly resonate (the third one's libration is at 0.975 n).
    """
    moonlet = Ellipsoid(axes, 2000.0)
    found = relative_equilibrium(
        Ellipsoid((5000.0, 5000.0, 5000.0), 2000.0), moonlet, separation_m=100e3, spins_rad_s=(1e-4, None), degree=2
    )
    expected = small_motion(moonlet.inertia_kg_m2)
    tilts = sorted(mode.rate_rad_s for mode in found.modes if mode.name == "secondary_roll_pitch")
    theirs = np.array([found.mode("libration").rate_rad_s, tilts[-1], tilts[0]]) / found.rate_rad_s
    assert [expected.libration, expected.fast, expected.slow] == pytest.approx(theirs, rel=3e-5)


def test_rates_of_small_motion_of_nearly_round_bodies():
    """Precession 3/2 (C - A)/B n, nutation 2 n sqrt(p q), to first order in the differences of the moments."""
    p, q = 1.0e-5, 1.5e-5
    expected = small_motion(np.array([1.0, 1.0 + q - p, 1.0 + q]))
    assert expected.precession == pytest.approx(1.5 * q, rel=1e-4)
    assert expected.nutation == pytest.approx(2.0 * np.sqrt(p * q), rel=1e-4)
    assert small_motion(np.array([1.0, 1.0, 1.3])).libration == 0.0


def swinging(yaw=(), roll=(), pitch=(), days=60.0):
    """A circular orbit whose secondary swings by sums of (amplitude deg, rate over n, phase)."""
    time = np.arange(0.0, days * 86400.0, 1200.0)
    still = ellipse(days=days, e=0.0, time=time)
    angles = [
        sum(a * np.cos(w * KEPLER_RATE * time + c) for a, w, c in lines) + 0.0 * time for lines in (roll, pitch, yaw)
    ]
    x = -still.position_m / np.linalg.norm(still.position_m, axis=1)[:, None]
    frame = Rotation.from_matrix(np.stack([x, np.cross([0.0, 0.0, 1.0], x), 0.0 * x + [0.0, 0.0, 1.0]], axis=-1))
    body = frame * Rotation.from_euler("XYZ", np.stack(angles, axis=1), degrees=True)
    y = still.y.copy()
    y[:, 13:17] = np.roll(body.as_quat(), 1, axis=1)
    run = replace(still, y=y, system=replace(still.system, secondary=Ellipsoid((100.0, 83.0, 69.0), 2000.0)))
    return run, fundamental_lines(run, attitude(run))


EXPECTED = small_motion(Ellipsoid((100.0, 83.0, 69.0), 2000.0).inertia_kg_m2)
YAW = (5.0, 0.95 * EXPECTED.libration, 0.3)
SLOW, FAST = (2.0, 1.05 * EXPECTED.slow, 1.0), (0.7, 0.98 * EXPECTED.fast, 2.0)


def test_made_up_lines_are_found():
    """Errors of a refined Hann line over 120 turns: 1e-6 of its rate, 1e-3 of its amplitude from its neighbours."""
    _, found = swinging([YAW, (1.0, 0.99, 0.0)], [SLOW, (0.3 * FAST[0], *FAST[1:])], [(0.5, *SLOW[1:]), FAST])
    assert found.mean_motion_h == pytest.approx(KEPLER_PERIOD_S / HOUR, rel=1e-9)
    assert found.libration_h * YAW[1] == pytest.approx(KEPLER_PERIOD_S / HOUR, rel=1e-5)
    assert found.nutation_h * SLOW[1] == pytest.approx(KEPLER_PERIOD_S / HOUR, rel=1e-5)
    assert found.precession_h * (FAST[1] - 1.0) == pytest.approx(KEPLER_PERIOD_S / HOUR, rel=1e-5)
    assert (found.libration_deg, found.nutation_deg, found.precession_deg) == pytest.approx((5.0, 2.0, 0.7), rel=2e-3)


def test_lines_taken_off_one_by_one_add_up_to_the_signal():
    """Rates, amplitudes and phases at time 0 of two made-up lines on a grid that does not begin there."""
    time = 3.0 * DAY_S + 600.0 * np.arange(4000)
    strong, weak = Line(2.0 * np.pi / 4.1e4, 3.0, 0.4), Line(2.0 * np.pi / 1.23e4, 0.5, -1.2)
    found = peeled(time, 7.0 + wave(strong, time) + wave(weak, time), 2)
    for line, made in zip(found, (strong, weak), strict=True):
        assert line.rate_rad_s == pytest.approx(made.rate_rad_s, rel=1e-6)
        assert line.amplitude == pytest.approx(made.amplitude, rel=1e-3)
        assert line.phase_rad == pytest.approx(made.phase_rad, abs=1e-2)


def test_lines_that_cannot_be_told_are_none():
    run, found = swinging([YAW])
    assert found.libration_h and found.nutation_h is None and found.precession_h is None
    assert swinging([(5.0, 1.5 * EXPECTED.libration, 0.0)])[1].libration_h is None  # far from where it should be
    twins = swinging([YAW, (4.0, 1.05 * EXPECTED.libration, 0.0)])[1]
    assert twins.libration_h is None
    assert swinging([YAW], days=2.0)[1] == FundamentalLines()
    time, n, turn = run.time_s, YAW[1] * KEPLER_RATE, 2.0 * np.pi / run.time_s[-1] ** 2
    for drift, told in ((0.5, True), (5.0, False)):  # of the rate over the window, in resolutions 2 pi/T
        yaw = 5.0 * np.cos(n * time + 0.5 * drift * turn * (time - time.mean()) ** 2)
        assert (fundamental_lines(run, replace(attitude(run), yaw_deg=yaw)).libration_h is not None) is told
    turning = fundamental_lines(run, replace(attitude(run), tumbling=True))
    assert turning.mean_motion_h and turning.libration_h is None


def test_a_sideband_of_a_strong_line_is_not_taken_for_the_other():
    """Roll that an eccentric orbit modulates shows at n + slow too, here where the fast line is looked for."""
    near = abs(1.0 + SLOW[1] - EXPECTED.fast) / EXPECTED.fast
    assert near < 0.1
    assert swinging([YAW], [SLOW, (0.1, 1.0 + SLOW[1], 0.0)])[1].precession_h is None


def twisted(state, turn_rad):
    return replace(state, attitude2=np.array(quaternion_product(*state.attitude2, *quaternion_of_turn(*turn_rad))))


def test_lines_of_a_nudged_moonlet_are_its_free_modes():
    """Lines of 60 days against the eigenvalues of the return map of one turn, which know nothing of lines.

    Nudged by 1e-3 rad about each axis; squares of that, and 2 pi/T over ten, move a line by less than 1e-4 of n.
    """
    begun = start(pair())
    state = twisted(begun.system.state, np.array([1e-3, 5e-4, 1e-3]))
    run = simulate(begun.system, 60.0, state=state)
    found = fundamental_lines(run, attitude(run))
    n = 2.0 * np.pi / found.mean_motion_h
    rates = {
        "libration": 2.0 * np.pi / found.libration_h,
        "secondary_roll_pitch": [2.0 * np.pi / found.nutation_h, n + 2.0 * np.pi / found.precession_h],
    }
    for name, ours in rates.items():
        theirs = np.array([2.0 * np.pi / mode.period_h for mode in begun.modes if mode.name == name])
        for rate in np.atleast_1d(ours):
            assert np.abs(theirs - rate).min() < 1e-4 * n
    expected = small_motion(begun.system.secondary.inertia_kg_m2)
    ours = np.array([rates["libration"], *rates["secondary_roll_pitch"]]) / n
    assert ours == pytest.approx([expected.libration, expected.slow, expected.fast], rel=0.06)


def after_a_push(axes_m, **velocity_change) -> tuple[dict, str]:
    """Numbers and warnings of a system like (65803), the secondary's shape and the velocity change, mm/s, as given."""
    data = {
        "primary": {"semi_axes_m": [425.5, 424.5, 310.0], "spin_period_h": 2.26},
        "secondary": {"semi_axes_m": axes_m, "density_kg_m3": 2400.0},
        "mutual_orbit": {"separation_m": 1206.0, "period_h": 11.921473},
        "simulation": {"days_before": 3.0, "days_after": 60.0, "tolerance": 1e-9},
    }
    result = predict(pair(**data, velocity_change=velocity_change))
    return result.numbers(), " ".join(result.warnings)


def test_both_criteria_of_tumbling_are_reported_and_agree_on_calm_and_on_wild_motion():
    calm, said = after_a_push([81.0, 74.0, 67.0], along_track_mm_s=-1.0)
    assert (calm["tumbling"], calm["chaotic_after"], calm["tumbling_criteria_agree"]) == (False, False, True)
    assert "tumble" not in said and calm["libration_period_after_h"] > calm["mean_motion_period_after_h"]
    wild, said = after_a_push([100.4, 76.1, 56.4], along_track_mm_s=-2.7, normal_mm_s=0.27)
    assert (wild["tumbling"], wild["chaotic_after"], wild["tumbling_criteria_agree"]) == (True, True, True)
    assert "tumble" not in said and wild["libration_period_after_h"] is None


def test_where_the_criteria_of_tumbling_disagree_a_warning_says_how():
    """A secondary whose nutation is at half its mean motion, pushed gently; and one that nothing holds to the
    primary."""
    chaotic, said = after_a_push([100.4, 76.1, 56.4], along_track_mm_s=-0.7, normal_mm_s=0.27)
    assert (chaotic["tumbling"], chaotic["chaotic_after"], chaotic["tumbling_criteria_agree"]) == (
        False,
        True,
        False,
    )
    assert "does not tumble within the window" in said
    free, said = after_a_push([80.0, 80.0, 65.0], along_track_mm_s=-2.7)
    assert (free["tumbling"], free["chaotic_after"], free["tumbling_criteria_agree"]) == (False, False, True)
    assert "nothing locks" in said and "tumbles" not in said


def test_a_moonlet_that_spins_fast_tumbles_by_its_angles_but_not_by_its_companions():
    """Ten turns an orbit about the short axis: the yaw runs away, evenly, and neighbouring trajectories stay beside
    it."""
    system = start(pair()).system
    fast = replace(system.state, rate2_rad_s=10.0 * system.state.rate2_rad_s)
    run, chaos = simulate_with_neighbours(system, 10.0, fast, 20.0, 10**9)
    assert attitude(run).tumbling and not chaos.chaotic
