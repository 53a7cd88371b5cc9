"""What a scenario must have, and must not have, for a way to be chosen."""

from collections.abc import Iterator, Sequence

from haulplan.errors import InputError, Problem
from haulplan.scenario import Scenario

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
    file = scenario.file
    problems = []
    if file.route.network is None:
        problems.append(("route.network", "missing", "name the roads to choose from"))
    if scenario.demand:
        problems.append(
            ("demand.csv", "use by distance on one road", "take it away: each way has its own")
        )
    if file.engine is None or file.fuel is None:
        problems.append(("engine, fuel", "missing", "give both: each road is reckoned with them"))
    tables = {
        "supply.csv": scenario.supplies, "bridges.csv": scenario.bridges,
        "places.csv": scenario.places, "crossings.csv": scenario.level_crossings,
    }  # fmt: skip
    for name, rows in tables.items():
        problems += [
            (f"{name}, row {number}", f"'{row.name}' is put at a distance along one road",
             "give latitude and longitude: a network has many roads")
            for number, row in enumerate(rows, start=2) if row.at is not None
        ]  # fmt: skip
    problems += _unreckoned(scenario, via)
    if scenario.surfaces:
        problems.append(
            ("surfaces.csv", "surfaces by distance on one road", "write them into the network")
        )
    if problems:
        raise InputError(
            [
                Problem(file="scenario.toml", where=where, found=found, remedy=remedy)
                for where, found, remedy in problems
            ]
        )


def _unreckoned(scenario: Scenario, via: Sequence[str]) -> Iterator[tuple[str, str, str]]:
    """What the floors of the search know nothing of: trucks, and calls that may be passed by."""
    for number, store in enumerate(scenario.stores, start=2):
        if store.kind == "truck":
            yield (
                f"stores.csv, row {number}", f"'{store.name}' is a truck, which serves any halt",
                "take it away to choose the way; write it into the chosen way's folder and plan",
            )  # fmt: skip
    passed = {name.casefold() for name in (*via, scenario.file.start, scenario.file.finish)}
    for number, place in enumerate(scenario.places, start=2):
        if place.stay is not None and place.name.casefold() not in passed:
            yield (
                f"places.csv, row {number}", f"'{place.name}' is a call, which a way might miss",
                f"add --via '{place.name}', or take its stay away",
            )  # fmt: skip
