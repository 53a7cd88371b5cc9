"""The plan as a workbook: one sheet for each table, and a page for the day's log."""

import datetime as dt
import io
from typing import TYPE_CHECKING, Any

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.roadbook import Book
from haulplan.outputs.strip import bag_of, coal_list
from haulplan.outputs.tables import (
    crossings_frame,
    days_frame,
    frame_of,
    legs_frame,
    plain,
    rounded,
    stops_frame,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["plan_workbook"]

_LOG = ("place", "time", "distance", "tank dipped", "water taken", "bags used", "pressure",
        "glass", "ash", "remarks")  # fmt: skip
#: Longer texts are cut by spreadsheets themselves.
_LONGEST = 32_767


def plan_workbook(book: Book) -> bytes:
    """Stops, legs, bridges, days, coal, assumptions and an empty log as XLSX.

    Parameters
    ----------
    book
        The plan.

    Returns
    -------
    workbook
        Numbers as numbers, every text as text: nothing a user wrote becomes a formula
        or a link.
    """
    import xlsxwriter  # noqa: PLC0415  only where it is written

    made = io.BytesIO()
    options = {
        "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False,
    }  # fmt: skip
    with xlsxwriter.Workbook(made, options) as workbook:
        workbook.set_properties(
            {
                "title": plain(book.plan.title)[:250],
                "comments": f"revision {book.revision}",
                "created": dt.datetime.combine(book.plan.date, dt.time()),
            }
        )
        head = workbook.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        for name, frame in _frames(book).items():
            _fill(workbook.add_worksheet(name), frame, head)
    return made.getvalue()


def _frames(book: Book) -> "dict[str, pd.DataFrame]":
    problem = (book.scenario, book.plan, book.system)
    bag, source = bag_of(book)
    coal = book.system.coal
    return {
        "Stops": stops_frame(*problem),
        "Legs": legs_frame(*problem),
        "Bridges": crossings_frame(*problem),
        "Days": days_frame(*problem),
        "Coal": frame_of(
            [
                {
                    "what for": name,
                    f"coal [{coal.label}]": rounded(coal, amount),
                    "bags": round(amount / bag, 1),
                    "remark": remark,
                }
                for name, amount, remark in coal_list(book)
            ]
            + [
                {
                    "what for": "one bag", f"coal [{coal.label}]": rounded(coal, bag),
                    "bags": 1, "remark": source,
                }
            ]
        ),
        "Assumed": frame_of(
            [
                {"what": plain(a.name), "value": plain(a.value), "source": plain(a.source)}
                for a in book.plan.assumptions
            ],
            columns=("what", "value", "source"),
        ),
        "Cautions": frame_of([{"cautions": caution} for caution in CAUTIONS]),
        "Log": frame_of([], columns=_LOG),
    }  # fmt: skip


def _fill(sheet: Any, frame: "pd.DataFrame", head: Any) -> None:  # noqa: ANN401  xlsxwriter's
    """A table with its header kept in sight."""
    names = [str(name) for name in frame.columns]
    rows = frame.to_numpy().tolist()
    for column, name in enumerate(names):
        sheet.write_string(0, column, name, head)
        longest = max([len(name) // 2, *(len(str(row[column])) for row in rows)], default=8)
        sheet.set_column(column, column, min(max(longest + 1, 7), 44))
    for line, row in enumerate(rows, start=1):
        for column, value in enumerate(row):
            if isinstance(value, str):
                if value:
                    sheet.write_string(line, column, value[:_LONGEST])
            else:
                sheet.write_number(line, column, value)
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
