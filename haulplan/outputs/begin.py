"""What `haulplan begin` shows: whether it plans, what is to be found, what is not known."""

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from haulplan.begin import Begun
from haulplan.begin.folder import MARK
from haulplan.outputs.tables import clock_text, plain
from haulplan.scenario.schema import Supply
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["next_steps", "render_begun"]

_MOST_MARKS = 8


def render_begun(begun: Begun) -> "Group":
    """What was begun, in the order in which a crew must act.

    Parameters
    ----------
    begun
        The scenario.

    Returns
    -------
    group
        For a rich console; readable at 80 columns.
    """
    from rich.console import Group  # noqa: PLC0415  lazy start
    from rich.text import Text  # noqa: PLC0415  lazy start

    system = begun.draft.system
    parts: list[RenderableType] = [Text(plain(begun.scenario.file.title), style="bold")]
    parts += [Text(line) for line in _summary(begun, system)]
    if begun.wanted:
        parts += [
            Text(), Text("To find: nobody knows of water or coal there, and the plan needs it",
                         style="bold"),
            _supplies(begun, begun.wanted, system, found=False),
        ]  # fmt: skip
    if begun.read:
        parts += [
            Text(), Text("Told from the marks by their words: ask who owns each", style="bold"),
            _supplies(begun, begun.read, system, found=True),
        ]  # fmt: skip
    if begun.left_out:
        parts += [Text(), Text("Marks left out, too far off the road (--snap takes them in)",
                               style="bold")]  # fmt: skip
        parts += [Text(f" - {line}") for line in _left_out(begun, system)]
    if begun.open:
        parts += [
            Text(), Text("Not known yet, what matters most first", style="bold"), _open(begun),
        ]  # fmt: skip
    parts += [Text(f"Assumed besides: {', '.join(_besides(begun))}")]
    parts += [Text(f"warning: {plain(line)}") for line in _warnings(begun)]
    return Group(*parts)


def next_steps(folder: Path) -> list[str]:
    """What to do with the folder: lines to be printed as they are, for commands to be copied.

    Parameters
    ----------
    folder
        Where the scenario is written.

    Returns
    -------
    lines
        Commands by themselves.

    Examples
    --------
    >>> next_steps(Path("my run"))[1]
    "  haulplan check 'my run'"
    """
    name, out = (shlex.quote(plain(str(f))) for f in (folder, f"{folder}-plan"))
    return [
        f"Put your own figures where scenario.toml says {MARK}. Next:",
        f"  haulplan check {name}",
        f"  haulplan plan {name} --out {out}",
    ]


def _summary(begun: Begun, system: UnitSystem) -> Iterator[str]:
    length = system.distance.text(begun.route.length)
    if begun.level:
        yield f"Road {length}. No heights are known: it is driven as level, which no road is."
    else:
        yield f"Road {length}."
    if begun.draft.lightened:
        train = system.mass.text(begun.draft.train)
        yield f"The train usually assumed does not climb it; taken is one of {train}. Say --train."
    plan = begun.plan
    if plan is None:
        yield "It does not plan yet: see the error below."
        return
    count = len(plan.stops) - 2
    stops = "no stop" if count == 0 else "1 stop" if count == 1 else f"{count} stops"
    leave, arrive = clock_text(plan.stops[0].depart), clock_text(plan.arrival)
    yield f"It plans: leave {leave}, {stops}, arrive {arrive}. The plan was driven to its end."


def _supplies(
    begun: Begun, supplies: Sequence[Supply], system: UnitSystem, *, found: bool
) -> "Table":
    from rich.table import Table  # noqa: PLC0415  lazy start
    from rich.text import Text  # noqa: PLC0415  lazy start

    table = Table(box=None, pad_edge=False)
    table.add_column(f"At {system.distance.label}", justify="right")
    table.add_column("Place" if found else "What")
    table.add_column("Read as" if found else "How much, at least")
    for supply in supplies:
        met = [p.distance for p in begun.route.passings
               if p.kind == "supply" and p.name == supply.name]  # fmt: skip
        at = ", ".join(system.distance.number(distance) for distance in met)
        what = " and ".join(
            word for word in ("water", "coal") if getattr(supply, f"{word}_available") is not None
        )
        if found:
            cells = (supply.name, f"{what} ({supply.kind})")
        else:
            note = (supply.note or "").partition("at least about ")[2]
            cells = (what, note.partition(", and its owner")[0])
        table.add_row(at, *(Text(plain(cell)) for cell in cells))
    return table


def _left_out(begun: Begun, system: UnitSystem) -> Iterator[str]:
    """The nearest marks that do not lie on the road."""
    rows = sorted(begun.left_out, key=lambda row: row[1])
    for name, off in rows[:_MOST_MARKS]:
        unit = system.height if off < 2000 else system.distance
        yield f"{plain(name)}: {unit.text(off)} off"
    if len(rows) > _MOST_MARKS:
        yield f"{len(rows) - _MOST_MARKS} more, farther off"


def _warnings(begun: Begun) -> list[str]:
    """What is odd about road and plan, but for supplies that are listed above."""
    of_plan = begun.plan.warnings if begun.plan is not None else ()
    listed = tuple(f"{s.name}: " for s in (*begun.read, *begun.wanted))
    every = dict.fromkeys((*begun.route.warnings, *of_plan))
    return [line for line in every if not line.startswith(listed)]


def _open(begun: Begun) -> "Table":
    from rich.table import Table  # noqa: PLC0415  lazy start

    unit = begun.draft.system.distance
    table = Table(box=None, pad_edge=False)
    table.add_column("What")
    table.add_column("Taken")
    table.add_column("May be")
    table.add_column(f"A filling goes, {unit.label}", justify="right")
    for row in begun.open:
        reach = f"{unit.number(row.low)} to {unit.number(row.high)}"
        if row.low <= 0:
            reach = f"does not climb to {unit.number(row.high)}"
        if row.high <= 0:
            reach = "does not climb"
        table.add_row(row.what, row.taken, row.between, f"{reach} ({row.store})")
    return table


def _besides(begun: Begun) -> list[str]:
    """Marked keys that are not in the table of bands."""
    told = {row.what for row in begun.open} | {"train.wagons"}
    keys = []
    for line in begun.draft.lines:
        section = line.section.strip("[]")
        key = f"{section}.{line.key}" if section else line.key
        if line.origin in ("class", "assumed") and not line.silent and not (
            {key, section} & told
        ):  # fmt: skip
            keys.append(key)
    return keys
