"""What logs teach, on the terminal: recorded beside reckoned, factors, an empty log."""

import csv
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.blocks import listed, table_of, words
from haulplan.underway.learn import Belief, Fit, noticed
from haulplan.underway.recorded import Compared, Lessons
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["render_lessons", "render_template"]

#: What a learned factor has to be below to be called known.
_KNOWN = 0.08


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
            parts += [words(f"{kind.capitalize()}, recorded beside reckoned", bold=True)]
            parts += [_compared(own, system), words("")]
    for kind, fit in (("water", lessons.water), ("coal", lessons.coal)):
        parts += [
            words(kind.capitalize(), bold=True),
            listed(_fit(kind, fit, known[kind])),
            words(""),
        ]
    if reserve:
        parts += [words("Reserve", bold=True), listed(reserve), words("")]
    if lessons.notes:
        parts += [words("How the logs were read", bold=True), listed(lessons.notes), words("")]
    return Group(*parts)


def _compared(own: Sequence[Compared], system: UnitSystem) -> "Table":
    unit = system.water if own[0].span.kind == "water" else system.coal
    road = system.distance
    table = table_of(
        (
            ("Log", "<"), ("Rows", ">"), (f"From\n{road.label}", ">"), (f"To\n{road.label}", ">"),
            (f"Recorded\n{unit.label}", ">"), (f"Reckoned\n{unit.label}", ">"),
            ("Ratio", ">"), ("Weight", ">"), ("Remark", "<"),
        )
    )  # fmt: skip
    for one in own:
        table.add_row(
            words(one.run[:24]),
            f"{one.span.rows[0]}-{one.span.rows[1]}",
            road.number(one.span.begin),
            road.number(one.span.end),
            unit.number(one.span.used),
            unit.number(one.reckoned),
            f"{one.ratio:.2f}",
            f"{one.weight:.1f}" if one.believed else "left out",
            words(one.remark),
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
        table.add_column(words(head[k].replace(" [", "\n[")), min_width=5)
    for row in [*rows, *([[""] * len(head)] * 4)]:
        table.add_row(*(words(f"{row[k]}\n") for k in kept))
    return table


_PAPER = "Date:            Crew:                      Weather:"


def _belief(belief: Belief) -> str:
    return f"{belief.typical:.2f} (nine in ten: {belief.low:.2f} to {belief.high:.2f})"
