"""What a record leaves open: readings of words, of the distance, of what was counted."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from haulplan.period.defaults import (
    candidate_engines,
    fuel_weights,
    state_weights,
    surface_weights,
)
from haulplan.period.record import Record
from haulplan.period.sampling import Draws, Question
from haulplan.period.words import Statement, meanings

__all__ = [
    "COVERS",
    "JOURNEYS",
    "journey_prior",
    "questions_of",
    "stated_value",
    "word_sizes",
]

Array = NDArray[np.float64]

#: Readings of a distance: times it is gone loaded, times it is gone empty.
JOURNEYS: Mapping[str, tuple[float, float]] = {
    "the distance is one way, loaded": (1.0, 0.0),
    "there and empty back; the distance is one way": (1.0, 1.0),
    "there and empty back; the distance is the whole": (0.5, 0.5),
    "loaded both ways; the distance is one way": (2.0, 0.0),
    "loaded both ways; the distance is the whole": (1.0, 0.0),
}
_ONE, _BACK, _WHOLE, _TWICE, _BOTH = JOURNEYS
#: Weights of those readings by what the record says of the distance and of the way back.
_JOURNEY_PRIOR: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("one way", "none"): {_ONE: 1.0},
    ("one way", "empty"): {_BACK: 1.0},
    ("one way", "loaded"): {_TWICE: 1.0},
    ("one way", "not stated"): {_ONE: 0.7, _BACK: 0.3},
    ("round trip", "none"): {_BOTH: 1.0},
    ("round trip", "empty"): {_WHOLE: 1.0},
    ("round trip", "loaded"): {_BOTH: 1.0},
    ("round trip", "not stated"): {_WHOLE: 0.8, _BOTH: 0.2},
    ("not stated", "none"): {_ONE: 1.0},
    ("not stated", "empty"): {_BACK: 0.4, _WHOLE: 0.6},
    ("not stated", "loaded"): {_TWICE: 0.3, _BOTH: 0.7},
    ("not stated", "not stated"): {_ONE: 0.5, _BACK: 0.2, _WHOLE: 0.3},
}
#: Readings of a coal figure: what it counts.
COVERS: Mapping[str, frozenset[str]] = {
    "running only": frozenset({"running"}),
    "running and standing": frozenset({"running", "standing"}),
    "with lighting up": frozenset({"running", "standing", "lighting up"}),
    "with lighting up and banking": frozenset({"running", "standing", "lighting up", "banking"}),
}


def questions_of(record: Record) -> list[Question]:
    """What a record leaves open, with the weight of each answer before reckoning.

    Parameters
    ----------
    record
        With a way.

    Returns
    -------
    questions
        Words such as "ton", then "engine", "surface", "road state", "fuel", "load",
        "journey", "coal counts", "coal was", "time", "nights".
    """
    file = record.file
    assert file.way is not None
    questions: list[Question] = [
        (word, {m.label: m.weights[file.country] for m in meanings(word)}) for word in record.words
    ]
    engines = candidate_engines(file)
    questions += [
        ("engine", {engine.key: 1.0 for engine in engines}),
        ("surface", surface_weights(file)),
        ("road state", state_weights(file)),
        ("fuel", fuel_weights(file)),
        ("load", _load_prior(file.train.load_is)),
        ("journey", journey_prior(record)),
        ("coal counts", _covers_prior(file.use.coal_covers)),
        ("coal was", _pair(file.use.coal_was, {"burnt": 0.75, "carried": 0.25})),
        ("time", _pair(file.time.duration_is, {"whole journey": 0.8, "running": 0.2})),
        ("nights", {"fire banked": 0.5, "fire dropped": 0.5}),
    ]
    return questions


def journey_prior(record: Record) -> Mapping[str, float]:
    """Weights of the readings of a record's distance.

    Parameters
    ----------
    record
        With a way.

    Returns
    -------
    weights
        By labels of `JOURNEYS`.
    """
    way = record.file.way
    assert way is not None
    return _JOURNEY_PRIOR[way.distance_is, way.back]


def _load_prior(said: str) -> Mapping[str, float]:
    return _pair(said, {"useful": 0.6, "with wagons": 0.3, "whole train": 0.1})


def _pair(said: str, prior: Mapping[str, float]) -> Mapping[str, float]:
    return prior if said == "not stated" else {said: 1.0}


def _covers_prior(said: tuple[str, ...]) -> Mapping[str, float]:
    if said:
        for name, parts in COVERS.items():
            if parts == frozenset(said) | {"running"}:
                return {name: 1.0}
        return {"with lighting up and banking": 1.0}
    prior = (0.1, 0.35, 0.4, 0.15)
    return dict(zip(COVERS, prior, strict=True))


def word_sizes(draws: Draws) -> dict[str, Array]:
    """Size of each ambiguous word under each combination.

    Parameters
    ----------
    draws
        With the words among their choices.

    Returns
    -------
    sizes
        By word, in SI.
    """
    sizes = {}
    for name, choice in draws.choices.items():
        try:
            options = meanings(name)
        except KeyError:
            continue
        low, typical, high = (
            np.array([getattr(m, end) for m in options])[choice.picked]
            for end in ("low", "typical", "high")
        )
        if (low < high).any():
            deviate = draws.within(f"size of a {name}", -1.0, 0.0, 1.0)
            sizes[name] = typical + np.where(deviate > 0, high - typical, typical - low) * deviate
        else:
            sizes[name] = typical
    return sizes


def stated_value(draws: Draws, said: Statement, name: str, sizes: Mapping[str, Array]) -> Array:
    """A stated figure under each combination, anywhere within its printed step.

    Parameters
    ----------
    draws
        The combinations.
    said
        As the source has it.
    name
        Of the figure, for its own deviates.
    sizes
        From `word_sizes`.

    Returns
    -------
    value
        In SI, shape (draws,).
    """
    step = draws.within(f"step of {name}", -1.0, 0.0, 1.0) * said.spread
    return np.asarray(said.value(sizes) * (1.0 + step) * np.ones(draws.count))
