"""What swings the secondary before the impact is said by its cause, and that nothing locks a round one."""

import math

import numpy as np
import pytest

from binarydyn import predict
from binarydyn.batch.summary import summary_rows
from binarydyn.bodies.averaged import free_turns
from binarydyn.ensembles import rows_of
from binarydyn.observables import orbit_shape
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario, example, varied

NEAR_RESONANCE = {
    "primary": {"semi_axes_m": [603300.0, 603300.0, 578150.0], "mass_kg": 5.6832e20, "spin_period_h": 10.656},
    "secondary": {"semi_axes_m": [1801.0, 1330.0, 1027.0], "mass_kg": 5.62e12},
    "mutual_orbit": {"period_h": 510.64, "eccentricity": 0.01, "solve_for": "separation"},
    "velocity_change": {"along_track_mm_s": -0.1},
    "simulation": {"days_before": 640.0, "days_after": 200.0},
}


def swings(warnings) -> list[str]:
    return [sentence for sentence in warnings if "swings the secondary" in sentence]


def test_an_eccentricity_near_resonance_is_named_not_a_spheroid():
    """Yaw from the line of centres 2 e / ((w/n)^2 - 1), w^2 = 3 n^2 (B - A)/C (Murray & Dermott 1999, ch. 5, from
    memory); to 3 %, the libration's amplitude."""
    result = predict(Scenario.from_dict(NEAR_RESONANCE, "test"))
    a, b, c = result.start.system.secondary.inertia_kg_m2
    yaw = math.degrees(2.0 * 0.01 / abs(3.0 * (b - a) / c - 1.0))
    assert result.before.attitude.libration_max_deg == pytest.approx(yaw, rel=0.03)
    (said,) = swings(result.warnings)
    assert "eccentricity of 0.01" in said and "pericentre_deg" in said and "primary" not in said


def test_the_turning_primary_is_named_where_it_forces_the_swing():
    """A primary 1.6 times as fast as the orbit, no eccentricity; and with a small one beside it."""
    data = {"primary.spin_period_h": 10.42 / 1.6}
    for eccentricity in (0.0, 1e-4):
        result = predict(varied(example(), data | {"mutual_orbit.eccentricity": eccentricity}))
        said = swings(result.warnings)
        assert len(said) == 1 and "the primary's spin alone" in said[0]


def test_an_eccentricity_far_from_resonance_is_no_surprise():
    """Built-in pair, w/n = 0.63: 2 e / (1 - (w/n)^2) is 3.3 e, below 4 e."""
    assert not swings(predict(varied(example(), {"mutual_orbit.eccentricity": 0.02})).warnings)


def test_nothing_locks_a_turn_between_two_equal_moments():
    assert free_turns(np.array([1.0, 1.0, 1.0])).tolist() == [True, True, True]
    assert free_turns(np.array([1.0, 1.0, 2.0])).tolist() == [False, False, True]
    assert free_turns(np.array([1.0, 2.0, 2.0])).tolist() == [True, False, False]
    assert free_turns(np.array([[1.0, 1.0], [1.0, 1.5], [1.0, 2.0]])).tolist() == [[True, False]] * 3


@pytest.mark.parametrize(("axes", "word"), [([60.0] * 3, "ball"), ([66.0, 66.0, 50.0], "round")])
def test_a_round_moonlet_does_not_tumble_and_it_is_said_that_nothing_locks_it(axes, word):
    """A velocity change along the track parts its spin from the orbit by 360 deg in days; full and summary rows
    alike."""
    data = {key: value for key, value in example().to_dict().items() if key not in ("impactor", "momentum_transfer")}
    data |= {"secondary": {"semi_axes_m": axes, "density_kg_m3": 3120.0}, "velocity_change": {"along_track_mm_s": -3.0}}
    scenario = Scenario.from_dict(data, "test")
    result = predict(scenario)
    numbers = result.numbers()
    assert np.abs(result.after.attitude.yaw_deg).max() > 360.0
    assert numbers["tumbling"] is False and numbers["lost_lock_after"] is False
    assert numbers["long_axis_misalignment_max_after_deg"] == 0.0
    assert any("nothing locks" in sentence and word in sentence for sentence in result.warnings)
    assert not any("tumbles" in sentence for sentence in result.warnings)
    grid = Grid.of({"velocity_change.along_track_mm_s": [-3.0]})
    summary = summary_rows(scenario, grid, np.arange(1))
    assert (
        summary.numbers["lost_lock_after"][0] == 0 and summary.numbers["long_axis_misalignment_max_after_deg"][0] == 0.0
    )
    (row,) = rows_of(scenario, grid)
    assert row.numbers["tumbling"] is False


def test_a_moonlet_that_is_hardly_out_of_round_still_tumbles():
    """0.1 % between two axes is a lock, one that such a velocity change breaks."""
    data = {key: value for key, value in example().to_dict().items() if key not in ("impactor", "momentum_transfer")}
    data |= {"secondary": {"semi_axes_m": [60.06, 60.0, 50.0], "density_kg_m3": 3120.0}}
    result = predict(Scenario.from_dict(data | {"velocity_change": {"along_track_mm_s": -3.0}}, "test"))
    assert result.numbers()["tumbling"] is True
    assert not any("nothing locks" in sentence for sentence in result.warnings)
    assert orbit_shape(result.after).eccentricity > 0.01
