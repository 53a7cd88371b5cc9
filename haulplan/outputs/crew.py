"""Sheets for those who are not on the footplate: steersman, support, stations, tail car."""

import itertools
from collections.abc import Iterator, Sequence
from typing import Final

from haulplan.demand.waters import water_of
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import stands, tasks_at, water_words
from haulplan.outputs.overleaf import contacts_of, stale_words
from haulplan.outputs.paper import Marked, join, listed, page, ruled, told
from haulplan.outputs.roadbook import Book, clock_range, day_heading, day_range
from haulplan.outputs.tables import clock_text
from haulplan.plan.plan import Stop

__all__ = ["station_keeper", "steersman", "support_driver", "tail_car"]

Row = Sequence[str | tuple[str, int]]

_DAY: Final = 86400.0
#: How fast a car or truck gets along the same road; haulplan's assumption. [m/s]
_CAR: Final = 11.0
_BOXES: Final = Marked('<span class="box"></span> before <span class="box"></span> after')


def _days(book: Book) -> range:
    return range(1, 1 + max(stop.day for stop in book.plan.stops))


def steersman(book: Book) -> str:
    """Turns, landmarks, bridges, crossings, steep grades and stops in the order met.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt.
    """
    body = ""
    for day in _days(book):
        rows = sorted(_steered(book, day), key=lambda row: row[0])
        cells: list[Row] = []
        last = rows[0][0] if rows else 0.0
        for at, clock, what, words in rows:
            distance = book.system.distance
            cells.append([distance.number(at), distance.number(at - last), clock, what, words, ""])
            last = at
        unit = book.system.distance.label
        body += f"<section>{day_heading(book, day, 'Steersman')}"
        if book.route.line is None:
            body += "<p>The road has no coordinates: its turns are not known.</p>"
        body += ruled((unit, f"on {unit}", "clock", "what", "mind", "seen"), cells, "steer")
        body += (
            "<p>Turns are read off the drawn road; signs and the road itself rule.</p></section>"
        )
    return page(book.plan.title, "steersman.html", body)


def _steered(book: Book, day: int) -> Iterator[tuple[float, str, str, Marked]]:
    numbers = book.day_of(day)
    stops = [book.plan.stops[i] for i in numbers]
    begin, end = stops[0].distance, stops[-1].distance
    for number, stop in zip(numbers, stops, strict=True):
        name = (
            f"STOP {stop.number} {stop.name}"
            if stands(stop)
            else f"{stop.kind.upper()} {stop.name}"
        )
        side = _side(book, stop)
        clock = day_range(stop.arrive, stop.arrive, stop.day) if number else ""
        yield stop.distance, clock, name, told(f"{side} side" if side else "")
    for turn in book.turns:
        if begin < turn.distance < end:
            yield turn.distance, "", f"TURN {turn.words}", Marked("")
    for met in book.met:
        if begin <= met.distance <= end:
            words = join([met.words, _BOXES if met.boxes else ""], " ")
            name = met.name if met.kind in {"crest", "descent", "landmark"} else (
                f"{met.kind.upper()} {met.name}"
            )  # fmt: skip
            yield met.distance, day_range(met.clock, met.clock, day), name, words
    for row in book.scenario.surfaces:
        if begin <= row.begin <= end:
            limit = (
                ""
                if row.speed_limit is None
                else f" {book.system.speed.text(row.speed_limit)} at most"
            )
            words = told(f"to {book.system.distance.text(row.end)}")
            yield row.begin, "", f"{row.surface or ''}{limit}".strip(), words


def _side(book: Book, stop: Stop) -> str:
    if stop.kind != "supply" or stop.row is None:
        return ""
    return book.scenario.supplies[stop.row].side or ""


def support_driver(book: Book) -> str:
    """When to be where, what to bring, and when the truck itself must be filled again.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt.
    """
    body = ""
    for day in _days(book):
        body += (
            f"<section>{day_heading(book, day, 'Support driver')}{_leapfrog(book, day)}</section>"
        )
    speed = book.system.speed.text(_CAR)
    body += (
        f"<section><h2>How it is reckoned</h2><p>Driving at {told(speed)} on the engine's road; "
        "spare is what is left between getting there and the engine's earliest clock, setting up "
        "taken off. Leave a stop when the engine has left it and the hoses are in.</p>"
        f"<h2>Trucks</h2>{listed(_loads(book))}<h2>Whom to ring</h2>"
        f"{ruled(('for', 'ring', 'about'), contacts_of(book, 0), 'contacts')}</section>"
    )
    return page(book.plan.title, "support-driver.html", body, wide=True)


def _set_up(book: Book, stop: Stop) -> float:
    if stop.truck is not None:
        return book.scenario.stores[stop.truck].set_up
    if stop.kind == "supply" and stop.row is not None:
        strain = water_of(book.scenario.file, book.scenario.supplies[stop.row]).strain
        return book.scenario.supplies[stop.row].set_up + strain
    return 0.0


def _leapfrog(book: Book, day: int) -> Marked:
    """The stops of a day as the car behind and before the engine meets them."""
    system, rows = book.system, []
    numbers = book.day_of(day)
    for last, place in itertools.pairwise(numbers):
        before, stop = book.plan.stops[last], book.plan.stops[place]
        early, late = clock_range(book, place)
        there = before.depart + (stop.distance - before.distance) / _CAR
        ready = early - _set_up(book, stop)
        spare = (ready - there) / 60
        bring = _brought(book, stop)
        name = f"{stop.number} {stop.name}" if stands(stop) else stop.name
        rows.append(
            [
                system.distance.number(stop.distance),
                name,
                day_range(before.depart, before.depart, day),
                f"{day_range(ready, ready, day)}{'' if spare >= 0 else ': go ahead of the engine'}",
                day_range(early, late, stop.day),
                f"{spare:.0f} min",
                bring,
                "",
            ]
        )  # fmt: skip
    return ruled(
        (system.distance.label, "place", "go", "be ready", "engine comes", "spare", "bring, do",
         "actual"),
        rows, "support",
    )  # fmt: skip


def _brought(book: Book, stop: Stop) -> Marked:
    system = book.system
    words = []
    if stop.water_taken + stop.cart_filled > 0:
        words.append(f"WATER {system.water.text(stop.water_taken + stop.cart_filled)}")
    if stop.coal_taken > 0:
        words.append(f"COAL {system.coal.text(stop.coal_taken)}")
    if stop.kind == "supply" and stop.row is not None:
        supply = book.scenario.supplies[stop.row]
        words += [supply.kind, supply.permit or "", stale_words(book, supply)]
    words += tasks_at(book.scenario, stop, system)
    return join(words, "; ")


def _loads(book: Book) -> list[str]:
    """Where each truck of stores.csv must be filled again itself."""
    system, lines = book.system, []
    for row, truck in enumerate(book.scenario.stores):
        if truck.kind != "truck":
            continue
        own = [stop for stop in book.plan.stops if stop.truck == row]
        given = {"water": 0.0, "coal": 0.0}
        refills: list[str] = []
        for stop in own:
            for what, taken in (("water", stop.water_taken), ("coal", stop.coal_taken)):
                room = getattr(truck, what)
                if room and taken > 0 and given[what] + taken > room + 1e-6:
                    unit = getattr(system, what)
                    refills.append(
                        f"fill with {what} before stop {stop.number} ({unit.text(room)})"
                    )
                    given[what] = 0.0
                given[what] += taken
        total = ", ".join(
            f"{getattr(system, what).text(sum(getattr(s, f'{what}_taken') for s in own))} of {what}"
            for what in ("water", "coal")
        )
        lines.append(
            f"{truck.name}: sets out full, meets the train {len(own)} times, gives {total}; "
            f"{'; '.join(refills) if refills else 'no filling on the way'}"
        )
    return lines or ["No truck of your own is in stores.csv; the stops are supplies on the road."]


def station_keeper(book: Book) -> str:
    """A card for each place where water or coal is taken.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt.
    """
    cards = "".join(
        _card(book, place)
        for place, stop in enumerate(book.plan.stops)
        if stop.water_taken + stop.coal_taken + stop.cart_filled > 0
    )
    empty = "" if cards else "<p>Nothing is taken on the way.</p>"
    body = (
        f"<section>{day_heading(book, 0, 'Station keeper')}{empty}"
        f'<div class="cards">{cards}</div></section>'
    )
    return page(book.plan.title, "station-keeper.html", body)


def _card(book: Book, place: int) -> Marked:
    stop, system = book.plan.stops[place], book.system
    early, late = clock_range(book, place)
    lines = [f"Engine comes {day_range(early, late, stop.day)} on day {stop.day}, leaves about "
             f"{clock_text(stop.depart - _DAY * (stop.day - 1))}"]  # fmt: skip
    room = book.scenario.file.stores.tank - stop.tank_arrive
    if stop.water_taken > 0:
        lines.append(
            f"Water: {system.water.text(stop.water_taken)} planned; have "
            f"{system.water.text(max(room, stop.water_taken))} ready: a low tank takes more"
        )
    if stop.cart_filled > 0:
        lines.append(f"Into the cart: {system.water.text(stop.cart_filled)}")
    if stop.coal_taken > 0:
        lines.append(f"Coal: {system.coal.text(stop.coal_taken)}")
    if stop.kind == "supply" and stop.row is not None:
        supply = book.scenario.supplies[stop.row]
        rate = (
            ""
            if supply.water_rate is None
            else f"{system.water.text(60 * supply.water_rate)} a minute"
        )
        facts = (supply.kind, f"{supply.side} side" if supply.side else "", rate,
                 f"set-up {_set_up(book, stop) / 60:.0f} min")  # fmt: skip
        lines.append("; ".join(fact for fact in facts if fact))
        lines += [words.capitalize() for words in water_words(book.scenario, stop)]
        lines += [
            f"{word}: {value}"
            for word, value in (
                ("Contact", supply.contact), ("Permit", supply.permit), ("Note", supply.note),
                ("Confirmed", stale_words(book, supply)),
            )
            if value
        ]  # fmt: skip
    lines.append("Air gap at the filler; keep the public back from hose and steam.")
    blank = ruled(
        ("arrived", "dip in", "taken", "bags", "dip out", "left"),
        [["\N{NO-BREAK SPACE}"] * 6],
        "blank-row",
    )
    return Marked(
        f'<div class="card"><h3>{stop.number} {told(stop.name)}, '
        f"{told(system.distance.text(stop.distance))}</h3>{listed(lines)}{blank}</div>"
    )


def tail_car(book: Book) -> str:
    """One sheet for the car behind: passing clocks, pull-ins, water behind, whom to ring.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML for print, 14 pt.
    """
    body = ""
    for day in _days(book):
        body += f"<section>{day_heading(book, day, 'Tail car')}{_tail(book, day)}</section>"
    body += (
        f"<section><h2>Whom to ring</h2>"
        f"{ruled(('for', 'ring', 'about'), contacts_of(book, 0), 'contacts')}"
        "<h2>Mind</h2>"
        + listed(
            (
                "Stay in sight of the last wagon; let traffic by at the pull-ins.",
                "Nobody stands behind the train on a hill; have the chocks at hand.",
                "Look back for coal, ash and fire on the verge; water and beater aboard.",
                *CAUTIONS[-1:],
            )
        )
        + "</section>"
    )
    return page(book.plan.title, "tail-car.html", body)


def _tail(book: Book, day: int) -> Marked:
    rows: list[tuple[float, list[str]]] = []
    number = book.system.distance.number
    behind = "the start"
    for place in book.day_of(day):
        stop = book.plan.stops[place]
        early, late = clock_range(book, place)
        name = f"{stop.number} {stop.name}" if stands(stop) else stop.name
        rows.append(
            (stop.distance, [number(stop.distance), day_range(early, late, stop.day), name,
                             f"last water: {behind}", ""])
        )  # fmt: skip
        if stop.water_taken > 0:
            behind = f"stop {stop.number}"
    begin, end = rows[0][0], rows[-1][0]
    pulls = [
        passing
        for passing in book.route.passings
        if passing.kind == "place" and book.scenario.places[passing.row].pull_in == "yes"
    ]
    for passing in (p for p in pulls if begin <= p.distance <= end):
        cells = [number(passing.distance), "", passing.label, "pull-in: let traffic by", ""]
        rows.append((passing.distance, cells))
    for met in book.met:
        if met.kind in {"level crossing", "descent"} and begin <= met.distance <= end:
            rows.append((met.distance, [number(met.distance),
                                        day_range(met.clock, met.clock, day), met.name,
                                        met.words, ""]))  # fmt: skip
    rows.sort(key=lambda row: row[0])
    return ruled(
        (book.system.distance.label, "clock", "place", "mind", "seen"),
        [cells for _, cells in rows], "tail",
    )  # fmt: skip
