"""`haulplan drill`."""

from pathlib import Path

import click

from haulplan.cli.running import console, debug_option, progress, read_problem, units_option

__all__ = ["drill"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write drills.csv and drills.html (to print) into.",
)
@click.option("--force", is_flag=True, help="Replace earlier drills in that folder.")
@units_option
@debug_option
def drill(scenario: Path, out: Path | None, force: bool, units: str | None, debug: bool) -> None:
    """What if a stop is shut, a feed out, the coal poor, time lost.

    A table of consequences with the standing answer, for the sheet. Each stop is found
    shut on arriving at it; the last point is where turning back still kept the reserve.

    \b
    Example:
      haulplan drill scenarios/hobmere-penniford
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.drill_sheet import drill_sheet  # noqa: PLC0415  lazy start
    from haulplan.outputs.underway import drills_csv, render_drills  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.plan import make_plan  # noqa: PLC0415  lazy start
    from haulplan.underway.drills import run_drills  # noqa: PLC0415  lazy start
    from haulplan.underway.task import Task  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units)
        say("planning")
        task = Task(scenario=read, route=route, demand=demand)
        drills = run_drills(task, make_plan(read, route, demand), progress=say)
        system = UNIT_SYSTEMS[read.file.units]
        if out is not None:
            files = {
                "drills.csv": drills_csv(drills, system),
                "drills.html": drill_sheet(read.file.title, drills, system),
            }
            write_outputs(out, files, force=force)
    console().print(render_drills(read.file.title, drills, system))
    if out is not None:
        console().print(f"Written to {out}", markup=False)
