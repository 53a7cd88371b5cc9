"""The programme: which supplies to stop at, and what to take there.

Sets. Nodes i = 0 … n in driving order (start, each passing of a supply, halt, crest or
bridge with a choice, each gear boundary, finish); legs i from node i to i + 1 with gear
options g; days d = 0 … N; fires f; duties k; meals m.

Data. Each leg's use is affine in M, everything consumable aboard at its start (module
`legs`). Masses in kg, times in minutes.

| symbol        | meaning                                   | name in code            |
|---------------|-------------------------------------------|-------------------------|
| Wᵃ Wˡ         | tank on arrival, on leaving               | `arrive["water"]` `leave`|
| Cᵃ Cˡ         | bunker on arrival, on leaving             | `arrive["coal"]` `leave`|
| Vᵃ Vˡ; e r    | cart; emptied into tank, filled           | `"cart"` `empty` `fill` |
| Bᵃ Bˡ; f h    | boiler above its working level; fed       | `"boiler"` `feed`       |
| q p           | water, coal taken                         | `take_water` `take_coal`|
| y             | stop made (0 or 1)                        | `stop`                  |
| v             | wait before the supply opens              | `wait`                  |
| s             | whole time standing, wait included        | `stay`                  |
| t; b          | clock on arrival; departure of a day      | `clock` `begin`         |
| g             | from the day's end to the next departure  | `gap`                   |
| z             | night spent (0 or 1), by day and fire     | `night`                 |
| o; μ          | duty done, meal had (0 or 1)              | `duty` `meal`           |
| ψ             | truck met (0 or 1); y at a supply         | `met`                   |
| u; δ          | uncoupled (0 or 1); water run off         | `uncoupled` `drained`   |
| x_g, M_g      | gear g driven; mass aboard in that gear   | `drive` `mass`          |
| R T; K B      | reserve and tank; reserve and bunker      | `Limits`                |
| ω κ           | water and coal burnt standing, per minute | `standing_`             |
| a             | drive off the road there and back         | `Offer.access_`         |

Constraints, for every node or leg they apply to:

(1)  Wˡ = Wᵃ + (1 - blowdown) q + e - a y - ω s - δ - Σ z night;  Cˡ likewise
                                                        what is aboard on leaving
(2)  Wᵃ - a/2 y + q + e ≤ T;  Cᵃ - a/2 y + p ≤ B       room in tank and bunker
(3)  R ≤ Wᵃ - a/2 y, Wˡ;  K ≤ Cᵃ - a/2 y, Cˡ            reserves
(4)  q ≤ min(T, available, m) y;  p likewise            nothing is taken in passing
     q + r ≤ m, the most of water that is not good      at one stop
(4a) q / least + p / least + e, r likewise + nights + duties + meals + call ≥ y
                                                        nobody stops for next to nothing,
                                                        standing being a way to lose weight
(5)  Σ over passes of one supply of q + r ≤ available   one source, one amount
(6)  s ≥ v + set-up ψ + (q + r) / rate + work;  s ≥ v + set-up ψ + p / rate + work
     (in turn: the sum);  work = e / rate + meals + duties not done beside
     s ≥ v + duties beside + meals;  s ≥ v + call        water and coal side by side
(7)  s ≤ v + set-up ψ + (q + r) / rate + p / rate + work + duties beside + call
                                                        nobody stands to burn water off
(8)  Σ_g x_g = 1;  Σ_g M_g = Wˡ + Cˡ + Vˡ + Bˡ;  0 ≤ M_g ≤ room x_g
                                                        exact split of choice × mass
(9)  Wᵃ' = Wˡ - Σ_g (α_g x_g + β_g M_g);  Cᵃ' likewise   use of the leg
     with a boiler: Wᵃ' = Wˡ - f;  Bᵃ' = Bˡ + f - use;  f ≤ feed × minutes
(10) t' = t + s + a + g + Σ_g (τ_g x_g + θ_g M_g)       clock
(11) M_g ≤ limit_g x_g;  base + Σ share × store ≤ posted (+ loose u)   bridges and hills
(12) t + a/2 + v ≥ opens y;  t + a/2 + s ≤ closes       opening hours, of each day
(13) Wᵃ_n, Cᵃ_n ≥ levels wanted at the finish;  Bᵃ ≥ the crest's

Wˡ and Cˡ are written out as sums, no variables; so is s where one thing is done after the
other ((6) and (7) agree), and t where nothing goes by it. A cart is towed as it left.

Days (module `days`), with Z_id = Σ over nodes before i of z_d, so that values of day d
shift by Σ_d (value_d - value_{d-1}) Z_id:

(17) t_i ≤ latest of i's day;  t + s + a + g ≥ earliest of the next day, where z
(18) day's end - b_d + lead of the day's fire ≤ crew;  g ≥ rest + lead where z
(19) b_d ≤ t + s + a + g where z: the day's departure
(20) one night on a date, in order, at places that have one; g ≤ 2880 z
(21) each meal of a day that is used is had, or the day ends before its latest beginning,
     or begins after its earliest; of a day begun before the start that is settled there
     and, to bring the relaxation near: Σ of all days' work ≤ Σ (crew - lead) of those used;
     t_n ≥ Σ z (earliest of the next day + least minutes from there to the finish)
(22) ρ' = ρ + minutes (or metres) driven;  ρ ≤ interval;  a duty or a night sets ρ to 0
     ρ_0 and the lead of the first day's fire: what lies behind of a day begun before

A stop found shut (module `survive`):

(23) from a stop on, a second set of all of the above with levels of last resort, nothing of
     one kind at that stop, and the plan's own arrival there; its road may hold a turn back
     (module `turning`): the same, with two calls of as long as turning round takes

Valid inequalities, found by `tighten` where the relaxation breaks them. e_i(level) is a level
in start equivalents, which driving never raises; ν_i = e_i(least level on arrival), φ_i =
e_i(capacity), φ'_k = e_k(most on leaving, bridges included), q' = q / Π. In each sum a stop
counts with the smaller of the two in braces; "cheap" stops are those counted by c y.

(14) e_k(Wᵃ_k) + Σ_{k ≤ i < l} min{q'_i; c_i y_i} ≥ ν_l,  c_i = min(ν_l - ν_i, cap_i)
     the first cheap stop made was reached: all before it ≥ ν_i, and it adds ν_l - ν_i
(15) e_l(Wᵃ_l) ≤ φ'_k + Σ_{k < i < l} min{q'_i; c_i y_i},  c_i = min(φ_i - φ'_k, cap_i)
     after the last cheap stop made the level is ≤ φ_i, and takes after it count in full
(16) Σ_{k < i < l} min{q'_i; c_i y_i} ≥ x = ν_l - φ'_k,  c_i = min(φ_i - φ'_k, ν_l - ν_i, x, cap_i)
     after the last cheap stop bound by φ, takes in full lead from φ_i to the first bound
     by ν (or to l): the sum is ≥ (φ_i - φ'_k) + (ν_j - φ_i) + (ν_l - ν_j) = x
     (c_i = cap_i counts no less than the take itself, by (4); so does c_i = x alone)

Likewise for coal; for water only where no cart and no boiler stands beside the tank.

Aims, minimised in order, each kept at its best while the next is improved: the one asked
for, arrival t_n, stops Σ y, money Σ price q + price p + call-out ψ + nights, and a fixed
order among decisions; or a weighted sum first.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import pulp

from haulplan.plan.legs import AffineLeg, Chain, MassLimit
from haulplan.plan.rules import Bound, Limits, Offer, Rules

__all__ = [
    "STORES",
    "Programme",
    "add_choice",
    "add_leg",
    "most_aboard",
    "new_programme",
    "new_recourse",
]

#: Limits broken by less are the solver's rounding. [kg or min]
_ROUNDING: Final = 1e-4
_DAY: Final = 24 * 60.0
#: Of what is short by as much, what counts a little less is told: the crest rather than the
#: tank, a store rather than a bridge, the earlier node rather than the later.
_RATHER: Final[Mapping[str, float]] = {"crest": 0.999, "water": 0.9995, "coal": 0.9995}
_LATER: Final = 1e-6
#: At so many nodes one has a clock of its own, whether or not anything there goes by it.
_SPAN: Final = 16
STORES: Final = ("water", "coal", "cart", "boiler")


@dataclass(kw_only=True)
class Programme:
    """The PuLP problem and its variables by node or leg.

    A recourse is a programme in the same problem that begins at node `first`, its names
    marked by `prefix`; what is before that node, and the arrival there, is the plan's own.
    """

    problem: Any
    limits: Limits
    rules: Rules
    offers: Mapping[int, Offer]
    horizon: float
    elastic: bool = False
    first: int = 0
    prefix: str = ""
    arrive: dict[str, list[Any]] = field(default_factory=lambda: {s: [] for s in STORES})
    leave: dict[str, list[Any]] = field(default_factory=lambda: {s: [] for s in STORES})
    take_water: dict[int, Any] = field(default_factory=dict)
    take_coal: dict[int, Any] = field(default_factory=dict)
    empty: dict[int, Any] = field(default_factory=dict)
    fill: dict[int, Any] = field(default_factory=dict)
    feed: dict[int, Any] = field(default_factory=dict)
    stop: dict[int, Any] = field(default_factory=dict)
    met: dict[int, Any] = field(default_factory=dict)
    stay: dict[int, Any] = field(default_factory=dict)
    wait: dict[int, Any] = field(default_factory=dict)
    gap: dict[int, Any] = field(default_factory=dict)
    clock: list[Any] = field(default_factory=list)
    begin: list[Any] = field(default_factory=list)
    night: dict[tuple[int, int, int], Any] = field(default_factory=dict)
    run_up: dict[tuple[int, int], Any] = field(default_factory=dict)
    duty: dict[tuple[int, int], Any] = field(default_factory=dict)
    meal: dict[tuple[int, int, int], Any] = field(default_factory=dict)
    spared: list[Any] = field(default_factory=list)
    uncoupled: dict[int, Any] = field(default_factory=dict)
    drained: dict[int, Any] = field(default_factory=dict)
    drive: dict[int, dict[int, Any]] = field(default_factory=dict)
    slack: dict[tuple[str, int, str], tuple[Any, MassLimit | Bound | None]] = field(
        default_factory=dict
    )

    def variable(self, name: str, low: float, high: float, *, integer: bool = False) -> Any:  # noqa: ANN401  a PuLP variable
        """Add a variable; infinite bounds are left open."""
        kind = "Integer" if integer else "Continuous"
        return self.problem.add_variable(
            self.prefix + name,
            None if math.isinf(low) else low,
            None if math.isinf(high) else high,
            kind,
        )

    def decision(self, name: str) -> Any:  # noqa: ANN401  a PuLP variable
        """Add a yes-or-no variable."""
        return self.variable(name, 0.0, 1.0, integer=True)

    def add(self, constraint: Any, name: str) -> None:  # noqa: ANN401  a PuLP constraint
        """Add a constraint by name; the plan has settled a recourse's without variables."""
        if not self.prefix or (not isinstance(constraint, bool) and len(constraint) > 0):
            self.problem.addConstraint(constraint, self.prefix + name)

    def give(self, kind: str, node: int, tag: str, bound: MassLimit | Bound | None = None) -> Any:  # noqa: ANN401  a PuLP expression
        """What a limit gives way by in the elastic programme, nothing otherwise."""
        if not self.elastic:
            return 0.0
        slack = self.variable(f"give_{kind}_{node:05d}_{tag}", 0.0, math.inf)
        self.slack[kind, node, tag] = (slack, bound)
        return slack

    def nights_at(self, node: int, day: int | None = None) -> Any:  # noqa: ANN401  a PuLP expression
        """1 if a night is spent at a node (before day `day`), else 0."""
        return pulp.lpSum(
            [z for (j, d, _), z in self.night.items() if j == node and day in (None, d)]
        )

    @property
    def minutes(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Arrival, minutes from departure."""
        return self.clock[-1] * 1.0

    @property
    def money(self) -> Any:  # noqa: ANN401  a PuLP expression
        """What is paid."""
        halts = self.rules.halts
        return pulp.lpSum(
            [self.offers[i].water_price * q for i, q in self.take_water.items()]
            + [self.offers[i].water_price * r for i, r in self.fill.items()]
            + [self.offers[i].coal_price * p for i, p in self.take_coal.items()]
            + [o.call_out * self.met.get(i, self.stop[i]) for i, o in self.offers.items()]
            + [halts[j].night_price * z for (j, _, _), z in self.night.items()]
        )

    @property
    def most_money(self) -> float:
        """More than any plan pays."""
        tank, bunker = self.limits.tank, self.limits.bunker
        cart = 0.0 if self.rules.cart is None else self.rules.cart.room
        return sum(
            o.call_out
            + o.water_price * min(tank + cart, o.water)
            + o.coal_price * min(bunker, o.coal)
            for o in self.offers.values()
        ) + sum(h.night_price for h in self.rules.halts.values())

    @property
    def stops(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Number of stops."""
        return pulp.lpSum(list(self.stop.values()))

    @property
    def shortage(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Sum of the limits broken, in the elastic programme."""
        return pulp.lpSum(
            [
                _RATHER.get(kind, 1.0) * (1.0 + _LATER * node) * variable
                for (kind, node, _), (variable, _) in self.slack.items()
            ]
        )

    @property
    def broken(self) -> list[tuple[str, int, str, float, MassLimit | Bound | None]]:
        """Kind, node, tag, amount and place of each limit the elastic programme breaks."""
        return [
            (kind, node, tag, float(variable.varValue), bound)
            for (kind, node, tag), (variable, bound) in self.slack.items()
            if (variable.varValue or 0.0) > _ROUNDING
        ]

    @property
    def values(self) -> dict[str, float]:
        """The variables' values after a run, by name; one that no row asks for is at its least."""
        return {
            v.name: (v.lowBound or 0.0) if v.varValue is None else v.varValue
            for v in self.problem.variables()
        }

    def restore(self, values: Mapping[str, float]) -> None:
        """Put the values of an earlier run back."""
        for variable in self.problem.variables():
            variable.varValue = values.get(variable.name, variable.varValue)

    @property
    def decisions(self) -> list[Any]:
        """The yes-or-no variables."""
        return [
            *self.stop.values(),
            *(x for legs in self.drive.values() for x in legs.values()),
            *self.night.values(),
            *self.uncoupled.values(),
            *self.met.values(),
            *self.duty.values(),
            *self.meal.values(),
            *self.spared,
        ]


def new_programme(
    chain: Chain, offers: Mapping[int, Offer], limits: Limits, rules: Rules, *, elastic: bool
) -> Programme:
    """The programme with its levels and clock, and no constraint yet: (3), (13).

    Parameters
    ----------
    chain
        Nodes and affine legs.
    offers
        What each supply offers, by node number.
    limits
        Stores, reserves, levels.
    rules
        Days, crew, cart and boiler.
    elastic
        True to let every limit be broken at a price, so as to see which ones must be.

    Returns
    -------
    programme
        Levels on arrival and on leaving, and the clock, of every node.
    """
    programme = Programme(
        problem=pulp.LpProblem("stops", pulp.LpMinimize),
        offers=dict(offers),
        limits=limits,
        rules=rules,
        horizon=_horizon(chain, offers, limits, rules, elastic=elastic),
        elastic=elastic,
    )
    _add_nodes(programme, len(chain.nodes) - 1)
    return programme


def new_recourse(
    plan: Programme,
    chain: Chain,
    offers: Mapping[int, Offer],
    limits: Limits,
    first: int,
    prefix: str,
    rules: Rules,
) -> Programme:
    """A programme from a node on, in the problem of the plan it begins in.

    Parameters
    ----------
    plan
        The programme whose arrival at the node it shares.
    chain
        Its nodes and legs.
    offers, limits
        What there is to be had from the node on, and the levels to be kept then.
    first
        The node.
    prefix
        Marks its names.
    rules
        Of its nodes.

    Returns
    -------
    programme
        With no constraint yet.
    """
    programme = Programme(
        problem=plan.problem,
        offers={**{i: o for i, o in plan.offers.items() if i < first}, **offers},
        limits=limits,
        rules=rules,
        horizon=max(plan.horizon, _horizon(chain, offers, limits, rules, elastic=plan.elastic)),
        elastic=plan.elastic,
        first=first,
        prefix=prefix,
        arrive={store: levels[: first + 1] for store, levels in plan.arrive.items()},
        leave={store: levels[:first] for store, levels in plan.leave.items()},
        clock=plan.clock[: first + 1],
        begin=plan.begin[:1],
        night={key: z for key, z in plan.night.items() if key[0] < first},
        meal={key: m for key, m in plan.meal.items() if key[0] < first},
        run_up={key: r for key, r in plan.run_up.items() if key[1] == first},
        drive=dict(plan.drive),
    )
    for name in ("take_water", "take_coal", "fill", "stop", "stay", "gap"):
        before = getattr(plan, name)
        getattr(programme, name).update({i: v for i, v in before.items() if i < first})
    _add_nodes(programme, len(chain.nodes) - 1)
    return programme


def _add_nodes(programme: Programme, last: int) -> None:
    """Levels and clock of every node that is not shared."""
    for i in range(programme.first, last + 1):
        _add_levels(programme, i, last)
        if i >= len(programme.clock):
            timed = i == last or i % _SPAN == 0 or _goes_by_the_clock(programme, i)
            most = 0.0 if i == 0 else programme.horizon
            clock = programme.variable(f"clock_{i:05d}", 0.0, most) if timed else None
            programme.clock.append(clock)


def _goes_by_the_clock(programme: Programme, i: int) -> bool:
    """Whether something at node i asks what time it is."""
    if programme.rules.by_the_clock:
        return True
    hours = [h for h in (programme.offers.get(i), programme.rules.halts.get(i)) if h is not None]
    return any(math.isfinite(h.opens) or math.isfinite(h.closes) for h in hours)


def _add_levels(programme: Programme, i: int, last: int) -> None:
    limits, rules = programme.limits, programme.rules
    stores = [
        ("water", limits.reserve_water, limits.tank, limits.start_water, limits.finish_water),
        ("coal", limits.reserve_coal, limits.bunker, limits.start_coal, limits.finish_coal),
    ]
    if rules.cart is not None:
        stores.append(("cart", 0.0, rules.cart.room, rules.cart.start, 0.0))
    if rules.has_boiler:
        stores.append(("boiler", 0.0, rules.boiler, 0.0, 0.0))
    for store, low, high, start, finish in stores:
        least = start if i == 0 else max(low, finish) if i == last else low
        if i >= len(programme.arrive[store]):
            programme.arrive[store].append(
                programme.variable(f"arrive_{store}_{i:05d}", least, start if i == 0 else high)
            )
        if store == "boiler":
            programme.leave[store].append(
                programme.variable(f"leave_{store}_{i:05d}", min(low, least), high)
            )


def _horizon(
    chain: Chain, offers: Mapping[int, Offer], limits: Limits, rules: Rules, *, elastic: bool
) -> float:
    """A time within which any sensible plan ends: slowest legs, every stop, waits, nights."""
    room = most_aboard(limits, rules)
    driving = sum(
        max((leg.duration + leg.duration_slope * room) / 60 for leg in options)
        for options in chain.legs
    )
    cart = 0.0 if rules.cart is None else rules.cart.room
    standing = sum(
        offer.set_up
        + offer.access_time
        + min(limits.tank + cart, offer.water) / offer.water_rate
        + min(limits.bunker, offer.coal) / offer.coal_rate
        for offer in offers.values()
    )
    for halt in rules.halts.values():
        standing += (halt.stay or 0.0) + (halt.uncouple or 0.0)
        standing += 0.0 if halt.drain is None else limits.tank / halt.drain
        standing += sum(duty.takes for duty in rules.duties) if halt.stands else 0.0
        if rules.cart is not None:
            standing += rules.cart.room / rules.cart.rate
    days = rules.nights + 1
    standing += days * sum(meal.takes for meal in rules.meals)
    calls = sum(halt.stay is not None for halt in rules.halts.values())
    longest = driving + standing + rules.depart_by + _DAY * (1 + calls + 3 * rules.nights)
    return longest if elastic else min(longest, max(rules.latest[-1], 1.0))


def most_aboard(limits: Limits, rules: Rules) -> float:
    """Everything consumable aboard with all stores full.

    Parameters
    ----------
    limits, rules
        The stores.

    Returns
    -------
    mass
        Tank, bunker, cart and boiler. [kg]
    """
    cart = 0.0 if rules.cart is None else rules.cart.room
    return limits.tank + limits.bunker + cart + (rules.boiler if rules.has_boiler else 0.0)


def add_choice(programme: Programme, choice: int, options: Sequence[AffineLeg]) -> None:
    """One gear for the whole stretch, however many legs lie in it: (8).

    Parameters
    ----------
    programme
        Is added to.
    choice
        Its number.
    options
        The legs to choose from, one a gear.
    """
    programme.drive[choice] = {
        leg.gear: programme.decision(f"drive_{choice:05d}_{leg.gear:02d}") for leg in options
    }
    programme.add(pulp.lpSum(list(programme.drive[choice].values())) == 1, f"one_gear_{choice:05d}")


def add_leg(
    programme: Programme, i: int, options: Sequence[AffineLeg], drive: Mapping[int, Any]
) -> Any:  # noqa: ANN401  a PuLP expression
    """Use of leg i, its hills and bridges, and the minutes it takes: (8)-(11).

    Parameters
    ----------
    programme
        Is added to.
    i
        Number of the leg.
    options
        Its gears.
    drive
        The decision of each gear, empty where there is one only.

    Returns
    -------
    minutes
        Driven on the leg.
    """
    terms = _drive_terms(programme, i, options, drive)
    arrive, leave = programme.arrive, programme.leave
    took = pulp.lpSum(
        [leg.duration / 60 * x for leg, x, _ in terms]
        + [leg.duration_slope / 60 * m for leg, _, m in terms]
    )
    for store in ("water", "coal"):
        short = programme.give(store, i + 1, "short")
        used = pulp.lpSum(
            [getattr(leg, store) * x for leg, x, _ in terms]
            + [getattr(leg, f"{store}_slope") * m for leg, _, m in terms]
        )
        if store == "water" and programme.rules.has_boiler:
            feed = programme.feed[i] = programme.variable(f"feed_{i:05d}", 0.0, math.inf)
            programme.add(feed <= programme.rules.feed * took, f"fed_{i:05d}")
            low = programme.give("feed", i + 1, "low")
            programme.add(
                arrive["boiler"][i + 1] - leave["boiler"][i] - feed + used - low == 0,
                f"steam_{i:05d}",
            )
            used = feed
        programme.add(
            arrive[store][i + 1] - leave[store][i] + used - short == 0, f"use_{store}_{i:05d}"
        )
    for leg, x, m in terms:
        for number, bound in enumerate(leg.limits):
            most = bound.most - programme.limits.mass_margin
            tag = f"{max(leg.gear, 0):02d}_{number:02d}"
            over = programme.give("mass", i, tag, bound)
            programme.add(m - over <= most * x, f"limit_{i:05d}_{tag}")
    return took


def _drive_terms(
    programme: Programme, i: int, options: Sequence[AffineLeg], drive: Mapping[int, Any]
) -> list[tuple[AffineLeg, Any, Any]]:
    """(leg, x_g, M_g) of each gear option; with one option x_g is 1: (8)."""
    aboard = pulp.lpSum([levels[i] for levels in programme.leave.values() if levels])
    if not drive:
        return [(options[0], 1.0, aboard)]
    room = most_aboard(programme.limits, programme.rules)
    mass = {
        leg.gear: programme.variable(f"mass_{i:05d}_{leg.gear:02d}", 0.0, room) for leg in options
    }
    programme.add(pulp.lpSum(list(mass.values())) - aboard == 0, f"split_{i:05d}")
    for gear, carried in mass.items():
        programme.add(carried <= room * drive[gear], f"in_gear_{i:05d}_{gear:02d}")
    return [(leg, drive[leg.gear], mass[leg.gear]) for leg in options]
