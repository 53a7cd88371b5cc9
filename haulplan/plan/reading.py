"""From a scenario to what the programme is told: offers, halts, days, stores."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.demand import Demand
from haulplan.demand.axles import Axle
from haulplan.plan.legs import Node
from haulplan.plan.rules import Bound, Cart, Duty, Fire, Halt, Limits, Meal, Offer, Rules
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Bridge, Place, Store, Supply

__all__ = ["Margin", "read_last_resort", "read_limits", "read_offers", "read_rules"]

Array = NDArray[np.float64]

_DAY: Final = 86400.0
_WET: Final = ("wet", "mud", "frost")


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Mass [kg] and time [s] held back for straightening, or found to be off by it."""

    mass: float
    time: float


def read_last_resort(scenario: Scenario, demand: Demand, margin: Margin) -> Limits:
    """Tank and bunker with the levels to be kept when a stop is found shut.

    Parameters
    ----------
    scenario, demand
        The problem.
    margin
        Added to every level.

    Returns
    -------
    limits
        In kg and minutes; nothing is wanted at the finish beyond these levels.
    """
    file = scenario.file
    water, coal = (0.0, 0.0) if file.last_resort is None else (
        file.last_resort.water, file.last_resort.coal
    )  # fmt: skip
    limits = read_limits(scenario, demand, margin)
    coal_margin = min(margin.mass, 1e-3 * file.stores.bunker)
    return replace(
        limits,
        reserve_water=water + margin.mass,
        reserve_coal=coal + coal_margin,
        finish_water=water + margin.mass,
        finish_coal=coal + coal_margin,
    )


def read_limits(scenario: Scenario, demand: Demand, margin: Margin) -> Limits:
    """Tank and bunker, their reserves and levels.

    Parameters
    ----------
    scenario, demand
        The problem.
    margin
        Added to every reserve.

    Returns
    -------
    limits
        In kg and minutes.
    """
    file = scenario.file
    tank, bunker = file.stores.tank, file.stores.bunker
    coal_margin = min(margin.mass, 1e-3 * bunker)
    return Limits(
        tank=tank,
        bunker=bunker,
        reserve_water=file.reserve.water + margin.mass,
        reserve_coal=file.reserve.coal + coal_margin,
        start_water=min(file.at_start.water, tank),
        start_coal=min(file.at_start.coal, bunker),
        finish_water=min(file.at_finish.water, tank) + margin.mass,
        finish_coal=min(file.at_finish.coal, bunker) + coal_margin,
        standing_water=60 * demand.standing_water,
        standing_coal=60 * demand.standing_coal,
        mass_margin=margin.mass,
        time_margin=margin.time / 60,
    )


def read_offers(
    scenario: Scenario, demand: Demand, nodes: Sequence[Node], arriving: Mapping[int, float]
) -> dict[int, Offer]:
    """What supplies, and a truck at the halts, offer.

    Parameters
    ----------
    scenario, demand
        The problem.
    nodes
        Its events.
    arriving
        Mass of water and coal expected aboard on reaching a node; half the stores where
        not known. [kg]

    Returns
    -------
    offers
        By node number.
    """
    stores = scenario.file.stores
    truck = next(((row, s) for row, s in enumerate(scenario.stores) if s.kind == "truck"), None)
    offers = {}
    for number, node in enumerate(nodes):
        if node.passing is None:
            continue
        row = node.passing.row
        if node.kind == "supply":
            supply = scenario.supplies[row]
            if supply.standing == "dry only" and scenario.file.conditions.weather in _WET:
                continue
            aboard = arriving.get(number, 0.5 * (stores.tank + stores.bunker))
            offers[number] = _offer(scenario, demand, row, supply, aboard)
        elif node.kind == "halt" and truck and scenario.places[row].halt == "yes":
            offers[number] = _truck(scenario, *truck)
    return offers


def _offer(scenario: Scenario, demand: Demand, row: int, supply: Supply, aboard: float) -> Offer:
    file = scenario.file
    time, water, coal = demand.access(row, aboard)
    rates = demand.serving[row]
    serving = supply.serving or file.serving
    return Offer(
        row=row,
        water=supply.water_available or 0.0,
        water_rate=60 * (rates.water or 1.0),
        water_price=supply.water_price,
        coal=supply.coal_available or 0.0,
        coal_rate=60 * (rates.coal or 1.0),
        coal_price=supply.coal_price,
        call_out=supply.call_out,
        set_up=(supply.set_up + rates.strain) / 60,
        opens=-math.inf if supply.opens <= 0 else (supply.opens - file.depart) / 60,
        closes=math.inf if supply.closes >= _DAY else (supply.closes - file.depart) / 60,
        in_turn=serving == "in turn",
        blowdown=rates.blowdown,
        most_water=rates.most,
        access_time=time / 60,
        access_water=water,
        access_coal=coal,
    )


def _truck(scenario: Scenario, row: int, truck: Store) -> Offer:
    return Offer(
        row=row,
        water=truck.water * truck.loads,
        water_rate=60 * (truck.water_rate or 1.0),
        water_price=truck.water_price,
        coal=truck.coal * truck.loads,
        coal_rate=60 * (truck.coal_rate or 1.0),
        coal_price=truck.coal_price,
        call_out=truck.call_out,
        set_up=truck.set_up / 60,
        opens=-math.inf,
        closes=math.inf,
        truck=True,
        in_turn=scenario.file.serving == "in turn",
    )


def read_rules(scenario: Scenario, demand: Demand, nodes: Sequence[Node]) -> Rules:
    """Days, crew, cart and boiler, and what else may happen at a node.

    Parameters
    ----------
    scenario, demand
        The problem.
    nodes
        Its events.

    Returns
    -------
    rules
        In minutes from departure and kg.
    """
    file = scenario.file
    hours = demand.hours
    earliest = tuple(
        1440.0 * day + (rise - file.depart) / 60 for day, (rise, _) in enumerate(hours)
    )
    latest = tuple(1440.0 * day + (sets - file.depart) / 60 for day, (_, sets) in enumerate(hours))
    if len(hours) == 1 and file.hours.light == "any" and file.hours.latest >= _DAY:
        latest = (math.inf,)
    return Rules(
        halts=_halts(scenario, demand, nodes),
        depart_by=0.0 if file.depart_by is None else (file.depart_by - file.depart) / 60,
        earliest=earliest,
        latest=latest,
        crew=math.inf if file.hours.crew is None else file.hours.crew / 60,
        rest=file.hours.rest / 60,
        lead=demand.lead / 60,
        fires=_fires(scenario, demand),
        duties=_duties(scenario, demand),
        meals=_meals(scenario, demand),
        cart=_cart(scenario),
        boiler=demand.boiler_room,
        feed=60 * demand.feed_rate if demand.has_boiler and demand.feed_rate else math.inf,
    )


def _duties(scenario: Scenario, demand: Demand) -> tuple[Duty, ...]:
    """Duties, with what has run up since each where the day is begun."""
    duties = scenario.file.duties
    since = (0.0,) * len(duties) if demand.begun is None else demand.begun.since
    return tuple(
        Duty(
            name=duty.name,
            minutes=math.inf if duty.hours is None else duty.hours / 60,
            metres=math.inf if duty.miles is None else duty.miles,
            takes=duty.takes / 60,
            beside=duty.beside == "yes",
            since=run / 60 if duty.miles is None else run,
        )
        for duty, run in zip(duties, since, strict=True)
    )


def _meals(scenario: Scenario, demand: Demand) -> tuple[Meal, ...]:
    """Meals; of a day begun those are owed that were neither had nor missed."""
    file, begun = scenario.file, demand.begun
    return tuple(
        Meal(
            name=meal.name,
            earliest=(meal.earliest - file.depart) / 60,
            latest=(meal.latest - file.depart) / 60,
            takes=meal.takes / 60,
            today=None
            if begun is None
            else begun.left < meal.earliest
            and meal.name not in begun.had
            and file.depart <= meal.latest,
        )
        for meal in file.meals
    )


def _cart(scenario: Scenario) -> Cart | None:
    carts = [store for store in scenario.stores if store.kind == "cart"]
    if not carts:
        return None
    return Cart(
        room=sum(cart.water for cart in carts),
        start=sum(min(cart.at_start, cart.water) for cart in carts),
        rate=60 * min(cart.water_rate or 1.0 for cart in carts),
    )


def _fires(scenario: Scenario, demand: Demand) -> tuple[Fire, ...]:
    kinds = ("banked", "dropped") if scenario.file.nights.fire == "either" else (
        scenario.file.nights.fire,
    )  # fmt: skip
    leads = {"banked": demand.leads[1], "dropped": demand.leads[0]}
    return tuple(
        Fire(
            name=kind,
            water=demand.nights[kind][0],
            coal=demand.nights[kind][1],
            lead=leads[kind] / 60,
        )
        for kind in kinds
    )


def _halts(scenario: Scenario, demand: Demand, nodes: Sequence[Node]) -> dict[int, Halt]:
    halts = {}
    for number, node in enumerate(nodes):
        if node.kind == "crest":
            halts[number] = Halt(crest=node.crest)
        elif node.passing is None:
            continue
        elif node.kind == "bridge":
            bridge = scenario.bridges[node.passing.row]
            halts[number] = Halt(
                bounds=_posted(scenario, demand, bridge, node.passing.row),
                uncouple=_uncouple(scenario, demand, bridge),
                drain=None if bridge.drain is None else 60 * bridge.drain,
            )
        elif node.kind == "halt":
            halts[number] = _place(scenario, scenario.places[node.passing.row])
        elif scenario.supplies[node.passing.row].night == "yes":
            supply = scenario.supplies[node.passing.row]
            halts[number] = Halt(night=True, night_price=supply.night_price)
    return halts


def _place(scenario: Scenario, place: Place) -> Halt:
    depart = scenario.file.depart
    return Halt(
        stands=True,
        stay=None if place.stay is None else place.stay / 60,
        opens=-math.inf if place.opens <= 0 else (place.opens - depart) / 60,
        closes=math.inf if place.closes >= _DAY else (place.closes - depart) / 60,
        day=place.day,
        night=place.night == "yes",
        night_price=place.night_price,
    )


def _uncouple(scenario: Scenario, demand: Demand, bridge: Bridge) -> float | None:
    """Minutes of crossing uncoupled, None where a wagon alone is over the posted figure."""
    if bridge.uncouple is None or demand.engine_weight is None:
        return None
    most = bridge.limit * (1.0 - scenario.file.bridge_margin)
    wagons = scenario.file.train.wagons
    if any(wagon.tare + wagon.load > most for wagon in wagons):
        return None
    return bridge.uncouple / 60


def _posted(scenario: Scenario, demand: Demand, bridge: Bridge, row: int) -> tuple[Bound, ...]:
    """The posted figure of a bridge as bounds on what is aboard there."""
    most = bridge.limit * (1.0 - scenario.file.bridge_margin)
    if bridge.kind == "gross":
        return _gross(scenario, demand, bridge, row, most)
    groups: list[tuple[Axle, ...]] = [(axle,) for axle in demand.axles]
    if bridge.kind == "tandem":
        groups = [tuple(demand.axles[i] for i in pair) for pair in demand.tandems]
    return tuple(
        Bound(
            name=f"{bridge.name}, {' and '.join(axle.name for axle in group)}",
            row=row,
            base=sum(axle.dry for axle in group),
            water=sum(axle.water for axle in group),
            coal=sum(axle.coal for axle in group),
            cart=sum(axle.cart for axle in group),
            boiler=sum(axle.boiler for axle in group),
            most=most,
        )
        for group in groups
    )


def _gross(
    scenario: Scenario, demand: Demand, bridge: Bridge, row: int, most: float
) -> tuple[Bound, ...]:
    def bound(name: str, base: float, *, towed: bool, loose: float = 0.0) -> Bound:
        return Bound(
            name=name,
            row=row,
            base=base,
            water=1.0,
            coal=1.0,
            cart=1.0 if towed else 0.0,
            boiler=1.0,
            most=most,
            loose=loose,
        )

    stores = scenario.file.stores
    carts = [store for store in scenario.stores if store.kind == "cart"]
    room = stores.tank + stores.bunker + sum(c.water for c in carts)
    room += demand.boiler_room if demand.has_boiler else 0.0
    loose = max(demand.dry_weight + room - most, 0.0)
    bounds = [bound(bridge.name, demand.dry_weight, towed=True, loose=loose)]
    if _uncouple(scenario, demand, bridge) is not None:
        assert demand.engine_weight is not None
        bounds.append(bound(f"{bridge.name}, engine alone", demand.engine_weight, towed=False))
        for cart in carts:
            tare = next(w.tare + w.load for w in scenario.file.train.wagons if w.name == cart.name)
            bounds.append(
                Bound(
                    name=f"{bridge.name}, {cart.name} alone",
                    row=row,
                    base=tare,
                    water=0.0,
                    coal=0.0,
                    cart=1.0,
                    boiler=0.0,
                    most=most,
                )
            )
    return tuple(bounds)
