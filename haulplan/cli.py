"""The command line: arguments in, calls to the library, exit code out."""

import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haulplan import __version__
from haulplan.errors import HaulplanError, InputError, NoPlanError, Problem

if TYPE_CHECKING:
    from haulplan.demand import Demand
    from haulplan.plan import Plan, Trace
    from haulplan.route import Route
    from haulplan.scenario import Scenario
    from haulplan.units import UnitSystem

__all__ = ["cli", "main"]

_AIMS = ("earliest", "cheapest", "fewest-stops", "weighted")


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def cli() -> None:
    """Get a steam road engine and its train from A to B without running short.

    Water sets the stops, hills set the thirst. haulplan reads a scenario folder (road,
    engine, train, places with water or coal) and prints a stop plan.

    \b
    Example:
      haulplan plan scenarios/hobmere-penniford --out hobmere
    """  # noqa: D301  click reads the mark as it stands


def _units(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--units",
        type=click.Choice(["us", "imperial", "metric"]),
        help="Units of what is shown; the scenario's own where not given.",
    )(command)


def _pessimism(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--pessimism",
        type=click.FloatRange(min=1, max=99),
        help="Per cent chance that the truth is no thirstier than reckoned; the scenario's "
        "own, or typical figures, where not given.",
    )(command)


def _debug(command: Callable[..., None]) -> Callable[..., None]:
    return click.option("--debug", is_flag=True, help="Show the traceback when something fails.")(
        command
    )


@cli.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder to write stops.csv, legs.csv, plan.json, map.html and profile.svg into.",
)
@click.option("--force", is_flag=True, help="Replace an earlier plan in that folder.")
@click.option(
    "--aim",
    type=click.Choice(_AIMS),
    help="What to be best at; the scenario's own where not given. 'weighted' needs the "
    "scenario's weights.",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.1),
    help="Most seconds for the solver; the plan then says how far from best it may be.",
)
@click.option("--verbose", is_flag=True, help="Print every assumption too.")
@_pessimism
@_units
@_debug
def plan(
    scenario: Path,
    out: Path | None,
    force: bool,
    aim: str | None,
    time_limit: float | None,
    verbose: bool,
    pessimism: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Plan one haul: where to stop, what to take, when to arrive.

    Exit code 0: plan printed (and written). 1: no plan exists; the stretch and the
    shortfall are named. 2: bad input. 3: solver, replay or internal fault.

    \b
    Example:
      haulplan plan scenarios/hobmere-penniford --aim fewest-stops --units metric
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.terminal import render_terminal  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with _progress() as say:
        say("reading the scenario")
        read, route, demand = _read(scenario, units, pessimism)
        made, trace = _plan(read, route, demand, aim, time_limit, say)
        system = UNIT_SYSTEMS[read.file.units]
        if out is not None:
            say("drawing the outputs")
            _write(out, read, route, made, trace, system, force=force)
    _console().print(render_terminal(read, route, made, system, width=None, verbose=verbose))
    if out is not None:
        left_out = "" if route.line is not None else " (no map: the road has no coordinates)"
        _console().print(f"Written to {out}{left_out}", markup=False)


@cli.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@_units
@_debug
def check(
    scenario: Path,
    units: str | None,
    debug: bool,
) -> None:
    """Check a scenario without planning: what was read, and where it lies on the road.

    \b
    Example:
      haulplan check scenarios/hobmere-penniford
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.check import render_check  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with _progress() as say:
        say("reading the scenario")
        read, route, demand = _read(scenario, units)
    system = UNIT_SYSTEMS[read.file.units]
    _console().print(render_check(read, route, demand, system))


@cli.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder to write stretches.csv, hills.csv and demand.svg into.",
)
@click.option("--force", is_flag=True, help="Replace an earlier demand in that folder.")
@_pessimism
@_units
@_debug
def demand(
    scenario: Path,
    out: Path | None,
    force: bool,
    pessimism: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Show what the road asks of the engine, line by line, tank and bunker full.

    Each stretch with gear, speed, pull, power, steam, water and coal; the price of each
    hill above a level road; the water-glass mark over each crest; totals with their band.

    \b
    Example:
      haulplan demand scenarios/hobmere-penniford --pessimism 90
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.demand.stretches import survey  # noqa: PLC0415  lazy start
    from haulplan.outputs.survey import render_survey, survey_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with _progress() as say:
        say("reading the scenario")
        read, route, _ = _read(scenario, units, pessimism)
        if read.demand:
            raise InputError(
                [
                    Problem(
                        file="demand.csv",
                        where="",
                        found="use is given, not reckoned",
                        remedy="take the file away to see the steam model's own figures",
                    )
                ]
            )
        say("reckoning the demand and its band")
        share = read.file.pessimism if pessimism is None else pessimism / 100
        found = survey(read, route, pessimism=share)
        system = UNIT_SYSTEMS[read.file.units]
        if out is not None:
            write_outputs(out, survey_outputs(read, route, found, system), force=force)
    _console().print(render_survey(read, route, found, system))
    if out is not None:
        _console().print(f"Written to {out}", markup=False)


@cli.command()
@_debug
def evidence(debug: bool) -> None:
    """Set the steam model against published trials it was not made from.

    Prints every case with the figure measured, the model's at typical figures, its band
    and the error, misses included. The assumptions of each case were written down before
    the first comparison.

    \b
    Example:
      haulplan evidence
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.evidence import compare_all  # noqa: PLC0415  lazy start
    from haulplan.outputs.evidence import render_evidence  # noqa: PLC0415  lazy start

    with _progress() as say:
        say("reckoning the trials")
        comparisons = compare_all()
    _console().print(render_evidence(comparisons))


def _read(
    folder: Path, units: str | None, pessimism: float | None = None
) -> "tuple[Scenario, Route, Demand]":
    from haulplan.demand import build_demand  # noqa: PLC0415  lazy start
    from haulplan.route import build_route  # noqa: PLC0415  lazy start
    from haulplan.scenario import read_scenario  # noqa: PLC0415  lazy start

    scenario = read_scenario(folder)
    if units is not None:  # warnings and refusals too
        file = scenario.file.model_copy(update={"units": units})
        scenario = replace(scenario, file=file)
    route = build_route(scenario)
    share = None if pessimism is None else pessimism / 100
    try:
        return scenario, route, build_demand(scenario, route, pessimism=share)
    except NoPlanError as error:  # what is odd about the road may be why a hill is refused
        raise NoPlanError("\n".join([str(error), *route.warnings])) from None


def _plan(
    scenario: "Scenario",
    route: "Route",
    demand: "Demand",
    aim: str | None,
    time_limit: float | None,
    say: Callable[[str], None],
) -> "tuple[Plan, Trace]":
    from haulplan.plan import make_plan  # noqa: PLC0415  lazy start
    from haulplan.replay import replay  # noqa: PLC0415  lazy start
    from haulplan.scenario.schema import Aim  # noqa: PLC0415  lazy start

    wanted: Aim | None = None
    if aim == "weighted":
        if scenario.file.aim.first is not None:
            raise InputError(
                [
                    Problem(
                        file="scenario.toml",
                        where="aim",
                        found="no weights for --aim weighted",
                        remedy="give minute, money and stop in [aim]",
                    )
                ]
            )
    elif aim is not None:
        wanted = Aim.model_validate({"first": aim.replace("-", " ")})
    made = make_plan(scenario, route, demand, aim=wanted, time_limit=time_limit, progress=say)
    say("driving the plan to prove it")
    return made, replay(scenario, route, demand, made)


def _write(
    folder: Path,
    scenario: "Scenario",
    route: "Route",
    made: "Plan",
    trace: "Trace",
    system: "UnitSystem",
    *,
    force: bool,
) -> None:
    from haulplan.outputs import all_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start

    files = all_outputs(scenario, route, made, trace, system)
    write_outputs(folder, files, force=force)


def _console() -> Any:  # noqa: ANN401  rich loads when needed
    from rich.console import Console  # noqa: PLC0415  lazy start

    return Console(highlight=False)


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """A line on the terminal's error stream that says what is being done."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415  lazy start

    with Console(stderr=True).status("starting") as status:
        yield status.update


def _complain(text: str) -> None:
    for line in text.splitlines():
        clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
        click.echo(f"error: {clean}", err=True)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments
        Words after the program's name; those of the process where None.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in words
    try:
        code = cli.main(args=words, prog_name="haulplan", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.ClickException as error:
        if isinstance(error, click.UsageError) and error.ctx is not None:
            click.echo(error.ctx.get_usage(), err=True)
        _complain(error.format_message())
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        _complain("interrupted; nothing was written")
        sys.exit(130)
    except HaulplanError as error:
        if debug:
            traceback.print_exc()
        _complain(str(error))
        sys.exit(error.exit_code)
    except Exception as error:  # noqa: BLE001  the last net: our own fault, said plainly
        if debug:
            traceback.print_exc()
        _complain(
            f"internal fault: {type(error).__name__}: {error}. Please report it with the "
            "scenario; --debug shows more"
        )
        sys.exit(3)
