"""Brute force for plans that survive any one planned stop found shut.

For each planned stop and each kind offered there, the rest of the road is driven again from
the levels and the clock of arriving there, that kind not to be had, everything else as
listed, above the last-resort levels: one more programme for each such case, over the same
levels, and every way to make the rest of the stops is tried in each.
"""

import dataclasses

from small.decisions import Decision, Road, decisions, lowest_cost
from small.oracle import Builder
from small.problems import Problem, Stretch

__all__ = ["brute_force_locked"]

#: The cut where a stop is found shut, the road from there, and what is decided on it.
_Way = tuple[int, Road, Decision]


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
    rest = Road(_rest(road, j, kind))
    ways = []
    for onward in decisions(rest):
        value = _value(road, decision, [(j, rest, onward)])
        if value is not None and (best is None or value < best):
            ways.append((value, (j, rest, onward)))
    return sorted(ways, key=lambda way: way[0])


def _value(road: Road, decision: Decision, gone: list[_Way]) -> float | None:
    """Least value with these ways settled and no other case looked at."""
    whole = Builder(road, decision)
    programme = whole.build()
    for j, rest, onward in gone:
        Builder(rest, onward, (whole, j)).build()
    return programme.minimum()


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


def _rest(road: Road, j: int, kind: str) -> Problem:
    """What is left of the road from cut j on, with `kind` not to be had there."""
    problem, begin = road.problem, road.cuts[j]
    assert problem.last_resort is not None
    stretches = []
    for options in problem.stretches:
        if options[0].end > begin:
            stretches.append(tuple(_from(stretch, begin) for stretch in options))
    taps = []
    for tap in problem.taps:
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
    bridges = tuple(
        dataclasses.replace(b, at=b.at - begin) for b in problem.bridges if b.at >= begin
    )
    return dataclasses.replace(
        problem, stretches=tuple(stretches), taps=tuple(taps), bridges=bridges,
        reserve=problem.last_resort, finish=problem.last_resort,
    )  # fmt: skip


def _from(stretch: Stretch, begin: float) -> Stretch:
    share = (stretch.end - max(stretch.begin, begin)) / (stretch.end - stretch.begin)
    return Stretch(
        begin=max(stretch.begin - begin, 0.0), end=stretch.end - begin,
        minutes=stretch.minutes * share, water=stretch.water * share, coal=stretch.coal * share,
        water_slope=stretch.water_slope * share, coal_slope=stretch.coal_slope * share,
    )  # fmt: skip
