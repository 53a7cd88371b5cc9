"""Oddities of a record, each named for what it is; a clean record raises none.

A flag is a contradiction or an implausible figure. An ambiguous word is no oddity: it is
told in the reader's note of unit traps.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from haulplan.period.defaults import rules_for
from haulplan.period.explore import Found
from haulplan.period.questions import word_sizes
from haulplan.period.record import Record, Row, Same, Totals
from haulplan.period.weigh import range_of
from haulplan.period.words import Meaning, Statement, meanings
from haulplan.units import UNIT_SYSTEMS, WATER_DENSITY

__all__ = ["RATIO", "Flag", "flags_of"]

#: Water over coal by weight that runs an engine, about: 6 to 8 usual, outside 5 to 8.5 odd.
#: Crews' rule, from memory; the brake runs of 1955-61 span 5.5 to 10.
RATIO: Final = (5.0, 8.5)
#: Fewer combinations than this agree: a far end. Of one figure, and of all together. [-]
_RARE, _RARER = 0.002, 2e-5
#: A printed speed above the law by less than this may be a round figure. [-]
_OVER: Final = 1.05
#: A printed cost may be off by this factor: rounding, and small sums left out.
_COST: Final = 1.15
_LONG_TON, _MILE = 1016.0469088, 1609.344
#: Density of water against temperature, for water given by weight and by volume. [K]
_COLD, _HOT = 273.16, 500.0


@dataclass(frozen=True, kw_only=True)
class Flag:
    """One oddity: its kind, where it stands, and what it is in words."""

    kind: str
    where: str
    words: str


def flags_of(record: Record, found: Found | None) -> tuple[Flag, ...]:
    """Every oddity of a record.

    Parameters
    ----------
    record
        As read.
    found
        Its combinations; None where the record holds only tables.

    Returns
    -------
    flags
        None of them for a clean record.
    """
    file = record.file
    flags = [flag for row in file.rows for flag in _row_flags(record, row)]
    flags += [flag for same in file.same for flag in _same_flags(record, same)]
    if file.totals is not None:
        flags += _total_flags(file.totals)
    if found is not None:
        flags += _ratio_flags(record, found)
        flags += _agreement_flags(found)
        flags += [*_law_flags(record, found), *_crew_flags(record, found)]
        flags += _cost_flags(record, found)
    return tuple(flags)


def _readings(record: Record, said: Statement) -> list[tuple[str, float, float]]:
    """Name, weight and value of a statement under each reading of its first word."""
    words = sorted(said.words)
    if not words:
        return [("as written", 1.0, float(said.value({})))]
    rows = []
    others = {w: np.array(_likeliest(record, w).typical) for w in words[1:]}
    for meaning in meanings(words[0]):
        sizes = {words[0]: np.array(meaning.typical), **others}
        weight = meaning.weights[record.file.country]
        rows.append((meaning.label, weight, float(said.value(sizes))))
    return rows


def _likeliest(record: Record, word: str) -> Meaning:
    return max(meanings(word), key=lambda m: m.weights[record.file.country])


def _row_flags(record: Record, row: Row) -> list[Flag]:
    pairs = [
        (f"{wet}, {dry}", weight * heavy, water / coal)
        for wet, weight, water in _readings(record, row.water)
        for dry, heavy, coal in _readings(record, row.coal)
    ]
    return _ratio_flag(f"table row '{row.name}'", pairs)


def _ratio_flag(where: str, pairs: list[tuple[str, float, float]]) -> list[Flag]:
    likely = [pair for pair in pairs if pair[1] >= 0.02]
    if not likely or any(RATIO[0] <= ratio <= RATIO[1] for _, _, ratio in likely):
        return []
    name, _, ratio = max(likely, key=lambda pair: pair[1])
    side = "more" if ratio > RATIO[1] else "less"
    return [
        Flag(
            kind="implausible ratio",
            where=where,
            words=f"{ratio:.1f} lb of water to 1 lb of coal ({name}): coal gives {RATIO[0]:g} to "
            f"{RATIO[1]:g}; {side} than that points to a misprint, another unit, or fuel or water "
            "that was not counted",
        )
    ]


def _ratio_flags(record: Record, found: Found) -> list[Flag]:
    """The trip's own water over coal, where both are stated by the same measure."""
    use = record.file.use
    carried = use.coal_was == "carried" or any(fuel.endswith("wood") for fuel in use.fuel)
    if use.water is None or use.coal is None or use.water_per != use.coal_per or carried:
        return []
    pairs = [
        (f"{wet}, {dry}", weight * heavy, water / coal)
        for wet, weight, water in _readings(record, use.water)
        for dry, heavy, coal in _readings(record, use.coal)
    ]
    return _ratio_flag("use.water and use.coal", pairs)


def _same_flags(record: Record, same: Same) -> list[Flag]:
    """Water given by weight and by volume: cold, hot, or neither."""
    (_, _, mass), *_ = _readings(record, same.mass)
    steps = same.mass.spread + same.volume.spread
    cold, hot, wrong = [], [], []
    for name, weight, cold_mass in _readings(record, same.volume):
        if weight < 0.02:
            continue
        density = WATER_DENSITY * mass / cold_mass
        if abs(density / WATER_DENSITY - 1) <= steps + 0.005:
            cold.append(name)
        elif (temperature := _temperature(density)) is not None:
            fahrenheit = (temperature - 273.15) * 1.8 + 32
            hot.append(
                f"{name}: {density / 0.45359237 * 3.785411784e-3:.2f} lb a US gallon, "
                f"water at about {5 * round(fahrenheit / 5):.0f} °F "
                f"({temperature - 273.15:.0f} °C)"
            )
        else:
            wrong.append(f"{name}: {density:.0f} kg/m³, no water")
    if cold:
        return []
    if hot:
        words = f"weight and volume agree only if the water was hot ({'; '.join(hot)})"
        if wrong:
            words += f"; not as {'; '.join(wrong)}"
    else:
        words = f"weight and volume cannot both be right ({'; '.join(wrong)})"
    return [Flag(kind="weight against volume", where=same.name, words=words)]


def _temperature(density: float) -> float | None:
    """Temperature at which boiling-pressure water has a density, below 500 K [K]."""
    from chemicals.iapws import iapws97_rho  # noqa: PLC0415  loaded where used
    from chemicals.vapor_pressure import Psat_IAPWS  # noqa: PLC0415
    from scipy.optimize import brentq  # noqa: PLC0415

    def excess(temperature: float) -> float:
        pressure = max(1.0001 * float(Psat_IAPWS(temperature)), 101325.0)
        return float(iapws97_rho(temperature, pressure)) - density

    if not excess(_HOT) < 0 < excess(300.0):
        return None
    return float(brentq(excess, 300.0, _HOT))


def _total_flags(totals: Totals) -> list[Flag]:
    """Averages printed beside totals that do not give them."""
    quotients = {
        f"{what}_per_{of}": number / count
        for what, number in (("tons", totals.tons), ("miles", totals.miles))
        for of, count in (("day", totals.days), ("trip", totals.trips))
        if number is not None and count is not None
    }
    flags = []
    for name, true in quotients.items():
        printed = getattr(totals, name)
        if printed is None or _prints(printed, true):
            continue
        words = name.replace("_per_", " a ")
        kinship = _exchanged(name, printed, quotients)
        flags.append(
            Flag(
                kind="average against totals",
                where=f"totals.{name}",
                words=f"printed {printed} {words}, but the totals give {true:.2f} "
                f"({100 * (float(printed) / true - 1):+.1f} %): a misprint, days not counted "
                f"alike, or another total{kinship}",
            )
        )
    return flags


def _prints(printed: str, value: float) -> bool:
    """Whether a value prints so, rounded or cut."""
    step = 10.0 ** -len(printed.partition(".")[2])
    return abs(float(printed) - value) <= step * 1.0001


def _exchanged(name: str, printed: str, quotients: Mapping[str, float]) -> str:
    others: Iterable[str] = (
        other for other, value in quotients.items() if other != name and _prints(printed, value)
    )
    return "".join(
        f"; it equals {other.replace('_per_', ' a ')}, so two averages may be exchanged"
        for other in others
    )


def _agreement_flags(found: Found) -> list[Flag]:
    """Figures that hardly any combination agrees with."""
    weighing = found.weighing
    held = found.outcome.held
    if weighing.effective == 0.0 or bool(held.all()):
        return [
            Flag(
                kind="no train",
                where="train.load",
                words="no combination takes this load over such a road, even in four parts: look "
                "at load, tare, engine, climb and surface",
            )
        ]
    flags = []
    for pair in weighing.pairs:
        share = weighing.agreeing[pair.name]
        if share < _RARE:
            middle = float(np.nanmedian(np.where(held, np.nan, pair.ratio)))
            side = "less" if middle < 0 else "more"
            flags.append(
                Flag(
                    kind="at odds with the rest",
                    where=pair.name,
                    words=f"'{pair.text}' agrees with {100 * share:.2g} % of the combinations; the "
                    f"model as a rule reckons {side} (by a factor of {np.exp(abs(middle)):.1f})",
                )
            )
    if not flags and weighing.agreeing[""] < _RARER:
        flags.append(
            Flag(
                kind="at odds with the rest",
                where="all figures together",
                words=f"each figure can be, but only {100 * weighing.agreeing['']:.2g} % of the "
                "combinations agree with all of them at once",
            )
        )
    return flags


def _law_flags(record: Record, found: Found) -> list[Flag]:
    """Running faster than the law of the day allowed."""
    engines = found.draws.choices["engine"].labels
    limits = [
        [rule.speed for rule in rules_for(record.file, key) if rule.speed is not None]
        for key in engines
    ]
    time = record.file.time
    if not all(limits) or not (time.running_speed or time.duration or time.journey_speed):
        return []
    law = max(max(speeds) for speeds in limits)
    low, _, _ = range_of("speed", found.outcome["running speed"], found.weighing).after
    if not low > law * _OVER:
        return []
    system = UNIT_SYSTEMS[record.file.units]
    return [
        Flag(
            kind="faster than the law",
            where="time",
            words=f"the engine ran at {system.speed.text(low)} or more, the law allowed "
            f"{system.speed.text(law)} in the country",
        )
    ]


def _crew_flags(record: Record, found: Found) -> list[Flag]:
    """Fewer people than the law of the day wanted, whichever engine it was."""
    crew = record.file.cost.crew
    laws = [
        [rule.crew for rule in rules_for(record.file, key) if rule.speed is not None]
        for key in found.draws.choices["engine"].labels
    ]
    if crew is None or not all(laws) or crew >= min(min(people) for people in laws):
        return []
    least = min(min(people) for people in laws)
    return [
        Flag(
            kind="fewer hands than the law",
            where="cost.crew",
            words=f"{crew} with the engine, the law wanted {least}: attendants not counted, or "
            "not taken",
        )
    ]


def _cost_flags(record: Record, found: Found) -> list[Flag]:
    """A cost by the ton-mile that the total and the ton-miles do not give."""
    said = record.file.cost
    if said.total is None or said.per_ton_mile is None or found.weighing.effective == 0.0:
        return []
    outcome = found.outcome
    ton = word_sizes(found.draws).get("ton", np.full(found.draws.count, _LONG_TON))
    ton_miles = outcome["useful"] / ton * outcome["loaded way"] / _MILE
    low, middle, high = range_of("cost", said.total.amount / ton_miles, found.weighing).after
    if low / _COST <= said.per_ton_mile.amount <= high * _COST:
        return []
    return [
        Flag(
            kind="cost against ton-miles",
            where="cost.per_ton_mile",
            words=f"printed {said.per_ton_mile.text} a ton-mile, but {said.total.text} over the "
            f"useful ton-miles give {said.total.shown(middle)} ({said.total.shown(low)} to "
            f"{said.total.shown(high)}): gross and useful tons, or the empty way, may be mixed",
        )
    ]
