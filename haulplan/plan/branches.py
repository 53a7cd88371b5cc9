"""Search by the place of the first night: each place apart, the most promising first.

With the place known, the day of every node is known and the programme's relaxation lies
near its answer; places whose relaxation is no better than the best answer found are left
out. Together the places are all there are, so what is best of them is best.
"""

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final

import pulp

from haulplan.errors import InternalError
from haulplan.plan.model import Programme
from haulplan.plan.run import TOO_LATE, Outcome, Relaxation, run

__all__ = ["run_by_night"]

#: An answer better by less than this share is not looked for.
_SAME: Final = 1e-9

_Bounds = dict[str, tuple[float, float]]


def run_by_night(
    programme: Programme,
    deadline: float | None,
    *,
    start: Mapping[str, float] | None = None,
    gap: float = 0.0,
) -> Outcome:
    """Run the solver for each place of the first night still to come.

    Parameters
    ----------
    programme
        With its objective set; holds the best answer's values afterwards.
    deadline
        When to be done, by `time.monotonic`; never where None. [s]
    start
        Values by variable name to start from.
    gap
        How far from the best the answer may be, as a share of it. [-]

    Returns
    -------
    outcome
        As of one run over all places.

    Raises
    ------
    InternalError
        If the solver fails, or finds nothing within the time limit.
    """
    places = _places(programme)
    if len(places) < 2:
        return run(programme, deadline, start=start, gap=gap)
    bounds = _relaxed(programme, places)
    best = Outcome(found=False, proven=True, value=math.inf, bound=math.inf)
    values: dict[str, float] = {}
    proven, least = True, math.inf
    for place in sorted(bounds, key=lambda j: (bounds[j], j)):
        if best.found and bounds[place] >= best.value - _least_gain(best.value, gap):
            least = min(least, bounds[place])
            continue
        below = best.value - _least_gain(best.value, gap) if best.found else math.inf
        with _only(programme, places, place):
            outcome = run(
                programme,
                deadline,
                start=start if _fits(places, place, start) else None,
                optional=True,
                gap=gap,
                below=below,
            )
            proven = proven and (outcome.proven or bool(gap and outcome.found))
            least = min(least, max(min(outcome.bound, below), bounds[place]))
            if outcome.found and outcome.value < best.value:
                best, values = outcome, programme.values
    if not best.found:
        if not proven:
            raise InternalError(TOO_LATE)
        return best
    programme.restore(values)
    return replace(best, proven=proven and least >= best.value - _least_gain(best.value, 0.0),
                   bound=min(least, best.value))  # fmt: skip


def _least_gain(value: float, gap: float) -> float:
    return max(gap, _SAME) * max(abs(value), 1.0)


def _places(programme: Programme) -> dict[int, list[Any]]:
    """The nights' decisions by place, of the first night still open; -1 is no night."""
    open_ = [
        (day, j, z)
        for (j, day, _), z in programme.night.items()
        if isinstance(z, pulp.LpVariable) and z.upBound > 0
    ]
    if not open_:
        return {}
    first = min(day for day, _, _ in open_)
    places: dict[int, list[Any]] = {-1: []}
    for day, j, z in open_:
        if day == first:
            places.setdefault(j, []).append(z)
    return places


def _limits(places: Mapping[int, list[Any]], place: int) -> _Bounds:
    """Bounds that leave one place only; of two fires there either."""
    bounds = {}
    for j, nights in places.items():
        for z in nights:
            least = 1.0 if j == place and len(nights) == 1 else 0.0
            bounds[z.name] = (least, 1.0 if j == place else 0.0)
    return bounds


def _relaxed(programme: Programme, places: Mapping[int, list[Any]]) -> dict[int, float]:
    """Bound of each place by the relaxation, those without an answer left out."""
    relaxed = Relaxation(programme)
    found = {}
    for place in places:
        relaxed.limit(_limits(places, place))
        bound = relaxed.bound()
        if bound < math.inf:
            found[place] = bound
    return found


@contextmanager
def _only(programme: Programme, places: Mapping[int, list[Any]], place: int) -> Iterator[None]:
    """One place only, while it lasts."""
    own = {z.name: z for nights in places.values() for z in nights}
    kept = {name: (z.lowBound, z.upBound) for name, z in own.items()}
    for name, (low, high) in _limits(places, place).items():
        own[name].bounds(max(low, kept[name][0]), min(high, kept[name][1]))
    try:
        yield
    finally:
        for name, (low, high) in kept.items():
            own[name].bounds(low, high)


def _fits(places: Mapping[int, list[Any]], place: int, start: Mapping[str, float] | None) -> bool:
    if start is None:
        return False
    return all(
        low - 0.5 <= start.get(name, low) <= high + 0.5
        for name, (low, high) in _limits(places, place).items()
    )
