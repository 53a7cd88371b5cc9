"""Drive a plan over the full model and check every limit, without the optimiser.

Nothing here knows of legs, straight lines or solvers: the train goes from stop to stop,
each segment taking what the demand says at the mass then aboard. A plan that breaks a
limit by more than a millionth of its range is not handed out.
"""

import math

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.errors import InternalError
from haulplan.plan.plan import Plan, Stop, Trace
from haulplan.route import Passing, Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Store, Supply

__all__ = ["replay"]

Array = NDArray[np.float64]

#: A limit may be broken by this share of its range: arithmetic, not water.
_TOLERANCE = 1e-6
#: The plan's own levels may differ from the driven ones by this share of the store.
_AGREEMENT = 1e-3
_DAY = 86400.0
_WET = ("wet", "mud", "frost")


class _Train:
    """What is aboard, where and when; and what went wrong so far."""

    def __init__(self, scenario: Scenario, demand: Demand, plan: Plan) -> None:
        stores = scenario.file.stores
        self.tank, self.bunker = plan.stops[0].tank_arrive, plan.stops[0].bunker_arrive
        self.cart, self.boiler = plan.stops[0].cart_arrive, 0.0
        self.clock = plan.stops[0].depart
        self.sample = 0
        self.room_tank, self.room_bunker = stores.tank, stores.bunker
        self.room_cart = sum(s.water for s in scenario.stores if s.kind == "cart")
        self.room_boiler = demand.boiler_room
        self.broken: list[str] = []
        self.crossed: list[float] = []
        self.trace: list[tuple[float, ...]] = []
        self.taken: dict[tuple[str, int, str], float] = {}
        self.day = 0
        self.left = [self.clock]
        self.ended: list[float] = []
        self.leads = [demand.leads[0]]
        self.since = [0.0] * len(scenario.file.duties)
        self.eaten: set[tuple[int, str]] = set()
        begun = demand.begun
        if begun is not None:
            self.leads = [begun.on_duty]
            self.since = list(begun.since)
            self.eaten = {(0, name) for name in begun.had}
        reserve = scenario.file.reserve
        self.reserve = (
            max(reserve.water, plan.reserve_water), max(reserve.coal, plan.reserve_coal)
        )  # fmt: skip

    def note(self, distance: float) -> None:
        """Add the present state to the trace."""
        self.trace.append((distance, self.tank, self.bunker, self.cart, self.boiler, self.clock))

    def check(self, what: str, excess: float, scale: float) -> None:
        """Note a limit broken by `excess` if that is more than rounding."""
        if not excess <= _TOLERANCE * max(scale, 1e-3):
            self.broken.append(f"{what} by {excess:.6g}")

    @property
    def aboard(self) -> float:
        """Everything consumable [kg]."""
        return self.tank + self.bunker + self.cart + self.boiler


def replay(scenario: Scenario, route: Route, demand: Demand, plan: Plan) -> Trace:
    """Prove a plan by driving it.

    Parameters
    ----------
    scenario, route, demand
        The problem the plan is for.
    plan
        What is to be proved.

    Returns
    -------
    trace
        Levels and clock at every sample; at a stop on arrival and on leaving.

    Raises
    ------
    InternalError
        If any limit is broken, or the plan's own figures are not the driven ones.
    """
    _check_finite(plan)
    train = _Train(scenario, demand, plan)
    gear = demand.geared(plan.choices)
    _check_start(scenario, train, plan)
    for stop in plan.stops:
        if stop.kind != "start":
            _drive_to(route, demand, scenario, train, gear, plan, stop)
            _check_arrival(scenario, train, stop)
        train.note(stop.distance)
        if stop.row is not None:
            _check_place(route, train, stop)
            _stand(scenario, demand, train, stop)
            train.note(stop.distance)
    _check_calls(scenario, route, train, plan)
    _check_days(scenario, demand, train)
    _check_crossings(train, plan)
    if train.sample != demand.segments:
        train.broken.append("the plan ends before the finish")
    if train.broken:
        raise InternalError(
            "the plan did not survive its replay and was not written: "
            + "; ".join(train.broken)
            + ". Please report the scenario"
        )
    for proof in plan.proofs:
        replay(proof.scenario, proof.route, proof.demand, proof.plan)
    columns = zip(*train.trace, strict=True)
    distance, tank, bunker, cart, boiler, clock = (tuple(c) for c in columns)
    return Trace(distance=distance, tank=tank, bunker=bunker, cart=cart, boiler=boiler, clock=clock)


def _check_finite(plan: Plan) -> None:
    """Refuse a plan with a figure that is no number: nothing could be driven by it."""
    for stop in plan.stops:
        figures = [v for v in vars(stop).values() if isinstance(v, float)]
        if not all(math.isfinite(figure) for figure in figures):
            raise InternalError(f"a figure of the plan at {stop.name} is not a number")


def _check_start(scenario: Scenario, train: _Train, plan: Plan) -> None:
    file = scenario.file
    cart = sum(min(s.at_start, s.water) for s in scenario.stores if s.kind == "cart")
    for what, level, wanted, room in (
        ("water", train.tank, min(file.at_start.water, train.room_tank), train.room_tank),
        ("coal", train.bunker, min(file.at_start.coal, train.room_bunker), train.room_bunker),
        ("cart", train.cart, cart, max(train.room_cart, 1.0)),
    ):
        train.check(f"{what} at the start", abs(level - wanted), room)
    leaves = plan.stops[0].depart
    train.check("the departure", file.depart - leaves, _DAY)
    train.check("the departure", leaves - (file.depart_by or file.depart), _DAY)


def _drive_to(
    route: Route,
    demand: Demand,
    scenario: Scenario,
    train: _Train,
    gear: NDArray[np.int64],
    plan: Plan,
    stop: Stop,
) -> None:
    """Drive to a stop, the boiler filled for each crest on the way."""
    to = demand.index(stop.distance)
    marks = [
        (demand.index(at), level)
        for at, level in plan.feeds
        if train.sample < demand.index(at) < to
    ]
    marks.append((to, stop.boiler_arrive))
    distance, clock = demand.distance[train.sample], train.clock
    train.check("turning wheels early", _hours(demand, train)[0] - clock, _DAY)
    for sample, boiler in marks:
        _drive(route, demand, scenario, train, gear, plan, sample, boiler)
        needed = [c.water for c in demand.crests if demand.index(c.distance) == sample]
        if demand.has_boiler and needed and sample < to:
            train.check("boiler over a crest", max(needed) - train.boiler, train.room_boiler)
    train.check(f"turning wheels late before {stop.name}",
                train.clock - _hours(demand, train)[1], _DAY)  # fmt: skip
    for k, duty in enumerate(scenario.file.duties):
        run = train.clock - clock
        if duty.miles is not None:
            run = float(demand.distance[to] - distance)
        train.since[k] += run
        interval = duty.hours if duty.miles is None else duty.miles
        assert interval is not None
        train.check(f"{duty.name} before {stop.name}", train.since[k] - interval, interval)


def _hours(demand: Demand, train: _Train) -> tuple[float, float]:
    """First and last clock at which wheels may turn today."""
    hours = demand.hours
    rise, sets = hours[min(train.day, len(hours) - 1)]
    if len(hours) == 1 and sets >= _DAY:
        sets = math.inf
    return rise + _DAY * train.day, sets + _DAY * train.day


def _drive(
    route: Route,
    demand: Demand,
    scenario: Scenario,
    train: _Train,
    gear: NDArray[np.int64],
    plan: Plan,
    to: int,
    boiler: float,
) -> None:
    """Take the train on to sample `to`, each segment at the mass then aboard."""
    first = train.sample
    if to <= first:
        return
    start = train.aboard
    aboard = np.full(demand.segments, start)
    gone = np.zeros(to - first)
    while True:  # a segment's mass depends only on those before it, so this ends
        use = demand.evaluate(aboard, gear)
        water, coal = use.water[first:to], use.coal[first:to]
        before = gone
        gone = np.cumsum(water + coal)
        aboard[first + 1 : to] = start - gone[:-1]
        if np.max(np.abs(gone - before)) <= 1e-10 * max(start, 1.0):
            break
    if min(float(water.min()), float(coal.min())) < 0:
        train.broken.append("a segment gives water or coal back")
    over = aboard[first:to] - demand.heaviest[first:to]
    train.check("a hill's load", float(over.max()), train.room_tank)
    at = {p: demand.index(p.distance) for p in route.passings if p.kind == "bridge"}
    for k in range(first, to):
        for passing in [p for p, sample in at.items() if sample == k]:
            _cross(scenario, demand, train, plan, passing)
        i = k - first
        fed = _feed(demand, train, float(water[i]), float(use.duration[k]), boiler)
        train.tank -= fed
        train.bunker -= float(coal[i])
        train.clock += float(use.duration[k])
        train.note(float(demand.distance[k + 1]))
    train.trace.pop()
    train.sample = to
    if to == demand.segments:
        for passing in [p for p, sample in at.items() if sample == to]:
            _cross(scenario, demand, train, plan, passing)
    train.check(f"boiler at {demand.distance[to]:.0f} m", boiler - train.boiler,
                max(train.room_boiler, 1.0))  # fmt: skip


def _feed(demand: Demand, train: _Train, used: float, duration: float, wanted: float) -> float:
    """Water from tank to boiler on a segment: at once to the level wanted, then kept there."""
    if not demand.has_boiler or demand.feed_rate is None:
        return used
    fed = min(max(wanted - train.boiler + used, 0.0), demand.feed_rate * duration)
    train.boiler += fed - used
    room = max(train.room_boiler, 1.0)
    train.check("boiler below its working level", -train.boiler, room)
    train.check("boiler above its highest level", train.boiler - train.room_boiler, room)
    return fed


def _cross(scenario: Scenario, demand: Demand, train: _Train, plan: Plan, passing: Passing) -> None:
    """A bridge with what is aboard there, beside its posted figure."""
    bridge = scenario.bridges[passing.row]
    limit = bridge.limit * (1.0 - scenario.file.bridge_margin)
    uncoupled = any(
        s.kind == "bridge" and s.uncoupled and s.row == passing.row
        and abs(s.distance - passing.distance) < 1e-3
        for s in plan.stops
    )  # fmt: skip
    wagons = [
        w.tare + w.load + (train.cart if any(s.name == w.name for s in scenario.stores) else 0.0)
        for w in scenario.file.train.wagons
    ]
    boiler = train.boiler
    on_axle = [
        a.dry + a.water * train.tank + a.coal * train.bunker + a.cart * train.cart
        + a.boiler * boiler
        for a in demand.axles
    ]  # fmt: skip
    if bridge.kind == "axle":
        figure = max(on_axle)
    elif bridge.kind == "tandem":
        figure = max((sum(on_axle[i] for i in pair) for pair in demand.tandems), default=0.0)
    elif uncoupled:
        assert demand.engine_weight is not None
        figure = max(demand.engine_weight + train.tank + train.bunker + boiler, *wagons)
    else:
        figure = demand.dry_weight + train.aboard
    train.check(passing.label, figure - limit, limit)
    train.crossed.append(figure)


def _check_arrival(scenario: Scenario, train: _Train, stop: Stop) -> None:
    file = scenario.file
    least_water, least_coal = train.reserve[0], train.reserve[1]
    if stop.kind == "finish":
        least_water = max(least_water, min(file.at_finish.water, train.room_tank))
        least_coal = max(least_coal, min(file.at_finish.coal, train.room_bunker))
        train.ended.append(train.clock)
    train.check(f"water at {stop.name}", least_water - train.tank, train.room_tank)
    train.check(f"coal at {stop.name}", least_coal - train.bunker, train.room_bunker)
    for what, driven, planned, room in (
        ("tank", train.tank, stop.tank_arrive, train.room_tank),
        ("bunker", train.bunker, stop.bunker_arrive, train.room_bunker),
        ("cart", train.cart, stop.cart_arrive, train.room_cart),
        ("boiler", train.boiler, stop.boiler_arrive, train.room_tank),
        ("clock", train.clock, stop.arrive, _DAY),
    ):
        if not abs(driven - planned) <= _AGREEMENT * max(room, 1e-3):
            train.broken.append(
                f"{what} at {stop.name} is {driven:.6g}, the plan says {planned:.6g}"
            )


def _check_crossings(train: _Train, plan: Plan) -> None:
    """The weights the plan prints beside posted figures must be the driven ones."""
    if len(plan.crossings) != len(train.crossed):
        train.broken.append("the plan's crossings are not the road's")
    for crossing, figure in zip(plan.crossings, train.crossed, strict=False):
        off = abs(crossing.gross - figure)
        if not off <= _AGREEMENT * max(train.room_tank + train.room_bunker, 1e-3):
            train.broken.append(f"the weight at {crossing.name} is off by {off:.6g}")


def _check_place(route: Route, train: _Train, stop: Stop) -> None:
    kind = {"halt": "place"}.get(stop.kind, stop.kind)
    met = any(
        p.kind == kind and p.row == stop.row and abs(p.distance - stop.distance) < 1e-3
        for p in route.passings
    )
    if not met:
        train.broken.append(f"{stop.name} is not on the road at {stop.distance:.1f} m")


def _stand(scenario: Scenario, demand: Demand, train: _Train, stop: Stop) -> None:
    """Whatever is done at a stop; check room, source, rate, hours, work and rest."""
    assert stop.row is not None
    supply = scenario.supplies[stop.row] if stop.kind == "supply" else None
    truck = None if stop.truck is None else scenario.stores[stop.truck]
    if supply is not None:
        if supply.standing == "dry only" and scenario.file.conditions.weather in _WET:
            train.broken.append(f"{stop.name} is for dry days only")
        _drive_off(demand, train, stop)
    _check_takes(scenario, train, stop, supply, truck)
    seller = supply if truck is None else truck
    _check_stay(
        scenario,
        train,
        stop,
        _set_up(demand, stop, seller),
        _work(scenario, train, stop),
        _served(scenario, demand, stop, truck),
    )
    _check_money(scenario, train, stop, supply, truck)
    blown = 0.0
    if stop.kind == "supply":
        blown = demand.serving[stop.row].blowdown * stop.water_taken
    train.check(f"blowing down at {stop.name}", abs(blown - stop.blown_down), train.room_tank)
    _leave(scenario, demand, train, stop, blown)


def _set_up(demand: Demand, stop: Stop, seller: Supply | Store | None) -> float:
    """Seconds before anything flows, straining included where the water asks for it."""
    if seller is None:
        return 0.0
    return seller.set_up + (demand.serving[stop.row or 0].strain if stop.kind == "supply" else 0.0)


def _drive_off(demand: Demand, train: _Train, stop: Stop) -> None:
    """The drive off the road, half before and half after serving."""
    time, water, coal = demand.access(stop.row or 0, train.aboard)
    for what, driven, planned, room in (
        ("time", time, stop.access_time, _DAY),
        ("water", water, stop.access_water, train.room_tank),
        ("coal", coal, stop.access_coal, train.room_bunker),
    ):
        if not abs(driven - planned) <= _AGREEMENT * max(room, 1e-3):
            train.broken.append(f"{what} off the road at {stop.name} is {driven:.6g}")
    train.tank -= water / 2
    train.bunker -= coal / 2
    train.clock += time / 2
    train.check(f"water on reaching {stop.name}", train.reserve[0] - train.tank, train.room_tank)
    train.check(f"coal on reaching {stop.name}", train.reserve[1] - train.bunker,
                train.room_bunker)  # fmt: skip


def _check_takes(
    scenario: Scenario, train: _Train, stop: Stop, supply: Supply | None, truck: Store | None
) -> None:
    """Room in the stores, and what the source has."""
    water, coal = 0.0, 0.0
    if supply is not None:
        water, coal = supply.water_available or 0.0, supply.coal_available or 0.0
    if truck is not None:
        water, coal = truck.water * truck.loads, truck.coal * truck.loads
    source = ("truck", stop.truck) if stop.truck is not None else (stop.kind, stop.row)
    for what, amount, available, level, room in (
        ("water", stop.water_taken + stop.cart_filled, water,
         train.tank + stop.water_taken + stop.cart_emptied, train.room_tank),
        ("coal", stop.coal_taken, coal, train.bunker + stop.coal_taken, train.room_bunker),
    ):  # fmt: skip
        key = (source[0], source[1] or 0, what)
        train.taken[key] = train.taken.get(key, 0.0) + amount
        train.check(f"{what} to be had at {stop.name}", train.taken[key] - available, room)
        train.check(f"room for {what} at {stop.name}", level - room, room)
    if supply is not None and supply.quality != "good":
        share = getattr(scenario.file.quality, f"most_{supply.quality}")
        over = stop.water_taken + stop.cart_filled - share * train.room_tank
        if share < 1.0:
            train.check(f"{supply.quality} water taken at {stop.name}", over, train.room_tank)
    amounts = (stop.water_taken, stop.coal_taken, stop.cart_filled, stop.cart_emptied,
               stop.drained, stop.stay, stop.wait)  # fmt: skip
    train.check(f"amounts at {stop.name}", -min(amounts), train.room_tank)
    cart = train.cart + stop.cart_filled - stop.cart_emptied
    room = max(train.room_cart, 1.0)
    train.check(f"cart at {stop.name}", stop.cart_emptied - train.cart, room)
    train.check(f"room in the cart at {stop.name}", cart - train.room_cart, room)
    if stop.drained and scenario.bridges[stop.row or 0].drain is None:
        train.broken.append(f"water may not be run off at {stop.name}")
    if stop.uncoupled and scenario.bridges[stop.row or 0].uncouple is None:
        train.broken.append(f"nobody may uncouple at {stop.name}")


def _work(scenario: Scenario, train: _Train, stop: Stop) -> tuple[float, float, float]:
    """Meals, duties while nobody serves, and duties beside serving [s]."""
    eaten = alone = beside = 0.0
    begin = stop.arrive + stop.access_time / 2
    for meal in scenario.file.meals:
        if meal.name not in stop.meals:
            continue
        eaten += meal.takes
        train.eaten.add((train.day, meal.name))
        first, last = meal.earliest + _DAY * train.day, meal.latest + _DAY * train.day
        late = max(begin, first) - min(begin + stop.stay - meal.takes, last)
        train.check(f"{meal.name} at {stop.name}", late, _DAY)
    for k, duty in enumerate(scenario.file.duties):
        if duty.name not in stop.duties:
            continue
        train.since[k] = 0.0
        if duty.beside == "yes":
            beside += duty.takes
        else:
            alone += duty.takes
    return eaten, alone, beside


def _served(
    scenario: Scenario, demand: Demand, stop: Stop, truck: Store | None
) -> tuple[float, float, float, bool]:
    """Seconds of taking water, coal, of emptying the cart; whether in turn."""
    water = coal = 1.0
    in_turn = scenario.file.serving == "in turn"
    if stop.kind == "supply":
        supply, rates = scenario.supplies[stop.row or 0], demand.serving[stop.row or 0]
        water, coal = rates.water or 1.0, rates.coal or 1.0
        in_turn = (supply.serving or scenario.file.serving) == "in turn"
    elif truck is not None:
        water, coal = truck.water_rate or 1.0, truck.coal_rate or 1.0
    emptied = 0.0
    if stop.cart_emptied:
        rate = min(s.water_rate or 1.0 for s in scenario.stores if s.kind == "cart")
        emptied = stop.cart_emptied / rate
    return (stop.water_taken + stop.cart_filled) / water, stop.coal_taken / coal, emptied, in_turn


def _check_stay(
    scenario: Scenario,
    train: _Train,
    stop: Stop,
    set_up: float,
    work: tuple[float, float, float],
    served: tuple[float, float, float, bool],
) -> None:
    """The standing is as long as its reasons, and within the hours of the place."""
    water, coal, emptied, in_turn = served
    one_by_one, beside = work[0] + work[1] + emptied, work[2]
    serving = water + coal if in_turn else max(water, coal)
    stay = stop.stay - stop.wait
    call = 0.0
    if stop.kind == "halt":
        call = scenario.places[stop.row or 0].stay or 0.0
    if stop.kind == "bridge":
        bridge = scenario.bridges[stop.row or 0]
        one_by_one = (bridge.uncouple or 0.0) * stop.uncoupled
        one_by_one += stop.drained / (bridge.drain or 1.0)
    least = max(set_up + serving + one_by_one, beside + work[0], call)
    most = set_up + water + coal + one_by_one + beside + call
    train.check(f"time at {stop.name}", least - stay, _DAY)
    train.check(f"idle standing at {stop.name}", stay - most, _DAY)
    opens, closes = 0.0, _DAY
    if stop.kind == "supply":
        supply = scenario.supplies[stop.row or 0]
        opens, closes = supply.opens, supply.closes
    today = _DAY * train.day
    if opens > 0:
        train.check(f"opening of {stop.name}", opens + today - train.clock - stop.wait, _DAY)
    if closes < _DAY:
        train.check(f"closing of {stop.name}", train.clock + stop.stay - closes - today, _DAY)


def _check_money(
    scenario: Scenario, train: _Train, stop: Stop, supply: Supply | None, truck: Store | None
) -> None:
    seller = supply if truck is None else truck
    money = 0.0
    if seller is not None:
        money = seller.call_out + seller.water_price * (stop.water_taken + stop.cart_filled)
        money += seller.coal_price * stop.coal_taken
    if stop.fire is not None:
        host = supply if supply is not None else scenario.places[stop.row or 0]
        money += host.night_price
        if host.night != "yes":
            train.broken.append(f"no night may be spent at {stop.name}")
    train.check(f"money at {stop.name}", abs(money - stop.money), max(money, 1.0))


def _leave(scenario: Scenario, demand: Demand, train: _Train, stop: Stop, blown: float) -> None:
    """Move off, next morning after a night; the reserve holds then too."""
    burnt = demand.standing_water * stop.stay
    fed = burnt
    if demand.has_boiler and demand.feed_rate is not None:
        fed = stop.boiler_depart - train.boiler + burnt
        room = max(train.room_boiler, 1.0)
        train.check(f"feed at {stop.name}", -fed, room)
        train.check(f"feed at {stop.name}", fed - demand.feed_rate * stop.stay, room)
        train.check(f"boiler at {stop.name}", -stop.boiler_depart, room)
        train.check(f"boiler at {stop.name}", stop.boiler_depart - train.room_boiler, room)
        train.boiler = stop.boiler_depart
        at_crest = [c.water for c in demand.crests if demand.index(c.distance) == train.sample]
        train.check(f"boiler over the crest at {stop.name}",
                    max([0.0, *at_crest]) - train.boiler, room)  # fmt: skip
    train.tank += stop.water_taken + stop.cart_emptied - blown - fed - stop.drained
    train.bunker += stop.coal_taken - demand.standing_coal * stop.stay
    train.cart += stop.cart_filled - stop.cart_emptied
    train.tank -= stop.access_water / 2
    train.bunker -= stop.access_coal / 2
    train.clock += stop.stay + stop.access_time / 2
    if stop.fire is not None:
        _sleep(scenario, demand, train, stop)
    else:
        train.check(f"time at {stop.name}", abs(stop.night), _DAY)
    train.check(f"water on leaving {stop.name}", train.reserve[0] - train.tank, train.room_tank)
    train.check(f"coal on leaving {stop.name}", train.reserve[1] - train.bunker,
                train.room_bunker)  # fmt: skip


def _sleep(scenario: Scenario, demand: Demand, train: _Train, stop: Stop) -> None:
    """A night: what the fire takes, the rest, the new day."""
    fire = stop.fire or ""
    allowed = scenario.file.nights.fire
    if fire not in demand.nights or allowed not in ("either", fire):
        train.broken.append(f"the fire at {stop.name} may not be {fire}")
        return
    water, coal = demand.nights[fire]
    lead = demand.leads[1 if fire == "banked" else 0]
    train.check(f"night at {stop.name}", scenario.file.hours.rest + lead - stop.night, _DAY)
    train.tank -= water
    train.bunker -= coal
    train.ended.append(train.clock)
    train.clock += stop.night
    train.day += 1
    train.left.append(train.clock)
    train.leads.append(lead)
    train.since = [0.0] * len(train.since)
    if train.day > scenario.file.nights.most:
        train.broken.append("more nights than allowed")


def _check_calls(scenario: Scenario, route: Route, train: _Train, plan: Plan) -> None:
    """Every call is kept, on its day and in its hours."""
    for passing in route.passings:
        if passing.kind != "place" or scenario.places[passing.row].stay is None:
            continue
        place = scenario.places[passing.row]
        made = [
            s for s in plan.stops
            if s.kind == "halt" and s.row == passing.row
            and abs(s.distance - passing.distance) < 1e-3
        ]  # fmt: skip
        if not made:
            train.broken.append(f"no call at {passing.label}")
            continue
        today = _DAY * (made[0].day - 1)
        if place.opens > 0:
            early = place.opens + today - made[0].arrive - made[0].wait
            train.check(f"call at {passing.label}", early, _DAY)
        if place.closes < _DAY:
            train.check(f"call at {passing.label}", made[0].arrive - place.closes - today, _DAY)
        if place.day is not None and made[0].day != place.day:
            train.broken.append(f"the call at {passing.label} is on day {made[0].day}")


def _check_days(scenario: Scenario, demand: Demand, train: _Train) -> None:
    """Crew's hours and meals of each day; a meal missed before the start is past mending."""
    crew = scenario.file.hours.crew
    for day, (left, ended) in enumerate(zip(train.left, train.ended, strict=False)):
        if crew is not None:
            train.check(f"crew on day {day + 1}", ended - left + train.leads[day] - crew, _DAY)
        for meal in scenario.file.meals:
            first, last = meal.earliest + _DAY * day, meal.latest + _DAY * day
            slack = _TOLERANCE * _DAY
            began = left
            if day == 0 and demand.begun is not None:
                began = demand.begun.left
                if scenario.file.depart > last:
                    continue
            due = ended > last + slack and began < first - slack
            if due and (day, meal.name) not in train.eaten:
                train.broken.append(f"no {meal.name} on day {day + 1}")
