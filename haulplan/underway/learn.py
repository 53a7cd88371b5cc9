"""Learn an engine's thirst from its logs: how much more or less than the model it takes.

For each stretch of a log the logarithm y of what was recorded over what the model reckons
is taken as

    y = a + crew + weather + surface + r + e,

a the engine's own thirst, r one shift of the whole run, e one of the stretch. Every term
begins at nothing with the spread it may have (a from the band of the model's defaults), so
that one short log moves little. The spreads of r and e are not known either: they are
averaged over a grid, each pair weighed by how well it explains the logs. Stretches far out
weigh less (Huber), impossible ones nothing.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Belief", "Effect", "Fit", "Sample", "fit_thirst", "noticed"]

Array = NDArray[np.float64]

#: Spreads of a run and of a stretch, as logarithms, and how sure we are of them before any
#: log: same engine, same road, two crews differ by 20 % (common practice, no source), which
#: as nine runs in ten is 0.12 of two runs' difference, 0.08 of one; dips and bags apart, a
#: stretch by 5 % (haulplan's assumption).
_RUN, _LEG, _UNSURE = 0.08, 0.05, 0.45
_GRID: Final = np.exp(np.linspace(-1.0, 1.0, 7))
#: Spread of what a crew, a weather or a surface may add. haulplan's assumption.
EFFECT: Final = 0.10
#: Beyond so many spreads a stretch weighs less.
_HUBER: Final = 2.0
_NINETY: Final = 0.9


@dataclass(frozen=True, kw_only=True)
class Sample:
    """Recorded over reckoned use of one stretch, as its logarithm [-].

    `error` is the reading's own spread, as a share; `effects` are the crew and weather (1)
    and the surfaces (share of the stretch) that were met, by name.
    """

    run: str
    value: float
    error: float
    effects: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Belief:
    """A factor with its nine-in-ten interval, `sd` the spread of its logarithm [-]."""

    typical: float
    low: float
    high: float
    sd: float


@dataclass(frozen=True, kw_only=True)
class Effect:
    """What one crew, weather or surface multiplies, and in how many stretches it was met."""

    name: str
    factor: Belief
    met: int


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What logs say of one store.

    `next_run` is the spread of the logarithm of a whole run to come: what is not known of
    the engine and what runs differ by. `weights` tell how much each stretch counted.
    """

    factor: Belief
    effects: tuple[Effect, ...]
    run_spread: float
    leg_spread: float
    next_run: float
    weights: tuple[float, ...]
    runs: int


def fit_thirst(samples: Sequence[Sample], prior: float) -> Fit:
    """Fit the thirst of one store.

    Parameters
    ----------
    samples
        At least one.
    prior
        Spread of the logarithm of the thirst before any log. [-]

    Returns
    -------
    fit
        The engine's factor and what else the logs tell.

    Raises
    ------
    ValueError
        If there is nothing to fit.

    Notes
    -----
    With C = X P Xᵀ + s_r² Z Zᵀ + diag((s_e² + m²)/w), the coefficients given s_r and s_e
    are normal with mean P Xᵀ C⁻¹ y and variance P - P Xᵀ C⁻¹ X P. Their mixture over the
    grid gives the intervals.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning",
       MIT Press, 2006, section 2.1 (from memory).
    .. [2] P. J. Huber, "Robust Estimation of a Location Parameter", Annals of Mathematical
       Statistics 35 (1964), 73-101 (from memory).

    Examples
    --------
    >>> one = Sample(run="a", value=0.2, error=0.0, effects={})
    >>> fit_thirst([one], 0.15).factor.typical < math.exp(0.2)
    True
    """
    if not samples:
        raise ValueError("no stretch to learn from")
    value = np.array([sample.value for sample in samples])
    error = np.array([sample.error for sample in samples])
    names = _names(samples)
    design = np.array([[1.0, *(s.effects.get(name, 0.0) for name in names)] for s in samples])
    # Measured from the usual mix, so that the engine's own thirst is that of a usual run.
    design[:, 1:] -= design[:, 1:].mean(axis=0)
    variance = np.array([prior**2, *(EFFECT**2 for _ in names)])
    runs = list(dict.fromkeys(sample.run for sample in samples))
    same = np.array([[a.run == b.run for b in samples] for a in samples], dtype=np.float64)
    weights = _weights(value, error, same)
    mixture = _posterior(value, error, design, variance, same, weights)
    return Fit(
        factor=_belief(mixture, 0),
        effects=tuple(
            Effect(
                name=name,
                factor=_belief(mixture, k),
                met=sum(sample.effects.get(name, 0.0) > 0.05 for sample in samples),
            )
            for k, name in enumerate(names, start=1)
        ),
        run_spread=mixture.run_spread,
        leg_spread=mixture.leg_spread,
        next_run=math.hypot(_belief(mixture, 0).sd, mixture.run_spread),
        weights=tuple(weights.tolist()),
        runs=len(runs),
    )


def noticed(fit: Fit, known: float) -> bool:
    """Whether the logs say that the engine is not as thirsty as its file has it.

    Parameters
    ----------
    fit
        From its logs.
    known
        The factor in use. [-]

    Returns
    -------
    noticed
        True where the nine-in-ten interval leaves that factor out.
    """
    return not fit.factor.low <= known <= fit.factor.high


def _names(samples: Sequence[Sample]) -> list[str]:
    """Effects that the data can tell apart: met in some stretches and not in others."""
    met: dict[str, list[float]] = {}
    for sample in samples:
        for name in sample.effects:
            met.setdefault(name, [])
    for name, shares in met.items():
        shares += [sample.effects.get(name, 0.0) for sample in samples]
    return [name for name, shares in met.items() if max(shares) - min(shares) > 0.2]


def _weights(value: Array, error: Array, same: Array) -> Array:
    """How much each stretch counts: less where it stands out from its own run."""
    counts = same.sum(axis=1)
    middle = np.array([np.median(value[row > 0]) for row in same])
    overall = float(np.median(value))
    # A run of a few stretches has no middle of its own worth having.
    centre = np.where(counts >= 3, middle, overall)
    spread = np.where(counts >= 3, _LEG, math.hypot(_LEG, _RUN))
    off = np.abs(value - centre) / np.hypot(spread, error)
    usual = max(1.0, 1.4826 * float(np.median(off)))
    weights: Array = np.minimum(1.0, _HUBER * usual / np.maximum(off, 1e-9))
    return weights


@dataclass(frozen=True, kw_only=True)
class _Mixture:
    """Normal distributions of the coefficients by grid point, and the points' chances."""

    chance: Array
    mean: Array
    sd: Array
    run_spread: float
    leg_spread: float


def _posterior(
    value: Array, error: Array, design: Array, variance: Array, same: Array, weights: Array
) -> _Mixture:
    run, leg = (g.ravel() for g in np.meshgrid(_RUN * _GRID, _LEG * _GRID, indexing="ij"))
    before = -0.5 * ((np.log(run / _RUN) / _UNSURE) ** 2 + (np.log(leg / _LEG) / _UNSURE) ** 2)
    noise = (leg[:, None] ** 2 + error**2) / weights
    covariance = (
        (design * variance) @ design.T
        + run[:, None, None] ** 2 * same
        + noise[:, :, None] * np.eye(value.size)
    )
    inverse = np.linalg.inv(covariance)
    solved = inverse @ value
    _, determinant = np.linalg.slogdet(covariance)
    score = before - 0.5 * (determinant + solved @ value)
    chance = np.exp(score - score.max())
    chance /= chance.sum()
    gain = variance[:, None] * design.T
    mean = solved @ gain.T
    left = variance - np.einsum("kn,gnm,km->gk", gain, inverse, gain)
    return _Mixture(
        chance=chance,
        mean=mean,
        sd=np.sqrt(np.maximum(left, 1e-12)),
        run_spread=float(np.sqrt(chance @ run**2)),
        leg_spread=float(np.sqrt(chance @ leg**2)),
    )


def _belief(mixture: _Mixture, k: int) -> Belief:
    """Mean and nine-in-ten interval of one coefficient's mixture, as factors."""
    mean, sd = mixture.mean[:, k], mixture.sd[:, k]
    middle = float(mixture.chance @ mean)
    spread = math.sqrt(float(mixture.chance @ (sd**2 + (mean - middle) ** 2)))
    low, high = (
        _quantile(mixture.chance, mean, sd, p) for p in (0.5 - _NINETY / 2, 0.5 + _NINETY / 2)
    )
    return Belief(typical=math.exp(middle), low=math.exp(low), high=math.exp(high), sd=spread)


def _quantile(chance: Array, mean: Array, sd: Array, share: float) -> float:
    """Of a mixture of normal distributions, by halving."""
    low, high = float((mean - 8 * sd).min()), float((mean + 8 * sd).max())
    for _ in range(60):
        middle = (low + high) / 2
        below = [
            0.5 * math.erfc((m - middle) / (s * math.sqrt(2.0)))
            for m, s in zip(mean.tolist(), sd.tolist(), strict=True)
        ]
        low, high = (middle, high) if float(chance @ np.array(below)) < share else (low, middle)
    return (low + high) / 2
