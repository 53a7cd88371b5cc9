"""No plan: the smallest change of each kind that mends it, each verified by solving again."""

import math
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Final

from haulplan.demand import Demand
from haulplan.errors import NoPlanError
from haulplan.plan.search import Mend, Search, step_of, up_to
from haulplan.plan.supplying import mend_by_supplies
from haulplan.plan.trial import Case
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, DisplayUnit

__all__ = ["Mend", "find_mends"]

#: Time for all mends together. [s]
_TIME: Final = 10.0
#: One kind may take so many times its even share of what is left.
_AHEAD: Final = 2.0
#: Stores up to so many times as large, clocks moved by up to so much [s].
_MOST_TIMES: Final = 4.0
_MOST_MOVED: Final = 4 * 3600.0
_STEP: Final = 300.0
#: How near to the least a store, a load or a reserve is brought, as a share of it.
_NEAR: Final = 0.005
_CLOCK: Final = frozenset({"hours", "latest", "crew", "meal", "call", "depart"})
_PACES: Final = (1.0, 0.9, 0.8, 0.7)
_DAY: Final = 86400.0


def find_mends(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    refusal: NoPlanError,
    *,
    time_limit: float = _TIME,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Mend, ...]:
    """For each kind of change the smallest that mends a scenario without a plan.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    refusal
        Why it has no plan; without shortages nothing is tried.
    time_limit
        Most time for all of them, but for the last. [s]
    progress
        Told what is being done.

    Returns
    -------
    mends
        The kinds that the shortages ask for, those that do not mend it too.

    Notes
    -----
    A bigger store is not made heavier by its own plates, and its price is not known here.
    """
    if not refusal.shortages:
        return ()
    file = scenario.file.model_copy(update={"risk": None})
    case = Case(scenario=replace(scenario, file=file), route=route, demand=demand)
    search = Search(
        case=case,
        shortages=refusal.shortages,
        deadline=time.monotonic() + time_limit,
        progress=progress,
    )
    end = search.deadline
    mends: list[Mend] = []
    for number, kind in enumerate(_KINDS):
        now = time.monotonic()
        search.deadline = min(end, now + _AHEAD * (end - now) / (len(_KINDS) - number))
        mends += kind(search)
    return tuple(mends)


# --- engine, train and reserve --------------------------------------------------------


def _stores(search: Search) -> Iterable[Mend]:
    """A bigger tank or bunker."""
    file = search.case.scenario.file
    system = UNIT_SYSTEMS[file.units]
    for kind, store, unit in (("water", "tank", system.water), ("coal", "bunker", system.coal)):
        if not search.short_of(kind):
            continue
        search.progress(f"trying a bigger {store}")
        now = float(getattr(file.stores, store))
        lacking = max(s.amount for s in search.shortages if s.kind == kind)

        def change(more: float, store: str = store, now: float = now) -> Case:
            stores = file.stores.model_copy(update={store: now + more})
            return search.case.with_file(stores=stores)

        def tell(
            more: float, store: str = store, now: float = now, unit: DisplayUnit = unit
        ) -> str:
            return f"a {store} of {unit.text(now + more)}, {unit.text(more)} more"

        def up(more: float, now: float = now, unit: DisplayUnit = unit) -> float:
            return up_to(unit)(now + more) - now

        yield search.least_of(
            change,
            first=lacking,
            most=(_MOST_TIMES - 1) * now,
            near=_NEAR * now,
            unit=step_of(unit),
            up=up,
            tell=tell,
        )


def _lighter(search: Search) -> Iterable[Mend]:
    """Less load on the wagons, where weight matters."""
    case = search.case
    if not case.load or (case.scenario.demand and not case.scenario.bridges):
        return
    search.progress("trying a lighter train")
    unit = UNIT_SYSTEMS[case.scenario.file.units].mass
    yield search.least_of(
        lambda less: case.with_load(max(1 - less / case.load, 0.0)),
        first=0.1 * case.load,
        most=case.load,
        near=_NEAR * case.load,
        unit=step_of(unit),
        up=up_to(unit),
        tell=lambda less: (
            f"a train lighter by {unit.text(less)} of its {unit.text(case.load)} of load"
        ),
    )


def _reserve(search: Search) -> Iterable[Mend]:
    """Less water or coal that is never planned away."""
    file = search.case.scenario.file
    system = UNIT_SYSTEMS[file.units]
    for kind, unit in (("water", system.water), ("coal", system.coal)):
        now = float(getattr(file.reserve, kind))
        if not search.short_of(kind) or not now:
            continue
        search.progress(f"trying a smaller reserve of {kind}")
        store = file.stores.tank if kind == "water" else file.stores.bunker
        lacking = max(s.amount for s in search.shortages if s.kind == kind)

        def change(less: float, kind: str = kind, now: float = now) -> Case:
            reserve = file.reserve.model_copy(update={kind: max(now - less, 0.0)})
            return search.case.with_file(reserve=reserve)

        def tell(less: float, kind: str = kind, now: float = now, unit: DisplayUnit = unit) -> str:
            left = unit.text(max(now - less, 0.0))
            return f"a reserve of {left} of {kind} instead of {unit.text(now)}"

        def up(less: float, now: float = now, unit: DisplayUnit = unit) -> float:
            step = step_of(unit)  # what is left is rounded down
            return now - max(math.floor((now - less) / step + 1e-6) * step, 0.0)

        yield search.least_of(
            change,
            first=min(lacking, now),
            most=now,
            near=_NEAR * store,
            unit=step_of(unit),
            up=up,
            tell=tell,
        )


def _paces(search: Search) -> Iterable[Mend]:
    """Slower driving, where only full pace is open."""
    scenario = search.case.scenario
    if scenario.demand or scenario.file.paces or not search.short_of("water", "coal"):
        return
    search.progress("trying slower paces")
    shown = ", ".join(f"{100 * pace:.0f} %" for pace in _PACES)
    what = f"driving slower where it saves: paces of {shown}"
    if search.late():
        yield Mend(what=what, found="late")
        return
    try:
        case = search.case.with_file(paces=_PACES)
    except NoPlanError:
        yield Mend(what=what, found="does not")
        return
    yield _as_it_is(search, case, what)


def _as_it_is(search: Search, case: Case, what: str) -> Mend:
    """A change that is made or not."""
    if search.late():
        return Mend(what=what, found="late")
    plan = search.verified(case)
    if plan is None:
        return Mend(what=what, found="late" if search.late() else "does not")
    return Mend(what=what, found="mends", scenario=case.scenario, plan=plan)


# --- the clock ------------------------------------------------------------------------


def _moved(
    search: Search, change: Callable[[float], Case], tell: Callable[[float], str], most: float
) -> Iterable[Mend]:
    """A clock moved by five minutes, or several times that."""
    steps = math.floor(min(most, _MOST_MOVED) / _STEP + 1e-9)
    if steps < 1:
        return
    yield search.least_of(
        lambda number: change(_STEP * math.ceil(number - 1e-9)),
        first=1.0,
        most=float(steps),
        near=1.0,
        unit=1.0,
        up=lambda number: float(math.ceil(number - 1e-9)),
        tell=lambda number: tell(_STEP * number),
    )


def _clocks(search: Search) -> Iterable[Mend]:
    """An earlier start, later hours for wheels or crew, one night more."""
    if not search.short_of(*_CLOCK):
        return
    case, file = search.case, search.case.scenario.file
    hours = file.hours
    search.progress("trying other clocks")
    yield from _moved(
        search,
        lambda by: case.with_file(depart=file.depart - by),
        lambda by: f"a start at {_clock(file.depart - by)}, {by / 60:.0f} min earlier",
        file.depart - hours.earliest if hours.light == "any" else file.depart,
    )
    if hours.light == "any" and hours.latest < _DAY:
        yield from _moved(
            search,
            lambda by: case.with_file(hours=hours.model_copy(update={"latest": hours.latest + by})),
            lambda by: f"wheels turning until {_clock(hours.latest + by)}, {by / 60:.0f} min later",
            _DAY - hours.latest,
        )
    crew = hours.crew
    if crew is not None and search.short_of("crew", "latest"):
        yield from _moved(
            search,
            lambda by: case.with_file(hours=hours.model_copy(update={"crew": crew + by})),
            lambda by: f"a crew on duty for {_span(crew + by)}, {by / 60:.0f} min more a day",
            _DAY - crew,
        )
    nights = [p.night for p in case.scenario.places] + [s.night for s in case.scenario.supplies]
    if "yes" in nights and file.nights.most < 9:
        more = file.nights.model_copy(update={"most": file.nights.most + 1})
        yield _as_it_is(search, case.with_file(nights=more), "one night more on the way")


def _span(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes} min"


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


_KINDS: Final[tuple[Callable[[Search], Iterable[Mend]], ...]] = (
    _stores, _lighter, _reserve, _clocks, mend_by_supplies, _paces,
)  # fmt: skip
