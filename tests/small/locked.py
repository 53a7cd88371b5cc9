"""Brute force for plans that survive any one planned stop found shut.

For each planned stop and each kind offered there, the rest of the road is driven again from
the levels and the clock of arriving there, that kind not to be had, everything else as
listed, above the last-resort levels: one more programme for each such case, over the same
levels, and every way to make the rest of the stops is tried in each. Where the train may be
turned round at the next such tap, every turn back to another behind it is tried as well: the
road on to the turn, back, and on again, laid out as one.
"""

import dataclasses
import itertools
import math
from collections.abc import Iterator

from small.decisions import Decision, Road, decisions, lowest_cost
from small.oracle import Builder
from small.problems import Halt, Problem, Stretch

__all__ = ["brute_force_locked"]

#: The cut where a stop is found shut, the road from there, what is decided on it, and which
#: tap of the whole road each of its taps is.
_Way = tuple[int, Road, Decision, tuple[int, ...]]
#: Minutes to turn round where nothing else is said; an assumption, as in the defaults.
TURN_ROUND = 10.0
#: Length of road on which a train is turned: nothing is used on it but time. [m]
_LOOP = 1.0


def brute_force_locked(problem: Problem) -> float | None:
    """Least value of the aim over the plans that survive, None where there is none."""
    road = Road(problem)
    ranked = sorted(
        ((lowest_cost(road, decision), n, decision) for n, decision in enumerate(decisions(road))),
        key=lambda item: item[:2],
    )
    best: float | None = None
    for bound, _, decision in ranked:
        if best is not None and bound >= best - 1e-9:
            break
        if (value := _value(road, decision, [])) is None or (best is not None and value >= best):
            continue
        cases = [_ways(road, decision, j, kind, best) for j, kind in _cases(road, decision)]
        if all(cases):  # the hardest case first, and in each the cheapest way
            cases.sort(key=lambda ways: -ways[0][0])
            best = _least(road, decision, cases, [], best)
    return best


def _cases(road: Road, decision: Decision) -> list[tuple[int, str]]:
    """Each stop made and each kind offered there."""
    kinds = ("water", "coal")
    return [
        (j, k) for j in decision.made for k in kinds if getattr(road.facility[j], k) is not None
    ]


def _ways(
    road: Road, decision: Decision, j: int, kind: str, best: float | None
) -> list[tuple[float, _Way]]:
    """Every way to go on in one case that may better the best plan, with its value alone."""
    ways = []
    for problem, taps in [_rest(road, j, kind), *_turned(road, j, kind)]:
        rest = Road(problem)
        for onward in decisions(rest):
            value = _value(road, decision, [(j, rest, onward, taps)])
            if value is not None and (best is None or value < best):
                ways.append((value, (j, rest, onward, taps)))
    return sorted(ways, key=lambda way: way[0])


def _value(road: Road, decision: Decision, gone: list[_Way]) -> float | None:
    """Least value with these ways settled and no other case looked at."""
    whole = Builder(road, decision)
    programme = whole.build()
    for j, rest, onward, taps in gone:
        again = Builder(rest, onward, (whole, j))
        again.build()
        _share(whole, j, again, taps)
    return programme.minimum()


def _share(whole: Builder, j: int, again: Builder, taps: tuple[int, ...]) -> None:
    """What was taken at a tap on the way to cut j is gone when it is met again."""
    for tap, number in zip(again.problem.taps, taps, strict=True):
        before = [c for c in map(whole.road.cuts.index, whole.problem.taps[number].at) if c < j]
        columns = [whole.columns[c] for c in before]
        columns += [again.columns[again.road.cuts.index(at)] for at in tap.at]
        for store in ("water", "coal"):
            has = getattr(tap, store)
            if before and has is not None:
                programme = whole.lp
                programme.row([(getattr(c, store), 1.0) for c in columns], -math.inf, has)


def _least(
    road: Road,
    decision: Decision,
    cases: list[list[tuple[float, _Way]]],
    gone: list[_Way],
    best: float | None,
) -> float | None:
    """Least value, or `best` where that is less, with `gone` settled and each case in any way."""
    value = _value(road, decision, gone)
    if value is None or (best is not None and value >= best):
        return best
    if not cases:
        return value
    for alone, way in cases[0]:
        if best is not None and max(alone, value) >= best:
            break
        best = _least(road, decision, cases[1:], [*gone, way], best)
    return best


def _rest(road: Road, j: int, kind: str) -> tuple[Problem, tuple[int, ...]]:
    """What is left of the road from cut j on, with `kind` not to be had there."""
    problem, begin = road.problem, road.cuts[j]
    assert problem.last_resort is not None
    stretches = []
    for options in problem.stretches:
        if options[0].end > begin:
            stretches.append(tuple(_from(stretch, begin) for stretch in options))
    taps, numbers = [], []
    for number, tap in enumerate(problem.taps):
        (at,) = tap.at
        there = dataclasses.replace(tap, at=(at - begin,))
        if at == begin:
            there = (
                dataclasses.replace(there, water=None)
                if kind == "water"
                else (dataclasses.replace(there, coal=None))
            )
        if at >= begin and (there.water is not None or there.coal is not None):
            taps.append(there)
            numbers.append(number)
    bridges = tuple(
        dataclasses.replace(b, at=b.at - begin) for b in problem.bridges if b.at >= begin
    )
    left = dataclasses.replace(
        problem, stretches=tuple(stretches), taps=tuple(taps), bridges=bridges,
        reserve=problem.last_resort, finish=problem.last_resort,
    )  # fmt: skip
    return left, tuple(numbers)


def _turned(road: Road, j: int, kind: str) -> Iterator[tuple[Problem, tuple[int, ...]]]:
    """Every road from cut j on that turns back at the first place fit for it."""
    problem = road.problem
    if not problem.back:
        return
    places = sorted((tap.at[0], tap.turning or TURN_ROUND) for tap in problem.taps if tap.round)
    ahead = [place for place in places if place[0] >= road.cuts[j]]
    if ahead:
        for again in places:
            if again[0] < ahead[0][0]:
                yield _unrolled(road, j, kind, ahead[0], again)


def _unrolled(
    road: Road, j: int, kind: str, there: tuple[float, float], again: tuple[float, float]
) -> tuple[Problem, tuple[int, ...]]:
    """From cut j to `there`, turned, back to `again`, turned, and on to the finish."""
    problem, begin = road.problem, road.cuts[j]
    assert problem.last_resort is not None
    legs = [  # every piece of road in driving order: from, to, and what is used on it
        *(
            (a, b, _piece(problem.stretches[road.row[c]][0], a, b))
            for c, (a, b) in enumerate(itertools.pairwise(road.cuts))
            if begin <= a and b <= there[0]
        ),
        (there[0], there[0], None),
        *(
            (b, a, _piece(problem.back[road.row[c]], a, b))
            for c, (a, b) in reversed(list(enumerate(itertools.pairwise(road.cuts))))
            if again[0] <= a and b <= there[0]
        ),
        (again[0], again[0], None),
        *(
            (a, b, _piece(problem.stretches[road.row[c]][0], a, b))
            for c, (a, b) in enumerate(itertools.pairwise(road.cuts))
            if again[0] <= a
        ),
    ]
    stretches, at = [], 0.0
    halts: list[Halt] = []
    met: list[tuple[float, float]] = [(begin, 0.0)]  # a place on the road, and where it is now
    for a, b, piece in legs:
        length = abs(b - a) or _LOOP
        if piece is None:
            halts.append(Halt(at=at + length, halt=False, stay=(there, again)[len(halts)][1]))
            piece = _NOTHING  # noqa: PLW2901  the loop
        else:
            met.append((b, at + length))
        stretches.append((dataclasses.replace(piece, begin=at, end=at + length),))
        at += length
    taps, numbers = [], []
    for number, tap in enumerate(problem.taps):
        now = tap
        if tap.at[0] == begin and kind == "water":
            now = dataclasses.replace(tap, water=None)
        elif tap.at[0] == begin:
            now = dataclasses.replace(tap, coal=None)
        places = tuple(place for where, place in met if where == tap.at[0])
        if places and (now.water is not None or now.coal is not None):
            taps.append(dataclasses.replace(now, at=places))
            numbers.append(number)
    bridges = tuple(
        dataclasses.replace(bridge, at=place)
        for bridge in problem.bridges
        for where, place in met
        if where == bridge.at
    )
    unrolled = dataclasses.replace(
        problem, stretches=tuple(stretches), halts=tuple(halts), taps=tuple(taps),
        bridges=bridges, back=(), reserve=problem.last_resort, finish=problem.last_resort,
    )  # fmt: skip
    return unrolled, tuple(numbers)


_NOTHING = Stretch(
    begin=0.0, end=_LOOP, minutes=0.0, water=0.0, coal=0.0, water_slope=0.0, coal_slope=0.0
)


def _piece(stretch: Stretch, begin: float, end: float) -> Stretch:
    """The part of a stretch between two places on it."""
    share = (end - begin) / (stretch.end - stretch.begin)
    return Stretch(
        begin=begin, end=end, minutes=stretch.minutes * share, water=stretch.water * share,
        coal=stretch.coal * share, water_slope=stretch.water_slope * share,
        coal_slope=stretch.coal_slope * share,
    )  # fmt: skip


def _from(stretch: Stretch, begin: float) -> Stretch:
    share = (stretch.end - max(stretch.begin, begin)) / (stretch.end - stretch.begin)
    return Stretch(
        begin=max(stretch.begin - begin, 0.0), end=stretch.end - begin,
        minutes=stretch.minutes * share, water=stretch.water * share, coal=stretch.coal * share,
        water_slope=stretch.water_slope * share, coal_slope=stretch.coal_slope * share,
    )  # fmt: skip
