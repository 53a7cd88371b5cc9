"""The organiser's page on the terminal."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.stations import numbered, remarks, stations_frame, wanted_at
from haulplan.outputs.tables import clock_text, plain
from haulplan.stations.organise import Organised
from haulplan.stations.task import start_of
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

__all__ = ["render_stations"]


def render_stations(found: Organised, system: UnitSystem) -> "Group":
    """The organiser's page for a terminal of at least 80 columns.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    parts: list[RenderableType] = [*_heading(found, system), _text("")]
    parts += [_text("Stations", bold=True), _station_table(found, system), _text("")]
    labels = f"Fleet: water in {system.water.label}, places in {system.distance.label}"
    parts += [_text(labels, bold=True), _fleet_table(found, system), _text("")]
    if found.rota.shifts:
        parts += [_text("Trucks", bold=True), _truck_table(found, system), _text("")]
    parts += [_text("Gaps between starts, typical day", bold=True), _gap_table(found), _text("")]
    if words := remarks(found, system):
        parts += [_text("Look into", bold=True), _listed(words)]
    parts += [_text("Cautions", bold=True), _listed(CAUTIONS)]
    return Group(*parts)


def _heading(found: Organised, system: UnitSystem) -> "list[Text]":
    file, odds = found.event.file, found.odds
    laps = "" if found.course.laps == 1 else f", {found.course.laps} laps"
    loss = "; any one station may be lost" if found.choice.losses else ""
    lines = [
        f"{file.date:%A} {file.date.isoformat()}, first away {clock_text(file.depart)}, last in "
        f"{clock_text(odds.finish[0])} ({clock_text(odds.finish[1])} on a late day)",
        f"{len(found.fleet)} engines, {system.distance.text(found.course.length)}{laps}, "
        f"{len(found.course.sites)} possible places",
        f"Planned at a pessimism of {found.pessimism:.1%}{loss}",
        *(f"Aim {n}: {_stage(found, n - 1)}" for n in range(1, len(found.choice.stages) + 1)),
        f"Nobody dry: {odds.runs - odds.dry} of {odds.runs} days played; a dry day has at most "
        f"{odds.at_most:.1%} chance (95 % sure), {1 - file.chances.nobody_dry:.1%} allowed",
    ]
    return [_text(plain(file.title), bold=True), *map(_text, lines)]


def _stage(found: Organised, number: int) -> str:
    stage = found.choice.stages[number]
    shown = {
        "fewest stations": f"{stage.value:.0f}",
        "best service": f"{stage.value:.1f} min an engine at hoses and in the longest queue",
        "least cost": f"{stage.value:,.2f} {found.event.file.currency}",
    }[stage.aim]
    if stage.proven:
        exact = stage.aim == "fewest stations" or stage.gap < 1e-3
        proof = "proved best" if exact else f"proved within {math.ceil(stage.gap * 1000) / 10:g} %"
    elif stage.bound <= 0:
        proof = "best found; no bound in the time given"
    else:
        proof = f"best found, at most {math.ceil(stage.gap * 1000) / 10:g} % above the best"
    return f"{stage.aim}: {shown}; {proof}"


def _text(words: str, *, bold: bool = False) -> "Text":
    from rich.text import Text  # noqa: PLC0415  slow to load

    return Text(plain(words), style="bold" if bold else "")


def _listed(items: Iterable[str]) -> "Table":
    from rich.table import Table  # noqa: PLC0415  slow to load

    grid = Table.grid(padding=(0, 1, 0, 0))
    for item in items:
        grid.add_row(_text(" -"), _text(item))
    grid.add_row()
    return grid


def _table(columns: Sequence[tuple[str, str]]) -> "Table":
    """An empty table; columns marked "<" stand left and give way."""
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False, header_style="bold")
    for title, side in columns:
        table.add_column(
            title, justify="left" if side == "<" else "right", no_wrap=side != "<",
            min_width=19 if title == "Engine" else None, overflow="fold",
        )  # fmt: skip
    return table


def _station_table(found: Organised, system: UnitSystem) -> "Table":
    table = _table(
        (
            ("No", ">"), ("Station", "<"), (f"At\n{system.distance.label}", ">"), ("Hoses", ">"),
            ("Engines", ">"), ("First\nlast", ">"), (f"Water\n{system.water.label}", ">"),
            ("Coal\nbags", ">"), ("Wait\nmin", ">"), ("19 in\n20", ">"),
        )
    )  # fmt: skip
    frame = stations_frame(found, system)
    rows = frame.to_dict("records")
    for (number, place), row in zip(numbered(found), rows, strict=True):
        water, bags = wanted_at(found, place)
        table.add_row(
            number, _text(str(row["station"])).append(f"\n{row['kind']}"),
            system.distance.number(found.course.sites[place].distance), str(row["hoses"]),
            str(row["engines"]), f"{row['first']}\n{row['last']}", system.water.number(water),
            str(bags), f"{row['mean wait [min]']:.0f}",
            f"{row['wait, 19 of 20 under [min]']:.0f}",
        )  # fmt: skip
    return table


def _fleet_table(found: Organised, system: UnitSystem) -> "Table":
    water = system.water
    names = {place: number for number, place in numbered(found)}
    table = _table(
        (
            ("Slot", ">"), ("Engine", "<"), ("Start", ">"), ("Tank", ">"), ("Use", ">"),
            ("Stops", "<"), ("Lowest", ">"), ("at", ">"), ("1 day\nin 20", ">"),
        )
    )  # fmt: skip
    for e, engine in enumerate(found.fleet):
        day = found.typical.engines[e]
        table.add_row(
            str(engine.slot), _text(engine.name), clock_text(start_of(found.event, engine)),
            water.number(engine.tank),
            water.number(engine.used(engine.leaves) - engine.used(engine.joins)),
            _text(" ".join(names[g.place] for g in found.choice.stops[e])),
            water.number(day.lowest), system.distance.number(day.where),
            water.number(float(found.odds.low_mark[e])),
        )  # fmt: skip
    return table


def _truck_table(found: Organised, system: UnitSystem) -> "Table":
    table = _table(
        (
            ("Truck", "<"), ("Place", "<"), ("Set out\nthere", ">"), ("Leave", ">"),
            (f"Aboard\n{system.water.label}", ">"), (f"Gives\n{system.water.label}", ">"),
            (f"Gross\n{system.mass.label}", ">"), ("Posted", ">"),
        )
    )  # fmt: skip
    for shift in found.rota.shifts:
        table.add_row(
            _text(found.event.trucks[shift.truck].truck),
            _text(found.course.sites[shift.place].name),
            f"{clock_text(shift.arrive - shift.travel)}\n{clock_text(shift.arrive)}",
            clock_text(shift.leave), system.water.number(shift.load),
            system.water.number(shift.gives), system.mass.number(shift.gross),
            system.mass.number(shift.limit) if math.isfinite(shift.limit) else "none",
        )  # fmt: skip
    return table


def _gap_table(found: Organised) -> "Table":
    table = _table(
        (
            ("Gap min", ">"), ("Longest wait min", ">"), ("Mean wait min", ">"),
            ("Last in", ">"), ("", "<"),
        )
    )  # fmt: skip
    for stagger in found.staggers:
        word = "no queue" if stagger is found.calm else ""
        table.add_row(
            f"{stagger.gap / 60:.1f}", f"{stagger.longest_wait / 60:.0f}",
            f"{stagger.mean_wait / 60:.1f}", clock_text(stagger.last_finish), word,
        )  # fmt: skip
    return table
