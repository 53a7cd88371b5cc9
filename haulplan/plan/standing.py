"""What may happen at a node: serving, working, standing, ways over a bridge: (1)-(7), (12)."""

import math
from typing import Any, Final

import pulp

from haulplan.plan.model import Programme
from haulplan.plan.rules import LEAST_TAKEN, Halt, Offer

__all__ = ["add_balance", "add_halt", "share_sources", "shifted"]

_DAY: Final = 24 * 60.0


def shifted(programme: Programme, i: int, value: float) -> Any:  # noqa: ANN401  a PuLP expression
    """A clock of the first day, on the day node i is reached.

    Parameters
    ----------
    programme
        With the nights of the nodes before i.
    i
        The node.
    value
        Minutes from departure. [min]

    Returns
    -------
    clock
        Later by 24 h for each night before i.
    """
    nights = [z for (j, _, _), z in programme.night.items() if j < i]
    return pulp.lpSum([_DAY * z for z in nights]) + value


def add_halt(programme: Programme, i: int) -> None:
    """Everything that may happen at node i while the train stands there.

    Parameters
    ----------
    programme
        Is added to.
    i
        A node that is a supply, a halt or a bridge with a choice.
    """
    rules = programme.rules
    offer, halt = programme.offers.get(i), rules.halts.get(i, Halt())
    least = 0.0 if halt.stay is None else 1.0
    programme.stop[i] = programme.variable(f"stop_{i:05d}", least, 1.0, integer=True)
    if halt.uncouple is not None or halt.drain is not None:
        _add_crossing(programme, i, halt)
        return
    _add_takes(programme, i, offer)
    _add_work(programme, i, halt)
    _add_wait(programme, i, offer, halt)
    _add_time(programme, i, offer, halt)
    _add_worth(programme, i, offer, halt)
    if offer is not None:
        _add_hours(programme, i, offer)
    if halt.stay is not None:
        _add_call(programme, i, halt)


def _add_crossing(programme: Programme, i: int, halt: Halt) -> None:
    """Ways over a bridge: uncoupled, or with water run off."""
    stop = programme.stop[i]
    minutes, reasons = [], []
    if halt.uncouple is not None:
        u = programme.uncoupled[i] = programme.decision(f"uncoupled_{i:05d}")
        minutes.append(halt.uncouple * u)
        reasons.append(u)
        programme.add(u <= stop, f"uncouples_{i:05d}")
    if halt.drain is not None:
        tank = programme.limits.tank
        d = programme.drained[i] = programme.variable(f"drained_{i:05d}", 0.0, tank)
        minutes.append(d * (1 / halt.drain))
        reasons.append(d * (1 / (LEAST_TAKEN * tank)))
        programme.add(d <= tank * stop, f"drains_{i:05d}")
        programme.add(
            programme.arrive["water"][i] - d >= programme.limits.reserve_water * stop,
            f"keeps_{i:05d}",
        )
    programme.stay[i] = pulp.lpSum(minutes)
    programme.add(pulp.lpSum(reasons) >= stop, f"worth_{i:05d}")


def _add_takes(programme: Programme, i: int, offer: Offer | None) -> None:
    """Amounts, and the room for them: (2), (3), (4)."""
    limits, cart = programme.limits, programme.rules.cart
    stop, arrive = programme.stop[i], programme.arrive
    emptied: Any = 0.0
    if cart is not None:
        most = min(cart.room, limits.tank)
        emptied = programme.empty[i] = programme.variable(f"empty_{i:05d}", 0.0, most)
        programme.add(emptied <= most * stop, f"emptied_{i:05d}")
        programme.add(emptied <= arrive["cart"][i], f"from_cart_{i:05d}")
        most = 0.0
        if offer is not None and not offer.truck:
            most = min(cart.room, offer.water, offer.most_water)
        if most > 0:
            fill = programme.fill[i] = programme.variable(f"fill_{i:05d}", 0.0, most)
            programme.add(fill <= most * stop, f"filled_{i:05d}")
    if offer is not None and offer.truck:
        programme.met[i] = programme.decision(f"met_{i:05d}")
        programme.add(programme.met[i] <= stop, f"meets_{i:05d}")
    access = (0.0, 0.0) if offer is None else (offer.access_water, offer.access_coal)
    for store, room, least, way, takes in (
        ("water", limits.tank, limits.reserve_water, access[0], programme.take_water),
        ("coal", limits.bunker, limits.reserve_coal, access[1], programme.take_coal),
    ):
        available = 0.0 if offer is None else getattr(offer, store)
        most = min(room, available)
        if store == "water" and offer is not None:
            most = min(most, offer.most_water)
        level = arrive[store][i] - way / 2 * stop
        if way > 0:
            short = programme.give(store, i, "way")
            programme.add(level + short >= least, f"reached_{store}_{i:05d}")
        taken: Any = emptied if store == "water" else 0.0
        if most > 0:
            take = takes[i] = programme.variable(f"take_{store}_{i:05d}", 0.0, most)
            programme.add(take <= most * programme.met.get(i, stop), f"taken_{store}_{i:05d}")
            taken = taken + take
        if most > 0 or (store == "water" and cart is not None):
            programme.add(level + taken <= room, f"room_{store}_{i:05d}")
    if offer is not None and i in programme.fill and i in programme.take_water:
        both = programme.take_water[i] + programme.fill[i]
        if math.isfinite(offer.most_water):
            programme.add(both <= offer.most_water, f"quality_{i:05d}")


def _add_work(programme: Programme, i: int, halt: Halt) -> None:
    """Duties, meals and nights that node i is fit for."""
    rules, stop = programme.rules, programme.stop[i]
    if halt.night:
        for day in range(1, rules.nights + 1):
            for number, fire in enumerate(rules.fires):
                programme.night[i, day, number] = programme.decision(
                    f"night_{i:05d}_{day:02d}_{fire.name}"
                )
        if rules.nights:
            programme.gap[i] = programme.variable(f"gap_{i:05d}", 0.0, math.inf)
            programme.add(programme.nights_at(i) <= stop, f"rests_{i:05d}")
    for k in range(len(rules.duties)):
        programme.duty[i, k] = programme.decision(f"duty_{i:05d}_{k:02d}")
        programme.add(programme.duty[i, k] <= stop, f"done_{i:05d}_{k:02d}")
    for k in range(len(rules.meals)):
        for day in range(rules.nights + 1):
            if day == 0 and rules.meals[k].today is False:
                continue
            meal = programme.meal[i, k, day] = programme.decision(f"meal_{i:05d}_{k:02d}_{day:02d}")
            programme.add(meal <= stop, f"had_{i:05d}_{k:02d}_{day:02d}")


def _add_wait(programme: Programme, i: int, offer: Offer | None, halt: Halt) -> None:
    """Waiting, where there is something to wait for."""
    opens = max(halt.opens, -math.inf if offer is None else offer.opens)
    if not math.isfinite(opens) or (opens <= 0 and not programme.rules.nights):
        return
    longest = _DAY
    if halt.stay is None and not programme.rules.nights:
        longest = min(opens + programme.limits.time_margin, _DAY)
    wait = programme.wait[i] = programme.variable(f"wait_{i:05d}", 0.0, longest)
    programme.add(wait <= longest * programme.stop[i], f"waits_{i:05d}")


def _add_time(programme: Programme, i: int, offer: Offer | None, halt: Halt) -> None:
    """How long the train stands: (6), (7)."""
    rules, stop = programme.rules, programme.stop[i]
    wait: Any = programme.wait.get(i, 0.0)
    done = [(duty, programme.duty[i, k]) for k, duty in enumerate(rules.duties)]
    meals = [rules.meals[k].takes * m for (j, k, _), m in programme.meal.items() if j == i]
    work = [*meals, *(duty.takes * o for duty, o in done if not duty.beside)]
    if i in programme.empty and rules.cart is not None:
        work.append(programme.empty[i] * (1 / rules.cart.rate))
    beside = [duty.takes * o for duty, o in done if duty.beside]
    water, coal, set_up = [], [], 0.0
    if offer is not None:
        set_up = offer.set_up * programme.met.get(i, stop)
        rate = 1 / offer.water_rate
        water = [rate * t[i] for t in (programme.take_water, programme.fill) if i in t]
        coal = [t[i] * (1 / offer.coal_rate) for t in (programme.take_coal,) if i in t]
    parts = [[*water, *coal]] if offer is not None and offer.in_turn else [water, coal]
    parts = [[*part, *work] for part in parts if part] or [work]
    if len(parts) == 1 and not beside and halt.stay is None:  # one thing after the other
        programme.stay[i] = wait + set_up + pulp.lpSum(parts[0])
        return
    stay = programme.stay[i] = programme.variable(f"stay_{i:05d}", 0.0, math.inf)
    for number, part in enumerate(parts):
        programme.add(stay >= wait + set_up + pulp.lpSum(part), f"serves_{i:05d}_{number}")
    if beside:
        programme.add(stay >= wait + pulp.lpSum([*beside, *meals]), f"beside_{i:05d}")
    call: Any = 0.0
    if halt.stay is not None:
        call = halt.stay * stop
        programme.add(stay >= wait + call, f"calls_{i:05d}")
    idle = pulp.lpSum([*water, *coal, *work, *beside])
    programme.add(stay <= wait + set_up + call + idle, f"stays_{i:05d}")


def _add_worth(programme: Programme, i: int, offer: Offer | None, halt: Halt) -> None:
    """Nobody stops for next to nothing, standing being a way to lose weight: (4a)."""
    limits, rules = programme.limits, programme.rules
    if halt.stay is not None or limits.standing_water + limits.standing_coal <= 0:
        return
    rooms = [(limits.tank, programme.take_water), (limits.bunker, programme.take_coal)]
    if rules.cart is not None:
        rooms += [(rules.cart.room, programme.fill), (limits.tank, programme.empty)]
    worth = [
        take[i] * (1 / min(LEAST_TAKEN * room, take[i].upBound))
        for room, take in rooms
        if i in take
    ]
    worth += [z for (j, _, _), z in programme.night.items() if j == i]
    worth += [o for (j, _), o in programme.duty.items() if j == i]
    worth += [m for (j, _, _), m in programme.meal.items() if j == i]
    if worth or offer is None:
        programme.add(pulp.lpSum(worth) >= programme.stop[i], f"worth_{i:05d}")


def _add_hours(programme: Programme, i: int, offer: Offer) -> None:
    """Service between opening and closing: (12)."""
    margin, stop = programme.limits.time_margin, programme.stop[i]
    arrive = programme.clock[i] + offer.access_time / 2 * stop
    late: Any = 0.0
    if i in programme.wait or math.isfinite(offer.closes):
        late = programme.give("hours", i, "late")
    if i in programme.wait and math.isfinite(offer.opens):
        opens, give = offer.opens + margin, 0.0
        if programme.rules.nights:
            give = (max(opens, 0.0) + _DAY * programme.rules.nights) * (1 - stop)
        else:
            opens = opens * stop
        programme.add(
            arrive + programme.wait[i] + late + give >= shifted(programme, i, 0.0) + opens,
            f"opens_{i:05d}",
        )
    if math.isfinite(offer.closes):
        closes = offer.closes - margin
        later = max(programme.horizon - closes, 0.0)  # what an unused stop's hours give way by
        programme.add(
            arrive + programme.stay[i] - late
            <= shifted(programme, i, closes + later) - later * stop,
            f"closes_{i:05d}",
        )


def _add_call(programme: Programme, i: int, halt: Halt) -> None:
    """A call kept: there while it is open, on its day."""
    margin = programme.limits.time_margin
    late = programme.give("call", i, "late")
    wait: Any = programme.wait.get(i, 0.0)
    if math.isfinite(halt.opens):
        programme.add(
            programme.clock[i] + wait + late >= shifted(programme, i, halt.opens + margin),
            f"call_opens_{i:05d}",
        )
    if math.isfinite(halt.closes):
        programme.add(
            programme.clock[i] - late <= shifted(programme, i, halt.closes - margin),
            f"call_closes_{i:05d}",
        )
    if halt.day is not None:
        nights = pulp.lpSum([z for (j, _, _), z in programme.night.items() if j < i])
        programme.add(nights + late >= halt.day - 1, f"call_day_{i:05d}")
        programme.add(nights - late <= halt.day - 1, f"call_before_{i:05d}")


def add_balance(programme: Programme, i: int) -> None:
    """What is aboard on leaving node i, and the posted limits that hold there: (1), (11).

    Parameters
    ----------
    programme
        Is added to.
    i
        The node.
    """
    limits, rules, leave, arrive = (
        programme.limits, programme.rules, programme.leave, programme.arrive,
    )  # fmt: skip
    offer, stop = programme.offers.get(i), programme.stop.get(i, 0.0)
    stay = programme.stay.get(i, 0.0)
    nights = [(rules.fires[f], z) for (j, _, f), z in programme.night.items() if j == i]
    blown = 0.0 if offer is None else offer.blowdown
    way = (0.0, 0.0) if offer is None else (offer.access_water, offer.access_coal)
    water = (1.0 - blown) * programme.take_water.get(i, 0.0) + programme.empty.get(i, 0.0)
    water = water - programme.drained.get(i, 0.0) - way[0] * stop
    water = water - pulp.lpSum([fire.water * z for fire, z in nights])
    coal = programme.take_coal.get(i, 0.0) - way[1] * stop
    coal = coal - pulp.lpSum([fire.coal * z for fire, z in nights])
    steam = limits.standing_water * stay
    if rules.has_boiler:
        fed: Any = 0.0
        if i in programme.stay:
            fed = programme.variable(f"fed_{i:05d}", 0.0, math.inf)
            programme.add(fed <= rules.feed * stay, f"feeds_{i:05d}")
        change = leave["boiler"][i] - arrive["boiler"][i] - fed
        programme.add(change + steam == 0, f"boils_{i:05d}")
        steam = fed
    leave["water"].append(arrive["water"][i] + (water - steam))
    leave["coal"].append(arrive["coal"][i] + (coal - limits.standing_coal * stay))
    if rules.cart is not None:
        towed = arrive["cart"][min(i + 1, len(arrive["cart"]) - 1)]
        leave["cart"].append(towed)
        if i + 1 < len(arrive["cart"]):
            gained = programme.fill.get(i, 0.0) - programme.empty.get(i, 0.0)
            programme.add(towed - arrive["cart"][i] - gained == 0, f"aboard_cart_{i:05d}")
    _add_bounds(programme, i)


def _add_bounds(programme: Programme, i: int) -> None:
    """Posted limits and the crest at node i, with what is aboard there: (11), (13)."""
    halt = programme.rules.halts.get(i, Halt())
    for number, bound in enumerate(halt.bounds):
        loose: Any = 0.0
        if i in programme.uncoupled:
            loose = bound.loose * programme.uncoupled[i]
        shares = ("water", bound.water), ("coal", bound.coal), ("cart", bound.cart), (
            "boiler", bound.boiler,
        )  # fmt: skip
        load = pulp.lpSum(
            [k * programme.leave[s][i] for s, k in shares if k and programme.leave[s]]
        )
        over = programme.give("mass", i, f"posted_{number:02d}", bound)
        programme.add(
            load - over <= bound.most - bound.base - programme.limits.mass_margin + loose,
            f"posted_{i:05d}_{number:02d}",
        )
    if halt.crest > 0 and programme.rules.has_boiler:
        low = programme.give("crest", i, "low")
        programme.add(programme.leave["boiler"][i] + low >= halt.crest, f"crest_{i:05d}")


def share_sources(programme: Programme) -> None:
    """One amount for all passes of a supply, or all halts of a truck: (5).

    Parameters
    ----------
    programme
        With every take.
    """
    rows: dict[tuple[bool, int], list[int]] = {}
    for node, offer in programme.offers.items():
        rows.setdefault((offer.truck, offer.row), []).append(node)
    for (truck, row), nodes in rows.items():
        offer = programme.offers[nodes[0]]
        name = f"{'truck' if truck else 'source'}_{row:05d}"
        for store, takes, available in (
            ("water", (programme.take_water, programme.fill), offer.water),
            ("coal", (programme.take_coal,), offer.coal),
        ):
            shared = [take[i] for take in takes for i in nodes if i in take]
            if len(shared) > 1 and math.isfinite(available):
                programme.add(pulp.lpSum(shared) <= available, f"{name}_{store}")
