"""`haulplan reconstruct`."""

from pathlib import Path

import click

from haulplan.cli.running import console, debug_option, progress, units_option

__all__ = ["reconstruct"]


@click.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write report.html, tables (CSV) and charts (SVG) into.",
)
@click.option("--force", is_flag=True, help="Replace an earlier report in that folder.")
@click.option(
    "--run",
    "folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="New folder for the likely run: a scenario for each stage, ready for 'haulplan plan'.",
)
@click.option(
    "--seed", metavar="NUMBER", type=click.IntRange(min=0), default=1, help="Of the sampling; 1."
)
@click.option(
    "--draws",
    metavar="NUMBER",
    type=click.IntRange(min=1000, max=2_000_000),
    default=100_000,
    help="Combinations to try; 100000.",
)
@click.option("--no-plan", is_flag=True, help="Leave the likely run out: quicker.")
@units_option
@debug_option
def reconstruct(
    record: Path,
    out: Path | None,
    force: bool,
    folder: Path | None,
    seed: int,
    draws: int,
    no_plan: bool,
    units: str | None,
    debug: bool,
) -> None:
    """Ask what a recorded trip implies, and how it was run.

    Says whether the record can be true. RECORD is a TOML file that keeps the source's own
    words: which ton, gallon or day is meant stays open, and every reading is weighed.
    Oddities are named; a clean record has none.

    \b
    Example:
      haulplan reconstruct scenarios/sallow-flat-1907/record.toml --out sallow-flat
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.history import history_outputs, render_history  # noqa: PLC0415
    from haulplan.outputs.write import write_folders, write_outputs  # noqa: PLC0415  lazy start
    from haulplan.period import read_and_reconstruct  # noqa: PLC0415  lazy start
    from haulplan.period.run import run_files  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    planned = not no_plan or folder is not None
    with progress() as say:
        found = read_and_reconstruct(record, count=draws, seed=seed, planned=planned, progress=say)
        system = UNIT_SYSTEMS[units or found.record.file.units]
        if out is not None:
            say("drawing the report")
            write_outputs(out, history_outputs(found, system), force=force)
        if folder is not None:
            write_folders(folder, run_files(found.variants))
    console().print(render_history(found, system))
    for written in (out, folder):
        if written is not None:
            console().print(f"Written to {written}", markup=False)
