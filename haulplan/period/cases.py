"""Published trips and statements, each brought to the same figures by arithmetic alone."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files

import numpy as np

from haulplan.period.defaults import check_record
from haulplan.period.questions import JOURNEYS, journey_prior
from haulplan.period.record import Record, read_record
from haulplan.period.words import Money, Statement, meanings

__all__ = ["Case", "case_of", "published_cases", "published_records"]

_MILE = 1609.344


@dataclass(frozen=True, kw_only=True)
class Case:
    """A record's own figures under its likeliest reading, SI; None where it states none.

    `cost` is the money for a useful ton-mile of the likeliest ton, as printed.
    """

    id: str
    record: Record
    useful: float | None
    way: float | None
    coal_per_metre: float | None
    water_per_metre: float | None
    coal_per_useful: float | None
    ratio: float | None
    running_speed: float | None
    journey_speed: float | None
    cost: str | None
    flag: str


@cache
def published_records() -> Mapping[str, Record]:
    """The published records that ship with haulplan.

    Returns
    -------
    records
        By their label in the project's table of period figures.
    """
    found = {}
    folder = files("haulplan.period") / "published"
    for entry in sorted(folder.iterdir(), key=lambda e: (e.name[0] != "H", e.name)):
        with as_file(entry) as path:
            found[entry.name.removesuffix(".toml")] = read_record(path, check=check_record)
    return found


@cache
def published_cases() -> tuple[Case, ...]:
    """The published records brought to the same figures.

    Returns
    -------
    cases
        H first, then C.
    """
    return tuple(case_of(name, record) for name, record in published_records().items())


def case_of(name: str, record: Record) -> Case:
    """One record's own figures by arithmetic.

    Parameters
    ----------
    name
        What to call it.
    record
        With a way.

    Returns
    -------
    case
        Under the likeliest reading of every word and of the distance.
    """
    reading = _Reading(record=record)
    coal, water = (reading.of_trip(what) for what in ("coal", "water"))
    loaded, way, useful = reading.loaded, reading.way, reading.useful
    ton_metres = None if not useful or loaded == 0 else useful * loaded
    use = record.file.use
    running, journey = reading.speeds()
    lasts = record.statements.get("use.tank_lasts")
    flags = []
    if use.coal_was == "carried" or (use.coal is not None and use.coal.bound == "at most"):
        flags.append("coal carried: at most")
    if lasts is not None:
        flags.append("a tank lasts " + lasts.text)
    return Case(
        id=name,
        record=record,
        useful=useful,
        way=way,
        coal_per_metre=None if coal is None else coal / way,
        water_per_metre=None if water is None else water / way,
        coal_per_useful=None if coal is None or ton_metres is None else coal / ton_metres,
        ratio=None if coal is None or water is None else water / coal,
        running_speed=running,
        journey_speed=journey,
        cost=reading.cost(ton_metres),
        flag=", ".join(flags),
    )


@dataclass(frozen=True, kw_only=True)
class _Reading:
    """A record under its likeliest reading."""

    record: Record

    def size(self, word: str) -> float:
        """Typical size of a word's likeliest meaning [SI]."""
        country = self.record.file.country
        return max(meanings(word), key=lambda m: m.weights[country]).typical

    def value(self, said: Statement | None) -> float | None:
        if said is None:
            return None
        return float(said.value({word: np.array(self.size(word)) for word in said.words}))

    @property
    def _factors(self) -> tuple[float, float]:
        prior = journey_prior(self.record)
        return JOURNEYS[max(prior, key=lambda label: prior[label])]

    @property
    def loaded(self) -> float:
        """How far loaded [m]."""
        way = self.record.file.way
        assert way is not None
        return (self.value(way.distance) or 0.0) * self._factors[0]

    @property
    def way(self) -> float:
        """How far in all [m]."""
        return self.loaded / self._factors[0] * sum(self._factors)

    @property
    def useful(self) -> float | None:
        """Useful load, where the record says that it is [kg]."""
        train = self.record.file.train
        if train.load is not None and train.load_is not in {"useful", "not stated"}:
            return None
        return sum(self.value(said) or 0.0 for said in (train.load, train.on_engine))

    def of_trip(self, what: str) -> float | None:
        """Coal or water of the whole trip [kg]."""
        use = self.record.file.use
        amount = self.value(getattr(use, what))
        if amount is None:
            return None
        per = getattr(use, f"{what}_per")
        ton = self.size("ton")
        ton_miles = (self.useful or math.nan) / ton * self.loaded / _MILE
        bases = {"trip": 1.0, "mile": self.way / _MILE, "useful ton-mile": ton_miles}
        found = amount * bases.get(per, math.nan)
        return None if math.isnan(found) else found

    def speeds(self) -> tuple[float | None, float | None]:
        """Running and journey speed [m s⁻¹]."""
        time = self.record.file.time
        running, journey = self.value(time.running_speed), self.value(time.journey_speed)
        hours = self.value(time.duration)
        if hours is not None and time.duration_is == "running" and running is None:
            running = self.way / hours
        if hours is not None and time.duration_is != "running" and journey is None:
            journey = self.way / hours
        return running, journey

    def cost(self, ton_metres: float | None) -> str | None:
        """Money for a useful ton-mile, printed or by arithmetic."""
        said = self.record.file.cost
        if said.per_ton_mile is not None:
            return said.per_ton_mile.text
        total: Money | None = said.total
        if total is None or ton_metres is None:
            return None
        return total.shown(total.amount / (ton_metres / self.size("ton") / _MILE))
