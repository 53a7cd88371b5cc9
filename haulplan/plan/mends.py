"""No plan: the smallest change of each kind that mends it, each verified by solving again.

How much is needed is looked for with the programme straightened once; what is found is
rounded in the reader's units and then planned like any scenario. Only that counts.
"""

import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

from haulplan.demand import Demand
from haulplan.errors import InternalError, NoPlanError, Shortage
from haulplan.plan.plan import Plan
from haulplan.plan.trial import Case, least, possible, solved_plan, tap
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim
from haulplan.units import UNIT_SYSTEMS, DisplayUnit

__all__ = ["Mend", "find_mends"]

#: Time for all mends together [s], and for one plan of them.
_TIME: Final = 10.0
_ONE: Final = 5.0
#: Stores up to so many times as large, clocks moved by up to so much [s].
_MOST_TIMES: Final = 4.0
_MOST_MOVED: Final = 4 * 3600.0
_STEP: Final = 300.0
#: How near to the least a store, a load or a reserve is brought, as a share of it.
_NEAR: Final = 0.005
#: What is found is moved on by its step so often where the bent curve asks for more.
_MORE: Final = 3
_SUPPLIES: Final = 4
_CLOCK: Final = frozenset({"hours", "latest", "crew", "meal", "call", "depart"})
_PACES: Final = (1.0, 0.9, 0.8, 0.7)
_DAY: Final = 86400.0


@dataclass(frozen=True, kw_only=True)
class Mend:
    """One kind of change: what was tried, and whether it mends the scenario alone.

    Where it does, `scenario` is the mended one and `plan` its plan; where it does not,
    `what` is the most that was tried. `found` is "late" where the time was over before.
    """

    what: str
    found: Literal["mends", "does not", "late"]
    scenario: Scenario | None = None
    plan: Plan | None = None


@dataclass(kw_only=True)
class _Search:
    """The problem refused, why, and until when to look for mends."""

    case: Case
    shortages: tuple[Shortage, ...]
    deadline: float
    progress: Callable[[str], None]

    @property
    def late(self) -> bool:
        """Whether the time is over."""
        return time.monotonic() >= self.deadline

    def short_of(self, *kinds: str) -> bool:
        """Whether a limit of one of these kinds is broken."""
        return any(shortage.kind in kinds for shortage in self.shortages)

    def enough(self, change: Callable[[float], Case]) -> Callable[[float], bool]:
        """Asks whether a change of so much leaves a plan."""

        def ask(amount: float) -> bool:
            return not self.late and _quietly(lambda: possible(change(amount), self.deadline))

        return ask

    def verified(self, case: Case) -> Plan | None:
        """The plan of a changed problem, None where it has none."""
        try:
            limit = max(min(self.deadline - time.monotonic(), _ONE), 1.0)
            return solved_plan(case, time_limit=limit)
        except (NoPlanError, InternalError):
            return None

    def least_of(
        self,
        change: Callable[[float], Case],
        *,
        first: float,
        most: float,
        near: float,
        unit: float,
        up: Callable[[float], float],
        tell: Callable[[float], str],
    ) -> Mend:
        """The least change that is enough, rounded up and verified."""
        amount = least(self.enough(change), first=first, most=most, step=near)
        if amount is not None:
            for more in range(_MORE):
                rounded = up(amount + more * unit)
                case = _or_none(change, rounded)
                plan = None if case is None else self.verified(case)
                if case is not None and plan is not None:
                    return Mend(
                        what=tell(rounded), found="mends", scenario=case.scenario, plan=plan
                    )
        return Mend(what=tell(most), found="late" if self.late else "does not")


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
    search = _Search(
        case=case,
        shortages=refusal.shortages,
        deadline=time.monotonic() + time_limit,
        progress=progress,
    )
    return tuple(mend for kind in _KINDS for mend in kind(search))


def _quietly(ask: Callable[[], bool]) -> bool:
    try:
        return ask()
    except NoPlanError:  # a hill that holds the train in no gear
        return False


def _or_none(change: Callable[[float], Case], amount: float) -> Case | None:
    try:
        return change(amount)
    except NoPlanError:
        return None


def _up(unit: DisplayUnit) -> Callable[[float], float]:
    step = _step(unit)
    return lambda amount: math.ceil(amount / step - 1e-6) * step


def _step(unit: DisplayUnit) -> float:
    """The least difference a reader sees."""
    return unit.size / 10**unit.decimals


# --- supplies -------------------------------------------------------------------------


def _supplies(search: _Search) -> Iterable[Mend]:
    """Supplies on the refused stretches, as few and as small as can be."""
    if not search.short_of("water", "coal", "weight"):
        return
    search.progress("trying another supply")
    case, shortages = search.case, search.shortages
    own = len(case.scenario.supplies)
    stretches: list[Shortage] = []
    plan = None
    for number in range(_SUPPLIES):
        wanted = _wanted(case, shortages)
        if wanted is None or search.late:
            break
        stretches.append(wanted)
        at = (wanted.begin + wanted.end) / 2
        kind: Literal["water", "coal"] = "coal" if wanted.kind == "coal" else "water"
        name = f"supply tried {number + 1}"
        case = case.with_supplies(
            (*case.scenario.supplies, tap(case.scenario, kind, at, name=name))
        )
        try:
            plan = solved_plan(_thrifty(case, own), aim=Aim(first="cheapest"), time_limit=_ONE)
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
    what = _stretches_told(search, [(s, math.inf) for s in stretches])
    yield Mend(what=what, found="late" if search.late else "does not")


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
    search: _Search, case: Case, own: int, plan: Plan, stretches: list[Shortage]
) -> Mend | None:
    """With the supplies holding what was taken, rounded up."""
    system = UNIT_SYSTEMS[case.scenario.file.units]
    units = {"water": system.water, "coal": system.coal}
    rows = list(case.scenario.supplies)
    for more in range(_MORE):
        told = []
        for number, stretch in enumerate(stretches):
            row = own + number
            stops = [s for s in plan.stops if s.kind == "supply" and s.row == row]
            taken = sum(
                s.coal_taken if stretch.kind == "coal" else s.water_taken + s.cart_filled
                for s in stops
            )
            unit = units[stretch.kind]
            amount = _up(unit)(taken + more * _step(unit))
            told.append((stretch, amount))
            rows[row] = rows[row].model_copy(update={f"{stretch.kind}_available": amount})
        mended = case.with_supplies(rows)
        found = search.verified(mended)
        if found is not None:
            what = _stretches_told(search, told)
            return Mend(what=what, found="mends", scenario=mended.scenario, plan=found)
    return None


def _stretches_told(search: _Search, told: Iterable[tuple[Shortage, float]]) -> str:
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


# --- engine, train and reserve --------------------------------------------------------


def _stores(search: _Search) -> Iterable[Mend]:
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
            return _up(unit)(now + more) - now

        yield search.least_of(
            change,
            first=lacking,
            most=(_MOST_TIMES - 1) * now,
            near=_NEAR * now,
            unit=_step(unit),
            up=up,
            tell=tell,
        )


def _lighter(search: _Search) -> Iterable[Mend]:
    """Less load on the wagons, where weight matters."""
    case = search.case
    steam = not case.scenario.demand
    if not case.load or not (search.short_of("weight") or (steam and search.short_of(
        "water", "coal", "latest", "crew", "hours", "call"
    ))):  # fmt: skip
        return
    search.progress("trying a lighter train")
    unit = UNIT_SYSTEMS[case.scenario.file.units].mass
    yield search.least_of(
        lambda less: case.with_load(max(1 - less / case.load, 0.0)),
        first=0.1 * case.load,
        most=case.load,
        near=_NEAR * case.load,
        unit=_step(unit),
        up=_up(unit),
        tell=lambda less: (
            f"a train lighter by {unit.text(less)} of its {unit.text(case.load)} of load"
        ),
    )


def _reserve(search: _Search) -> Iterable[Mend]:
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
            step = _step(unit)  # what is left is rounded down
            return now - max(math.floor((now - less) / step + 1e-6) * step, 0.0)

        yield search.least_of(
            change,
            first=min(lacking, now),
            most=now,
            near=_NEAR * store,
            unit=_step(unit),
            up=up,
            tell=tell,
        )


def _paces(search: _Search) -> Iterable[Mend]:
    """Slower driving, where only full pace is open."""
    scenario = search.case.scenario
    if scenario.demand or scenario.file.paces or not search.short_of("water", "coal"):
        return
    search.progress("trying slower paces")
    shown = ", ".join(f"{100 * pace:.0f} %" for pace in _PACES)
    what = f"driving slower where it saves: paces of {shown}"
    if search.late:
        yield Mend(what=what, found="late")
        return
    try:
        case = search.case.with_file(paces=_PACES)
    except NoPlanError:
        yield Mend(what=what, found="does not")
        return
    yield _as_it_is(search, case, what)


def _as_it_is(search: _Search, case: Case, what: str) -> Mend:
    """A change that is made or not."""
    if search.late:
        return Mend(what=what, found="late")
    plan = search.verified(case)
    if plan is None:
        return Mend(what=what, found="late" if search.late else "does not")
    return Mend(what=what, found="mends", scenario=case.scenario, plan=plan)


# --- the clock ------------------------------------------------------------------------


def _moved(
    search: _Search, change: Callable[[float], Case], tell: Callable[[float], str], most: float
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


def _clocks(search: _Search) -> Iterable[Mend]:
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
            lambda by: f"a crew on duty for {_clock(crew + by)} h, {by / 60:.0f} min more a day",
            _DAY - crew,
        )
    nights = any(row.night == "yes" for row in (*case.scenario.places, *case.scenario.supplies))
    if nights and file.nights.most < 9:
        more = file.nights.model_copy(update={"most": file.nights.most + 1})
        yield _as_it_is(search, case.with_file(nights=more), "one night more on the way")


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


_KINDS: Final[tuple[Callable[[_Search], Iterable[Mend]], ...]] = (
    _supplies, _stores, _lighter, _reserve, _paces, _clocks,
)  # fmt: skip
