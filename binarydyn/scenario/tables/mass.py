"""What a scenario says about mass that joins and leaves the secondary at the impact: the table [mass_exchange]."""

from __future__ import annotations

from ..fields import Number, Table, key


class MassExchange(Table):
    """Mass of impactor, ejecta and boulders, with the centre and the inertia that go with it; without the table the
    secondary keeps all three.

    All of it joins or leaves at one point and moves with the ground there; boulders of [[boulders]] leave with their
    masses.
    """

    ejecta_kg: Number | None = key(
        None,
        "kg",
        "launched from the site, of which returned_share falls back; none: what the material's scaling launches, "
        "without a material nothing",
        0.0,
        1e12,
    )
    returned_share: Number | None = key(
        None,
        "",
        "of the ejecta that falls back; it counts as lying evenly over the secondary at once, the days of its flight "
        "are left out; none: what the scaling says where it says the mass, else 0",
        0.0,
        1.0,
    )
    impactor: str = key(
        "added",
        "",
        "whether the impactor stays in the secondary with its mass; neglected: only its momentum does",
        choices=("added", "neglected"),
    )
    beta_frame: str = key(
        "ground",
        "",
        "what the velocities of the ejecta behind beta are relative to: the turning ground at the site, from which "
        "they are launched, or the secondary's centre",
        choices=("ground", "centre"),
    )
    from_m: tuple[Number, Number, Number] | None = key(
        None,
        "m",
        "[x, y, z] of the point, along the secondary's own axes from its centre of mass; none: the impact site; needed "
        "where no impactor makes one",
        -1e6,
        1e6,
    )
