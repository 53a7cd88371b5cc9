"""The way of the procession: the road lap by lap, and the sites and bridges met on it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from haulplan.errors import InputError, Problem
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario
from haulplan.scenario import schema as road
from haulplan.stations.read import Event
from haulplan.stations.schema import SiteRow, SpanRow
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Course", "Crossing", "Site", "Visit", "build_course"]


@dataclass(frozen=True, kw_only=True)
class Site:
    """A place where a station may stand; `rate` is what each of its hoses gives [kg s⁻¹].

    `water` is all that can be had there in the day [kg], `places` how many engines find
    hard standing at once; `distance` is where it is first met [m].
    """

    name: str
    distance: float
    hoses: int
    places: int
    row: SiteRow

    @property
    def rate(self) -> float:
        """Flow of each hose with all of them running [kg s⁻¹]."""
        flow = math.inf if self.row.flow is None else self.row.flow
        return min(self.row.rate, flow / self.hoses)

    @property
    def is_station(self) -> bool:
        """Whether it counts as a station; a rendezvous at a lay-by does not."""
        return self.row.kind != "lay-by"

    @property
    def by_truck(self) -> bool:
        """Whether its water comes by truck."""
        return self.row.kind in {"truck", "lay-by"}


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One passing of a site, in driving order over all laps [m]."""

    site: int
    distance: float


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """A posted bridge, and where on one lap it is met [m]."""

    row: SpanRow
    distances: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Course:
    """The whole way: `route` is one lap, driven `laps` times; `length` is of all [m]."""

    scenario: Scenario
    route: Route
    laps: int
    sites: tuple[Site, ...]
    visits: tuple[Visit, ...]
    crossings: tuple[Crossing, ...]

    @property
    def length(self) -> float:
        """Length of all laps [m]."""
        return self.route.length * self.laps


def build_course(event: Event) -> Course:
    """Put sites and bridges on the road, lap by lap.

    Parameters
    ----------
    event
        A checked event.

    Returns
    -------
    course
        Sites in order of their first passing, every passing of each, bridges.

    Raises
    ------
    InputError
        If the road is wrong or a place is not on it.
    """
    scenario = _as_scenario(event)
    try:
        route = build_route(scenario)
    except InputError as error:
        files = {"supply.csv": "sites.csv", "scenario.toml": "event.toml"}
        raise InputError(
            replace(p, file=files.get(p.file, p.file)) for p in error.problems
        ) from None
    laps = event.file.procession.laps
    passed: dict[int, list[float]] = {}
    for passing in route.passings:
        if passing.kind == "supply":
            passed.setdefault(passing.row, []).append(passing.distance)
    found = [(passed[row], site) for row, site in enumerate(event.sites)]
    found += _anywhere(event, route)
    found.sort(key=lambda item: item[0][0])
    sites = tuple(_site(event, row, at[0]) for at, row in found)
    if not sites:
        raise InputError(
            [
                Problem(
                    file="sites.csv", where="", found="no site on the road",
                    remedy="list sites, or longer stretches of hard standing",
                )
            ]
        )  # fmt: skip
    visits = [
        Visit(site=number, distance=lap * route.length + distance)
        for lap in range(laps)
        for number, (at, _) in enumerate(found)
        for distance in at
    ]
    met: dict[int, list[float]] = {}
    for passing in route.passings:
        if passing.kind == "bridge":
            met.setdefault(passing.row, []).append(passing.distance)
    return Course(
        scenario=scenario,
        route=route,
        laps=laps,
        sites=sites,
        visits=tuple(sorted(visits, key=lambda v: (v.distance, v.site))),
        crossings=tuple(
            Crossing(row=event.bridges[row], distances=tuple(at)) for row, at in met.items()
        ),
    )


def _site(event: Event, row: SiteRow, distance: float) -> Site:
    """A site with what its standing and the trucks allow."""
    places = 10_000
    if row.hard_standing is not None:
        places = int(row.hard_standing / event.file.service.standing_length + 1e-9)
    if row.kind in {"truck", "lay-by"} and row.flow is None and event.trucks:
        pumps = [truck.pump for truck in event.trucks if truck.role == "station"]
        row = row.model_copy(update={"flow": min(pumps, default=row.rate)})
    return Site(
        name=row.name,
        distance=distance,
        hoses=max(min(row.hoses, places), 1),
        places=places,
        row=row,
    )


def _anywhere(event: Event, route: Route) -> list[tuple[list[float], SiteRow]]:
    """Sites at even spacing wherever hard standing allows."""
    rule = event.file.anywhere
    if rule is None:
        return []
    unit = UNIT_SYSTEMS[event.file.units].distance
    sites: dict[float, SiteRow] = {}
    for stretch in event.standing:
        end = min(stretch.end, route.length)
        count = int((end - stretch.begin) / rule.spacing) + 1
        for number in range(count if end >= stretch.begin else 0):
            at = stretch.begin + number * rule.spacing
            sites[at] = SiteRow.model_construct(
                name=f"Hard standing at {unit.value(at):.2f} {unit.label}",
                at=at,
                kind="truck",
                side=stretch.side,
                hoses=rule.hoses,
                rate=rule.rate,
                hard_standing=stretch.depth,
                call_out=rule.call_out,
            )
    return [([at], row) for at, row in sorted(sites.items())]


def _as_scenario(event: Event) -> Scenario:
    """The event's road and places as the route's reader knows them."""
    file = event.file
    keys: Mapping[str, object] = {
        "title": file.title, "start": file.start, "finish": file.finish, "date": file.date,
        "depart": f"{int(file.depart // 3600):02d}:{int(file.depart % 3600 // 60):02d}",
        "units": file.units, "currency": file.currency,
        "stores": {"tank": "1000 L", "bunker": "0 kg"},
        "at_start": {"water": "full"}, "at_finish": {"water": "0 L"}, "reserve": {"water": "0 L"},
    }  # fmt: skip
    parsed = road.ScenarioFile.model_validate(keys).model_copy(
        update={"route": file.route, "conditions": file.conditions}
    )
    given = event.folder / str(file.route.file)
    by_class = bool(event.mix) or any(
        row.thirst_hour is None and row.thirst_mile is None for row in event.fleet
    )
    # Where every engine brings its own thirst, the road needs no heights.
    level = () if by_class else (road.DemandRow.model_construct(begin=0.0, end=1.0),)
    return Scenario(
        folder=event.folder,
        file=parsed,
        supplies=tuple(
            road.Supply.model_construct(
                name=row.name, at=row.at, latitude=row.latitude, longitude=row.longitude,
                kind=row.kind,
            )
            for row in event.sites
        ),
        bridges=tuple(
            road.Bridge.model_construct(
                name=row.name, at=row.at, latitude=row.latitude, longitude=row.longitude,
                limit=row.limit or math.inf,
            )
            for row in event.bridges
        ),
        places=(),
        stores=(),
        surfaces=(),
        demand=level,
        route_file=given,
        filled={},
        grades_file=None if file.route.grades is None else event.folder / file.route.grades,
    )  # fmt: skip
