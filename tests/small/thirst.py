"""How often a small plan runs dry: many drives at once, each with a thirst of its own.

One factor holds for the whole drive and one for each piece of the road of the given
length, both normal; water and coal are used in the same measure. At a stop the crew fills
to the plan's mark and stands as long as planned; there is no other recourse.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from small.decisions import Road
from small.problems import Problem

__all__ = ["Filled", "chance_of_running_dry"]


@dataclass(frozen=True, kw_only=True)
class Filled:
    """A planned stop: where, for how long, and the levels filled to before standing use."""

    at: float
    minutes: float
    water: float
    coal: float


def chance_of_running_dry(
    problem: Problem,
    gears: tuple[int, ...],
    stops: Sequence[Filled],
    *,
    day: float,
    stretch: float,
    length: float,
    drives: int = 200_000,
) -> tuple[float, float]:
    """Share of drives in which tank or bunker runs empty, and its standard error.

    `day` and `stretch` are standard deviations, `length` [m] that of an independent piece.
    """
    draw = np.random.default_rng(20270501)
    road = Road(problem)
    filled = {road.cuts.index(stop.at): stop for stop in stops}
    whole = 1.0 + day * draw.standard_normal(drives)
    noise = stretch * draw.standard_normal((math.ceil(road.cuts[-1] / length), drives))
    water, coal = (np.full(drives, level) for level in problem.start)
    dry = np.zeros(drives, dtype=bool)
    for j in range(road.last):
        if (stop := filled.get(j)) is not None:
            water = np.maximum(water, stop.water) - problem.standing[0] * stop.minutes
            coal = np.maximum(coal, stop.coal) - problem.standing[1] * stop.minutes
        use = problem.stretches[road.row[j]][gears[road.row[j]]]
        aboard = water + coal
        first, last = road.cuts[j], road.cuts[j + 1]
        inner = [k * length for k in range(len(noise) + 1) if first < k * length < last]
        ends = [first, *inner, last]
        for begin, end in itertools.pairwise(ends):
            share = (end - begin) / (use.end - use.begin)
            thirst = np.maximum(whole + noise[int((begin + end) / 2 // length)], 0.0) * share
            water = water - thirst * (use.water + use.water_slope * aboard)
            coal = coal - thirst * (use.coal + use.coal_slope * aboard)
            dry |= (water <= 0) | (coal <= 0)
    share_dry = float(dry.mean())
    return share_dry, math.sqrt(share_dry * (1 - share_dry) / drives)
