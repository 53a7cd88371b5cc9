"""Pieces of a printed page: escaped text, tables, lists, and the page around them."""

import html
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from typing import Final

from haulplan.outputs.tables import plain

__all__ = ["POLICY", "SHEETS", "Marked", "join", "listed", "page", "ruled", "told"]

#: The browser itself refuses whatever is not in the page.
POLICY: Final = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
    "style-src 'unsafe-inline'; img-src data:\">"
)
#: The pages a crew prints, by file name, in the order they are taken up.
SHEETS: Final[Mapping[str, str]] = {
    "run-sheet.html": "Run sheet",
    "steersman.html": "Steersman",
    "support-driver.html": "Support driver",
    "station-keeper.html": "Station keeper",
    "tail-car.html": "Tail car",
    "return-run.html": "Return run",
    "dip-strip.html": "Dip strip",
    "lists.html": "Lists",
}


class Marked(str):
    """Text that is markup already, all that came from a user escaped in it."""

    __slots__ = ()


def told(text: str) -> Marked:
    """Text made fit for a page, unless it is markup already.

    Parameters
    ----------
    text
        Anything a user wrote.

    Returns
    -------
    markup
        Escaped, with characters that hide or turn text replaced.

    Examples
    --------
    >>> told("<b> & co")
    '&lt;b&gt; &amp; co'
    """
    return text if isinstance(text, Marked) else Marked(html.escape(plain(text)))


def join(pieces: Iterable[str], between: str = "<br>") -> Marked:
    """Pieces of text in one cell.

    Parameters
    ----------
    pieces
        Text or markup; empty ones are left out.
    between
        Markup that parts them.

    Returns
    -------
    markup
        Of all of them.
    """
    return Marked(between.join(told(piece) for piece in pieces if piece))


def listed(items: Iterable[str], name: str = "") -> Marked:
    """A list.

    Parameters
    ----------
    items
        Text or markup.
    name
        Class of the list.

    Returns
    -------
    markup
        Of the list, empty where there are no items.
    """
    rows = "".join(f"<li>{told(item)}</li>" for item in items)
    return Marked(f'<ul class="{name}">{rows}</ul>') if rows else Marked("")


def ruled(
    titles: Sequence[str],
    rows: Iterable[Sequence[str | tuple[str, int]]],
    name: str,
    *,
    caption: str = "",
    kinds: Sequence[str] = (),
) -> Marked:
    """A ruled table whose rows turn into blocks with named cells on a narrow screen.

    Parameters
    ----------
    titles
        Of the columns.
    rows
        Cells as text or markup, one for each column; a cell given with a number spans so
        many columns.
    name
        Class of the table.
    caption
        Read out before it, and shown.
    kinds
        A class for each row.

    Returns
    -------
    markup
        Of the table.
    """
    head = "".join(f'<th scope="col">{told(title)}</th>' for title in titles)
    body = []
    for number, row in enumerate(rows):
        kind = f' class="{kinds[number]}"' if number < len(kinds) else ""
        cells, column = [], 0
        for cell in row:
            text, span = cell if isinstance(cell, tuple) else (cell, 1)
            label = html.escape(plain(titles[column]), quote=True)
            wide = f' colspan="{span}"' if span > 1 else ""
            inside = f"<div>{told(text)}</div>" if text else ""
            cells.append(f'<td data-name="{label}"{wide}>{inside}</td>')
            column += span
        body.append(f"<tr{kind}>{''.join(cells)}</tr>")
    told_caption = f"<caption>{told(caption)}</caption>" if caption else ""
    return Marked(
        f'<table class="{name}">{told_caption}<thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table>"
    )


def page(title: str, own: str, body: str, *, wide: bool = False) -> str:
    """A whole page that needs no other file.

    Parameters
    ----------
    title
        Of the plan.
    own
        File name of the page, one of `SHEETS`.
    body
        Markup.
    wide
        Whether it prints across the long side of the paper.

    Returns
    -------
    page
        HTML, with links to the other sheets that are not printed.
    """
    style = (files("haulplan.outputs") / "sheets.css").read_text("utf-8")
    turned = "@page { size: landscape; }" if wide else ""
    links = "".join(
        f"<li>{name}</li>" if file == own else f'<li><a href="{file}">{name}</a></li>'
        for file, name in SHEETS.items()
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"{POLICY}"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<title>{SHEETS[own]}: {told(title)}</title><style>{style}{turned}</style></head>"
        f'<body><nav aria-label="Sheets of this plan"><ul>{links}</ul></nav>'
        f"<main>{body}</main></body></html>\n"
    )
