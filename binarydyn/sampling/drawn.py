"""A prediction with its uncertain inputs drawn: the members that are done, as columns, wherever they are kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..scenario import Scenario
from ..scenario.variation import value_of
from .sample import Sample

FAR = 3.0


@dataclass(frozen=True)
class Drawn:
    """columns: arrays (members done,) by name, as those of a stored sweep: `member`, the drawn keys, `status`,
    `reason` and every number of `Prediction.numbers`; they may be fewer than `sample` has.
    """

    scenario: Scenario
    sample: Sample
    columns: Mapping[str, np.ndarray]

    @property
    def keys(self) -> tuple[str, ...]:
        """What is drawn."""
        return self.sample.keys

    def statuses(self) -> dict[str, int]:
        """How many members came to which end, the most frequent first."""
        return dict(Counter(self.columns["status"].tolist()).most_common())


def members_of(scenario: Scenario) -> Scenario:
    """The scenario that members of a prediction are drawn from: the same, without a model error for each of them."""
    if scenario.simulation.model_error == "none":
        return scenario
    return scenario.replace({"simulation.model_error": "none"})


def apart(scenario: Scenario) -> tuple[str, ...]:
    """A sentence for each stated value that lies beyond FAR sigmas of what is drawn in its place."""
    said = []
    for name, distribution in scenario.sampling.quantities.items():
        low, high = (float(x) for x in distribution.at_scores(np.array([-FAR, FAR])))
        if not low <= (stated := value_of(scenario, name)) <= high:
            said.append(
                f"{name} is stated as {stated:g} and drawn between {low:.6g} and {high:.6g} ({FAR:g} sigma): the "
                "prediction of the stated values stands apart from the members"
            )
    return tuple(said)
