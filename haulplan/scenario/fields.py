"""Kinds of fields a scenario holds: text from a file in, SI floats out."""

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, ValidationInfo

from haulplan import units

__all__ = [
    "Along",
    "Clock",
    "Date",
    "Reading",
    "Text",
    "Weight",
    "amount",
    "angle",
    "level",
    "price",
    "quantity",
]


@dataclass(frozen=True, slots=True)
class Reading(BeforeValidator):
    """How a field is read from text, and in words what it takes.

    `kind` is its key of `haulplan.units.KINDS`, "clock", "sum", or empty.
    """

    takes: str = ""
    kind: str = ""


#: Larger sums and prices per kg are slips in any currency.
_MOST_MONEY = 1e9


def quantity(kind: str, low: str, high: str) -> Reading:
    """A field holding a quantity.

    Parameters
    ----------
    kind
        A key of `haulplan.units.KINDS`.
    low, high
        Bounds that catch slips, written with their units.

    Returns
    -------
    validator
        For an `Annotated` float; its messages say what is allowed.
    """

    def read(value: object) -> float:
        if not isinstance(value, str):
            example = units.KINDS[kind].example
            raise ValueError(f"write the unit too, in quotes, as in '{example}'")
        number = units.parse(kind, value)
        if not units.parse(kind, low) <= number <= units.parse(kind, high):
            raise ValueError(f"allowed is {low} to {high}")
        return number

    return Reading(read, takes=f"{kind}, {low} to {high}", kind=kind)


def price(kind: str | None) -> Reading:
    """A field holding money or a price in the scenario's currency.

    Parameters
    ----------
    kind
        "water" or "coal" for a price per amount, None for a plain sum.

    Returns
    -------
    validator
        Takes the currency from the context of the validation.
    """

    def read(value: object, info: ValidationInfo) -> float:
        currency = (info.context or {}).get("currency", "USD")
        if not isinstance(value, str):
            raise ValueError(f"write the currency too, in quotes, as in '45 {currency}'")
        if currency is None:  # the scenario's own is wrong and complained of already
            currency = (re.findall(r"[A-Z]{3}", value) or ["USD"])[0]
        number = units.parse_price(kind, value, currency)
        if not 0 <= number <= _MOST_MONEY:
            raise ValueError(f"allowed is 0 to {_MOST_MONEY:.0f} {currency}")
        return number

    takes = "money" if kind is None else f"money for an amount of {kind}"
    return Reading(read, takes=takes, kind="sum")


def amount(kind: str) -> Reading:
    """A limited amount, or 'unlimited' as infinity.

    Parameters
    ----------
    kind
        "water" or "coal".

    Returns
    -------
    validator
        For an `Annotated` float.
    """

    def read(value: object) -> float:
        if isinstance(value, str) and value.strip().casefold() == "unlimited":
            return math.inf
        if not isinstance(value, str):
            raise ValueError(f"write an amount as in '{units.KINDS[kind].example}' or 'unlimited'")
        number = units.parse(kind, value)
        if number < 0:
            raise ValueError("allowed is 0 and above, or 'unlimited'")
        return number

    return Reading(read, takes=f"{kind}, or `unlimited`", kind=kind)


def level(kind: str) -> Reading:
    """A level: an amount, or 'full' as infinity (capped to the store later).

    Parameters
    ----------
    kind
        "water" or "coal".

    Returns
    -------
    validator
        For an `Annotated` float.
    """

    def read(value: object) -> float:
        if isinstance(value, str) and value.strip().casefold() == "full":
            return math.inf
        if not isinstance(value, str):
            raise ValueError(f"write 'full' or an amount as in '{units.KINDS[kind].example}'")
        number = units.parse(kind, value)
        if number < 0:
            raise ValueError("allowed is 0 and above, or 'full'")
        return number

    return Reading(read, takes=f"{kind}, or `full`", kind=kind)


def _read_clock(value: object) -> float:
    if isinstance(value, dt.time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    text = value.strip() if isinstance(value, str) else ""
    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text, re.ASCII)
    if match is None or int(match[1]) > 24 or (int(match[1]) == 24 and match[2] != "00"):
        raise ValueError("write a time of day as in '07:30', from 00:00 to 24:00")
    return int(match[1]) * 3600.0 + int(match[2]) * 60.0


def _read_date(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return _within(value)
    text = value.strip() if isinstance(value, str) else ""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise ValueError("write a date as year-month-day, as in 2027-05-22")
    try:
        return _within(dt.date.fromisoformat(text))
    except ValueError:
        raise ValueError("no such day from 1800 to 2999; as in 2027-05-22") from None


def _within(date: dt.date) -> dt.date:
    """The date, if it lies in the age of steam or not far beyond ours."""
    if not 1800 <= date.year <= 2999:
        raise ValueError("write a year from 1800 to 2999")
    return date


def angle(limit: float) -> Reading:
    """A latitude or longitude.

    Parameters
    ----------
    limit
        Largest of either sign. [°]

    Returns
    -------
    validator
        For an `Annotated` float.
    """

    def read(value: object) -> float:
        text = str(value).strip()
        if not re.fullmatch(r"[+-]?\d+(\.\d+)?", text, re.ASCII) or abs(float(text)) > limit:
            raise ValueError(f"write decimal degrees from -{limit:g} to {limit:g}")
        return float(text)

    return Reading(read, takes=f"degrees, -{limit:g} to {limit:g}")


def _no_control(text: str) -> str:
    if any(ord(letter) < 32 or 127 <= ord(letter) < 160 for letter in text):
        raise ValueError("control characters are not allowed; retype the text")
    return text


Text = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200),
    AfterValidator(_no_control),
]
Clock = Annotated[float, Reading(_read_clock, takes="clock, 00:00 to 24:00", kind="clock")]
Date = Annotated[dt.date, Reading(_read_date, takes="date")]
Along = Annotated[float, quantity("length", "0 m", "5000 km")]
Weight = Annotated[float, Field(ge=0, le=1e6, strict=True)]
