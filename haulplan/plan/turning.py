"""The road with a turn back in it: on to a turning place, back to another, and on again.

The way back is one more stretch of road, driven once, so that programme, timetable and
replay see an ordinary road; the two turns are calls of as long as it takes to turn round.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from haulplan.demand import Demand
from haulplan.demand.defaults import STOPS
from haulplan.demand.parts import cut, joined_demand
from haulplan.route import Passing, Route
from haulplan.route.turned import joined, reverse, stretch
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Place

__all__ = ["Turn", "Turned", "Turning", "turn_back", "turnings", "turns_for"]

#: A passing so close by is at the turning place. [m]
_HERE: Final = 0.5
#: So many turning places behind are looked at, the nearest first.
_MOST: Final = 4


@dataclass(frozen=True, kw_only=True)
class Turning:
    """A place where engine and train may be turned: where, and how long it takes [m], [min]."""

    name: str
    distance: float
    minutes: float


@dataclass(frozen=True, kw_only=True)
class Turn:
    """Turned round at `there`, back, and turned again at `again`, which lies before it."""

    there: Turning
    again: Turning

    @property
    def length(self) -> float:
        """Of the way back [m]."""
        return self.there.distance - self.again.distance


@dataclass(frozen=True, kw_only=True)
class Turned:
    """A problem whose road holds a turn back."""

    turn: Turn
    scenario: Scenario
    route: Route
    demand: Demand

    def place(self, distance: float) -> float:
        """Where on the plan's own road a distance driven lies [m]."""
        there, again = self.turn.there.distance, self.turn.again.distance
        if distance <= there:
            return distance
        gone = distance - there
        return there - gone if gone <= self.turn.length else again + gone - self.turn.length


def turnings(scenario: Scenario, route: Route) -> tuple[Turning, ...]:
    """Where the train may be turned on its road.

    Parameters
    ----------
    scenario, route
        The problem.

    Returns
    -------
    turnings
        Supplies and places with `turning`, in driving order.
    """
    usual = STOPS["turn_round"].value
    found: dict[float, Turning] = {}
    for passing in route.passings:
        if passing.kind == "supply":
            supply = scenario.supplies[passing.row]
            may, takes = supply.turning == "yes", supply.turning_time or usual
        elif passing.kind == "place":
            place = scenario.places[passing.row]
            may, takes = place.turning == "yes", place.turning_time or usual
        else:
            continue
        if may and 0.0 < passing.distance < route.length:
            turning = Turning(name=passing.label, distance=passing.distance, minutes=takes / 60)
            found.setdefault(passing.distance, turning)
    return tuple(sorted(found.values(), key=lambda turning: turning.distance))


def turns_for(
    scenario: Scenario,
    route: Route,
    kind: Literal["water", "coal"],
    shut: Passing,
    after: float,
) -> tuple[Turn, ...]:
    """The turns back worth trying where nothing is to be had at a stop.

    Parameters
    ----------
    scenario, route
        The problem.
    kind
        What is not to be had.
    shut
        The stop.
    after
        Where it becomes known: nobody turns before. [m]

    Returns
    -------
    turns
        From the first turning place at or beyond the stop, or the last before it where it
        is known sooner, to those behind that bring a supply of the kind, the nearest first.
    """
    places = turnings(scenario, route)
    beyond = [p for p in places if p.distance >= shut.distance - _HERE]
    before = [p for p in places if after - _HERE <= p.distance < shut.distance - _HERE]
    if after < shut.distance - _HERE:  # known before the stop: beyond it was tried there
        beyond = before[-1:]
    if not beyond:
        return ()
    there = beyond[0]
    with_it = [
        p.distance
        for p in route.passings
        if p.kind == "supply"
        and p.row != shut.row
        and getattr(scenario.supplies[p.row], f"{kind}_available")
        and p.distance <= there.distance + _HERE
    ]
    if not with_it:
        return ()
    behind = [p for p in places if p.distance < there.distance - _HERE]
    brings = [p for p in behind if p.distance <= max(with_it) + _HERE]
    return tuple(Turn(there=there, again=p) for p in brings[::-1][:_MOST])


def turn_back(scenario: Scenario, route: Route, demand: Demand, turn: Turn) -> Turned | None:
    """The problem with a turn back in its road.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    turn
        Where the train is turned, and turned again.

    Returns
    -------
    turned
        None where the way back is not known, or no gear holds the train on it.
    """
    there, again = turn.there.distance, turn.again.distance
    first, last = demand.index(again), demand.index(there)
    back = demand.back(first, last)
    if back is None:
        return None
    places = [
        Place.model_construct(name=f"turn round at {at.name}", stay=60 * at.minutes)
        for at in (turn.there, turn.again)
    ]
    samples = route.index(again), route.index(there)
    whole = joined(
        (
            stretch(route, 0, samples[1]),
            reverse(stretch(route, *samples)),
            stretch(route, samples[0], route.distance.size - 1),
        ),
        _passings(scenario, route, turn),
    )
    return Turned(
        turn=turn,
        scenario=replace(scenario, places=(*scenario.places, *places)),
        route=whole,
        demand=joined_demand(
            (cut(demand, 0, last), back, cut(demand, first, demand.segments)),
        ),
    )


def _passings(scenario: Scenario, route: Route, turn: Turn) -> list[Passing]:
    """What is met: once on the way there, once on the way back, and on again."""
    there, again, length = turn.there.distance, turn.again.distance, turn.length

    def turned(number: int, name: str, at: float) -> Passing:
        row = len(scenario.places) + number
        return Passing(
            kind="place", name=name, row=row, distance=at, offset=0.0, number=1, of=1
        )  # fmt: skip

    ahead = [p for p in route.passings if p.distance <= there + _HERE]
    back = [
        replace(p, distance=there + max(there - p.distance, 0.0))
        for p in _met_again(scenario, route.passings[::-1])
        if again - _HERE <= p.distance <= there + _HERE
        and (p.kind == "bridge" or p.distance < there - _HERE)
    ]
    onward = [
        replace(p, distance=there + length + max(p.distance - again, 0.0))
        for p in route.passings
        if p.distance >= again - _HERE
        and (p.kind == "bridge" or p.distance > again + _HERE)
        and (p.distance > there + _HERE or _met_again(scenario, (p,)))
    ]
    return [
        *ahead,
        turned(0, f"turn round at {turn.there.name}", there),
        *back,
        turned(1, f"turn round at {turn.again.name}", there + length),
        *onward,
    ]


def _met_again(scenario: Scenario, passings: Sequence[Passing]) -> list[Passing]:
    """Those that mean something a second time: a call is kept once."""
    return [
        p for p in passings if p.kind != "place" or scenario.places[p.row].stay is None
    ]  # fmt: skip
