"""Small scenario folders to test with; every name and figure in them is invented."""

import copy
import datetime as dt
import json
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

Toml = dict[str, Any]
Write = Callable[..., Path]

#: A steam scenario; the road of `road_csv` is its route.csv.
_STEAM: Toml = {
    "title": "Two mills",
    "start": "Upper mill",
    "finish": "Lower mill",
    "date": dt.date(2027, 6, 5),
    "depart": "07:00",
    "units": "metric",
    "currency": "USD",
    "aim": {"first": "earliest"},
    "stores": {"tank": "1200 L", "bunker": "500 kg"},
    "at_start": {"water": "full", "coal": "300 kg"},
    "at_finish": {"water": "200 L", "coal": "60 kg"},
    "reserve": {"water": "150 L", "coal": "40 kg"},
    "route": {"file": "route.csv", "surface": "macadam"},
    "engine": {
        "name": "Grey Heron",
        "weight": "12 t",
        "weight_on_drivers": "8 t",
        "pressure": "10 bar",
        "cylinders": 2,
        "bore": "17 cm",
        "stroke": "26 cm",
        "wheel_diameter": "1.9 m",
        "tyre": "rubber",
        "grate_area": "0.7 m2",
        "heating_surface": "14 m2",
        "boiler_water": "900 L",
        "boiler_metal": "4 t",
        "gears": [
            {"name": "low", "ratio": 18.0, "speed": "3 km/h"},
            {"name": "high", "ratio": 9.0, "speed": "7 km/h"},
        ],
    },
    "fuel": {"name": "Lump", "heating_value": "30 MJ/kg"},
    "train": {
        "wagons": [{"name": "Van", "tare": "3 t", "load": "1 t", "tyre": "rubber", "count": 2}]
    },
}

#: A scenario with measured use: nothing but stores, levels and an aim.
_MEASURED: Toml = {
    key: _STEAM[key]
    for key in ("title", "start", "finish", "date", "depart", "units", "currency", "aim")
} | {
    "stores": {"tank": "400 kg", "bunker": "100 kg"},
    "at_start": {"water": "full", "coal": "full"},
    "at_finish": {"water": "50 kg", "coal": "10 kg"},
    "reserve": {"water": "40 kg", "coal": "5 kg"},
    "train": {"dry_weight": "20 t"},
}


def _inline(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_inline(item) for item in value) + "]"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, float):
        return {math.inf: "inf", -math.inf: "-inf"}.get(value, repr(value))
    return value.isoformat() if isinstance(value, (dt.date, dt.time)) else str(value)


def _quoted(text: str) -> str:
    letters = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if " " <= c <= "~" else f"\\U{ord(c):08X}" for c in letters) + '"'


@pytest.fixture
def toml_text() -> Callable[[Toml], str]:
    """Writes keys and values as TOML."""

    def write(toml: Toml) -> str:
        return "".join(f"{key} = {_inline(value)}\n" for key, value in toml.items())

    return write


@pytest.fixture
def steam() -> Toml:
    """The keys of a steam scenario, to be changed at will."""
    return copy.deepcopy(_STEAM)


@pytest.fixture
def measured() -> Toml:
    """The keys of a scenario with measured use, to be changed at will."""
    return copy.deepcopy(_MEASURED)


@pytest.fixture
def road_csv() -> str:
    """A road of 12 km over a hill of 5 %."""
    return "distance [km],elevation [m]\n0,100\n4,120\n5,170\n6,170\n7,120\n12,110\n"


@pytest.fixture
def write(tmp_path: Path, toml_text: Callable[[Toml], str]) -> Write:
    """Writes a scenario folder from its keys (or text) and its tables by file name."""

    def make(
        toml: Toml | str | bytes,
        tables: Mapping[str, str | bytes] | None = None,
        *,
        name: str = "scenario",
    ) -> Path:
        folder = tmp_path / name
        folder.mkdir(parents=True, exist_ok=True)
        text = toml_text(toml) if isinstance(toml, dict) else toml
        for file, content in {"scenario.toml": text, **(tables or {})}.items():
            data = content.encode() if isinstance(content, str) else content
            (folder / file).write_bytes(data)
        return folder

    return make


@pytest.fixture
def gpx_text() -> Callable[..., str]:
    """Writes GPX 1.1 from pieces of (latitude, longitude, elevation or None)."""

    def write(*pieces: Sequence[tuple[float, float, float | None]], name: str = "road") -> str:
        def point(latitude: float, longitude: float, elevation: float | None) -> str:
            height = "" if elevation is None else f"<ele>{float(elevation)!r}</ele>"
            return f'<trkpt lat="{float(latitude)!r}" lon="{float(longitude)!r}">{height}</trkpt>'

        segments = "".join(
            "<trkseg>" + "".join(point(*p) for p in piece) + "</trkseg>" for piece in pieces
        )
        return (
            '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
            f"<trk><name>{name}</name>{segments}</trk></gpx>"
        )

    return write
