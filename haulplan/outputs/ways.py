"""The ways side by side, the turn list, and the chosen way as GPX."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import (
    Cell,
    clock_text,
    frame_of,
    plain,
    rounded,
    to_csv,
    whole_minutes,
)
from haulplan.roads.bans import Ban
from haulplan.roads.others import Account
from haulplan.roads.quest import Quest
from haulplan.roads.steer import Turn
from haulplan.roads.ways import Chosen, Way
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

__all__ = [
    "Compared",
    "bans_csv",
    "proof_text",
    "render_ways",
    "springs_csv",
    "turns_csv",
    "way_gpx",
    "ways_csv",
]

#: Longest list of roads or cautions on the terminal; the files hold all.
_MOST: Final = 8
_ROADS: Final = 4


@dataclass(frozen=True, kw_only=True)
class Compared:
    """The ways to show, the chosen one first, each with its account.

    `usual` is the way with no road closed, where some are.
    """

    quest: Quest
    chosen: Chosen
    ways: tuple[Way, ...]
    accounts: tuple[Account, ...]
    turns: tuple[Turn, ...]
    usual: Account | None


def proof_text(chosen: Chosen) -> str:
    """How good the chosen way is proved to be.

    Parameters
    ----------
    chosen
        The choice.

    Returns
    -------
    text
        One sentence.
    """
    count = chosen.planned + chosen.barren
    tried = "one way planned" if count == 1 else f"{count} ways planned"
    if chosen.proven:
        return f"proved best over ways and stops ({tried})"
    gap = f"no way at all can be better by more than {100 * chosen.gap:.1f} %"
    if chosen.complete and not chosen.every:
        return f"best of the efficient ways ({tried}); {gap}"
    return f"best found ({tried}); {gap}"


def _rows(compared: Compared, system: UnitSystem) -> list[tuple[str, list[Cell]]]:
    """What is compared, line by line, a cell for each way."""
    ways, accounts = compared.ways, compared.accounts
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    currency = compared.quest.scenario.file.currency
    return [
        (f"road [{distance.label}]", [rounded(distance, a.length) for a in accounts]),
        ("arrive", [clock_text(way.plan.arrival) for way in ways]),
        ("all told [min]", [whole_minutes(a.duration) for a in accounts]),
        (f"water used [{water.label}]", [rounded(water, a.water) for a in accounts]),
        (f"coal used [{coal.label}]", [rounded(coal, a.coal) for a in accounts]),
        ("stops", [a.stops for a in accounts]),
        (f"to pay [{currency}]", [f"{a.money:.2f}" for a in accounts]),
        (f"climb [{height.label}]", [rounded(height, a.climb) for a in accounts]),
        ("steepest up over 100 m [%]", [round(100 * a.steepest_up, 1) for a in accounts]),
        ("steepest down over 100 m [%]", [round(100 * a.steepest_down, 1) for a in accounts]),
        ("bridges", [a.bridges for a in accounts]),
        ("posted weights met", [a.posted for a in accounts]),
        ("level crossings", [a.crossings for a in accounts]),
        ("things to ask about", [len(a.cautions) for a in accounts]),
    ]


def _names(compared: Compared) -> list[str]:
    return [f"way {chr(65 + number)}" for number in range(len(compared.ways))]


def ways_csv(compared: Compared, system: UnitSystem) -> str:
    """The ways side by side as CSV text, one row each, with all they ask about.

    Parameters
    ----------
    compared
        The ways.
    system
        The units to show.

    Returns
    -------
    text
        Columns name their units.
    """
    rows = _rows(compared, system)
    table: list[dict[str, Cell]] = []
    for number, name in enumerate(_names(compared)):
        account = compared.accounts[number]
        table.append(
            {"way": name}
            | {label: cells[number] for label, cells in rows}
            | {
                "roads": _roads(account, system, len(account.roads)),
                "ask about": "; ".join(plain(said) for said in account.cautions),
            }
        )
    return to_csv(frame_of(table))


def _roads(account: Account, system: UnitSystem, most: int) -> str:
    unit = system.distance
    return ", ".join(
        f"{plain(name.replace('_', ' '))} {unit.number(length)}"
        for name, length in account.roads[:most]
    )


def turns_csv(compared: Compared, system: UnitSystem) -> str:
    """The turn list as CSV text.

    Parameters
    ----------
    compared
        The ways; the first one's turns.
    system
        The units to show.

    Returns
    -------
    text
        One row for each turn.
    """
    label = system.distance.label
    rows: list[dict[str, Cell]] = [
        {
            "number": number,
            f"at [{label}]": round(turn.distance / system.distance.size, 2),
            "do": turn.what,
            "into": plain(turn.road),
            "by": plain(turn.landmark),
            f"then [{label}]": round(turn.onward / system.distance.size, 2),
            "latitude": round(turn.latitude, 6),
            "longitude": round(turn.longitude, 6),
        }
        for number, turn in enumerate(compared.turns, start=1)
    ]
    return to_csv(frame_of(rows))


def springs_csv(compared: Compared, system: UnitSystem) -> str:
    """Mapped places that may have water beside the ways, as CSV text.

    Parameters
    ----------
    compared
        The ways.
    system
        The units to show.

    Returns
    -------
    text
        One row for each way and place; to be asked about before they are supplies.
    """
    far, near = system.distance, system.height
    rows: list[dict[str, Cell]] = [
        {
            "way": name,
            f"at [{far.label}]": rounded(far, at),
            f"off [{near.label}]": rounded(near, off),
            "name": plain(spring.name),
            "kind": plain(spring.kind),
            "latitude": round(spring.latitude, 6),
            "longitude": round(spring.longitude, 6),
        }
        for name, account in zip(_names(compared), compared.accounts, strict=True)
        for at, off, spring in account.springs
    ]
    columns = ("way", f"at [{far.label}]", f"off [{near.label}]", "name", "kind", "latitude",
               "longitude")  # fmt: skip
    return to_csv(frame_of(rows, columns=columns))


def bans_csv(quest: Quest, system: UnitSystem) -> str:
    """Every road the engine may not use and why, as CSV text.

    Parameters
    ----------
    quest
        The question.
    system
        The units to show.

    Returns
    -------
    text
        One row for each stretch and reason; `direction` as the road is drawn.
    """
    network, label = quest.network, system.distance.label
    both: dict[tuple[int, str], list[Ban]] = {}
    for ban in quest.bans:
        both.setdefault((ban.edge // 2, ban.reason), []).append(ban)
    rows: list[dict[str, Cell]] = []
    for (number, reason), bans in both.items():
        link = network.links[number]
        along = "both" if len(bans) > 1 else "as drawn" if bans[0].edge % 2 == 0 else "against"
        rows.append(
            {
                "road": plain(link.facts.label or link.facts.kind),
                "id": plain(link.road),
                "reason": plain(reason),
                "direction": along,
                f"length [{label}]": round(link.length / system.distance.size, 2),
                "latitude": round(float(link.latitude[0]), 6),
                "longitude": round(float(link.longitude[0]), 6),
            }
        )
    return to_csv(frame_of(rows, columns=("road", "id", "reason", "direction")))


def way_gpx(compared: Compared) -> str:
    """The chosen way as GPX 1.1: a track with heights, waypoints at turns and stops.

    Parameters
    ----------
    compared
        The ways; the first one is written.

    Returns
    -------
    text
        For any navigator.

    References
    ----------
    .. [1] GPX 1.1 schema, topografix.com/GPX/1/1: wpt, trk, trkseg, trkpt, ele, name, desc.
    """
    way = compared.ways[0]
    route, line = way.driven.route, way.driven.route.line
    assert line is not None

    def point(tag: str, latitude: float, longitude: float, inside: str) -> str:
        return f'<{tag} lat="{latitude:.7f}" lon="{longitude:.7f}">{inside}</{tag}>'

    def words(text: str) -> str:
        return escape(plain(text))

    marks = [
        point(
            "wpt", turn.latitude, turn.longitude,
            f"<name>{number:03d} {words(turn.what)}</name><desc>"
            f"{words(', '.join(filter(None, (turn.road, turn.landmark))))}</desc>",
        )
        for number, turn in enumerate(compared.turns, start=1)
    ]  # fmt: skip
    track = [
        point("trkpt", lat, lon, f"<ele>{route.height(at):.1f}</ele>")
        for lat, lon, at in zip(
            line.latitude.tolist(), line.longitude.tolist(), line.distance.tolist(), strict=True
        )
    ]
    title = words(way.plan.title)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="haulplan" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n' + "\n".join(marks)
        + f"\n<trk><name>{title}</name><trkseg>\n" + "\n".join(track)
        + "\n</trkseg></trk>\n</gpx>\n"
    )  # fmt: skip


def render_ways(compared: Compared, system: UnitSystem) -> "Group":
    """The ways side by side for a terminal of at least 80 columns.

    Parameters
    ----------
    compared
        The ways.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    file, names = compared.quest.scenario.file, _names(compared)
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("")
    for name in names:
        table.add_column(Text(name), justify="right")
    for label, cells in _rows(compared, system):
        table.add_row(Text(label), *(Text(c if isinstance(c, str) else f"{c:,}") for c in cells))
    parts: list[RenderableType] = [
        Text(plain(file.title), style="bold"),
        Text(f"{plain(file.start)} to {plain(file.finish)}"),
        Text(f"Aim: {compared.ways[0].plan.aim}; way A {proof_text(compared.chosen)}"),
        Text(""),
        table,
        Text(""),
    ]
    for name, account in zip(names, compared.accounts, strict=True):
        parts.append(Text(f"{name[0].upper()}{name[1:]}: {_roads(account, system, _ROADS)}"))
    if compared.usual is not None:
        parts += [Text(""), Text(_detour(compared, compared.usual, system))]
    for name, account in zip(names, compared.accounts, strict=True):
        parts += [Text(""), Text(f"Ask about on {name}", style="bold"), _list(account.cautions)]
    notes = [*compared.quest.left_out, *compared.quest.warnings]
    if count := len(compared.accounts[0].springs):
        notes.append(
            f"mapped places that may have water beside way A: {count}, see springs.csv; none "
            "is a supply before its owner has said so"
        )
    if notes:
        parts += [Text(""), Text("The roads", style="bold"), _list(notes)]
    parts += [Text(""), Text("Turns on way A", style="bold"), _turns(compared, system)]
    parts += [Text(""), Text("Cautions", style="bold"), _list(CAUTIONS)]
    return Group(*parts)


def _detour(compared: Compared, usual: Account, system: UnitSystem) -> str:
    """What the closure costs."""
    now = compared.accounts[0]

    def more(unit: DisplayUnit, ours: float, theirs: float) -> str:
        return f"{'+' if ours >= theirs else ''}{unit.number(ours - theirs)} {unit.label}"

    minutes = whole_minutes(now.duration) - whole_minutes(usual.duration)
    road = more(system.distance, now.length, usual.length)
    return (
        f"Against the way with no road closed: road {road}, time {minutes:+} min, water "
        f"{more(system.water, now.water, usual.water)}, coal "
        f"{more(system.coal, now.coal, usual.coal)}"
    )


def _list(items: Iterable[str]) -> "RenderableType":
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    grid = Table.grid(padding=(0, 1, 0, 0))
    said = list(items)
    for item in said[:_MOST]:
        grid.add_row(Text(" -"), Text(plain(item)))
    if len(said) > _MOST:
        grid.add_row(Text(" -"), Text(f"and {len(said) - _MOST} more: see ways.csv"))
    if not said:
        grid.add_row(Text(" -"), Text("nothing known"))
    return grid


def _turns(compared: Compared, system: UnitSystem) -> "RenderableType":
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    table.add_column(Text(f"At {system.distance.label}"), justify="right")
    for name in ("Do", "Into", "By"):
        table.add_column(name)
    for turn in compared.turns:
        table.add_row(
            Text(f"{turn.distance / system.distance.size:.2f}"), Text(turn.what),
            Text(plain(turn.road)), Text(plain(turn.landmark)),
        )  # fmt: skip
    return table
