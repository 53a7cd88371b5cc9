"""The programme of stations: which places, who stops where, how much each is given.

Sets: places s, visits v in driving order (s(v) the place met), engines e.
Data, pessimistic [kg, s]: use u_ev since the start, total U_e, tank T_e, start S_e, reserve
r_e, water w_e drunk standing at a stop; rate ρ_s of a hose, hoses h_s, span σ_s, water A_s,
stop time τ, longest wait ω.

| symbol | meaning | in code |
|---|---|---|
| z_s | place is open (0/1); fixed here | `open` |
| y_ev | engine stops (0/1) | `stops` |
| q_ev | water given [kg] | `takes` |
| l_ev | level on arrival [kg] | `levels` |

For each engine and each visit at which it may be served, in order:

(1) l_first = S − u_first;  l_next = l − w y + q − (u_next − u);  S or l … ≥ r at the finish
(2) r + w y ≤ l            nobody arrives, or waits, below the reserve
(3) l − w y + q ≤ T        the tank holds it
(4) q ≤ T y,  y ≤ z_s(v)
(5) Σ q ≤ A_s z_s          the place's water
(6) Σ (τ y + q/ρ_s) ≤ h_s (σ_s + ω) z_s     its hoses, by the rule of flow
(7) Σ h_s z_s ≤ hoses in all;  Σ y ≤ places, and Σ over lay-bys ≤ the rendezvous allowed
(8) Σ q over truck places ≤ what the trucks can bring
(9) z = 1 where existing, 0 where forbidden

The programme is solved on two levels. `choose` looks for the open places in a relaxation
that sees all engines together (`overview`), and tries each answer here with the places
fixed, where only y, q and l are left.

Valid inequality: (10) *windows*, Σ y ≥ 1 over the visits of every stretch no tank spans.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pulp
from numpy.typing import NDArray

from haulplan.stations.task import Drinker, Task

__all__ = ["Cover", "Window", "build_cover", "weighted", "windows_of"]

Array = NDArray[np.float64]
#: Water within this of a bound counts as on it. [kg]
_SLACK = 1e-6


@dataclass(frozen=True, kw_only=True)
class Window:
    """Visits from `first` to `last` of which an engine must stop at one, and its places."""

    visits: tuple[int, ...]
    places: frozenset[int]


@dataclass(frozen=True, kw_only=True)
class Cover:
    """The programme and its variables; takes, stops and levels by engine and visit."""

    problem: Any
    task: Task
    open: frozenset[int]
    stops: dict[tuple[int, int], Any]
    takes: dict[tuple[int, int], Any]
    levels: dict[tuple[int, int], Any]
    finish: tuple[Any, ...]
    waits: Any

    def cost(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Call-outs, and the water's price."""
        places = self.task.places
        terms = [
            (q, places[self.task.visits[v]].water_price)
            for (_, v), q in self.takes.items()
            if places[self.task.visits[v]].water_price
        ]
        return weighted(terms) + sum(places[s].cost for s in self.open)

    def service(self) -> Any:  # noqa: ANN401  a PuLP expression
        """The longest wait, and what an engine stands at hoses on average [min]."""
        terms = [term for s in sorted(self.open) for term in _work(self, s)]
        share = 1.0 / len(self.task.drinkers)
        return weighted([(self.waits, 1.0), *((x, share * c) for x, c in terms)])

    def bind_waits(self) -> None:
        """Make `waits` the longest wait by the rule of flow [min]."""
        problem = self.problem
        for s, place in enumerate(self.task.places):
            work = _work(self, s)
            if work and math.isfinite(place.span):
                row = weighted([*work, (self.waits, -place.hoses)])
                problem += row <= place.hoses * place.span / 60


def weighted(terms: Iterable[tuple[Any, float]]) -> Any:  # noqa: ANN401  a PuLP expression
    """The sum of variables times numbers.

    Parameters
    ----------
    terms
        Variable and number of each.

    Returns
    -------
    expression
        For an objective or a row.
    """
    return pulp.lpSum([number * variable for variable, number in terms])


def windows_of(task: Task, drinker: Drinker) -> list[Window]:
    """The minimal windows of one engine.

    Parameters
    ----------
    task
        With its visits.
    drinker
        The engine.

    Returns
    -------
    windows
        In driving order; one without visits where no filling gets the engine through.

    Examples
    --------
    >>> import numpy as np
    >>> from haulplan.stations.task import Place
    >>> taps = tuple(Place(name=n, rate=1.0) for n in "abc")
    >>> engine = Drinker(name="x", tank=50.0, at_start=50.0, reserve=0.0, total=100.0,
    ...     use=np.array([20.0, 40.0, 80.0]), may=np.ones(3, dtype=bool))
    >>> task = Task(places=taps, visits=(0, 1, 2), drinkers=(engine,))
    >>> [w.visits for w in windows_of(task, engine)]
    [(1,), (2,)]
    """
    may = np.flatnonzero(drinker.may).tolist()
    begins = [(0.0, drinker.at_start, -1)] + [(float(drinker.use[v]), drinker.tank, v) for v in may]
    found: list[tuple[int, ...]] = []
    for used, level, at in begins:
        if level - (drinker.total - used) >= drinker.reserve - _SLACK:
            continue
        reach = used + level - drinker.reserve - drinker.wait + _SLACK
        found.append(tuple(v for v in may if v > at and drinker.use[v] <= reach))
    # Windows begin one visit later each and end no earlier: one that ends where the next
    # does holds it whole.
    minimal = [
        w for n, w in enumerate(found)
        if not w or n + 1 == len(found) or not found[n + 1] or found[n + 1][-1] > w[-1]
    ]  # fmt: skip
    return [Window(visits=w, places=frozenset(task.visits[v] for v in w)) for w in minimal]


def build_cover(
    task: Task,
    opened: frozenset[int],
) -> Cover:
    """The programme with its places fixed, without an objective.

    Parameters
    ----------
    task
        The numbers.
    opened
        The places open; all others are shut.

    Returns
    -------
    cover
        To be given an objective and run.
    """
    problem = pulp.LpProblem("stations", pulp.LpMinimize)
    stops: dict[tuple[int, int], Any] = {}
    takes: dict[tuple[int, int], Any] = {}
    levels: dict[tuple[int, int], Any] = {}
    finish = []
    for e, drinker in enumerate(task.drinkers):
        usable = [v for v in np.flatnonzero(drinker.may).tolist() if task.visits[v] in opened]
        for v in usable:
            key, name = (e, v), f"{e:04d}_{v:04d}"
            stops[key] = problem.add_variable(f"y_{name}", 0, 1, "Integer")
            takes[key] = problem.add_variable(f"q_{name}", 0, drinker.tank)
            levels[key] = problem.add_variable(f"l_{name}", drinker.reserve, drinker.tank)
        finish.append(problem.add_variable(f"f_{e:04d}", drinker.reserve, drinker.tank))
    cover = Cover(
        problem=problem, task=task, open=opened, stops=stops, takes=takes, levels=levels,
        finish=tuple(finish), waits=problem.add_variable("w", 0),
    )  # fmt: skip
    for e in range(len(task.drinkers)):
        _drive(cover, e)
    _limits(cover)
    return cover


def _drive(cover: Cover, e: int) -> None:
    """(1) to (4) and (10) for one engine."""
    drinker, problem = cover.task.drinkers[e], cover.problem
    usable = [v for other, v in cover.stops if other == e]
    leaving: list[tuple[Any, float]] = []
    level, used = drinker.at_start, 0.0
    for v in usable:
        y, q, arrive = cover.stops[e, v], cover.takes[e, v], cover.levels[e, v]
        burnt = float(drinker.use[v]) - used
        row = weighted([(arrive, 1.0), *((x, -c) for x, c in leaving)])
        problem += row == level - burnt
        if drinker.wait:
            problem += arrive - drinker.wait * y >= drinker.reserve
        leaving, level, used = [(arrive, 1.0), (y, -drinker.wait), (q, 1.0)], 0.0, drinker.use[v]
        problem += weighted(leaving) <= drinker.tank
        problem += q <= drinker.tank * y
    row = weighted([(cover.finish[e], 1.0), *((x, -c) for x, c in leaving)])
    problem += row == level - (drinker.total - float(used))
    for window in windows_of(cover.task, drinker):
        within = [(cover.stops[e, v], 1.0) for v in window.visits if (e, v) in cover.stops]
        problem += weighted(within) >= 1


def _work(cover: Cover, s: int) -> list[tuple[Any, float]]:
    """Terms of the hose minutes at a place."""
    task = cover.task
    terms = []
    for (e, v), q in cover.takes.items():
        if task.visits[v] == s:
            terms.append((q, 1 / task.places[s].rate / 60))
            if task.stop:
                terms.append((cover.stops[e, v], task.stop / 60))
    return terms


def _limits(cover: Cover) -> None:
    """(5) to (8)."""
    task, problem = cover.task, cover.problem
    at: dict[int, list[tuple[int, int]]] = {}
    for key in cover.takes:
        at.setdefault(task.visits[key[1]], []).append(key)
    for s, keys in at.items():
        place = task.places[s]
        if math.isfinite(place.water):
            problem += pulp.lpSum([cover.takes[k] for k in keys]) <= place.water
        room = place.hoses * (place.span + task.longest_wait) / 60
        if math.isfinite(room):
            problem += weighted(_work(cover, s)) <= room
        if not place.station:
            problem += pulp.lpSum([cover.stops[k] for k in keys]) <= place.places
    lay_bys = [k for k in cover.stops if not task.places[task.visits[k[1]]].station]
    if lay_bys:
        problem += pulp.lpSum([cover.stops[k] for k in lay_bys]) <= task.rendezvous
    trucked = [q for (_, v), q in cover.takes.items() if task.places[task.visits[v]].by_truck]
    if trucked and math.isfinite(task.truck_water):
        problem += pulp.lpSum(trucked) <= task.truck_water
