"""Places to find water and coal where the road shows none: the planner's own fewest."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from haulplan.begin.along import Found, named_apart
from haulplan.begin.folder import MARK, Draft, written
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan import Plan
from haulplan.plan.trial import Case, solved_plan, tap
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim, Supply

__all__ = ["reach", "suggested", "supplies_of"]

#: A place to be found should serve nine runs in ten, so it is looked for with that thirst
#: first, and with the usual one where that fails; so many places are tried to a filling of
#: tank or bunker, and so many at most.
_TRIES: Final = ((0.9, 4), (0.9, 8), (None, 8), (None, 16))
_MOST: Final = 120
#: Time for one choice among them. [s]
_TIME: Final = 10.0
#: A stop is moved by up to this share of a step to where the road is flattest, over so
#: many metres.
_MOVED: Final = np.linspace(-0.25, 0.25, 9)
_OVER: Final = 50.0
#: Enough that one place fewer beats all else that has a price.
_PRICE: Final = 1.0


@dataclass(frozen=True, kw_only=True)
class _Offer:
    water: bool
    coal: bool


@dataclass(frozen=True, kw_only=True)
class _Place:
    """Where [m], and what is taken there [kg]."""

    at: float
    water: float
    coal: float


def supplies_of(draft: Draft, scenario: Scenario, found: Sequence[Found]) -> tuple[Supply, ...]:
    """Marks that seem to offer water or coal, as rows of supply.csv.

    Parameters
    ----------
    draft
        For the size of tank and bunker.
    scenario
        As it stands.
    found
        Places along the road.

    Returns
    -------
    supplies
        Each with one filling, at a rate nobody measured.
    """
    rows = []
    for place in found:
        if place.is_supply:
            offer = _Offer(water=place.water, coal=place.coal)
            row = _supply(scenario, place.name, offer, draft)
            note = f"{MARK}: amount, rate and time are assumed; ask its owner"
            rows.append(
                row.model_copy(
                    update={
                        "kind": place.kind, "at": place.at, "latitude": place.latitude,
                        "longitude": place.longitude, "note": note,
                    }
                )
            )  # fmt: skip
    return tuple(rows)


def _supply(scenario: Scenario, name: str, offer: _Offer, draft: Draft, at: float = 0.0) -> Supply:
    """A supply of one filling, as quick as one that is not known yet."""
    wanted: list[tuple[Literal["water", "coal"], float]] = []
    wanted += [("water", draft.tank)] if offer.water else []
    wanted += [("coal", draft.bunker)] if offer.coal else []
    taps = [tap(scenario, kind, at, name=name, available=room) for kind, room in wanted]
    both = {
        key: value
        for one in taps
        for key, value in one
        if key.startswith(("water_", "coal_")) and value is not None
    }
    return taps[0].model_copy(update={**both, "permit": f"{MARK}: nobody was asked yet"})


def reach(case: Case) -> dict[str, float]:
    """How far a filling goes, the reserve kept and both stores full throughout.

    Parameters
    ----------
    case
        The problem.

    Returns
    -------
    reach
        Of "water" and "coal". [m]
    """
    demand, file = case.demand, case.scenario.file
    full = np.full(demand.segments, file.stores.tank + file.stores.bunker)
    use = demand.evaluate(full, demand.geared(tuple(c.gears[0] for c in demand.choices)))
    length = float(demand.distance[-1])
    return {
        "water": (file.stores.tank - file.reserve.water) * length / float(use.water.sum()),
        "coal": (file.stores.bunker - file.reserve.coal) * length / float(use.coal.sum()),
    }


def suggested(
    case: Case, draft: Draft, refusal: NoPlanError, say: Callable[[str], None]
) -> tuple[Supply, ...] | NoPlanError:
    """The fewest supplies that are wanted besides those there are.

    Parameters
    ----------
    case
        The problem, refused without them.
    draft
        For units, tank and bunker.
    refusal
        Why there is no plan without them.
    say
        Told what is being done.

    Returns
    -------
    supplies
        Rows to be added, or why even these do not help.
    """
    why = ""
    for thirst, many in _TRIES:
        say(f"looking for stops, {many} to a filling")
        try:
            thirsty = case.with_file(pessimism=thirst)
            tried = _candidates(thirsty, draft, min(reach(thirsty).values()) / many)
            places = _chosen(thirsty, tried)
            return _wanted(case, draft, _with_less_coal(thirsty, draft, places))
        except NoPlanError as error:
            why = f"Even with water and coal at more places, {str(error).splitlines()[0]}"
        except InternalError:
            why = "No choice of more places was found in time; give a shorter road"
    return NoPlanError(f"{refusal}\n{why}", refusal.shortages)


def _candidates(case: Case, draft: Draft, step: float) -> list[Supply]:
    """Supplies of both at even steps, each where the road is flattest nearby."""
    route, unit = case.route, draft.system.distance
    count = min(max(math.ceil(route.length / step), 2), _MOST)
    step = route.length / count
    rows = []
    for number in range(1, count):
        near = number * step + step * _MOVED
        rise = np.abs(
            np.interp(near + _OVER, route.distance, route.elevation)
            - np.interp(near - _OVER, route.distance, route.elevation)
        )
        best = min(range(near.size), key=lambda i: (round(float(rise[i]), 1), abs(_MOVED[i])))
        at = round(unit.value(float(near[best])), 2) * unit.size  # as supply.csv will have it
        offer = _Offer(water=True, coal=True)
        row = _supply(case.scenario, f"place tried {number}", offer, draft, at)
        rows.append(row.model_copy(update={"call_out": _PRICE}))
    return rows


def _chosen(case: Case, tried: Sequence[Supply]) -> list[_Place]:
    """The places where the planner takes anything, as few as can be."""
    plan = _cheapest(case, tried)
    own = len(case.scenario.supplies)
    places = [
        _Place(at=row.at or 0.0, water=water, coal=coal)
        for number, row in enumerate(tried, start=own)
        for water, coal in [_taken(plan, number)]
    ]
    return [place for place in places if place.water > 0 or place.coal > 0]


def _with_less_coal(case: Case, draft: Draft, places: Sequence[_Place]) -> Sequence[_Place]:
    """The same places, with coal at as few of them as can be."""
    if sum(place.coal > 0 for place in places) < 2:
        return places
    rows = []
    for number, place in enumerate(places):
        water, coal = (
            _supply(case.scenario, f"{word} tried {number}", offer, draft, place.at)
            for word, offer in (
                ("water", _Offer(water=True, coal=False)),
                ("coal", _Offer(water=False, coal=True)),
            )
        )
        rows += [water, coal.model_copy(update={"call_out": _PRICE})]
    try:
        plan = _cheapest(case, rows)
    except (NoPlanError, InternalError):
        return places
    own = len(case.scenario.supplies)
    fewer = [
        _Place(
            at=place.at,
            water=_taken(plan, own + 2 * number)[0],
            coal=_taken(plan, own + 2 * number + 1)[1],
        )
        for number, place in enumerate(places)
    ]
    return [place for place in fewer if place.water > 0 or place.coal > 0]


def _cheapest(case: Case, tried: Sequence[Supply]) -> Plan:
    with_them = case.with_supplies((*case.scenario.supplies, *tried))
    return solved_plan(with_them, aim=Aim(first="cheapest"), time_limit=_TIME)


def _taken(plan: Plan, row: int) -> tuple[float, float]:
    """Water and coal taken at a row of supply.csv [kg]."""
    stops = [s for s in plan.stops if s.kind == "supply" and s.row == row]
    return sum(s.water_taken for s in stops), sum(s.coal_taken for s in stops)


def _wanted(case: Case, draft: Draft, places: Sequence[_Place]) -> tuple[Supply, ...]:
    """The places as rows of supply.csv that say what is to be found there."""
    system = draft.system
    rows, names = [], []
    for place in places:
        wanted = {
            word: written(unit, much, 2)
            for word, unit, much in (
                ("water", system.water, place.water),
                ("coal", system.coal, place.coal),
            )
            if much > 0
        }
        what = " and ".join(wanted)
        much = " and ".join(f"{text} of {word}" for word, text in wanted.items())
        names.append(f"{MARK}: {what} near {system.distance.text(place.at)}")
        offer = _Offer(water="water" in wanted, coal="coal" in wanted)
        note = f"{MARK}: find {what} near here, at least about {much}, and its owner"
        rows.append(
            _supply(case.scenario, "wanted", offer, draft, place.at).model_copy(
                update={"kind": "not found yet", "note": note}
            )
        )
    known = [supply.name for supply in case.scenario.supplies]
    apart = named_apart([*known, *names])[len(known) :]
    return tuple(
        row.model_copy(update={"name": name}) for row, name in zip(rows, apart, strict=True)
    )
