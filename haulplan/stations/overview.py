"""The overview: which places to open, all engines seen together.

A relaxation of the programme in `cover`: its answers are never worse than the truth for
any aim, so its bounds are proofs. Variables: z_s as there; Q_v, N_v the water given [kg]
and the stops made at visit v by all engines together.

(a) Σ z ≥ 1 over the places of every window of every engine (2 to survive any loss);
(b) Σ z ≥ k over every run of visits from which the fleet needs more than any k − 1 of its
    places can give, by water or by hose time;
(c) Σ Q ≥ D_ij, Σ N ≥ n_ij over the visits i to j: what every engine needs there at the
    least, full at its last place before i and at its reserve at its first after j;
(d) Q ≤ (largest tank) N;  N ≤ (engines that may) z;  the limits (5) to (9) of `cover`
    with the sums in place of the engines' own;
(e) cuts that `choose` has learnt.

The rows (a) of engines that all places serve have consecutive ones: the relaxation with
them alone is whole (Fulkerson and Gross, Pacific J. Math. 15 (1965) 835-855; from memory).
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.stations.cover import weighted, windows_of
from haulplan.stations.task import Task

__all__ = ["Cut", "Overview", "build_overview", "most_given", "rounded_windows"]

Array = NDArray[np.float64]
#: Water within this of a bound counts as on it. [kg]
_SLACK = 1e-6


@dataclass(frozen=True, kw_only=True)
class Cut:
    """Places of which at least so many must be open; `shut` ones count where they are shut."""

    places: frozenset[int]
    least: int
    shut: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Overview:
    """The relaxation and its variables: open places, water and stops by visit."""

    problem: Any
    task: Task
    open: tuple[Any, ...]
    water: tuple[Any, ...]
    stops: tuple[Any, ...]
    waits: Any

    def stations(self) -> Any:  # noqa: ANN401  a PuLP expression
        """How many stations are open."""
        pairs = zip(self.open, self.task.places, strict=True)
        return pulp.lpSum([z for z, place in pairs if place.station])

    def cost(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Call-outs, and the water's price."""
        places, visits = self.task.places, self.task.visits
        terms = [(z, place.cost) for z, place in zip(self.open, places, strict=True) if place.cost]
        priced = [(q, places[s].water_price) for q, s in zip(self.water, visits, strict=True)]
        return weighted(terms + [(q, price) for q, price in priced if price])

    def service(self) -> Any:  # noqa: ANN401  a PuLP expression
        """The longest wait, and what an engine stands at hoses on average [min]."""
        share = 1.0 / len(self.task.drinkers)
        terms = [(self.waits, 1.0)]
        for q, n, s in zip(self.water, self.stops, self.task.visits, strict=True):
            terms.append((q, share / self.task.places[s].rate / 60))
            terms.append((n, share * self.task.stop / 60))
        return weighted(terms)


def build_overview(
    task: Task, *, losses: bool, cuts: Iterable[Cut] = (), brief: bool = False
) -> Overview:
    """The relaxation without an objective.

    Parameters
    ----------
    task
        The numbers.
    losses
        Whether any one place may fail.
    cuts
        What was learnt so far.
    brief
        Leave out (c) and (d): coarser, and far quicker to count stations with.

    Returns
    -------
    overview
        To be given an objective and run.
    """
    problem = pulp.LpProblem("overview", pulp.LpMinimize)
    opened = []
    for s, place in enumerate(task.places):
        low, high = int(place.status == "existing"), int(place.status != "forbidden")
        opened.append(problem.add_variable(f"z_{s:04d}", low, high, "Integer"))
    count = range(len(task.visits))
    overview = Overview(
        problem=problem,
        task=task,
        open=tuple(opened),
        water=tuple(problem.add_variable(f"q_{v:04d}", 0) for v in count),
        stops=tuple(problem.add_variable(f"n_{v:04d}", 0) for v in count),
        waits=problem.add_variable("w", 0),
    )
    _windows(overview, losses=losses)
    if not brief:
        _together(overview)
        _limits(overview)
    for cut in cuts:
        row = [(opened[s], 1.0) for s in sorted(cut.places)]
        row += [(opened[s], -1.0) for s in sorted(cut.shut)]
        problem += weighted(row) >= cut.least - len(cut.shut)
    return overview


def _windows(overview: Overview, *, losses: bool) -> None:
    """(a) and (b)."""
    task, problem, least = overview.task, overview.problem, 1 + int(losses)
    wanted = {w.places for drinker in task.drinkers for w in windows_of(task, drinker)}
    rows = [(p, least) for p in wanted if not any(other < p for other in wanted)]
    rounded = rounded_windows(task)
    rows += [(places, k) for places, k, _ in rounded if k > least]
    for places, k in sorted(rows, key=lambda row: (sorted(row[0]), row[1])):
        problem += pulp.lpSum([overview.open[s] for s in sorted(places)]) >= k
    for places, k, need in rounded:
        gifts = [(overview.open[s], min(most_given(task, s), need) / need) for s in sorted(places)]
        if k > 1:
            problem += weighted(gifts) >= 1


def _together(overview: Overview) -> None:
    """(c) on running totals, leaving out what two shorter runs imply."""
    task, problem = overview.task, overview.problem
    water, stops, _ = _needs(task)
    for name, need, columns in (("Q", water, overview.water), ("N", stops, overview.stops)):
        count = len(columns)
        totals: list[Any] = []
        for v, column in enumerate(columns):
            totals.append(problem.add_variable(f"{name}_{v:04d}", 0))
            problem += totals[v] - (totals[v - 1] if v else 0.0) - column == 0
        for first in range(count):
            for last in range(first, count):
                if need[first, last] <= _SLACK:
                    continue
                split = need[first, first:last] + need[first + 1 : last + 1, last]
                if split.size and split.max() >= need[first, last] - _SLACK:
                    continue
                row = [(totals[last], 1.0), *([(totals[first - 1], -1.0)] if first else [])]
                problem += weighted(row) >= need[first, last]


def _limits(overview: Overview) -> None:
    """(d)."""
    task, problem = overview.task, overview.problem
    largest = max(drinker.tank for drinker in task.drinkers)
    at: dict[int, list[int]] = {}
    for v, s in enumerate(task.visits):
        at.setdefault(s, []).append(v)
        many = sum(bool(drinker.may[v]) for drinker in task.drinkers)
        problem += overview.water[v] <= largest * overview.stops[v]
        problem += overview.stops[v] <= many * overview.open[s]
    for s, visits in at.items():
        place, z = task.places[s], overview.open[s]
        water = [(overview.water[v], 1.0) for v in visits]
        if math.isfinite(place.water):
            problem += weighted([*water, (z, -place.water)]) <= 0
        if not place.station:
            problem += pulp.lpSum([overview.stops[v] for v in visits]) <= place.places * z
        work = [(q, 1 / place.rate / 60) for q, _ in water]
        work += [(overview.stops[v], task.stop / 60) for v in visits if task.stop]
        span, most = place.hoses * place.span / 60, place.hoses * task.longest_wait / 60
        if math.isfinite(span):
            row = [*work, (z, -span), (overview.waits, -float(place.hoses))]
            problem += weighted(row) <= 0
        if math.isfinite(span + most):
            problem += weighted([*work, (z, -span - most)]) <= 0
    _in_all(overview)


def _in_all(overview: Overview) -> None:
    """The limits that bind all places together."""
    task, problem = overview.task, overview.problem
    kinds = [task.places[s] for s in task.visits]
    if lay_bys := [n for n, p in zip(overview.stops, kinds, strict=True) if not p.station]:
        problem += pulp.lpSum(lay_bys) <= task.rendezvous
    if task.hoses is not None:
        pairs = zip(overview.open, task.places, strict=True)
        problem += weighted([(z, float(p.hoses)) for z, p in pairs]) <= task.hoses
    trucked = [q for q, p in zip(overview.water, kinds, strict=True) if p.by_truck]
    if trucked and math.isfinite(task.truck_water):
        problem += pulp.lpSum(trucked) <= task.truck_water


def rounded_windows(task: Task) -> list[tuple[frozenset[int], int, float]]:
    """Runs of visits and how many of their places must be open at least, by (11).

    Parameters
    ----------
    task
        The numbers.

    Returns
    -------
    rows
        Places, the number of them and the water they must give; none that a shorter run
        implies. [kg]
    """
    count = len(task.visits)
    water, _, seconds = _needs(task)
    found: dict[tuple[int, int], int] = {}
    most = np.zeros((count, count), dtype=int)
    for first in range(count):
        for last in range(first, count):
            places = sorted({task.visits[v] for v in range(first, last + 1)})
            most[first, last] = max(
                _fewest([most_given(task, s) for s in places], float(water[first, last])),
                _fewest([_works(task, s) for s in places], float(seconds[first, last])),
            )
    for first in range(count):
        for last in range(first, count):
            inner = max(
                most[first + 1, last] if first < last else 0,
                most[first, last - 1] if first < last else 0,
            )
            if most[first, last] > inner:
                found[first, last] = int(most[first, last])
    return [
        (frozenset(task.visits[v] for v in range(a, b + 1)), k, float(water[a, b]))
        for (a, b), k in found.items()
    ]


def _needs(task: Task) -> tuple[Array, Array, Array]:
    """Least water [kg], stops and hose time [s] of all engines from visit i to visit j."""
    count = len(task.visits)
    water, stops = np.zeros((count, count)), np.zeros((count, count))
    best = max((place.rate for place in task.places), default=1.0)
    for drinker in task.drinkers:
        may = drinker.may
        inside = np.flatnonzero(may)
        if inside.size == 0:
            continue
        # Where it last could fill before visit i, and where it next can after visit j.
        before = np.array([inside[inside < i].max(initial=-1) for i in range(count)])
        after = np.array([inside[inside > j].min(initial=count) for j in range(count)])
        use = np.append(drinker.use, [drinker.total, 0.0])  # places of `count` and of -1
        level = np.where(before < 0, drinker.at_start, drinker.tank)
        need = use[after][None, :] - use[before][:, None] + drinker.reserve - level[:, None]
        need = np.where(np.triu(np.ones((count, count), dtype=bool)), np.maximum(need, 0.0), 0.0)
        need[need <= _SLACK] = 0.0
        fills = np.ceil(need / (drinker.tank - drinker.reserve) - 1e-9)
        water += need
        stops += fills
    return water, stops, stops * task.stop + water / best


def _works(task: Task, s: int) -> float:
    place = task.places[s]
    return place.hoses * (place.span + task.longest_wait) if place.status != "forbidden" else 0.0


def most_given(task: Task, s: int) -> float:
    """The most water a place can give: no stop takes more than the largest tank.

    Parameters
    ----------
    task
        The numbers.
    s
        The place.

    Returns
    -------
    water
        Infinite where nothing limits it. [kg]
    """
    place = task.places[s]
    largest = max(drinker.tank for drinker in task.drinkers)
    return min(place.water, _works(task, s) / (1 / place.rate + task.stop / largest))


def _fewest(gifts: Sequence[float], need: float) -> int:
    """How many of the largest reach the need; one more than all where they do not."""
    if need <= _SLACK:
        return 0
    total = 0.0
    for number, gift in enumerate(sorted(gifts, reverse=True), start=1):
        total += gift
        if total >= need * (1 - 1e-9):
            return number
    return len(gifts) + 1
