"""Engines, trains and roads to reckon with; every figure in them is invented."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haulplan.demand.demand import Use
from haulplan.demand.haul import Haul, Road, assemble
from haulplan.scenario.schema import Conditions, Engine, Wagon

Array = NDArray[np.float64]

GOOD_COAL = 30e6
_ENGINE: Mapping[str, Any] = {
    "name": "Grey Heron",
    "weight": "12 t",
    "weight_on_drivers": "8 t",
    "pressure": "10 bar",
    "cylinders": 2,
    "bore": "17 cm",
    "stroke": "26 cm",
    "wheel_diameter": "1.9 m",
    "tyre": "rubber",
    "grate_area": "0.7 m2",
    "heating_surface": "14 m2",
    "boiler_water": "900 L",
    "boiler_metal": "4 t",
    "gears": [
        {"name": "low", "ratio": 18.0, "speed": "3 km/h"},
        {"name": "high", "ratio": 9.0, "speed": "7 km/h"},
    ],
}


def engine_of(**changes: object) -> Engine:
    return Engine.model_validate({**_ENGINE, **changes})


def wagons_of(*masses: float, **changes: object) -> list[Wagon]:
    """Wagons of so many tonnes each."""
    return [
        Wagon.model_validate({"name": "Van", "tare": f"{m!r} t", "tyre": "rubber", **changes})
        for m in masses
    ]


def road_of(
    grades: Sequence[float],
    *,
    surface: str = "macadam",
    length: float = 1000.0,
    sharp: bool = False,
    headwind: float = 0.0,
    altitude: float = 0.0,
) -> Road:
    """Segments of `length` [m], one for each grade."""
    count = len(grades)
    return Road(
        length=np.full(count, length),
        grade=np.array(grades, dtype=float),
        surface=(surface,) * count,
        speed_limit=np.full(count, np.inf),
        sharp=np.full(count, sharp),
        headwind=np.full(count, headwind),
        altitude=altitude,
    )


def haul_of(
    road: Road,
    engine: Engine | None = None,
    wagons: Sequence[Wagon] | None = None,
    conditions: Mapping[str, object] | None = None,
    *,
    heating_value: float = GOOD_COAL,
    deviates: Mapping[str, float] | None = None,
) -> Haul:
    haul, _ = assemble(
        engine or engine_of(),
        heating_value,
        wagons_of(4.0, 4.0) if wagons is None else wagons,
        Conditions.model_validate(conditions or {}),
        road,
        deviates=deviates,
    )
    return haul


def use_of(haul: Haul, aboard: float = 800.0, gear: int = 0) -> Use:
    """Use in one gear with the same mass aboard all along."""
    count = haul.length.size
    return haul.evaluate(np.full(count, aboard), np.full(count, gear))


def totals(haul: Haul, aboard: float = 800.0, gear: int = 0) -> Array:
    """Water, coal [kg] and time [s] over the road in one gear."""
    use = use_of(haul, aboard, gear)
    return np.array([use.water.sum(), use.coal.sum(), use.duration.sum()])
