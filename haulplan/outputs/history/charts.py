"""Pictures of a reconstruction: readings weighed, ranges narrowed, cases beside it."""

import math
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from itertools import groupby

from haulplan.outputs.drawing import INK, PAPER, clean, shape, shortened, text
from haulplan.outputs.history.figures import number, range_text, shown
from haulplan.period import Reconstruction
from haulplan.period.cases import Case
from haulplan.period.weigh import Range, Reading
from haulplan.units import UnitSystem

__all__ = ["draw_cases", "draw_ranges", "draw_readings"]

_WIDTH = 760
_BEFORE, _AFTER = "#d6d0bf", "#2b4a6f"
_LINE = 22.0


def draw_readings(found: Reconstruction) -> str:
    """Every question's answers with their weights before and after the record is heard.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    groups = [(q, list(rows)) for q, rows in groupby(found.readings, key=lambda r: r.question)]
    height = 66 + sum(26 + _LINE * len(rows) for _, rows in groups)
    words = "; ".join(
        f"{r.question}, {r.answer}: {100 * r.prior:.0f} before, {100 * r.after:.0f} after, per cent"
        for r in found.readings
    )
    root = _picture("readings", "Readings of the record, weighed", words, height)
    _key(root, "before the record is heard", "after")
    y = 62.0
    for question, rows in groups:
        text(root, 16, y + 10, question[0].upper() + question[1:], size=14, font_weight="bold")
        y += 22
        for row in rows:
            _reading_bar(root, row, y)
            y += _LINE
        y += 4
    return ET.tostring(root, encoding="unicode") + "\n"


def _reading_bar(root: ET.Element, row: Reading, y: float) -> None:
    left, wide = 352.0, 300.0
    text(root, left - 8, y + 11, shortened(row.answer, 50), size=12, text_anchor="end")
    shape(
        root, "rect", x=left, y=y, width=wide * row.prior, height=15, fill=_BEFORE, stroke=INK,
        stroke_width=0.7,
    )  # fmt: skip
    shape(root, "rect", x=left, y=y + 4, width=wide * row.after, height=7, fill=_AFTER)
    mark = {"cannot be": " cannot be", "doubtful": " doubtful"}.get(row.verdict, "")
    place = left + wide * max(row.prior, row.after) + 6
    text(root, place, y + 12, f"{100 * row.after:.0f} %{mark}", size=12)


def draw_ranges(found: Reconstruction, system: UnitSystem) -> str:
    """Ranges before and after, each as a multiple of its middle after.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    rows = [
        (row, range_text(row.after, shown(kind, system)))
        for kind, row in found.missing
        if row.after[1] > 0 and row.after[0] < row.after[2] and kind not in {"count", "share"}
    ]
    words = "; ".join(f"{row.name}: {label}" for row, label in rows)
    root = _picture("ranges", "What the record leaves out", words, 116 + 34 * len(rows))
    _key(root, "range before the record is heard", "after; the stroke is the middle")
    y = 70.0
    bottom = y + 34 * len(rows)
    for factor in (0.25, 0.5, 1.0, 2.0, 4.0):
        x = _log_x(factor)
        shape(root, "line", x1=x, x2=x, y1=y - 4, y2=bottom, stroke="#8a8577", stroke_width=0.6)
        text(root, x, bottom + 16, f"× {factor:g}", size=12, text_anchor="middle")
    for row, label in rows:
        _range_bar(root, row, label, y)
        y += 34
    text(
        root, _log_x(1.0), bottom + 34, "as a multiple of the middle", size=12,
        text_anchor="middle",
    )  # fmt: skip
    return ET.tostring(root, encoding="unicode") + "\n"


def _log_x(factor: float) -> float:
    share = (math.log(min(max(factor, 0.2), 5.0)) - math.log(0.2)) / math.log(25.0)
    return 270.0 + 470.0 * share


def _range_bar(root: ET.Element, row: Range, label: str, y: float) -> None:
    middle = row.after[1]
    text(root, 16, y + 12, shortened(row.name, 38), size=12)
    text(root, 16, y + 26, label, size=11, font_weight="bold")
    before = [_log_x(point / middle) for point in row.prior]
    after = [_log_x(point / middle) for point in row.after]
    shape(
        root, "rect", x=before[0], y=y + 4, width=before[2] - before[0], height=16, fill=_BEFORE,
        stroke=INK, stroke_width=0.7,
    )  # fmt: skip
    shape(
        root, "rect", x=after[0], y=y + 8, width=max(after[2] - after[0], 2.0), height=8,
        fill=_AFTER,
    )  # fmt: skip
    x = after[1]
    shape(root, "line", x1=x, x2=x, y1=y + 1, y2=y + 23, stroke=INK, stroke_width=2)


def draw_cases(found: Reconstruction, system: UnitSystem) -> str:
    """Coal of this record beside the published cases: by the mile and by the ton-mile.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    picture
        An SVG document with a text alternative.
    """
    panels = (
        ("coal mile", "coal a mile", "coal_per_metre"),
        ("coal useful ton-mile", "coal a useful ton-mile", "coal_per_useful"),
    )
    cases = [case for case in found.cases if case.coal_per_metre is not None]
    height = 48.0 + 2 * (62.0 + _LINE * (len(cases) + 1))
    root = _picture("cases", "Beside published cases", _case_words(cases, system), height)
    top = 52.0
    for kind, name, key in panels:
        unit = shown(kind, system)
        text(root, 16, top + 6, f"{name[0].upper()}{name[1:]} [{unit.label}]", size=14,
             font_weight="bold")  # fmt: skip
        own = next((row.reckoned for row in found.implied if row.name == name), None)
        values = [(case.id, getattr(case, key), case.record.file.title) for case in cases]
        top = _dots(root, top + 18, values, own, unit.size)
        top += 26
    return ET.tostring(root, encoding="unicode") + "\n"


def _case_words(cases: Sequence[Case], system: UnitSystem) -> str:
    unit = shown("coal mile", system)
    return "; ".join(
        f"{case.id}, {case.record.file.title}: {unit.number(case.coal_per_metre)} {unit.label}"
        for case in cases
        if case.coal_per_metre is not None
    )


def _dots(
    root: ET.Element,
    top: float,
    values: Sequence[tuple[str, float | None, str]],
    own: Range | None,
    size: float,
) -> float:
    """One panel: a line for this record's range, then a dot for each case."""
    found = [value / size for _, value, _ in values if value is not None]
    found += [] if own is None else [point / size for point in own.after]
    high = 1.1 * max(found)

    def x(value: float) -> float:
        return 330.0 + 350.0 * value / high

    y = top
    if own is not None:
        low, middle, end = (x(point / size) for point in own.after)
        text(root, 322, y + 12, "this record, reckoned", size=12, text_anchor="end",
             font_weight="bold")  # fmt: skip
        shape(root, "rect", x=low, y=y + 4, width=max(end - low, 2.0), height=8, fill=_AFTER)
        shape(root, "line", x1=middle, x2=middle, y1=y, y2=y + 16, stroke=INK, stroke_width=2)
        text(root, end + 8, y + 12, number(own.after[1] / size), size=12)
        y += _LINE
    for label, value, title in values:
        text(root, 322, y + 12, f"{label} {shortened(title, 40)}", size=12, text_anchor="end")
        if value is not None:
            shape(root, "circle", cx=x(value / size), cy=y + 8, r=5, fill="#ffffff", stroke=INK,
                  stroke_width=2)  # fmt: skip
            text(root, x(value / size) + 12, y + 12, number(value / size), size=12)
        y += _LINE
    shape(root, "line", x1=x(0), x2=x(high), y1=y + 2, y2=y + 2, stroke=INK)
    text(root, x(0), y + 18, "0", size=12, text_anchor="middle")
    return y + 18


def _picture(name: str, title: str, words: str, height: float) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_WIDTH} {height:g}",
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-words",
            "font-family": "Arial, Helvetica, sans-serif",
            "fill": INK,
        },
    )
    ET.SubElement(root, "title", id=f"{name}-title").text = clean(title)
    ET.SubElement(root, "desc", id=f"{name}-words").text = clean(words)
    shape(root, "rect", width=_WIDTH, height=height, fill=PAPER)
    text(root, 16, 26, title, size=17, font_weight="bold")
    return root


def _key(root: ET.Element, before: str, after: str) -> None:
    shape(root, "rect", x=16, y=36, width=22, height=12, fill=_BEFORE, stroke=INK,
          stroke_width=0.7)  # fmt: skip
    text(root, 44, 47, before, size=12)
    left = 44 + 6.4 * len(before) + 14
    shape(root, "rect", x=left, y=39, width=22, height=7, fill=_AFTER)
    text(root, left + 28, 47, after, size=12)
