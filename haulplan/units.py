"""Quantities at the two edges: reading text with units, printing figures with units.

Inside haulplan every figure is an SI float; water and coal are masses in kilograms.
Text enters through `parse`, whose small grammar stands before pint and refuses the
trade's ambiguous words (gallon, ton, hundredweight, barrel, horsepower ...) instead of
guessing. Figures leave through a `UnitSystem`, which labels every one of them.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pint import UnitRegistry

__all__ = [
    "ATMOSPHERE",
    "KINDS",
    "UNIT_SYSTEMS",
    "VOCABULARY",
    "WATER_DENSITY",
    "DisplayUnit",
    "Term",
    "UnitSystem",
    "parse",
    "parse_price",
]

#: Density of feed water, 8.337 lb per US gallon at 60 °F (IAPWS-IF97). [kg m⁻³]
WATER_DENSITY: Final = 999.0
#: Standard atmosphere at sea level (ISO 2533:1975). [Pa]
ATMOSPHERE: Final = 101325.0

_LENGTH = {
    "m": "meter", "km": "kilometer", "ft": "foot", "mi": "mile", "mile": "mile",
    "yd": "yard", "in": "inch", "mm": "millimeter", "cm": "centimeter", "chain": "surveyors_chain",
}  # fmt: skip
_MASS = {
    "kg": "kilogram", "g": "gram", "t": "metric_ton", "tonne": "metric_ton", "lb": "pound",
    "short ton": "short_ton", "long ton": "long_ton",
    "short cwt": "short_hundredweight", "long cwt": "long_hundredweight",
}  # fmt: skip
_VOLUME = {
    "us gal": "gallon", "imp gal": "imperial_gallon", "l": "liter", "litre": "liter",
    "liter": "liter", "m3": "meter**3", "m³": "meter**3", "ft3": "foot**3",
}  # fmt: skip
_TIME = {
    "s": "second", "min": "minute", "minute": "minute", "h": "hour", "hour": "hour",
    "day": "day",
}  # fmt: skip


def _rates(amounts: Mapping[str, str]) -> dict[str, str]:
    return {f"{a}/{t}": f"({u})/{_TIME[t]}" for a, u in amounts.items() for t in ("s", "min", "h")}


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """A kind of quantity: its SI unit, accepted spellings and an example."""

    si: str
    units: Mapping[str, str]
    example: str


KINDS: Final[Mapping[str, _Kind]] = MappingProxyType(
    {
        "length": _Kind(si="meter", units=_LENGTH, example="12.4 km"),
        "mass": _Kind(si="kilogram", units=_MASS, example="16.5 short ton"),
        "water": _Kind(si="kilogram", units={**_VOLUME, **_MASS}, example="260 US gal"),
        "coal": _Kind(si="kilogram", units=_MASS, example="1200 lb"),
        "pressure": _Kind(
            si="pascal",
            units={"psi": "psi", "psig": "psi", "bar": "bar", "barg": "bar", "kpa": "kPa"},
            example="150 psi",
        ),
        "speed": _Kind(
            si="meter/second",
            units={
                "mph": "mile/hour",
                "km/h": "kilometer/hour",
                "m/s": "meter/second",
                "ft/min": "foot/minute",
            },
            example="3.2 mph",
        ),
        "duration": _Kind(si="second", units=_TIME, example="12 min"),
        "water rate": _Kind(
            si="kilogram/second", units=_rates({**_VOLUME, **_MASS}), example="30 US gal/min"
        ),
        "coal rate": _Kind(si="kilogram/second", units=_rates(_MASS), example="40 lb/min"),
        "area": _Kind(
            si="meter**2",
            units={"m2": "meter**2", "m²": "meter**2", "sq ft": "foot**2", "ft2": "foot**2"},
            example="9.5 sq ft",
        ),
        "heating value": _Kind(
            si="joule/kilogram",
            units={
                "btu/lb": "Btu/pound",
                "mj/kg": "megajoule/kilogram",
                "kj/kg": "kilojoule/kilogram",
                "kcal/kg": "kilocalorie/kilogram",
            },
            example="12800 Btu/lb",
        ),
        "temperature": _Kind(
            si="kelvin",
            units={"degf": "degF", "°f": "degF", "degc": "degC", "°c": "degC", "k": "kelvin"},
            example="60 degF",
        ),
        "grade": _Kind(
            si="",
            units={"%": "percent", "percent": "percent", "ft/mi": "foot/mile", "m/km": "meter/km"},
            example="1 in 14",
        ),
        "solids": _Kind(si="", units={"ppm": "ppm", "mg/l": "ppm"}, example="180 ppm"),
        "share": _Kind(si="", units={"%": "percent", "percent": "percent"}, example="15 %"),
        "firing rate": _Kind(
            si="kilogram/meter**2/second",
            units={
                "lb/sq ft/h": "pound/foot**2/hour",
                "kg/m2/h": "kilogram/meter**2/hour",
                "kg/m²/h": "kilogram/meter**2/hour",
            },
            example="40 lb/sq ft/h",
        ),
        "mass per mass": _Kind(
            si="", units={"kg/kg": "", "lb/lb": "", "": ""}, example="0.002 kg/kg"
        ),
    }
)

_TON = "'short ton' (2,000 lb), 'long ton' (2,240 lb) or 't' (1,000 kg)"
_GALLON = "'US gal' (231 cu in) or 'imp gal' (10 lb of water)"
_AMBIGUOUS: Final = (
    (r"gals?|gallons?", f"a bare gallon is ambiguous; write {_GALLON}"),
    (r"tons?", f"a bare ton is ambiguous; write {_TON}"),
    (r"cwts?|hundredweights?", "write 'short cwt' (100 lb) or 'long cwt' (112 lb)"),
    (r"barrels?|bbls?", f"barrels of 31½, 42 and 55 gallons were all in use; write {_GALLON}"),
    (r"bushels?|bu", "a bushel of coal was 76 to 84 lb by place; write lb or kg"),
    (r"cords?", "a cord weighs 2,300 to 4,900 lb by species and dryness; write lb or kg"),
    (
        r"hp|horse ?powers?|nhp",
        "nominal, indicated and brake power differ; give cylinders, pressure and speeds instead",
    ),
    (r"psia", "give the gauge pressure (what the dial shows) in psi, bar or kPa"),
)

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(\D.*?)?\s*", re.ASCII)
_RATIO = re.compile(rf"\s*(-?)\s*1\s+in\s+({_NUMBER})\s*", re.ASCII | re.IGNORECASE)
_PARTS = re.compile(rf"({_NUMBER})\s*(h|hours?|min|minutes?|s)(?![a-z])\s*", re.ASCII)
_MARKED = re.compile(r"\d[,_'\u2019]\s?\d", re.ASCII)
_PRICE = re.compile(rf"\s*({_NUMBER})\s*([A-Z]{{3}})\s*(?:(?:/|per )\s*(.+?))?\s*", re.ASCII)


@cache
def _registry() -> "UnitRegistry[float]":
    from pint import UnitRegistry  # noqa: PLC0415  half the start-up time of --help

    registry: UnitRegistry[float] = UnitRegistry(cache_folder=None)
    registry.define("surveyors_chain = 22 * yard")  # pint's own chain is of survey feet
    return registry


@cache
def _to_si(kind: str, unit: str) -> tuple[float, float]:
    """Scale and offset that take a number in `unit` to SI."""
    registry = _registry()
    target = KINDS[kind].si
    expression = KINDS[kind].units[unit]
    if kind == "water" and unit in _VOLUME:
        return float(registry.Quantity(1.0, expression).to("m**3").magnitude) * WATER_DENSITY, 0.0
    if kind == "water rate" and unit.rsplit("/", 1)[0] in _VOLUME:
        volume = registry.Quantity(1.0, expression).to("m**3/s").magnitude
        return float(volume) * WATER_DENSITY, 0.0
    zero = float(registry.Quantity(0.0, expression).to(target).magnitude)
    one = float(registry.Quantity(1.0, expression).to(target).magnitude)
    return one - zero, zero


def _known_unit(kind: str, text: str) -> str:
    """The accepted spelling that `text` stands for, else ValueError with the choices."""
    folded = re.sub(r"\s+", " ", text.strip().casefold()).replace(" / ", "/").replace("per ", "/")
    folded = re.sub(r"\s*/\s*", "/", folded)
    units = KINDS[kind].units
    if folded in units:
        return folded
    head, slash, tail = folded.partition("/")
    for pattern, choices in _AMBIGUOUS:
        if re.fullmatch(pattern, head) or (slash and re.fullmatch(pattern, tail)):
            raise ValueError(choices)
    singular = head.removesuffix("s") + slash + tail
    if singular in units:
        return singular
    if text.strip() == "":
        raise ValueError(f"the unit is missing; write it as in '{KINDS[kind].example}'")
    close = get_close_matches(folded, list(units), n=1, cutoff=0.7)
    hint = f"; did you mean '{_label(close[0])}'?" if close else ""
    names = ", ".join(_label(unit) for unit in units)
    raise ValueError(f"the unit '{text.strip()}' is not one of: {names}{hint}")


def _label(unit: str) -> str:
    for plain, shown in (("us gal", "US gal"), ("btu", "Btu"), ("mj", "MJ"), ("kj", "kJ")):
        unit = unit.replace(plain, shown)
    return unit


def parse(kind: str, text: str) -> float:
    """A quantity written with its unit, as an SI float.

    Parameters
    ----------
    kind
        A key of `KINDS`, such as "length", "water" or "grade".
    text
        A number and a unit. Numbers use a point for decimals and no thousands mark.

    Returns
    -------
    value
        The quantity in the SI unit of its kind; water as mass. [SI]

    Raises
    ------
    ValueError
        If the number or the unit cannot be read, or the unit is ambiguous; the message
        names what is allowed.

    References
    ----------
    .. [1] Factors: NIST Special Publication 811 (2008), Appendix B, as carried by pint.

    Examples
    --------
    >>> round(parse("water", "100 US gal"), 2)
    378.16
    >>> round(parse("grade", "1 in 12"), 5)
    0.08333
    >>> parse("mass", "3 tons")
    Traceback (most recent call last):
        ...
    ValueError: a bare ton is ambiguous; write 'short ton' (2,000 lb), 'long ton' ...
    """
    if kind == "grade" and (ratio := _RATIO.fullmatch(text)):
        run = float(ratio[2])
        if run <= 0:
            raise ValueError("a grade of '1 in n' needs n above zero")
        return _finite((-1.0 if ratio[1] else 1.0) / run)
    if kind == "duration" and len(parts := _PARTS.findall(text)) > 1:
        if _PARTS.sub("", text).strip():
            raise ValueError("write a duration as '25 min' or '1 h 10 min'")
        return sum(parse("duration", f"{number} {unit}") for number, unit in parts)
    if _MARKED.search(text):
        raise ValueError("write numbers without thousands marks and with a point for decimals")
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise ValueError(f"no number with a unit; write it as in '{KINDS[kind].example}'")
    scale, offset = _to_si(kind, _known_unit(kind, match[2] or ""))
    return _finite(float(match[1]) * scale + offset)


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError("the number is too large")
    return value


def parse_price(kind: str | None, text: str, currency: str) -> float:
    """A sum of money, or a price per amount of water or coal.

    Parameters
    ----------
    kind
        "water" or "coal" for a price per amount, None for a plain sum.
    text
        For example "45 USD" or "0.012 USD/US gal".
    currency
        The scenario's currency code, which the text must use.

    Returns
    -------
    amount
        The sum, or the price per kilogram. [currency] or [currency kg⁻¹]

    Raises
    ------
    ValueError
        If the text is not a price in that currency, or lacks or has a unit wrongly.

    Examples
    --------
    >>> parse_price(None, "45 USD", "USD")
    45.0
    >>> round(parse_price("coal", "220 USD/short ton", "USD"), 4)
    0.2425
    """
    example = f"45 {currency}" if kind is None else f"0.5 {currency}/{_label(next(iter(_MASS)))}"
    match = _PRICE.fullmatch(text)
    if match is None:
        raise ValueError(f"no price; write it as in '{example}'")
    if match[2] != currency:
        raise ValueError(f"the price is in {match[2]}, the scenario in {currency}; convert it")
    if (match[3] is None) is not (kind is None):
        raise ValueError(f"write it as in '{example}'")
    if kind is None:
        return _finite(float(match[1]))
    scale, _ = _to_si(kind, _known_unit(kind, match[3]))
    return _finite(float(match[1]) / scale)


@dataclass(frozen=True, kw_only=True)
class Term:
    """One quantity of the vocabulary: its kind, SI unit and meaning."""

    kind: str
    si: str
    meaning: str


VOCABULARY: Final[Mapping[str, Term]] = MappingProxyType(
    {
        name: Term(kind=kind, si=si, meaning=meaning)
        for name, kind, si, meaning in (
            ("distance", "distance", "m", "how far along the route"),
            ("length", "distance", "m", "how long a stretch is"),
            ("elevation", "height", "m", "height above sea level"),
            ("climb", "height", "m", "sum of the rises of a stretch"),
            ("descent", "height", "m", "sum of the falls of a stretch"),
            ("grade", "grade", "-", "rise per length along the road, negative downhill"),
            ("speed", "speed", "m/s", "road speed"),
            ("duration", "duration", "s", "time taken"),
            ("water", "water", "kg", "feed water used or taken"),
            ("coal", "coal", "kg", "coal burnt or taken"),
            ("tank", "water", "kg", "usable water in the tank"),
            ("bunker", "coal", "kg", "usable coal in the bunkers"),
            ("aboard", "mass", "kg", "consumables aboard: tank water and bunker coal"),
            ("gross", "mass", "kg", "engine, train and all they carry"),
            ("pull", "pull", "N", "force at the rim of the driving wheels"),
            ("money", "money", "currency", "what is paid for water, coal and call-outs"),
        )
    }
)


@dataclass(frozen=True, kw_only=True)
class DisplayUnit:
    """How one kind of figure is shown: label, size of the unit in SI, decimals."""

    label: str
    size: float
    decimals: int

    def value(self, si: float) -> float:
        """The figure in this unit, unrounded."""
        return si / self.size

    def number(self, si: float) -> str:
        """The rounded figure without its unit, thousands marked."""
        text = f"{self.value(si):,.{self.decimals}f}"
        return text.removeprefix("-") if float(text.replace(",", "")) == 0 else text

    def text(self, si: float) -> str:
        """The rounded figure with its unit."""
        return f"{self.number(si)} {self.label}"


@dataclass(frozen=True, kw_only=True)
class UnitSystem:
    """The units one reader wants: `us`, `imperial` or `metric`."""

    name: str
    distance: DisplayUnit
    height: DisplayUnit
    speed: DisplayUnit
    water: DisplayUnit
    coal: DisplayUnit
    mass: DisplayUnit
    pull: DisplayUnit
    pressure: DisplayUnit


def _unit(label: str, size: float, decimals: int) -> DisplayUnit:
    return DisplayUnit(label=label, size=size, decimals=decimals)


_POUND = 0.45359237
_LITRE = WATER_DENSITY / 1000
UNIT_SYSTEMS: Final[Mapping[str, UnitSystem]] = MappingProxyType(
    {
        "us": UnitSystem(
            name="us",
            distance=_unit("mi", 1609.344, 1),
            height=_unit("ft", 0.3048, 0),
            speed=_unit("mph", 0.44704, 1),
            water=_unit("US gal", 3.785411784 * _LITRE, 0),
            coal=_unit("lb", _POUND, 0),
            mass=_unit("short ton", 2000 * _POUND, 2),
            pull=_unit("lbf", _POUND * 9.80665, 0),
            pressure=_unit("psi", 6894.757293168, 0),
        ),
        "imperial": UnitSystem(
            name="imperial",
            distance=_unit("mi", 1609.344, 1),
            height=_unit("ft", 0.3048, 0),
            speed=_unit("mph", 0.44704, 1),
            water=_unit("imp gal", 4.54609 * _LITRE, 0),
            coal=_unit("lb", _POUND, 0),
            mass=_unit("long ton", 2240 * _POUND, 2),
            pull=_unit("lbf", _POUND * 9.80665, 0),
            pressure=_unit("psi", 6894.757293168, 0),
        ),
        "metric": UnitSystem(
            name="metric",
            distance=_unit("km", 1000.0, 1),
            height=_unit("m", 1.0, 0),
            speed=_unit("km/h", 1 / 3.6, 1),
            water=_unit("L", _LITRE, 0),
            coal=_unit("kg", 1.0, 0),
            mass=_unit("t", 1000.0, 2),
            pull=_unit("kN", 1000.0, 1),
            pressure=_unit("bar", 1e5, 1),
        ),
    }
)
