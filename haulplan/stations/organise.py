"""Organise an event: stations, then the day played through until the stated chance holds."""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, NoPlanError, Problem
from haulplan.stations.choose import Choice, choose
from haulplan.stations.course import Course, build_course
from haulplan.stations.day import Day, Factors, Halt, play_day
from haulplan.stations.fleet import Engine, build_fleet
from haulplan.stations.overview import Cut
from haulplan.stations.read import Event
from haulplan.stations.schema import Aim
from haulplan.stations.task import build_task, factor_at
from haulplan.stations.trucks import Rota, Shift, loads_of, plan_trucks
from haulplan.units import UNIT_SYSTEMS

__all__ = ["Drill", "Odds", "Organised", "Stagger", "organise", "play_runs"]

Array = NDArray[np.float64]
Say = Callable[[str], None]
#: Pessimisms tried in turn where the wanted one leaves too many days dry. [-]
_LADDER: Final = (0.95, 0.975, 0.99, 0.995, 0.999)
#: So many times the dry days allowed is far too many. [-]
_MANY: Final = 3.0
#: Start gaps tried: from the event's own up to so much, in such steps. [s]
_LONGEST_GAP, _GAP_STEP = 1200.0, 30.0
#: Waits shorter than this are no queue. haulplan's assumption. [s]
_NO_QUEUE: Final = 60.0
#: Sets of truck places tried before the trucks are called too few.
_TRIES: Final = 8
_GRID: Final = 300.0


@dataclass(frozen=True, kw_only=True)
class Odds:
    """What so many days came to.

    `dry` days on which any engine ran dry, and the upper end of its chance with 95 %
    confidence (Clopper and Pearson); by engine the lowest level of all days [kg], where
    [m], the level one day in twenty goes under [kg], and its dry days; `waits` by place:
    mean, nineteen in twenty and longest [s]; `crowds` by place: clock [s], mean and
    nineteen in twenty of those standing there; `finish` typical and late [s].
    """

    runs: int
    dry: int
    at_most: float
    lowest: Array
    where: Array
    low_mark: Array
    dry_days: NDArray[np.int64]
    waits: Mapping[int, tuple[float, float, float]]
    crowds: Mapping[int, tuple[Array, Array, Array]]
    calls: float
    unplanned: float
    finish: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Stagger:
    """A gap between starts and what it does on a typical day [s]."""

    gap: float
    longest_wait: float
    mean_wait: float
    last_finish: float


@dataclass(frozen=True, kw_only=True)
class Drill:
    """The day with one place lost, at the thirst reckoned with.

    `wait` the longest queue [s]; `unmet` places the trucks cannot serve then; `dry` engines.
    """

    lost: int
    wait: float
    unmet: tuple[int, ...]
    dry: int


@dataclass(frozen=True, kw_only=True)
class Organised:
    """All that is handed out; `typical` is a day with everything as reckoned."""

    event: Event
    course: Course
    fleet: tuple[Engine, ...]
    choice: Choice
    pessimism: float
    factor: float
    coal: Mapping[tuple[int, int], int]
    rota: Rota
    typical: Day
    heavy: Day
    odds: Odds
    staggers: tuple[Stagger, ...]
    calm: Stagger | None
    drills: tuple[Drill, ...]
    seconds: float


def organise(
    event: Event,
    *,
    aims: Sequence[Aim] | None = None,
    losses: bool = False,
    pessimism: float | None = None,
    time_limit: float | None = None,
    say: Say = lambda _: None,
) -> Organised:
    """Stations, marks, trucks and queues for an event, proved by playing the day.

    Parameters
    ----------
    event
        A checked event.
    aims
        In the organiser's order; the event's own where None.
    losses
        Whether every engine must get round with any one station lost.
    pessimism
        Chance that an engine's use stays under what is planned; the event's own where
        None. Raised step by step where the days played show too many dry ones. [-]
    time_limit
        Most seconds for the choice of stations each time. [s]
    say
        Told what is being done.

    Returns
    -------
    organised
        Everything the outputs show.

    Raises
    ------
    InputError
        If the event is wrong, or has too few runs to show its chance.
    NoPlanError
        If there is no choice of stations, the trucks are too few, or the chance cannot be
        kept at any pessimism.
    """
    begin = time.monotonic()
    _check_runs(event)
    course = build_course(event)
    fleet = build_fleet(event, course)
    wanted = event.file.chances.pessimism if pessimism is None else pessimism
    last: Odds | None = None
    ladder = [wanted, *(p for p in _LADDER if p > wanted)]
    while ladder:
        share = ladder.pop(0)
        factor = factor_at(event, share)
        choice, heavy, rota, coal = _served(
            event, course, fleet, factor, aims or event.file.aims, losses, time_limit, say
        )
        say(f"playing {event.file.chances.runs} days")
        odds = play_runs(event, course, fleet, choice, rota, coal)
        if odds.at_most <= 1 - event.file.chances.nobody_dry + 1e-12:
            break
        last = odds
        say(f"too many dry days at a pessimism of {share:.1%}: trying a higher one")
        if odds.dry > _MANY * odds.runs * (1 - event.file.chances.nobody_dry):
            ladder = ladder[:-1][1:] + ladder[-1:]  # far off: one rung is not enough
    else:
        assert last is not None
        raise NoPlanError(_too_dry(event, fleet, last))
    even = Factors(engines=[1.0] * len(fleet))
    typical = play_day(event, course, fleet, choice, even, shifts=_shifts(event, rota), coal=coal)
    say("trying gaps between starts")
    staggers, calm = _staggers(event, course, fleet, choice, coal)
    drills = _drills(event, course, fleet, factor, choice, say) if losses else ()
    return Organised(
        event=event, course=course, fleet=fleet, choice=choice, pessimism=share, factor=factor,
        coal=coal, rota=rota, typical=typical, heavy=heavy, odds=odds, staggers=staggers,
        calm=calm, drills=drills, seconds=time.monotonic() - begin,
    )  # fmt: skip


def _check_runs(event: Event) -> None:
    chances = event.file.chances
    least = math.ceil(math.log(0.05) / math.log(chances.nobody_dry) - 1e-9)
    if chances.runs < least:
        found = f"{chances.runs} runs cannot show a chance of {chances.nobody_dry:.1%}"
        remedy = f"play at least {least}, or state a lower nobody_dry"
        raise InputError(
            [Problem(file="event.toml", where="chances.runs", found=found, remedy=remedy)]
        )


def _served(
    event: Event,
    course: Course,
    fleet: Sequence[Engine],
    factor: float,
    aims: Sequence[Aim],
    losses: bool,
    time_limit: float | None,
    say: Say,
) -> tuple[Choice, Day, Rota, dict[tuple[int, int], int]]:
    """Stations whose trucks can follow: sets of truck places that cannot are cut off."""
    task = build_task(event, course, fleet, factor)
    trucked = frozenset(s for s, site in enumerate(course.sites) if site.by_truck)
    cuts: list[Cut] = []
    short = ""
    for _ in range(_TRIES):
        try:
            choice = choose(
                task, aims=aims, losses=losses, time_limit=time_limit, cuts=cuts, say=say
            )
        except NoPlanError as error:
            raise NoPlanError(f"{error}\n{short}" if short else str(error)) from None
        coal = _coal_stops(event, course, fleet, choice)
        planned = Factors(engines=[factor] * len(fleet))
        heavy = play_day(event, course, fleet, choice, planned, coal=coal)
        if not event.trucks:
            return choice, heavy, Rota(shifts=(), unmet=(), proven=True), coal
        say("sending the trucks")
        rota = plan_trucks(event, course, loads_of(event, course, _wants(course, heavy.halts)))
        if not rota.unmet:
            return choice, heavy, rota, coal
        short = _short(event, course, rota)
        used = trucked & frozenset(choice.open)
        cuts.append(Cut(places=trucked - used, least=1, shut=used))
    raise NoPlanError(short)


def _wants(course: Course, halts: Sequence[Halt]) -> dict[int, list[tuple[float, float, float]]]:
    wants: dict[int, list[tuple[float, float, float]]] = {}
    for halt in halts:
        if course.sites[halt.place].by_truck and halt.take > 0:
            wants.setdefault(halt.place, []).append((halt.begin, halt.leave, halt.take))
    return wants


def _short(event: Event, course: Course, rota: Rota) -> str:
    system = UNIT_SYSTEMS[event.file.units]
    load = max(rota.unmet, key=lambda load: load.water)
    clock = f"{int(load.begin // 3600):02d}:{int(load.begin % 3600 // 60):02d}"
    return (
        f"the trucks cannot serve {course.sites[load.place].name}: "
        f"{system.water.text(load.water)} wanted from {clock} on; another truck, a nearer or "
        "faster fill point, an earlier 'ready' or a longer stagger would mend it"
    )


def _coal_stops(
    event: Event, course: Course, fleet: Sequence[Engine], choice: Choice
) -> dict[tuple[int, int], int]:
    """Bags by engine and visit: at the planned stop with coal nearest to the middle of its way.

    Whoever stops nowhere with coal gets it at its start, under visit -1.
    """
    bags: dict[tuple[int, int], int] = {}
    for e, engine in enumerate(fleet):
        count = math.ceil(engine.coal / event.file.service.bag - 1e-9)
        if not count:
            continue
        middle = (engine.joins + engine.leaves) / 2
        offers = [
            (abs(course.visits[g.visit].distance - middle), g.visit)
            for g in choice.stops[e]
            if course.sites[g.place].row.coal == "yes"
        ]
        bags[e, min(offers)[1] if offers else -1] = count
    return bags


def play_runs(
    event: Event,
    course: Course,
    fleet: Sequence[Engine],
    choice: Choice,
    rota: Rota,
    coal: Mapping[tuple[int, int], int],
) -> Odds:
    """Play as many days as the event asks for, each with its own thirst.

    Parameters
    ----------
    event, course, fleet, choice, rota, coal
        What was planned.

    Returns
    -------
    odds
        What came of them.
    """
    chances = event.file.chances
    days = []
    for seed in np.random.SeedSequence(chances.draw).spawn(chances.runs):
        draw = np.random.default_rng(seed)
        common = draw.normal(0.0, chances.day)
        own = np.exp(common + draw.normal(0.0, chances.engine, len(fleet))).tolist()
        factors = Factors(engines=own, leg=chances.leg, draw=draw)
        days.append(
            play_day(event, course, fleet, choice, factors, shifts=_shifts(event, rota), coal=coal)
        )
    return _odds(fleet, choice, days)


def _shifts(event: Event, rota: Rota) -> tuple[Shift, ...] | None:
    """What the trucks do; None where none are listed and truck places are hired as they stand."""
    return rota.shifts if event.trucks else None


def _odds(fleet: Sequence[Engine], choice: Choice, days: Sequence[Day]) -> Odds:
    from scipy.stats import beta  # noqa: PLC0415  slow to load

    lows = np.array([[engine.lowest for engine in day.engines] for day in days])
    spots = np.array([[engine.where for engine in day.engines] for day in days])
    dry = np.array([[engine.dry for engine in day.engines] for day in days])
    count = int(dry.any(axis=1).sum())
    worst = lows.argmin(axis=0)
    every = np.arange(len(fleet))
    at_most = 1.0 if count == len(days) else float(beta.ppf(0.95, count + 1, len(days) - count))
    waits = {}
    for place in choice.open:
        found = [h.wait for day in days for h in day.halts if h.place == place] or [0.0]
        waits[place] = (
            float(np.mean(found)), float(np.percentile(found, 95)), float(np.max(found)),
        )  # fmt: skip
    finishes = np.array([max(e.finish for e in day.engines) for day in days])
    return Odds(
        runs=len(days),
        dry=count,
        at_most=at_most,
        lowest=lows[worst, every],
        where=spots[worst, every],
        low_mark=np.percentile(lows, 5, axis=0),
        dry_days=dry.sum(axis=0),
        waits=waits,
        crowds={place: _crowd([day.crowds[place] for day in days]) for place in choice.open},
        calls=float(np.mean([sum(e.calls for e in day.engines) for day in days])),
        unplanned=float(np.mean([sum(not h.planned for h in day.halts) for day in days])),
        finish=(float(np.median(finishes)), float(np.percentile(finishes, 95))),
    )


def _crowd(runs: Sequence[Sequence[tuple[float, int]]]) -> tuple[Array, Array, Array]:
    """Mean and nineteen-in-twenty crowd of a place on an even grid of clocks."""
    clocks = [clock for run in runs for clock, _ in run]
    if not clocks:
        return np.zeros(1), np.zeros(1), np.zeros(1)
    grid = np.arange(math.floor(min(clocks) / _GRID) * _GRID, max(clocks) + 2 * _GRID, _GRID)
    sampled = np.zeros((len(runs), grid.size))
    for number, run in enumerate(runs):
        at = np.array([clock for clock, _ in run])
        level = np.array([0, *(present for _, present in run)])
        # The most present since the last point of the grid.
        peak = np.maximum.reduceat(
            level[np.searchsorted(at, np.sort(np.concatenate([grid, at])), side="right")],
            np.searchsorted(np.sort(np.concatenate([grid, at])), grid),
        )
        sampled[number] = peak
    return grid, sampled.mean(axis=0), np.percentile(sampled, 95, axis=0)


def _drills(
    event: Event,
    course: Course,
    fleet: Sequence[Engine],
    factor: float,
    choice: Choice,
    say: Say,
) -> tuple[Drill, ...]:
    """Each open place lost in turn: who stops where then, the trucks sent anew, the day played."""
    task = replace(build_task(event, course, fleet, factor), longest_wait=math.inf)
    planned = Factors(engines=[factor] * len(fleet))
    drills = []
    for lost in choice.open:
        say(f"drill: {course.sites[lost].name} lost")
        left = set(choice.open) - {lost}
        places = tuple(
            replace(place, status="existing" if s in left else "forbidden")
            for s, place in enumerate(task.places)
        )
        without = choose(replace(task, places=places), aims=("fewest stations",))
        day = play_day(event, course, fleet, without, planned)
        unmet: tuple[int, ...] = ()
        if event.trucks:
            rota = plan_trucks(event, course, loads_of(event, course, _wants(course, day.halts)))
            unmet = tuple(sorted({load.place for load in rota.unmet}))
            day = play_day(event, course, fleet, without, planned, shifts=rota.shifts)
        drills.append(
            Drill(
                lost=lost,
                wait=max((halt.wait for halt in day.halts), default=0.0),
                unmet=unmet,
                dry=sum(engine.dry for engine in day.engines),
            )
        )
    return tuple(drills)


def _too_dry(event: Event, fleet: Sequence[Engine], odds: Odds) -> str:
    worst = int(odds.dry_days.argmax())
    unit = UNIT_SYSTEMS[event.file.units].distance
    return (
        f"somebody runs dry on {odds.dry} of {odds.runs} days played, even at a pessimism of "
        f"{_LADDER[-1]:.1%}: most often {fleet[worst].name}, about "
        f"{unit.text(float(odds.where[worst]))} along; a higher reserve, a nearer site, a "
        "roving truck, or a lower nobody_dry would mend it"
    )


def _staggers(
    event: Event,
    course: Course,
    fleet: Sequence[Engine],
    choice: Choice,
    coal: Mapping[tuple[int, int], int],
) -> tuple[tuple[Stagger, ...], Stagger | None]:
    """Gaps between starts from the event's own up, and the first without a queue."""
    even = Factors(engines=[1.0] * len(fleet))
    found: list[Stagger] = []
    gap = event.file.procession.stagger
    while gap <= max(_LONGEST_GAP, event.file.procession.stagger):
        rule = event.file.procession.model_copy(update={"stagger": gap})
        file = event.file.model_copy(update={"procession": rule})
        day = play_day(replace(event, file=file), course, fleet, choice, even, coal=coal)
        waits = [halt.wait for halt in day.halts] or [0.0]
        found.append(
            Stagger(
                gap=gap, longest_wait=max(waits), mean_wait=float(np.mean(waits)),
                last_finish=max(engine.finish for engine in day.engines),
            )
        )  # fmt: skip
        if found[-1].longest_wait <= _NO_QUEUE:
            return tuple(found), found[-1]
        gap += _GAP_STEP
    return tuple(found), None
