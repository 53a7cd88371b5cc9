"""Solve every small problem by brute force and write solved.json; takes some minutes.

Run as `python tests/small/solve_all.py` after a change to the problems or the oracle.
"""

import json
import multiprocessing
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from small.decisions import Road, decisions
from small.drawing import draw_problem
from small.oracle import brute_force
from small.problems import FEATURES, fingerprint

__all__ = ["SOLVED", "solved_problem"]

SOLVED = Path(__file__).with_name("solved.json")
PROBLEMS = 320


def solved_problem(seed: int) -> dict[str, Any]:
    """One problem's answer, and its answer without each of its features."""
    problem = draw_problem(seed)
    return {
        "seed": seed,
        "fingerprint": fingerprint(problem),
        "value": brute_force(problem),
        "without": {
            name: brute_force(change(problem))
            for name, (has, change) in FEATURES.items()
            if has(problem)
        },
        "decisions": sum(1 for _ in decisions(Road(problem))),
    }


def main() -> None:
    began = time.monotonic()
    with multiprocessing.Pool(2) as pool:
        solved = list(pool.imap(solved_problem, range(PROBLEMS)))
    lines = ",\n".join(json.dumps(answer) for answer in solved)
    SOLVED.write_text(f"[\n{lines}\n]\n")
    none = sum(answer["value"] is None for answer in solved)
    print(f"{PROBLEMS} problems, {none} without a plan, {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
