"""The search for the least change that mends a problem without a plan.

How much is needed is looked for with the programme straightened once; what is found is
rounded in the reader's units and then planned like any scenario. Only that counts.
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from haulplan.errors import InternalError, NoPlanError, Shortage
from haulplan.plan.plan import Plan
from haulplan.plan.trial import Case, least, possible, solved_plan
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit

__all__ = ["ONE", "TRIES", "Mend", "Search", "step_of", "up_to"]

#: Time for one plan. [s]
ONE: Final = 5.0
#: What is found is moved on by its step so often where the bent curve asks for more.
TRIES: Final = 3


@dataclass(frozen=True, kw_only=True)
class Mend:
    """One kind of change: what was tried, and whether it mends the scenario alone.

    Where it does, `scenario` is the mended one and `plan` its plan; where it does not,
    `what` is the most that was tried. `found` is "late" where the time was over before.
    """

    what: str
    found: Literal["mends", "does not", "late"]
    scenario: Scenario | None = None
    plan: Plan | None = None


@dataclass(kw_only=True)
class Search:
    """The problem refused, why, and until when to look for mends."""

    case: Case
    shortages: tuple[Shortage, ...]
    deadline: float
    progress: Callable[[str], None]

    def late(self) -> bool:
        """Whether the time is over."""
        return time.monotonic() >= self.deadline

    def short_of(self, *kinds: str) -> bool:
        """Whether a limit of one of these kinds is broken."""
        return any(shortage.kind in kinds for shortage in self.shortages)

    def enough(self, change: Callable[[float], Case]) -> Callable[[float], bool]:
        """Asks whether a change of so much leaves a plan."""

        def ask(amount: float) -> bool:
            return not self.late() and _quietly(lambda: possible(change(amount), self.deadline))

        return ask

    def verified(self, case: Case) -> Plan | None:
        """The plan of a changed problem, None where it has none."""
        try:
            limit = max(min(self.deadline - time.monotonic(), ONE), 1.0)
            return solved_plan(case, time_limit=limit)
        except (NoPlanError, InternalError):
            return None

    def least_of(
        self,
        change: Callable[[float], Case],
        *,
        first: float,
        most: float,
        near: float,
        unit: float,
        up: Callable[[float], float],
        tell: Callable[[float], str],
    ) -> Mend:
        """The least change that is enough, rounded up and verified."""
        amount = least(self.enough(change), first=first, most=most, step=near)
        if amount is not None:
            for more in range(TRIES):
                rounded = up(amount + more * unit)
                case = _or_none(change, rounded)
                plan = None if case is None else self.verified(case)
                if case is not None and plan is not None:
                    return Mend(
                        what=tell(rounded), found="mends", scenario=case.scenario, plan=plan
                    )
        return Mend(what=tell(most), found="late" if self.late() else "does not")


def _quietly(ask: Callable[[], bool]) -> bool:
    try:
        return ask()
    except NoPlanError:  # a hill that holds the train in no gear
        return False


def _or_none(change: Callable[[float], Case], amount: float) -> Case | None:
    try:
        return change(amount)
    except NoPlanError:
        return None


def up_to(unit: DisplayUnit) -> Callable[[float], float]:
    """Rounds up to what a reader sees.

    Parameters
    ----------
    unit
        The reader's.

    Returns
    -------
    up
        From SI to SI.
    """
    step = step_of(unit)
    return lambda amount: math.ceil(amount / step - 1e-6) * step


def step_of(unit: DisplayUnit) -> float:
    """The least difference a reader sees.

    Parameters
    ----------
    unit
        The reader's.

    Returns
    -------
    step
        In SI.
    """
    return unit.size * 10.0**-unit.decimals
