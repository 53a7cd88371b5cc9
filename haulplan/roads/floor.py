"""What a way can cost at least, from what is used and what is still to come.

Reckoned from least time, water and coal, at any load and in any gear: the time driven,
the water that must be taken at the fastest tap, and the fewest stops that can do it.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from operator import add

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.serving import serving_rates
from haulplan.roads.search import Streets, least_time_to, least_to
from haulplan.roads.usage import water_room
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim

__all__ = [
    "Floor",
    "Prices",
    "lay_floor",
    "least_of_all",
    "least_onward",
    "prices_of",
    "time_onward",
]

Array = NDArray[np.float64]

#: Levels below a limit by less are rounding. [kg]
_ROUNDING = 1e-6


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What the aim makes of time, water, coal and stops, each at the cheapest there is.

    `water_time` and `coal_time` are seconds to take a kg at the fastest supply, `set_up`
    and `call_out` the least of any; weights are by second, money and stop.
    """

    second: float
    money: float
    stop: float
    water_time: float
    coal_time: float
    water_price: float
    coal_price: float
    set_up: float
    call_out: float
    start_water: float
    start_coal: float
    finish_water: float
    finish_coal: float
    reserve_water: float
    reserve_coal: float
    tank: float
    bunker: float

    def value(self, time: float, water: float, coal: float, stops: int) -> float:
        """Least the aim can come to with so much time, water, coal and so many stops."""
        if math.isinf(time + water + coal):
            return math.inf
        water_taken = max(water + self.finish_water - self.start_water, 0.0)
        coal_taken = max(coal + self.finish_coal - self.start_coal, 0.0)
        fewest = max(
            stops,
            _fills(water_taken, self.tank - self.reserve_water),
            _fills(coal_taken, self.bunker - self.reserve_coal),
        )
        stay = max(water_taken * self.water_time, coal_taken * self.coal_time)
        paid = water_taken * self.water_price + coal_taken * self.coal_price
        return (
            self.second * (time + stay + fewest * self.set_up)
            + self.money * (paid + fewest * self.call_out)
            + self.stop * fewest
        )

    @property
    def water_worth(self) -> float:
        """What a kg of water used comes to at least, once any must be taken."""
        return self.second * self.water_time + self.money * self.water_price


def _fills(amount: float, room: float) -> int:
    """Fewest times a store is filled to take so much."""
    if amount <= _ROUNDING or math.isinf(amount):
        return 0
    return math.ceil(amount / room - 1e-9) if room > 0 else 0


def prices_of(scenario: Scenario, aim: Aim, rows: Sequence[int], lowest: float) -> Prices:
    """What the aim makes of time, water, coal and stops.

    Parameters
    ----------
    scenario
        The problem.
    aim
        What to be best at. Its first part alone is bounded.
    rows
        Of the supplies that lie on roads in use.
    lowest
        Height of the lowest road above the sea. [m]

    Returns
    -------
    prices
        Lower bounds all: what carts hold counts as aboard, access, nights, meals and
        duties only add.

    Raises
    ------
    InputError
        If a lift is more than the air can do.
    """
    file = scenario.file
    supplies = [scenario.supplies[row] for row in rows]
    rates = serving_rates(scenario, lowest)
    water = [(scenario.supplies[row], rate) for row in rows if (rate := rates[row][0])]
    coal = [(scenario.supplies[row], rate) for row in rows if (rate := rates[row][1])]
    carts = [store for store in scenario.stores if store.kind == "cart"]
    weights = {
        "earliest": (1.0, 0.0, 0.0),
        "cheapest": (0.0, 1.0, 0.0),
        "fewest stops": (0.0, 0.0, 1.0),
    }
    second, money, stop = (
        weights[aim.first]
        if aim.first is not None
        else ((aim.minute or 0.0) / 60, aim.money or 0.0, aim.stop or 0.0)
    )
    tank, bunker = file.stores.tank, file.stores.bunker
    return Prices(
        second=second,
        money=money,
        stop=stop,
        water_time=min((1 / rate for _, rate in water), default=0.0),
        coal_time=min((1 / rate for _, rate in coal), default=0.0),
        water_price=min((s.water_price for s, _ in water), default=0.0),
        coal_price=min((s.coal_price for s, _ in coal), default=0.0),
        set_up=min((s.set_up for s in supplies), default=0.0),
        call_out=min((s.call_out for s in supplies), default=0.0),
        start_water=min(file.at_start.water, tank)
        + sum(min(cart.at_start, cart.water) for cart in carts),
        start_coal=min(file.at_start.coal, bunker),
        finish_water=max(min(file.at_finish.water, tank), file.reserve.water),
        finish_coal=max(min(file.at_finish.coal, bunker), file.reserve.coal),
        reserve_water=file.reserve.water,
        reserve_coal=file.reserve.coal,
        tank=water_room(scenario),
        bunker=bunker,
    )


@dataclass(frozen=True, kw_only=True)
class Floor:
    """Least time, water, coal and worth still to come, by stage.

    Stage k is on the way to `targets[k]`; amounts have shape (stages, nodes), time and
    worth (stages, edges + 1, gears) by the edge and gear driven last, the last row being
    the start.
    """

    prices: Prices
    targets: tuple[int, ...]
    time: Array
    water: Array
    coal: Array
    worth: Array

    def at(
        self,
        stage: int,
        node: int,
        last: int,
        time: Sequence[float],
        water: float,
        coal: float,
        stops: int,
    ) -> float:
        """Least the aim can come to from here on, so much being used; `last` -1 at the start."""
        prices = self.prices
        ideal = prices.value(
            min(map(add, time, self.time[stage, last].tolist())),
            water + float(self.water[stage, node]),
            coal + float(self.coal[stage, node]),
            stops,
        )
        if prices.water_worth <= 0 or not math.isfinite(ideal):
            return ideal
        # time and water least on one and the same way, not each on its own
        spare = prices.start_water - prices.finish_water
        ahead = self.worth[stage, last].tolist()
        joint = min(
            (prices.second * t + w for t, w in zip(time, ahead, strict=True) if t < math.inf),
            default=math.inf,
        )
        joint += prices.water_worth * (water - spare)
        fixed = stops * (
            prices.second * prices.set_up + prices.money * prices.call_out + prices.stop
        )
        return max(ideal, float(joint + fixed))


def lay_floor(streets: Streets, prices: Prices, targets: Sequence[int], start: int) -> Floor:
    """Least sums from every node to the end of the road, by way of the targets still ahead.

    Parameters
    ----------
    streets
        The edges in use.
    prices
        Of the aim.
    targets
        Via points in order, the finish last.
    start
        Node the road begins at.

    Returns
    -------
    floor
        Infinite from where there is no way.
    """
    usage = streets.usage
    water = prices.water_worth * usage.least_water
    holds = np.isfinite(usage.least_time)
    worth = np.where(holds, prices.second * np.where(holds, usage.least_time, 0.0), np.inf)
    worth += water[:, None, None]

    return Floor(
        prices=prices,
        targets=tuple(targets),
        time=time_onward(streets, usage.least_time, targets, start),
        water=least_onward(streets, usage.least_water, targets),
        coal=least_onward(streets, usage.least_coal, targets),
        worth=time_onward(streets, worth, targets, start),
    )


def least_of_all(streets: Streets, floor: Floor, start: int, supplies: Collection[int]) -> float:
    """Least the aim can come to on any way there is.

    Parameters
    ----------
    streets
        The edges in use.
    floor
        From `lay_floor`.
    start
        Node the road begins at.
    supplies
        Nodes with water or coal.

    Returns
    -------
    least
        Where a stop cannot be spared, of the ways that pass a supply.
    """
    nothing = (0.0,) * streets.usage.gears
    least = floor.at(0, start, -1, nothing, 0.0, 0.0, 0)
    prices = floor.prices
    dry = (
        prices.start_water - float(floor.water[0, start]) < prices.finish_water - _ROUNDING
        or prices.start_coal - float(floor.coal[0, start]) < prices.finish_coal - _ROUNDING
    )
    if not dry or start in supplies or not supplies:
        return least
    past: Array | None = None
    for stage in reversed(range(len(floor.targets))):
        here = least_time_to(streets, streets.usage.least_time, supplies, start, floor.time[stage])
        if past is not None:  # or at a supply after the target
            target = [floor.targets[stage]]
            later = least_time_to(streets, streets.usage.least_time, target, start, past)
            here = np.minimum(here, later)
        past = here
    assert past is not None
    by_supply = prices.value(
        float(past[-1].min()), float(floor.water[0, start]), float(floor.coal[0, start]), 1
    )
    return max(least, by_supply)


def time_onward(streets: Streets, time: Array, targets: Sequence[int], start: int) -> Array:
    """Least time from every edge and gear to each target and on by those after it.

    Parameters
    ----------
    streets
        The edges in use.
    time
        Of each edge by gear, shape (edges, gears, gears). [s]
    targets
        Nodes in the order they are passed.
    start
        Node whose least time stands in the last row.

    Returns
    -------
    least
        Shape (targets, edges + 1, gears). [s]
    """
    least: list[Array] = []
    for target in reversed(targets):
        after = least[-1] if least else None
        least.append(least_time_to(streets, time, [target], start, after))
    return np.stack(least[::-1])


def least_onward(streets: Streets, weight: Array, targets: Sequence[int]) -> Array:
    """Least sum of a weight from every node to each target and on by those after it.

    Parameters
    ----------
    streets
        The edges in use.
    weight
        Of each edge, shape (edges,).
    targets
        Nodes in the order they are passed.

    Returns
    -------
    least
        Shape (targets, nodes).
    """
    least = least_to(streets, weight, targets)
    for stage in reversed(range(len(targets) - 1)):  # those after it are summed up already
        least[stage] += float(least[stage + 1, targets[stage]])
    return least
