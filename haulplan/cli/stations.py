"""`haulplan stations`."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from haulplan.cli.running import console, debug_option, pessimism_option, progress, units_option

if TYPE_CHECKING:
    from haulplan.stations.schema import Aim

__all__ = ["stations"]

_AIMS = ("fewest-stations", "best-service", "least-cost")


@click.command()
@click.argument("event", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write station sheets, truck timetables, order list, map, queue chart and "
    "fleet table into.",
)
@click.option("--force", is_flag=True, help="Replace earlier outputs in that folder.")
@click.option(
    "--aim",
    "aims",
    type=click.Choice(_AIMS),
    multiple=True,
    help="What is wanted first, then second, then third; the event's own where not given.",
)
@click.option(
    "--survive-loss", is_flag=True, help="Every engine must get round with any one station lost."
)
@click.option(
    "--time-limit",
    metavar="SECONDS",
    type=click.FloatRange(min=0.1),
    help="Most seconds to choose stations in; the answer then says how far from best it may be.",
)
@pessimism_option
@units_option
@debug_option
def stations(
    event: Path,
    out: Path | None,
    force: bool,
    aims: tuple[str, ...],
    survive_loss: bool,
    time_limit: float | None,
    pessimism: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Place water stations for a procession, and play the day.

    EVENT is a folder that holds event.toml, fleet.csv or mix.csv, sites.csv, and where wanted
    hard_standing.csv, bridges.csv and trucks.csv. Exit codes as for plan.

    \b
    Example:
      haulplan stations scenarios/sallowby-harvest --survive-loss --out sallowby
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.stations import stations_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.stations_terminal import render_stations  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.stations import organise, read_event  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the event")
        read = read_event(event)
        found = organise(
            read,
            aims=[cast("Aim", aim.replace("-", " ")) for aim in aims] or None,
            losses=survive_loss,
            pessimism=None if pessimism is None else pessimism / 100,
            time_limit=time_limit,
            say=say,
        )
        system = UNIT_SYSTEMS[units or read.file.units]
        if out is not None:
            say("drawing the outputs")
            write_outputs(out, stations_outputs(found, system), force=force)
    console().print(render_stations(found, system))
    if out is not None:
        left_out = "" if found.course.route.line is not None else " (no map: no coordinates)"
        console().print(f"Written to {out}{left_out}", markup=False)
