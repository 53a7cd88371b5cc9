"""The programme: which supplies to stop at, and what to take there.

Sets. Nodes i = 0 … n in driving order (start, each passing of a supply, each gear
boundary, finish); legs i from node i to i + 1 with gear options g.

Data. Each leg's use is affine in M, the water and coal aboard at its start (module
`legs`). Masses in kg, times in minutes.

| symbol        | meaning                                   | name in code            |
|---------------|-------------------------------------------|-------------------------|
| Wᵃ Wˡ         | tank on arrival, on leaving               | `arrive_water` `leave_` |
| Cᵃ Cˡ         | bunker on arrival, on leaving             | `arrive_coal`  `leave_` |
| q p           | water, coal taken                         | `take_water` `take_coal`|
| y             | stop made (0 or 1)                        | `stop`                  |
| v             | wait before the supply opens              | `wait`                  |
| s             | whole time standing, wait included        | `stay`                  |
| t             | clock on arrival, minutes from departure  | `clock`                 |
| x_g, M_g      | gear g driven; mass aboard in that gear   | `drive` `mass`          |
| R T; K B      | reserve and tank; reserve and bunker      | `Limits`                |
| ω κ           | water and coal burnt standing, per minute | `standing_`             |

Constraints, for every node or leg they apply to:

(1)  Wˡ = Wᵃ + q − ω s;  Cˡ = Cᵃ + p − κ s              what is aboard on leaving
(2)  Wᵃ + q ≤ T;  Cᵃ + p ≤ B                            room in tank and bunker
(3)  R ≤ Wᵃ, Wˡ;  K ≤ Cᵃ, Cˡ                            reserves (bounds)
(4)  q ≤ min(T, available) y;  p likewise               nothing is taken in passing
(4a) q / least + p / least ≥ y                          nobody stops for next to nothing,
                                                        standing being a way to lose weight
(5)  Σ over passes of one supply of q ≤ available       one source, one amount
(6)  s ≥ set-up y + q / rate + v; s ≥ set-up y + p / rate + v
                                                        water and coal side by side
(7)  s ≤ set-up y + q / rate + p / rate + v;  v ≤ opening y
                                                        nobody stands to burn water off
(8)  Σ_g x_g = 1;  Σ_g M_g = Wˡ + Cˡ;  0 ≤ M_g ≤ (T + B) x_g
                                                        exact split of choice × mass
(9)  Wᵃ' = Wˡ − Σ_g (α_g x_g + β_g M_g);  Cᵃ' likewise   use of the leg
(10) t' = t + s + Σ_g (τ_g x_g + θ_g M_g)               clock
(11) M_g ≤ limit_g x_g                                  bridges and hills
(12) t + v ≥ opens y;  t + s ≤ closes + late (1 − y)    opening hours of the day
(13) Wᵃ_n, Cᵃ_n ≥ levels wanted at the finish

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

Likewise for coal.

Aims, minimised in order, each kept at its best while the next is improved: arrival
t_n; money Σ price q + price p + call-out y; stops Σ y; or a weighted sum first.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import pulp

from haulplan.plan.legs import AffineLeg, Chain, MassLimit

__all__ = ["LEAST_TAKEN", "Limits", "Offer", "Programme", "build_programme"]

#: A stop is made for at least this share of a store, or all there is. haulplan's assumption.
LEAST_TAKEN: Final = 0.02
#: No wait for an opening is longer. [min]
_LONGEST: Final = 24 * 60.0
#: Limits broken by less are the solver's rounding. [kg or min]
_ROUNDING: Final = 1e-4


@dataclass(frozen=True, kw_only=True)
class Offer:
    """What a supply offers, minutes and kg; `row` tells its passes belong together."""

    row: int
    water: float
    water_rate: float
    water_price: float
    coal: float
    coal_rate: float
    coal_price: float
    call_out: float
    set_up: float
    opens: float
    closes: float


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Stores, reserves and levels, the margin for straightening already added [kg]."""

    tank: float
    bunker: float
    reserve_water: float
    reserve_coal: float
    start_water: float
    start_coal: float
    finish_water: float
    finish_coal: float
    standing_water: float
    standing_coal: float
    mass_margin: float
    time_margin: float


@dataclass(kw_only=True)
class Programme:
    """The PuLP problem and its variables by node or leg."""

    problem: Any
    arrive_water: list[Any] = field(default_factory=list)
    arrive_coal: list[Any] = field(default_factory=list)
    leave_water: list[Any] = field(default_factory=list)
    leave_coal: list[Any] = field(default_factory=list)
    take_water: dict[int, Any] = field(default_factory=dict)
    take_coal: dict[int, Any] = field(default_factory=dict)
    stop: dict[int, Any] = field(default_factory=dict)
    stay: dict[int, Any] = field(default_factory=dict)
    wait: dict[int, Any] = field(default_factory=dict)
    clock: list[Any] = field(default_factory=list)
    drive: dict[int, dict[int, Any]] = field(default_factory=dict)
    slack: dict[tuple[str, int, str], tuple[Any, MassLimit | None]] = field(default_factory=dict)
    offers: Mapping[int, Offer] = field(default_factory=dict)

    @property
    def minutes(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Arrival, minutes from departure."""
        return self.clock[-1] * 1.0

    @property
    def money(self) -> Any:  # noqa: ANN401  a PuLP expression
        """What is paid."""
        return pulp.lpSum(
            [o.water_price * self.take_water[i] for i, o in self.offers.items() if o.water]
            + [o.coal_price * self.take_coal[i] for i, o in self.offers.items() if o.coal]
            + [o.call_out * self.stop[i] for i, o in self.offers.items()]
        )

    @property
    def stops(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Number of stops."""
        return pulp.lpSum(list(self.stop.values()))

    @property
    def shortage(self) -> Any:  # noqa: ANN401  a PuLP expression
        """Sum of the limits broken, in the elastic programme."""
        return pulp.lpSum([variable for variable, _ in self.slack.values()])

    @property
    def broken(self) -> list[tuple[str, int, float, MassLimit | None]]:
        """Kind, node, amount and place of each limit the elastic programme breaks."""
        return [
            (kind, node, float(variable.varValue), bound)
            for (kind, node, _), (variable, bound) in self.slack.items()
            if (variable.varValue or 0.0) > _ROUNDING
        ]

    @property
    def values(self) -> dict[str, float]:
        """The variables' values after a run, by name."""
        return {variable.name: variable.varValue for variable in self.problem.variables()}

    def restore(self, values: Mapping[str, float]) -> None:
        """Put the values of an earlier run back."""
        for variable in self.problem.variables():
            variable.varValue = values.get(variable.name, variable.varValue)

    @property
    def decisions(self) -> list[Any]:
        """The yes-or-no variables."""
        return [*self.stop.values(), *(x for legs in self.drive.values() for x in legs.values())]


def build_programme(
    chain: Chain, offers: Mapping[int, Offer], limits: Limits, *, elastic: bool = False
) -> Programme:
    """Write the programme for one chain.

    Parameters
    ----------
    chain
        Nodes and affine legs.
    offers
        What each supply node offers, by node number.
    limits
        Stores, reserves, levels.
    elastic
        True to let every limit be broken at a price, so as to see which ones must be.

    Returns
    -------
    programme
        Variables and constraints, no objective yet.
    """
    programme = Programme(problem=pulp.LpProblem("stops", pulp.LpMinimize), offers=dict(offers))
    horizon = _horizon(chain, offers, limits)
    _add_levels(programme, chain, limits, horizon, elastic=elastic)
    for node, offer in offers.items():
        _add_stop(programme, node, offer, limits, horizon, elastic=elastic)
    _share_sources(programme, offers)
    for choice in sorted({c for c in chain.choices if c is not None}):
        _add_choice(programme, choice, chain.legs[chain.choices.index(choice)])
    for leg, options in enumerate(chain.legs):
        drive = programme.drive.get(_number(chain.choices[leg]), {})
        _add_leg(programme, leg, options, drive, limits, elastic=elastic)
    return programme


def _horizon(chain: Chain, offers: Mapping[int, Offer], limits: Limits) -> float:
    """A time within which any sensible plan ends: slowest legs, every stop, one wait."""
    room = limits.tank + limits.bunker
    driving = sum(
        max((leg.duration + leg.duration_slope * room) / 60 for leg in options)
        for options in chain.legs
    )
    standing = sum(
        offer.set_up
        + max(
            min(limits.tank, offer.water) / offer.water_rate,
            min(limits.bunker, offer.coal) / offer.coal_rate,
        )
        for offer in offers.values()
    )
    return driving + standing + _LONGEST


def _number(choice: int | None) -> int:
    return -1 if choice is None else choice


def _add_choice(programme: Programme, choice: int, options: Sequence[AffineLeg]) -> None:
    """One gear for the whole stretch, however many legs lie in it: (8)."""
    programme.drive[choice] = {
        leg.gear: _variable(programme, f"drive_{choice:05d}_{leg.gear:02d}", 0.0, 1.0, integer=True)
        for leg in options
    }
    programme.problem.addConstraint(
        pulp.lpSum(list(programme.drive[choice].values())) == 1, f"one_gear_{choice:05d}"
    )


def _variable(
    programme: Programme, name: str, low: float, high: float | None, *, integer: bool = False
) -> Any:  # noqa: ANN401  a PuLP variable
    high = None if high is None or math.isinf(high) else high
    kind = "Integer" if integer else "Continuous"
    return programme.problem.add_variable(name, low, high, kind)


def _add_levels(
    programme: Programme, chain: Chain, limits: Limits, horizon: float, *, elastic: bool
) -> None:
    """Levels and clock at every node, between reserve and capacity: (3), (13)."""
    last = len(chain.nodes) - 1
    for i in range(last + 1):
        for store, low, high, start, finish, arrive, leave in (
            (
                "water",
                limits.reserve_water,
                limits.tank,
                limits.start_water,
                limits.finish_water,
                programme.arrive_water,
                programme.leave_water,
            ),
            (
                "coal",
                limits.reserve_coal,
                limits.bunker,
                limits.start_coal,
                limits.finish_coal,
                programme.arrive_coal,
                programme.leave_coal,
            ),
        ):
            least = start if i == 0 else max(low, finish) if i == last else low
            arrive.append(
                _variable(programme, f"arrive_{store}_{i:05d}", least, start if i == 0 else high)
            )
            leave.append(_variable(programme, f"leave_{store}_{i:05d}", min(low, least), high))
            if elastic and i > 0:
                slack = _variable(programme, f"short_{store}_{i:05d}", 0.0, None)
                programme.slack[store, i, "short"] = (slack, None)
        programme.clock.append(
            _variable(programme, f"clock_{i:05d}", 0.0, 0.0 if i == 0 else horizon)
        )


def _add_stop(
    programme: Programme, i: int, offer: Offer, limits: Limits, horizon: float, *, elastic: bool
) -> None:
    """Amounts, time and hours of one supply: (1), (2), (4), (6), (7), (12)."""
    add = programme.problem.addConstraint
    programme.stop[i] = stop = _variable(programme, f"stop_{i:05d}", 0.0, 1.0, integer=True)
    wait: Any = 0.0
    if offer.opens > 0:  # nowhere else is there anything to wait for
        longest = min(offer.opens + limits.time_margin, _LONGEST)
        programme.wait[i] = wait = _variable(programme, f"wait_{i:05d}", 0.0, longest)
        add(wait <= longest * stop, f"waits_{i:05d}")
    programme.stay[i] = stay = _variable(programme, f"stay_{i:05d}", 0.0, None)
    served: list[Any] = []
    worth: list[Any] = []
    for store, room, available, rate, takes, arrive in (
        (
            "water",
            limits.tank,
            offer.water,
            offer.water_rate,
            programme.take_water,
            programme.arrive_water,
        ),
        (
            "coal",
            limits.bunker,
            offer.coal,
            offer.coal_rate,
            programme.take_coal,
            programme.arrive_coal,
        ),
    ):
        most = min(room, available)
        if most <= 0:
            continue
        takes[i] = take = _variable(programme, f"take_{store}_{i:05d}", 0.0, most)
        add(arrive[i] + take <= room, f"room_{store}_{i:05d}")
        add(take <= most * stop, f"taken_{store}_{i:05d}")
        add(stay >= offer.set_up * stop + take * (1 / rate) + wait, f"time_{store}_{i:05d}")
        served.append(take * (1 / rate))
        worth.append(take * (1 / min(LEAST_TAKEN * room, most)))
    if i not in programme.take_water and i not in programme.take_coal:
        add(stay >= offer.set_up * stop + wait, f"time_set_up_{i:05d}")
    if worth and limits.standing_water + limits.standing_coal > 0:
        add(pulp.lpSum(worth) >= stop, f"worth_{i:05d}")
    add(stay <= offer.set_up * stop + pulp.lpSum(served) + wait, f"stays_{i:05d}")
    _add_hours(programme, i, offer, horizon, limits.time_margin, elastic=elastic)


def _add_hours(
    programme: Programme, i: int, offer: Offer, horizon: float, margin: float, *, elastic: bool
) -> None:
    """Service between opening and closing, minutes from departure: (12)."""
    add = programme.problem.addConstraint
    clock, stop = programme.clock[i], programme.stop[i]
    late: Any = 0.0
    if elastic and (offer.opens > 0 or math.isfinite(offer.closes)):
        late = _variable(programme, f"late_{i:05d}", 0.0, None)
        programme.slack["hours", i, "late"] = (late, None)
    if offer.opens > 0:
        add(clock + programme.wait[i] + late >= (offer.opens + margin) * stop, f"opens_{i:05d}")
    if math.isfinite(offer.closes):
        closes = offer.closes - margin
        later = max(horizon - closes, 0.0)  # what an unused stop's hours give way by
        add(
            clock + programme.stay[i] - late <= closes + later - later * stop,
            f"closes_{i:05d}",
        )


def _share_sources(programme: Programme, offers: Mapping[int, Offer]) -> None:
    """One amount for all passes of a supply: (5)."""
    rows: dict[int, list[int]] = {}
    for node, offer in offers.items():
        rows.setdefault(offer.row, []).append(node)
    for row, nodes in rows.items():
        offer = offers[nodes[0]]
        for store, takes, available in (
            ("water", programme.take_water, offer.water),
            ("coal", programme.take_coal, offer.coal),
        ):
            shared = [takes[i] for i in nodes if i in takes]
            if len(shared) > 1 and math.isfinite(available):
                programme.problem.addConstraint(
                    pulp.lpSum(shared) <= available, f"source_{store}_{row:05d}"
                )


def _add_leg(
    programme: Programme,
    i: int,
    options: Sequence[AffineLeg],
    drive: Mapping[int, Any],
    limits: Limits,
    *,
    elastic: bool,
) -> None:
    """What is aboard on leaving node i and on reaching i + 1: (1), (8)-(11)."""
    add = programme.problem.addConstraint
    stay: Any = programme.stay.get(i, 0.0)
    for store, standing, arrive, leave, takes in (
        (
            "water",
            limits.standing_water,
            programme.arrive_water,
            programme.leave_water,
            programme.take_water,
        ),
        (
            "coal",
            limits.standing_coal,
            programme.arrive_coal,
            programme.leave_coal,
            programme.take_coal,
        ),
    ):
        aboard = arrive[i] + takes.get(i, 0.0) - standing * stay
        add(leave[i] - aboard == 0, f"aboard_{store}_{i:05d}")
    terms = _drive_terms(programme, i, options, drive, limits)
    for store, arrive, leave in (
        ("water", programme.arrive_water, programme.leave_water),
        ("coal", programme.arrive_coal, programme.leave_coal),
    ):
        short: Any = programme.slack[store, i + 1, "short"][0] if elastic else 0.0
        used = pulp.lpSum(
            [getattr(leg, store) * x for leg, x, _ in terms]
            + [getattr(leg, f"{store}_slope") * m for leg, _, m in terms]
        )
        add(arrive[i + 1] - leave[i] + used - short == 0, f"use_{store}_{i:05d}")
    took = pulp.lpSum(
        [leg.duration / 60 * x for leg, x, _ in terms]
        + [leg.duration_slope / 60 * m for leg, _, m in terms]
    )
    add(programme.clock[i + 1] - programme.clock[i] - stay - took == 0, f"clock_{i:05d}")
    for leg, x, m in terms:
        for number, bound in enumerate(leg.limits):
            most = bound.most - limits.mass_margin
            over: Any = 0.0
            if elastic:
                over = _variable(
                    programme, f"over_{i:05d}_{max(leg.gear, 0):02d}_{number:02d}", 0.0, None
                )
                programme.slack["mass", i, f"{leg.gear} {number}"] = (over, bound)
            add(m - over <= most * x, f"limit_{i:05d}_{max(leg.gear, 0):02d}_{number:02d}")


def _drive_terms(
    programme: Programme,
    i: int,
    options: Sequence[AffineLeg],
    drive: Mapping[int, Any],
    limits: Limits,
) -> list[tuple[AffineLeg, Any, Any]]:
    """(leg, x_g, M_g) of each gear option; with one option x_g is 1: (8)."""
    aboard = programme.leave_water[i] + programme.leave_coal[i]
    if not drive:
        return [(options[0], 1.0, aboard)]
    add = programme.problem.addConstraint
    room = limits.tank + limits.bunker
    mass = {
        leg.gear: _variable(programme, f"mass_{i:05d}_{leg.gear:02d}", 0.0, room) for leg in options
    }
    add(pulp.lpSum(list(mass.values())) - aboard == 0, f"split_{i:05d}")
    for gear, carried in mass.items():
        add(carried <= room * drive[gear], f"in_gear_{i:05d}_{gear:02d}")
    return [(leg, drive[leg.gear], mass[leg.gear]) for leg in options]
