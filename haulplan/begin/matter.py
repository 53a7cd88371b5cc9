"""What is not known yet, and how far each figure's band moves the reach of a filling."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from haulplan.begin.asked import Asked
from haulplan.begin.folder import Draft, band_text, written
from haulplan.begin.suggest import reach
from haulplan.errors import NoPlanError
from haulplan.plan.trial import Case
from haulplan.scenario.classes import engine_classes, fuels
from haulplan.units import parse

__all__ = ["Open", "open_figures"]

#: A train nobody weighed is lighter or heavier by so much. haulplan's assumption. [-]
_TRAIN: Final = (0.5, 1.5)
#: What moves the reach by less than this is not worth asking for. [-]
_LEAST: Final = 0.005
#: Figures of a class that decide what an engine takes, and their kinds.
_FIGURES: Final[Mapping[str, str]] = {
    "weight": "mass", "bore": "length", "pressure": "pressure", "grate_area": "area",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Open:
    """A figure that nobody gave: what stands in its place, and what hangs on it.

    `low` and `high` are how far a filling of water or coal (`store`) goes at either end of
    the figure's band [m]: 0 where the train then does not pass at all.
    """

    what: str
    taken: str
    between: str
    store: str
    low: float
    high: float

    @property
    def weight(self) -> float:
        """Logarithm of the farther reach over the nearer."""
        return math.inf if self.low <= 0 else math.log(self.high / self.low)


@dataclass(frozen=True, kw_only=True)
class _Band:
    """A figure's place in scenario.toml, and the keys that change at its ends."""

    what: str
    taken: str
    between: str
    store: str
    ends: tuple[Mapping[str, Any], Mapping[str, Any]]


def open_figures(case: Case, asked: Asked, draft: Draft) -> tuple[Open, ...]:
    """Figures that nobody gave and whose band moves the reach of a filling.

    Parameters
    ----------
    case
        The problem.
    asked
        What was said.
    draft
        What is written.

    Returns
    -------
    open
        What matters most first.
    """
    bands = [
        *_stores(case, asked, draft), *_train(case, asked, draft), *_engine(case, asked),
        *_fuel(case), *_road(case, asked),
    ]  # fmt: skip
    rows = []
    for band in bands:
        low, high = sorted(_reach_with(case, band.store, change) for change in band.ends)
        rows.append(
            Open(
                what=band.what, taken=band.taken, between=band.between, store=band.store,
                low=low, high=high,
            )
        )  # fmt: skip
    told = [row for row in rows if row.weight >= _LEAST]
    return tuple(sorted(told, key=lambda row: -row.weight))


def _reach_with(case: Case, store: str, change: Mapping[str, Any]) -> float:
    try:
        changed = case.with_file(**change)
        if "route" in change:  # the road is laid anew
            changed = changed.with_supplies(case.scenario.supplies)
        return reach(changed)[store]
    except NoPlanError:  # it does not climb then
        return 0.0


def _stores(case: Case, asked: Asked, draft: Draft) -> Iterator[_Band]:
    file, system = case.scenario.file, draft.system
    kind = engine_classes()[asked.engine or ""]
    for key, store, said, unit in (
        ("tank", "water", asked.tank, system.water),
        ("bunker", "coal", asked.bunker, system.coal),
    ):
        if said is not None:
            continue
        now = float(getattr(file.stores, key))
        low, _, high = (parse(store, text) for text in kind[key])
        kept = float(getattr(file.reserve, store)) / now
        ends = [
            {
                "stores": file.stores.model_copy(update={key: size}),
                "reserve": file.reserve.model_copy(update={store: kept * size}),
            }
            for size in (low, high)
        ]
        between = band_text([written(unit, size) for size in (low, now, high)])
        yield _Band(what=f"stores.{key}", taken=unit.text(now), between=between, store=store,
                    ends=(ends[0], ends[1]))  # fmt: skip


def _train(case: Case, asked: Asked, draft: Draft) -> Iterator[_Band]:
    train, unit = case.scenario.file.train, draft.system.mass
    if asked.train is not None or not train.wagons:
        return
    ends = []
    for share in _TRAIN:
        wagons = tuple(
            w.model_copy(update={"tare": share * w.tare, "load": share * w.load})
            for w in train.wagons
        )
        ends.append({"train": train.model_copy(update={"wagons": wagons})})
    low, high = (written(unit, share * draft.train, 2) for share in _TRAIN)
    between = band_text([low, "", high])
    yield _Band(what="train.wagons", taken=unit.text(draft.train), between=between,
                store="water", ends=(ends[0], ends[1]))  # fmt: skip


def _engine(case: Case, asked: Asked) -> Iterator[_Band]:
    engine, kind = case.scenario.file.engine, engine_classes()[asked.engine or ""]
    assert engine is not None
    for key, quantity in _FIGURES.items():
        low, typical, high = kind[key]
        ends = []
        for end in (low, high):
            figure = parse(quantity, end)
            update = {key: figure}
            if key == "weight":
                update["weight_on_drivers"] = engine.weight_on_drivers * figure / engine.weight
            ends.append({"engine": engine.model_copy(update=update)})
        yield _Band(what=f"engine.{key}", taken=typical, between=band_text(kind[key]),
                    store="water", ends=(ends[0], ends[1]))  # fmt: skip


def _fuel(case: Case) -> Iterator[_Band]:
    fuel = case.scenario.file.fuel
    assert fuel is not None
    low, typical, high = fuels()[fuel.kind or ""]["heating_value"]
    ends = [
        {"fuel": fuel.model_copy(update={"heating_value": parse("heating value", end)})}
        for end in (low, high)
    ]
    yield _Band(what="fuel.heating_value", taken=typical, between=band_text((low, typical, high)),
                store="coal", ends=(ends[0], ends[1]))  # fmt: skip


def _road(case: Case, asked: Asked) -> Iterator[_Band]:
    file = case.scenario.file
    if asked.surface is None:
        gravel = file.route.model_copy(update={"surface": "gravel"})
        yield _Band(what="route.surface", taken="asphalt", between="asphalt to gravel",
                    store="water", ends=({}, {"route": gravel}))  # fmt: skip
    wet = file.conditions.model_copy(update={"weather": "wet"})
    yield _Band(what="conditions.weather", taken="dry", between="dry to wet", store="water",
                ends=({}, {"conditions": wet}))  # fmt: skip
