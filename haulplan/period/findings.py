"""Everything that a reconstruction says, put together."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.period.cases import Case, case_of, published_cases
from haulplan.period.defaults import check_record
from haulplan.period.explore import Found, explore
from haulplan.period.flags import Flag, flags_of
from haulplan.period.items import Item, items_of, stated_items, traps_of
from haulplan.period.likely import Likely, likely_run
from haulplan.period.questions import word_sizes
from haulplan.period.record import Record, read_record
from haulplan.period.run import Variant, solve_run
from haulplan.period.trip import Outcome, reckon
from haulplan.period.weigh import Range, Reading, Weighing, range_of, readings_of

__all__ = [
    "Implied",
    "Reconstruction",
    "RoadState",
    "read_and_reconstruct",
    "reconstruct",
]

Array = NDArray[np.float64]

#: Figures a record leaves out: name, kind of figure, key of the outcome.
_MISSING: Final = (
    ("gross weight moved, engine and all", "mass", "gross"),
    ("useful load", "mass", "useful"),
    ("wagons' weight", "mass", "tare"),
    ("engine as it ran", "mass", "engine"),
    ("way loaded", "distance", "loaded way"),
    ("way empty", "distance", "empty way"),
    ("climb", "climb", "climb"),
    ("share of the way on which the train went up in parts", "share", "parted"),
    ("stops for water", "count", "stops"),
    ("time under way", "duration", "running"),
    ("time standing", "duration", "standing"),
    ("whole time", "duration", "total"),
    ("working days", "count", "days"),
    ("running speed", "speed", "running speed"),
    ("journey speed", "speed", "journey speed"),
    ("water in all", "water", "water"),
    ("coal in all", "coal", "coal"),
    ("coal under way", "coal", "running coal"),
    ("coal standing", "coal", "standing coal"),
    ("coal for lighting up", "coal", "lighting coal"),
    ("coal for banking", "coal", "banking coal"),
)


@dataclass(frozen=True, kw_only=True)
class Implied:
    """A figure that follows: by the record's own numbers (None where it has none), reckoned."""

    name: str
    kind: str
    record: Range | None
    reckoned: Range | None


@dataclass(frozen=True, kw_only=True)
class RoadState:
    """The same way in one state of the road; `refused` is the share of trains a hill stops."""

    name: str
    after: float
    water: Range
    coal: Range
    total: Range
    parted: Range
    refused: float


@dataclass(frozen=True, kw_only=True)
class Reconstruction:
    """A record with all that follows from it."""

    record: Record
    count: int
    seed: int
    effective: float
    agreeing: float
    readings: tuple[Reading, ...]
    missing: tuple[tuple[str, Range], ...]
    implied: tuple[Implied, ...]
    states: tuple[RoadState, ...]
    flags: tuple[Flag, ...]
    traps: tuple[str, ...]
    items: tuple[Item, ...]
    own_case: Case | None
    cases: tuple[Case, ...]
    likely: Likely | None
    variants: tuple[Variant, ...]
    coal_price: float | None


def read_and_reconstruct(
    path: Path | str,
    *,
    count: int,
    seed: int,
    planned: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> Reconstruction:
    """Read a record file and reckon what follows.

    Parameters
    ----------
    path
        The file.
    count, seed, planned, progress
        As for `reconstruct`.

    Returns
    -------
    reconstruction
        Everything.

    Raises
    ------
    InputError
        If the record has faults.
    """
    progress("reading the record")
    record = read_record(path, check=check_record)
    return reconstruct(record, count=count, seed=seed, planned=planned, progress=progress)


def reconstruct(
    record: Record,
    *,
    count: int = 100_000,
    seed: int = 1,
    planned: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> Reconstruction:
    """Reckon what a record implies, whether it holds together, and how the trip was run.

    Parameters
    ----------
    record
        As read.
    count
        Combinations in the last round of sampling.
    seed
        Of the generator; the same seed gives the same answer.
    planned
        Whether to put the likely run to the planner.
    progress
        Told what is being done.

    Returns
    -------
    reconstruction
        Everything.
    """
    found = None
    if record.file.way is not None:
        progress("trying combinations")
        found = explore(record, count, seed)
    flags = flags_of(record, found)
    alive = found is not None and found.weighing.effective > 0
    if found is None or not alive:
        return _tables_only(record, count, seed, flags)
    likely = likely_run(record, found)
    variants = solve_run(likely, progress=progress) if planned else ()
    progress("comparing with published cases")
    readings = readings_of(found.draws, found.weighing)
    return Reconstruction(
        record=record,
        count=count,
        seed=seed,
        effective=found.weighing.effective,
        agreeing=found.weighing.agreeing[""],
        readings=tuple(readings),
        missing=tuple(
            (kind, range_of(name, found.outcome[key], found.weighing))
            for name, kind, key in _MISSING
        ),
        implied=_implied(record, found),
        states=_states(record, found),
        flags=flags,
        traps=traps_of(record, readings),
        items=items_of(record, found),
        own_case=case_of("this record", record),
        cases=published_cases(),
        likely=likely,
        variants=variants,
        coal_price=_coal_price(record, found),
    )


def _tables_only(record: Record, count: int, seed: int, flags: tuple[Flag, ...]) -> Reconstruction:
    """A record that holds no trip, or one that no combination can run."""
    return Reconstruction(
        record=record, count=count, seed=seed, effective=0.0, agreeing=0.0, readings=(),
        missing=(), implied=(), states=(), flags=flags, traps=traps_of(record, []),
        items=tuple(stated_items(record)), own_case=None, cases=published_cases(), likely=None,
        variants=(), coal_price=None,
    )  # fmt: skip


def _coal_price(record: Record, found: Found) -> float | None:
    """The stated price of coal, in pence or dollars per kilogram."""
    said = record.file.cost
    if said.coal_price is None or said.coal_price_per is None:
        return None
    mass = said.coal_price_per.value(word_sizes(found.draws)) + np.zeros(found.draws.count)
    return said.coal_price.amount / range_of("", mass, found.weighing).after[1]


def _implied(record: Record, found: Found) -> tuple[Implied, ...]:
    """Figures by the mile and ton-mile, ratio, speeds and cost."""
    outcome, weighing = found.outcome, found.weighing
    own = _own_totals(record, found)
    bases = {
        "a mile": outcome["way"],
        "a gross ton-mile": outcome["gross ton-metres"],
        "a useful ton-mile": outcome["useful"] * outcome["loaded way"],
    }
    rows = []
    for what, key in (("coal", "coal counted"), ("water", "water")):
        total = own[what]
        for name, base in bases.items():
            title = f"{what} {name}"
            said = None if total is None else range_of(title, total / base, weighing)
            kind = f"{what} {name.removeprefix('a ')}"
            rows.append(
                Implied(
                    name=title, kind=kind, record=said,
                    reckoned=range_of(title, outcome[key] / base, weighing),
                )
            )  # fmt: skip
    coal, water = own["coal"], own["water"]
    both = None if coal is None or water is None else range_of("ratio", water / coal, weighing)
    rows.append(
        Implied(
            name="water over coal, by weight",
            kind="ratio",
            record=both,
            reckoned=range_of("ratio", outcome["water"] / outcome["coal counted"], weighing),
        )
    )
    for name in ("running speed", "journey speed"):
        rows.append(
            Implied(
                name=name, kind="speed", record=_own_speed(record, found, name),
                reckoned=range_of(name, outcome[name], weighing),
            )
        )  # fmt: skip
    return (*rows, *_costs(record, found))


def _own_totals(record: Record, found: Found) -> dict[str, Array | None]:
    """Coal and water of the trip by the record's own figures [kg]."""
    totals: dict[str, Array | None] = {"coal": None, "water": None}
    names = {"coal": "coal counted", "water": "water"}
    ratio = {pair.name: pair.ratio for pair in found.weighing.pairs}
    for what, key in names.items():
        pair = ratio.get(f"use.{what}")
        said = getattr(record.file.use, what)
        carried = what == "coal" and record.file.use.coal_was == "carried"
        if pair is not None and said.bound in {"equal", "about"} and not carried:
            with np.errstate(invalid="ignore"):
                totals[what] = found.outcome[key] / np.exp(pair)
    return totals


def _own_speed(record: Record, found: Found, name: str) -> Range | None:
    time = record.file.time
    sizes = word_sizes(found.draws)
    said = time.running_speed if name == "running speed" else time.journey_speed
    if said is not None:
        return range_of(name, said.value(sizes) + np.zeros(found.draws.count), found.weighing)
    running = time.duration_is == "running"
    if time.duration is None or running is not (name == "running speed"):
        return None
    return range_of(name, found.outcome["way"] / time.duration.value(sizes), found.weighing)


def _costs(record: Record, found: Found) -> list[Implied]:
    """Money a useful ton-mile and a ton of coal, in pence or dollars."""
    said = record.file.cost
    ton_metres = found.outcome["useful"] * found.outcome["loaded way"]
    rows = []
    for money, base, name, kind in (
        (said.total, ton_metres, "cost a useful ton-mile", "money useful ton-mile"),
        (said.coal_bill, found.outcome["coal"], "price of the coal, a ton", "money ton"),
    ):
        if money is not None:
            values = money.amount / base
            rows.append(
                Implied(
                    name=name, kind=kind, record=None,
                    reckoned=range_of(name, values, found.weighing),
                )
            )  # fmt: skip
    return rows


def _states(record: Record, found: Found) -> tuple[RoadState, ...]:
    """The same way dry, wet and muddy, all else as it agrees with the record."""
    weight = found.weighing.weight
    rows = []
    own = found.draws.choices["road state"]
    for name in ("dry", "wet", "mud"):
        outcome: Outcome = reckon(record, found.draws, state=name)
        held = outcome.held
        kept = Weighing(
            prior=np.where(held, 0.0, weight), weight=np.where(held, 0.0, weight), pairs=(),
            agreeing={}, effective=0.0,
        )  # fmt: skip
        after = weight[own.chosen(name)].sum() / weight.sum() if name in own.labels else 0.0
        rows.append(
            RoadState(
                name=name,
                after=float(after),
                **{
                    key: range_of(key, outcome[key], kept)
                    for key in ("water", "coal", "total", "parted")
                },
                refused=float(weight[held].sum() / weight.sum()),
            )
        )
    return tuple(rows)
