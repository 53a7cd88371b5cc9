"""Answers for a crew on the road, on the terminal: a revision, lessons, drills."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import Cell, clock_text, frame_of, plain, to_csv, whole_minutes
from haulplan.underway.drills import Drill
from haulplan.underway.learn import Belief, Fit, noticed
from haulplan.underway.onward import Onward
from haulplan.underway.recorded import Compared, Lessons
from haulplan.underway.revise import Revision
from haulplan.underway.task import Reading
from haulplan.underway.turnback import Return
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table
    from rich.text import Text

__all__ = [
    "drill_row",
    "drills_csv",
    "render_drills",
    "render_lessons",
    "render_revision",
    "render_template",
]

_WORDS: Mapping[str, str] = {
    "go on": "GO ON",
    "go on into the reserve": "GO ON, INTO THE RESERVE: no way keeps it",
    "turn back": "TURN BACK",
    "stay": "STAND WHERE YOU ARE, and have water brought",
}
#: What a learned factor has to be below to be called known.
_KNOWN = 0.08


def _text(words: str, *, bold: bool = False) -> "Text":
    """Words as they stand: no markup is read in them."""
    from rich.text import Text  # noqa: PLC0415  slow to load

    return Text("\n".join(plain(line) for line in words.split("\n")), style="bold" if bold else "")


def _table(columns: Iterable[tuple[str, str]]) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415  slow to load

    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    for title, side in columns:
        table.add_column(title, justify="right" if side == ">" else "left", no_wrap=side == ">")
    return table


def _listed(items: Iterable[str]) -> "Table":
    from rich.table import Table  # noqa: PLC0415  slow to load

    grid = Table.grid(padding=(0, 1, 0, 0))
    for item in items:
        grid.add_row(_text(" -"), _text(item))
    return grid


def render_revision(
    title: str, reading: Reading, revision: Revision, tank: float, system: UnitSystem
) -> "Group":
    """A revision, the order first.

    Parameters
    ----------
    title
        Of the run.
    reading
        What was read.
    revision
        The answer.
    tank
        What a full one holds. [kg]
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    water, coal, road = system.water, system.coal, system.distance
    share = 100 * reading.water / tank
    parts: list[RenderableType] = [
        _text(title),
        _text(f"At {road.text(reading.distance)}, {clock_text(reading.clock)}: tank "
              f"{water.text(reading.water)} ({share:.0f} %), bunker {coal.text(reading.coal)}"),
    ]  # fmt: skip
    if revision.off_plan is not None:
        parts.append(_text(f"Against the plan here: {_off(revision.off_plan, system)}"))
    parts += [_text(""), _text(_order(revision), bold=True)]
    parts.append(_listed(_reasons(revision, system)))
    final = revision.after if revision.verdict == "turn back" else revision.ahead
    if final is not None:
        lead = "Then on from there" if revision.verdict == "turn back" else "The rest"
        parts += [_text(""), _text(lead, bold=True), _stops(final, system)]
    if revision.returns:
        parts += [_text(""), _text("Known water behind", bold=True)]
        parts.append(_returns(revision.returns, system))
    if revision.why_not:
        parts += [_text(""), _text("Why not as planned (distances from here)", bold=True)]
        parts.append(_listed(revision.why_not.removeprefix("no plan: ").splitlines()))
    parts += [_text(""), _text("Cautions", bold=True), _listed([*_TURNING, *CAUTIONS])]
    return Group(*parts)


_TURNING = (
    "Turn the train only where it can be turned and the road allows it; none of this knows "
    "the place.",
)


def _off(off: tuple[float, float, float], system: UnitSystem) -> str:
    late = whole_minutes(off[0])
    parts = [f"{abs(late)} min {'late' if late > 0 else 'early'}" if late else "on time"]
    for unit, value, name in ((system.water, off[1], "water"), (system.coal, off[2], "coal")):
        side = "less" if value < 0 else "more"
        number = unit.number(abs(value))
        parts.append(
            f"{number} {unit.label} {side} {name}" if number != "0" else f"{name} as planned"
        )
    return ", ".join(parts)


def _order(revision: Revision) -> str:
    words = _WORDS[revision.verdict]
    if revision.verdict == "turn back" and revision.back is not None:
        return f"{words} to {plain(revision.back.name)}"
    return words


def _reasons(revision: Revision, system: UnitSystem) -> list[str]:
    """Next action, last point, what changed, in the order a crew wants them."""
    reasons = []
    ahead, back = revision.ahead, revision.back
    if revision.verdict == "turn back" and back is not None:
        reasons.append(
            f"{plain(back.name)} is at {system.distance.text(back.distance)}: there "
            f"{clock_text(back.arrive)} with {system.water.text(back.water)} and "
            f"{system.coal.text(back.coal)}"
        )
    elif ahead is not None:
        reasons.append(_next(ahead, system))
        if ahead.reserve < 1.0:
            reasons.append(
                f"the tank falls to {system.water.text(ahead.lowest[0])} at "
                f"{system.distance.text(ahead.lowest[1])}"
            )
        for unit, lacking, name in zip(
            (system.water, system.coal), ahead.short, ("water", "coal"), strict=True
        ):
            if lacking > 0:
                reasons.append(f"at the finish {unit.text(lacking)} of {name} less than wanted")
    reasons += _last_point(back, system)
    reasons += [f"not stopped at any more: {plain(name)}" for name in revision.dropped]
    reasons += [f"new stop: {plain(name)}" for name in revision.added]
    if revision.late is not None:
        late = whole_minutes(revision.late)
        side = "later" if late > 0 else "earlier"
        reasons.append(
            f"the finish is reached {abs(late)} min {side} than planned"
            if late
            else "the finish is reached when planned"
        )
    return reasons


def _next(ahead: Onward, system: UnitSystem) -> str:
    here, following = ahead.calls[0], ahead.calls[1]
    takes = _takes(following.water, following.coal, system)
    if following.kind == "supply" and following.distance - here.distance <= 1.0:
        return f"take {takes} here"
    words = (
        f"next: {plain(following.name)}, at {system.distance.text(following.distance)}, "
        f"there {clock_text(following.arrive)} with {system.water.text(following.tank)} and "
        f"{system.coal.text(following.bunker)}"
    )
    return f"{words}; take {takes}" if following.kind == "supply" else words


def _takes(water: float, coal: float, system: UnitSystem) -> str:
    amounts = [
        f"{unit.text(amount)} of {name}"
        for unit, amount, name in ((system.water, water, "water"), (system.coal, coal, "coal"))
        if unit.number(amount) != "0"
    ]
    return " and ".join(amounts) or "nothing"


def _last_point(back: Return | None, system: UnitSystem) -> list[str]:
    if back is None:
        return ["known water behind: none, or the way back is not reckoned"]
    name, road = plain(back.name), system.distance
    if back.last is not None:
        return [f"last point to turn back to {name}, reserve kept: {road.text(back.last)}"]
    if back.bottom is not None:
        return [
            f"turning back to {name} eats into the reserve; tank empty there if turned at "
            f"{road.text(back.bottom)}"
        ]
    return ["too late to turn back to any known water"]


def _stops(onward: Onward, system: UnitSystem) -> "Table":
    water, coal, road = system.water, system.coal, system.distance
    table = _table(
        (
            (f"At\n{road.label}", ">"), ("Stop", "<"), ("Arrive", ">"), ("Leave", ">"),
            (f"Tank\n{water.label}", ">"), (f"Take\n{water.label}", ">"),
            (f"Bunker\n{coal.label}", ">"), (f"Take\n{coal.label}", ">"),
        )
    )  # fmt: skip
    for call in onward.calls:
        supply = call.kind == "supply"
        table.add_row(
            road.number(call.distance),
            _text(call.name[:60]),
            "" if call.kind == "start" else clock_text(call.arrive),
            "" if call.kind == "finish" else clock_text(call.depart),
            water.number(max(call.tank, 0.0)),
            water.number(call.water) if supply else "",
            coal.number(max(call.bunker, 0.0)),
            coal.number(call.coal) if supply else "",
        )
    return table


def _returns(returns: Sequence[Return], system: UnitSystem) -> "Table":
    water, coal, road = system.water, system.coal, system.distance
    table = _table(
        (
            ("Water", "<"), (f"At\n{road.label}", ">"), ("There\nat", ">"),
            (f"Tank\n{water.label}", ">"), (f"Bunker\n{coal.label}", ">"),
            (f"Last point\nreserve, {road.label}", ">"), (f"Last point\nempty, {road.label}", ">"),
        )
    )  # fmt: skip
    for one in returns:
        note = "" if one.open else "\n(closed then)"
        table.add_row(
            _text(f"{one.name[:60]}{note}"),
            road.number(one.distance),
            clock_text(one.arrive),
            water.number(max(one.water, 0.0)),
            coal.number(max(one.coal, 0.0)),
            "too late" if one.last is None else road.number(one.last),
            "too late" if one.bottom is None else road.number(one.bottom),
        )
    return table


def render_lessons(
    lessons: Lessons, known: Mapping[str, float], reserve: Sequence[str], system: UnitSystem
) -> "Group":
    """Predicted beside recorded, stretch by stretch, and what was learned.

    Parameters
    ----------
    lessons
        From the logs.
    known
        The factors in use, by "water" and "coal". [-]
    reserve
        What the learned spread says of the reserve, in lines.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    parts: list[RenderableType] = []
    for kind in ("water", "coal"):
        own = [one for one in lessons.stretches if one.span.kind == kind]
        if own:
            parts += [_text(f"{kind.capitalize()}, recorded beside reckoned", bold=True)]
            parts += [_compared(own, system), _text("")]
    for kind, fit in (("water", lessons.water), ("coal", lessons.coal)):
        parts += [
            _text(kind.capitalize(), bold=True),
            _listed(_fit(kind, fit, known[kind])),
            _text(""),
        ]
    if reserve:
        parts += [_text("Reserve", bold=True), _listed(reserve), _text("")]
    if lessons.notes:
        parts += [_text("How the logs were read", bold=True), _listed(lessons.notes), _text("")]
    return Group(*parts)


def _compared(own: Sequence[Compared], system: UnitSystem) -> "Table":
    unit = system.water if own[0].span.kind == "water" else system.coal
    road = system.distance
    table = _table(
        (
            ("Log", "<"), ("Rows", ">"), (f"From\n{road.label}", ">"), (f"To\n{road.label}", ">"),
            (f"Recorded\n{unit.label}", ">"), (f"Reckoned\n{unit.label}", ">"),
            ("Ratio", ">"), ("Weight", ">"), ("Remark", "<"),
        )
    )  # fmt: skip
    for one in own:
        table.add_row(
            _text(one.run[:24]),
            f"{one.span.rows[0]}-{one.span.rows[1]}",
            road.number(one.span.begin),
            road.number(one.span.end),
            unit.number(one.span.used),
            unit.number(one.reckoned),
            f"{one.ratio:.2f}",
            f"{one.weight:.1f}" if one.believed else "left out",
            _text(one.remark),
        )
    return table


def _fit(kind: str, fit: Fit | None, known: float) -> list[str]:
    if fit is None:
        return ["the logs hold nothing of it that can be used"]
    runs = "one run" if fit.runs == 1 else f"{fit.runs} runs"
    lines = [f"factor on the model: {_belief(fit.factor)}, from {runs}"]
    if noticed(fit, known):
        side = "thirstier" if fit.factor.typical > known else "thriftier"
        change = abs(100 * (fit.factor.typical / known - 1))
        lines.append(f"the engine is {side} than its file has it, by about {change:.0f} %")
    else:
        lines.append(f"nothing against the factor in use, {known:.2f}")
    for effect in fit.effects:
        sure = "" if effect.factor.sd < _KNOWN else "; little known yet"
        lines.append(
            f"{effect.name}: {_belief(effect.factor)}, in {effect.met} of its stretches{sure}"
        )
    lines.append(
        f"runs differ by {100 * fit.run_spread:.0f} %, stretches by {100 * fit.leg_spread:.0f} % "
        f"(one standard deviation); spread for the next run {100 * fit.next_run:.0f} %"
    )
    return lines


def render_template(text: str) -> "Table":
    """An empty log as a table with room to write.

    Parameters
    ----------
    text
        CSV.

    Returns
    -------
    table
        What rich prints; its frame has no colour.
    """
    from rich.box import ASCII2  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415  slow to load

    head, *rows = list(csv.reader(text.splitlines()))
    kept = [k for k, name in enumerate(head) if name not in {"date", "crew", "weather"}]
    table = Table(box=ASCII2, padding=0, show_lines=True, title=_PAPER, title_justify="left")
    for k in kept:
        table.add_column(_text(head[k].replace(" [", "\n[")), min_width=5)
    for row in [*rows, *([[""] * len(head)] * 4)]:
        table.add_row(*(_text(f"{row[k]}\n") for k in kept))
    return table


_PAPER = "Date:            Crew:                      Weather:"


def _belief(belief: Belief) -> str:
    return f"{belief.typical:.2f} (nine in ten: {belief.low:.2f} to {belief.high:.2f})"


def render_drills(title: str, drills: Sequence[Drill], system: UnitSystem) -> "Group":
    """The drills as a table of consequences and standing answers.

    Parameters
    ----------
    title
        Of the run.
    drills
        As run.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    table = _table(
        (
            ("If", "<"), (f"Seen at\n{system.distance.label}", ">"), ("Arrive", ">"),
            ("Later\nmin", ">"), (f"Least\n{system.water.label}", ">"), ("Then", "<"),
        )
    )  # fmt: skip
    for drill in drills:
        row = drill_row(drill, system)
        table.add_row(
            _text(str(row["if"])), *(str(row[key]) for key in list(row)[1:5]),
            _text(_then(drill, system)), end_section=True,
        )  # fmt: skip
    return Group(_text(f"Drills: {title}", bold=True), table, _text(""), _listed(CAUTIONS))


def _then(drill: Drill, system: UnitSystem) -> str:
    if drill.last is None:
        return drill.answer
    return (
        f"{drill.answer}. From the stop before, turning back to {drill.turn_to} keeps the "
        f"reserve until {system.distance.text(drill.last)}"
    )


def drill_row(drill: Drill, system: UnitSystem) -> dict[str, Cell]:
    """One drill, cell by column.

    Parameters
    ----------
    drill
        As run.
    system
        The units to show.

    Returns
    -------
    row
        Cells by column, units in the columns' names.
    """
    final: Onward | None = None
    if drill.revision is not None:
        back = drill.revision.verdict == "turn back"
        final = drill.revision.after if back else drill.revision.ahead
    return {
        "if": plain(drill.name),
        f"seen at [{system.distance.label}]": (
            "" if drill.revision is None else system.distance.number(drill.distance)
        ),
        "arrive": "" if final is None else clock_text(final.plan.arrival),
        "later [min]": "" if drill.late is None else whole_minutes(drill.late),
        f"least in tank [{system.water.label}]": (
            "" if final is None else system.water.number(max(final.lowest[0], 0.0))
        ),
        "then": plain(drill.answer),
        "turn back to": plain(drill.turn_to),
        f"last point [{system.distance.label}]": (
            "" if drill.last is None else system.distance.number(drill.last)
        ),
    }


def drills_csv(drills: Sequence[Drill], system: UnitSystem) -> str:
    """The drills as CSV text.

    Parameters
    ----------
    drills
        As run.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row for each.
    """
    return to_csv(frame_of([drill_row(drill, system) for drill in drills]))
