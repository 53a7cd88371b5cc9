"""Two revisions of a plan compared: their plan.json files, stop by stop."""

import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from haulplan.errors import InputError, Problem

__all__ = ["Revision", "StopChange", "Visit", "compare_stops", "read_revision"]

_NAME: Final = "haulplan-plan"
_VERSIONS: Final = (1, 2)
_DAY: Final = 86400.0
#: Larger files are no plan. [bytes]
_MAX_BYTES: Final = 64 * 1024 * 1024


@dataclass(frozen=True, kw_only=True)
class Visit:
    """A stop as a plan.json tells it: [m], [s] since midnight of the plan's date, [kg]."""

    kind: str
    name: str
    distance: float
    arrive: float
    leave: float
    water: float
    coal: float


@dataclass(frozen=True, kw_only=True)
class Revision:
    """One plan.json, as far as two of them are compared; `visits` without both ends."""

    title: str
    date: str
    aim: str
    currency: str
    depart: float
    arrive: float
    money: float
    days: int
    visits: tuple[Visit, ...]


@dataclass(frozen=True, kw_only=True)
class StopChange:
    """A stop in the old plan, in the new one, or in both."""

    old: Visit | None
    new: Visit | None


def read_revision(path: Path) -> Revision:
    """Read a plan.json of either version of its format.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    revision
        What is compared.

    Raises
    ------
    InputError
        If it is no plan.json; everything that is missing or wrong is named.
    """
    document = _load(path)
    problems: list[Problem] = []
    schema = document.get("schema")
    known = isinstance(schema, Mapping) and schema.get("name") == _NAME
    if not known:
        raise InputError([_problem(path, "schema", f"not marked as {_NAME}", "give a plan.json")])
    version = schema.get("version") if isinstance(schema, Mapping) else None
    if isinstance(version, bool) or version not in _VERSIONS:
        found = f"version {version!r}"
        remedy = f"versions {_VERSIONS[0]} and {_VERSIONS[1]} are read; plan again"
        raise InputError([_problem(path, "schema.version", found, remedy)])
    reader = _Reader(path=path, problems=problems)
    stops = document.get("stops")
    rows = stops if isinstance(stops, list) else []
    if len(rows) < 2:
        problems.append(_problem(path, "stops", "no start and finish", "give a whole plan.json"))
    arrive = reader.number(document, "finish.clock_s")
    days = document.get("days")
    revision = Revision(
        title=reader.text(document, "title"),
        date=reader.text(document, "date"),
        aim=reader.text(document, "aim"),
        currency=reader.text(document, "currency"),
        depart=reader.number(document, "start.clock_s"),
        arrive=arrive,
        money=reader.number(document, "money"),
        days=len(days) if isinstance(days, list) and days else math.floor(arrive / _DAY) + 1,
        visits=tuple(
            reader.visit(row, f"stops[{number}]")
            for number, row in enumerate(rows)
            if 0 < number < len(rows) - 1
        ),
    )
    if problems:
        raise InputError(problems)
    return revision


def compare_stops(old: Revision, new: Revision) -> tuple[StopChange, ...]:
    """Put the stops of two revisions side by side.

    Parameters
    ----------
    old, new
        The revisions.

    Returns
    -------
    changes
        In driving order; the same place passed twice is told apart by its count.
    """
    before, after = _numbered(old.visits), _numbered(new.visits)
    found = [
        StopChange(old=before.get(key), new=after.get(key))
        for key in dict.fromkeys([*before, *after])
    ]
    return tuple(sorted(found, key=_place))


def _place(change: StopChange) -> tuple[float, str]:
    visit = change.new or change.old
    assert visit is not None
    return visit.distance, visit.name


def _numbered(visits: Sequence[Visit]) -> dict[tuple[str, str, int], Visit]:
    seen: Counter[tuple[str, str]] = Counter()
    numbered = {}
    for visit in visits:
        key = (visit.kind, visit.name)
        seen[key] += 1
        numbered[*key, seen[key]] = visit
    return numbered


def _load(path: Path) -> Mapping[str, Any]:
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise InputError([_problem(path, "", "too large for a plan", "give a plan.json")])
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        why = error.strerror or "not readable"
        raise InputError([_problem(path, "", why, "give the path of a plan.json")]) from None
    except (ValueError, RecursionError) as error:  # bad UTF-8 too
        found = f"no JSON ({error})" if isinstance(error, json.JSONDecodeError) else "no JSON"
        raise InputError([_problem(path, "", found, "give a plan.json, unchanged")]) from None
    if not isinstance(document, Mapping):
        raise InputError([_problem(path, "", "no plan in it", "give a plan.json")])
    return document


def _problem(path: Path, where: str, found: str, remedy: str) -> Problem:
    return Problem(file=str(path), where=where, found=found, remedy=remedy)


@dataclass(frozen=True, kw_only=True)
class _Reader:
    """Takes fields out of one document and notes what is wrong with them."""

    path: Path
    problems: list[Problem]

    def number(self, row: object, key: str, where: str = "") -> float:
        """A finite number at a dotted key."""
        value = self._at(row, key)
        whole = isinstance(value, (int, float)) and not isinstance(value, bool)
        if whole and math.isfinite(value) and abs(value) < 1e15:  # type: ignore[arg-type]
            return float(value)  # type: ignore[arg-type]
        self._wrong(where + key, value, "a number")
        return 0.0

    def text(self, row: object, key: str, where: str = "") -> str:
        """Text at a dotted key."""
        value = self._at(row, key)
        if isinstance(value, str):
            return value
        self._wrong(where + key, value, "text")
        return ""

    def visit(self, row: object, where: str) -> Visit:
        """One of the stops."""
        dot = f"{where}."
        return Visit(
            kind=self.text(row, "kind", dot),
            name=self.text(row, "name", dot),
            distance=self.number(row, "distance_m", dot),
            arrive=self.number(row, "arrive_s", dot),
            leave=self.number(row, "leave_s", dot),
            water=self.number(row, "water_taken_kg", dot),
            coal=self.number(row, "coal_taken_kg", dot),
        )

    def _at(self, row: object, key: str) -> object:
        for part in key.split("."):
            row = row.get(part) if isinstance(row, Mapping) else None
        return row

    def _wrong(self, where: str, value: object, wanted: str) -> None:
        found = "missing" if value is None else f"{value!r:.40} is not {wanted}"
        self.problems.append(_problem(self.path, where, found, f"give {wanted}, as plan.json has"))
