"""The plan as tables: data frames, CSV text and the terminal's stop plan.

Every figure is rounded once, by the reader's `UnitSystem`, so that the terminal, the CSV
files and the map show the same numbers. A cell that does not apply holds "".
"""

import csv
import io
import math
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Final

from haulplan.outputs.cautions import CAUTIONS
from haulplan.plan.plan import Crossing, Leg, Plan, Stop
from haulplan.route.build import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Supply
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

__all__ = [
    "crossings_frame",
    "legs_csv",
    "legs_frame",
    "plain",
    "render_terminal",
    "stops_csv",
    "stops_frame",
]

Cell = str | int | float

#: Joiners that some scripts need; every other invisible character is replaced.
_JOINERS: Final = "\u200c\u200d"
_INVISIBLE: Final = frozenset({"Cc", "Cf", "Co", "Cs", "Zl", "Zp"})
#: A spreadsheet takes cells that begin so for formulas; the wide forms count in some.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_DAY: Final = 86400.0
_LONGEST_NAME: Final = 60


def plain(text: str) -> str:
    r"""Text with control and direction-changing characters shown as U+FFFD.

    Parameters
    ----------
    text
        Anything a user wrote.

    Returns
    -------
    text
        The same text, of the same length, fit for a terminal or a cell.

    Examples
    --------
    >>> plain("Mill\u202epond") == "Mill\ufffdpond"
    True
    """
    return "".join(
        "\N{REPLACEMENT CHARACTER}"
        if unicodedata.category(letter) in _INVISIBLE and letter not in _JOINERS
        else letter
        for letter in text
    )


def stops_frame(scenario: Scenario, plan: Plan, system: UnitSystem) -> "pd.DataFrame":
    """Start, stops and finish, one row each, columns in the order a crew reads them.

    `standing` runs from arrival to leaving and holds the `wait` for opening. What the
    engine uses meanwhile is `water used standing` and `coal used standing`.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show; each column's header names its own.

    Returns
    -------
    frame
        Rounded numbers and text, shape (stops, columns); "" where nothing applies.
    """
    return _frame([_stop_row(scenario, stop, system) for stop in plan.stops])


def legs_frame(scenario: Scenario, plan: Plan, system: UnitSystem) -> "pd.DataFrame":
    """The road between the stops, one row per leg.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show; each column's header names its own.

    Returns
    -------
    frame
        Rounded numbers and text, shape (legs, columns); "" where nothing applies.
    """
    del scenario  # the three frames are called alike
    return _frame([_leg_row(plan, leg, system) for leg in plan.legs])


def crossings_frame(scenario: Scenario, plan: Plan, system: UnitSystem) -> "pd.DataFrame":
    """The posted bridges in driving order: the posted figure beside the train's own weight.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show; each column's header names its own.

    Returns
    -------
    frame
        Rounded numbers and text, shape (crossings, columns); it passes no judgement.
    """
    rows = [_crossing_row(scenario, crossing, system) for crossing in plan.crossings]
    return _frame(rows, columns=_crossing_columns(system))


def stops_csv(scenario: Scenario, plan: Plan, system: UnitSystem) -> str:
    """The stops as CSV text (RFC 4180 quoting, one line feed per row).

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row per stop; text a spreadsheet would take for a formula
        begins with an apostrophe.
    """
    return _csv(stops_frame(scenario, plan, system))


def legs_csv(scenario: Scenario, plan: Plan, system: UnitSystem) -> str:
    """The legs as CSV text (RFC 4180 quoting, one line feed per row).

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row per leg; text a spreadsheet would take for a formula
        begins with an apostrophe.
    """
    return _csv(legs_frame(scenario, plan, system))


def _frame(rows: Sequence[Mapping[str, Cell]], columns: Iterable[str] = ()) -> "pd.DataFrame":
    import pandas as pd  # noqa: PLC0415  slow to load

    names = list(rows[0]) if rows else list(columns)
    return pd.DataFrame([list(row.values()) for row in rows], columns=names, dtype=object)


def _csv(frame: "pd.DataFrame") -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(frame.columns)
    writer.writerows([_cell(value) for value in row] for row in frame.to_numpy().tolist())
    return text.getvalue()


def _cell(value: Cell) -> Cell:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _rounded(unit: DisplayUnit, si: float) -> Cell:
    """The figure as shown, a whole number where the unit has no decimals."""
    value = unit.value(si)
    if not math.isfinite(value):
        return ""
    return round(value) if unit.decimals == 0 else round(value, unit.decimals) + 0.0


def _minutes(seconds: float) -> int:
    return round(seconds / 60)


def _clock(seconds: float) -> str:
    """Time of day to the minute, with the days since the plan's date."""
    days, minute = divmod(_minutes(seconds), 1440)
    later = f" +{days} d" if days else ""
    return f"{minute // 60:02d}:{minute % 60:02d}{later}"


def _stop_row(scenario: Scenario, stop: Stop, system: UnitSystem) -> dict[str, Cell]:
    at_supply = stop.kind == "supply"
    water, coal = system.water, system.coal
    return {
        "number": stop.number if at_supply else "",
        "stop": plain(stop.name),
        "kind": _kind(scenario, stop),
        f"distance [{system.distance.label}]": _rounded(system.distance, stop.distance),
        "arrive": "" if stop.kind == "start" else _clock(stop.arrive),
        "leave": "" if stop.kind == "finish" else _clock(stop.depart),
        "wait [min]": _minutes(stop.wait) if at_supply else "",
        "standing [min]": _minutes(stop.depart - stop.arrive) if at_supply else "",
        f"tank on arrival [{water.label}]": _rounded(water, stop.tank_arrive),
        f"water taken [{water.label}]": _rounded(water, stop.water_taken) if at_supply else "",
        f"water used standing [{water.label}]": (
            _rounded(water, stop.water_standing) if at_supply else ""
        ),
        f"tank on leaving [{water.label}]": _rounded(water, stop.tank_depart),
        f"bunker on arrival [{coal.label}]": _rounded(coal, stop.bunker_arrive),
        f"coal taken [{coal.label}]": _rounded(coal, stop.coal_taken) if at_supply else "",
        f"coal used standing [{coal.label}]": (
            _rounded(coal, stop.coal_standing) if at_supply else ""
        ),
        f"bunker on leaving [{coal.label}]": _rounded(coal, stop.bunker_depart),
        f"to pay [{scenario.file.currency}]": round(stop.money, 2) + 0.0 if at_supply else "",
        **_supply_cells(_supply(scenario, stop)),
    }


def _supply(scenario: Scenario, stop: Stop) -> Supply | None:
    return None if stop.row is None else scenario.supplies[stop.row]


def _kind(scenario: Scenario, stop: Stop) -> str:
    supply = _supply(scenario, stop)
    return stop.kind if supply is None else plain(supply.kind)


def _supply_cells(supply: Supply | None) -> dict[str, Cell]:
    if supply is None:
        return dict.fromkeys(("side", "contact", "permit", "open", "last confirmed", "note"), "")
    return {
        "side": plain(supply.side or ""),
        "contact": plain(supply.contact or ""),
        "permit": plain(supply.permit or ""),
        "open": _hours(supply.opens, supply.closes),
        "last confirmed": str(supply.last_confirmed or ""),
        "note": plain(supply.note or ""),
    }


def _hours(opens: float, closes: float) -> str:
    if opens <= 0 and closes >= _DAY:
        return "all day"
    return f"{_clock(opens)}-{'24:00' if closes >= _DAY else _clock(closes)}"


def _leg_row(plan: Plan, leg: Leg, system: UnitSystem) -> dict[str, Cell]:
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    ahead = leg.length / distance.size
    return {
        "from": plain(plan.stops[leg.begin].name),
        "to": plain(plan.stops[leg.end].name),
        f"begin [{distance.label}]": _rounded(distance, leg.distance),
        f"length [{distance.label}]": _rounded(distance, leg.length),
        f"climb [{height.label}]": _rounded(height, leg.climb),
        f"descent [{height.label}]": _rounded(height, leg.descent),
        "driving [min]": _minutes(leg.duration),
        f"mean speed [{system.speed.label}]": (
            _rounded(system.speed, leg.length / leg.duration) if leg.duration > 0 else ""
        ),
        f"water [{water.label}]": _rounded(water, leg.water),
        f"coal [{coal.label}]": _rounded(coal, leg.coal),
        f"water per distance [{water.label}/{distance.label}]": (
            round(water.value(leg.water) / ahead, 1) + 0.0 if ahead > 0 else ""
        ),
        f"gears [{distance.label}]": _gears(leg, system),
    }


def _gears(leg: Leg, system: UnitSystem) -> str:
    return ", ".join(
        f"{plain(name)} {system.distance.number(length)}" for name, length in leg.gears.items()
    )


def _crossing_columns(system: UnitSystem) -> tuple[str, ...]:
    mass = system.mass.label
    return (
        "bridge", f"distance [{system.distance.label}]", "clock", f"posted limit [{mass}]",
        f"our gross [{mass}]", "last confirmed", "note",
    )  # fmt: skip


def _crossing_row(scenario: Scenario, crossing: Crossing, system: UnitSystem) -> dict[str, Cell]:
    bridge = scenario.bridges[crossing.row]
    cells: tuple[Cell, ...] = (
        plain(crossing.name),
        _rounded(system.distance, crossing.distance),
        _clock(crossing.clock),
        _rounded(system.mass, crossing.limit),
        _rounded(system.mass, crossing.gross),
        str(bridge.last_confirmed or ""),
        plain(bridge.note or ""),
    )
    return dict(zip(_crossing_columns(system), cells, strict=True))


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
    return str(stop.number) if stop.kind == "supply" else stop.kind[0].upper()


def _heading(scenario: Scenario, route: Route, plan: Plan, system: UnitSystem) -> "list[Text]":
    start, finish = plan.stops[0], plan.stops[-1]
    weight = system.mass.text(plan.dry_weight) if plan.dry_weight > 0 else "not stated"
    return [
        _text(plan.title, bold=True),
        _text(f"{_short(start.name)} to {_short(finish.name)}"),
        _text(
            f"{plan.date:%A} {plan.date.isoformat()}, leave {_clock(start.depart)}, arrive "
            f"{_clock(finish.arrive)}, {system.distance.text(route.length)}"
        ),
        _text(f"Engine and train, tank and bunkers empty: {weight}"),
        _text(f"Aim: {plan.aim}; {_objective(scenario, plan)}; {_proof(plan)}"),
    ]


def _objective(scenario: Scenario, plan: Plan) -> str:
    if plan.aim == "earliest":
        return f"arrives {_clock(plan.arrival)}"
    if plan.aim == "cheapest":
        return f"pays {plan.money:,.2f} {scenario.file.currency}"
    if plan.aim == "fewest stops":
        return f"stops {sum(stop.kind == 'supply' for stop in plan.stops)}"
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
        name = _text(_short(stop.name)).append("\n").append(_short(_kind(scenario, stop)))
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
    arrive, leave = ("arrive", _clock(stop.arrive)), ("leave", _clock(stop.depart))
    if stop.kind != "supply":
        return [leave if stop.kind == "start" else arrive]
    minutes = _minutes(stop.wait)
    return [arrive, *([("wait", f"{minutes} min")] if minutes else []), leave]


def _levels(times: Sequence[tuple[str, str]], arriving: str, leaving: str) -> str:
    shown = {"arrive": arriving, "leave": leaving}
    return "\n".join(shown.get(word, "") for word, _ in times)


def _taken(unit: DisplayUnit, amount: float) -> str:
    return unit.number(amount) if _rounded(unit, amount) else ""


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
        cells = list(_leg_row(plan, leg, system).values())[3:]
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
        table.add_row(
            _text(_short(crossing.name)),
            system.distance.number(crossing.distance),
            _clock(crossing.clock),
            system.mass.number(crossing.limit),
            system.mass.number(crossing.gross),
            str(scenario.bridges[crossing.row].last_confirmed or "not known"),
        )
    return table


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
