"""The marshals' map: stations, rendezvous, sites not used, bridges, joining and leaving."""

from collections.abc import Iterator
from typing import Any, Final

from haulplan.outputs.maps import draw_page, mark_of
from haulplan.outputs.stations import stations_frame
from haulplan.outputs.tables import clock_text, plain
from haulplan.route import Line
from haulplan.stations.organise import Organised
from haulplan.units import UnitSystem

__all__ = ["draw_marshals_map"]

_SIGNS: Final = (
    ("start", "S", "start"),
    ("finish", "F", "finish"),
    ("stop", "1", "station, by number; R: rendezvous at a lay-by"),
    ("supply", "", "site not used"),
    ("bridge", "", "bridge with a posted figure"),
    ("place", "", "engines join or leave"),
)
_BRIDGE_REMARK: Final = (
    "The posted figure and the road authority decide; ours are only weights as entered."
)


def draw_marshals_map(found: Organised, system: UnitSystem) -> str:
    """One HTML page for the marshals, which opens with no network.

    Parameters
    ----------
    found
        What was organised, on a road with positions.
    system
        The units to show.

    Returns
    -------
    page
        HTML that needs no other file.

    Raises
    ------
    ValueError
        If the road has no positions.
    """
    line = found.course.route.line
    if line is None:
        raise ValueError("the road has no positions to draw; give it as a GPX track")
    file, course = found.event.file, found.course
    marks = [
        mark_of("start", plain(file.start), line.position(0.0), _times(found), text="S"),
        *_stations(found, line, system),
        *_unused(found, line, system),
        *_bridges(found, line, system),
        *_joins(found, line, system),
        mark_of(
            "finish", plain(file.finish), line.position(course.route.length),
            [["last in, typical day", clock_text(found.odds.finish[0])]], text="F",
        ),
    ]  # fmt: skip
    laps = "" if course.laps == 1 else f", {course.laps} laps"
    facts = (
        f"{file.date:%A} {file.date.isoformat()}, first away {clock_text(file.depart)}, "
        f"{len(found.fleet)} engines, {system.distance.text(course.length)}{laps}. "
        f"Units: {system.distance.label}, {system.water.label}, {system.mass.label}."
    )
    return draw_page(course.route, file.title, facts, marks, system, signs=_SIGNS)


def _times(found: Organised) -> list[list[str]]:
    rule = found.event.file.procession
    return [
        ["first away", clock_text(found.event.file.depart)],
        ["gap between starts [min]", f"{rule.stagger / 60:g}"],
        ["engines", str(sum(engine.joins <= 0 for engine in found.fleet))],
    ]


def _stations(found: Organised, line: Line, system: UnitSystem) -> Iterator[dict[str, Any]]:
    frame = stations_frame(found, system)
    labels = [str(label) for label in frame.columns]
    for place, row in zip(found.choice.open, frame.to_numpy().tolist(), strict=True):
        cells = dict(zip(labels, row, strict=True))
        number, name = str(cells.pop("number")), str(cells.pop("station"))
        rows = [[label, str(cell)] for label, cell in cells.items() if cell != ""]
        rows += [
            [
                f"truck {plain(found.event.trucks[s.truck].truck)}",
                f"{clock_text(s.arrive)} to {clock_text(s.leave)}",
            ]
            for s in found.rota.shifts
            if s.place == place
        ]
        at = line.position(found.course.sites[place].distance)
        remark = "When engines queue, the least reach is served first."
        yield mark_of("stop", name, at, rows, text=number, remark=remark)


def _unused(found: Organised, line: Line, system: UnitSystem) -> Iterator[dict[str, Any]]:
    for number, site in enumerate(found.course.sites):
        listed = not site.name.startswith("Hard standing at ")
        if number not in found.choice.open and listed:
            rows = [
                ["kind", site.row.kind],
                [f"distance [{system.distance.label}]", system.distance.number(site.distance)],
                ["status", site.row.status],
                ["side", site.row.side],
            ]
            rows += [["contact", plain(site.row.contact)]] if site.row.contact else []
            rows += [["note", plain(site.row.note)]] if site.row.note else []
            at = line.position(site.distance)
            yield mark_of("supply", plain(site.name), at, rows, remark="Not used.")


def _bridges(found: Organised, line: Line, system: UnitSystem) -> Iterator[dict[str, Any]]:
    weights = [engine.weight for engine in found.fleet if engine.weight is not None]
    for crossing in found.course.crossings:
        row = crossing.row
        rows = []
        if row.limit is not None:
            rows.append([f"posted [{system.mass.label}]", system.mass.number(row.limit)])
        if weights:
            rows.append(
                [f"heaviest engine [{system.mass.label}]", system.mass.number(max(weights))]
            )
        if row.width is not None:
            rows.append(["clear width [m]", f"{row.width:.2f}"])
        if row.note:
            rows.append(["note", plain(row.note)])
        for at in crossing.distances:
            yield mark_of("bridge", plain(row.name), line.position(at), rows, remark=_BRIDGE_REMARK)


def _joins(found: Organised, line: Line, system: UnitSystem) -> Iterator[dict[str, Any]]:
    length = found.course.route.length
    for engine in found.fleet:
        for verb, at, ends in (
            ("joins", engine.joins, 0.0), ("leaves", engine.leaves, found.course.length),
        ):  # fmt: skip
            if abs(at - ends) > 1.0:
                rows = [
                    ["slot", str(engine.slot)],
                    [f"distance [{system.distance.label}]", system.distance.number(at)],
                ]
                spot = line.position(at % length)
                yield mark_of("place", plain(f"{engine.name} {verb}"), spot, rows)
