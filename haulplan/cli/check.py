"""`haulplan check`."""

from pathlib import Path

import click

from haulplan.cli.running import debug_option, progress, read_problem, show, units_option

__all__ = ["check"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@units_option
@debug_option
def check(
    scenario: Path,
    units: str | None,
    debug: bool,
) -> None:
    """Explain a scenario in plain words, without planning it.

    Tells engine, train, reach of a tank, days, supplies and bridges; what is assumed, with
    what it is worth on this road; what is not confirmed and what is not known.

    \b
    Example:
      haulplan check scenarios/hobmere-penniford
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.check import render_check  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units)
    system = UNIT_SYSTEMS[read.file.units]
    show(render_check(read, route, demand, system))
