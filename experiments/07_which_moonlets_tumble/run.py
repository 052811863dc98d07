"""Which secondaries tumble?  Maps over a/b, b/c and beta after a velocity change like that of 2022: tumble.png, in two
minutes."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from binarydyn.bodies import Ellipsoid
from binarydyn.ensembles import rows_of
from binarydyn.observables import small_motion
from binarydyn.plots.style import AFTER, INK, LATER, PAGE, SMALL
from binarydyn.scenario import Scenario, load, varied

HERE = Path(__file__).parent
PAIR = load(HERE / "pair.toml")
AB, BC, BETA = np.linspace(1.02, 1.5, 17), np.linspace(1.0, 1.5, 21), np.arange(1.0, 5.01, 0.5)
WEAK_MM_S = -0.7  # a quarter of the velocity change of 2022: what grows now grows at a resonance
NEAR = 0.03  # of n; half the width of a strip along a resonance
IMPACT = """
[impactor]
mass_kg = 579.4      # Daly et al. 2023 [M]
speed_km_s = 6.1449  # Daly et al. 2023 [M]
direction = {along_track = -1.0, normal = 0.1}
[simulation]
days_before = 3.0
"""
RESONANCES = {
    "nutation = 1/2 n": lambda m: 2.0 * m.nutation - 1.0,
    "nutation = 1/2 libration": lambda m: 2.0 * m.nutation - m.libration,
    "precession + nutation = n": lambda m: m.precession + m.nutation - 1.0,
    "libration = n": lambda m: m.libration - 1.0,
}
DASHES = ("solid", "dashed", "dashdot", "dotted")


def mapped(scenario: Scenario, axes: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What each number of the prediction is on the grid of the axes."""
    rows = sorted(rows_of(scenario, {key: values.tolist() for key, values in axes.items()}), key=lambda row: row.index)
    assert all(row.status == "completed" for row in rows)
    angles = ("libration", "roll", "pitch")
    names = [f"{angle}_max_after_deg" for angle in angles] + ["chaotic_after", "tumbling"]
    shape = [len(values) for values in axes.values()]
    return {name: np.array([row.numbers[name] for row in rows], dtype=float).reshape(shape) for name in names}


def by_ratio(dv_mm_s: float) -> dict[str, np.ndarray]:
    pair = varied(PAIR, {"velocity_change.along_track_mm_s": dv_mm_s})
    return mapped(pair, {"secondary.axis_ratio_ab": AB, "secondary.axis_ratio_bc": BC})


def by_beta() -> dict[str, np.ndarray]:
    pair = Scenario.from_text(PAIR.text.partition("[velocity_change]")[0] + IMPACT, "pair.toml")
    return mapped(pair, {"secondary.axis_ratio_ab": AB[::2], "momentum_transfer.beta": BETA})


def detuning() -> dict[str, np.ndarray]:
    """Over n, how far each shape is from each resonance of its small motions."""
    motions = [[small_motion(Ellipsoid((x * y, y, 1.0), 1.0).inertia_kg_m2) for y in BC] for x in AB]
    return {name: np.array([[off(m) for m in row] for row in motions]) for name, off in RESONANCES.items()}


def draw(weak, strong, beta, off) -> None:
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(PAGE):
        figure = Figure(figsize=(6.7, 6.4), layout="constrained")
        ax = figure.subplots(2, 2)
        classes(ax[0, 0], AB, BC, weak, f"greatest roll, deg, after {WEAK_MM_S} mm/s", "roll_max_after_deg")
        classes(ax[0, 1], AB, BC, strong, "greatest roll, deg, after -2.7 mm/s", "roll_max_after_deg")
        classes(ax[1, 0], AB, BC, strong, "libration, deg, after -2.7 mm/s", "libration_max_after_deg")
        classes(ax[1, 1], AB[::2], BETA, beta, "greatest roll, deg, at b/c = 1.2", "roll_max_after_deg")
        for row in ax[0]:
            for dashes, values in zip(DASHES, off.values(), strict=True):
                row.contour(AB, BC, values.T, [0.0], colors=[INK], linestyles=[dashes], linewidths=1.2)
        handles = [
            matplotlib.lines.Line2D([], [], color=INK, linestyle=d, label=n) for d, n in zip(DASHES, off, strict=True)
        ]
        handles += [matplotlib.lines.Line2D([], [], **mark, label=word) for mark, word in marks()]
        figure.legend(handles=handles, loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False)
        for place in ax.flat:
            place.set(xlabel="a/b", ylabel="b/c")
        ax[1, 1].set_ylabel("beta")
        figure.savefig(HERE / "tumble.png", dpi=150)


def marks() -> list[tuple[dict, str]]:
    chaotic = {"color": INK, "linestyle": "none", "marker": "x", "markersize": 4.0, "markeredgewidth": 0.8}
    tumbling = {"color": LATER.colour, "linestyle": "none", "marker": "o", "markersize": 3.5}
    return [(chaotic, "chaotic by neighbouring trajectories"), (tumbling, "and tumbling by angles")]


def classes(ax, x, y, found, title, name) -> None:
    """A quantity in shades, chaotic members crossed, tumbling ones dotted."""
    from matplotlib.colors import LinearSegmentedColormap

    shades = LinearSegmentedColormap.from_list("shades", ["#fbf8f0", "#b9cfdc", AFTER.colour])
    most = 90.0 if name.startswith("roll") else 60.0
    image = ax.pcolormesh(x, y, np.minimum(found[name], most).T, cmap=shades, vmin=0.0, vmax=most)
    ax.figure.colorbar(image, ax=ax, extend="max", pad=0.02)
    X, Y = np.meshgrid(x, y, indexing="ij")
    wild, over = found["chaotic_after"] == 1.0, found["tumbling"] == 1.0
    for chosen, (mark, _) in zip((wild & ~over, over), marks(), strict=True):
        ax.plot(
            X[chosen],
            Y[chosen],
            **(mark | {"markersize": 2.8}),
        )
    ax.set_title(title)


def tell(word: str, found: dict[str, np.ndarray]) -> None:
    """Counts, and which angle goes first."""
    wild, over = found["chaotic_after"] == 1.0, found["tumbling"] == 1.0
    roll, pitch, yaw = (found[f"{angle}_max_after_deg"] for angle in ("roll", "pitch", "libration"))
    print(f"{word}: {wild.size} members, {wild.mean():.0%} chaotic, {over.mean():.0%} tumbling")
    print(f"  tumbling but not chaotic {np.sum(over & ~wild)}, chaotic but not tumbling {np.sum(wild & ~over)}")
    print(f"  of the tumbling: roll > 90 deg in {np.sum(roll[over] > 90)}, pitch in {np.sum(pitch[over] > 90)}, "
          f"yaw > 180 in {np.sum(yaw[over] > 180)}")  # fmt: skip
    print(f"  of the unstable: roll above pitch in {np.mean(roll[wild] > pitch[wild]):.0%}")


def tell_resonances(found: dict[str, np.ndarray], off: dict[str, np.ndarray]) -> None:
    """How instability crowds along the resonances of small motions, and where there is none."""
    wild, over = found["chaotic_after"] == 1.0, found["tumbling"] == 1.0
    near = np.min([np.abs(values) for values in off.values()], axis=0) < NEAR
    print(f"  within {NEAR} n of a resonance: {near.mean():.0%} of all, {near[wild].mean():.0%} of the unstable")
    for name, values in off.items():
        strip = np.abs(values) < NEAR
        print(f"    {name}: {strip.sum()} members, {wild[strip].mean():.0%} chaotic")
    print(f"  a/b < 1.2: {wild[AB < 1.19].mean():.0%} chaotic, {over[AB < 1.19].mean():.0%} tumbling")
    print(f"  a/b >= 1.4 with b/c >= 1.2: {over[np.ix_(AB > 1.39, BC > 1.19)].mean():.0%} tumbling")
    print(f"  b/c <= 1.1: {wild[:, BC < 1.11].mean():.0%} chaotic, {over[:, BC < 1.11].mean():.0%} tumbling")


def main() -> None:
    begin = time.perf_counter()
    weak, strong, beta, off = by_ratio(WEAK_MM_S), by_ratio(-2.7), by_beta(), detuning()
    for word, found in (("weak velocity change", weak), ("velocity change of 2022", strong)):
        tell(word, found)
        tell_resonances(found, off)
    tell("by beta", beta)
    for k, value in enumerate(BETA):
        wild, over = (beta[name][:, k].mean() for name in ("chaotic_after", "tumbling"))
        print(f"  beta {value:.1f}: {wild:.0%} chaotic, {over:.0%} tumbling")
    draw(weak, strong, beta, off)
    print(f"{time.perf_counter() - begin:.0f} s")


if __name__ == "__main__":
    main()
