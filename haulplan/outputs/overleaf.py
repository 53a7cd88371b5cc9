"""The back of the run sheet: cautions, whom to ring, what if a stop fails, what was assumed."""

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import stands
from haulplan.outputs.formula import FORMULA_NOTE, axle_groups, formula_rows, formula_titles
from haulplan.outputs.paper import Marked, join, listed, ruled, told
from haulplan.outputs.roadbook import Book, Met, alternatives, letter_of
from haulplan.outputs.tables import clock_text
from haulplan.outputs.thirst import Thirst
from haulplan.plan.plan import Fallback
from haulplan.scenario.schema import Supply

__all__ = ["contacts_of", "for_all_days", "least_to_leave_with", "overleaf", "stale_words"]

_DAY: Final = 86400.0
_NUMBER: Final = re.compile(r"\b\d+(?:-\d+)+\b")
#: Habits of the trade; common practice, no source.
_HABITS: Final = (
    "Decide at half a tank, not at a quarter; know the last water behind you.",
    "Never go past good water on a dry leg with room in the tank, bridges allowing.",
    "One feed to the boiler left: stop at the next place to stand.",
    "Late by an hour: give up the last leg, never the oiling, the fire or the water.",
    "Dip and count bags at every stop; write it down. Tonight's use corrects tomorrow's.",
)


def overleaf(book: Book, day: int, left: Sequence[Met]) -> str:
    """What stands behind one day's run sheet; on a run of one day, what holds for all of it too.

    Parameters
    ----------
    book
        The plan.
    day
        Counted from 1. [-]
    left
        What is met on the road and has no room in front.

    Returns
    -------
    markup
        Sections in two columns, 11 pt in print.
    """
    sections = (
        ("Cautions", listed(CAUTIONS)),
        ("Go or no go", _go(book)),
        ("If a stop fails", _failures(book, day)),
        ("Whom to ring", _contacts(book, day)),
        ("On the road besides", _met(book, left)),
        ("Places by letter", _letters(book, day)),
        ("Look into before the run", listed(_warnings(book))),
    )
    several = any(stop.day > 1 for stop in book.plan.stops)
    return _back(sections if several else (*sections, *_lasting(book)))


def for_all_days(book: Book) -> str:
    """What holds on every day of a run of several, printed once behind the last.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    markup
        Sections in two columns, 11 pt in print; empty on a run of one day.
    """
    if all(stop.day == 1 for stop in book.plan.stops):
        return ""
    return f"<section><h1>{told(book.plan.title)}: every day</h1>{_back(_lasting(book))}</section>"


def _lasting(book: Book) -> tuple[tuple[str, str], ...]:
    return (
        ("Engine and train", Marked(f"<p>{told('; '.join(_outfit(book)))}.</p>")),
        ("Bridge formula", _formula(book)),
        ("Habits", listed(_HABITS)),
        ("Assumed", _assumed(book)),
    )


def _back(sections: Iterable[tuple[str, str]]) -> str:
    body = "".join(f"<section><h2>{name}</h2>{text}</section>" for name, text in sections if text)
    return f'<div class="back">{body}</div>'


def stale_words(book: Book, supply: Supply) -> str:
    """Whether nobody confirmed a supply lately.

    Parameters
    ----------
    book
        The plan.
    supply
        One of the scenario's.

    Returns
    -------
    text
        Empty where it was confirmed lately.
    """
    if supply.last_confirmed is None:
        return "UNCONFIRMED"
    days = (book.plan.date - supply.last_confirmed).days
    return f"STALE {days} d" if days * _DAY > book.scenario.file.stale_after else ""


def _used(thirst: Thirst, begin: float, end: float) -> float:
    """Water used between two places, at the plan's masses [kg]."""
    each = thirst.water + thirst.water_slope * thirst.aboard
    total = np.concatenate([[0.0], np.cumsum(each)])
    low, high = (float(np.interp(at, thirst.distance, total)) for at in (begin, end))
    return high - low


def least_to_leave_with(book: Book, place: int, thirst: Thirst) -> float:
    """The tank with which a stop may be left to reach the next water with the reserve.

    Parameters
    ----------
    book
        The plan.
    place
        Of the stop among the plan's.
    thirst
        The plan's own, or the pessimistic one.

    Returns
    -------
    water
        Boiler levels taken as planned. [kg]
    """
    stops, file = book.plan.stops, book.scenario.file
    later = next((s for s in stops[place + 1 :] if s.water_taken > 0), stops[-1])
    floor = file.reserve.water
    if later.kind == "finish":
        floor = max(floor, min(file.at_finish.water, file.stores.tank))
    stood = sum(
        s.water_standing + s.access_water + s.night_water
        for s in stops[place + 1 :] if s.distance < later.distance
    )  # fmt: skip
    return floor + stood + _used(thirst, stops[place].distance, later.distance)


def _go(book: Book) -> Marked:
    lines = [
        *book.scenario.file.sheet.go_no_go,
        "Fire danger: ask the fire authority that morning; on a day of ban no fire is lit.",
        "Weather: look for storm, frost, flood and wind; soft ground holds no engine.",
        "Both feeds to the boiler, the brakes and the steering proved before moving.",
    ]
    return Marked(
        f"{listed(lines)}<p>Decided by ____________ at ____ : ____ &nbsp; GO "
        '<span class="box"></span> &nbsp; NO GO <span class="box"></span></p>'
    )


def _failures(book: Book, day: int) -> Marked:
    """For each stop: with how much to leave it, and where to turn to."""
    water, distance = book.system.water, book.system.distance
    rows = []
    for place in book.day_of(day):
        stop = book.plan.stops[place]
        if stop.kind == "finish":
            continue
        least = water.number(least_to_leave_with(book, place, book.typical))
        if book.thirsty is not None:
            least += f" ({water.number(least_to_leave_with(book, place, book.thirsty))})"
        ways = [w for w in book.plan.fallbacks if w.stop == stop.number and stands(stop)]
        others = [_way_words(book, way) for way in ways]
        weak = {way.kind for way in ways if way.next_name is None}
        for what in ("water", "coal"):
            found = alternatives(book.scenario, book.route, stop, what)
            others += [
                f"{what}: {letter_of(o.row)} {o.name}, {distance.text(o.apart)} "
                f"{'on' if o.ahead else 'back'}"
                for o in found
            ]
            taken = getattr(stop, f"{what}_taken") > 0 and stands(stop)
            if taken and not found and what not in weak:
                others.append(f"{what}: no other place is listed: the weak stop; make sure of it")
        if stop.spare > 0 and stop.kind != "start":
            others.append(f"spare on arrival: {distance.text(stop.spare)}")
        name = f"{stop.number} {stop.name}" if stands(stop) else stop.name
        rows.append([name, least, join(others)])
    return ruled(
        ("stop", f"leave with {water.label}", "if nothing can be had there"), rows, "failures"
    )


def _way_words(book: Book, way: Fallback) -> str:
    """A way on that the plan has proved for a stop found shut."""
    if way.next_name is None:
        return f"{way.kind}: NO WAY ON is proved: the weak stop; make sure of it"
    distance = book.system.distance
    if way.turn_name is not None:
        far = abs(way.turn_at - way.next_distance)
        return (
            f"{way.kind} shut: decide by {way.decide_name} at {distance.text(way.decide_at)}, turn "
            f"at {way.turn_name}, back to {way.next_name} at {distance.text(way.next_distance)} "
            f"({distance.text(far)}), turn again at {way.again_name}, then on, "
            f"{way.later / 60:.0f} min later"
        )
    return (
        f"{way.kind} shut: decide by {way.decide_name} at {distance.text(way.decide_at)}, next "
        f"{way.next_name} at {distance.text(way.next_distance)}, {way.later / 60:.0f} min later"
    )


def contacts_of(book: Book, day: int) -> Iterator[list[str]]:
    """Whom to ring: the scenario's own contacts, then a day's stops in driving order.

    Parameters
    ----------
    book
        The plan.
    day
        Counted from 1; 0 for the whole run. [-]

    Returns
    -------
    rows
        What for, whom, and what about.
    """
    for contact in book.scenario.file.sheet.contacts:
        yield [contact.role or "", f"{contact.name}, {contact.telephone}", ""]
    numbers = book.day_of(day) if day else range(len(book.plan.stops))
    for stop in (book.plan.stops[i] for i in numbers):
        if stop.kind != "supply" or stop.row is None:
            continue
        supply = book.scenario.supplies[stop.row]
        hours = f"{clock_text(supply.opens)}\N{EN DASH}{clock_text(min(supply.closes, _DAY - 60))}"
        about = [
            supply.permit or "",
            "" if supply.opens <= 0 and supply.closes >= _DAY else f"open {hours}",
            supply.note or "",
            stale_words(book, supply),
        ]
        yield [
            f"{stop.number} {stop.name}",
            supply.contact or "nobody named",
            "; ".join(word for word in about if word),
        ]


def _contacts(book: Book, day: int) -> Marked:
    rows = [[what, _whole(whom), about] for what, whom, about in contacts_of(book, day)]
    return ruled(("for", "ring", "about"), rows, "contacts")


def _whole(contact: str) -> Marked:
    """Whom to ring, a telephone number never broken at its hyphen."""
    return Marked(_NUMBER.sub(r'<span class="whole">\g<0></span>', told(contact)))


def _met(book: Book, left: Sequence[Met]) -> Marked:
    boxes = Marked('<span class="box"></span> before <span class="box"></span> after')
    named = {"crest": "", "descent": "", "landmark": ""}
    rows = [
        [
            book.system.distance.number(met.distance),
            f"{met.name}{named.get(met.kind, f' ({met.kind})')}",
            join([met.words, boxes if met.boxes else ""], " "),
        ]
        for met in left
    ]
    if not rows:
        return Marked("")
    return ruled((book.system.distance.label, "what", "figures"), rows, "met")


def _letters(book: Book, day: int) -> Marked:
    """Supplies on the day's road by letter, those passed by too."""
    numbers = book.day_of(day)
    begin, end = (book.plan.stops[numbers[k]].distance for k in (0, -1))
    items = []
    for passing in book.route.passings:
        if passing.kind == "supply" and begin - 1e-6 <= passing.distance <= end + 1e-6:
            supply = book.scenario.supplies[passing.row]
            words = [
                f"{letter_of(passing.row)} {passing.label}",
                f"at {book.system.distance.number(passing.distance)}",
                supply.kind,
                f"{supply.side} side" if supply.side else "",
                supply.contact or "",
                stale_words(book, supply),
            ]
            items.append(_whole("; ".join(word for word in words if word)))
    return listed(items)


def _warnings(book: Book) -> Iterator[str]:
    thirst = book.plan.thirst
    if thirst is not None:
        yield (
            f"chance of running dry {100 * thirst.chance:.1f} % "
            f"({100 * thirst.low:.1f} to {100 * thirst.high:.1f} % in {thirst.drives:,} drives)"
        )
    yield from dict.fromkeys((*book.plan.warnings, *book.route.warnings))
    distance = book.system.distance
    for stop, reached in zip(book.plan.stops, book.reached, strict=False):
        if reached.dry_at is not None:
            yield (
                f"a thirsty engine runs dry at {distance.text(reached.dry_at)}, before "
                f"{stop.name}: take more where there is room, or plan with --pessimism 90"
            )
    if book.silence:
        yield f"how a thirsty engine fares is not known: {book.silence}"


def _outfit(book: Book) -> Iterator[str]:
    file, system, plan = book.scenario.file, book.system, book.plan
    mass, height = system.mass, system.height
    if file.engine is not None:
        engine = file.engine
        yield (
            f"{engine.name}: {mass.text(engine.weight)} with tank and bunkers empty, "
            f"{engine.tyre} tyres"
        )
    for wagon in file.train.wagons:
        many = f"{wagon.count} × " if wagon.count > 1 else ""
        yield f"{many}{wagon.name}: tare {mass.text(wagon.tare)}, load {mass.text(wagon.load)}"
    yield (
        f"Tank {system.water.text(file.stores.tank)} usable, bunkers "
        f"{system.coal.text(file.stores.bunker)} usable"
    )
    sheet = file.sheet
    for what, size in (("widest", sheet.width), ("tallest", sheet.height)):
        yield f"{what}: {'not stated: measure' if size is None else height.text(size)}"
    for what, day in (
        ("boiler certificate", sheet.certificate_expires), ("insurance", sheet.insurance_expires),
    ):  # fmt: skip
        late = "" if day is None or day >= plan.date else ": EXPIRED before the run"
        yield f"{what} runs out {'(not stated)' if day is None else day.isoformat()}{late}"


def _formula(book: Book) -> Marked:
    """Only where the scenario asks for it."""
    groups = axle_groups(book.scenario)
    if not groups:
        return Marked("")
    rows = formula_rows(groups, book.system, most=5)
    table = ruled(formula_titles(book.system), rows, "formula")
    return Marked(f"{table}<p>{told(FORMULA_NOTE)}</p>")


def _assumed(book: Book) -> Marked:
    items = "; ".join(f"{item.name}: {item.value}" for item in book.plan.assumptions)
    return Marked(f"<p>{told(items)}. Sources: plan.json.</p>") if items else Marked("")
