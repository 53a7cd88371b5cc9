"""Every assumption of a reconstruction with its status, and words that mislead."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from haulplan.demand.defaults import DEFAULTS, SURFACES, WEATHER
from haulplan.period.defaults import Rule, band, candidate_engines, entries, rules_for
from haulplan.period.explore import Found
from haulplan.period.record import Record
from haulplan.period.trip import MODEL_DEFAULTS
from haulplan.period.weigh import Reading
from haulplan.period.words import Money, meanings

__all__ = ["Item", "items_of", "stated_items", "traps_of"]


@dataclass(frozen=True, kw_only=True)
class Item:
    """One assumption: `status` is stated, derived, class default or guess."""

    name: str
    value: str
    status: str
    source: str


def traps_of(record: Record, readings: Sequence[Reading]) -> tuple[str, ...]:
    """A reader's note on words that mislead.

    Parameters
    ----------
    record
        As read.
    readings
        With their weights.

    Returns
    -------
    notes
        Plain text.
    """
    notes = []
    after = {(r.question, r.answer): r.after for r in readings}
    words = {word for said in record.statements.values() for word in said.words}
    for word in sorted(words):
        parts = [
            m.label + (f": {100 * after[word, m.label]:.0f} %" if (word, m.label) in after else "")
            for m in meanings(word)
            if m.weights[record.file.country] > 0
        ]
        notes.append(f"'{word}' may mean: {'; '.join(parts)}")
    file = record.file
    if file.engine.nominal_power is not None:
        notes.append(
            f"'{file.engine.nominal_power}': nominal horsepower is a size, not a power, and is not "
            "reckoned with; one engine of 32 nominal gave 110 to 125 at the brake (trial of 1909), "
            "and makers rated the same engine anew"
        )
    if file.train.load is not None and file.train.load_is == "not stated":
        notes.append(
            "the load may be what was paid for, or with the wagons, or the whole train: about two "
            "fifths of what moves is paying load"
        )
    if file.way is not None and file.way.distance_is == "not stated":
        notes.append("a 'trip' may be one way or there and back")
    if file.use.coal is not None and file.use.coal_was != "burnt":
        notes.append("coal 'taken' may be carried and not all burnt")
    return tuple(notes)


def stated_items(record: Record) -> list[Item]:
    """What the source states, and what it says it does not.

    Parameters
    ----------
    record
        As read.

    Returns
    -------
    items
        Of status "stated".
    """
    items = [
        Item(name=name, value=said.text, status="stated", source=record.file.source)
        for name, said in record.statements.items()
    ]
    for section in ("engine", "train", "way", "time", "use", "cost"):
        part = getattr(record.file, section)
        for name in type(part).model_fields if part is not None else ():
            value = getattr(part, name)
            if isinstance(value, Money):
                value = value.text
            plain = isinstance(value, str | int) or (isinstance(value, tuple) and value)
            if plain and value not in {"not stated", "trip", "tare"}:
                shown = ", ".join(value) if isinstance(value, tuple) else str(value)
                items.append(
                    Item(
                        name=f"{section}.{name}", value=shown, status="stated",
                        source=record.file.source,
                    )
                )  # fmt: skip
    items += [
        Item(name="not stated", value=words, status="stated", source=record.file.source)
        for words in record.file.not_stated
    ]
    return items


_STATUS: Final = {"published": "class default", "from memory": "class default"}


def _item(name: str, value: str, status: str, source: str) -> Item:
    kept = _STATUS.get(status, "guess")
    where = source if status == "published" else f"{status}: {source}"
    return Item(name=name, value=value, status=kept, source=where)


def items_of(record: Record, found: Found) -> tuple[Item, ...]:
    """Every assumption with its status.

    Parameters
    ----------
    record, found
        The trip and its combinations.

    Returns
    -------
    items
        Stated first.
    """
    items = stated_items(record)
    items += [
        Item(name=name, value="see the ranges", status="derived", source=how)
        for name, how in _DERIVED
    ]
    for engine in candidate_engines(record.file):
        items.append(_item("engine of the period", engine.title, engine.status, engine.source))
        items += [
            _item(f"{engine.key}: {name.replace('_', ' ')}", row.shown, row.status, row.source)
            for name, row in engine.figures.items()
        ]
        items += [
            _item("rule of the road", f"{rule.title}: {_rule(rule)}", rule.status, rule.source)
            for rule in rules_for(record.file, engine.key)
        ]
    for key in ("climb", "undulation", "hill", "pace", "standing", "crew", "headwind", "hours"):
        row, title = band("work", key), entries()["work"][key]["title"]
        items.append(_item(title, row.shown, row.status, row.source))
    wagon = entries()["wagons"][record.file.train.wagon]
    items.append(
        _item(wagon["title"], "{} ({} to {})".format(*_middle_first(wagon["share"])),
              wagon["status"], wagon["source"])
    )  # fmt: skip
    items += _choice_items(record, found)
    items += _model_items(found)
    return tuple(items)


def _middle_first(share: list[float]) -> list[float]:
    return [share[1], share[0], share[2]]


def _rule(rule: Rule) -> str:
    """A rule's figures in words, as the law has them."""
    mph = 0.44704
    parts = [f"{rule.crew} people"]
    if rule.speed is not None:
        parts.append(f"{rule.speed / mph:g} mph in the country")
    if rule.town_speed is not None:
        parts.append(f"{rule.town_speed / mph:g} mph in towns")
    return ", ".join(parts)


_DERIVED: Final = (
    ("gross weight", "useful load, wagons by their share, engine with half its water and coal"),
    ("time standing", "running time and the share of a journey spent standing"),
    ("stops for water", "water used over the tank, filled at the start"),
    ("coal for lighting up", "heat into a cold boiler, water and metal"),
    ("the likely run", "likeliest reading of every choice, middling figures under it"),
)


def _choice_items(record: Record, found: Found) -> list[Item]:
    """Weights before reckoning of every reading and choice."""
    items = []
    for choice in found.draws.choices.values():
        if sum(prior > 0 for prior in choice.prior) < 2:
            continue
        shown = "; ".join(
            f"{label} {100 * prior:.0f} %"
            for label, prior in zip(choice.labels, choice.prior, strict=True)
        )
        section = {"surface": "roads", "fuel": "fuels"}.get(choice.name)
        source = "weights before reckoning: ours"
        if section is not None:
            source = str(entries()[section][record.file.country]["source"])
        items.append(
            Item(name=f"reading: {choice.name}", value=shown, status="guess", source=source)
        )
    items.append(
        Item(
            name="tolerance of a printed figure",
            value="half its last step, and 5 % (15 % where 'about')",
            status="guess",
            source="ours",
        )
    )
    return items


def _model_items(found: Found) -> list[Item]:
    """Defaults of the steam model that were used."""
    rows = [(name.replace("_", " "), DEFAULTS[name]) for name in MODEL_DEFAULTS]
    for name in found.draws.choices["surface"].labels:
        rows.append((f"rolling on {name}, iron tyres", SURFACES[name].steel))
    for name in found.draws.choices["road state"].labels:
        if name != "dry":
            rows.append((f"{name}: rolling on hard roads", WEATHER[name].hard))
            rows.append((f"{name}: rolling on soft roads", WEATHER[name].soft))
    return [_item(name, row.shown, row.status, row.source) for name, row in rows]
