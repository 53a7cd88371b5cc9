"""Try combinations in rounds, each drawn nearer to where the record points.

The rounds only choose where to draw; the last one's weights take the choice out again, so
the answer is that of plain sampling from the prior, with more combinations that count.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.period.questions import questions_of
from haulplan.period.record import Record
from haulplan.period.sampling import Draws, Tilt, draw, even_tilt
from haulplan.period.trip import Outcome, reckon
from haulplan.period.weigh import Weighing, weigh

__all__ = ["Found", "explore"]

Array = NDArray[np.float64]

#: Rounds before the last, and their share of its draws.
_ROUNDS: Final = 4
_SHARE: Final = 0.15
#: A round's weights are flattened until so many combinations count.
_WANTED: Final = 400.0
#: Figures whose mean moves less are left as they are.
_MOVED: Final = 0.2
#: A tilt never narrows a figure below this, in standard deviations.
_NARROWEST: Final = 0.35


@dataclass(frozen=True, kw_only=True)
class Found:
    """The last round: combinations, what they give, and their weights."""

    draws: Draws
    outcome: Outcome
    weighing: Weighing


def explore(record: Record, count: int, seed: int) -> Found:
    """Reckon a record under many combinations and weigh them.

    Parameters
    ----------
    record
        With a way.
    count
        How many combinations the last round draws.
    seed
        Of the generator.

    Returns
    -------
    found
        The same for the same record, count and seed.
    """
    questions = questions_of(record)
    tilt = even_tilt(questions)
    few = max(int(_SHARE * count), 500)
    for number in range(_ROUNDS):
        draws = draw(questions, few, seed + 1 + number, tilt)
        outcome = reckon(record, draws)
        weighing = weigh(record, draws, outcome)
        if weighing.effective == 0.0:
            break
        tilt = _tilted(draws, _flattened(weighing.weight))
    draws = draw(questions, count, seed, tilt)
    outcome = reckon(record, draws)
    return Found(draws=draws, outcome=outcome, weighing=weigh(record, draws, outcome))


def _flattened(weight: Array) -> Array:
    """Weights to the greatest power, at most one, that leaves enough combinations."""
    positive = weight > 0
    logs = np.where(positive, np.log(np.where(positive, weight, 1.0)), -np.inf)
    for power in np.linspace(1.0, 0.05, 20).tolist():
        flat = np.where(positive, np.exp(power * logs), 0.0)
        if flat.sum() ** 2 / (flat**2).sum() >= _WANTED:
            break
    return np.asarray(flat / flat.sum())


def _tilted(draws: Draws, share: Array) -> Tilt:
    """The tilt that matches the weighted draws."""
    choices = {}
    for name, choice in draws.choices.items():
        prior = np.array(choice.prior)
        own = np.bincount(choice.picked, weights=share, minlength=prior.size)
        even = (prior > 0) / (prior > 0).sum()
        choices[name] = (0.8 * own + 0.1 * prior + 0.1 * even).tolist()
    deviates = {}
    for name, values in draws.deviates.items():
        mean = float((share * values).sum())
        spread = float(np.sqrt((share * (values - mean) ** 2).sum()))
        if abs(mean) > _MOVED or spread < 1.0 - _MOVED:
            deviates[name] = (mean, float(np.clip(1.15 * spread, _NARROWEST, 1.0)))
    return Tilt(choices=choices, deviates=deviates)
