"""The trip's ground: what the record states of it, and the way in pieces for the model."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.defaults import DEFAULTS, SURFACES, WEATHER
from haulplan.demand.resistance import rolling_coefficient
from haulplan.period.defaults import PeriodEngine, band
from haulplan.period.physics import Cells
from haulplan.period.questions import JOURNEYS, stated_value
from haulplan.period.record import Record
from haulplan.period.sampling import Draws
from haulplan.units import parse

__all__ = ["NOTHING", "Trip", "altitude", "cells_of", "one_way_of", "rise_of", "stages_of"]

Array = NDArray[np.float64]

#: A useful load of this or less is none: the wagons outweigh what is stated. [kg]
NOTHING = 1.0


@dataclass(frozen=True, kw_only=True)
class Trip:
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
                useful = total / (1 + share) if tare is None else np.maximum(total - tare, NOTHING)
                behind = np.where(load.chosen(label), useful, behind)
        return behind, behind * share if tare is None else tare, carried


def altitude(record: Record) -> float:
    """Mean height of an itinerary's places, 0 without one.

    Parameters
    ----------
    record
        As read.

    Returns
    -------
    altitude
        [m]
    """
    heights = [place.height for place in record.file.itinerary]
    return float(np.mean(heights)) if heights else 0.0


def cells_of(
    trip: Trip,
    kind: PeriodEngine,
    figures: Mapping[str, Array],
    own: NDArray[np.int64],
    density: float,
) -> Cells:
    """The way in pieces: up, down and even parts of each stage.

    Parameters
    ----------
    trip
        Record and combinations.
    kind
        The engine of those reckoned here.
    figures
        Of engine and model, shape (own,).
    own
        Which combinations.
    density
        Of the air. [kg m⁻³]

    Returns
    -------
    cells
        Shape (own, 3 stages).
    """
    grades, shares, named = stages_of(trip.record)
    rise = rise_of(trip)[own, None]
    hill = np.maximum(trip.work("work", "hill")[own, None], 2.0 * rise)
    up = np.broadcast_to(rise / hill, (own.size, grades.size))
    grade = np.concatenate([grades + hill, grades - hill, 0 * hill + grades], axis=1)
    share = np.concatenate([up * shares, up * shares, (1 - 2 * up) * shares], axis=1)
    drawn = trip.draws.choices["surface"]
    surfaces = _all_surfaces(trip.record, drawn.labels)
    where = np.stack(
        [
            drawn.picked[own] if name is None else np.full(own.size, surfaces.index(name))
            for name in named
        ],
        axis=1,
    )
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


def stages_of(record: Record) -> tuple[Array, Array, list[str | None]]:
    """Grade, share of the way and surface of each stage; one level stage without itinerary.

    Parameters
    ----------
    record
        As read.

    Returns
    -------
    grade, share, surface
        Of the way out; the surface None where the record leaves it open. [-]
    """
    places = record.file.itinerary
    if not places:
        return np.zeros(1), np.ones(1), [None]
    at = np.array([place.at for place in places])
    height = np.array([place.height for place in places])
    length = np.diff(at)
    return np.diff(height) / length, length / length.sum(), [p.surface for p in places[:-1]]


def rise_of(trip: Trip) -> Array:
    """Climb per length that hills make, beyond the itinerary's own heights [-].

    Parameters
    ----------
    trip
        Record and combinations.

    Returns
    -------
    rise
        Shape (draws,). [-]
    """
    stated = trip.stated("way.climb")
    grades, shares, _ = stages_of(trip.record)
    known = float((np.maximum(grades, 0.0) * shares).sum())
    if stated is None:
        name = "undulation" if trip.record.file.itinerary else "climb"
        return np.maximum(trip.work("work", name), 0.0)
    return np.maximum(stated / one_way_of(trip) - known, 0.0)


def one_way_of(trip: Trip) -> Array:
    """From the start to the far end [m].

    Parameters
    ----------
    trip
        Record and combinations.

    Returns
    -------
    distance
        Shape (draws,). [m]
    """
    distance = trip.stated("way.distance")
    assert distance is not None
    choice = trip.draws.choices["journey"]
    half = np.array([0.5 if "whole" in label else 1.0 for label in choice.labels])
    return np.asarray(distance * half[choice.picked])


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """Surfaces under each combination's stages, in three states."""

    trip: Trip
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
