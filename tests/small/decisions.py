"""Every discrete decision of a small problem: what is left over is a linear programme."""

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from small.problems import DAY, DEPART, Bridge, Halt, Problem, Tap

__all__ = ["Decision", "Road", "decisions", "has_reason", "lowest_cost", "weights"]


@dataclass(frozen=True)
class Decision:
    """Everything that is not an amount: cuts of the road are numbered from the start."""

    gears: tuple[int, ...]
    made: tuple[int, ...]
    truck: frozenset[int] = frozenset()
    uncoupled: frozenset[int] = frozenset()
    nights: tuple[tuple[int, str], ...] = ()
    duties: tuple[frozenset[int], ...] = ()
    #: For each day, for each meal: the cut where it is had, or why it is not due.
    meals: tuple[tuple[int | str, ...], ...] = ()


class Road:
    """The finest cut of a problem's road and what stands at each cut."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.facility: dict[int, Tap | Halt | Bridge] = {}
        standing: list[tuple[float, Tap | Halt | Bridge]] = []
        standing += [(at, tap) for tap in problem.taps for at in tap.at]
        standing += [(halt.at, halt) for halt in problem.halts]
        standing += [(bridge.at, bridge) for bridge in problem.bridges]
        ends = [s[0].end for s in problem.stretches]
        self.cuts = sorted({0.0, *ends, *(at for at, _ in standing)})
        assert len({at for at, _ in standing}) == len(standing)
        for at, what in standing:
            self.facility[self.cuts.index(at)] = what
        self.last = len(self.cuts) - 1
        self.row = [
            next(n for n, end in enumerate(ends) if end >= after - 1e-9) for after in self.cuts[1:]
        ]

    def share(self, j: int) -> float:
        """Part of its row that the piece from cut j to the next makes up."""
        row = self.problem.stretches[self.row[j]][0]
        return (self.cuts[j + 1] - self.cuts[j]) / (row.end - row.begin)

    def clock(self, gears: tuple[int, ...]) -> list[float]:
        """Minutes of driving from the start to each cut."""
        minutes = [0.0]
        for j in range(self.last):
            stretch = self.problem.stretches[self.row[j]][gears[self.row[j]]]
            minutes.append(minutes[-1] + stretch.minutes * self.share(j))
        return minutes

    @cached_property
    def crests(self) -> dict[int, tuple[float, float]]:
        """Grades up to and down from each crest, by its cut."""
        heights = self.problem.heights
        ends = [0.0, *(s[0].end for s in self.problem.stretches)]
        return {
            self.cuts.index(ends[k]): (
                (heights[k] - heights[k - 1]) / (ends[k] - ends[k - 1]),
                (heights[k] - heights[k + 1]) / (ends[k + 1] - ends[k]),
            )
            for k in range(1, len(heights) - 1)
            if heights[k] > max(heights[k - 1], heights[k + 1])
        }

    @cached_property
    def possible(self) -> list[int]:
        """Cuts at which the train may stop."""
        return [j for j, what in sorted(self.facility.items()) if _stoppable(self.problem, what)]

    @cached_property
    def forced(self) -> list[int]:
        """Cuts at which it must."""
        return [
            j
            for j, what in sorted(self.facility.items())
            if isinstance(what, Halt) and what.stay is not None
        ]


def _stoppable(problem: Problem, what: Tap | Halt | Bridge) -> bool:
    if isinstance(what, Tap):
        return not (what.dry_only and problem.wet)
    if isinstance(what, Bridge):
        return what.uncouple is not None or what.drain is not None
    return what.halt or what.night or what.stay is not None


def _subsets(items: Iterable[int], most: int | None = None) -> Iterator[tuple[int, ...]]:
    pool = list(items)
    for count in range(min(len(pool), len(pool) if most is None else most) + 1):
        yield from itertools.combinations(pool, count)


def decisions(road: Road) -> Iterator[Decision]:
    """Every decision worth a programme; what is left out cannot have a plan, or gains none."""
    problem = road.problem
    optional = [j for j in road.possible if j not in road.forced]
    for gears in itertools.product(*(range(len(s)) for s in problem.stretches)):
        for chosen in _subsets(optional):
            made = tuple(sorted({*chosen, *road.forced}))
            for nights in _nights(road, made):
                for duties in _duties(road, gears, made, nights):
                    yield from _rest(road, Decision(gears, made, nights=nights, duties=duties))


def _nights(road: Road, made: tuple[int, ...]) -> Iterator[tuple[tuple[int, str], ...]]:
    """Where nights are spent and with what fire."""
    nights = road.problem.nights
    if nights is None:
        yield ()
        return
    fires = ("banked", "dropped") if nights.fire == "either" else (nights.fire,)
    places = [j for j in made if getattr(road.facility[j], "night", False)]
    for where in _subsets(places, nights.most):
        for how in itertools.product(fires, repeat=len(where)):
            yield tuple(zip(where, how, strict=True))


def _duties(
    road: Road, gears: tuple[int, ...], made: tuple[int, ...], nights: tuple[tuple[int, str], ...]
) -> Iterator[tuple[frozenset[int], ...]]:
    """Where each duty is done so that none runs over its interval."""
    stands = [j for j in made if not isinstance(road.facility[j], Bridge)]
    rested = [j for j, _ in nights]
    ways = []
    for duty in road.problem.duties:
        measure = road.clock(gears) if duty.metres is None else road.cuts
        interval = duty.minutes if duty.metres is None else duty.metres
        assert interval is not None
        fine = []
        for done in _subsets(stands):
            marks = [0, *sorted({*done, *rested}), road.last]
            gaps = (measure[b] - measure[a] for a, b in itertools.pairwise(marks))
            if max(gaps) <= interval + 1e-9:
                fine.append(frozenset(done))
        ways.append(fine)
    return itertools.product(*ways)


def _rest(road: Road, decision: Decision) -> Iterator[Decision]:
    """Meals, the truck and uncoupling."""
    problem, made = road.problem, decision.made
    ends = [*(j for j, _ in decision.nights), road.last]
    begins = [-1, *ends[:-1]]
    days = []
    for begin, end in zip(begins, ends, strict=True):
        stands = [j for j in made if begin < j <= end and not isinstance(road.facility[j], Bridge)]
        for_one: list[int | str] = [*stands, "early", "late"]
        days.append(list(itertools.product(for_one, repeat=len(problem.meals))))
    halts = [
        j
        for j in made
        if problem.truck and isinstance(road.facility[j], Halt) and road.facility[j].halt  # type: ignore[union-attr]
    ]
    crossings = [
        j
        for j in made
        if isinstance(what := road.facility[j], Bridge) and what.uncouple is not None
    ]
    for meals in itertools.product(*days):
        for truck in _subsets(halts):
            for apart in _subsets(crossings):
                whole = Decision(
                    decision.gears, made, frozenset(truck), frozenset(apart), decision.nights,
                    decision.duties, meals,
                )  # fmt: skip
                if _reasonable(road, whole):
                    yield whole


def _reasonable(road: Road, decision: Decision) -> bool:
    """Whether no halt is made for nothing: one standing there gains no time, money or water."""
    for j in decision.made:
        what = road.facility[j]
        if isinstance(what, Bridge):
            if what.drain is None and j not in decision.uncoupled:
                return False
        elif (
            isinstance(what, Halt)
            and what.stay is None
            and road.problem.cart is None
            and j not in decision.truck
            and not has_reason(decision, j)
        ):
            return False
    return True


def has_reason(decision: Decision, j: int) -> bool:
    """Whether something other than water or coal is had or done at a stop."""
    return (
        any(j == night for night, _ in decision.nights)
        or any(j in done for done in decision.duties)
        or any(j in day for day in decision.meals)
    )


def set_up_of(problem: Problem, tap: Tap) -> float:
    """Minutes before anything flows: muddy water is strained."""
    return tap.set_up + problem.strain * (tap.quality == "muddy")


def turning_at(tap: Tap) -> float:
    """Minutes of turning at every stop: in a yard off the road only."""
    return tap.turning if any(tap.access) else 0.0


def weights(problem: Problem) -> tuple[float, float, float]:
    """What a minute, a unit of money and a stop count."""
    if "first" in problem.aim:
        kinds = ("earliest", "cheapest", "fewest stops")
        minute, money, stop = (float(problem.aim["first"] == kind) for kind in kinds)
        return minute, money, stop
    minute, money, stop = (float(problem.aim[key]) for key in ("minute", "money", "stop"))
    return minute, money, stop


def lowest_cost(road: Road, decision: Decision) -> float:
    """No plan with these decisions costs less: driving, set-ups, stays, call-outs, stops."""
    problem = road.problem
    minute, money, stop = weights(problem)
    driving = road.clock(decision.gears)
    minutes, cost = driving[-1], 0.0
    nights = dict(decision.nights)
    for j in decision.made:
        what = road.facility[j]
        if isinstance(what, Tap):
            minutes += set_up_of(problem, what) + what.access[0] + turning_at(what)
            cost += what.call_out
        elif isinstance(what, Halt):
            if problem.truck is not None and j in decision.truck:
                cost += problem.truck.call_out
                minutes += max(what.stay or 0.0, problem.truck.set_up)
            else:
                minutes += what.stay or 0.0
        elif j in decision.uncoupled:
            minutes += what.uncouple or 0.0
        if j in nights:
            assert not isinstance(what, Bridge)
            cost += what.night_price
    if decision.nights:
        after = driving[-1] - driving[decision.nights[-1][0]]
        morning = DAY * len(decision.nights) + problem.earliest - DEPART
        minutes = max(minutes, morning + after)
    return minute * minutes + money * cost + stop * len(decision.made)
