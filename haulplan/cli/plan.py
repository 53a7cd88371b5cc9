"""`haulplan plan`."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haulplan.cli.running import (
    debug_option,
    pessimism_option,
    progress,
    read_problem,
    show,
    units_option,
)
from haulplan.errors import InputError, NoPlanError, Problem

if TYPE_CHECKING:
    from haulplan.demand import Demand
    from haulplan.plan import Plan, Trace
    from haulplan.plan.advice import Price
    from haulplan.route import Route
    from haulplan.scenario import Scenario

__all__ = ["plan"]

_AIMS = ("earliest", "cheapest", "fewest-stops", "weighted")


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write the sheets, map, chart and tables into (listed below).",
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
    metavar="SECONDS",
    type=click.FloatRange(min=0.1),
    help="Most seconds for the solver; the plan then says how far from best it may be.",
)
@click.option(
    "--survive",
    is_flag=True,
    help="Plan so that whichever one stop is found shut, a way on is left above the "
    "scenario's last resort.",
)
@click.option(
    "--advice",
    is_flag=True,
    help="Print what the other aims would cost, and what would help, each planned anew.",
)
@click.option(
    "--no-mends",
    is_flag=True,
    help="Where there is no plan, only say why; try no changes that would mend it.",
)
@click.option("--verbose", is_flag=True, help="Print every assumption too.")
@pessimism_option
@units_option
@debug_option
def plan(
    scenario: Path,
    out: Path | None,
    force: bool,
    aim: str | None,
    time_limit: float | None,
    survive: bool,
    pessimism: float | None,
    units: str | None,
    **flags: bool,
) -> None:
    """Plan one haul: where to stop, what to take, when to arrive.

    Exit code 0: plan printed (and written). 1: no plan exists; the stretch, the
    shortfall and what was tried and mends it are named. 2: bad input. 3: solver, replay
    or internal fault.

    \b
    --out writes, whole or not at all (open run-sheet.html first):
      run-sheet.html       a side for each day, and its overleaf
      steersman.html, support-driver.html, station-keeper.html, tail-car.html,
      return-run.html      sheets for the others
      dip-strip.html, lists.html
      map.html, profile.svg, stops.csv, legs.csv, plan.xlsx
      plan.gpx, plan.geojson, plan.ics, plan.json
    A road without coordinates has no map, GPX or GeoJSON.

    \b
    Example:
      haulplan plan scenarios/hobmere-penniford --aim fewest-stops --units metric
    """  # noqa: D301  click reads the mark as it stands
    from rich.console import Group  # noqa: PLC0415  lazy start

    from haulplan.outputs import all_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.advice import render_advice  # noqa: PLC0415  lazy start
    from haulplan.outputs.terminal import render_terminal  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units, pessimism)
        try:
            made, trace = _plan(read, route, demand, aim, time_limit, say, survive=survive)
        except NoPlanError as error:
            raise (
                error if flags["no_mends"] else _with_mends(read, route, demand, error, say)
            ) from None
        system = UNIT_SYSTEMS[read.file.units]
        if out is not None:
            say("drawing the outputs")
            files = all_outputs(read, route, made, trace, system, demand)
            write_outputs(out, files, force=force)
        told = _advice(read, route, demand, made, say) if flags["advice"] else None
    left_out = "" if route.line is not None else " (no map: the road has no coordinates)"
    page = render_terminal(read, route, made, system, width=None, verbose=flags["verbose"])
    show(page if told is None else Group(page, render_advice(read, *told)), out, left_out)


def _plan(
    scenario: "Scenario",
    route: "Route",
    demand: "Demand",
    aim: str | None,
    time_limit: float | None,
    say: Callable[[str], None],
    *,
    survive: bool,
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
    try:
        made = make_plan(
            scenario,
            route,
            demand,
            aim=wanted,
            time_limit=time_limit,
            survive=survive,
            progress=say,
        )
    except NoPlanError as error:  # what is odd about the road may be why there is none
        raise NoPlanError("\n".join([str(error), *route.warnings]), error.shortages) from None
    say("driving the plan to prove it")
    return made, replay(scenario, route, demand, made)


def _with_mends(
    scenario: "Scenario",
    route: "Route",
    demand: "Demand",
    error: NoPlanError,
    say: Callable[[str], None],
) -> NoPlanError:
    """The refusal with what was tried to mend it."""
    from haulplan.outputs.advice import mends_text  # noqa: PLC0415  lazy start
    from haulplan.plan.mends import find_mends  # noqa: PLC0415  lazy start

    mends = find_mends(scenario, route, demand, error, progress=say)
    return NoPlanError("\n".join([str(error), *mends_text(scenario, mends)]), error.shortages)


def _advice(
    scenario: "Scenario",
    route: "Route",
    demand: "Demand",
    made: "Plan",
    say: Callable[[str], None],
) -> "tuple[Sequence[Price], Sequence[Price]]":
    from haulplan.plan.advice import helps, prices  # noqa: PLC0415  lazy start

    asked = prices(scenario, route, demand, made, progress=say)
    return asked, helps(scenario, route, demand, made, progress=say)
