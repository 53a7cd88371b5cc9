"""How much haulplan reads before it refuses: sizes and counts, in one place.

Each bound may be raised or lowered by an environment variable: HAULPLAN_MOST_ and the
name in capitals, as in HAULPLAN_MOST_POINTS=500000. The figures as they stand keep the
reading of any file, hostile or not, below 300 MB of memory.
"""

import os
from dataclasses import dataclass, fields

from haulplan.errors import InputError, Problem

__all__ = ["Bounds", "bounds"]

_LARGEST = 10**12


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """The most haulplan reads of each; the names are those of the variables."""

    #: scenario.toml. [bytes]
    toml_bytes: int = 256 * 1024
    #: Any table. [bytes]
    table_bytes: int = 16 * 1024 * 1024
    rows: int = 100_000
    columns: int = 100
    #: A GPX file. [bytes]
    gpx_bytes: int = 64 * 1024 * 1024
    points: int = 500_000
    #: Elements in a GPX file, whatever they are, and how deep they may stand in another.
    elements: int = 3_000_000
    depth: int = 100
    #: Twice this is the longest tag with its attributes, or text between tags. [bytes]
    tag_bytes: int = 512 * 1024
    #: Faults told of one file; the reader mends these first.
    faults: int = 20


def bounds() -> Bounds:
    """The bounds in force.

    Returns
    -------
    bounds
        Those of the environment where it gives them, ours elsewhere.

    Raises
    ------
    InputError
        If a variable does not hold a whole number above zero.

    Examples
    --------
    >>> bounds().columns
    100
    """
    given: dict[str, int] = {}
    problems = []
    for field in fields(Bounds):
        name = f"HAULPLAN_MOST_{field.name.upper()}"
        text = os.environ.get(name)
        if text is None:
            continue
        if text.isascii() and text.isdigit() and len(text) < 13 and 0 < int(text) <= _LARGEST:
            given[field.name] = int(text)
            continue
        problems.append(
            Problem(
                file="environment",
                where=name,
                found=f"'{text[:40]}' is not allowed",
                remedy=f"write a whole number from 1 to {_LARGEST}, or unset it",
            )
        )
    if problems:
        raise InputError(problems)
    return Bounds(**given)
