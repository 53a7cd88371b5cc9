"""What the road asks: the force that keeps engine and train moving."""

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import ENGINE_ROLLING, SURFACES

__all__ = ["GRAVITY", "rolling_coefficient", "tractive_force"]

#: Standard gravity (ISO 80000-3). [m s⁻²]
GRAVITY = 9.80665

Array = NDArray[np.float64]


def rolling_coefficient(surface: str, tyre: str, *, engine: bool) -> float:
    """Rolling resistance per weight on a surface.

    Parameters
    ----------
    surface
        A key of `SURFACES`.
    tyre
        "rubber" or "steel".
    engine
        True for the engine itself, whose own wheels and axles resist more than a wagon's.

    Returns
    -------
    coefficient
        Force per weight on the level. [-]

    References
    ----------
    .. [1] The sources named row by row in `haulplan.demand.defaults.SURFACES`.

    Examples
    --------
    >>> round(2240 * rolling_coefficient("macadam", "steel", engine=False), 6)
    45.0
    """
    wagon: float = getattr(SURFACES[surface], tyre).value
    return wagon * ENGINE_ROLLING.value if engine else wagon


def tractive_force(
    mass: Array | float, coefficient: Array | float, grade: Array | float
) -> Array | float:
    """Force along the road that keeps a mass moving at an even speed.

    Parameters
    ----------
    mass
        What is moved. [kg]
    coefficient
        Its rolling resistance per weight. [-]
    grade
        Rise per horizontal length, negative downhill. [-]

    Returns
    -------
    force
        Negative where the mass would roll by itself. [N]

    Notes
    -----
    F = m g (f cos θ + sin θ) with tan θ = grade.

    References
    ----------
    .. [1] T. R. Agg, American Rural Highways, 1920: 20 lb per short ton for 1 % of grade.

    Examples
    --------
    >>> pound = 0.45359237
    >>> round(float(tractive_force(2000 * pound, 0.0, 0.01)) / (pound * GRAVITY), 2)
    20.0
    """
    return mass * GRAVITY * (coefficient + grade) / np.sqrt(1.0 + np.square(grade))
