"""Minimise the aims in order: a tight relaxation, a start where one is known, the ties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import pulp

from haulplan.plan.branches import run_by_night
from haulplan.plan.build import Posed, build_programme
from haulplan.plan.model import Programme
from haulplan.plan.run import Outcome, Relaxation, run
from haulplan.plan.tighten import Inequality, Windows, store_windows, violated
from haulplan.scenario.schema import Aim

__all__ = ["Staged", "ask_nights", "solve_stages"]

#: A stage may worsen the stage before it by this share.
_KEEP: Final = 1e-7
_CUT_ROUNDS: Final = 25
#: Rounds end when three of them close less than this share of the bound.
_STALLED: Final = 3e-4
#: Weights of a stop, of all the money there could be to pay, and of the fixed order.
_STOP: Final = 100.0
_SHARE: Final = 50.0
_LEAST: Final = 0.01
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
    gap: float = 0.0,
    settled: bool = False,
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
    gap
        How far from the best the first aim may be, as a share of it. [-]
    settled
        True to stay with the hint's decisions while none are better for the first aim: ties
        among them are broken already.
    tighten
        False to leave out inequalities, first answer and search by night: the same plan, later.

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
    expression = stages[0]
    programme.problem.setObjective(_objective(programme, expression))
    before = None
    if not tighten or _tighten(programme, posed):
        before = _first_answer(programme, hint, deadline) if tighten or settled else None
    start = programme.values if before is not None and tighten else None
    search = run_by_night if tighten else run
    first = search(programme, deadline, start=start, gap=gap)
    if not first.found:
        return None
    if expression.isNumericalConstant():
        first = replace(first, value=0.0, bound=0.0)
    if settled and before is not None and before[0].value <= _kept(first.value):
        programme.restore(before[1])  # as good as before, and its ties are broken already
        _fix(programme)
        _break_ties(programme, stages, before[0], deadline, tighten=False)
    elif not brief and first.proven:
        _break_ties(programme, stages, first, deadline, tighten=tighten)
    _settle(programme, expression, late=not brief)
    return Staged(programme=programme, aim=name, expression=expression, first=first)


def _kept(value: float) -> float:
    """What a stage may be worsened to by those after it."""
    return value + _KEEP * max(abs(value), 1.0)


def _objective(programme: Programme, expression: Any) -> Any:  # noqa: ANN401  PuLP expressions
    constant = expression.isNumericalConstant()
    return programme.clock[-1] * 0.0 if constant else expression


def _stages(programme: Programme, aim: Aim) -> tuple[str, list[Any]]:
    """Name of the aim and the expressions to minimise in order.

    The last is one of several: stops, then money, then a fixed order among decisions.
    """
    single = {
        "earliest": programme.minutes,
        "fewest stops": programme.stops,
        "cheapest": programme.money,
    }
    name: str = aim.first or "weighted"
    if aim.first is not None:
        first = single.pop(aim.first)
    else:
        first = pulp.lpSum(
            weight * expression
            for weight, expression in (
                (aim.minute or 0.0, programme.minutes),
                (aim.money or 0.0, programme.money),
                (aim.stop or 0.0, programme.stops),
            )
            if weight
        )
    stages = [first]
    if "earliest" in single:
        stages.append(single["earliest"])
    last = _order(programme)
    if "cheapest" in single:
        last += _SHARE / max(programme.most_money, 1.0) * single["cheapest"]
    if "fewest stops" in single:
        last += _STOP * single["fewest stops"]
    return name, [*stages, last]


def _order(programme: Programme) -> Any:  # noqa: ANN401  a PuLP expression
    """A fixed order among decisions, of no weight beside anything else."""
    decisions = programme.decisions
    weight = _LEAST / max(len(decisions), 1)
    return pulp.lpSum([weight * (1 + i * _GOLDEN % 1) * d for i, d in enumerate(decisions)])


def _tighten(programme: Programme, posed: Posed) -> bool:
    """Add inequalities; False where even the relaxation has no answer."""
    stores = [
        store_windows(programme, posed.chain, posed.offers, posed.limits, store)
        for store in ("water", "coal")
    ]
    ask_nights(programme)
    relaxed = Relaxation(programme)
    if not _cut(relaxed, [windows for windows in stores if windows is not None]):
        return False
    for number, row in enumerate(relaxed.binding):
        _add_row(programme, row, f"valid_{row.number}_{number:05d}")
    return True


def ask_nights(programme: Programme) -> None:
    """Ask for every night without which not even the relaxation has an answer.

    Parameters
    ----------
    programme
        With an objective; is added to.
    """
    for day in range(1, programme.rules.nights + 1):
        own = ((j, z) for (j, d, _), z in programme.night.items() if d == day)
        nights = [z for j, z in own if j >= programme.first]
        if not nights:
            return
        for z in nights:
            z.bounds(0.0, 0.0)
        needless = Relaxation(programme).solve()
        for z in nights:
            z.bounds(0.0, 1.0)
        if needless:
            return
        programme.add(pulp.lpSum(nights) >= 1, f"night_needed_{day:02d}")


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
) -> tuple[Outcome, dict[str, float]] | None:
    """The answer of the decisions taken for a similar problem, if there is one."""
    if hint is None:
        return None
    kept = [(d, d.lowBound, d.upBound) for d in programme.decisions]
    for d, low, high in kept:
        same = min(max(hint.get(d.name, low), low), high)
        d.bounds(same, same)
    outcome = run(programme, deadline, optional=True)
    for d, low, high in kept:
        d.bounds(low, high)
    return (outcome, programme.values) if outcome.found else None


def _break_ties(
    programme: Programme,
    stages: Sequence[Any],
    first: Outcome,
    deadline: float | None,
    *,
    tighten: bool,
) -> None:
    """Improve the later aims, keeping each before it."""
    value, values = first.value, programme.values
    for number, expression in enumerate(stages):
        if number and not expression.isNumericalConstant():
            programme.problem.setObjective(expression)
            start = programme.values if tighten else None
            outcome = (run_by_night if tighten else run)(programme, deadline, start=start)
            if not outcome.found:
                programme.restore(values)  # a stage that fails leaves the stage before it
                return
            value, values = outcome.value, programme.values
        if number < len(stages) - 1 and not expression.isNumericalConstant():
            programme.problem.addConstraint(expression <= _kept(value), f"keep_{number}")
        if number == 0 and tighten and len(stages) > 2:
            _fix_if_alone(programme, deadline)


def _fix_if_alone(programme: Programme, deadline: float | None) -> None:
    """Where no other decisions are as good, fix them for what follows."""
    values = programme.values
    decisions = [(d, float(round(d.varValue or 0.0))) for d in programme.decisions]
    if not decisions:
        return
    # the row is lifted afterwards by its slack, not taken out
    slack = programme.problem.add_variable("differs", 0.0, 0.0)
    differ = pulp.lpSum([d if whole < 0.5 else 1 - d for d, whole in decisions])
    programme.problem.addConstraint(differ + slack >= 1, "other_decisions")
    other = run(programme, deadline, optional=True)
    slack.bounds(0.0, 1.0)
    if other.proven and not other.found:
        for d, whole in decisions:
            d.bounds(whole, whole)
    programme.restore({**values, slack.name: 1.0})


def _fix(programme: Programme) -> None:
    """Keep every yes and no as it is, at whole numbers."""
    for decision in programme.decisions:
        whole = float(round(decision.varValue or 0.0))
        decision.bounds(whole, whole)


def _settle(programme: Programme, first: Any, *, late: bool) -> None:  # noqa: ANN401  PuLP
    """Fix yes and no at whole numbers and solve once more, so that amounts are exact.

    With `late`, amounts that the aims leave open are as small, then as late, as can be.
    """
    values = programme.values
    _fix(programme)
    if late and not first.isNumericalConstant():
        programme.add(first <= _kept(float(pulp.value(first))), "keep_first")
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
