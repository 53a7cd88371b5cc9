"""Every default figure of the steam model, with its spread and where it comes from.

`low`, `value` and `high` are the best, usual and worst a crew should reckon with, about a
nine-in-ten band. Status "published" means read in print by us; "from memory" means a
named source we did not see; "assumption" means ours. Owners override what they know in
scenario.toml; a plan lists what was used.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

__all__ = [
    "DEFAULTS",
    "STOPS",
    "SURFACES",
    "WEATHER",
    "Assumption",
    "Default",
    "Surface",
    "Weather",
    "every_default",
]

Status = Literal["published", "from memory", "assumption"]

_AGG = "Agg, American Rural Highways (1920), table of tractive resistance"
_MACNEIL = "Macneil's Holyhead Road trials, in Cundy, Inland Transit (1834), p. 38"
_MORIN = "Morin's trials, in Rensselaer Union, 29 Oct 1874"
_BAKER = "Baker, Roads and Pavements (1903), table 7"
_NINETY = 1.6449  # deviate that leaves one in twenty beyond


@dataclass(frozen=True, kw_only=True)
class Assumption:
    """A figure a plan rests on that its owner did not give, as a reader is shown it."""

    name: str
    value: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Default:
    """A default in SI: its band, how it is written, where it comes from.

    `worse` is 1 where a higher figure makes the engine thirstier (or grip less), else -1.
    """

    low: float
    value: float
    high: float
    worse: int
    shown: str
    status: Status
    source: str

    def at(self, deviate: float) -> float:
        """The figure so many standard deviations towards the worse end of its band.

        The band's ends stand at 1.645 deviations, one in twenty beyond each.

        Examples
        --------
        >>> DEFAULTS["condensation"].at(0.0), DEFAULTS["condensation"].at(1.6449)
        (0.2, 0.3)
        """
        towards_high = (deviate > 0) == (self.worse > 0)
        end = self.high if towards_high else self.low
        return self.value + (end - self.value) * min(abs(deviate), 2.5) / _NINETY

    @property
    def origin(self) -> str:
        """The source, led by the status where it was not seen in print."""
        return self.source if self.status == "published" else f"{self.status}: {self.source}"


def _default(
    band: tuple[float, float, float],
    unit: float,
    worse: int,
    shown: str,
    status: Status,
    source: str,
) -> Default:
    low, value, high = (figure * unit for figure in band)
    return Default(
        low=low, value=value, high=high, worse=worse, shown=shown, status=status, source=source
    )


_PSI = 6894.757293168
_POUND = 0.45359237
_FIRING = _POUND / 0.09290304 / 3600  # one lb per sq ft per hour

DEFAULTS: Final[Mapping[str, Default]] = MappingProxyType(
    {
        "running_cut_off": _default(
            (0.33, 0.5, 0.6), 1, 1, "50 % of the stroke", "assumption",
            "lever notched up to half stroke on the road",
        ),
        "longest_cut_off": _default(
            (0.7, 0.75, 0.8), 1, -1, "75 % of the stroke", "published",
            "Molesworth, Pocket-Book, p. 221: effective pressures listed from 3/4 down",
        ),
        "diagram_factor": _default(
            (0.65, 0.75, 0.85), 1, -1, "75 %", "from memory",
            "Kent, Mechanical Engineers' Pocket-Book: slide valve 0.65-0.85",
        ),
        "back_pressure": _default(
            (1, 2, 5), _PSI, 1, "2 psi above the atmosphere", "assumption", "free blast nozzle"
        ),
        "friction_pressure": _default(
            (2, 3, 5), _PSI, 1, "3 psi of mean pressure", "published",
            "old handbook rule for steam engines: subtract 3 psi for friction (another: 2)",
        ),
        "clearance": _default(
            (0.05, 0.07, 0.1), 1, 1, "7 % of the stroke", "assumption", "plain slide valve"
        ),
        "condensation": _default(
            (0.1, 0.2, 0.3), 1, 1, "20 % of the steam supplied", "published",
            "Machinery's Reference Series 70, Steam Engines, ch. 6: divide by 0.8",
        ),
        "compound_cut_off": _default(
            (0.5, 0.6, 0.7), 1, 1, "60 % in the high-pressure cylinder", "from memory",
            "usual notch of a compound on the road",
        ),
        "compound_condensation": _default(
            (0.08, 0.12, 0.2), 1, 1, "12 % of the steam supplied", "from memory",
            "less than a simple engine: each cylinder sees part of the fall",
        ),
        "compound_diagram_factor": _default(
            (0.6, 0.7, 0.8), 1, -1, "70 %", "from memory",
            "Kent: combined diagrams of compounds 0.6-0.8",
        ),
        "transmission_efficiency": _default(
            (0.75, 0.82, 0.88), 1, -1, "82 %", "from memory",
            "open spur gearing of the period, two or three meshes with bearings, 0.75-0.88",
        ),
        "mesh_efficiency": _default(
            (0.9, 0.95, 0.985), 1, -1, "95 % for each mesh", "from memory",
            "Kent, Unwin: cast teeth 0.90-0.95, cut teeth 0.96-0.985",
        ),
        "journal_efficiency": _default(
            (0.96, 0.975, 0.98), 1, -1, "97.5 % for each shaft", "from memory",
            "oiled plain bearings",
        ),
        "dryness": _default(
            (0.94, 0.97, 0.99), 1, -1, "97 %", "assumption",
            "steam as it leaves a locomotive-type boiler",
        ),
        "auxiliary_steam": _default(
            (0.01, 0.03, 0.05), 1, 1, "3 % of the boiler's best", "from memory",
            "blower, whistle, leaks: 1-5 %",
        ),
        "radiation": _default(
            (0.01, 0.02, 0.03), 1, 1, "2 % of the boiler's best", "from memory",
            "lagged boiler, 1-3 %",
        ),
        "furnace_b": _default(
            (0.85, 0.92, 0.95), 1, -1, "0.92", "from memory",
            "Rankine, Steam Engine: 11/12 by chimney, 0.95 by forced draught",
        ),
        "furnace_a": _default(
            (0.3, 0.4, 0.5), 1 / _FIRING, 1, "0.4 (lb, sq ft, h)", "from memory",
            "Rankine, Steam Engine: 0.5 by chimney, 0.3 by forced draught",
        ),
        "hand_firing": _default(
            (0.75, 0.9, 1.0), 1, -1, "90 % of a skilled trial", "published",
            "Thurston, Growth of the Steam-Engine (1878): skilled drivers burnt 10-15 % less",
        ),
        "firing_rate": _default(
            (30, 40, 60), _FIRING, -1, "40 lb/sq ft/h", "published",
            "Cyclopedia of Mechanical Engineering, vol. 4, Forced Draft: 40-120",
        ),
        "standby_firing": _default(
            (0.5, 1, 2), _FIRING, 1, "1 lb/sq ft/h", "from memory",
            "idle under steam, 0.5-2 lb/sq ft/h",
        ),
        "raising_efficiency": _default(
            (0.45, 0.5, 0.6), 1, -1, "50 %", "from memory",
            "heat into a cold boiler and its water, 45-60 %",
        ),
        "metal_heat": _default(
            (0.11, 0.115, 0.12), 4186.8, 1, "0.115 Btu/lb °F", "published",
            "specific heat of steel, handbook value",
        ),
        "feed_temperature": _default(
            (277.6, 288.7056, 299.8), 1, -1, "60 °F", "assumption", "tank water on a mild day"
        ),
        "engine_rolling": _default(
            (60 / 45, 80 / 45, 100 / 45), 1, 1, "1.78 x a wagon's", "from memory",
            f"design allowance 80-130 lb/long ton with gear friction, over 45 of {_MACNEIL}",
        ),
        "speed_slope": _default(
            (0.0, 0.045, 0.06), 1 / 0.44704, 1, "4.5 % per mph on hard roads", "published",
            f"{_AGG}: 10 against 12.4 mph on hard surfaces, 0-6 % per mph; Morin: from 2.25 mph",
        ),
        "turning": _default(
            (0.1, 0.2, 0.3), 1, 1, "20 % more while turning", "from memory",
            "sharp corners with trailers, 10-30 %; no table found",
        ),
        "starting": _default(
            (1.5, 2, 4), 1, 1, "2 x rolling resistance", "from memory",
            "Kent, Baker: first few feet after standing, 1.5-4",
        ),
        "soft_width": _default(
            (0.15, 0.25, 0.35), 1, 1, "resistance as width to the power -1/4", "published",
            "Manawatu Herald, 23 Sep 1893: 371 lb on 3 in tyres, 441 on 1.5 in (doubtful print)",
        ),
        "drag": _default((0.8, 1.0, 1.3), 1, 1, "1.0", "assumption", "bluff vehicle"),
        "frontal_area": _default(
            (4, 6, 9), 1, 1, "6 m²", "assumption", "engine with canopy or van behind"
        ),
        "low_gear_descent": _default(
            (0.04, 0.05, 0.07), 1, -1, "5 %", "from memory", "practice: low gear down more than 5 %"
        ),
        "gear_change": _default(
            (45, 90, 180), 1, 1, "1.5 min", "assumption", "stop, change, pin the gear, move off"
        ),
        "banking_coal": _default(
            (3, 6, 10), _POUND / 0.09290304, 1, "6 lb/sq ft of grate a night", "from memory",
            "banked overnight 30-80 lb on a middling grate",
        ),
        "fire_cleaning": _default(
            (0.02, 0.04, 0.08), 1, 1, "4 % of the coal burnt", "from memory",
            "coal lost with clinker and in making the fire up again",
        ),
        "blowdown_limit": _default(
            (2000, 3000, 3500), 1e-6, -1, "3,000 ppm", "published",
            "shell and locomotive boilers 2,000-3,500 ppm (engineeringtoolbox)",
        ),
        "adhesion_steel": _default(
            (0.2, 0.3, 0.35), 1, -1, "30 %", "published",
            "Thurston, Popular Science Monthly 12 (1878), p. 287: 0.30 and 0.35 on common roads",
        ),
        "adhesion_strakes": _default(
            (0.3, 0.45, 0.7), 1, -1, "45 %", "from memory", "cleats on firm earth and sod 0.45-0.7"
        ),
        "adhesion_rubber": _default(
            (0.35, 0.5, 0.65), 1, -1, "50 %", "assumption", "rubber on a dry, hard road"
        ),
    }
)  # fmt: skip


#: Figures of stops and nights: nothing that the road itself takes rests on them.
STOPS: Final[Mapping[str, Default]] = MappingProxyType(
    {
        "attainable_lift": _default(
            (0.6, 2 / 3, 0.7), 1, -1, "2/3 of what the air holds up", "published",
            "NWCG, Drafting Guidelines, s. 3.5: two thirds of 33.9 ft",
        ),
        "lift_vacuum": _default(
            (20, 22, 24), 1 / 29.92, -1, "22 in of mercury at sea level", "published",
            "pump operators' course, static water supplies: pumps should draw 22 in",
        ),
        "stated_lift": _default(
            (3, 5, 10), 0.3048, -1, "5 ft, by the sea", "published",
            "a maker's test of a steam lifter: 70 US gal/min at 5 ft of lift",
        ),
        "turn_round": _default(
            (5, 10, 30), 60, 1, "10 min to turn engine and train round", "assumption",
            "a loop or a junction with room, someone at each end of the train",
        ),
        "yard_speed": _default(
            (2, 3, 4), 0.44704, -1, "3 mph at most off the road", "assumption",
            "a walking pace, with someone walking ahead",
        ),
        "hard_solids": _default(
            (180, 350, 600), 1e-6, 1, "350 ppm", "assumption",
            "USGS calls water very hard above 180 mg/L of calcium carbonate; twice that in all",
        ),
        "alkaline_solids": _default(
            (600, 1000, 2000), 1e-6, 1, "1,000 ppm", "from memory",
            "USGS calls water slightly saline from 1,000 to 3,000 mg/L dissolved",
        ),
        "muddy_solids": _default(
            (200, 400, 1000), 1e-6, 1, "400 ppm", "assumption",
            "what gets through the strainer settles in the boiler and is blown down",
        ),
        "strain": _default(
            (2, 5, 15), 60, 1, "5 min more to set up at muddy water", "assumption",
            "a strainer or a cloth over the filler, cleaned once while taking",
        ),
        "feed_over_best": _default(
            (1.2, 1.5, 2), 1, -1, "1.5 x the boiler's best", "from memory",
            "each of two feeds was to keep up with the boiler, and something over",
        ),
        "banked_water": _default(
            (0.01, 0.04, 0.08), 1, 1, "4 % of the boiler's water", "assumption",
            "leaks and a simmer overnight",
        ),
        "dropped_water": _default(
            (0.005, 0.02, 0.05), 1, 1, "2 % of the boiler's water", "assumption",
            "leaks, and blowing through in the morning; cooling lowers the level, not the mass",
        ),
        **{
            f"{fire}_lead_{size}": _default(
                band, 60, 1, shown, "from memory", f"crews' usual times for {meant}"
            )
            for size, meant, cold, banked in (
                ("small", "a small tractor", (75, 97.5, 120), (20, 30, 40)),
                ("middling", "an engine of 6 to 8 nominal horsepower", (120, 150, 180),
                 (30, 45, 60)),
                ("large", "a large road locomotive", (150, 195, 240), (45, 60, 75)),
                ("largest", "the largest ploughing engines", (180, 240, 300), (60, 75, 90)),
            )
            for fire, band, shown in (
                ("cold", cold, f"{cold[1]:g} min to raise steam from cold"),
                ("banked", banked, f"{banked[1]:g} min to bring round a banked fire"),
            )
        },
    }
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Surface:
    """Rolling resistance of a wagon on one surface, force per weight, by tyre.

    `rubber_speed` and `steel_speed` are the speeds the figures were taken at [m s⁻¹];
    `rubber_grip` and `steel_grip` multiply the grip on a sound dry road; `hard` roads
    follow the speed and wheel-diameter laws, soft ones the tyre-width law.
    """

    rubber: Default
    steel: Default
    hard: bool
    rubber_speed: float
    steel_speed: float
    rubber_grip: Default
    steel_grip: Default


_MPH = 0.44704


def _short(low: float, value: float, high: float, status: Status, source: str) -> Default:
    return _default((low, value, high), 1 / 2000, 1, f"{value:g} lb/short ton", status, source)


def _long(low: float, value: float, high: float, source: str) -> Default:
    return _default((low, value, high), 1 / 2240, 1, f"{value:g} lb/long ton", "published", source)


def _grip(low: float, value: float, high: float, source: str) -> Default:
    return _default((low, value, high), 1, -1, f"{value:g} x", "assumption", source)


_FULL_GRIP = _default((1, 1, 1), 1, -1, "1 x", "assumption", "the tabled grip is for such roads")
_SETT_GRIP = _grip(0.6, 0.8, 1.0, "worn stone under iron")
_GRAVEL_GRIP = _grip(0.75, 0.9, 1.0, "stones roll under the wheel")
_SOFT_GRIP = _grip(0.6, 0.85, 1.0, "the ground shears before the wheel slips")


def _hard(
    rubber: Default,
    steel: Default,
    rubber_grip: Default = _FULL_GRIP,
    steel_grip: Default = _FULL_GRIP,
) -> Surface:
    return Surface(
        rubber=rubber, steel=steel, hard=True, rubber_speed=10 * _MPH, steel_speed=2.25 * _MPH,
        rubber_grip=rubber_grip, steel_grip=steel_grip,
    )  # fmt: skip


def _soft(rubber: Default, steel: Default) -> Surface:
    return Surface(
        rubber=rubber, steel=steel, hard=False, rubber_speed=0.0, steel_speed=0.0,
        rubber_grip=_SOFT_GRIP, steel_grip=_SOFT_GRIP,
    )  # fmt: skip


_LOOSE = _long(100, 150, 220, _MACNEIL)
_EARTH = _short(50, 125, 200, "from memory", f"{_BAKER}: 50-200")
_SAND = _short(100, 200, 300, "from memory", f"{_BAKER}: 100-300")

SURFACES: Final[Mapping[str, Surface]] = MappingProxyType(
    {
        "asphalt": _hard(
            _short(18, 20.4, 25.5, "published", _AGG),
            _short(30, 50, 70, "from memory", f"{_BAKER}: 30-70"),
        ),
        "brick": _hard(
            _short(22, 24.6, 28, "published", _AGG),
            _short(15, 27.5, 40, "from memory", f"{_BAKER}: 15-40"),
        ),
        "setts": _hard(
            _short(25.5, 40.3, 45.75, "published", _AGG),
            _long(32, 33, 48, _MACNEIL),
            steel_grip=_SETT_GRIP,
        ),
        "macadam": _hard(_short(20, 23.3, 36, "published", _AGG), _long(36, 45, 64, _MACNEIL)),
        "worn macadam": _hard(_short(30, 36.3, 52, "published", _AGG), _long(45, 64, 90, _MACNEIL)),
        "gravel": _hard(
            _short(26, 30.4, 36, "published", _AGG),
            _short(50, 310 / 4.5, 100, "published", _MORIN),
            rubber_grip=_GRAVEL_GRIP,
            steel_grip=_GRAVEL_GRIP,
        ),
        "loose gravel": _soft(_LOOSE, _LOOSE),
        "earth": _soft(_EARTH, _EARTH),
        "sand": _soft(_SAND, _SAND),
    }
)


@dataclass(frozen=True, kw_only=True)
class Weather:
    """What a day's weather multiplies: rolling on hard and soft roads, and grip."""

    hard: Default
    soft: Default
    grip_steel: Default
    grip_rubber: Default


def _same() -> Default:
    return _default((1, 1, 1), 1, 1, "1", "published", "the tables are for dry roads")


WEATHER: Final[Mapping[str, Weather]] = MappingProxyType(
    {
        "dry": Weather(hard=_same(), soft=_same(), grip_steel=_same(), grip_rubber=_same()),
        "wet": Weather(
            hard=_default((1.0, 1.1, 1.3), 1, 1, "1.1 x", "assumption", "damp, sound surface"),
            soft=_default((1.1, 1.4, 1.8), 1, 1, "1.4 x", "assumption", "softened surface"),
            grip_steel=_default(
                (0.5, 0.6, 0.8), 1, -1, "0.6 x", "from memory", "wet setts 0.15-0.20 against 0.30"
            ),
            grip_rubber=_default((0.6, 0.75, 0.9), 1, -1, "0.75 x", "assumption", "wet road"),
        ),
        "mud": Weather(
            hard=_default(
                (1.2, 1.55, 1.9), 1, 1, "1.55 x", "published",
                f"{_AGG}: macadam poor and damp 36.3 against dry and hard 23.3",
            ),
            soft=_default((1.5, 2.0, 3.0), 1, 1, "2 x", "assumption", "wheels sink"),
            grip_steel=_default((0.3, 0.5, 0.7), 1, -1, "0.5 x", "assumption", "mud on the road"),
            grip_rubber=_default((0.4, 0.5, 0.7), 1, -1, "0.5 x", "assumption", "mud on the road"),
        ),
        "frost": Weather(
            hard=_same(),
            soft=_default((0.5, 0.7, 1.0), 1, 1, "0.7 x", "assumption", "frozen hard"),
            grip_steel=_default(
                (0.15, 0.25, 0.35), 1, -1, "0.25 x", "from memory", "ice 0.05-0.10 against 0.30"
            ),
            grip_rubber=_default((0.2, 0.3, 0.5), 1, -1, "0.3 x", "assumption", "ice"),
        ),
    }
)  # fmt: skip


def every_default() -> list[Default]:
    """Each default once: figures, stops, surfaces by tyre, weather other than dry.

    Returns
    -------
    defaults
        In the order of this module.
    """
    rows = [*DEFAULTS.values(), *STOPS.values()]
    for surface in SURFACES.values():
        rows += [surface.rubber, surface.steel, surface.rubber_grip, surface.steel_grip]
    for name, weather in WEATHER.items():
        if name != "dry":
            rows += [weather.hard, weather.soft, weather.grip_steel, weather.grip_rubber]
    return list({id(row): row for row in rows}.values())
