"""Read one scenario folder; report everything wrong with it at once."""

import csv
import difflib
import io
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from haulplan.errors import InputError, Problem
from haulplan.scenario import schema

__all__ = ["Scenario", "read_road_table", "read_scenario"]

#: Larger files are refused: a day's road run is far below this. [bytes]
MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 200_000

Row = TypeVar("Row", bound=BaseModel)

_TABLES: Mapping[str, type[BaseModel]] = {
    "supply.csv": schema.Supply,
    "bridges.csv": schema.Bridge,
    "places.csv": schema.Place,
    "surfaces.csv": schema.SurfaceRow,
    "demand.csv": schema.DemandRow,
}
_ALIASES = {"from": "begin", "to": "end"}
_COLUMN_NAMES = {field: column for column, field in _ALIASES.items()}


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One scenario folder, read and checked; figures in SI."""

    folder: Path
    file: schema.ScenarioFile
    supplies: tuple[schema.Supply, ...]
    bridges: tuple[schema.Bridge, ...]
    places: tuple[schema.Place, ...]
    surfaces: tuple[schema.SurfaceRow, ...]
    demand: tuple[schema.DemandRow, ...]
    route_file: Path | None
    grades_file: Path | None


def read_scenario(folder: Path | str) -> Scenario:
    """Read a scenario folder: scenario.toml, its tables and the names of its road files.

    Parameters
    ----------
    folder
        A folder holding scenario.toml; supply.csv, bridges.csv, places.csv,
        surfaces.csv and demand.csv beside it are read where present.

    Returns
    -------
    scenario
        The checked scenario; every figure in SI.

    Raises
    ------
    InputError
        With every problem found: file, key or row, what was found, what is allowed.

    Examples
    --------
    >>> read_scenario("no/such/folder")
    Traceback (most recent call last):
        ...
    haulplan.errors.InputError: no/such/folder: no such folder; give a folder that holds ...
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(
            [
                Problem(
                    file=str(folder),
                    where="",
                    found="no such folder",
                    remedy="give a folder that holds scenario.toml",
                )
            ]
        )
    problems: list[Problem] = []
    raw = _read_toml(root / "scenario.toml", problems)
    parsed = _validate(schema.ScenarioFile, raw, "scenario.toml", problems, context=None)
    currency = str(raw.get("currency", "USD"))
    tables = {
        name: _read_table(root / name, model, currency, problems) for name, model in _TABLES.items()
    }
    if parsed is not None:
        problems += _cross_check(parsed, tables, root)
    if problems or parsed is None:
        raise InputError(problems)
    return Scenario(
        folder=root,
        file=parsed,
        supplies=_typed(tables["supply.csv"], schema.Supply),
        bridges=_typed(tables["bridges.csv"], schema.Bridge),
        places=_typed(tables["places.csv"], schema.Place),
        surfaces=_typed(tables["surfaces.csv"], schema.SurfaceRow),
        demand=_typed(tables["demand.csv"], schema.DemandRow),
        route_file=None if parsed.route.file is None else root / parsed.route.file,
        grades_file=None if parsed.route.grades is None else root / parsed.route.grades,
    )


def read_road_table(path: Path, problems: list[Problem]) -> tuple[schema.RoadRow, ...]:
    """The rows of a route.csv or grades table; problems are added to the list."""
    rows = _typed(_read_table(path, schema.RoadRow, "USD", problems), schema.RoadRow)
    for number, (row, after) in enumerate(pairwise(rows), start=3):
        if after.distance <= row.distance:
            problems.append(
                Problem(
                    file=path.name,
                    where=f"row {number}, column distance",
                    found="the distance does not grow from row to row",
                    remedy="sort the rows by distance and remove repeated ones",
                )
            )
    heights = sum(row.elevation is not None for row in rows)
    grades = sum(row.grade is not None for row in rows)
    if (
        rows
        and not (heights == len(rows) and not grades)
        and not (grades >= len(rows) - 1 and not heights)
    ):
        problems.append(
            Problem(
                file=path.name,
                where="columns elevation and grade",
                found=f"{heights} heights and {grades} grades in {len(rows)} rows",
                remedy="give an elevation in every row, or a grade in every row and no elevation",
            )
        )
    if len(rows) == 1:
        problems.append(
            Problem(file=path.name, where="", found="one row", remedy="give at least two rows")
        )
    return rows


def _typed(rows: Iterable[BaseModel], model: type[Row]) -> tuple[Row, ...]:
    return tuple(row for row in rows if isinstance(row, model))


def _read_text(path: Path, problems: list[Problem]) -> str | None:
    """The file's text, or None with a problem noted."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise ValueError(f"larger than {MAX_BYTES // 2**20} MiB")
        text = path.read_bytes().decode("utf-8-sig")
        if "\0" in text:
            raise ValueError("NUL bytes inside; not a text file")
    except UnicodeDecodeError:
        found, remedy = "not UTF-8 text", "save it as UTF-8"
    except ValueError as error:
        found, remedy = str(error), "give a plain text file of usual size"
    except OSError as error:
        found, remedy = error.strerror or "cannot be read", "put the file there, readable"
    else:
        return text
    problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
    return None


def _read_toml(path: Path, problems: list[Problem]) -> dict[str, Any]:
    text = _read_text(path, problems)
    if text is None:
        return {}
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        problems.append(
            Problem(
                file=path.name,
                where="",
                found=f"not TOML: {_short(str(error))}",
                remedy="mend the file there; strings need quotes, sections [brackets]",
            )
        )
        return {}


def _read_table(
    path: Path, model: type[BaseModel], currency: str, problems: list[Problem]
) -> list[BaseModel]:
    """The rows of one CSV table, each checked by its model."""
    if model is not schema.RoadRow and not path.exists():
        return []
    text = _read_text(path, problems)
    if text is None:
        return []
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        problems.append(
            Problem(
                file=path.name,
                where="",
                found=f"not CSV: {error}",
                remedy="look for an unclosed quote; commas between cells",
            )
        )
        return []
    if len(lines) > MAX_ROWS:
        problems.append(
            Problem(
                file=path.name,
                where="",
                found=f"{len(lines)} rows",
                remedy=f"give at most {MAX_ROWS} rows",
            )
        )
        return []
    header = _read_header(path.name, lines[0] if lines else [], model, problems)
    if header is None:
        return []
    rows = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            problems.append(
                Problem(
                    file=path.name,
                    where=f"row {number}",
                    found=f"{len(cells)} cells under {len(header)} columns",
                    remedy="give one cell for each column; quote cells that hold commas",
                )
            )
            continue
        raw = {
            field: f"{cell.strip()} {unit}" if unit and _is_number(cell) else cell.strip()
            for (field, unit), cell in zip(header, cells, strict=True)
            if cell.strip()
        }
        row = _validate(model, raw, path.name, problems, context={"currency": currency}, row=number)
        if row is not None:
            rows.append(row)
    if not rows and not problems:
        problems.append(
            Problem(file=path.name, where="", found="no rows", remedy="add rows or remove the file")
        )
    return rows


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"\s*[+-]?\d+(\.\d*)?\s*", cell, re.ASCII) is not None


def _read_header(
    file: str, cells: Sequence[str], model: type[BaseModel], problems: list[Problem]
) -> list[tuple[str, str]] | None:
    """Field and unit of each column ('distance [km]'), or None with the problems noted."""
    header: list[tuple[str, str]] = []
    before = len(problems)
    for cell in cells:
        match = re.fullmatch(r"\s*([^\[\]]*?)\s*(?:\[(.*)\])?\s*", cell)
        name = "" if match is None else match[1].casefold().replace(" ", "_")
        field = _ALIASES.get(name, name)
        if field not in model.model_fields or (name == field and field in _COLUMN_NAMES):
            problems.append(
                Problem(
                    file=file,
                    where=f"header, column '{_short(cell)}'",
                    found="unknown column",
                    remedy=_suggest(name, model),
                )
            )
        elif field in [known for known, _ in header]:
            problems.append(
                Problem(
                    file=file,
                    where=f"header, column '{_short(cell)}'",
                    found="the column stands twice",
                    remedy="remove one of them",
                )
            )
        header.append((field, (match[2] or "").strip() if match else ""))
    required = [name for name, field in model.model_fields.items() if field.is_required()]
    missing = [_COLUMN_NAMES.get(n, n) for n in required if n not in [f for f, _ in header]]
    if missing:
        problems.append(
            Problem(
                file=file,
                where="header",
                found=f"missing column {', '.join(missing)}",
                remedy="add it; the first row names the columns",
            )
        )
    return header if len(problems) == before else None


def _names(model: type[BaseModel]) -> list[str]:
    return [_COLUMN_NAMES.get(name, name) for name in model.model_fields]


def _suggest(name: str, model: type[BaseModel]) -> str:
    close = difflib.get_close_matches(name, _names(model), n=1)
    hint = f"did you mean '{close[0]}'? " if close else ""
    return f"{hint}allowed: {', '.join(_names(model))}"


def _validate(
    model: type[Row],
    raw: Mapping[str, Any],
    file: str,
    problems: list[Problem],
    *,
    context: dict[str, str] | None,
    row: int | None = None,
) -> Row | None:
    if not raw and row is None and problems:
        return None
    try:
        return model.model_validate(raw, context=context)
    except ValidationError as error:
        problems += [_explain(item, file, row, model) for item in error.errors()]
        return None


def _explain(item: Any, file: str, row: int | None, model: type[BaseModel]) -> Problem:  # noqa: ANN401  pydantic's error dictionary
    path = [_COLUMN_NAMES.get(str(part), str(part)) for part in item["loc"]]
    named = "".join(
        f"[{int(part) + 1}]" if part.isdigit() else f".{part}" for part in path
    ).removeprefix(".")
    place = named if row is None else f"row {row}" + (f", column {named}" if named else "")
    given = item["input"]
    shown = "" if isinstance(given, (dict, list)) else f"'{_short(str(given))}' "
    kind = item["type"]
    message = item["msg"].removeprefix("Value error, ")
    if kind == "missing":
        found, remedy = "missing", f"give {path[-1]}" + _example(model, item["loc"])
    elif kind == "extra_forbidden":
        owner = _model_at(model, item["loc"][:-1])
        found, remedy = "unknown name", _suggest(path[-1], owner)
    else:
        found = f"{shown}is not allowed" if shown else "not allowed"
        remedy = message[0].lower() + message[1:]
    return Problem(file=file, where=place, found=found, remedy=remedy)


def _model_at(model: type[BaseModel], location: Iterable[Any]) -> type[BaseModel]:
    """The model that holds the key at `location`."""
    for part in location:
        field = model.model_fields.get(str(part))
        if field is None:
            continue
        for candidate in _models_in(field.annotation):
            model = candidate
    return model


def _models_in(annotation: Any) -> list[type[BaseModel]]:  # noqa: ANN401  any annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in getattr(annotation, "__args__", ()) for found in _models_in(part)]


def _example(model: type[BaseModel], location: Sequence[Any]) -> str:
    owner = _model_at(model, location[:-1])
    return f" in [{'.'.join(str(p) for p in location[:-1])}]" if owner is not model else ""


def _short(text: str) -> str:
    """At most 60 printable characters of `text`."""
    clean = "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
    )
    return clean if len(clean) <= 60 else clean[:57] + "..."


def _cross_check(
    file: schema.ScenarioFile, tables: Mapping[str, Sequence[BaseModel]], root: Path
) -> list[Problem]:
    """Problems that no single key or row shows."""
    return [
        *_check_levels(file),
        *_check_unique(tables),
        *_check_files(file, root),
        *_check_model(file, tables),
    ]


def _check_levels(file: schema.ScenarioFile) -> list[Problem]:
    problems = []
    for section in ("at_start", "at_finish", "reserve"):
        levels = getattr(file, section)
        for name, store in (("water", "tank"), ("coal", "bunker")):
            level, room = getattr(levels, name), getattr(file.stores, store)
            if section == "reserve" and math.isinf(level):
                found, remedy = "a full reserve", "give an amount, or 0"
            elif not math.isinf(level) and level > room:
                found, remedy = f"above stores.{store}", "give at most what the store holds"
            elif section != "reserve" and level < getattr(file.reserve, name):
                found, remedy = f"below reserve.{name}", "start and finish at or above the reserve"
            else:
                continue
            problems.append(
                Problem(file="scenario.toml", where=f"{section}.{name}", found=found, remedy=remedy)
            )
    return problems


def _check_unique(tables: Mapping[str, Sequence[BaseModel]]) -> list[Problem]:
    problems = []
    for table in ("supply.csv", "bridges.csv", "places.csv"):
        seen: set[str] = set()
        for row in tables[table]:
            name = str(getattr(row, "name", ""))
            if name in seen:
                problems.append(
                    Problem(
                        file=table,
                        where="column name",
                        found=f"'{_short(name)}' stands in two rows",
                        remedy="give each place a name of its own; a supply the route passes "
                        "twice needs one row only",
                    )
                )
            seen.add(name)
    return problems


def _check_files(file: schema.ScenarioFile, root: Path) -> list[Problem]:
    problems = []
    for key in ("file", "grades"):
        name = getattr(file.route, key)
        if name is None:
            continue
        path = root / name
        if not path.resolve().is_relative_to(root.resolve()):
            found, remedy = "outside the scenario folder", "copy the file into the folder"
        elif not path.is_file():
            found, remedy = f"no file '{_short(name)}'", "put it in the scenario folder"
        elif key == "file" and path.suffix.casefold() not in (".gpx", ".csv"):
            found, remedy = f"'{_short(name)}' is neither .gpx nor .csv", "give a GPX or CSV file"
        else:
            continue
        problems.append(
            Problem(file="scenario.toml", where=f"route.{key}", found=found, remedy=remedy)
        )
    return problems


def _check_model(
    file: schema.ScenarioFile, tables: Mapping[str, Sequence[BaseModel]]
) -> list[Problem]:
    """Either the steam model's inputs or measured use must be there."""
    missing: list[tuple[str, str]] = []
    if tables["demand.csv"]:
        if tables["bridges.csv"] and file.engine is None and file.train.dry_weight is None:
            missing.append(("train.dry_weight", "bridges.csv needs the weight of engine and train"))
    else:
        if file.engine is None:
            missing.append(("engine", "without demand.csv the steam model needs the engine"))
        if file.fuel is None:
            missing.append(("fuel", "without demand.csv the steam model needs the coal"))
        if file.route.file is None:
            missing.append(("route.file", "name the GPX or CSV file of the road"))
    if file.engine is not None and file.train.dry_weight is not None:
        missing.append(("train.dry_weight", "remove it: engine and wagons give the weight"))
    return [
        Problem(file="scenario.toml", where=key, found="missing or at odds", remedy=remedy)
        for key, remedy in missing
    ]
