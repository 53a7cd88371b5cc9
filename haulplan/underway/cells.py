"""The cells of a log as people write them: distances, dips, bags, times, skies."""

import difflib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from haulplan.errors import Problem
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, parse

__all__ = ["SAME_PLACE", "Entry", "Reader", "clock_of", "tank_level"]

_WORDS: Final = MappingProxyType({"full": 1.0, "empty": 0.0, "half": 0.5, "quarter": 0.25})
_SKIES: Final = MappingProxyType(
    {
        "dry": "dry", "fine": "dry", "sunny": "dry", "sun": "dry", "hot": "dry", "fair": "dry",
        "wet": "wet", "rain": "wet", "rainy": "wet", "showers": "wet", "damp": "wet",
        "mud": "mud", "muddy": "mud", "frost": "frost", "ice": "frost", "icy": "frost",
        "snow": "frost",
    }
)  # fmt: skip
#: Two readings so close together are at one place. [m]
SAME_PLACE: Final = 250.0
#: A trip meter that falls by more than this was set to nothing. [m]
_RESET: Final = 500.0
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


class Reader:
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
        beyond = self.route.length * 1.03 + SAME_PLACE
        if self.offset and at > beyond and self.distance - SAME_PLACE <= value <= beyond:
            self.offset, at = 0.0, value
            self.notes.append(f"row {row}: the distance counts from the start again")
        if not -SAME_PLACE <= at <= beyond:
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
        return next((at for at in meets if at >= self.distance - SAME_PLACE), meets[-1])

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
    words = (
        text.casefold().replace("⁄", "/").rstrip(".").strip(" ~?").removesuffix("full").strip(" ,")
    )
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
