"""What a crew says of its run, and the option each figure was said with."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from haulplan.errors import InputError, Problem
from haulplan.scenario.classes import fill_from_kinds
from haulplan.units import UNIT_SYSTEMS, parse

__all__ = ["Asked", "in_their_words", "problems_of", "said_quantity", "says_none"]

#: Where a scenario keeps what an option says.
_OPTIONS: Final[Mapping[str, str]] = {
    "title": "--title",
    "start": "--from",
    "finish": "--to",
    "date": "--date",
    "depart": "--depart",
    "units": "--units",
    "stores.tank": "--tank",
    "stores.bunker": "--bunker",
    "route.surface": "--surface",
    "route.track": "--only",
    "route.snap": "--snap",
    "route.longest_gap": "--longest-gap",
    "engine.kind": "--engine",
    "engine.name": "--engine-name",
    "fuel.kind": "--fuel",
}
#: More is a slip; the schema's own bounds are narrower. [kg]
_MOST: Final = 500_000.0


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was said, as it was typed; None where nothing was.

    The road is a `track` (GPX, or a table of distance and height) or a `way` typed as
    places; `only` names the one track of a file with several. `engine` and `fuel` are
    classes by key; `train` is what hangs behind the engine, loads and all.
    """

    track: Path | None = None
    way: Path | None = None
    only: str | None = None
    engine: str | None = None
    engine_name: str | None = None
    train: str | None = None
    tank: str | None = None
    bunker: str | None = None
    fuel: str | None = None
    surface: str | None = None
    snap: str | None = None
    longest_gap: str | None = None
    date: str | None = None
    depart: str | None = None
    units: str | None = None
    title: str | None = None
    start: str | None = None
    finish: str | None = None


def problems_of(asked: Asked) -> list[Problem]:
    """What cannot be begun with, of all that was said.

    Parameters
    ----------
    asked
        What was said.

    Returns
    -------
    problems
        In the words of the options; none where all is well.
    """
    problems = _of_classes(asked)
    if (asked.track is None) is (asked.way is None):
        found = "no road" if asked.track is None else "two roads"
        remedy = (
            "give either --track, a GPX file or a table of distance and elevation, or --way, "
            "a table of places"
        )
        problems.append(Problem(file="--track", where="", found=found, remedy=remedy))
    if asked.units is not None and asked.units not in UNIT_SYSTEMS:
        found, remedy = f"'{asked.units[:40]}' is not allowed", f"write {', '.join(UNIT_SYSTEMS)}"
        problems.append(Problem(file="--units", where="", found=found, remedy=remedy))
    for option, kind, text in (
        ("--tank", "water", asked.tank),
        ("--bunker", "coal", asked.bunker),
        ("--train", "mass", None if says_none(asked.train) else asked.train),
    ):
        if text is None:
            continue
        try:
            said_quantity(option, kind, text)
        except InputError as error:
            problems += error.problems
    return problems


def _of_classes(asked: Asked) -> list[Problem]:
    kinds = {"engine": asked.engine, "fuel": asked.fuel}
    unknown: list[Problem] = []
    fill_from_kinds({s: {"kind": k} for s, k in kinds.items() if k is not None}, unknown)
    problems = list(in_their_words(InputError(unknown), asked).problems)
    if asked.engine is None:
        remedy = "name a class, as in --engine road-locomotive; `haulplan begin --help` lists them"
        problems.append(Problem(file="--engine", where="", found="not said", remedy=remedy))
    return problems


def says_none(train: str | None) -> bool:
    """Whether it was said that nothing hangs behind the engine.

    Parameters
    ----------
    train
        As typed.

    Returns
    -------
    none
        False too where nothing was said.
    """
    return train is not None and train.strip().casefold() in ("none", "no", "0")


def said_quantity(option: str, kind: str, text: str) -> float:
    """A figure that was said, in SI.

    Parameters
    ----------
    option
        It was said with.
    kind
        "water", "coal" or "mass".
    text
        As typed.

    Returns
    -------
    figure
        A mass, of water too. [kg]

    Raises
    ------
    InputError
        If it is not such a quantity.
    """
    try:
        figure = parse(kind, text)
        if not 0 <= figure <= _MOST:
            raise ValueError("allowed is 0 to 500 t")
    except ValueError as error:
        found = f"'{text[:60]}' is not allowed"
        problem = Problem(file=option, where="", found=found, remedy=str(error))
        raise InputError([problem]) from None
    return figure


def in_their_words(error: InputError, asked: Asked) -> InputError:
    """An error that names options and the crew's own file instead of what is written of them.

    Parameters
    ----------
    error
        Of the drafted folder.
    asked
        What was said.

    Returns
    -------
    error
        With places the crew knows.
    """
    road = asked.track or asked.way
    problems = []
    for problem in error.problems:
        option = _OPTIONS.get(problem.where) if problem.file == "scenario.toml" else None
        if option is not None:
            problem = replace(problem, file=option, where="")  # noqa: PLW2901  the same in words
        elif road is not None and problem.file in ("route.gpx", "route.csv"):
            remedy = problem.remedy.replace("route.track", "--only").replace(
                "route.longest_gap", "--longest-gap"
            )
            problem = replace(problem, file=road.name, remedy=remedy)  # noqa: PLW2901  as above
        problems.append(problem)
    return InputError(problems)
