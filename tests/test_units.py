"""Reading quantities, refusing ambiguous words, and showing figures with their units."""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulplan.units import (
    ATMOSPHERE,
    KINDS,
    UNIT_SYSTEMS,
    VOCABULARY,
    WATER_DENSITY,
    DisplayUnit,
    parse,
    parse_price,
)

# Published definitions, from which every factor below is worked out exactly.
YARD = Fraction(9144, 10000)  # yard and pound agreement of 1959 [m]
POUND = Fraction(45359237, 100000000)  # the same [kg]
GRAVITY = Fraction(980665, 100000)  # standard gravity, 3rd CGPM 1901 [m/s2]
FOOT, INCH, MILE = YARD / 3, YARD / 36, 1760 * YARD
SHORT_TON, LONG_TON = 2000 * POUND, 2240 * POUND
US_GALLON = 231 * INCH**3  # Queen Anne's wine gallon, NIST SP 811 (2008) app. B (from memory)
IMPERIAL_GALLON = Fraction(454609, 100000000)  # UK Weights and Measures Act 1985 [m3]
LITRE = Fraction(1, 1000)  # 12th CGPM 1964 [m3]
PSI = POUND * GRAVITY / INCH**2

FACTORS = [
    ("length", "m", 1, 1e-15),
    ("length", "km", 1000, 1e-15),
    ("length", "cm", Fraction(1, 100), 1e-15),
    ("length", "mm", Fraction(1, 1000), 1e-15),
    ("length", "yd", YARD, 1e-15),
    ("length", "ft", FOOT, 1e-15),
    ("length", "in", INCH, 1e-15),
    ("length", "mi", MILE, 1e-15),
    ("length", "mile", MILE, 1e-15),
    ("length", "chain", 22 * YARD, 1e-15),  # four rods, poles or perches; from memory
    ("mass", "kg", 1, 1e-15),
    ("mass", "g", Fraction(1, 1000), 1e-15),
    ("mass", "t", 1000, 1e-15),
    ("mass", "tonne", 1000, 1e-15),
    ("mass", "lb", POUND, 1e-15),
    ("mass", "short ton", SHORT_TON, 1e-15),
    ("mass", "long ton", LONG_TON, 1e-15),
    ("mass", "short cwt", 100 * POUND, 1e-15),
    ("mass", "long cwt", 112 * POUND, 1e-15),
    ("coal", "short ton", SHORT_TON, 1e-15),
    ("water", "kg", 1, 1e-15),
    ("water", "lb", POUND, 1e-15),
    ("pressure", "psi", PSI, 1e-9),
    ("pressure", "psig", PSI, 1e-9),
    ("pressure", "bar", 100000, 1e-15),
    ("pressure", "kPa", 1000, 1e-15),
    ("speed", "mph", MILE / 3600, 1e-15),
    ("speed", "km/h", Fraction(10, 36), 1e-15),
    ("speed", "m/s", 1, 1e-15),
    ("speed", "ft/min", FOOT / 60, 1e-15),
    ("duration", "s", 1, 1e-15),
    ("duration", "min", 60, 1e-15),
    ("duration", "h", 3600, 1e-15),
    ("duration", "day", 86400, 1e-15),
    ("area", "m2", 1, 1e-15),
    ("area", "sq ft", FOOT**2, 1e-15),
    ("coal rate", "lb/min", POUND / 60, 1e-15),
    ("coal rate", "long ton/h", LONG_TON / 3600, 1e-15),
    ("coal rate", "long cwt/h", 112 * POUND / 3600, 1e-15),
    # Btu of the International Table: exactly 2326 J/kg per Btu/lb (ISO 31-4, from memory).
    ("heating value", "Btu/lb", 2326, 2e-7),
    ("heating value", "MJ/kg", 1000000, 1e-15),
    ("heating value", "kJ/kg", 1000, 1e-15),
    # The thermochemical calorie, NIST SP 811 (from memory).
    ("heating value", "kcal/kg", 4184, 1e-15),
    ("grade", "%", Fraction(1, 100), 1e-15),
    ("grade", "percent", Fraction(1, 100), 1e-15),
    ("grade", "ft/mi", Fraction(1, 5280), 1e-15),
    ("grade", "m/km", Fraction(1, 1000), 1e-15),
    ("share", "%", Fraction(1, 100), 1e-15),
    ("solids", "ppm", Fraction(1, 1000000), 1e-15),
    # Milligrams in a litre, which is taken to weigh a kilogram.
    ("solids", "mg/l", Fraction(1, 1000000), 1e-15),
    ("firing rate", "lb/sq ft/h", POUND / FOOT**2 / 3600, 1e-14),
    ("firing rate", "kg/m2/h", Fraction(1, 3600), 1e-15),
    ("mass per mass", "kg/kg", 1, 1e-15),
    ("mass per mass", "lb/lb", 1, 1e-15),
]
VOLUMES = [
    ("US gal", US_GALLON),
    ("imp gal", IMPERIAL_GALLON),
    ("L", LITRE),
    ("litre", LITRE),
    ("liter", LITRE),
    ("m3", Fraction(1)),
    ("m³", Fraction(1)),
    ("ft3", FOOT**3),
]


@pytest.mark.parametrize(("kind", "unit", "factor", "relative"), FACTORS)
def test_a_unit_has_its_defined_size(
    kind: str, unit: str, factor: Fraction | int, relative: float
) -> None:
    assert parse(kind, f"1 {unit}") == pytest.approx(float(factor), rel=max(relative, 1e-14))
    assert parse(kind, f"250 {unit}") == pytest.approx(250 * float(factor), rel=relative + 1e-14)


@pytest.mark.parametrize(("unit", "volume"), VOLUMES)
def test_a_volume_of_water_is_its_mass(unit: str, volume: Fraction) -> None:
    mass = float(volume) * WATER_DENSITY
    assert parse("water", f"1 {unit}") == pytest.approx(mass, rel=1e-14)
    assert parse("water rate", f"12 {unit}/min") == pytest.approx(mass / 5, rel=1e-14)
    assert parse("water rate", f"12 {unit}/h") == pytest.approx(mass / 300, rel=1e-14)
    assert parse("water rate", f"12 {unit}/s") == pytest.approx(12 * mass, rel=1e-14)


def test_an_imperial_gallon_of_water_weighs_ten_pounds() -> None:
    """Weights and Measures Act 1878: 10 lb at 62 degF, weighed in air with brass weights."""
    assert parse("water", "1 imp gal") / float(POUND) == pytest.approx(10, rel=2e-3)
    ratio = parse("water", "1 imp gal") / parse("water", "1 US gal")
    assert ratio == pytest.approx(1.20095, abs=5e-6)  # NIST SP 811 (from memory)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        ("32 degF", 273.15),
        ("212 degF", 373.15),
        ("60 degF", 288.7056),
        ("-40 °F", 233.15),
        ("0 degC", 273.15),
        ("100 °C", 373.15),
        ("288 K", 288.0),
    ],
)
def test_temperatures_have_their_own_zero(text: str, kelvin: float) -> None:
    """Celsius and Fahrenheit scales, NIST SP 811 app. B (from memory)."""
    assert parse("temperature", text) == pytest.approx(kelvin, abs=5e-5)


def test_the_atmosphere_is_the_standard_one() -> None:
    assert ATMOSPHERE == 101325  # 10th CGPM 1954, ISO 2533:1975
    assert ATMOSPHERE / float(PSI) == pytest.approx(14.696, abs=5e-4)


@pytest.mark.parametrize(("kind", "unit"), [(k, u) for k, v in KINDS.items() for u in v.units])
def test_every_listed_unit_can_be_read_in_any_case(kind: str, unit: str) -> None:
    value = parse(kind, f"3 {unit}")
    assert math.isfinite(value)
    assert parse(kind, f"3 {unit.upper()}") == value
    assert parse(kind, f"  3.0   {unit.title()} ") == value


@pytest.mark.parametrize("kind", list(KINDS))
def test_the_example_of_a_kind_can_be_read(kind: str) -> None:
    assert parse(kind, KINDS[kind].example) > 0


def test_every_kind_has_a_factor_checked() -> None:
    """Every kind but temperature, and volumes of water, has a row above."""
    rows = {kind for kind, *_ in FACTORS} | {"temperature", "water rate"}
    assert rows == set(KINDS)


# --- words that mean several things

GALLON = ("US gal", "imp gal")
TON = ("short ton", "long ton", "'t'")
CWT = ("short cwt", "long cwt")
AMBIGUOUS = [
    *((word, GALLON) for word in ("gal", "gals", "gallon", "gallons")),
    *((word, TON) for word in ("ton", "tons")),
    *((word, CWT) for word in ("cwt", "cwts", "hundredweight", "hundredweights")),
    *((word, GALLON) for word in ("barrel", "barrels", "bbl", "bbls")),
    *((word, ("lb", "kg")) for word in ("bushel", "bushels", "bu", "cord", "cords")),
    *(
        (word, ("nominal", "indicated", "brake"))
        for word in ("hp", "horsepower", "horsepowers", "horse power", "nhp")
    ),
    ("psia", ("psi", "bar", "kPa")),
]
SPELLINGS = [
    (spelled, choices)
    for word, choices in AMBIGUOUS
    for spelled in sorted({word, word.upper(), word.title(), word.swapcase()})
]


@pytest.mark.parametrize(("word", "choices"), SPELLINGS)
@pytest.mark.parametrize("kind", ["water", "mass", "coal", "pressure", "length"])
def test_an_ambiguous_word_is_refused_with_its_choices(
    kind: str, word: str, choices: tuple[str, ...]
) -> None:
    for text in (f"12 {word}", f"12{word}", f"  12  {word}  "):
        with pytest.raises(ValueError, match=re.escape(choices[0])) as refused:
            parse(kind, text)
        assert [choice for choice in choices if choice not in str(refused.value)] == []


@pytest.mark.parametrize("per", ["s", "min", "h"])
@pytest.mark.parametrize(
    ("kind", "word", "choices"),
    [
        ("water rate", "gal", GALLON),
        ("water rate", "Gallons", GALLON),
        ("water rate", "bbl", GALLON),
        ("coal rate", "tons", TON),
        ("coal rate", "CWT", CWT),
        ("coal rate", "bushels", ("lb", "kg")),
    ],
)
def test_an_ambiguous_word_is_refused_in_a_rate(
    kind: str, word: str, choices: tuple[str, ...], per: str
) -> None:
    for joint in ("/", " / ", " per "):
        with pytest.raises(ValueError, match=re.escape(choices[0])) as refused:
            parse(kind, f"30 {word}{joint}{per}")
        assert [choice for choice in choices if choice not in str(refused.value)] == []


@pytest.mark.parametrize(
    ("kind", "text", "choices"),
    [
        ("water", "0.012 USD/gal", GALLON),
        ("water", "0.012 USD per gallon", GALLON),
        ("water", "1 USD/barrel", GALLON),
        ("coal", "220 USD/ton", TON),
        ("coal", "220 USD per Tons", TON),
        ("coal", "11 USD/cwt", CWT),
    ],
)
def test_an_ambiguous_word_is_refused_in_a_price(
    kind: str, text: str, choices: tuple[str, ...]
) -> None:
    with pytest.raises(ValueError, match=re.escape(choices[0])) as refused:
        parse_price(kind, text, "USD")
    assert [choice for choice in choices if choice not in str(refused.value)] == []


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("water", "260 US gal"),
        ("water", "260 us gals"),
        ("water", "260 Imp Gal"),
        ("water", "260 litres"),
        ("mass", "12 long tons"),
        ("mass", "12 short  ton"),
        ("mass", "12 tonnes"),
        ("mass", "3 long cwt"),
        ("coal", "900 lbs"),
        ("length", "3 miles"),
        ("length", "40 chains"),
        ("duration", "2 hours"),
        ("coal rate", "2 lb per min"),
        ("coal rate", "2 long tons/h"),
        ("water rate", "30 US gals / min"),
    ],
)
def test_words_that_mean_one_thing_are_read(kind: str, text: str) -> None:
    assert parse(kind, text) > 0


# --- grammar


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        ("length", "", "no number with a unit; write it as in '12.4 km'"),
        ("length", "km", "no number with a unit"),
        ("length", "far", "no number with a unit"),
        ("length", "12", "the unit is missing; write it as in '12.4 km'"),
        ("coal", "1200", "the unit is missing; write it as in '1200 lb'"),
        ("length", "12 furlongs", "'furlongs' is not one of: m, km, ft"),
        ("length", "12 lb", "'lb' is not one of"),
        ("water", "12 Celsius", "US gal, imp gal, l"),
        ("mass", "1,200 lb", "without thousands marks"),
        ("mass", "1'200 lb", "without thousands marks"),
        ("mass", "1\u2019200 lb", "without thousands marks"),
        ("mass", "1_200 lb", "without thousands marks"),
        ("mass", "1, 200 lb", "without thousands marks"),
        ("length", "12,5 km", "a point for decimals"),
        ("length", "1 200 m", "is not one of"),
        ("length", "12.5.3 km", "is not one of"),
        ("length", "--5 km", "no number with a unit"),
        ("length", "5 -5 km", "is not one of"),
        ("length", "nan km", "no number with a unit"),
        ("length", "inf km", "no number with a unit"),
        ("length", "1e999 km", "too large"),
        ("length", "0x10 km", "is not one of"),
        ("length", "\uff11\uff12 km", "no number with a unit"),
        ("length", "\u0661\u0662 km", "no number with a unit"),
        ("length", "12 km km", "is not one of"),
        ("length", "1 in 12", "is not one of"),
        ("grade", "1 in 0", "needs n above zero"),
        ("grade", "1 in -9", "needs n above zero"),
        ("grade", "2 in 9", "is not one of"),
        ("duration", "1 h 10", "is not one of: s, min"),
        ("duration", "1 h and 10 min", "write a duration as"),
        ("duration", "1 h 10 min late", "write a duration as"),
        ("duration", "10 m", "is not one of: s, min"),
        ("speed", "3", "write it as in '3.2 mph'"),
        ("heating value", "12800 Btu", "is not one of: Btu/lb, MJ/kg, kJ/kg"),
    ],
)
def test_what_cannot_be_read_says_what_can(kind: str, text: str, message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        parse(kind, text)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("grade", "1 in 14", 1 / 14),
        ("grade", "-1 in 14", -1 / 14),
        ("grade", "- 1 IN 12.5", -0.08),
        ("grade", "-4 %", -0.04),
        ("grade", "0 %", 0.0),
        ("duration", "1 h 10 min", 4200.0),
        ("duration", "1 h 10 min 30 s", 4230.0),
        ("duration", "1 hour 5 minutes", 3900.0),
        ("length", "+1.5e3 m", 1500.0),
        ("length", ".5 km", 500.0),
        ("length", "5. km", 5000.0),
        ("length", "-20 ft", -6.096),
        ("mass per mass", "0.002", 0.002),
    ],
)
def test_the_grammar_reads(kind: str, text: str, value: float) -> None:
    assert parse(kind, text) == pytest.approx(value, rel=1e-12)


@given(st.text(max_size=30), st.sampled_from(sorted(KINDS)))
def test_any_text_is_read_as_a_number_or_refused_in_words(text: str, kind: str) -> None:
    try:
        outcome: float | str = parse(kind, text)
    except ValueError as refusal:
        outcome = str(refusal)
    assert len(outcome) > 10 if isinstance(outcome, str) else math.isfinite(outcome)


# --- prices


@pytest.mark.parametrize(
    ("kind", "text", "amount"),
    [
        (None, "45 USD", 45.0),
        (None, "45USD", 45.0),
        ("water", "2 USD/kg", 2.0),
        ("water", "0.01 USD/US gal", 0.01 / (float(US_GALLON) * WATER_DENSITY)),
        ("water", "3 USD per m3", 3 / WATER_DENSITY),
        ("coal", "220 USD/short ton", 220 / float(SHORT_TON)),
        ("coal", "260 USD/long ton", 260 / float(LONG_TON)),
        ("coal", "0 USD/lb", 0.0),
    ],
)
def test_a_price_is_read_per_kilogram(kind: str | None, text: str, amount: float) -> None:
    assert parse_price(kind, text, "USD") == pytest.approx(amount, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        (None, "45", "no price; write it as in '45 USD'"),
        (None, "$45", "no price"),
        (None, "45 usd", "no price"),
        (None, "45 GBP", "the price is in GBP, the scenario in USD"),
        (None, "45 USD/lb", "write it as in '45 USD'"),
        ("coal", "45 USD", "write it as in '0.5 USD/"),
        ("coal", "45 USD/US gal", "is not one of"),
        ("coal", "45 USD/", "no price"),
    ],
)
def test_a_price_that_cannot_be_read_says_why(kind: str | None, text: str, message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        parse_price(kind, text, "USD")


# --- showing figures

#: The kinds a unit system shows, and the kind of quantity that reads them again. Pull is
#: only ever shown.
SHOWN = {
    "distance": "length",
    "height": "length",
    "speed": "speed",
    "water": "water",
    "coal": "coal",
    "mass": "mass",
    "pressure": "pressure",
}
UNITS = [(system, kind) for system in UNIT_SYSTEMS for kind in SHOWN]


def shown(system: str, kind: str) -> DisplayUnit:
    unit = getattr(UNIT_SYSTEMS[system], kind)
    assert isinstance(unit, DisplayUnit)
    return unit


FIGURES = st.floats(-1e7, 1e7)


@pytest.mark.parametrize(("system", "kind"), UNITS)
@given(si=FIGURES)
def test_a_shown_figure_reads_back_as_itself(system: str, kind: str, si: float) -> None:
    unit = shown(system, kind)
    again = parse(SHOWN[kind], f"{unit.value(si)!r} {unit.label}")
    assert again == pytest.approx(si, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("system", "kind"), UNITS)
@given(si=FIGURES)
def test_a_rounded_figure_reads_back_within_half_its_last_digit(
    system: str, kind: str, si: float
) -> None:
    unit = shown(system, kind)
    again = parse(SHOWN[kind], unit.text(si).replace(",", ""))
    assert abs(again - si) <= 0.5 * unit.size * 10**-unit.decimals * (1 + 1e-6) + 1e-9 * abs(si)


@pytest.mark.parametrize(
    ("system", "size"),
    [("us", POUND * GRAVITY), ("imperial", POUND * GRAVITY), ("metric", Fraction(1000))],
)
def test_pull_is_shown_in_its_defined_unit(system: str, size: Fraction) -> None:
    assert UNIT_SYSTEMS[system].pull.size == pytest.approx(float(size), rel=1e-12)


@pytest.mark.parametrize("si", [-1e-9, -0.0, 0.0, 1e-9])
def test_nothing_is_shown_as_minus_nothing(si: float) -> None:
    for system in UNIT_SYSTEMS.values():
        assert not system.water.number(si).startswith("-")
        assert system.water.text(si) == f"0 {system.water.label}"


def test_thousands_are_marked_and_never_read_back_as_something_else() -> None:
    text = UNIT_SYSTEMS["us"].coal.text(5443.10844)
    assert text == "12,000 lb"
    with pytest.raises(ValueError, match="without thousands marks"):
        parse("coal", text)


def test_every_quantity_of_the_vocabulary_can_be_shown() -> None:
    plain = {"duration", "grade", "money"}
    for term in VOCABULARY.values():
        assert term.kind in plain or isinstance(
            getattr(UNIT_SYSTEMS["us"], term.kind, None), DisplayUnit
        )
