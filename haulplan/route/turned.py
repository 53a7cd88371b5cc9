"""A part of a road, the road driven the other way, and parts driven one after the other."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate

import networkx as nx
import numpy as np

from haulplan.route.build import Route
from haulplan.route.passings import Line, Passing

__all__ = ["joined", "reverse", "stretch"]

#: A passing so close behind is where the engine stands. [m]
_HERE = 0.5


def stretch(route: Route, first: int, last: int) -> Route:
    """A part of a road, distances from its own start; drawn only as the whole is.

    Parameters
    ----------
    route
        The whole.
    first, last
        Samples at which the part begins and ends.

    Returns
    -------
    route
        With the passings on it.
    """
    begin, end = float(route.distance[first]), float(route.distance[last])
    line = route.line
    if line is not None:
        line = replace(line, distance=line.distance - begin)
    return replace(
        route,
        distance=route.distance[first : last + 1] - begin,
        elevation=route.elevation[first : last + 1],
        surface=route.surface[first:last],
        speed_limit=route.speed_limit[first:last],
        line=line,
        passings=tuple(
            replace(p, distance=max(p.distance - begin, 0.0))
            for p in route.passings
            if begin - _HERE <= p.distance <= end + _HERE
        ),
        graph=nx.MultiDiGraph(),
        warnings=(),
    )


def reverse(route: Route) -> Route:
    """The road driven the other way.

    Parameters
    ----------
    route
        As it is planned.

    Returns
    -------
    route
        Climbs are descents; every passing keeps its row.
    """
    length, line = route.length, route.line
    if line is not None:
        line = Line(
            latitude=line.latitude[::-1],
            longitude=line.longitude[::-1],
            distance=length - line.distance[::-1],
        )
    return replace(
        route,
        distance=length - route.distance[::-1],
        elevation=route.elevation[::-1],
        surface=route.surface[::-1],
        speed_limit=route.speed_limit[::-1],
        line=line,
        passings=tuple(replace(p, distance=length - p.distance) for p in route.passings[::-1]),
        graph=nx.MultiDiGraph(),
    )


def joined(parts: Sequence[Route], passings: Sequence[Passing]) -> Route:
    """Parts of a road driven one after the other, as they are after a turn.

    Parameters
    ----------
    parts
        Each begins where the one before it ends.
    passings
        Of the whole, by distance driven.

    Returns
    -------
    route
        Not drawn: it goes over the same ground more than once.
    """
    begins = [0.0, *accumulate(part.length for part in parts)]
    return replace(
        parts[0],
        distance=np.concatenate(
            [parts[0].distance[:1]]
            + [part.distance[1:] + begin for part, begin in zip(parts, begins, strict=False)]
        ),
        elevation=np.concatenate([parts[0].elevation[:1]] + [part.elevation[1:] for part in parts]),
        surface=tuple(surface for part in parts for surface in part.surface),
        speed_limit=np.concatenate([part.speed_limit for part in parts]),
        line=None,
        passings=tuple(passings),
        graph=nx.MultiDiGraph(),
        warnings=(),
        level_crossings=(),
    )
