"""Variants as bars: time on the way, water and coal, and the page that holds it all."""

import html
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from importlib.resources import files
from typing import Final

from haulplan.compare import Outcome, Tally
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.compare import (
    comparison_csv,
    comparison_rows,
    differences,
    told_of_columns,
)
from haulplan.outputs.drawing import INK, clean, new_picture, shape, shortened, text
from haulplan.outputs.paper import POLICY, listed, ruled, told
from haulplan.units import DisplayUnit, UnitSystem

__all__ = ["compare_outputs", "comparison_page", "draw_comparison"]

_HOUR: Final = DisplayUnit(label="h", size=3600.0, decimals=1)
_TOP, _ROW, _BAR = 118.0, 34.0, 18.0
#: Where names begin, and each panel with the room for its longest bar and the figure after it.
_NAMES, _PANELS, _WIDE, _FIGURE = 24.0, (290.0, 600.0, 800.0), (230.0, 130.0, 130.0), 6.0
_STYLE: Final = (
    "main { max-width: 70rem; margin: 0 auto; } svg { width: 100%; height: auto; } "
    "@page { size: landscape; } @media screen and (min-width: 55.01rem) "
    "{ .compared td:nth-child(n+2), .compared th:nth-child(n+2) { text-align: right; } "
    ".compared th:first-child { width: 30%; } .compared td[colspan] { text-align: left; } }"
)


def draw_comparison(outcomes: Sequence[Outcome], system: UnitSystem) -> str:
    """A bar for each variant: hours on the way, water and coal used.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    height = _TOP + _ROW * len(outcomes) + 24
    said = "; ".join(_said(one, system) for one in outcomes)
    root = new_picture("compared", "Variants side by side", said, height)
    text(root, _NAMES, 34, "Variants side by side", size=20, font_weight="bold")
    _hatching(root)
    _key(root)
    _bars(root, outcomes, 0, "Hours on the way", _HOUR, _spent)
    _bars(root, outcomes, 1, f"Water used, {system.water.label}", system.water,
          lambda tally: ((tally.water, INK),))  # fmt: skip
    _bars(root, outcomes, 2, f"Coal used, {system.coal.label}", system.coal,
          lambda tally: ((tally.coal, INK),))  # fmt: skip
    for number, one in enumerate(outcomes):
        y = _TOP + _ROW * number + _BAR * 0.75
        text(root, _NAMES, y, shortened(clean(one.variant.name), 38))
        if one.tally is None:
            text(root, _PANELS[0] + _FIGURE, y, "no plan", font_weight="bold")
    return ET.tostring(root, encoding="unicode") + "\n"


def _said(one: Outcome, system: UnitSystem) -> str:
    name = clean(one.variant.name)
    if one.tally is None:
        return f"{name}: no plan"
    return (
        f"{name}: {_HOUR.text(one.tally.arrive - one.tally.depart)} on the way, "
        f"{system.water.text(one.tally.water)} of water, {system.coal.text(one.tally.coal)} of coal"
    )


def _spent(tally: Tally) -> tuple[tuple[float, str], ...]:
    """Time on the way by what it is spent on, with the fill of each; together the whole."""
    rest = max(tally.arrive - tally.depart - tally.driving - tally.standing, 0.0)
    return (tally.driving, INK), (tally.standing, "url(#standing)"), (rest, "#ffffff")


def _hatching(root: ET.Element) -> None:
    pattern = shape(
        shape(root, "defs"), "pattern", id="standing", width=6, height=6,
        patternUnits="userSpaceOnUse", patternTransform="rotate(45)",
    )  # fmt: skip
    shape(pattern, "rect", width=6, height=6, fill="#ffffff")
    shape(pattern, "line", x1=0, x2=0, y1=0, y2=6, stroke=INK, stroke_width=4)


def _key(root: ET.Element) -> None:
    x = _NAMES
    for words, fill in (
        ("driving", INK), ("standing by day", "url(#standing)"), ("nights", "#ffffff"),
    ):  # fmt: skip
        shape(root, "rect", x=x, y=50, width=26, height=14, fill=fill, stroke=INK)
        text(root, x + 33, 62, words)
        x += 60 + 8.0 * len(words)


def _bars(
    root: ET.Element,
    outcomes: Sequence[Outcome],
    panel: int,
    title: str,
    unit: DisplayUnit,
    parts: Callable[[Tally], Sequence[tuple[float, str]]],
) -> None:
    """One panel: a bar for each plan, its parts one after the other, its figure behind it."""
    left, wide = _PANELS[panel], _WIDE[panel]
    totals = [sum(a for a, _ in parts(o.tally)) for o in outcomes if o.tally is not None]
    most = max([*totals, 1e-9])
    text(root, left, _TOP - 16, title, font_weight="bold")
    shape(root, "line", x1=left, x2=left, y1=_TOP - 6, y2=_TOP + _ROW * len(outcomes),
          stroke=INK)  # fmt: skip
    for number, one in enumerate(outcomes):
        if one.tally is None:
            continue
        x, y = left, _TOP + _ROW * number
        for amount, fill in parts(one.tally):
            width = wide * amount / most
            shape(root, "rect", x=x, y=y, width=width, height=_BAR, fill=fill, stroke=INK)
            x += width
        total = sum(amount for amount, _ in parts(one.tally))
        text(root, x + _FIGURE, y + _BAR * 0.75, unit.number(total))


def comparison_page(outcomes: Sequence[Outcome], system: UnitSystem) -> str:
    """The table, the chart and the differences as one page that needs no other file.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    page
        HTML; rows turn into blocks on a narrow screen.
    """
    titles, cells = comparison_rows(outcomes, system)
    rows: list[Sequence[str | tuple[str, int]]] = [
        row if one.tally is not None
        else (row[0], (f"no plan: {one.refusal.partition('. ')[0]}", len(row) - 1))
        for one, row in zip(outcomes, cells, strict=True)
    ]  # fmt: skip
    style = (files("haulplan.outputs") / "sheets.css").read_text("utf-8")
    flat = [title.replace("\n", ", ") for title in titles]
    first = told(outcomes[0].variant.name)
    body = (
        f"<h1>Variants side by side</h1>{ruled(flat, rows, 'compared')}"
        f"<p>{told(told_of_columns(outcomes, system))}</p>"
        f"{draw_comparison(outcomes, system)}"
        f"<h2>Beside “{first}”</h2>{listed(differences(outcomes, system))}"
        f"<h2>Cautions</h2>{listed(CAUTIONS)}"
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">{POLICY}'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>Side by side: {html.escape(first)}</title>'
        f"<style>{style}{_STYLE}</style></head><body><main>{body}</main></body></html>\n"
    )


def compare_outputs(outcomes: Sequence[Outcome], system: UnitSystem) -> dict[str, str]:
    """Every file of a comparison.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    files
        Text by file name.
    """
    return {
        "compare.html": comparison_page(outcomes, system),
        "compare.svg": draw_comparison(outcomes, system),
        "compare.csv": comparison_csv(outcomes, system),
    }
