"""What can go wrong, and the exit code each failure ends with.

    HaulplanError
    ├── InputError      something given is wrong or missing      exit 2
    ├── NoPlanError     the input is right, but no plan exists   exit 1
    └── InternalError   solver, replay or our own fault          exit 3

Messages say where (file, row or key), what was found, what is allowed and what to do.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

__all__ = [
    "HaulplanError",
    "InputError",
    "InternalError",
    "NoPlanError",
    "Problem",
    "Shortage",
]


class HaulplanError(Exception):
    """Any failure haulplan explains itself."""

    exit_code = 3


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing wrong with the input, and what to do about it; its text is one line."""

    file: str
    where: str
    found: str
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}, {self.where}" if self.where else self.file
        text = f"{place}: {self.found}; {self.remedy}"
        return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


class InputError(HaulplanError, ValueError):
    """All the problems found in the input, raised together."""

    exit_code = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


@dataclass(frozen=True, kw_only=True)
class Shortage:
    """A limit that the least broken plan still breaks.

    `kind` is "water" or "coal" that a store falls short of [kg], "weight" too much on a
    bridge or hill [kg], "boiler" water short of the level to be carried [kg], "stops" more
    than allowed, "distance" too far without work on the engine [m], or the limit of the
    clock: "hours", "latest", "crew", "meal", "duty", "call", "depart" [s]. `begin` and `end` are
    the stretch on which a mend must lie [m].
    """

    kind: str
    begin: float
    end: float
    amount: float


class NoPlanError(HaulplanError):
    """No plan keeps every limit; the message names the stretch and the shortfall.

    `shortages` tells the same in figures, where the least broken plan was looked for.
    Where that was put off, `explained` looks for it.
    """

    exit_code = 1

    def __init__(
        self,
        message: str,
        shortages: Iterable[Shortage] = (),
        *,
        explain: "Callable[[], NoPlanError] | None" = None,
    ) -> None:
        self.shortages = tuple(shortages)
        self._explain = explain
        super().__init__(message)

    @cached_property
    def explained(self) -> "NoPlanError":
        """The same with its stretch and shortfall."""
        return self if self._explain is None else self._explain()


class InternalError(HaulplanError, RuntimeError):
    """The solver failed, or a plan did not survive its replay."""

    exit_code = 3
