"""What other aims cost, what would help and what mends a refusal, for a terminal."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.tables import clock_text, plain
from haulplan.plan.advice import Price
from haulplan.plan.mends import Mend
from haulplan.scenario import Scenario

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["mends_text", "render_advice"]

_FOUND = {
    "mends": "tried and mends it",
    "does not": "tried and does not mend it alone",
    "late": "not decided in the time given",
}


def render_advice(scenario: Scenario, prices: Sequence[Price], helps: Sequence[Price]) -> "Group":
    """What the other aims cost and what would help, in two tables of 80 columns.

    Parameters
    ----------
    scenario
        Its currency is named.
    prices, helps
        As `haulplan.plan.advice` found them.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.text import Text  # noqa: PLC0415  as above

    parts: list[RenderableType] = []
    for title, rows in (
        ("What another aim would cost against this plan", prices),
        ("What would help, each planned anew for the same aim", helps),
    ):
        parts += [Text(title, style="bold"), _table(scenario, rows)]
        parts += [
            Text(plain(f"No plan with {row.what}: {row.why.removeprefix('no plan: ')}"))
            for row in rows
            if row.why
        ]
        parts.append(Text())
    return Group(*parts)


def _table(scenario: Scenario, prices: Iterable[Price]) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415  as above
    from rich.text import Text  # noqa: PLC0415  as above

    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    table.add_column("With", min_width=24)
    table.add_column("Arrival", justify="right", no_wrap=True)
    table.add_column(f"To pay\n{scenario.file.currency}", justify="right", no_wrap=True)
    table.add_column("Stops", justify="right", no_wrap=True)
    table.add_column("Plan", min_width=11)
    for price in prices:
        table.add_row(Text(plain(price.what)), *_cells(price))
    return table


def _cells(price: Price) -> list[str]:
    if price.later is None or price.dearer is None or price.more_stops is None:
        return ["", "", "", "none"]
    minutes = round(price.later / 60)
    money = round(price.dearer, 2) + 0.0
    when, much = "later" if minutes > 0 else "sooner", "more" if money > 0 else "less"
    return [
        "the same" if minutes == 0 else f"{abs(minutes)} min {when}",
        "the same" if money == 0 else f"{abs(money):,.2f} {much}",
        "the same" if price.more_stops == 0 else f"{price.more_stops:+d}",
        "proved best" if price.proven else "best found",
    ]


def mends_text(scenario: Scenario, mends: Iterable[Mend]) -> list[str]:
    """What was tried against a refusal, a line each, what mends it first.

    Parameters
    ----------
    scenario
        The one without a plan.
    mends
        As `haulplan.plan.mends` found them.

    Returns
    -------
    lines
        Without line feeds.
    """
    order = list(_FOUND)
    lines = []
    for mend in sorted(mends, key=lambda mend: order.index(mend.found)):
        arrives = "" if mend.plan is None else f"; arrives {clock_text(mend.plan.arrival)}"
        lines.append(f"{_FOUND[mend.found]}: {plain(mend.what)}{arrives}")
    if lines and scenario.file.risk is not None:
        lines.append("these keep the reserve; the chance of running dry is not looked at in them")
    return lines
