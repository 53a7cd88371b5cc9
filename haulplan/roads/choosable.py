"""What a scenario must have, and must not have, for a way to be chosen."""

from collections.abc import Iterator, Mapping, Sequence

from haulplan.errors import InputError, Problem
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Bridge, LevelCrossing, Place, Supply
from haulplan.scenario.wording import short

__all__ = ["check_choosable"]


def check_choosable(scenario: Scenario, via: Sequence[str]) -> None:
    """Whether a way can be chosen for a scenario at all.

    Parameters
    ----------
    scenario
        The problem.
    via
        Names of places to be passed.

    Raises
    ------
    InputError
        With everything that goes by distance along one road, or that the choice does not
        reckon.
    """
    problems = [*_on_one_road(scenario), *_unreckoned(scenario, via)]
    if problems:
        raise InputError(problems)


def _on_one_road(scenario: Scenario) -> Iterator[Problem]:
    """What is missing, and what goes by distance along one road."""
    file, toml = scenario.file, "scenario.toml"
    if file.route.network is None:
        yield _problem(toml, "route.network", "missing", "name the roads to choose from")
    if scenario.demand:
        yield _problem(
            "demand.csv", "", "use by distance on one road", "take it away: each way has its own"
        )
    if file.engine is None or file.fuel is None:
        yield _problem(
            toml, "engine, fuel", "missing", "give both: each road is reckoned with them"
        )
    tables: Mapping[str, Sequence[Supply | Bridge | Place | LevelCrossing]] = {
        "supply.csv": scenario.supplies, "bridges.csv": scenario.bridges,
        "places.csv": scenario.places, "crossings.csv": scenario.level_crossings,
    }  # fmt: skip
    for name, rows in tables.items():
        for number, row in enumerate(rows, start=2):
            if row.at is not None:
                yield _problem(
                    name, f"row {number}",
                    f"'{short(row.name)}' is put at a distance along one road",
                    "give latitude and longitude: a network has many roads",
                )  # fmt: skip
    if scenario.surfaces:
        yield _problem(
            "surfaces.csv", "", "surfaces by distance on one road", "write them into the network"
        )


def _unreckoned(scenario: Scenario, via: Sequence[str]) -> Iterator[Problem]:
    """What the floors of the search know nothing of: trucks, and calls that may be passed by."""
    for number, store in enumerate(scenario.stores, start=2):
        if store.kind == "truck":
            yield _problem(
                "stores.csv", f"row {number}",
                f"'{short(store.name)}' is a truck, which serves any halt",
                "take it away to choose the way; write it into the chosen way's folder and plan",
            )  # fmt: skip
    passed = {name.casefold() for name in (*via, scenario.file.start, scenario.file.finish)}
    for number, place in enumerate(scenario.places, start=2):
        if place.stay is not None and place.name.casefold() not in passed:
            yield _problem(
                "places.csv", f"row {number}",
                f"'{short(place.name)}' is a call, which a way might miss",
                f"add --via '{short(place.name)}', or take its stay away",
            )  # fmt: skip


def _problem(file: str, where: str, found: str, remedy: str) -> Problem:
    return Problem(file=file, where=where, found=found, remedy=remedy)
