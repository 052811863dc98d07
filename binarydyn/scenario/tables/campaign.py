"""How the system will be observed: the table [campaign], from which the precision of the period change is predicted."""

from __future__ import annotations

from ..fields import Number, Table, Whole, key


class Campaign(Table):
    """Nights before and after the impact on which mid-times of mutual events are measured."""

    nights_before: Whole = key(14, "", "nights before t0; two weeks fix the period before to seconds", 1, 3650)
    nights_after: Whole = key(60, "", "nights after t0; as long as the default window", 1, 3650)
    night_h: Number = key(
        8.0,
        "h",
        "of observation, evenly about its centre; 24 for a network of sites, or all that is dark at one",
        0.0,
        24.0,
        open_low=True,
    )
    night_mid_utc_h: Number | None = key(
        None,
        "h",
        "middle of the night in UTC; none: local midnight of the site of [observer], 0 h without one",
        0.0,
        24.0,
    )
    sun_below_deg: Number = key(
        -12.0,
        "deg",
        "altitude of the Sun at which it is dark enough; with a site alone; end of nautical twilight",
        -90.0,
        90.0,
    )
    system_above_deg: Number = key(
        20.0, "deg", "altitude that the system needs; with a site alone; three times the air of the zenith", -90.0, 90.0
    )
    mid_time_sigma_s: Number = key(
        60.0,
        "s",
        "one sigma of one measured mid-time; a minute is usual for faint systems (common practice)",
        1e-3,
        1e5,
    )
    night_sigma_s: Number = key(
        0.0,
        "s",
        "one sigma of an error that all mid-times of a night share; 20 s is usual (a guess), 0 is a perfect base line",
        0.0,
        1e5,
    )
    least_depth_mag: Number = key(
        0.01,
        "mag",
        "events shallower than that are not seen; 0.01 is usual for faint systems (common practice)",
        0.0,
        10.0,
    )
    lost_fraction: Number = key(0.3, "", "chance that a night is lost to weather; usual at good sites", 0.0, 0.99)
    seed: Whole = key(0, "", "of the draws of the weather; 0 so that two people get the same", 0, 2**63 - 1)
