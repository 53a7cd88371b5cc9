"""Mends by another supply: where, and how little of it is enough."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from haulplan.errors import InternalError, NoPlanError, Shortage
from haulplan.plan.plan import Plan
from haulplan.plan.rules import LEAST_TAKEN
from haulplan.plan.search import ONE, TRIES, Mend, Search, step_of, up_to
from haulplan.plan.trial import Case, least, solved_plan, tap
from haulplan.scenario.schema import Aim
from haulplan.units import UNIT_SYSTEMS

__all__ = ["mend_by_supplies"]

#: So many are added at most.
_SUPPLIES: Final = 4


def mend_by_supplies(search: Search) -> Iterable[Mend]:
    """Supplies on the refused stretches, as few and as small as can be.

    Parameters
    ----------
    search
        The problem refused.

    Returns
    -------
    mends
        One, or none where neither water, coal nor weight is the trouble.
    """
    if not search.short_of("water", "coal", "weight"):
        return
    search.progress("trying another supply")
    case, shortages = search.case, search.shortages
    own = len(case.scenario.supplies)
    stretches: list[Shortage] = []
    places: list[float] = []
    plan = None
    for number in range(_SUPPLIES):
        wanted = _wanted(case, shortages)
        if wanted is None or search.late():
            break
        if search.short_of("weight") and any(_inside(wanted, s) for s in stretches):
            break  # more water there is what the bridge or hill refuses
        stretches.append(wanted)
        at = _halfway(case, wanted)
        places.append(at)
        kind: Literal["water", "coal"] = "coal" if wanted.kind == "coal" else "water"
        name = f"supply tried {number + 1}"
        case = case.with_supplies(
            (*case.scenario.supplies, tap(case.scenario, kind, at, name=name))
        )
        try:
            plan = solved_plan(_thrifty(case, own), aim=Aim(first="cheapest"), time_limit=ONE)
            break
        except NoPlanError as error:
            shortages = error.shortages
        except InternalError:
            break
    if plan is not None:
        mend = _exact(search, case, own, plan, list(zip(stretches, places, strict=True)))
        if mend is not None:
            yield mend
            return
    what = _stretches_told(
        search, [(s, at, math.inf) for s, at in zip(stretches[:1], places, strict=False)]
    )
    if len(stretches) > 1:
        what += f", with {len(stretches) - 1} more on what is refused then"
    yield Mend(what=what, found="late" if search.late() else "does not")


def _halfway(case: Case, stretch: Shortage) -> float:
    """Where half of what the stretch takes is used, with both stores half full [m]."""
    demand, stores = case.demand, case.scenario.file.stores
    gear = demand.geared(tuple(choice.gears[0] for choice in demand.choices))
    use = demand.evaluate(np.full(demand.segments, (stores.tank + stores.bunker) / 2), gear)
    used = np.concatenate([[0.0], np.cumsum(use.coal if stretch.kind == "coal" else use.water)])
    ends = np.interp([stretch.begin, stretch.end], demand.distance, used)
    return float(np.interp(ends.mean(), used, demand.distance))


def _inside(stretch: Shortage, other: Shortage) -> bool:
    same = stretch.kind == other.kind
    return same and other.begin <= stretch.begin and stretch.end <= other.end


def _wanted(case: Case, shortages: Iterable[Shortage]) -> Shortage | None:
    """The first stretch that asks for a supply; beyond a bridge, up to the next water."""
    for shortage in shortages:
        if shortage.kind in ("water", "coal"):
            return shortage
        if shortage.kind == "weight":
            rows = case.scenario.supplies
            taps = [
                p.distance
                for p in case.route.passings
                if p.kind == "supply"
                and p.distance > shortage.begin
                and rows[p.row].water_available is not None
            ]
            return replace(shortage, kind="water", end=min([*taps, case.route.length]))
    return None


def _thrifty(case: Case, own: int) -> Case:
    """With nothing to pay but a price on each kilogram of the supplies from row `own` on."""
    free = {"water_price": 0.0, "coal_price": 0.0, "call_out": 0.0}
    supplies = [
        s.model_copy(
            update={**free, "night_price": 0.0}
            if row < own
            else {"water_price": 1.0, "coal_price": 1.0}
        )
        for row, s in enumerate(case.scenario.supplies)
    ]
    scenario = replace(
        case.scenario,
        supplies=tuple(supplies),
        places=tuple(p.model_copy(update={"night_price": 0.0}) for p in case.scenario.places),
        stores=tuple(s.model_copy(update=free) for s in case.scenario.stores),
    )
    return replace(case, scenario=scenario)


def _exact(
    search: Search, case: Case, own: int, plan: Plan, stretches: list[tuple[Shortage, float]]
) -> Mend | None:
    """With the supplies holding what was taken, or less where all there is may be less."""
    system = UNIT_SYSTEMS[case.scenario.file.units]
    units = {"water": system.water, "coal": system.coal}

    def holding(amounts: Iterable[float]) -> Case:
        rows = list(case.scenario.supplies)
        for row, ((stretch, _), amount) in enumerate(zip(stretches, amounts, strict=True), own):
            rows[row] = rows[row].model_copy(update={f"{stretch.kind}_available": amount})
        return case.with_supplies(rows)

    taken = [_taken(plan, own + number, s) for number, (s, _) in enumerate(stretches)]
    if len(taken) == 1 and _is_small(case, stretches[0][0], taken[0]):
        unit, most = units[stretches[0][0].kind], taken[0]
        enough = search.enough(lambda amount: holding([amount]))
        taken = [least(enough, first=most / 4, most=most, step=step_of(unit)) or most]
    for more in range(TRIES):
        amounts = [
            up_to(units[s.kind])(amount + more * step_of(units[s.kind]))
            for (s, _), amount in zip(stretches, taken, strict=True)
        ]
        mended = holding(amounts)
        found = search.verified(mended)
        if found is not None:
            told = [(*stretch, amount) for stretch, amount in zip(stretches, amounts, strict=True)]
            what = _stretches_told(search, told)
            return Mend(what=what, found="mends", scenario=mended.scenario, plan=found)
    return None


def _taken(plan: Plan, row: int, stretch: Shortage) -> float:
    """What a plan takes at the supply of a row [kg]."""
    stops = [s for s in plan.stops if s.kind == "supply" and s.row == row]
    if stretch.kind == "coal":
        return sum(s.coal_taken for s in stops)
    return sum(s.water_taken + s.cart_filled for s in stops)


def _is_small(case: Case, stretch: Shortage, taken: float) -> bool:
    """Whether it is the least that a stop is made for, unless it is all there is."""
    stores = case.scenario.file.stores
    room = stores.bunker if stretch.kind == "coal" else stores.tank
    return taken <= 1.01 * LEAST_TAKEN * room


def _stretches_told(search: Search, told: Iterable[tuple[Shortage, float, float]]) -> str:
    system = UNIT_SYSTEMS[search.case.scenario.file.units]
    parts = []
    for stretch, at, amount in told:
        unit = system.coal if stretch.kind == "coal" else system.water
        much = "any amount" if math.isinf(amount) else unit.text(amount)
        begin, end = system.distance.text(stretch.begin), system.distance.text(stretch.end)
        tried = system.distance.text(at)
        parts.append(
            f"a supply of {much} of {stretch.kind} between {begin} and {end} (tried at {tried})"
        )
    return " and ".join(parts)
