"""What `haulplan check` shows: the scenario as it was understood."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from haulplan.demand import Demand
from haulplan.demand.reach import Reach, Worth, longest_dry, reach, worth
from haulplan.demand.uncertainty import Band
from haulplan.outputs.blocks import listed, table_of, words
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.formula import FORMULA_NOTE, axle_groups, formula_rows, formula_titles
from haulplan.outputs.tables import plain
from haulplan.outputs.understood import (
    days_told,
    engine_told,
    filled_told,
    held_told,
    road_told,
    stores_told,
    supplies_told,
    train_told,
    unconfirmed,
    unknown,
)
from haulplan.route import Passing, Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["render_check"]

#: A real hill for a road engine.
_CLIMB = 0.05
#: What a tank goes on the road: common practice, no source. 5 and 20 miles [m].
_USUAL = (5 * 1609.344, 20 * 1609.344)
#: Defaults told one by one, those that matter most.
_TOLD = 8


def render_check(scenario: Scenario, route: Route, demand: Demand, system: UnitSystem) -> "Group":
    """The scenario in plain words: what will be planned, and what is only assumed.

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

    file = scenario.file
    places = f"{file.start} to {file.finish}"
    parts: list[RenderableType] = [
        words(file.title, bold=True),
        *([] if places == file.title else [words(places)]),
        *map(words, road_told(scenario, route, demand, system)),
    ]
    parts += _section("Engine", engine_told(scenario, system))
    parts += _section("Train", train_told(scenario, demand, system))
    parts += _section("Tank and bunkers", stores_told(scenario, system))
    if file.engine is not None and not scenario.demand:
        parts += _reaches(scenario, route, system)
    parts += _section("Days", days_told(scenario, demand, system))
    dry = longest_dry(scenario, route, demand)
    parts += _section("Supplies", supplies_told(scenario, dry, system))
    if scenario.bridges:
        parts += _bridges(scenario, route, demand, system)
    if scenario.file.bridge_formula == "yes":
        parts += _formula(scenario, system)
    parts += [words(""), words("On the road", bold=True), _places(scenario, route, system)]
    parts += _assumed(scenario, route, demand, system)
    parts += _section("Not confirmed", unconfirmed(scenario))
    parts += _section("Not known", unknown(scenario, route, demand))
    parts += [words("")]
    parts += [words(f"warning: {line}") for line in (*route.warnings, *demand.warnings)]
    parts += _section("Cautions", CAUTIONS)
    parts += [words(""), words("The scenario can be read. `haulplan plan` plans it.")]
    return Group(*parts)


def _section(title: str, lines: Iterable[str]) -> "list[RenderableType]":
    lines = list(lines)
    return [words(""), words(title, bold=True), listed(lines)] if lines else []


def _reaches(scenario: Scenario, route: Route, system: UnitSystem) -> "list[RenderableType]":
    """How far tank and bunker go on straight roads."""
    weathers = dict.fromkeys(("dry", scenario.file.conditions.weather))
    found = [
        reach(scenario, route, grade=grade, weather=weather)
        for weather in weathers
        for grade in (0.0, _CLIMB)
    ]
    distance = system.distance.label
    table = table_of(
        (
            ("Straight road", "<"), ("Gear", "<"), (system.speed.label, ">"),
            (f"Tank goes {distance}", ">"), (f"Bunkers go {distance}", ">"),
        )
    )  # fmt: skip
    for one in found:
        table.add_row(*map(words, _reach_row(one, system)))
    held = [line for one in found if (line := held_told(one, scenario, system))]
    usual = " to ".join(system.distance.number(end) for end in _USUAL)
    held.append(
        "From full to the reserve in still air; in brackets the band nine runs in ten keep. "
        f"Crews count on {usual} {distance} a tank (common practice, no source)"
    )
    return [words(""), words("How far they go", bold=True), table, listed(held)]


def _reach_row(found: Reach, system: UnitSystem) -> tuple[str, ...]:
    road = "level" if found.grade == 0 else f"{100 * found.grade:.0f} % up"
    passes = found.water is not None or found.coal is not None
    return (
        f"{road}, {found.surface}, {found.weather}",
        found.gear if passes else "held",
        system.speed.number(found.speed) if passes else "",
        _banded(found.water, system.distance),
        _banded(found.coal, system.distance),
    )


def _banded(band: Band | None, unit: DisplayUnit) -> str:
    if band is None:
        return "-"
    return f"{unit.number(band.typical)} ({unit.number(band.low)} to {unit.number(band.high)})"


def _bridges(
    scenario: Scenario, route: Route, demand: Demand, system: UnitSystem
) -> "list[RenderableType]":
    """Posted figures beside ours with tank and bunkers empty and full."""
    mass = system.mass
    table = table_of(
        (
            ("Bridge", "<"), (f"At\n{system.distance.label}", ">"), ("Posted\nfor", "<"),
            (f"Posted\n{mass.label}", ">"), (f"Empty\n{mass.label}", ">"),
            (f"Full\n{mass.label}", ">"), ("Last\nconfirmed", "<"),
        )
    )  # fmt: skip
    for passing in route.passings:
        if passing.kind != "bridge":
            continue
        bridge = scenario.bridges[passing.row]
        ours = _ours(scenario, demand, bridge.kind)
        table.add_row(
            words(passing.label),
            words(system.distance.number(passing.distance)),
            words({"gross": "train"}.get(bridge.kind, bridge.kind)),
            words(mass.number(bridge.limit)),
            *(words("-" if figure is None else mass.number(figure)) for figure in ours),
            words("never" if bridge.last_confirmed is None else str(bridge.last_confirmed)),
        )
    told = ["Posted figures and the road authority decide; ours are reckoned from the scenario"]
    if any(bridge.kind != "gross" for bridge in scenario.bridges):
        told.append("Of axles and tandems ours is the heaviest; - where none stand so close")
    return [words(""), words("Bridges", bold=True), table, listed(told)]


def _formula(scenario: Scenario, system: UnitSystem) -> "list[RenderableType]":
    """The law's formula beside our groups of axles."""
    table = table_of(
        tuple((title, ">" if n else "<") for n, title in enumerate(formula_titles(system)))
    )
    for row in formula_rows(axle_groups(scenario), system):
        table.add_row(*(words(plain(cell)) for cell in row))
    return [words(""), words("Groups of axles", bold=True), table, listed([FORMULA_NOTE])]


def _ours(scenario: Scenario, demand: Demand, kind: str) -> tuple[float | None, float | None]:
    """What counts for a posted figure with tank and bunkers (and cart) empty, and full [kg]."""
    stores = scenario.file.stores
    cart = sum(store.water for store in scenario.stores if store.kind == "cart")
    empty, full = (0.0, 0.0, 0.0), (stores.tank, stores.bunker, cart)
    if kind == "gross":
        return demand.dry_weight, demand.dry_weight + sum(full)
    sets = [(n,) for n in range(len(demand.axles))] if kind == "axle" else demand.tandems
    if not sets:
        return None, None

    def heaviest(held: tuple[float, float, float]) -> float:
        return max(sum(demand.axles[n].load(*held) for n in group) for group in sets)

    return heaviest(empty), heaviest(full)


def _places(scenario: Scenario, route: Route, system: UnitSystem) -> "Table":
    """Every place in driving order."""
    from rich.table import Table  # noqa: PLC0415  lazy start

    places = Table(box=None, pad_edge=False)
    for title, side in (("At", "right"), ("Kind", "left"), ("Place", "left"), ("Off", "right")):
        places.add_column(title, justify="right" if side == "right" else "left")
    for passing in sorted((*route.passings, *route.level_crossings), key=lambda p: p.distance):
        places.add_row(*(words(plain(cell)) for cell in _place_row(scenario, passing, system)))
    return places


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


def _assumed(
    scenario: Scenario, route: Route, demand: Demand, system: UnitSystem
) -> "list[RenderableType]":
    """Class figures and defaults, those first that matter most on this road."""
    parts: list[RenderableType] = [words(""), words("Assumed", bold=True)]
    told = filled_told(scenario)
    own = len(demand.assumptions) - len(scenario.filled)
    told.append(f"Defaults taken for want of the owner's figures: {own}")
    if scenario.file.engine is None or scenario.demand:
        return [*parts, listed(told)]
    banded = worth(scenario, route)
    if scenario.file.pessimism is not None:
        told.append(
            f"A pessimism of {scenario.file.pessimism:.0%} is asked for: plans reckon thirstier "
            "than the typical figures here"
        )
    told.append(
        "The most important, with what the thirsty end of their band adds on this road, driven "
        "full; put your own figure in and it counts no more"
    )
    left = own - len(banded[:_TOLD])
    after = [f"{left} more: `haulplan plan --verbose` lists them"] if left > 0 else []
    return [*parts, listed(told), _worths(banded[:_TOLD], system), listed(after)]


def _worths(banded: Sequence[Worth], system: UnitSystem) -> "Table":
    table = table_of(
        (
            ("Default", "<"), ("As its source has it", "<"), (system.water.label, ">"),
            (system.coal.label, ">"), ("min", ">"),
        )
    )  # fmt: skip
    for item in banded:
        figures = (
            system.water.number(item.water),
            system.coal.number(item.coal),
            f"{item.duration / 60:.0f}",
        )
        table.add_row(words(item.name), words(item.value), *(words(f"+{f}") for f in figures))
    return table
