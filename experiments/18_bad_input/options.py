"""Command lines with something wrong in them."""

from __future__ import annotations

import os
import random
from pathlib import Path

import results
import scenarios
import values

PLACES = (
    "",
    "x.h5",
    "x.png",
    "x.csv",
    "pair.toml",
    "s.h5",
    "p.h5",
    ".",
    "/",
    "/dev/null",
    "/dev/full",
    "/proc/self/mem",
    "no/such/x.h5",
    "a\x1b[31m.png",
    "x" * 300 + ".png",
    "-",
    "--",
    "link",
    "pipe",
    "folder",
    "x.gif",
    "日本.svg",
    "a\0b",
    "*.h5",
    "~/x.h5",
    "\udcff.h5",
    "x.h5/y.h5",
)
WORDS = (
    "random",
    "sobol",
    "latin",
    "full",
    "summary",
    "threads",
    "cluster",
    "gpu",
    "lambert",
    "none",
    "linear_exponential",
    "impactor.mass_kg=300:900:3",
    "impactor.mass_kg=1,2,nan",
    "impactor.mass=1:2:3",
    "=",
    "a=",
    "=1",
    "a=1:2",
    "a=1:2:3:4",
    "impactor.mass_kg=300:900:1e9",
    "primary.semi_axes_m.0=270,271",
    "primary.semi_axes_m.7=1,2",
    "mutual_orbit=1,2",
    "momentum_transfer.beta=1:3:100000000",
    "simulation.degree=2,4",
    "simulation.days_after=1,inf",
    "0:1",
    "1:0",
    "0:2",
    "-1:2",
    "impactor.mass_kg=" + "1," * 3000 + "2",
    "tcp://127.0.0.1:9",
    "what://x",
    "a\x1b[31m",
)
LINES = (
    "predict pair.toml --nominal",
    "predict pair.toml --out x.h5 --plot x.png --plot-aim y.png",
    "predict pair.toml --json",
    "predict pair.toml --sample sobol --count 4 --seed 1 --table summary --plot-sample z.png",
    "predict --budget",
    "sweep pair.toml --vary impactor.mass_kg=400,500 --out x.h5 --workers 1 --quiet",
    "sweep pair.toml --sample random --count 4 --seed 2 --out x.h5 --workers 1 --table summary --refine 2 --chaos",
    "sweep pair.toml --vary impactor.mass_kg=400:500:4 --members 0:2 --out x.h5 --workers 1 --backend threads --json",
    "merge s.h5 --out x.h5",
    "merge s.h5 s.h5 --out x.h5 --json",
    "events pair.toml --days 1 --csv x.csv --nominal",
    "events pair.toml --days 1 --out x.h5 --members 8 --json",
    "timing pair.toml --synthesise x.csv --days 3 --noise-s 10",
    "timing pair.toml --synthesise x.csv --campaign --share 0.5 --seed 3",
    "timing pair.toml --events t.csv --robust",
    "plan pair.toml --json",
    "light-curve pair.toml --days 0.1 --step-minutes 5 --noise-mag 0.01 --seed 1 --facets 80",
    "light-curve pair.toml --from-days -1 --days 0.1 --law lambert --phase-law none --albedo-ratio 1 --csv x.csv",
    "infer pair.toml --period-change-s -1500 --sigma-s 5 --count 200 --seed 1 --runs 32",
    "sensitivity pair.toml --count 256 --runs 32 --seed 1",
    "show s.h5",
    "show p.h5 --json",
    "show s.h5 --plot x.png",
    "describe pair.toml --json",
    "describe pair.toml --plot x.png",
    "check pair.toml",
    "check --keys",
    "check --print",
    "validate --names",
    "validate pair.toml --json",
    "--version",
    "--help",
    "predict --help",
)


def words(chance: random.Random) -> list[str]:
    """A line with one to three words changed."""
    found = chance.choice(LINES).split()
    for _ in range(chance.choice((0, 1, 1, 2, 3))):
        place, kind = chance.randrange(len(found)), chance.randrange(8)
        if kind == 0:
            del found[place]
        elif kind == 1:
            found.insert(place, found[place])
        elif kind in (2, 3):
            found[place] = chance.choice((values.number(chance), chance.choice(PLACES), chance.choice(WORDS)))
        elif kind == 4:
            found.insert(place, chance.choice(("--nonsense", "-x", "--", "-", "--json", "--out", "--seed", "")))
        elif kind == 5:
            other = chance.choice(LINES).split()
            found += other[1:]
        elif kind == 6:
            found[place] = found[place][:-1]
        else:
            chance.shuffle(found)
        found = found or ["predict"]
    return [word for word in found if "\0" not in word or chance.random() < 0.5]


def case(number: int, folder: Path) -> list[str]:
    """Such a line in a folder with files to name."""
    chance = random.Random(f"option {number}")
    tables = ("sampling", "requirement", "observed", "campaign") if chance.random() < 0.7 else ()
    (folder / "pair.toml").write_text(scenarios.valid_text(**{name: scenarios.EXTRAS[name] for name in tables}))
    (folder / "t.csv").write_text("mid_utc,kind,body\n2033-04-13T07:41:00,eclipse,secondary\n")
    for name in ("s.h5", "p.h5"):
        (folder / name).write_bytes(results.made("sweep" if name == "s.h5" else "prediction"))
    (folder / "folder").mkdir()
    (folder / "link").symlink_to("s.h5")
    os.mkfifo(folder / "pipe")
    found = words(chance)
    if "cluster" in found and "--scheduler" not in found:  # a cluster takes seconds to start
        found[found.index("cluster")] = "threads"
    return found
