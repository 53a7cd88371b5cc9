"""How far a tank and a bunker go, and what each default's band is worth on the road.

The reach is what a crew asks first: on a straight road of one grade and surface, in still
air, from full down to the reserve.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.demand import Demand
from haulplan.demand.haul import Haul, Road
from haulplan.demand.hills import heaviest_train
from haulplan.demand.segment import choose_gears, haul_on, haul_over, heaviest_aboard
from haulplan.demand.stretches import learned_from_logs, rests_on
from haulplan.demand.uncertainty import NINETY, Band, band_of
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["DryStretch", "Reach", "Worth", "commonest_surface", "longest_dry", "reach", "worth"]

Array = NDArray[np.float64]

#: Levels at which a store's use is reckoned, from full to the reserve.
_LEVELS = 9
#: Length of the straight road on which it is reckoned; none of it matters to the result. [m]
_PIECE = 1000.0


@dataclass(frozen=True, kw_only=True)
class Reach:
    """How far tank and bunker go on a straight road of one grade.

    `water` and `coal` are distances [m], None where the grade holds the train with tank and
    bunkers full, or where a store has nothing above its reserve. `most_aboard` is the most
    water and coal with which the lowest gear holds the grade, infinite where anything
    passes, below the reserves where nothing does; `train` the heaviest train that passes
    with tank and bunkers full [kg]. `gear` and `speed` are those of the full engine.
    """

    grade: float
    surface: str
    weather: str
    gear: str
    speed: float
    most_aboard: float
    train: float
    water: Band | None
    coal: Band | None


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What the thirsty end of one default's band adds on the whole road: [kg], [kg], [s]."""

    name: str
    value: str
    source: str
    water: float
    coal: float
    duration: float


@dataclass(frozen=True, kw_only=True)
class DryStretch:
    """Road with no water to be had: from, to [m], and what it takes of a full engine [kg]."""

    begin: float
    end: float
    after: str
    before: str
    water: float


def commonest_surface(route: Route) -> str:
    """The surface that most of the road has.

    Parameters
    ----------
    route
        With its surfaces.

    Returns
    -------
    surface
        The first by name where two are as long.
    """
    lengths = np.diff(route.distance)
    names = np.array(route.surface)
    return max(sorted(set(route.surface)), key=lambda name: float(lengths[names == name].sum()))


def reach(
    scenario: Scenario, route: Route, *, grade: float = 0.0, weather: str | None = None
) -> Reach:
    """How far tank and bunker go on a straight road, from full to the reserve.

    Parameters
    ----------
    scenario
        With engine and fuel.
    route
        Whose commonest surface and mean height the straight road has.
    grade
        Rise per length. [-]
    weather
        Of the day; the scenario's own where None.

    Returns
    -------
    reach
        With the bands in which nine runs in ten lie.

    Raises
    ------
    ValueError
        If the scenario has no engine or no fuel.

    Notes
    -----
    A store S falls from S₁ to its reserve S₀ over ∫ dS / u(S + R), u being the steam
    model's use per metre with that mass aboard, and R the other store half used. The air is
    still and the road has no corners: what a real road adds stands in the demand of the road.

    Examples
    --------
    >>> from haulplan.route import build_route
    >>> from haulplan.scenario import read_scenario
    >>> scenario = read_scenario("scenarios/hobmere-penniford")
    >>> level = reach(scenario, build_route(scenario), weather="dry")
    >>> 5 < level.water.typical / 1609.344 < 20
    True
    """
    file = scenario.file
    day = file.conditions if weather is None else file.conditions.model_copy(
        update={"weather": weather}
    )  # fmt: skip
    still = day.model_copy(update={"wind_speed": 0.0, "wind_from": None})
    scenario = replace(scenario, file=file.model_copy(update={"conditions": still}))
    surface = commonest_surface(route)
    road = _straight(grade, surface, float(route.elevation.mean()))
    haul, assumptions = haul_over(scenario, road)
    full = file.stores.tank + file.stores.bunker
    least = file.reserve.water + file.reserve.coal
    most_aboard = float(heaviest_aboard(haul, least)[0])
    fullest = np.full(haul.length.size, full)
    gear = choose_gears(haul, fullest)
    names = learned_from_logs(scenario) or rests_on(assumptions)

    @cache
    def distances(moved: tuple[tuple[str, float], ...]) -> tuple[float, float]:
        return _distances(scenario, haul_over(scenario, road, dict(moved))[0], int(gear[0]))

    def band(store: int) -> Band | None:
        if most_aboard < full or distances(())[store] <= 0:
            return None
        return band_of(lambda moved: distances(tuple(moved.items()))[store], names)

    return Reach(
        grade=grade,
        surface=surface,
        weather=still.weather,
        gear=haul.gears[int(gear[0])],
        speed=float(haul.state(fullest, gear).speed[0]),
        most_aboard=most_aboard,
        train=heaviest_train(haul, 0, full),
        water=band(0),
        coal=band(1),
    )


def _straight(grade: float, surface: str, altitude: float) -> Road:
    """A straight road: a piece of it for each level of a store."""
    return Road(
        length=np.full(_LEVELS, _PIECE),
        grade=np.full(_LEVELS, grade),
        surface=(surface,) * _LEVELS,
        speed_limit=np.full(_LEVELS, np.inf),
        sharp=np.zeros(_LEVELS, dtype=bool),
        headwind=np.zeros(_LEVELS),
        altitude=altitude,
    )


def _distances(scenario: Scenario, haul: Haul, gear: int) -> tuple[float, float]:
    """How far tank and bunker go, each by itself [m]."""
    stores, reserve = scenario.file.stores, scenario.file.reserve
    gears = np.full(_LEVELS, gear)
    tank = np.linspace(reserve.water, stores.tank, _LEVELS)
    bunker = np.linspace(reserve.coal, stores.bunker, _LEVELS)
    water = haul.evaluate(tank + bunker.mean(), gears).water / haul.length
    coal = haul.evaluate(bunker + tank.mean(), gears).coal / haul.length
    return float(np.trapezoid(1.0 / water, tank)), float(np.trapezoid(1.0 / coal, bunker))


def worth(scenario: Scenario, route: Route) -> tuple[Worth, ...]:
    """What the thirsty end of each default's band adds on the road, the most water first.

    Parameters
    ----------
    scenario, route
        With engine, fuel and heights; driven with tank and bunkers full throughout.

    Returns
    -------
    worths
        One for each default that has a band and was used.

    Raises
    ------
    ValueError
        If the scenario has no engine or no fuel.
    """
    haul, assumptions = haul_on(scenario, route)
    carried = np.full(haul.length.size, scenario.file.stores.tank + scenario.file.stores.bunker)
    gear = choose_gears(haul, carried)

    def totals(moved: Mapping[str, float]) -> Array:
        use = haul_on(scenario, route, moved)[0].evaluate(carried, gear)
        return np.array([use.water.sum(), use.coal.sum(), use.duration.sum()])

    known = {item.name: item for item in assumptions}
    typical = totals({})
    found = []
    for name in rests_on(assumptions):
        item = known[name.replace("_", " ")]
        water, coal, duration = (totals({name: NINETY}) - typical).tolist()
        found.append(
            Worth(
                name=item.name, value=item.value, source=item.source,
                water=water, coal=coal, duration=duration,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda item: (-item.water, -item.coal, -item.duration)))


def longest_dry(scenario: Scenario, route: Route, demand: Demand) -> DryStretch:
    """The longest stretch of the road on which no listed supply has water.

    Parameters
    ----------
    scenario, route, demand
        The problem; water at the start and at the finish does not matter.

    Returns
    -------
    stretch
        The first of the longest; the whole road where there is no water at all.
    """
    use = demand.evaluate(
        np.full(demand.segments, scenario.file.stores.tank + scenario.file.stores.bunker),
        demand.geared(tuple(choice.gears[0] for choice in demand.choices)),
    )
    met = [(0.0, scenario.file.start)]
    met += [
        (passing.distance, passing.label)
        for passing in route.passings
        if passing.kind == "supply" and scenario.supplies[passing.row].water_available is not None
    ]
    met.append((route.length, scenario.file.finish))
    met.sort(key=lambda place: place[0])
    (begin, after), (end, before) = max(pairwise(met), key=lambda pair: pair[1][0] - pair[0][0])
    return DryStretch(
        begin=begin,
        end=end,
        after=after,
        before=before,
        water=float(use.water[demand.index(begin) : demand.index(end)].sum()),
    )
