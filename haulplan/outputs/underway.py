"""Answers for a crew on the road, on the terminal: a revision, and the drills."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from haulplan.outputs.blocks import listed, table_of, words
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import FIRES
from haulplan.outputs.tables import Cell, clock_text, frame_of, plain, to_csv, whole_minutes
from haulplan.scenario import Scenario
from haulplan.underway.drills import Drill
from haulplan.underway.onward import Onward
from haulplan.underway.overrun import Overrun
from haulplan.underway.revise import Revision
from haulplan.underway.task import DAY
from haulplan.underway.turnback import Return
from haulplan.units import UnitSystem

if TYPE_CHECKING:
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = [
    "drill_row",
    "drills_csv",
    "over_words",
    "render_drills",
    "render_revision",
]

_WORDS: Mapping[str, str] = {
    "go on": "GO ON",
    "go on over the hours": "GO ON, OVER THE HOURS: no way keeps them with water and coal",
    "go on into the reserve": "GO ON, INTO THE RESERVE: no way keeps it",
    "turn back": "TURN BACK",
    "stay": "STAND WHERE YOU ARE, and have water brought",
}


def render_revision(scenario: Scenario, revision: Revision, system: UnitSystem) -> "Group":
    """A revision, the order first.

    Parameters
    ----------
    scenario
        Of the whole run.
    revision
        The answer.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    parts: list[RenderableType] = [
        words(scenario.file.title),
        words(_read(scenario, revision, system)),
    ]
    if scenario.file.nights.most:
        parts.append(words(_today(scenario, revision)))
    if revision.off_plan is not None:
        parts.append(words(f"Against the plan here: {_off(revision.off_plan, system)}"))
    parts += [words(""), words(_order(revision), bold=True)]
    parts.append(listed(_reasons(revision, system)))
    final = revision.after if revision.verdict == "turn back" else revision.ahead
    if final is not None:
        lead = "Then on from there" if revision.verdict == "turn back" else "The rest"
        parts += [words(""), words(lead, bold=True), _stops(final, system)]
    if revision.returns:
        parts += [words(""), words("Known water behind", bold=True)]
        parts.append(_returns(revision.returns, system))
    if revision.why_not:
        parts += [words(""), words("Why not as planned (distances from here)", bold=True)]
        parts.append(listed(revision.why_not.removeprefix("no plan: ").splitlines()))
    parts += [words(""), words("Cautions", bold=True), listed([*_TURNING, *CAUTIONS])]
    return Group(*parts)


def _read(scenario: Scenario, revision: Revision, system: UnitSystem) -> str:
    """What was read, and whether on leaving a stop."""
    reading, water = revision.reading, system.water
    share = 100 * reading.water / scenario.file.stores.tank
    cart = ""
    if any(store.kind == "cart" for store in scenario.stores) and reading.cart is not None:
        cart = f", cart {water.text(reading.cart)}"
    return (
        f"At {system.distance.text(reading.distance)}{', leaving' if reading.leaving else ''}, "
        f"{clock_text(reading.clock)}: tank {water.text(reading.water)} ({share:.0f} %), "
        f"bunker {system.coal.text(reading.coal)}{cart}"
    )


def _today(scenario: Scenario, revision: Revision) -> str:
    """Which day it is reckoned for, and until when wheels may turn."""
    date = scenario.file.date + dt.timedelta(days=revision.day)
    until = ""
    if revision.until < DAY:
        until = f": wheels may turn until {clock_text(revision.until)}"
    return f"Day {revision.day + 1} of the run, {date:%A} {date.isoformat()}{until}"


_TURNING = (
    "Turn the train only where it can be turned and the road allows it; none of this knows "
    "the place.",
)


def _off(off: tuple[float, float, float], system: UnitSystem) -> str:
    late = whole_minutes(off[0])
    parts = [f"{abs(late)} min {'late' if late > 0 else 'early'}" if late else "on time"]
    for unit, value, name in ((system.water, off[1], "water"), (system.coal, off[2], "coal")):
        side = "less" if value < 0 else "more"
        number = unit.number(abs(value))
        parts.append(
            f"{number} {unit.label} {side} {name}" if number != "0" else f"{name} as planned"
        )
    return ", ".join(parts)


def _order(revision: Revision) -> str:
    order = _WORDS[revision.verdict]
    if revision.verdict == "turn back" and revision.back is not None:
        return f"{order} to {plain(revision.back.name)}"
    return order


def _reasons(revision: Revision, system: UnitSystem) -> list[str]:
    """Next action, last point, what changed, in the order a crew wants them."""
    reasons = []
    ahead, back = revision.ahead, revision.back
    if revision.verdict == "turn back" and back is not None:
        reasons.append(
            f"{plain(back.name)} is at {system.distance.text(back.distance)}: there "
            f"{clock_text(back.arrive)} with {system.water.text(back.water)} and "
            f"{system.coal.text(back.coal)}"
        )
        reasons += [f"on reaching it {past}" for past in _past(back)]
        if revision.after is None:
            reasons.append("no plan leads on from there: have brought what is short")
    elif ahead is not None:
        reasons.append(_next(ahead, system))
    final = revision.after if revision.verdict == "turn back" else ahead
    if final is not None:
        if final.reserve < 1.0:
            reasons.append(
                f"the tank falls to {system.water.text(final.lowest[0])} at "
                f"{system.distance.text(final.lowest[1])}"
            )
        for unit, lacking, name in zip(
            (system.water, system.coal), final.short, ("water", "coal"), strict=True
        ):
            if lacking > 0:
                reasons.append(f"at the finish {unit.text(lacking)} of {name} less than wanted")
        reasons += [over_words(one) for one in final.over]
        reasons += [
            f"the night: {plain(call.name)}, {FIRES.get(call.fire, call.fire)}"
            for call in final.calls
            if call.fire is not None
        ]
    reasons += _last_point(back, system)
    reasons += [f"not stopped at any more: {plain(name)}" for name in revision.dropped]
    reasons += [f"new stop: {plain(name)}" for name in revision.added]
    if revision.late is not None:
        late = whole_minutes(revision.late)
        side = "later" if late > 0 else "earlier"
        reasons.append(
            f"the finish is reached {abs(late)} min {side} than planned"
            if late
            else "the finish is reached when planned"
        )
    return reasons


def over_words(over: Overrun) -> str:
    """A limit of the clock that is not kept, in a sentence.

    Parameters
    ----------
    over
        By how much, and where to stand instead.

    Returns
    -------
    words
        Without a full stop.
    """
    minutes = f"{whole_minutes(over.by)} min"
    stand = "no place to stand is reached in time"
    if over.clock:
        stand = f"to keep it stand at {plain(over.name)}, there {clock_text(over.clock)}"
    return {
        "crew": f"the crew is {minutes} over its hours on day {over.day + 1}; {stand}, or have a "
        "relief crew",
        "light": f"wheels turn {minutes} after they must stop on day {over.day + 1}; {stand}",
        "meal": f"no stop for {plain(over.name)} in its time",
        "call": f"the call at {plain(over.name)} is made at {clock_text(over.clock)}, outside its "
        "hours or day",
        "duty": f"{plain(over.name)} falls due {minutes} before the stop it is done at",
    }[over.kind]


def _next(ahead: Onward, system: UnitSystem) -> str:
    here, following = ahead.calls[0], ahead.calls[1]
    takes = _takes(following.water, following.coal, system)
    if following.kind == "supply" and following.distance - here.distance <= 1.0:
        return f"take {takes} here"
    next_stop = (
        f"next: {plain(following.name)}, at {system.distance.text(following.distance)}, "
        f"there {clock_text(following.arrive)} with {system.water.text(following.tank)} and "
        f"{system.coal.text(following.bunker)}"
    )
    return f"{next_stop}; take {takes}" if following.kind == "supply" else next_stop


def _takes(water: float, coal: float, system: UnitSystem) -> str:
    amounts = [
        f"{unit.text(amount)} of {name}"
        for unit, amount, name in ((system.water, water, "water"), (system.coal, coal, "coal"))
        if unit.number(amount) != "0"
    ]
    return " and ".join(amounts) or "nothing"


def _past(back: Return) -> list[str]:
    """By how much going back does not keep the clock's own limits."""
    told = []
    if back.crew:
        told.append(f"the crew is {whole_minutes(back.crew)} min over its hours")
    if back.light:
        told.append(f"it is {whole_minutes(back.light)} min after wheels must stop")
    return told


def _last_point(back: Return | None, system: UnitSystem) -> list[str]:
    if back is None:
        return ["known water behind: none, or the way back is not reckoned"]
    name, road = plain(back.name), system.distance
    if back.last is not None:
        return [f"last point to turn back to {name}, reserve kept: {road.text(back.last)}"]
    if back.bottom is not None:
        return [
            f"turning back to {name} eats into the reserve; tank empty there if turned at "
            f"{road.text(back.bottom)}"
        ]
    return ["too late to turn back to any known water"]


def _stops(onward: Onward, system: UnitSystem) -> "Table":
    water, coal, road = system.water, system.coal, system.distance
    table = table_of(
        (
            (f"At\n{road.label}", ">"), ("Stop", "<"), ("Arrive", ">"), ("Leave", ">"),
            (f"Tank\n{water.label}", ">"), (f"Take\n{water.label}", ">"),
            (f"Bunker\n{coal.label}", ">"), (f"Take\n{coal.label}", ">"),
        )
    )  # fmt: skip
    for call in onward.calls:
        supply = call.kind == "supply"
        table.add_row(
            road.number(call.distance),
            words("\n - ".join([call.name[:60], *call.doing])),
            "" if call.kind == "start" else clock_text(call.arrive),
            "" if call.kind == "finish" else clock_text(call.depart),
            water.number(max(call.tank, 0.0)),
            water.number(call.water) if supply else "",
            coal.number(max(call.bunker, 0.0)),
            coal.number(call.coal) if supply else "",
        )
    return table


def _returns(returns: Sequence[Return], system: UnitSystem) -> "Table":
    water, coal, road = system.water, system.coal, system.distance
    table = table_of(
        (
            ("Water", "<"), (f"At\n{road.label}", ">"), ("There\nat", ">"),
            (f"Tank\n{water.label}", ">"), (f"Bunker\n{coal.label}", ">"),
            (f"Last point\nreserve, {road.label}", ">"), (f"Last point\nempty, {road.label}", ">"),
        )
    )  # fmt: skip
    for one in returns:
        note = "" if one.open else "\n(closed then)"
        note += "".join(f"\n({past})" for past in _past(one))
        table.add_row(
            words(f"{one.name[:60]}{note}"),
            road.number(one.distance),
            clock_text(one.arrive),
            water.number(max(one.water, 0.0)),
            coal.number(max(one.coal, 0.0)),
            "too late" if one.last is None else road.number(one.last),
            "too late" if one.bottom is None else road.number(one.bottom),
        )
    return table


def render_drills(title: str, drills: Sequence[Drill], system: UnitSystem) -> "Group":
    """The drills as a table of consequences and standing answers.

    Parameters
    ----------
    title
        Of the run.
    drills
        As run.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load

    table = table_of(
        (
            ("If", "<"), (f"Seen at\n{system.distance.label}", ">"), ("Arrive", ">"),
            ("Later\nmin", ">"), (f"Least\n{system.water.label}", ">"), ("Then", "<"),
        )
    )  # fmt: skip
    for drill in drills:
        row = drill_row(drill, system)
        table.add_row(
            words(str(row["if"])), *(str(row[key]) for key in list(row)[1:5]),
            words(_then(drill, system)), end_section=True,
        )  # fmt: skip
    return Group(words(f"Drills: {title}", bold=True), table, words(""), listed(CAUTIONS))


def _then(drill: Drill, system: UnitSystem) -> str:
    if drill.last is None:
        return drill.answer
    return (
        f"{drill.answer}. From the stop before, turning back to {drill.turn_to} keeps the "
        f"reserve until {system.distance.text(drill.last)}"
    )


def drill_row(drill: Drill, system: UnitSystem) -> dict[str, Cell]:
    """One drill, cell by column.

    Parameters
    ----------
    drill
        As run.
    system
        The units to show.

    Returns
    -------
    row
        Cells by column, units in the columns' names.
    """
    final: Onward | None = None
    if drill.revision is not None:
        back = drill.revision.verdict == "turn back"
        final = drill.revision.after if back else drill.revision.ahead
    return {
        "if": plain(drill.name),
        f"seen at [{system.distance.label}]": (
            "" if drill.revision is None else system.distance.number(drill.distance)
        ),
        "arrive": "" if final is None else clock_text(final.plan.arrival),
        "later [min]": "" if drill.late is None else whole_minutes(drill.late),
        f"least in tank [{system.water.label}]": (
            "" if final is None else system.water.number(max(final.lowest[0], 0.0))
        ),
        "then": plain(drill.answer),
        "turn back to": plain(drill.turn_to),
        f"last point [{system.distance.label}]": (
            "" if drill.last is None else system.distance.number(drill.last)
        ),
    }


def drills_csv(drills: Sequence[Drill], system: UnitSystem) -> str:
    """The drills as CSV text.

    Parameters
    ----------
    drills
        As run.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row for each.
    """
    return to_csv(frame_of([drill_row(drill, system) for drill in drills]))
