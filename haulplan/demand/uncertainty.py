"""How far a figure may be off: each default's band, put together.

Bands are taken as independent, and may reach further to one side. The changes of the
result's logarithm add up, means and variances alike; the result asked for at a pessimism
moves every default a little, most where it matters most, so that the whole has the
stated chance.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist

__all__ = ["NINETY", "Band", "Slope", "band_of", "deviates_at", "sensitivities"]

_STANDARD = NormalDist()
#: The ends of a default's band stand here, in standard deviations.
NINETY = 1.6449


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


@dataclass(frozen=True, kw_only=True)
class Slope:
    """Change of a result's logarithm for one standard deviation of a default.

    `up` towards thirst, `down` away from it; bands are seldom even, so they differ.
    """

    up: float
    down: float

    @property
    def mean(self) -> float:
        """Mean of the change, the deviate being standard normal."""
        return (self.up - self.down) / math.sqrt(2.0 * math.pi)

    @property
    def variance(self) -> float:
        """Variance of the change."""
        return (self.up**2 + self.down**2) / 2.0 - self.mean**2


def sensitivities(
    result: Callable[[Mapping[str, float]], float], names: Iterable[str]
) -> dict[str, Slope]:
    """Change of the result's logarithm with each default, either way from typical.

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
    >>> round(slopes["a"].up, 4), round(slopes["a"].down, 4)
    (0.0953, 0.0953)
    """
    typical = math.log(result({}))
    return {
        name: Slope(
            up=(math.log(result({name: NINETY})) - typical) / NINETY,
            down=(typical - math.log(result({name: -NINETY}))) / NINETY,
        )
        for name in names
    }


def _quantile(slopes: Mapping[str, Slope], chance: float) -> float:
    """Logarithm of result over typical that is not exceeded with a chance."""
    mean = sum(slope.mean for slope in slopes.values())
    deviation = math.sqrt(sum(slope.variance for slope in slopes.values()))
    return mean + _STANDARD.inv_cdf(chance) * deviation


def deviates_at(slopes: Mapping[str, Slope], pessimism: float) -> dict[str, float]:
    """Standard deviations by which to move each default for a stated pessimism.

    Parameters
    ----------
    slopes
        From `sensitivities`.
    pessimism
        Chance that the truth is no worse, above 0 and below 1. One half is a little
        thirstier than typical figures where bands reach further towards thirst. [-]

    Returns
    -------
    deviates
        By name. [-]

    Raises
    ------
    ValueError
        If the pessimism is not between 0 and 1.

    Notes
    -----
    Each default is normal with another spread on either side of typical; the sum of
    their changes is taken as normal with the summed means and variances, which gives the
    result T wanted. Then u_i = T s_i / Σ s²: the likeliest point with that result, to
    first order.

    References
    ----------
    .. [1] A. M. Hasofer and N. C. Lind, "Exact and invariant second-moment code format",
       Journal of the Engineering Mechanics Division, ASCE 100 (1974), 111-121 (principle).

    Examples
    --------
    >>> slopes = {"a": Slope(up=0.3, down=0.3), "b": Slope(up=0.4, down=0.4)}
    >>> {k: round(v, 3) for k, v in deviates_at(slopes, 0.9).items()}
    {'a': 0.769, 'b': 1.025}
    """
    if not 0.0 < pessimism < 1.0:
        raise ValueError("a pessimism lies between 0 % and 100 %, ends excluded")
    wanted = _quantile(slopes, pessimism)
    sides = {name: slope.up if wanted > 0 else slope.down for name, slope in slopes.items()}
    square = sum(side * side for side in sides.values())
    return {name: wanted * side / square for name, side in sides.items()} if square else {}


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
    typical = result({})
    low, high = (_quantile(slopes, 0.5 + side * share / 2) for side in (-1, 1))
    return Band(low=typical * math.exp(low), typical=typical, high=typical * math.exp(high))
