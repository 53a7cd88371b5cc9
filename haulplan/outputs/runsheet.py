"""The run sheet: one side of paper for each day, with what else matters overleaf.

A row is a stop; between stops stand the bridges, level crossings, crests, steep descents
and landmarks, as many as one side has room for, the gravest first. All of them stand
overleaf.
"""

import math
import re
from collections.abc import Sequence
from typing import Final

from haulplan.outputs.doing import stands, tasks_at
from haulplan.outputs.drawing import shortened
from haulplan.outputs.overleaf import for_all_days, overleaf, stale_words
from haulplan.outputs.paper import Marked, join, page, ruled, told
from haulplan.outputs.roadbook import (
    Book,
    Met,
    alternatives,
    clock_range,
    day_heading,
    day_range,
    letter_of,
    loaded_weight,
    sunset,
)
from haulplan.outputs.tables import clock_text
from haulplan.plan.plan import Fallback, Stop

__all__ = ["run_sheet"]

Row = Sequence[str | tuple[str, int]]

_DAY: Final = 86400.0
#: Lines of 14 pt under the table's head on the shorter of Letter and A4 across.
_LINES: Final = 29
#: Letters a line of the third and of the fifth column holds.
_PLACE, _ACTION = 24, 21
#: What gives way first where a side of paper is full, from the last.
_GRAVE: Final = ("level crossing", "bridge", "crest", "descent", "landmark")


def run_sheet(book: Book) -> str:
    """The run sheet of a plan, a side for each day and its overleaf.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    page
        HTML that prints across Letter or A4: 14 pt in front, 11 pt overleaf.
    """
    days = max(stop.day for stop in book.plan.stops)
    body = "".join(_day(book, day) for day in range(1, days + 1)) + for_all_days(book)
    return page(book.plan.title, "run-sheet.html", body, wide=True)


def _day(book: Book, day: int) -> str:
    """Front and back of one day."""
    numbers = book.day_of(day)
    stops = [book.plan.stops[i] for i in numbers]
    rows = [_stop_row(book, i, last=i == numbers[-1]) for i in numbers]
    facts = _facts(book, day)
    used = sum(_lines(row[2], row[4]) for row in rows) + math.ceil(len(facts) / 105) - 2
    shown, left = _between(book, stops[0].distance, stops[-1].distance, _LINES - used)
    timed = _in_order(book, day, list(zip(stops, rows, strict=True)), shown)
    system = book.system
    table = ruled(
        (
            system.distance.label, "clock", "place", "hill", "ACTION", "tank", "next", "else",
            "actual",
        ),
        [row for _, row in timed],
        "run",
        kinds=[kind for kind, _ in timed],
    )  # fmt: skip
    return (
        f'<section><div class="front">{day_heading(book, day)}{facts}'
        f"{_next_water(book, numbers)}{table}{_key(book, len(left))}</div>"
        f"{overleaf(book, day, left)}</section>"
    )


def _in_order(
    book: Book, day: int, stops: Sequence[tuple[Stop, Row]], shown: Sequence[Met]
) -> list[tuple[str, Row]]:
    """Kind and cells of every row in driving order; the start first."""
    rows: list[tuple[float, int, str, Row]] = [
        (stop.distance, -1 if stop.kind == "start" else 1, "stop" if stands(stop) else "end", row)
        for stop, row in stops
    ]
    rows += [(met.distance, 0, "met", _met_row(book, met, day)) for met in shown]
    rows.sort(key=lambda item: item[:2])
    return [(kind, row) for _, _, kind, row in rows]


def _facts(book: Book, day: int) -> str:
    """Engine, train, weight, reserve and sunset."""
    file, system, plan = book.scenario.file, book.system, book.plan
    weight = loaded_weight(plan)
    engine = "engine not stated" if file.engine is None else file.engine.name
    wagons = ", ".join(
        wagon.name if wagon.count == 1 else f"{wagon.count} × {wagon.name}"
        for wagon in file.train.wagons
    )
    date = plan.days[day - 1] if len(plan.days) >= day else None
    pieces = [
        f"{engine} with {wagons}" if wagons else engine,
        "weight not stated" if weight is None else f"{system.mass.text(weight)} setting out loaded",
        f"never below {system.water.text(file.reserve.water)}{_reserve_reach(book)}, "
        f"{system.coal.text(file.reserve.coal)}",
    ]
    if date is not None:
        midnight = _DAY * (day - 1)
        pieces.append(f"fire lit {clock_text(date.lit - midnight)}")
        if date.latest - midnight < _DAY:
            pieces.append(f"wheels stand by {clock_text(date.latest - midnight)}")
        pieces.append(f"sunset {sunset(book.scenario, book.route, date.date)}")
    return f"<p>{told('; '.join(pieces))}.</p>"


def _reserve_reach(book: Book) -> str:
    """The reserve as a distance at the road's mean thirst."""
    water = sum(leg.water for leg in book.plan.legs)
    if water <= 0:
        return ""
    reach = book.scenario.file.reserve.water * book.route.length / water
    return f" (some {book.system.distance.text(reach)})"


def _next_water(book: Book, numbers: Sequence[int]) -> str:
    stops = book.plan.stops
    begin = stops[numbers[0]].distance
    later = next((i for i in numbers[1:] if stops[i].water_taken > 0), None)
    if later is None:
        words = f"NO WATER TO BE TAKEN TODAY; last stop {_towards(book, begin, stops[numbers[-1]])}"
        return f'<p class="next">{told(words)}</p>'
    levels = _levels(book, later)
    name = shortened(stops[later].name, 34)
    words = (
        f"NEXT WATER {_towards(book, begin, stops[later])}: {name}, arrive with "
        f"{levels[0]} {book.system.water.label}"
    )
    if len(levels) > 1:
        words += f" ({levels[1]} if thirsty)"
    return f'<p class="next">{told(words)}</p>'


def _towards(book: Book, begin: float, stop: Stop) -> str:
    """How far it is to a stop."""
    return book.system.distance.text(stop.distance - begin)


def _levels(book: Book, place: int) -> list[str]:
    """Tank on arrival: the plan's, and the thirstier engine's where that is known."""
    water, stop = book.system.water, book.plan.stops[place]
    levels = [water.number(stop.tank_arrive)]
    if book.reached and stop.kind != "start":
        reached = book.reached[place]
        levels.append("DRY" if reached.dry_at is not None else water.number(reached.tank))
    return levels


def _stop_row(book: Book, place: int, *, last: bool) -> list[str]:
    stop, system = book.plan.stops[place], book.system
    levels = _levels(book, place)
    leg = None if last else book.plan.legs[place]
    hill = ""
    if leg is not None and book.route.has_heights:
        hill = join(
            [f"▲{system.height.number(leg.climb)}", f"▼{system.height.number(leg.descent)}"]
        )
    early, late = clock_range(book, place)
    clock = [] if stop.kind == "start" else [day_range(early, late, stop.day)]
    if stop.kind != "finish" and not (last and stop.fire is not None):
        day = stop.day + (stop.fire is not None)
        clock.append(f"go {day_range(stop.depart, stop.depart, day)}")
    return [
        system.distance.number(stop.distance),
        join(clock),
        _name(book, stop),
        hill,
        _action(book, stop),
        join([levels[0], *(f"({level})" for level in levels[1:])]),
        _onwards(book, place, last=last),
        _else(book, stop),
        "",
    ]


def _name(book: Book, stop: Stop) -> Marked:
    """Number and name, with a mark on what nobody confirmed lately."""
    number = f"{stop.number} " if stands(stop) else ""
    stale = ""
    if stop.kind == "supply" and stop.row is not None:
        stale = stale_words(book, book.scenario.supplies[stop.row])
    if len(f"{number}{stop.name} {stale}") > 2 * _PLACE:
        stale = stale and "?"
    mark = f'<span class="stale">{stale}</span> ' if stale else ""
    return Marked(f"{mark}<b>{number}</b>{told(stop.name)}")


def _action(book: Book, stop: Stop) -> Marked:
    """What to do, in capitals what must not be missed."""
    system = book.system
    words = []
    if stop.water_taken > 0:
        words.append(
            f"WATER {system.water.number(stop.water_taken)} to "
            f"{system.water.number(stop.tank_depart)}"
        )
    if stop.coal_taken > 0:
        words.append(f"COAL {system.coal.text(stop.coal_taken)}")
    if stop.kind == "supply" and stop.row is not None and book.scenario.supplies[stop.row].side:
        side = f"{book.scenario.supplies[stop.row].side} side"
        words.append(f"{words.pop()}, {side}" if stop.coal_taken > 0 else side)
    tasks = tasks_at(book.scenario, stop, system)
    words += [task.upper() if len(task) < 24 else task for task in tasks]
    if stop.kind == "finish":
        words.append("NOTE THE LOG")
    if stop.kind == "start":
        words.append(f"TANK {system.water.number(stop.tank_depart)}, COAL "
                     f"{system.coal.number(stop.bunker_depart)}")  # fmt: skip
    return Marked(f'<span class="act">{join(words)}</span>')


def _onwards(book: Book, place: int, *, last: bool) -> Marked:
    """Number of the next water stop and how far it is, or the finish."""
    stops = book.plan.stops
    here = stops[place]
    if last and here.kind == "finish":
        return Marked("")
    later = next((s for s in stops[place + 1 :] if s.water_taken > 0), stops[-1])
    label = f"to {later.number}" if stands(later) else "finish"
    return join([label, _towards(book, here.distance, later)])


def _else(book: Book, stop: Stop) -> Marked:
    """Letters of the places to turn to, and how far on or back they are."""
    distance = book.system.distance
    planned = [way for way in book.plan.fallbacks if way.stop == stop.number and stands(stop)]
    if planned:
        way = planned[0]
        if way.next_name is None:
            return join(["WEAK", "ring first"])
        back = ["TURN"] if way.turn_name is not None else []
        return join([*back, _letter(book, way), f"by {distance.number(way.decide_at)}"])
    words = []
    what = "water" if stop.water_taken > 0 else "coal"
    for other in alternatives(book.scenario, book.route, stop, what):
        sign = "+" if other.ahead else "\N{MINUS SIGN}"
        words.append(f"{letter_of(other.row)} {sign}{distance.number(other.apart)}")
    if not words and stands(stop) and stop.water_taken > 0:
        words = ["NONE"]
    return join(words)


def _letter(book: Book, way: Fallback) -> str:
    """The letter of a fallback, or its name where it is the finish."""
    rows = [
        passing.row
        for passing in book.route.passings
        if passing.kind == "supply" and abs(passing.distance - way.next_distance) < 1.0
    ]
    return f"to {letter_of(rows[0])}" if rows else "on"


def _lines(place: str, action: str) -> int:
    """Lines a row of stops is likely to take in print."""
    parts = _bare(action).split("\n")
    acts = sum(max(math.ceil(len(part) / _ACTION), 1) for part in parts)
    return max(math.ceil(len(_bare(place)) / _PLACE), acts, 2)


def _bare(markup: str) -> str:
    return re.sub(r"<[^>]+>", "", markup.replace("<br>", "\n"))


def _key(book: Book, left: int) -> str:
    """What the columns' marks mean."""
    thirsty = "(…) if thirsty, 9 in 10 use less. " if book.reached else ""
    more = f" {left} more on the road: overleaf." if left else ""
    marks = "+ on, \N{MINUS SIGN} back"
    if book.plan.fallbacks:
        marks = "decide by that place"
    return (
        f"<p>Tank on arrival, {thirsty}Else: letter overleaf, {marks}. ? or STALE: ring.{more}</p>"
    )


def _between(book: Book, begin: float, end: float, room: int) -> tuple[list[Met], list[Met]]:
    """What is met on a day's road and has room, the gravest first, and what has none."""
    own = [met for met in book.met if begin - 1e-6 <= met.distance <= end + 1e-6]
    ranked = sorted(own, key=lambda met: _GRAVE.index(met.kind))
    shown: list[Met] = []
    for met in ranked:
        lines = max(math.ceil(len(met.name) / _PLACE), math.ceil(len(_met_words(met)) / 50))
        if lines > room:
            break
        room -= lines
        shown.append(met)
    return shown, [met for met in own if met not in shown]


def _met_words(met: Met) -> str:
    return f"{met.kind.upper()}: {met.words}" if met.kind != "landmark" else met.words


def _met_row(book: Book, met: Met, day: int) -> Row:
    boxes = Marked('<span class="box"></span> before <span class="box"></span> after')
    words = join([_met_words(met), boxes if met.boxes else ""], " ")
    return [
        book.system.distance.number(met.distance),
        day_range(met.clock, met.clock, day),
        met.name,
        (words, 5),
        "",
    ]
