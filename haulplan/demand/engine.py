"""What the engine gives for its steam: mean pressure, pull, grip and steam per metre."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.steam import saturated_steam_density
from haulplan.errors import NoPlanError

__all__ = [
    "SteamLine",
    "expansion_factor",
    "mean_effective_pressure",
    "pull",
    "steam_line",
    "swept_volume_per_metre",
]

Array = NDArray[np.float64]

#: Less lever forward of the running cut-off than this is none. [-]
_LEAST_LEVER = 0.005


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

    The driver's points, rising: `pressure` [Pa] from 0 (drifting, regulator cracked) to
    full gear, `steam` [kg m⁻³] supplied at each. `knee` is the point where the running
    cut-off is used with the regulator wide open.
    """

    pressure: tuple[float, ...]
    steam_at: tuple[float, ...]
    knee: int

    @property
    def idle(self) -> float:
        """Steam per swept volume with no mean pressure [kg m⁻³]."""
        return self.steam_at[0]

    @property
    def knee_pressure(self) -> float:
        """Mean pressure at the running cut-off, regulator open [Pa]."""
        return self.pressure[self.knee]

    @property
    def knee_steam(self) -> float:
        """Steam per swept volume there [kg m⁻³]."""
        return self.steam_at[self.knee]

    @property
    def full_pressure(self) -> float:
        """Most mean pressure the cylinders give [Pa]."""
        return self.pressure[-1]

    def steam(self, pressure: Array) -> Array:
        """Steam per swept volume, moisture not counted, at a mean pressure [Pa]: [kg m⁻³]."""
        drawn = np.maximum(pressure, 0.0)
        within: Array = np.interp(drawn, self.pressure, self.steam_at)
        rise = (self.steam_at[-1] - self.steam_at[-2]) / (self.pressure[-1] - self.pressure[-2])
        beyond: Array = np.maximum(drawn - self.pressure[-1], 0.0) * rise
        return within + beyond


def steam_line(
    boiler_pressure: float,
    *,
    running_cut_off: float,
    longest_cut_off: float,
    diagram_factor: float,
    back_pressure: float,
    clearance: float,
    condensation: float,
    shortest_cut_off: float | None = None,
    volume_ratio: float = 1.0,
) -> SteamLine:
    """The engine's steam use, from its valve setting and the density of steam.

    Boiler pressures of 3 to 20 bar, cut-offs of 0.15 to 0.85.

    Parameters
    ----------
    boiler_pressure
        Absolute. [Pa]
    running_cut_off, longest_cut_off
        Shares of the (high-pressure) stroke. [-]
    diagram_factor
        Pressure in the cylinder over pressure in the boiler while the valve is open. [-]
    back_pressure
        Absolute exhaust pressure. [Pa]
    clearance
        Dead space as a share of the (high-pressure) swept volume. [-]
    condensation
        Share of the supplied steam that condenses on the cylinder walls. [-]
    shortest_cut_off
        Where the driver works with the lever and open regulator down to this cut-off;
        None where he works with the regulator at the running cut-off. [-]
    volume_ratio
        Low-pressure over high-pressure swept volume of a compound; 1 for simple
        engines. Work and steam are then referred to the low-pressure cylinder. [-]

    Returns
    -------
    line
        Steam per swept volume against mean indicated pressure.

    Raises
    ------
    NoPlanError
        If no cut-off gives more pressure than the exhaust's.

    Notes
    -----
    A cylinderful at cut-off holds (c + clearance) ρ(p) of steam per swept volume, of
    which 1/(1 - condensation) was supplied; for a compound both are divided by the volume
    ratio. A throttle lowers p at the same cut-off, so supply falls nearly in proportion
    to mean pressure plus back pressure: P. W. Willans's straight line. Its ends are
    reckoned, the line between them is straight; so are the chords between cut-offs.

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
    shortest = running_cut_off if shortest_cut_off is None else shortest_cut_off
    cut_offs = {shortest, running_cut_off}
    if longest_cut_off - running_cut_off > _LEAST_LEVER:
        cut_offs |= {(running_cut_off + longest_cut_off) / 2, longest_cut_off}

    def supplied(pressure: float, cut_off: float) -> float:
        filled = (cut_off + clearance) / volume_ratio
        return filled * saturated_steam_density(pressure) / (1.0 - condensation)

    def mean(cut_off: float) -> float:
        return mean_effective_pressure(admission, cut_off / volume_ratio, back_pressure)

    pulling = [c for c in sorted(cut_offs) if mean(c) > 0]
    if not pulling:
        raise NoPlanError(
            "the cylinders give no pull: steam at this boiler pressure, expanded so far, stays "
            "below the exhaust. Check pressure, bores and cut-offs"
        )
    first = pulling[0]
    throttled = max(back_pressure / expansion_factor(first / volume_ratio), 0.05 * admission)
    points = [(0.0, supplied(throttled, first))]
    points += [(mean(c), supplied(admission, c)) for c in pulling]
    return SteamLine(
        pressure=tuple(p for p, _ in points),
        steam_at=tuple(s for _, s in points),
        knee=1 + (pulling.index(running_cut_off) if running_cut_off in pulling else 0),
    )
