"""How fast at which accuracy?  Own integrators against general libraries on the same equations, 60 days, one thread,
one process; degrees 4 and 6.  Times are of the processor, so that others on the machine disturb them less.

Needs the extra `bench` (heyoka, scikit-sundae).  Prints tables and writes table.md and work_precision.png beside this
file, for degrees 4 and 6 unless degrees are given; with --quick it prints a coarser table of degree 4 in half a minute
and writes nothing.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import methods
from nominal_pair import PERIOD_ERROR_M, circumstances, members

from binarydyn.integrators import propagate, rungekutta

QUICK = "--quick" in sys.argv
DEGREES = [int(word) for word in sys.argv[1:] if word.isdigit()] or ([4] if QUICK else [4, 6])
MEMBERS, COMPARED = (16, 2) if QUICK else (64, 8)
ENERGY = 1e-12
COMPACT_FROM = 8
"""Degree from which heyoka compiles in its compact mode, half as fast; without it degree 6 takes half a minute."""


@dataclass(frozen=True)
class Curve:
    """One method: settings from loose to tight, error m, error of energy, milliseconds per case."""

    name: str
    settings: np.ndarray
    error_m: np.ndarray
    energy: np.ndarray
    ms: np.ndarray

    def to_reach(self, wanted: float, errors: np.ndarray) -> float:
        """Milliseconds at an error, on the line between neighbours in log-log; nan where none is as good.

        Where the loosest setting is better than wanted, its own time.
        """
        good = np.flatnonzero(errors <= wanted)
        if not len(good):
            return float("nan")
        k = good[0]
        if k == 0:
            return float(self.ms[0])
        x = np.log([errors[k], errors[k - 1]])
        return float(np.exp(np.interp(np.log(wanted), x, np.log([self.ms[k], self.ms[k - 1]]))))

    @property
    def position_ms(self) -> float:
        return self.to_reach(PERIOD_ERROR_M, self.error_m)

    @property
    def energy_ms(self) -> float:
        return self.to_reach(ENERGY, self.energy)


def energy_error(system, states: np.ndarray) -> float:
    """max |E - E0| / (G M1 M2 / 2a) over the checkpoints."""
    constants, coefficients = system.parameters
    y = np.vstack([system.state.vector, states])
    change, _ = rungekutta.entry(methods.number(system)).drifts(y.ravel(), len(y), coefficients, constants)
    return change * 2.0 * propagate.semi_major_axis_m(system)


def measured(name: str, run, systems, settings, reference: np.ndarray, repeats: int) -> Curve:
    """Median errors of the first COMPARED systems; time per case of the fastest repeat."""
    rows = []
    for setting in settings:
        results = [run(systems, setting) for _ in range(2 if QUICK else repeats)]
        seconds, states = min(results, key=lambda result: result[0])
        pairs = list(zip(systems[:COMPARED], states, reference, strict=False))
        error = np.median([np.linalg.norm((y - x)[:, :3], axis=1).max() for _, y, x in pairs])
        energy = np.median([energy_error(system, y) for system, y, _ in pairs])
        rows.append((setting, error, energy, 1e3 * seconds))
        print(f"{name:26s} {setting:9.2e} {error:11.3e} m  {energy:9.2e}  {rows[-1][3]:9.3f} ms", flush=True)
    return Curve(name, *np.array(rows).T)


def curves(degree: int) -> tuple[list[Curve], str]:
    """All methods at one degree, and a line on how long heyoka compiles."""
    many = members(MEMBERS, degree)
    few = many[:COMPARED]
    heyoka = methods.Heyoka(degree, len(few[0].parameters[1]), degree >= COMPACT_FROM)
    reference = heyoka.reference(few)
    steps = 1.0 if QUICK else 0.5
    ladder = 10.0 ** np.arange(-5.0, -13.1, -steps)
    minutes = [90.0, 72.0, 60.0] if QUICK else [90.0, 80.0, 76.0, 72.0, 66.0, 60.0, 48.0, 36.0, 24.0, 12.0]
    taylor = [1e-6, 1e-8] if QUICK else [1e-6, 1e-7, 1e-8, 1e-12, 1e-15]
    coarse = ladder[:: 1 if QUICK else 2]
    methods.by_scipy("DOP853")(few[:1], 1e-3), methods.splitting(few, 60.0), methods.in_lanes(few, 1e-3)
    found = [
        measured("binarydyn", methods.alone, few, ladder, reference, 5),
        measured("binarydyn, lanes", methods.in_lanes, many, ladder, reference, 3),
        measured("binarydyn, splitting", methods.splitting, many, minutes, reference, 3),
        measured("heyoka", heyoka.alone, few, taylor, reference, 3),
        measured("heyoka, batch of 8", heyoka.batched, many[:8], taylor, reference, 3),
        measured("scipy DOP853", methods.by_scipy("DOP853"), few, coarse[1:-1], reference, 2),
        measured("scipy LSODA", methods.by_scipy("LSODA"), few, coarse[1:-1], reference, 2),
        measured("SUNDIALS CVODE", methods.by_cvode, few, coarse[1:-1], reference, 2),
    ]
    mode = "compact mode" if heyoka.compact else "its default mode"
    return found, f"heyoka in {mode}, which compiles in up to {heyoka.compile_s:.0f} s for one tolerance"


def batch_sizes(degree: int, curve: Curve, run) -> str:
    """Milliseconds per case for batches of other sizes, at the loosest setting that is good enough."""
    setting = curve.settings[np.flatnonzero(curve.error_m <= PERIOD_ERROR_M)[0]]
    parts = []
    for count in (8, 16, 32, 64):
        systems = members(count, degree)
        parts.append(f"{count}: {1e3 * min(run(systems, setting)[0] for _ in range(3)):.3f}")
    return f"{curve.name} at {setting:.3g}, ms per case in batches of " + ", ".join(parts)


TARGETS = (
    ("heyoka", "binarydyn", 10.0),
    ("scipy DOP853", "binarydyn", 50.0),
    ("binarydyn", "binarydyn, lanes", 4.0),
    ("binarydyn", "binarydyn, splitting", 7.0),
    ("heyoka, batch of 8", "binarydyn, lanes", 10.0),
    ("heyoka, batch of 8", "binarydyn, splitting", 15.0),
)


def table(degree: int, found: list[Curve], notes: list[str]) -> str:
    """Markdown: times and throughput, then the ratios."""
    by_name = {curve.name: curve for curve in found}
    text = f"### Degree {degree}\n\n"
    text += "| method | ms to 0.19 m | cases/s/core | ms to 1e-12 in energy | best error, m | best in energy |\n"
    text += "|---|---|---|---|---|---|\n"
    for curve in found:
        at, tight = curve.position_ms, curve.energy_ms
        energy = "not reached" if np.isnan(tight) else f"{tight:.3g}"
        text += f"| {curve.name} | {at:.3g} | {1e3 / at:.0f} | {energy} "
        text += f"| {curve.error_m.min():.1e} | {curve.energy.min():.1e} |\n"
    text += "\n| at 0.19 m, degree " + f"{degree} | times faster | aim |\n|---|---|---|\n"
    for slow, fast, aim in TARGETS:
        ratio = by_name[slow].position_ms / by_name[fast].position_ms
        asked = f"{aim:g}{'' if ratio >= aim else ', missed'}" if degree == 4 else "-"
        text += f"| {fast} against {slow} | {ratio:.1f} | {asked} |\n"
    return text + "\n" + "\n".join(f"- {note}." for note in notes) + "\n"


def main() -> None:
    head = f"Measured on {circumstances()} (load before the run); one thread, time of the processor; "
    head += "errors against 80-bit runs."
    text, all_found = head + "\n", {}
    for degree in DEGREES:
        found, note = curves(degree)
        all_found[degree] = found
        notes = [note] if QUICK else [note, batch_sizes(degree, found[1], methods.in_lanes)]
        if not QUICK:
            notes.append(batch_sizes(degree, found[2], methods.splitting))
        text += "\n" + table(degree, found, notes)
        print("\n" + text, flush=True)
    if not QUICK:
        folder = Path(__file__).parent
        folder.joinpath("table.md").write_text(text)
        figure(all_found, folder / "work_precision.png")


def figure(all_found: dict[int, list[Curve]], path: Path) -> None:
    """Two panels a degree: error in position and in energy."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 4.2 * len(all_found)), layout="constrained")
    axes = figure.subplots(len(all_found), 2, squeeze=False, sharey="row")
    for row, (degree, found) in zip(axes, all_found.items(), strict=True):
        for ax, name, wanted, label in (
            (row[0], "error_m", PERIOD_ERROR_M, "largest error in position over 60 days, m"),
            (row[1], "energy", ENERGY, "error of energy over the orbit's"),
        ):
            for curve, marker in zip(found, "osD^vP*X", strict=True):
                ax.loglog(getattr(curve, name), curve.ms, marker=marker, markersize=4, label=curve.name, linewidth=1)
            ax.axvline(wanted, color="0.6", linewidth=0.8)
            ax.set_xlabel(label)
        row[0].set_ylabel(f"degree {degree}: time per case, ms")
    figure.legend(
        *axes[0, 0].get_legend_handles_labels(), loc="outside upper center", ncols=4, frameon=False, fontsize=8
    )
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    main()
