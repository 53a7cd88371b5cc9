"""Mends by another supply: where, and how little of it is enough."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Final, Literal

from haulplan.errors import InternalError, NoPlanError, Shortage
from haulplan.plan.plan import Plan
from haulplan.plan.search import ONE, TRIES, Mend, Search, step_of, up_to
from haulplan.plan.trial import Case, solved_plan, tap
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
    plan = None
    for number in range(_SUPPLIES):
        wanted = _wanted(case, shortages)
        if wanted is None or search.late():
            break
        stretches.append(wanted)
        at = (wanted.begin + wanted.end) / 2
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
        mend = _exact(search, case, own, plan, stretches)
        if mend is not None:
            yield mend
            return
    what = _stretches_told(search, [(s, math.inf) for s in stretches[:1]])
    if len(stretches) > 1:
        what += f", with {len(stretches) - 1} more on what is refused then"
    yield Mend(what=what, found="late" if search.late() else "does not")


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
    search: Search, case: Case, own: int, plan: Plan, stretches: list[Shortage]
) -> Mend | None:
    """With the supplies holding what was taken, rounded up."""
    system = UNIT_SYSTEMS[case.scenario.file.units]
    units = {"water": system.water, "coal": system.coal}
    rows = list(case.scenario.supplies)
    for more in range(TRIES):
        told = []
        for number, stretch in enumerate(stretches):
            row = own + number
            stops = [s for s in plan.stops if s.kind == "supply" and s.row == row]
            taken = sum(
                s.coal_taken if stretch.kind == "coal" else s.water_taken + s.cart_filled
                for s in stops
            )
            unit = units[stretch.kind]
            amount = up_to(unit)(taken + more * step_of(unit))
            told.append((stretch, amount))
            rows[row] = rows[row].model_copy(update={f"{stretch.kind}_available": amount})
        mended = case.with_supplies(rows)
        found = search.verified(mended)
        if found is not None:
            what = _stretches_told(search, told)
            return Mend(what=what, found="mends", scenario=mended.scenario, plan=found)
    return None


def _stretches_told(search: Search, told: Iterable[tuple[Shortage, float]]) -> str:
    system = UNIT_SYSTEMS[search.case.scenario.file.units]
    parts = []
    for stretch, amount in told:
        unit = system.coal if stretch.kind == "coal" else system.water
        much = "any amount" if math.isinf(amount) else unit.text(amount)
        begin, end = system.distance.text(stretch.begin), system.distance.text(stretch.end)
        middle = system.distance.text((stretch.begin + stretch.end) / 2)
        parts.append(
            f"a supply of {much} of {stretch.kind} between {begin} and {end} (tried at {middle})"
        )
    return " and ".join(parts)
