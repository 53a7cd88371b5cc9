"""Words, tables and lists for the terminal, as they stand: no markup is read in them."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from haulplan.outputs.tables import plain

if TYPE_CHECKING:
    from rich.table import Table
    from rich.text import Text

__all__ = ["listed", "table_of", "words"]


def words(text: str, *, bold: bool = False) -> "Text":
    """Words as they stand: no markup is read in them.

    Parameters
    ----------
    text
        Of one or more lines.
    bold
        Whether they stand out.

    Returns
    -------
    text
        What rich prints.
    """
    from rich.text import Text  # noqa: PLC0415  slow to load

    return Text("\n".join(plain(line) for line in text.split("\n")), style="bold" if bold else "")


def table_of(columns: Iterable[tuple[str, str]]) -> "Table":
    """An empty table; of its columns only those marked "<" give way and wrap.

    Parameters
    ----------
    columns
        Title and side of each, "<" or ">".

    Returns
    -------
    table
        With no rows.
    """
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415  slow to load

    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    for title, side in columns:
        table.add_column(title, justify="right" if side == ">" else "left", no_wrap=side == ">")
    return table


def listed(items: Iterable[str]) -> "Table":
    """A list with a dash before each item.

    Parameters
    ----------
    items
        In order.

    Returns
    -------
    table
        What rich prints.
    """
    from rich.table import Table  # noqa: PLC0415  slow to load

    grid = Table.grid(padding=(0, 1, 0, 0))
    for item in items:
        grid.add_row(words(" -"), words(item))
    return grid
