"""`haulplan ways`."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haulplan.cli.running import console, debug_option, pessimism_option, progress, units_option

if TYPE_CHECKING:
    from haulplan.outputs.ways import Compared
    from haulplan.scenario import Scenario
    from haulplan.units import UnitSystem

__all__ = ["ways"]


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Folder to write the chosen way into: an ordinary scenario with its plan, ways.csv, "
    "ways.html, turns.csv and bans.csv.",
)
@click.option("--force", is_flag=True, help="Replace an earlier choice in that folder.")
@click.option(
    "--closed", multiple=True, metavar="ROAD", help="A road closed on the day: name, number or id."
)
@click.option("--via", multiple=True, metavar="PLACE", help="A place to be passed; in order.")
@click.option(
    "--count", metavar="NUMBER", type=click.IntRange(1, 5), default=3, show_default=True,
    help="Most ways to show side by side.",
)  # fmt: skip
@click.option("--back", is_flag=True, help="The way back: from the finish to the start.")
@click.option(
    "--aim",
    type=click.Choice(["earliest", "cheapest", "fewest-stops"]),
    help="What to be best at; the scenario's own where not given.",
)
@click.option(
    "--time-limit", metavar="SECONDS", type=click.FloatRange(min=0.1),
    help="Most seconds for the search; the gap is then stated.",
)  # fmt: skip
@pessimism_option
@units_option
@debug_option
def ways(  # noqa: PLR0913, PLR0917  click hands over each option
    scenario: Path,
    out: Path | None,
    force: bool,
    closed: tuple[str, ...],
    via: tuple[str, ...],
    count: int,
    back: bool,
    aim: str | None,
    time_limit: float | None,
    pessimism: float | None,
    units: str | None,
    debug: bool,
) -> None:
    """Choose the way together with its stops.

    Other ways are shown beside it. The scenario names its roads as route.network: a folder
    with nodes.csv and roads.csv, a GeoJSON file, or an OpenStreetMap extract with heights
    in route.heights. Roads the engine may not use are left out; bans.csv says why.

    \b
    Example:
      haulplan ways scenarios/ellersby-coldwater --closed "River Road" --out ellersby
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.outputs.ways import render_ways  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import write_outputs  # noqa: PLC0415  lazy start
    from haulplan.roads import turned_back  # noqa: PLC0415  lazy start
    from haulplan.scenario import read_scenario  # noqa: PLC0415  lazy start
    from haulplan.scenario.schema import Aim  # noqa: PLC0415  lazy start
    from haulplan.units import UNIT_SYSTEMS  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reading the scenario")
        read = read_scenario(scenario)
        if units is not None:
            read = replace(read, file=read.file.model_copy(update={"units": units}))
        if aim is not None:
            wanted = Aim.model_validate({"first": aim.replace("-", " ")})
            read = replace(read, file=read.file.model_copy(update={"aim": wanted}))
        if back:
            read = turned_back(read)
        compared = _compare(read, via, closed, count, time_limit, pessimism, say)
        system = UNIT_SYSTEMS[read.file.units]
        if out is not None:
            say("drawing the outputs")
            write_outputs(out, _files(compared, system), force=force)
    console().print(render_ways(compared, system))
    if out is not None:
        console().print(f"Written to {out}", markup=False)


def _compare(
    scenario: "Scenario",
    via: tuple[str, ...],
    closed: tuple[str, ...],
    count: int,
    time_limit: float | None,
    pessimism: float | None,
    say: Callable[[str], None],
) -> "Compared":
    from haulplan.outputs.ways import Compared  # noqa: PLC0415  lazy start
    from haulplan.roads import choose_way, prepare  # noqa: PLC0415  lazy start
    from haulplan.roads.others import account_of, different_ways  # noqa: PLC0415  lazy start
    from haulplan.roads.steer import turns_of  # noqa: PLC0415  lazy start

    share = None if pessimism is None else pessimism / 100
    say("reading the roads")
    quest = prepare(scenario, via=via, closed=closed, pessimism=share)
    chosen = choose_way(quest, time_limit=time_limit, progress=say)
    found = different_ways(quest, chosen, count, progress=say)
    usual = None
    if closed:
        say("looking at the way with no road closed")
        unhindered = prepare(scenario, via=via, pessimism=share)
        best = choose_way(unhindered, time_limit=time_limit, progress=say).best
        usual = account_of(unhindered, best)
    return Compared(
        quest=quest,
        chosen=chosen,
        ways=found,
        accounts=tuple(account_of(quest, way) for way in found),
        turns=turns_of(quest, found[0]),
        usual=usual,
    )


def _files(compared: "Compared", system: "UnitSystem") -> dict[str, str | bytes]:
    from haulplan.outputs import all_outputs  # noqa: PLC0415  lazy start
    from haulplan.outputs.folder import scenario_files  # noqa: PLC0415  lazy start
    from haulplan.outputs.ways import bans_csv, springs_csv, turns_csv, ways_csv  # noqa: PLC0415  lazy start
    from haulplan.outputs.ways_map import draw_ways  # noqa: PLC0415  lazy start

    best = compared.ways[0]
    driven = best.driven
    return {
        **scenario_files(compared),
        **all_outputs(driven.scenario, driven.route, best.plan, best.trace, system, best.demand),
        "ways.csv": ways_csv(compared, system),
        "ways.html": draw_ways(compared, system),
        "turns.csv": turns_csv(compared, system),
        "bans.csv": bans_csv(compared.quest, system),
        "springs.csv": springs_csv(compared, system),
    }
