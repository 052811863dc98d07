"""How the pair will be observed: the table [campaign], from which the precision of the period change is foretold."""

from __future__ import annotations

from .fields import Number, Table, Whole, key


class Campaign(Table):
    """Nights before and after the impact on which middles of mutual events are measured."""

    nights_before: Whole = key(14, "", "nights before t0; two weeks fix the period before to seconds", 1, 3650)
    nights_after: Whole = key(60, "", "nights after t0; as long as the default window", 1, 3650)
    night_h: Number = key(
        8.0, "h", "of observation, evenly about the middle of the night; 24 for a network round the Earth", 0.0, 24.0,
        open_low=True,
    )  # fmt: skip
    middle_utc_h: Number | None = key(
        None,
        "h",
        "middle of the night in UTC; none: local midnight of the site of [observer], 0 h without one",
        0.0,
        24.0,
    )
    mid_sigma_s: Number = key(
        60.0, "s", "one sigma of one measured middle; a minute is usual for faint pairs (common practice)", 1e-3, 1e5
    )
    least_depth_mag: Number = key(
        0.01,
        "mag",
        "events shallower than that are not seen; 0.01 is usual for faint pairs (common practice)",
        0.0,
        10.0,
    )
    lost_share: Number = key(0.3, "", "chance that a night is lost to weather; usual at good sites", 0.0, 0.99)
    seed: Whole = key(0, "", "of the draws of the weather; 0 so that two people get the same", 0, 2**63 - 1)
