"""The phone page: one file that needs no signal, with the plan's leg tables in it."""

import hashlib
import html
import json
from importlib.resources import files
from typing import Any

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import FIRES
from haulplan.outputs.tables import clock_text, plain, whole_minutes
from haulplan.plan import Plan, Trace
from haulplan.underway.log import log_header
from haulplan.underway.pocket import Pocket, make_pocket
from haulplan.underway.reckon import LEAST, MOST, NEAR, SHRINK
from haulplan.underway.task import Task
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, UnitSystem

__all__ = ["draw_phone", "phone_document", "sentences"]

_DAY = 86400.0
_SHARES = (("1/4", "¼"), ("1/3", "⅓"), ("1/2", "½"), ("2/3", "⅔"), ("3/4", "¾"), ("full", "full"))


def draw_phone(task: Task, plan: Plan, trace: Trace) -> str:
    """The page of one run.

    Parameters
    ----------
    task
        The run.
    plan, trace
        Its proved plan and the levels along it.

    Returns
    -------
    page
        HTML with script, style and tables inside; it asks for nothing from outside.
    """
    pocket = make_pocket(task, plan, trace)
    system = UNIT_SYSTEMS[task.scenario.file.units]
    document = phone_document(pocket, plan.stops[0].name, system)
    page = files("haulplan.outputs").joinpath("phone.html").read_text("utf-8")
    parts = {
        "TITLE": html.escape(plain(pocket.title)),
        "DAY": html.escape(_dates(pocket)),
        "DAYS": "".join(
            f'<option value="{k}">{html.escape(_day_words(pocket, k))}</option>'
            for k in range(len(pocket.days))
        ),
        "ONE": " hidden" if len(pocket.days) == 1 else "",
        "STYLE": files("haulplan.outputs").joinpath("phone.css").read_text("utf-8"),
        "SHARES": "".join(
            f'<button type="button" data-dip="{value}">{shown}</button>' for value, shown in _SHARES
        ),
        "DISTANCE": html.escape(system.distance.label),
        "WATER": html.escape(system.water.label),
        "PRESSURE": html.escape(system.pressure.label),
        "BAG": html.escape(f"{pocket.bag:g} {system.coal.label}"),
        "CAUTIONS": "".join(f"<li>{html.escape(text)}</li>" for text in CAUTIONS),
        "RUN": _embedded(document),
        "SCRIPT": files("haulplan.outputs").joinpath("phone.js").read_text("utf-8"),
    }
    pieces = page.split("%%")
    return "".join(parts[p] if k % 2 else p for k, p in enumerate(pieces))


def phone_document(pocket: Pocket, start: str, system: UnitSystem) -> dict[str, Any]:
    """What the page's script reads.

    Parameters
    ----------
    pocket
        The tables.
    start
        Name of the start.
    system
        The units they are in.

    Returns
    -------
    document
        Plain data; every name is fit to be shown.
    """
    document: dict[str, Any] = {
        "title": plain(pocket.title),
        "days": [
            {"date": day.date.isoformat(), "until": day.until, "name": _day_words(pocket, k)}
            for k, day in enumerate(pocket.days)
        ],
        "fires": FIRES,
        "start": plain(start),
        "file": f"log-{pocket.days[0].date.isoformat()}.csv",
        "log_header": ",".join(log_header(system)),
        "units": {
            name: {"label": unit.label, "decimals": unit.decimals}
            for name, unit in (
                ("distance", system.distance),
                ("water", system.water),
                ("coal", system.coal),
            )
        },
        "constants": {"near": NEAR, "shrink": SHRINK, "least": LEAST, "most": MOST},
        "tank": pocket.tank,
        "reserve": pocket.reserve,
        "known_back": pocket.known_back,
        "bag": pocket.bag,
        "rows": [[r.at, r.water, r.coal, r.time, r.back, r.tank, r.clock] for r in pocket.rows],
        "stops": [
            {
                "name": plain(s.name), "at": s.at, "mark": s.mark, "coal": s.coal,
                "has_water": s.has_water, "arrive": s.arrive, "leave": s.leave,
                "least": s.least, "opens": s.opens, "burns": s.burns, "fire": s.fire,
                "doing": [plain(work) for work in s.doing],
            }
            for s in pocket.stops
        ],
        "waters": [
            {"name": plain(w.name), "at": w.at, "opens": w.opens, "closes": w.closes}
            for w in pocket.waters
        ],
    }  # fmt: skip
    text = json.dumps(document, sort_keys=True)
    document["key"] = f"haulplan-log-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
    return document


def _day_words(pocket: Pocket, number: int) -> str:
    date = pocket.days[number].date
    return f"Day {number + 1}, {date:%A} {date.isoformat()}"


def _dates(pocket: Pocket) -> str:
    first, last = pocket.days[0].date, pocket.days[-1].date
    later = "" if first == last else f" to {last:%A} {last.isoformat()}"
    return f"{first:%A} {first.isoformat()}{later}"


def _embedded(document: dict[str, Any]) -> str:
    """JSON that no reader of HTML takes for markup."""
    text = json.dumps(document, allow_nan=False)
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def sentences(pocket: Pocket, found: dict[str, float | str], system: UnitSystem) -> dict[str, str]:
    """What the page says, from the figures of `reckon`: the same words and digits.

    Parameters
    ----------
    pocket
        The tables.
    found
        From `haulplan.underway.reckon.reckon`.
    system
        The units they are in.

    Returns
    -------
    lines
        By the place on the page where they stand.
    """
    figure = {key: value for key, value in found.items() if isinstance(value, float)}
    name, home = str(found["name"]), str(found["home"])
    road, water, coal = (_Own(u) for u in (system.distance, system.water, system.coal))
    lines = {"order": f"{found['order']} {name}" if name else str(found["order"]), "next": ""}
    if name:
        when = f", there {clock_text(figure['clock'])}" if figure["clock"] >= 0 else ""
        at, level = road.text(figure["at"]), water.text(figure["level"])
        lines["next"] = f"at {at}{when} with {level}"
    tasks = []
    if figure["mark"] >= 0:
        tasks.append(f"fill to {water.text(figure['mark'])}")
    if figure["coal"] >= 0:
        tasks.append(f"take {coal.text(figure['coal'])} of coal")
    if found["doing"]:
        tasks.append(plain(str(found["doing"])))
    if found["fire"]:
        tasks.append(FIRES.get(str(found["fire"]), str(found["fire"])))
        tasks.append(f"leave {clock_text(figure['leave'])}")
    lines["here"] = f"First, here: {', '.join(tasks)}" if tasks else ""
    reach, empty, last = figure["reach"], figure["empty"], figure["last"]
    lines["reach"] = "below the reserve now" if reach < 0 else road.text(reach)
    lines["empty"] = "empty" if empty < 0 else road.text(empty)
    lines["turn"] = (
        "no known water behind"
        if not home
        else f"too late for {home}" if last < 0 else f"{road.text(last)} ({home})"
    )  # fmt: skip
    late = whole_minutes(figure["late"])
    lines["late"] = f"{abs(late)} min {'late' if late > 0 else 'early'}" if late else "on time"
    off = water.number(abs(figure["off"]))
    side = "less" if figure["off"] < 0 else "more"
    lines["off"] = (
        "tank as planned" if off == "0" else f"{off} {system.water.label} {side} than planned"
    )
    lines["coal"] = (
        "no bags counted"
        if figure["burnt"] < 0
        else f"{coal.text(figure['burnt'])} burnt, {coal.number(figure['burns'])} planned"
    )
    lines["thirst"] = f"{figure['thirst']:.2f}"
    day = int(figure["day"])
    lines["day"] = _day_words(pocket, day) if len(pocket.days) > 1 else ""
    lines["light"] = ""
    if figure["until"] < _DAY * (day + 1):
        lines["light"] = f"Wheels may turn until {clock_text(figure['until'] - _DAY * day)}"
        if figure["dark"] > 0:
            lines["light"] += f"; {clock_text(figure['clock'])} is after that"
    return lines


class _Own:
    """A display unit for figures that are in it already."""

    def __init__(self, unit: DisplayUnit) -> None:
        self._unit = DisplayUnit(label=unit.label, size=1.0, decimals=unit.decimals)

    def number(self, value: float) -> str:
        return self._unit.number(value)

    def text(self, value: float) -> str:
        return self._unit.text(value)
