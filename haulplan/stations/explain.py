"""Why no choice of stations does: the stretch no tank spans, or the limit that stops it."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from haulplan.errors import NoPlanError
from haulplan.plan.run import run
from haulplan.stations.cover import build_cover
from haulplan.stations.task import Drinker, Task

__all__ = ["binding_limit", "refuse_gaps", "serves"]


def serves(task: Task, opened: frozenset[int]) -> bool:
    """Whether these places let every engine through.

    Parameters
    ----------
    task
        The numbers.
    opened
        Places that work.

    Returns
    -------
    through
        True if they do.
    """
    cover = build_cover(task, opened)
    cover.problem.setObjective(cover.waits + 0.0)
    return run(cover, None, gap=1.0).found


def refuse_gaps(task: Task, *, losses: bool) -> None:
    """Refuse stretches that no candidate site breaks, naming engine, stretch and shortfall.

    Parameters
    ----------
    task
        The numbers.
    losses
        Whether any one place may fail.

    Raises
    ------
    NoPlanError
        With a line for each such stretch.
    """
    wrong: dict[tuple[int, int], tuple[float, Drinker]] = {}
    for drinker in task.drinkers:
        for begin, end, lack in _bare(task, drinker, losses=losses):
            if lack > wrong.get((begin, end), (0.0, drinker))[0]:
                wrong[begin, end] = (lack, drinker)
    if wrong:
        raise NoPlanError("\n".join(_gap_text(task, *key, *wrong[key]) for key in sorted(wrong)))


def _bare(task: Task, drinker: Drinker, *, losses: bool) -> list[tuple[int, int, float]]:
    """Stretches between visits (-1 the start, `count` the finish) the tank cannot span."""
    count = len(task.visits)
    may = [
        v for v in range(count)
        if drinker.may[v] and task.places[task.visits[v]].status != "forbidden"
    ]  # fmt: skip
    ends = [*may, count]
    found = []
    for n, begin in enumerate([-1, *may]):
        used = 0.0 if begin < 0 else float(drinker.use[begin])
        level = drinker.at_start if begin < 0 else drinker.tank
        target = min(n + int(losses), len(ends) - 1)
        if begin == count or (n >= len(ends)):
            continue
        end = ends[target]
        need = (drinker.total if end == count else float(drinker.use[end])) - used
        need += drinker.reserve + (drinker.wait if end < count else 0.0)
        if need > level + 1e-6:
            found.append((begin, end, need - level))
    return found


def _gap_text(task: Task, begin: int, end: int, lack: float, drinker: Drinker) -> str:
    def named(v: int) -> str:
        if v < 0:
            return "the start"
        return "the finish" if v == len(task.visits) else task.places[task.visits[v]].name

    return (
        f"{drinker.name} cannot get from {named(begin)} to {named(end)}: its tank is short by "
        f"{lack / drinker.tank:.0%} of what it holds; a site between them, a cart behind it, or "
        "a lower pessimism or reserve would mend it"
    )


def binding_limit(task: Task) -> str:
    """Which one limit, lifted, would let everybody through.

    Parameters
    ----------
    task
        Without any choice of stations.

    Returns
    -------
    words
        For the user.
    """
    free: Sequence[tuple[str, dict[str, Any]]] = (
        (
            "the water at the places",
            {"places": tuple(replace(p, water=math.inf) for p in task.places)},
        ),
        ("the longest wait", {"longest_wait": math.inf}),
        ("what the trucks can bring", {"truck_water": math.inf}),
        ("the rendezvous allowed", {"rendezvous": len(task.drinkers) * len(task.visits)}),
    )
    every = frozenset(s for s, p in enumerate(task.places) if p.status != "forbidden")
    if serves(task, every):
        return (
            f"{task.hoses} hoses in all are too few: with every site open the fleet gets "
            "through; have more hoses, or fewer on each site"
        )
    mends = []
    for words, changes in free:
        if serves(replace(task, **changes), every):
            mends.append(words)
    if mends:
        return (
            "no choice of stations keeps every limit; with any one of these lifted there is "
            f"one: {', '.join(mends)}"
        )
    return (
        "no choice of stations keeps every limit, nor with any one of them lifted: more sites, "
        "more hoses and more water are needed together"
    )
