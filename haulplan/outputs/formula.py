"""The US federal bridge formula beside what our groups of axles weigh, where it is asked for.

A comparison, never a verdict: the posted figure and the road authority decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from haulplan.demand.axles import axle_loads, formula_lines
from haulplan.scenario import Scenario
from haulplan.units import UnitSystem

__all__ = ["FORMULA_NOTE", "AxleGroup", "axle_groups", "formula_rows", "formula_titles"]

#: Said wherever the figures are shown.
FORMULA_NOTE: Final = (
    "US federal bridge formula (23 U.S.C. 127; 23 CFR 658.17) for groups of axles, before "
    "rounding to 500 lb, its caps on tandems and gross weight counted; beside ours, boiler at "
    "its working level. It is a comparison, no leave to cross: states have figures of their "
    "own, and the posted figure and the road authority decide."
)
#: So many groups are shown on paper and screen; plan.json holds all.
_SHOWN: Final = 8


@dataclass(frozen=True, kw_only=True)
class AxleGroup:
    """Consecutive axles: the formula's figure, ours with the stores empty and full [kg].

    `first` and `last` count axles from the front, beginning with 1; `length` is between
    the outer ones [m].
    """

    first: int
    last: int
    name: str
    length: float
    formula: float
    empty: float
    full: float


def axle_groups(scenario: Scenario) -> tuple[AxleGroup, ...]:
    """Every group of axles whose spacing is known, those nearest to the formula first.

    Parameters
    ----------
    scenario
        With `bridge_formula = "yes"`.

    Returns
    -------
    groups
        None at all where the scenario does not ask for them.
    """
    file = scenario.file
    if file.bridge_formula == "no":
        return ()
    carts = [store for store in scenario.stores if store.kind == "cart"]
    axles = axle_loads(file.engine, file.train.wagons, carts[0].name if carts else None)
    full = (file.stores.tank, file.stores.bunker, sum(cart.water for cart in carts))
    groups = [
        AxleGroup(
            first=laden.first + 1,
            last=laden.last + 1,
            name=f"{axles[laden.first].name} to {axles[laden.last].name}",
            length=laden.length,
            formula=laden.legal,
            empty=bare.ours,
            full=laden.ours,
        )
        for bare, laden in zip(
            formula_lines(axles, 0.0, 0.0, 0.0), formula_lines(axles, *full), strict=True
        )
    ]
    return tuple(sorted(groups, key=_room))


def _room(group: AxleGroup) -> tuple[float, int, int]:
    """Small where ours is near the formula's figure, or above it."""
    return group.formula / max(group.empty, group.full, 1.0), group.first, group.last


def formula_titles(system: UnitSystem) -> tuple[str, ...]:
    """Titles of the columns of `formula_rows`.

    Parameters
    ----------
    system
        Units of what is shown.

    Returns
    -------
    titles
        One for each column.
    """
    mass = system.mass.label
    return "Axles", f"apart {system.height.label}", f"formula {mass}", f"ours {mass}, empty-full"


def formula_rows(
    groups: Sequence[AxleGroup], system: UnitSystem, most: int = _SHOWN
) -> list[list[str]]:
    """The groups nearest to the formula, as people read them.

    Parameters
    ----------
    groups
        The nearest first.
    system
        Units of what is shown.
    most
        Groups shown. [-]

    Returns
    -------
    rows
        Axles by number and name, distance, the formula's figure, ours empty and full.
    """
    mass = system.mass
    return [
        [
            f"{group.first}-{group.last}: {group.name}",
            system.height.number(group.length),
            mass.number(group.formula),
            f"{mass.number(group.empty)}-{mass.number(group.full)}",
        ]
        for group in groups[:most]
    ]
