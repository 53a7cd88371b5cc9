"""A reconstruction on the terminal."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.history import figures, rows
from haulplan.outputs.history.page import verdict
from haulplan.outputs.tables import Cell, plain
from haulplan.period import Reconstruction
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["render_history"]


def render_history(found: Reconstruction, system: UnitSystem) -> "Group":
    """A reconstruction for a terminal of at least 80 columns.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.text import Text  # noqa: PLC0415

    file = found.record.file
    parts: list[RenderableType] = [
        Text(plain(file.title), style="bold"),
        Text(f"{plain(file.source)}; {file.date or file.year}"),
        Text(),
        *(Text(line) for line in verdict(found)),
        Text(),
    ]
    if found.flags:
        parts.append(Text("Oddities", style="bold"))
        parts += [_item(f"{f.kind}, {f.where}: {f.words}") for f in found.flags]
        parts.append(Text())
    sections: list[tuple[str, Sequence[Mapping[str, Cell]]]] = [
        ("Readings, weight in per cent", _readings(found)),
        ("What the record leaves out, after it is heard", _missing(found, system)),
        ("What follows", _implied(found, system)),
        ("Beside published cases", _cases(found, system)),
        ("The same way in three states", _states(found, system)),
        ("What changes with the week and the fuel", _variants(found, system)),
    ]
    for title, cells in sections:
        if cells:
            parts += [Text(title, style="bold"), _table(cells), Text()]
    if found.variants:
        parts += [Text("A likely run", style="bold"), *_run(found, system), Text()]
    if found.traps:
        parts.append(Text("Words that mislead", style="bold"))
        parts += [_item(note) for note in found.traps]
        parts.append(Text())
    parts.append(
        Text(
            f"{found.count:,} combinations, seed {found.seed}; {len(found.items)} assumptions: "
            "see the report (--out)"
        )
    )
    return Group(*parts)


def _item(words: str) -> "Table":
    """An item whose further lines stand under its first."""
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table.grid(padding=0)
    table.add_column(width=3, no_wrap=True)
    table.add_column()
    table.add_row(" - ", Text(plain(words)))
    return table


def _table(cells: Sequence[Mapping[str, Cell]]) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False)
    for name in cells[0]:
        table.add_column(Text(name), overflow="fold")
    for row in cells:
        table.add_row(*(Text(str(value)) for value in row.values()))
    return table


def _readings(found: Reconstruction) -> list[dict[str, Cell]]:
    return [
        {
            "question": row.question,
            "reading": plain(row.answer),
            "before": f"{100 * row.prior:.0f}",
            "after": f"{100 * row.after:.0f}",
            "even": f"{100 * row.even:.0f}",
            "": "" if row.verdict == "consistent" else row.verdict,
        }
        for row in found.readings
    ]


def _missing(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    return [
        {"figure": row.name, "middle (nine in ten)": figures.range_text(row.after, unit)}
        for kind, row in found.missing
        for unit in [figures.shown(kind, system)]
    ]


def _implied(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    currency = figures.currency_of(found)
    return [
        {
            "figure": row.name,
            "by the record": figures.one_range(row.record, unit),
            "reckoned": figures.one_range(row.reckoned, unit),
        }
        for row in found.implied
        for unit in [figures.shown(row.kind, system, currency)]
    ]


def _cases(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    left_out = {"source", "year", "remark", "what", "cost a useful ton-mile"}
    return [
        {k: v for k, v in row.items() if k not in left_out} for row in rows.case_rows(found, system)
    ]


def _states(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    return [
        {k: v for k, v in row.items() if k != "weight after [%]"}
        for row in rows.state_rows(found, system)
    ]


def _variants(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    said = found.record.file.cost
    unpriced = said.wages_per_day is None and said.coal_price is None
    left_out = {"road", "fuel", "under way [h]"} | ({"wages and coal"} if unpriced else set())
    return [
        {k: v for k, v in row.items() if k not in left_out}
        for row in rows.variant_rows(found, system)
    ]


def _run(found: Reconstruction, system: UnitSystem) -> list["Table"]:
    lines = []
    for row in rows.stage_rows(found.variants[0], system):
        miles = next(value for key, value in row.items() if key.startswith("way ["))
        lines.append(
            _item(
                f"Day {row['day']}: {row['from']} to {row['to']}, {miles} "
                f"{system.distance.label}, {row['under way [h]']} h under way; water: "
                f"{row['water taken at']}; the fewest stops must lie at "
                f"{row['fewest stops must lie']}"
            )
        )
    lines += [
        _item(f"{variant.name}: no plan: {variant.trouble}")
        for variant in found.variants
        if variant.trouble is not None
    ]
    return lines
