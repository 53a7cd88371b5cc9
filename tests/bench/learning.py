"""Seasons of made-up logs with known thirst: how often the intervals hold it, and when a
thirstier engine is noticed.

Run from the top of the repository: python tests/bench/learning.py [seasons]
Prints a report in Markdown; tests/bench/LEARNING.md keeps the last one.
"""

import math
import sys

import numpy as np

from haulplan.underway.learn import Fit, Sample, fit_thirst, noticed

#: Spread of the engines' thirst before any log, as for the shipped scenario's water.
PRIOR = 0.13
#: Stretches in a run, from dip to dip.
LEGS = 6


def season(
    rng: np.random.Generator, factor: float, runs: int, run: float, leg: float, wild: float = 0.0
) -> Fit:
    """A fit to logs with known factor and noise; a share of the stretches is wild."""
    samples = []
    for k in range(runs):
        shift = float(rng.normal(0.0, run))
        for _ in range(LEGS):
            value = math.log(factor) + shift + float(rng.normal(0.0, leg))
            if rng.random() < wild:
                value += float(rng.normal(0.0, 0.6))
            samples.append(Sample(run=str(k), value=value, error=0.0, effects={}))
    return fit_thirst(samples, PRIOR)


def coverage(
    rng: np.random.Generator, seasons: int, runs: int, run: float, leg: float, wild: float
) -> tuple[float, float, float]:
    """Share of intervals that hold the truth, mean error and mean half width [log]."""
    inside, error, width = 0, 0.0, 0.0
    for _ in range(seasons):
        truth = math.exp(rng.normal(0.0, PRIOR))
        belief = season(rng, truth, runs, run, leg, wild).factor
        inside += belief.low <= truth <= belief.high
        error += abs(math.log(belief.typical / truth))
        width += math.log(belief.high / belief.low) / 2
    return inside / seasons, error / seasons, width / seasons


def detection(
    rng: np.random.Generator, seasons: int, runs: int, factor: float
) -> tuple[float, float]:
    """Share of seasons in which the engine is called thirstier, and thriftier, than 1."""
    fits = [season(rng, factor, runs, 0.08, 0.05) for _ in range(seasons)]
    called = [fit.factor.typical > 1 for fit in fits if noticed(fit, 1.0)]
    return sum(called) / seasons, (len(called) - sum(called)) / seasons


def main() -> None:
    """Print the report."""
    seasons = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rng = np.random.default_rng(20270522)
    out = sys.stdout.write
    out("# Learning from made-up seasons\n\n")
    out(
        f"{seasons} seasons a row, {LEGS} stretches a run, thirst drawn with a spread of "
        f"{PRIOR:.2f} about the model. Noise is of logarithms. Made by "
        "`python tests/bench/learning.py`; the seasons obey the model that is fitted, but for "
        "the rows with wild readings and those whose noise is not what the fit expects "
        "beforehand (8 % a run, 5 % a stretch).\n\n"
    )
    out("## Does the nine-in-ten interval hold the truth?\n\n")
    out("| runs | a run | a stretch | wild readings | inside | mean error | half width |\n")
    out("|---|---|---|---|---|---|---|\n")
    for runs, run, leg, wild in (
        (1, 0.08, 0.05, 0.0), (2, 0.08, 0.05, 0.0), (4, 0.08, 0.05, 0.0), (8, 0.08, 0.05, 0.0),
        (4, 0.05, 0.05, 0.0), (4, 0.12, 0.05, 0.0), (4, 0.08, 0.10, 0.0), (4, 0.08, 0.05, 0.1),
    ):  # fmt: skip
        inside, error, width = coverage(rng, seasons, runs, run, leg, wild)
        out(
            f"| {runs} | {run:.0%} | {leg:.0%} | {wild:.0%} | {inside:.1%} | {error:.1%} | "
            f"{width:.1%} |\n"
        )
    out("\n## When is a thirstier engine noticed?\n\n")
    out(
        "Noticed: the factor in use, 1, is outside the nine-in-ten interval. 8 % a run, 5 % a "
        "stretch. The row of thirst 1.00 is the false alarm.\n\n"
    )
    out("| thirst | runs | called thirstier | called thriftier |\n|---|---|---|---|\n")
    for factor in (1.0, 1.1, 1.2):
        for runs in (1, 2, 4, 8):
            more, less = detection(rng, seasons, runs, factor)
            out(f"| {factor:.2f} | {runs} | {more:.1%} | {less:.1%} |\n")


if __name__ == "__main__":
    main()
