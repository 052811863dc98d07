"""A prediction with its uncertain inputs drawn: what its members are drawn from, and what stands apart from them."""

from __future__ import annotations

import numpy as np

from ..kinds import sure
from ..scenario import Scenario
from ..scenario.variation import value_of

FAR = 3.0


def members_of(scenario: Scenario) -> Scenario:
    """The scenario that members of a prediction are drawn from: the same, without a model error for each of them."""
    if scenario.simulation.model_error == "none":
        return scenario
    return scenario.replace({"simulation.model_error": "none"})


def doubtful_nominals(scenario: Scenario) -> tuple[str, ...]:
    """A sentence for each stated value that lies beyond FAR sigmas of what is drawn in its place."""
    said = []
    for name, distribution in sure(scenario.sampling).quantities.items():
        low, high = (float(x) for x in distribution.at_scores(np.array([-FAR, FAR])))
        if not low <= (stated := value_of(scenario, name)) <= high:
            said.append(
                f"{name} is stated as {stated:g} and drawn between {low:.6g} and {high:.6g} ({FAR:g} sigma): the "
                "prediction of the stated values stands apart from the members"
            )
    return tuple(said)
