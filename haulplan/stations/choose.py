"""Choose the stations: the organiser's aims in order, proof, losses, and why there are none."""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, cast

import pulp

from haulplan.errors import InternalError, NoPlanError
from haulplan.plan.run import run
from haulplan.stations.cover import Cover, build_cover, weighted
from haulplan.stations.explain import binding_limit, refuse_gaps, serves
from haulplan.stations.overview import Cut, Overview, build_overview, most_given
from haulplan.stations.schema import AIMS, Aim
from haulplan.stations.task import Task

__all__ = ["Choice", "Given", "Stage", "choose"]

#: Later aims count as met this near to their best. haulplan's assumption. [-]
_GAP: Final = 0.01
#: Weight of much water against one station fewer, over all places. [-]
_PREFERENCE: Final = 0.4
#: Least time to find what one set of places can do for an aim. [s]
_VALUING: Final = 3.0
#: Least time to spare stops in. [s]
_SETTLING: Final = 5.0
#: Longest spent on the coarse count of stations. [s]
_COUNTING: Final = 6.0
#: Sets of places tried for one aim, however far from proved.
_MOST_TRIES: Final = 10
#: Waits nearer together than this count as equal. haulplan's assumption. [min]
_HALF_MINUTE: Final = 0.5
Say = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Given:
    """One planned stop: arrival and mark to fill to, pessimistic [kg]; visit and place."""

    visit: int
    place: int
    arrive: float
    take: float
    mark: float


@dataclass(frozen=True, kw_only=True)
class Stage:
    """How one aim ended: value and proven bound, in stations, minutes or money."""

    aim: str
    value: float
    bound: float
    proven: bool

    @property
    def gap(self) -> float:
        """Distance from the bound, relative to the value [-]."""
        return 0.0 if self.value <= self.bound else (self.value - self.bound) / abs(self.value)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Open places, every engine's stops in driving order, levels at its finish [kg]."""

    open: tuple[int, ...]
    stops: tuple[tuple[Given, ...], ...]
    finish: tuple[float, ...]
    stages: tuple[Stage, ...]
    losses: bool


def choose(
    task: Task,
    *,
    aims: Sequence[Aim] = AIMS,
    losses: bool = False,
    time_limit: float | None = None,
    cuts: Sequence[Cut] = (),
    gap: float = _GAP,
    tries: int | None = _MOST_TRIES,
    say: Say = lambda _: None,
) -> Choice:
    """The best stations by the aims in their order.

    Parameters
    ----------
    task
        The numbers.
    aims
        The first counts first; each later one is sought among what the earlier leave.
    losses
        Whether every engine must get round with any one station lost, however long its
        queues are then.
    time_limit
        Most seconds; an answer that is not proven by then says how far off it may be. [s]
    cuts
        What is known of the places beforehand.
    gap
        Relative gap at which waits and money count as proved best. [-]
    tries
        Most sets of places tried for waits and money after the first; no limit where None.
        A count and not a time, so that the answer does not hang on the machine.
    say
        Told what is being done.

    Returns
    -------
    choice
        Stations, stops and marks.

    Raises
    ------
    NoPlanError
        If no choice of places lets every engine through; the stretch or limit is named.
    """
    done = math.inf if time_limit is None else time.monotonic() + time_limit
    refuse_gaps(task, losses=losses)
    search = _Search(task=task, losses=losses, done=done, cuts=list(cuts), gap=gap, tries=tries)
    stages: list[Stage] = []
    best: frozenset[int] | None = None
    for number, aim in enumerate(aims):
        say(f"choosing stations: {aim}")
        now = time.monotonic()
        search.done = now + (done - now) / (len(aims) - number)
        stage, best = _stage(search, aim, stages, best)
        stages.append(stage)
    assert best is not None
    say("sparing stops, setting the marks")
    return _settle(search, best, stages)


@dataclass(kw_only=True)
class _Search:
    """What the search for stations has to go by and has learnt.

    `tried` by places; `start`, the best set's own answer by variable.
    """

    task: Task
    losses: bool
    done: float
    cuts: list[Cut]
    gap: float
    tries: int | None
    tried: dict[frozenset[int], bool] = field(default_factory=dict)
    start: Mapping[str, float] | None = None


@dataclass(kw_only=True)
class _Hunt:
    """One aim as it is sought: the best set and its value, the bound, sets already tried."""

    aim: Aim
    earlier: Sequence[Stage]
    best: frozenset[int] | None
    value: float = math.inf
    bound: float = -math.inf
    passed: list[Cut] = field(default_factory=list)
    tries: int = 0


def _stage(
    search: _Search, aim: Aim, earlier: Sequence[Stage], best: frozenset[int] | None
) -> tuple[Stage, frozenset[int]]:
    """Seek one aim among what the earlier leave: bounds from above and below until they meet."""
    hunt = _Hunt(aim=aim, earlier=earlier, best=best)
    _begin(search, hunt)
    while not _met(search, hunt) and _step(search, hunt):
        late = time.monotonic() > search.done
        if hunt.best is not None and (late or hunt.tries == search.tries):
            break
    if hunt.best is None or not math.isfinite(hunt.value):
        raise InternalError(
            "no stations were found within the time limit; raise --time-limit. This does not "
            "show that there are none"
        )
    bound = min(max(hunt.bound, 0.0), hunt.value)
    stage = Stage(aim=aim, value=hunt.value, bound=bound, proven=_met(search, hunt))
    return stage, hunt.best


def _begin(search: _Search, hunt: _Hunt) -> None:
    """Value the set already at hand, or count how few stations there may be."""
    places = search.task.places
    stations = frozenset(s for s, place in enumerate(places) if place.station)
    if hunt.best is not None:
        hunt.value, search.start = _value(search, hunt.best, hunt.aim, hunt.earlier)
    elif hunt.aim == "fewest stations":
        least, hunt.best = _count(search)
        hunt.passed.append(Cut(places=stations, least=least))
        if hunt.best is not None:
            hunt.bound, hunt.value = float(least), float(len(hunt.best & stations))


def _met(search: _Search, hunt: _Hunt) -> bool:
    """Whether bound and value are near enough to call it proved."""
    if not math.isfinite(hunt.value):
        return False
    near = max(search.gap * abs(hunt.value), 1e-6)
    return hunt.bound >= hunt.value - (0.5 if hunt.aim == "fewest stations" else near)


def _step(search: _Search, hunt: _Hunt) -> bool:
    """One overview: a better bound, and a set of places to value. False where none is left."""
    task = search.task
    overview = build_overview(task, losses=search.losses, cuts=[*search.cuts, *hunt.passed])
    problem = overview.problem
    for stage in hunt.earlier:
        problem += _aimed(overview, cast("Aim", stage.aim)) <= _kept(stage)
    problem.setObjective(_aimed(overview, hunt.aim) + 0.0 * overview.waits)
    outcome = run(overview, search.done, optional=True, gap=min(1e-4, search.gap))
    if not outcome.found and outcome.proven and hunt.best is None:
        raise NoPlanError(binding_limit(task))
    if not outcome.found:
        hunt.bound = hunt.value if outcome.proven else hunt.bound
        return False
    whole = hunt.aim == "fewest stations"
    bound = math.ceil(outcome.bound - 1e-6) if whole else outcome.bound
    hunt.bound = max(hunt.bound, min(bound, hunt.value))
    if _met(search, hunt):
        return False
    opened = _opened(overview)
    if cut := _lesson(search, opened):
        search.cuts.append(cut)
        return True
    reached, answer = _value(search, opened, hunt.aim, hunt.earlier)
    if reached < hunt.value:
        hunt.best, hunt.value, search.start = opened, reached, answer
    hunt.passed.append(_other_than(task, opened))
    hunt.tries += 1
    return True


def _count(search: _Search) -> tuple[int, frozenset[int] | None]:
    """How few stations there may be by the coarse count, and such a set if one was found to do.

    Of sets as small, those that can give most water are tried first.
    """
    task, least = search.task, 0
    passed: list[Cut] = []
    share = _PREFERENCE / len(task.places)
    for _ in range(_MOST_TRIES):
        overview = build_overview(
            task, losses=search.losses, cuts=[*search.cuts, *passed], brief=True
        )
        most = [most_given(task, s) for s in range(len(task.places))]
        ample = min(max(most), sum(drinker.total for drinker in task.drinkers)) or 1.0
        liked = [
            (z, -share * min(m / ample, 1.0)) for z, m in zip(overview.open, most, strict=True)
        ]
        overview.problem.setObjective(overview.stations() + weighted(liked))
        soon = min(search.done, time.monotonic() + _COUNTING)
        outcome = run(overview, soon, optional=True)
        if not outcome.found:
            break
        least = max(least, math.ceil(outcome.bound - 1e-6))
        opened = _opened(overview)
        if all(
            _through(search, opened - {lost}, lost=lost >= 0)
            for lost in [-1, *(sorted(opened) if search.losses else ())]
        ):
            return least, opened
        passed.append(_other_than(task, opened))
    return least, None


def _opened(overview: Overview) -> frozenset[int]:
    return frozenset(s for s, z in enumerate(overview.open) if (z.varValue or 0.0) > 0.5)


def _kept(stage: Stage) -> float:
    """What a later aim may let an earlier one come to."""
    slack = _HALF_MINUTE if stage.aim == "best service" else 1e-6 * max(abs(stage.value), 1.0)
    return stage.value + slack


def _aimed(programme: Overview | Cover, aim: Aim) -> Any:  # noqa: ANN401  a PuLP expression
    if aim == "best service":
        return programme.service()
    if aim == "least cost":
        return programme.cost()
    stations = [place.station for place in programme.task.places]
    if isinstance(programme, Overview):
        return programme.stations()
    return pulp.lpSum([]) + float(sum(stations[s] for s in programme.open))


def _other_than(task: Task, opened: frozenset[int]) -> Cut:
    """Anything but exactly these places."""
    every = frozenset(range(len(task.places)))
    return Cut(places=every - opened, least=1, shut=opened)


def _lesson(search: _Search, opened: frozenset[int]) -> Cut | None:
    """What is to be learnt where these places, or these but for a lost one, do not do."""
    every = frozenset(s for s, p in enumerate(search.task.places) if p.status != "forbidden")
    for lost in [None, *(sorted(opened) if search.losses else ())]:
        left = opened if lost is None else opened - {lost}
        if _through(search, left, lost=lost is not None):
            continue
        # As many more as do not help: the cut is the stronger for each.
        for other in sorted(every - opened):
            if time.monotonic() > search.done:
                break
            if not _through(search, left | {other}, lost=lost is not None):
                left |= {other}
        return Cut(places=every - left, least=1 if lost is None else 2)
    return None


def _through(search: _Search, opened: frozenset[int], *, lost: bool) -> bool:
    """Whether these places let every engine through; with one lost, however long they queue."""
    key = opened | {-1} if lost else opened
    if key not in search.tried:
        task = replace(search.task, longest_wait=math.inf) if lost else search.task
        search.tried[key] = serves(task, opened)
    return search.tried[key]


def _value(
    search: _Search, opened: frozenset[int], aim: Aim, earlier: Sequence[Stage]
) -> tuple[float, Mapping[str, float] | None]:
    """The best these places do for an aim while they keep the earlier, and how.

    Infinite if they cannot.
    """
    task = search.task
    if aim == "fewest stations":
        return float(sum(task.places[s].station for s in opened)), search.start
    cover = _bound_cover(task, opened, earlier, waits=aim == "best service")
    cover.problem.setObjective(_aimed(cover, aim) + 0.0 * cover.waits)
    done = max(search.done, time.monotonic() + _VALUING)
    exact = min(search.gap / 10, 1e-3)
    outcome = run(cover, done, start=search.start, optional=True, gap=exact)
    if not outcome.found:
        return math.inf, None
    return outcome.value, {v.name: v.varValue or 0.0 for v in cover.problem.variables()}


def _bound_cover(
    task: Task, opened: frozenset[int], stages: Sequence[Stage], *, waits: bool = False
) -> Cover:
    """The programme of these places with the aims already reached."""
    cover = build_cover(task, opened)
    problem = cover.problem
    if waits or any(stage.aim == "best service" for stage in stages):
        cover.bind_waits()
    for stage in stages:
        if stage.aim != "fewest stations":
            problem += _aimed(cover, cast("Aim", stage.aim)) + 0.0 * cover.waits <= _kept(stage)
    return cover


def _settle(search: _Search, opened: frozenset[int], stages: list[Stage]) -> Choice:
    """Spare stops that nobody needs, then fill every tank as high as the limits let."""
    task = search.task
    cover = _bound_cover(task, opened, stages)
    problem = cover.problem
    problem.setObjective(pulp.lpSum(list(cover.stops.values())) + 0.0 * cover.waits)
    done = max(search.done, time.monotonic() + _SETTLING)
    if not run(cover, done, start=search.start, gap=_GAP).found:
        raise InternalError("the chosen stations do not serve the fleet after all; report this")
    stopping = {key: round(y.varValue) for key, y in cover.stops.items()}
    for key, y in cover.stops.items():
        y.lowBound = y.upBound = stopping[key]
    tanks = [drinker.tank for drinker in task.drinkers]
    problem.setObjective(
        weighted(
            [(level, -1.0 / tanks[e]) for (e, _), level in cover.levels.items()]
            + [(level, -1.0 / tanks[e]) for e, level in enumerate(cover.finish)]
        )
    )
    if not run(cover, None).found:
        raise InternalError("the chosen stops do not serve the fleet after all; report this")
    return Choice(
        open=tuple(sorted(opened)),
        stops=tuple(
            tuple(_given(cover, e, v) for v in range(len(task.visits)) if stopping.get((e, v)))
            for e in range(len(task.drinkers))
        ),
        finish=tuple(float(level.varValue) for level in cover.finish),
        stages=tuple(stages),
        losses=search.losses,
    )


def _given(cover: Cover, e: int, v: int) -> Given:
    arrive, take = (float(x[e, v].varValue) for x in (cover.levels, cover.takes))
    drinker = cover.task.drinkers[e]
    return Given(
        visit=v,
        place=cover.task.visits[v],
        arrive=arrive,
        take=take,
        mark=min(arrive - drinker.wait + take, drinker.tank),
    )
