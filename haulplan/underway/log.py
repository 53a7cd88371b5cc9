"""The log of a run: a CSV anybody can keep by hand, read kindly, refused clearly.

One row for each time the crew looked: where, when, what the dip said, what was put on the
fire. Cells may be missing, units may be mixed, the trip meter may start anew and the dip
may rise by a filling; whatever is understood in another way than written is noted.
"""

import csv
import difflib
import io
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final, Literal

from haulplan.errors import InputError, Problem
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, parse

__all__ = [
    "COLUMNS",
    "Entry",
    "Run",
    "Span",
    "clock_of",
    "coal_spans",
    "log_template",
    "read_log",
    "read_logs",
    "tank_level",
    "water_spans",
]

Kind = Literal["water", "coal"]

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
_WORDS: Final = MappingProxyType({"full": 1.0, "empty": 0.0, "half": 0.5, "quarter": 0.25})
_SKIES: Final = MappingProxyType(
    {
        "dry": "dry", "fine": "dry", "sunny": "dry", "sun": "dry", "hot": "dry", "fair": "dry",
        "wet": "wet", "rain": "wet", "rainy": "wet", "showers": "wet", "damp": "wet",
        "mud": "mud", "muddy": "mud", "frost": "frost", "ice": "frost", "icy": "frost",
        "snow": "frost",
    }
)  # fmt: skip
_MOST_BYTES: Final = 4 * 1024 * 1024
_MOST_ROWS: Final = 20_000
#: Two readings so close together are at one place. [m]
_SAME: Final = 250.0
#: A trip meter that falls by more than this was set to nothing. [m]
_RESET: Final = 500.0
#: A dip reads the same tank to about this. [share of the tank]
_READS: Final = 0.02
_DAY: Final = 86400.0


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One row as understood: distance along the road [m], levels and coal [kg], clock [s].

    `filled` is the level after filling there, `coal` what went on the fire since the row
    before that says so; None is not written.
    """

    row: int
    date: str
    place: str
    clock: float | None
    distance: float | None
    dip: float | None
    filled: float | None
    coal: float | None
    bag: float
    pressure: str
    crew: str
    weather: str
    remarks: str


@dataclass(frozen=True, kw_only=True)
class Run:
    """One day's rows, and notes on what was understood otherwise than written."""

    name: str
    crew: str
    weather: str
    entries: tuple[Entry, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Span:
    """Road between two rows that tell what was used on it [m], [kg], [s].

    `error` is how far the reading itself may be off, one standard deviation [kg]; `level`
    the tank at the beginning, None where not known.
    """

    kind: Kind
    rows: tuple[int, int]
    begin: float
    end: float
    used: float
    error: float
    level: float | None
    duration: float | None
    names: tuple[str, str]


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
    reader = _Reader(path.name, scenario, route, problems)
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


class _Reader:
    """Reads rows one after the other and remembers what a row may leave out."""

    def __init__(
        self, file: str, scenario: Scenario, route: Route, problems: list[Problem]
    ) -> None:
        self.file, self.scenario, self.route, self.problems = file, scenario, route, problems
        self.notes: list[str] = []
        self.system = UNIT_SYSTEMS[scenario.file.units]
        self.date, self.crew, self.weather = "", "", ""
        self.distance, self.offset = 0.0, 0.0
        self.clock: float | None = None

    def entry(self, row: int, cells: Mapping[str, tuple[str, str]]) -> Entry | None:
        """The row as understood, None where it says nothing."""
        if "date" in cells and cells["date"][0] != self.date:
            self.date, self.distance, self.clock, self.offset = cells["date"][0], 0.0, None, 0.0
        self.crew = cells.get("crew", (self.crew, ""))[0]
        self._sky(row, cells)
        place = cells.get("place", ("", ""))[0]
        coal, bag = self._coal(row, cells)
        entry = Entry(
            row=row,
            date=self.date,
            place=place,
            clock=self._clock(row, cells),
            distance=self._distance(row, cells, place),
            dip=self._dip(row, "dip", cells),
            filled=self._dip(row, "filled to", cells),
            coal=coal,
            bag=bag,
            pressure=cells.get("pressure", ("", ""))[0],
            crew=self.crew,
            weather=self.weather,
            remarks=cells.get("remarks", ("", ""))[0],
        )
        if entry.dip is not None and entry.filled is not None and entry.filled < entry.dip:
            self.notes.append(f"row {row}: filled to less than the dip; taken as not filled")
            entry = replace(entry, filled=None)
        told = (entry.dip, entry.filled, entry.coal)
        return None if all(value is None for value in told) else entry

    def _refuse(self, row: int, column: str, found: str, remedy: str) -> None:
        where = f"row {row}, column {column}"
        self.problems.append(Problem(file=self.file, where=where, found=found[:120], remedy=remedy))

    def _sky(self, row: int, cells: Mapping[str, tuple[str, str]]) -> None:
        if "weather" not in cells:
            return
        text = cells["weather"][0]
        skies = [_SKIES[word] for word in re.findall(r"[a-z]+", text.casefold()) if word in _SKIES]
        if not skies:
            self.notes.append(
                f"row {row}: weather '{text[:40]}' is none of dry, wet, mud, frost; left out"
            )
        self.weather = skies[-1] if skies else ""

    def _clock(self, row: int, cells: Mapping[str, tuple[str, str]]) -> float | None:
        if "time" not in cells:
            return None
        text = cells["time"][0]
        clock = clock_of(text)
        if clock is None:
            self._refuse(row, "time", f"'{text[:40]}'", "write it as in '10:40'")
            return None
        while self.clock is not None and clock < self.clock - 6 * 3600.0:
            clock += _DAY
        if self.clock is not None and clock < self.clock:
            self.notes.append(f"row {row}: earlier than the row before it; its time is left out")
            return None
        self.clock = clock
        return clock

    def _distance(self, row: int, cells: Mapping[str, tuple[str, str]], place: str) -> float | None:
        """Along the road, by the figure or, where there is none, by the place's name."""
        if "distance" not in cells:
            at = self._place(place)
            self.distance = self.distance if at is None else at
            return at
        text, unit = cells["distance"]
        value = self._quantity(row, "distance", "length", text, unit)
        if value is None:
            return None
        at = self.offset + value
        if at < self.distance - _RESET:
            known = self._place(place)
            self.offset = self.distance if known is None else known - value
            at = self.offset + value
            self.notes.append(
                f"row {row}: the distance starts anew; read as {self.system.distance.text(at)}"
            )
        beyond = self.route.length * 1.03 + _SAME
        if self.offset and at > beyond and self.distance - _SAME <= value <= beyond:
            self.offset, at = 0.0, value
            self.notes.append(f"row {row}: the distance counts from the start again")
        if not -_SAME <= at <= beyond:
            end = self.system.distance.text(self.route.length)
            self._refuse(
                row, "distance", f"'{text}' is off the road",
                f"the road ends at {end}; give the distance from the start, with its unit",
            )  # fmt: skip
            return None
        self.distance = min(max(at, 0.0), self.route.length)
        return self.distance

    def _place(self, name: str) -> float | None:
        """Where a named place is: the next time the road meets it, spelling forgiven."""
        file = self.scenario.file
        known = [(file.start, 0.0), (file.finish, self.route.length)]
        known += [(p.name, p.distance) for p in self.route.passings]
        close = difflib.get_close_matches(
            name.casefold(), [place.casefold() for place, _ in known], n=1, cutoff=0.8
        )
        if not close:
            return None
        meets = sorted(at for place, at in known if place.casefold() == close[0])
        return next((at for at in meets if at >= self.distance - _SAME), meets[-1])

    def _dip(self, row: int, column: str, cells: Mapping[str, tuple[str, str]]) -> float | None:
        if column not in cells:
            return None
        text, unit = cells[column]
        tank = self.scenario.file.stores.tank
        value = tank_level(text, unit, tank)
        if value is None:
            value = self._quantity(row, column, "water", text, unit)
        if value is not None and not 0.0 <= value <= tank * 1.05:
            full = self.system.water.text(tank)
            self._refuse(
                row, column, f"'{text}' is more than the tank's {full}",
                "read again, or mend the unit; stores.tank states what can be used",
            )  # fmt: skip
            return None
        return None if value is None else min(value, tank)

    def _coal(self, row: int, cells: Mapping[str, tuple[str, str]]) -> tuple[float | None, float]:
        """Coal put on since the last count and what one bag holds [kg]."""
        if "bags" not in cells:
            return None, 0.0
        text, unit = cells["bags"]
        match = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:bags?|sacks?)?", text.casefold())
        times = re.fullmatch(r"(\d+)\s*(?:x|×|\*)\s*(.+)", text.casefold())
        if times is not None:
            bag = self._quantity(row, "bags", "coal", times[2], "")
            return (None, 0.0) if bag is None else (int(times[1]) * bag, bag)
        if match is None:
            return self._quantity(row, "bags", "coal", text, ""), 0.0
        size = unit or "bag"
        bag = None if size.casefold() in {"bag", "bags"} else self._bag(row, size)
        if bag is None:
            if size.casefold() in {"bag", "bags"}:
                self._refuse(
                    row, "bags", f"'{text}': how much is a bag?",
                    "head the column 'bags [50 lb]', or write '2 x 50 lb' or '100 lb'",
                )  # fmt: skip
            return None, 0.0
        return float(match[1].replace(",", ".")) * bag, bag

    def _bag(self, row: int, size: str) -> float | None:
        """What a bag holds, or the unit of the column where no figure stands in its head."""
        plain = size if re.match(r"\s*[\d.]", size) else f"1 {size}"
        return self._quantity(row, "bags", "coal", plain, "")

    def _quantity(self, row: int, column: str, kind: str, text: str, unit: str) -> float | None:
        """A quantity with its unit in the cell or in the header."""
        clean = re.sub(r"^(?:~|≈|c\.|ca\.?|about|abt\.?)\s*|\s*\?+$", "", text.strip(), flags=re.I)
        clean = re.sub(r"^(\d+),(\d{1,2})(?!\d)", r"\1.\2", clean)
        if re.fullmatch(r"[+-]?[\d.]+", clean) and unit:
            clean = f"{clean} {unit}"
        try:
            return parse(kind, clean)
        except ValueError as error:
            self._refuse(row, column, f"'{text[:40]}'", str(error))
            return None


def clock_of(text: str) -> float | None:
    """A time of day as crews write it.

    Parameters
    ----------
    text
        As "10:40", "10.40", "1040", "10h40" or "2:40 pm".

    Returns
    -------
    clock
        Since midnight, None where it is no time. [s]

    Examples
    --------
    >>> clock_of("10:40") == clock_of("1040") == clock_of("10.40 am") == 38400.0
    True
    """
    match = re.fullmatch(
        r"(\d{1,2})[:.h]?(\d\d)(?:[:.]\d\d)? ?([ap])?\.?m?\.?", text.strip().casefold(), re.ASCII
    )
    if match is None:
        return None
    hour, minute = int(match[1]), int(match[2])
    if match[3]:
        hour = hour % 12 + 12 * (match[3] == "p") if 1 <= hour <= 12 else 99
    return None if hour > 24 or minute > 59 else hour * 3600.0 + minute * 60.0


def tank_level(text: str, unit: str, tank: float) -> float | None:
    """A dip given as a share of the tank.

    Parameters
    ----------
    text
        As "1/3", "⅓", "33 %", "3/4 full", "half", "full", or "0.33".
    unit
        That of the column; a bare number with one is an amount.
    tank
        What a full one holds. [kg]

    Returns
    -------
    level
        None where the text is no share. [kg]

    Examples
    --------
    >>> tank_level("1/3", "", 1200.0), tank_level("¾ full", "", 1200.0)
    (400.0, 900.0)
    >>> tank_level("105", "US gal", 1200.0) is None
    True
    """
    words = text.casefold().replace("⁄", "/").strip(" ~?.").removesuffix("full").strip(" ,")
    if text.strip() and not words:
        return tank
    if words in _WORDS:
        return tank * _WORDS[words]
    if len(words) == 1 and unicodedata.numeric(words, -1.0) not in {-1.0, *map(float, range(10))}:
        return tank * unicodedata.numeric(words)
    if match := re.fullmatch(r"(\d{1,2})\s*/\s*(\d{1,2})", words, re.ASCII):
        share = int(match[1]) / max(int(match[2]), 1)
    elif match := re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(?:%|per ?cent|percent)", words, re.ASCII):
        share = float(match[1].replace(",", ".")) / 100
    elif unit in {"%", "share", "tank"} and re.fullmatch(r"[\d.]+", words, re.ASCII):
        share = float(words) / (100 if unit == "%" else 1)
    elif not unit and re.fullmatch(r"0?[.,]\d+", words, re.ASCII):
        share = float(words.replace(",", "."))
    else:
        return None
    return tank * share


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
        same = abs(entry.distance - last.distance) <= _SAME
    return same and entry.dip > last.dip


def water_spans(run: Run, tank: float) -> tuple[tuple[Span, ...], tuple[str, ...]]:
    """Stretches of road with what the tank lost on them.

    Parameters
    ----------
    run
        As read.
    tank
        What a full one holds. [kg]

    Returns
    -------
    spans, notes
        What is left out is noted.
    """
    spans, notes = [], []
    last: Entry | None = None
    for entry in run.entries:
        if entry.dip is None and entry.filled is None:
            continue
        if entry.distance is None:
            notes.append(f"row {entry.row}: no distance, and no place we know; its dip is left out")
            continue
        level = None if last is None else last.filled if last.filled is not None else last.dip
        if last is not None and level is not None and entry.dip is not None:
            used = level - entry.dip
            assert last.distance is not None
            if entry.distance - last.distance <= _SAME:
                pass
            elif used < -_READS * tank:
                notes.append(
                    f"rows {last.row} to {entry.row}: the tank rose with no filling written; "
                    "that stretch is left out"
                )
            else:
                spans.append(_span("water", last, entry, used, _dip_error(tank), level))
        last = entry
    return tuple(spans), tuple(notes)


def _dip_error(tank: float) -> float:
    """Two dips, each read to about a hundredth of the tank: haulplan's assumption [kg]."""
    return 2**0.5 * 0.01 * tank


def coal_spans(run: Run) -> tuple[Span, ...]:
    """Stretches of road with the coal counted on them.

    Parameters
    ----------
    run
        As read.

    Returns
    -------
    spans
        From one count to the next; rows with no count lie inside.
    """
    spans = []
    last: Entry | None = None
    for entry in run.entries:
        if entry.distance is None:
            continue
        if last is None:
            last = entry
            continue
        if entry.coal is None:
            continue
        assert last.distance is not None
        if entry.distance - last.distance > _SAME:
            level = last.filled if last.filled is not None else last.dip
            error = max(0.4 * entry.bag, 0.02 * entry.coal)
            spans.append(_span("coal", last, entry, entry.coal, error, level))
        last = entry
    return tuple(spans)


def _span(
    kind: Kind, begin: Entry, end: Entry, used: float, error: float, level: float | None
) -> Span:
    assert begin.distance is not None
    assert end.distance is not None
    known = begin.clock is not None and end.clock is not None
    return Span(
        kind=kind,
        rows=(begin.row, end.row),
        begin=begin.distance,
        end=end.distance,
        used=used,
        error=error,
        level=level,
        duration=end.clock - begin.clock if known else None,  # type: ignore[operator]
        names=(begin.place, end.place),
    )


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
    units = {
        "distance": f" [{system.distance.label}]",
        "dip": f" [{system.water.label}]",
        "filled to": f" [{system.water.label}]",
        "bags": " [50 lb]" if scenario.file.units != "metric" else " [25 kg]",
        "pressure": f" [{system.pressure.label}]",
    }
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([f"{column}{units.get(column, '')}" for column in COLUMNS])
    for number, (name, distance) in enumerate(stops):
        cells = dict.fromkeys(COLUMNS, "")
        cells["place"] = f"'{name}" if name.startswith(("=", "+", "-", "@")) else name
        cells["distance"] = f"{system.distance.value(distance):.2f}"
        if number == 0:
            cells["date"] = scenario.file.date.isoformat()
        writer.writerow(cells.values())
    return text.getvalue()
