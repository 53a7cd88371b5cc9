"""What is compared: scenarios as they stand, with keys altered, or one key swept."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from haulplan.errors import InputError, Problem
from haulplan.scenario.altered import Alteration, parse_alterations, split_outside
from haulplan.scenario.wording import short

__all__ = ["MOST", "Variant", "variants_of"]

#: More plans than this are no table to read.
MOST: Final = 100
_LONGEST_NAME: Final = 60
_AS_IT_STANDS: Final = "as it stands"
_RANGE: Final = re.compile(r"(.+?)\s+to\s+(.+?)\s+by\s+(.+)")
_FIGURE: Final = re.compile(
    r"(-?\d{1,9}(?:\.\d{1,6})?)\s*((?:[^\d\s.]\S*(?:\s+[^\d\s]\S*)*)?)", re.ASCII
)
_CLOCK: Final = re.compile(r"(\d{1,2}):(\d\d)", re.ASCII)
_MINUTES: Final = re.compile(r"(\d{1,4})\s*(min|h)", re.ASCII)
_SWEEP_FORM: Final = (
    "write KEY = A, B, C or KEY = FIRST to LAST by STEP, as in 'depart = 06:00 to 09:00 by "
    "30 min' or 'stores.tank = 250 to 400 by 50 US gal'"
)


@dataclass(frozen=True, kw_only=True)
class Variant:
    """A scenario folder, what of its scenario.toml is altered, and what that is called."""

    folder: Path
    name: str
    alterations: tuple[Alteration, ...] = ()


def variants_of(
    folders: Sequence[Path | str], altered: Sequence[str] = (), over: Sequence[str] = ()
) -> tuple[Variant, ...]:
    """Every variant asked for: each folder as it stands, then with each alteration.

    Parameters
    ----------
    folders
        Scenario folders.
    altered
        Alterations of scenario.toml, "KEY = VALUE; KEY = VALUE", a name and a colon before
        them where wanted.
    over
        Sweeps of one key: "KEY = A, B, C" or "KEY = FIRST to LAST by STEP"; what follows a
        semicolon is altered in each of them.

    Returns
    -------
    variants
        In the order asked for; the first is what the others are held against.

    Raises
    ------
    InputError
        If anything is not of that form, two are called alike, there is only one variant,
        or there are more than `MOST`.

    Examples
    --------
    >>> found = variants_of(["mill"], ["big tank: stores.tank = times 2"], ["depart = 6:00, 7:00"])
    >>> [variant.name for variant in found]
    ['as it stands', 'big tank', 'depart = 6:00', 'depart = 7:00']
    """
    problems: list[Problem] = []
    drawn: list[tuple[str, tuple[Alteration, ...]]] = [("", ())]
    for reader, texts in ((_named, altered), (_swept, over)):
        for text in texts:
            try:
                drawn += reader(text)
            except InputError as error:
                problems += error.problems
    paths = [Path(folder) for folder in folders]
    names = [_shown(path) for path in paths]
    if len(set(names)) < len(names):
        names = [str(path) for path in paths]
    found = [
        Variant(folder=path, name=_name(place if len(paths) > 1 else "", name), alterations=change)
        for path, place in zip(paths, names, strict=True)
        for name, change in drawn
    ]
    problems = problems or list(_in_number(found))
    if problems:
        raise InputError(problems)
    return tuple(found)


def _shown(path: Path) -> str:
    return path.resolve().name or str(path)


def _name(place: str, own: str) -> str:
    if place and own:
        return f"{place}, {own}"
    return place or own or _AS_IT_STANDS


def _in_number(found: Sequence[Variant]) -> Iterator[Problem]:
    """What is wrong with the variants together."""
    names = [variant.name for variant in found]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        yield Problem(
            file="variants",
            where=short(name),
            found="given twice",
            remedy="give each once, or a name of its own before a colon",
        )
    if len(found) < 2:
        yield Problem(
            file="variants",
            where="",
            found="only one",
            remedy='add --with "KEY = VALUE", --over "KEY = A, B" or another scenario folder',
        )
    if len(found) > MOST:
        yield Problem(
            file="variants", where="", found=f"{len(found)}", remedy=f"give at most {MOST}"
        )


def _named(text: str) -> list[tuple[str, tuple[Alteration, ...]]]:
    """One variant: its name, and what is altered."""
    before, colon, after = text.partition(":")
    own = colon and "=" not in before
    name, changes = (before.strip(), after) if own else ("", text)
    if own and not (0 < len(name) <= _LONGEST_NAME and name.isprintable()):
        raise _refused("--with", text, "not a name", f"write 1 to {_LONGEST_NAME} letters")
    found = parse_alterations(changes, "--with")
    return [(name or "; ".join(map(str, found)), found)]


def _swept(text: str) -> list[tuple[str, tuple[Alteration, ...]]]:
    """A variant for each value of the first key."""
    first, *fixed = parse_alterations(text, "--over")
    values = [part.strip() for part in split_outside(first.value, ",")]
    if len(values) == 1 and (ends := _RANGE.fullmatch(first.value)):
        values = _range(text, *ends.groups())
    if len(values) < 2 or not all(values):
        raise _refused("--over", text, "not two values or more", _SWEEP_FORM)
    swept = [Alteration(key=first.key, value=value) for value in values]
    return [(str(one), (one, *fixed)) for one in swept]


def _range(text: str, first: str, last: str, step: str) -> list[str]:
    """Evenly spaced values from the first to the last: clocks, or figures of one unit."""
    clocks = [_CLOCK.fullmatch(first), _CLOCK.fullmatch(last)]
    minutes = _MINUTES.fullmatch(step)
    if clocks[0] and clocks[1] and minutes:
        begin, end = (60 * int(clock[1]) + int(clock[2]) for clock in clocks if clock)
        by = int(minutes[1]) * (60 if minutes[2] == "h" else 1)
        numbers = _steps(text, Decimal(begin), Decimal(end), Decimal(by))
        return [f"{int(n) // 60:02d}:{int(n) % 60:02d}" for n in numbers]
    figures = [_FIGURE.fullmatch(piece) for piece in (first, last, step)]
    units = {figure[2].strip() for figure in figures if figure} - {""}
    if not all(figures) or len(units) > 1:
        raise _refused("--over", text, "not figures of one unit, nor clocks", _SWEEP_FORM)
    begin_, end_, by_ = (Decimal(figure[1]) for figure in figures if figure)
    return [f"{n:f} {''.join(units)}".strip() for n in _steps(text, begin_, end_, by_)]


def _steps(text: str, first: Decimal, last: Decimal, by: Decimal) -> list[Decimal]:
    if by <= 0 or last <= first:
        raise _refused("--over", text, "the step does not lead to the last value", _SWEEP_FORM)
    count = int((last - first) / by) + 1
    if count > MOST:
        raise _refused("--over", text, f"{count} values", f"give at most {MOST}")
    return [first + number * by for number in range(count)]


def _refused(option: str, text: str, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=option, where=short(text), found=found, remedy=remedy)])
