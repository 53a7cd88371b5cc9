"""The drills on paper: one table, black on white, for the back of the run sheet."""

import html
from collections.abc import Sequence

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import plain
from haulplan.outputs.underway import drill_row
from haulplan.underway.drills import Drill
from haulplan.units import UnitSystem

__all__ = ["drill_sheet"]

_STYLE = """
@page { size: landscape; margin: 8mm; }
body { font: 14pt/1.3 system-ui, sans-serif; color: #000; background: #fff; margin: 0 auto;
  max-width: 60rem; padding: 8px; }
h1 { font-size: 18pt; margin: 0 0 6pt; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 1.5pt solid #000; padding: 4pt 6pt; text-align: left; vertical-align: top;
  overflow-wrap: break-word; }
td:first-child { min-width: 8em; }
td.n { text-align: right; white-space: nowrap; }
td:first-child, td:last-child { font-weight: 700; }
tr { break-inside: avoid; }
@media print {
  body { padding: 0; max-width: none; line-height: 1.15; }
  th, td { padding: 2pt 4pt; }
  p, ul { font-size: 11pt; margin: 4pt 0; }
}
@media screen and (max-width: 600px) {
  thead { display: none; }
  tr { display: block; border: 2pt solid #000; margin-bottom: 8pt; }
  td, td.n { display: block; border: 0; text-align: left; white-space: normal; }
  td[data-head]:not(:empty)::before { content: attr(data-head) ": "; font-weight: 400; }
}
"""


def drill_sheet(title: str, drills: Sequence[Drill], system: UnitSystem) -> str:
    """The drills as a page to print.

    Parameters
    ----------
    title
        Of the run.
    drills
        As run.
    system
        The units to show.

    Returns
    -------
    page
        HTML that asks for nothing from outside; on a narrow screen each drill is a card.
    """
    rows = [drill_row(drill, system) for drill in drills if not drill.skipped]
    heads = [name for name in rows[0] if name not in {"turn back to", "then"}] if rows else []
    head = "".join(f"<th>{html.escape(name)}</th>" for name in [*heads, "then"])
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="{"" if name == "if" else "n"}" data-head="{html.escape(name)}">'
            f"{html.escape(str(row[name]))}</td>"
            for name in heads
        )
        + f"<td>{html.escape(str(row['then']))}{_back(row['turn back to'])}</td></tr>"
        for row in rows
    )
    cautions = "".join(f"<li>{html.escape(text)}</li>" for text in CAUTIONS)
    name = html.escape(plain(title))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Drills: {name}</title><style>{_STYLE}</style></head><body>"
        f"<h1>Drills: {name}</h1><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        "<p>Last point: from the stop before, turning back there still keeps the reserve.</p>"
        f"<ul>{cautions}</ul></body></html>\n"
    )


def _back(name: object) -> str:
    return f" (last point: back to {html.escape(str(name))})" if name else ""
