"""What the organiser is handed: tables, the terminal's page, and every file by name."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from haulplan.outputs.tables import Cell, clock_text, frame_of, plain, rounded, to_csv
from haulplan.stations.day import Halt
from haulplan.stations.organise import Drill, Organised
from haulplan.stations.task import start_of
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "fleet_frame",
    "numbered",
    "orders_frame",
    "remarks",
    "stations_frame",
    "stations_outputs",
    "trucks_frame",
    "wanted_at",
]


def stations_outputs(found: Organised, system: UnitSystem) -> Mapping[str, str]:
    """Every file of an organised event by its name; the map only where there are positions.

    Parameters
    ----------
    found
        What was organised.
    system
        Units of what is shown.

    Returns
    -------
    files
        Text by file name.
    """
    from haulplan.outputs import (  # noqa: PLC0415  lazy start
        stations_chart,
        stations_map,
        stations_sheets,
    )

    files = {
        "stations.csv": to_csv(stations_frame(found, system)),
        "fleet.csv": to_csv(fleet_frame(found, system)),
        "trucks.csv": to_csv(trucks_frame(found, system)),
        "orders.csv": to_csv(orders_frame(found, system)),
        "sheets.html": stations_sheets.draw_sheets(found, system),
        "queues.svg": stations_chart.draw_queues(found, system),
    }
    if found.course.route.line is not None:
        files["map.html"] = stations_map.draw_marshals_map(found, system)
    return files


def wanted_at(found: Organised, place: int) -> tuple[float, int]:
    """Water [kg] and bags of coal wanted at a place on the day reckoned with.

    Parameters
    ----------
    found
        What was organised.
    place
        Its number.

    Returns
    -------
    water, bags
        Without what is ordered in hand.
    """
    water = sum(halt.take for halt in found.heavy.halts if halt.place == place)
    bags = sum(
        count
        for (_, visit), count in found.coal.items()
        if visit >= 0 and found.course.visits[visit].site == place
    )
    return water, bags


def stations_frame(found: Organised, system: UnitSystem) -> "pd.DataFrame":
    """One row for each open station or rendezvous, in order along the road.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    frame
        Rounded as shown.
    """
    rows = [_station_row(found, n, place, system) for n, place in numbered(found)]
    return frame_of(rows, ("number", "station"))


def numbered(found: Organised) -> list[tuple[str, int]]:
    """Open places with their numbers; a rendezvous has R before its own.

    Parameters
    ----------
    found
        What was organised.

    Returns
    -------
    places
        Number as shown, and place.
    """
    numbers: list[tuple[str, int]] = []
    stations = meets = 0
    for place in found.choice.open:
        if found.course.sites[place].is_station:
            stations += 1
            numbers.append((str(stations), place))
        else:
            meets += 1
            numbers.append((f"R{meets}", place))
    return numbers


def _station_row(found: Organised, number: str, place: int, system: UnitSystem) -> dict[str, Cell]:
    site, service = found.course.sites[place], found.event.file.service
    water, bags = wanted_at(found, place)
    halts = _halts(found, place)
    mean, most, longest = found.odds.waits[place]
    crowd = max(found.odds.crowds[place][2], default=0.0)
    clocks = [halt.arrive for halt in halts]
    return {
        "number": number,
        "station": plain(site.name),
        "kind": site.row.kind,
        f"distance [{system.distance.label}]": rounded(system.distance, site.distance),
        "side": site.row.side,
        "hoses": site.hoses,
        "engines": len({halt.engine for halt in halts}),
        "first": clock_text(min(clocks)) if clocks else "",
        "last": clock_text(max(halt.leave for halt in halts)) if clocks else "",
        f"water [{system.water.label}]": rounded(system.water, water),
        f"water with some in hand [{system.water.label}]": rounded(
            system.water, min(water * (1 + service.in_hand), site.row.water)
        ),
        "coal [bags]": bags,
        "mean wait [min]": round(mean / 60, 1),
        "wait, 19 of 20 under [min]": round(most / 60, 1),
        "longest wait in all runs [min]": round(longest / 60, 1),
        "most standing there, 19 of 20 days": round(crowd),
        "places on hard standing": site.places if site.places < 10_000 else "",
        "contact": plain(site.row.contact or ""),
        "permit": plain(site.row.permit or ""),
        "note": plain(site.row.note or ""),
    }


def _halts(found: Organised, place: int) -> list[Halt]:
    """Stops at a place on the typical day in the order they are served."""
    halts = [halt for halt in found.typical.halts if halt.place == place]
    return sorted(halts, key=lambda halt: (halt.begin, halt.arrive))


def fleet_frame(found: Organised, system: UnitSystem) -> "pd.DataFrame":
    """One row for each engine: start, stops, lowest level and where.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    frame
        Rounded as shown.
    """
    names = {place: number for number, place in numbered(found)}
    water, odds = system.water, found.odds
    rows: list[dict[str, Cell]] = []
    for e, engine in enumerate(found.fleet):
        stops = found.choice.stops[e]
        bags = {visit: count for (who, visit), count in found.coal.items() if who == e}
        day = found.typical.engines[e]
        rows.append(
            {
                "slot": engine.slot,
                "engine": plain(engine.name),
                "kind": engine.kind,
                "start": clock_text(start_of(found.event, engine)),
                f"tank [{water.label}]": rounded(water, engine.tank),
                f"use all day [{water.label}]": rounded(
                    water, engine.used(engine.leaves) - engine.used(engine.joins)
                ),
                "stops": " ".join(names[given.place] for given in stops),
                f"water planned [{water.label}]": rounded(water, sum(g.take for g in stops)),
                "coal [bags]": sum(bags.values()),
                f"lowest, typical day [{water.label}]": rounded(water, day.lowest),
                f"at [{system.distance.label}]": rounded(system.distance, day.where),
                f"lowest, 1 day in 20 under [{water.label}]": rounded(
                    water, float(odds.low_mark[e])
                ),
                f"lowest of all runs [{water.label}]": rounded(water, float(odds.lowest[e])),
                f"there at [{system.distance.label}]": rounded(
                    system.distance, float(odds.where[e])
                ),
                "dry runs": int(odds.dry_days[e]),
                "finish, typical day": clock_text(day.finish),
                "figures from": plain(engine.source),
                "contact": plain(engine.contact),
            }
        )
    return frame_of(rows)


_TRUCK_COLUMNS = ("truck", "shift", "place")


def trucks_frame(found: Organised, system: UnitSystem) -> "pd.DataFrame":
    """One row for each shift of each truck.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    frame
        Rounded as shown.
    """
    rows: list[dict[str, Cell]] = []
    count: dict[int, int] = {}
    for shift in found.rota.shifts:
        count[shift.truck] = count.get(shift.truck, 0) + 1
        truck = found.event.trucks[shift.truck]
        rows.append(
            {
                "truck": plain(truck.truck),
                "shift": count[shift.truck],
                "place": plain(found.course.sites[shift.place].name),
                "set out by": clock_text(shift.arrive - shift.travel),
                "fill on the way [min]": round(shift.fill / 60),
                f"drive [{system.distance.label}]": rounded(system.distance, shift.metres),
                "be there": clock_text(shift.arrive),
                "leave": clock_text(shift.leave),
                f"water aboard [{system.water.label}]": rounded(system.water, shift.load),
                f"to give [{system.water.label}]": rounded(system.water, shift.gives),
                f"gross [{system.mass.label}]": rounded(system.mass, shift.gross),
                f"least posted on the way [{system.mass.label}]": (
                    rounded(system.mass, shift.limit) if math.isfinite(shift.limit) else ""
                ),
                "bridges": plain(", ".join(shift.bridges)),
            }
        )
    return frame_of(rows, _TRUCK_COLUMNS)


def orders_frame(found: Organised, system: UnitSystem) -> "pd.DataFrame":
    """What is to be ordered: water, coal, hoses, trucks, station by station and in all.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    frame
        A row for each thing and place.
    """
    service = found.event.file.service
    rows: list[dict[str, Cell]] = []

    def order(what: str, where: str, amount: Cell, unit: str, remark: str) -> None:
        rows.append(
            {"what": what, "where": where, "amount": amount, "unit": unit, "remark": remark}
        )

    total = hoses = coal = 0.0
    for _, place in numbered(found):
        site = found.course.sites[place]
        water, bags = wanted_at(found, place)
        wanted = min(water * (1 + service.in_hand), site.row.water)
        total, hoses, coal = total + wanted, hoses + site.hoses, coal + bags
        remark = f"{site.row.kind}; reckoned use and {service.in_hand:.0%} in hand"
        if site.row.permit:
            remark += f"; {plain(site.row.permit)}"
        name = plain(site.name)
        order("water", name, rounded(system.water, wanted), system.water.label, remark)
        order("hoses", name, site.hoses, "", "with fittings and a strainer each")
        if bags:
            order("coal", name, bags, "bags", f"of {system.coal.text(service.bag)}")
    at_start = sum(count for (_, visit), count in found.coal.items() if visit < 0)
    if at_start:
        where = plain(found.event.file.start)
        order("coal", where, at_start, "bags", "for engines that stop nowhere with coal")
    order("water", "in all", rounded(system.water, total), system.water.label, "")
    order("hoses", "in all", round(hoses), "", "")
    order("coal", "in all", round(coal) + at_start, "bags", f"of {system.coal.text(service.bag)}")
    for k, truck in enumerate(found.event.trucks):
        used = any(shift.truck == k for shift in found.rota.shifts) or truck.role == "roving"
        remark = "roving: stands by for calls" if truck.role == "roving" else "see its timetable"
        if used:
            order("truck", plain(truck.truck), 1, "", remark)
    return frame_of(rows)


def _drill_text(found: Organised, drill: Drill) -> str:
    """What the loss of one place comes to."""
    names = found.course.sites
    text = f"if {names[drill.lost].name} is lost: longest queue {drill.wait / 60:.0f} min"
    if drill.unmet:
        places = ", ".join(names[place].name for place in drill.unmet)
        text += f", the trucks cannot serve {places}: have another truck ready"
    if drill.dry:
        text += f", {drill.dry} engines run dry at the thirst reckoned with"
    return text + "; send the word before the first engine has passed the place before it"


def remarks(found: Organised, system: UnitSystem) -> list[str]:
    """What the organiser should look into before the day.

    Parameters
    ----------
    found
        What was organised.
    system
        The units to show.

    Returns
    -------
    remarks
        Each in one line.
    """
    event, words = found.event, []
    if found.pessimism > event.file.chances.pessimism + 1e-9:
        words.append(
            f"planned at a pessimism of {found.pessimism:.1%} instead of "
            f"{event.file.chances.pessimism:.1%}: at less, too many of the days played were dry"
        )
    words += [_drill_text(found, drill) for drill in found.drills]
    for place in found.choice.open:
        site = found.course.sites[place]
        if not any(halt.place == place for halt in found.typical.halts):
            words.append(f"{site.name}: stands by, for the loss of another or for stragglers")
        crowd = max(found.odds.crowds[place][2], default=0.0)
        if crowd > site.places:
            words.append(
                f"{site.name}: {round(crowd)} engines at once on one day in twenty, hard standing "
                f"for {site.places}: say where the rest queue off the carriageway"
            )
        dated = site.row.last_confirmed
        if dated is None and site.row.at is not None and not site.name.startswith("Hard standing"):
            words.append(f"{site.name}: never confirmed; ring before the day")
        elif dated is not None and (event.file.date - dated).days * 86400 > event.file.stale_after:
            days = (event.file.date - dated).days
            words.append(f"{site.name}: last confirmed {days} days before; ring before the day")
    if found.odds.calls > 0:
        words.append(f"the roving truck is called {_often(found.odds.calls)}")
    if found.odds.unplanned > 0:
        words.append(f"a crew whose dip says so stops unplanned {_often(found.odds.unplanned)}")
    if found.course.crossings:
        words.append(
            "bridges: the posted figure and the road authority decide; spacing on the span and "
            "one at a time are for the marshal"
        )
    return [plain(word) for word in words]


def _often(times: float) -> str:
    """How often something happens, from its mean count in a day."""
    return f"{times:.1f} times a day" if times >= 0.95 else f"about once in {1 / times:.0f} days"
