"""Every key and column a person may write, from the schema: what it takes and does."""

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from haulplan.demand.defaults import DEFAULTS
from haulplan.scenario import schema
from haulplan.scenario.classes import class_figures, engine_classes, fuel_figures, fuels
from haulplan.scenario.fields import Reading
from haulplan.scenario.wording import COLUMN_NAMES
from haulplan.stations import schema as event

__all__ = ["Key", "Section", "example_value", "find_keys", "reference", "sections"]

#: The tables of a scenario, in the order a newcomer meets them.
_TABLES: Final[Mapping[str, type[BaseModel]]] = {
    "supply.csv": schema.Supply,
    "bridges.csv": schema.Bridge,
    "places.csv": schema.Place,
    "crossings.csv": schema.LevelCrossing,
    "stores.csv": schema.Store,
    "surfaces.csv": schema.SurfaceRow,
    "route.csv": schema.RoadRow,
    "demand.csv": schema.DemandRow,
}
#: The same of an event; `bridges.csv` is another table there.
_EVENT_TABLES: Final[Mapping[str, type[BaseModel]]] = {
    "fleet.csv": event.FleetRow,
    "mix.csv": event.MixRow,
    "sites.csv": event.SiteRow,
    "hard_standing.csv": event.StandingRow,
    "event/bridges.csv": event.SpanRow,
    "trucks.csv": event.TruckRow,
}
_SI: Final[Mapping[str, str]] = {"length": "m", "mass": "kg", "water": "kg", "coal": "kg"}
_DAY: Final = 86400.0


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key of scenario.toml or one column of a table.

    `takes`, `default`, `says` and `example` are words to show; `default` is "needed" where
    nothing stands for a key left out.
    """

    name: str
    section: str
    takes: str
    default: str
    says: str
    example: str

    @property
    def full_name(self) -> str:
        """The name by which it is looked up, such as "stores.tank" or "supply.lift"."""
        section = self.section.removesuffix(".csv").removesuffix(".toml")
        return self.name if section == "scenario" else f"{section}.{self.name}"


@dataclass(frozen=True, kw_only=True)
class Section:
    """The keys that stand together: the head of scenario.toml, a [section] or a table."""

    name: str
    heading: str
    says: str
    keys: tuple[Key, ...]
    model: type[BaseModel]


@cache
def _meanings() -> Mapping[str, Mapping[str, Sequence[str]]]:
    texts = [
        (files(package) / "meanings.toml").read_text(encoding="utf-8")
        for package in ("haulplan.scenario", "haulplan.stations")
    ]
    return {name: keys for text in texts for name, keys in tomllib.loads(text).items()}


def _parts(annotation: Any) -> tuple[Any, tuple[Any, ...]]:  # noqa: ANN401  any annotation
    """What an annotation holds besides None, and what is noted on it."""
    if type(None) in get_args(annotation):
        (annotation,) = (a for a in get_args(annotation) if a is not type(None))
    noted = getattr(annotation, "__metadata__", ())
    within = [
        m for note in noted for m in (note.metadata if isinstance(note, FieldInfo) else [note])
    ]
    return (get_args(annotation)[0] if noted else annotation), tuple(within)


def _held(annotation: Any) -> tuple[type[BaseModel] | None, bool]:  # noqa: ANN401
    """The section an annotation holds, if it does, and whether there may be several."""
    inner, _ = _parts(annotation)
    several = get_origin(inner) is tuple
    if several:
        inner, _ = _parts(get_args(inner)[0])
    is_section = isinstance(inner, type) and issubclass(inner, BaseModel)
    return (inner if is_section else None), several


def _takes(annotation: Any, noted: Sequence[Any]) -> str:  # noqa: ANN401
    inner, within = _parts(annotation)
    noted = (*noted, *within)
    for note in noted:
        if isinstance(note, Reading):
            return note.takes
    if get_origin(inner) is tuple:
        return f"list of: {_takes(get_args(inner)[0], ())}"
    if get_origin(inner) is Literal:
        return ", ".join(f"`{choice}`" for choice in get_args(inner))
    if inner is bool:
        return "`true`, `false`"
    if inner is str:
        pattern = next((p for n in noted if (p := getattr(n, "pattern", None))), None)
        return "text" if pattern is None else "three capital letters"
    low: Any = next((note.ge for note in noted if hasattr(note, "ge")), None)
    high: Any = next((note.le for note in noted if hasattr(note, "le")), None)
    return f"{'whole number' if inner is int else 'number'}, {low:,.12g} to {high:,.12g}"


def _default(section: str, name: str, field: FieldInfo) -> str:
    if section.partition(".")[0] == "engine" and name in DEFAULTS:
        return DEFAULTS[name].shown
    if field.is_required():
        kinds = {"engine": class_figures("road-locomotive"), "fuel": fuel_figures("dry-wood")}
        own = name in kinds.get(section, {}) and name != "name"
        return "needed, or by `kind`" if own else "needed"
    value, noted = field.default, (*field.metadata, *_parts(field.annotation)[1])
    if value is None or value == ():
        return "-"
    reading = next((note for note in noted if isinstance(note, Reading)), None)
    return _word(value) if reading is None else _figure(reading, value)


def _word(value: Any) -> str:  # noqa: ANN401
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    shown = str(value).lower() if isinstance(value, bool) else str(value)
    return f"`{shown}`" if isinstance(value, (str, bool)) else shown


def _figure(reading: Reading, value: float) -> str:
    """A default of the schema, in SI, as a person would write it."""
    if reading.kind == "clock":
        return f"{int(value // 3600):02}:{int(value % 3600 // 60):02}"
    if math.isinf(value):
        return reading.takes.partition(", or ")[2]
    if value == 0:
        return "0"
    if reading.kind == "duration":
        size, unit = next(
            one for one in ((_DAY, "day"), (60.0, "min"), (1.0, "s")) if value % one[0] == 0
        )
        return f"{value / size:g} {unit}"
    if reading.kind == "share":
        return f"{value * 100:g} %"
    return f"{value:g} {_SI[reading.kind]}"


def _named(section: str, name: str) -> str:
    """The classes and fuels that a `kind` may name."""
    kinds = {"engine": engine_classes, "fuel": fuels, "fleet.csv": engine_classes,
             "mix.csv": engine_classes}  # fmt: skip
    if name != "kind" or section not in kinds:
        return ""
    return ", ".join(f"`{word}`" for word in kinds[section]())


def _section(name: str, heading: str, model: type[BaseModel]) -> Iterator[Section]:
    said = _meanings().get(name, {})
    keys: list[Key] = []
    inner: list[tuple[str, str, type[BaseModel]]] = []
    top = name.endswith(".toml")
    for field_name, field in model.model_fields.items():
        column = COLUMN_NAMES.get(field_name, field_name)
        held, several = _held(field.annotation)
        if held is not None:
            if name == "event.toml" and held.__module__ != event.__name__:
                continue  # the scenario's own section
            path = column if top else f"{name}.{column}"
            inner.append((path, f"[[{path}]]" if several else f"[{path}]", held))
            continue
        says, example = said[column]
        keys.append(
            Key(
                name=column,
                section=name,
                takes=_named(name, column) or _takes(field.annotation, field.metadata),
                default=_default(name, column, field),
                says=says,
                example=example,
            )
        )
    if keys:
        told = " ".join((model.__doc__ or "").split()).removeprefix(f"{name}.").strip()
        yield Section(name=name, heading=heading, says=told, keys=tuple(keys), model=model)
    for path, shown, held in inner:
        yield from _section(path, shown, held)


@cache
def sections() -> tuple[Section, ...]:
    """Every section and table of a scenario and of an event, with its keys.

    Returns
    -------
    sections
        In the order of the schemas, the tables after scenario.toml and event.toml.

    Raises
    ------
    KeyError
        If a key of a schema has no line in meanings.toml.

    Examples
    --------
    >>> [section.name for section in sections()][:4]
    ['scenario.toml', 'aim', 'stores', 'at_start']
    """
    found = [*_section("scenario.toml", "scenario.toml", schema.ScenarioFile)]
    for name, model in _TABLES.items():
        found += _section(name, name, model)
    found += _section("event.toml", "event.toml", event.EventFile)
    for name, model in _EVENT_TABLES.items():
        found += _section(name, name.removeprefix("event/"), model)
    return tuple(found)


def find_keys(name: str) -> tuple[Key, ...]:
    """The keys that a name means.

    Parameters
    ----------
    name
        "stores.tank", "supply.lift", "supply.csv.lift", a section such as "hours" or
        "supply.csv", or a bare key, which may stand in several sections.

    Returns
    -------
    keys
        Empty where nothing has that name.

    Examples
    --------
    >>> [key.full_name for key in find_keys("bunker")]
    ['stores.bunker']
    >>> [key.name for key in find_keys("lighting_up")]
    ['cold', 'banked']
    """
    wanted = name.strip().strip("[]").replace(".csv", "")
    of_tables, of_sections = ".csv" in name, "[" in name
    every = [
        key
        for section in sections()
        for key in section.keys
        if not (of_sections if section.name.endswith(".csv") else of_tables)
    ]
    for names in (
        [key.full_name for key in every],
        [key.section.removesuffix(".csv") for key in every],
        [key.name for key in every],
    ):
        chosen = [key for key, one in zip(every, names, strict=True) if one == wanted]
        if chosen:
            return tuple(chosen)
    return ()


def reference(of: Literal["scenario", "event"]) -> str:
    """The reference of all keys, in Markdown.

    Parameters
    ----------
    of
        Which folder.

    Returns
    -------
    text
        A table for each section.
    """
    blocks = []
    begin = next(n for n, section in enumerate(sections()) if section.name == "event.toml")
    for section in sections()[begin:] if of == "event" else sections()[:begin]:
        rows = [
            f"| `{key.name}` | {_cell(key.takes)} | `{_cell(key.example)}` | {_cell(key.default)} "
            f"| {_cell(key.says)} |"
            for key in section.keys
        ]
        head = "| key | takes | for example | if left out | says |\n|---|---|---|---|---|"
        if section.name.endswith(".csv"):
            head = head.replace("| key |", "| column |")
        says = f"{section.says}\n\n" if section.says else ""
        blocks.append(f"## {section.heading}\n\n{says}{head}\n" + "\n".join(rows))
    return "\n\n".join(blocks) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def example_value(key: Key) -> Any:  # noqa: ANN401  whatever a scenario may hold
    """The example of a key as a file would give it.

    Parameters
    ----------
    key
        Of scenario.toml or of a table.

    Returns
    -------
    value
        As TOML has it, or the text of a cell.
    """
    if key.section.endswith(".csv"):
        return key.example
    return tomllib.loads(f"x = {key.example}")["x"]
