"""How a figure of a reconstruction is shown: its unit, three digits, its range."""

import math
from dataclasses import dataclass

from haulplan.period import Reconstruction
from haulplan.period.weigh import Range
from haulplan.units import UnitSystem

__all__ = ["Shown", "currency_of", "number", "one_range", "range_text", "shown"]

_HOUR = 3600.0


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A kind of figure as shown: its unit and the size of the unit in SI."""

    label: str
    size: float
    whole: bool = False

    def value(self, si: float) -> float:
        """In the unit."""
        return si / self.size

    def number(self, si: float) -> str:
        """Three figures that count, or a whole number, without the unit."""
        if self.whole and math.isfinite(si):
            return f"{self.value(si):,.0f}"
        return number(self.value(si))


def number(value: float) -> str:
    """A figure with three digits that count, thousands marked.

    Parameters
    ----------
    value
        Any.

    Returns
    -------
    text
        A dash where it is not finite.

    Examples
    --------
    >>> [number(v) for v in (0.01234, 5.5, 12345.6, 0.0)]
    ['0.0123', '5.50', '12,346', '0']
    """
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    digits = 2 - math.floor(math.log10(abs(value)) + 1e-9)
    return f"{value:,.{min(max(digits, 0), 6)}f}"


def shown(kind: str, system: UnitSystem, currency: str = "GBP") -> Shown:
    """How a kind of figure is shown.

    Parameters
    ----------
    kind
        As a reconstruction names it, such as "coal useful ton-mile".
    system
        Units of what is shown.
    currency
        Of money.

    Returns
    -------
    shown
        Unit and size.
    """
    what, _, per = kind.partition(" ")
    ton_mile = system.mass.size * system.distance.size
    ton_label = f"{system.mass.label}-{system.distance.label}"
    if per and what in {"coal", "water"}:
        unit = getattr(system, what)
        base, label = (
            (system.distance.size, system.distance.label)
            if per == "mile"
            else (ton_mile, f"{per.split()[0]} {ton_label}")
        )
        return Shown(label=f"{unit.label}/{label}", size=unit.size / base)
    if what == "money":
        sterling = currency == "GBP"
        if per == "ton":
            return Shown(
                label=f"{'s' if sterling else '$'}/{system.mass.label}",
                size=(12.0 if sterling else 1.0) / system.mass.size,
            )
        return Shown(label=f"{'d' if sterling else '$'}/useful {ton_label}", size=1.0 / ton_mile)
    fixed = {
        "climb": Shown(
            label=f"{system.height.label}/{system.distance.label}",
            size=system.height.size / system.distance.size,
        ),
        "share": Shown(label="%", size=0.01),
        "count": Shown(label="", size=1.0, whole=True),
        "ratio": Shown(label="lb/lb", size=1.0),
        "duration": Shown(label="h", size=_HOUR),
    }
    if what in fixed:
        return fixed[what]
    unit = getattr(system, what)
    return Shown(label=unit.label, size=unit.size)


def range_text(points: tuple[float, float, float], unit: Shown) -> str:
    """A range as "middle (low to high) unit".

    Parameters
    ----------
    points
        5, 50 and 95 % points. [SI]
    unit
        To show it in.

    Returns
    -------
    text
        A dash where there is none.
    """
    low, middle, high = (unit.number(point) for point in points)
    if middle == "–":
        return "–"
    inside = middle if low == high else f"{middle} ({low} to {high})"
    return f"{inside} {unit.label}".rstrip()


def currency_of(found: Reconstruction) -> str:
    """The record's money, pounds where it states none.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    currency
        "GBP" or "USD".
    """
    said = found.record.file.cost
    money = said.total or said.coal_bill
    return "GBP" if money is None else money.currency


def one_range(row: Range | None, unit: Shown) -> str:
    """A range after the record is heard, or a dash.

    Parameters
    ----------
    row
        The range, None where there is none.
    unit
        To show it in.

    Returns
    -------
    text
        As `range_text`.
    """
    return "–" if row is None else range_text(row.after, unit)
