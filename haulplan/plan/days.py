"""The calendar of the programme: nights, hours, crew, meals, duties: (10), (17)-(22)."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

import pulp

from haulplan.plan.legs import Chain
from haulplan.plan.model import Programme
from haulplan.plan.rules import Rules

__all__ = ["add_clock", "add_days"]

#: No night is longer than two days. [min]
_LONGEST_NIGHT: Final = 48 * 60.0


def add_clock(programme: Programme, i: int, took: Any) -> None:  # noqa: ANN401  a PuLP expression
    """From node i's arrival to the next node's: (10).

    Parameters
    ----------
    programme
        Is added to.
    i
        The node.
    took
        Minutes driven on its leg.
    """
    gone = programme.stay.get(i, 0.0) + programme.gap.get(i, 0.0) + took
    if i in programme.offers:
        gone = gone + programme.offers[i].access_time * programme.stop[i]
    clock = programme.clock
    if clock[i + 1] is None:
        clock[i + 1] = clock[i] + gone
    else:
        programme.add(clock[i + 1] - clock[i] - gone == 0, f"clock_{i:05d}")


def add_days(programme: Programme, chain: Chain, minutes: Sequence[Any]) -> None:
    """Everything that goes by the clock or the day.

    Parameters
    ----------
    programme
        With every stop, night, duty and meal.
    chain
        Its nodes.
    minutes
        Driven on each leg.
    """
    if programme.first == 0:
        _add_departure(programme)
    for day in range(1, programme.rules.nights + 1):
        early = min(max(programme.rules.earliest[day], 0.0), programme.horizon)
        programme.begin.append(programme.variable(f"begin_{day:02d}", early, programme.horizon))
    _add_nights(programme)
    _add_wheels(programme)
    _add_crew(programme)
    if programme.first == 0 and not programme.elastic:
        _add_nearness(programme, chain)
    for k in range(len(programme.rules.meals)):
        for day in range(programme.rules.nights + 1):
            _add_meal(programme, k, day)
    for k, duty in enumerate(programme.rules.duties):
        driven = minutes
        interval = duty.minutes
        if math.isfinite(duty.metres):
            interval = duty.metres / 1000
            driven = [(b.distance - a.distance) / 1000 for a, b in pairwise(chain.nodes)]
        _add_duty(programme, k, interval, driven)


def _add_departure(programme: Programme) -> None:
    """The first day's departure: within its choice, and not before wheels may turn."""
    rules = programme.rules
    low, high = max(0.0, rules.earliest[0]), rules.depart_by
    if high > 0 or low > 0:
        programme.gap[0] = programme.variable("gap_00000", low, math.inf)
        early = programme.give("depart", 0, "early")
        programme.add(programme.gap[0] - early <= high, "departs")
    programme.begin.append(programme.gap.get(0, 0.0))


def _leaving(programme: Programme, i: int) -> Any:  # noqa: ANN401  a PuLP expression
    """Clock at which the train moves off from node i."""
    return _ended(programme, i) + programme.gap.get(i, 0.0)


def _ended(programme: Programme, i: int) -> Any:  # noqa: ANN401  a PuLP expression
    """Clock at which the day's work at node i is over."""
    ended = programme.clock[i] + programme.stay[i]
    if i in programme.offers:
        ended = ended + programme.offers[i].access_time * programme.stop[i]
    return ended


def _on(programme: Programme, day: int) -> dict[int, Any]:
    """For each place of a night, 1 if the night before day `day` is spent there."""
    nodes = sorted({j for j, _, _ in programme.night})
    return {j: programme.nights_at(j, day) for j in nodes}


def _add_nights(programme: Programme) -> None:
    """One night on a date, one after the other, with the rest it owes: (18), (20)."""
    rules = programme.rules
    for day in range(1, rules.nights + 1):
        spent = _on(programme, day)
        programme.add(pulp.lpSum(list(spent.values())) <= 1, f"one_night_{day:02d}")
        if day > 1:
            before = _on(programme, day - 1)
            for j in spent:
                earlier = pulp.lpSum([z for i, z in before.items() if i < j])
                here = pulp.lpSum([z for i, z in spent.items() if i <= j])
                programme.add(here <= earlier, f"in_order_{day:02d}_{j:05d}")
        for j, z in spent.items():
            programme.add(
                _leaving(programme, j) >= rules.earliest[day] * z, f"morning_{day:02d}_{j:05d}"
            )
            later = programme.horizon * (1 - z)
            programme.add(
                programme.begin[day] <= _leaving(programme, j) + later, f"begins_{day:02d}_{j:05d}"
            )
    for j, gap in programme.gap.items():
        if j == 0 or j < programme.first:
            continue
        programme.add(gap <= _LONGEST_NIGHT * programme.nights_at(j), f"night_long_{j:05d}")
        owed = [
            (rules.rest + rules.fires[f].lead) * z
            for (i, _, f), z in programme.night.items()
            if i == j
        ]
        programme.add(gap >= pulp.lpSum(owed), f"night_rest_{j:05d}")


def _add_wheels(programme: Programme) -> None:
    """Wheels turn between two clocks of each day: (17)."""
    rules, margin = programme.rules, programme.limits.time_margin
    if not any(math.isfinite(latest) for latest in rules.latest):
        return
    nodes = [i for i in programme.stop if i > programme.first]
    for i in sorted({*nodes, len(programme.clock) - 1}):
        steps = [
            (later - sooner) * z
            for day, (sooner, later) in enumerate(pairwise(rules.latest), start=1)
            for (j, d, _), z in programme.night.items()
            if d == day and j < i
        ]
        late = programme.give("latest", i, "late")
        programme.add(
            programme.clock[i] - late <= pulp.lpSum(steps) + rules.latest[0] - margin,
            f"latest_{i:05d}",
        )


def _lead(rules: Rules, programme: Programme, day: int) -> Any:  # noqa: ANN401  a PuLP expression
    """Minutes of lighting up before a day's departure."""
    if day == 0:
        return rules.lead
    return pulp.lpSum(
        [rules.fires[f].lead * z for (_, d, f), z in programme.night.items() if d == day]
    )


def _used(programme: Programme, day: int) -> Any:  # noqa: ANN401  a PuLP expression
    """1 if there is a day `day`."""
    if day == 0:
        return 1.0
    if day > programme.rules.nights:
        return 0.0
    return pulp.lpSum(list(_on(programme, day).values()))


def _ends(programme: Programme, day: int) -> list[tuple[str, Any, Any, Any]]:
    """Each way a day may end: name, clock of arrival, of the end, and 1 where it does."""
    ends = [
        (f"{j:05d}", programme.clock[j], _ended(programme, j), z)
        for j, z in (_on(programme, day + 1) if day < programme.rules.nights else {}).items()
    ]
    finish = programme.clock[-1]
    here = _used(programme, day) - _used(programme, day + 1)
    return [*ends, ("finish", finish, finish, here)]


def _add_crew(programme: Programme) -> None:
    """No day on duty is longer than the crew's: (18)."""
    rules = programme.rules
    if not math.isfinite(rules.crew):
        return
    most = rules.crew - programme.limits.time_margin
    for day in range(rules.nights + 1):
        over = programme.give("crew", day, "over")
        for name, _, ended, here in _ends(programme, day):
            lead = _lead(rules, programme, day)
            programme.add(
                ended - programme.begin[day] + lead - over <= most + programme.horizon * (1 - here),
                f"crew_{day:02d}_{name}",
            )


def _add_nearness(programme: Programme, chain: Chain) -> None:
    """What follows from (17)-(19) for whole nights, said so that parts of nights keep it."""
    rules, limits = programme.rules, programme.limits
    if not rules.nights:
        return
    if math.isfinite(rules.crew):
        rested = pulp.lpSum(list(programme.gap.values()))
        allowed = pulp.lpSum(
            [rules.crew - rules.lead]
            + [(rules.crew - rules.fires[f].lead) * z for (_, _, f), z in programme.night.items()]
        )
        programme.add(programme.clock[-1] - rested <= allowed, "work_of_all_days")
    aboard = limits.reserve_water + limits.reserve_coal
    least = [
        min((leg.duration + max(leg.duration_slope, 0.0) * aboard) / 60 for leg in options)
        for options in chain.legs
    ]
    for day in range(1, rules.nights + 1):
        after = [
            (max(rules.earliest[day], 0.0) + sum(least[j:])) * z
            for (j, d, _), z in programme.night.items()
            if d == day
        ]
        programme.add(programme.clock[-1] >= pulp.lpSum(after), f"after_night_{day:02d}")


def _add_meal(programme: Programme, k: int, day: int) -> None:
    """A meal of one day: had at a stop in its time, or not due: (21)."""
    rules, horizon, margin = programme.rules, programme.horizon, programme.limits.time_margin
    meal, tag = rules.meals[k], f"{k:02d}_{day:02d}"
    if day == 0 and meal.today is False:
        return
    earliest, latest = (1440 * day + clock for clock in (meal.earliest, meal.latest))
    had = {j: m for (j, number, d), m in programme.meal.items() if (number, d) == (k, day)}
    ended = programme.decision(f"ended_{tag}")
    programme.spared.append(ended)
    begun: Any = 0.0
    if day or meal.today is None:
        begun = programme.decision(f"begun_{tag}")
        programme.spared.append(begun)
        programme.add(programme.begin[day] >= (earliest + margin) * begun, f"begun_{tag}_after")
    missed = programme.give("meal", day, f"{k:02d}")
    programme.add(
        pulp.lpSum(list(had.values())) + ended + begun + missed >= _used(programme, day),
        f"meal_{tag}",
    )
    for name, _, over, here in _ends(programme, day):
        off = horizon * (1 - ended) + horizon * (1 - here)
        programme.add(over <= latest - margin + off, f"ended_{tag}_{name}")
    for j, m in had.items():
        clock, stay = programme.clock[j], programme.stay[j]
        if j in programme.offers:
            clock = clock + programme.offers[j].access_time / 2 * programme.stop[j]
        off = horizon * (1 - m)
        programme.add(clock <= latest - margin + off, f"meal_late_{tag}_{j:05d}")
        programme.add(
            clock + stay >= (earliest + meal.takes + margin) * m, f"meal_early_{tag}_{j:05d}"
        )
        before = [z for (i, d, _), z in programme.night.items() if i < j and d == day]
        after = [z for (i, d, _), z in programme.night.items() if i < j and d == day + 1]
        if day:
            programme.add(m <= pulp.lpSum(before), f"meal_from_{tag}_{j:05d}")
        if after:
            programme.add(m <= 1 - pulp.lpSum(after), f"meal_to_{tag}_{j:05d}")


def _add_duty(programme: Programme, k: int, interval: float, driven: Sequence[Any]) -> None:
    """What has run up since a duty was done never exceeds its interval: (22)."""
    duty = programme.rules.duties[k]
    since = duty.since if math.isfinite(duty.minutes) else duty.since / 1000
    run_up: Any = programme.run_up.get((k, programme.first), pulp.lpSum([since]))
    done: Mapping[int, Any] = {j: o for (j, number), o in programme.duty.items() if number == k}
    for i, length in enumerate(driven):
        if i < programme.first:
            continue
        if i in done:
            most = math.inf if programme.elastic else interval
            fresh = programme.variable(f"since_{k:02d}_{i:05d}", 0.0, most)
            reset = done[i] + programme.nights_at(i)
            programme.add(fresh >= run_up - interval * reset, f"reset_{k:02d}_{i:05d}")
            run_up = fresh
        run_up = programme.run_up[k, i + 1] = run_up + length
        if i + 1 in done or i + 1 == len(driven):
            over = programme.give("duty", k, f"{i:05d}")
            programme.add(run_up - over <= interval, f"interval_{k:02d}_{i:05d}")
