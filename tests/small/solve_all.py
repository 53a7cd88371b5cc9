"""Solve every small problem by brute force and write solved.json; takes some minutes.

Run as `python tests/small/solve_all.py` after a change to the problems or the oracle.
"""

import dataclasses
import json
import multiprocessing
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from small.decisions import Road, decisions
from small.drawing import draw_locked, draw_problem, draw_turning
from small.locked import brute_force_locked
from small.oracle import brute_force
from small.problems import FEATURES, fingerprint

__all__ = ["SOLVED", "solved_locked", "solved_problem", "solved_turning"]

SOLVED = Path(__file__).with_name("solved.json")
PROBLEMS = 370
LOCKED = 60
TURNING = 80


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


def solved_locked(seed: int) -> dict[str, Any]:
    """One problem's answer where any one planned stop may be found shut, and where none is."""
    problem = draw_locked(seed)
    return {
        "seed": seed,
        "fingerprint": fingerprint(problem),
        "value": brute_force_locked(problem),
        "without": {"locked tap": brute_force(problem)},
        "decisions": sum(1 for _ in decisions(Road(problem))),
    }


def solved_turning(seed: int) -> dict[str, Any]:
    """One problem's answer where a locked tap may be turned back from, and where it may not."""
    problem = draw_turning(seed)
    return {
        "seed": seed,
        "fingerprint": fingerprint(problem),
        "value": brute_force_locked(problem),
        "without": {"turning back": brute_force_locked(dataclasses.replace(problem, back=()))},
        "decisions": sum(1 for _ in decisions(Road(problem))),
    }


def main() -> None:
    began = time.monotonic()
    with multiprocessing.Pool(2) as pool:
        solved = {
            "problems": pool.map(solved_problem, range(PROBLEMS), chunksize=4),
            "locked": pool.map(solved_locked, range(LOCKED), chunksize=4),
            "turning": pool.map(solved_turning, range(TURNING), chunksize=4),
        }
    parts = []
    for name, answers in solved.items():
        lines = ",\n".join(json.dumps(answer) for answer in answers)
        parts.append(f'"{name}": [\n{lines}\n]')
        none = sum(answer["value"] is None for answer in answers)
        print(f"{name}: {len(answers)}, {none} without a plan")
    SOLVED.write_text("{" + ",\n".join(parts) + "}\n")
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
