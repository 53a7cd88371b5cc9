"""The likeliest run of a record: middling figures of the combinations that agree with it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulplan.period.defaults import PeriodEngine, crew_rule, entries, period_engines
from haulplan.period.explore import Found
from haulplan.period.questions import JOURNEYS
from haulplan.period.record import Record
from haulplan.period.way import Spot, Way
from haulplan.period.weigh import Weighing, range_of
from haulplan.scenario.classes import engine_classes
from haulplan.units import parse

__all__ = ["Likely", "engine_toml", "likely_run"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Likely:
    """What a run needs beyond the record, middling among what agrees with it; SI.

    `back` is "empty", "loaded" or None; `hours` is the day's work and `standing` the share
    of it not under way.
    """

    record: Record
    engine: PeriodEngine
    weight: float | None
    tank: float
    bunker: float
    useful: float
    carried: float
    tare: float
    fuel: str
    heating_value: float
    state: str
    pace: float
    way: Way
    back: str | None
    hours: float
    standing: float
    crew: int
    crew_source: str


def likely_run(record: Record, found: Found) -> Likely:
    """Take the likeliest reading of every choice, and middling figures under it.

    Parameters
    ----------
    record, found
        The trip and its weighed combinations.

    Returns
    -------
    likely
        One run out of many that agree.
    """
    modes = {name: _mode(found, name) for name in ("engine", "surface", "fuel", "road state")}
    journey = _mode(found, "journey")
    chosen = np.ones(found.draws.count, dtype=bool)
    for name in ("engine", "journey"):
        chosen &= found.draws.choices[name].chosen({**modes, "journey": journey}[name])
    weight = np.where(chosen, found.weighing.weight, 0.0)
    if not weight.any():
        weight = found.weighing.weight
    own = Weighing(
        prior=weight, weight=weight, pairs=(), agreeing={}, effective=found.weighing.effective
    )

    def middle(values: Array) -> float:
        return range_of("", values, own).after[1]

    outcome = found.outcome
    engine = period_engines()[modes["engine"]]
    rule = crew_rule(record.file, engine.key)
    stated_crew = record.file.cost.crew
    loaded, empty = JOURNEYS[journey]
    way = _way(
        record, modes["surface"], middle(outcome["one way"]), middle(outcome["rise"]),
        middle(outcome["hill"]),
    )  # fmt: skip
    return Likely(
        record=record,
        engine=engine,
        weight=middle(outcome["engine"]) if record.file.engine.weight is not None else None,
        tank=middle(outcome["tank"]),
        bunker=middle(outcome["bunker"]),
        useful=middle(outcome["useful"]),
        carried=middle(outcome["carried"]),
        tare=middle(outcome["tare"]),
        fuel=modes["fuel"],
        heating_value=middle(outcome["heating value"]),
        state=modes["road state"],
        pace=middle(outcome["pace"]),
        way=way,
        back="empty" if empty > 0 else "loaded" if loaded > 1.0 else None,
        hours=middle(outcome["day hours"]),
        standing=middle(outcome["standing share"]),
        crew=stated_crew or (rule.crew if rule is not None else 3),
        crew_source="stated" if stated_crew else rule.source if rule is not None else "guess",
    )


def _mode(found: Found, name: str) -> str:
    choice = found.draws.choices[name]
    shares = np.bincount(choice.picked, weights=found.weighing.weight, minlength=len(choice.labels))
    return choice.labels[int(np.argmax(shares))]


def _way(record: Record, surface: str, length: float, rise: float, hill: float) -> Way:
    places = record.file.itinerary
    if not places:
        spots = tuple(
            Spot(name=name, at=at, height=0.0, surface=surface)
            for name, at in (("the start", 0.0), ("the far end", length))
        )
        return Way(spots=spots, rise=rise, hill=hill)
    spots = tuple(
        Spot(
            name=place.place, at=place.at, height=place.height,
            surface=place.surface or surface, water=place.water,
        )
        for place in places
    )  # fmt: skip
    return Way(spots=spots, rise=rise, hill=hill)


def engine_toml(likely: Likely) -> dict[str, object]:
    """The engine of a likely run, as the keys of a scenario's [engine].

    Parameters
    ----------
    likely
        The run.

    Returns
    -------
    keys
        Text with units; gears at the run's pace; a load on the engine in its weight.
    """
    entry = entries()["engines"][likely.engine.key]
    own = engine_classes()[likely.engine.class_key]
    keys: dict[str, object] = {
        name: entry.get(name, own.get(name))[1]
        for name in likely.engine.figures
        if name not in {"tank", "bunker", "weight", "weight_on_drivers"}
    }
    figures = likely.engine.figures
    weight = likely.weight or figures["weight"].typical
    drivers = weight * figures["weight_on_drivers"].typical / figures["weight"].typical
    keys |= {
        "name": likely.engine.title,
        "weight": f"{weight + likely.carried:.0f} kg",
        "weight_on_drivers": f"{drivers + 0.7 * likely.carried:.0f} kg",
        "tyre": likely.engine.tyre,
        "cylinders": likely.engine.cylinders,
        "gears": [
            {**gear, "speed": f"{parse('speed', gear['speed']) * likely.pace:.3f} m/s"}
            for gear in likely.engine.gears
        ],
    }
    return keys
