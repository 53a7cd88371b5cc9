"""Old wording read: figures, ambiguous words, money."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulplan.period.words import meanings, read_money, read_statement

LB = 0.45359237


@pytest.mark.parametrize(
    ("kind", "text", "words", "bound"),
    [
        ("coal", "a ton of coal", {"ton"}, "equal"),
        ("coal", "5 to 6 cwt", {"cwt"}, "equal"),
        ("coal", "2 cwt 1 qr", {"cwt"}, "equal"),
        ("mass", "19 tons 18 cwt", {"ton", "cwt"}, "equal"),
        ("water", "466 gallons", {"gallon"}, "equal"),
        ("water", "10 barrels", {"barrel"}, "equal"),
        ("duration", "2 days", {"day"}, "equal"),
        ("coal", "at most 1 ton", {"ton"}, "at most"),
        ("speed", "about 3½ mph", set(), "about"),
        ("coal", "252 lb", set(), "equal"),
        ("coal", "120 bushels", {"bushel"}, "equal"),
        ("coal", "1 cord of wood", {"cord"}, "equal"),
    ],
)
def test_a_source_s_wording_keeps_its_ambiguous_words(
    kind: str, text: str, words: set[str], bound: str
) -> None:
    said = read_statement(kind, text)
    assert said.words == words
    assert said.bound == bound
    assert said.text == text


@pytest.mark.parametrize(
    ("spelt", "figures"),
    [
        ("eleven hours", "11 hours"),
        ("about Thirty-one hours", "about 31 hours"),
        ("two and a half days", "2½ days"),
        ("half a day", "½ days"),
        ("a quarter of an hour", "¼ h"),
        ("five to six hours", "5 to 6 hours"),
        ("one hour twenty minutes", "1 hour 20 minutes"),
    ],
)
def test_numbers_spelt_out_are_as_those_in_figures(spelt: str, figures: str) -> None:
    one, other = read_statement("duration", spelt), read_statement("duration", figures)
    assert one.text == spelt
    assert (one.terms, one.bound) == (other.terms, other.bound)
    assert one.spread == pytest.approx(other.spread)


def test_two_hundredweight_and_a_quarter_are_252_lb_of_112() -> None:
    # Phillimore, Motor Road Transport (1920), p. 103: 2 cwt 1 qr a day.
    said = read_statement("coal", "2 cwt 1 qr")
    assert float(said.value({"cwt": np.array(112 * LB)})) == pytest.approx(252 * LB)


@pytest.mark.parametrize(
    ("text", "spread"),
    [
        ("22 hours", 0.5 / 22),
        ("30 hours", 2.5 / 30),
        ("15¼ h", 0.125 / 15.25),
        ("2.5 hours", 0.05 / 2.5),
        ("5 to 6 hours", 0.5 / 5.5),
    ],
)
def test_the_spread_is_half_the_printed_step(text: str, spread: float) -> None:
    assert read_statement("duration", text).spread == pytest.approx(spread)


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("coal", "3 scuttles", "or the source's own word: ton"),
        ("coal", "plenty", "no figure with a unit"),
        ("coal", "6 to 5 cwt", "runs backwards"),
        ("water", "0 gallons", "nought"),
        ("coal", "12", "no figure with a unit"),
    ],
)
def test_what_cannot_be_read_is_told_with_what_may_stand(kind: str, text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read_statement(kind, text)


def test_a_hundredweight_and_a_barrel_have_their_sizes() -> None:
    sizes = {m.label: m.typical for word in ("cwt", "barrel", "ton") for m in meanings(word)}
    assert sizes["hundredweight of 112 lb"] == pytest.approx(112 * LB)
    assert sizes["long ton (2,240 lb)"] == pytest.approx(2240 * LB)
    # A museum's horse tank wagon: 10 barrels are 550 gallons.
    gallon = 3.785411784 * 0.999
    assert sizes["tank wagon barrel of 55 US gallons"] == pytest.approx(55 * gallon)


@pytest.mark.parametrize("country", ["uk", "us", "colony", "unknown"])
@pytest.mark.parametrize(
    "word", ["ton", "cwt", "gallon", "barrel", "cord", "bushel", "bale", "day"]
)
def test_the_weights_of_a_word_s_readings_sum_to_one(word: str, country: str) -> None:
    assert sum(m.weights[country] for m in meanings(word)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("text", "amount", "currency"),
    [
        ("£80 4s", 80 * 240 + 48, "GBP"),
        ("19s 7d", 235, "GBP"),
        ("13¼d", 13.25, "GBP"),
        ("5.52d", 5.52, "GBP"),
        ("$8,000", 8000, "USD"),
    ],
)
def test_old_money_is_read(text: str, amount: float, currency: str) -> None:
    money = read_money(text)
    assert money.amount == pytest.approx(amount)
    assert money.currency == currency


@pytest.mark.parametrize("text", ["", "lots", "80", "£"])
def test_what_is_no_money_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no sum of money"):
        read_money(text)


@given(st.integers(1, 9999), st.sampled_from(["lb", "long ton", "short ton", "kg"]))
def test_plain_units_are_read_as_the_scenario_reads_them(number: int, unit: str) -> None:
    from haulplan.units import parse

    said = read_statement("mass", f"{number} {unit}")
    assert float(said.value({})) == pytest.approx(parse("mass", f"{number} {unit}"))
