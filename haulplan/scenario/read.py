"""Read one scenario folder; report everything wrong with it at once."""

import csv
import io
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice, pairwise
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from haulplan.errors import InputError, Problem
from haulplan.scenario import schema
from haulplan.scenario.agreement import check_tables
from haulplan.scenario.altered import Alteration, alter
from haulplan.scenario.bounds import bounds
from haulplan.scenario.checks import check_together
from haulplan.scenario.classes import fill_from_kinds
from haulplan.scenario.files import folder_fault, read_bytes
from haulplan.scenario.wording import COLUMN_NAMES, short, suggest, toml_fault, validate

__all__ = [
    "Scenario",
    "read_road_table",
    "read_rows",
    "read_scenario",
    "read_table",
    "read_toml",
    "read_toml_text",
]

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
#: Full stops in one line of scenario.toml.
_MOST_POINTS = 1000
_BETWEEN = {";": "semicolons", "\t": "tabs"}
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
    demand_back: tuple[schema.DemandRow, ...] = ()


def read_scenario(folder: Path | str, alterations: Sequence[Alteration] = ()) -> Scenario:
    """Read a scenario folder: scenario.toml, its tables and the names of its road files.

    Parameters
    ----------
    folder
        A folder holding scenario.toml; supply.csv, bridges.csv, places.csv,
        crossings.csv, stores.csv, surfaces.csv and demand.csv beside it are read where present.
    alterations
        Keys of scenario.toml altered before anything is checked.

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
    if (fault := folder_fault(root, "scenario.toml")) is not None:
        raise InputError([fault])
    problems: list[Problem] = []
    raw = read_toml(root / "scenario.toml", problems)
    raw = alter(raw, alterations, problems) if raw else raw
    raw, filled = fill_from_kinds(raw, problems)
    parsed = validate(schema.ScenarioFile, raw, "scenario.toml", problems, context=None)
    currency = _currency(raw)
    problems += _misspelt(root, raw)
    tables = {
        name: read_table(root / name, model, currency, problems, root=root)
        for name, model in _TABLES.items()
        if os.path.lexists(root / name)
    }
    if parsed is not None:
        read_cleanly = not problems
        problems += check_together(parsed, root)
        if read_cleanly:  # a row that could not be read is not missed a second time
            problems += check_tables(parsed, tables)
    if problems or parsed is None:
        raise InputError(problems)
    measured = _typed(tables.get("demand.csv", {}), schema.DemandRow)
    return Scenario(
        folder=root,
        file=parsed,
        supplies=_typed(tables.get("supply.csv", {}), schema.Supply),
        bridges=_typed(tables.get("bridges.csv", {}), schema.Bridge),
        places=_typed(tables.get("places.csv", {}), schema.Place),
        level_crossings=_typed(tables.get("crossings.csv", {}), schema.LevelCrossing),
        stores=_typed(tables.get("stores.csv", {}), schema.Store),
        surfaces=_typed(tables.get("surfaces.csv", {}), schema.SurfaceRow),
        demand=tuple(row for row in measured if row.end > row.begin),
        demand_back=tuple(row for row in measured if row.end < row.begin),
        route_file=None if parsed.route.file is None else root / parsed.route.file,
        filled=filled,
        grades_file=None if parsed.route.grades is None else root / parsed.route.grades,
    )


def _misspelt(root: Path, raw: Mapping[str, Any]) -> list[Problem]:
    """Tables that would not be read for a slip in their names."""
    route = raw.get("route")
    named = set(map(str, route.values())) if isinstance(route, dict) else set()
    there = {path.name for path in root.iterdir()}
    problems = []
    for name in sorted(there - named - set(_TABLES)):
        near = get_close_matches(name.casefold(), list(_TABLES), n=1, cutoff=0.88)
        if near and near[0] not in there:
            remedy = f"did you mean '{near[0]}'? rename it, or take it out of the folder"
            problems.append(
                Problem(file=short(name), where="", found="no table of that name", remedy=remedy)
            )
    return problems


def read_rows(path: Path, model: type[Row], problems: list[Problem]) -> dict[int, Row]:
    """Read any table of rows.

    Parameters
    ----------
    path
        A CSV file whose header names the model's fields.
    model
        What each row is.
    problems
        Each thing wrong is added.

    Returns
    -------
    rows
        By number in the file, the header being row 1.
    """
    table = read_table(path, model, "USD", problems)
    return {number: row for number, row in table.items() if isinstance(row, model)}


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
    table = read_table(path, schema.RoadRow, "USD", problems)
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


def read_toml_text(path: Path, problems: list[Problem]) -> tuple[str, dict[str, Any]]:
    """Read one TOML file.

    Parameters
    ----------
    path
        The file.
    problems
        Each thing wrong is added.

    Returns
    -------
    text, keys
        As it stands, and as read; empty where anything is wrong.
    """
    before = len(problems)
    raw = read_toml(path, problems)
    text = (
        _read_text(path, path.parent, bounds().toml_bytes, problems)
        if len(problems) == before
        else None
    )
    return text or "", raw


def _currency(raw: Mapping[str, Any]) -> str | None:
    """The scenario's currency, None where it is not written as one."""
    given = raw.get("currency", "USD")
    return given if isinstance(given, str) and re.fullmatch("[A-Z]{3}", given) else None


def _typed(table: Mapping[int, BaseModel], model: type[Row]) -> tuple[Row, ...]:
    return tuple(row for row in table.values() if isinstance(row, model))


def _read_text(path: Path, root: Path | None, most: int, problems: list[Problem]) -> str | None:
    """The file's text, or None with a problem noted."""
    try:
        text = read_bytes(path, root, most).decode("utf-8-sig")
    except UnicodeDecodeError:
        found, remedy = "not UTF-8 text", "save it as UTF-8"
    except InputError as error:
        problems += error.problems
        return None
    else:
        if "\0" not in text:
            return text
        found, remedy = "NUL bytes inside; not a text file", "give a plain text file of usual size"
    problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
    return None


def read_toml(path: Path, problems: list[Problem]) -> dict[str, Any]:
    """The keys of a TOML file.

    Parameters
    ----------
    path
        The file.
    problems
        Each thing wrong is added.

    Returns
    -------
    keys
        None at all where the file cannot be read.
    """
    text = _read_text(path, path.parent, bounds().toml_bytes, problems)
    if text is None:
        return {}
    try:
        # the time tomllib takes grows with the square of the parts of a dotted key
        if max((line.count(".") for line in text.splitlines()), default=0) > _MOST_POINTS:
            raise RecursionError
        return tomllib.loads(text)
    except RecursionError:
        found, remedy = "brackets or dotted keys too deep", "mend the file"
    except ValueError as error:
        found, remedy = toml_fault(error, text)
        if clock := _BARE_CLOCK.search(text):
            remedy = f"""write {clock[1]} = "{clock[2]}", in quotes, or {clock[2]}:00"""
    problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
    return {}


def read_table(
    path: Path,
    model: type[BaseModel],
    currency: str | None,
    problems: list[Problem],
    *,
    root: Path | None = None,
) -> dict[int, BaseModel]:
    """The rows of one CSV table by number, each checked by its model.

    Parameters
    ----------
    path
        The file.
    model
        What a row should be.
    currency
        That prices must use.
    problems
        Each thing wrong is added.
    root
        A folder the file may not lie outside of.

    Returns
    -------
    rows
        Those that are right.
    """
    before = len(problems)
    lines = _read_lines(path, root, problems)
    header = _read_header(path.name, lines[0], model, problems) if lines else None
    rows: dict[int, BaseModel] = {}
    seen: dict[str, int] = {}
    for number, cells in enumerate(lines[1:] if header else [], start=2):
        if len(problems) - before > bounds().faults:
            problems[before + bounds().faults :] = [_and_more(path.name, f"row {number - 1}")]
            break
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


def _and_more(file: str, where: str) -> Problem:
    return Problem(
        file=file,
        where=where,
        found=f"more than {bounds().faults} faults; not read further",
        remedy="mend those above first",
    )


def _read_lines(path: Path, root: Path | None, problems: list[Problem]) -> list[list[str]]:
    """The cells of a CSV file, row by row; none if it cannot be read."""
    most = bounds()
    text = _read_text(path, root, most.table_bytes, problems)
    if text is None:
        return []
    try:
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        lines = list(islice(reader, most.rows + 2))  # the header and one too many
    except csv.Error as error:
        found, remedy = f"not CSV: {error}", "look for an unclosed quote; commas between cells"
    else:
        widest = len(lines[0]) if lines else 0
        if len(lines) <= most.rows + 1 and widest <= most.columns:
            return lines
        found, remedy = f"more than {most.rows} rows", f"give at most {most.rows}"
        if widest > most.columns:
            found, remedy = f"{widest} columns", f"give at most {most.columns}"
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
    between = next(
        (name for mark, name in _BETWEEN.items() if len(cells) == 1 and mark in cells[0]), ""
    )
    if between:
        problems.append(
            Problem(
                file=file,
                where="header",
                found=f"cells separated by {between}",
                remedy="save it as CSV with commas between cells",
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
                    remedy=suggest(name[:60], model),
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
    if len(problems) - before > bounds().faults:
        problems[before + bounds().faults :] = [_and_more(file, "header")]
    return header if len(problems) == before else None
