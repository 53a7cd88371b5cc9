"""The log of a run: a CSV anybody can keep by hand, read kindly, refused clearly.

One row for each time the crew looked: where, when, what the dip said, what was put on the
fire. Cells may be missing, units may be mixed, the trip meter may start anew and the dip
may rise by a filling; whatever is understood in another way than written is noted.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

from haulplan.errors import InputError, Problem
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.underway.cells import SAME_PLACE, Entry, Reader
from haulplan.units import UNIT_SYSTEMS, UnitSystem

__all__ = ["COLUMNS", "Run", "log_header", "log_template", "read_log", "read_logs"]

#: The columns of a log, in the order a crew fills them in.
COLUMNS: Final = (
    "date", "place", "time", "distance", "dip", "filled to", "bags", "pressure", "crew",
    "weather", "remarks",
)  # fmt: skip
#: Other headings people write; a unit goes with some of them.
_HEADINGS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {name: (name, "") for name in COLUMNS}
    | {
        "day": ("date", ""), "where": ("place", ""), "stop": ("place", ""),
        "clock": ("time", ""), "miles": ("distance", "mi"), "mile": ("distance", "mi"),
        "mi": ("distance", "mi"), "km": ("distance", "km"), "tank": ("dip", ""),
        "water": ("dip", ""), "level": ("dip", ""), "filled": ("filled to", ""),
        "after filling": ("filled to", ""), "coal": ("bags", ""), "bag": ("bags", ""),
        "psi": ("pressure", "psi"), "driver": ("crew", ""), "notes": ("remarks", ""),
        "note": ("remarks", ""), "remark": ("remarks", ""),
    }
)  # fmt: skip
_MOST_BYTES: Final = 4 * 1024 * 1024
_MOST_ROWS: Final = 20_000


@dataclass(frozen=True, kw_only=True)
class Run:
    """One day's rows, and notes on what was understood otherwise than written."""

    name: str
    crew: str
    weather: str
    entries: tuple[Entry, ...]
    notes: tuple[str, ...]


def read_log(path: Path, scenario: Scenario, route: Route) -> tuple[Run, ...]:
    """Read one log file.

    Parameters
    ----------
    path
        CSV with a header row; commas, semicolons or tabs.
    scenario, route
        The run it was kept on: its places, its tank.

    Returns
    -------
    runs
        One for each date in it.

    Raises
    ------
    InputError
        With every cell that cannot be understood.
    """
    problems: list[Problem] = []
    rows = _lines(path, problems)
    header = _header(path.name, rows[0][1], problems) if rows else []
    reader = Reader(path.name, scenario, route, problems)
    entries = [
        entry
        for number, cells in rows[1:]
        if (entry := reader.entry(number, _named(header, cells))) is not None
    ]
    if not problems and not entries:
        problems.append(
            Problem(
                file=path.name, where="", found="no rows with a reading",
                remedy=f"give rows under the columns {', '.join(COLUMNS)}",
            )
        )  # fmt: skip
    if problems:
        raise InputError(problems)
    dates = list(dict.fromkeys(entry.date for entry in entries))
    several = len(dates) > 1
    return tuple(
        _run(
            f"{path.stem} {date}" if several else path.stem,
            [entry for entry in entries if entry.date == date],
            reader.notes if date == dates[0] else [],
        )
        for date in dates
    )


def read_logs(paths: Sequence[Path], scenario: Scenario, route: Route) -> tuple[Run, ...]:
    """Read log files of one road.

    Parameters
    ----------
    paths
        The files.
    scenario, route
        The run they were kept on.

    Returns
    -------
    runs
        Each with a name of its own.

    Raises
    ------
    InputError
        With every cell of every file that cannot be understood.
    """
    problems: list[Problem] = []
    runs: list[Run] = []
    for number, path in enumerate(paths, start=1):
        try:
            found = read_log(path, scenario, route)
        except InputError as error:
            problems += error.problems
            continue
        taken = {run.name for run in runs}
        runs += [replace(r, name=f"{r.name} ({number})") if r.name in taken else r for r in found]
    if problems:
        raise InputError(problems)
    return tuple(runs)


def _lines(path: Path, problems: list[Problem]) -> list[tuple[int, list[str]]]:
    """Rows that hold something with their numbers, the header first."""
    try:
        data = path.read_bytes()
    except OSError as error:
        found = f"cannot be read ({error.strerror or error})"
        problems.append(Problem(file=str(path), where="", found=found, remedy="give a log file"))
        return []
    if len(data) > _MOST_BYTES or b"\0" in data:
        problems.append(
            Problem(file=path.name, where="", found="not a log", remedy="give a CSV text file")
        )
        return []
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    head = next((line for line in text.splitlines() if line.strip(" ,;\t")), "")
    mark = max(",;\t", key=head.count)
    try:
        cells = list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))
    except csv.Error as error:
        problems.append(
            Problem(
                file=path.name, where="", found=f"not CSV: {error}",
                remedy="look for an unclosed quote",
            )
        )  # fmt: skip
        return []
    rows = [
        (number, row)
        for number, row in enumerate(cells, start=1)
        if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]
    if not rows or len(rows) > _MOST_ROWS:
        found = "no rows" if not rows else f"{len(rows)} rows"
        remedy = f"give a header row and at most {_MOST_ROWS} rows"
        problems.append(Problem(file=path.name, where="", found=found, remedy=remedy))
        return []
    return rows


def _header(file: str, cells: Sequence[str], problems: list[Problem]) -> list[tuple[str, str]]:
    """Column and unit of each heading; a heading we do not use is left alone."""
    header = []
    for cell in cells:
        match = re.fullmatch(r"\s*([^\[\](]*?)\s*(?:[\[(](.*)[\])])?\s*", cell)
        name, unit = ("", "") if match is None else (match[1].casefold(), (match[2] or "").strip())
        column, own = _HEADINGS.get(name.replace("_", " "), ("", ""))
        header.append((column, unit or own))
    known = [column for column, _ in header if column]
    for column in sorted({column for column in known if known.count(column) > 1}):
        problems.append(
            Problem(
                file=file, where="header", found=f"the column {column} stands twice",
                remedy="keep one of them",
            )
        )  # fmt: skip
    if "dip" not in known and "bags" not in known:
        problems.append(
            Problem(
                file=file, where="header", found="neither a dip nor bags",
                remedy=f"name the columns in the first row: {', '.join(COLUMNS)}",
            )
        )  # fmt: skip
    return header


def _named(header: Sequence[tuple[str, str]], cells: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Text and unit by column, of cells that hold something."""
    return {
        column: (" ".join(cell.split()), unit)
        for (column, unit), cell in zip(header, cells, strict=False)
        if column and cell.strip(" \t-–—")
    }


def _run(name: str, entries: Sequence[Entry], notes: Sequence[str]) -> Run:
    """A day's rows; a second dip at one place is what it was filled to."""
    merged: list[Entry] = []
    for entry in entries:
        last = merged[-1] if merged else None
        if last is not None and _is_filling(last, entry):
            coal = [c for c in (last.coal, entry.coal) if c is not None]
            merged[-1] = replace(
                last,
                filled=entry.filled if entry.filled is not None else entry.dip,
                coal=sum(coal) if coal else None,
            )
        else:
            merged.append(entry)
    crews = [e.crew for e in merged if e.crew]
    skies = [e.weather for e in merged if e.weather]
    return Run(
        name=name,
        crew=max(crews, key=crews.count, default=""),
        weather=max(skies, key=skies.count, default=""),
        entries=tuple(merged),
        notes=tuple(notes),
    )


def _is_filling(last: Entry, entry: Entry) -> bool:
    """Whether a row tells the level after filling at the place of the row before."""
    if last.dip is None or last.filled is not None or entry.dip is None:
        return False
    same = bool(entry.place) and entry.place.casefold() == last.place.casefold()
    if entry.distance is not None and last.distance is not None:
        same = abs(entry.distance - last.distance) <= SAME_PLACE
    return same and entry.dip > last.dip


def log_template(scenario: Scenario, stops: Sequence[tuple[str, float]]) -> str:
    """An empty log with the planned places filled in.

    Parameters
    ----------
    scenario
        Whose units head the columns.
    stops
        Name and distance along the road of each. [m]

    Returns
    -------
    text
        CSV; a dip may be written as a share ("1/3") whatever the header says.
    """
    system = UNIT_SYSTEMS[scenario.file.units]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(log_header(system))
    for number, (name, distance) in enumerate(stops):
        cells = dict.fromkeys(COLUMNS, "")
        cells["place"] = f"'{name}" if name.startswith(("=", "+", "-", "@")) else name
        cells["distance"] = f"{system.distance.value(distance):.2f}"
        if number == 0:
            cells["date"] = scenario.file.date.isoformat()
        writer.writerow(cells.values())
    return text.getvalue()


def log_header(system: UnitSystem) -> list[str]:
    """The columns of a log with their units.

    Parameters
    ----------
    system
        The units it is kept in.

    Returns
    -------
    names
        In order; a dip may be written as a share ("1/3") whatever its column says.
    """
    units = {
        "distance": system.distance.label,
        "dip": system.water.label,
        "filled to": system.water.label,
        "bags": "25 kg" if system.name == "metric" else "50 lb",
        "pressure": system.pressure.label,
    }
    return [f"{name} [{units[name]}]" if name in units else name for name in COLUMNS]
