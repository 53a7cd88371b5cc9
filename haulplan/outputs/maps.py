"""The map of a plan: one HTML page that opens with no network.

Folium lays out the page; Leaflet is put into it from an installed package, and everything
folium would load from elsewhere is left out. What users wrote travels as JSON and reaches
the page as text nodes only. Nothing of theirs passes through a template: folium's macro
elements render their own output a second time, so plain elements are used.
"""

import base64
import html
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.charts import GRADE_CLASSES, grade_runs
from haulplan.outputs.doing import stands
from haulplan.outputs.tables import crossings_frame, plain, stops_frame
from haulplan.outputs.thirst import reaches
from haulplan.plan.plan import Plan
from haulplan.route.build import Line, Passing, Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Supply
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd

    from haulplan.outputs.roadbook import Book

__all__ = ["draw_data", "draw_map", "draw_page", "mark_of"]

Array = NDArray[np.float64]
Rows = list[list[str]]

#: Points of the recorded line nearer together than this are thinned. [m]
_SPACING: Final = 5.0
_MOST_POINTS: Final = 20_000
_ARROWS: Final = 12

#: Kinds of mark: rank, radius on the screen [px], and what a screen reader says first.
_KINDS: Final = {
    "start": (0, 18, "start"),
    "stop": (0, 18, "stop"),
    "finish": (0, 18, "finish"),
    "bridge": (1, 11, "bridge"),
    "supply": (2, 9, "supply passed by"),
    "crossing": (1, 10, "level crossing"),
    "crest": (3, 8, "crest"),
    "place": (3, 8, "landmark"),
}
#: Layers a reader may switch off, with the kinds of mark in each.
_LAYERS: Final = (
    ("Supplies passed by", ("supply",)),
    ("Bridges and level crossings", ("bridge", "crossing")),
    ("Crests", ("crest",)),
    ("Landmarks", ("place",)),
)
_SIGNS: Final = (
    ("start", "S", "start"),
    ("finish", "F", "finish"),
    ("stop", "1", "stop, by number in the plan"),
    ("supply", "", "supply passed by without stopping"),
    ("bridge", "", "bridge with a posted figure"),
    ("crossing", "×", "level crossing: ring before and after"),
    ("crest", "", "crest: water glass to be carried over it"),
    ("place", "", "landmark"),
)
_BRIDGE_REMARK: Final = (
    "The posted figure and the road authority decide. Ours is only a weight reckoned from "
    "the scenario."
)

_NO_LINE: Final = "the road has no positions to draw; give it as a GPX track"
#: The browser itself refuses whatever is not in the page.
_POLICY: Final = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:\">"
    '<link rel="icon" href="data:,">'
)
_BODY: Final = """
<header id="heading"><h1></h1><p></p></header>
<details id="cautions"><summary>Cautions: read before setting out</summary><ul></ul></details>
<form id="find" role="search"><label for="name">Find a place</label>
<input id="name" list="names" autocomplete="off"><datalist id="names"></datalist>
<button type="submit">Show</button> <button type="button" id="print">Print</button>
<output for="name"></output></form>
<fieldset id="layers"><legend>Show</legend></fieldset>
<details id="key" open><summary>Key</summary><ul></ul></details>
"""
#: Runs when the page is read; MAP and DATA are put in by `_script`.


def draw_map(
    scenario: Scenario,
    route: Route,
    plan: Plan,
    system: UnitSystem,
    book: "Book | None" = None,
    *,
    tiles: str | None = None,
) -> str:
    """One HTML page with the road, its stops, supplies, bridges and landmarks.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    route
        Its road, which must have positions.
    plan
        The plan; the details of a stop are those of `stops_frame`.
    system
        The units to show.
    book
        The plan with its crests and how far each dip goes; those are left out where None.
    tiles
        Address of map tiles with {z}, {x} and {y}, only where they are asked for: the page
        then loads them from there.

    Returns
    -------
    page
        HTML that needs no other file and, without tiles, no network.

    Raises
    ------
    ValueError
        If the road has no positions.
    """
    if route.line is None:
        raise ValueError(_NO_LINE)
    line = _unbroken(route.line)
    frame = stops_frame(scenario, plan, system)
    marks = [
        *_stop_marks(frame, route, line, plan),
        *_bridge_marks(crossings_frame(scenario, plan, system), line, plan),
        *_supply_marks(scenario, route, line, plan, system),
        *_crossing_marks(scenario, route, line, system),
        *([] if book is None else _crest_marks(book, line)),
        *_place_marks(scenario, route, line, plan, system),
    ]
    units = [
        getattr(system, kind).label for kind in ("distance", "height", "water", "coal", "mass")
    ]
    facts = (
        f"{plan.date:%A} {plan.date.isoformat()}, leave {frame['leave'].iloc[0]}, "
        f"arrive {frame['arrive'].iloc[-1]}, {system.distance.text(route.length)}. "
        f"Units: {', '.join(units)}."
    )
    reach = None if book is None else _reach(book)
    return draw_page(route, plan.title, facts, marks, system, reach=reach, tiles=tiles)


def draw_page(
    route: Route,
    title: str,
    facts: str,
    marks: Sequence[dict[str, Any]],
    system: UnitSystem,
    *,
    signs: Sequence[tuple[str, str, str]] = _SIGNS,
    reach: dict[str, Any] | None = None,
    tiles: str | None = None,
) -> str:
    """One HTML page with a road and marks on it.

    Parameters
    ----------
    route
        The road, which must have positions.
    title, facts
        What stands at the head of the page.
    marks
        Made by `mark_of`.
    system
        The units to show.
    signs
        Kind, text and meaning of each kind of mark, for the key.
    reach
        How far each dip goes, if that is shown.
    tiles
        Address of map tiles, only where they are asked for.

    Returns
    -------
    page
        HTML that needs no other file and, without tiles, no network.

    Raises
    ------
    ValueError
        If the road has no positions.
    """
    if route.line is None:
        raise ValueError(_NO_LINE)
    line = _unbroken(route.line)
    data = _data(route, line, title, facts, marks, signs, system)
    data |= {"reach": reach, "tiles": tiles}
    return draw_data(title, line.position(route.length / 2), data)


def draw_data(title: str, middle: tuple[float, float], data: dict[str, Any]) -> str:
    """A page with a map drawn from prepared data.

    Parameters
    ----------
    title
        Of the page.
    middle
        Latitude and longitude to open at. [°]
    data
        What the page's script shows: lines by class, marks with their details, words.

    Returns
    -------
    page
        HTML that needs no other file and no network.
    """
    import folium  # noqa: PLC0415  slow to load
    from branca.element import Element, Figure  # noqa: PLC0415

    def put(parent: Element, text: str) -> None:
        """Add text that no template reads."""
        piece: Any = Element("{{ this.text }}")
        piece.text = text
        parent.add_child(piece)

    data = {"layers": [], "reach": None, "tiles": None, **data}
    root = Figure(title=html.escape(plain(title)))
    chart = folium.Map(
        location=middle, tiles=None, attribution_control=False,
        zoom_snap=0.25,
    )  # fmt: skip
    # Its own random number would make each page differ; the lists name files elsewhere.
    chart._id = "road"
    chart.default_js = chart.default_css = []
    library, style = _leaflet()
    put(root.header, f"{_policy(data['tiles'])}<style>{style}</style><script>{library}</script>")
    put(root.html, _BODY)
    root.add_child(chart)
    script = _own("map.js").replace("MAP", chart.get_name(), 1).replace("DATA", _embedded(data), 1)
    put(root.script, script)
    put(root.header, f"<style>{_own('map.css')}</style>")
    page: str = root.render()
    page = re.sub(r",\s*maximum-scale=1.0, user-scalable=no", "", page, count=1)
    return page.replace("<html>", '<html lang="en">', 1)


def _policy(tiles: str | None) -> str:
    """The page's own rule for the browser; tiles may come from where they were asked for."""
    if tiles is None:
        return _POLICY
    match = re.match(r"https://[A-Za-z0-9.{}-]+(?::\d+)?/", tiles)
    if match is None:
        raise ValueError("give tiles as 'https://server/{z}/{x}/{y}.png'")
    server = match[0].replace("{s}", "*").rstrip("/")
    return _POLICY.replace("img-src data:", f"img-src data: {server}")


def _own(name: str) -> str:
    """A script or style of ours, kept beside this module."""
    return (files("haulplan.outputs") / name).read_text("utf-8")


def _leaflet() -> tuple[str, str]:
    """Leaflet's script and style with its pictures inside and its links taken out."""
    library = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    script = (library / "leaflet.js").read_text("utf-8")
    script = re.sub(r"^//# sourceMappingURL=.*$", "", script, flags=re.MULTILINE)
    script = script.replace("https://leafletjs.com", "leafletjs.com")
    style = re.sub(r"/\*.*?\*/", "", (library / "leaflet.css").read_text("utf-8"), flags=re.DOTALL)

    def inside(match: re.Match[str]) -> str:
        picture = base64.b64encode((library / "images" / match[1]).read_bytes()).decode()
        return f"url(data:image/png;base64,{picture})"

    return script, re.sub(r"url\(images/([\w.-]+)\)", inside, style)


def _embedded(data: dict[str, Any]) -> str:
    """JSON that cannot end the script it stands in."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _unbroken(line: Line) -> Line:
    """The line with no jump of longitude."""
    return replace(line, longitude=np.unwrap(line.longitude, period=360.0))


def _data(
    route: Route,
    line: Line,
    title: str,
    facts: str,
    marks: Sequence[dict[str, Any]],
    signs: Sequence[tuple[str, str, str]],
    system: UnitSystem,
) -> dict[str, Any]:
    """Everything the page's script shows."""
    twice = _driven_twice(line)
    return {
        "title": plain(title),
        "facts": facts,
        "cautions": CAUTIONS,
        "bounds": [
            [float(line.latitude.min()), float(line.longitude.min())],
            [float(line.latitude.max()), float(line.longitude.max())],
        ],
        "classes": _classes(route, line),
        "arrows": _arrows(route, line),
        "marks": marks,
        "signs": [sign for sign in signs if sign[0] in {mark["kind"] for mark in marks}],
        "remarks": _remarks(route, twice=twice),
        "twice": twice,
        "metric": system.name == "metric",
        "layers": [
            {"name": name, "kinds": kinds}
            for name, kinds in _LAYERS
            if {mark["kind"] for mark in marks} & set(kinds)
        ],
    }


def _remarks(route: Route, *, twice: bool) -> list[str]:
    grades = "Grades are means over 100 m." if route.has_heights else "Heights: not given."
    words = [
        f"{grades} Arrowheads point the way driven. North is up.",
        "Zoom in for names and small marks that have no room.",
    ]
    if twice:
        words.append("Lines lie to the right of the way driven, for a road is driven twice.")
    return words


def _driven_twice(line: Line) -> bool:
    """Whether some hundreds of metres of the road are driven again later."""
    at = np.arange(0.0, line.distance[-1], 50.0)
    north = np.interp(at, line.distance, line.latitude)
    east = np.interp(at, line.distance, line.longitude) * np.cos(np.radians(north.mean()))
    cells = np.floor(np.stack([north, east], axis=1) * 111_000 / 60).tolist()
    first: dict[tuple[float, ...], float] = {}
    since = [
        distance - first.setdefault(tuple(cell), distance)
        for cell, distance in zip(cells, at.tolist(), strict=True)
    ]
    return int(np.count_nonzero(np.array(since) > 500)) >= 5


def _classes(route: Route, line: Line) -> list[dict[str, Any]]:
    """The drawn road by class of grade, thinned, steepest climb first."""
    length = float(line.distance[-1])
    cell = np.floor(line.distance / max(_SPACING, length / _MOST_POINTS))
    kept = line.distance[np.unique(cell, return_index=True)[1]]
    lines: dict[int, list[list[list[float]]]] = {}
    for begin, end, kind in grade_runs(route):
        inside = kept[np.searchsorted(kept, begin, "right") : np.searchsorted(kept, end)]
        at = np.concatenate([[begin], inside, [end]])
        points = [np.interp(at, line.distance, side) for side in (line.latitude, line.longitude)]
        lines.setdefault(kind, []).append(np.round(np.transpose(points), 5).tolist())
    return [
        {
            "colour": (shown := GRADE_CLASSES[kind]).colour,
            "width": shown.width,
            "dash": shown.dash,
            "words": f"{shown.name}: {shown.figures}" if route.has_heights else "the road",
            "lines": lines[kind],
        }
        for kind in sorted(lines, reverse=True)
    ]


def _arrows(route: Route, line: Line) -> list[list[float]]:
    """Latitude, longitude and bearing of arrowheads along the road, in degrees."""
    ahead = route.length / 400
    arrows = []
    for distance in (np.arange(_ARROWS) + 0.5) * route.length / _ARROWS:
        a, here, b = (line.position(float(distance) + d) for d in (-ahead, 0.0, ahead))
        east = (b[1] - a[1]) * np.cos(np.radians(here[0]))
        arrows.append([*here, round(float(np.degrees(np.arctan2(east, b[0] - a[0]))), 1)])
    return arrows


def mark_of(
    kind: str, name: str, at: tuple[float, float], rows: Rows, *, text: str = "", remark: str = ""
) -> dict[str, Any]:
    """One mark and the details it opens; `title` is what a screen reader says.

    Parameters
    ----------
    kind
        A kind of mark the page knows: start, stop, finish, bridge, supply or place.
    name
        Shown beside it.
    at
        Latitude and longitude. [°]
    rows
        Label and text of each detail.
    text
        What stands in the mark.
    remark
        A line below the details.

    Returns
    -------
    mark
        For `draw_page`.
    """
    level, radius, called = _KINDS[kind]
    return {
        "kind": kind,
        "name": name,
        "title": f"{called} {text}, {name}" if kind == "stop" else f"{called}: {name}",
        "at": at,
        "text": text,
        "rows": rows,
        "remark": remark,
        "level": level,
        "radius": radius,
    }


def _cells(frame: "pd.DataFrame") -> list[Rows]:
    """Each row as label and text, cells that do not apply left out."""
    labels = [str(label) for label in frame.columns]
    return [
        [[label, str(cell)] for label, cell in zip(labels, row, strict=True) if cell != ""]
        for row in frame.to_numpy().tolist()
    ]


def _stop_marks(
    frame: "pd.DataFrame", route: Route, line: Line, plan: Plan
) -> Iterator[dict[str, Any]]:
    called = {"halt": "place"}
    labels: dict[tuple[str, int | None, float], str] = {
        (p.kind, p.row, p.distance): p.label for p in route.passings
    }
    for stop, rows in zip(plan.stops, _cells(frame), strict=True):
        kind = "stop" if stands(stop) else stop.kind
        text = str(stop.number) if kind == "stop" else kind[0].upper()
        met = (called.get(stop.kind, stop.kind), stop.row, stop.distance)
        name = labels.get(met, stop.name)
        yield mark_of(kind, plain(name), line.position(stop.distance), rows, text=text)


def _bridge_marks(frame: "pd.DataFrame", line: Line, plan: Plan) -> Iterator[dict[str, Any]]:
    for crossing, rows in zip(plan.crossings, _cells(frame), strict=True):
        at = line.position(crossing.distance)
        yield mark_of("bridge", plain(crossing.name), at, rows, remark=_BRIDGE_REMARK)


def _crossing_marks(
    scenario: Scenario, route: Route, line: Line, system: UnitSystem
) -> Iterator[dict[str, Any]]:
    for passing in route.level_crossings:
        row = scenario.level_crossings[passing.row]
        rows = [_distance(passing, system)]
        rows.append(["telephone", plain(row.telephone or "not known: ask the railway")])
        rows += [["note", plain(row.note)]] if row.note else []
        at = line.position(passing.distance)
        yield mark_of(
            "crossing", plain(passing.label), at, rows, text="×", remark="Ring before and after."
        )  # fmt: skip


def _crest_marks(book: "Book", line: Line) -> Iterator[dict[str, Any]]:
    unit = book.system.distance
    for met in book.met:
        if met.kind == "crest":
            number = unit.number(met.distance)
            rows = [[f"distance [{unit.label}]", number], ["glass", met.words]]
            yield mark_of(
                "crest", f"Crest at {number} {unit.label}", line.position(met.distance), rows
            )


def _reach(book: "Book") -> dict[str, Any]:
    """How far along the road each dip on leaving each stop goes, till the reserve is met."""
    tank, floor = book.scenario.file.stores.tank, book.scenario.file.reserve.water
    dips = np.linspace(tank, tank / 8, 8)
    thirst = book.typical if book.thirsty is None else book.thirsty
    places = []
    for stop in book.plan.stops[:-1]:
        other = stop.bunker_depart + stop.cart_depart + stop.boiler_depart
        ends = reaches(thirst, stop.distance, dips, other, floor)
        ends = np.minimum(ends, book.route.length)
        places.append(
            {
                "name": plain(f"{stop.number} {stop.name}" if stands(stop) else stop.name),
                "begin": stop.distance,
                "ends": np.round(ends, 0).tolist(),
            }
        )
    water, distance = book.system.water, book.system.distance
    return {
        "places": places,
        "dips": [water.text(float(dip)) for dip in dips],
        "unit": distance.label,
        "size": distance.size,
        "words": "thirsty engine: nine runs in ten get further"
        if book.thirsty is not None
        else "as planned",
        "road": _thinned(book.route),
    }


def _thinned(route: Route) -> list[list[float]]:
    """The road as distance, latitude, longitude, coarse: it only shows how far."""
    assert route.line is not None
    at = np.linspace(0.0, route.length, 601)
    east = np.unwrap(route.line.longitude, period=360.0)
    sides = [np.interp(at, route.line.distance, side) for side in (route.line.latitude, east)]
    points: list[list[float]] = np.stack(
        [np.round(at, 0), *(np.round(side, 5) for side in sides)], axis=1
    ).tolist()
    return points


def _supply_marks(
    scenario: Scenario, route: Route, line: Line, plan: Plan, system: UnitSystem
) -> Iterator[dict[str, Any]]:
    """Supplies the plan passes by."""
    used = {(stop.row, round(stop.distance)) for stop in plan.stops if stop.kind == "supply"}
    for passing in route.passings:
        if passing.kind == "supply" and (passing.row, round(passing.distance)) not in used:
            supply = scenario.supplies[passing.row]
            rows = _offer(supply, passing, scenario.file.currency, system)
            at = line.position(passing.distance)
            yield mark_of("supply", plain(passing.label), at, rows, remark="Not stopped at.")


def _place_marks(
    scenario: Scenario, route: Route, line: Line, plan: Plan, system: UnitSystem
) -> Iterator[dict[str, Any]]:
    """Landmarks the plan does not halt at."""
    used = {(stop.row, round(stop.distance)) for stop in plan.stops if stop.kind == "halt"}
    for passing in route.passings:
        if passing.kind == "place" and (passing.row, round(passing.distance)) not in used:
            note = scenario.places[passing.row].note
            rows = [_distance(passing, system), *([["note", plain(note)]] if note else [])]
            yield mark_of("place", plain(passing.label), line.position(passing.distance), rows)


def _distance(passing: Passing, system: UnitSystem) -> list[str]:
    return [f"distance [{system.distance.label}]", system.distance.number(passing.distance)]


def _offer(supply: Supply, passing: Passing, currency: str, system: UnitSystem) -> Rows:
    """What a supply offers, as label and text."""
    rows = [["kind", plain(supply.kind)], _distance(passing, system)]
    for store, unit in (("water", system.water), ("coal", system.coal)):
        available, rate = (getattr(supply, f"{store}_{what}") for what in ("available", "rate"))
        if available is not None:
            rows += _amounts(store, unit, available, rate)
            price = getattr(supply, f"{store}_price") * unit.size
            shown = f"{price:,.4f}".rstrip("0").rstrip(".")
            rows.append([f"{store} price [{currency}/{unit.label}]", shown])
    rows.append([f"call-out [{currency}]", f"{supply.call_out:,.2f}"])
    rows.append(["set-up [min]", f"{supply.set_up / 60:.0f}"])
    if supply.water_available is not None and supply.quality != "good":
        rows.append(["water is", supply.quality])
    hours = f"{_clock(supply.opens)}-{_clock(supply.closes)}"
    rows.append(["open", "all day" if hours == "00:00-24:00" else hours])
    for label in ("side", "contact", "permit", "last_confirmed", "note"):
        value = getattr(supply, label)
        if value is not None:
            rows.append([label.replace("_", " "), plain(str(value))])
    return rows


def _amounts(store: str, unit: DisplayUnit, available: float, rate: float) -> Rows:
    limited = np.isfinite(available)
    return [
        [f"{store} available [{unit.label}]", unit.number(available) if limited else "unlimited"],
        [f"{store} rate [{unit.label}/min]", unit.number(rate * 60)],
    ]


def _clock(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours:02d}:{minutes:02d}"
