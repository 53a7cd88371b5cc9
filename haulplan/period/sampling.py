"""Combinations drawn with a fixed seed: readings of words, choices, and figures in their bands.

A record of several sharp figures leaves little of the prior. So draws may be tilted towards
where the record points; every draw carries the ratio of prior to drawn density, which takes
the tilt out again (importance sampling with a defensive mixture).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Choice", "Draws", "Question", "Tilt", "draw", "even_tilt"]

Array = NDArray[np.float64]
Picks = NDArray[np.int64]
Question = tuple[str, Mapping[str, float]]

#: The ends of a band stand here, in standard deviations: nine in ten between them.
_NINETY: Final = 1.6449
#: Bands are cut at this many deviations.
_CUT: Final = 2.0
#: Share of draws that follow the prior whatever the tilt.
_DEFENSIVE: Final = 0.2
#: In the first round, share of a choice's draws that try every answer alike.
_EVEN: Final = 0.5


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One question with several answers: prior weight of each, and which each draw took."""

    name: str
    labels: tuple[str, ...]
    prior: tuple[float, ...]
    picked: Picks

    def chosen(self, label: str) -> NDArray[np.bool_]:
        """Draws that took an answer."""
        return np.asarray(self.picked == self.labels.index(label))


@dataclass(frozen=True, kw_only=True)
class Tilt:
    """Where to draw: shares of each choice's answers, mean and deviation of figures by name."""

    choices: Mapping[str, Sequence[float]]
    deviates: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class Draws:
    """Combinations; ask for figures first, then for `weight`, which then is final."""

    count: int
    seed: int
    choices: Mapping[str, Choice]
    deviates: dict[str, Array] = field(default_factory=dict, repr=False)
    _tilt: Tilt
    _tilted: NDArray[np.bool_] = field(repr=False)
    _log_tilt: Array = field(repr=False)
    _generator: np.random.Generator = field(repr=False)
    _figures: dict[tuple[str, float, float, float], Array] = field(default_factory=dict, repr=False)

    def deviate(self, name: str) -> Array:
        """Standard normal deviates of one figure, the same for every use of its name."""
        if name not in self.deviates:
            uniform = self._generator.uniform(size=self.count)
            plain = _quantile(uniform, 0.0, 1.0)
            if name in self._tilt.deviates:
                mean, spread = self._tilt.deviates[name]
                plain = np.where(self._tilted, _quantile(uniform, mean, spread), plain)
                self._log_tilt[:] += _log_density(plain, mean, spread)
                self._log_tilt[:] -= _log_density(plain, 0.0, 1.0)
            self.deviates[name] = plain
        return self.deviates[name]

    def within(self, name: str, low: float, typical: float, high: float) -> Array:
        """A figure in its band, its two sides drawn apart."""
        key = (name, low, typical, high)
        if key not in self._figures:
            deviate = np.zeros(self.count) if low == high else self.deviate(name) / _NINETY
            side = np.where(deviate > 0, high - typical, typical - low)
            self._figures[key] = typical + side * deviate
        return self._figures[key]

    @cached_property
    def weight(self) -> Array:
        """Prior density over the density drawn from, mean one, shape (draws,)."""
        ratio = _DEFENSIVE + (1.0 - _DEFENSIVE) * np.exp(self._log_tilt)
        weight = 1.0 / ratio
        return np.asarray(weight / weight.mean())


def _quantile(share: Array, mean: float, spread: float) -> Array:
    from scipy.special import ndtr, ndtri  # noqa: PLC0415  slow to load

    low, high = (float(ndtr((edge - mean) / spread)) for edge in (-_CUT, _CUT))
    found = mean + spread * ndtri(low + (high - low) * share)
    return np.asarray(np.clip(found, -_CUT, _CUT))


def _log_density(value: Array, mean: float, spread: float) -> Array:
    from scipy.special import ndtr  # noqa: PLC0415  slow to load

    low, high = (float(ndtr((edge - mean) / spread)) for edge in (-_CUT, _CUT))
    inside = np.log(spread * (high - low))
    return np.asarray(-0.5 * ((value - mean) / spread) ** 2 - inside)


def _shares(answers: Mapping[str, float]) -> Array:
    prior = np.array(list(answers.values()), dtype=np.float64)
    return np.asarray(prior / prior.sum())


def even_tilt(questions: Sequence[Question]) -> Tilt:
    """The tilt of the first round: half the draws try every answer alike.

    Parameters
    ----------
    questions
        Name, and prior weight of each answer.

    Returns
    -------
    tilt
        Figures follow their bands.
    """
    tried = {}
    for name, answers in questions:
        prior = _shares(answers)
        even = (prior > 0) / (prior > 0).sum()
        tried[name] = ((1 - _EVEN) * prior + _EVEN * even).tolist()
    return Tilt(choices=tried, deviates={})


def draw(questions: Sequence[Question], count: int, seed: int, tilt: Tilt) -> Draws:
    """Draw combinations.

    Parameters
    ----------
    questions
        Name, and prior weight of each answer, in the order they are drawn.
    count
        How many combinations.
    seed
        Of the generator; the same seed gives the same combinations.
    tilt
        Where four draws in five go; one in five follows the prior.

    Returns
    -------
    draws
        Choices made; figures are drawn when first asked for.
    """
    generator = np.random.default_rng(seed)
    tilted = generator.uniform(size=count) >= _DEFENSIVE
    choices, log_tilt = {}, np.zeros(count)
    for name, answers in questions:
        prior = _shares(answers)
        share = np.array(tilt.choices.get(name, prior.tolist()))
        uniform = generator.uniform(size=count)
        edges = np.where(tilted[:, None], np.cumsum(share), np.cumsum(prior))
        picked = np.minimum((uniform[:, None] > edges).sum(axis=1), prior.size - 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            log_tilt += np.where(prior > 0, np.log(share / prior), 0.0)[picked]
        choices[name] = Choice(
            name=name,
            labels=tuple(answers),
            prior=tuple(prior.tolist()),
            picked=picked.astype(np.int64),
        )
    return Draws(
        count=count, seed=seed, choices=choices, _tilt=tilt, _tilted=tilted,
        _log_tilt=log_tilt, _generator=generator,
    )  # fmt: skip
