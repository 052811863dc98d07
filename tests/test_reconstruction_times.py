"""Event times of guesses: without a search they are those of the full search, and what does not last says why."""

import numpy as np
import pytest

from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.reconstruction.event_times import EventModel
from binarydyn.reconstruction.unknowns import Unknowns
from binarydyn.scenario import example

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


def test_unknowns_of_the_built_in_system():
    unknowns = Unknowns.of(example())
    assert unknowns.names[:3] == ("mutual_orbit.period_h", "phase", "momentum_transfer.beta")
    assert np.array_equal(np.isinf(unknowns.prior_sigma_u), np.arange(len(unknowns.names)) < 3)
    assert np.array_equal(unknowns.value(np.zeros(len(unknowns.names)))[0], unknowns.centre)
