"""Say in plain words what a scenario's models object to."""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from haulplan.errors import Problem
from haulplan.scenario.bounds import bounds

__all__ = ["COLUMN_NAMES", "short", "suggest", "toml_fault", "validate"]

Row = TypeVar("Row", bound=BaseModel)

#: Columns whose names are Python's own words, by field.
COLUMN_NAMES: Final[Mapping[str, str]] = {"begin": "from", "end": "to"}
#: What to write instead, by pydantic's type of error; its own words speak to programmers.
_REMEDIES: Final[Mapping[str, str]] = {
    "string_type": "write text in quotes",
    "string_too_short": "write something there, or leave the key out",
    "string_too_long": "write at most {max_length} letters",
    "string_pattern_mismatch": "write three capital letters, as in 'USD'",
    "literal_error": "write {expected}",
    "model_type": "write a section of keys there, in [brackets]",
    "tuple_type": "write one section for each, in [[double brackets]], or a list in [brackets]",
    "too_short": "give at least {min_length}",
    "too_long": "give at most {max_length}",
    "int_type": "write a whole number, without quotes",
    "int_from_float": "write a whole number",
    "int_parsing": "write a whole number",
    "int_parsing_size": "write a whole number of usual size",
    "float_type": "write a number, without quotes and without a unit",
    "finite_number": "write a finite number",
    "greater_than_equal": "write a number of at least {ge:.0f}",
    "less_than_equal": "write a number of at most {le:.0f}",
}


def _names(model: type[BaseModel]) -> list[str]:
    return [COLUMN_NAMES.get(name, name) for name in model.model_fields]


def suggest(name: str, model: type[BaseModel]) -> str:
    """What may stand in place of an unknown name, the nearest first.

    Parameters
    ----------
    name
        The unknown key or column.
    model
        The model of its section or row.

    Returns
    -------
    remedy
        "did you mean" where a name is near, and all that are allowed.
    """
    return f"{_near(name, _names(model))}allowed: {', '.join(_names(model))}"


def _near(name: str, known: Sequence[str]) -> str:
    close = difflib.get_close_matches(name, known, n=1)
    return f"did you mean '{close[0]}'? " if close else ""


def toml_fault(error: ValueError, text: str) -> tuple[str, str]:
    """What keeps a text from being TOML, with the line it stands in.

    Parameters
    ----------
    error
        As tomllib raised it.
    text
        The whole of the file.

    Returns
    -------
    found, remedy
        The second in plain words for a quote left open.

    Examples
    --------
    >>> import tomllib
    >>> text = "date = 22.05.2027"
    >>> try:
    ...     tomllib.loads(text)
    ... except ValueError as error:
    ...     print(toml_fault(error, text)[0].partition(', ')[2])
    column 13), in 'date = 22.05.2027'
    """
    words = str(error)
    found = f"not TOML: {short(words, 120)}"
    if place := re.search(r"at line (\d+)", words):
        found += f", in '{short(text.split(chr(10))[int(place[1]) - 1].strip())}'"
    if words.startswith(("Illegal character '\\n'", "Unterminated string")):
        return found, "close the quotes: as many at the end of the value as at its beginning"
    return found, "mend the file there; strings need quotes, sections [brackets]"


def validate(
    model: type[Row],
    raw: Mapping[str, Any],
    file: str,
    problems: list[Problem],
    *,
    context: dict[str, str | None] | None,
    row: int | None = None,
) -> Row | None:
    """The checked model of a file or row.

    Parameters
    ----------
    model
        What it should be.
    raw
        What was given.
    file
        Its name, for the problems.
    problems
        Each thing wrong is added.
    context
        The scenario's currency, which prices must use.
    row
        Number of the row in a table; None for a file.

    Returns
    -------
    checked
        None if anything is wrong.
    """
    if not raw and row is None and problems:
        return None
    try:
        return model.model_validate(raw, context=context)
    except ValidationError as error:
        items = error.errors()
        within = {item["loc"][:-1] for item in items}
        told = [
            item
            for item in items
            if not (item["type"] == "too_short" and item["loc"] in within)  # said already
        ]
        most = bounds().faults
        problems += [_explain(item, file, row, model) for item in told[:most]]
        if len(told) > most:
            found = f"{len(told) - most} more faults"
            problems.append(
                Problem(file=file, where="", found=found, remedy="mend those above first")
            )
        return None


def _explain(item: Any, file: str, row: int | None, model: type[BaseModel]) -> Problem:  # noqa: ANN401  pydantic's error dictionary
    path = [COLUMN_NAMES.get(str(part), str(part)) for part in item["loc"]]
    named = "".join(
        f"[{int(part) + 1}]" if part.isdigit() else f".{part}" for part in path
    ).removeprefix(".")
    place = named if row is None else f"row {row}" + (f", column {named}" if named else "")
    kind = item["type"]
    message = item["msg"].removeprefix("Value error, ")
    if kind == "missing":
        found, remedy = "missing", f"give {path[-1]}" + _example(model, item["loc"])
    elif kind == "extra_forbidden":
        owner = _model_at(model, item["loc"][:-1])
        found, remedy = "unknown name", suggest(path[-1][:60], owner)
    elif kind == "value_error" and isinstance(item["input"], dict) and "; " in message:
        found, _, remedy = message.partition("; ")  # a rule between several keys
    else:
        found = f"{_shown(item['input'])} is not allowed"
        remedy = message[0].lower() + message[1:]
        if kind in _REMEDIES:
            remedy = _REMEDIES[kind].format_map(item.get("ctx", {}))
        if kind == "literal_error":
            choices = re.findall(r"'(.*?)'", item["ctx"]["expected"])
            remedy = _near(str(item["input"])[:60], choices) + remedy
    return Problem(
        file=file, where=short(place, 120), found=short(found, 200), remedy=short(remedy, 600)
    )


def _shown(given: object) -> str:
    """A wrong value as the message shows it."""
    if isinstance(given, dict):
        return "a section"
    if isinstance(given, (list, tuple)):
        return "a list"
    if isinstance(given, bool):
        return f"'{str(given).lower()}'"
    try:
        return f"'{short(str(given))}'"
    except ValueError:  # Python does not print whole numbers of thousands of digits
        return "a huge number"


def _model_at(model: type[BaseModel], location: Iterable[Any]) -> type[BaseModel]:
    """The model that holds the key at `location`."""
    for part in location:
        field = model.model_fields.get(str(part))
        if field is None:
            continue
        for candidate in _models_in(field.annotation):
            model = candidate
    return model


def _models_in(annotation: Any) -> list[type[BaseModel]]:  # noqa: ANN401  any annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in getattr(annotation, "__args__", ()) for found in _models_in(part)]


def _example(model: type[BaseModel], location: Sequence[Any]) -> str:
    owner = _model_at(model, location[:-1])
    return f" in [{'.'.join(str(p) for p in location[:-1])}]" if owner is not model else ""


def short(text: str, most: int = 60) -> str:
    """A text as a message shows it.

    Parameters
    ----------
    text
        What was given.
    most
        Longer text is cut.

    Returns
    -------
    text
        On one line, every letter printable.
    """
    clean = "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
    )
    return clean if len(clean) <= most else clean[: most - 3] + "..."
