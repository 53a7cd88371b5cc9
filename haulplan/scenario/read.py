"""Read one scenario folder; report everything wrong with it at once."""

import csv
import io
import re
import stat
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from haulplan.errors import InputError, Problem
from haulplan.scenario import schema
from haulplan.scenario.agreement import check_tables
from haulplan.scenario.checks import check_together
from haulplan.scenario.classes import fill_from_kinds
from haulplan.scenario.wording import COLUMN_NAMES, short, suggest, validate

__all__ = ["Scenario", "read_road_table", "read_scenario"]

#: Larger files are refused: a day's road run is far below this. [bytes]
MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 200_000

Row = TypeVar("Row", bound=BaseModel)

_TABLES: Mapping[str, type[BaseModel]] = {
    "supply.csv": schema.Supply,
    "bridges.csv": schema.Bridge,
    "places.csv": schema.Place,
    "crossings.csv": schema.LevelCrossing,
    "stores.csv": schema.Store,
    "surfaces.csv": schema.SurfaceRow,
    "demand.csv": schema.DemandRow,
}
#: A time of day as people write it, which TOML wants in quotes or with its seconds.
_BARE_CLOCK = re.compile(r"^\s*(\w+)\s*=\s*(\d\d?:\d\d)\s*(?:#.*)?$", re.MULTILINE | re.ASCII)
_ALIASES = {column: field for field, column in COLUMN_NAMES.items()}


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One scenario folder, read and checked; figures in SI.

    `filled` holds what was taken from an engine class or a named fuel, as text by key.
    """

    folder: Path
    file: schema.ScenarioFile
    supplies: tuple[schema.Supply, ...]
    bridges: tuple[schema.Bridge, ...]
    places: tuple[schema.Place, ...]
    level_crossings: tuple[schema.LevelCrossing, ...] = ()
    stores: tuple[schema.Store, ...]
    surfaces: tuple[schema.SurfaceRow, ...]
    demand: tuple[schema.DemandRow, ...]
    route_file: Path | None
    grades_file: Path | None
    filled: Mapping[str, str]


def read_scenario(folder: Path | str) -> Scenario:
    """Read a scenario folder: scenario.toml, its tables and the names of its road files.

    Parameters
    ----------
    folder
        A folder holding scenario.toml; supply.csv, bridges.csv, places.csv,
        crossings.csv, stores.csv, surfaces.csv and demand.csv beside it are read where present.

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
    raw, filled = fill_from_kinds(raw, problems)
    parsed = validate(schema.ScenarioFile, raw, "scenario.toml", problems, context=None)
    currency = _currency(raw)
    tables = {
        name: _read_table(root / name, model, currency, problems)
        for name, model in _TABLES.items()
        if (root / name).exists()
    }
    if parsed is not None:
        read_cleanly = not problems
        problems += check_together(parsed, root)
        if read_cleanly:  # a row that could not be read is not missed a second time
            problems += check_tables(parsed, tables)
    if problems or parsed is None:
        raise InputError(problems)
    return Scenario(
        folder=root,
        file=parsed,
        supplies=_typed(tables.get("supply.csv", {}), schema.Supply),
        bridges=_typed(tables.get("bridges.csv", {}), schema.Bridge),
        places=_typed(tables.get("places.csv", {}), schema.Place),
        level_crossings=_typed(tables.get("crossings.csv", {}), schema.LevelCrossing),
        stores=_typed(tables.get("stores.csv", {}), schema.Store),
        surfaces=_typed(tables.get("surfaces.csv", {}), schema.SurfaceRow),
        demand=_typed(tables.get("demand.csv", {}), schema.DemandRow),
        route_file=None if parsed.route.file is None else root / parsed.route.file,
        filled=filled,
        grades_file=None if parsed.route.grades is None else root / parsed.route.grades,
    )


def read_road_table(path: Path, problems: list[Problem]) -> tuple[schema.RoadRow, ...]:
    """Read a route.csv or grades table.

    Parameters
    ----------
    path
        The file.
    problems
        Each thing wrong is added.

    Returns
    -------
    rows
        In the order of their distance.
    """
    before = len(problems)
    table = _read_table(path, schema.RoadRow, "USD", problems)
    rows = _typed(table, schema.RoadRow)
    if len(problems) > before:
        return rows
    for number, (row, after) in zip(list(table)[1:], pairwise(rows), strict=True):
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


def _currency(raw: Mapping[str, Any]) -> str | None:
    """The scenario's currency, None where it is not written as one."""
    given = raw.get("currency", "USD")
    return given if isinstance(given, str) and re.fullmatch("[A-Z]{3}", given) else None


def _typed(table: Mapping[int, BaseModel], model: type[Row]) -> tuple[Row, ...]:
    return tuple(row for row in table.values() if isinstance(row, model))


def _read_text(path: Path, problems: list[Problem]) -> str | None:
    """The file's text, or None with a problem noted."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise ValueError("not a plain file")
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
    except RecursionError:
        found, remedy = "brackets within brackets too deep", "mend the file"
    except ValueError as error:
        found = f"not TOML: {short(str(error), 120)}"
        remedy = "mend the file there; strings need quotes, sections [brackets]"
        if clock := _BARE_CLOCK.search(text):
            remedy = f"""write {clock[1]} = "{clock[2]}", in quotes, or {clock[2]}:00"""
    problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
    return {}


def _read_table(
    path: Path, model: type[BaseModel], currency: str | None, problems: list[Problem]
) -> dict[int, BaseModel]:
    """The rows of one CSV table by number, each checked by its model."""
    before = len(problems)
    lines = _read_lines(path, problems)
    header = _read_header(path.name, lines[0], model, problems) if lines else None
    rows: dict[int, BaseModel] = {}
    seen: dict[str, int] = {}
    for number, cells in enumerate(lines[1:] if header else [], start=2):
        raw = _read_cells(path.name, number, header or [], cells, problems)
        if not raw:
            continue
        if (name := raw.get("name")) and seen.setdefault(name, number) != number:
            problems.append(
                Problem(
                    file=path.name,
                    where=f"row {number}, column name",
                    found=f"'{short(name)}' stands in row {seen[name]} too",
                    remedy="give each place a name of its own; a place the route passes twice "
                    "needs one row only",
                )
            )
        row = validate(model, raw, path.name, problems, context={"currency": currency}, row=number)
        if row is not None:
            rows[number] = row
    if not rows and len(problems) == before:
        problems.append(
            Problem(file=path.name, where="", found="no rows", remedy="add rows or remove the file")
        )
    return rows


def _read_lines(path: Path, problems: list[Problem]) -> list[list[str]]:
    """The cells of a CSV file, row by row; none if it cannot be read."""
    text = _read_text(path, problems)
    if text is None:
        return []
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        found, remedy = f"not CSV: {error}", "look for an unclosed quote; commas between cells"
    else:
        if len(lines) <= MAX_ROWS:
            return lines
        found, remedy = f"{len(lines)} rows", f"give at most {MAX_ROWS} rows"
    problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
    return []


def _read_cells(
    file: str,
    number: int,
    header: Sequence[tuple[str, str]],
    cells: Sequence[str],
    problems: list[Problem],
) -> dict[str, str]:
    """The cells that hold something, by field, bare numbers with their column's unit."""
    if not any(cell.strip() for cell in cells):
        return {}
    if len(cells) != len(header):
        problems.append(
            Problem(
                file=file,
                where=f"row {number}",
                found=f"{len(cells)} cells under {len(header)} columns",
                remedy="give one cell for each column; quote cells that hold commas",
            )
        )
        return {}
    return {
        field: f"{cell.strip()} {unit}" if unit and _is_number(cell) else cell.strip()
        for (field, unit), cell in zip(header, cells, strict=True)
        if cell.strip()
    }


def _is_number(cell: str) -> bool:
    number = r"\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*"
    return re.fullmatch(number, cell, re.ASCII) is not None


def _read_header(
    file: str, cells: Sequence[str], model: type[BaseModel], problems: list[Problem]
) -> list[tuple[str, str]] | None:
    """Field and unit of each column ('distance [km]'), or None with the problems noted."""
    header: list[tuple[str, str]] = []
    before = len(problems)
    if len(cells) == 1 and ";" in cells[0]:
        problems.append(
            Problem(
                file=file,
                where="header",
                found="cells separated by semicolons",
                remedy="save it with commas between cells",
            )
        )
        return None
    for cell in cells:
        match = re.fullmatch(r"\s*([^\[\]]*?)\s*(?:\[(.*)\])?\s*", cell)
        name = "" if match is None else match[1].casefold().replace(" ", "_")
        field = _ALIASES.get(name, name)
        if field not in model.model_fields or (name == field and field in COLUMN_NAMES):
            problems.append(
                Problem(
                    file=file,
                    where=f"header, column '{short(cell)}'",
                    found="unknown column",
                    remedy=suggest(name, model),
                )
            )
        elif field in [known for known, _ in header]:
            problems.append(
                Problem(
                    file=file,
                    where=f"header, column '{short(cell)}'",
                    found="the column stands twice",
                    remedy="remove one of them",
                )
            )
        header.append((field, (match[2] or "").strip() if match else ""))
    required = [name for name, field in model.model_fields.items() if field.is_required()]
    missing = [COLUMN_NAMES.get(n, n) for n in required if n not in [f for f, _ in header]]
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
