"""Variants side by side: data frame, CSV, and the table on the terminal."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from haulplan.compare import Outcome, Tally
from haulplan.outputs.blocks import listed, table_of, words
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import Cell, clock_text, frame_of, rounded, to_csv, whole_minutes
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = [
    "BEST",
    "best_of",
    "comparison_csv",
    "comparison_frame",
    "comparison_rows",
    "differences",
    "render_comparison",
    "told_of_columns",
]

#: Marks the best of a column.
BEST: Final = "*"
_DAY: Final = 86400.0

#: Columns in which one variant may be the best, and what orders them, the least first.
_ORDERS: Final[Mapping[str, Callable[[Outcome, Tally, UnitSystem], float]]] = {
    "arrive": lambda o, t, _: 1440 * o.date.toordinal() + whole_minutes(t.arrive),
    "days": lambda _, t, __: t.days,
    "stops": lambda _, t, __: t.stops,
    "standing": lambda _, t, __: whole_minutes(t.standing),
    "water": lambda _, t, system: _shown(system.water, t.water),
    "coal": lambda _, t, system: _shown(system.coal, t.coal),
    "to pay": lambda _, t, __: round(t.money, 2),
    "spare": lambda _, t, system: -_shown(system.water, t.margin_water),
}


def _shown(unit: DisplayUnit, si: float) -> float:
    return round(unit.value(si), unit.decimals)


def comparison_frame(
    outcomes: Sequence[Outcome], system: UnitSystem | None = None
) -> "pd.DataFrame":
    """A row for each variant, with what it takes or why there is no plan.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show; those of the first scenario where None.

    Returns
    -------
    frame
        Units in the headers; cells of a variant without a plan are empty. "best at" names
        the columns in which the variant is the best.

    Examples
    --------
    >>> from haulplan.compare import compare, variants_of
    >>> variants = variants_of(
    ...     ["scenarios/hobmere-penniford"], ["half: train.wagons[*].load = times 0.5"])
    >>> frame = comparison_frame(compare(variants))
    >>> frame["variant"][frame["water [US gal]"].astype(int).idxmin()]
    'half'
    """
    system = system or UNIT_SYSTEMS[outcomes[0].units]
    best = best_of(outcomes, system)
    rows = [_row(one, names, system) for one, names in zip(outcomes, best, strict=True)]
    return frame_of(rows)


def comparison_csv(outcomes: Sequence[Outcome], system: UnitSystem) -> str:
    """`comparison_frame` as CSV text.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row for each variant.
    """
    return to_csv(comparison_frame(outcomes, system))


def _row(one: Outcome, best: frozenset[str], system: UnitSystem) -> dict[str, Cell]:
    water, coal = system.water, system.coal
    row: dict[str, Cell] = {
        "variant": one.variant.name,
        "altered": "; ".join(map(str, one.variant.alterations)),
        "date": one.date.isoformat(),
        "aim": one.aim,
    }
    found = one.tally
    figures: dict[str, Cell] = dict.fromkeys(
        (
            "leave", "arrive", "days", "stops", "driving [min]", "standing [min]",
            "nights [min]", f"water [{water.label}]", f"coal [{coal.label}]", "to pay",
            f"spare water [{water.label}]", f"spare coal [{coal.label}]",
            f"tightest at [{system.distance.label}]", "off the best [%]",
        ),
        "",
    )  # fmt: skip
    if found is not None:
        values: tuple[Cell, ...] = (
            clock_text(found.depart), clock_text(found.arrive), found.days, found.stops,
            whole_minutes(found.driving), whole_minutes(found.standing),
            whole_minutes(found.resting), rounded(water, found.water),
            rounded(coal, found.coal), round(found.money, 2),
            rounded(water, found.margin_water), rounded(coal, found.margin_coal),
            rounded(system.distance, found.margin_at),
            0 if found.proven else math.ceil(1000 * found.gap) / 10,
        )  # fmt: skip
        figures = dict(zip(figures, values, strict=True))
    return {
        **row,
        **figures,
        "currency": one.currency,
        "best at": ", ".join(name for name in _ORDERS if name in best),
        "no plan": one.refusal,
    }


def best_of(outcomes: Sequence[Outcome], system: UnitSystem) -> list[frozenset[str]]:
    """The columns in which each variant is the best, as shown.

    Parameters
    ----------
    outcomes
        With and without plans.
    system
        The units to show.

    Returns
    -------
    best
        For each variant; a column in which all are alike has no best, nor has money in
        several currencies.
    """
    planned = [(one, one.tally) for one in outcomes if one.tally is not None]
    found: list[set[str]] = [set() for _ in outcomes]
    for name, order in _ORDERS.items():
        values = [order(one, tally, system) for one, tally in planned]
        mixed = name == "to pay" and len({one.currency for one, _ in planned}) > 1
        if len(set(values)) < 2 or mixed:
            continue
        for own, one in zip(found, outcomes, strict=True):
            if one.tally is not None and order(one, one.tally, system) == min(values):
                own.add(name)
    return [frozenset(names) for names in found]


def comparison_rows(
    outcomes: Sequence[Outcome], system: UnitSystem
) -> tuple[list[str], list[list[str]]]:
    """Titles and cells of the table that is printed; the best of a column is marked.

    Parameters
    ----------
    outcomes
        With and without plans.
    system
        The units to show.

    Returns
    -------
    titles, rows
        Units in the titles, on a line of their own.
    """
    currencies = dict.fromkeys(one.currency for one in outcomes)
    money = next(iter(currencies)) if len(currencies) == 1 else ""
    titles = [
        "Variant", "Arrive", "Days", "Stops", "Stand\nmin", f"Water\n{system.water.label}",
        f"Coal\n{system.coal.label}", f"Pay\n{money}".rstrip(),
        f"Spare\n{system.water.label}",
    ]  # fmt: skip
    rows = []
    for one, best in zip(outcomes, best_of(outcomes, system), strict=True):
        cells = ["no plan", *[""] * (len(_ORDERS) - 1)]
        if one.tally is not None:
            cells = [
                f"{cell}{BEST if name in best else ''}"
                for name, cell in zip(_ORDERS, _cells(one, one.tally, system, money), strict=True)
            ]
        rows.append([one.variant.name, *cells])
    return titles, rows


def _cells(one: Outcome, found: Tally, system: UnitSystem, money: str) -> list[str]:
    pay = f"{found.money:,.2f}" if money else f"{found.money:,.2f} {one.currency}"
    return [
        clock_text(found.arrive), str(found.days), str(found.stops),
        str(whole_minutes(found.standing)), system.water.number(found.water),
        system.coal.number(found.coal), pay, system.water.number(found.margin_water),
    ]  # fmt: skip


def differences(outcomes: Sequence[Outcome], system: UnitSystem) -> list[str]:
    """What each variant is, and how its plan differs from the first one's.

    Parameters
    ----------
    outcomes
        The first is what the others are held against.
    system
        The units to show.

    Returns
    -------
    lines
        One for each variant after the first, and for the first where it has no plan.
    """
    lines = []
    first = outcomes[0]
    for one in outcomes:
        name = _full_name(one)
        if one.tally is None:
            lines.append(f"{name}: no plan; {one.refusal}")
        elif one is not first and first.tally is not None:
            told = _told(first, first.tally, one, one.tally, system)
            lines.append(f"{name}: {', '.join(told) or 'the same figures'}")
        elif one is not first:
            lines.append(f"{name}: a plan, where the first has none")
    return lines


def _full_name(one: Outcome) -> str:
    """A variant's name, with what is altered where the name does not say it."""
    altered = "; ".join(map(str, one.variant.alterations))
    name = one.variant.name
    if not altered or name.endswith(altered):
        return name
    first = str(one.variant.alterations[0])
    if name.endswith(first):  # of a sweep: the value is the name
        return f"{name}{altered.removeprefix(first)}"
    return f"{name} ({altered})"


def _told(first: Outcome, before: Tally, one: Outcome, now: Tally, system: UnitSystem) -> list[str]:
    """Differences in words, those that show."""
    days = (one.date - first.date).days
    late = whole_minutes(now.arrive + _DAY * days) - whole_minutes(before.arrive)
    told = [f"{_span(late)} {'later' if late > 0 else 'earlier'}"] if late else []
    stops = now.stops - before.stops
    if stops:
        noun = "stop" if abs(stops) == 1 else "stops"
        told.append(f"{abs(stops)} {noun} {'more' if stops > 0 else 'fewer'}")
    for noun, unit, a, b in (
        ("water", system.water, before.water, now.water),
        ("coal", system.coal, before.coal, now.coal),
    ):
        much = _shown(unit, b) - _shown(unit, a)
        if much:
            more = "more" if much > 0 else "less"
            told.append(f"{abs(much):,.{unit.decimals}f} {unit.label} of {noun} {more}")
    pay = round(now.money, 2) - round(before.money, 2)
    if first.currency == one.currency and abs(pay) > 0.004:
        told.append(f"{abs(pay):,.2f} {one.currency} {'dearer' if pay > 0 else 'cheaper'}")
    return told


def _span(minutes: int) -> str:
    hours, rest = divmod(abs(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def render_comparison(outcomes: Sequence[Outcome], system: UnitSystem) -> "Group":
    """The variants for a terminal of at least 80 columns, also without colour.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    titles, rows = comparison_rows(outcomes, system)
    table: Table = table_of([(titles[0], "<"), *((title, ">") for title in titles[1:])])
    marked = [k > 0 and any(row[k].endswith(BEST) for row in rows) for k in range(len(titles))]
    for row in rows:  # figures stand under each other, marked or not
        cells = [
            f"{cell} " if marked[k] and not cell.endswith(BEST) else cell
            for k, cell in enumerate(row)
        ]
        table.add_row(*map(words, cells))
    parts: list[RenderableType] = [words("Side by side", bold=True), table]
    parts.append(words(told_of_columns(outcomes, system)))
    against = f"Beside '{outcomes[0].variant.name}'"
    parts += [words(""), words(against, bold=True), listed(differences(outcomes, system))]
    parts += [words(""), words("Cautions", bold=True), listed(CAUTIONS)]
    return Group(*parts)


def told_of_columns(outcomes: Sequence[Outcome], system: UnitSystem) -> str:
    """What the columns mean, and how far off the best any plan may be.

    Parameters
    ----------
    outcomes
        From `haulplan.compare.compare`.
    system
        The units to show.

    Returns
    -------
    words
        For below the table.
    """
    told = (
        f"{BEST} best of its column. Stand: by day, meals and calls too. Water and coal: used. "
        "Spare: the least the tank holds above the reserve, as planned to the plan's own marks."
    )
    gaps = [o.tally.gap for o in outcomes if o.tally is not None and not o.tally.proven]
    if gaps:
        told += f" Not all are proved best: up to {100 * max(gaps):.1f} % may be won yet."
    return told
