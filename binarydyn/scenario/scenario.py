"""What was asked: one scenario, checked as a whole, with the text it came from."""

from __future__ import annotations

import hashlib
import math
import numbers
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import PrivateAttr, model_validator

from ..constants import HOUR_S, G
from ..errors import InputError
from ..kinds import PATH, check_kind, sure, takes
from ..notebook import Displayed
from .differences import differences, flat
from .fields import Table, key, refusal
from .plain import HERE
from .reading import parsed, read_text, toml_text, write_text
from .tables.bodies import DENSITY_KG_M3, MutualOrbit, Primary, Secondary
from .tables.boulders import Boulder
from .tables.campaign import Campaign
from .tables.events import Impactor, Observation, Requirement, Simulation, VelocityChange
from .tables.heliocentric import HeliocentricOrbit, epoch_refusal
from .tables.mass import MassExchange
from .tables.observed import Observed
from .tables.observer import Observer
from .tables.perturbations import PerturbationsTable
from .tables.reference import Expected, InputSigma
from .tables.reshaping import Reshaping, check_reshaping
from .tables.sampling import Sampling
from .tables.spacecraft import Spacecraft
from .tables.transfer import MomentumTransfer
from .variation import check_sampled_keys, check_uncertain_keys, in_order, set_value, unknown, value_of, why_not_numeric
from .wording import as_given, one_line

if TYPE_CHECKING:
    import pandas

BUILTIN = "built-in scenario"
SPIN_ORBIT_GAP = 0.2
_ON_THE_GROUND = 1.001
"""Of a point over the ellipsoid's own, to rounding of what is typed."""
"""|w1 - n| must be above this share of n: closer, the forced response 2 (w1 - n) is as slow as the free modes."""


class Scenario(Displayed, Table):
    """A system, what hits it, and how to calculate and observe it; it does not change, `replace` gives another one.

    `load`, `example` and `Scenario.from_dict` make one, `scenario["impactor.mass_kg"]` is a value, None where it is not
    given.  Text, values and hash follow from each other however it was made.

    >>> import binarydyn as bd
    >>> scenario = bd.example()
    >>> scenario
    <Scenario 'Orrin and Pell': 271x262x246 m + 70x61.5x48 m, 821 m, 10.42 h; impactor 480 kg, 5.4 km/s, beta 2.2>
    >>> other = scenario.replace({"momentum_transfer.beta": 3.5, "primary.semi_axes_m.0": 275.0})
    >>> other["momentum_transfer.beta"], scenario["momentum_transfer.beta"]
    (3.5, 2.2)
    >>> print(scenario.diff(other))
                                             this                  other
    primary.semi_axes_m     [271.0, 262.0, 246.0]  [275.0, 262.0, 246.0]
    momentum_transfer.beta                    2.2                    3.5
    """

    name: str = key("", "", "a title for tables and figures")
    description: str = key("", "", "anything worth remembering about it")
    impact_epoch_utc: str = key("", "", "ISO 8601 date and time of t0; empty: not known, needed where the Sun is")
    primary: Primary
    secondary: Secondary
    mutual_orbit: MutualOrbit
    heliocentric_orbit: HeliocentricOrbit | None = None
    impactor: Impactor | None = None
    momentum_transfer: MomentumTransfer = MomentumTransfer()
    boulders: tuple[Boulder, ...] = key(
        (), "", "thrown off at the site beside the finer ejecta; none, as they are rarely seen"
    )
    velocity_change: VelocityChange | None = None
    mass_exchange: MassExchange | None = None
    reshaping: Reshaping | None = None
    simulation: Simulation = Simulation()
    observation: Observation = Observation()
    perturbations: PerturbationsTable = PerturbationsTable()
    spacecraft: Spacecraft = Spacecraft()
    observer: Observer = Observer()
    campaign: Campaign = Campaign()
    requirement: Requirement | None = None
    observed: Observed | None = None
    sampling: Sampling | None = None
    expected: tuple[Expected, ...] = key((), "", "published values that validate compares with")
    input_sigma: tuple[InputSigma, ...] = key((), "", "uncertainties of the inputs, for validate")

    _place: str = PrivateAttr("scenario")
    _folder: Path = PrivateAttr(HERE)
    _read: tuple[str, str] | None = PrivateAttr(None)  # a text, and what toml_text makes of its values

    @classmethod
    def from_text(cls, text: str, place: str = "scenario", folder: str | Path = ".") -> Scenario:
        """Read TOML text; `place` names it in errors, mesh files are looked for in `folder`.  Raises InputError."""
        check_kind("Scenario.from_text", text, str)
        scenario = cls.from_dict(parsed(text, place), place, folder)
        scenario._read = text, toml_text(scenario.to_dict())
        return scenario

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], place: str = "scenario", folder: str | Path = ".") -> Scenario:
        """Check values as TOML gives them, in tables or dictionaries; `place`, `folder` as of from_text.

        Raises InputError.
        """
        check_kind("Scenario.from_dict", data, Mapping)
        check_kind("Scenario.from_dict(place)", place, *PATH)
        check_kind("Scenario.from_dict(folder)", folder, *PATH)
        place, folder = str(place), Path(folder)
        scenario = cls._checked(data, place, folder)
        scenario._place, scenario._folder = place, folder
        return scenario

    of = from_dict  # type: ignore[assignment]

    def replace(self, changes: Mapping[str, Any] | None = None, /, **tables: Any) -> Scenario:
        """The scenario with other values: {"impactor.mass_kg": 500.0}, a number, a word, a list or a whole table by its
        dotted key, or by keyword where that has no dot; None takes a key or a table away.

        List elements and rows go by index, `primary.inclusions.0.density_kg_m3`.  Semi-axes of a body take the place of
        its axis ratios and volume; an Ellipsoid or a Mesh (that was read from a file), as `secondary=body`, that of all
        that says its shape and mass.  The result is checked as a file is.  Raises InputError.

        >>> import binarydyn as bd
        >>> bd.example().replace(secondary=bd.Ellipsoid((80.0, 70.0, 60.0), 2400.0))["secondary.density_kg_m3"]
        2400.0
        """
        check_kind("Scenario.replace", changes, None, Mapping)
        data = self.to_dict()
        for name, value in in_order(self, dict(changes or {}) | tables):
            set_value(data, self, self._place, name, value)
        changed = type(self).from_dict(data, self._place, self._folder)
        changed._read = self._read
        return changed

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Scenario:
        """As `replace`, with whole tables by their names."""
        return self.replace(update or {})

    def __getitem__(self, name: str) -> Any:
        """What a dotted key stands for, `scenario["impactor.mass_kg"]`; None where it is not given.

        Raises InputError for a key that no scenario has.
        """
        check_kind("Scenario[..]", name, str)
        if (value := value_of(self, name)) is None and (why := unknown(self, name)):
            raise InputError(f"{self._place}:{one_line(name)}", why)
        return value

    def to_dict(self, folder: Path = HERE) -> dict[str, Any]:
        """What is given, as TOML reads it: a copy, mesh files as seen from the scenario's own folder."""
        return super().to_dict(self._folder)

    def to_toml(self, path: str | Path | None = None) -> str:
        """The TOML text, also written to a new file where `path` names one: mesh files as seen from there."""
        if path is None:
            return self.text
        seen = toml_text(super().to_dict(Path(path).parent))
        text = self.text if seen == toml_text(self.to_dict()) else seen
        write_text(path, text)
        return text

    def diff(self, other: Scenario) -> pandas.DataFrame:
        """In which values another one differs, defaults too: a row for each dotted key, columns `this` and `other`.

        None stands for what is not given.  Raises InputError, also without pandas.
        """
        check_kind("Scenario.diff", other, "Scenario")
        return differences(self, other)

    @property
    def place(self) -> str:
        """The file it came from."""
        return self._place

    @property
    def folder(self) -> Path:
        """Where its mesh files are looked for."""
        return self._folder

    @property
    def text(self) -> str:
        """The TOML text: the one that was read while the values are still those in it, else written from them."""
        written = toml_text(self.to_dict())
        return self._read[0] if self._read and self._read[1] == written else written

    @property
    def sha256(self) -> str:
        """Of the text, in hexadecimal."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    def _line(self) -> str:
        one, two, orbit = self.primary, self.secondary, self.mutual_orbit
        words = [f"{_called(one)} + {_called(two)}"]
        words += [f"{x:g} {unit}" for x, unit in ((orbit.separation_m, "m"), (orbit.period_h, "h")) if x is not None]
        return f"{self.name!r}: {', '.join(words)}; {self._hit_line}"

    @property
    def _hit_line(self) -> str:
        if not (by := self.impactor):
            return (
                self.kind_of_impact
                if not self.velocity_change
                else f"velocity change of {self.velocity_change.along_track_mm_s:g} mm/s along track"
            )
        transfer = self.momentum_transfer
        return f"impactor {by.mass_kg:g} kg, {by.speed_km_s:g} km/s, {transfer.material or f'beta {transfer.beta:g}'}"

    def _facts(self) -> dict[str, Any]:
        return dict(flat(self.to_dict()))

    def __eq__(self, other: object) -> bool:
        """Whether all values are the same, wherever they came from."""
        if not isinstance(other, Scenario):
            return NotImplemented
        return self._values == other._values

    def __hash__(self) -> int:
        return hash(self._values)

    @property
    def _values(self) -> tuple[str, Path]:
        return toml_text(self.to_dict()), self._folder.absolute()

    @property
    def kind_of_impact(self) -> str:
        """`impactor`, `velocity_change` or `none`."""
        return "impactor" if self.impactor else "velocity_change" if self.velocity_change else "none"

    @model_validator(mode="after")
    def _consistent(self) -> Scenario:
        if wrong := epoch_refusal(self.impact_epoch_utc):
            raise wrong
        _check_impact(self)
        _check_pole(self)
        _check_sun(self)
        _check_overlap(self)
        check_reshaping(self.reshaping, self.primary, self.secondary, self.mutual_orbit.separation_m)
        _check_spin(self)
        _check_implied_density(self)
        _check_cadence(self)
        if self.sampling:
            check_sampled_keys(self, self.sampling.quantities)
        check_uncertain_keys(self, self.input_sigma)
        return self


def _called(body: Primary | Secondary) -> str:
    """A body in a word."""
    return "x".join(f"{axis:g}" for axis in body.semi_axes_m) + " m" if body.semi_axes_m else sure(body.polyhedron).file


def _check_impact(scenario: Scenario) -> None:
    if scenario.impactor and scenario.velocity_change:
        raise refusal(
            "velocity_change",
            "[impactor] and [velocity_change] are both given, at most one is allowed; remove one of the tables",
        )
    if "momentum_transfer" in scenario.model_fields_set and not scenario.impactor:
        raise refusal(
            "momentum_transfer", "it is given without an [impactor], allowed is with one; add [impactor] or remove it"
        )
    if scenario.boulders and not scenario.impactor:
        raise refusal(
            "boulders", "boulders are given without an [impactor], whose site they leave; add it or remove them"
        )
    _check_mass(scenario)
    _check_ground(scenario)
    if scenario.momentum_transfer.material and scenario.sampling:
        for name in ("momentum_transfer.beta", "momentum_transfer.beta_system"):
            if name in scenario.sampling.quantities:
                raise refusal(
                    ("sampling", "quantities", name),
                    "it is uncertain while a material gives it, allowed are the numbers of the material; remove it",
                )


def _check_mass(scenario: Scenario) -> None:
    """Mass leaves from somewhere, and with something."""
    given = scenario.mass_exchange
    if not given:
        return
    if scenario.impactor and given.from_m:
        raise refusal(
            "mass_exchange.from_m", "it is given beside an [impactor], whose site the mass leaves from; remove it"
        )
    if not scenario.impactor and not (given.from_m and given.ejecta_kg is not None):
        raise refusal(
            "mass_exchange",
            "without an [impactor] both ejecta_kg and from_m are needed, to say how much leaves and from where; give "
            "them, or remove the table",
        )
    if given.ejecta_kg is None and given.returned_share is not None and not scenario.momentum_transfer.material:
        raise refusal(
            "mass_exchange.returned_share", "it is given without any ejecta; add ejecta_kg or a material, or remove it"
        )


def _check_ground(scenario: Scenario) -> None:
    """The ground about a site is part of a body, and what is not known of its slope is told of the secondary alone."""
    impactor, axes = scenario.impactor, scenario.secondary.semi_axes_m
    if impactor and impactor.target == "primary":
        axes = scenario.primary.semi_axes_m
        if impactor.normal_sigma_deg:
            raise refusal("impactor.normal_sigma_deg", "it is told for hits of the secondary alone; remove it")
    if impactor and axes and (impactor.normal_radius_m or 0.0) > min(axes):
        raise refusal(
            "impactor.normal_radius_m",
            f"{impactor.normal_radius_m:g} m is given, allowed is up to the shortest semi-axis, {min(axes):g} m, "
            "beyond which the mean normal is no normal of the site; give less",
        )
    point = scenario.mass_exchange.from_m if scenario.mass_exchange else None
    if point and axes and math.hypot(*(x / a for x, a in zip(point, axes, strict=True))) > _ON_THE_GROUND:
        raise refusal(
            "mass_exchange.from_m",
            f"{list(point)} m is off the secondary, whose semi-axes are {list(axes)} m; give a point on or "
            "below its ground",
        )


def _check_pole(scenario: Scenario) -> None:
    """A direction on the sky means something only once the orbit is placed on it."""
    if not scenario.impactor or scenario.mutual_orbit.pole_deg:
        return
    for name, direction in (
        ("impactor.direction", scenario.impactor.direction),
        ("momentum_transfer.ejecta_direction", scenario.momentum_transfer.ejecta_direction),
        *((f"boulders.{row}.direction", boulder.direction) for row, boulder in enumerate(scenario.boulders)),
    ):
        if direction and direction.frame == "ecliptic":
            raise refusal(
                name,
                "an ecliptic direction is given without the orbit's pole; add pole_longitude_deg and "
                "pole_latitude_deg to [mutual_orbit]",
            )


def _check_sun(scenario: Scenario) -> None:
    """The Sun pulls from somewhere only once orbit, epoch and pole place the system under it."""
    if scenario.perturbations.solar_tide != "on":
        return
    for name, given in (
        ("heliocentric_orbit", scenario.heliocentric_orbit),
        ("impact_epoch_utc", scenario.impact_epoch_utc),
        ("mutual_orbit.pole_longitude_deg", scenario.mutual_orbit.pole_deg),
    ):
        if not given:
            raise refusal(name, 'it is missing while perturbations.solar_tide = "on" needs it; add it')


def _check_overlap(scenario: Scenario) -> None:
    one, two, orbit = scenario.primary.semi_axes_m, scenario.secondary.semi_axes_m, scenario.mutual_orbit
    if not (one and two and orbit.separation_m):
        return
    nearest, touching = orbit.separation_m * (1.0 - orbit.eccentricity), one[0] + two[0]
    if nearest <= touching:
        raise refusal(
            "mutual_orbit.separation_m",
            f"the bodies overlap: their centres come within {nearest:g} m, allowed is more than "
            f"the two longest semi-axes, {touching:g} m; check separation_m and semi_axes_m (half the extents)",
        )


def _check_spin(scenario: Scenario) -> None:
    spin, period = scenario.primary.spin_period_h, scenario.mutual_orbit.period_h
    if period and abs(period / spin - 1.0) <= SPIN_ORBIT_GAP:
        raise refusal(
            "primary.spin_period_h",
            f"{spin:g} h is too close to the orbit period of {period:g} h, allowed is a spin rate "
            f"that differs from the orbit's by more than {100.0 * SPIN_ORBIT_GAP:.0f} %; change one of them "
            "(a doubly synchronous system is not supported yet)",
        )


def _check_cadence(scenario: Scenario) -> None:
    period, sample = scenario.mutual_orbit.period_h, scenario.simulation.sample_minutes
    if period and sample > period * 60.0 / 4.0:
        raise refusal(
            "simulation.sample_minutes",
            f"{sample:g} min is given, allowed is at most a quarter of the orbit period, {period * 15.0:g} min "
            f"(the angle could not be followed); make it shorter",
        )


def _check_implied_density(scenario: Scenario) -> None:
    """Kepler's third law, n^2 a^3 = G M, good to a few per cent here: enough to see a wrong unit."""
    orbit, bodies = scenario.mutual_orbit, (scenario.primary, scenario.secondary)
    if not (orbit.separation_m and orbit.period_h and all(body.semi_axes_m for body in bodies)):
        return
    mass = (2.0 * math.pi / (orbit.period_h * HOUR_S)) ** 2 * orbit.separation_m**3 / G
    volumes = [sure(body.ellipsoid_volume_m3) for body in bodies]
    if any(body.inclusions for body in bodies):
        densities = [mass / sum(volumes)]
    else:
        masses = [sure(body.ellipsoid_mass_kg) for body in bodies]
        densities = [mass / sum(masses) * each / volume for each, volume in zip(masses, volumes, strict=True)]
    for density in densities:
        if not DENSITY_KG_M3[0] <= density <= DENSITY_KG_M3[1]:
            raise refusal(
                "mutual_orbit.period_h",
                f"separation and period together ask for a density of {density:.3g} kg/m3, allowed is "
                f"{DENSITY_KG_M3[0]:g} .. {DENSITY_KG_M3[1]:g}; check period_h, separation_m and semi_axes_m",
            )


@takes(scenario="Scenario", changes=Mapping)
def varied(scenario: Scenario, changes: Mapping[str, float]) -> Scenario:
    """Scenario.replace for numbers that the scenario has alone, as sweeps and samples vary them.

    Raises InputError for an unknown or non-numeric key (naming the nearest right one), for a value that is no number,
    and for whatever the schema refuses.
    """
    for name, value in changes.items():
        place = f"{scenario.place}:{one_line(name)}"
        if why := why_not_numeric(scenario, name):
            raise InputError(place, why)
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            raise InputError(place, f"{as_given(value)} is given, allowed is a number; write one")
    return scenario.replace({name: float(value) for name, value in changes.items()})


@takes(path=PATH)
def load(path: str | Path) -> Scenario:
    """Read a scenario file.  Raises InputError, whose one sentence says what is wrong and what to do."""
    return Scenario.from_text(read_text(path), str(path), Path(path).parent)


def example() -> Scenario:
    """The built-in, invented system, which is used where no file is given."""
    return Scenario.from_text(files(__package__).joinpath("invented.toml").read_text(encoding="utf-8"), BUILTIN)
