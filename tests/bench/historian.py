"""Coverage of the historian's ranges, also when the truth comes from other physics; speed.

Run from the top of the repository: python tests/bench/historian.py
"""

import sys
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from main_job import machine
from period_trials import FIGURES, TEMPLATES, Change, Falsify, Tally, run_trials

from haulplan.period.cases import published_records
from haulplan.period.defaults import period_engines
from haulplan.period.explore import explore
from haulplan.period.sampling import Draws
from haulplan.period.trip import Outcome

Array = NDArray[np.float64]

TRIALS, COUNT = 100, 40_000
_POUND, _FOOT = 0.45359237, 0.3048


def heavier_hand(truth: Draws) -> None:
    """A fireman below the band: two and a half deviations, two thirds of a skilled trial."""
    truth.deviates["hand_firing"] = np.full(truth.count, -2.5)


def headwind(truth: Draws) -> None:
    """About 19 mph against the train all the way, beyond the band's 8."""
    truth.deviates["work headwind"] = np.full(truth.count, 4.0)


def both(truth: Draws) -> None:
    """Wind and a heavier hand together."""
    heavier_hand(truth)
    headwind(truth)


class AnotherBoiler:
    """Coal by Goss's line in place of Rankine's furnace: E = 10.08 - 0.296 H (from memory)."""

    def __init__(self) -> None:
        self.truth: Draws | None = None

    def watch(self, truth: Draws) -> None:
        """Remember the truths, whose boilers are asked for later."""
        self.truth = truth

    def __call__(self, outcome: Outcome) -> Mapping[str, Array]:
        """Every coal figure by the other form, ordinary firing and cleaning as before."""
        assert self.truth is not None
        surface = np.zeros(self.truth.count)
        choice = self.truth.choices["engine"]
        for label in choice.labels:
            row = period_engines()[label].figures["heating_surface"]
            own = self.truth.within("engine heating_surface", row.low, row.typical, row.high)
            surface = np.where(choice.chosen(label), own, surface)
        factor = 1.2
        evaporation = factor * outcome["water"] / outcome["total"]
        rate = evaporation / _POUND * 3600.0 / (surface / _FOOT**2)
        pounds = np.maximum(10.08 - 0.296 * rate, 3.0)
        pounds = pounds * outcome["heating value"] / (13500 * 2326.0)
        coal = 1.04 / 0.9 * factor * outcome["water"] / pounds
        ratio = coal / (outcome["running coal"] + outcome["standing coal"])
        moved = outcome["running coal"] + outcome["standing coal"]
        return {
            "coal counted": outcome["coal counted"] + (ratio - 1.0) * moved,
            "coal": outcome["coal"] + (ratio - 1.0) * moved,
        }


def measured(change: Change | None, falsify: Falsify | None, seed: int) -> Tally:
    """All templates together."""
    tally = Tally()
    for number, template in enumerate(TEMPLATES):
        run_trials(
            template, TRIALS, count=COUNT, seed=seed + 10 * number, change=change,
            falsify=falsify, tally=tally,
        )  # fmt: skip
    return tally


def main() -> None:
    """Print the report."""
    goss = AnotherBoiler()
    truths: list[tuple[str, Change | None, Falsify | None]] = [
        ("the model's own", None, None),
        ("another boiler form (Goss)", goss.watch, goss),
        ("wind of 19 mph ahead", headwind, None),
        ("a heavier hand", heavier_hand, None),
        ("wind and heavier hand", both, None),
    ]
    lines = [
        "# The historian's ranges against known truths", "", machine(), "",
        f"{TRIALS} trials of each of {len(TEMPLATES)} templates, {COUNT:,} combinations. Share of "
        "trials (per cent) whose truth lay in the nine-in-ten range; in brackets the coverage "
        "lost against the model's own truths, in points.", "",
        f"| truth from | trials | {' | '.join(FIGURES)} |", "|---" * (len(FIGURES) + 2) + "|",
    ]  # fmt: skip
    own: Tally | None = None
    for name, change, falsify in truths:
        tally = measured(change, falsify, 1000)
        own = own or tally
        cells = [
            f"{100 * tally.share(f):.0f}"
            + ("" if tally is own else f" ({100 * (tally.share(f) - own.share(f)):+.0f})")
            for f in FIGURES
        ]
        lines.append(f"| {name} | {tally.trials} | {' | '.join(cells)} |")
        sys.stderr.write(lines[-1] + "\n")
    lines += [
        "",
        "## Speed",
        "",
        "| record | combinations | effective | seconds |",
        "|---" * 4 + "|",
    ]
    for name in ("H1", "H7"):
        begin = time.perf_counter()
        found = explore(published_records()[name], 100_000, 1)
        took = time.perf_counter() - begin
        lines.append(f"| {name} | 100,000 | {found.weighing.effective:,.0f} | {took:.1f} |")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
