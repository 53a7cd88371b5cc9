"""The texts of a scenario folder to begin with: every figure says where it is from."""

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final, Literal

from haulplan.begin.along import Found
from haulplan.begin.asked import Asked, said_quantity, says_none
from haulplan.begin.ground import Ground
from haulplan.period.way import table_csv
from haulplan.scenario.classes import class_figures, engine_classes, fuel_figures, fuels
from haulplan.scenario.quoting import toml_text
from haulplan.scenario.schema import Supply
from haulplan.units import UNIT_SYSTEMS, DisplayUnit, UnitSystem, parse

__all__ = [
    "MARK", "Draft", "Line", "band_text", "draft_lines", "places_table", "scenario_text",
    "supply_table", "written",
]  # fmt: skip

#: Stands at everything that was invented.
MARK: Final = "TO REPLACE"
#: Share of tank and bunker that is never planned away, and left at the finish, as in the
#: shipped scenario. haulplan's assumption. [-]
_RESERVE: Final = 0.15
#: What hangs behind an engine nobody said anything of, as a share of its weight; and what
#: of a train is tare. haulplan's assumptions. [-]
_BEHIND: Final = 0.5
_TARE: Final = 0.4
#: A train is written as wagons of at most this weight. haulplan's assumption. [kg]
_WAGON: Final = 10_000.0
#: The fuel of a class that names none closer. haulplan's assumption.
_FUELS: Final = {"coal": "bituminous-good", "wood": "dry-wood"}
_CURRENCIES: Final = {"us": "USD", "imperial": "GBP", "metric": "EUR"}
_SATURDAY: Final = 5
#: Where remarks begin in scenario.toml.
_COLUMN: Final = 32

Origin = Literal["said", "read", "class", "assumed"]


@dataclass(frozen=True, kw_only=True)
class Line:
    """A key of scenario.toml, its value as TOML, and where it is from.

    One of a class stands behind a `#`: the class gives it as long as nobody takes that away.
    """

    section: str
    key: str
    value: str
    origin: Origin
    why: str
    silent: bool = False


@dataclass(frozen=True, kw_only=True)
class Draft:
    """The lines of scenario.toml, and the figures that the tables go by [kg].

    `lightened` is true where the train usually assumed does not climb.
    """

    lines: tuple[Line, ...]
    system: UnitSystem
    tank: float
    bunker: float
    train: float
    train_said: bool
    lightened: bool


def written(unit: DisplayUnit, si: float, figures: int = 3) -> str:
    """A quantity to so many figures, as a scenario takes it.

    Parameters
    ----------
    unit
        The reader's.
    si
        The quantity. [SI]
    figures
        How many count.

    Returns
    -------
    text
        Number and unit.

    Examples
    --------
    >>> written(UNIT_SYSTEMS["us"].water, 1590.0)
    '420 US gal'
    """
    return f"{_rounded(unit.value(si), figures)} {unit.label}"


def _rounded(number: float, figures: int = 3) -> str:
    if number <= 0:
        return "0"
    places = figures - 1 - math.floor(math.log10(number))
    text = f"{round(number, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def draft_lines(asked: Asked, ground: Ground, today: dt.date, share: float = 1.0) -> Draft:
    """What scenario.toml shall say.

    Parameters
    ----------
    asked
        What was said, without problems.
    ground
        The road.
    today
        Where no date was said the run is on the Saturday after.
    share
        Of a train nobody said anything of. [-]

    Returns
    -------
    draft
        Lines in the order of their sections.

    """
    assert asked.engine is not None
    units = asked.units or "us"
    system = UNIT_SYSTEMS[units]
    kind = engine_classes()[asked.engine]
    tank, tank_line = _store(asked, "tank", asked.tank, system.water)
    bunker, bunker_line = _store(asked, "bunker", asked.bunker, system.coal)
    weight = parse("mass", kind["weight"][1])
    train = share * _BEHIND * weight
    if asked.train is not None:
        none = says_none(asked.train)
        train = 0.0 if none else said_quantity("--train", "mass", asked.train)
    lines = [
        *_heads(asked, ground, today, units),
        tank_line,
        bunker_line,
        *_levels(system, tank, bunker),
        *_road(asked, ground),
        *_engine(asked),
        *_fuel(asked),
        *_wagons(asked, system, train, share),
    ]
    return Draft(
        lines=tuple(lines), system=system, tank=tank, bunker=bunker, train=train,
        train_said=asked.train is not None,
        lightened=share < 1.0,
    )  # fmt: skip


def _said_or(
    section: str, key: str, said: str | None, else_: str, why: str, origin: Origin = "assumed"
) -> Line:
    """A line of text that was said, or else taken from elsewhere."""
    if said is not None:
        return Line(section=section, key=key, value=toml_text(said), origin="said", why="")
    return Line(section=section, key=key, value=toml_text(else_), origin=origin, why=why)


def _heads(asked: Asked, ground: Ground, today: dt.date, units: str) -> list[Line]:
    saturday = today + dt.timedelta(days=(_SATURDAY - today.weekday() - 1) % 7 + 1)
    ends = [spot.name for spot in ground.typed]
    start = ends[0] if ends else f"Start of {ground.name}"
    finish = ends[-1] if ends else f"End of {ground.name}"
    at_ends: Origin = "read" if ends else "assumed"
    return [
        _said_or("", "title", asked.title, ground.name, "the road's own name", "read"),
        _said_or("", "start", asked.start, start, "name of the place", at_ends),
        _said_or("", "finish", asked.finish, finish, "name of the place", at_ends),
        _said_or("", "date", asked.date, saturday.isoformat(), "the Saturday to come"),
        _said_or("", "depart", asked.depart, "08:00", "assumed"),
        _said_or("", "units", asked.units, units, "assumed; or imperial, metric"),
        _said_or("", "currency", None, _CURRENCIES[units], "assumed; no prices are known yet"),
        _said_or("aim", "first", None, "earliest", "assumed; or cheapest, fewest stops"),
    ]


def _store(asked: Asked, key: str, said: str | None, unit: DisplayUnit) -> tuple[float, Line]:
    """Tank or bunker: its size [kg] and its line."""
    kind = "water" if key == "tank" else "coal"
    if said is not None:
        line = Line(section="stores", key=key, value=toml_text(said), origin="said", why="")
        return said_quantity(f"--{key}", kind, said), line
    assert asked.engine is not None
    low, typical, high = (parse(kind, text) for text in engine_classes()[asked.engine][key])
    text = written(unit, typical)
    why = f"usual for the class, {_rounded(unit.value(low))} to {written(unit, high)}"
    line = Line(section="stores", key=key, value=toml_text(text), origin="class", why=why)
    return parse(kind, text), line


def _levels(system: UnitSystem, tank: float, bunker: float) -> list[Line]:
    kept = {
        "water": (written(system.water, _RESERVE * tank, 2), "tank"),
        "coal": (written(system.coal, _RESERVE * bunker, 2), "bunker"),
    }
    lines = [_said_or("at_start", key, None, "full", "assumed") for key in kept]
    for section in ("at_finish", "reserve"):
        for key, (text, store) in kept.items():
            why = f"assumed, {100 * _RESERVE:.0f} % of the {store}"
            lines.append(_said_or(section, key, None, text, why))
    return lines


def _road(asked: Asked, ground: Ground) -> list[Line]:
    lines = [
        Line(section="route", key="file", value=toml_text(ground.route["file"]), origin="read",
             why="the road you gave")
    ]  # fmt: skip
    if "track" in ground.route:
        lines.append(_said_or("route", "track", ground.route["track"], "", ""))
    if "grades" in ground.route:
        why = "no heights are known: driven as level; put heights there"
        lines.append(_said_or("route", "grades", None, ground.route["grades"], why))
    for key, said in (("snap", asked.snap), ("longest_gap", asked.longest_gap)):
        if said is not None:
            lines.append(_said_or("route", key, said, "", ""))
    why = "assumed; surfaces.csv can name others by stretch"
    return [*lines, _said_or("route", "surface", asked.surface, "asphalt", why)]


def _engine(asked: Asked) -> list[Line]:
    assert asked.engine is not None
    kind = engine_classes()[asked.engine]
    known = Line(section="engine", key="kind", value=toml_text(asked.engine), origin="said", why="")
    title = kind["title"].partition(",")[0]
    lines = [known, _said_or("engine", "name", asked.engine_name, title, "its name is not known")]
    for key, value in class_figures(asked.engine).items():
        why = "usual for the class"
        if key == "gears":
            gears = ("{ " + ", ".join(f"{k} = {_value(v)}" for k, v in g.items()) + " },"
                     for g in value)  # fmt: skip
            text = "\n".join(["[", *(f"  {gear}" for gear in gears), "]"])
        else:
            text = _value(value)
            why += f", {band_text(kind[key])}" if isinstance(kind[key], list) else ""
        lines.append(
            Line(section="engine", key=key, value=text, origin="class", why=why, silent=True)
        )
    return lines


def _value(value: object) -> str:
    return toml_text(value) if isinstance(value, str) else str(value)


def band_text(triple: Sequence[str]) -> str:
    """The ends of a class's band, the unit said once where it is the same.

    Parameters
    ----------
    triple
        Low, typical, high, each with its unit.

    Returns
    -------
    text
        Low to high.

    Examples
    --------
    >>> band_text(["7.2 sq ft", "8.2 sq ft", "9.6 sq ft"])
    '7.2 to 9.6 sq ft'
    """
    (low, unit), (high, other) = (text.split(" ", 1) for text in (triple[0], triple[2]))
    return f"{low} to {high} {other}" if unit == other else f"{triple[0]} to {triple[2]}"


def _fuel(asked: Asked) -> list[Line]:
    assert asked.engine is not None
    key = asked.fuel or _FUELS[engine_classes()[asked.engine]["fuel"]]
    usual = band_text(fuels()[key]["heating_value"])
    figures = fuel_figures(key)
    return [
        _said_or("fuel", "kind", asked.fuel, key, "assumed for the class"),
        Line(section="fuel", key="name", value=toml_text(figures["name"]), origin="class",
             why="its usual name", silent=True),
        Line(section="fuel", key="heating_value", value=toml_text(figures["heating_value"]),
             origin="class", why=f"usual for it, {usual}; ask the merchant",
             silent=True),
    ]  # fmt: skip


def _wagons(asked: Asked, system: UnitSystem, train: float, share: float) -> list[Line]:
    if train <= 0:
        return []
    assert asked.engine is not None
    count = math.ceil(train / _WAGON)
    tyre = "rubber" if engine_classes()[asked.engine]["tyre"] == "rubber" else "steel"
    if asked.train is not None:
        of = f"{100 * _TARE:.0f} % of what you said is taken for tare"
    else:
        of = f"assumed: {100 * _BEHIND * share:.0f} % of the engine's weight in all"
    section, each = "[train.wagons]", train / count
    return [
        _said_or(section, "name", None, "Wagons" if count > 1 else "Wagon", "name them"),
        Line(section=section, key="count", value=str(count), origin="assumed",
             why="a wagon for every 10 t"),
        _said_or(section, "tare", None, written(system.mass, _TARE * each, 4), of),
        _said_or(section, "load", None, written(system.mass, (1 - _TARE) * each, 4), "the rest"),
        _said_or(section, "tyre", None, tyre, "as the engine's, or steel"),
    ]  # fmt: skip


@cache
def _headings() -> tuple[Mapping[str, str], str]:
    """What stands over each section, and after all of them."""
    text = (files("haulplan.begin") / "words.txt").read_text(encoding="utf-8")
    parts = [part.partition("\n") for part in text.split("@")[1:]]
    words = {name.strip(): body.strip() for name, _, body in parts}
    return words, words["more"]


def scenario_text(draft: Draft) -> str:
    """The text of scenario.toml.

    Parameters
    ----------
    draft
        Its lines.

    Returns
    -------
    text
        Commented; what was invented carries the mark.
    """
    headings, more = _headings()
    parts = [headings["top"]]
    section = None
    for line in draft.lines:
        if line.section != section:
            section = line.section
            parts.append("" if not section else f"\n[{section}]")
            if words := headings.get(section.strip("[]")):
                parts.append(words)
        told = {"said": "you said so", "read": line.why}.get(line.origin, f"{MARK}: {line.why}")
        first, *rest = f"{line.key} = {line.value}".split("\n")
        hidden = "# " if line.silent else ""
        parts.append(f"{hidden}{first}".ljust(_COLUMN) + f"  # {told}")
        parts += [f"{hidden}{one}" for one in rest]
    if not any(line.section == "[train.wagons]" for line in draft.lines):
        said = "you said so" if draft.train_said else f"{MARK}: it climbs with none assumed"
        parts.append(f"\n# No wagons: {said}.")
    return "\n".join([*parts, "", more]) + "\n"


def places_table(found: Sequence[Found]) -> str | None:
    """The text of places.csv.

    Parameters
    ----------
    found
        All places; those with water or coal are left out.

    Returns
    -------
    text
        None without any.
    """
    rows = [(place.name, *_where(place), place.kind) for place in found if not place.is_supply]
    return table_csv(("name", "at", "latitude", "longitude", "note"), rows) if rows else None


def supply_table(draft: Draft, supplies: Sequence[Supply]) -> str | None:
    """The text of supply.csv.

    Parameters
    ----------
    draft
        Whose units are written.
    supplies
        As they shall stand there.

    Returns
    -------
    text
        None without any.
    """
    header = ("name", "kind", "at", "latitude", "longitude", "water_available", "water_rate",
              "coal_available", "coal_rate", "set_up", "permit", "note")  # fmt: skip
    water, coal, distance = draft.system.water, draft.system.coal, draft.system.distance

    def amount(unit: DisplayUnit, si: float | None) -> str:
        return "" if si is None else written(unit, si)

    def rate(unit: DisplayUnit, si: float | None) -> str:
        return "" if si is None else f"{_rounded(unit.value(60 * si), 2)} {unit.label}/min"

    rows = [
        (
            s.name, s.kind, "" if s.at is None else f"{distance.value(s.at):.2f} {distance.label}",
            _degrees(s.latitude), _degrees(s.longitude),
            amount(water, s.water_available), rate(water, s.water_rate),
            amount(coal, s.coal_available), rate(coal, s.coal_rate),
            f"{s.set_up / 60:.0f} min", s.permit or "", s.note or "",
        )
        for s in supplies
    ]  # fmt: skip
    return table_csv(header, rows) if rows else None


def _where(place: Found) -> tuple[str, str, str]:
    at = "" if place.at is None else f"{place.at:.1f} m"
    return at, _degrees(place.latitude), _degrees(place.longitude)


def _degrees(angle: float | None) -> str:
    return "" if angle is None else f"{angle:.6f}"
