"""What the tables of a scenario and scenario.toml must agree on."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import TypeVar

from pydantic import BaseModel

from haulplan.errors import Problem
from haulplan.scenario import schema
from haulplan.scenario.wording import short

__all__ = ["check_tables"]

Tables = Mapping[str, Mapping[int, BaseModel]]
Row = TypeVar("Row", bound=BaseModel)


def check_tables(file: schema.ScenarioFile, tables: Tables) -> list[Problem]:
    """Where the tables ask for what scenario.toml does not give, or the other way round.

    Parameters
    ----------
    file
        scenario.toml.
    tables
        The rows of each table that is there, by file and row number, each row checked.

    Returns
    -------
    problems
        With file, row and column, or key.
    """
    measured = "demand.csv" in tables
    return [
        *_of_bridges(file, _rows(tables, "bridges.csv", schema.Bridge)),
        *_of_supplies(file, _rows(tables, "supply.csv", schema.Supply), measured=measured),
        *_of_stores(file, _rows(tables, "stores.csv", schema.Store)),
        *_of_axles_with_carts(tables),
        *_of_formula(file, tables),
        *_of_nights(file, tables),
        *_of_places(file, _rows(tables, "places.csv", schema.Place)),
    ]


def _rows(tables: Tables, name: str, model: type[Row]) -> dict[int, Row]:
    return {n: row for n, row in tables.get(name, {}).items() if isinstance(row, model)}


def _cell(file: str, row: int, column: str, found: str, remedy: str) -> Problem:
    return Problem(file=file, where=f"row {row}, column {column}", found=found, remedy=remedy)


def _of_bridges(file: schema.ScenarioFile, bridges: Mapping[int, schema.Bridge]) -> list[Problem]:
    problems = []
    engine = file.engine
    for row, bridge in bridges.items():
        if bridge.uncouple is not None and engine is None:
            problems.append(
                _cell(
                    "bridges.csv", row, "uncouple", "no [engine], whose weight goes over alone",
                    "give [engine], or leave the cell empty",
                )
            )  # fmt: skip
        if bridge.kind == "gross":
            continue
        if engine is None or engine.axles is None:
            problems.append(
                _cell(
                    "bridges.csv", row, "kind",
                    f"the {bridge.kind} limit needs the engine's axles, which are not known",
                    "give [engine.axles]: wheelbase, tank_ahead, bunker_ahead",
                )
            )  # fmt: skip
        elif bridge.kind == "tandem":
            problems += [
                _cell(
                    "bridges.csv", row, "kind",
                    f"the tandem limit needs {key} of '{short(wagon.name)}', which is not known",
                    f"give train.wagons[{number}].{key}",
                )
                for number, wagon in enumerate(file.train.wagons, start=1)
                for key in ("behind", "wheelbase")
                if getattr(wagon, key) is None and (key == "behind" or wagon.axles > 1)
            ]  # fmt: skip
    return problems


def _of_supplies(
    file: schema.ScenarioFile, supplies: Mapping[int, schema.Supply], *, measured: bool
) -> list[Problem]:
    problems = []
    for row, supply in supplies.items():
        found: list[tuple[str, str, str]] = []
        if supply.sacks == "yes" and supply.coal_available is None:
            found.append(("sacks", "no coal_available", "give it, or write no"))
        elif supply.sacks == "yes" and supply.coal_rate is not None:
            found.append(("sacks", "beside coal_rate", "give one of them: sacks set the rate"))
        elif supply.sacks == "yes" and file.coaling is None:
            remedy = "give [coaling]: people, sack, sacks_per_hour; or coal_rate in place of sacks"
            found.append(("sacks", "no [coaling] in scenario.toml", remedy))
        if supply.lift is not None and supply.water_available is None:
            found.append(("lift", "no water_available", "give it, or leave the cell empty"))
        given = [c for c in _ACCESS if getattr(supply, c) is not None]
        if measured and (given or supply.access > 0) and len(given) < len(_ACCESS):
            missing = next(c for c in _ACCESS if c not in given)
            remedy = "give access_time, access_water and access_coal, there and back"
            found.append((missing, "missing; demand.csv does not tell what the way takes", remedy))
        problems += [_cell("supply.csv", row, *words) for words in found]
    return problems


_ACCESS = ("access_time", "access_water", "access_coal")
#: What only a truck has, by column.
_OF_TRUCKS = ("loads", "water_price", "call_out", "set_up")


def _of_stores(file: schema.ScenarioFile, stores: Mapping[int, schema.Store]) -> list[Problem]:
    problems = []
    wagons = Counter({w.name: w.count for w in file.train.wagons})
    trucks = [row for row, store in stores.items() if store.kind == "truck"]
    if len(trucks) > 1:
        problems.append(
            _cell(
                "stores.csv", trucks[1], "kind", f"a second truck (the first in row {trucks[0]})",
                "give one truck; add up the loads of two that carry the same",
            )
        )  # fmt: skip
    for row, store in stores.items():
        found: list[tuple[str, str, str]] = []
        if store.kind == "truck":
            if not math.isinf(store.at_start):
                found.append(("at_start", "given for a truck", "leave the cell empty: it is full"))
        else:
            number = sum(w.name == store.name for w in file.train.wagons)
            if number == 0:
                remedy = "give [[train.wagons]] of that name: the cart's own weight and axles"
                found.append(("name", f"no wagon is named '{short(store.name)}'", remedy))
            elif number > 1 or wagons[store.name] > 1:
                remedy = "give each cart a wagon and a row of its own"
                found.append(("name", f"several wagons are named '{short(store.name)}'", remedy))
            if not math.isinf(store.at_start) and store.at_start > store.water:
                found.append(("at_start", "above water", "give at most what the cart holds"))
            found += [
                (column, "given for a cart", "leave the cell empty: it is a truck's")
                for column in _OF_TRUCKS
                if getattr(store, column) != schema.Store.model_fields[column].default
            ]
        problems += [_cell("stores.csv", row, *words) for words in found]
    return problems


def _of_axles_with_carts(tables: Tables) -> Iterator[Problem]:
    """With two carts it is not known which of them holds the water."""
    stores = _rows(tables, "stores.csv", schema.Store)
    if sum(store.kind == "cart" for store in stores.values()) < 2:
        return
    for row, bridge in _rows(tables, "bridges.csv", schema.Bridge).items():
        if bridge.kind != "gross" or bridge.uncouple is not None:
            yield _cell(
                "bridges.csv", row, "kind" if bridge.kind != "gross" else "uncouple",
                "it needs the weight of each of several carts, and only their sum is planned",
                "give one cart, or the limit of the whole train",
            )  # fmt: skip


def _of_formula(file: schema.ScenarioFile, tables: Tables) -> Iterator[Problem]:
    """Groups of axles are known by where axles stand, and by what stands on each."""
    if file.bridge_formula == "no":
        return
    if file.engine is None or file.engine.axles is None:
        yield Problem(
            file="scenario.toml",
            where="bridge_formula",
            found="it needs the engine's axles, which are not known",
            remedy="give [engine.axles]: wheelbase, tank_ahead, bunker_ahead; or write no",
        )
    if sum(s.kind == "cart" for s in _rows(tables, "stores.csv", schema.Store).values()) > 1:
        yield Problem(
            file="scenario.toml",
            where="bridge_formula",
            found="several carts, and it is not known which of them holds the water",
            remedy="give one cart, or write no",
        )


def _of_nights(file: schema.ScenarioFile, tables: Tables) -> Iterator[Problem]:
    nights = file.nights
    if nights.most == 0:
        return
    rows: list[schema.Supply | schema.Place] = [
        *_rows(tables, "supply.csv", schema.Supply).values(),
        *_rows(tables, "places.csv", schema.Place).values(),
    ]
    if not any(row.night == "yes" for row in rows):
        yield Problem(
            file="scenario.toml",
            where="nights.most",
            found="no place to spend a night",
            remedy="write yes under night in places.csv or supply.csv, or 0 here",
        )
    engine, fuel = file.engine is not None, file.fuel is not None
    known = {"banked": engine, "dropped": engine and fuel}
    for fire in ("banked", "dropped"):
        if nights.fire not in {fire, "either"} or known[fire]:
            continue
        for store in ("water", "coal"):
            if getattr(nights, f"{fire}_{store}") is None:
                yield Problem(
                    file="scenario.toml",
                    where=f"nights.{fire}_{store}",
                    found="missing, and without [engine] and [fuel] it cannot be reckoned",
                    remedy=f"give it, or another fire in nights.fire than {nights.fire}",
                )


def _of_places(file: schema.ScenarioFile, places: Mapping[int, schema.Place]) -> list[Problem]:
    days = file.nights.most + 1
    return [
        _cell(
            "places.csv", row, "day", f"day {place.day} of a run of at most {days}",
            "raise nights.most in scenario.toml, or mend the day",
        )
        for row, place in places.items()
        if place.day is not None and place.day > days
    ]  # fmt: skip
