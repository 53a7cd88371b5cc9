"""Hostile and odd files of many kinds, made here: each with what must become of it.

Also prints them into a folder: python tests/hostile.py FOLDER
"""

import json
import math
import re
import struct
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Case", "cases", "write_case"]

#: Never to be seen in any output: the content of a file that is not the scenario's.
SECRET = "a-line-of-somebody-elses-file"
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_GPX = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
_SUPPLY = "name,kind,at [km],water_available,water_rate\n"

TOML = """
title = "Two mills"
start = "Upper mill"
finish = "Lower mill"
date = 2027-06-05
depart = "07:00"
units = "metric"
stores = {tank = "900 L", bunker = "500 kg"}
at_start = {water = "full", coal = "400 kg"}
at_finish = {water = "100 L", coal = "30 kg"}
reserve = {water = "90 L", coal = "20 kg"}
route = {file = "ROAD"}
fuel = {name = "Lump", heating_value = "30 MJ/kg"}
[engine]
name = "Grey Heron"
weight = "12 t"
weight_on_drivers = "8 t"
pressure = "10 bar"
cylinders = 2
bore = "17 cm"
stroke = "26 cm"
wheel_diameter = "1.9 m"
tyre = "rubber"
grate_area = "0.7 m2"
heating_surface = "14 m2"
boiler_water = "900 L"
boiler_metal = "4 t"
gears = [
  {name = "low", ratio = 18.0, speed = "3 km/h"},
  {name = "high", ratio = 9.0, speed = "7 km/h"},
]
"""
ROAD = "distance [km],elevation [m]\n0,100\n4,120\n5,140\n6,140\n12,110\n"


@dataclass(frozen=True, kw_only=True)
class Case:
    """One file of a scenario that is not as it should be.

    `file` takes the place of the scenario's own of that name; a GPX or any other name
    becomes the road. `wanted` is "refuse", "accept" or "warn"; `said` stands in the
    message or warning.
    """

    name: str
    file: str
    content: bytes
    wanted: str
    said: str = ""


def write_case(case: Case, folder: Path) -> None:
    """Write a whole scenario folder around one odd file."""
    folder.mkdir(parents=True, exist_ok=True)
    tables = ("scenario.toml", "supply.csv", "places.csv", "bridges.csv", "surfaces.csv")
    road = "route.csv" if case.file in tables else case.file
    files = {"scenario.toml": TOML.replace("ROAD", road).encode(), "route.csv": ROAD.encode()}
    for name, content in {**files, case.file: case.content}.items():
        (folder / name).write_bytes(content)


def _points(count: int = 60, *, height: str | None = "") -> str:
    found = []
    for i in range(count):
        metres = f"{200 + 8 * math.sin(i / 12):.1f}" if height == "" else height
        ele = "" if metres is None else f"<ele>{metres}</ele>"
        found.append(
            f'<trkpt lat="{55.5 + i * 5e-4:.6f}" lon="{-2.6 + i * 3e-4:.6f}">{ele}</trkpt>'
        )
    return "".join(found)


def _track(points: str, *, name: str = "t", root: str = _GPX, head: str = _HEAD) -> str:
    return f"{head}{root}<trk><name>{name}</name><trkseg>{points}</trkseg></trk></gpx>"


def _gpx(name: str, text: str | bytes, wanted: str, said: str = "") -> Case:
    content = text if isinstance(text, bytes) else text.encode()
    return Case(name=name, file="road.gpx", content=content, wanted=wanted, said=said)


def _at(point: int, old: str, new: str) -> str:
    parts = _points().split("<trkpt")
    parts[point] = parts[point].replace(old, new, 1)
    return _track("<trkpt".join(parts))


def _gpx_structure() -> Iterator[Case]:
    points = _points()
    laughs = '<!ENTITY a0 "ha">' + "".join(
        f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)
    )
    kind = "declares a document type or entities"
    for name, doctype in (
        ("billion laughs", f"<!DOCTYPE gpx [{laughs}]>"),
        ("quadratic blow-up", f'<!DOCTYPE gpx [<!ENTITY x "{"h" * 50_000}">]>'),
        ("external entity, file", '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///SECRET">]>'),
        ("external entity, network", '<!DOCTYPE gpx [<!ENTITY x SYSTEM "http://x.invalid/a">]>'),
        ("parameter entity", '<!DOCTYPE gpx [<!ENTITY % p SYSTEM "http://x.invalid/a.dtd"> %p;]>'),
        ("external document type", '<!DOCTYPE gpx SYSTEM "http://x.invalid/gpx.dtd">'),
        ("empty document type", "<!DOCTYPE gpx>"),
    ):
        body = points.replace("<ele>", "<ele>&x;", 1) if "ENTITY x" in doctype else points
        yield _gpx(name, _track(body, head=_HEAD + doctype), "refuse", kind)
    include = (
        '<extensions><i:include xmlns:i="http://www.w3.org/2001/XInclude" '
        'href="file:///SECRET" parse="text"/></extensions>'
    )
    yield _gpx("XInclude", _track(points).replace("</trk>", include + "</trk>"), "accept")
    yield _gpx("truncated", _track(points)[:-6], "refuse", "not well-formed XML")
    yield _gpx("truncated in a tag", _track(points)[:900], "refuse", "not well-formed XML")
    kml = _HEAD + '<kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>'
    yield _gpx("wrong root", kml, "refuse", "'kml', not 'gpx'")
    yield _gpx("empty", b"", "refuse", "not well-formed XML")
    yield _gpx("white space", " \n\t\n", "refuse", "not well-formed XML")
    yield _gpx("trailing garbage", _track(points) + "x", "refuse", "not well-formed XML")
    yield _gpx("two roots", _track(points) * 2, "refuse", "not well-formed XML")
    twice = _track(points).replace('lat="55.5', 'lat="1" lat="55.5', 1)
    yield _gpx("duplicate attribute", twice, "refuse", "duplicate attribute")
    deep = "<a>" * 100_000 + "</a>" * 100_000
    yield _gpx("deep", _track(points).replace("</trk>", deep + "</trk>"), "refuse", "elements deep")
    many = "<a/>" * 3_100_000
    yield _gpx(
        "a great many elements", _track(points).replace("</trk>", many), "refuse", "elements"
    )
    names = "".join(f"<n{i}/>" for i in range(2000))
    yield _gpx(
        "a great many names", _track(points).replace("</trk>", names), "refuse", "kinds of element"
    )
    wide = "<a " + " ".join(f'b{i}=""' for i in range(200_000)) + "/>"
    yield _gpx("a huge tag", _track(points).replace("</trk>", wide), "refuse", "no tag in")
    text = "<desc>" + "x" * 2_000_000 + "</desc></trk>"
    yield _gpx("a huge text", _track(points).replace("</trk>", text), "refuse", "no tag in")
    foreign = _track(points, root=_GPX.replace("topografix.com/GPX/1/1", "example.com/other"))
    yield _gpx("foreign namespace", foreign, "warn", "foreign namespace")
    bound = _track(points, root=_GPX.replace("xmlns=", "xmlns:g="))
    yield _gpx("no namespace", bound, "accept")


def _gpx_encodings() -> Iterator[Case]:
    text = _track(_points())
    yield _gpx("UTF-16", text.replace("UTF-8", "UTF-16").encode("utf-16"), "accept")
    yield _gpx("UTF-16 undeclared", text.encode("utf-16-le"), "refuse", "not well-formed XML")
    yield _gpx("UTF-8 with a mark", b"\xef\xbb\xbf" + text.encode(), "accept")
    for encoding in ("utf-7", "no-such", "base64", "idna", "unicode_escape", "../x"):
        odd = text.replace("UTF-8", encoding)
        yield _gpx(f"{encoding} declared", odd, "refuse", "" if "/" in encoding else "encoding '")
    latin = text.replace("UTF-8", "ISO-8859-1").replace(">t<", ">H\u00f6he<").encode("latin-1")
    yield _gpx("ISO-8859-1", latin, "accept")
    yield _gpx("bytes not of UTF-8", text.encode().replace(b">t<", b">\xff<"), "refuse", "not well")
    yield _gpx("NUL bytes", text.replace("<trkseg>", "<trkseg>\0"), "refuse", "not well-formed")
    png = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + zlib.compress(b"\0" * 99)
    yield _gpx("picture", png, "refuse", "not well-formed XML")
    yield _gpx("gzip", b"\x1f\x8b" + zlib.compress(text.encode()), "refuse", "gzip")
    yield _gpx("zip", b"PK\3\4" + text.encode(), "refuse", "not well-formed XML")


def _gpx_numbers() -> Iterator[Case]:
    for name, old, new in (
        ("NaN latitude", 'lat="55.5', 'lat="NaN" a="'),
        ("infinite longitude", 'lon="-2.5', 'lon="-Infinity" a="'),
        ("longitude 181", 'lon="-2.5', 'lon="181.5" a="'),
        ("latitude 90.1", 'lat="55.5', 'lat="90.1" a="'),
        ("no latitude", 'lat="55.5', 'a="'),
        ("empty latitude", 'lat="55.5', 'lat="" a="'),
        ("decimal comma", 'lat="55.5', 'lat="55,5'),
        ("underscore", 'lat="55.5', 'lat="5_5.5'),
        ("hexadecimal", 'lat="55.5', 'lat="0x37" a="'),
        ("digits of other scripts", 'lat="55.5', 'lat="\u0665\u0665.5'),
        ("infinite height", "<ele>", "<ele>Infinity"),
        ("NaN height", "<ele>", "<ele>nan"),
        ("huge height", "</ele>", "e400</ele>"),
        ("word for a height", "<ele>", "<ele>high"),
    ):
        yield _gpx(name, _at(30, old, new), "refuse", "point 30, ")
    yield _gpx("one point", _track(_points(1)), "refuse", "fewer than two points")
    same = _points(2).split("<trkpt")[1]
    yield _gpx("all the same point", _track(f"<trkpt{same}" * 50), "refuse", "length 0")
    swapped = _track(_points().replace("lat=", "x=").replace("lon=", "lat=").replace("x=", "lon="))
    yield _gpx("swapped", swapped, "accept")
    yield _gpx("no heights", _track(_points(height=None)), "refuse", "no heights")
    yield _gpx("heights all 0", _track(_points(height="0")), "refuse", "height 0 throughout")
    yield _gpx(
        "heights all alike", _track(_points(height="212")), "warn", "one and the same height"
    )
    some = "<trkpt".join(
        part.partition("<ele>")[0] + "</trkpt>" if 20 < i < 40 else part
        for i, part in enumerate(_points().split("<trkpt"))
    )
    yield _gpx("heights missing", _track(some), "warn", "heights missing over")
    void = "<trkpt".join(
        re.sub(r"<ele>.*?</ele>", "<ele>-32768</ele>", part) if 20 < i < 40 else part
        for i, part in enumerate(_points().split("<trkpt"))
    )
    yield _gpx("voids", _track(void), "warn", "heights missing over")
    cliff = "<trkpt".join(
        part.replace("<ele>2", "<ele>12") if i > 30 else part
        for i, part in enumerate(_points().split("<trkpt"))
    )
    yield _gpx("cliff", _track(cliff), "warn", "heights jump by")
    for name, time in (("the same time throughout", 0), ("time runs backwards", -1)):
        parts = _points().split("</trkpt>")
        timed = "".join(
            f"{p}<time>2020-05-01T10:{(30 + time * i) % 60:02d}:00Z</time></trkpt>"
            for i, p in enumerate(parts[:-1])
        )
        yield _gpx(name, _track(timed), "accept")
    pole = "".join(
        f'<trkpt lat="89.99" lon="{i * 6 - 180}"><ele>{10 + i % 7}</ele></trkpt>' for i in range(60)
    )
    yield _gpx("round the pole", _track(pole), "accept")
    line = "".join(
        f'<trkpt lat="10" lon="{(179.99 + i * 4e-4 + 180) % 360 - 180:.6f}">'
        f"<ele>{50 + i % 9}</ele></trkpt>"
        for i in range(60)
    )
    yield _gpx("over the date line", _track(line), "accept")


def _gpx_names() -> Iterator[Case]:
    for name, given, wanted in (
        ("HTML in a name", "&lt;script&gt;alert(1)&lt;/script&gt;&lt;img onerror=x&gt;", "accept"),
        ("path in a name", "../../../../etc/passwd", "accept"),
        ("reserved name", "CON|?*:&lt;&gt;&quot;/\\nul", "accept"),
        ("tabs, bidi, zero width", "a&#9;b&#10;c\u202ed\u2066e\u200bf", "accept"),
        ("format marks", "%s%n{0.__class__} ${jndi:x} {{7*7}}", "accept"),
        ("terminal escape", "&#27;[31mred", "refuse"),
        ("C1 escape", "&#155;31mred", "accept"),
        ("lone surrogate", "&#xD800;", "refuse"),
        ("very long", "n" * 100_000, "accept"),
    ):
        yield _gpx(name, _track(_points(), name=given), wanted)


def _csv(name: str, rows: str | bytes, wanted: str, said: str = "", head: str = _SUPPLY) -> Case:
    content = rows if isinstance(rows, bytes) else (head + rows).encode()
    name = f"table: {name}"
    return Case(name=name, file="supply.csv", content=content, wanted=wanted, said=said)


def _tables() -> Iterator[Case]:
    good = "A,tap,3,900 L,60 L/min\n"
    yield _csv("a good table", good, "accept")
    yield _csv("header only", "", "refuse", "no rows")
    yield _csv("empty table", b"", "refuse", "no rows")
    for text in ('"1,200 L"', '"12.000,5 L"', "1'200 L", "1_200 L", "1 200 L", "900"):
        yield _csv(f"amount {text}", f"A,tap,3,{text},60 L/min\n", "refuse", "row 2, column water_")
    for text in ("-500 L", "nan L", "inf L", "1e309 L", "NaN", "0x10 L", "\u0665 L", "1e400 gal"):
        yield _csv(f"amount {text}", f"A,tap,3,{text},60 L/min\n", "refuse", "row 2, column water_")
    formulas = "".join(
        f'"{cell}",tap,{i + 1},900 L,60 L/min\n'
        for i, cell in enumerate(
            ('=HYPERLINK(""http://x.invalid"",""a"")', "+1+1", "-2+3|cmd", "@SUM(1)", "\uff1d1")
        )
    )
    yield _csv("formulas", formulas, "accept")
    yield _csv("ragged, short", good + "B,tap\n", "refuse", "row 3")
    yield _csv("ragged, long", good + "B,tap,4,900 L,60 L/min,extra\n", "refuse", "row 3")
    yield _csv("unclosed quote", '"A,tap,3,900 L,60 L/min\n', "refuse", "unclosed quote")
    yield _csv("NUL", good.replace("A", "A\0"), "refuse", "NUL")
    yield _csv("UTF-16", (_SUPPLY + good).encode("utf-16"), "refuse", "not UTF-8")
    yield _csv("Latin-1", (_SUPPLY + good).encode().replace(b"A", b"\xc4"), "refuse", "not UTF-8")
    yield _csv("with a mark", b"\xef\xbb\xbf" + (_SUPPLY + good).encode(), "accept")
    yield _csv("columns missing", "title,y,x\nA,1,2\n", "refuse", "missing column", head="")
    yield _csv("column twice", "A,tap,tap,3\n", "refuse", "twice", head="name,kind,kind,at\n")
    yield _csv("semicolons", "A;tap\n", "refuse", "semicolons", head="name;kind\n")
    yield _csv("a name twice", good * 2, "refuse", "stands in row 2 too")
    yield _csv("escape in a cell", "A\x1b[31m,tap,3,900 L,60 L/min\n", "refuse", "control char")
    yield _csv("many rows", ",\n" * 100_010, "refuse", "rows", head="name,at\n")
    yield _csv("many columns", "", "refuse", "columns", head="," * 5_000_000 + "\n")
    yield _csv("many empty lines", "\n" * 9_000_000, "refuse", "rows")
    yield _csv("a huge cell", f'"{"x" * 3_000_000}",tap,3,900 L,60 L/min\n', "refuse", "not CSV")
    yield _csv("large", b"x" * (17 * 2**20), "refuse", "larger than 16 MiB")
    yield _csv("faults in every row", "A,tap,x,y,z\n" * 50_000, "refuse", "more than 20 faults")
    yield _csv("beyond the road", "A,tap,13,900 L,60 L/min\n", "refuse", "beyond the road's end")


def _settings() -> Iterator[Case]:
    for name, text, said in (
        ("deep arrays", "x = " + "[" * 50_000 + "]" * 50_000, "too deep"),
        ("deep tables", "x = " + "{a = " * 20_000 + "1" + "}" * 20_000, ""),
        ("deep keys", "a." * 50_000 + "b = 1", ""),
        ("long key", "k" * 200_000 + " = 1", ""),
        ("a megabyte", "k" * 1_000_000 + " = 1", "larger than 256 KiB"),
        ("wrong types", 'title = 5\ndepart = nan\nunits = "furlong"\nextra = 1\n', "unknown name"),
        ("a key twice", 'title = "a"\ntitle = "b"\n', "not TOML"),
        ("many keys", "".join(f"k{i} = 1\n" for i in range(20_000)), "more faults"),
        ("huge number", f"cylinders = {'9' * 5000}", ""),
        ("unfinished", 'title = "a', "not TOML"),
        ("control letters", 'title = "a\x1b[31m"', "not TOML"),
        ("YAML", '!!python/object/apply:os.system ["touch SECRET"]', "not TOML"),
        ("empty settings", "", "missing"),
        ("a table for a text", "[title]\na = 1", ""),
    ):
        yield Case(
            name=f"settings: {name}",
            file="scenario.toml",
            content=text.encode(),
            wanted="refuse",
            said=said,
        )
    for name, old, new in (
        ("nan ratio", "ratio = 18.0", "ratio = nan"),
        ("infinite ratio", "ratio = 18.0", "ratio = inf"),
        ("a ratio in quotes", "ratio = 18.0", 'ratio = "18"'),
        ("bare gallons", '"900 L"', '"900 gal"'),
        ("no unit", '"900 L"', '"900"'),
        ("no quotes", '"900 L"', "900"),
        ("a negative tank", '"900 L"', '"-900 L"'),
        ("no day", "2027-06-05", '"2027-02-29"'),
        ("a day and a time", "2027-06-05", "2027-06-05T07:00:00Z"),
        ("road outside", "route.csv", "../route.csv"),
        ("absolute road", "route.csv", "/etc/passwd"),
        ("road of no name", "route.csv", "."),
        ("a very long road", "route.csv", "r" * 190 + ".gpx"),
    ):
        text = TOML.replace("ROAD", "route.csv").replace(old, new, 1)
        yield Case(
            name=f"settings: {name}",
            file="scenario.toml",
            content=text.encode(),
            wanted="refuse",
            said="; ",
        )


def _other_formats() -> Iterator[Case]:
    line = {"type": "LineString", "coordinates": [[-2.6, 55.5, 1], [-2.5, 55.6, 2]]}
    for name, content in (
        ("wrong.geojson", json.dumps({**line, "coordinates": [[357000, 620000]]})),
        ("deep.json", "[" * 200_000),
        ("twice.geojson", '{"type":"LineString","type":"Point"}'),
        ("huge.geojson", '{"coordinates":[' + "9" * 5000 + "]}"),
        ("null.geojson", '{"type": "Feature", "geometry": null}'),
        ("text.geojson", json.dumps({**line, "coordinates": [["-2.6", "55.5"]]})),
        ("garbage.geojson", json.dumps(line) + "x"),
        ("surrogate.geojson", '{"name":"\\ud800"}'),
        ("object.yaml", '!!python/object/apply:os.system ["touch SECRET"]'),
        ("limits.osm", '<osm><way><tag k="maxweight" v="3 t @ (wet)"/></way></osm>'),
        ("huge.osm.pbf", "\x7f\xff\xff\xff"),
        ("grid.asc", "ncols 1000000\nnrows 1000000\n"),
        ("slip.zip", "PK\x03\x04../../x"),
        ("pickle.npz", "PK\x03\x04"),
    ):
        yield Case(
            name=name, file=name, content=content.encode("latin-1"), wanted="refuse",
            said="neither .gpx nor .csv",
        )  # fmt: skip


def cases() -> tuple[Case, ...]:
    """Every case; names are unique."""
    return (
        *_gpx_structure(), *_gpx_encodings(), *_gpx_numbers(), *_gpx_names(), *_tables(),
        *_settings(), *_other_formats(),
    )  # fmt: skip


if __name__ == "__main__":
    for number, case in enumerate(cases()):
        write_case(case, Path(sys.argv[1]) / f"{number:03d}")
