"""Event times of guesses: without a search they are those of the full search, and what does not last says why."""

import numpy as np
import pytest

from binarydyn.constants import DAY_S
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.observing.worlds import joined, worlds
from binarydyn.reconstruction.event_times import EventModel
from binarydyn.reconstruction.unknowns import Unknowns
from binarydyn.scenario import example
from binarydyn.sky.dips import dips_of
from binarydyn.sky.geometry import Sky
from binarydyn.timing.mid_times import MidTimes

DAYS = 4.0
LONG = {"secondary.semi_axes_m": [140.0, 95.0, 86.0]}


def nought(model: EventModel) -> np.ndarray:
    return np.zeros((1, len(model.unknowns.names)))


@pytest.mark.parametrize("changes", [{}, LONG], ids=["built-in", "long secondary"])
def test_contacts_are_those_of_the_search(changes):
    """With a quarter of the usual step: 0.01 s is what the search itself promises for its contacts."""
    scenario = example().replace(changes)
    mids = synthesised(scenario, DAYS, Observing(0.0, timed="contacts"), seed=0)
    model = EventModel.of(scenario, mids, refine=4.0)
    late = model.predicted_s(nought(model))[0] - model.observed_s
    assert len(late) > 50 and np.abs(late).max() < 0.01


@pytest.mark.parametrize("timed", ["centroid_s", "half_depth_s", "folded_s"])
def test_dips_are_those_of_the_search(timed):
    """Against many more rays than strips: 3 s rms is what the errors of a fit have for it (timing/noise.py, FLOOR_S).

    All events of the built-in system in these days are eclipses and occultations of one body that overlap.
    """
    scenario = example()
    world = worlds(scenario, Sky.of(scenario), DAYS, DAYS, 0).nominal
    table = joined([dips_of(run, world.sight, rays=1024, epochs=121) for run in world.runs])
    table = table.chosen(np.abs(table.conjunction_s) < (DAYS - 0.3) * DAY_S)
    assert set(table.kind) == {"both"} and (table.depth_m2 > 0.0).all()
    exact = getattr(table, timed)
    name = {"centroid_s": "dip_centroid", "half_depth_s": "half_depth", "folded_s": "folded"}[timed]
    seen = exact.mean(axis=1) + world.sight.light_time_s(exact.mean(axis=1))
    mids = MidTimes(table.kind, table.body, seen, timed=np.full(len(seen), name))
    model = EventModel.of(scenario, mids)
    late = model.predicted_s(nought(model))[0] - model.observed_s
    by_law, shown = model.events.middles_s(model.motion.runs(nought(model)))
    assert shown.all() and np.sqrt(np.mean(late**2)) < 3.0
    assert np.sqrt(np.mean((by_law[0] - exact) ** 2)) < 4.0
    law = 0.5 * (exact[:, 1] - exact[:, 0])
    assert np.corrcoef(model.columns_s[:, model.causes.index("scattering law")], law)[0, 1] > 0.95


def test_unknowns_of_the_built_in_system():
    unknowns = Unknowns.of(example())
    assert unknowns.names[:3] == ("mutual_orbit.period_h", "phase", "momentum_transfer.beta")
    assert np.array_equal(np.isinf(unknowns.prior_sigma_u), np.arange(len(unknowns.names)) < 3)
    assert np.array_equal(unknowns.value(np.zeros(len(unknowns.names)))[0], unknowns.centre)
