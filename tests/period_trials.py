"""Synthetic records with a known truth: written from reckoned trips, then reconstructed.

One batch of combinations serves all trials of a template, as its load and distance are
the same in each; only the figures that are reckoned (coal, water, time, speed) differ.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.period.questions import questions_of, word_sizes
from haulplan.period.record import Record, RecordFile
from haulplan.period.sampling import Draws, Tilt, draw
from haulplan.period.trip import Outcome, reckon
from haulplan.period.weigh import range_of, weigh

Array = NDArray[np.float64]
Change = Callable[[Draws], None]
Falsify = Callable[[Outcome], Mapping[str, Array]]

#: What a record leaves out and the trials look for.
FIGURES: Final = (
    "gross", "climb", "running", "standing", "coal", "water",
)  # fmt: skip
#: Standard deviation of the print's own error, as `weigh` takes it.
_PRINT: Final = 0.05

#: Load and way of each template, and the reckoned figures that it states with their unit.
TEMPLATES: Final[Mapping[str, tuple[dict[str, Any], Mapping[str, str]]]] = {
    "British road engine, coal and time": (
        {
            "year": 1895, "country": "uk",
            "engine": {"kind": ["road-locomotive-steel", "general-purpose-8"]},
            "train": {"load": "12 tons", "load_is": "useful"},
            "way": {"distance": "18 miles", "distance_is": "one way", "back": "none"},
        },
        {"use.coal": "tons", "time.duration": "hours"},
    ),
    "British tractor there and back, coal and water": (
        {
            "year": 1910, "country": "uk",
            "engine": {"kind": "light-tractor"},
            "train": {"load": "4 tons", "load_is": "not stated"},
            "way": {"distance": "14 miles"},
            "use": {"coal_was": "burnt"},
        },
        {"use.coal": "cwt", "use.water": "gallons"},
    ),
    "American engine on earth, water and speed": (
        {
            "year": 1908, "country": "us",
            "engine": {"kind": "farm-engine-110"},
            "train": {"load": "15 tons", "load_is": "useful"},
            "way": {
                "distance": "9 miles", "distance_is": "one way", "surface": ["earth", "gravel"],
            },
        },
        {"use.water": "gallons", "time.running_speed": "mph"},
    ),
    "a source of unknown country, coal only": (
        {
            "year": 1900, "country": "unknown",
            "engine": {"kind": ["road-locomotive-steel", "general-purpose-6"]},
            "train": {"load": "10 tons"},
            "way": {"distance": "12 miles", "distance_is": "one way", "back": "none"},
            "use": {"coal_was": "burnt", "coal_covers": ["running", "standing"]},
        },
        {"use.coal": "tons"},
    ),
}  # fmt: skip
_RECKONED: Final = {
    "use.coal": "coal counted", "use.water": "water", "time.duration": "total",
    "time.running_speed": "running speed",
}  # fmt: skip
_SIZES: Final = {"hours": 3600.0, "mph": 0.44704}
_WORDS: Final = {"tons": "ton", "cwt": "cwt", "gallons": "gallon"}


@dataclass(kw_only=True)
class Tally:
    """How often the truth lay in the nine-in-ten range, by figure; readings hoped and met."""

    trials: int = 0
    inside: dict[str, int] = field(default_factory=dict)
    hoped: dict[str, float] = field(default_factory=dict)
    met: dict[str, int] = field(default_factory=dict)
    lost: int = 0

    def share(self, figure: str) -> float:
        """Share of trials with the truth inside."""
        return self.inside[figure] / self.trials


def record_of(keys: Mapping[str, Any], stated: Mapping[str, str]) -> Record:
    """A record with some stated figures, as if read from a file."""
    raw: dict[str, Any] = {"title": "A trial", "source": "invented", **keys}
    for name, text in stated.items():
        section, key = name.split(".")
        raw[section] = {**raw.get(section, {}), key: text}
    return Record(path=Path("trial"), text="", file=RecordFile.model_validate(raw))


def plain_draws(record: Record, count: int, seed: int) -> Draws:
    """Combinations straight from the prior."""
    return draw(questions_of(record), count, seed, Tilt(choices={}, deviates={}))


def run_trials(
    template: str, trials: int, *, count: int, seed: int, change: Change | None = None,
    falsify: Falsify | None = None, tally: Tally | None = None,
) -> Tally:  # fmt: skip
    """Write so many records of a template from truths, and look for the truths again.

    `change` moves the truths' figures, `falsify` replaces what the truths give: physics
    that the reconstruction does not know.
    """
    keys, units = TEMPLATES[template]
    blank = record_of(keys, {name: f"1 {unit}" for name, unit in units.items()})
    draws = plain_draws(blank, count, seed)
    outcome = reckon(blank, draws)
    truth = plain_draws(blank, 4 * trials, seed + 1)
    if change is not None:
        change(truth)
    happened = reckon(blank, truth)
    given = dict(happened.figures) | dict(falsify(happened) if falsify else {})
    sizes = word_sizes(truth)
    noise = np.random.default_rng(seed + 2)
    ran = np.flatnonzero(~happened.held)[:trials]
    tally = tally or Tally()
    for i in ran.tolist():
        stated = {}
        for name, unit in units.items():
            size = sizes[_WORDS[unit]][i] if unit in _WORDS else _SIZES[unit]
            value = given[_RECKONED[name]][i] / size * np.exp(_PRINT * noise.standard_normal())
            stated[name] = f"{value:.3f} {unit}"
        record = record_of(keys, stated)
        weighing = weigh(record, draws, outcome)
        tally.trials += 1
        tally.lost += weighing.effective < 20
        for figure in FIGURES:
            low, _, high = range_of(figure, outcome[figure], weighing).after
            inside = bool(low <= given[figure][i] <= high)
            tally.inside[figure] = tally.inside.get(figure, 0) + inside
        _count_readings(tally, draws, weighing.weight, truth, i)
    return tally


def _count_readings(tally: Tally, draws: Draws, weight: Array, truth: Draws, i: int) -> None:
    """Weight given to each answer, and whether it was the true one."""
    for name, choice in draws.choices.items():
        for number, label in enumerate(choice.labels):
            key = f"{name}: {label}"
            share = float(weight[choice.picked == number].sum() / weight.sum())
            tally.hoped[key] = tally.hoped.get(key, 0.0) + share
            met = int(truth.choices[name].picked[i] == number)
            tally.met[key] = tally.met.get(key, 0) + met
