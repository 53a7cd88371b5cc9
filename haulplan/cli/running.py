"""What the commands share: options, reading a problem, the terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haulplan.errors import NoPlanError

if TYPE_CHECKING:
    from haulplan.demand import Demand
    from haulplan.route import Route
    from haulplan.scenario import Scenario

__all__ = [
    "console",
    "debug_option",
    "pessimism_option",
    "progress",
    "read_problem",
    "show",
    "units_option",
]


def units_option(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the option `--units`.

    Parameters
    ----------
    command
        What click runs.

    Returns
    -------
    command
        With the option.
    """
    return click.option(
        "--units",
        type=click.Choice(["us", "imperial", "metric"]),
        help="Units of what is shown; the scenario's own where not given.",
    )(command)


def pessimism_option(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the option `--pessimism`.

    Parameters
    ----------
    command
        What click runs.

    Returns
    -------
    command
        With the option.
    """
    return click.option(
        "--pessimism",
        metavar="PERCENT",
        type=click.FloatRange(min=1, max=99),
        help="Per cent chance that the truth is no thirstier than reckoned; the scenario's "
        "own, or typical figures, where not given.",
    )(command)


def debug_option(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the option `--debug`.

    Parameters
    ----------
    command
        What click runs.

    Returns
    -------
    command
        With the option.
    """
    return click.option("--debug", is_flag=True, help="Show the traceback when something fails.")(
        command
    )


def read_problem(
    folder: Path, units: str | None, pessimism: float | None = None
) -> "tuple[Scenario, Route, Demand]":
    """Read a scenario folder and reckon its road and demand.

    Parameters
    ----------
    folder
        The scenario.
    units
        Units to show instead of the scenario's own.
    pessimism
        Chance that the truth is no thirstier, instead of the scenario's own. [%]

    Returns
    -------
    scenario, route, demand
        The problem.

    Raises
    ------
    InputError
        If the scenario has faults; all of them are named.
    NoPlanError
        If a hill is refused; what is odd about the road is said too.
    """
    from haulplan.demand import build_demand  # noqa: PLC0415  lazy start
    from haulplan.route import build_route  # noqa: PLC0415  lazy start
    from haulplan.scenario import read_scenario  # noqa: PLC0415  lazy start

    scenario = read_scenario(folder)
    asked: dict[str, object] = {} if units is None else {"units": units}  # refusals too
    if pessimism is not None:  # what is tried later is reckoned alike
        asked["pessimism"] = pessimism / 100
    scenario = replace(scenario, file=scenario.file.model_copy(update=asked))
    route = build_route(scenario)
    try:
        return scenario, route, build_demand(scenario, route)
    except NoPlanError as error:  # what is odd about the road may be why a hill is refused
        raise NoPlanError("\n".join([str(error), *route.warnings])) from None


def console() -> Any:  # noqa: ANN401  rich loads when needed
    """Where results are printed.

    Returns
    -------
    console
        A rich console that colours nothing by guess.
    """
    from rich.console import Console  # noqa: PLC0415  lazy start

    return Console(highlight=False)


def show(page: object, written: Path | None = None, remark: str = "") -> None:
    """Print a page, and where the files went.

    Parameters
    ----------
    page
        What rich prints.
    written
        The folder that was written, if any.
    remark
        Said after its name.

    Raises
    ------
    KeyboardInterrupt
        Saying that the files stand, where they do.
    """
    try:
        console().print(page)
        if written is not None:
            console().print(f"Written to {written}{remark}", markup=False)
    except KeyboardInterrupt:
        if written is None:
            raise
        raise KeyboardInterrupt(f"{written} is written") from None


@contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """Say on the terminal's error stream what is being done.

    Returns
    -------
    progress
        A context whose value is called with what is being done.
    """
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415  lazy start

    with Console(stderr=True).status("starting") as status:
        yield status.update
