"""`haulplan demos`."""

from pathlib import Path

import click

from haulplan.cli.running import debug_option

__all__ = ["demos"]


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@debug_option
def demos(folder: Path, debug: bool) -> None:
    """Write the invented demos into a new folder.

    The guides and the examples of every help use them under the name 'scenarios'. Each
    has a README that tells its story.

    \b
    Example:
      haulplan demos scenarios
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.guides import copy_demos  # noqa: PLC0415  lazy start

    for name in copy_demos(folder):
        click.echo(folder / name)
