"""`haulplan begin`."""

import datetime as dt
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haulplan.cli.running import debug_option, progress, show
from haulplan.errors import InputError

if TYPE_CHECKING:
    from haulplan.begin import Asked

__all__ = ["begin"]


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--track",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The road: a GPX track or route, or a table (.csv) of distance and elevation.",
)
@click.option(
    "--way",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The road typed as places: a table (.csv) of place, at, height, surface, water, or "
    "a record (.toml) with an itinerary. Heights may be left out.",
)
@click.option(
    "--only", metavar="NAME", help="Name of the one track wanted from a GPX file of several."
)
@click.option("--engine", metavar="CLASS", help="Engine class, one of those above.")
@click.option("--engine-name", metavar="NAME", help="What the engine is called.")
@click.option(
    "--train", metavar="WEIGHT", help="Weight behind the engine, loads and all, or 'none'."
)
@click.option(
    "--tank",
    metavar="AMOUNT",
    help="Usable water, as in '350 imp gal'; usual for the class if not said.",
)
@click.option(
    "--bunker",
    metavar="AMOUNT",
    help="Usable coal, as in '900 lb'; usual for the class if not said.",
)
@click.option("--fuel", metavar="NAME", help="Fuel by name, as in 'welsh-steam-coal'.")
@click.option(
    "--surface", metavar="NAME", help="Surface of the road, as in 'macadam'; asphalt if not said."
)
@click.option(
    "--snap", metavar="DISTANCE", help="How far off the road a mark may lie; '120 m' if not said."
)
@click.option(
    "--longest-gap",
    metavar="DISTANCE",
    help="Longest gap in the track driven straight; '2 km' if not said.",
)
@click.option("--date", metavar="DATE", help="Day of the run, as in 2027-05-22.")
@click.option("--depart", metavar="CLOCK", help="Clock at the start, as in 07:30.")
@click.option("--units", metavar="SYSTEM", help="Units to write and show: us, imperial or metric.")
@click.option("--title", metavar="WORDS", help="Title of the run.")
@click.option("--from", "start", metavar="NAME", help="Name of the start.")
@click.option("--to", "finish", metavar="NAME", help="Name of the finish.")
@click.option("--no-questions", is_flag=True, help="Ask nothing; take what is usual.")
@click.option("--force", is_flag=True, help="Replace what begin wrote there before, and all "
              "that was changed in it.")  # fmt: skip
@debug_option
def begin(
    folder: Path,
    track: Path | None,
    way: Path | None,
    no_questions: bool,
    force: bool,
    debug: bool,
    **said: str | None,
) -> None:
    """Begin a scenario that plans from a track of the road.

    FOLDER is new. Whatever is not said is asked at a terminal (an empty answer takes what
    is usual), or assumed and marked TO REPLACE. Marks in the track that speak of water or
    coal become supplies; where they do not suffice, the fewest places to look for more are
    worked out.

    Exit code 0: written, and it plans. 1: written, and the reason why it does not plan
    yet. 2: bad input, nothing written.

    \b
    Engine classes:
      small-tractor          general-purpose-6      general-purpose-8
      road-locomotive        large-road-locomotive  road-roller
      farm-engine-65         farm-engine-110        wood-burning-engine
      steam-wagon            four-inch-scale

    \b
    Example:
      haulplan begin my-run --track scenarios/hobmere-penniford/route.gpx \\
        --engine small-tractor --date 2027-05-22
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.begin import BEGUN_NAMES, Asked  # noqa: PLC0415  lazy start
    from haulplan.begin import begin as begun_from  # noqa: PLC0415  lazy start
    from haulplan.outputs.begin import next_steps, render_begun  # noqa: PLC0415  lazy start
    from haulplan.outputs.write import check_outputs, write_outputs  # noqa: PLC0415  lazy start

    with _another_folder():  # before anybody answers questions
        check_outputs(folder, BEGUN_NAMES, force=force)
    asked = Asked(track=track, way=way, **said)
    if not no_questions and _at_terminal():
        asked = _questioned(asked)
    with progress() as say:
        begun = begun_from(asked, today=dt.date.today(), progress=say)
        with _another_folder():
            write_outputs(folder, begun.files, force=force, ours=BEGUN_NAMES)
    show(render_begun(begun), folder)
    for line in next_steps(folder):
        click.echo(line)
    if begun.refusal is not None:
        raise begun.refusal


@contextmanager
def _another_folder() -> Iterator[None]:
    """What is said of a folder that cannot be written, in the words of this command."""
    try:
        yield
    except InputError as error:
        raise InputError(
            replace(problem, remedy=problem.remedy.replace("--out", "FOLDER"))
            for problem in error.problems
        ) from None


def _at_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def _questioned(asked: "Asked") -> "Asked":
    """With answers to what matters and was not said; an empty one leaves it unsaid."""
    from haulplan.begin.ask import QUESTIONS  # noqa: PLC0415  lazy start

    for question in QUESTIONS:
        if not question.is_open(asked):
            continue
        for line in question.choices():
            click.echo(line)
        words, taken = question.words(asked), _taken(question.answer)
        answer = click.prompt(words, default="", show_default=False, value_proc=taken)
        if answer:
            asked = replace(asked, **{question.key: question.kept(answer)})
    return asked


def _taken(check: Callable[[str], str]) -> Callable[[str], str]:
    """Asks again, saying why, where an answer cannot be."""

    def take(answer: str) -> str:
        try:
            return check(answer)
        except InputError as error:
            raise click.UsageError(str(error)) from None

    return take
