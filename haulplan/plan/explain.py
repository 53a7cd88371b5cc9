"""Why there is no plan: the stretch, by how much, and what would mend it."""

import math
from typing import Any

from haulplan.demand import Demand
from haulplan.plan.legs import Chain, MassLimit
from haulplan.plan.model import Programme
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, UnitSystem

__all__ = ["explain_shortage"]


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
    broken = sorted(elastic.broken, key=lambda item: (item[1], item[0]))
    if not broken:
        return (
            "no plan: the limits leave no room at all for the straightening of the model; "
            "a little more of any store, or a little less reserve, would mend it"
        )
    lines = [
        _explain(scenario, system, demand, chain, elastic, node, kind, amount, bound)
        for kind, node, amount, bound in broken
    ]
    return "no plan: " + "\n".join(lines)


def _explain(
    scenario: Scenario,
    system: UnitSystem,
    demand: Demand,
    chain: Chain,
    elastic: Programme,
    node: int,
    kind: str,
    amount: float,
    bound: MassLimit | None,
) -> str:
    if kind == "hours":
        return _explain_hours(scenario, system, chain, node, amount)
    if kind == "mass":
        assert bound is not None
        return _explain_mass(scenario, system, demand, chain, node, amount, bound)
    unit = system.water if kind == "water" else system.coal
    lacking = _rounded_up(unit, amount)
    takes = elastic.take_water if kind == "water" else elastic.take_coal
    before = max((i for i in takes if i < node and _value(elastic.stop[i])), default=0)
    begin, end = chain.nodes[before], chain.nodes[node]
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


def _value(variable: Any) -> float:  # noqa: ANN401  a PuLP variable
    return float(variable.varValue or 0.0)
