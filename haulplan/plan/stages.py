"""Minimise the aims in order: a tight relaxation, a start where one is known, the ties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import pulp

from haulplan.plan.build import Posed, build_programme
from haulplan.plan.model import Programme
from haulplan.plan.run import Outcome, Relaxation, run
from haulplan.plan.tighten import Inequality, Windows, store_windows, violated
from haulplan.scenario.schema import Aim

__all__ = ["Staged", "solve_stages"]

#: A stage may worsen the stage before it by this share.
_KEEP: Final = 1e-7
_CUT_ROUNDS: Final = 25
#: Rounds end when three of them close less than this share of the bound.
_STALLED: Final = 1e-4
#: Fractions of the golden ratio keep sums over different stops apart.
_GOLDEN: Final = 0.6180339887498949


@dataclass(frozen=True, kw_only=True)
class Staged:
    """The programme at its answer, and how well its first aim is proved."""

    programme: Programme
    aim: str
    expression: Any
    first: Outcome


def solve_stages(
    posed: Posed,
    aim: Aim,
    deadline: float | None,
    *,
    stopped: Sequence[bool] | None = None,
    hint: Mapping[str, float] | None = None,
    brief: bool = False,
    tighten: bool = True,
) -> Staged | None:
    """Minimise the aims in order.

    Parameters
    ----------
    posed
        The problem.
    aim
        What to be best at; the others break ties in a fixed order.
    deadline
        When the solver must be done, by `time.monotonic`; never where None. [s]
    stopped
        Which nodes to stop at, where that is decided already.
    hint
        Decisions of a similar problem by variable name.
    brief
        True to stop after the first aim.
    tighten
        False to leave out inequalities and first answer: the same plan, later.

    Returns
    -------
    staged
        None if no answer exists.
    """
    programme = build_programme(posed)
    if stopped is not None:
        for node, stop in programme.stop.items():
            stop.bounds(float(stopped[node]), float(stopped[node]))
    name, stages = _stages(programme, aim)
    expression = stages[0][1]
    programme.problem.setObjective(_objective(programme, expression))
    start = _tighten(programme, posed, hint, deadline) if tighten else None
    first = run(programme, deadline, start=start)
    if not first.found:
        return None
    if expression.isNumericalConstant():
        first = replace(first, value=0.0, bound=0.0)
    if not brief and first.proven:
        _break_ties(programme, stages, first, deadline, tighten=tighten)
    _settle(programme, late=not brief)
    return Staged(programme=programme, aim=name, expression=expression, first=first)


def _objective(programme: Programme, expression: Any) -> Any:  # noqa: ANN401  PuLP expressions
    constant = expression.isNumericalConstant()
    return programme.clock[-1] * 0.0 if constant else expression


def _stages(programme: Programme, aim: Aim) -> tuple[str, list[tuple[str, Any]]]:
    """Name of the aim and the expressions to minimise in order."""
    single = {
        "earliest": programme.minutes,
        "cheapest": programme.money,
        "fewest stops": programme.stops,
    }
    if aim.first is not None:
        others = [name for name in single if name != aim.first]
        return aim.first, [(name, single[name]) for name in (aim.first, *others)]
    weighted = pulp.lpSum(
        weight * expression
        for weight, expression in (
            (aim.minute or 0.0, programme.minutes),
            (aim.money or 0.0, programme.money),
            (aim.stop or 0.0, programme.stops),
        )
        if weight
    )
    return "weighted", [("weighted", weighted), *single.items()]


def _tighten(
    programme: Programme,
    posed: Posed,
    hint: Mapping[str, float] | None,
    deadline: float | None,
) -> dict[str, float] | None:
    """Add inequalities and find a start; None where none is known."""
    stores = [
        store_windows(programme, posed.chain, posed.offers, posed.limits, store)
        for store in ("water", "coal")
    ]
    relaxed = Relaxation(programme)
    if not _cut(relaxed, [windows for windows in stores if windows is not None]):
        return None  # no answer; the solver says so itself
    for number, row in enumerate(relaxed.binding):
        _add_row(programme, row, f"valid_{row.number}_{number:05d}")
    if not _first_answer(programme, hint, deadline):
        return None
    return programme.values


def _cut(relaxed: Relaxation, stores: Sequence[Windows]) -> bool:
    """Add violated inequalities until they bring little; False without an answer."""
    bounds: list[float] = []
    for _ in range(_CUT_ROUNDS):
        if not relaxed.solve():
            return False
        bounds.append(relaxed.value)
        if len(bounds) > 3 and bounds[-1] - bounds[-4] < _STALLED * max(abs(bounds[-1]), 1.0):
            return True
        values = relaxed.values
        rows = [row for windows in stores for row in violated(windows, values)]
        if not rows:
            return True
        relaxed.add(rows)
    return relaxed.solve()


def _add_row(programme: Programme, row: Inequality, name: str) -> None:
    terms = pulp.lpSum([coefficient * variable for coefficient, variable in row.terms])
    programme.problem.addConstraint(terms >= row.least, name)


def _first_answer(
    programme: Programme, hint: Mapping[str, float] | None, deadline: float | None
) -> bool:
    """Find the answer of the decisions taken for a similar problem, if there is one."""
    if hint is None:
        return False
    kept = [(d, d.lowBound, d.upBound) for d in programme.decisions]
    for d, low, high in kept:
        same = min(max(hint[d.name], low), high)
        d.bounds(same, same)
    outcome = run(programme, deadline, optional=True)
    for d, low, high in kept:
        d.bounds(low, high)
    return outcome.found


def _break_ties(
    programme: Programme,
    stages: Sequence[tuple[str, Any]],
    first: Outcome,
    deadline: float | None,
    *,
    tighten: bool,
) -> None:
    """Improve the later aims, keeping each before it; last, a fixed order among stops."""
    value, values = first.value, programme.values
    alone = False
    for number, (stage, expression) in enumerate(stages):
        if number and not expression.isNumericalConstant():
            programme.problem.setObjective(expression)
            start = programme.values if tighten else None
            outcome = run(programme, deadline, start=start)
            if not outcome.found:
                programme.restore(values)  # a stage that fails leaves the stage before it
                return
            value, values = outcome.value, programme.values
        if not expression.isNumericalConstant():
            kept = value + _KEEP * max(abs(value), 1.0)
            programme.problem.addConstraint(expression <= kept, f"keep_{stage[:4]}")
        if number == 0 and tighten:
            alone = _alone(programme, deadline)
    if not alone:
        decisions = programme.decisions
        programme.problem.setObjective(
            pulp.lpSum([(1 + i * _GOLDEN % 1) * d for i, d in enumerate(decisions)])
        )
        start = programme.values if tighten else None
        if not run(programme, deadline, start=start).found:
            programme.restore(values)


def _alone(programme: Programme, deadline: float | None) -> bool:
    """Whether no other decisions are as good; if so they are fixed for what follows."""
    values = programme.values
    decisions = [(d, float(round(d.varValue or 0.0))) for d in programme.decisions]
    if not decisions:
        return True
    # the row is lifted afterwards by its slack, not taken out
    slack = programme.problem.add_variable("differs", 0.0, 0.0)
    differ = pulp.lpSum([d if whole < 0.5 else 1 - d for d, whole in decisions])
    programme.problem.addConstraint(differ + slack >= 1, "other_decisions")
    other = run(programme, deadline, optional=True)
    slack.bounds(0.0, 1.0)
    alone = other.proven and not other.found
    if alone:
        for d, whole in decisions:
            d.bounds(whole, whole)
    programme.restore({**values, slack.name: 1.0})
    return alone


def _settle(programme: Programme, *, late: bool) -> None:
    """Fix yes and no at whole numbers and solve once more, so that amounts are exact.

    With `late`, amounts that the aims leave open are as small, then as late, as can be.
    """
    values = programme.values
    for decision in programme.decisions:
        whole = float(round(decision.varValue or 0.0))
        decision.bounds(whole, whole)
    if late:
        last = len(programme.clock)
        amounts = (
            programme.take_water, programme.take_coal, programme.fill, programme.empty,
            programme.drained,
        )  # fmt: skip
        programme.problem.setObjective(
            pulp.lpSum([(2 - i / last) * take for takes in amounts for i, take in takes.items()])
            + programme.clock[-1]
            + 0.01 * pulp.lpSum(programme.arrive["boiler"])
            - 0.01 * programme.gap.get(0, 0.0)
        )
    if not run(programme, None).found:
        programme.restore(values)
