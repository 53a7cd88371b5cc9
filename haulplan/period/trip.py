"""One recorded trip reckoned under many combinations of readings and figures."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import DEFAULTS, SURFACES, WEATHER
from haulplan.demand.resistance import rolling_coefficient, standard_air
from haulplan.period.defaults import (
    PeriodEngine,
    band,
    candidate_engines,
    fuel_weights,
    period_engines,
    state_weights,
    surface_weights,
)
from haulplan.period.physics import Boilers, Cells, Engines, Run, boilers, drive, lines, steam_at
from haulplan.period.record import Record
from haulplan.period.sampling import Draws, Question
from haulplan.period.words import Statement, meanings
from haulplan.scenario.classes import fuels
from haulplan.units import parse

__all__ = ["JOURNEYS", "MODEL_DEFAULTS", "Outcome", "journey_prior", "questions_of", "reckon", "stated_value", "word_sizes"]

Array = NDArray[np.float64]

#: Readings of a distance: times it is gone loaded, times it is gone empty.
JOURNEYS: Mapping[str, tuple[float, float]] = {
    "the distance is one way, loaded": (1.0, 0.0),
    "there and empty back; the distance is one way": (1.0, 1.0),
    "there and empty back; the distance is the whole": (0.5, 0.5),
    "loaded both ways; the distance is one way": (2.0, 0.0),
    "loaded both ways; the distance is the whole": (1.0, 0.0),
}
_ONE, _BACK, _WHOLE, _TWICE, _BOTH = JOURNEYS
#: Weights of those readings by what the record says of the distance and of the way back.
_JOURNEY_PRIOR: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("one way", "none"): {_ONE: 1.0},
    ("one way", "empty"): {_BACK: 1.0},
    ("one way", "loaded"): {_TWICE: 1.0},
    ("one way", "not stated"): {_ONE: 0.7, _BACK: 0.3},
    ("round trip", "none"): {_BOTH: 1.0},
    ("round trip", "empty"): {_WHOLE: 1.0},
    ("round trip", "loaded"): {_BOTH: 1.0},
    ("round trip", "not stated"): {_WHOLE: 0.8, _BOTH: 0.2},
    ("not stated", "none"): {_ONE: 1.0},
    ("not stated", "empty"): {_BACK: 0.4, _WHOLE: 0.6},
    ("not stated", "loaded"): {_TWICE: 0.3, _BOTH: 0.7},
    ("not stated", "not stated"): {_ONE: 0.5, _BACK: 0.2, _WHOLE: 0.3},
}
_COVERS: Mapping[str, frozenset[str]] = {
    "running only": frozenset({"running"}),
    "running and standing": frozenset({"running", "standing"}),
    "with lighting up": frozenset({"running", "standing", "lighting up"}),
    "with lighting up and banking": frozenset({"running", "standing", "lighting up", "banking"}),
}
#: Combinations driven at once, so that arrays stay in the processor's cache.
_CHUNK = 8192


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What each combination gives, SI, shape (draws,); `held` marks trains a hill stops."""

    figures: Mapping[str, Array]
    held: NDArray[np.bool_]

    def __getitem__(self, name: str) -> Array:
        return self.figures[name]


def questions_of(record: Record) -> list[Question]:
    """What a record leaves open, with the weight of each answer before reckoning.

    Parameters
    ----------
    record
        With a way.

    Returns
    -------
    questions
        Words such as "ton", then "engine", "surface", "road state", "fuel", "load",
        "journey", "coal counts", "coal was", "time", "nights".
    """
    file = record.file
    assert file.way is not None
    questions: list[Question] = [
        (word, {m.label: m.weights[file.country] for m in meanings(word)}) for word in record.words
    ]
    engines = candidate_engines(file)
    questions += [
        ("engine", {engine.key: 1.0 for engine in engines}),
        ("surface", surface_weights(file)),
        ("road state", state_weights(file)),
        ("fuel", fuel_weights(file)),
        ("load", _load_prior(file.train.load_is)),
        ("journey", journey_prior(record)),
        ("coal counts", _covers_prior(file.use.coal_covers)),
        ("coal was", _pair(file.use.coal_was, {"burnt": 0.75, "carried": 0.25})),
        ("time", _pair(file.time.duration_is, {"whole journey": 0.8, "running": 0.2})),
        ("nights", {"fire banked": 0.5, "fire dropped": 0.5}),
    ]
    return questions


def journey_prior(record: Record) -> Mapping[str, float]:
    """Weights of the readings of a record's distance.

    Parameters
    ----------
    record
        With a way.

    Returns
    -------
    weights
        By labels of `JOURNEYS`.
    """
    way = record.file.way
    assert way is not None
    return _JOURNEY_PRIOR[way.distance_is, way.back]


def _load_prior(said: str) -> Mapping[str, float]:
    return _pair(said, {"useful": 0.6, "with wagons": 0.3, "whole train": 0.1})


def _pair(said: str, prior: Mapping[str, float]) -> Mapping[str, float]:
    return prior if said == "not stated" else {said: 1.0}


def _covers_prior(said: tuple[str, ...]) -> Mapping[str, float]:
    if said:
        for name, parts in _COVERS.items():
            if parts == frozenset(said) | {"running"}:
                return {name: 1.0}
        return {"with lighting up and banking": 1.0}
    prior = (0.1, 0.35, 0.4, 0.15)
    return dict(zip(_COVERS, prior, strict=True))


def word_sizes(draws: Draws) -> dict[str, Array]:
    """Size of each ambiguous word under each combination.

    Parameters
    ----------
    draws
        With the words among their choices.

    Returns
    -------
    sizes
        By word, in SI.
    """
    sizes = {}
    for name, choice in draws.choices.items():
        try:
            options = meanings(name)
        except KeyError:
            continue
        low, typical, high = (
            np.array([getattr(m, end) for m in options])[choice.picked]
            for end in ("low", "typical", "high")
        )
        if (low < high).any():
            deviate = draws.within(f"size of a {name}", -1.0, 0.0, 1.0)
            sizes[name] = typical + np.where(deviate > 0, high - typical, typical - low) * deviate
        else:
            sizes[name] = typical
    return sizes


def stated_value(draws: Draws, said: Statement, name: str, sizes: Mapping[str, Array]) -> Array:
    """A stated figure under each combination, anywhere within its printed step.

    Parameters
    ----------
    draws
        The combinations.
    said
        As the source has it.
    name
        Of the figure, for its own deviates.
    sizes
        From `word_sizes`.

    Returns
    -------
    value
        In SI, shape (draws,).
    """
    step = draws.within(f"step of {name}", -1.0, 0.0, 1.0) * said.spread
    return np.asarray(said.value(sizes) * (1.0 + step) * np.ones(draws.count))


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
    trip = _Trip(record=record, draws=draws, sizes=sizes, state=state)
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


@dataclass(frozen=True, kw_only=True)
class _Trip:
    """A record, its combinations and the sizes of its words."""

    record: Record
    draws: Draws
    sizes: Mapping[str, Array]
    state: str | None

    def default(self, name: str) -> Array:
        """A default of the steam model in its band."""
        row = DEFAULTS[name]
        return self.draws.within(name, row.low, row.value, row.high)

    def work(self, section: str, key: str) -> Array:
        """A band of the day's work."""
        row = band(section, key)
        return self.draws.within(f"{section} {key}", row.low, row.typical, row.high)

    def stated(self, name: str) -> Array | None:
        """A figure the record states, None where it does not."""
        said = self.record.statements.get(name)
        return None if said is None else stated_value(self.draws, said, name, self.sizes)

    @property
    def states(self) -> tuple[tuple[str, ...], NDArray[np.int64]]:
        """Road states, and which each combination has."""
        choice = self.draws.choices["road state"]
        if self.state is None:
            return choice.labels, choice.picked
        return (self.state,), np.zeros(self.draws.count, dtype=np.int64)

    def distances(self) -> tuple[Array, Array]:
        """How far loaded and how far empty [m]."""
        choice = self.draws.choices["journey"]
        factor = np.array([JOURNEYS[label] for label in choice.labels])[choice.picked]
        distance = self.stated("way.distance")
        assert distance is not None
        return distance * factor[:, 0], distance * factor[:, 1]

    def masses(self, engine: Array) -> tuple[Array, Array, Array]:
        """Useful load behind, tare behind and load on the engine [kg], given the engine's."""
        on_engine = self.stated("train.on_engine")
        carried = np.zeros(self.draws.count) if on_engine is None else on_engine
        said = self.stated("train.load")
        if said is None:
            return np.zeros(self.draws.count), np.zeros(self.draws.count), carried
        share = self.work("wagons", self.record.file.train.wagon)
        tare = self.stated("train.tare")
        load = self.draws.choices["load"]
        behind = np.full(self.draws.count, said)
        for label, less in (("with wagons", 0.0), ("whole train", engine)):
            if label in load.labels:
                total = np.maximum(said - less, 0.1 * said)
                useful = total / (1 + share) if tare is None else np.maximum(total - tare, 0.0)
                behind = np.where(load.chosen(label), useful, behind)
        return behind, behind * share if tare is None else tare, carried


def _group(
    trip: _Trip, kind: PeriodEngine, own: NDArray[np.int64]
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
    air, density = standard_air(_altitude(trip.record))
    boiler = boilers(figures, air)
    base = {"line": _lines_of(kind, figures, air), "boiler": boiler}
    cells = _cells(trip, kind, figures, own, density)
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
    return found, loaded.held | (empty.held & ~stays)


MODEL_DEFAULTS = (
    "running_cut_off", "longest_cut_off", "diagram_factor", "back_pressure",
    "friction_pressure", "clearance", "condensation", "compound_cut_off",
    "compound_condensation", "compound_diagram_factor", "mesh_efficiency",
    "journal_efficiency", "dryness", "auxiliary_steam", "radiation", "furnace_b", "furnace_a",
    "hand_firing", "firing_rate", "standby_firing", "raising_efficiency", "metal_heat",
    "feed_temperature", "engine_rolling", "speed_slope", "soft_width", "drag",
    "low_gear_descent", "banking_coal", "fire_cleaning",
)  # fmt: skip


def _heating_value(trip: _Trip) -> Array:
    choice = trip.draws.choices["fuel"]
    low, typical, high = (
        np.array([parse("heating value", fuels()[k]["heating_value"][end]) for k in choice.labels])
        for end in range(3)
    )
    deviate = trip.draws.within("heat of the fuel", -1.0, 0.0, 1.0)
    side = np.where(deviate > 0, (high - typical)[choice.picked], (typical - low)[choice.picked])
    return np.asarray(typical[choice.picked] + side * deviate)


def _lines_of(kind: PeriodEngine, figures: Mapping[str, Array], air: float) -> object:
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


def _altitude(record: Record) -> float:
    heights = [place.height for place in record.file.itinerary]
    return float(np.mean(heights)) if heights else 0.0


def _cells(
    trip: _Trip,
    kind: PeriodEngine,
    figures: Mapping[str, Array],
    own: NDArray[np.int64],
    density: float,
) -> Cells:
    """The way in pieces: up, down and even parts of each stage."""
    grades, shares, named = _stages(trip.record)
    rise = _rise(trip)[own, None]
    hill = np.maximum(trip.work("work", "hill")[own, None], 2.0 * rise)
    up = np.broadcast_to(rise / hill, (own.size, grades.size))
    grade = np.concatenate([grades + hill, grades - hill, 0 * hill + grades], axis=1)
    share = np.concatenate([up * shares, up * shares, (1 - 2 * up) * shares], axis=1)
    drawn = trip.draws.choices["surface"]
    where = np.stack(
        [
            drawn.picked[own] if name is None else np.full(own.size, _number(drawn.labels, name))
            for name in named
        ],
        axis=1,
    )
    surfaces = _all_surfaces(trip.record, drawn.labels)
    tyre = "rubber" if kind.tyre == "rubber" else "steel"
    ground = _Ground(
        trip=trip, own=own, surfaces=surfaces, where=where, tyre=tyre, wheels=kind.tyre
    )
    wheels = figures["engine_rolling"][:, None]
    width = figures.get("tyre_width")
    pace = trip.work("work", "pace")[own, None]
    speeds = [parse("speed", gear["speed"]) * pace for gear in kind.gears]
    return Cells(
        grade=grade,
        share=share,
        grip=ground.grip(),
        engine_rolling=[wheels * ground.rolling(figures, speed, width) for speed in speeds],
        train_rolling=[ground.rolling(figures, speed, None) for speed in speeds],
        headwind=trip.work("work", "headwind")[own, None],
        density=density,
    )


def _all_surfaces(record: Record, drawn: tuple[str, ...]) -> tuple[str, ...]:
    """The drawn surfaces, then those the itinerary names besides."""
    named = [place.surface for place in record.file.itinerary if place.surface is not None]
    return tuple(dict.fromkeys([*drawn, *named]))


def _number(drawn: tuple[str, ...], name: str) -> int:
    """Place of an itinerary's surface; those not drawn are counted on by `_all_surfaces`."""
    return drawn.index(name) if name in drawn else -1


def _stages(record: Record) -> tuple[Array, Array, list[str | None]]:
    """Grade, share of the way and surface of each stage; one level stage without itinerary."""
    places = record.file.itinerary
    if not places:
        return np.zeros(1), np.ones(1), [None]
    at = np.array([place.at for place in places])
    height = np.array([place.height for place in places])
    length = np.diff(at)
    return np.diff(height) / length, length / length.sum(), [p.surface for p in places[:-1]]


def _rise(trip: _Trip) -> Array:
    """Climb per length that hills make, beyond the itinerary's own heights [-]."""
    stated = trip.stated("way.climb")
    grades, shares, _ = _stages(trip.record)
    known = float((np.maximum(grades, 0.0) * shares).sum())
    if stated is None:
        name = "undulation" if trip.record.file.itinerary else "climb"
        return np.maximum(trip.work("work", name), 0.0)
    return np.maximum(stated / _one_way(trip) - known, 0.0)


def _one_way(trip: _Trip) -> Array:
    """From the start to the far end [m]."""
    distance = trip.stated("way.distance")
    assert distance is not None
    choice = trip.draws.choices["journey"]
    half = np.array([0.5 if "whole" in label else 1.0 for label in choice.labels])
    return np.asarray(distance * half[choice.picked])


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """Surfaces under each combination's stages, in three states."""

    trip: _Trip
    own: NDArray[np.int64]
    surfaces: tuple[str, ...]
    where: NDArray[np.int64]
    tyre: str
    wheels: str

    def _by_surface(self, value: Callable[[str], Array]) -> Array:
        """A value by surface (draws, 1), put where each surface lies: (draws, 3 stages)."""
        found = np.zeros(self.where.shape)
        for number, name in enumerate(self.surfaces):
            here = self.where == number
            if here.any():
                found = np.where(here, value(name), found)
        return np.tile(found, 3)

    def _state(self, hard: bool | None) -> Array:
        """Factor of the road's state on rolling, or on grip where `hard` is None."""
        labels, picked = self.trip.states
        factor = np.ones(self.own.size)
        for number, label in enumerate(labels):
            weather = WEATHER[label]
            kind = f"grip_{self.tyre}" if hard is None else "hard" if hard else "soft"
            row = getattr(weather, kind)
            value = self.trip.draws.within(f"{label} {kind}", row.low, row.value, row.high)
            factor = np.where(picked[self.own] == number, value[self.own], factor)
        return factor[:, None]

    def rolling(self, figures: Mapping[str, Array], speed: Array, width: Array | None) -> Array:
        """Rolling resistance per weight."""

        def one(name: str) -> Array:
            surface = SURFACES[name]
            row = getattr(surface, self.tyre)
            tabled = self.trip.draws.within(f"rolling {name}", row.low, row.value, row.high)
            return np.asarray(
                rolling_coefficient(
                    tabled[self.own, None] * self._state(surface.hard),
                    hard=surface.hard,
                    speed=speed,
                    tabled_speed=getattr(surface, f"{self.tyre}_speed"),
                    speed_slope=np.maximum(figures["speed_slope"], 0.0)[:, None],
                    tyre_width=None if width is None else width[:, None],
                    soft_width=figures["soft_width"][:, None],
                )
            )

        return self._by_surface(one)

    def grip(self) -> Array:
        """Adhesion coefficient."""
        name = f"adhesion_{self.wheels}"
        row = DEFAULTS[name]
        tabled = self.trip.draws.within(name, row.low, row.value, row.high)[self.own, None]

        def one(surface: str) -> Array:
            row = getattr(SURFACES[surface], f"{self.tyre}_grip")
            share = self.trip.draws.within(f"grip {surface}", row.low, row.value, row.high)
            return np.asarray(tabled * share[self.own, None] * self._state(None))

        return self._by_surface(one)


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


def _complete(trip: _Trip, runs: dict[str, Array], held: NDArray[np.bool_]) -> Outcome:
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
        sums = np.sum([parts[name] for name in sorted(_COVERS[label])], axis=0)
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
        "climb": _climb(trip), "rise": _rise(trip), "hill": trip.work("work", "hill"),
        "pace": trip.work("work", "pace"), "day hours": hours, "one way": _one_way(trip),
        "standing share": share,
        "parted": (loaded * runs["loaded parted"] + empty * runs["empty parted"])
        / (loaded + empty),
    }  # fmt: skip
    return Outcome(figures=figures, held=held)


def _climb(trip: _Trip) -> Array:
    """Rises of the way out per length [-]."""
    grades, shares, _ = _stages(trip.record)
    return _rise(trip) + float((np.maximum(grades, 0.0) * shares).sum())
