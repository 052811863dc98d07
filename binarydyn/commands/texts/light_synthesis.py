"""`light-curve --synthesise`: light as photometers would measure it, into a CSV file."""

from __future__ import annotations

from dataclasses import asdict

from ...files.csv_tables import MEASURED_LIGHT, check_csv
from ...observing.light_curve import Surface
from ...observing.synthetic_light import Photometer, synthesised_light
from ...scenario import Scenario
from ...scenario.wording import CAUTION
from ...sky.geometry import Sky
from ...store.measured_light import write_light
from ...terminal.progress import say_if_cold
from ...terminal.tables import check_outputs, print_json


def check_light_synthesis(scenario: Scenario, path: str, file: str) -> None:
    """Refuse a table that cannot be written before anything is computed."""
    check_outputs({"--synthesise": path}, scenario, file)
    check_csv(path, MEASURED_LIGHT)


def write_light_synthesis(
    scenario: Scenario, path: str, window: tuple[float, float], how: Photometer, surface: Surface, seed: int,
    as_json: bool,
) -> None:  # fmt: skip
    """window: first day from t0, and number of days."""
    say_if_cold()
    light = synthesised_light(scenario, *window, how, surface, seed)
    write_light(path, light, Sky.of(scenario), origin_of(scenario, how, surface, seed))
    nights = len(set(light.night.tolist()))
    if as_json:
        said = {"file": path, "points": len(light), "nights": nights, **asdict(how), **asdict(surface), "seed": seed}
        print_json(said | {"from_days": window[0], "days": window[1], "caution": CAUTION})
        return
    red = f", red {how.red_noise_mag:g} mag over {how.red_noise_minutes:g} minutes" if how.red_noise_mag else ""
    print(f"{len(light)} points of {nights} nights ({surface.law}), noise {how.noise_mag:g} mag{red}, are in {path}")


def origin_of(scenario: Scenario, how: Photometer, surface: Surface, seed: int) -> str:
    """Where synthetic points come from, on one line without commas."""
    told = asdict(surface) | asdict(how) | {"filters": " ".join(how.filters), "seed": seed}
    numbers = " ".join(f"{name}={value}" for name, value in told.items())
    return f"simulated; {numbers}; scenario sha256 {scenario.sha256[:16]}"
