"""The sums a phone does with a plan in the pocket: what a look at the dip means for the run.

The page's own script does these same sums in the same order in the same double precision,
so that its figures are these to the last printed digit; a test holds the two together.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from haulplan.underway.pocket import Pocket, PocketStop

__all__ = ["LEAST", "MOST", "NEAR", "SHRINK", "Look", "day_at", "reckon"]

#: So near a place is at it, in the reader's distance. [mi or km]
NEAR: Final = 0.05
#: The day's thirst is believed as if this share of a tank had already been used as tabled:
#: haulplan's assumption, so that one short leg moves little.
SHRINK: Final = 0.5
#: A thirst beyond this is a slip of the pen. [-]
LEAST, MOST = 0.6, 1.8
_DAY: Final = 86400.0


@dataclass(frozen=True, kw_only=True)
class Look:
    """One look: where, when [s], the dip, the level after filling, bags burnt since."""

    at: float
    clock: float
    dip: float
    filled: float | None = None
    bags: float | None = None

    @property
    def level(self) -> float:
        """What the tank holds on leaving."""
        return self.dip if self.filled is None else self.filled


def _at(pocket: Pocket, name: str, at: float) -> float:
    """A column of the table at a distance, straight between rows."""
    rows = pocket.rows
    if at <= rows[0].at:
        return float(getattr(rows[0], name))
    for before, after in pairwise(rows):
        if at <= after.at:
            share = (at - before.at) / (after.at - before.at)
            low, high = float(getattr(before, name)), float(getattr(after, name))
            return low + share * (high - low)
    return float(getattr(rows[-1], name))


def day_at(pocket: Pocket, at: float, hour: float) -> int:
    """The day of the run on which the plan passes a place nearest to a time of day.

    Parameters
    ----------
    pocket
        The plan's tables.
    at
        In the reader's distance.
    hour
        Since midnight. [s]

    Returns
    -------
    day
        The first being 0.
    """
    stop = next((s for s in pocket.stops[:-1] if abs(s.at - at) <= NEAR), None)
    arrive = _at(pocket, "clock", at) if stop is None else stop.arrive
    leave = arrive if stop is None else stop.leave
    best, least = 0, math.inf
    for day in range(len(pocket.days)):
        clock = hour + _DAY * day
        off = max(arrive - clock, clock - leave, 0.0)
        if off < least:
            best, least = day, off
    return best


def _day(pocket: Pocket, clock: float) -> int:
    """The day of the run that a clock is of."""
    return min(max(math.floor(clock / _DAY), 0), len(pocket.days) - 1)


def _hour(pocket: Pocket, clock: float) -> float:
    """The time of day; past midnight it runs on in a run of one day."""
    return clock - _DAY * _day(pocket, clock)


def _done(pocket: Pocket, stop: PocketStop, look: Look) -> bool:
    """Whether what the plan does at the stop where a look was taken is done."""
    if stop.fire != "":
        return _day(pocket, look.clock) > _day(pocket, stop.arrive)
    if stop.has_water:
        return look.filled is not None
    return look.clock - stop.arrive > stop.leave - look.clock


def _thirst(pocket: Pocket, looks: Sequence[Look]) -> float:
    """The day's use over the table's, drawn towards 1."""
    used = tabled = SHRINK * pocket.tank
    for before, after in pairwise(looks):
        gone = before.level - after.dip
        for stop in pocket.stops[:-1]:
            here = abs(stop.at - before.at) <= NEAR and not _done(pocket, stop, before)
            if here or before.at + NEAR < stop.at < after.at - NEAR:
                gone -= stop.burns
        if after.at - before.at > NEAR and gone > 0:
            used += gone
            tabled += _at(pocket, "water", after.at) - _at(pocket, "water", before.at)
    return min(max(used / tabled, LEAST), MOST)


def _burnt(pocket: Pocket, looks: Sequence[Look]) -> float:
    """Coal in the bags counted, below zero where none is."""
    bags, counted = 0.0, False
    for look in looks:
        if look.bags is not None:
            bags += look.bags
            counted = True
    return bags * pocket.bag if counted else -1.0


def _furthest(
    pocket: Pocket, thirst: float, here: tuple[float, float], keep: float, home: float | None
) -> float:
    """How far on the tank leaves `keep`; with `home`, having then driven back to it."""
    start, level = here
    begin = _at(pocket, "water", start)
    back = 0.0 if home is None else _at(pocket, "back", home)

    def spare(at: float) -> float:
        gone = _at(pocket, "water", at) - begin
        if home is not None:
            gone += _at(pocket, "back", at) - back
        return level - thirst * gone - keep

    low, left = start, spare(start)
    if left < 0:
        return -1.0
    for row in pocket.rows:
        if row.at <= start:
            continue
        after = spare(row.at)
        if after < 0:
            return low + (row.at - low) * left / (left - after)
        low, left = row.at, after
    return low


@dataclass(frozen=True, kw_only=True)
class _Standing:
    """Where the engine stands: the stop there, `todo` where it is still to be made.

    `tank` is what it holds once filled, `held` on leaving; `serves` tells whether it stands
    there as planned; `planned` are the plan's clock and tank, on leaving where that is done.
    """

    pocket: Pocket
    thirst: float
    look: Look
    dry: Sequence[str]
    stop: PocketStop | None
    todo: PocketStop | None
    serves: bool
    mark: float
    tank: float
    held: float
    planned: tuple[float, float]

    def there(self, at: float) -> tuple[float, float]:
        """Tank and clock on reaching a place ahead, having stood where the plan stands."""
        pocket, look = self.pocket, self.look
        level, clock, place = self.held, look.clock, look.at
        if self.todo is not None and self.serves:
            clock = max(clock + self.todo.least, self.todo.opens)
        for one in pocket.stops[:-1]:
            water = one.has_water and one.name not in self.dry and one.fire == ""
            if look.at + NEAR < one.at < at - NEAR and not water:
                level = level - self.thirst * _between(pocket, "water", place, one.at)
                clock = clock + _between(pocket, "time", place, one.at)
                level = level - one.burns
                clock = max(clock + one.least, one.opens)
                place = one.at
        level = level - self.thirst * _between(pocket, "water", place, at)
        return level, clock + _between(pocket, "time", place, at)


def _between(pocket: Pocket, name: str, begin: float, end: float) -> float:
    return _at(pocket, name, end) - _at(pocket, name, begin)


def _standing(pocket: Pocket, thirst: float, look: Look, dry: Sequence[str]) -> _Standing:
    """What is to be done where the look was taken, and what the tank holds after it."""
    stop = next((s for s in pocket.stops[:-1] if abs(s.at - look.at) <= NEAR), None)
    todo = None if stop is None or _done(pocket, stop, look) else stop
    serves = todo is not None and (todo.name not in dry or todo.fire != "")
    mark = -1.0
    fills = todo is not None and todo.has_water and todo.name not in dry and look.filled is None
    if todo is not None and fills and todo.mark > look.dip:
        mark = todo.mark
    tank = mark if mark >= 0 else look.level
    planned = _at(pocket, "clock", look.at), _at(pocket, "tank", look.at)
    if stop is not None:
        before = _at(pocket, "tank", stop.at)
        dipped = before if todo is not None or look.filled is not None else stop.mark - stop.burns
        planned = stop.leave if todo is None else stop.arrive, dipped
    return _Standing(
        pocket=pocket, thirst=thirst, look=look, dry=dry, stop=stop, todo=todo, serves=serves,
        mark=mark, tank=tank, held=tank - todo.burns if todo is not None and serves else tank,
        planned=planned,
    )  # fmt: skip


def reckon(
    pocket: Pocket, looks: Sequence[Look], dry: Sequence[str] = ()
) -> dict[str, float | str]:
    """Everything the page shows for a log.

    Parameters
    ----------
    pocket
        The plan's tables.
    looks
        In driving order; the last is now. At least one.
    dry
        Names of waters found dry.

    Returns
    -------
    figures
        By name, in the reader's units; a figure below zero where there is none.
    """
    look, thirst = looks[-1], _thirst(pocket, looks)
    now = _standing(pocket, thirst, look, dry)
    stop, tank, there = now.stop, now.tank, now.there
    here = (look.at, now.held)
    target = next(
        s for s in pocket.stops
        if s is pocket.stops[-1] or (s.at > look.at + NEAR and s.has_water and s.name not in dry)
    )  # fmt: skip
    level, clock = there(target.at)
    order, name, at = "GO ON to", target.name, target.at
    back = _back(pocket, thirst, look, tank, dry)
    closed = any(w.name == target.name and _hour(pocket, clock) > w.closes for w in pocket.waters)
    if level < pocket.reserve or closed:
        ahead = [
            w for w in pocket.waters
            if look.at + NEAR < w.at < target.at and w.name not in dry
            and _hour(pocket, there(w.at)[1]) <= w.closes
        ]  # fmt: skip
        kept = [w for w in ahead if there(w.at)[0] >= pocket.reserve]
        wet = [w for w in ahead if there(w.at)[0] >= 0]
        if kept:
            order, name, at = "GO ON, but fill at", kept[-1].name, kept[-1].at
        elif back is not None and back[2] >= pocket.reserve:
            order, name, at = "TURN BACK to", back[0], back[1]
        elif wet:
            order, name, at = "GO ON into the reserve to", wet[0].name, wet[0].at
        elif level >= 0 and not closed:
            order = "GO ON into the reserve to"
        elif back is not None and back[2] >= 0:
            order, name, at = "TURN BACK into the reserve to", back[0], back[1]
        else:
            order, name, at = "STAND, and have water brought", "", look.at
    ahead_of = order.startswith("GO ON")
    level, clock = there(at) if ahead_of else (-1.0, -1.0)
    if order.startswith("TURN BACK") and back is not None:
        level = back[2]
    day = pocket.days[_day(pocket, look.clock)]
    last = None if back is None else back[1]
    return {
        "order": order,
        "name": name,
        "at": at,
        "level": level,
        "clock": clock,
        "thirst": thirst,
        "reach": _furthest(pocket, thirst, here, pocket.reserve, None),
        "empty": _furthest(pocket, thirst, here, 0.0, None),
        "home": "" if back is None else back[0],
        "last": -1.0 if last is None else _furthest(pocket, thirst, here, pocket.reserve, last),
        "late": look.clock - now.planned[0],
        "off": look.dip - now.planned[1],
        "burnt": _burnt(pocket, looks),
        "burns": _at(pocket, "coal", look.at),
        "mark": now.mark,
        "coal": -1.0 if stop is None or stop.name in dry or stop.coal <= 0 else stop.coal,
        "day": float(_day(pocket, look.clock)),
        "until": day.until,
        "dark": clock - pocket.days[_day(pocket, clock)].until if clock >= 0 else -1.0,
        "leave": -1.0 if now.todo is None else max(look.clock + now.todo.least, now.todo.opens),
        "fire": "" if now.todo is None else now.todo.fire,
        "doing": "" if now.todo is None else ", ".join(now.todo.doing),
    }


def _back(
    pocket: Pocket, thirst: float, look: Look, tank: float, dry: Sequence[str]
) -> tuple[str, float, float] | None:
    """The nearest water behind: name, place, and the tank on reaching it."""
    if not pocket.known_back:
        return None
    behind = [w for w in pocket.waters if w.at <= look.at - NEAR and w.name not in dry]
    behind = [w for w in behind if w.closes >= _DAY or _hour(pocket, look.clock) <= w.closes]
    if not behind:
        return None
    near = behind[-1]
    used = thirst * (_at(pocket, "back", look.at) - _at(pocket, "back", near.at))
    return near.name, near.at, tank - used
