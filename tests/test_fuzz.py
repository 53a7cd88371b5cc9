"""Whatever bytes come in, a reader takes them or says what is wrong with them."""

import random
from pathlib import Path

import pytest
from fuzzing import READERS, altered, examples, once
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.units import KINDS, parse, parse_price

#: Executions of each reader in the short run; the nightly command makes 100,000 or more.
RUNS = 150


@pytest.mark.parametrize("name", READERS)
def test_altered_examples_are_read_or_refused(name: str, tmp_path: Path) -> None:
    chance = random.Random(name)
    for _ in range(RUNS):
        once(name, tmp_path, altered(name, chance))


@pytest.mark.parametrize("name", [n for n in READERS if n not in {"units", "prices"}])
def test_some_example_is_read_and_some_is_refused(name: str, tmp_path: Path) -> None:
    taken = {once(name, tmp_path, data) for data in (*examples(name), b"\xff", GOOD.get(name, b""))}
    assert taken == {True, False}


GOOD = {
    "supply.csv": b"name,kind,at,water_available,water_rate\nA,tap,3 km,900 L,60 L/min\n",
    "bridges.csv": b"name,at,limit\nA,3 km,40 t\n",
    "places.csv": b"name,at\nA,3 km\n",
    "crossings.csv": b"name,at,telephone\nA,3 km,1234\n",
    "stores.csv": b"name,kind,water,water_rate\nA,truck,900 L,60 L/min\n",
    "surfaces.csv": b"from,to,surface\n1 km,3 km,gravel\n",
    "demand.csv": b"from,to,duration,water,coal\n0 km,12 km,2 h,300 L,40 kg\n",
}


@settings(deadline=None, max_examples=300)
@given(kind=st.sampled_from(sorted(KINDS)), text=st.text(max_size=40))
def test_no_text_is_a_quantity_by_accident(kind: str, text: str) -> None:
    try:
        value = parse(kind, text)
    except ValueError:
        return
    assert any(letter in "0123456789" for letter in text)
    assert abs(value) < float("inf")


@settings(deadline=None, max_examples=200)
@given(
    kind=st.sampled_from(sorted(KINDS)),
    number=st.floats(allow_nan=True, allow_infinity=True),
    unit=st.sampled_from(["km", "US gal", "t", "%", "", "psi", "h", "degF"]),
)
def test_every_number_a_quantity_takes_is_finite(kind: str, number: float, unit: str) -> None:
    try:
        value = parse(kind, f"{number!r} {unit}")
    except ValueError:
        return
    assert abs(value) < float("inf")


@pytest.mark.parametrize(
    ("kind", "text"), [("length", "1.7e308 km"), ("grade", "1 in 1e-320"), ("mass", "1e400 t")]
)
def test_a_number_beyond_all_numbers_is_refused(kind: str, text: str) -> None:
    with pytest.raises(ValueError, match="the number is too large"):
        parse(kind, text)


@pytest.mark.parametrize(("kind", "text"), [(None, "1e400 USD"), ("coal", "1e308 USD/g")])
def test_a_price_beyond_all_numbers_is_refused(kind: str | None, text: str) -> None:
    with pytest.raises(ValueError, match="the number is too large"):
        parse_price(kind, text, "USD")
