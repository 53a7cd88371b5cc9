"""Inequalities (14)-(16): what every whole plan keeps and the programme's relaxation does not.

They hold for one store at a time. On each leg every plan keeps level' ≤ p level - a, with
p and a taken over all gears and all the other store may hold; standing only lowers levels.
A level is read in start equivalents, e_i(level) = level / Π_i + G_i with Π and G the
products and sums of p and a up to node i, so that driving never raises it and a take q at
node i raises it by q / Π_i at most.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.plan.legs import AffineLeg, Chain
from haulplan.plan.model import Programme
from haulplan.plan.rules import Limits, Offer

__all__ = ["Inequality", "Windows", "store_windows", "violated"]

Array = NDArray[np.float64]

#: Violated by less than this share of the store, an inequality is not worth its row.
_WORTH: Final = 1e-3
#: Rows give way by this share of the store: rounding never cuts a plan off.
_GIVE: Final = 1e-9
#: Sites looked at beyond a window's first, as a multiple of those that a full store passes ...
_REACH: Final = 1.5
#: ... and at most.
_FURTHEST: Final = 40


@dataclass(frozen=True, kw_only=True)
class Inequality:
    """Σ coefficient × variable ≥ least; `number` is its equation."""

    number: int
    terms: tuple[tuple[float, Any], ...]
    least: float


@dataclass(frozen=True, kw_only=True)
class Windows:
    """Sites of one store in start equivalents, shape (sites,).

    `need` is e(least level on arrival), `full` e(capacity), `top` e(most on leaving),
    `most` the largest take; `scale` is Π and `used` is G.
    """

    nodes: NDArray[np.int64]
    scale: Array
    used: Array
    need: Array
    full: Array
    top: Array
    most: Array
    capacity: float
    arrive: tuple[Any, ...]
    take: tuple[Any, ...]
    stop: tuple[Any, ...]


def store_windows(
    programme: Programme,
    chain: Chain,
    offers: Mapping[int, Offer],
    limits: Limits,
    store: str,
) -> Windows | None:
    """Start equivalents of one store, "water" or "coal"; None where they prove nothing.

    Parameters
    ----------
    programme, chain, offers, limits
        The problem.
    store
        "water" or "coal".

    Returns
    -------
    windows
        The start, the supplies of this store, the legs with a limit of mass, the finish;
        None if some straightened leg may raise the level, or something else may fill it.
    """
    if store == "water" and not programme.rules.plain:
        return None
    room = {"water": limits.tank, "coal": limits.bunker}
    low = {"water": limits.reserve_water, "coal": limits.reserve_coal}
    start = {"water": limits.start_water, "coal": limits.start_coal}[store]
    finish = {"water": limits.finish_water, "coal": limits.finish_coal}[store]
    other = "coal" if store == "water" else "water"
    p, a = _falls(chain, store, low[other], room[other])
    if (p <= 0).any() or (p > 1).any() or (a < 0).any():
        return None
    take = programme.take_water if store == "water" else programme.take_coal
    arrive = programme.arrive[store]
    last = len(chain.nodes) - 1
    heavy = [_heaviest(legs) - limits.mass_margin for legs in chain.legs] + [math.inf]
    sites = [i for i in range(last + 1) if i in take or i in {0, last} or math.isfinite(heavy[i])]
    nodes = np.array(sites)
    scale = np.concatenate([[1.0], np.cumprod(p)])
    used = np.concatenate([[0.0], np.cumsum(a / scale[1:])])[nodes]
    scale = scale[nodes]
    least = np.full(nodes.size, low[store])
    least[0], least[-1] = 0.0, max(low[store], finish)
    leaving = np.array([min(room[store], heavy[i] - low[other]) for i in sites])
    leaving[0] = min(leaving[0], start)
    return Windows(
        nodes=nodes,
        scale=scale,
        used=used,
        need=least / scale + used,
        full=room[store] / scale + used,
        top=leaving / scale + used,
        most=np.array([take[i].upBound if i in take else 0.0 for i in sites]) / scale,
        capacity=room[store],
        arrive=tuple(arrive[i] for i in sites),
        take=tuple(take.get(i) for i in sites),
        stop=tuple(programme.stop.get(i) for i in sites),
    )


def _falls(chain: Chain, store: str, least: float, most: float) -> tuple[Array, Array]:
    """The p and a of every leg: the highest level any gear and any other store leave."""

    def slope(leg: AffineLeg) -> float:
        return leg.water_slope if store == "water" else leg.coal_slope

    def base(leg: AffineLeg) -> float:
        own = leg.water if store == "water" else leg.coal
        return own + min(slope(leg) * least, slope(leg) * most)

    p = [1 - min(slope(leg) for leg in legs) for legs in chain.legs]
    a = [min(base(leg) for leg in legs) for legs in chain.legs]
    return np.array(p), np.array(a)


def _heaviest(legs: tuple[AffineLeg, ...]) -> float:
    return max(min((bound.most for bound in leg.limits), default=math.inf) for leg in legs)


def violated(windows: Windows, values: Mapping[Any, float]) -> list[Inequality]:
    """The inequality most violated for each first or last site of a window.

    Parameters
    ----------
    windows
        The store's sites.
    values
        Value of each variable's name in the relaxation's answer.

    Returns
    -------
    inequalities
        Of all three kinds.
    """

    def read(variables: tuple[Any, ...]) -> Array:
        return np.array([0.0 if v is None else values[v.name] for v in variables])

    level = read(windows.arrive) / windows.scale + windows.used
    take = read(windows.take) / windows.scale
    stop = read(windows.stop)
    found = []
    for make in (_reach_next, _filled_before, _between):
        found += make(windows, level, take, stop)
    return found


def _ahead(windows: Windows) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Sites k + 1 … of each window, clipped, and which of them exist."""
    count = windows.nodes.size
    passed = np.searchsorted(windows.need, windows.full, side="right") - np.arange(count)
    reach = min(math.ceil(_REACH * float(passed.mean())) + 1, _FURTHEST, count)
    index = np.arange(count)[:, None] + np.arange(reach)[None, :] + 1
    return np.minimum(index, count - 1), index < count


def _reach_next(windows: Windows, level: Array, take: Array, stop: Array) -> list[Inequality]:
    """(14), the window growing backwards from its end l."""
    count = windows.nodes.size
    index, exists = _ahead(windows)
    index = count - 1 - index  # l - 1, l - 2, …
    end = windows.need[::-1]
    asked = np.maximum(end[:, None] - windows.need[index], 0)
    coefficient = np.minimum(asked, windows.most[index])
    part = np.minimum(take[index], coefficient * stop[index]) * exists
    left = level[index] + np.cumsum(part, axis=1)
    lack = np.where(exists, (end[:, None] - left) * windows.scale[index], -np.inf)
    found = []
    for row, column in _worst(lack, windows.capacity):
        first = int(index[row, column])
        scale = float(windows.scale[first])
        terms = [(1.0, windows.arrive[first])]
        terms += _terms(windows, index[row, : column + 1], coefficient[row], take, stop, scale)
        least = (float(end[row]) - float(windows.used[first])) * scale
        found.append(_inequality(windows, 14, terms, least))
    return found


def _filled_before(windows: Windows, level: Array, take: Array, stop: Array) -> list[Inequality]:
    """(15), the window growing forwards from its beginning k."""
    index, exists = _ahead(windows)
    top = windows.top[:, None]
    coefficient = np.minimum(np.maximum(windows.full[index] - top, 0), windows.most[index])
    part = np.minimum(take[index], coefficient * stop[index]) * exists
    before = np.cumsum(part, axis=1) - part
    over = np.where(exists, (level[index] - top - before) * windows.scale[index], -np.inf)
    found = []
    for row, column in _worst(over, windows.capacity):
        end = int(index[row, column])
        scale = float(windows.scale[end])
        terms = [(-1.0, windows.arrive[end])]
        terms += _terms(windows, index[row, :column], coefficient[row], take, stop, scale)
        least = (float(windows.used[end]) - float(windows.top[row])) * scale
        found.append(_inequality(windows, 15, terms, least))
    return found


def _between(windows: Windows, _: Array, take: Array, stop: Array) -> list[Inequality]:
    """(16), every window whose need exceeds what can be aboard at its beginning."""
    index, exists = _ahead(windows)
    top = windows.top[:, None]
    excess = np.where(exists, windows.need[index] - top, -np.inf)
    some = np.flatnonzero((excess > 0).any(axis=1))
    found = []
    for block in np.array_split(some, max(1, some.size // 64)):
        near, much = index[block], excess[block]
        early = np.maximum(windows.full[near] - top[block], 0)[:, None, :]
        late = windows.need[near][:, :, None] - windows.need[near][:, None, :]
        inside = np.tri(near.shape[1], k=-1)[None] * exists[block][:, None, :]
        coefficient = np.minimum(np.minimum(early, late), much[:, :, None])
        coefficient = np.minimum(coefficient, windows.most[near][:, None, :]).clip(0) * inside
        part = np.minimum(take[near][:, None, :] * inside, coefficient * stop[near][:, None, :])
        lack = np.where(much > 0, much - part.sum(axis=2), -np.inf)
        # of two windows lacking as much, the shorter asks for less
        share = np.where(lack * windows.scale[block][:, None] > _WORTH * windows.capacity,
                         lack / np.where(much > 0, much, 1.0), -np.inf)  # fmt: skip
        for row, column in _worst(share, 1.0):
            scale = float(windows.scale[block[row]])
            sites, own = near[row, :column], coefficient[row, column]
            terms = _terms(windows, sites, own, take, stop, scale)
            found.append(_inequality(windows, 16, terms, float(much[row, column]) * scale))
    return found


def _worst(lack: Array, capacity: float) -> list[tuple[int, int]]:
    """Row and column of the largest lack of each row, where worth a row."""
    columns = lack.argmax(axis=1)
    rows = np.flatnonzero(lack[np.arange(columns.size), columns] > _WORTH * capacity)
    return [(int(row), int(columns[row])) for row in rows]


def _terms(
    windows: Windows,
    sites: NDArray[np.int64],
    coefficient: Array,
    take: Array,
    stop: Array,
    scale: float,
) -> list[tuple[float, Any]]:
    """Of each site the smaller of its take and its coefficient × stop."""
    terms = []
    for number, site in enumerate(sites.tolist()):
        if windows.take[site] is None:
            continue
        if take[site] <= coefficient[number] * stop[site]:
            terms.append((scale / float(windows.scale[site]), windows.take[site]))
        elif coefficient[number] > 0:
            terms.append((float(coefficient[number]) * scale, windows.stop[site]))
    return terms


def _inequality(
    windows: Windows, number: int, terms: list[tuple[float, Any]], least: float
) -> Inequality:
    return Inequality(
        number=number, terms=tuple(terms), least=least - _GIVE * max(windows.capacity, abs(least))
    )
