"""What a source states of a trip, in its own words, and what it leaves out: the record file."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from haulplan.errors import InputError, Problem
from haulplan.period.words import Money, Statement, read_money, read_statement
from haulplan.scenario.fields import Text, quantity
from haulplan.scenario.read import read_toml_text
from haulplan.scenario.schema import Surface
from haulplan.scenario.wording import validate

__all__ = ["Place", "Record", "RecordFile", "Row", "Same", "Totals", "Use", "read_record"]

Country = Literal["uk", "us", "colony", "unknown"]
Covers = Literal["running", "standing", "lighting up", "banking"]
Per = Literal["trip", "day", "hour", "mile", "useful ton-mile", "gross ton-mile"]

Long = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000)]


def _said(kind: str) -> BeforeValidator:
    """A figure in the source's wording."""

    def read(value: object) -> Statement:
        if not isinstance(value, str):
            raise ValueError("write the figure and its unit as the source does, in quotes")
        return read_statement(kind, value)

    return BeforeValidator(read)


def _money(value: object) -> Money:
    if not isinstance(value, str):
        raise ValueError("write the sum as the source does, in quotes, as in '£80 4s' or '$640'")
    return read_money(value)


def _listed(value: object) -> object:
    return [value] if isinstance(value, str) else value


Mass = Annotated[Statement, _said("mass")]
Coal = Annotated[Statement, _said("coal")]
Water = Annotated[Statement, _said("water")]
Time = Annotated[Statement, _said("duration")]
Length = Annotated[Statement, _said("length")]
Speed = Annotated[Statement, _said("speed")]
Sum = Annotated[Money, BeforeValidator(_money)]
Listed = BeforeValidator(_listed)


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class EngineSaid(_Model):
    """The engine; `kind` names engines of the period it may have been."""

    name: Text | None = None
    kind: Annotated[tuple[Text, ...], Listed] = ()
    weight: Mass | None = None
    tank: Water | None = None
    nominal_power: Text | None = None


class TrainSaid(_Model):
    """The load; `on_engine` is the part the vehicle itself carries."""

    load: Mass | None = None
    load_is: Literal["useful", "with wagons", "whole train", "not stated"] = "not stated"
    tare: Mass | None = None
    on_engine: Mass | None = None
    wagon: Literal["tare", "ore"] = "tare"


class WayCounted(_Model):
    """How far; `distance_is` says what the figure covers."""

    distance: Length
    distance_is: Literal["one way", "round trip", "not stated"] = "not stated"
    back: Literal["empty", "loaded", "none", "not stated"] = "not stated"
    climb: Length | None = None
    surface: Annotated[tuple[Surface, ...], Listed] = ()
    state: Literal["dry", "wet", "mud", "not stated"] = "not stated"


class TimeSaid(_Model):
    """How long and how fast."""

    duration: Time | None = None
    duration_is: Literal["whole journey", "running", "not stated"] = "not stated"
    running_speed: Speed | None = None
    journey_speed: Speed | None = None


class Use(_Model):
    """Coal and water as stated; `coal_was` tells burnt from carried."""

    coal: Coal | None = None
    coal_per: Per = "trip"
    coal_was: Literal["burnt", "carried", "not stated"] = "not stated"
    coal_covers: tuple[Covers, ...] = ()
    fuel: Annotated[tuple[Text, ...], Listed] = ()
    water: Water | None = None
    water_per: Per = "trip"
    tank_lasts: Length | None = None


class CostSaid(_Model):
    """Money as the source prints it, for the trip; prices for the likely run."""

    total: Sum | None = None
    per_ton_mile: Sum | None = None
    coal_bill: Sum | None = None
    coal_price: Sum | None = None
    coal_price_per: Coal | None = None
    wages_per_day: Sum | None = None
    crew: Annotated[int, Field(ge=1, le=60, strict=True)] | None = None

    @model_validator(mode="after")
    def _paired(self) -> Self:
        if (self.coal_price is None) is not (self.coal_price_per is None):
            raise ValueError(
                "coal_price and coal_price_per are not both there; give both, as '15s' and '1 ton'"
            )
        given = [s.currency for s in self._sums() if s is not None]
        if len(set(given)) > 1:
            raise ValueError("pounds and dollars in one record; convert one of them")
        return self

    def _sums(self) -> tuple[Money | None, ...]:
        return (
            self.total, self.per_ton_mile, self.coal_bill, self.coal_price, self.wages_per_day,
        )  # fmt: skip


class Totals(_Model):
    """Totals of many days beside the averages printed with them, as plain numbers."""

    days: Annotated[float, Field(gt=0)] | None = None
    trips: Annotated[float, Field(gt=0)] | None = None
    tons: Annotated[float, Field(gt=0)] | None = None
    miles: Annotated[float, Field(gt=0)] | None = None
    tons_per_day: Text | None = None
    miles_per_day: Text | None = None
    tons_per_trip: Text | None = None
    miles_per_trip: Text | None = None

    @model_validator(mode="after")
    def _numbers(self) -> Self:
        for name in ("tons_per_day", "miles_per_day", "tons_per_trip", "miles_per_trip"):
            text = getattr(self, name)
            if text is None:
                continue
            try:
                positive = float(text) > 0
            except ValueError:
                positive = False
            if not positive:
                raise ValueError(
                    f"totals.{name} is no number; write the printed digits in quotes, as '21.91'"
                )
        return self


class Row(_Model):
    """One row of a printed table: water and coal that belong together."""

    name: Text
    water: Water
    coal: Coal


class Same(_Model):
    """One amount of water that the source gives both as a weight and as a volume."""

    name: Text
    mass: Mass
    volume: Water


class Place(_Model):
    """One place of a typed itinerary: miles from the start, height, surface from there on."""

    place: Text
    at: Annotated[float, quantity("length", "0 m", "5000 km")]
    height: Annotated[float, quantity("length", "-500 m", "9000 m")]
    surface: Surface | None = None
    water: Text | None = None


class RecordFile(_Model):
    """record.toml."""

    title: Text
    source: Text
    year: Annotated[int, Field(ge=1830, le=1960, strict=True)]
    date: dt.date | None = None
    country: Country = "unknown"
    wording: Long | None = None
    not_stated: tuple[Text, ...] = ()
    note: Text | None = None
    units: Literal["us", "imperial", "metric"] = "imperial"
    engine: EngineSaid = EngineSaid()
    train: TrainSaid = TrainSaid()
    way: WayCounted | None = None
    time: TimeSaid = TimeSaid()
    use: Use = Use()
    cost: CostSaid = CostSaid()
    totals: Totals | None = None
    rows: tuple[Row, ...] = ()
    same: tuple[Same, ...] = ()
    itinerary: tuple[Place, ...] = ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.date is not None and self.date.year != self.year:
            raise ValueError("date is not in year; mend one of them")
        if self.way is None and not (self.totals or self.rows or self.same):
            raise ValueError("nothing to reckon with; give [way] with a distance, or a table")
        if (self.train.load is None and self.train.on_engine is None) and self.way is not None:
            raise ValueError("no load; give train.load or train.on_engine, else nothing follows")
        if self.itinerary:
            ats = [place.at for place in self.itinerary]
            if len(ats) < 2 or ats[0] != 0 or ats != sorted(set(ats)):
                raise ValueError(
                    "itinerary does not run from 0 onwards; give two or more places, the first at "
                    "'0 mi', sorted by distance"
                )
        return self


@dataclass(frozen=True, kw_only=True)
class Record:
    """A record file, read and checked, with its text as it stands."""

    path: Path
    text: str
    file: RecordFile

    @property
    def statements(self) -> Mapping[str, Statement]:
        """Every figure that is stated in words, by dotted key."""
        found: dict[str, Statement] = {}
        for section in ("engine", "train", "way", "time", "use", "cost"):
            part = getattr(self.file, section)
            for name in type(part).model_fields if part is not None else ():
                value = getattr(part, name)
                if isinstance(value, Statement):
                    found[f"{section}.{name}"] = value
        for row in self.file.rows:
            found |= {f"rows, {row.name}, water": row.water, f"rows, {row.name}, coal": row.coal}
        for same in self.file.same:
            found |= {f"same, {same.name}, volume": same.volume}
            found |= {f"same, {same.name}, mass": same.mass}
        return found

    @property
    def words(self) -> tuple[str, ...]:
        """The ambiguous words the trip's own figures use, sorted."""
        trip = [v for k, v in self.statements.items() if not k.startswith(("rows", "same"))]
        return tuple(sorted({word for said in trip for word in said.words}))


def read_record(path: Path | str, *, check: Callable[[RecordFile], list[Problem]]) -> Record:
    """Read one record file.

    Parameters
    ----------
    path
        A TOML file.
    check
        Finds what no single key shows, such as engines of the period that do not exist.

    Returns
    -------
    record
        Checked; figures keep their ambiguous words.

    Raises
    ------
    InputError
        With every problem found.
    """
    file = Path(path)
    problems: list[Problem] = []
    text, raw = read_toml_text(file, problems)
    parsed = validate(RecordFile, raw, file.name, problems, context=None)
    if parsed is not None:
        problems += [replace(problem, file=file.name) for problem in check(parsed)]
    if problems or parsed is None:
        raise InputError(problems)
    return Record(path=file, text=text, file=parsed)
