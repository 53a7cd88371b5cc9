"""How far a figure may be off: each default's band, put together.

Bands are taken as independent. A relative change of the result for each default's band
is summed in squares; the result asked for at a pessimism moves every default a little
towards thirst, most where it matters most, so that the whole has the stated chance.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist

__all__ = ["Band", "band_of", "deviates_at", "sensitivities"]

_STANDARD = NormalDist()
#: The ends of a default's band stand here, in standard deviations.
_NINETY = 1.6449


@dataclass(frozen=True, kw_only=True)
class Band:
    """A result at typical figures, and the ends of its nine-in-ten band."""

    low: float
    typical: float
    high: float

    @property
    def ratio(self) -> float:
        """High over low end."""
        return self.high / self.low


def sensitivities(
    result: Callable[[Mapping[str, float]], float], names: Iterable[str]
) -> dict[str, float]:
    """Change of the result's logarithm for one standard deviation of each default.

    Parameters
    ----------
    result
        What comes out when defaults are moved by so many standard deviations, by name;
        above zero.
    names
        Of the defaults to move.

    Returns
    -------
    slopes
        By name. [-]

    Examples
    --------
    >>> slopes = sensitivities(lambda d: 2.0 * 1.1 ** d.get("a", 0.0), ["a"])
    >>> round(slopes["a"], 4)
    0.0953
    """
    slopes = {}
    for name in names:
        worse, better = result({name: _NINETY}), result({name: -_NINETY})
        slopes[name] = math.log(worse / better) / (2 * _NINETY)
    return slopes


def deviates_at(slopes: Mapping[str, float], pessimism: float) -> dict[str, float]:
    """Standard deviations by which to move each default for a stated pessimism.

    Parameters
    ----------
    slopes
        From `sensitivities`.
    pessimism
        Chance that the truth is no worse, above 0 and below 1; one half is typical. [-]

    Returns
    -------
    deviates
        By name. [-]

    Notes
    -----
    u_i = z s_i / √Σ s²: the likeliest point with that result, to first order.

    References
    ----------
    .. [1] A. M. Hasofer and N. C. Lind, "Exact and invariant second-moment code format",
       Journal of the Engineering Mechanics Division, ASCE 100 (1974), 111-121 (principle).

    Examples
    --------
    >>> {k: round(v, 3) for k, v in deviates_at({"a": 0.3, "b": 0.4}, 0.9).items()}
    {'a': 0.769, 'b': 1.025}
    """
    if not 0.0 < pessimism < 1.0:
        raise ValueError("a pessimism lies between 0 % and 100 %, ends excluded")
    length = math.sqrt(sum(slope * slope for slope in slopes.values()))
    z = _STANDARD.inv_cdf(pessimism)
    return {name: z * slope / length for name, slope in slopes.items()} if length else {}


def band_of(
    result: Callable[[Mapping[str, float]], float], names: Iterable[str], share: float = 0.9
) -> Band:
    """A result with the band in which the truth lies with a stated chance.

    Parameters
    ----------
    result
        As for `sensitivities`.
    names
        Of the defaults it rests on.
    share
        Chance that the truth lies inside. [-]

    Returns
    -------
    band
        Ends and typical figure, in the result's own unit.

    Examples
    --------
    >>> band = band_of(lambda d: 2.0 * 1.1 ** d.get("a", 0.0), ["a"])
    >>> round(band.low, 2), band.typical, round(band.high, 2)
    (1.71, 2.0, 2.34)
    """
    slopes = sensitivities(result, names)
    half = _STANDARD.inv_cdf(0.5 + share / 2)
    spread = half * math.sqrt(sum(slope * slope for slope in slopes.values()))
    typical = result({})
    return Band(low=typical * math.exp(-spread), typical=typical, high=typical * math.exp(spread))
