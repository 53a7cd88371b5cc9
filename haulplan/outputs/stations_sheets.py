"""Sheets to print: the order list, one sheet for each station, one timetable for each truck.

One HTML page without scripts; every sheet begins a new page on Letter and A4. What users
wrote is escaped.
"""

import html
import math
from collections.abc import Iterable, Sequence
from typing import Final

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.stations import orders_frame, remarks, stations_frame, wanted_at
from haulplan.outputs.tables import clock_text, plain
from haulplan.stations.organise import Organised
from haulplan.stations.trucks import Shift
from haulplan.units import UnitSystem

__all__ = ["draw_sheets"]

_STYLE: Final = """
@page { margin: 12mm; }
html { background: #fff; color: #000; font: 14pt/1.3 Arial, Helvetica, sans-serif; }
body { margin: 0 auto; padding: .5rem; max-width: 60rem; }
section { break-before: page; margin-bottom: 3rem; }
section:first-of-type { break-before: auto; }
h1 { font-size: 20pt; margin: 0 0 .2rem; }
h2 { font-size: 14pt; margin: 1rem 0 .3rem; break-after: avoid; }
p { margin: .2rem 0; }
p.rule { border: 3px solid #000; padding: .4rem .6rem; font-weight: bold; margin: .6rem 0; }
h1, h2, p, li { overflow-wrap: anywhere; unicode-bidi: isolate; }
td, th { overflow-wrap: break-word; unicode-bidi: isolate; }
div.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; }
tr { break-inside: avoid; }
thead { display: table-header-group; }
th, td { border: 1px solid #000; padding: .15rem .35rem; text-align: left; vertical-align: top; }
th { font-size: 11pt; }
td.n { text-align: right; white-space: nowrap; }
th.n { text-align: right; }
td.unit { white-space: nowrap; }
td.place { min-width: 9rem; }
td.blank { min-width: 4.5rem; }
ul { margin: .3rem 0; padding-left: 1.2rem; }
@media screen and (max-width: 600px) { html { font-size: 12pt; } }
"""
_POLICY: Final = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
    'style-src \'unsafe-inline\'; img-src data:"><link rel="icon" href="data:,">'
)


def draw_sheets(found: Organised, system: UnitSystem) -> str:
    """All sheets on one page, to be printed.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    page
        HTML that needs no other file and no network.
    """
    frame = stations_frame(found, system)
    numbers = [str(number) for number in frame["number"]] if len(frame) else []
    sections = [_orders(found, system)]
    sections += [
        _station(found, number, place, system)
        for number, place in zip(numbers, found.choice.open, strict=True)
    ]
    sections += [
        _truck(found, k, system)
        for k in range(len(found.event.trucks))
        if any(shift.truck == k for shift in found.rota.shifts)
        or found.event.trucks[k].role == "roving"
    ]
    title = _escaped(found.event.file.title)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"{_POLICY}<title>{title}: sheets</title><style>{_STYLE}</style></head>\n<body>\n"
        + "\n".join(sections)
        + "\n</body></html>\n"
    )


def _escaped(words: object) -> str:
    return html.escape(plain(str(words)))


def _rows(header: Sequence[tuple[str, str]], rows: Iterable[Sequence[object]]) -> str:
    """A table; columns of class "n" hold figures, of class "blank" room to write."""
    head = "".join(
        f'<th class="{kind}" scope="col">{_escaped(title)}</th>' for title, kind in header
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="{kind}">{_escaped(cell)}</td>'
            for (_, kind), cell in zip(header, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    whole = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide">{whole}</div>'


def _listed(words: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{_escaped(word)}</li>" for word in words) + "</ul>"


def _top(found: Organised, title: str) -> str:
    file = found.event.file
    return (
        f"<h1>{_escaped(title)}</h1><p>{_escaped(file.title)}, {file.date:%A} "
        f"{file.date.isoformat()}</p>"
    )


def _orders(found: Organised, system: UnitSystem) -> str:
    rows = orders_frame(found, system).to_numpy().tolist()
    header = (("What", ""), ("Where", ""), ("Amount", "n"), ("Unit", "unit"), ("Remark", ""))
    shown = [
        [what, where, f"{amount:,}" if isinstance(amount, int) else amount, unit, remark]
        for what, where, amount, unit, remark in rows
    ]
    words = remarks(found, system)
    look = f"<h2>Look into</h2>{_listed(words)}" if words else ""
    return (
        f"<section>{_top(found, 'Order list')}{_rows(header, shown)}{look}"
        f"<h2>Cautions</h2>{_listed(CAUTIONS)}</section>"
    )


def _station(found: Organised, number: str, place: int, system: UnitSystem) -> str:
    site = found.course.sites[place]
    water, bags = wanted_at(found, place)
    kind = "Station" if site.is_station else "Rendezvous"
    facts = [
        f"At {system.distance.text(site.distance)}, side: {site.row.side}, {site.row.kind}",
        f"Hoses: {site.hoses}, each {system.water.text(site.rate * 60)}/min",
        f"Water: about {system.water.text(water)}; order "
        f"{system.water.text(min(water * (1 + found.event.file.service.in_hand), site.row.water))}",
    ]
    if bags:
        facts.append(f"Coal: {bags} bags of {system.coal.text(found.event.file.service.bag)}")
    facts += [
        f"{label}: {text}"
        for label, text in (
            ("Contact", site.row.contact), ("Permit", site.row.permit), ("Note", site.row.note)
        )
        if text
    ]  # fmt: skip
    trucks = [
        [
            found.event.trucks[s.truck].truck, clock_text(s.arrive), clock_text(s.leave),
            system.water.number(s.load),
        ]
        for s in sorted(found.rota.shifts, key=lambda s: s.arrive)
        if s.place == place
    ]  # fmt: skip
    rota = ""
    if trucks:
        header = (
            ("Truck", ""),
            ("There", "n"),
            ("Leaves", "n"),
            (f"Brings {system.water.label}", "n"),
        )
        rota = f"<h2>Trucks</h2>{_rows(header, trucks)}"
    return (
        f"<section>{_top(found, f'{kind} {number}: {site.name}')}"
        + "".join(f"<p>{_escaped(fact)}</p>" for fact in facts)
        + '<p class="rule">When engines queue, the one with the least reach is served first. '
        "Dip before filling; fill to the mark; keep an air gap at the filler; the queue "
        "stands off the carriageway.</p>" + _served(found, place, system) + rota + "</section>"
    )


def _served(found: Organised, place: int, system: UnitSystem) -> str:
    """Who comes, in the order served on a typical day."""
    water, way = system.water, system.distance
    header = (
        ("Comes", "n"), ("Slot", "n"), ("Engine", ""), (f"Reach {way.label}", "n"),
        (f"Give {water.label}", "n"), ("Fill to", "n"), ("Bags", "n"), ("Given", "blank"),
    )  # fmt: skip
    halts = [halt for halt in found.typical.halts if halt.place == place]
    rows = []
    for halt in sorted(halts, key=lambda halt: (halt.begin, halt.arrive)):
        engine = found.fleet[halt.engine]
        given = {g.visit: g for g in found.choice.stops[halt.engine]}.get(halt.visit)
        per_metre = engine.used(engine.leaves) / max(engine.leaves, 1.0)
        mark = engine.tank if given is None else given.mark
        rows.append(
            [
                clock_text(halt.arrive), engine.slot, engine.name,
                way.number(halt.level / max(per_metre, 1e-9)), water.number(halt.take),
                "the brim" if mark > 0.99 * engine.tank else f"{mark / engine.tank:.0%}",
                found.coal.get((halt.engine, halt.visit), ""), "",
            ]
        )  # fmt: skip
    came = {(halt.engine, halt.visit) for halt in halts}
    passing = [
        f"{found.fleet[e].name} ({g.mark / found.fleet[e].tank:.0%})"
        for e, stops in enumerate(found.choice.stops)
        for g in stops
        if g.place == place and (e, g.visit) not in came
    ]
    words = "Expected to pass; to be filled only if the dip is below the figure behind the name: "
    note = f"<p>{_escaped(words + ', '.join(passing))}.</p>" if passing else ""
    return f"<h2>Engines, as served on a typical day</h2>{_rows(header, rows)}{note}"


def _truck(found: Organised, k: int, system: UnitSystem) -> str:
    truck = found.event.trucks[k]
    facts = [
        f"Holds {system.water.text(truck.volume)}; empty {system.mass.text(truck.tare)}, full "
        f"{system.mass.text(truck.tare + truck.volume)}",
        f"Fills at {system.distance.text(truck.fill_at)} along the road, "
        f"{system.water.text(truck.fill_rate * 60)}/min",
    ]
    if truck.contact:
        facts.append(f"Contact: {truck.contact}")
    own = [shift for shift in found.rota.shifts if shift.truck == k]
    if truck.role == "roving":
        body = (
            '<p class="rule">Roving: follows the tail, goes to whoever calls, at the nearest '
            "place off the carriageway. The tail engine is never left without water.</p>"
        )
    else:
        body = _shift_table(found, own, system)
        body += (
            "<p>Posted figures and the road authority decide on bridges. Ours is only a weight "
            "reckoned from the figures given: weigh the truck.</p>"
        )
    return (
        f"<section>{_top(found, f'Truck: {truck.truck}')}"
        + "".join(f"<p>{_escaped(fact)}</p>" for fact in facts)
        + body
        + "</section>"
    )


def _over(shift: Shift, system: UnitSystem) -> str:
    """The bridges of a shift with the least posted figure."""
    if not math.isfinite(shift.limit):
        return ""
    return f", over {', '.join(shift.bridges)}: posted {system.mass.text(shift.limit)}"


def _shift_table(found: Organised, shifts: Sequence[Shift], system: UnitSystem) -> str:
    header = (
        ("Set out", "n"), ("Fill min", "n"), ("There", "n"), ("Leave", "n"), ("Place", "place"),
        (f"Has {system.water.label}", "n"), (f"Gives {system.water.label}", "n"),
        (f"Gross {system.mass.label}", "n"), ("Done", "blank"),
    )  # fmt: skip
    rows = [
        [
            clock_text(s.arrive - s.travel), round(s.fill / 60) or "none", clock_text(s.arrive),
            clock_text(s.leave), found.course.sites[s.place].name + _over(s, system),
            system.water.number(s.load), system.water.number(s.gives),
            system.mass.number(s.gross), "",
        ]
        for s in shifts
    ]  # fmt: skip
    return _rows(header, rows)
