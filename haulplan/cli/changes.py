"""`haulplan changes`."""

from pathlib import Path

import click

from haulplan.cli.running import console, debug_option, units_option

__all__ = ["changes"]


@click.command()
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@units_option
@debug_option
def changes(old: Path, new: Path, units: str | None, debug: bool) -> None:
    """Compare two revisions of a plan.

    OLD and NEW are plan.json files, as `haulplan plan --out` writes them. Exit code 0:
    compared. 2: one of them is no plan.json.

    \b
    Example:
      haulplan changes friday/plan.json saturday/plan.json --units metric
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.changes import render_changes  # noqa: PLC0415  lazy start
    from haulplan.plan.changes import read_revision  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    system = UNIT_SYSTEMS[units or "us"]
    console().print(render_changes(read_revision(old), read_revision(new), system))
