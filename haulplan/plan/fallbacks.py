"""What to do at each stop found shut, in the words of the plan, and ways back to be driven."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from haulplan.demand import Demand
from haulplan.plan.answer import Solution
from haulplan.plan.plan import Fallback, Plan, Proof
from haulplan.plan.survive import WayOn
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Levels

__all__ = ["fallbacks_of", "proofs_of"]

Writer = Callable[[Scenario, Route, Demand, Solution], Plan]


def fallbacks_of(solution: Solution, kept: Sequence[int]) -> tuple[Fallback, ...]:
    """What to do at each stop found shut.

    Parameters
    ----------
    solution
        With its ways on.
    kept
        Nodes of the plan's stops, the start first.

    Returns
    -------
    fallbacks
        In driving order.
    """
    return tuple(_fallback(solution, list(kept), way) for way in solution.ways)


def _fallback(solution: Solution, kept: list[int], way: WayOn) -> Fallback:
    nodes = solution.chain.nodes
    there = nodes if way.back is None else way.back.chain.nodes
    turn = None if way.back is None else way.back.turned.turn
    after = nodes[way.shut.node].distance if turn is None else turn.there.distance
    ahead = [
        there[i]
        for i in way.stops
        if there[i].kind == "supply"
        and (i > way.shut.node if turn is None else there[i].distance > after)
    ]
    following = ahead[0] if ahead else there[-1]
    at = following.distance if way.back is None else way.back.turned.place(following.distance)
    later = 0.0 if way.minutes is None else 60 * way.minutes - float(solution.clock[-1])
    return Fallback(
        stop=kept.index(way.shut.node),
        kind=way.shut.kind,
        decide_at=nodes[way.first].distance,
        decide_name=nodes[way.first].name,
        next_name=None if way.minutes is None else following.name,
        next_distance=at,
        later=max(later, 0.0),
        turn_name=None if turn is None else turn.there.name,
        turn_at=0.0 if turn is None else turn.there.distance,
        again_name=None if turn is None else turn.again.name,
    )


def proofs_of(scenario: Scenario, solution: Solution, write: Writer) -> tuple[Proof, ...]:
    """Every way that turns back as a plan over its own road, for the replay to drive.

    Parameters
    ----------
    scenario
        The plan's.
    solution
        Its answer.
    write
        Writes the plan of an answer.

    Returns
    -------
    proofs
        With levels of last resort in place of reserve and finish, and nothing more to be
        had of what is shut than was taken there before.
    """
    proofs = []
    for number, driven in sorted(solution.driven.items()):
        way = solution.ways[number]
        assert way.back is not None
        turned = way.back.turned
        last = scenario.file.last_resort or Levels.model_construct(water=0.0, coal=0.0)
        file = turned.scenario.file.model_copy(update={"reserve": last, "at_finish": last})
        row = solution.offers[way.shut.node].row
        before = [
            i for i, o in driven.offers.items() if o.row == row and i < way.first and not o.truck
        ]
        taken = driven.take_water if way.shut.kind == "water" else driven.take_coal
        filled = [driven.work[i].filled for i in before if way.shut.kind == "water"]
        had = float(sum(taken[i] for i in before)) + sum(filled)
        supplies = list(turned.scenario.supplies)
        supplies[row] = supplies[row].model_copy(update={f"{way.shut.kind}_available": had})
        case = replace(turned.scenario, file=file, supplies=tuple(supplies))
        plan = write(case, turned.route, turned.demand, driven)
        proofs.append(Proof(scenario=case, route=turned.route, demand=turned.demand, plan=plan))
    return tuple(proofs)
