"""Read one event folder: event.toml and its tables; every fault at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from haulplan.errors import InputError, Problem
from haulplan.scenario.classes import engine_classes, known_kinds
from haulplan.scenario.files import folder_fault
from haulplan.scenario.read import read_table, read_toml
from haulplan.scenario.wording import short, validate
from haulplan.stations.schema import (
    EventFile,
    FleetRow,
    MixRow,
    SiteRow,
    SpanRow,
    StandingRow,
    TruckRow,
)

__all__ = ["Event", "read_event"]

Row = TypeVar("Row", bound=BaseModel)

_TABLES: Mapping[str, type[BaseModel]] = {
    "fleet.csv": FleetRow,
    "mix.csv": MixRow,
    "sites.csv": SiteRow,
    "hard_standing.csv": StandingRow,
    "bridges.csv": SpanRow,
    "trucks.csv": TruckRow,
}
_MOST_ENGINES = 1000


@dataclass(frozen=True, kw_only=True)
class Event:
    """One event folder, read and checked; figures in SI."""

    folder: Path
    file: EventFile
    fleet: tuple[FleetRow, ...]
    mix: tuple[MixRow, ...]
    sites: tuple[SiteRow, ...]
    standing: tuple[StandingRow, ...]
    bridges: tuple[SpanRow, ...]
    trucks: tuple[TruckRow, ...]


def read_event(folder: Path | str) -> Event:
    """Read an event folder: event.toml and the tables beside it.

    Parameters
    ----------
    folder
        Holds event.toml, and fleet.csv or mix.csv or both; sites.csv, hard_standing.csv,
        bridges.csv and trucks.csv are read where present.

    Returns
    -------
    event
        Checked; every figure in SI.

    Raises
    ------
    InputError
        With every problem found: file, key or row, what was found, what is allowed.

    Examples
    --------
    >>> read_event("no/such/folder")
    Traceback (most recent call last):
        ...
    haulplan.errors.InputError: no/such/folder: no such folder; give a folder that holds ...
    """
    root = Path(folder)
    if (fault := folder_fault(root, "event.toml")) is not None:
        raise InputError([fault])
    problems: list[Problem] = []
    raw = read_toml(root / "event.toml", problems)
    given = raw.get("currency", "GBP")
    currency = given if isinstance(given, str) and len(given) == 3 else None
    context = {"currency": currency}
    file = validate(EventFile, raw, "event.toml", problems, context=context)
    tables = {
        name: read_table(root / name, model, currency, problems)
        for name, model in _TABLES.items()
        if (root / name).exists()
    }
    problems += _check_tables(tables)
    if file is not None:
        problems += _check_together(file, tables, root)
    if problems or file is None:
        raise InputError(problems)

    def typed(name: str, model: type[Row]) -> tuple[Row, ...]:
        return tuple(row for row in tables.get(name, {}).values() if isinstance(row, model))

    return Event(
        folder=root,
        file=file,
        fleet=typed("fleet.csv", FleetRow),
        mix=typed("mix.csv", MixRow),
        sites=typed("sites.csv", SiteRow),
        standing=typed("hard_standing.csv", StandingRow),
        bridges=typed("bridges.csv", SpanRow),
        trucks=typed("trucks.csv", TruckRow),
    )


def _check_tables(tables: Mapping[str, Mapping[int, BaseModel]]) -> list[Problem]:
    """Names that stand twice, unknown classes."""
    problems: list[Problem] = []
    for file, key in (("fleet.csv", "engine"), ("trucks.csv", "truck")):
        seen: dict[str, int] = {}
        for number, row in tables.get(file, {}).items():
            name = getattr(row, key)
            if seen.setdefault(name, number) != number:
                problems.append(
                    Problem(
                        file=file, where=f"row {number}, column {key}",
                        found=f"'{short(name)}' stands in row {seen[name]} too",
                        remedy="give each a name of its own",
                    )
                )  # fmt: skip
    for file in ("fleet.csv", "mix.csv"):
        for number, row in tables.get(file, {}).items():
            kind = getattr(row, "kind", None)
            if kind is not None and kind not in engine_classes():
                problems.append(
                    Problem(
                        file=file, where=f"row {number}, column kind",
                        found=f"'{short(kind)}' is not known",
                        remedy=known_kinds(kind, list(engine_classes())),
                    )
                )  # fmt: skip
    return problems


def _check_together(
    file: EventFile, tables: Mapping[str, Mapping[int, BaseModel]], root: Path
) -> list[Problem]:
    """Tables that are wanted and not there, levels above tanks, a missing road."""
    problems: list[Problem] = []

    def complain(name: str, where: str, found: str, remedy: str) -> None:
        problems.append(Problem(file=name, where=where, found=found, remedy=remedy))

    if not (root / "fleet.csv").exists() and not (root / "mix.csv").exists():
        complain("fleet.csv", "", "no such file", "give fleet.csv, or mix.csv with classes")
    if not (root / "sites.csv").exists() and file.anywhere is None:
        complain("sites.csv", "", "no such file", "list sites, or give [anywhere] a spacing")
    if file.anywhere is not None and not (root / "hard_standing.csv").exists():
        complain(
            "hard_standing.csv", "", "no such file",
            "[anywhere] needs the stretches with hard standing",
        )  # fmt: skip
    name = file.route.file
    if name is None:
        complain("event.toml", "route.file", "missing", "name the GPX or CSV file of the road")
    elif not (root / name).is_file() or not (root / name).resolve().is_relative_to(root.resolve()):
        complain("event.toml", "route.file", f"no file '{short(name)}'", "put it in the folder")
    engines = len(tables.get("fleet.csv", {}))
    engines += sum(getattr(row, "count", 0) for row in tables.get("mix.csv", {}).values())
    if engines > _MOST_ENGINES:
        complain("mix.csv", "", f"{engines} engines", f"give at most {_MOST_ENGINES}")
    for number, row in tables.get("fleet.csv", {}).items():
        assert isinstance(row, FleetRow)
        full = float("inf") if row.tank is None else row.tank
        if full < row.at_start < float("inf"):
            complain(
                "fleet.csv", f"row {number}, column at_start", "more than the tank holds",
                "give 'full', or at most the tank",
            )  # fmt: skip
    return problems
