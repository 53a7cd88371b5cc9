"""Every sheet of a plan, all from the same plan and revision."""

from haulplan.outputs.roadbook import Book
from haulplan.outputs.runsheet import run_sheet

__all__ = ["draw_sheets"]


def draw_sheets(book: Book) -> dict[str, str]:
    """The sheets a crew prints.

    Parameters
    ----------
    book
        The plan with all they show.

    Returns
    -------
    pages
        HTML by file name.
    """
    return {"run-sheet.html": run_sheet(book)}
