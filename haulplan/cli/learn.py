"""`haulplan learn`."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from haulplan.cli.running import console, debug_option, progress, read_problem, units_option
from haulplan.errors import InputError, Problem

if TYPE_CHECKING:
    from haulplan.demand import Demand
    from haulplan.route import Route
    from haulplan.scenario import Scenario

__all__ = ["learn"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.argument("logs", nargs=-1, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--write", is_flag=True, help="Put the factors into the scenario's [engine].")
@click.option(
    "--template", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False),
    help="Write an empty log for this plan, a CSV, and print it; no logs are read.",
)  # fmt: skip
@units_option
@debug_option
def learn(
    scenario: Path,
    logs: tuple[Path, ...],
    write: bool,
    template: Path | None,
    units: str | None,
    debug: bool,
) -> None:
    """Learn the engine's thirst from logs of this road.

    Water and coal, with how sure. Give every log there is each time: what was learned
    before is put aside, so the same logs teach the same again. One short log moves little.
    With --write the factors go into scenario.toml, comments kept, and every plan uses them;
    their spread stands for that of the defaults where a pessimism is asked for.

    \b
    Example:
      haulplan learn scenarios/hobmere-penniford --template log.csv
      haulplan learn scenarios/hobmere-penniford log-may.csv log-june.csv --write
    """  # noqa: D301  click reads the mark as it stands
    if bool(logs) is (template is not None):
        raise click.UsageError("give logs, or --template with a file to write")
    with progress() as say:
        say("reading the scenario")
        read, route, demand = read_problem(scenario, units)
        if template is not None:
            page: object = _template(read, route, demand, template)
        else:
            say("setting the logs beside the model")
            page = _lessons(read, route, logs, write=write)
    console().print(page, markup=False)
    if template is not None or write:
        name = template if template is not None else scenario / "scenario.toml"
        console().print(f"Written to {name}", markup=False)


def _template(read: "Scenario", route: "Route", demand: "Demand", path: Path) -> object:
    """Write an empty log and draw it for paper."""
    from haulplan.errors import NoPlanError  # noqa: PLC0415  lazy start
    from haulplan.outputs.lessons import render_template  # noqa: PLC0415  lazy start
    from haulplan.plan import make_plan  # noqa: PLC0415  lazy start
    from haulplan.underway.keep import write_new  # noqa: PLC0415  lazy start
    from haulplan.underway.log import log_template  # noqa: PLC0415  lazy start

    try:
        plan = make_plan(read, route, demand)
        stops = [(stop.name, stop.distance) for stop in plan.stops]
    except NoPlanError:  # a log can be kept all the same
        stops = [(read.file.start, 0.0), (read.file.finish, route.length)]
    text = log_template(read, stops)
    write_new(path, text)
    return render_template(text)


def _lessons(read: "Scenario", route: "Route", logs: tuple[Path, ...], *, write: bool) -> object:
    from haulplan.outputs.lessons import render_lessons  # noqa: PLC0415  lazy start
    from haulplan.underway.keep import keep_lessons  # noqa: PLC0415  lazy start
    from haulplan.underway.log import read_logs  # noqa: PLC0415  lazy start
    from haulplan.underway.recorded import known_factors, reserve_advice  # noqa: PLC0415
    from haulplan.underway.recorded import learn as teach  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    runs = read_logs(logs, read, route)
    lessons = teach(read, route, runs)
    advice = reserve_advice(read, route, lessons)
    if write:
        if read.demand:
            raise InputError(
                [
                    Problem(
                        file="demand.csv", where="", found="use is given, not reckoned",
                        remedy="mend its figures by the ratios shown without --write",
                    )
                ]
            )  # fmt: skip
        keep_lessons(read.folder / "scenario.toml", lessons)
    return render_lessons(lessons, known_factors(read), advice, UNIT_SYSTEMS[read.file.units])
