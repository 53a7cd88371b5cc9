"""`haulplan demand`."""

from pathlib import Path

import click

from haulplan.cli.running import (
    debug_option,
    pessimism_option,
    progress,
    read_problem,
    show,
    units_option,
)
from haulplan.errors import InputError, Problem

__all__ = ["demand"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write stretches.csv, hills.csv and demand.svg into.",
)
@click.option("--force", is_flag=True, help="Replace an earlier demand in that folder.")
@pessimism_option
@units_option
@debug_option
def demand(
    scenario: Path,
    out: Path | None,
    force: bool,
    pessimism: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Show what the road asks of the engine, line by line.

    Reckoned with tank and bunker full: each stretch with gear, speed, pull, power, steam,
    water and coal; the price of each hill above a level road; the water-glass mark over
    each crest; totals with their band.

    \b
    Example:
      haulplan demand scenarios/hobmere-penniford --pessimism 90
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.demand.stretches import survey  # noqa: PLC0415  lazy start
    from haulplan.outputs.survey import render_survey, survey_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, _ = read_problem(scenario, units, pessimism)
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
    show(render_survey(read, route, found, system), out)
