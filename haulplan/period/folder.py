"""A stage of a likely run as a scenario folder: road, engine, train, where water may be."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

from haulplan.period.defaults import band
from haulplan.period.likely import Likely, engine_toml
from haulplan.period.way import Way, places_csv, road_csv, table_csv
from haulplan.scenario.classes import fuels
from haulplan.scenario.quoting import toml_text

__all__ = ["stage_files"]

_MILE = 1609.344
#: Where nothing is said of water it is looked for every mile, at most so often in a day.
_MOST_PLACES = 24
#: A run starts its day at six. haulplan's assumption. [s]
_DEPART = "06:00"
#: Share of tank and bunker that is never planned away. haulplan's assumption. [-]
_RESERVE = 0.1
#: The train is written as wagons of at most this gross weight. haulplan's assumption. [kg]
_WAGON = 10_000.0


def stage_files(
    likely: Likely, way: Way, day: int, *, loaded: bool, spaced: bool
) -> dict[str, str]:
    """The scenario folder of a stage.

    Parameters
    ----------
    likely
        The run.
    way
        Of the stage, beginning at 0.
    day
        Counted from 1.
    loaded
        Whether the load is aboard.
    spaced
        Whether to look for water every mile, besides what the record names.

    Returns
    -------
    files
        Text by file name.
    """
    files = {
        "scenario.toml": _scenario(likely, way, day, loaded=loaded),
        "route.csv": road_csv(way),
        "places.csv": places_csv(way),
    }
    supply = _supply(way, spaced=spaced)
    if supply:
        header = (
            "name", "kind", "at [m]", "set_up [min]", "water_available",
            "water_rate [US gal/min]", "coal_available", "coal_rate [lb/min]", "note",
        )  # fmt: skip
        files["supply.csv"] = table_csv(header, supply)
    return files


def _supply(way: Way, *, spaced: bool) -> list[Sequence[str]]:
    """Water where the record names it; where it names none, or too little, every mile."""
    named = [s for s in way.spots[1:-1] if s.water is not None]
    set_up = f"{band('work', 'set_up').typical / 60:.0f}"
    rows: list[Sequence[str]] = [
        (s.name, s.water or "", f"{s.at:.1f}", set_up, "unlimited", "30", "unlimited", "20",
         "named in the record; coal from the train")
        for s in named
    ]  # fmt: skip
    if named and not spaced:
        return rows
    apart = max(math.ceil(way.length / _MILE / _MOST_PLACES), 1)
    for mile in range(apart, math.ceil(way.length / _MILE), apart):
        at = mile * _MILE
        if at < way.length - 1.0 and all(abs(at - s.at) > apart * _MILE / 2 for s in named):
            rows.append(
                (f"Water at mile {mile}?", "not known", f"{at:.1f}", set_up, "unlimited", "30",
                 "unlimited", "20", "supposed: the record names no water here; coal from the train")
            )  # fmt: skip
    return sorted(rows, key=lambda row: float(row[2]))


def _scenario(likely: Likely, way: Way, day: int, *, loaded: bool) -> str:
    """scenario.toml of a stage."""
    record = likely.record.file
    tank, bunker = likely.tank, likely.bunker
    run = likely if loaded else replace(likely, carried=0.0)
    lines = [
        f"# {record.title}: a likely run, day {day}. Made by haulplan reconstruct from a record;",
        "# figures are middling ones of the combinations that agree with it. Mend what you know.",
        "",
        f"title = {toml_text(f'{record.title}, day {day}'[:200])}",
        f"start = {toml_text(way.spots[0].name)}",
        f"finish = {toml_text(way.spots[-1].name)}",
        f"date = {_date(likely, day)}",
        f'depart = "{_DEPART}"',
        f'units = "{record.units}"',
        f'currency = "{"USD" if record.country == "us" else "GBP"}"',
        "",
        "[aim]",
        'first = "fewest stops"',
        "",
        "[stores]",
        f'tank = "{tank:.0f} kg"',
        f'bunker = "{bunker:.0f} kg"',
        "",
        "[at_start]",
        'water = "full"',
        'coal = "full"',
        "",
        "[at_finish]",
        f'water = "{_RESERVE * tank:.0f} kg"',
        f'coal = "{_RESERVE * bunker:.0f} kg"',
        "",
        "[reserve]",
        f'water = "{_RESERVE * tank:.0f} kg"',
        f'coal = "{_RESERVE * bunker:.0f} kg"',
        "",
        "[route]",
        'file = "route.csv"',
        f'surface = "{way.spots[0].surface}"',
        "",
        "[fuel]",
        f"name = {toml_text(fuels()[likely.fuel]['title'])}",
        f'kind = "{likely.fuel}"',
        f'heating_value = "{likely.heating_value / 1e6:.2f} MJ/kg"',
        "",
        "[conditions]",
        f'weather = "{likely.state}"',
        "",
        *_engine(run),
        *_wagons(run, loaded=loaded),
    ]
    return "\n".join(lines) + "\n"


def _engine(likely: Likely) -> list[str]:
    keys = engine_toml(likely)
    lines = ["[engine]"]
    for name, value in keys.items():
        if name != "gears":
            lines.append(f"{name} = {_value(value)}")
    gears = keys["gears"]
    assert isinstance(gears, list)
    for gear in gears:
        lines += ["", "[[engine.gears]]", *(f"{k} = {_value(v)}" for k, v in gear.items())]
    return lines


def _wagons(likely: Likely, *, loaded: bool) -> list[str]:
    load = likely.useful - likely.carried if loaded else 0.0
    if likely.tare < 1.0:
        return []
    tyre = "rubber" if likely.engine.tyre == "rubber" else "steel"
    count = math.ceil((likely.tare + load) / _WAGON)
    return [
        "", "[[train.wagons]]", 'name = "wagon"', f"count = {count}",
        f'tare = "{likely.tare / count:.0f} kg"', f'load = "{max(load, 0.0) / count:.0f} kg"',
        f'tyre = "{tyre}"',
    ]  # fmt: skip


def _date(likely: Likely, day: int) -> str:
    first = likely.record.file.date or dt.date(likely.record.file.year, 6, 1)
    return (first + dt.timedelta(days=day - 1)).isoformat()


def _value(value: object) -> str:
    return toml_text(value) if isinstance(value, str) else str(value)
