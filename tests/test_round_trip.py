"""From drawn truths through noisy event times back to intervals: they cover the truth as often as they say."""

import sys
from pathlib import Path

import numpy as np
import pytest
from test_geometry import pair

from binarydyn.observing.synthetic_times import Observing
from binarydyn.scenario import Scenario

sys.path.append(str(Path(__file__).parents[1] / "experiments" / "13_round_trip"))
from round_trip import prepared, round_trips

DAYS, NOISE_S, BETAS, MEMBERS = 10.0, 30.0, (1.5, 3.5), 60
SAMPLING = """
[sampling]
seed = 3
[sampling.quantities]
"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}
"secondary.density_kg_m3" = {uniform = [2400.0, 3600.0]}
"secondary.semi_axes_m.0" = {normal = [70.0, 1.5]}
"impactor.speed_km_s" = {normal = [5.4, 0.05]}
"""


@pytest.fixture(scope="module")
def rows():
    text = pair().text.replace("days_before = 60.0", "days_before = 10.0")
    scenario = Scenario.from_text(text.replace("days_after = 60.0", "days_after = 10.0") + SAMPLING)
    assert scenario.simulation.days_after == DAYS
    trip = prepared(scenario, BETAS, DAYS, Observing(NOISE_S), 3000)
    return list(round_trips(trip, BETAS, range(MEMBERS)))


def test_every_member_comes_back(rows):
    assert [row.status for row in rows] == ["completed"] * MEMBERS
    assert min(row.beta for row in rows) < 1.7 and max(row.beta for row in rows) > 3.3


@pytest.mark.parametrize("name", ["beta", "dv_mm_s"])
def test_intervals_cover_as_often_as_they_say(rows, name):
    """Of more seeds in experiments/13_round_trip, of fewer here, with the bounds widened by the binomial error alone:
    68 +- 10 %, 95 +- 5 % and 1.64 sigma of that of 60 against that of 200.
    """
    for percent, bound in ((68, 10.0), (95, 5.0)):
        p = percent / 100.0
        more = 164.0 * np.sqrt(p * (1.0 - p)) * (MEMBERS**-0.5 - 200**-0.5)
        covered = 100.0 * np.mean([row.covers(name, percent) for row in rows])
        assert abs(covered - percent) < bound + more, covered


def test_fitted_changes_scatter_as_their_sigma_says(rows):
    """Pulls of the fitted change against that in the window of the data."""
    pulls = np.array([(row.change_s - row.true_change_s) / row.change_sigma_s for row in rows])
    assert abs(pulls.mean()) < 0.75 and 0.75 < pulls.std() < 1.25
