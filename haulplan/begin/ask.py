"""What is asked of a crew at a terminal, in the order of its weight."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from haulplan.begin.asked import Asked, problems_of, said_quantity, says_none
from haulplan.errors import InputError, Problem
from haulplan.scenario.classes import engine_classes
from haulplan.scenario.fields import Date
from haulplan.units import UNIT_SYSTEMS

__all__ = ["QUESTIONS", "Question"]


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question: the key of `Asked` it fills, its words, and what an answer must be.

    `check` gives the answer as it is kept, or raises InputError. Without an answer to one
    that is `needed` nothing can be begun. `choices` are lines shown before it.
    """

    key: str
    words: Callable[[Asked], str]
    check: Callable[[str], str]
    kept: Callable[[str], Any] = str
    needed: bool = False
    choices: Callable[[], tuple[str, ...]] = tuple

    def answer(self, typed: str) -> str:
        """The answer, empty where it is left to what is usual; InputError if it cannot be."""
        typed = typed.strip()
        if typed:
            return self.check(typed)
        if self.needed:
            raise _refuse("nothing said", "this one has no usual answer")
        return ""

    def is_open(self, asked: Asked) -> bool:
        """Whether it is still to be asked."""
        given = asked.way if self.key == "track" and asked.track is None else None
        return getattr(asked, self.key) is None and given is None


def _refuse(found: str, remedy: str) -> InputError:
    return InputError([Problem(file="answer", where="", found=found, remedy=remedy)])


def _file(answer: str) -> str:
    if not Path(answer).is_file():
        raise _refuse(f"no file '{answer[:80]}'", "give the path of a GPX or CSV file")
    return answer


def _class(answer: str) -> str:
    names = list(engine_classes())
    if answer.isascii() and answer.isdigit() and 1 <= int(answer) <= len(names):
        return names[int(answer) - 1]
    answer = "-".join(answer.casefold().split())
    if problems := [p for p in problems_of(Asked(engine=answer)) if p.file == "--engine"]:
        raise InputError([replace(p, file="answer") for p in problems])
    return answer


def _classes() -> tuple[str, ...]:
    rows = enumerate(engine_classes().items(), start=1)
    lines = (f"{number:4d} {key}: {kind['title']}" for number, (key, kind) in rows)
    return tuple(line if len(line) < 80 else f"{line[:76]}..." for line in lines)


def _weight(answer: str) -> str:
    if not says_none(answer):
        said_quantity("answer", "mass", answer)
    return answer


def _amount(kind: str) -> Callable[[str], str]:
    def check(answer: str) -> str:
        said_quantity("answer", kind, answer)
        return answer

    return check


def _units(answer: str) -> str:
    if answer not in UNIT_SYSTEMS:
        raise _refuse(f"'{answer[:40]}' is not allowed", f"write {', '.join(UNIT_SYSTEMS)}")
    return answer


def _date(answer: str) -> str:
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415  used here only

    try:
        TypeAdapter(Date).validate_python(answer)
    except ValidationError:
        found = f"'{answer[:40]}' is not allowed"
        raise _refuse(found, "write year-month-day, as in 2027-05-22") from None
    return answer


def _usual(key: str, words: str) -> Callable[[Asked], str]:
    def text(asked: Asked) -> str:
        kind = engine_classes().get(asked.engine or "")
        return words + (f" (Enter: usual for the class, {kind[key][1]})" if kind else "")

    return text


#: Asked one after the other; an empty answer leaves the figure to what is usual.
QUESTIONS: Final = (
    Question(
        key="track", words=lambda _: "The road: a GPX file, or a table of heights (.csv)",
        check=_file, kept=Path, needed=True,
    ),
    Question(
        key="engine", words=lambda _: "Engine class, by number or name", check=_class,
        needed=True, choices=_classes,
    ),
    Question(
        key="train",
        words=lambda _: "Weight behind the engine, loads and all, as in '12 short ton' or 'none'",
        check=_weight,
    ),
    Question(key="tank", words=_usual("tank", "Usable water in the tank"), check=_amount("water")),
    Question(
        key="bunker", words=_usual("bunker", "Usable coal in the bunker"), check=_amount("coal")
    ),
    Question(key="date", words=lambda _: "Day of the run, as in 2027-05-22", check=_date),
    Question(key="units", words=lambda _: "Units: us, imperial or metric", check=_units),
)  # fmt: skip
