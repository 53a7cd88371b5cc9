"""What can go wrong, and the exit code each failure ends with.

    HaulplanError
    ├── InputError      something given is wrong or missing      exit 2
    ├── NoPlanError     the input is right, but no plan exists   exit 1
    └── InternalError   solver, replay or our own fault          exit 3

Messages say where (file, row or key), what was found, what is allowed and what to do.
"""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["HaulplanError", "InputError", "InternalError", "NoPlanError", "Problem"]


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


class NoPlanError(HaulplanError):
    """No plan keeps every limit; the message names the stretch and the shortfall."""

    exit_code = 1


class InternalError(HaulplanError, RuntimeError):
    """The solver failed, or a plan did not survive its replay."""

    exit_code = 3
