"""The wording of old records: figures with words that meant more than one thing.

A scenario refuses a bare ton or gallon; a record must keep it, because the source has it.
Here it becomes a `Statement` whose value depends on the reading of its words.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from haulplan import units

__all__ = [
    "Bound",
    "Meaning",
    "Money",
    "Statement",
    "Term",
    "meanings",
    "read_money",
    "read_statement",
]

Array = NDArray[np.float64]
Bound = Literal["equal", "about", "at most", "at least"]


@dataclass(frozen=True, kw_only=True)
class Meaning:
    """One reading of a word: its size in SI and its weight by where the source was printed."""

    label: str
    low: float
    typical: float
    high: float
    weights: Mapping[str, float]
    status: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Term:
    """A number of one unit: `size` in SI, times the meaning of `word` where there is one."""

    number: float
    size: float
    word: str | None


@dataclass(frozen=True, kw_only=True)
class Statement:
    """A figure as a source states it.

    `spread` is half the step of its last printed figure, or half its stated range, as a
    share of the whole [-].
    """

    text: str
    kind: str
    terms: tuple[Term, ...]
    spread: float
    bound: Bound

    @property
    def words(self) -> frozenset[str]:
        """The ambiguous words in it."""
        return frozenset(term.word for term in self.terms if term.word is not None)

    def value(self, sizes: Mapping[str, Array]) -> Array:
        """The figure, with the size of each ambiguous word, all in SI."""
        total = np.zeros(())
        for term in self.terms:
            word = np.ones(()) if term.word is None else sizes[term.word]
            total = total + term.number * term.size * word
        return total


@dataclass(frozen=True, kw_only=True)
class Money:
    """A sum in dollars or in pence of the pound sterling."""

    text: str
    amount: float
    currency: Literal["GBP", "USD"]

    @property
    def size(self) -> float:
        """Units of `amount` in a pound or a dollar."""
        return 240.0 if self.currency == "GBP" else 1.0

    def shown(self, amount: float) -> str:
        """Another amount in the same money."""
        if self.currency == "USD":
            return f"${amount:,.2f}"
        if amount < 240:
            return f"{amount:.2f}d"
        return f"£{amount / 240:,.2f}"


@cache
def _table() -> Mapping[str, Mapping[str, object]]:
    text = (files("haulplan.period") / "readings.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def meanings(word: str) -> tuple[Meaning, ...]:
    """Every reading of an ambiguous word.

    Parameters
    ----------
    word
        Such as "ton" or "gallon".

    Returns
    -------
    meanings
        In the order of readings.toml.

    Raises
    ------
    KeyError
        If it is no ambiguous word.

    Examples
    --------
    >>> [meaning.label for meaning in meanings("gallon")]
    ['imperial gallon (10 lb of water)', 'US gallon (231 cu in)']
    """
    entry = _table()[word]
    kind = str(entry["kind"])
    options: list[dict[str, object]] = entry["options"]  # type: ignore[assignment]
    found = []
    for option in options:
        size = option["size"]
        triple = [str(s) for s in size] if isinstance(size, list) else [str(size)] * 3
        low, typical, high = (units.parse(kind, text) for text in triple)
        found.append(
            Meaning(
                label=str(option["label"]),
                low=low,
                typical=typical,
                high=high,
                weights={k: float(str(option[k])) for k in ("uk", "us", "colony", "unknown")},
                status=str(option["status"]),
                source=str(option["source"]),
            )
        )
    return tuple(found)


@cache
def _spellings(kind: str) -> Mapping[str, str]:
    """Spelling of each ambiguous word that a kind of figure may use, to the word."""
    allowed = {"coal": ("mass",), "mass": ("mass",), "water": ("water", "mass")}.get(kind, (kind,))
    return {
        spelling: word
        for word, entry in _table().items()
        if entry["kind"] in allowed
        for spelling in entry["spelled"]  # type: ignore[attr-defined]
    }


_FRACTIONS: Final = {"¼": 0.25, "½": 0.5, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}
_MARKS: Final = "".join(_FRACTIONS)
_FIGURE: Final = (
    r"(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?"
    rf"|\d+(?:\.\d+)?(?:\s*[{_MARKS}]|\s+[1-9]/[2-9])?|[{_MARKS}])"
)
_TERM: Final = re.compile(
    rf"({_FIGURE})(?:\s*(?:to|-|–|or)\s*({_FIGURE}))?\s*([^\d{_MARKS}]*)", re.ASCII
)
_BOUNDS: Final[tuple[tuple[str, Bound], ...]] = (
    (r"about|some|nearly|over|say|c\.|ca\.", "about"),
    (r"at most|up to|not over|under|not more than", "at most"),
    (r"at least|not less than", "at least"),
)
_ONES: Final = (
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_SPELT: Final = re.compile(
    rf"\b(?:({'|'.join(_TENS)})(?:[- ]({'|'.join(_ONES[:9])}))?|({'|'.join(reversed(_ONES))}))\b",
    re.IGNORECASE,
)
_ALONE: Final = re.compile(r"(?:a|an|one)\s+(?=[a-zA-Z])")


def read_statement(kind: str, text: str) -> Statement:
    """A figure in a source's own wording.

    Parameters
    ----------
    kind
        A key of `haulplan.units.KINDS`: "mass", "coal", "water", "duration", "length" ...
    text
        For example "a ton", "5 to 6 cwt", "2 cwt 1 qr", "about 3½ mph", "at most 1 ton".

    Returns
    -------
    statement
        With its ambiguous words kept open.

    Raises
    ------
    ValueError
        If it cannot be read; the message says what is allowed.

    Examples
    --------
    >>> said = read_statement("coal", "2 cwt 1 qr")
    >>> sorted(said.words), round(float(said.value({"cwt": np.array(112.0)})), 1)
    (['cwt'], 252.0)
    >>> said = read_statement("coal", "two and a half tons")
    >>> said.text, said.terms[0].number
    ('two and a half tons', 2.5)
    >>> read_statement("duration", "22 hours").spread
    0.022727272727272728
    """
    bound, rest = _qualified(text.strip())
    rest = _in_digits(rest)
    rest = _ALONE.sub("1 ", rest, count=1) if _ALONE.match(rest) else rest
    found = list(_TERM.finditer(rest))
    if not found or rest[: found[0].start()].strip() or any(not m[3].strip() for m in found):
        example = units.KINDS[kind].example
        raise ValueError(
            f"no figure with a unit; write it as the source does, as in 'about {example}'"
        )
    terms, half = [], 0.0
    for match in found:
        low = _number(match[1])
        high = _number(match[2]) if match[2] else low
        if high < low:
            raise ValueError("the range runs backwards; write the smaller figure first")
        size, word = _unit(kind, match[3])
        terms.append(Term(number=(low + high) / 2, size=size, word=word))
        step = (high - low) / 2 if match[2] else _step(match[1]) / 2
        half = step * _typical(terms[-1]) / max(terms[-1].number, 1e-12)
    total = sum(_typical(term) for term in terms)
    if total <= 0:
        raise ValueError("the figure is nought; leave the key out where the source says nothing")
    return Statement(
        text=text.strip(), kind=kind, terms=tuple(terms), spread=half / total, bound=bound
    )


def _typical(term: Term) -> float:
    word = 1.0 if term.word is None else meanings(term.word)[0].typical
    return term.number * term.size * word


def _qualified(text: str) -> tuple[Bound, str]:
    for pattern, bound in _BOUNDS:
        if match := re.match(rf"(?:{pattern})\s+", text, re.IGNORECASE):
            return bound, text[match.end() :]
    return "equal", text


def _in_digits(text: str) -> str:
    """Numbers up to ninety-nine that a source spells out, and its halves and quarters."""

    def digits(match: re.Match[str]) -> str:
        tens, one, alone = (word and word.lower() for word in match.groups())
        whole = 10 * (_TENS.index(tens) + 2) if tens else _ONES.index(alone) + 1
        return str(whole + (_ONES.index(one) + 1 if one else 0))

    text = _SPELT.sub(digits, text)
    for name, mark in (("half", "½"), ("quarter", "¼")):
        text = re.sub(rf"(?<=\d)\s+and\s+a\s+{name}\b", mark, text, flags=re.IGNORECASE)
        text = re.sub(
            rf"\b(?:a\s+)?{name}\s+(?:of\s+)?an?\s+", f"{mark} ", text, flags=re.IGNORECASE
        )
    return text


def _number(text: str) -> float:
    plain = text.replace(",", "").strip()
    if match := re.fullmatch(r"(\d+)\s+(\d)/(\d)", plain, re.ASCII):
        return int(match[1]) + int(match[2]) / int(match[3])
    mark = _FRACTIONS.get(plain[-1])
    if mark is None:
        return float(plain)
    return float(plain[:-1].strip() or 0) + mark


def _step(text: str) -> float:
    """The step of a printed figure; figures ending in noughts are taken as rounded to fives."""
    plain = text.replace(",", "").strip()
    if plain[-1] in _FRACTIONS or "/" in plain:
        return 0.25
    if "." in plain:
        return 10.0 ** -len(plain.partition(".")[2])
    noughts = len(plain) - len(plain.rstrip("0"))
    return 5.0 * 10.0 ** (noughts - 1) if noughts and plain.strip("0") else 1.0


def _unit(kind: str, text: str) -> tuple[float, str | None]:
    """Size in SI and ambiguous word of a unit."""
    name = re.sub(r"\s+", " ", text.strip(" ,.;")).removesuffix(" and").strip(" ,")
    name = re.sub(r"\s+of\s+(?:coal|water|wood|fuel|ore|wool)$", "", name)
    folded = name.casefold()
    spelled = _spellings(kind)
    for one in (folded, folded.removesuffix("s"), folded.removesuffix("s").removesuffix(".")):
        if one in spelled:
            return 1.0, spelled[one]
    if "cwt" in spelled and re.fullmatch(r"qrs?|quarters?", folded):
        return 0.25, "cwt"
    try:
        value = units.parse(kind, f"1 {name}")
    except ValueError as error:
        choices = ", ".join(spelled) or "none"
        raise ValueError(f"{error}; or the source's own word: {choices}") from None
    if not math.isfinite(value) or value <= 0:
        raise ValueError(f"the unit '{name}' has no size")
    return value, None


_POUNDS: Final = re.compile(
    r"(?:£\s*(?P<l>\d+(?:\.\d+)?|\d{1,3}(?:,\d{3})+))?\s*(?:(?P<s>\d+(?:\.\d+)?)\s*s\.?)?"
    rf"\s*(?:(?P<d>\d+(?:\.\d+)?)?\s*(?P<f>[{_MARKS}])?\s*d\.?)?",
    re.ASCII,
)


def read_money(text: str) -> Money:
    """A sum of money as old sources print it.

    Parameters
    ----------
    text
        "£80 4s", "19s 7d", "13¼d", "$8,000".

    Returns
    -------
    money
        In pence or dollars.

    Raises
    ------
    ValueError
        If it cannot be read.

    Examples
    --------
    >>> read_money("£80 4s").amount, read_money("13¼d").amount, read_money("$8,000").amount
    (19248.0, 13.25, 8000.0)
    """
    plain = text.strip()
    if match := re.fullmatch(r"\$\s*(\d+(?:\.\d+)?|\d{1,3}(?:,\d{3})+(?:\.\d+)?)", plain, re.ASCII):
        return Money(text=plain, amount=float(match[1].replace(",", "")), currency="USD")
    found = _POUNDS.fullmatch(plain)
    if not plain or found is None or not any(found.groups()):
        raise ValueError("no sum of money; write it as in '£80 4s', '19s 7d', '5.52d' or '$640'")
    parts = {k: float((found[k] or "0").replace(",", "")) for k in ("l", "s", "d")}
    pence = 240 * parts["l"] + 12 * parts["s"] + parts["d"] + _FRACTIONS.get(found["f"] or "", 0)
    return Money(text=plain, amount=pence, currency="GBP")
