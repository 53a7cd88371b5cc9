"""A scenario told back in plain words: sentences for `haulplan check`, section by section."""

import datetime as dt
from collections.abc import Iterable, Sequence

import numpy as np

from haulplan.demand import Demand
from haulplan.demand.reach import DryStretch, Reach
from haulplan.outputs.tables import clock_text, whole_minutes
from haulplan.route import Route
from haulplan.route.profile import steepest_sustained
from haulplan.scenario import Scenario
from haulplan.units import UnitSystem

__all__ = [
    "days_told",
    "engine_told",
    "filled_told",
    "held_told",
    "road_told",
    "stores_told",
    "supplies_told",
    "train_told",
    "unconfirmed",
    "unknown",
]

_DAY = 86400.0


def road_told(scenario: Scenario, route: Route, demand: Demand, system: UnitSystem) -> list[str]:
    """The road, and what it takes of a full engine.

    Parameters
    ----------
    scenario, route, demand
        What was read and reckoned.
    system
        Units of what is shown.

    Returns
    -------
    lines
        The mean use, and how far a tank goes at it, among them.
    """
    stores = scenario.file.stores
    full = np.full(demand.segments, stores.tank + stores.bunker)
    gears = demand.geared(tuple(c.gears[0] for c in demand.choices))
    use = demand.evaluate(full, gears)
    miles = system.distance.value(route.length)
    water, coal = float(use.water.sum()), float(use.coal.sum())
    road = f"Road {system.distance.text(route.length)}"
    if route.has_heights:
        heights, distance = route.elevation, route.distance
        down = steepest_sustained(distance, -heights, 200.0)
        road += (
            f", from {system.height.text(float(heights.min()))} to "
            f"{system.height.text(float(heights.max()))}; steepest 200 m up "
            f"{100 * steepest_sustained(distance, heights, 200.0):.1f} %, down {100 * down:.1f} %"
        )
    length = np.diff(demand.distance)
    shares = [
        f"{name} {system.distance.text(float(length[gears == number].sum()))}"
        for number, name in enumerate(demand.gears)
        if (gears == number).any()
    ]
    lines = [
        road,
        f"Driven full throughout: {system.water.text(water)} "
        f"({system.water.value(water) / miles:.1f} {system.water.label}/"
        f"{system.distance.label}), {system.coal.text(coal)} of coal, "
        f"{float(use.duration.sum()) / 60:.0f} min, stops not counted",
    ]
    if water > 0:
        above = (stores.tank - scenario.file.reserve.water) / water * route.length
        lines.append(
            f"At that mean use a tank goes {system.distance.text(above)} to its reserve; "
            "hills bunch it, so a plan may need water sooner"
        )
    return [*lines, f"Gears: {', '.join(shares)}"]


def engine_told(scenario: Scenario, system: UnitSystem) -> list[str]:
    """The engine as its owner or its class has it.

    Parameters
    ----------
    scenario
        With or without an engine.
    system
        Units of what is shown.

    Returns
    -------
    lines
        One where use is measured.
    """
    engine, fuel = scenario.file.engine, scenario.file.fuel
    if engine is None:
        return ["No engine: what each stretch takes is given in demand.csv"]
    kind = "its owner's own figures" if engine.kind is None else f"of the class {engine.kind}"
    by = (
        "as its class has it; its owner's own goes into engine.pressure"
        if "engine.pressure" in scenario.filled
        else "as its owner states it"
    )
    works = "a compound" if engine.low_pressure_bore is not None else "simple"
    number = "1 cylinder" if engine.cylinders == 1 else f"{engine.cylinders} cylinders"
    gears = sorted(engine.gears, key=lambda gear: gear.speed)
    lines = [
        f"{engine.name}: {works}, {number}, {engine.tyre} on the wheels; {kind}",
        f"Pressure {system.pressure.text(engine.pressure)} on the gauge, {by}",
        f"{system.mass.text(engine.weight)}, of it {system.mass.text(engine.weight_on_drivers)} "
        "on the driving wheels; tank and bunkers empty",
        "Its gears: " + ", ".join(f"{g.name} {system.speed.text(g.speed)}" for g in gears),
    ]
    if fuel is not None:
        lines.append(f"Fuel: {fuel.name}")
    return lines


def train_told(scenario: Scenario, demand: Demand, system: UnitSystem) -> list[str]:
    """What stands behind the engine, loaded or empty, and the whole mass.

    Parameters
    ----------
    scenario, demand
        What was read and reckoned.
    system
        Units of what is shown.

    Returns
    -------
    lines
        The whole mass first.
    """
    stores = scenario.file.stores
    wagons = scenario.file.train.wagons
    lines = [
        f"Engine and train {system.mass.text(demand.dry_weight)} with tank and bunkers empty, "
        f"{system.mass.text(demand.dry_weight + stores.tank + stores.bunker)} full"
    ]
    for wagon in wagons:
        each = f"{wagon.count} x {wagon.name}" if wagon.count > 1 else wagon.name
        load = f"{system.mass.text(wagon.load)} of it load" if wagon.load > 0 else "empty"
        lines.append(f"{each}: {system.mass.text(wagon.tare + wagon.load)}, {load}")
    if scenario.file.engine is not None and not wagons:
        lines.append("Nothing behind the engine")
    for store in scenario.stores:
        what = "Water cart" if store.kind == "cart" else "Truck that meets the train"
        held = [system.water.text(store.water)] if store.water > 0 else []
        held += [f"{system.coal.text(store.coal)} of coal"] if store.coal > 0 else []
        lines.append(f"{what} {store.name}: {' and '.join(held)}")
    return lines


def stores_told(scenario: Scenario, system: UnitSystem) -> list[str]:
    """Tank and bunkers: room, reserve, at the start and left at the finish.

    Parameters
    ----------
    scenario
        With its levels.
    system
        Units of what is shown.

    Returns
    -------
    lines
        One for each store.
    """
    file = scenario.file
    lines = []
    for name, room, unit in (
        ("water", file.stores.tank, system.water),
        ("coal", file.stores.bunker, system.coal),
    ):
        begin, end = getattr(file.at_start, name), getattr(file.at_finish, name)
        first = "full" if begin >= room else unit.text(begin)
        lines.append(
            f"{'Tank' if name == 'water' else 'Bunkers'} {unit.text(room)}, reserve "
            f"{unit.text(getattr(file.reserve, name))}; {first} at the start, "
            f"{'full' if end >= room else unit.text(end)} to be left at the finish"
        )
    return lines


def held_told(found: Reach, scenario: Scenario, system: UnitSystem) -> str | None:
    """Why a grade has no reach: what holds the train, and what would pass.

    Parameters
    ----------
    found
        Of one grade.
    scenario
        With stores and reserves.
    system
        Units of what is shown.

    Returns
    -------
    words
        None where the full engine climbs it.
    """
    stores, reserve = scenario.file.stores, scenario.file.reserve
    if found.most_aboard >= stores.tank + stores.bunker:
        return None
    grade = f"A climb of {100 * found.grade:.0f} % ({found.surface}, {found.weather})"
    train = (
        "not even the engine alone passes with tank and bunkers full"
        if found.train < 0
        else f"behind the full engine {system.mass.text(found.train)} would pass"
    )
    if found.most_aboard < reserve.water + reserve.coal:
        return f"{grade} holds this train in every gear; {train}"
    return (
        f"{grade} holds this train with tank and bunkers full; it passes with "
        f"{system.mass.text(found.most_aboard)} of water and coal aboard and no more; {train}"
    )


def days_told(scenario: Scenario, demand: Demand, system: UnitSystem) -> list[str]:
    """Dates, light, the crew's hours, nights, meals and duties.

    Parameters
    ----------
    scenario, demand
        What was read and reckoned.
    system
        Units of what is shown.

    Returns
    -------
    lines
        A day's hours for wheels where they are bounded.
    """
    file = scenario.file
    leave = f"leave {clock_text(file.depart)}"
    if file.depart_by is not None:
        leave += f" to {clock_text(file.depart_by)}, as serves the plan"
    nights = {0: "no night on the way", 1: "one night on the way at most"}.get(
        file.nights.most, f"{file.nights.most} nights on the way at most"
    )
    lines = [f"{file.date:%A %Y-%m-%d}, {leave}; {nights}"]
    light = {"any": "", "sun": ", sunrise to sunset", "civil twilight": ", dawn to dusk"}
    for day, (begin, end) in enumerate(demand.hours):
        if (begin, end) != (0.0, _DAY):
            date = file.date + dt.timedelta(days=day)
            lines.append(
                f"Wheels may turn {clock_text(begin)} to {clock_text(end)} on "
                f"{date:%Y-%m-%d}{light[file.hours.light]}"
            )
    cold = f"the fire is lit {_long(demand.leads[0])} before moving off"
    if file.hours.crew is None:
        lines.append(f"The crew's hours are not bounded; {cold}")
    else:
        rest = f", {_long(file.hours.rest)} of rest" if file.nights.most else ""
        lines.append(f"Crew {_long(file.hours.crew)} a day from lighting up on{rest}; {cold}")
    lines += [
        f"{meal.name}: {_long(meal.takes)}, begun {clock_text(meal.earliest)} to "
        f"{clock_text(meal.latest)}"
        for meal in file.meals
    ]
    for duty in file.duties:
        every = f"each {system.distance.text(duty.miles or 0.0)}"
        if duty.hours is not None:
            every = f"each {_long(duty.hours)} of running"
        lines.append(f"{duty.name}: {_long(duty.takes)} after {every}")
    return lines


def supplies_told(scenario: Scenario, dry: DryStretch, system: UnitSystem) -> list[str]:
    """How many supplies there are, and the longest stretch between two with water.

    Parameters
    ----------
    scenario
        With its supplies.
    dry
        The longest stretch without water.
    system
        Units of what is shown.

    Returns
    -------
    lines
        Counts first.
    """
    water = [s for s in scenario.supplies if s.water_available is not None]
    limited = sum(np.isfinite(s.water_available or 0.0) for s in water)
    coal = sum(s.coal_available is not None for s in scenario.supplies)
    usable = scenario.file.stores.tank - scenario.file.reserve.water
    return [
        f"{len(scenario.supplies)} listed: {len(water)} with water ({limited} of them a stated "
        f"amount only), {coal} with coal",
        f"Longest stretch with no water: {system.distance.text(dry.end - dry.begin)}, "
        f"{dry.after} ({system.distance.text(dry.begin)}) to {dry.before} "
        f"({system.distance.text(dry.end)}). Driven full it takes "
        f"{system.water.text(dry.water)}; a tank holds {system.water.text(usable)} above its "
        "reserve",
    ]


def filled_told(scenario: Scenario) -> list[str]:
    """Figures taken from an engine class or a named fuel, not from the owner.

    Parameters
    ----------
    scenario
        As read.

    Returns
    -------
    lines
        One for each class.
    """
    lines = []
    for section, given in (("engine", scenario.file.engine), ("fuel", scenario.file.fuel)):
        own = [
            f"{key.partition('.')[2].replace('_', ' ')} {value}"
            for key, value in scenario.filled.items()
            if key.startswith(f"{section}.")
        ]
        if own and given is not None:
            lines.append(f"Typical of {given.kind}, not the owner's: {', '.join(own)}")
    return lines


def unconfirmed(scenario: Scenario) -> list[str]:
    """Supplies, bridges and level crossings nobody confirmed, or not lately.

    Parameters
    ----------
    scenario
        With the date of the run and `stale_after`.

    Returns
    -------
    lines
        One for each kind and state; none at all where all is fresh.
    """
    rows: Sequence[tuple[str, Iterable[tuple[str, dt.date | None]]]] = (
        ("supplies", [(row.name, row.last_confirmed) for row in scenario.supplies]),
        ("bridges", [(row.name, row.last_confirmed) for row in scenario.bridges]),
        ("level crossings", [(row.name, row.last_confirmed) for row in scenario.level_crossings]),
    )
    lines = []
    for kind, dated in rows:
        never = [name for name, date in dated if date is None]
        days = [(name, (scenario.file.date - date).days) for name, date in dated if date]
        old = [
            f"{name} ({age} days)" for name, age in days if age * _DAY > scenario.file.stale_after
        ]
        if never:
            lines.append(f"{kind.capitalize()} never confirmed: {', '.join(never)}")
        if old:
            lines.append(f"{kind.capitalize()} confirmed long before the run: {', '.join(old)}")
    return lines


def unknown(scenario: Scenario, route: Route, demand: Demand) -> list[str]:
    """What the scenario does not say and the answer leaves out.

    Parameters
    ----------
    scenario, route, demand
        What was read and reckoned.

    Returns
    -------
    lines
        What is missing, what for, and the key that gives it.
    """
    file = scenario.file
    engine = file.engine
    posted = any(bridge.kind != "gross" for bridge in scenario.bridges)
    asked = [
        (engine is not None and engine.glass is None,
         "the boiler's shape: no water-glass mark over a crest; ask the boiler's inspector, "
         "then [engine.glass]"),
        (not scenario.bridges,
         "posted bridges: none listed in bridges.csv; ask the road authority"),
        (not posted and not demand.axles,
         "weight on each axle, for posted axle limits: [engine.axles]"),
        (not file.coaling and any(s.sacks == "yes" for s in scenario.supplies),
         "who carries the sacks: [coaling]"),
        (file.last_resort is None,
         "the least to be left when a tap is found shut: [last_resort]"),
        (file.sheet.certificate_expires is None,
         "until when the boiler's certificate runs: sheet.certificate_expires"),
        (file.sheet.insurance_expires is None,
         "until when the insurance runs: sheet.insurance_expires"),
        (route.line is None, "where the road lies: no map without coordinates"),
    ]  # fmt: skip
    silent = [s.name for s in scenario.supplies if s.contact is None]
    asked.append((bool(silent), f"whom to ask at {', '.join(silent)}: contact in supply.csv"))
    return [words for missing, words in asked if missing]


def _long(seconds: float) -> str:
    """A duration in hours and minutes."""
    hours, minutes = divmod(whole_minutes(seconds), 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if minutes or not hours else []
    return " ".join(parts)
