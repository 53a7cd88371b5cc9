"""What the engine gives for its steam: mean pressure, pull, grip and steam per metre."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.steam import saturated_steam_density

__all__ = [
    "SteamLine",
    "expansion_factor",
    "mean_effective_pressure",
    "pull",
    "steam_line",
    "swept_volume_per_metre",
]

Array = NDArray[np.float64]


def expansion_factor(cut_off: float) -> float:
    """Mean forward pressure over admission pressure, expansion being hyperbolic.

    Parameters
    ----------
    cut_off
        Share of the stroke at which the valve closes. [-]

    Returns
    -------
    factor
        [-]

    Notes
    -----
    c (1 + ln 1/c), clearance neglected.

    References
    ----------
    .. [1] Kent, Mechanical Engineers' Pocket-Book, mean pressure of expanding steam.

    Examples
    --------
    >>> [round(expansion_factor(c), 3) for c in (0.25, 0.5, 0.75)]
    [0.597, 0.847, 0.966]
    """
    return cut_off * (1.0 - math.log(cut_off))


def mean_effective_pressure(admission: float, cut_off: float, back_pressure: float) -> float:
    """Mean indicated pressure of a cylinder.

    Parameters
    ----------
    admission
        Absolute pressure in the cylinder while the valve is open. [Pa]
    cut_off
        Share of the stroke at which it closes. [-]
    back_pressure
        Absolute pressure on the other side of the piston. [Pa]

    Returns
    -------
    pressure
        Net mean pressure over the stroke. [Pa]

    References
    ----------
    .. [1] Kent, Mechanical Engineers' Pocket-Book, mean pressure of expanding steam.

    Examples
    --------
    >>> psi = 6894.757
    >>> round(mean_effective_pressure(124.0 * psi, 0.5, 16.7 * psi) / psi, 1)
    88.3
    """
    return admission * expansion_factor(cut_off) - back_pressure


def swept_volume_per_metre(
    cylinders: int, bore: float, stroke: float, ratio: float, wheel_diameter: float
) -> float:
    """Volume the pistons sweep, both sides counted, for each metre of road.

    Parameters
    ----------
    cylinders
        Number of equal double-acting cylinders. [-]
    bore, stroke
        [m]
    ratio
        Turns of the crank per turn of the driving wheels. [-]
    wheel_diameter
        Of the driving wheels. [m]

    Returns
    -------
    volume
        [m³ m⁻¹]

    Notes
    -----
    n · 2 · (π d²/4) · s · G / (π D) = n d² s G / (2 D).

    References
    ----------
    .. [1] Geometry; it gives the railway's d² s / D for n = 2, G = 1.

    Examples
    --------
    >>> round(swept_volume_per_metre(2, 17.0, 24.0, 1.0, 68.0), 6)
    102.0
    """
    return cylinders * bore * bore * stroke * ratio / (2.0 * wheel_diameter)


def pull(
    pressure: float, volume_per_metre: float, *, friction: float = 0.0, efficiency: float = 1.0
) -> float:
    """Force at the rim of the driving wheels.

    Parameters
    ----------
    pressure
        Mean effective pressure. [Pa]
    volume_per_metre
        Swept volume per metre of road. [m³ m⁻¹]
    friction
        Part of the pressure lost in the engine itself. [Pa]
    efficiency
        Of the gearing from crank to rim. [-]

    Returns
    -------
    force
        [N]

    References
    ----------
    .. [1] Molesworth, Pocket-Book of Engineering Formulae, p. 221 (railway form).

    Examples
    --------
    >>> round(pull(80.0, swept_volume_per_metre(2, 17.0, 24.0, 1.0, 68.0)), 6)  # psi, in: lbf
    8160.0
    """
    return (pressure - friction) * volume_per_metre * efficiency


@dataclass(frozen=True, kw_only=True)
class SteamLine:
    """Steam per swept volume against mean pressure: a bent Willans line.

    Throttled at the running cut-off the line is straight from `idle` to `knee_steam`;
    beyond the knee the lever goes forward and it is steeper, up to `full_pressure`.
    """

    idle: float
    slope: float
    knee_pressure: float
    knee_steam: float
    forward_slope: float
    full_pressure: float

    def steam(self, pressure: Array) -> Array:
        """Steam per swept volume, moisture not counted, at a mean pressure [Pa] [kg m⁻³]."""
        drawn = np.maximum(pressure, 0.0)
        throttled = self.idle + self.slope * drawn
        forward = self.knee_steam + self.forward_slope * (drawn - self.knee_pressure)
        used: Array = np.maximum(throttled, forward)
        return used


def steam_line(
    boiler_pressure: float,
    *,
    running_cut_off: float,
    longest_cut_off: float,
    diagram_factor: float,
    back_pressure: float,
    clearance: float,
    condensation: float,
) -> SteamLine:
    """The engine's steam use, from its valve setting and the density of steam.

    Parameters
    ----------
    boiler_pressure
        Absolute. [Pa]
    running_cut_off, longest_cut_off
        Shares of the stroke. [-]
    diagram_factor
        Pressure in the cylinder over pressure in the boiler while the valve is open. [-]
    back_pressure
        Absolute exhaust pressure. [Pa]
    clearance
        Dead space as a share of the swept volume. [-]
    condensation
        Share of the supplied steam that condenses on the cylinder walls. [-]

    Returns
    -------
    line
        Steam per swept volume against mean indicated pressure.

    Notes
    -----
    A cylinderful at cut-off holds (c + clearance) ρ(p) of steam per swept volume, of
    which 1/(1 - condensation) was supplied. A throttle lowers p at the same cut-off, so
    supply falls nearly in proportion to mean pressure plus back pressure: P. W. Willans's
    straight line. The two ends are reckoned, the line between them is straight.

    References
    ----------
    .. [1] P. W. Willans, "Economy trials of a non-condensing steam engine", Minutes of
       Proceedings ICE 93 (1888): steam per hour is straight against power (principle).
    .. [2] Machinery's Reference Series 70, Steam Engines, ch. 6: steam accounted for by
       the indicator, divided by 0.8 for condensation.

    Examples
    --------
    >>> psi = 6894.757
    >>> line = steam_line(
    ...     170 * psi, running_cut_off=0.5, longest_cut_off=0.75, diagram_factor=0.75,
    ...     back_pressure=16.7 * psi, clearance=0.07, condensation=0.2,
    ... )
    >>> round(line.knee_pressure / psi, 1), round(line.idle / line.knee_steam, 2)
    (91.2, 0.17)
    """
    admission = diagram_factor * boiler_pressure

    def supplied(pressure: float, cut_off: float) -> float:
        return (cut_off + clearance) * saturated_steam_density(pressure) / (1.0 - condensation)

    knee = mean_effective_pressure(admission, running_cut_off, back_pressure)
    full = mean_effective_pressure(admission, longest_cut_off, back_pressure)
    idle = supplied(back_pressure / expansion_factor(running_cut_off), running_cut_off)
    knee_steam = supplied(admission, running_cut_off)
    rise = supplied(admission, longest_cut_off) - knee_steam
    return SteamLine(
        idle=idle,
        slope=(knee_steam - idle) / knee,
        knee_pressure=knee,
        knee_steam=knee_steam,
        forward_slope=rise / (full - knee) if full > knee else 0.0,
        full_pressure=max(full, knee),
    )
