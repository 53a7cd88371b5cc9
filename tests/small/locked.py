"""Brute force for plans that survive any one planned stop found shut.

For each planned stop and each kind offered there, the rest of the road is driven again from
the levels and the clock of arriving there, that kind not to be had, everything else as
listed, above the last-resort levels: one more programme for each such case, over the same
levels, and every way to make the rest of the stops is tried in each.
"""

import dataclasses

from small.decisions import Decision, Road, decisions, lowest_cost
from small.oracle import Builder, solve
from small.problems import Problem, Stretch

__all__ = ["brute_force_locked"]


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
        value = solve(road, decision)
        if value is not None and (best is None or value < best):
            best = _least(road, decision, _ways(road, decision), [], best)
    return best


def _ways(road: Road, decision: Decision) -> list[list[tuple[int, Road, Decision]]]:
    """For each case, every way to go on."""
    cases = [
        (j, Road(_rest(road, j, kind)))
        for j in decision.made
        for kind in ("water", "coal")
        if getattr(road.facility[j], kind) is not None
    ]
    return [[(j, rest, way) for way in decisions(rest)] for j, rest in cases]


def _least(
    road: Road,
    decision: Decision,
    ways: list[list[tuple[int, Road, Decision]]],
    gone: list[tuple[int, Road, Decision]],
    best: float | None,
) -> float | None:
    """Least value, below `best`, with the cases in `gone` settled and the rest in any way."""
    whole = Builder(road, decision)
    programme = whole.build()
    for j, rest, way in gone:
        Builder(rest, way, (whole, j)).build()
    value = programme.minimum()
    if value is None or (best is not None and value >= best):
        return best
    if not ways:
        return value
    for onward in ways[0]:
        best = _least(road, decision, ways[1:], [*gone, onward], best)
        if best is not None and best <= value:  # no way can be better than none to be kept
            break
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
