"""`timing --synthesise`: event times as observers would have them, into a CSV file."""

from __future__ import annotations

from dataclasses import asdict

from ...files.csv_tables import MIDDLES, check_csv
from ...observing.synthetic_times import Observing, synthesised, synthesised_nights
from ...scenario import Scenario
from ...scenario.wording import CAUTION
from ...sky.geometry import Sky
from ...store.mid_times import write_mid_times
from ...terminal.progress import say_if_cold
from ...terminal.tables import check_outputs, print_json


def check_synthesis(scenario: Scenario, path: str, file: str) -> None:
    """Refuse a table that cannot be written before anything is computed."""
    check_outputs({"--synthesise": path}, scenario, file)
    check_csv(path, MIDDLES)


def write_synthesis(
    scenario: Scenario, path: str, days: float | None, how: Observing, seed: int, as_json: bool
) -> None:
    """days: None for the nights of [campaign]."""
    say_if_cold()
    mids = synthesised_nights(scenario, how, seed) if days is None else synthesised(scenario, days, how, seed)
    write_mid_times(path, mids, Sky.of(scenario).clock)
    if as_json:
        said = {"file": path, "events": len(mids), **asdict(how), "seed": seed}
        print_json(said | {"days": days, "campaign": days is None, "caution": CAUTION})
        return
    night = f" and {how.night_noise_s:g} s common to a night" if how.night_noise_s else ""
    print(f"{len(mids)} event times ({how.timed}, {how.law}) with noise of {how.noise_s:g} s{night} are in {path}")
