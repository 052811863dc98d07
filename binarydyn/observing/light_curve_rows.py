"""A light curve as plain rows, one an epoch, and what holds for all of it: for tables, CSV and JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..notebook import library
from ..sky.events import Event
from .light_curve import Photometry, span

if TYPE_CHECKING:
    import xarray

LAW_WORDS = {
    "lambert": "Lambert: S = mu mu0",
    "lommel_seeliger": "Lommel-Seeliger: S = mu mu0 / (mu + mu0)",
    "lommel_seeliger_lambert": "Lommel-Seeliger and a tenth of Lambert: S = mu mu0 [1 / (mu + mu0) + 0.1]",
}
PHASE_WORDS = {
    "none": "phase function: none (geometry only)",
    "linear_exponential": "times f = 0.5 exp(-alpha / 0.1 rad) - 0.5 alpha/rad + 1 "
    "(Kaasalainen et al. 2001, Icarus 153, 37)",
}


def label(event: Event) -> str:
    """`eclipse of the primary` or `occultation of the secondary`, ..."""
    return f"{event.kind} of the {event.body}"


def curve_rows(found: Photometry) -> list[dict[str, Any]]:
    """One an epoch."""
    curve = found.curve
    seen = found.sky.clock.utc(curve.time_s + curve.light_time_s)
    parts = curve.brightness_m2 * np.array(curve.albedos)
    share = parts[:, 1] / parts.sum(axis=1)
    exact = curve.magnitude  # worked out anew each time that it is asked for
    return [
        {
            "seen_utc": seen[k],
            "time_s": float(curve.time_s[k]),
            "side": "before" if curve.time_s[k] < 0.0 else "after",
            "magnitude": float(found.magnitude[k]),
            "magnitude_without_noise": float(exact[k]),
            "sigma_mag": found.noise_mag,
            "share_of_secondary": float(share[k]),
            "phase_angle_deg": float(curve.phase_angle_deg[k]),
            "light_time_s": float(curve.light_time_s[k]),
            "events": "; ".join(label(event) for event in here),
        }
        for k, here in enumerate(found.under_way())
    ]


def to_xarray(found: Photometry) -> xarray.Dataset:
    """Magnitudes and what they are made of over `time_s`, s from t0 at the system; `seen_utc` as the observer's
    clock."""
    xarray, table = library("xarray", "to_xarray"), curve_rows(found)
    columns = {name: np.array([row[name] for row in table]) for name in table[0]}
    columns["seen_utc"] = np.array([text.rstrip("Z") for text in columns["seen_utc"]], dtype="datetime64[ms]")
    time_s = columns.pop("time_s")
    return xarray.Dataset({name: ("time_s", values) for name, values in columns.items()}, {"time_s": time_s})


def events_in_curve(found: Photometry) -> list[dict[str, Any]]:
    """One an event that touches the curve."""
    times = np.array([(*span(event), event.mid_s) for event in found.events]).reshape(-1, 3)
    seen = np.array(found.sky.observed_utc(times.ravel())).reshape(-1, 3) if len(times) else times
    return [
        {
            "kind": event.kind,
            "body": event.body,
            "extent": event.extent,
            "first_utc": None if event.contacts_s[0] is None else str(first),
            "last_utc": None if event.contacts_s[3] is None else str(last),
            "mid_utc": str(middle),
            "mid_s": event.mid_s,
            "depth_mag": event.depth_mag,
        }
        for event, (first, last, middle) in zip(found.events, seen, strict=True)
    ]


def curve_summary(found: Photometry) -> dict[str, Any]:
    """What holds for the whole curve."""
    curve, surface = found.curve, found.surface
    return {
        "status": found.status,
        "impact": found.impact.status,
        "impact_epoch_utc": found.scenario.impact_epoch_utc,
        "epochs": len(curve.time_s),
        "law": surface.law,
        "law_in_words": LAW_WORDS[surface.law],
        "phase_law": surface.phase_law,
        "phase_law_in_words": PHASE_WORDS[surface.phase_law],
        "albedo_ratio": surface.albedo_ratio,
        "facets": surface.facets,
        "noise_mag": found.noise_mag,
        "seed": found.seed,
        "brightest_mag": float(curve.magnitude.min()),
        "faintest_mag": float(curve.magnitude.max()),
        "phase_angle_least_deg": float(curve.phase_angle_deg.min()),
        "phase_angle_greatest_deg": float(curve.phase_angle_deg.max()),
    }
