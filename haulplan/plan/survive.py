"""A plan that survives any one of its stops found shut on arrival.

The programme is solved; each planned stop is then tried shut, and where no way on is left
a second way on is written into the programme beside the plan's own, sharing its levels and
clock on arrival there (`build.add_recourse`). Solved again until every stop survives, the
answer is best: each addition is a condition that every surviving plan keeps.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Literal

import pulp

from haulplan.plan.branches import run_by_night
from haulplan.plan.build import Back, Posed, Shut, add_recourse
from haulplan.plan.model import Programme
from haulplan.plan.run import run
from haulplan.plan.stages import ask_nights

__all__ = [
    "WayOn",
    "broken_without",
    "planned_takes",
    "way_back",
    "way_on",
    "ways_on",
    "weak_stops",
]

#: The arrival of a way on is the earliest to within this share of it.
_NEAR: Final = 1e-2
#: Less than this is not a take. [kg]
_NOTHING: Final = 1e-3


@dataclass(frozen=True, kw_only=True)
class WayOn:
    """What to do when a stop is found shut, decided at node `first`.

    `stops` are the nodes of the stops made from there on, `minutes` the arrival; None where
    there is no way on even with the stop known to be shut from the start. Where it turns
    back, `back` holds the road it takes, whose nodes `stops` are, and `recourse` the solved
    programme.
    """

    shut: Shut
    first: int
    stops: tuple[int, ...]
    minutes: float | None
    back: Back | None = None
    recourse: Programme | None = None


def planned_takes(programme: Programme) -> list[Shut]:
    """Every stop of a solved programme that takes something, one for each kind.

    Parameters
    ----------
    programme
        Solved.

    Returns
    -------
    takes
        In driving order.
    """
    kinds: tuple[tuple[Literal["water", "coal"], dict[int, Any]], ...] = (
        ("water", programme.take_water),
        ("coal", programme.take_coal),
    )
    found = []
    for kind, takes in kinds:
        for node, take in takes.items():
            filled = _value(programme.fill.get(node, 0.0)) if kind == "water" else 0.0
            if _value(programme.stop[node]) > 0.5 and _value(take) + filled > _NOTHING:
                found.append(Shut(node=node, kind=kind))
    return sorted(found, key=lambda shut: (shut.node, shut.kind))


def way_on(programme: Programme, posed: Posed, shut: Shut, first: int) -> WayOn | None:
    """The earliest way on for a solved programme with a stop found shut.

    Parameters
    ----------
    programme
        Solved.
    posed
        Its problem.
    shut
        The stop and what is not to be had there.
    first
        The node at which that becomes known: the stop itself, or one before it.

    Returns
    -------
    way
        None where there is none.
    """
    return _earliest(programme, posed, shut, first, None)


def way_back(programme: Programme, posed: Posed, shut: Shut, first: int) -> WayOn | None:
    """The earliest way on that turns back, for a solved programme with a stop found shut.

    Parameters
    ----------
    programme
        Solved.
    posed
        Its problem.
    shut
        The stop and what is not to be had there.
    first
        The node at which that becomes known.

    Returns
    -------
    way
        None where there is none.
    """
    found = [
        way
        for back in posed.backs(shut, first)
        if (way := _earliest(programme, posed, shut, first, back)) is not None
    ]
    return min(found, key=lambda way: way.minutes or 0.0, default=None)


def _earliest(
    programme: Programme, posed: Posed, shut: Shut, first: int, back: Back | None
) -> WayOn | None:
    recourse = _from_here(programme, posed, shut, first, elastic=False, back=back)
    recourse.problem.setObjective(recourse.minutes)
    ask_nights(recourse)
    if not run_by_night(recourse, None, gap=_NEAR).found:
        return None
    return WayOn(
        shut=shut,
        first=first,
        stops=tuple(i for i, y in recourse.stop.items() if i >= first and _value(y) > 0.5),
        minutes=_value(recourse.clock[-1]),
        back=back,
        recourse=recourse,
    )


def ways_on(programme: Programme, posed: Posed) -> tuple[WayOn, ...]:
    """For every planned stop the way on when it is found shut, decided as late as can be.

    Parameters
    ----------
    programme
        Solved.
    posed
        Its problem.

    Returns
    -------
    ways
        Decided at the stop itself, or at the last stop before it that leaves a way; going
        on before turning back; from the start, without one, where none does.
    """
    made = [0, *sorted(i for i, y in programme.stop.items() if _value(y) > 0.5)]
    ways = []
    for shut in planned_takes(programme):
        found = None
        for first in [i for i in reversed(made) if i <= shut.node]:
            found = way_on(programme, posed, shut, first)
            found = found or way_back(programme, posed, shut, first)
            if found is not None:
                break
        ways.append(found or WayOn(shut=shut, first=0, stops=(), minutes=None))
    return tuple(ways)


def weak_stops(programme: Programme, posed: Posed) -> list[Shut]:
    """The stops of a solved programme that leave no way on, or back, when found shut.

    Parameters
    ----------
    programme
        Solved.
    posed
        Its problem.

    Returns
    -------
    weak
        In driving order.
    """
    return [
        shut
        for shut in planned_takes(programme)
        if way_on(programme, posed, shut, shut.node) is None
        and way_back(programme, posed, shut, shut.node) is None
    ]


def broken_without(programme: Programme, posed: Posed, shut: Shut) -> Programme:
    """The least broken way on from a stop found shut where there is no whole one.

    Parameters
    ----------
    programme
        Solved.
    posed
        Its problem.
    shut
        The stop and what is not to be had there.

    Returns
    -------
    recourse
        Elastic and solved.
    """
    recourse = _from_here(programme, posed, shut, shut.node, elastic=True)
    recourse.problem.setObjective(recourse.shortage)
    run(recourse, None)
    return recourse


def _from_here(
    programme: Programme,
    posed: Posed,
    shut: Shut,
    first: int,
    *,
    elastic: bool,
    back: Back | None = None,
) -> Programme:
    """A recourse alone, what is before it held at the solved programme's figures."""
    held = {f.name: _held(getattr(programme, f.name)) for f in fields(programme) if f.name in _HELD}
    past = replace(
        programme, problem=pulp.LpProblem("way_on", pulp.LpMinimize), elastic=elastic, **held
    )
    last_resort = posed.last_resort or posed.limits
    return add_recourse(past, posed.chain, shut, last_resort, first=first, back=back)


#: What a solved programme says of the road already driven.
_HELD: Final = (
    "arrive", "leave", "clock", "begin", "night", "meal", "run_up", "drive", "take_water",
    "take_coal", "fill", "stop", "stay", "gap",
)  # fmt: skip


def _held(solved: Any) -> Any:  # noqa: ANN401  variables in lists and mappings
    if isinstance(solved, (pulp.LpVariable, pulp.LpAffineExpression)):  # the latter a mapping
        return _value(solved)
    if isinstance(solved, Mapping):
        return {key: _held(value) for key, value in solved.items()}
    if isinstance(solved, list):
        return [_held(value) for value in solved]
    return _value(solved)


def _value(solved: Any) -> float:  # noqa: ANN401  a PuLP variable, expression or number
    return float(pulp.value(solved) or 0.0)
