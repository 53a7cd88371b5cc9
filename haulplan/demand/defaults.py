"""Every default figure of the steam model, with its source or the word "assumption".

A source followed by "from memory" was not seen in print by us; treat it as an assumption
with a name. Owners override what they know in scenario.toml; the plan lists what was used.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

__all__ = ["DEFAULTS", "ENGINE_ROLLING", "SURFACES", "Assumption", "Default", "RollingResistance"]

Status = Literal["published", "from memory", "assumption"]

_AGG = "Agg, American Rural Highways (1920), table of tractive resistance"
_MACNEIL = "Macneil's Holyhead Road trials, in Cundy, Inland Transit (1834), p. 38"
_MORIN = "Morin's trials, in Rensselaer Union, 29 Oct 1874"
_BAKER = "Baker, Roads and Pavements (1903), table 7"


@dataclass(frozen=True, kw_only=True)
class Default:
    """A default: SI value, how it is written, where it comes from."""

    value: float
    shown: str
    status: Status
    source: str


@dataclass(frozen=True, kw_only=True)
class Assumption:
    """A figure a plan rests on that its owner did not give, as a reader is shown it."""

    name: str
    value: str
    source: str


def _default(value: float, shown: str, status: Status, source: str) -> Default:
    return Default(value=value, shown=shown, status=status, source=source)


_FIRING = 0.45359237 / 0.09290304 / 3600  # one lb per sq ft per hour

DEFAULTS: Final[Mapping[str, Default]] = MappingProxyType(
    {
        "running_cut_off": _default(
            0.5, "50 %", "assumption", "lever notched up to half stroke on the road"
        ),
        "longest_cut_off": _default(
            0.75,
            "75 %",
            "published",
            "Molesworth, Pocket-Book, p. 221: effective pressures listed from 3/4 cut-off down",
        ),
        "diagram_factor": _default(
            0.75, "75 %", "from memory", "Kent, Mechanical Engineers' Pocket-Book: 0.65-0.85"
        ),
        "back_pressure": _default(
            2 * 6894.757293168, "2 psi above the atmosphere", "assumption", "free blast nozzle"
        ),
        "friction_pressure": _default(
            3 * 6894.757293168,
            "3 psi of mean pressure",
            "published",
            "old handbook rule for steam engines: subtract 3 psi for friction",
        ),
        "clearance": _default(0.07, "7 % of the stroke", "assumption", "plain slide valve"),
        "condensation": _default(
            0.2,
            "20 % of the steam supplied",
            "published",
            "Machinery's Reference Series 70, Steam Engines, ch. 6: divide by 0.8",
        ),
        "transmission_efficiency": _default(
            0.82,
            "82 %",
            "from memory",
            "open spur gearing of the period, two or three meshes with bearings, 0.75-0.88",
        ),
        "dryness": _default(
            0.97, "97 %", "assumption", "steam as it leaves a locomotive-type boiler"
        ),
        "auxiliary_steam": _default(
            0.03, "3 % of the boiler's best", "from memory", "blower, whistle, leaks: 1-5 %"
        ),
        "radiation": _default(
            0.02, "2 % of the boiler's best", "from memory", "lagged boiler, 1-3 %"
        ),
        "furnace_b": _default(0.95, "0.95", "from memory", "Rankine, Steam Engine: forced draught"),
        "furnace_a": _default(
            0.3 / _FIRING,
            "0.3 (lb, sq ft, h)",
            "from memory",
            "Rankine, Steam Engine: forced draught",
        ),
        "firing_rate": _default(
            40 * _FIRING,
            "40 lb/sq ft/h",
            "published",
            "Cyclopedia of Mechanical Engineering, vol. 4, Forced Draft: 40-120",
        ),
        "standby_firing": _default(
            1 * _FIRING, "1 lb/sq ft/h", "from memory", "idle under steam, 0.5-2 lb/sq ft/h"
        ),
        "raising_efficiency": _default(
            0.5, "50 %", "assumption", "heat into a cold boiler and its water"
        ),
        "metal_heat": _default(
            0.115 * 4186.8, "0.115 Btu/lb °F", "published", "specific heat of steel, handbook value"
        ),
        "feed_temperature": _default(288.7056, "60 °F", "assumption", "tank water on a mild day"),
        "adhesion_steel": _default(
            0.3,
            "30 %",
            "published",
            "Thurston, Popular Science Monthly 12 (1878), p. 287: road engines on common roads",
        ),
        "adhesion_rubber": _default(0.5, "50 %", "assumption", "rubber on a dry, hard road"),
        "low_gear_descent": _default(
            0.05, "5 %", "from memory", "practice: low gear down more than 5 %"
        ),
        "gear_change": _default(
            90.0, "1.5 min", "assumption", "stop, change, pin the gear, move off"
        ),
    }
)

#: Resistance of the engine itself against a wagon's on the same road: the low end of a
#: design allowance of 80-130 lb per long ton (from memory; gear friction is reckoned
#: apart) over Macneil's 45 lb per long ton for wagons on such a road.
ENGINE_ROLLING: Final = _default(
    80 / 45, "1.78 x a wagon's", "from memory", f"80-130 lb/long ton, over 45 of {_MACNEIL}"
)


@dataclass(frozen=True, kw_only=True)
class RollingResistance:
    """Force per weight of a wagon on one surface, by tyre [-]."""

    rubber: Default
    steel: Default


def _per_short(pounds: float, status: Status, source: str) -> Default:
    return _default(pounds / 2000, f"{pounds:g} lb/short ton", status, source)


def _per_long(pounds: float, source: str) -> Default:
    return _default(pounds / 2240, f"{pounds:g} lb/long ton", "published", source)


def _both(default: Default) -> RollingResistance:
    return RollingResistance(rubber=default, steel=default)


SURFACES: Final[Mapping[str, RollingResistance]] = MappingProxyType(
    {
        "asphalt": RollingResistance(
            rubber=_per_short(20.4, "published", _AGG),
            steel=_per_short(50, "from memory", f"{_BAKER}: 30-70"),
        ),
        "brick": RollingResistance(
            rubber=_per_short(24.6, "published", _AGG),
            steel=_per_short(27.5, "from memory", f"{_BAKER}: 15-40"),
        ),
        "setts": RollingResistance(
            rubber=_per_short(40.3, "published", _AGG), steel=_per_long(33, _MACNEIL)
        ),
        "macadam": RollingResistance(
            rubber=_per_short(23.3, "published", _AGG), steel=_per_long(45, _MACNEIL)
        ),
        "worn macadam": RollingResistance(
            rubber=_per_short(36.3, "published", _AGG), steel=_per_long(64, _MACNEIL)
        ),
        "gravel": RollingResistance(
            rubber=_per_short(30.4, "published", _AGG),
            steel=_per_short(310 / 4.5, "published", _MORIN),
        ),
        "loose gravel": _both(_per_long(150, _MACNEIL)),
        "earth": _both(_per_short(125, "from memory", f"{_BAKER}: 50-200")),
        "sand": _both(_per_short(200, "from memory", f"{_BAKER}: 100-300")),
    }
)
