"""How much faster is a sweep by several workers?  Rows a second by threads, processes and a cluster, full and
summary."""

import argparse
import os
import time
from importlib.util import find_spec

import numpy as np

from binarydyn.ensembles import Backend, backends, rows_of
from binarydyn.sampling import Block, Grid
from binarydyn.scenario import example

PHASE = "primary.rotation_phase_deg"
"""Each member differs before the impact too, so that none has anything from another."""


def measured(how: Backend, count: int) -> tuple[float, float, str]:
    """Members a second from the first part on, which compiles and starts the workers; seconds until then; the rows."""
    begun, come, parts = time.perf_counter(), 0, []
    first = last = begun
    before = 0
    for part in rows_of(example(), Grid.of({PHASE: np.linspace(0.0, 90.0, count)}), backend=how):
        come += len(part) if isinstance(part, Block) else 1
        parts.append(part)
        last = time.perf_counter()
        if not before and (come >= count // 8):
            first, before = last, come
    return (come - before) / max(last - first, 1e-9), first - begun, text(parts)


def text(parts: list) -> str:
    """All rows in order, every digit."""
    if not isinstance(parts[0], Block):
        return repr(sorted(parts, key=lambda row: row.index))
    order = np.argsort(np.concatenate([part.members for part in parts]))
    names = parts[0].numbers
    return repr({name: np.concatenate([part.numbers[name] for part in parts])[order].tolist() for name in names})


def main() -> None:
    """Each kind with 1, 2, .. workers in turn, several times; best of the rounds, and whether all rows are the same."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--members", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    kinds = {
        "full, threads alone": ("threads", "full", 10**9, 1),
        "full, --backend threads": ("threads", "full", 1, 1),
        "full, --backend cluster": ("cluster", "full", 1, 1),
        "brief, --backend threads": ("threads", "summary", 1, 100),
        "brief, --backend cluster": ("cluster", "summary", 1, 100),
    }
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; members/s of the best of {asked.rounds} rounds")
    for kind, (name, table, enough, times) in kinds.items():
        if name == "cluster" and not find_spec("distributed"):
            print(f"{kind:26s} Dask distributed is not installed")
            continue
        backends.ENOUGH, rates, starts, texts = enough, {}, {}, set()
        for _ in range(asked.rounds):
            for workers in asked.workers:
                count = asked.members * times * max(1, workers // 2)
                rate, start, _ = measured(Backend(name, workers, table=table), count)
                rates[workers], starts[workers] = max(rate, rates.get(workers, 0.0)), start
        for workers in asked.workers:
            texts.add(measured(Backend(name, workers, table=table), 60)[2])
        said = "  ".join(f"{w}: {r:8.1f} ({r / rates[asked.workers[0]]:5.2f})" for w, r in rates.items())
        same = "same bits" if len(texts) == 1 else "DIFFERENT BITS"
        print(f"{kind:26s} {said}; an eighth of them after {starts[asked.workers[-1]]:.1f} s; {same}", flush=True)


if __name__ == "__main__":
    main()
