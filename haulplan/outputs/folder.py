"""The chosen way as an ordinary scenario folder, which every other command takes."""

import csv
import io
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from haulplan.outputs.tables import Cell, frame_of, to_csv
from haulplan.outputs.ways import Compared, way_gpx
from haulplan.roads.drive import Driven
from haulplan.scenario.quoting import toml_text
from haulplan.units import parse

__all__ = ["scenario_files"]

#: A litre of water to the minute. [kg s⁻¹]
_A_LITRE: Final = parse("water rate", "1 L/min")


def scenario_files(compared: Compared) -> dict[str, str]:
    """Files of a scenario whose road is the chosen way.

    Parameters
    ----------
    compared
        The ways; the first one is written.

    Returns
    -------
    files
        scenario.toml, route.gpx, heights.csv and the tables, text by file name.
    """
    quest, driven = compared.quest, compared.ways[0].driven
    text = (quest.scenario.folder / "scenario.toml").read_text("utf-8-sig")
    raw = tomllib.loads(text)
    file = quest.scenario.file
    kept = {k: v for k, v in raw.get("route", {}).items() if k in {"snap", "longest_gap"}}
    raw |= {
        "aim": file.aim.model_dump(exclude_none=True),
        "title": file.title, "start": file.start, "finish": file.finish, "units": file.units,
        "route": kept | {"file": "route.gpx", "grades": "heights.csv", "surface": "asphalt"},
    }  # fmt: skip
    road = driven.scenario
    places = [p.night for p in road.places] + [
        road.supplies[p.row].night for p in driven.route.passings if p.kind == "supply"
    ]
    if "yes" not in places:  # none on this way can be spent
        raw.pop("nights", None)
    files = {
        "scenario.toml": f"# Chosen by haulplan ways from {quest.network.name}\n{_toml(raw)}",
        "route.gpx": way_gpx(compared),
        "heights.csv": _heights(driven),
        "surfaces.csv": _surfaces(driven),
    }
    if driven.scenario.bridges:
        files["bridges.csv"] = _bridges(driven)
    for name, kind, rows, met in (
        ("supply.csv", "supply", quest.scenario.supplies, road.supplies),
        ("places.csv", "place", quest.scenario.places, road.places),
        ("crossings.csv", "crossing", quest.scenario.level_crossings, road.level_crossings),
    ):
        if table := _met(quest.scenario.folder / name, driven, kind, rows, met):
            files[name] = table
    if quest.scenario.stores:
        files["stores.csv"] = (quest.scenario.folder / "stores.csv").read_text("utf-8-sig")
    return files


def _toml(raw: Mapping[str, Any]) -> str:
    """Keys and values as TOML, sections inline."""
    return "".join(f"{toml_text(key)} = {_value(value)}\n" for key, value in raw.items())


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_text(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, str):
        return toml_text(value)
    return str(value)


def _heights(driven: Driven) -> str:
    route = driven.route
    rows: list[dict[str, Cell]] = [
        {"distance [m]": round(at, 4), "elevation [m]": round(height, 3)}
        for at, height in zip(route.distance.tolist(), route.elevation.tolist(), strict=True)
    ]
    return to_csv(frame_of(rows))


def _surfaces(driven: Driven) -> str:
    rows: list[dict[str, Cell]] = [
        {
            "from [m]": round(row.begin, 3),
            "to [m]": round(row.end, 3),
            "surface": row.surface or "",
            "speed_limit [km/h]": ""
            if row.speed_limit is None
            else round(row.speed_limit * 3.6, 3),
        }
        for row in driven.scenario.surfaces
    ]
    return to_csv(frame_of(rows))


def _bridges(driven: Driven) -> str:
    rows: list[dict[str, Cell]] = [
        {
            "name": row.name,
            "at [m]": round(row.at or 0.0, 3),
            "limit [kg]": round(row.limit, 3),
            "kind": row.kind,
            "uncouple [s]": "" if row.uncouple is None else round(row.uncouple, 3),
            "drain [L/min]": "" if row.drain is None else round(row.drain / _A_LITRE, 3),
            "last_confirmed": "" if row.last_confirmed is None else str(row.last_confirmed),
            "note": row.note or "",
        }
        for row in driven.scenario.bridges
    ]
    return to_csv(frame_of(rows))


def _met(
    path: Path, driven: Driven, kind: str, every: Sequence[object], beside: Sequence[object]
) -> str:
    """The rows of a table that the way passes, put on it by distance."""
    route = driven.route
    met = {
        every.index(beside[p.row]): p
        for p in (*route.passings, *route.level_crossings)
        if p.kind == kind
    }
    text = path.read_text("utf-8-sig") if met else ""
    lines = [row for row in csv.reader(io.StringIO(text, newline="")) if any(map(str.strip, row))]
    if len(lines) != len(every) + 1:
        return ""
    placed = [_column(cell) in {"latitude", "longitude"} for cell in lines[0]]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*(c for c in lines[0] if _column(c) != "at"), "at [m]"])
    for row, cells in enumerate(lines[1:]):
        if (passing := met.get(row)) is None:
            continue
        once = passing.of == 1
        writer.writerow(
            [
                *_kept(cells, lines[0], placed, once=once),
                f"{passing.distance:.3f}" if once else "",
            ]
        )
    return out.getvalue() if met else ""


def _column(cell: str) -> str:
    return cell.partition("[")[0].strip().casefold().replace(" ", "_")


def _kept(
    cells: Sequence[str], header: Sequence[str], placed: Sequence[bool], *, once: bool
) -> list[str]:
    """Cells of a row; its position gives way to the distance where it is met once."""
    return [
        "" if is_position and once else cell
        for cell, name, is_position in zip(cells, header, placed, strict=True)
        if _column(name) != "at"
    ]
