"""Why there is no plan: the stretch, by how much, and what would mend it."""

import math
from typing import Any, Final

from haulplan.demand import Demand
from haulplan.errors import Shortage
from haulplan.plan.legs import Chain, MassLimit
from haulplan.plan.model import Programme
from haulplan.plan.rules import Bound
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, UnitSystem

__all__ = ["explain_shortage", "find_shortages"]


#: What a limit of the clock says, and what would mend it.
_DAYS: Final = {
    "latest": (
        "is reached {by} after wheels must stop",
        "an earlier start, a night on the way, a lighter train, or later hours",
    ),
    "crew": (
        "keeps the crew {by} over its hours",
        "a night on the way, a relief crew, a shorter day, or an earlier fire",
    ),
    "meal": (
        "finds no stop in its time",
        "a halt on the way at that time, or wider hours for it",
    ),
    "duty": (
        "falls due {by} before the next place to stand",
        "a halt on that stretch (places.csv, halt = yes), or a longer interval",
    ),
    "call": (
        "is called at {by} outside its hours, or on another day",
        "an earlier start, other hours, or another day",
    ),
    "stops": (
        "must make {by} more than are allowed",
        "a bigger tank or bunker, a water cart, or a lighter train",
    ),
    "depart": (
        "may only be left {by} later than depart_by",
        "a later depart_by, or earlier hours for the wheels",
    ),
}


def explain_shortage(scenario: Scenario, demand: Demand, chain: Chain, elastic: Programme) -> str:
    """Name every limit that the least broken plan still breaks, in driving order.

    Parameters
    ----------
    scenario, demand, chain
        The problem.
    elastic
        Its elastic programme, solved for the least sum of broken limits.

    Returns
    -------
    message
        One line per broken limit: stretch, shortfall, what would mend it.
    """
    system = UNIT_SYSTEMS[scenario.file.units]
    broken = sorted(elastic.broken, key=lambda item: item[:3])
    if not broken:
        return (
            "no plan: the limits leave no room at all for the straightening of the model; "
            "a little more of any store, or a little less reserve, would mend it"
        )
    lines = [
        _explain(scenario, system, demand, chain, elastic, node, kind, tag, amount, bound)
        for kind, node, tag, amount, bound in broken
    ]
    return "no plan: " + "\n".join(dict.fromkeys(lines))


def find_shortages(scenario: Scenario, chain: Chain, elastic: Programme) -> tuple[Shortage, ...]:
    """The limits that the least broken plan still breaks, in figures.

    Parameters
    ----------
    scenario, chain
        The problem.
    elastic
        Its elastic programme, solved for the least sum of broken limits.

    Returns
    -------
    shortages
        In driving order.
    """
    found = []
    for kind, node, _, amount, bound in elastic.broken:
        if kind in ("crew", "duty", "depart", "stops"):  # the number is not of a node
            begin, end = 0.0, chain.nodes[-1].distance
        elif kind in ("water", "coal"):
            begin = chain.nodes[_served_before(elastic, kind, node)].distance
            end = chain.nodes[node].distance
        elif kind in ("crest", "feed"):
            begin, end = 0.0, chain.nodes[node].distance
        else:
            begin, end = chain.nodes[node].distance, chain.nodes[-1].distance
        name, scale = kind, 1.0
        if kind == "mass" or isinstance(bound, Bound):
            name = "weight"
        elif kind in ("crest", "feed"):
            name = "boiler"
        elif kind == "duty" and scenario.file.duties[node].miles is not None:
            name, scale = "distance", 1000.0
        elif kind not in ("water", "coal", "stops"):
            scale = 60.0
        found.append(Shortage(kind=name, begin=begin, end=end, amount=scale * amount))
    return tuple(sorted(found, key=lambda shortage: (shortage.end, shortage.begin, shortage.kind)))


def _served_before(elastic: Programme, kind: str, node: int) -> int:
    """The last stop before a node that takes this kind; the start where none does."""
    takes = elastic.take_water if kind == "water" else elastic.take_coal
    return max((i for i in takes if i < node and _value(elastic.stop[i])), default=0)


def _explain(
    scenario: Scenario,
    system: UnitSystem,
    demand: Demand,
    chain: Chain,
    elastic: Programme,
    node: int,
    kind: str,
    tag: str,
    amount: float,
    bound: MassLimit | Bound | None,
) -> str:
    if kind == "hours":
        return _explain_hours(scenario, system, chain, node, amount)
    if kind in _DAYS:
        return _explain_day(scenario, system, chain, kind, node, tag, amount)
    if kind in ("crest", "feed"):
        return _explain_boiler(system, chain, node, amount)
    if isinstance(bound, Bound):
        return _explain_post(scenario, system, bound, amount)
    if kind == "mass":
        assert bound is not None
        return _explain_mass(scenario, system, demand, chain, node, amount, bound)
    unit = system.water if kind == "water" else system.coal
    lacking = _rounded_up(unit, amount)
    begin, end = chain.nodes[_served_before(elastic, kind, node)], chain.nodes[node]
    store = "tank" if kind == "water" else "bunker"
    return (
        f"between {begin.name} ({system.distance.text(begin.distance)}) and {end.name} "
        f"({system.distance.text(end.distance)}) the {store} falls {lacking} below "
        f"its reserve. What would mend it: a supply of at least {lacking} of {kind} "
        f"on that stretch, a bigger {store}, a lighter train, or a smaller reserve"
    )


def _explain_hours(
    scenario: Scenario, system: UnitSystem, chain: Chain, node: int, amount: float
) -> str:
    place = chain.nodes[node]
    return (
        f"{place.name} ({system.distance.text(place.distance)}) is needed {amount:.0f} min "
        "outside its opening hours. What would mend it: another departure time (now "
        f"{int(scenario.file.depart // 3600):02d}:{int(scenario.file.depart % 3600 // 60):02d}),"
        " other hours by agreement, or another supply near it"
    )


def _explain_day(
    scenario: Scenario,
    system: UnitSystem,
    chain: Chain,
    kind: str,
    node: int,
    tag: str,
    amount: float,
) -> str:
    """A limit of the clock: hours of wheels, crew, meals, duties, calls."""
    file = scenario.file
    found, mend = _DAYS[kind]
    place = f"{chain.nodes[node].name} ({system.distance.text(chain.nodes[node].distance)})"
    names = {
        "crew": f"day {node + 1}",
        "meal": f"{file.meals[int(tag)].name} of day {node + 1}" if kind == "meal" else "",
        "duty": file.duties[node].name if kind == "duty" else "",
        "depart": "the start",
        "stops": "the train",
    }
    by = f"{amount:.0f} min"
    if kind == "stops":
        by = "1 stop" if round(amount) == 1 else f"{amount:.0f} stops"
    if kind == "duty" and file.duties[node].miles is not None:
        by = system.distance.text(1000 * amount)
    if kind == "meal":
        return f"{names[kind]} {found}. What would mend it: {mend}"
    return f"{names.get(kind, place)} {found.format(by=by)}. What would mend it: {mend}"


def _explain_boiler(system: UnitSystem, chain: Chain, node: int, amount: float) -> str:
    place = chain.nodes[node]
    return (
        f"at {system.distance.text(place.distance)} the boiler would be "
        f"{_rounded_up(system.water, amount)} short of the level to be carried there. What would "
        "mend it: a stop before the hill to fill up at, another road; ask the boiler's inspector"
    )


def _explain_post(scenario: Scenario, system: UnitSystem, bound: Bound, amount: float) -> str:
    posted = scenario.bridges[bound.row].limit
    return (
        f"{bound.name} is posted at {system.mass.text(posted)} and would be "
        f"{system.mass.text(amount)} over with what must be aboard there. What would mend it: a "
        "supply beyond the bridge, crossing uncoupled or with water run off where the road "
        "authority agrees, a lighter train, or another road; ask the road authority"
    )


def _explain_mass(
    scenario: Scenario,
    system: UnitSystem,
    demand: Demand,
    chain: Chain,
    node: int,
    amount: float,
    bound: MassLimit,
) -> str:
    where = system.distance.text(bound.distance)
    if bound.kind == "hill":
        return (
            f"the {bound.name} ({where}) is too steep by {system.mass.text(amount)} of water "
            "and coal aboard. What would mend it: a supply beyond the hill, or a lighter train"
        )
    posted = scenario.bridges[bound.row].limit
    margin = scenario.file.bridge_margin
    kept = f", of which {100 * margin:g} % is kept as margin" if margin else ""
    return (
        f"{bound.name} ({where}) is posted at {system.mass.text(posted)}{kept}; engine and train "
        f"weigh {system.mass.text(demand.dry_weight)} with tank and bunker empty and would be "
        f"{system.mass.text(amount)} over with what they must carry there. What would mend it: "
        "a supply beyond the bridge, a lighter train, or another road; ask the road authority"
    )


def _rounded_up(unit: DisplayUnit, amount: float) -> str:
    """The amount in the reader's unit, never less than it is."""
    step = unit.size / 10**unit.decimals
    return unit.text(math.ceil(amount / step - 1e-9) * step)


def _value(variable: Any) -> float:  # noqa: ANN401  a PuLP variable, or a number
    return float(getattr(variable, "varValue", variable) or 0.0)
