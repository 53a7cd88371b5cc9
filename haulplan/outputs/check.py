"""What `haulplan check` shows: the scenario as it was understood."""

from typing import TYPE_CHECKING

import numpy as np

from haulplan.demand import Demand
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.formula import FORMULA_NOTE, axle_groups, formula_rows, formula_titles
from haulplan.outputs.tables import plain
from haulplan.route import Passing, Route
from haulplan.route.profile import steepest_sustained
from haulplan.scenario import Scenario
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

__all__ = ["render_check"]


def render_check(scenario: Scenario, route: Route, demand: Demand, system: UnitSystem) -> "Group":
    """The scenario in plain words: road, weights, thirst, and each place on the road.

    Parameters
    ----------
    scenario, route, demand
        What was read and reckoned.
    system
        Units of what is shown.

    Returns
    -------
    group
        For a rich console; readable at 80 columns.
    """
    from rich.console import Group  # noqa: PLC0415  lazy start
    from rich.table import Table  # noqa: PLC0415  lazy start
    from rich.text import Text  # noqa: PLC0415  lazy start

    places = Table(box=None, pad_edge=False)
    for title, side in (("At", "right"), ("Kind", "left"), ("Place", "left"), ("Off", "right")):
        places.add_column(title, justify="right" if side == "right" else "left")
    for passing in sorted((*route.passings, *route.level_crossings), key=lambda p: p.distance):
        places.add_row(*(Text(plain(cell)) for cell in _place_row(scenario, passing, system)))
    parts: list[RenderableType] = [Text(plain(scenario.file.title), style="bold")]
    parts += [Text(plain(line)) for line in _summary(scenario, route, demand, system)]
    parts += [Text(), places, Text(), *_formula(scenario, system)]
    parts += [Text(f"warning: {plain(line)}") for line in (*route.warnings, *demand.warnings)]
    parts += [Text(f"- {line}") for line in CAUTIONS]
    parts += [Text(), Text("The scenario can be read. `haulplan plan` plans it.")]
    return Group(*parts)


def _formula(scenario: Scenario, system: UnitSystem) -> "list[RenderableType]":
    """The bridge formula beside our groups of axles, where the scenario asks for it."""
    from rich.table import Table  # noqa: PLC0415  lazy start
    from rich.text import Text  # noqa: PLC0415  lazy start

    groups = axle_groups(scenario)
    if scenario.file.bridge_formula == "no":
        return []
    table = Table(box=None, pad_edge=False)
    for number, title in enumerate(formula_titles(system)):
        table.add_column(title, justify="right" if number else "left")
    for row in formula_rows(groups, system):
        table.add_row(*(Text(plain(cell)) for cell in row))
    return [table, Text(FORMULA_NOTE), Text()]


def _summary(scenario: Scenario, route: Route, demand: Demand, system: UnitSystem) -> list[str]:
    stores = scenario.file.stores
    full = np.full(demand.segments, stores.tank + stores.bunker)
    use = demand.evaluate(full, demand.geared(tuple(c.gears[0] for c in demand.choices)))
    miles = system.distance.value(route.length)
    water = float(use.water.sum())
    lines = [
        f"Road {system.distance.text(route.length)}",
        f"Engine and train {system.mass.text(demand.dry_weight)} with tank and bunkers empty, "
        f"{system.mass.text(demand.dry_weight + stores.tank + stores.bunker)} full",
        f"Tank {system.water.text(stores.tank)}, reserve "
        f"{system.water.text(scenario.file.reserve.water)}; bunkers "
        f"{system.coal.text(stores.bunker)}, reserve "
        f"{system.coal.text(scenario.file.reserve.coal)}",
        f"Driven full throughout: {system.water.text(water)} "
        f"({system.water.value(water) / miles:.1f} {system.water.label}/"
        f"{system.distance.label}), {system.coal.text(float(use.coal.sum()))} of coal, "
        f"{float(use.duration.sum()) / 60:.0f} min, stops not counted",
    ]
    if route.has_heights:
        heights, distance = route.elevation, route.distance
        down = steepest_sustained(distance, -heights, 200.0)
        lines[0] += (
            f", from {system.height.text(float(heights.min()))} to "
            f"{system.height.text(float(heights.max()))}; steepest 200 m up "
            f"{100 * steepest_sustained(distance, heights, 200.0):.1f} %, down {100 * down:.1f} %"
        )
    gears = demand.geared(tuple(c.gears[0] for c in demand.choices))
    length = np.diff(demand.distance)
    shares = [
        f"{name} {system.distance.text(float(length[gears == number].sum()))}"
        for number, name in enumerate(demand.gears)
        if (gears == number).any()
    ]
    lines.append(f"Gears: {', '.join(shares)}")
    lines.append(f"Defaults taken for want of the owner's figures: {len(demand.assumptions)}")
    return lines


def _place_row(scenario: Scenario, passing: Passing, system: UnitSystem) -> list[str]:
    kind: str = passing.kind
    if passing.kind == "supply":
        kind = scenario.supplies[passing.row].kind
    elif passing.kind == "bridge":
        kind = f"bridge posted {system.mass.text(scenario.bridges[passing.row].limit)}"
    elif passing.kind == "crossing":
        kind = "level crossing"
    off = "" if passing.offset == 0 else system.height.text(passing.offset)
    return [system.distance.text(passing.distance), kind, passing.label, off]
