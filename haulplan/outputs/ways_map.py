"""One map with the ways side by side: colour, width, dashes and a letter for each."""

from typing import Any, Final

import numpy as np

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.maps import draw_data
from haulplan.outputs.tables import clock_text, plain, whole_minutes
from haulplan.outputs.ways import Compared, proof_text
from haulplan.roads.ways import Way
from haulplan.units import UnitSystem

__all__ = ["draw_ways"]

#: Told apart without colour too: by width and dashes. Colours of equal weight to any eye.
_LINES: Final = (
    ("#0b3d91", 7, ""), ("#b3541e", 5, "14 6"), ("#3f6b2a", 4, "4 6"), ("#6a3d87", 4, "14 5 3 5"),
    ("#7a5c00", 3, "2 5"),
)  # fmt: skip
_MOST_POINTS: Final = 4000


def draw_ways(compared: Compared, system: UnitSystem) -> str:
    """One HTML page with every way, its stops and the supplies.

    Parameters
    ----------
    compared
        The ways.
    system
        The units to show.

    Returns
    -------
    page
        HTML that needs no other file and no network.
    """
    file = compared.quest.scenario.file
    lines = [_line(way) for way in compared.ways]
    points = np.concatenate([np.array(line) for line in lines])
    bounds = [points.min(axis=0).tolist(), points.max(axis=0).tolist()]
    marks = _marks(compared, system)
    units = ", ".join(getattr(system, k).label for k in ("distance", "height", "water", "coal"))
    data: dict[str, Any] = {
        "title": plain(f"{file.title}: the ways"),
        "facts": f"{plain(file.start)} to {plain(file.finish)}. Way A: "
        f"{proof_text(compared.chosen)}. Units: {units}.",
        "cautions": CAUTIONS,
        "bounds": bounds,
        "classes": [
            {
                "colour": colour, "width": width, "dash": dash,
                "words": _words(compared, number, system), "lines": [lines[number]],
            }
            for number, (colour, width, dash) in enumerate(_LINES[: len(lines)])
        ],
        "arrows": [],
        "marks": marks,
        "signs": [
            sign
            for sign in (
                ("start", "S", "start"), ("finish", "F", "finish"),
                ("stop", "1", "stop on way A, by number in its plan"),
                ("supply", "", "supply not used on way A"),
            )
            if sign[0] in {mark["kind"] for mark in marks}
        ],
        "remarks": ["North is up. Where ways share a road the earlier letter lies on top."],
        "twice": False,
        "metric": system.name == "metric",
    }  # fmt: skip
    middle = [(low + high) / 2 for low, high in zip(*bounds, strict=True)]
    return draw_data(f"{file.title}: the ways", (middle[0], middle[1]), data)


def _line(way: Way) -> list[list[float]]:
    """Latitude and longitude of a way, thinned."""
    line = way.driven.route.line
    assert line is not None
    step = max(line.latitude.size // _MOST_POINTS, 1)
    kept = np.unique(np.r_[0 : line.latitude.size : step, line.latitude.size - 1])
    points: list[list[float]] = np.round(
        np.stack([line.latitude[kept], line.longitude[kept]], axis=1), 5
    ).tolist()
    return points


def _words(compared: Compared, number: int, system: UnitSystem) -> str:
    account, way = compared.accounts[number], compared.ways[number]
    return (
        f"way {chr(65 + number)}: {system.distance.text(account.length)}, "
        f"{whole_minutes(account.duration)} min, arrive {clock_text(way.plan.arrival)}, "
        f"{system.water.text(account.water)}, stops {account.stops}"
    )


def _marks(compared: Compared, system: UnitSystem) -> list[dict[str, Any]]:
    """Start, finish, the stops of way A and the supplies it passes by."""
    way = compared.ways[0]
    line, rows = way.driven.route.line, compared.quest.scenario.supplies
    assert line is not None
    marks = []
    for stop in way.plan.stops:
        kind = stop.kind if stop.kind in {"start", "finish"} else "stop"
        text = str(stop.number) if kind == "stop" else kind[0].upper()
        marks.append(
            {
                "kind": kind, "name": plain(stop.name),
                "title": f"{kind} {text}: {plain(stop.name)}", "at": line.position(stop.distance),
                "text": text, "remark": "", "level": 0, "radius": 18,
                "rows": [
                    [f"distance [{system.distance.label}]", system.distance.number(stop.distance)],
                    ["arrive", clock_text(stop.arrive)],
                    ["leave", clock_text(stop.depart)],
                    [f"take [{system.water.label}]", system.water.number(stop.water_taken)],
                ],
            }
        )  # fmt: skip
    used = {stop.row for stop in way.plan.stops if stop.kind == "supply"}
    for row in sorted({r for here in compared.quest.supplies.values() for r in here} - used):
        supply = rows[row]
        marks.append(
            {
                "kind": "supply", "name": plain(supply.name),
                "title": f"supply: {plain(supply.name)}",
                "at": (supply.latitude, supply.longitude), "text": "", "level": 2, "radius": 9,
                "rows": [["kind", plain(supply.kind)]], "remark": "Not used on way A.",
            }
        )  # fmt: skip
    return marks
