"""What the quality of a supply's water asks: blowing down, straining, a limit on taking it.

The words of supply.csv are a crew's; where no dissolved solids were measured they stand for
stated assumptions. The boiler's inspector and a water-treatment adviser know better.
"""

import math
from dataclasses import dataclass
from typing import Final

from haulplan.demand.defaults import DEFAULTS, STOPS, Assumption
from haulplan.scenario import Scenario
from haulplan.scenario.schema import ScenarioFile, Supply

__all__ = ["Water", "water_assumptions", "water_of"]

#: No more is blown down of water, however much is dissolved in it.
_MOST_BLOWN: Final = 0.9


@dataclass(frozen=True, kw_only=True)
class Water:
    """What taking water at a supply brings with it.

    `blowdown` is the share of it blown down before moving off; `strain` is added to the
    set-up there [s]; `most` may be taken at one stop [kg].
    """

    blowdown: float
    strain: float
    most: float


def water_of(file: ScenarioFile, supply: Supply) -> Water:
    """What the water of one supply asks.

    Parameters
    ----------
    file
        scenario.toml, with `quality`.
    supply
        One of the scenario's. Its own `solids` go before what its `quality` stands for.

    Returns
    -------
    water
        Good water asks nothing.

    Notes
    -----
    Water of S ppm, steamed away in a boiler kept at L ppm, leaves S / L of it to be blown
    down. Sediment is strained out and settles, and what passes is blown down as well.

    References
    ----------
    .. [1] Balance of dissolved solids, as in `haulplan.demand.boiler.blowdown_share`.
    .. [2] Babcock & Wilcox, Steam: Its Generation and Use, table 14: settling, filtration
       and blowing down for sediment and mud, blowing down for readily soluble salts.

    Examples
    --------
    >>> from haulplan.scenario.schema import Quality, Stores
    >>> file = ScenarioFile.model_construct(
    ...     quality=Quality(), stores=Stores.model_construct(tank=1000.0, bunker=0.0)
    ... )
    >>> supply = Supply.model_construct(water_available=9000.0, quality="hard", solids=None)
    >>> round(water_of(file, supply).blowdown, 3)
    0.117
    """
    if supply.water_available is None:
        return Water(blowdown=0.0, strain=0.0, most=0.0)
    solids = supply.solids
    if solids is None and supply.quality != "good":
        solids = STOPS[f"{supply.quality}_solids"].value
    strain = 0.0
    if supply.quality == "muddy":
        own = file.quality.strain
        strain = STOPS["strain"].value if own is None else own
    share = 1.0
    if supply.quality != "good":
        share = getattr(file.quality, f"most_{supply.quality}")
    return Water(
        blowdown=min((solids or 0.0) / DEFAULTS["blowdown_limit"].value, _MOST_BLOWN),
        strain=strain,
        most=math.inf if share >= 1.0 else share * file.stores.tank,
    )


def water_assumptions(scenario: Scenario) -> tuple[Assumption, ...]:
    """What the qualities of a scenario's supplies rest on.

    Parameters
    ----------
    scenario
        With its supplies.

    Returns
    -------
    assumptions
        Each once; none where all water is good or its owner's figures are given.
    """
    names: list[str] = []
    for supply in scenario.supplies:
        if supply.water_available is None or supply.quality == "good":
            continue
        if supply.solids is None:
            names += ["blowdown_limit", f"{supply.quality}_solids"]
        if supply.quality == "muddy" and scenario.file.quality.strain is None:
            names.append("strain")
    return tuple(
        Assumption(name=_SHOWN[name], value=default.shown, source=default.origin)
        for name in dict.fromkeys(names)
        for default in ({**DEFAULTS, **STOPS}[name],)
    )


_SHOWN: Final = {
    "blowdown_limit": "blowdown limit",
    "hard_solids": "solids of hard water",
    "muddy_solids": "solids of muddy water",
    "alkaline_solids": "solids of alkaline water",
    "strain": "straining muddy water",
}
