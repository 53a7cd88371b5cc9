"""Figures of a reconstruction as a reader sees them, row by row, for every output."""

import math
from collections.abc import Mapping

from haulplan.outputs.history.figures import Shown, currency_of, range_text, shown
from haulplan.outputs.tables import Cell, plain
from haulplan.period import Reconstruction
from haulplan.period.cases import Case
from haulplan.period.run import Stage, Variant
from haulplan.units import UnitSystem

__all__ = [
    "case_rows",
    "flag_rows",
    "implied_rows",
    "item_rows",
    "range_rows",
    "reading_rows",
    "stage_rows",
    "state_rows",
    "variant_rows",
]

_HOUR = 3600.0


def _points(points: tuple[float, float, float], unit: Shown, name: str) -> dict[str, Cell]:
    ends = ("5 %", "50 %", "95 %")
    return {
        f"{name} {end}": _cell(unit.value(point)) for end, point in zip(ends, points, strict=True)
    }


def _cell(value: float) -> Cell:
    return float(f"{value:.4g}") if math.isfinite(value) else ""


def reading_rows(found: Reconstruction) -> list[dict[str, Cell]]:
    """Each reading with its weights.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    rows
        Weights in per cent.
    """
    return [
        {
            "question": row.question,
            "reading": plain(row.answer),
            "before [%]": round(100 * row.prior, 1),
            "after [%]": round(100 * row.after, 1),
            "from even weights [%]": round(100 * row.even, 1),
            "verdict": row.verdict,
        }
        for row in found.readings
    ]


def range_rows(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    """What the record leaves out, before and after it is heard.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    rows
        5, 50 and 95 % points.
    """
    rows = []
    for kind, row in found.missing:
        unit = shown(kind, system)
        rows.append(
            {
                "figure": row.name,
                "unit": unit.label,
                **_points(row.prior, unit, "before"),
                **_points(row.after, unit, "after"),
            }
        )
    return rows


def implied_rows(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    """Figures that follow, by the record's own numbers and reckoned.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    rows
        5, 50 and 95 % points; blank where the record has no numbers for it.
    """
    nothing = (math.nan,) * 3
    rows = []
    for row in found.implied:
        unit = shown(row.kind, system, currency_of(found))
        rows.append(
            {
                "figure": row.name,
                "unit": unit.label,
                **_points(nothing if row.record is None else row.record.after, unit, "record"),
                **_points(
                    nothing if row.reckoned is None else row.reckoned.after, unit, "reckoned"
                ),
            }
        )
    return rows


def case_rows(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    """The record beside the published cases.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    rows
        This record first; blank where a source has no figure.
    """
    own = [] if found.own_case is None else [found.own_case]
    return [_case_row(case, system) for case in (*own, *found.cases)]


def _case_row(case: Case, system: UnitSystem) -> dict[str, Cell]:
    figures = (
        ("useful load", "mass", case.useful),
        ("way", "distance", case.way),
        ("coal", "coal mile", case.coal_per_metre),
        ("water", "water mile", case.water_per_metre),
        ("coal", "coal useful ton-mile", case.coal_per_useful),
        ("water over coal", "ratio", case.ratio),
        ("running speed", "speed", case.running_speed),
        ("journey speed", "speed", case.journey_speed),
    )
    row: dict[str, Cell] = {
        "case": case.id, "what": plain(case.record.file.title), "year": case.record.file.year,
    }  # fmt: skip
    for name, kind, value in figures:
        unit = shown(kind, system)
        row[f"{name} [{unit.label}]"] = "" if value is None else unit.number(value)
    cost = "" if case.cost is None else plain(case.cost)
    return row | {
        "cost a useful ton-mile": cost,
        "remark": plain(case.flag),
        "source": plain(case.record.file.source),
    }


def state_rows(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    """The same way in three states.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    rows
        With the share of trains that a hill stops.
    """
    return [
        {
            "road": row.name,
            "weight after [%]": round(100 * row.after, 1),
            "water": range_text(row.water.after, shown("water", system)),
            "coal": range_text(row.coal.after, shown("coal", system)),
            "whole time": range_text(row.total.after, shown("duration", system)),
            "way in parts": range_text(row.parted.after, shown("share", system)),
            "trains stopped [%]": round(100 * row.refused, 1),
        }
        for row in found.states
    ]


def flag_rows(found: Reconstruction) -> list[dict[str, Cell]]:
    """Oddities.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    rows
        None for a clean record.
    """
    return [
        {"oddity": flag.kind, "where": plain(flag.where), "what it is": plain(flag.words)}
        for flag in found.flags
    ]


def item_rows(found: Reconstruction) -> list[dict[str, Cell]]:
    """Every assumption with its status.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    rows
        Stated, derived, class default or guess.
    """
    return [
        {
            "what": plain(item.name),
            "value": plain(item.value),
            "status": item.status,
            "source": plain(item.source),
        }
        for item in found.items
    ]


def stage_rows(variant: Variant, system: UnitSystem) -> list[dict[str, Cell]]:
    """The likely run, stage by stage.

    Parameters
    ----------
    variant
        One set of conditions.
    system
        Units of what is shown.

    Returns
    -------
    rows
        With the water stops of the plan and where such stops must have been.
    """
    return [_stage_row(stage, variant, system) for stage in variant.stages]


def _stage_row(stage: Stage, variant: Variant, system: UnitSystem) -> dict[str, Cell]:
    miles = system.distance
    plan = stage.plan
    row: dict[str, Cell] = {
        "day": stage.day,
        "from": plain(stage.names[0]),
        "to": plain(stage.names[1]),
        f"way [{miles.label}]": miles.number(stage.end - stage.begin),
    }
    if plan is None:
        return row | {
            "under way [h]": "", "with standing [h]": "", f"water [{system.water.label}]": "",
            f"coal [{system.coal.label}]": "", "water taken at": plain(stage.trouble or ""),
            "fewest stops must lie": "",
        }  # fmt: skip
    driving = sum(leg.duration for leg in plan.legs)
    stops = [f"{plain(s.name)} ({miles.text(s.distance)})" for s in plan.stops[1:-1]]
    windows = [f"{miles.number(w.begin)}–{miles.text(w.end)}" for w in stage.windows]
    return row | {
        "under way [h]": f"{driving / _HOUR:.1f}",
        "with standing [h]": f"{driving / (1 - variant.standing) / _HOUR:.1f}",
        f"water [{system.water.label}]": system.water.number(sum(x.water for x in plan.legs)),
        f"coal [{system.coal.label}]": system.coal.number(sum(x.coal for x in plan.legs)),
        "water taken at": "; ".join(stops) or "no stop",
        "fewest stops must lie": "; ".join(windows) or "none needed",
    }


def variant_rows(found: Reconstruction, system: UnitSystem) -> list[dict[str, Cell]]:
    """What changes with a wet week or poor fuel.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    rows
        One for each set of conditions.
    """
    rows = []
    for variant in found.variants:
        row: dict[str, Cell] = {
            "run": variant.name,
            "road": variant.state,
            "fuel": variant.fuel,
            "train": f"{100 * variant.share:.0f} %",
        }
        if not variant.solved:
            row |= dict.fromkeys(_sums(variant, found, system), "") | {"days": "no plan"}
            rows.append(row)
            continue
        rows.append(row | dict(_sums(variant, found, system)))
    return rows


def _sums(variant: Variant, found: Reconstruction, system: UnitSystem) -> Mapping[str, Cell]:
    return {
        "days": variant.days,
        "crew-days": variant.crew_days,
        "water stops": variant.water_stops,
        "under way [h]": f"{variant.driving / _HOUR:.1f}",
        f"water [{system.water.label}]": system.water.number(variant.water),
        f"coal [{system.coal.label}]": system.coal.number(variant.coal),
        "wages and coal": _money(variant, found),
    }


def _money(variant: Variant, found: Reconstruction) -> str:
    """Wages and coal at the record's own prices."""
    said = found.record.file.cost
    parts = []
    total = 0.0
    if said.wages_per_day is not None:
        total += said.wages_per_day.amount * variant.days
        parts.append("wages")
    if said.coal_price is not None and found.coal_price is not None:
        total += found.coal_price * variant.coal
        parts.append("coal")
    money = said.wages_per_day or said.coal_price
    if money is None:
        return "no prices stated"
    left_out = {"wages", "coal"} - set(parts)
    return money.shown(total) + (f" (without {left_out.pop()})" if left_out else "")
