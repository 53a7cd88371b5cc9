"""One recorded trip reckoned under many combinations of readings and figures."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.resistance import standard_air
from haulplan.period.defaults import PeriodEngine, period_engines
from haulplan.period.ground import NOTHING, Trip, altitude, cells_of, one_way_of, rise_of, stages_of
from haulplan.period.physics import Boilers, Engines, Lines, Run, boilers, drive, lines, steam_at
from haulplan.period.questions import COVERS, word_sizes
from haulplan.period.record import Record
from haulplan.period.sampling import Draws
from haulplan.scenario.classes import fuels
from haulplan.units import parse

__all__ = ["MODEL_DEFAULTS", "Outcome", "reckon"]

Array = NDArray[np.float64]

#: Combinations driven at once, so that arrays stay in the processor's cache.
_CHUNK = 8192


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What each combination gives, SI, shape (draws,); `held` marks trains a hill stops."""

    figures: Mapping[str, Array]
    held: NDArray[np.bool_]

    def __getitem__(self, name: str) -> Array:
        return self.figures[name]


def reckon(record: Record, draws: Draws, *, state: str | None = None) -> Outcome:
    """Reckon the trip under each combination.

    Parameters
    ----------
    record
        With a way.
    draws
        Of the questions of `questions_of`.
    state
        Of the road, instead of the drawn one.

    Returns
    -------
    outcome
        Masses, distances, times, water and coal.
    """
    sizes = word_sizes(draws)
    trip = Trip(record=record, draws=draws, sizes=sizes, state=state)
    engine = draws.choices["engine"]
    runs: dict[str, Array] = {}
    held = np.zeros(draws.count, dtype=bool)
    for number, key in enumerate(engine.labels):
        own = np.flatnonzero(engine.picked == number)
        for first in range(0, own.size, _CHUNK):
            part = own[first : first + _CHUNK]
            found, stopped = _group(trip, period_engines()[key], part)
            held[part] = stopped
            for name, values in found.items():
                runs.setdefault(name, np.zeros(draws.count))[part] = values
    return _complete(trip, runs, held)


def _group(
    trip: Trip, kind: PeriodEngine, own: NDArray[np.int64]
) -> tuple[dict[str, Array], NDArray[np.bool_]]:
    """Use per metre and masses of the combinations that have one kind of engine."""
    figures = {
        name: trip.draws.within(f"engine {name}", row.low, row.typical, row.high)[own]
        for name, row in kind.figures.items()
    }
    figures |= {name: trip.default(name)[own] for name in MODEL_DEFAULTS}
    figures["heating_value"] = _heating_value(trip)[own]
    tank = trip.stated("engine.tank")
    if tank is not None:
        figures["tank"] = tank[own]
    weight = trip.stated("engine.weight")
    aboard = (figures["tank"] + figures["bunker"]) / 2
    drivers = figures["weight_on_drivers"] / figures["weight"]
    mass = figures["weight"] + aboard if weight is None else weight[own]
    whole = np.zeros(trip.draws.count)
    whole[own] = mass
    useful, tare, carried = (m[own] for m in trip.masses(whole))
    air, density = standard_air(altitude(trip.record))
    boiler = boilers(figures, air)
    base = {"line": _lines_of(kind, figures, air), "boiler": boiler}
    cells = cells_of(trip, kind, figures, own, density)
    on_wheels = trip.work("wagons", "carried")[own]
    loaded, empty = (
        drive(
            _engines(kind, figures, trip.work("work", "pace")[own], mass + extra,
                     mass * drivers + extra * on_wheels, base),
            cells, (behind + tare)[:, None], forwards=forwards,
        )
        for extra, behind, forwards in ((carried, useful, True), (0.0, 0.0, False))
    )  # fmt: skip
    crew = trip.work("work", "crew")[own]
    found = {"engine": mass, "useful": useful + carried, "carried": carried, "tare": tare,
             "tank": figures["tank"], "bunker": figures["bunker"],
             "heating value": figures["heating_value"]}  # fmt: skip
    found |= _per_metre("loaded", loaded, crew) | _per_metre("empty", empty, crew)
    found |= _standing(figures, boiler, crew)
    stays = trip.distances()[1][own] == 0.0
    held = loaded.held | (empty.held & ~stays) | (useful + carried <= NOTHING)
    return found, held


MODEL_DEFAULTS = (
    "running_cut_off", "longest_cut_off", "diagram_factor", "back_pressure",
    "friction_pressure", "clearance", "condensation", "compound_cut_off",
    "compound_condensation", "compound_diagram_factor", "mesh_efficiency",
    "journal_efficiency", "dryness", "auxiliary_steam", "radiation", "furnace_b", "furnace_a",
    "hand_firing", "firing_rate", "standby_firing", "raising_efficiency", "metal_heat",
    "feed_temperature", "engine_rolling", "speed_slope", "soft_width", "drag",
    "low_gear_descent", "banking_coal", "fire_cleaning",
)  # fmt: skip


def _heating_value(trip: Trip) -> Array:
    choice = trip.draws.choices["fuel"]
    low, typical, high = (
        np.array([parse("heating value", fuels()[k]["heating_value"][end]) for k in choice.labels])
        for end in range(3)
    )
    deviate = trip.draws.within("heat of the fuel", -1.0, 0.0, 1.0)
    side = np.where(deviate > 0, (high - typical)[choice.picked], (typical - low)[choice.picked])
    return np.asarray(typical[choice.picked] + side * deviate)


def _lines_of(kind: PeriodEngine, figures: Mapping[str, Array], air: float) -> Lines:
    low = figures.get("low_pressure_bore")
    ratio = np.ones_like(figures["bore"]) if low is None else (low / figures["bore"]) ** 2
    return lines(figures, air, ratio=ratio, kind="" if low is None else "compound_")


def _engines(
    kind: PeriodEngine,
    figures: Mapping[str, Array],
    pace: Array,
    mass: Array,
    drivers: Array,
    base: Mapping[str, object],
) -> Engines:
    low = figures.get("low_pressure_bore")
    bore = figures["bore"] if low is None else low
    working = kind.cylinders if low is None else kind.cylinders // 2
    swept = working * bore**2 * figures["stroke"] / (2.0 * figures["wheel_diameter"])
    mesh, journal = (np.minimum(figures[f"{n}_efficiency"], 0.99) for n in ("mesh", "journal"))
    return Engines(
        mass=mass[:, None],
        drivers=drivers[:, None],
        volume=[(swept * gear["ratio"])[:, None] for gear in kind.gears],
        efficiency=[(mesh ** g["meshes"] * journal ** (g["meshes"] + 1))[:, None]
                    for g in kind.gears],
        speed=[(parse("speed", gear["speed"]) * pace)[:, None] for gear in kind.gears],
        friction=figures["friction_pressure"][:, None],
        frontal_area=figures["frontal_area"][:, None],
        drag=figures["drag"][:, None],
        low_descent=figures["low_gear_descent"][:, None],
        **base,  # type: ignore[arg-type]
    )  # fmt: skip


def _per_metre(name: str, run: Run, crew: Array) -> dict[str, Array]:
    return {
        f"{name} duration": run.duration,
        f"{name} water": run.water * crew,
        f"{name} coal": run.coal * crew,
        f"{name} parted": run.parted,
    }


def _standing(figures: Mapping[str, Array], boiler: Boilers, crew: Array) -> dict[str, Array]:
    """Use per second of standing, and coal to raise steam and to bank, once each."""
    steam = boiler.auxiliary
    coal = boiler.coal(steam)[:, 0] + figures["standby_firing"] * figures["grate_area"]
    pressure = figures["pressure"] + 101325.0
    warm = steam_at("liquid", pressure) - 4186.8 * (figures["feed_temperature"] - 273.15)
    metal = steam_at("temperature", pressure) - figures["feed_temperature"]
    heat = figures["boiler_water"] * warm
    heat = heat + figures["boiler_metal"] * figures["metal_heat"] * metal
    value = figures["heating_value"]
    return {
        "standing water rate": steam[:, 0] * crew,
        "standing coal rate": coal * crew,
        "lighting once": heat / (figures["raising_efficiency"] * value),
        "banking once": figures["banking_coal"] * figures["grate_area"],
    }


def _complete(trip: Trip, runs: dict[str, Array], held: NDArray[np.bool_]) -> Outcome:
    """Totals of the trip from the use per metre."""
    loaded, empty = trip.distances()
    running = loaded * runs["loaded duration"] + empty * runs["empty duration"]
    running = np.where(held, np.nan, running)
    share = np.clip(trip.work("work", "standing"), 0.02, 0.8)
    total = running / (1.0 - share)
    hours = trip.sizes.get("day", trip.work("work", "hours"))
    days = np.maximum(np.ceil(total / hours - 0.1), 1.0)
    banked = trip.draws.choices["nights"].chosen("fire banked")
    lighting = runs["lighting once"] * np.where(banked, 1.0, days)
    banking = runs["banking once"] * np.where(banked, days - 1.0, 0.0)
    moved = {
        what: loaded * runs[f"loaded {what}"] + empty * runs[f"empty {what}"]
        for what in ("water", "coal")
    }
    standing = total - running
    stood = {w: standing * runs[f"standing {w} rate"] for w in ("water", "coal")}
    parts = {"running": moved["coal"], "standing": stood["coal"], "lighting up": lighting,
             "banking": banking}  # fmt: skip
    choice = trip.draws.choices["coal counts"]
    counted = np.zeros(trip.draws.count)
    for label in choice.labels:
        sums = np.sum([parts[name] for name in sorted(COVERS[label])], axis=0)
        counted = np.where(choice.chosen(label), sums, counted)
    water = moved["water"] + stood["water"]
    figures = dict(runs) | {
        "loaded way": loaded, "empty way": empty, "way": loaded + empty,
        "gross": runs["engine"] + runs["useful"] + runs["tare"],
        "running": running, "standing": standing, "total": total, "days": days,
        "running coal": parts["running"], "standing coal": parts["standing"],
        "lighting coal": lighting, "banking coal": banking,
        "coal counted": counted, "coal": np.sum(list(parts.values()), axis=0),
        "water": water, "stops": np.ceil(np.maximum(water / runs["tank"] - 1.0, 0.0)),
        "running speed": (loaded + empty) / running, "journey speed": (loaded + empty) / total,
        "gross ton-metres": (runs["engine"] + runs["useful"] + runs["tare"]) * loaded
        + (runs["engine"] + runs["tare"]) * empty,
        "climb": _climb(trip), "rise": rise_of(trip), "hill": trip.work("work", "hill"),
        "pace": trip.work("work", "pace"), "day hours": hours, "one way": one_way_of(trip),
        "standing share": share,
        "parted": (loaded * runs["loaded parted"] + empty * runs["empty parted"])
        / (loaded + empty),
    }  # fmt: skip
    return Outcome(figures=figures, held=held)


def _climb(trip: Trip) -> Array:
    """Rises of the way out per length [-]."""
    grades, shares, _ = stages_of(trip.record)
    return rise_of(trip) + float((np.maximum(grades, 0.0) * shares).sum())
