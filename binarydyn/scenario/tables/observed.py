"""What was measured after the impact: the table [observed], from which beta is inferred."""

from __future__ import annotations

from ..fields import Number, Table, key


class Observed(Table):
    """A measured change of the mutual orbit's period."""

    period_change_s: Number = key(..., "s", "after minus before; negative is a shorter period", -1e7, 1e7)
    sigma_s: Number = key(..., "s", "one sigma of it; a third of a published 3 sigma", 0.0, 1e7, open_low=True)
