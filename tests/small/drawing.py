"""Random small problems; every figure is invented.

The ranges are drawn so that each limit bites in a good share of the problems that have it.
"""

import dataclasses
import math
import random
from collections.abc import Callable, Mapping

from small.problems import (
    DAY,
    DEPART,
    UNLIMITED,
    Bridge,
    Cart,
    Duty,
    Engine,
    Glass,
    Halt,
    Meal,
    Nights,
    Problem,
    Stretch,
    Tap,
    Truck,
    Wagon,
)

__all__ = ["KINDS", "PLAIN", "draw_locked", "draw_problem", "draw_turning"]

#: Radius of the equator (WGS 84), along which a road passed twice is drawn. [m]
RADIUS = 6378137.0

#: What a problem may be drawn with, besides gears, hours and gross bridges.
KINDS = (
    "departure", "access", "in turn", "solids", "standing", "duty by hours", "duty by miles",
    "meal", "crew", "night", "call", "cart", "truck", "axle", "tandem", "uncouple", "drain",
    "two passes", "boiler",
)  # fmt: skip
#: Drawn in this order, so that those which seldom bite come oftener.
_CYCLE = (
    *KINDS, "night", "two passes", "call", "drain", "night", "standing", "two passes", "tandem",
    "night", "axle", "departure", "crew", "standing", "uncouple", "tandem", "two passes", "cart",
    "boiler", "standing", "night", "meal", "axle", "call", "two passes", "solids", "axle",
)  # fmt: skip


#: From this number on, problems have water that is not good.
PLAIN = 320
_BESIDE_QUALITY = {"access", "in turn", "solids", "cart", "call", "truck", "crew", "two passes"}


def draw_problem(seed: int) -> Problem:
    """A random problem with one to three of the kinds; about one in six has no plan."""
    draw = random.Random(seed)
    kinds = {_CYCLE[seed % len(_CYCLE)], *draw.sample(KINDS, draw.choice([0, 1, 1, 2]))}
    if seed >= PLAIN:
        kinds = {"quality", *draw.sample(sorted(set(KINDS) & _BESIDE_QUALITY), draw.choice([0, 1]))}
    if kinds & {"axle", "tandem"} and draw.random() < 0.3:
        kinds.add("cart")
    if "two passes" in kinds:  # drawn by longitudes: the rest is put on a plain road
        kinds &= {"two passes", "in turn", "solids", "duty by hours", "duty by miles", "access"}
    if "boiler" in kinds:  # its water is told apart from the tank's on the road only
        kinds -= {"night", "access", "solids", "cart", "drain", "two passes"}
    problem = _base(draw, kinds)
    for kind in (*KINDS, "quality"):
        if kind in kinds:
            problem = _DRAWERS[kind](problem, draw)
    return problem


def draw_locked(seed: int) -> Problem:
    """A random problem whose plan is to survive any one planned stop found shut."""
    draw = random.Random(10_000 + seed)
    problem = _base(draw, draw.choice([set(), {"call"}]))
    for kind in ("in turn", "crew"):
        if draw.random() < 0.25:
            problem = _DRAWERS[kind](problem, draw)
    coal = problem.taps[draw.randrange(len(problem.taps))]  # elsewhere there is water only
    taps = tuple(
        dataclasses.replace(
            t, coal=t.coal if t is coal else None,
            water=UNLIMITED if t.water is None else t.water,
        )
        for t in problem.taps
    )  # fmt: skip
    reserve = (draw.uniform(30, 80), draw.uniform(3, 10))
    return dataclasses.replace(
        problem, taps=taps, stretches=tuple(s[:1] for s in problem.stretches),
        reserve=reserve, last_resort=(draw.uniform(0, 0.5) * reserve[0], 0.3 * reserve[1]),
        bunker=1.5 * problem.bunker, start=(problem.start[0], problem.start[1] * 1.2),
        finish=(max(problem.finish[0], reserve[0]), max(problem.finish[1], reserve[1])),
    )  # fmt: skip


def draw_turning(seed: int) -> Problem:
    """A random problem with a way back, and taps at which the train may be turned."""
    draw = random.Random(20_000 + seed)
    problem = draw_locked(1000 + seed)
    taps = tuple(
        dataclasses.replace(
            tap, round=draw.random() < 0.7, opens=0.0, closes=DAY,
            turning=draw.choice([0.0, 0.0, draw.uniform(2, 12)]),
            water=draw.choice([tap.water, UNLIMITED]), set_up=draw.uniform(1, 6),
        )
        for tap in problem.taps
    )  # fmt: skip
    back = tuple(
        dataclasses.replace(
            first, minutes=first.minutes * draw.uniform(0.8, 1.1),
            water=first.water * draw.uniform(0.3, 0.9), coal=first.coal * draw.uniform(0.3, 0.9),
        )
        for (first,) in problem.stretches
    )  # fmt: skip
    bunker = 2.0 * problem.bunker
    return dataclasses.replace(
        problem, taps=taps, back=back, crew=None if problem.crew is None else 1.5 * problem.crew,
        bunker=bunker, start=(problem.start[0], draw.uniform(0.6, 1.0) * bunker),
        last_resort=(0.0, 0.0),
    )  # fmt: skip


def _base(draw: random.Random, kinds: set[str]) -> Problem:
    """Stores, road, taps, aim: what every problem has."""
    out = draw.randint(2, 3)
    rows = 2 * out if "two passes" in kinds else draw.randint(4, 6)
    longitudes: tuple[float, ...] = ()
    ends = [1000.0 * k for k in range(rows + 1)]
    if "two passes" in kinds:
        longitudes = tuple(1.0 + 0.009 * min(k, rows - k) for k in range(rows + 1))
        leg = RADIUS * math.radians(0.009)
        ends = [leg * k for k in range(rows + 1)]
    stretches = tuple(
        _draw_stretch(draw, ends[k], ends[k + 1], choice=k == rows // 2) for k in range(rows)
    )
    tank, bunker = draw.uniform(300, 520), draw.uniform(75, 120)
    taps = _draw_taps(draw, kinds, ends)
    dry = 20_000.0
    bridges: tuple[Bridge, ...] = ()
    if not longitudes and draw.random() < 0.2:
        limit = dry + draw.uniform(0.5, 1.1) * tank
        bridges = (Bridge(at=round(draw.uniform(0.1, 1.0) * ends[-1], 1), limit=limit),)
    aim: Mapping[str, float | str] = draw.choice(
        [
            {"first": "earliest"},
            {"first": "earliest"},
            {"first": "cheapest"},
            {"first": "fewest stops"},
            {"minute": 1.0, "money": draw.uniform(0, 3), "stop": draw.uniform(0, 20)},
            {"minute": 1.0, "money": draw.uniform(0, 3), "stop": draw.uniform(0, 20)},
        ]
    )
    return Problem(
        tank=tank, bunker=bunker,
        reserve=(draw.uniform(0, 30), draw.uniform(0, 5)),
        start=(tank * draw.uniform(0.7, 1.0), bunker * draw.uniform(0.55, 1.0)),
        finish=(draw.uniform(30, 90), draw.uniform(5, 15)),
        standing=(draw.uniform(0, 0.5), draw.uniform(0, 0.2)),
        dry=dry, aim=aim, stretches=stretches, taps=taps, bridges=bridges, longitudes=longitudes,
    )  # fmt: skip


def _draw_stretch(
    draw: random.Random, begin: float, end: float, *, choice: bool
) -> tuple[Stretch, ...]:
    first = Stretch(
        begin=begin, end=end, minutes=draw.uniform(8, 15), water=draw.uniform(60, 160),
        coal=draw.uniform(6, 18), water_slope=draw.choice([0.0, draw.uniform(0, 4e-3)]),
        coal_slope=draw.uniform(0, 5e-4),
    )  # fmt: skip
    if not choice or draw.random() < 0.5:
        return (first,)
    second = dataclasses.replace(
        first, minutes=first.minutes * draw.uniform(1.2, 1.8),
        water=first.water * draw.uniform(0.6, 0.95), coal=first.coal * draw.uniform(0.6, 1.0),
        water_slope=first.water_slope * draw.uniform(0.5, 1.2),
    )  # fmt: skip
    return (first, second)


def _draw_taps(draw: random.Random, kinds: set[str], ends: list[float]) -> tuple[Tap, ...]:
    taps: list[Tap] = []
    water: float | None
    coal: float | None
    few = kinds & {"night", "meal", "duty by hours", "duty by miles", "truck", "call"}
    rows = len(ends) - 1
    count = draw.randint(3, 4) if few else draw.randint(4, 6)
    for number in range(count):
        if "two passes" in kinds:  # at the bends, so that the distance is known exactly
            bend = 1 + number % (rows // 2)
            places = tuple(sorted({ends[bend], ends[rows - bend]}))
            water = draw.choice([UNLIMITED, *6 * [draw.uniform(110, 260)]])
            coal = draw.choice([None, UNLIMITED, draw.uniform(15, 40)])
            if any(tap.at == places for tap in taps):
                continue
        else:
            along = (number + draw.random()) / count
            on_row = ends[min(max(round(along * rows), 1), rows - 1)]
            places = (draw.choice([on_row, round(200 + along * (ends[-1] - 400), 1)]),)
            water = draw.choice([None, *4 * [UNLIMITED], draw.uniform(50, 250)])
            coal = draw.choice([None, *3 * [UNLIMITED], draw.uniform(10, 40)])
            if any(abs(at - places[0]) < 20 for tap in taps for at in tap.at):
                continue
        hours = not kinds & {"night", "two passes"}
        opens = DEPART + draw.uniform(-60, 60) if hours and draw.random() < 0.2 else 0.0
        closes = DEPART + draw.uniform(60, 180) if hours and draw.random() < 0.2 else DAY
        if water is None and coal is None:
            water = UNLIMITED
        taps.append(
            Tap(
                at=places, water=water,
                water_rate=draw.uniform(20, 120), water_price=draw.uniform(0, 0.02),
                coal=coal, coal_rate=draw.uniform(5, 20), coal_price=draw.uniform(0.1, 0.4),
                call_out=draw.choice([0.0, draw.uniform(5, 40)]),
                set_up=draw.uniform(2, 15), opens=float(int(opens)), closes=float(int(closes)),
            )
        )  # fmt: skip
    return tuple(taps)


def _place(problem: Problem, draw: random.Random, low: float, high: float) -> float:
    """A distance at which nothing else stands."""
    taken = [at for t in problem.taps for at in t.at]
    taken += [h.at for h in problem.halts] + [b.at for b in problem.bridges]
    while True:
        at = round(draw.uniform(low, high) * problem.length, 1)
        if all(abs(at - other) > 5 for other in taken):
            return at


def _with_halts(problem: Problem, draw: random.Random, count: int) -> Problem:
    """At least so many halts; none on a road drawn by longitudes."""
    halts = list(problem.halts)
    while not problem.longitudes and sum(h.halt for h in halts) < count:
        grown = dataclasses.replace(problem, halts=tuple(halts))
        halts.append(Halt(at=_place(grown, draw, 0.15, 0.85)))
    return dataclasses.replace(problem, halts=tuple(halts))


def _departure(problem: Problem, draw: random.Random) -> Problem:
    """Leaving later saves the water and coal burnt while waiting."""
    taps = tuple(
        dataclasses.replace(t, opens=DEPART + draw.randint(15, 90), closes=DAY)
        if draw.random() < 0.8 else t for t in problem.taps
    )  # fmt: skip
    aim: Mapping[str, float | str] = {"first": "cheapest"}
    if draw.random() < 0.4:
        aim = {"minute": 0.2, "money": draw.uniform(1, 3), "stop": draw.uniform(0, 5)}
    return dataclasses.replace(
        problem, taps=taps, depart_by=DEPART + draw.randint(15, 60), aim=aim,
        standing=(draw.uniform(0.3, 1.0), draw.uniform(0.1, 0.3)),
    )  # fmt: skip


def _timed(problem: Problem, draw: random.Random) -> Problem:
    """The problem with an aim that counts minutes, unless it is about leaving late."""
    if problem.depart_by is not None or "minute" in problem.aim:
        return problem
    aim: Mapping[str, float | str] = {"first": "earliest"}
    if draw.random() < 0.3:
        aim = {"minute": 1.0, "money": draw.uniform(0, 1), "stop": draw.uniform(0, 10)}
    return dataclasses.replace(problem, aim=aim)


def _access(problem: Problem, draw: random.Random) -> Problem:
    timed = any(t.opens > 0 or t.closes < DAY for t in problem.taps)
    taps = tuple(
        dataclasses.replace(
            t, access=(draw.uniform(2, 12), draw.uniform(5, 40), draw.uniform(0.5, 4)),
            turning=draw.choice([0.0, draw.uniform(1, 5)]) if not timed else 0.0,
        ) if draw.random() < 0.7 else t for t in problem.taps
    )  # fmt: skip
    return dataclasses.replace(problem, taps=taps)


def _in_turn(problem: Problem, draw: random.Random) -> Problem:
    taps = tuple(
        dataclasses.replace(
            t, coal=UNLIMITED if t.coal is None else t.coal,
            water=UNLIMITED if t.water is None else t.water,
            serving=draw.choice([None, None, "together", "in turn"]),
        ) for t in problem.taps
    )  # fmt: skip
    start = (problem.start[0], problem.bunker * draw.uniform(0.35, 0.6))
    serving = draw.choice(["in turn", "in turn", "in turn", "together"])
    return _timed(dataclasses.replace(problem, taps=taps, start=start, serving=serving), draw)


def _solids(problem: Problem, draw: random.Random) -> Problem:
    taps = tuple(
        dataclasses.replace(t, solids=float(draw.randint(200, 1500)))
        if t.water is not None and draw.random() < 0.7 else t for t in problem.taps
    )  # fmt: skip
    return dataclasses.replace(problem, taps=taps)


def _quality(problem: Problem, draw: random.Random) -> Problem:
    """Water that is not good at most taps, of some of it no more than a share of the tank."""
    words = ("good", "hard", "muddy", "muddy", "alkaline")
    taps = tuple(
        t if t.water is None else dataclasses.replace(t, quality=draw.choice(words))
        for t in problem.taps
    )
    shares = tuple(
        (word, float(draw.randint(20, 70)) / 100)
        for word in words[1:3] + words[4:]
        if draw.random() < 0.6
    )
    strain = float(draw.randint(2, 15))
    return _timed(dataclasses.replace(problem, taps=taps, shares=shares, strain=strain), draw)


def _standing(problem: Problem, draw: random.Random) -> Problem:
    soft = draw.randrange(len(problem.taps))
    taps = tuple(
        dataclasses.replace(t, dry_only=k == soft or draw.random() < 0.15)
        for k, t in enumerate(problem.taps)
    )
    return dataclasses.replace(problem, taps=taps, wet=draw.random() < 0.85)


def _duty_hours(problem: Problem, draw: random.Random) -> Problem:
    duty = Duty(
        minutes=draw.uniform(22, 45), metres=None, takes=draw.uniform(4, 20),
        beside=draw.random() < 0.5,
    )  # fmt: skip
    problem = _with_halts(problem, draw, draw.choice([0, 1, 1]))
    return _timed(dataclasses.replace(problem, duties=(*problem.duties, duty)), draw)


def _duty_miles(problem: Problem, draw: random.Random) -> Problem:
    duty = Duty(
        minutes=None, metres=problem.length * draw.uniform(0.4, 0.75),
        takes=draw.uniform(4, 20), beside=draw.random() < 0.5,
    )  # fmt: skip
    problem = _with_halts(problem, draw, draw.choice([0, 1, 1]))
    return _timed(dataclasses.replace(problem, duties=(*problem.duties, duty)), draw)


def _meal(problem: Problem, draw: random.Random) -> Problem:
    earliest = DEPART + draw.randint(10, 30)
    meal = Meal(
        earliest=earliest, latest=earliest + draw.randint(15, 40), takes=draw.uniform(10, 30)
    )
    problem = _with_halts(problem, draw, 1)
    return _timed(dataclasses.replace(problem, meals=(meal,)), draw)


def _crew(problem: Problem, draw: random.Random) -> Problem:
    crew = float(draw.randint(90, 150))
    if draw.random() < 0.3:
        return dataclasses.replace(problem, latest=DEPART + draw.randint(65, 110))
    return dataclasses.replace(problem, crew=crew, lead_cold=draw.uniform(10, 50))


def _night(problem: Problem, draw: random.Random) -> Problem:
    """Two days or three, made needed by a short duty, an early dark, or a call."""
    problem = dataclasses.replace(problem, crew=None, lead_cold=0.0, latest=DAY)
    taps = list(problem.taps)
    open_to = [k for k, t in enumerate(taps) if t.access == (0.0, 0.0, 0.0)]
    if open_to and draw.random() < 0.7:
        k = draw.choice(open_to)
        taps[k] = dataclasses.replace(taps[k], night=True, night_price=draw.uniform(0, 40))
    halts = [*problem.halts]
    grown = dataclasses.replace(problem, halts=tuple(halts))
    halts.append(
        Halt(
            at=_place(grown, draw, 0.3, 0.7), night=True,
            night_price=draw.choice([0.0, draw.uniform(5, 60)]),
        )
    )  # fmt: skip
    nights = Nights(
        most=draw.choice([1, 1, 2]),
        banked=(draw.uniform(20, 60), draw.uniform(5, 20)),
        dropped=(draw.uniform(0, 90), draw.uniform(10, 30)),
        fire=draw.choice(["either", "either", "banked", "dropped"]),
    )
    driving = sum(s[0].minutes for s in problem.stretches)
    cold, banked = draw.uniform(10, 40), draw.uniform(2, 10)
    problem = dataclasses.replace(
        problem, taps=tuple(taps), halts=tuple(halts), nights=nights,
        earliest=draw.choice([0.0, 390.0, 420.0, 480.0]), lead_cold=cold, lead_banked=banked,
        bunker=problem.bunker + draw.uniform(10, 40),
        rest=draw.choice([0.0, draw.uniform(1300, 1420), draw.uniform(1300, 1420)]),
    )  # fmt: skip
    if draw.random() < 0.3:
        return dataclasses.replace(
            problem, latest=DEPART + float(int(driving * draw.uniform(0.8, 1.2)))
        )
    crew = max(60.0, float(int(cold + driving * draw.uniform(0.8, 1.25))))
    return dataclasses.replace(problem, crew=crew)


def _call(problem: Problem, draw: random.Random) -> Problem:
    opens, closes = 0.0, DAY
    if draw.random() < 0.7:
        opens = DEPART + draw.randint(20, 150)
        closes = opens + draw.randint(20, 120)
    day = None
    if problem.nights is not None and draw.random() < 0.5:
        day = draw.choice([1, 2, 2])
    call = Halt(
        at=_place(problem, draw, 0.2, 0.8), halt=problem.truck is not None,
        stay=draw.uniform(5, 60), opens=opens, closes=closes, day=day,
    )  # fmt: skip
    return _timed(dataclasses.replace(problem, halts=(*problem.halts, call)), draw)


def _cart(problem: Problem, draw: random.Random) -> Problem:
    capacity = draw.uniform(80, 250)
    cart = Cart(
        capacity=capacity,
        at_start=capacity * draw.choice([1.0, 0.5, 0.9]),
        rate=draw.uniform(15, 80),
    )
    wagon = Wagon(name="cart", tare=900.0, axles=2, wheelbase=draw.choice([2.0, 3.0]))
    problem = _with_halts(problem, draw, draw.choice([0, 1]))
    clean = tuple(dataclasses.replace(t, solids=0.0) for t in problem.taps)
    return dataclasses.replace(
        problem, taps=clean, cart=cart, wagons=(*problem.wagons, wagon),
        tank=draw.uniform(270, 340), start=(draw.uniform(200, 265), problem.start[1]),
    )  # fmt: skip


def _truck(problem: Problem, draw: random.Random) -> Problem:
    problem = _with_halts(problem, draw, draw.choice([1, 2]))
    halts = tuple(dataclasses.replace(h, halt=True) for h in problem.halts)
    coal = draw.choice([0.0, draw.uniform(10, 40)])
    truck = Truck(
        water=draw.uniform(60, 250), coal=coal, loads=draw.choice([1, 1, 2]),
        water_rate=draw.uniform(40, 150), coal_rate=draw.uniform(5, 20),
        water_price=draw.uniform(0, 0.02), coal_price=draw.uniform(0.1, 0.4),
        call_out=draw.choice([0.0, draw.uniform(1, 30)]), set_up=draw.uniform(1, 6),
    )  # fmt: skip
    return dataclasses.replace(problem, halts=halts, truck=truck)


def _engine(problem: Problem, draw: random.Random) -> Problem:
    if problem.engine is not None:
        return problem
    weight = draw.uniform(9000, 14000)
    engine = Engine(
        weight=weight,
        drivers=weight * draw.uniform(0.55, 0.8),
        wheelbase=draw.uniform(1.8, 3.2),
        tank_ahead=draw.uniform(-1.2, 0.8),
        bunker_ahead=draw.uniform(-1.5, -0.2),
    )
    van = Wagon(name="van", tare=draw.uniform(2500, 3500), load=500.0, wheelbase=2.2)
    problem = dataclasses.replace(problem, engine=engine, wagons=(van, *problem.wagons))
    moved = tuple(
        dataclasses.replace(b, limit=b.limit - problem.dry + problem.weight)
        for b in problem.bridges
    )
    return dataclasses.replace(problem, bridges=moved)


def _axle(problem: Problem, draw: random.Random) -> Problem:
    """On the driving axle more often than on the leading one; wagons seldom."""
    problem = _engine(problem, draw)
    assert problem.engine is not None
    engine, base = problem.engine, problem.engine.wheelbase
    share = 1 - engine.tank_ahead / base
    limit = engine.drivers + draw.uniform(0.35, 0.8) * share * problem.tank
    limit += draw.uniform(0.4, 0.8) * (1 - engine.bunker_ahead / base) * problem.bunker
    if problem.cart is not None and not problem.bridges:  # the cart's own axles may rule
        problem = _heavy_cart(problem, 2 * limit - draw.uniform(0.2, 0.9) * problem.cart.capacity)
    return _one_bridge(problem, draw, limit, "axle")


def _heavy_cart(problem: Problem, tare: float) -> Problem:
    wagons = tuple(
        dataclasses.replace(w, tare=tare, wheelbase=2.0) if w.name == "cart" else w
        for w in problem.wagons
    )
    return dataclasses.replace(problem, wagons=wagons)


def _tandem(problem: Problem, draw: random.Random) -> Problem:
    problem = _engine(problem, draw)
    assert problem.engine is not None
    engine = dataclasses.replace(problem.engine, wheelbase=draw.uniform(1.6, 2.4))
    problem = dataclasses.replace(problem, engine=engine)
    limit = engine.weight + draw.uniform(0.5, 0.95) * problem.tank + 0.6 * problem.bunker
    if problem.cart is not None and not problem.bridges:
        problem = _heavy_cart(problem, limit - draw.uniform(0.2, 0.9) * problem.cart.capacity)
    return _one_bridge(problem, draw, limit, "tandem")


def _one_bridge(
    problem: Problem, draw: random.Random, limit: float, kind: str, **more: float | None
) -> Problem:
    """The bridge with its margin, where the problem's other bridges have none or the same."""
    margin = problem.margin if problem.bridges else draw.choice([0.0, 0.05])
    near, reach = (0.03, 0.35) if "drain" in more else (0.3, 0.9)
    bridge = Bridge(
        at=_place(problem, draw, near, reach), limit=limit / (1 - margin), kind=kind, **more
    )
    return dataclasses.replace(problem, margin=margin, bridges=(*problem.bridges, bridge))


def _uncouple(problem: Problem, draw: random.Random) -> Problem:
    problem = _engine(problem, draw)
    cart = problem.cart.capacity if problem.cart else 0.0
    spare = draw.uniform(-0.2, 0.6) * problem.tank  # what may be aboard, coupled
    limit = max(
        problem.weight + spare + problem.bunker * 0.5,
        problem.weight - sum(w.tare + w.load for w in problem.wagons) + cart,
    )
    return _one_bridge(problem, draw, limit, "gross", uncouple=draw.uniform(4, 40))


def _drain(problem: Problem, draw: random.Random) -> Problem:
    limit = problem.weight + draw.uniform(0.25, 0.6) * problem.tank + 0.8 * problem.bunker
    drain = draw.uniform(20, 80)
    if problem.engine is not None and draw.random() < 0.4:
        return _one_bridge(problem, draw, limit, "gross", drain=drain, uncouple=draw.uniform(4, 40))
    return _one_bridge(problem, draw, limit, "gross", drain=drain)


def _boiler(problem: Problem, draw: random.Random) -> Problem:
    """A hilly road, whose crests ask for more in the glass than the working level."""
    problem = _engine(problem, draw)
    assert problem.engine is not None
    heights = [200.0]
    rises = draw.random() < 0.5
    for _ in problem.stretches:
        rises = not rises if draw.random() < 0.7 else rises
        heights.append(round(heights[-1] + draw.uniform(8, 60) * (1 if rises else -1), 2))
    off_tops = tuple(
        dataclasses.replace(t, at=tuple(at + 150.0 * (at % 1000 == 0) for at in t.at))
        for t in problem.taps
    )
    glass = Glass(
        crown_back=draw.uniform(0.8, 1.3), tubes_front=-draw.uniform(1.0, 1.8),
        tubes_height=-draw.uniform(0.0, 0.1), bottom=0.02, working=draw.uniform(0.04, 0.07),
        highest=draw.uniform(0.13, 0.18), cover=draw.uniform(0.05, 0.07),
        area=draw.uniform(0.9, 1.8), feed=draw.uniform(12, 25),
    )  # fmt: skip
    return dataclasses.replace(
        problem,
        heights=tuple(heights),
        taps=off_tops,
        engine=dataclasses.replace(problem.engine, glass=glass),
    )


def _two_passes(problem: Problem, draw: random.Random) -> Problem:
    return problem


_DRAWERS: Mapping[str, Callable[[Problem, random.Random], Problem]] = {
    "departure": _departure, "access": _access, "in turn": _in_turn, "solids": _solids,
    "standing": _standing, "duty by hours": _duty_hours, "duty by miles": _duty_miles,
    "meal": _meal, "crew": _crew, "night": _night, "call": _call, "cart": _cart,
    "truck": _truck, "axle": _axle, "tandem": _tandem, "uncouple": _uncouple, "drain": _drain,
    "two passes": _two_passes, "boiler": _boiler, "quality": _quality,
}  # fmt: skip
