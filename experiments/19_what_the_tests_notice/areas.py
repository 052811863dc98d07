"""Which tests are asked about a file: those of its area, the ones that name it first."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

TESTS = Path(__file__).resolve().parents[2] / "tests"

AREAS = {
    "kepler": "test_kepler",
    "vectors": "test_dynamics",
    "bodies": "test_bodies test_layered",
    "gravity": "test_gravity test_reference_gravity",
    "dynamics": "test_dynamics test_splitting test_batch test_equilibria test_perturbations test_long_runs test_cases",
    "impact": "test_impact test_ejecta test_boulders test_reshaping test_hits_together test_aim test_brief",
    "observables": "test_observables test_trust test_fundamental_frequencies test_frequency_sums",
    "sky": "test_geometry test_events test_light_curve test_photometry",
    "timing": "test_mid_times test_timing test_plan",
    "surroundings": "test_surroundings test_describe",
    "relaxed": "test_assessment test_relaxed_many test_trust test_perturbations test_equilibria test_tumbling",
    "prediction": "test_assessment test_trust test_outcomes test_describe test_perturbations test_swing "
    "test_orbit_plane",
    "sampling": "test_sample test_predict_sample test_sweep test_companions",
    "batch": "test_brief test_cases test_companions test_relaxed_many test_hits_together test_sweep",
    "observing": "test_plan test_timetable test_photometry test_timetable_spread test_timing",
    "inference": "test_infer test_posterior test_unstable_runs test_round_trip test_sensitivity",
    "validation": "test_validate test_posterior",
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
    ("binarydyn/prediction/perturbation_sizes.py", "3.0 *"),
    ("binarydyn/observables/estimators.py", "0.75 *"),
)
"""Lines whose changes once survived."""


def tests_of(path: str) -> list[str]:
    """Names of test files, most likely ones first; none where the file is of no area."""
    parts = Path(path).with_suffix("").parts[1:]
    if parts[0] not in AREAS or parts[-1] in _LEFT_OUT or parts[-1] == "__init__":
        return []
    area = [name for name in AREAS[parts[0]].split() if (TESTS / f"{name}.py").exists()]
    module = ".".join(("binarydyn", *parts))
    naming = [p.stem for p in sorted(TESTS.glob("test_*.py")) if module in p.read_text()]
    return list(dict.fromkeys([*naming, *area]))


class Seen:
    """Which tests run a line, and how long each lasts, from one run of all tests under coverage.

    COVERAGE_FILE=FOLDER/seen pytest --cov=binarydyn --cov-context=test --cov-report= --junitxml=FOLDER/times.xml

    Compiled kernels leave no trace there: for them, and for lines run at import, the tests of the area are asked.
    """

    def __init__(self, folder: Path, root: Path):
        from coverage import CoverageData

        self.data, self.root = CoverageData(str(folder / "seen")), root
        self.data.read()
        self.seconds = {}
        for case in ElementTree.parse(folder / "times.xml").iter("testcase"):
            name = f"{case.get('classname').replace('.', '/')}.py::{case.get('name')}"
            self.seconds[name] = float(case.get("time"))

    def asked(self, path: str, line: int, most_s: float) -> list[str]:
        """Tests to run, the shortest first, as many as last `most_s` together; empty where none is known."""
        contexts = self.data.contexts_by_lineno(str(self.root / path)).get(line, [])
        names = {context.partition("|")[0] for context in contexts if context}
        names = sorted(names, key=lambda name: self.seconds.get(name, 1.0))
        total, chosen = 0.0, []
        for name in names:
            total += self.seconds.get(name, 1.0)
            if total <= most_s or not chosen:
                chosen.append(name)
        return chosen
