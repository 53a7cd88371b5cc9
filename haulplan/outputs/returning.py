"""The way home: the same places met the other way round, hills and thirst reckoned anew."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from haulplan.demand import Demand, build_demand
from haulplan.errors import HaulplanError
from haulplan.outputs.doing import stands
from haulplan.outputs.paper import Marked, join, page, ruled, told
from haulplan.outputs.roadbook import Book, day_heading
from haulplan.plan.plan import Stop
from haulplan.route import Passing, Route
from haulplan.route.build import Line
from haulplan.route.profile import climb_of

__all__ = ["return_run", "turned"]

_ROUNDS: Final = 3


def turned(route: Route) -> Route:
    """The road driven from its finish to its start.

    Parameters
    ----------
    route
        The road.

    Returns
    -------
    route
        With samples, line and places in the new order; its graph is left as it was.
    """

    def back(passings: Sequence[Passing]) -> tuple[Passing, ...]:
        return tuple(
            replace(p, distance=route.length - p.distance, number=p.of + 1 - p.number)
            for p in reversed(passings)
        )

    line = route.line
    if line is not None:
        line = Line(
            latitude=line.latitude[::-1],
            longitude=line.longitude[::-1],
            distance=line.distance[-1] - line.distance[::-1],
        )
    return replace(
        route,
        distance=route.length - route.distance[::-1],
        elevation=route.elevation[::-1],
        surface=route.surface[::-1],
        speed_limit=route.speed_limit[::-1],
        line=line,
        passings=back(route.passings),
        level_crossings=back(route.level_crossings),
    )


def return_run(book: Book) -> str:
    """The places of the plan in the other order, with what each stretch takes.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt. It is no proved plan, and says so.
    """
    head = day_heading(book, 0, "Return run")
    warning = (
        "<p><b>Not a proved plan.</b> The stops of the way out in reverse, the tank filled at "
        "each, hours not looked at. Before driving it, make a scenario of it and plan it.</p>"
    )
    if book.scenario.demand:
        table = Marked(
            "<p>Measured use is for the way out only: hills change sides. What the way back takes "
            "is not known.</p>"
        )
    else:
        table = _table(book)
    return page(book.plan.title, "return-run.html", f"<section>{head}{warning}{table}</section>")


def _table(book: Book) -> Marked:
    route = turned(book.route)
    try:
        demand = build_demand(book.scenario, route)
    except HaulplanError as error:
        return Marked(f"<p>The way back cannot be driven so: {told(str(error))}</p>")
    system, file = book.system, book.scenario.file
    stops = list(reversed(book.plan.stops))
    tank, bunker = file.stores.tank, file.stores.bunker
    rows: list[list[str]] = []
    level = tank
    for before, stop in zip([None, *stops], stops, strict=False):
        at = book.route.length - stop.distance
        used = coal = minutes = 0.0
        hill = Marked("")
        if before is not None:
            begin = book.route.length - before.distance
            used, coal, minutes = _use(demand, begin, at, level + 0.5 * bunker)
            inside = (route.distance >= begin - 1e-6) & (route.distance <= at + 1e-6)
            heights = route.elevation[inside]
            if book.route.has_heights:
                hill = join([f"▲{system.height.number(climb_of(heights))}",
                             f"▼{system.height.number(climb_of(-heights))}"])  # fmt: skip
        level -= used
        short = level < file.reserve.water - 1e-6
        words = f"{system.water.number(level)}" if level >= 0 else "DRY"
        rows.append(
            [
                system.distance.number(at),
                _name(stop, len(rows), len(stops)),
                hill,
                f"{minutes / 60:.0f}" if minutes else "",
                f"{system.water.number(used)}; {system.coal.number(coal)}" if used else "",
                f"{words}: NOT ENOUGH" if short else words,
                "",
            ]
        )  # fmt: skip
        if before is None or stop.water_taken > 0:
            level = tank
    return ruled(
        (
            system.distance.label, "place", f"hill before {system.height.label}", "min",
            f"used {system.water.label}; {system.coal.label}",
            f"tank on arrival {system.water.label}", "actual",
        ),
        rows, "return",
    )  # fmt: skip


def _name(stop: Stop, place: int, count: int) -> str:
    if place == 0:
        return f"START {stop.name}"
    if place == count - 1:
        return f"FINISH {stop.name}"
    return f"{'WATER ' if stop.water_taken > 0 else ''}{stop.name}" if stands(stop) else stop.name


def _use(demand: Demand, begin: float, end: float, start: float) -> tuple[float, float, float]:
    """Water, coal and time between two places, setting out with so much aboard."""
    own = slice(demand.index(begin), demand.index(end))
    aboard = np.full(demand.segments, start)
    for _ in range(_ROUNDS):
        use = demand.evaluate(aboard, demand.gear)
        gone = np.cumsum((use.water + use.coal)[own])
        aboard[own] = np.maximum(start - np.concatenate([[0.0], gone[:-1]]), 0.0)
    water, coal, duration = (float(each[own].sum()) for each in (use.water, use.coal, use.duration))
    return water, coal, duration
