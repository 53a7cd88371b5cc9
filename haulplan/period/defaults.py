"""What stands in where a record is silent: engines, wagons, roads, fuels, rules of the period."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from haulplan import units
from haulplan.errors import Problem
from haulplan.period.record import RecordFile
from haulplan.scenario.classes import engine_classes, fuels

__all__ = [
    "Band",
    "PeriodEngine",
    "Rule",
    "band",
    "candidate_engines",
    "check_record",
    "crew_rule",
    "entries",
    "fuel_weights",
    "period_engines",
    "rules_for",
    "state_weights",
    "surface_weights",
]

_KINDS = {
    "weight": "mass", "weight_on_drivers": "mass", "pressure": "pressure", "bore": "length",
    "stroke": "length", "low_pressure_bore": "length", "wheel_diameter": "length",
    "tyre_width": "length", "grate_area": "area", "heating_surface": "area",
    "boiler_water": "water", "boiler_metal": "mass", "tank": "water", "bunker": "coal",
    "frontal_area": "area",
}  # fmt: skip
_WORK_KINDS = {
    "climb": "grade",
    "undulation": "grade",
    "hill": "grade",
    "headwind": "speed",
    "set_up": "duration",
    "hours": "duration",
}


@dataclass(frozen=True, kw_only=True)
class Band:
    """Low, usual and high, about nine in ten between the ends, SI; where they come from."""

    low: float
    typical: float
    high: float
    shown: str
    status: str
    source: str


@dataclass(frozen=True, kw_only=True)
class PeriodEngine:
    """An engine of the period: bands of its figures, gears, dates."""

    key: str
    title: str
    years: tuple[int, int]
    countries: tuple[str, ...]
    tyre: str
    cylinders: int
    carries_load: bool
    figures: Mapping[str, Band]
    gears: tuple[Mapping[str, Any], ...]
    class_key: str
    status: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A rule of the road: speed in the country and in towns [m s⁻¹] or None, and crew."""

    key: str
    title: str
    speed: float | None
    town_speed: float | None
    crew: int
    status: str
    source: str


@cache
def entries() -> Mapping[str, Any]:
    """Everything in defaults.toml.

    Returns
    -------
    entries
        By section and key, as text.
    """
    text = (files("haulplan.period") / "defaults.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _triple(kind: str, texts: list[str], status: str, source: str) -> Band:
    low, typical, high = (units.parse(kind, text) for text in texts)
    shown = texts[1] if texts[0] == texts[2] else f"{texts[1]} ({texts[0]} to {texts[2]})"
    return Band(low=low, typical=typical, high=high, shown=shown, status=status, source=source)


def band(section: str, key: str) -> Band:
    """A band of the day's work, or a share of wagons.

    Parameters
    ----------
    section, key
        In defaults.toml, such as "work" and "climb".

    Returns
    -------
    band
        In SI.
    """
    entry = entries()[section][key]
    status, source = entry["status"], entry["source"]
    if "share" in entry:
        low, typical, high = entry["share"]
        shown = f"{typical:g} ({low:g} to {high:g})"
        return Band(low=low, typical=typical, high=high, shown=shown, status=status, source=source)
    return _triple(_WORK_KINDS[key], entry["band"], status, source)


@cache
def period_engines() -> Mapping[str, PeriodEngine]:
    """Every engine of the period.

    Returns
    -------
    engines
        By key.
    """
    found = {}
    for key, entry in entries()["engines"].items():
        own = engine_classes()[entry["class"]]
        figures = {}
        for name, kind in _KINDS.items():
            texts = entry.get(name, own.get(name))
            if texts is not None:
                stated = name in entry
                figures[name] = _triple(
                    kind,
                    texts,
                    entry["status"] if stated else "from memory",
                    entry["source"] if stated else own["source"],
                )
        found[key] = PeriodEngine(
            key=key,
            title=entry["title"],
            years=(entry["from"], entry["to"]),
            countries=tuple(entry["countries"]),
            tyre=entry["tyre"],
            cylinders=own["cylinders"],
            carries_load=entry.get("carries_load", False),
            figures=figures,
            gears=tuple(sorted(own["gears"], key=lambda gear: float(gear["ratio"]))),
            class_key=entry["class"],
            status=entry["status"],
            source=entry["source"],
        )
    return found


def check_record(file: RecordFile) -> list[Problem]:
    """Names in a record that stand for nothing in the period's tables.

    Parameters
    ----------
    file
        The record.

    Returns
    -------
    problems
        One for each name.
    """
    problems = []
    for where, given, known in (
        ("engine.kind", file.engine.kind, list(period_engines())),
        ("use.fuel", file.use.fuel, list(fuels())),
    ):
        problems += [
            Problem(
                file="record",
                where=where,
                found=f"'{name[:60]}' is not known",
                remedy=f"known: {', '.join(known)}",
            )
            for name in given
            if name not in known
        ]
    if not problems and file.way is not None and not _engines_of(file):
        problems.append(
            Problem(
                file="record",
                where="engine.kind",
                found=f"no engine of the period is listed for {file.country} in {file.year}",
                remedy=f"name one: {', '.join(period_engines())}",
            )
        )
    if (
        file.train.on_engine is not None
        and file.engine.kind
        and not any(period_engines()[k].carries_load for k in file.engine.kind if not problems)
    ):
        problems.append(
            Problem(
                file="record",
                where="train.on_engine",
                found="a load on an engine that carries none",
                remedy="give it as train.load, or name a steam wagon as engine.kind",
            )
        )
    return problems


def _engines_of(file: RecordFile) -> list[PeriodEngine]:
    if file.engine.kind:
        return [period_engines()[key] for key in file.engine.kind]
    on_it = file.train.on_engine is not None
    return [
        engine
        for engine in period_engines().values()
        if engine.years[0] <= file.year <= engine.years[1]
        and (file.country == "unknown" or file.country in engine.countries)
        and engine.carries_load is on_it
    ]


def candidate_engines(file: RecordFile) -> list[PeriodEngine]:
    """Engines the record may mean: those it names, else those of its date and country.

    Parameters
    ----------
    file
        The record.

    Returns
    -------
    engines
        At least one for a checked record.
    """
    return _engines_of(file)


def surface_weights(file: RecordFile) -> dict[str, float]:
    """Weight of each surface: even among those named, else the country's.

    Where an itinerary gives the surface all the way, its first stands for all.

    Parameters
    ----------
    file
        The record.

    Returns
    -------
    weights
        Summing to one.
    """
    named = file.way.surface if file.way is not None else ()
    typed = [place.surface for place in file.itinerary[:-1]]
    if typed and typed[0] is not None and None not in typed:
        return {typed[0]: 1.0}
    if named:
        return {name: 1 / len(named) for name in named}
    return dict(entries()["roads"][file.country]["surfaces"])


def state_weights(file: RecordFile) -> dict[str, float]:
    """Weight of each state of the road.

    Parameters
    ----------
    file
        The record.

    Returns
    -------
    weights
        Summing to one.
    """
    said = file.way.state if file.way is not None else "not stated"
    return dict(entries()["road_states"]["weights"]) if said == "not stated" else {said: 1.0}


def fuel_weights(file: RecordFile) -> dict[str, float]:
    """Weight of each fuel: even among those named, else the country's.

    Parameters
    ----------
    file
        The record.

    Returns
    -------
    weights
        Summing to one.
    """
    if file.use.fuel:
        return {name: 1 / len(file.use.fuel) for name in file.use.fuel}
    return dict(entries()["fuels"][file.country]["kinds"])


def rules_for(file: RecordFile, engine: str) -> list[Rule]:
    """Rules of the road of the record's place, date and engine.

    Parameters
    ----------
    file
        The record.
    engine
        Key of the period's engine.

    Returns
    -------
    rules
        Those that held, in the order of defaults.toml.
    """
    found = []
    for key, entry in entries()["rules"].items():
        held = entry["from"] <= file.year <= entry["to"] and file.country in entry["countries"]
        of_it = engine in entry.get("only", [engine]) and engine not in entry.get("exempt", [])
        if held and of_it:
            speeds = [
                units.parse("speed", entry[name]) if name in entry else None
                for name in ("speed", "town_speed")
            ]
            found.append(
                Rule(
                    key=key,
                    title=entry["title"],
                    speed=speeds[0],
                    town_speed=speeds[1],
                    crew=entry["crew"],
                    status=entry["status"],
                    source=entry["source"],
                )
            )
    return found


def crew_rule(file: RecordFile, engine: str) -> Rule | None:
    """The rule that says how many people went with the engine.

    Parameters
    ----------
    file
        The record.
    engine
        Key of the period's engine.

    Returns
    -------
    rule
        None where none is known.
    """
    return next(iter(rules_for(file, engine)), None)
