"""`haulplan phone`."""

from pathlib import Path

import click

from haulplan.cli.running import console, debug_option, progress, read_problem, units_option

__all__ = ["phone"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out", metavar="FOLDER", required=True, type=click.Path(path_type=Path),
    help="Folder to write phone.html into.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Replace an earlier page in that folder.")
@units_option
@debug_option
def phone(scenario: Path, out: Path, force: bool, units: str | None, debug: bool) -> None:
    """The plan as a page for a phone with no signal.

    One file. Enter where you are and what the dip says: it answers go on or turn back, how far the
    tank lasts and how the day runs against the plan, and keeps the log.

    \b
    Example:
      haulplan phone scenarios/hobmere-penniford --out pocket
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.phone import draw_phone  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.plan import make_plan  # noqa: PLC0415  lazy start
    from haulplan.replay import replay  # noqa: PLC0415  lazy start
    from haulplan.underway.task import Task  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units)
        say("planning")
        plan = make_plan(read, route, demand)
        task = Task(scenario=read, route=route, demand=demand)
        page = draw_phone(task, plan, replay(read, route, demand, plan))
        write_outputs(out, {"phone.html": page}, force=force)
    console().print(f"Written to {out}", markup=False)
