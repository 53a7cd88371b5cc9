"""A demand cut to a part of its road, and parts driven one after the other."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.demand import Choice, Demand, Use, no_way_back

__all__ = ["cut", "joined_demand"]

Array = NDArray[np.float64]
Gears = NDArray[np.int64]


def cut(demand: Demand, first: int, last: int) -> Demand:
    """A demand from one sample to another; what lies outside is evaluated and thrown away.

    Parameters
    ----------
    demand
        Of the whole road.
    first, last
        Samples.

    Returns
    -------
    demand
        Distances from its own start.
    """
    own = slice(first, last)

    def evaluate(aboard: Array, gear: Gears) -> Use:
        whole = np.full(demand.segments, aboard[0] if aboard.size else 0.0)
        gears = demand.gear.copy()
        whole[own], gears[own] = aboard, gear
        use = demand.evaluate(whole, gears)
        return Use(duration=use.duration[own], water=use.water[own], coal=use.coal[own])

    def back(begin: int, end: int) -> Demand | None:
        return demand.back(begin + first, end + first)

    begin, end = float(demand.distance[first]), float(demand.distance[last])
    return replace(
        demand,
        distance=demand.distance[first : last + 1] - begin,
        gear=demand.gear[own],
        choices=tuple(
            Choice(first=max(c.first, first) - first, last=min(c.last, last) - first, gears=c.gears)
            for c in demand.choices
            if c.last > first and c.first < last
        ),
        heaviest=demand.heaviest[own],
        evaluate=evaluate,
        points=tuple(point[own] for point in demand.points),
        crests=tuple(
            replace(crest, distance=crest.distance - begin)
            for crest in demand.crests
            if begin < crest.distance < end or (crest.distance == end and last == demand.segments)
        ),
        back=back,
    )


def joined_demand(parts: Sequence[Demand]) -> Demand:
    """Demands of parts driven one after the other.

    Parameters
    ----------
    parts
        The first has the gears, operating points and places of all; a gear or point that
        another part does not know is driven there in its own gear.

    Returns
    -------
    demand
        Without a way back of its own.
    """
    begins = [0, *accumulate(part.segments for part in parts)]
    starts = [0.0, *accumulate(float(part.distance[-1]) for part in parts)]
    owns = [slice(a, b) for a, b in pairwise(begins)]

    def known(part: Demand, gear: Gears) -> Gears:
        return np.where(gear < len(part.gears), gear, part.gear)

    def evaluate(aboard: Array, gear: Gears) -> Use:
        uses = [
            part.evaluate(aboard[own], known(part, gear[own]))
            for part, own in zip(parts, owns, strict=True)
        ]
        return Use(
            duration=np.concatenate([use.duration for use in uses]),
            water=np.concatenate([use.water for use in uses]),
            coal=np.concatenate([use.coal for use in uses]),
        )

    whole = parts[0]
    return replace(
        whole,
        distance=np.concatenate(
            [[0.0]]
            + [part.distance[1:] + start for part, start in zip(parts, starts, strict=False)]
        ),
        gear=np.concatenate([part.gear for part in parts]),
        choices=tuple(
            Choice(first=c.first + begin, last=c.last + begin, gears=c.gears)
            for part, begin in zip(parts, begins, strict=False)
            for c in part.choices
        ),
        heaviest=np.concatenate([part.heaviest for part in parts]),
        evaluate=evaluate,
        points=tuple(
            np.concatenate([p.points[number] if number < len(p.points) else p.gear for p in parts])
            for number in range(len(whole.points))
        ),
        crests=tuple(
            replace(crest, distance=crest.distance + start)
            for part, start in zip(parts, starts, strict=False)
            for crest in part.crests
        ),
        back=no_way_back,
    )
