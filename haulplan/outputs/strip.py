"""The strip to cut out: what a dip still drives, and coal in bags; and the crew's lists."""

import datetime as dt
import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.outputs.doing import stands
from haulplan.outputs.paper import Marked, listed, page, ruled, told
from haulplan.outputs.roadbook import Book, day_heading
from haulplan.outputs.thirst import reaches
from haulplan.plan.plan import Stop

__all__ = ["bag_of", "coal_list", "dip_strip", "lists"]

_DAY: Final = 86400.0
#: A bag where the scenario states none: haulplan's assumption. [kg]
_BAG: Final = {"us": 50 * 0.45359237, "imperial": 112 * 0.45359237, "metric": 25.0}
#: Marks of the tank, in eighths from full down.
_EIGHTHS: Final = ("full", "7/8", "3/4", "5/8", "1/2", "3/8", "1/4", "1/8")
#: Columns of a strip: places it is read at.
_WIDE: Final = 4
#: Share of the coal kept in hand on the list, over the reserve; common practice, no source.
_IN_HAND: Final = 0.2
#: Things to carry; common practice, no source.
_CARRY: Final = (
    "boiler certificate, insurance, log book", "permits, bridge letters, crew licences",
    "run sheet and a spare copy, wax pencil, watch", "dip stick, measuring can, funnel, strainer",
    "suction hose and its strainer, delivery hose, spanner for the hydrant's cap",
    "spare glass, washers, lamp wick, try-cock key", "oil of each kind, grease, waste, feeders",
    "chocks for engine and every wagon, drag chain, shackles", "shovel, rake, pricker, ash bucket",
    "beater, buckets of water, extinguisher", "sand or grit, planks, jack, spanners",
    "first-aid box, burns dressings, drinking water", "lamps, flags, reflective coats",
)  # fmt: skip


def dip_strip(book: Book) -> str:
    """A strip for each few stops: dip there, and read how far the water goes.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt, with dashed lines to cut along.
    """
    places = [
        stop
        for stop in book.plan.stops
        if stop.kind == "start" or stop.water_taken + stop.cart_emptied > 0
    ]
    strips = "".join(
        _strip(book, places[first : first + _WIDE]) for first in range(0, len(places), _WIDE)
    )
    system = book.system
    thirsty = " In brackets if thirsty: nine runs in ten use less." if book.thirsty else ""
    body = (
        f"<section>{day_heading(book, 0, 'Dip strip')}"
        f"<p>Dip on leaving a place, find the mark, read the {told(system.distance.label)} left on "
        f"the road ahead until the reserve of {told(system.water.text(_floor(book)))} is "
        f"reached.{thirsty} Bunkers and boiler as planned. The glass rules the boiler, not this "
        f"strip.</p>{strips}</section>{_bag_strip(book)}"
    )
    return page(book.plan.title, "dip-strip.html", body)


def _floor(book: Book) -> float:
    return book.scenario.file.reserve.water


def _strip(book: Book, places: list[Stop]) -> Marked:
    tank, system = book.scenario.file.stores.tank, book.system
    dips = np.linspace(tank, tank / 8, 8)
    columns = [_column(book, stop, dips) for stop in places]
    rows = [
        [name, system.water.number(float(dip)), "", *(column[k] for column in columns)]
        for k, (name, dip) in enumerate(zip(_EIGHTHS, dips, strict=True))
    ]
    rows.append(["STOP", system.water.number(_floor(book)), "", *("0" for _ in places)])
    heads = [f"{stop.number} {stop.name}" if stands(stop) else stop.name for stop in places]
    table = ruled(("tank", system.water.label, "your stick", *heads), rows, "strip")
    return Marked(f'<div class="cut">{table}</div>')


def _column(book: Book, stop: Stop, dips: NDArray[np.float64]) -> list[str]:
    """How far each dip goes from a place, as text."""
    distance, end = book.system.distance, book.route.length
    other = stop.bunker_depart + stop.cart_depart + stop.boiler_depart

    def shown(reach: float) -> str:
        return "finish" if math.isinf(reach) or reach >= end else distance.number(
            reach - stop.distance
        )  # fmt: skip

    cells = [shown(r) for r in reaches(book.typical, stop.distance, dips, other, _floor(book))]
    if book.thirsty is not None:
        low = reaches(book.thirsty, stop.distance, dips, other, _floor(book))
        cells = [f"{cell} ({shown(r)})" for cell, r in zip(cells, low, strict=True)]
    return cells


def bag_of(book: Book) -> tuple[float, str]:
    """The weight of a bag of coal, and where it comes from.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    bag, source
        [kg], and words.
    """
    coaling = book.scenario.file.coaling
    if coaling is not None:
        return coaling.sack, "as stated"
    return _BAG[book.system.name], "assumed; weigh one"


def _bag_strip(book: Book) -> Marked:
    bag, source = bag_of(book)
    unit = book.system.coal
    most = max(math.ceil(book.scenario.file.stores.bunker / bag), 1)
    step = max(math.ceil(most / 12), 1)
    rows = [[str(n), unit.number(n * bag)] for n in range(step, most + step, step)]
    return Marked(
        f"<section><h2>Coal in bags</h2><p>A bag is {told(unit.text(bag))} ({source}).</p>"
        f'<div class="cut">{ruled(("bags", unit.label), rows, "bags")}</div></section>'
    )


def coal_list(book: Book) -> list[tuple[str, float, str]]:
    """The run's coal line by line.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    lines
        What for, how much [kg], and a remark.
    """
    plan, file = book.plan, book.scenario.file
    stops = plan.stops
    driven = sum(leg.coal for leg in plan.legs)
    standing = sum(stop.coal_standing + stop.access_coal for stop in stops)
    nights = sum(stop.night_coal for stop in stops)
    lighting = plan.lighting_up_coal
    lines = [
        ("lighting up", lighting or 0.0, "" if lighting is not None else "not reckoned"),
        ("driving", driven, ""),
        ("standing and off the road", standing, ""),
        ("nights: banking, or raising steam again", nights, ""),
        ("reserve, never burnt by plan", file.reserve.coal, ""),
    ]
    finish = min(file.at_finish.coal, file.stores.bunker)
    extra = max(finish - file.reserve.coal, 0.0)
    lines.append(("to be left at the finish, over the reserve", extra, ""))
    needed = sum(amount for _, amount, _ in lines)
    lines.append(("in hand for poor coal", _IN_HAND * needed, f"{_IN_HAND:.0%} of all that"))
    return lines


def lists(book: Book) -> str:
    """Coal in bags, calls and permits with their dates, things to carry.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt.
    """
    bag, source = bag_of(book)
    unit = book.system.coal
    coal = coal_list(book)
    rows = [
        [name, remark or unit.number(amount), f"{amount / bag:.1f}" if amount else ""]
        if not remark or amount
        else [name, remark, ""]
        for name, amount, remark in coal
    ]
    total = sum(amount for _, amount, _ in coal)
    rows.append(["all", unit.number(total), str(math.ceil(total / bag - 1e-9))])
    bought = sum(stop.coal_taken for stop in book.plan.stops)
    carry = (*_CARRY, *book.scenario.file.sheet.carry)
    body = (
        f"<section>{day_heading(book, 0, 'Lists')}<h2>Coal</h2>"
        f"<p>A bag is {told(unit.text(bag))} ({source}). Of it "
        f"{told(unit.text(book.plan.stops[0].bunker_depart))} in the bunkers on moving off, "
        f"{told(unit.text(bought))} taken on the way.</p>"
        f"{ruled(('what for', unit.label, 'bags'), rows, 'coal')}</section>"
        f"<section><h2>Calls and permits</h2>"
        f"{ruled(('by', 'what', 'whom', 'done'), sorted(_calls(book)), 'calls')}</section>"
        f"<section><h2>To carry</h2>"
        f"{listed((Marked(f'<span class=box></span> {told(item)}') for item in carry), 'carry')}"
        "</section>"
    )
    return page(book.plan.title, "lists.html", body)


def _calls(book: Book) -> Iterator[list[str]]:
    """What must be asked, of whom and by when."""
    sheet, date = book.scenario.file.sheet, book.plan.date
    ring, permit = (
        (date - dt.timedelta(seconds=ahead)).isoformat()
        for ahead in (sheet.ring_ahead, sheet.permit_ahead)
    )
    met = set()
    for stop in book.plan.stops:
        if stop.kind == "supply" and stop.row is not None and stop.row not in met:
            met.add(stop.row)
            supply = book.scenario.supplies[stop.row]
            whom = supply.contact or "nobody named: find the owner"
            if supply.permit:
                yield [permit, f"permit for {supply.name}: {supply.permit}", whom, ""]
            note = f" ({supply.note})" if supply.note else ""
            yield [ring, f"{supply.name}: water and coal still to be had?{note}", whom, ""]
        if stop.truck is not None:
            name = book.scenario.stores[stop.truck].name
            yield [ring, f"{name} to stop {stop.number}, {stop.name}", "its driver", ""]
    for crossing in book.plan.crossings:
        yield [permit, f"{crossing.name}: posted figure and our weight", "road authority", ""]
    for passing in book.route.level_crossings:
        telephone = book.scenario.level_crossings[passing.row].telephone
        yield [ring, f"{passing.label}: slow train over the crossing", telephone or "railway", ""]
    yield [permit, "the run itself: route, weight, width, times", "road authority and police", ""]
