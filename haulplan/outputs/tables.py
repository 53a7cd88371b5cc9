"""The plan as tables: data frames and CSV text.

Every figure is rounded once, by the reader's `UnitSystem`, so that the terminal, the CSV
files and the map show the same numbers. A cell that does not apply holds "".
"""

import csv
import io
import math
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from haulplan.outputs.doing import by_day, kind_of, stands, tasks_at
from haulplan.plan.plan import Crossing, Day, Leg, Plan, Stop
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Supply
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "clock_text",
    "crossings_frame",
    "days_frame",
    "frame_of",
    "leg_row",
    "legs_csv",
    "legs_frame",
    "plain",
    "rounded",
    "stops_csv",
    "stops_frame",
    "to_csv",
    "whole_minutes",
]

Cell = str | int | float

#: Joiners that some scripts need; every other invisible character is replaced.
_JOINERS: Final = "\u200c\u200d"
_INVISIBLE: Final = frozenset({"Cc", "Cf", "Co", "Cs", "Zl", "Zp"})
#: A spreadsheet takes cells that begin so for formulas; the wide forms count in some.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_DAY: Final = 86400.0
_DAY_COLUMNS: Final = (
    "day", "date", "fire lit", "leave", "arrive", "wheels may turn from", "wheels may turn until",
)  # fmt: skip


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

    `standing` is on the road by day and holds the `wait` for opening; the drive `off the
    road` and a `night` come on top. What the engine uses while standing is `water used
    standing` and `coal used standing`. A cart, and a boiler that is a store of its own,
    have columns where there is one; `boiler extra` is above the working level.

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
    stores = _stores(scenario, plan)
    return frame_of([_stop_row(scenario, stop, system, stores) for stop in plan.stops])


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
    return frame_of([leg_row(plan, leg, system) for leg in plan.legs])


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
    return frame_of(rows, columns=_crossing_columns(system))


def days_frame(scenario: Scenario, plan: Plan, system: UnitSystem) -> "pd.DataFrame":
    """The days of the run, one row each: fire lit, wheels turning, and when they may turn.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    plan
        The plan.
    system
        The units to show; none stands here.

    Returns
    -------
    frame
        Clocks as text, shape (days, columns).
    """
    del scenario, system  # the frames are called alike
    return frame_of(
        [_day_row(number, day) for number, day in enumerate(plan.days, start=1)],
        columns=_DAY_COLUMNS,
    )


def _day_row(number: int, day: Day) -> dict[str, Cell]:
    midnight = _DAY * (number - 1)
    cells: tuple[Cell, ...] = (
        number,
        day.date.isoformat(),
        *(
            clock_text(clock - midnight)
            for clock in (day.lit, day.depart, day.arrive, day.earliest)
        ),
        "24:00" if day.latest - midnight >= _DAY else clock_text(day.latest - midnight),
    )
    return dict(zip(_DAY_COLUMNS, cells, strict=True))


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
    return to_csv(stops_frame(scenario, plan, system))


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
    return to_csv(legs_frame(scenario, plan, system))


def frame_of(rows: Sequence[Mapping[str, Cell]], columns: Iterable[str] = ()) -> "pd.DataFrame":
    """Rows as a data frame.

    Parameters
    ----------
    rows
        Values by column, all of the same columns.
    columns
        Names of the columns where there are no rows.

    Returns
    -------
    frame
        A row for each.
    """
    import pandas as pd  # noqa: PLC0415  slow to load

    names = list(rows[0]) if rows else list(columns)
    return pd.DataFrame([list(row.values()) for row in rows], columns=names, dtype=object)


def to_csv(frame: "pd.DataFrame") -> str:
    """A frame as CSV text, formulas made harmless.

    Parameters
    ----------
    frame
        With named columns.

    Returns
    -------
    text
        A header row and the rows.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(frame.columns)
    writer.writerows([_cell(value) for value in row] for row in frame.to_numpy().tolist())
    return text.getvalue()


def _cell(value: Cell) -> Cell:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def rounded(unit: DisplayUnit, si: float) -> Cell:
    """The figure as shown, a whole number where the unit has no decimals.

    Parameters
    ----------
    unit
        The reader's unit.
    si
        The figure. [SI]

    Returns
    -------
    cell
        Rounded to the unit's decimals; blank for what is not finite.
    """
    value = unit.value(si)
    if not math.isfinite(value):
        return ""
    return round(value) if unit.decimals == 0 else round(value, unit.decimals) + 0.0


def whole_minutes(seconds: float) -> int:
    """Seconds as minutes, rounded.

    Parameters
    ----------
    seconds
        A duration. [s]

    Returns
    -------
    minutes
        [min]
    """
    return round(seconds / 60)


def clock_text(seconds: float) -> str:
    """Time of day to the minute, with the days since the plan's date.

    Parameters
    ----------
    seconds
        Since midnight of the plan's date. [s]

    Returns
    -------
    text
        As "07:30" or "01:26 +1 d".
    """
    days, minute = divmod(whole_minutes(seconds), 1440)
    later = f" {days:+d} d" if days else ""
    return f"{minute // 60:02d}:{minute % 60:02d}{later}"


def _stop_row(
    scenario: Scenario, stop: Stop, system: UnitSystem, stores: Iterable[str]
) -> dict[str, Cell]:
    standing = stands(stop)
    water, coal = system.water, system.coal

    def here(value: Cell) -> Cell:
        return value if standing else ""

    return {
        "number": here(stop.number),
        "stop": plain(stop.name),
        "kind": plain(kind_of(scenario, stop)),
        f"distance [{system.distance.label}]": rounded(system.distance, stop.distance),
        "day": stop.day,
        "arrive": "" if stop.kind == "start" else clock_text(stop.arrive),
        "leave": "" if stop.kind == "finish" else clock_text(stop.depart),
        "wait [min]": here(whole_minutes(stop.wait)),
        "standing [min]": here(whole_minutes(by_day(stop))),
        "off the road [min]": here(whole_minutes(stop.access_time)),
        "night [min]": "" if stop.fire is None else whole_minutes(stop.night),
        f"tank on arrival [{water.label}]": rounded(water, stop.tank_arrive),
        f"water taken [{water.label}]": here(rounded(water, stop.water_taken)),
        f"water used standing [{water.label}]": here(rounded(water, stop.water_standing)),
        f"tank on leaving [{water.label}]": rounded(water, stop.tank_depart),
        f"bunker on arrival [{coal.label}]": rounded(coal, stop.bunker_arrive),
        f"coal taken [{coal.label}]": here(rounded(coal, stop.coal_taken)),
        f"coal used standing [{coal.label}]": here(rounded(coal, stop.coal_standing)),
        f"bunker on leaving [{coal.label}]": rounded(coal, stop.bunker_depart),
        **_store_cells(stop, water, stores),
        "to do": plain("; ".join(tasks_at(scenario, stop, system))),
        f"to pay [{scenario.file.currency}]": here(round(stop.money, 2) + 0.0),
        **_supply_cells(_supply(scenario, stop)),
    }


def _stores(scenario: Scenario, plan: Plan) -> tuple[str, ...]:
    """Stores besides tank and bunkers that the table of stops shows."""
    carts = any(store.kind == "cart" for store in scenario.stores)
    boiler = any(stop.boiler_arrive or stop.boiler_depart for stop in plan.stops)
    return (*(["cart"] if carts else []), *(["boiler"] if boiler or plan.crests else []))


def _store_cells(stop: Stop, water: DisplayUnit, stores: Iterable[str]) -> dict[str, Cell]:
    cells: dict[str, Cell] = {}
    if "cart" in stores:
        cells[f"cart on arrival [{water.label}]"] = rounded(water, stop.cart_arrive)
        cells[f"cart on leaving [{water.label}]"] = rounded(water, stop.cart_depart)
    if "boiler" in stores:  # above the working level
        cells[f"boiler extra on arrival [{water.label}]"] = rounded(water, stop.boiler_arrive)
        cells[f"boiler extra on leaving [{water.label}]"] = rounded(water, stop.boiler_depart)
    return cells


def _supply(scenario: Scenario, stop: Stop) -> Supply | None:
    if stop.kind != "supply" or stop.row is None:
        return None
    return scenario.supplies[stop.row]


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
    return f"{clock_text(opens)}-{'24:00' if closes >= _DAY else clock_text(closes)}"


def leg_row(plan: Plan, leg: Leg, system: UnitSystem) -> dict[str, Cell]:
    """One leg, cell by column.

    Parameters
    ----------
    plan
        The plan.
    leg
        One of its legs.
    system
        The units to show.

    Returns
    -------
    row
        Cells by column, units in the columns' names.
    """
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    ahead = leg.length / distance.size
    return {
        "from": plain(plan.stops[leg.begin].name),
        "to": plain(plan.stops[leg.end].name),
        f"begin [{distance.label}]": rounded(distance, leg.distance),
        f"length [{distance.label}]": rounded(distance, leg.length),
        f"climb [{height.label}]": rounded(height, leg.climb),
        f"descent [{height.label}]": rounded(height, leg.descent),
        "driving [min]": whole_minutes(leg.duration),
        f"mean speed [{system.speed.label}]": (
            rounded(system.speed, leg.length / leg.duration) if leg.duration > 0 else ""
        ),
        f"water [{water.label}]": rounded(water, leg.water),
        f"coal [{coal.label}]": rounded(coal, leg.coal),
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
        "bridge", f"distance [{system.distance.label}]", "clock", "limited",
        f"posted limit [{mass}]", f"our figure [{mass}]", "uncoupled", "last confirmed", "note",
    )  # fmt: skip


def _crossing_row(scenario: Scenario, crossing: Crossing, system: UnitSystem) -> dict[str, Cell]:
    bridge = scenario.bridges[crossing.row]
    cells: tuple[Cell, ...] = (
        plain(crossing.name),
        rounded(system.distance, crossing.distance),
        clock_text(crossing.clock),
        plain(crossing.what),
        rounded(system.mass, crossing.limit),
        rounded(system.mass, crossing.gross),
        "yes" if crossing.uncoupled else "",
        str(bridge.last_confirmed or ""),
        plain(bridge.note or ""),
    )
    return dict(zip(_crossing_columns(system), cells, strict=True))
