"""The run as calendar entries (iCalendar, RFC 5545)."""

import datetime as dt
from typing import Any, Final

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import stands, tasks_at
from haulplan.outputs.drawing import clean
from haulplan.outputs.roadbook import Book
from haulplan.plan.plan import Stop

__all__ = ["plan_calendar"]

_QUARTER: Final = 900.0


def plan_calendar(book: Book) -> str:
    """Lighting up, every stop and the finish as calendar entries.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    text
        iCalendar with CRLF line ends; in universal time where hours.utc_offset is given,
        else in the floating local time of the place.

    References
    ----------
    .. [1] RFC 5545, Internet Calendaring and Scheduling Core Object Specification (2009).
    """
    from icalendar import Calendar  # noqa: PLC0415  slow to load

    calendar = Calendar()
    calendar.add("prodid", "-//haulplan//plan//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", clean(book.plan.title))
    plan = book.plan
    for number, day in enumerate(plan.days, start=1):
        if day.lit < day.depart:
            words = "Water level proved by glass and try cocks before lighting."
            calendar.add_component(
                _entry(book, f"lit{number}", "Light up", day.lit, day.depart, words, None)
            )
    for stop in plan.stops:
        name = f"{stop.number} {stop.name}" if stands(stop) else stop.name
        begin, end = stop.arrive, stop.depart
        if stop.kind in {"start", "finish"}:
            end = begin + _QUARTER
        verb = {"start": "Leave ", "finish": "Arrive "}.get(stop.kind, "")
        calendar.add_component(
            _entry(
                book, f"stop{stop.number}", f"{verb}{name}", begin, end, _words(book, stop), stop
            )
        )
    text: bytes = calendar.to_ical()
    return text.decode()


def _words(book: Book, stop: Stop) -> str:
    system = book.system
    words = [f"Tank on arrival {system.water.text(stop.tank_arrive)}"]
    if stop.water_taken > 0:
        words.append(f"take {system.water.text(stop.water_taken)} of water")
    if stop.coal_taken > 0:
        words.append(f"take {system.coal.text(stop.coal_taken)} of coal")
    words += tasks_at(book.scenario, stop, system)
    if stop.kind == "supply" and stop.row is not None:
        supply = book.scenario.supplies[stop.row]
        words += [w for w in (supply.contact, supply.permit) if w]
    return "; ".join([*words, f"revision {book.revision}", CAUTIONS[0]])


def _entry(
    book: Book, key: str, name: str, begin: float, end: float, words: str, stop: Stop | None
) -> Any:  # noqa: ANN401  icalendar's
    from icalendar import Event  # noqa: PLC0415  slow to load

    event = Event()
    mark = book.revision.split("(")[-1].rstrip(")")
    event.add("uid", f"{key}-{mark}@haulplan.invalid")
    event.add("dtstamp", dt.datetime.combine(book.plan.date, dt.time(), dt.UTC))
    event.add("summary", clean(name))
    event.add("dtstart", _moment(book, begin))
    event.add("dtend", _moment(book, max(end, begin + 60)))
    event.add("description", clean(words))
    if stop is not None:
        event.add("location", clean(stop.name))
        if book.route.line is not None:
            event.add("geo", tuple(round(c, 6) for c in book.route.line.position(stop.distance)))
    return event


def _moment(book: Book, clock: float) -> dt.datetime:
    local = dt.datetime.combine(book.plan.date, dt.time()) + dt.timedelta(seconds=round(clock))
    offset = book.scenario.file.hours.utc_offset
    if offset is None:
        return local
    return (local - dt.timedelta(seconds=offset)).replace(tzinfo=dt.UTC)
