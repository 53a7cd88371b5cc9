"""Small planning problems solved by brute force.

Every discrete decision is tried (gears, stops, nights and fires, where duties are done and
meals had, where the truck comes, what is uncoupled), and for each a linear programme is
solved over every cut of the road. Nothing here knows of legs, compression or haulplan.
"""

import math
from dataclasses import dataclass

from small.decisions import (
    Decision,
    Road,
    decisions,
    has_reason,
    lowest_cost,
    set_up_of,
    turning_at,
    weights,
)
from small.problems import DAY, DEPART, UNLIMITED, Bridge, Glass, Halt, Problem, Tap
from small.programme import Programme

__all__ = ["Builder", "brute_force", "solve"]

#: Dissolved solids the boiler's water may hold: 3,000 ppm, middle of the published
#: 2,000-3,500 ppm for shell and locomotive boilers. [ppm]
BOILER_SOLIDS = 3000.0
#: Dissolved solids of water of which only the word is known; assumptions, as stated in the
#: program's defaults. [ppm]
WORDS = {"good": 0.0, "hard": 350.0, "muddy": 400.0, "alkaline": 1000.0}
#: Feed water at 60 °F: 8.337 lb per US gallon (IAPWS-IF97). [kg/m³]
WATER = 999.0
#: Neighbouring axles nearer than this are a tandem: 96 in, as in 23 CFR 658.5. [m]
TANDEM = 96 * 0.0254
#: A stop takes this share of a store, or all there is, where standing burns anything.
WORTH = 0.02
LONGEST_NIGHT = 2 * DAY
#: No clock and no stay is longer. [min]
FAR = 2e4


@dataclass
class Columns:
    """Columns of one cut: levels and clock on arriving and leaving, and what a stop adds."""

    wa: int
    ca: int
    va: int | None
    wl: int
    cl: int
    vl: int | None
    t: int
    stay: int | None = None
    wait: int | None = None
    water: int | None = None
    coal: int | None = None
    emptied: int | None = None
    filled: int | None = None
    drained: int | None = None
    night: int | None = None
    ba: int | None = None
    bl: int | None = None
    fed: int | None = None


def surplus(glass: Glass, needed: float) -> float:
    """Water above the working level: up to the highest, or up to a level above the crown [kg]."""
    level = needed if needed else glass.highest
    return max(level - glass.working, 0.0) * glass.area * WATER


def surplus_needed(glass: Glass, climb: float, fall: float) -> float:
    """What a crest asks above the working level: crown and front tube ends stay covered. [kg]"""
    level = glass.cover + max(
        fall * glass.crown_back, glass.tubes_height + climb * -glass.tubes_front, 0.0
    )
    return surplus(glass, level)


class Builder:
    """One decision's programme; `joined` is another's, and the cut of it where this one begins."""

    def __init__(
        self, road: Road, decision: Decision, joined: "tuple[Builder, int] | None" = None
    ) -> None:
        self.road, self.problem, self.decision = road, road.problem, decision
        self.joined = joined
        self.lp: Programme = Programme() if joined is None else joined[0].lp
        self.minute, self.money, self.stop = (
            weights(road.problem) if joined is None else (0.0, 0.0, 0.0)
        )
        self.slept = dict(decision.nights)
        self.glass = None if self.problem.engine is None else self.problem.engine.glass
        if self.glass is not None and not any(
            surplus_needed(self.glass, *grades) > 0 for grades in road.crests.values()
        ):
            self.glass = None  # the working level does for every crest
        self.columns = [self._columns(j) for j in range(road.last + 1)]

    def day(self, j: int) -> int:
        """Day on which cut j is reached, from 0."""
        return sum(night < j for night in self.slept)

    def _columns(self, j: int) -> Columns:
        problem, lp = self.problem, self.lp
        cart = problem.cart

        def levels(first: bool) -> tuple[int, int, int | None]:
            low = (0.0, 0.0) if first else problem.reserve
            return (
                lp.column(low[0], problem.tank),
                lp.column(low[1], problem.bunker),
                None if cart is None else lp.column(0.0, cart.capacity),
            )

        wa, ca, va = levels(j == 0)
        wl, cl, vl = levels(False)
        here = Columns(wa=wa, ca=ca, va=va, wl=wl, cl=cl, vl=vl, t=lp.column(0.0, FAR))
        if j in self.decision.made:
            here.stay = lp.column(0.0, FAR)
            if isinstance(self.road.facility[j], Bridge):
                here.drained = lp.column(0.0, problem.tank)
            elif cart is not None:
                here.emptied = lp.column(0.0, cart.capacity)
            if j in self.slept:
                here.night = lp.column(0.0, LONGEST_NIGHT)
        if self.glass is not None:
            here.ba, here.bl = (lp.column(0.0, surplus(self.glass, 0.0)) for _ in range(2))
            if j in self.decision.made:
                here.fed = lp.column(0.0, problem.tank)
        return here

    def build(self) -> Programme:
        problem, lp, columns = self.problem, self.lp, self.columns
        last = columns[-1]
        lp.row([(last.wa, 1.0)], problem.finish[0], math.inf)
        lp.row([(last.ca, 1.0)], problem.finish[1], math.inf)
        if self.joined is None:
            self._start()
        else:
            self._join(*self.joined)
        for j in range(self.road.last + 1):
            what = self.road.facility.get(j)
            if j not in self.decision.made:
                self._pass(j)
            elif isinstance(what, Bridge):
                self._cross(j, what)
            elif what is not None:
                self._stand(j, what)
            if isinstance(what, Bridge):
                self._weigh(j, what)
            if self.glass is not None and j in self.road.crests:
                needed = surplus_needed(self.glass, *self.road.crests[j])
                lp.row([(self.columns[j].bl, 1.0)], needed, math.inf)
        for j in range(self.road.last):
            self._drive(j)
        self._share_sources()
        self._hours()
        self._meals()
        lp.cost[last.t] += self.minute
        lp.constant += self.stop * len(self.decision.made) - self.minute * DEPART
        return lp

    def _start(self) -> None:
        problem, lp, first = self.problem, self.lp, self.columns[0]
        for column, level in ((first.wa, problem.start[0]), (first.ca, problem.start[1])):
            lp.row([(column, 1.0)], level, level)
        if problem.cart is not None:
            level = min(problem.cart.at_start, problem.cart.capacity)
            lp.row([(first.va, 1.0)], level, level)
        if first.ba is not None:
            lp.row([(first.ba, 1.0)], 0.0, 0.0)
        latest = DEPART if problem.depart_by is None else problem.depart_by
        lp.row([(first.t, 1.0)], max(DEPART, problem.earliest), max(latest, DEPART))

    def _join(self, other: "Builder", j: int) -> None:
        """Begin as another programme arrives at its cut j."""
        first, there = self.columns[0], other.columns[j]
        for mine, theirs in ((first.wa, there.wa), (first.ca, there.ca), (first.t, there.t)):
            self.lp.row([(mine, 1.0), (theirs, -1.0)], 0.0, 0.0)

    def _pass(self, j: int) -> None:
        """Nothing changes where the train does not stop."""
        here = self.columns[j]
        for arrive, leave in (
            (here.wa, here.wl), (here.ca, here.cl), (here.va, here.vl), (here.ba, here.bl),
        ):  # fmt: skip
            if arrive is not None:
                self.lp.row([(leave, 1.0), (arrive, -1.0)], 0.0, 0.0)

    def _drive(self, j: int) -> None:
        """From cut j to the next: use follows what is aboard on leaving j."""
        here, there = self.columns[j], self.columns[j + 1]
        row = self.road.row[j]
        stretch, share = self.problem.stretches[row][self.decision.gears[row]], self.road.share(j)
        fed = None
        if self.glass is not None:
            fed = self.lp.column(0.0, self.glass.feed * stretch.minutes * share)
            self.lp.row([(there.wa, 1.0), (here.wl, -1.0), (fed, 1.0)], 0.0, 0.0)
        for arrive, leave, base, slope in (
            (there.ba or there.wa, here.bl or here.wl, stretch.water, stretch.water_slope),
            (there.ca, here.cl, stretch.coal, stretch.coal_slope),
        ):
            aboard = [(c, slope * share) for c in (here.wl, here.cl, here.vl, here.bl)]
            given = None if arrive == there.ca else fed
            self.lp.row(
                [(arrive, 1.0), (leave, -1.0), (given, -1.0), *aboard],
                -base * share, -base * share,
            )  # fmt: skip
        if here.vl is not None:
            self.lp.row([(there.va, 1.0), (here.vl, -1.0)], 0.0, 0.0)
        took = stretch.minutes * share + self._access(j)[0]
        self.lp.row(
            [(there.t, 1.0), (here.t, -1.0), (here.stay, -1.0), (here.night, -1.0)], took, took
        )

    def _access(self, j: int) -> tuple[float, float, float]:
        """Minutes, water and coal of the way off the road and back, where a stop is made."""
        what = self.road.facility.get(j)
        if j not in self.decision.made or not isinstance(what, Tap):
            return 0.0, 0.0, 0.0
        return what.access[0] + turning_at(what), what.access[1], what.access[2]

    # -- stops --

    def _cross(self, j: int, bridge: Bridge) -> None:
        """A stop at a bridge: the train is uncoupled, the tank run off."""
        problem, lp, here = self.problem, self.lp, self.columns[j]
        apart = (bridge.uncouple or 0.0) * (j in self.decision.uncoupled)
        if bridge.drain is None:
            lp.row([(here.drained, 1.0)], 0.0, 0.0)
        lp.row([(here.stay, 1.0), (here.drained, -1.0 / (bridge.drain or 1.0))], apart, apart)
        lp.row([(here.wl, 1.0), (here.wa, -1.0), (here.drained, 1.0), self._burnt(j)], 0.0, 0.0)
        lp.row([(here.cl, 1.0), (here.ca, -1.0), (here.stay, problem.standing[1])], 0.0, 0.0)
        if here.va is not None:
            lp.row([(here.vl, 1.0), (here.va, -1.0)], 0.0, 0.0)

    def _stand(self, j: int, what: Tap | Halt) -> None:
        """A stop at a supply or a halt."""
        lp, here, day = self.lp, self.columns[j], self.day(j)
        longest = FAR
        if isinstance(what, Tap) or what.stay is None:
            opens = what.opens if isinstance(what, Tap) else 0.0
            longest = max(opens - DEPART, 0.0) if day == 0 else DAY * (opens > 0)
        here.wait = lp.column(0.0, min(longest, DAY))
        worth: list[tuple[int | None, float]] = []
        water, coal, set_up, together = self._offer(j, what, worth)
        self._balance(j, what)
        self._minutes(j, what, water, coal, set_up, together)
        if sum(self.problem.standing) > 0 and not has_reason(self.decision, j):
            if here.emptied is not None and self.problem.cart is not None:
                least = min(WORTH * self.problem.tank, self.problem.cart.capacity)
                worth.append((here.emptied, 1.0 / least))
            if isinstance(what, Tap) or what.stay is None:
                lp.row(worth, 1.0, math.inf)
        self._open(j, what)
        if j in self.slept:
            lp.constant += self.money * what.night_price

    def _offer(
        self, j: int, what: Tap | Halt, worth: list[tuple[int | None, float]]
    ) -> tuple[float | None, float | None, float, bool]:
        """Columns of what is taken; rates of water and coal, set-up, served side by side."""
        lp, here, problem = self.lp, self.columns[j], self.problem
        serving = problem.serving
        if isinstance(what, Tap):
            water, coal, offer = what.water, what.coal, (what.water_price, what.coal_price)
            rates, call_out, set_up = (
                (what.water_rate, what.coal_rate), what.call_out, set_up_of(problem, what),
            )  # fmt: skip
            serving = what.serving or serving
        elif j in self.decision.truck and problem.truck is not None:
            truck = problem.truck
            water = truck.water * truck.loads or None
            coal = truck.coal * truck.loads or None
            offer = (truck.water_price, truck.coal_price)
            rates, call_out, set_up = (
                (truck.water_rate, truck.coal_rate), truck.call_out, truck.set_up,
            )  # fmt: skip
        else:
            return None, None, 0.0, True
        lp.constant += self.money * call_out
        if water:
            here.water = lp.column(0.0, min(water, problem.tank), self.money * offer[0])
            worth.append((here.water, 1.0 / min(WORTH * problem.tank, water)))
            if problem.cart is not None and isinstance(what, Tap):
                most = min(water, problem.cart.capacity)
                here.filled = lp.column(0.0, most, self.money * offer[0])
                worth.append((here.filled, 1.0 / min(WORTH * problem.cart.capacity, water)))
            if isinstance(what, Tap):
                share = dict(problem.shares).get(what.quality, 1.0)
                both = [(here.water, 1.0), (here.filled, 1.0)]
                lp.row(both, -math.inf, math.inf if share == 1.0 else share * problem.tank)
        if coal:
            here.coal = lp.column(0.0, min(coal, problem.bunker), self.money * offer[1])
            worth.append((here.coal, 1.0 / min(WORTH * problem.bunker, coal)))
        return (
            rates[0] if water else None, rates[1] if coal else None, set_up, serving == "together",
        )  # fmt: skip

    def _balance(self, j: int, what: Tap | Halt) -> None:
        """Levels and room at a stop."""
        problem, lp, here = self.problem, self.lp, self.columns[j]
        _, access_water, access_coal = self._access(j)
        blown = 0.0
        if isinstance(what, Tap):
            blown = (what.solids or WORDS[what.quality]) / BOILER_SOLIDS
        night_water, night_coal = 0.0, 0.0
        if j in self.slept and problem.nights is not None:
            night_water, night_coal = getattr(problem.nights, self.slept[j])
        for arrive, leave, take, more, kept, access, standing, night, reserve, room in (
            (here.wa, here.wl, here.water, here.emptied, 1.0 - blown, access_water,
             self._burnt(j), night_water, problem.reserve[0], problem.tank),
            (here.ca, here.cl, here.coal, None, 1.0, access_coal,
             (here.stay, problem.standing[1]), night_coal, problem.reserve[1], problem.bunker),
        ):  # fmt: skip
            gone = -access - night
            lp.row(
                [(leave, 1.0), (arrive, -1.0), (take, -kept), (more, -1.0), standing],
                gone, gone,
            )  # fmt: skip
            lp.row([(arrive, 1.0)], reserve + access / 2, math.inf)
            lp.row([(arrive, 1.0), (take, 1.0), (more, 1.0)], -math.inf, room + access / 2)
        if here.va is not None and problem.cart is not None:
            lp.row(
                [(here.vl, 1.0), (here.va, -1.0), (here.filled, -1.0), (here.emptied, 1.0)],
                0.0, 0.0,
            )  # fmt: skip
            lp.row([(here.va, 1.0), (here.emptied, -1.0)], 0.0, math.inf)

    def _burnt(self, j: int) -> tuple[int | None, float]:
        """What standing takes out of the tank: what is fed, where the boiler has its own level."""
        lp, here, standing = self.lp, self.columns[j], self.problem.standing[0]
        if self.glass is None:
            return here.stay, standing
        lp.row([(here.bl, 1.0), (here.ba, -1.0), (here.fed, -1.0), (here.stay, standing)], 0.0, 0.0)
        lp.row([(here.fed, 1.0), (here.stay, -self.glass.feed)], -math.inf, 0.0)
        return here.fed, 1.0

    def _minutes(
        self, j: int, what: Tap | Halt, water: float | None, coal: float | None, set_up: float,
        together: bool,
    ) -> None:  # fmt: skip
        """How long a stop is."""
        problem, lp, here, decision = self.problem, self.lp, self.columns[j], self.decision
        eaten = sum(
            meal.takes
            for day in decision.meals
            for meal, where in zip(problem.meals, day, strict=True)
            if where == j
        )
        beside = nobody = 0.0
        for duty, done in zip(problem.duties, decision.duties, strict=True):
            if j in done and duty.beside:
                beside += duty.takes
            elif j in done:
                nobody += duty.takes
        wet: list[tuple[int | None, float]] = []
        if water is not None:
            wet = [(here.water, -1.0 / water), (here.filled, -1.0 / water)]
        black: list[tuple[int | None, float]] = [] if coal is None else [(here.coal, -1.0 / coal)]
        cart: list[tuple[int | None, float]] = []
        if problem.cart is not None:
            cart = [(here.emptied, -1.0 / problem.cart.rate)]
        stood: list[tuple[int | None, float]] = [(here.stay, 1.0), (here.wait, -1.0)]
        for serving in [wet, black] if together else [[*wet, *black]]:
            lp.row([*stood, *serving, *cart], set_up + nobody + eaten, math.inf)
        lp.row(stood, beside + eaten, math.inf)
        stay = 0.0
        if isinstance(what, Halt) and what.stay is not None:
            stay = what.stay
            lp.row(stood, stay, math.inf)
        most = set_up + eaten + beside + nobody + stay
        lp.row([*stood, *wet, *black, *cart], -math.inf, most)

    def _open(self, j: int, what: Tap | Halt) -> None:
        """Opening hours of a supply, and the hours of a call."""
        lp, here, day = self.lp, self.columns[j], self.day(j)
        into = self._access(j)[0] / 2
        begin = [(here.t, 1.0), (here.wait, 1.0)]
        if isinstance(what, Tap):
            if what.opens > 0:
                lp.row(begin, what.opens + DAY * day - into, math.inf)
            if what.closes < DAY:
                lp.row([(here.t, 1.0), (here.stay, 1.0)], -math.inf, what.closes + DAY * day - into)
        elif what.stay is not None:
            lp.row(begin, what.opens + DAY * day, math.inf)
            if what.closes < DAY:
                lp.row([(here.t, 1.0)], -math.inf, what.closes + DAY * day)
            if what.day is not None and what.day != day + 1:
                lp.row([], 1.0, math.inf)

    # -- bridges --

    def _weigh(self, j: int, bridge: Bridge) -> None:
        """What stands on a bridge, or on one axle, against the posted figure."""
        problem, lp, here = self.problem, self.lp, self.columns[j]
        limit = bridge.limit * (1.0 - problem.margin)
        water, coal, cart = here.wl, here.cl, here.vl
        engine = problem.engine

        def loads(
            dry: float, w: float = 0.0, c: float = 0.0, v: float = 0.0, b: float = 0.0
        ) -> None:
            lp.row([(water, w), (coal, c), (cart, v), (here.bl, b)], -math.inf, limit - dry)

        def carts(wagon: str) -> float:
            return float(wagon == "cart" and problem.cart is not None)

        if bridge.kind == "gross" and j in self.decision.uncoupled:
            assert engine is not None
            loads(engine.weight, 1.0, 1.0, b=1.0)
            for wagon in problem.wagons:
                loads(wagon.tare + wagon.load, v=carts(wagon.name))
        elif bridge.kind == "gross":
            loads(problem.weight, 1.0, 1.0, 1.0, 1.0)
        elif bridge.kind == "axle":
            assert engine is not None
            ahead_w = engine.tank_ahead / engine.wheelbase
            ahead_c = engine.bunker_ahead / engine.wheelbase
            share = engine.drivers / engine.weight
            loads(engine.weight - engine.drivers, ahead_w, ahead_c, b=1.0 - share)
            loads(engine.drivers, 1.0 - ahead_w, 1.0 - ahead_c, b=share)
            for wagon in problem.wagons:
                n = wagon.axles
                loads((wagon.tare + wagon.load) / n, v=carts(wagon.name) / n)
        else:
            assert engine is not None
            if engine.wheelbase <= TANDEM:
                loads(engine.weight, 1.0, 1.0, b=1.0)
            for wagon in problem.wagons:
                if wagon.axles == 2 and wagon.wheelbase is not None and wagon.wheelbase <= TANDEM:
                    loads(wagon.tare + wagon.load, v=carts(wagon.name))

    def _share_sources(self) -> None:
        """One source has one amount over all its passes; so has the truck over the run."""
        lp, problem = self.lp, self.problem
        for tap in problem.taps:
            here = [self.columns[self.road.cuts.index(at)] for at in tap.at]
            if tap.water is not None and tap.water < UNLIMITED:
                taken = [(c, 1.0) for h in here for c in (h.water, h.filled)]
                lp.row(taken, -math.inf, tap.water)
            if tap.coal is not None and tap.coal < UNLIMITED:
                lp.row([(h.coal, 1.0) for h in here], -math.inf, tap.coal)
        if problem.truck is not None:
            met = [self.columns[j] for j in self.decision.truck]
            truck = problem.truck
            lp.row([(h.water, 1.0) for h in met], -math.inf, truck.water * truck.loads)
            lp.row([(h.coal, 1.0) for h in met], -math.inf, truck.coal * truck.loads)

    # -- the day --

    def _departure(self, day: int) -> list[tuple[int | None, float]]:
        """Clock at which a day's wheels first turn, as terms."""
        if day == 0:
            whole = self if self.joined is None else self.joined[0]
            return [(whole.columns[0].t, 1.0)]
        night = self.columns[self.decision.nights[day - 1][0]]
        return [(night.t, 1.0), (night.stay, 1.0), (night.night, 1.0)]

    def _arrival(self, day: int) -> list[tuple[int | None, float]]:
        """Clock at which they last turn."""
        if day < len(self.decision.nights):
            return [(self.columns[self.decision.nights[day][0]].t, 1.0)]
        return [(self.columns[-1].t, 1.0)]

    def _hours(self) -> None:
        """Earliest and latest clock, crew's hours, rest."""
        problem, lp, nights = self.problem, self.lp, self.decision.nights
        leads = {"banked": problem.lead_banked, "dropped": problem.lead_cold}
        for day in range(len(nights) + 1):
            if problem.latest < DAY:
                lp.row(self._arrival(day), -math.inf, problem.latest + DAY * day)
            if day > 0:
                lp.row(
                    self._departure(day), problem.earliest + DAY * day, problem.latest + DAY * day
                )
            lead = problem.lead_cold if day == 0 else leads[nights[day - 1][1]]
            end = self._arrival(day)
            if day < len(nights):
                night = self.columns[nights[day][0]]
                end = [*end, (night.stay, 1.0)]
                lp.row([(night.night, 1.0)], problem.rest + leads[nights[day][1]], math.inf)
            if problem.crew is not None:
                begun = [(column, -value) for column, value in self._departure(day)]
                lp.row([*end, *begun], -math.inf, problem.crew - lead)

    def _meals(self) -> None:
        """Each meal of each day is had where decided, or not due."""
        lp = self.lp
        for day, meals in enumerate(self.decision.meals):
            for meal, where in zip(self.problem.meals, meals, strict=True):
                earliest, latest = meal.earliest + DAY * day, meal.latest + DAY * day
                if where == "early":
                    lp.row(self._arrival(day), -math.inf, latest)
                elif where == "late":
                    lp.row(self._departure(day), earliest, math.inf)
                else:
                    assert isinstance(where, int)
                    here, into = self.columns[where], self._access(where)[0] / 2
                    begun = lp.column(earliest, latest)
                    lp.row([(begun, 1.0), (here.t, -1.0)], into, math.inf)
                    lp.row(
                        [(begun, 1.0), (here.t, -1.0), (here.stay, -1.0)],
                        -math.inf, into - meal.takes,
                    )  # fmt: skip


def solve(road: Road, decision: Decision) -> float | None:
    """Least aim value with exactly these decisions, or None."""
    return Builder(road, decision).build().minimum()


def brute_force(problem: Problem) -> float | None:
    """Least value of the problem's aim, None where there is no plan."""
    road = Road(problem)
    best: float | None = None
    ranked = sorted(
        ((lowest_cost(road, decision), n, decision) for n, decision in enumerate(decisions(road))),
        key=lambda item: item[:2],
    )
    for bound, _, decision in ranked:
        if best is not None and bound >= best - 1e-9:
            break
        value = solve(road, decision)
        if value is not None and (best is None or value < best):
            best = value
    return best
