"""Engine classes and fuels by name: where an owner who does not know a figure may start."""

import difflib
import tomllib
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from haulplan.errors import Problem

__all__ = [
    "class_figures",
    "engine_classes",
    "fill_from_kinds",
    "fuel_figures",
    "fuels",
    "known_kinds",
]

Table = Mapping[str, Any]
_NOT_OF_ENGINE = ("title", "period", "source", "fuel", "tank", "bunker", "status", "note")


@cache
def engine_classes() -> Mapping[str, Table]:
    """Every engine class by key: triples of low, typical and high, as text with units."""
    text = (files("haulplan.scenario") / "engine_classes.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def fuels() -> Mapping[str, Table]:
    """Every named fuel by key, with heating value, density, ash, bags and remarks."""
    text = (files("haulplan.scenario") / "fuels.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def class_figures(key: str) -> dict[str, Any]:
    """The typical figures of an engine class, as a scenario would write them.

    Parameters
    ----------
    key
        Of `engine_classes`.

    Returns
    -------
    figures
        Keys of [engine] with text values.

    Raises
    ------
    KeyError
        If there is no such class.

    Examples
    --------
    >>> class_figures("small-tractor")["cylinders"]
    2
    """
    return {
        name: value[1] if isinstance(value, list) and isinstance(value[0], str) else value
        for name, value in engine_classes()[key].items()
        if name not in _NOT_OF_ENGINE
    }


def fuel_figures(key: str) -> dict[str, Any]:
    """The typical figures of a fuel, as a scenario would write them.

    Parameters
    ----------
    key
        Of `fuels`.

    Returns
    -------
    figures
        Keys of [fuel] with text values.

    Raises
    ------
    KeyError
        If there is no such fuel.

    Examples
    --------
    >>> fuel_figures("dry-wood")["name"]
    'Wood, seasoned, about 20 % moisture'
    """
    fuel = fuels()[key]
    return {"name": fuel["title"], "heating_value": fuel["heating_value"][1]}


def fill_from_kinds(
    raw: Mapping[str, Any], problems: list[Problem]
) -> tuple[dict[str, Any], dict[str, str]]:
    """A scenario with [engine] and [fuel] completed from their `kind`.

    Parameters
    ----------
    raw
        The scenario as read from TOML.
    problems
        A kind that does not exist is added to them.

    Returns
    -------
    raw
        The same with every missing figure of engine and fuel put in.
    filled
        What was put in, as text by dotted key.
    """
    whole = dict(raw)
    filled: dict[str, str] = {}
    for section, kinds, figures in (
        ("engine", engine_classes, class_figures),
        ("fuel", fuels, fuel_figures),
    ):
        given = raw.get(section)
        if not isinstance(given, dict) or not _is_word(given.get("kind")):
            continue
        added = _figures(section, given["kind"], kinds, figures, problems)
        whole[section] = {**added, **given}
        filled |= {
            f"{section}.{key}": value if isinstance(value, str) else "as its class"
            for key, value in added.items()
            if key not in given
        }
    return whole, filled


def _is_word(kind: object) -> bool:
    """Whether the schema lets it pass as text; what it refuses is reported there."""
    return isinstance(kind, str) and 0 < len(kind.strip()) <= 200 and kind.isprintable()


def _figures(
    section: str,
    kind: str,
    kinds: Callable[[], Mapping[str, Table]],
    figures: Callable[[str], dict[str, Any]],
    problems: list[Problem],
) -> dict[str, Any]:
    if kind in kinds():
        return figures(kind)
    problems.append(
        Problem(
            file="scenario.toml",
            where=f"{section}.kind",
            found=f"'{kind[:60]}' is not known",
            remedy=known_kinds(kind, list(kinds())),
        )
    )
    return {}


def known_kinds(kind: str, kinds: Sequence[str]) -> str:
    """What may stand in place of an unknown kind, the nearest first.

    Parameters
    ----------
    kind
        As it was written.
    kinds
        The classes or fuels there are.

    Returns
    -------
    remedy
        "did you mean" where one is near, and all that are known.

    Examples
    --------
    >>> known_kinds("Small Tractor", ["road-roller", "small-tractor"])
    "did you mean 'small-tractor'? known: road-roller, small-tractor"
    """
    close = difflib.get_close_matches("-".join(kind.casefold().split()), kinds, n=1)
    hint = f"did you mean '{close[0]}'? " if close else ""
    return f"{hint}known: {', '.join(kinds)}"
