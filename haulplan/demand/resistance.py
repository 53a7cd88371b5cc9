"""What the road asks: the force that keeps engine and train moving."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.units import ATMOSPHERE

__all__ = [
    "GRAVITY",
    "REFERENCE_TYRE_WIDTH",
    "REFERENCE_WHEEL",
    "air_drag",
    "rolling_coefficient",
    "standard_air",
    "tractive_force",
]

#: Standard gravity (ISO 80000-3). [m s⁻²]
GRAVITY: Final = 9.80665
#: Speed below which hard roads resist evenly (Morin, in King, 1894, s. 53: 2.25 mph). [m s⁻¹]
WALK: Final = 2.25 * 0.44704
#: Wheel the wagon tables are taken to mean: 40 in. haulplan's assumption. [m]
REFERENCE_WHEEL: Final = 1.016
#: Tyre the soft-road tables are taken to mean: 3 in (Manawatu Herald, 1893). [m]
REFERENCE_TYRE_WIDTH: Final = 0.0762

Array = NDArray[np.float64]


def rolling_coefficient(
    tabled: Array | float,
    *,
    hard: bool,
    speed: Array | float = WALK,
    tabled_speed: float = WALK,
    speed_slope: Array | float = 0.0,
    wheel_diameter: Array | float | None = None,
    tyre_width: Array | float | None = None,
    soft_width: Array | float = 0.25,
) -> Array | float:
    """Rolling resistance per weight, brought from a table's wheel and speed to ours.

    Wheels of 0.5 to 2.5 m at walking speeds up to 5 m s⁻¹; iron or rubber on the tyre.

    Parameters
    ----------
    tabled
        Force per weight in the table. [-]
    hard
        True for roads that do not give: they follow the laws of speed and wheel
        diameter. False for soft ground: it follows tyre width instead.
    speed
        Ours. [m s⁻¹]
    tabled_speed
        The table's. [m s⁻¹]
    speed_slope
        Relative rise per speed above 2.25 mph on hard roads. [s m⁻¹]
    wheel_diameter
        Ours, None for the table's own 40 in. [m]
    tyre_width
        Ours, None for the table's own 3 in. [m]
    soft_width
        Exponent of the tyre-width law. [-]

    Returns
    -------
    coefficient
        Force per weight on the level, of the shape of `speed`. [-]

    Notes
    -----
    Hard: f = f₀ (1 + k (max(v, w) − w)) / (1 + k (v₀ − w)) · D₀/D, w = 2.25 mph, k =
    speed_slope. Soft: f = f₀ (b₀/b)^soft_width.

    References
    ----------
    .. [1] A. Morin's laws, in F. H. King, Elementary Lessons in the Physics of
       Agriculture, 1894, s. 53: resistance as load over wheel diameter; width of tyre
       does not matter on hard roads above 3-4 in; speed matters on hard roads only.

    Examples
    --------
    >>> round(2240 * float(rolling_coefficient(45 / 2240, hard=True)), 6)
    45.0
    >>> round(2240 * float(rolling_coefficient(45 / 2240, hard=True, wheel_diameter=2.032)), 6)
    22.5
    """
    if not hard:
        width = REFERENCE_TYRE_WIDTH if tyre_width is None else tyre_width
        soft: Array = tabled * (REFERENCE_TYRE_WIDTH / width) ** soft_width * np.ones_like(speed)
        return soft
    wheel = REFERENCE_WHEEL if wheel_diameter is None else wheel_diameter
    ours = 1.0 + speed_slope * (np.maximum(speed, WALK) - WALK)
    theirs = 1.0 + speed_slope * (max(tabled_speed, WALK) - WALK)
    return tabled * ours / theirs * (REFERENCE_WHEEL / wheel)


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


def air_drag(
    area: Array | float,
    drag: Array | float,
    speed: Array | float,
    wind: Array | float,
    density: float = 1.225,
) -> Array | float:
    """Force of the air on the train.

    Parameters
    ----------
    area
        Seen from the front. [m²]
    drag
        Drag coefficient. [-]
    speed
        Road speed. [m s⁻¹]
    wind
        Against the train, negative from behind. [m s⁻¹]
    density
        Of the air, 1.225 at sea level. [kg m⁻³]

    Returns
    -------
    force
        Negative where the wind pushes. [N]

    Notes
    -----
    F = ½ ρ c A (v + w) |v + w|.

    References
    ----------
    .. [1] Dynamic pressure; air density of the standard atmosphere, ISO 2533:1975.

    Examples
    --------
    >>> round(float(air_drag(6.0, 1.0, 2.0, 8.0)), 1)
    367.5
    """
    through = np.asarray(speed) + np.asarray(wind)
    force: Array = 0.5 * density * drag * area * through * np.abs(through)
    return force


def standard_air(altitude: float) -> tuple[float, float]:
    """Pressure and density of the air at a height.

    Parameters
    ----------
    altitude
        Above sea level, up to 11,000 m. [m]

    Returns
    -------
    pressure, density
        [Pa], [kg m⁻³]

    Notes
    -----
    p = p₀ t^5.25588, ρ = ρ₀ t^4.25588 with t = 1 − 0.0065 h / 288.15.

    References
    ----------
    .. [1] Standard atmosphere, ISO 2533:1975.

    Examples
    --------
    >>> pressure, density = standard_air(1000.0)
    >>> round(pressure / 100, 1), round(density, 3)
    (898.7, 1.112)
    """
    warmth = 1.0 - 0.0065 * altitude / 288.15
    return ATMOSPHERE * warmth**5.25588, 1.225 * warmth**4.25588
