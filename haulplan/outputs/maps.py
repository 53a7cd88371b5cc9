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
from collections.abc import Iterator
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.charts import GRADE_CLASSES, grade_runs
from haulplan.outputs.tables import crossings_frame, plain, stops_frame
from haulplan.plan.plan import Plan
from haulplan.route.build import Line, Passing, Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Supply
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_map"]

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
    "place": (3, 8, "landmark"),
}
_SIGNS: Final = (
    ("start", "S", "start"),
    ("finish", "F", "finish"),
    ("stop", "1", "stop, by number in the plan"),
    ("supply", "", "supply passed by without stopping"),
    ("bridge", "", "bridge with a posted figure"),
    ("place", "", "landmark"),
)
_BRIDGE_REMARK: Final = (
    "The posted figure and the road authority decide. Ours is only a weight reckoned from "
    "the scenario."
)

#: The browser itself refuses whatever is not in the page.
_POLICY: Final = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
    "script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:\">"
    '<link rel="icon" href="data:,">'
)
_BODY: Final = """
<header id="heading"><h1></h1><p></p></header>
<details id="cautions"><summary>Cautions: read before setting out</summary><ul></ul></details>
<details id="key" open><summary>Key</summary><ul></ul></details>
"""
_STYLE: Final = """
html:root, html body { height: auto; margin: 0; background: #fbf7ec; color: #111; }
body { display: grid; font: 16px/1.4 Arial, Helvetica, sans-serif;
  grid: "heading" auto "cautions" auto "map" 68vh "key" auto / minmax(0, 1fr); }
h1 { font-size: 1.25rem; line-height: 1.2; margin: 0 0 .2rem; }
h1, p, li, h2, td, th, .label { overflow-wrap: anywhere; unicode-bidi: isolate; }
#heading { grid-area: heading; padding: .6rem .8rem; }
#heading p { margin: 0; }
#cautions { grid-area: cautions; }
#key { grid-area: key; }
details { border-top: 1px solid #111; padding: 0 .8rem; }
summary { min-height: 44px; display: list-item; line-height: 44px; font-weight: bold;
  cursor: pointer; }
details ul { margin: 0 0 .8rem; padding-left: 1.2rem; }
#key ul { list-style: none; padding: 0; }
#key li { display: grid; grid-template-columns: 3.4rem 1fr; gap: .6rem; align-items: center;
  padding: .15rem 0; }
#key li svg { width: 54px; height: 22px; }
#key li .mark { position: relative; width: auto; height: 34px; }
.folium-map { grid-area: map; z-index: 0; box-sizing: border-box; border: solid #111;
  border-width: 1px 0; }
@media (min-width: 56rem) {
  body { grid: "heading map" auto "cautions map" auto "key map" 1fr / 22rem minmax(0, 1fr); }
  .folium-map { position: sticky !important; top: 0 !important; height: 100vh !important;
    border-width: 0 0 0 1px; }
}
.leaflet-container { background: #f3edd9; font: 16px/1.35 Arial, Helvetica, sans-serif; }
.leaflet-bar a, .leaflet-touch .leaflet-bar a, .leaflet-container a.leaflet-popup-close-button {
  width: 44px; height: 44px; line-height: 44px; font-size: 24px; color: #111; }
.leaflet-popup-content-wrapper { background: #fff; color: #111; border: 2px solid #111;
  border-radius: 6px; }
.leaflet-popup-content { margin: 12px; font-size: 15px; }
.reading .leaflet-control-container { visibility: hidden; }
.leaflet-popup-content h2 { font-size: 1.05rem; margin: 0 40px .4rem 0; }
.leaflet-popup-content p { margin: .5rem 0 0; }
.leaflet-popup-content table { border-collapse: collapse; table-layout: fixed; width: 100%; }
th, td { border-top: 1px solid #bbb; padding: .15rem .3rem .15rem 0; text-align: left;
  vertical-align: top; font-weight: normal; }
td { font-weight: bold; }
.mark { border-radius: 50%; outline: none; }
.mark i { position: absolute; left: 50%; top: 50%; transform: translate(-50%, -50%);
  box-sizing: border-box; border: 2px solid #111; background: #fff; font-style: normal; }
.mark:focus-visible i { outline: 4px solid #111; outline-offset: 3px; }
.mark i.stop { min-width: 34px; height: 34px; line-height: 30px; border-radius: 17px;
  background: #111; color: #fff; border-color: #fff; text-align: center; font-weight: bold; }
.mark i.start, .mark i.finish { width: 32px; height: 32px; line-height: 26px;
  border-width: 3px; border-radius: 4px; text-align: center; font-weight: bold; }
.mark i.supply { width: 16px; height: 16px; border-radius: 50%; border-width: 4px; }
.mark i.bridge { width: 20px; height: 20px; border-width: 4px; }
.mark i.place { width: 12px; height: 12px; background: #111;
  transform: translate(-50%, -50%) rotate(45deg); }
.label { position: absolute; width: max-content; max-width: min(9rem, 34vw); overflow: hidden;
  display: -webkit-box; -webkit-box-orient: vertical; -webkit-line-clamp: 2;
  pointer-events: none; font: 14px/1.2 Arial, Helvetica, sans-serif; padding: 0 2px;
  background: #f3edd9cc; border-radius: 3px; }
.label.stop, .label.start, .label.finish { font-weight: bold; }
.arrow { pointer-events: none; }
.arrow svg { display: block; }
@media print { .leaflet-control-zoom { display: none; } }
"""
#: Runs when the page is read; MAP and DATA are put in by `_script`.
_SCRIPT: Final = """
document.addEventListener("DOMContentLoaded", function () {
  "use strict";
  var map = MAP, data = DATA;
  function node(tag, name, text) {
    var made = document.createElement(tag);
    if (name) { made.className = name; }
    if (text !== undefined) { made.textContent = text; }
    return made;
  }
  function drawn(tag, traits, parent) {
    var made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.keys(traits).forEach(function (key) { made.setAttribute(key, traits[key]); });
    if (parent) { parent.appendChild(made); }
    return made;
  }
  function find(path) { return document.querySelector(path); }

  find("#heading h1").textContent = data.title;
  find("#heading p").textContent = data.facts;
  data.cautions.forEach(function (words) {
    find("#cautions ul").appendChild(node("li", "", words));
  });
  var cautions = find("#cautions");
  cautions.open = window.matchMedia("(min-width: 56rem)").matches;
  window.addEventListener("beforeprint", function () { cautions.open = true; });

  var key = find("#key ul");
  function explain(sign, words) {
    var row = node("li");
    row.appendChild(sign);
    row.appendChild(node("span", "", words));
    key.appendChild(row);
  }
  var roads = [];
  function line(lines, colour, width, dash) {
    roads.push({lines: lines, shape: L.polyline(lines, {
      color: colour, weight: width, dashArray: dash, opacity: 1, lineCap: "butt",
      lineJoin: "round", interactive: false
    }).addTo(map)});
  }
  // The lines moved to the right of the way driven.
  function beside(lines) {
    return lines.map(function (points) {
      var spots = points.map(function (at) { return map.project(at); });
      spots = spots.filter(function (p, i) {
        return i % (spots.length - 1) === 0 || p.distanceTo(spots[i - 1]) > 2;
      });
      return spots.map(function (p, i) {
        var way = (spots[i + 1] || p).subtract(spots[i - 1] || p);
        var size = Math.hypot(way.x, way.y) || 1;
        return map.unproject(p.add([-6 * way.y / size, 6 * way.x / size]));
      });
    });
  }
  line(data.classes.map(function (c) { return c.lines; }).flat(), "#fffdf5", 14, "");
  data.classes.slice().sort(function (a, b) { return a.width - b.width; }).forEach(function (c) {
    line(c.lines, c.colour, c.width, c.dash);
  });
  data.classes.forEach(function (c) {
    var sign = drawn("svg", {viewBox: "0 0 54 22", "aria-hidden": "true"});
    drawn("line", {
      x1: 0, x2: 54, y1: 11, y2: 11, stroke: c.colour, "stroke-width": c.width,
      "stroke-dasharray": c.dash
    }, sign);
    explain(sign, c.words);
  });
  var arrows = data.arrows.map(function (a) {
    var sign = drawn("svg", {viewBox: "0 0 16 16", width: 16, height: 16,
      style: "transform: rotate(" + a[2] + "deg)"});
    drawn("path", {d: "M8 1 L14 14 L8 10 L2 14 Z", fill: "#111", stroke: "#fffdf5",
      "stroke-width": 1.5}, sign);
    return L.marker(a.slice(0, 2), {interactive: false, keyboard: false, icon: L.divIcon({
      html: sign, className: "arrow", iconSize: [16, 16]})}).addTo(map);
  });

  function mark(kind, text) {
    var sign = node("div", "mark");
    sign.appendChild(node("i", kind, text));
    return sign;
  }
  data.signs.forEach(function (s) { explain(mark(s[0], s[1]), s[2]); });
  data.remarks.forEach(function (words) { explain(node("span"), words); });

  function details(item) {
    var page = node("div"), body = node("tbody"), table = node("table");
    page.appendChild(node("h2", "", item.name));
    item.rows.forEach(function (cells) {
      var row = node("tr"), head = node("th", "", cells[0]);
      head.scope = "row";
      row.appendChild(head);
      row.appendChild(node("td", "", cells[1]));
      body.appendChild(row);
    });
    table.appendChild(body);
    page.appendChild(table);
    if (item.remark) { page.appendChild(node("p", "", item.remark)); }
    return page;
  }
  var marks = data.marks.map(function (item, order) {
    var sign = mark(item.kind, item.text), label = node("span", "label " + item.kind, item.name);
    label.setAttribute("aria-hidden", "true");
    sign.appendChild(label);
    var leader = L.polyline([], {color: "#555", weight: 1, interactive: false}).addTo(map);
    var marker = L.marker(item.at, {
      keyboard: true, title: item.title, alt: item.title, riseOnHover: true,
      zIndexOffset: 1000 * (4 - item.level),
      icon: L.divIcon({html: sign, className: "mark", iconSize: [44, 44]})
    }).bindPopup(function () { return details(item); }, {
      minWidth: Math.min(310, map.getSize().x - 46), maxHeight: map.getSize().y - 60,
      maxWidth: Math.min(340, map.getSize().x - 46),
      autoPanPadding: [8, 8]
    }).addTo(map);
    marker.getElement().setAttribute("aria-label", item.title);
    marker.getElement().dataset.order = order;
    return {item: item, marker: marker, label: label, leader: leader};
  });

  function view() {
    var corner = map.containerPointToLayerPoint([0, 0]);
    return L.bounds(corner, corner.add(map.getSize()));
  }
  // Marks that would cover each other move aside and keep a leader to their true place;
  // supplies passed by and landmarks without room wait until the reader looks closer.
  var steps = [[0, 0]], ring, turn;
  for (ring = 20; ring <= 120; ring += 20) {
    for (turn = 0; turn < 2 * Math.PI - 0.1; turn += Math.PI / 8) {
      steps.push([ring * Math.sin(turn), -ring * Math.cos(turn)]);
    }
  }
  function settle(m, taken) {
    var home = map.latLngToLayerPoint(m.item.at), seen = view(), inside = seen.contains(home);
    var minor = m.item.level > 1, tries = minor ? steps.slice(0, 33) : steps;
    var step = tries.find(function (offset) {
      var spot = home.add(offset);
      return (!inside || seen.contains(spot)) && taken.every(function (other) {
        return spot.distanceTo(other.spot) >= Math.max(m.item.radius + other.radius + 2, 25);
      });
    }), spot = home.add(step || [0, 0]), moved = step && step !== steps[0];
    m.shown = Boolean(step) || !minor;
    m.spot = spot;
    m.marker.getElement().style.display = m.shown ? "" : "none";
    m.marker.setLatLng(moved ? map.layerPointToLatLng(spot) : m.item.at);
    m.leader.setLatLngs(moved ? [m.item.at, m.marker.getLatLng()] : []);
    if (m.shown) { taken.push({spot: spot, radius: m.item.radius}); }
  }
  function crosses(a, b) {
    return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  }
  // A name stands beside its mark where it covers least of the road, or not at all.
  function name(m, boxes, road) {
    var w = m.label.offsetWidth, h = m.label.offsetHeight, r = m.item.radius + 3, best = 1e9;
    var seen = view(), found;
    m.label.style.visibility = "hidden";
    [[r, -h / 2], [-r - w, -h / 2], [-w / 2, r], [-w / 2, -r - h],
      [r - 6, r - 6], [-r - w + 6, r - 6], [r - 6, -r - h + 6], [-r - w + 6, -r - h + 6]
    ].forEach(function (side) {
      var x = m.spot.x + side[0], y = m.spot.y + side[1], box = [x, y, x + w, y + h];
      var cost = road.filter(function (p) { return crosses(box, [p.x, p.y, p.x, p.y]); }).length;
      if (cost < best && seen.contains(L.bounds([x, y], [x + w, y + h])) &&
          !boxes.some(function (other) { return crosses(box, other); })) {
        best = cost;
        found = box;
        m.label.style.left = 22 + side[0] + "px";
        m.label.style.top = 22 + side[1] + "px";
        m.label.style.textAlign = side[0] > 0 ? "left" : side[0] < -w ? "right" : "center";
        m.label.style.visibility = "visible";
      }
    });
    if (found) { boxes.push(found); }
  }
  function arrange() {
    var taken = [], road = [], boxes, corner = view().min;
    if (data.twice) {
      roads.forEach(function (r) { r.shape.setLatLngs(beside(r.lines)); });
    }
    data.classes.map(function (c) { return c.lines; }).flat(2).forEach(function (at) {
      var p = map.latLngToLayerPoint(at);
      if (!road.length || p.distanceTo(road[road.length - 1]) > 6) { road.push(p); }
    });
    marks.forEach(function (m) { settle(m, taken); });
    boxes = taken.map(function (t) {
      return [t.spot.x - t.radius, t.spot.y - t.radius, t.spot.x + t.radius, t.spot.y + t.radius];
    });
    boxes.push([corner.x, corner.y, corner.x + 62, corner.y + 106]);
    marks.forEach(function (m) { if (m.shown) { name(m, boxes, road); } });
    arrows.forEach(function (arrow, i) {
      var a = data.arrows[i], aside = data.twice ? 6 : 0, bearing = a[2] * Math.PI / 180;
      var p = map.latLngToLayerPoint(a.slice(0, 2)).add(
        [aside * Math.cos(bearing), aside * Math.sin(bearing)]);
      arrow.setLatLng(map.layerPointToLatLng(p));
      var clear = taken.every(function (t) {
        return p.distanceTo(t.spot) > t.radius + 12;
      });
      arrow.getElement().style.display = clear ? "" : "none";
      if (clear) { taken.push({spot: p, radius: 40}); }
    });
  }
  L.control.scale({metric: data.metric, imperial: !data.metric, maxWidth: 140}).addTo(map);
  map.setMaxZoom(19);
  map.on("popupopen popupclose", function (event) {
    map.getContainer().classList.toggle("reading", event.type === "popupopen");
  });
  map.getContainer().addEventListener("keydown", function (event) {
    if (event.key === "Escape") { map.closePopup(); }
  });
  map.getContainer().setAttribute("role", "region");
  map.getContainer().setAttribute("aria-label", "Map of the road");
  function fit() {
    var corner = L.bounds([0, 0], [80, 124]);
    var room = {padding: [30, 34], animate: false, maxZoom: 16};
    map.fitBounds(data.bounds, room);
    arrange();
    if (marks.some(function (m) {
      return m.item.level < 2 && corner.contains(map.layerPointToContainerPoint(m.spot));
    })) {
      map.fitBounds(data.bounds, {...room, paddingTopLeft: [88, 34]});
      arrange();
    }
  }
  map.on("zoomend resize", arrange);
  map.on("resize", function (event) {
    if (event.newSize.x !== event.oldSize.x) { fit(); }
  });
  fit();
});
"""


def draw_map(scenario: Scenario, route: Route, plan: Plan, system: UnitSystem) -> str:
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

    Returns
    -------
    page
        HTML that needs no other file and no network.

    Raises
    ------
    ValueError
        If the road has no positions.
    """
    if route.line is None:
        raise ValueError("the road has no positions to draw; give it as a GPX track")
    import folium  # noqa: PLC0415  slow to load
    from branca.element import Element, Figure  # noqa: PLC0415

    def put(parent: Element, text: str) -> None:
        """Add text that no template reads."""
        piece: Any = Element("{{ this.text }}")
        piece.text = text
        parent.add_child(piece)

    line = replace(route.line, longitude=np.unwrap(route.line.longitude, period=360.0))
    root = Figure(title=html.escape(plain(plan.title)))
    chart = folium.Map(
        location=line.position(route.length / 2), tiles=None, attribution_control=False,
        zoom_snap=0.25,
    )  # fmt: skip
    # Its own random number would make each page differ; the lists name files elsewhere.
    chart._id = "road"
    chart.default_js = chart.default_css = []
    library, style = _leaflet()
    put(root.header, f"{_POLICY}<style>{style}</style><script>{library}</script>")
    put(root.html, _BODY)
    root.add_child(chart)
    data = _data(scenario, route, line, plan, system)
    script = _SCRIPT.replace("MAP", chart.get_name(), 1).replace("DATA", _embedded(data), 1)
    put(root.script, script)
    put(root.header, f"<style>{_STYLE}</style>")
    page: str = root.render()
    page = re.sub(r",\s*maximum-scale=1.0, user-scalable=no", "", page, count=1)
    return page.replace("<html>", '<html lang="en">', 1)


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


def _data(
    scenario: Scenario, route: Route, line: Line, plan: Plan, system: UnitSystem
) -> dict[str, Any]:
    """Everything the page's script shows."""
    frame = stops_frame(scenario, plan, system)
    marks = [
        *_stop_marks(frame, route, line, plan),
        *_bridge_marks(crossings_frame(scenario, plan, system), line, plan),
        *_supply_marks(scenario, route, line, plan, system),
        *_place_marks(scenario, route, line, system),
    ]
    twice = _driven_twice(line)
    units = [
        getattr(system, kind).label for kind in ("distance", "height", "water", "coal", "mass")
    ]
    return {
        "title": plain(plan.title),
        "facts": f"{plan.date:%A} {plan.date.isoformat()}, leave {frame['leave'].iloc[0]}, "
        f"arrive {frame['arrive'].iloc[-1]}, {system.distance.text(route.length)}. "
        f"Units: {', '.join(units)}.",
        "cautions": CAUTIONS,
        "bounds": [
            [float(line.latitude.min()), float(line.longitude.min())],
            [float(line.latitude.max()), float(line.longitude.max())],
        ],
        "classes": _classes(route, line),
        "arrows": _arrows(route, line),
        "marks": marks,
        "signs": [sign for sign in _SIGNS if sign[0] in {mark["kind"] for mark in marks}],
        "remarks": _remarks(route, twice=twice),
        "twice": twice,
        "metric": system.name == "metric",
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


def _mark(
    kind: str, name: str, at: tuple[float, float], rows: Rows, *, text: str = "", remark: str = ""
) -> dict[str, Any]:
    """One mark and the details it opens; `title` is what a screen reader says."""
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
    labels = {(p.row, p.distance): p.label for p in route.passings if p.kind == "supply"}
    for stop, rows in zip(plan.stops, _cells(frame), strict=True):
        kind = "stop" if stop.kind == "supply" else stop.kind
        text = str(stop.number) if kind == "stop" else kind[0].upper()
        name = stop.name if stop.row is None else labels.get((stop.row, stop.distance), stop.name)
        yield _mark(kind, plain(name), line.position(stop.distance), rows, text=text)


def _bridge_marks(frame: "pd.DataFrame", line: Line, plan: Plan) -> Iterator[dict[str, Any]]:
    for crossing, rows in zip(plan.crossings, _cells(frame), strict=True):
        at = line.position(crossing.distance)
        yield _mark("bridge", plain(crossing.name), at, rows, remark=_BRIDGE_REMARK)


def _supply_marks(
    scenario: Scenario, route: Route, line: Line, plan: Plan, system: UnitSystem
) -> Iterator[dict[str, Any]]:
    """Supplies the plan passes by."""
    used = {(stop.row, round(stop.distance)) for stop in plan.stops}
    for passing in route.passings:
        if passing.kind == "supply" and (passing.row, round(passing.distance)) not in used:
            supply = scenario.supplies[passing.row]
            rows = _offer(supply, passing, scenario.file.currency, system)
            at = line.position(passing.distance)
            yield _mark("supply", plain(passing.label), at, rows, remark="Not stopped at.")


def _place_marks(
    scenario: Scenario, route: Route, line: Line, system: UnitSystem
) -> Iterator[dict[str, Any]]:
    for passing in route.passings:
        if passing.kind == "place":
            note = scenario.places[passing.row].note
            rows = [_distance(passing, system), *([["note", plain(note)]] if note else [])]
            yield _mark("place", plain(passing.label), line.position(passing.distance), rows)


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
