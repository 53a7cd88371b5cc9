"""Every sheet of a plan, all from the same plan and revision."""

from haulplan.outputs.crew import station_keeper, steersman, support_driver, tail_car
from haulplan.outputs.returning import return_run
from haulplan.outputs.roadbook import Book
from haulplan.outputs.runsheet import run_sheet
from haulplan.outputs.strip import dip_strip, lists

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
    return {
        "run-sheet.html": run_sheet(book),
        "steersman.html": steersman(book),
        "support-driver.html": support_driver(book),
        "station-keeper.html": station_keeper(book),
        "tail-car.html": tail_car(book),
        "return-run.html": return_run(book),
        "dip-strip.html": dip_strip(book),
        "lists.html": lists(book),
    }
