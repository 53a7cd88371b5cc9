"""`haulplan compare`."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from haulplan.cli.running import debug_option, progress, show, units_option

__all__ = ["compare"]


@click.command()
@click.argument("scenarios", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option(
    "--with",
    "altered",
    multiple=True,
    metavar="'[NAME:] KEY = VALUE; ...'",
    help="A variant: keys of scenario.toml altered. VALUE is written as there, without "
    "quotes; 'plus 100 US gal', 'minus', 'times 1.25' tell it from the one that stands "
    "there, 'none' leaves the key out. train.wagons[2] is one of a list, [*] each. Again "
    "for another variant.",
)
@click.option(
    "--over",
    multiple=True,
    metavar="'KEY = A, B, C'",
    help="A variant for each value of one key, also as 'FIRST to LAST by STEP'; what follows "
    "a semicolon is altered in each.",
)
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write compare.html, compare.svg and compare.csv into.",
)
@click.option("--force", is_flag=True, help="Replace an earlier comparison in that folder.")
@click.option(
    "--workers",
    metavar="NUMBER",
    type=click.IntRange(min=1, max=64),
    help="Processes to plan in; one for each core where not given.",
)
@click.option(
    "--time-limit",
    metavar="SECONDS",
    type=click.FloatRange(min=0.1),
    help="Most seconds for the solver, each variant by itself.",
)
@units_option
@debug_option
def compare(
    scenarios: tuple[Path, ...],
    altered: tuple[str, ...],
    over: tuple[str, ...],
    out: Path | None,
    force: bool,
    workers: int | None,
    time_limit: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Plan variants of a scenario side by side.

    Variants are scenarios as they stand, altered, or with one key taken through values.
    Each is read, checked, planned and proved by itself; where there is no plan its row says
    so. Exit code 0: at least one plan. 1: none. 2: bad input.

    \b
    Example:
      haulplan compare scenarios/hobmere-penniford \\
        --with "lighter: train.wagons[*].load = times 0.5" \\
        --over "stores.tank = 250 to 400 by 50 US gal"
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.compare import compare as plan_all  # noqa: PLC0415  lazy start
    from haulplan.compare import variants_of  # noqa: PLC0415  lazy start
    from haulplan.errors import NoPlanError  # noqa: PLC0415  lazy start
    from haulplan.outputs.compare import differences, render_comparison  # noqa: PLC0415  lazy start
    from haulplan.outputs.compare_chart import compare_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    variants = variants_of(scenarios, altered, over)
    if workers is None:  # starting a process takes about as long as planning once
        workers = max(min(os.cpu_count() or 1, len(variants) // 2), 1)
    with _counted(len(variants)) as done:
        found = plan_all(
            variants, units=units, time_limit=time_limit, workers=workers, progress=done
        )
    system = UNIT_SYSTEMS[units or found[0].units]
    if all(one.tally is None for one in found):
        raise NoPlanError("no variant has a plan\n" + "\n".join(differences(found, system)))
    if out is not None:
        write_outputs(out, compare_outputs(found, system), force=force)
    show(render_comparison(found, system), out)


@contextmanager
def _counted(count: int) -> Iterator[Callable[[int], None]]:
    """A bar on the terminal's error stream, and nothing where it is none."""
    if count < 3 or not sys.stderr.isatty():
        with progress() as say:
            say("planning the variants")
            yield lambda _: None
        return
    from rich.console import Console  # noqa: PLC0415  lazy start
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn  # noqa: PLC0415  lazy start

    columns = (TextColumn("planning"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("planning", total=count)
        yield lambda done: bar.update(task, completed=done)
