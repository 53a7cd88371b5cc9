"""Two revisions of a plan side by side, for a terminal."""

from typing import TYPE_CHECKING

from haulplan.outputs.tables import clock_text, plain
from haulplan.plan.changes import Revision, StopChange, Visit, compare_stops
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["render_changes"]


def render_changes(old: Revision, new: Revision, system: UnitSystem) -> "Group":
    """What a new revision of a plan changes, for a terminal of at least 80 columns.

    Parameters
    ----------
    old, new
        The revisions.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.text import Text  # noqa: PLC0415  as above

    rows = [(change, _words(change, system)) for change in compare_stops(old, new)]
    changed = [(change, words) for change, words in rows if words]
    parts: list[RenderableType] = [Text(plain(new.title), style="bold")]
    parts += [Text(line) for line in _whole(old, new)]
    if changed:
        parts += [Text(), _table(changed, system)]
    same = len(rows) - len(changed)
    parts += [Text(), Text(f"{'1 stop' if same == 1 else f'{same} stops'} as before")]
    return Group(*parts)


def _whole(old: Revision, new: Revision) -> list[str]:
    """What is so of the whole plan, the old figure and the new where they differ."""

    def line(name: str, before: str, after: str, much: str = "") -> str:
        same = before == after
        return f"{name}: {plain(after)}" if same else (
            f"{name}: {plain(before)} before, {plain(after)} now{much}"
        )  # fmt: skip

    minutes = round((new.arrive - old.arrive) / 60)
    later = f" ({_span(minutes)} {'later' if minutes > 0 else 'sooner'})"
    lines = [line("Title", old.title, new.title)] if old.title != new.title else []
    return [
        *lines,
        line("Date", old.date, new.date),
        line("Aim", old.aim, new.aim),
        line("Leave", clock_text(old.depart), clock_text(new.depart)),
        line("Arrive", clock_text(old.arrive), clock_text(new.arrive), later),
        line("Days", str(old.days), str(new.days)),
        line("Stops", str(len(old.visits)), str(len(new.visits))),
        line("To pay", f"{old.money:,.2f} {old.currency}", f"{new.money:,.2f} {new.currency}"),
    ]


def _span(minutes: int) -> str:
    hours, rest = divmod(abs(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def _words(change: StopChange, system: UnitSystem) -> str:
    """What is new of a stop; empty where nothing that is shown is."""
    old, new = change.old, change.new
    if old is None:
        return "added"
    if new is None:
        return "dropped"
    minutes = round((new.arrive - old.arrive) / 60)
    parts = []
    if minutes:
        parts.append(f"{_span(minutes)} {'later' if minutes > 0 else 'earlier'}")
    if round((new.leave - old.leave) / 60) != minutes:
        stay = round((new.leave - new.arrive - old.leave + old.arrive) / 60)
        parts.append(f"stays {_span(stay)} {'longer' if stay > 0 else 'less'}")
    for name, unit, before, after in (
        ("water", system.water, old.water, new.water), ("coal", system.coal, old.coal, new.coal),
    ):  # fmt: skip
        if unit.number(before) != unit.number(after):
            more = "more" if after > before else "less"
            parts.append(f"{unit.text(abs(after - before))} of {name} {more}")
    return ", ".join(parts)


def _table(changed: list[tuple[StopChange, str]], system: UnitSystem) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415  as above
    from rich.text import Text  # noqa: PLC0415  as above

    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    table.add_column("Stop")
    for title in (
        f"At\n{system.distance.label}", "Arrive\nbefore", "Arrive\nnow",
        f"Water\n{system.water.label}", f"Coal\n{system.coal.label}",
    ):  # fmt: skip
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Change")
    for change, words in changed:
        visit = change.new or change.old
        assert visit is not None
        table.add_row(
            Text(plain(visit.name)),
            system.distance.number(visit.distance),
            _arrives(change.old),
            _arrives(change.new),
            "" if change.new is None else system.water.number(visit.water),
            "" if change.new is None else system.coal.number(visit.coal),
            words,
        )
    return table


def _arrives(visit: Visit | None) -> str:
    return "" if visit is None else clock_text(visit.arrive)
