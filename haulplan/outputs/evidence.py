"""The steam model against published trials, on the terminal and as Markdown."""

from collections.abc import Sequence
from statistics import median
from typing import TYPE_CHECKING

from haulplan.evidence import Comparison, pooled

if TYPE_CHECKING:
    from rich.console import Group

__all__ = ["evidence_markdown", "evidence_summary", "render_evidence"]

_POOLED = {"water": "lb/bhp-h", "coal": "lb/bhp-h", "ratio": "lb/lb"}


def evidence_summary(comparisons: Sequence[Comparison]) -> list[str]:
    """The outcome in a few lines: pooled medians, rows inside, and every road miss.

    Parameters
    ----------
    comparisons
        Of all cases.

    Returns
    -------
    lines
        Plain text.
    """
    lines = [f"{len({c.case.id for c in comparisons})} cases, {len(comparisons)} figures"]
    for quantity, unit in _POOLED.items():
        measured, model = pooled(comparisons, quantity)
        lines.append(
            f"Brake runs pooled, {quantity}: measured {measured:.2f} {unit}, model {model:.2f} "
            f"({100 * (model / measured - 1):+.0f} %)"
        )
    brake = [c for c in comparisons if c.case.kind == "brake" and c.case.flag != "outlier"]
    road = [c for c in comparisons if c.case.kind not in ("brake", "indicated")]
    for name, rows in (("Brake-run", brake), ("Road", road)):
        inside = sum(c.inside for c in rows)
        lines.append(
            f"{name} figures inside the model's band (a factor of two at most): {inside} of "
            f"{len(rows)}; median error {100 * median(abs(c.error) for c in rows):.0f} %"
        )
    missed = [f"{c.case.id} {c.quantity} {100 * c.error:+.0f} %" for c in road if not c.inside]
    lines.append(f"Road figures outside: {', '.join(missed) or 'none'}")
    return lines


def _rows(comparisons: Sequence[Comparison]) -> list[list[str]]:
    return [
        [
            c.case.id,
            c.case.kind,
            c.quantity,
            f"{c.measured:.2f}",
            f"{c.band.typical:.2f}",
            f"{c.band.low:.2f}-{c.band.high:.2f}",
            c.unit,
            f"{100 * c.error:+.0f}",
            "inside" if c.inside else "OUTSIDE",
            ", ".join(part for part in (c.case.bound, c.case.flag) if part not in ("equal", "")),
        ]
        for c in comparisons
    ]


_TITLES = ("case", "kind", "what", "found", "model", "band", "unit", "error %", "", "remark")


def render_evidence(comparisons: Sequence[Comparison]) -> "Group":
    """Every case beside the model, for a terminal.

    Parameters
    ----------
    comparisons
        Of all cases.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.console import Group  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False)
    for title in _TITLES:
        right = title in ("found", "model", "error %")
        table.add_column(title, justify="right" if right else "left", no_wrap=title != "remark")
    for row in _rows(comparisons):
        table.add_row(*(Text(cell) for cell in row))
    return Group(table, Text(), *(Text(line) for line in evidence_summary(comparisons)))


def evidence_markdown(comparisons: Sequence[Comparison]) -> str:
    """Every case beside the model, with its source, for the guide.

    Parameters
    ----------
    comparisons
        Of all cases.

    Returns
    -------
    text
        A Markdown table and the summary.
    """
    lines = [f"- {line}" for line in evidence_summary(comparisons)]
    lines += ["", f"| {' | '.join(_TITLES)} | source |", "|" + "---|" * (len(_TITLES) + 1)]
    for row, c in zip(_rows(comparisons), comparisons, strict=True):
        lines.append(f"| {' | '.join(row)} | {c.case.source}, {c.case.place} |")
    return "\n".join(lines) + "\n"
