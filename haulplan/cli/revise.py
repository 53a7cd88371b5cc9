"""`haulplan revise`."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haulplan.cli.running import console, debug_option, progress, read_problem, units_option

if TYPE_CHECKING:
    from haulplan.underway.sofar import OldStop
    from haulplan.underway.task import Task

__all__ = ["revise"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--at", metavar="PLACE", required=True, help="How far along the road, as '11.2 mi', or a place."
)
@click.option(
    "--time", "clock", metavar="CLOCK", help="Time now, as 10:40; the plan's where not given."
)
@click.option(
    "--day",
    metavar="NUMBER",
    type=click.IntRange(1, 60),
    help="Day of the run that time is of; the one nearest to the plan where not given.",
)
@click.option(
    "--water",
    metavar="LEVEL",
    help="What the dip says: '1/3', '35 %', '110 US gal'; the plan's if not given.",
)
@click.option(
    "--coal",
    metavar="LEVEL",
    help="What the bunkers hold: '1/2', '240 lb'; the plan's where not given.",
)
@click.option(
    "--cart",
    metavar="LEVEL",
    help="What the water cart holds, as the dip; the plan's if not given.",
)
@click.option(
    "--arriving/--leaving",
    "arriving",
    default=None,
    help="Whether what the plan does at this stop is still to do, or done; judged by dip and "
    "clock where not given.",
)
@click.option(
    "--shut",
    metavar="STOP",
    multiple=True,
    help="A stop where nothing is to be had. May be repeated.",
)
@click.option(
    "--closed-road", "closed", metavar="STRETCH", help="A closed stretch, as '13 mi to 14.5 mi'."
)
@click.option("--detour", metavar="LENGTH", help="Length of the way round it, as '4.2 mi'.")
@click.option("--weather", type=click.Choice(["dry", "wet", "mud", "frost"]), help="As it is now.")
@click.option(
    "--drop",
    "dropped",
    metavar="WAGON",
    multiple=True,
    help="A wagon left behind, by name. May be repeated.",
)
@click.option(
    "--thirst", metavar="PERCENT", type=click.FloatRange(min=-50, max=100), default=0.0,
    help="Per cent more water and coal than reckoned, for the rest of the day.",
)  # fmt: skip
@click.option(
    "--plan", "plan_file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False),
    help="plan.json of the plan that was; planned again where not given.",
)  # fmt: skip
@units_option
@debug_option
def revise(
    scenario: Path,
    plan_file: Path | None,
    units: str | None,
    debug: bool,
    arriving: bool | None,
    **words: Any,  # noqa: ANN401  click checks them
) -> None:
    """The best for the rest of a run, from here and this dip.

    Says whether to go on or turn back to known water, the last point where turning back
    still works, the stops from here, and what is different from the plan. Exit code 1:
    no way on and none back.

    \b
    Example:
      haulplan revise scenarios/hobmere-penniford --at "11.2 mi" --time 10:40 --water 1/3
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.underway import render_revision  # noqa: PLC0415  lazy start
    from haulplan.underway.asked import Asked, understand  # noqa: PLC0415  lazy start
    from haulplan.underway.revise import revise as answer  # noqa: PLC0415  lazy start
    from haulplan.underway.task import Task  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units)
        task = Task(scenario=read, route=route, demand=demand)
        say("looking up the plan")
        task, old = _old(task, plan_file)
        asked = Asked(leaving=None if arriving is None else not arriving, **words)
        reading, change = understand(task, asked, old)
        say("revising")
        revision = answer(task, reading, change, old=old)
    console().print(render_revision(read, revision, UNIT_SYSTEMS[read.file.units]))
    if revision.verdict == "stay":
        raise click.exceptions.Exit(1)


def _old(task: "Task", plan_file: Path | None) -> "tuple[Task, tuple[OldStop, ...]]":
    from haulplan.plan import make_plan  # noqa: PLC0415  lazy start
    from haulplan.underway.asked import read_plan  # noqa: PLC0415  lazy start
    from haulplan.underway.sofar import old_stops  # noqa: PLC0415  lazy start
    from haulplan.underway.task import as_planned  # noqa: PLC0415  lazy start

    if plan_file is not None:
        return read_plan(plan_file, task)
    plan = make_plan(task.scenario, task.route, task.demand)
    return as_planned(task, plan), old_stops(plan)
