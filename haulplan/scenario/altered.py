"""Keys of scenario.toml altered before it is checked: "stores.tank = 420 US gal".

A value is written as in scenario.toml, quotes left out where it is plain text. It may also
be told from the one that stands there: "plus 100 US gal", "minus 30 min", "times 1.25";
"none" leaves the key out. Lists are counted from 1, "train.wagons[2].load"; [*] means each.
"""

import copy
import datetime as dt
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from haulplan.errors import InputError, Problem
from haulplan.scenario.wording import short

__all__ = ["Alteration", "alter", "parse_alterations", "split_outside"]

_STEP: Final = r"[A-Za-z_]\w*(?:\[(?:\d{1,3}|\*)\])?"
_KEY: Final = re.compile(rf"{_STEP}(?:\.{_STEP}){{0,5}}", re.ASCII)
_TOLD: Final = re.compile(r"(plus|minus|times)\s+(.+)")
#: A number and its unit, no word of which begins with a figure: not "2 h 30 min".
_FIGURE: Final = re.compile(
    r"([+-]?\d{1,15}(?:\.\d{1,15})?)\s*((?:[^\d\s.:]\S*(?:\s+[^\d\s]\S*)*)?)", re.ASCII
)
_CLOCK: Final = re.compile(r"(\d{1,2}):([0-5]\d)", re.ASCII)
_MINUTES: Final = re.compile(r"(\d{1,4})\s*(min|h)", re.ASCII)
#: Longer ones are no alteration of a day's run. [letters]
_LONGEST: Final = 500
_FORM: Final = "write KEY = VALUE; KEY = VALUE, as in 'stores.tank = 420 US gal'"


@dataclass(frozen=True, kw_only=True)
class Alteration:
    """One key of scenario.toml and what it shall hold, as written."""

    key: str
    value: str

    def __str__(self) -> str:
        return f"{self.key} = {self.value}"


def parse_alterations(text: str, file: str) -> tuple[Alteration, ...]:
    """Read alterations parted by semicolons.

    Parameters
    ----------
    text
        As a user writes them.
    file
        Where they stand, for the problems.

    Returns
    -------
    alterations
        In their order, each key once.

    Raises
    ------
    InputError
        If any is not KEY = VALUE; all of them are told.

    Examples
    --------
    >>> [str(a) for a in parse_alterations("depart = 07:30; stores.tank=plus 9 L", "--with")]
    ['depart = 07:30', 'stores.tank = plus 9 L']
    """
    problems: list[Problem] = []

    def fault(where: str, found: str, remedy: str) -> None:
        problems.append(Problem(file=file, where=short(where), found=found, remedy=remedy))

    if len(text) > _LONGEST or not text.isprintable():
        fault(text, f"longer than {_LONGEST} letters, or letters that do not print", _FORM)
        raise InputError(problems)
    found: dict[str, Alteration] = {}
    for part in filter(str.strip, split_outside(text, ";")) if text.strip("; ") else [""]:
        key, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not value or not _KEY.fullmatch(key):
            fault(part.strip(), "not a key and a value", _FORM)
        elif key in found:
            fault(key, "given twice", "give each key once")
        else:
            found[key] = Alteration(key=key, value=value)
    if problems:
        raise InputError(problems)
    return tuple(found.values())


def split_outside(text: str, mark: str) -> list[str]:
    """Split at a mark, but not inside quotes or brackets.

    Parameters
    ----------
    text
        To be split.
    mark
        One letter.

    Returns
    -------
    parts
        One more than there are such marks.

    Examples
    --------
    >>> split_outside('a = "x; y"; b = [1; 2]', ";")
    ['a = "x; y"', ' b = [1; 2]']
    """
    parts, depth, quote = [""], 0, ""
    for letter in text:
        if letter == mark and not depth and not quote:
            parts.append("")
            continue
        parts[-1] += letter
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        else:
            depth = max(depth + (letter in "[{") - (letter in "]}"), 0)
    return parts


def alter(
    raw: Mapping[str, Any], alterations: Iterable[Alteration], problems: list[Problem]
) -> dict[str, Any]:
    """The keys of a scenario.toml with some of them altered, not yet checked.

    Parameters
    ----------
    raw
        As read.
    alterations
        Done in their order.
    problems
        Each that cannot be done is added.

    Returns
    -------
    raw
        A copy.

    Examples
    --------
    >>> faults = []
    >>> raw = {"stores": {"tank": "320 US gal"}}
    >>> alter(raw, parse_alterations("stores.tank = times 1.25", "--with"), faults), faults
    ({'stores': {'tank': '400 US gal'}}, [])
    """
    whole = copy.deepcopy(dict(raw))
    for one in alterations:
        try:
            for holder, name in _places(whole, one.key):
                if one.value != "none":
                    holder[name] = _value(one.value, _standing(holder, name))
                elif _standing(holder, name) is None:
                    raise ValueError("nothing there to leave out; take the alteration away")
                else:
                    del holder[name]
        except ValueError as error:
            found, _, remedy = str(error).partition("; ")
            problems.append(
                Problem(file="scenario.toml", where=one.key, found=found, remedy=remedy)
            )
    return whole


def _standing(holder: Any, name: str | int) -> Any:  # noqa: ANN401  whatever TOML holds
    return holder.get(name) if isinstance(holder, dict) else holder[int(name)]


def _places(whole: dict[str, Any], key: str) -> list[tuple[Any, str | int]]:
    """What holds the last part of a dotted key, and its name or number there."""
    holders: list[tuple[Any, str | int]] = []
    at: list[Any] = [whole]
    for step in key.split("."):
        name, _, number = step.rstrip("]").partition("[")
        if holders:
            at = [_section(holder, inner, key) for holder, inner in holders]
        holders = [(holder, name) for holder in at]
        if number:
            holders = [
                (rows, row)
                for holder in at
                for rows in [_rows(holder.get(name), name)]
                for row in _numbers(rows, name, number)
            ]
    return holders


def _section(holder: Any, name: str | int, key: str) -> dict[str, Any]:  # noqa: ANN401  as TOML
    """The section of a name, made where it is not there."""
    inner = holder.setdefault(name, {}) if isinstance(holder, dict) else holder[int(name)]
    if isinstance(inner, list):
        raise ValueError(f"'{name}' is a list; write {name}[1], or {name}[*] for each")
    if not isinstance(inner, dict):
        raise ValueError(f"'{name}' is no section; mend '{key}'")
    return inner


def _rows(rows: object, name: str) -> list[Any]:
    if not isinstance(rows, list) or not rows:
        raise ValueError(f"'{name}' is no list; leave the number out")
    return rows


def _numbers(rows: list[Any], name: str, number: str) -> Iterator[int]:
    if number != "*" and not 1 <= int(number) <= len(rows):
        raise ValueError(f"there is no {name}[{number}]; the scenario has {len(rows)}")
    yield from range(len(rows)) if number == "*" else [int(number) - 1]


def _value(text: str, standing: object) -> object:
    """What a written value means, beside the one that stands there."""
    if told := _TOLD.fullmatch(text):
        return _changed(told[1], told[2].strip(), standing)
    try:
        read = tomllib.loads(f"value = {text}\n")
    except (ValueError, RecursionError):
        return text  # plain text, as "420 US gal" and 07:30
    return read["value"] if set(read) == {"value"} else text


def _changed(how: str, by: str, standing: object) -> object:
    """A figure or a clock that stands there, more or less of it."""
    clock, later = _CLOCK.fullmatch(_clock_of(standing)), _MINUTES.fullmatch(by)
    if clock and later and how != "times":
        minutes = int(later[1]) * (60 if later[2] == "h" else 1) * (1 if how == "plus" else -1)
        minutes += 60 * int(clock[1]) + int(clock[2])
        if not 0 <= minutes <= 24 * 60:
            raise ValueError("not on the same day; give a clock from 00:00 to 24:00")
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    figure = _FIGURE.fullmatch(str(standing)) if _is_figure(standing) else None
    much = _FIGURE.fullmatch(by)
    if figure is None:
        raise ValueError(
            f"no single figure there to change by '{how}'; mend the key, or give the whole value"
        )
    if much is None or (how == "times" and much[2]):
        raise ValueError(f"'{short(by)}' is no figure; write one, as in 'times 1.25'")
    if how != "times" and much[2].strip() != figure[2].strip():
        unit = figure[2].strip() or "no unit"
        raise ValueError(
            f"'{short(by)}' is in another unit; write it in {unit}, as it stands there"
        )
    first, second = Decimal(figure[1]), Decimal(much[1])
    number = {"plus": first + second, "minus": first - second, "times": first * second}[how]
    if isinstance(standing, str):
        return f"{_plainly(number)} {figure[2]}".strip()
    return int(number) if number == number.to_integral_value() else float(number)


def _clock_of(standing: object) -> str:
    return f"{standing:%H:%M}" if isinstance(standing, dt.time) else str(standing)


def _is_figure(standing: object) -> bool:
    return isinstance(standing, (str, int, float)) and not isinstance(standing, bool)


def _plainly(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
