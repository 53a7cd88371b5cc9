"""Weight on groups of axles: the one formula the law states for spans.

It says what a group of axles may weigh on roads under that law, not what a bridge bears:
posted figures and the road authority decide.
"""

__all__ = ["bridge_formula"]

_POUND = 0.45359237
_FOOT = 0.3048


def bridge_formula(length: float, axles: int) -> float:
    """Most weight on a group of axles by the US federal bridge formula.

    Groups of 2 to 9 axles, 4 ft and more between the outer ones; the law's own caps on
    single axles, tandems and gross weight come on top.

    Parameters
    ----------
    length
        Between the outer axles of the group. [m]
    axles
        In the group. [-]

    Returns
    -------
    mass
        Before rounding to the nearest 500 lb, as the printed tables have it. [kg]

    Raises
    ------
    ValueError
        If there are fewer than two axles.

    Notes
    -----
    W = 500 (L N / (N - 1) + 12 N + 36), W in lb, L in ft; length = L, axles = N.

    References
    ----------
    .. [1] 23 U.S.C. 127; 23 CFR 658.17.

    Examples
    --------
    >>> round(bridge_formula(48 * 0.3048, 5) / 0.45359237)
    78000
    """
    if axles < 2:
        raise ValueError("the bridge formula is for groups of two axles or more")
    feet = length / _FOOT
    return 500.0 * (feet * axles / (axles - 1) + 12.0 * axles + 36.0) * _POUND
