"""The turn list for the steersman: where to turn, into what road, by what landmark."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.roads.network import Link, Network
from haulplan.roads.quest import Quest
from haulplan.roads.ways import Way

__all__ = ["Turn", "turns_of"]

Array = NDArray[np.float64]

#: Turns by how far the road bends, to either side. [°]
_BENDS: Final = ((20.0, "straight on"), (50.0, "bear"), (120.0, "turn"), (165.0, "turn sharp"))
#: The direction of a road is taken over so much of it. [m]
_REACH: Final = 30.0
#: Landmarks so near a turn are named. [m]
_NEAR: Final = 80.0


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One line of the steersman's list; `distance` from the start, `onward` to the next [m]."""

    distance: float
    onward: float
    what: str
    road: str
    landmark: str
    latitude: float
    longitude: float


def turns_of(quest: Quest, way: Way) -> tuple[Turn, ...]:
    """The turns of a way in driving order.

    Parameters
    ----------
    quest
        The question.
    way
        With its plan.

    Returns
    -------
    turns
        The start, every junction where the road bends, forks or changes its name, each
        stop, and the finish.
    """
    network, route = quest.network, way.driven.route
    raw: list[tuple[float, str, str, str]] = []
    label = _label(network.links[way.edges[0] // 2])
    raw.append((0.0, f"set out {_compass(network, way.edges[0])}", label, ""))
    starts = way.driven.starts.tolist()
    for before, after, at in zip(way.edges[:-1], way.edges[1:], starts[1:], strict=True):
        what = _turn_at(quest, before, after)
        if what is not None:
            node = int(network.tail[after])
            raw.append((at, what, _label(network.links[after // 2]), _mark_at(quest, node)))
    for stop in way.plan.stops[1:-1]:
        raw.append((stop.distance, "stop", stop.name, ""))
    raw.append((route.length, "arrive", way.plan.stops[-1].name, ""))
    raw.sort(key=lambda item: item[0])
    ends = [item[0] for item in raw[1:]] + [route.length]
    assert route.line is not None
    turns = []
    for (at, what, road, landmark), end in zip(raw, ends, strict=True):
        latitude, longitude = route.line.position(at)
        turns.append(
            Turn(
                distance=at, onward=end - at, what=what, road=road,
                landmark=(landmark if landmark != road else "")
                or _place_near(quest, latitude, longitude, road),
                latitude=latitude, longitude=longitude,
            )
        )  # fmt: skip
    return tuple(turns)


def _label(link: Link) -> str:
    return link.facts.label or f"{link.facts.kind.replace('_', ' ')} without a name"


def _turn_at(quest: Quest, before: int, after: int) -> str | None:
    """What to do between two edges, None where nothing is to be decided."""
    network = quest.network
    if after == before ^ 1:
        return "turn the train"
    bend = (_bearing(network, after, start=True) - _bearing(network, before, start=False)) % 360
    bend = bend - 360 if bend > 180 else bend
    others = [
        e for e in quest.streets.out[int(network.tail[after])] if e not in {after, before ^ 1}
    ]
    renamed = _label(network.links[before // 2]) != _label(network.links[after // 2])
    word = next((name for limit, name in _BENDS if abs(bend) <= limit), "turn back")
    if word == "straight on":
        return word if renamed else None
    if not others and not renamed:
        return None
    if word == "bear" and not renamed and all(_sharper(network, before, e, bend) for e in others):
        return None
    side = "right" if bend > 0 else "left"
    return f"{word} {side}" if word != "turn back" else f"turn back to the {side}"


def _sharper(network: Network, before: int, other: int, bend: float) -> bool:
    """Whether another road leaves the junction at a sharper bend than ours."""
    theirs = _bearing(network, other, start=True) - _bearing(network, before, start=False)
    return abs((theirs + 180) % 360 - 180) > abs(bend) + 40


def _bearing(network: Network, edge: int, *, start: bool) -> float:
    """Direction of an edge as driven, at its start or its end, clockwise from north [°]."""
    link = network.links[edge // 2]
    against = edge % 2 == 1
    length = link.length
    near = 0.0 if start != against else length
    far = min(_REACH, length) if near == 0.0 else length - min(_REACH, length)
    a, b = (near, far) if start else (far, near)
    lat = np.interp([a, b], link.distance, link.latitude)
    lon = np.interp([a, b], link.distance, link.longitude)
    east = (lon[1] - lon[0]) * math.cos(math.radians(float(lat[0])))
    return math.degrees(math.atan2(east, lat[1] - lat[0]))


def _compass(network: Network, edge: int) -> str:
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west",
             "north-west")  # fmt: skip
    return names[round(_bearing(network, edge, start=True) / 45) % 8]


def _mark_at(quest: Quest, node: int) -> str:
    """What stands at a node itself."""
    network = quest.network
    said = [network.places[node]] if network.places[node] else []
    if network.crossing[node]:
        said.append("level crossing")
    if network.gate[node]:
        said.append("gate")
    return ", ".join(said)


def _place_near(quest: Quest, latitude: float, longitude: float, said: str) -> str:
    """The nearest landmark or supply of the scenario, if it is near enough to be seen."""
    rows: Sequence[tuple[str, float | None, float | None]] = [
        (row.name, row.latitude, row.longitude)
        for row in (*quest.scenario.places, *quest.scenario.supplies)
    ]
    best, name = _NEAR, ""
    for called, lat, lon in rows:
        if lat is None or lon is None or called == said:
            continue
        north = (lat - latitude) * 111_195.0
        east = (lon - longitude) * 111_195.0 * math.cos(math.radians(latitude))
        if (off := math.hypot(north, east)) <= best:
            best, name = off, called
    return name
