"""Every command with bad input of every kind; counts go to standard output, what is wrong to standard error.

python run.py [KIND=COUNT ..] [--first N] [--workers N] [--minutes N]
"""

from __future__ import annotations

import math
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import watch

COUNTS = {"scenario": 10_000, "table": 2000, "option": 2000, "mesh": 500, "result": 500, "edges": 300}


def main(words: list[str]) -> int:
    asked, first, workers, minutes = {}, 0, 2, math.inf
    words = list(words)
    while words:
        word = words.pop(0)
        if word == "--first":
            first = int(words.pop(0))
        elif word == "--workers":
            workers = int(words.pop(0))
        elif word == "--minutes":
            minutes = float(words.pop(0))
        else:
            kind, _, count = word.partition("=")
            asked[kind] = int(count) if count else COUNTS[kind]
    asked = asked or dict(COUNTS)
    if accepted := asked.pop("edges", 0):
        _edges(accepted)
    jobs = [(kind, first + k) for kind, count in asked.items() for k in range(count)]
    random.Random(0).shuffle(jobs)  # so that a short run has some of each kind
    begun = time.monotonic()
    tallies = watch.run_all(jobs, workers, lambda text: print(text, file=sys.stderr, flush=True), minutes)
    for kind, tally in tallies.items():
        ends = ", ".join(f"{code}: {count}" for code, count in sorted(tally.codes.items()))
        spent = f"{tally.cpu_s:.0f} s of processor, longest {tally.slowest_s:.1f} s"
        print(f"{kind}: {ends}; wrong {len(tally.wrong)}; {spent}", flush=True)
    print(f"{time.monotonic() - begun:.0f} s in all")
    return 1 if any(tally.wrong for tally in tallies.values()) else 0


def _edges(count: int) -> None:
    """Accepted scenarios at the edges of the ranges: where they ended, and what is wrong with their numbers."""
    import edges

    found, wrong = edges.looked_at(count)
    ends = ", ".join(f"{end}: {number}" for end, number in found.most_common())
    print(f"edges: {ends}; wrong {len(wrong)}", flush=True)
    print("\n".join(wrong), file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
