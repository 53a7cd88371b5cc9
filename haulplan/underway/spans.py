"""Stretches of a log that tell what was used on them: water from dip to dip, coal by count."""

from dataclasses import dataclass
from typing import Final, Literal

from haulplan.underway.cells import SAME_PLACE, Entry
from haulplan.underway.log import Run

__all__ = ["Span", "coal_spans", "water_spans"]

Kind = Literal["water", "coal"]

#: A dip reads the same tank to about this. [share of the tank]
_READS: Final = 0.02


@dataclass(frozen=True, kw_only=True)
class Span:
    """Road between two rows that tell what was used on it [m], [kg], [s].

    `error` is how far the reading itself may be off, one standard deviation [kg]; `level`
    the tank at the beginning, None where not known.
    """

    kind: Kind
    rows: tuple[int, int]
    begin: float
    end: float
    used: float
    error: float
    level: float | None
    duration: float | None
    names: tuple[str, str]


def water_spans(run: Run, tank: float) -> tuple[tuple[Span, ...], tuple[str, ...]]:
    """Stretches of road with what the tank lost on them.

    Parameters
    ----------
    run
        As read.
    tank
        What a full one holds. [kg]

    Returns
    -------
    spans, notes
        What is left out is noted.
    """
    spans, notes = [], []
    last: Entry | None = None
    for entry in run.entries:
        if entry.dip is None and entry.filled is None:
            continue
        if entry.distance is None:
            notes.append(f"row {entry.row}: no distance, and no place we know; its dip is left out")
            continue
        level = None if last is None else last.filled if last.filled is not None else last.dip
        if last is not None and level is not None and entry.dip is not None:
            used = level - entry.dip
            assert last.distance is not None
            if entry.distance - last.distance <= SAME_PLACE:
                if entry.filled is None:  # too short a stretch to tell: wait for the next
                    continue
            elif used < -_READS * tank:
                notes.append(
                    f"rows {last.row} to {entry.row}: the tank rose with no filling written; "
                    "that stretch is left out"
                )
            else:
                spans.append(_span("water", last, entry, used, _dip_error(tank), level))
        last = entry
    return tuple(spans), tuple(notes)


def _dip_error(tank: float) -> float:
    """Two dips, each read to about a hundredth of the tank: haulplan's assumption [kg]."""
    return 2**0.5 * 0.01 * tank


def coal_spans(run: Run) -> tuple[Span, ...]:
    """Stretches of road with the coal counted on them.

    Parameters
    ----------
    run
        As read.

    Returns
    -------
    spans
        From one count to the next; rows with no count lie inside.
    """
    spans = []
    last: Entry | None = None
    for entry in run.entries:
        if entry.distance is None:
            continue
        if last is None:
            last = entry
            continue
        if entry.coal is None:
            continue
        assert last.distance is not None
        if entry.distance - last.distance > SAME_PLACE:
            level = last.filled if last.filled is not None else last.dip
            error = max(0.4 * entry.bag, 0.02 * entry.coal)
            spans.append(_span("coal", last, entry, entry.coal, error, level))
        last = entry
    return tuple(spans)


def _span(
    kind: Kind, begin: Entry, end: Entry, used: float, error: float, level: float | None
) -> Span:
    assert begin.distance is not None
    assert end.distance is not None
    known = begin.clock is not None and end.clock is not None
    return Span(
        kind=kind,
        rows=(begin.row, end.row),
        begin=begin.distance,
        end=end.distance,
        used=used,
        error=error,
        level=level,
        duration=end.clock - begin.clock if known else None,  # type: ignore[operator]
        names=(begin.place, end.place),
    )
