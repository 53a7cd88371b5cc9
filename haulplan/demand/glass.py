"""Boiler water on grades: the mark in the water glass to carry over each crest.

Plain geometry of a level surface in a tilted boiler, from figures the owner has from
maker or inspector. It is a planning figure for the water it takes out of the tank: the
higher of it and the inspector's rule governs, and it is never a reason to carry less.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.scenario.schema import Glass
from haulplan.units import WATER_DENSITY

__all__ = [
    "Crest",
    "CrestWater",
    "boiler_room",
    "crest_water",
    "find_crests",
    "glass_mark",
    "level_needed",
]

Array = NDArray[np.float64]

#: A crest has at least so much [m] of climb before it and of fall after it ...
_LEAST_RISE = 5.0
#: ... and its grades are held over so far [m] on either side.
_SPAN = 100.0


@dataclass(frozen=True, kw_only=True)
class Crest:
    """One crest: where, the grades on either side, and where the glass is read for it.

    `mark` is above the bottom of the glass [m], None where it is not known; `above`
    tells that it stands higher than the glass shows; `water` is the boiler water it asks
    above the level that suffices on the flat [kg].
    """

    distance: float
    read_at: float
    climb: float
    fall: float
    mark: float | None
    above: bool
    water: float | None


@dataclass(frozen=True, kw_only=True)
class CrestWater:
    """Boiler water above the working level that a crest asks for [kg], and where [m]."""

    distance: float
    water: float


def level_needed(glass: Glass, climb: float, fall: float) -> float:
    """Level at the middle of the water surface that keeps crown and tubes covered.

    Parameters
    ----------
    glass
        The boiler's shape.
    climb
        Grade up before the crest, at or above zero. [-]
    fall
        Grade down after it, at or above zero. [-]

    Returns
    -------
    level
        Above the highest point of the crown, boiler level, steam shut off. [m]

    Notes
    -----
    Going down, the surface drops at the crown's back edge by fall · crown_back; going
    up, it drops at the front tube ends by climb · |tubes_front|. Cover asked: the
    minimum plus the swell that goes when the regulator is shut.

    References
    ----------
    .. [1] Geometry of a level surface; the trade's rule that a crest after a long climb is
       the worst place: common practice, no source.

    Examples
    --------
    >>> inch = 0.0254
    >>> shape = Glass.model_construct(
    ...     crown_back=48 * inch, tubes_front=-60 * inch, tubes_height=-8 * inch,
    ...     minimum_cover=0.0, swell=0.0,
    ... )
    >>> round(level_needed(shape, 0.0, 0.10) / inch, 2)
    4.8
    """
    cover = glass.minimum_cover + glass.swell
    down = cover + fall * glass.crown_back
    up = glass.tubes_height + cover + climb * abs(glass.tubes_front)
    return max(down, up, cover)


def glass_mark(glass: Glass, level: float, grade: float) -> float:
    """What the glass shows on a grade for a level at the middle of the water surface.

    Parameters
    ----------
    glass
        The boiler's shape.
    level
        At the middle of the water surface, above the crown. [m]
    grade
        Where it is read, positive uphill. [-]

    Returns
    -------
    mark
        Above the bottom of the glass. [m]

    References
    ----------
    .. [1] Geometry of a level surface.

    Examples
    --------
    >>> shape = Glass.model_construct(glass_at=1.0, glass_bottom=0.05)
    >>> round(glass_mark(shape, 0.10, 0.08), 3)
    0.13
    """
    return level + grade * glass.glass_at - glass.glass_bottom


def find_crests(distance: Array, elevation: Array, glass: Glass | None) -> tuple[Crest, ...]:
    """Crests of a road with the glass mark to carry over each.

    Parameters
    ----------
    distance, elevation
        The profile, shape (samples,). [m]
    glass
        The boiler's shape, None where the owner has not given it: marks are not known.

    Returns
    -------
    crests
        In driving order.
    """
    crests = []
    for top in _tops(elevation):
        climb = _steepest(distance, elevation, top, up=True)
        fall = _steepest(distance, elevation, top, up=False)
        read_at = max(float(distance[top]) - _SPAN, 0.0)
        mark = water = None
        if glass is not None:
            level = level_needed(glass, climb, fall)
            here = _grade_at(distance, elevation, read_at)
            mark = glass_mark(glass, level, here)
            flat = level_needed(glass, 0.0, 0.0)
            water = (level - flat) * glass.surface_area * WATER_DENSITY
        crests.append(
            Crest(
                distance=float(distance[top]),
                read_at=read_at,
                climb=climb,
                fall=fall,
                mark=mark,
                above=mark is not None and glass is not None and mark > glass.glass_length,
                water=water,
            )
        )
    return tuple(crests)


def crest_water(distance: Array, elevation: Array, glass: Glass | None) -> tuple[CrestWater, ...]:
    """What the crests of a road ask of the boiler's store.

    Parameters
    ----------
    distance, elevation
        The profile, shape (samples,). [m]
    glass
        The boiler's shape.

    Returns
    -------
    crests
        In driving order, those for which the working level suffices left out; none
        where the shape, the working level or the highest level is not known.

    References
    ----------
    .. [1] `level_needed`.
    """
    if glass is None or glass.working_level is None or glass.highest_level is None:
        return ()
    needs = []
    for crest in find_crests(distance, elevation, glass):
        above = level_needed(glass, crest.climb, crest.fall) - glass.working_level
        if above > 0:
            water = above * glass.surface_area * WATER_DENSITY
            needs.append(CrestWater(distance=crest.distance, water=water))
    return tuple(needs)


def boiler_room(glass: Glass | None) -> float:
    """Water between the working and the highest level.

    Parameters
    ----------
    glass
        The boiler's shape.

    Returns
    -------
    water
        None at all where a level is not known. [kg]
    """
    if glass is None or glass.working_level is None or glass.highest_level is None:
        return 0.0
    return (glass.highest_level - glass.working_level) * glass.surface_area * WATER_DENSITY


def _tops(elevation: Array) -> list[int]:
    """High points with 5 m of climb before and of fall after."""
    tops = []
    low = high = 0
    rising = True
    for k in range(1, elevation.size):
        if rising:
            if elevation[k] > elevation[high]:
                high = k
            elif elevation[high] - elevation[k] >= _LEAST_RISE:
                if elevation[high] - elevation[low] >= _LEAST_RISE:
                    tops.append(high)
                rising, low = False, k
            if elevation[k] < elevation[low] and elevation[high] - elevation[low] < _LEAST_RISE:
                low = high = k
        elif elevation[k] < elevation[low]:
            low = k
        elif elevation[k] - elevation[low] >= _LEAST_RISE:
            rising, high = True, k
    return tops


def _grade_at(distance: Array, elevation: Array, at: float) -> float:
    ahead = min(at + _SPAN / 2, float(distance[-1]))
    behind = max(ahead - _SPAN, 0.0)
    rise = np.interp(ahead, distance, elevation) - np.interp(behind, distance, elevation)
    return float(rise) / max(ahead - behind, 1e-9)


def _steepest(distance: Array, elevation: Array, top: int, *, up: bool) -> float:
    """Steepest grade over 100 m on the climb to, or the fall from, a crest."""
    at = float(distance[top])
    reach = 10 * _SPAN
    begins = np.arange(at - reach, at - _SPAN + 1) if up else np.arange(at, at + reach - _SPAN + 1)
    begins = begins[(begins >= 0) & (begins + _SPAN <= distance[-1])][::5]
    if begins.size == 0:
        return 0.0
    low = np.interp(begins, distance, elevation)
    high = np.interp(begins + _SPAN, distance, elevation)
    grade = (high - low) / _SPAN if up else (low - high) / _SPAN
    return max(float(grade.max()), 0.0)
