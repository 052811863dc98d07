"""Which tests are asked about a file: those of its area, the ones that name it first."""

from __future__ import annotations

from pathlib import Path

TESTS = Path(__file__).resolve().parents[2] / "tests"

AREAS = {
    "kepler": "test_kepler",
    "vectors": "test_dynamics",
    "bodies": "test_bodies test_layered",
    "gravity": "test_gravity test_reference_gravity",
    "dynamics": "test_dynamics test_splitting test_batch test_equilibria test_perturbations test_long_runs test_cases",
    "impact": "test_impact test_ejecta test_boulders test_reshaping test_hits_together test_aim test_brief",
    "observables": "test_observables test_geometry test_events test_light_curve test_mid_times test_timing "
    "test_fundamental_frequencies test_frequency_sums",
    "surroundings": "test_surroundings test_describe",
    "assessment": "test_assessment test_trust test_outcomes test_describe test_perturbations test_plan test_infer "
    "test_posterior test_timetable test_photometry test_validate test_unstable_runs test_round_trip test_equilibria",
    "ensembles": "test_brief test_cases test_sample test_predict_sample test_sensitivity test_companions "
    "test_relaxed_many test_hits_together test_timetable_spread test_sweep",
}
"""Folder or file of the package to its tests; what is not here (files, figures, commands) has no physics."""
_LEFT_OUT = {
    "cluster",
    "processes",
    "threads",
    "tasks",
    "backends",
    "gpu",
    "batches",
    "identity",
    "block",
    "member_set",
}

NAMED = (
    ("binarydyn/assessment/sizes.py", "3.0 *"),
    ("binarydyn/observables/estimators.py", "0.75 *"),
)
"""Lines whose changes once survived."""


def tests_of(path: str) -> list[str]:
    """Names of test files, most likely ones first; none where the file is of no area."""
    parts = Path(path).with_suffix("").parts[1:]
    if parts[0] not in AREAS or parts[-1] in _LEFT_OUT or parts[-1] == "__init__":
        return []
    area = AREAS[parts[0]].split()
    area = [name for name in area if (TESTS / f"{name}.py").exists()]
    module = ".".join(("binarydyn", *parts))
    naming = [p.stem for p in sorted(TESTS.glob("test_*.py")) if module in p.read_text()]
    return list(dict.fromkeys([*naming, *area]))
