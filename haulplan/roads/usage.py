"""What every edge takes, from the steam model: bounds that hold at any load, and the usual.

The use of a segment rises or falls with the mass aboard and does not turn: the force is
straight in the mass, and steam and time never fall with the force. So the least over all
loads stands at the lightest or the heaviest, and the least over all gears that may be
chosen bounds whatever gears a way is driven in. Changes of gear take time that hills make
long, so times are kept by the gear an edge is entered and left in.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.glass import boiler_room
from haulplan.demand.haul import Haul, Road, assemble
from haulplan.demand.segment import paces_of
from haulplan.roads.network import Network, Profile
from haulplan.scenario import Scenario

__all__ = ["Usage", "heaviest_passing", "reckon_usage", "water_room"]

Array = NDArray[np.float64]

#: Segments reckoned at once; more would only take memory.
_BATCH = 400_000
#: A corner, as the steam model has it: so much turn [rad] within so far [m].
_TURN, _WITHIN = 1.0, 25.0


@dataclass(frozen=True, kw_only=True)
class Usage:
    """Use of each edge: [s], [kg], [kg].

    Times have shape (edges, gears, gears): entered in one gear and left in another, every
    change between paid for. `least_` holds at any load; the others are with stores half
    full. Amounts have shape (edges,) and are in the fastest gear that holds. `heaviest` is
    the most water and coal aboard with which the lowest gear holds the edge throughout
    [kg], infinite where more than all passes.
    """

    least_time: Array
    least_water: Array
    least_coal: Array
    time: Array
    water: Array
    coal: Array
    heaviest: Array

    @property
    def gears(self) -> int:
        """Number of gears."""
        return int(self.time.shape[1])


def reckon_usage(
    scenario: Scenario,
    network: Network,
    profile: Profile,
    deviates: Mapping[str, float] | None = None,
) -> Usage:
    """Use of every edge by the steam model.

    Parameters
    ----------
    scenario
        With engine and fuel.
    network, profile
        The roads; edges without heights take what level road would.
    deviates
        Standard deviations by which defaults are moved towards thirst, by name.

    Returns
    -------
    usage
        Corners count in the usual figures only, so that the least stays the least.
    """
    counts = np.diff(profile.first) - 1
    inner = np.ones(profile.distance.size - 1, dtype=bool)
    inner[profile.first[1:-1] - 1] = False
    length = np.diff(profile.distance)[inner]
    rise = np.diff(profile.height)[inner]
    with np.errstate(divide="ignore", invalid="ignore"):
        grade = np.where((length > 0) & np.isfinite(rise), rise / length, 0.0)
    owner = np.repeat(np.arange(counts.size), counts)
    heading = np.arctan2(
        np.diff(profile.longitude)[inner] * np.cos(np.radians(profile.latitude[:-1][inner])),
        np.diff(profile.latitude)[inner],
    )
    heights = profile.height[np.isfinite(profile.height)]
    span = (float(heights.min()), float(heights.max())) if heights.size else (0.0, 0.0)
    links = len(network.links)
    amounts = np.zeros((links, 2, 4))
    heaviest = np.full((links, 2), np.inf)
    fastest: list[list[tuple[Array, Array]]] = [[], []]
    change = 0.0
    for begin in range(0, owner.size, _BATCH):
        own = slice(begin, begin + _BATCH)
        sharp = _corners(heading[own], length[own], owner[own])
        for way, sign in ((0, 1.0), (1, -1.0)):
            course = heading[own] + (0.0 if way == 0 else np.pi)
            road = _road(
                scenario, network, owner[own], length[own], sign * grade[own], course, sharp,
                sum(span) / 2,
            )  # fmt: skip
            found = _reckon(scenario, road, span, deviates)
            for column, figure in enumerate(found.amounts):
                np.add.at(amounts[:, way, column], owner[own], figure)
            np.minimum.at(heaviest[:, way], owner[own], found.most)
            fastest[way].append((found.least_time, found.time))
            change = found.change
    flat = amounts.reshape(-1, 4)
    least, usual = (
        np.stack(
            [_geared(np.concatenate([part[kind] for part in fastest[way]], axis=1), counts,
                     change, against=way == 1) for way in (0, 1)], axis=1,
        ).reshape(2 * links, *2 * [fastest[0][0][0].shape[0]])
        for kind in (0, 1)
    )  # fmt: skip
    return Usage(
        least_time=least, least_water=flat[:, 0], least_coal=flat[:, 1], time=usual,
        water=flat[:, 2], coal=flat[:, 3], heaviest=heaviest.reshape(-1),
    )  # fmt: skip


def _geared(time: Array, counts: NDArray[np.int64], change: float, *, against: bool) -> Array:
    """Least time of each link by the gear it is entered and left in, changes paid for.

    `time` has shape (gears, segments); the links' segments lie one after another.
    """
    gears, links = time.shape[0], counts.size
    changing = change * (1.0 - np.eye(gears))
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    order = np.argsort(-counts, kind="stable")
    total = np.where(np.eye(gears, dtype=bool), 0.0, np.inf) * np.ones((links, 1, 1))
    sizes = counts[order]
    for k in range(int(sizes[0]) if links else 0):
        now = order[: int(np.searchsorted(-sizes, -k, side="left"))]
        segment = first[now] + (counts[now] - 1 - k if against else k)
        before = (total[now][:, :, :, None] + changing[None, None]).min(axis=2)
        total[now] = before + time[:, segment].T[:, None, :]
    return total


def _road(
    scenario: Scenario,
    network: Network,
    owner: NDArray[np.int64],
    length: Array,
    grade: Array,
    heading: Array,
    sharp: NDArray[np.bool_],
    altitude: float,
) -> Road:
    conditions = scenario.file.conditions
    wind = np.full(length.size, conditions.wind_speed)
    if conditions.wind_from is not None:
        wind = conditions.wind_speed * np.cos(heading - np.radians(conditions.wind_from))
    surfaces = [link.facts.surface for link in network.links]
    limits = np.array([link.facts.speed_limit for link in network.links])
    return Road(
        length=length,
        grade=grade,
        surface=tuple(surfaces[k] for k in owner.tolist()),
        speed_limit=limits[owner],
        sharp=sharp,
        headwind=wind,
        altitude=altitude,
    )


def _corners(heading: Array, length: Array, owner: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Segments at which a link itself turns a corner; turns at its ends are not its own."""
    turn = np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    apart = (length[1:] + length[:-1]) / 2
    corner = (turn * np.minimum(_WITHIN / np.maximum(apart, 1e-6), 1.0) > _TURN) & (
        np.diff(owner) == 0
    )
    sharp = np.zeros(heading.size, dtype=bool)
    sharp[1:] |= corner
    sharp[:-1] |= corner
    return sharp


@dataclass(frozen=True, kw_only=True)
class _Segments:
    """Segments: times by gear (gears, segments), least and usual water and coal, most aboard."""

    least_time: Array
    time: Array
    amounts: tuple[Array, Array, Array, Array]
    most: Array
    change: float


def _reckon(
    scenario: Scenario, road: Road, span: tuple[float, float], deviates: Mapping[str, float] | None
) -> _Segments:
    """Use of segments in every gear that may be chosen."""
    stores, reserve = scenario.file.stores, scenario.file.reserve
    full, lightest = stores.tank + stores.bunker, reserve.water + reserve.coal
    straight = replace(road, sharp=np.zeros(road.length.size, dtype=bool))
    paces = paces_of(scenario)
    hauls = [
        _haul(scenario, straight, altitude, deviates, pace)
        for altitude in sorted({*span}) for pace in paces
    ]  # fmt: skip
    heaviest = water_room(scenario) + stores.bunker
    usual = _haul(scenario, road, road.altitude, deviates, paces[0])
    shape = (len(usual.gears), road.length.size)
    least = np.full((3, *shape), np.inf)
    mean = np.full((3, *shape), np.inf)
    for gear in range(shape[0]):
        may = np.any([_holds(haul, gear, full, lightest) for haul in hauls], axis=0)
        for haul in hauls:
            for load in (lightest, heaviest):
                use = np.where(may, _use(haul, load, gear), np.inf)
                least[:, gear] = np.minimum(least[:, gear], use)
        holds = _holds(usual, gear, full, lightest)
        mean[:, gear] = np.where(holds, _use(usual, 0.5 * (lightest + full), gear), np.inf)
    most = heaviest_passing(usual, lightest)
    fastest, own = np.argmin(mean[0], axis=0), np.arange(shape[1])
    return _Segments(
        least_time=least[0],
        time=mean[0],
        amounts=(
            least[1].min(axis=0), least[2].min(axis=0), mean[1][fastest, own],
            mean[2][fastest, own],
        ),
        most=np.where(most >= full, np.inf, most),
        change=usual.change,
    )  # fmt: skip


def _holds(haul: Haul, gear: int, full: float, lightest: float) -> NDArray[np.bool_]:
    """Segments that may be driven in a gear: it holds the fullest that passes there."""
    if gear == len(haul.gears) - 1:
        return np.ones(haul.length.size, dtype=bool)
    fullest = np.minimum(full, heaviest_passing(haul, lightest))
    holds: NDArray[np.bool_] = haul.force(fullest, gear) <= haul.steam_pull(gear)
    return holds & (haul.grade >= -haul.low_descent)


def _haul(
    scenario: Scenario,
    road: Road,
    altitude: float,
    deviates: Mapping[str, float] | None,
    pace: float,
) -> Haul:
    file = scenario.file
    assert file.engine is not None
    assert file.fuel is not None
    gears = tuple(g.model_copy(update={"speed": g.speed * pace}) for g in file.engine.gears)
    haul, _ = assemble(
        file.engine.model_copy(update={"gears": gears}), file.fuel.heating_value,
        file.train.wagons, file.conditions,
        replace(road, altitude=altitude), deviates=deviates,
        standing_water=file.standing_water, standing_coal=file.standing_coal,
    )  # fmt: skip
    return haul


def _use(haul: Haul, load: float, gear: int) -> Array:
    """Time, water and coal of each segment, shape (3, segments)."""
    use = haul.evaluate(np.full(haul.length.size, load), np.full(haul.length.size, gear))
    return np.stack([use.duration, use.water, use.coal])


def heaviest_passing(haul: Haul, least: float) -> Array:
    """Most water and coal aboard with which the lowest gear holds each segment.

    Parameters
    ----------
    haul
        Engine and train on the road.
    least
        Least that is aboard, the reserves: the wheels grip worst with it. [kg]

    Returns
    -------
    mass
        Below every load where the wheels slip, shape (segments,). [kg]
    """
    lowest = len(haul.gears) - 1
    empty = haul.force(0.0, lowest)
    per_mass = (haul.force(1000.0, lowest) - empty) / 1000.0
    limit = float(haul.most_pull(lowest))
    with np.errstate(divide="ignore", invalid="ignore"):
        most = np.where(per_mass > 0, (limit - empty) / per_mass, np.inf)
    slips = haul.force(least, lowest) > haul.grip_pull(least)
    return np.where(slips, -np.inf, most)


def water_room(scenario: Scenario) -> float:
    """Most water that can be aboard above the boiler's working level.

    Parameters
    ----------
    scenario
        The problem.

    Returns
    -------
    room
        In the tank, the carts, and the boiler where its shape is known. [kg]
    """
    engine = scenario.file.engine
    carts = sum(store.water for store in scenario.stores if store.kind == "cart")
    above = boiler_room(None if engine is None else engine.glass)
    return scenario.file.stores.tank + carts + above
