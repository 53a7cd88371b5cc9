"""Solve the programme again and again, straightening until the answer fits the bent curve."""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Final

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.errors import InternalError, NoPlanError
from haulplan.plan.answer import Solution, answer_of, carried, movement
from haulplan.plan.backing import Carried, Roads, find_backs, with_ways
from haulplan.plan.build import Posed, Shut, build_programme
from haulplan.plan.explain import explain_shortage, find_shortages
from haulplan.plan.legs import build_chain, nodes_of
from haulplan.plan.model import Programme
from haulplan.plan.plan import Telling
from haulplan.plan.reading import Margin, read_last_resort, read_limits, read_offers, read_rules
from haulplan.plan.run import run
from haulplan.plan.stages import Staged, solve_stages
from haulplan.plan.survive import broken_without, weak_stops
from haulplan.plan.turning import Turn
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Aim

__all__ = ["AIMS", "may_have_plan", "solve"]

Array = NDArray[np.float64]

AIMS: Final = ("earliest", "cheapest", "fewest stops", "weighted")
#: Straightening is repeated until it needs a margin below this share of the stores ...
_SETTLED: Final = 1e-4
#: ... and an error below this share needs none.
_TINY: Final = 2e-7
#: An answer is at most this share off the bound that proves it.
_PROVEN: Final = 1e-5
#: Of a limited time, what the first round may take: it only shows what is carried where.
_FIRST_SHARE: Final = 0.3
#: The first round only finds where to straighten: its answer may be this far from the best.
_ROUGH: Final = 5e-3
#: Where any answer will do.
_ANY: Final = 1.0
_ROUNDS: Final = 8


def solve(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    *,
    aim: Aim | None = None,
    time_limit: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
    survive: bool = False,
    most_stops: int | None = None,
    telling: Telling = "all",
    tighten: bool = True,
) -> Solution:
    """Choose stops and amounts.

    Parameters
    ----------
    scenario, route, demand
        The problem.
    aim
        What to be best at; the scenario's own where None.
    time_limit
        Most time for the solver in all, none where None. [s]
    progress
        Told what is being done.
    survive
        True for a plan that leaves a way on whichever one of its stops is found shut.
    most_stops
        That may be made, any number where None.
    telling
        What is found out besides the plan: what to do where a stop is found shut, and why
        there is none ("all"), the latter only, or nothing; each takes longer than a plan.
        The error of a plan that tells nothing can be asked later why.
    tighten
        False to leave every acceleration out: the same answer, later.

    Returns
    -------
    solution
        Best for the aim; ties broken by the other aims in a fixed order.

    Raises
    ------
    NoPlanError
        If no choice of stops keeps every limit; names the stretch and the shortfall.
    InternalError
        If the solver fails, or its straightened model does not settle.

    Notes
    -----
    The demand is straightened at the mass expected aboard, solved, straightened again at
    the mass the answer carries, until the levels stand still. Reserves and limits carry a
    margin of twice the remaining movement, so that the plan holds on the bent curve.
    """
    aim = aim or scenario.file.aim
    room = scenario.file.stores.tank + scenario.file.stores.bunker
    pose = _poser(scenario, route, demand, most_stops=most_stops, survive=survive)
    guess = _first_guess(scenario, demand)
    error: Margin | None = None
    begun = time.monotonic()
    solution: Solution | None = None
    for number in range(_ROUNDS):
        deadline = _deadline(begun, time_limit, first=number == 0)
        if solution is not None and deadline is not None and time.monotonic() >= deadline:
            guess = replace(guess, stopped=solution.stopped.tolist())
        progress(f"choosing stops, round {number + 1}")
        staged, posed = _staged(scenario, demand, pose(guess), aim, deadline, guess,
                                brief=number == 0, tighten=tighten)  # fmt: skip
        if staged is None:
            why = partial(_refusal, scenario, demand, posed, guess.margin)
            raise NoPlanError("no plan", explain=why) if telling == "nothing" else why()
        solution = _as_proven(answer_of(posed.chain, staged), solution if guess.stopped else None)
        aboard = carried(demand, solution)
        moved = movement(demand, solution, aboard)
        if number and _within(moved, guess.margin, room) and guess.margin.mass <= _SETTLED * room:
            solution = replace(solution, aboard=aboard, survives=survive)
            if telling != "all":
                return solution
            resorting = _resorting(scenario, demand, posed)
            solution, lost = with_ways(staged.programme, resorting, solution)
            if not survive or not lost:
                return solution
            guess = replace(guess, turned={**guess.turned, **lost})
            continue
        stuck = error is not None and moved.mass >= 0.5 * error.mass
        arrived = solution.carried(solution.arrive)
        guess = _Guess(
            aboard=aboard,
            gears=solution.gears,
            shut=tuple(s for s in posed.shut if s.turn is None and not posed.backs(s, s.node)),
            turned=guess.turned,
            arriving={i: float(arrived[i]) for i in posed.offers if solution.stopped[i]},
            stopped=solution.stopped.tolist() if stuck else guess.stopped,
            hint={d.name: float(round(d.varValue or 0.0)) for d in staged.programme.decisions},
            settled=number > 0,
            margin=Margin(mass=min(2 * moved.mass, 1e-3 * room), time=2 * moved.time),
        )
        error = moved
    raise InternalError("the straightened model did not settle; please report the scenario")


def may_have_plan(scenario: Scenario, route: Route, demand: Demand) -> bool:
    """Whether a first straightening, with no margin, has any answer.

    Parameters
    ----------
    scenario, route, demand
        The problem.

    Returns
    -------
    may
        False where `solve` finds no plan; True costs far less than a plan, and promises none.
    """
    posed = _poser(scenario, route, demand)(_first_guess(scenario, demand))
    return solve_stages(posed, scenario.file.aim, None, brief=True, gap=_ANY) is not None


def _poser(
    scenario: Scenario,
    route: Route,
    demand: Demand,
    *,
    most_stops: int | None = None,
    survive: bool = False,
) -> "Callable[[_Guess], Posed]":
    """What puts the problem as a guess straightens it."""
    nodes = nodes_of(route, demand, scenario)
    rules = replace(read_rules(scenario, demand, nodes), most_stops=most_stops)
    roads = Roads.of(scenario, route, demand)

    def pose(guess: _Guess) -> Posed:
        chain = build_chain(scenario, route, demand, guess.aboard, guess.gears)
        return Posed(
            chain=chain,
            offers=read_offers(scenario, demand, nodes, guess.arriving),
            limits=read_limits(scenario, demand, guess.margin),
            rules=rules,
            shut=guess.shut,
            last_resort=read_last_resort(scenario, demand, guess.margin) if survive else None,
            backs=find_backs(
                roads, demand, chain, guess.aboard, guess.gears, guess.arriving, guess.turned
            ),
        )

    return pose


def _first_guess(scenario: Scenario, demand: Demand) -> "_Guess":
    """Half of everything aboard all the way, each hill in its first gear."""
    room = scenario.file.stores.tank + scenario.file.stores.bunker
    return _Guess(
        aboard=np.full(demand.segments, 0.5 * room),
        gears=tuple(choice.gears[0] for choice in demand.choices),
    )


def _resorting(scenario: Scenario, demand: Demand, posed: Posed) -> Posed:
    """The problem with the levels of last resort, asked for or not."""
    if posed.last_resort is not None:
        return posed
    bare = Margin(mass=0.0, time=0.0)
    return replace(posed, last_resort=read_last_resort(scenario, demand, bare))


def _staged(
    scenario: Scenario,
    demand: Demand,
    posed: Posed,
    aim: Aim,
    deadline: float | None,
    guess: "_Guess",
    *,
    brief: bool,
    tighten: bool,
) -> tuple[Staged | None, Posed]:
    """One round: stages, and a second way on for every stop that needs one.

    A weak stop that may be turned back from parts the plans in two: those with a way on, and
    those with that way back. Each part is searched unless its bound is no better than a
    plan that survives.
    """
    parts = [posed]
    best: tuple[float, Staged, Posed] | None = None
    before: tuple[Posed, Programme, Sequence[Shut]] | None = None
    while parts:
        part = parts.pop()
        staged = solve_stages(
            part,
            aim,
            deadline,
            stopped=guess.stopped,
            hint=guess.hint,
            brief=brief,
            gap=_ROUGH if brief and tighten else 0.0,
            settled=guess.settled,
            tighten=tighten,
        )
        if staged is None:
            continue
        value = float(pulp.value(staged.expression))
        if best is not None and value >= best[0] - _PROVEN * max(abs(best[0]), 1.0):
            continue
        weak = [] if part.last_resort is None else weak_stops(staged.programme, part)
        if not weak:
            best = value, staged, part
            continue
        before = part, staged.programme, weak
        parts += _parts(part, weak)
    if best is None and before is not None:
        raise NoPlanError(_weakness(scenario, demand, *before))
    return (None, posed) if best is None else best[1:]


def _parts(posed: Posed, weak: Sequence[Shut]) -> list[Posed]:
    """A problem with what its weak stops ask, the part to be searched first at the end."""
    turning = [shut for shut in weak if posed.backs(shut, shut.node)]
    if not turning:
        return [replace(posed, shut=(*posed.shut, *weak))]
    plain = [shut for shut in weak if shut not in turning]
    first = turning[0]
    backs = [replace(first, turn=b.turned.turn) for b in posed.backs(first, first.node)]
    return [replace(posed, shut=(*posed.shut, *plain, shut)) for shut in (*backs[::-1], first)]


def _weakness(
    scenario: Scenario,
    demand: Demand,
    posed: Posed,
    programme: Programme,
    weak: Sequence[Shut],
) -> str:
    """Which stops leave no way on, and what would mend it."""
    lines = ["no plan: none survives every one of its stops found shut"]
    for shut in weak:
        least = broken_without(programme, posed, shut)
        why = explain_shortage(scenario, demand, posed.chain, least).removeprefix("no plan: ")
        lines.append(f"without {shut.kind} at {posed.chain.nodes[shut.node].name}: {why}")
    return "\n".join(lines)


@dataclass(frozen=True, kw_only=True)
class _Guess:
    """What a round starts from: the round before it."""

    aboard: Array
    gears: tuple[int, ...]
    shut: tuple[Shut, ...] = ()
    arriving: Mapping[int, float] = field(default_factory=dict)
    turned: Mapping[Turn, Carried] = field(default_factory=dict)
    stopped: list[bool] | None = None
    hint: Mapping[str, float] | None = None
    settled: bool = False
    margin: Margin = field(default_factory=lambda: Margin(mass=0.0, time=0.0))


def _refusal(scenario: Scenario, demand: Demand, posed: Posed, margin: Margin) -> NoPlanError:
    """Why there is no plan, by the programme with every limit breakable."""
    bare = replace(posed, limits=read_limits(scenario, demand, Margin(mass=0.0, time=0.0)), shut=())
    elastic = build_programme(bare, elastic=True)
    elastic.problem.setObjective(elastic.shortage)
    if not run(elastic, None).found:
        raise InternalError("the elastic programme has no answer; please report the scenario")
    if margin.mass == 0 and not elastic.broken:
        raise InternalError("the solver contradicts itself; please report the scenario")
    return NoPlanError(
        explain_shortage(scenario, demand, posed.chain, elastic),
        find_shortages(scenario, posed.chain, elastic),
    )


def _deadline(begun: float, time_limit: float | None, *, first: bool) -> float | None:
    if time_limit is None:
        return None
    return begun + time_limit * (_FIRST_SHARE if first else 1.0)


def _as_proven(solution: Solution, before: Solution | None) -> Solution:
    """With the stops of the round before, no better proved than it was."""
    if before is None:
        return solution
    bound = solution.objective * (1.0 - before.gap)
    return replace(solution, proven=before.proven, bound=bound)


def _within(error: Margin, margin: Margin, room: float) -> bool:
    """Whether an error is covered by a margin, or too small to matter."""
    mass, time = max(margin.mass, _TINY * room), max(margin.time, _TINY * 86400)
    return error.mass <= mass and error.time <= time
