"""One question put to the roads: from where to where, by what, with which roads shut."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.stretches import deviates_for
from haulplan.errors import InputError, NoPlanError, Problem
from haulplan.roads.bans import Ban, Needs, fact_bans, grade_bans, needs_of
from haulplan.roads.choosable import check_choosable
from haulplan.roads.drive import Driven, Post, drive
from haulplan.roads.heights import Grid, read_grids
from haulplan.roads.network import Network, Profile, cut_links, ground_profile
from haulplan.roads.pins import Foot, Pin, feet_of, pin_down, places_of, position_of, too_far
from haulplan.roads.read import read_roads
from haulplan.roads.roadmap import RoadMap, Spring
from haulplan.roads.search import Streets, lay_streets
from haulplan.roads.tables import read_areas
from haulplan.roads.tracks import Track
from haulplan.roads.usage import reckon_usage
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Bridge
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Quest", "explain_barred", "prepare", "turned_back"]


@dataclass(frozen=True, kw_only=True)
class Quest:
    """The roads made ready for one question.

    `targets` are the via points in order and the finish; `supplies` the rows of supply.csv
    by node; `posts` posted weights by link; `springs` mapped places that may have
    water; `left_out` supplies too far from any road in use, with the reason; `bans` every
    edge closed to the engine.
    """

    scenario: Scenario
    network: Network
    profile: Profile
    streets: Streets
    needs: Needs
    bans: tuple[Ban, ...]
    start: int
    targets: tuple[int, ...]
    supplies: Mapping[int, tuple[int, ...]]
    posts: Mapping[int, tuple[Post, ...]]
    springs: tuple[Spring, ...]
    left_out: tuple[str, ...]
    warnings: tuple[str, ...]
    deviates: Mapping[str, float]

    @property
    def lowest(self) -> float:
        """Height of the lowest road above the sea, where lifters draw best [m]."""
        known = self.profile.height[np.isfinite(self.profile.height)]
        return float(known.min()) if known.size else 0.0

    @property
    def offers(self) -> dict[int, tuple[bool, bool]]:
        """Whether water and coal can be had, by node."""
        rows = self.scenario.supplies
        return {
            node: (
                any(rows[row].water_available is not None for row in here),
                any(rows[row].coal_available is not None for row in here),
            )
            for node, here in self.supplies.items()
        }

    def drive(self, edges: Sequence[int]) -> Driven:
        """A way laid out as an ordinary road."""
        return drive(self.scenario, self.network, self.profile, edges, self.supplies, self.posts)


def turned_back(scenario: Scenario) -> Scenario:
    """The scenario of the way back: start and finish change places.

    Parameters
    ----------
    scenario
        Of the way out.

    Returns
    -------
    scenario
        With the same levels, clock and train.
    """
    file = scenario.file
    title = f"{file.title[:180]}, the way back"
    update = {"start": file.finish, "finish": file.start, "title": title}
    return replace(scenario, file=file.model_copy(update=update))


def prepare(
    scenario: Scenario,
    *,
    roads: RoadMap | None = None,
    grids: Sequence[Grid | Track] | None = None,
    via: Sequence[str] = (),
    closed: Sequence[str] = (),
    pessimism: float | None = None,
) -> Quest:
    """Read the roads of a scenario and put its places on them.

    Parameters
    ----------
    scenario
        Whose route.network names the roads.
    roads, grids
        Read already; None reads what the scenario names.
    via
        Names of places to be passed, in order.
    closed
        Names, numbers or ids of roads closed on the day.
    pessimism
        Chance that the truth is no thirstier; the scenario's own where None. [-]

    Returns
    -------
    quest
        Every edge with its use, and whether the engine may drive it.

    Raises
    ------
    InputError
        If the roads cannot be read, heights are missing, or a place is not on them.
    NoPlanError
        If no road in use leads there; says which road is barred, and why.
    """
    check_choosable(scenario, via)
    folder, route = scenario.folder, scenario.file.route
    roads, grids = _sources(scenario, roads, grids)
    areas = () if route.keep_off is None else read_areas(folder / route.keep_off)
    needs = needs_of(scenario)
    network = cut_links(roads)
    barred = fact_bans(network, needs, closed=closed, areas=areas)
    usable = _open_edges(network, barred)
    ends = [scenario.file.start, *via, scenario.file.finish]
    places = places_of(scenario, network)
    reach = max(route.snap, 0.0)
    wheres = ["start", *("--via" for _ in via), "finish"]
    pins = [
        position_of(name, places, "scenario.toml", where, reach)
        for name, where in zip(ends, wheres, strict=True)
    ]
    pins += _supply_pins(scenario)
    feet = feet_of(network, usable, pins)
    off = _off_road(scenario, network, pins, feet, barred)
    lost = [problem for k, problem in off.items() if k < len(ends)]
    if lost:
        raise InputError(lost)
    left_out = [f"left out: {problem.found}" for problem in off.values()]
    near = [k for k in range(len(pins)) if k not in off]
    network, nodes = pin_down(network, [pins[k] for k in near], [feet[k] for k in near])
    profile = ground_profile(network, grids)
    file = scenario.file
    least = file.reserve.water + file.reserve.coal
    usage = reckon_usage(scenario, network, profile)
    bans = fact_bans(network, needs, closed=closed, areas=areas)
    posts = _posts(scenario, network)
    bans += _post_bans(scenario, network, needs, posts)
    bans += grade_bans(network, profile, needs, usage.heaviest, least)
    streets = lay_streets(network, usage, _open_edges(network, bans))
    supplies: dict[int, tuple[int, ...]] = {}
    for k, node in zip(near[len(ends) :], nodes[len(ends) :], strict=True):
        supplies[node] = (*supplies.get(node, ()), k - len(ends))
    quest = Quest(
        scenario=scenario, network=network, profile=profile, streets=streets, needs=needs,
        bans=tuple(bans), start=nodes[0], targets=tuple(nodes[1 : len(ends)]),
        supplies=supplies, posts=posts, springs=tuple(roads.springs), left_out=tuple(left_out),
        warnings=_warnings(scenario, network, profile), deviates={},
    )  # fmt: skip
    _check_ends(quest)
    share = scenario.file.pessimism if pessimism is None else pessimism
    return quest if share is None else _pessimistic(quest, share)


def _sources(
    scenario: Scenario, roads: RoadMap | None, grids: Sequence[Grid | Track] | None
) -> tuple[RoadMap, Sequence[Grid | Track]]:
    """The roads and the grids of the ground, read where they were not given."""
    folder, route = scenario.folder, scenario.file.route
    if roads is None:
        roads = read_roads(folder / str(route.network))
    if grids is None:
        grids = () if route.heights is None else read_grids(folder / route.heights)
    if not roads.measured and not grids:
        raise _refuse(roads.name, "no heights", "name grids of the ground as route.heights")
    return roads, grids


def _refuse(file: str, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=file, where="", found=found, remedy=remedy)])


def _open_edges(network: Network, bans: Sequence[Ban]) -> NDArray[np.bool_]:
    usable = np.ones(network.edges, dtype=bool)
    usable[[ban.edge for ban in bans]] = False
    return usable


def _off_road(
    scenario: Scenario,
    network: Network,
    pins: Sequence[Pin],
    feet: Sequence[Foot],
    barred: Sequence[Ban],
) -> dict[int, Problem]:
    """Pins beyond their reach of any road in use, with what bars the road beside them."""
    far = [k for k, foot in enumerate(feet) if foot.offset > pins[k].reach]
    if not far:
        return {}
    every = np.ones(network.edges, dtype=bool)
    off = {}
    for k, foot in zip(far, feet_of(network, every, [pins[k] for k in far]), strict=True):
        reasons = [ban.reason for ban in barred if ban.edge // 2 == foot.link]
        label = network.links[foot.link].facts.label
        beside = ", ".join(dict.fromkeys(filter(None, [label, *reasons])))
        by = foot.offset <= pins[k].reach and reasons
        off[k] = too_far(pins[k], feet[k], beside if by else "", scenario)
    return off


def _supply_pins(scenario: Scenario) -> list[Pin]:
    return [
        Pin(
            name=supply.name, file="supply.csv", where=f"row {row}",
            latitude=supply.latitude or 0.0, longitude=supply.longitude or 0.0,
            reach=scenario.file.route.snap,
        )
        for row, supply in enumerate(scenario.supplies, start=2)
    ]  # fmt: skip


def _posts(scenario: Scenario, network: Network) -> dict[int, tuple[Post, ...]]:
    """Posted weights by link: from the roads themselves and from bridges.csv."""
    posts: dict[int, list[Post]] = {}
    for number, link in enumerate(network.links):
        if np.isfinite(link.facts.max_mass):
            what = "bridge" if link.facts.bridge else "posted weight"
            label = link.facts.label or link.road
            posts.setdefault(number, []).append(
                Post(
                    link=number, at=link.length / 2,
                    bridge=Bridge.model_construct(
                        name=f"{what}, {label}"[:200], limit=link.facts.max_mass
                    ),
                )
            )  # fmt: skip
    pins = [
        Pin(
            name=bridge.name, file="bridges.csv", where=f"row {row}",
            latitude=bridge.latitude or 0.0, longitude=bridge.longitude or 0.0,
            reach=scenario.file.route.snap,
        )
        for row, bridge in enumerate(scenario.bridges, start=2)
    ]  # fmt: skip
    feet = feet_of(network, np.ones(network.edges, dtype=bool), pins)
    if off := _off_road(scenario, network, pins, feet, ()):
        raise InputError(off.values())
    for bridge, foot in zip(scenario.bridges, feet, strict=True):
        posts.setdefault(foot.link, []).append(Post(link=foot.link, at=foot.at, bridge=bridge))
    return {link: tuple(found) for link, found in posts.items()}


def _post_bans(
    scenario: Scenario, network: Network, needs: Needs, posts: Mapping[int, Sequence[Post]]
) -> list[Ban]:
    """Links whose posted weight, less the owner's margin, is below the least we can be.

    A posted axle, and a bridge crossed uncoupled, are left to the plan.
    """
    margin = 1.0 - scenario.file.bridge_margin
    unit = needs.system.mass
    return [
        Ban(
            edge=2 * link + k,
            reason=f"{bridge.name}: posted {unit.text(bridge.limit)}, ours "
            f"{unit.text(needs.gross)}",
        )
        for link, here in posts.items()
        for bridge in (post.bridge for post in here)
        for k in (0, 1)
        if bridge.kind == "gross"
        and bridge.uncouple is None
        and needs.gross > bridge.limit * margin
        and needs.gross <= network.links[link].facts.max_mass
    ]


def _warnings(scenario: Scenario, network: Network, profile: Profile) -> tuple[str, ...]:
    system = UNIT_SYSTEMS[scenario.file.units]
    warnings = list(network.warnings)
    assumed = sum(link.length for link in network.links if not link.facts.surface_known)
    if assumed > 0:
        share = 100 * assumed / max(float(network.length.sum()), 1.0)
        warnings.append(
            f"{network.name}: no surface mapped on {share:.0f} % of the roads; taken as usual "
            "for their kind"
        )
    if profile.void > 0:
        warnings.append(
            f"heights missing under {system.distance.text(profile.void)} of road, taken as an "
            "even grade there"
        )
    if not network.measured:
        warnings.append(
            "heights come from a grid of the ground: in gorges, on banks and in cuttings the "
            "road is not the ground; look at the steep places before trusting them"
        )
    return tuple(warnings)


def _check_ends(quest: Quest) -> None:
    """Raise if no road in use leads from end to end."""
    ends = [quest.start, *quest.targets]
    if len(ends) == 2 and ends[0] == ends[1]:
        raise _refuse(
            "scenario.toml", "start and finish are one place", "name a --via place between them"
        )
    for begin, end in pairwise(ends):
        if begin != end and not _leads(quest.streets, begin, end):
            raise NoPlanError(explain_barred(quest, begin, end))


def _leads(streets: Streets, begin: int, end: int) -> bool:
    seen, stack = {begin}, [begin]
    while stack:
        for edge in streets.out[stack.pop()]:
            head = streets.head[edge]
            if head == end:
                return True
            if head not in seen:
                seen.add(head)
                stack.append(head)
    return False


def explain_barred(quest: Quest, begin: int, end: int) -> str:
    """Why no road in use leads from one node to another.

    Parameters
    ----------
    quest
        The question.
    begin, end
        Nodes.

    Returns
    -------
    text
        The shortest road if nothing were barred, and what bars it.
    """
    import networkx as nx  # noqa: PLC0415  slow to load

    network = quest.network
    graph = network.graph(np.ones(network.edges, dtype=bool))
    names = [network.places[node] or network.node_names[node] for node in (begin, end)]
    head = f"no road in use leads from {names[0].lstrip('@')} to {names[1].lstrip('@')}"
    try:
        nodes: list[int] = nx.shortest_path(graph, begin, end, weight="length")
    except nx.NetworkXNoPath:
        return f"{head}: the roads do not join; look for a gap in the network between them"
    reasons: dict[int, list[str]] = {}
    for ban in quest.bans:
        reasons.setdefault(ban.edge, []).append(ban.reason)
    said: list[str] = []
    for a, b in pairwise(nodes):
        between: Any = graph[a][b]  # edges by number, which the stubs call text
        edge = min(between, key=lambda e: (e in reasons, between[e]["length"]))
        label = network.links[edge // 2].facts.label or f"road {network.links[edge // 2].road}"
        said += [f"{label}: {reason}" for reason in reasons.get(edge, ())]
    return f"{head}. On the shortest road: " + "; ".join(dict.fromkeys(said))


def _pessimistic(quest: Quest, share: float) -> Quest:
    """The question with every default moved towards thirst as on the quickest way."""
    from haulplan.roads.ways import quickest  # noqa: PLC0415  ways are reckoned from a quest

    driven = quest.drive(quickest(quest))
    deviates = deviates_for(driven.scenario, driven.route, share)
    usage = reckon_usage(quest.scenario, quest.network, quest.profile, deviates)
    streets = replace(quest.streets, usage=usage)
    return replace(quest, streets=streets, deviates=deviates)
