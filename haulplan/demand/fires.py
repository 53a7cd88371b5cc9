"""The fire when nobody drives: how long it takes to light, what it takes overnight."""

from dataclasses import dataclass
from typing import Final

from haulplan.demand.defaults import STOPS, Assumption
from haulplan.demand.plant import banking_coal, lighting_up_coal
from haulplan.scenario.schema import Engine, ScenarioFile

__all__ = ["Fires", "fires_of"]

#: Boilers with at most so much water [kg] are of that size: half way between the typical
#: small tractor, engine of 8 nominal horsepower, large road locomotive and those beyond.
_SIZES: Final = ((500.0, "small"), (925.0, "middling"), (1400.0, "large"))


@dataclass(frozen=True, kw_only=True)
class Fires:
    """What fires take: `leads` from lighting a cold one, and from a banked one [s].

    `banked` and `dropped` are water and coal of a night with each, till the engine is in
    steam again [kg]; None where not known.
    """

    leads: tuple[float, float]
    banked: tuple[float, float] | None
    dropped: tuple[float, float] | None
    assumptions: tuple[Assumption, ...]


def fires_of(file: ScenarioFile) -> Fires:
    """Lighting up and nights of a scenario: its own figures, else from boiler and grate.

    Parameters
    ----------
    file
        scenario.toml; without an engine only its own figures are known, and leads that
        are not given are none.

    Returns
    -------
    fires
        With what it assumes where nights or the crew's hours count.
    """
    used: dict[str, Assumption] = {}
    leads = (_lead(file, "cold", used), _lead(file, "banked", used))
    nights: list[tuple[float, float] | None] = []
    for fire in ("banked", "dropped"):
        water, coal = getattr(file.nights, f"{fire}_water"), getattr(file.nights, f"{fire}_coal")
        if water is None and file.engine is not None:
            water = _take(f"{fire}_water", used) * file.engine.boiler_water
        if coal is None and file.engine is not None:
            coal = _night_coal(file, file.engine, fire)
        nights.append(None if water is None or coal is None else (water, coal))
    nights_count, hours_count = file.nights.most > 0, file.hours.crew is not None
    shown = [
        assumption
        for name, assumption in used.items()
        if nights_count or (hours_count and name.startswith("cold"))
    ]
    return Fires(leads=leads, banked=nights[0], dropped=nights[1], assumptions=tuple(shown))


def _night_coal(file: ScenarioFile, engine: Engine, fire: str) -> float | None:
    if fire == "banked":
        return banking_coal(engine)
    if file.fuel is None:
        return None
    return lighting_up_coal(engine, file.fuel.heating_value, file.conditions)


def _lead(file: ScenarioFile, fire: str, used: dict[str, Assumption]) -> float:
    given: float | None = getattr(file.lighting_up, fire)
    if given is not None:
        return given
    if file.engine is None:
        return 0.0
    water = file.engine.boiler_water
    size = next((name for most, name in _SIZES if water <= most), "largest")
    return _take(f"{fire}_lead_{size}", used)


def _take(name: str, used: dict[str, Assumption]) -> float:
    default = STOPS[name]
    words = name.replace("_", " ")
    used[name] = Assumption(name=words, value=default.shown, source=default.origin)
    return default.value
