"""The stop plan on the terminal."""

import math
from collections.abc import Iterable, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Final

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import kind_of, stands, tasks_at
from haulplan.outputs.tables import (
    Cell,
    clock_text,
    days_frame,
    leg_row,
    plain,
    rounded,
    whole_minutes,
)
from haulplan.plan.plan import Plan, Stop
from haulplan.route.build import Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

__all__ = ["render_terminal"]

_LONGEST_NAME: Final = 60


def render_terminal(
    scenario: Scenario,
    route: Route,
    plan: Plan,
    system: UnitSystem,
    *,
    width: int | None,
    verbose: bool = False,
) -> "Group":
    """The stop plan for a terminal of at least 80 columns, also without colour.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    route
        Its road.
    plan
        The plan.
    system
        The units to show.
    width
        Columns to keep to, or None for all the terminal has.
    verbose
        Whether to list the assumptions instead of only counting them.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.constrain import Constrain  # noqa: PLC0415

    parts: list[RenderableType] = [*_heading(scenario, route, plan, system)]
    blank = _text("")
    parts += [blank, _text("Stops", bold=True), _stop_table(scenario, plan, system), blank]
    parts += [_text("Legs", bold=True), _leg_table(route, plan, system), blank]
    if plan.crossings:
        parts += [_text("Bridges", bold=True), _crossing_table(scenario, plan, system), blank]
    if plan.crests:
        parts += [_text("Boiler over the crests", bold=True), _crest_table(plan, system), blank]
    parts += _days(scenario, plan, system)
    parts += _closing(scenario, route, plan, system)
    parts += _assumptions(plan, verbose=verbose)
    parts += [_text("Cautions", bold=True), _listed(CAUTIONS)]
    return Group(*(Constrain(part, width) for part in parts))


def _text(words: str, *, bold: bool = False) -> "Text":
    """Words as they stand: no markup is read in them."""
    from rich.text import Text  # noqa: PLC0415

    return Text(plain(words), style="bold" if bold else "")


def _table(columns: Iterable[tuple[str, str]]) -> "Table":
    """An empty table; of its columns only those marked "<" give way and wrap."""
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    for title, side in columns:
        table.add_column(title, justify="right" if side == ">" else "left", no_wrap=side != "<")
    return table


def _listed(items: Iterable[str]) -> "Table":
    from rich.table import Table  # noqa: PLC0415

    grid = Table.grid(padding=(0, 1, 0, 0))
    for item in items:
        grid.add_row(_text(" -"), _text(item))
    grid.add_row()
    return grid


def _short(name: str) -> str:
    name = plain(name)
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}…"


def _mark(stop: Stop) -> str:
    return str(stop.number) if stands(stop) else stop.kind[0].upper()


def _heading(scenario: Scenario, route: Route, plan: Plan, system: UnitSystem) -> "list[Text]":
    start, finish = plan.stops[0], plan.stops[-1]
    weight = system.mass.text(plan.dry_weight) if plan.dry_weight > 0 else "not stated"
    places = f"{_short(start.name)} to {_short(finish.name)}"
    return [
        _text(plan.title, bold=True),
        *([] if places == plan.title else [_text(places)]),
        _text(
            f"{plan.date:%A} {plan.date.isoformat()}, leave {clock_text(start.depart)}, arrive "
            f"{clock_text(finish.arrive)}, {system.distance.text(route.length)}"
        ),
        _text(f"Engine and train, tank and bunkers empty: {weight}"),
        _text(f"Aim: {plan.aim}; {_objective(scenario, plan)}; {_proof(plan)}"),
    ]


def _objective(scenario: Scenario, plan: Plan) -> str:
    if plan.aim == "earliest":
        return f"arrives {clock_text(plan.arrival)}"
    if plan.aim == "cheapest":
        return f"pays {plan.money:,.2f} {scenario.file.currency}"
    if plan.aim == "fewest stops":
        return f"stops {sum(map(stands, plan.stops))}"
    return f"points {plan.objective:,.1f}"


def _proof(plan: Plan) -> str:
    if plan.proven:
        return "proved best"
    return f"best found, may be improved by up to {math.ceil(plan.gap * 1000) / 10:g} %"


def _stop_table(scenario: Scenario, plan: Plan, system: UnitSystem) -> "Table":
    """Two lines or more to a stop: what is so on arriving, what is so on leaving."""
    water, coal = system.water, system.coal
    table = _table(
        (
            ("No", ">"), ("Stop", "<"), (f"At\n{system.distance.label}", ">"), ("", "<!"),
            ("Clock", ">"), (f"Tank\n{water.label}", ">"), (f"Take\n{water.label}", ">"),
            (f"Bunker\n{coal.label}", ">"), (f"Take\n{coal.label}", ">"),
        )
    )  # fmt: skip
    for stop in plan.stops:
        times = _times(stop)
        name = _text(_short(stop.name)).append("\n").append(_short(kind_of(scenario, stop)))
        for task in tasks_at(scenario, stop, system):
            name.append(f"\n- {plain(task)}")
        table.add_row(
            _mark(stop),
            name,
            system.distance.number(stop.distance),
            "\n".join(word for word, _ in times),
            "\n".join(clock for _, clock in times),
            _levels(times, water.number(stop.tank_arrive), water.number(stop.tank_depart)),
            "\n" * (len(times) - 1) + _taken(water, stop.water_taken),
            _levels(times, coal.number(stop.bunker_arrive), coal.number(stop.bunker_depart)),
            "\n" * (len(times) - 1) + _taken(coal, stop.coal_taken),
        )
    return table


def _times(stop: Stop) -> list[tuple[str, str]]:
    """The lines of a stop: arrive, wait where it must, leave."""
    arrive, leave = ("arrive", clock_text(stop.arrive)), ("leave", clock_text(stop.depart))
    if not stands(stop):
        return [leave if stop.kind == "start" else arrive]
    minutes = whole_minutes(stop.wait)
    return [arrive, *([("wait", f"{minutes} min")] if minutes else []), leave]


def _levels(times: Sequence[tuple[str, str]], arriving: str, leaving: str) -> str:
    shown = {"arrive": arriving, "leave": leaving}
    return "\n".join(shown.get(word, "") for word, _ in times)


def _taken(unit: DisplayUnit, amount: float) -> str:
    return unit.number(amount) if rounded(unit, amount) else ""


def _leg_table(route: Route, plan: Plan, system: UnitSystem) -> "Table":
    distance, height, water = system.distance, system.height, system.water
    table = _table(
        (
            ("Leg", "<"), (f"Road\n{distance.label}", ">"), (f"Climb\n{height.label}", ">"),
            (f"Fall\n{height.label}", ">"), ("Drive\nmin", ">"),
            (f"Mean\n{system.speed.label}", ">"), (f"Water\n{water.label}", ">"),
            (f"Coal\n{system.coal.label}", ">"), (f"Water\n{water.label}/{distance.label}", ">"),
            (f"Gear, {distance.label} in each", "<"),
        )
    )  # fmt: skip
    for leg in plan.legs:
        cells = list(leg_row(plan, leg, system).values())[3:]
        if not route.has_heights:
            cells[1:3] = ["", ""]
        begin, end = plan.stops[leg.begin], plan.stops[leg.end]
        table.add_row(
            f"{_mark(begin)}-{_mark(end)}",
            *(_text(_shown(cell)) for cell in cells[:-1]),
            _text("").append(_folded(_shown(cells[-1]))),
        )
    return table


def _folded(gears: str) -> str:
    """The gears in short lines, broken between them and not inside."""
    tied = gears.replace(" ", "\N{NO-BREAK SPACE}").replace(",\N{NO-BREAK SPACE}", ", ")
    lines = fill(tied, 22, break_long_words=False, break_on_hyphens=False)
    return lines.replace("\N{NO-BREAK SPACE}", " ")


def _crossing_table(scenario: Scenario, plan: Plan, system: UnitSystem) -> "Table":
    mass = system.mass.label
    table = _table(
        (
            ("Bridge", "<"), (f"At\n{system.distance.label}", ">"), ("Clock", ">"),
            (f"Posted\n{mass}", ">"), (f"Ours\n{mass}", ">"), ("Last\nconfirmed", ">"),
        )
    )  # fmt: skip
    for crossing in plan.crossings:
        name = _text(_short(crossing.name))
        if crossing.what != "gross":
            name.append(f"\n{plain(crossing.what)}")
        table.add_row(
            name.append("\nuncoupled") if crossing.uncoupled else name,
            system.distance.number(crossing.distance),
            clock_text(crossing.clock),
            system.mass.number(crossing.limit),
            system.mass.number(crossing.gross),
            str(scenario.bridges[crossing.row].last_confirmed or "not known"),
        )
    return table


def _crest_table(plan: Plan, system: UnitSystem) -> "Table":
    """Water above the working level: what a crest asks for, and what is carried."""
    water = system.water.label
    table = _table(
        ((f"At\n{system.distance.label}", ">"), (f"Asked for\n{water}", ">"),
         (f"Carried\n{water}", ">"))
    )  # fmt: skip
    for crest in plan.crests:
        table.add_row(
            system.distance.number(crest.distance),
            system.water.number(crest.needed),
            system.water.number(crest.carried),
        )
    return table


def _days(scenario: Scenario, plan: Plan, system: UnitSystem) -> "list[RenderableType]":
    """When the fire is lit and wheels turn, day by day."""
    if not plan.days:
        return []
    table = _table(
        (
            ("Day", ">"), ("Date", ">"), ("Fire lit", ">"), ("Leave", ">"), ("Arrive", ">"),
            ("Wheels\nfrom", ">"), ("\nuntil", ">"),
        )
    )  # fmt: skip
    for row in days_frame(scenario, plan, system).to_numpy().tolist():
        table.add_row(*map(str, row))
    return [_text("Days", bold=True), table, _text("")]


def _closing(
    scenario: Scenario, route: Route, plan: Plan, system: UnitSystem
) -> "list[RenderableType]":
    """What to pay, the coal for lighting up, and the warnings."""
    currency = scenario.file.currency
    pay = [f"{_mark(s)} {_short(s.name)}: {s.money:,.2f}" for s in plan.stops if s.money > 0]
    coal = plan.lighting_up_coal
    lighting = "not reckoned" if coal is None else system.coal.text(coal)
    parts: list[RenderableType] = [_text(f"To pay: {plan.money:,.2f} {currency}", bold=True)]
    parts += [_listed(pay)] if pay else [_text("")]
    parts += [_text(f"Coal for lighting up, besides the figures above: {lighting}"), _text("")]
    warnings = dict.fromkeys((*plan.warnings, *route.warnings))
    if warnings:
        parts += [_text("Warnings", bold=True), _listed(warnings)]
    return parts


def _assumptions(plan: Plan, *, verbose: bool) -> "list[RenderableType]":
    published = sum(_is_published(item.source) for item in plan.assumptions)
    count = f"Assumptions: {len(plan.assumptions)}, of which {published} from published sources"
    if not verbose:
        return [_text(f"{count}: see plan.json"), _text("")]
    items = [f"{item.name}: {item.value} ({item.source})" for item in plan.assumptions]
    return [_text(count, bold=True), _listed(items)]


def _is_published(source: str) -> bool:
    """Whether a source is more than an assumption, a memory or the scenario itself."""
    return not source.startswith(("assumption", "from memory", "the scenario"))


def _shown(value: Cell) -> str:
    return value if isinstance(value, str) else f"{value:,}"
