"""How well each combination agrees with what the record states, and what follows.

A combination's weight is its prior weight times its agreement with every stated figure
that the model reckons: coal, water, times and speeds, how far a tank lasts. The agreement
with a figure is normal in the logarithm of reckoned over stated; a bound ("at most",
coal carried and not burnt) counts one side only. A train that a hill stops weighs nothing.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.period.questions import word_sizes
from haulplan.period.record import Record
from haulplan.period.sampling import Draws
from haulplan.period.trip import Outcome
from haulplan.period.words import Statement

__all__ = [
    "AGREES",
    "CANNOT",
    "DOUBTFUL",
    "Range",
    "Reading",
    "Weighing",
    "range_of",
    "readings_of",
    "stated_pairs",
    "weigh",
]

Array = NDArray[np.float64]

#: What a printed figure may be off beyond its rounding, by how it is given. A guess. [-]
_OFF: Final[Mapping[str, float]] = {
    "equal": 0.05, "about": 0.15, "at most": 0.1, "at least": 0.1,
}  # fmt: skip
#: A figure agrees when it is within so many of its own standard deviations.
AGREES: Final = 2.0
#: A reading below these shares of the weight is doubtful, or cannot be.
DOUBTFUL: Final = 0.05
CANNOT: Final = 0.001

_MILE: Final = 1609.344


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A stated figure beside the reckoned one, logarithm of reckoned over stated (draws,)."""

    name: str
    text: str
    ratio: Array
    spread: float
    bound: str

    @property
    def score(self) -> Array:
        """Logarithm of the agreement, shape (draws,)."""
        if self.bound in {"equal", "about"}:
            return np.asarray(-0.5 * (self.ratio / self.spread) ** 2)
        from scipy.special import log_ndtr  # noqa: PLC0415  slow to load

        sign = -1.0 if self.bound == "at most" else 1.0
        return np.asarray(log_ndtr(sign * self.ratio / self.spread))

    @property
    def agrees(self) -> NDArray[np.bool_]:
        """Where the reckoned figure is within twice its tolerance of the stated one."""
        if self.bound == "at most":
            return np.asarray(self.ratio <= AGREES * self.spread)
        if self.bound == "at least":
            return np.asarray(self.ratio >= -AGREES * self.spread)
        return np.asarray(np.abs(self.ratio) <= AGREES * self.spread)


@dataclass(frozen=True, kw_only=True)
class Weighing:
    """Weights of the combinations, mean of the prior one, and how well they agree.

    `agreeing` is the prior share of combinations that agree with every stated figure, by
    figure and, under "", with all; `effective` counts combinations as if of even weight.
    """

    prior: Array
    weight: Array
    pairs: tuple[Pair, ...]
    agreeing: Mapping[str, float]
    effective: float


@dataclass(frozen=True, kw_only=True)
class Range:
    """A figure's 5, 50 and 95 % points before and after the record is heard, SI."""

    name: str
    prior: tuple[float, float, float]
    after: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One answer to one question: weight before and after, and from even weights.

    `verdict` is "consistent", "doubtful" or "cannot be".
    """

    question: str
    answer: str
    prior: float
    after: float
    even: float
    verdict: str


def stated_pairs(record: Record, draws: Draws, outcome: Outcome) -> tuple[Pair, ...]:
    """Every stated figure that the model reckons, beside what it reckons.

    Parameters
    ----------
    record, draws, outcome
        The trip and its combinations.

    Returns
    -------
    pairs
        In the order of the record.
    """
    sizes = word_sizes(draws)
    ways = {
        "use.coal": ("coal counted", record.file.use.coal_per),
        "use.water": ("water", record.file.use.water_per),
        "time.running_speed": ("running speed", "as it is"),
        "time.journey_speed": ("journey speed", "as it is"),
        "use.tank_lasts": ("tank lasts", "as it is"),
    }
    pairs = []
    for name, said in record.statements.items():
        if name == "time.duration":
            pairs.append(_time_pair(draws, outcome, said, sizes))
        elif name in ways:
            figure, per = ways[name]
            reckoned = _reckoned(outcome, figure) / _base(per, outcome, sizes)
            bound: str = said.bound
            pairs.append(_pair(name, said, reckoned, sizes, bound))
            if name == "use.coal":
                pairs[-1] = _carried(draws, pairs[-1])
    return tuple(pairs)


def _reckoned(outcome: Outcome, name: str) -> Array:
    if name == "tank lasts":
        return outcome["tank"] / outcome["water"] * outcome["way"]
    return outcome[name]


def _base(per: str, outcome: Outcome, sizes: Mapping[str, Array]) -> Array:
    """What a figure is counted by."""
    ton = sizes.get("ton", np.full(outcome["way"].shape, 1016.0469088))
    bases: Mapping[str, Callable[[], Array]] = {
        "trip": lambda: np.ones(outcome["way"].shape),
        "as it is": lambda: np.ones(outcome["way"].shape),
        "day": lambda: outcome["days"],
        "hour": lambda: outcome["total"] / 3600.0,
        "mile": lambda: outcome["way"] / _MILE,
        "useful ton-mile": lambda: outcome["useful"] / ton * outcome["loaded way"] / _MILE,
        "gross ton-mile": lambda: outcome["gross ton-metres"] / ton / _MILE,
    }
    return bases[per]()


def _pair(
    name: str, said: Statement, reckoned: Array, sizes: Mapping[str, Array], bound: str
) -> Pair:
    spread = float(np.hypot(said.spread / np.sqrt(3.0), _OFF[bound]))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(reckoned / said.value(sizes))
    return Pair(name=name, text=said.text, ratio=ratio, spread=spread, bound=bound)


def _carried(draws: Draws, pair: Pair) -> Pair:
    """Where the coal was only carried, burning less than it agrees."""
    was = draws.choices["coal was"]
    if "carried" not in was.labels:
        return pair
    ratio = np.where(was.chosen("carried"), np.maximum(pair.ratio, 0.0), pair.ratio)
    return Pair(name=pair.name, text=pair.text, ratio=ratio, spread=pair.spread, bound=pair.bound)


def _time_pair(draws: Draws, outcome: Outcome, said: Statement, sizes: Mapping[str, Array]) -> Pair:
    choice = draws.choices["time"]
    reckoned = outcome["total"]
    if "running" in choice.labels:
        reckoned = np.where(choice.chosen("running"), outcome["running"], reckoned)
    return _pair("time.duration", said, reckoned, sizes, said.bound)


def weigh(record: Record, draws: Draws, outcome: Outcome) -> Weighing:
    """Weigh every combination by its agreement with the record.

    Parameters
    ----------
    record, draws, outcome
        The trip and its combinations.

    Returns
    -------
    weighing
        Where nothing agrees at all the weights are the prior's and `effective` is 0.
    """
    pairs = stated_pairs(record, draws, outcome)
    prior = np.where(outcome.held, 0.0, draws.weight)
    score = np.zeros(draws.count)
    agrees = ~outcome.held
    agreeing = {}
    total = float(draws.weight.sum())
    for pair in pairs:
        score = score + np.where(outcome.held, 0.0, pair.score)
        one = np.where(outcome.held, False, pair.agrees)
        agreeing[pair.name] = float((draws.weight * one).sum()) / total
        agrees = agrees & one
    agreeing[""] = float((draws.weight * agrees).sum()) / total
    if not prior.any():
        return Weighing(prior=prior, weight=prior, pairs=pairs, agreeing=agreeing, effective=0.0)
    best = float(score[prior > 0].max())
    weight = prior * np.exp(np.minimum(score - best, 0.0))
    effective = float(weight.sum() ** 2 / (weight**2).sum())
    return Weighing(
        prior=prior,
        weight=weight,
        pairs=pairs,
        agreeing=agreeing,
        effective=effective,
    )


def range_of(name: str, values: Array, weighing: Weighing) -> Range:
    """A figure's range before and after the record is heard.

    Parameters
    ----------
    name
        Of the figure.
    values
        Shape (draws,), not a number where the train is held. [SI]
    weighing
        The combinations' weights.

    Returns
    -------
    range
        5, 50 and 95 % points.
    """
    order = np.argsort(values)
    return Range(
        name=name,
        prior=_points(values, weighing.prior, order),
        after=_points(values, weighing.weight, order),
    )


def _points(values: Array, weight: Array, order: NDArray[np.intp]) -> tuple[float, float, float]:
    kept = order[(weight[order] > 0) & np.isfinite(values[order])]
    if kept.size == 0:
        return (float("nan"),) * 3
    own = weight[kept]
    share = (np.cumsum(own) - own / 2) / own.sum()
    low, middle, high = np.interp((0.05, 0.5, 0.95), share, values[kept]).tolist()
    return low, middle, high


def readings_of(draws: Draws, weighing: Weighing) -> list[Reading]:
    """Each reading and choice with its weight before and after.

    Parameters
    ----------
    draws, weighing
        The combinations.

    Returns
    -------
    readings
        Of questions with more than one answer, in the order they were drawn.
    """
    found = []
    total = float(weighing.weight.sum())
    for choice in draws.choices.values():
        kept = [n for n, prior in enumerate(choice.prior) if prior > 0]
        if len(kept) < 2 or total == 0.0:
            continue
        after = [float(weighing.weight[choice.picked == n].sum()) / total for n in kept]
        support = [a / choice.prior[n] for a, n in zip(after, kept, strict=True)]
        even = [s / sum(support) for s in support]
        for n, share, own in zip(kept, after, even, strict=True):
            verdict = "consistent"
            if min(share, own) < DOUBTFUL:
                verdict = "doubtful"
            if max(share, own) < CANNOT:
                verdict = "cannot be"
            found.append(
                Reading(
                    question=choice.name,
                    answer=choice.labels[n],
                    prior=choice.prior[n],
                    after=share,
                    even=own,
                    verdict=verdict,
                )
            )
    return found
