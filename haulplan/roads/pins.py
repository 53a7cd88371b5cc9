"""Put places on the roads: the nearest point of a road that may be used, a node of its own."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.roads.network import Link, Network
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Foot", "Pin", "feet_of", "pin_down", "places_of", "position_of", "too_far"]

Array = NDArray[np.float64]

_RADIUS: Final = 6371008.8
#: A place so near a node stands on it. [m]
_SAME: Final = 3.0


@dataclass(frozen=True, kw_only=True)
class Pin:
    """A place to be put on the roads; `reach` is how far off it may lie [m]."""

    name: str
    file: str
    where: str
    latitude: float
    longitude: float
    reach: float


@dataclass(frozen=True, kw_only=True)
class Foot:
    """The nearest point of a road in use: its link, how far along it and how far off [m]."""

    link: int
    at: float
    offset: float


def places_of(scenario: Scenario, network: Network) -> dict[str, tuple[float, float]]:
    """Positions of everything that has a name: nodes, places and supplies.

    Parameters
    ----------
    scenario
        With places.csv and supply.csv.
    network
        With named nodes.

    Returns
    -------
    positions
        Latitude and longitude by name, lower case. [°]
    """
    found = {
        name.casefold(): (float(network.latitude[node]), float(network.longitude[node]))
        for names in (network.node_names, network.places)
        for node, name in enumerate(names)
        if name
    }
    for row in (*scenario.supplies, *scenario.places):
        if row.latitude is not None and row.longitude is not None:
            found[row.name.casefold()] = (row.latitude, row.longitude)
    return found


def position_of(
    name: str, positions: dict[str, tuple[float, float]], file: str, where: str, reach: float
) -> Pin:
    """The pin of a place by its name.

    Parameters
    ----------
    name
        As the scenario or the crew writes it.
    positions
        From `places_of`.
    file, where
        Where the name was given, for the message.
    reach
        How far off the road it may lie. [m]

    Returns
    -------
    pin
        Not yet put on a road.

    Raises
    ------
    InputError
        If nothing has that name.
    """
    at = positions.get(name.casefold())
    if at is None:
        near = difflib.get_close_matches(name.casefold(), list(positions), n=3)
        hint = f"; nearest: {', '.join(near)}" if near else ""
        raise InputError(
            [
                Problem(
                    file=file,
                    where=where,
                    found=f"nobody knows where '{name}' is",
                    remedy=f"give it a row with latitude and longitude in places.csv{hint}",
                )
            ]
        )
    return Pin(name=name, file=file, where=where, latitude=at[0], longitude=at[1], reach=reach)


def pin_down(
    network: Network, pins: Sequence[Pin], feet: Sequence[Foot]
) -> tuple[Network, tuple[int, ...]]:
    """Put pins on the roads, cutting them there.

    Parameters
    ----------
    network
        The roads.
    pins
        The places.
    feet
        Of each pin, from `feet_of`.

    Returns
    -------
    network
        With a node at each pin; links keep their order, pieces in place of those cut.
    nodes
        Of each pin.
    """
    return _cut(network, pins, feet)


def too_far(pin: Pin, foot: Foot, beside: str, scenario: Scenario) -> Problem:
    """The problem of a place that lies too far from every road in use.

    Parameters
    ----------
    pin, foot
        The place and its nearest road in use.
    beside
        What bars the road it does lie by, "" where it lies by none.
    scenario
        For its units.

    Returns
    -------
    problem
        To be raised, or told of a supply that is left out.
    """
    unit = UNIT_SYSTEMS[scenario.file.units].height
    found = f"no road in use for '{pin.name}'"
    if np.isfinite(foot.offset):
        found = f"'{pin.name}' is {unit.text(foot.offset)} from the nearest road in use"
    return Problem(
        file=pin.file,
        where=pin.where,
        found=f"{found}, and the road beside it is barred: {beside}" if beside else found,
        remedy=f"mend the position, or raise route.snap (now {unit.text(pin.reach)})",
    )


def feet_of(network: Network, usable: NDArray[np.bool_], pins: Sequence[Pin]) -> list[Foot]:
    """The nearest point of a road in use to each pin.

    Parameters
    ----------
    network
        The roads.
    usable
        Edges in use, shape (edges,).
    pins
        The places.

    Returns
    -------
    feet
        Infinitely far off where no road is in use.
    """
    driven = usable.reshape(-1, 2).any(axis=1)
    links = [i for i in np.flatnonzero(driven).tolist() if network.links[i].distance.size > 1]
    if not links:
        return [Foot(link=0, at=0.0, offset=np.inf)] * len(pins)
    chosen = [network.links[i] for i in links]
    owner = np.repeat(links, [link.distance.size - 1 for link in chosen])

    def ends(side: str) -> tuple[Array, Array]:
        return (
            np.concatenate([getattr(link, side)[:-1] for link in chosen]),
            np.concatenate([getattr(link, side)[1:] for link in chosen]),
        )

    (lat0, lat1), (lon0, lon1), (d0, d1) = (
        ends(side) for side in ("latitude", "longitude", "distance")
    )
    feet = []
    for pin in pins:
        shrink = _RADIUS * np.cos(np.radians(pin.latitude))
        y0, y1 = (np.radians(side - pin.latitude) * _RADIUS for side in (lat0, lat1))
        x0, x1 = (
            np.radians((side - pin.longitude + 180.0) % 360.0 - 180.0) * shrink
            for side in (lon0, lon1)
        )
        dx, dy = x1 - x0, y1 - y0
        square = np.maximum(dx * dx + dy * dy, 1e-12)
        share = np.clip(-(x0 * dx + y0 * dy) / square, 0.0, 1.0)
        offset = np.hypot(x0 + share * dx, y0 + share * dy)
        k = int(np.argmin(offset))
        feet.append(
            Foot(
                link=int(owner[k]),
                at=float(d0[k] + share[k] * (d1[k] - d0[k])),
                offset=float(offset[k]),
            )
        )
    return feet


def _cut(
    network: Network, pins: Sequence[Pin], feet: Sequence[Foot]
) -> tuple[Network, tuple[int, ...]]:
    """The network with a node at every foot that is not at a node already."""
    nodes: list[int] = []
    fresh: list[tuple[str, float, float]] = []
    cuts: dict[int, list[tuple[float, int]]] = {}
    for pin, foot in zip(pins, feet, strict=True):
        number, at = foot.link, foot.at
        link = network.links[number]
        near = [(d, n) for d, n in cuts.get(number, []) if abs(d - at) <= _SAME]
        if at <= _SAME or at >= link.length - _SAME:
            nodes.append(link.begin if at <= link.length / 2 else link.end)
        elif near:
            nodes.append(near[0][1])
        else:
            node = len(network.node_names) + len(fresh)
            latitude, longitude = (
                float(np.interp(at, link.distance, side))
                for side in (link.latitude, link.longitude)
            )
            fresh.append((f"@{pin.name}", latitude, longitude))
            cuts.setdefault(number, []).append((at, node))
            nodes.append(node)
    links: list[Link] = []
    for number, link in enumerate(network.links):
        links += link.cut(sorted(cuts[number])) if number in cuts else [link]

    def longer(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.concatenate([flags, np.zeros(len(fresh), dtype=bool)])

    return replace(
        network,
        node_names=(*network.node_names, *(name for name, _, _ in fresh)),
        places=(*network.places, *("" for _ in fresh)),
        latitude=np.concatenate([network.latitude, [at for _, at, _ in fresh]]),
        longitude=np.concatenate([network.longitude, [at for _, _, at in fresh]]),
        turning=longer(network.turning),
        blocked=longer(network.blocked),
        crossing=longer(network.crossing),
        gate=longer(network.gate),
        links=tuple(links),
    ), tuple(nodes)
