"""What the crew does at a stop besides taking water and coal, in words."""

from typing import TYPE_CHECKING, Final

from haulplan.plan.plan import Stop
from haulplan.scenario import Scenario

if TYPE_CHECKING:
    from haulplan.units import UnitSystem

__all__ = ["FIRES", "by_day", "kind_of", "stands", "tasks_at", "water_words"]

#: How a fire is kept overnight, as an order.
FIRES = {"banked": "bank the fire", "dropped": "drop the fire"}


def stands(stop: Stop) -> bool:
    """Whether the train stands there on its way.

    Parameters
    ----------
    stop
        One of the plan's.

    Returns
    -------
    stands
        False at the start and the finish.
    """
    return stop.kind not in {"start", "finish"}


def by_day(stop: Stop) -> float:
    """Standing on the road by day, waiting included.

    Parameters
    ----------
    stop
        One of the plan's.

    Returns
    -------
    duration
        Without the drive off the road and without a night. [s]
    """
    return stop.stay if stop.fire is not None else stop.depart - stop.arrive - stop.access_time


def kind_of(scenario: Scenario, stop: Stop) -> str:
    """What a stop is: start, finish, halt, bridge, or the supply's own kind.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    stop
        One of the plan's.

    Returns
    -------
    kind
        As the owner wrote it; not yet cleaned.
    """
    if stop.kind == "supply" and stop.row is not None:
        return scenario.supplies[stop.row].kind
    return stop.kind


def tasks_at(scenario: Scenario, stop: Stop, system: "UnitSystem") -> tuple[str, ...]:
    """Everything done at a stop but taking water and coal, in the order it is done.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    stop
        One of the plan's.
    system
        The units to show.

    Returns
    -------
    tasks
        Short phrases holding the owner's own names; not yet cleaned.
    """
    water, coal = system.water, system.coal
    tasks: list[str] = []
    if stop.access_time > 0:
        tasks.append(
            f"off the road and back: {stop.access_time / 60:.0f} min, "
            f"{water.text(stop.access_water)}, {coal.text(stop.access_coal)}"
        )
    if stop.truck is not None:
        tasks.append(f"meet {scenario.stores[stop.truck].name}")
    if stop.uncoupled:
        tasks.append("uncouple: engine over alone, then the wagons one by one")
    for words, amount in (
        ("run off {} from the tank", stop.drained),
        ("fill the cart with {}", stop.cart_filled),
        ("empty {} from the cart into the tank", stop.cart_emptied),
        ("blow down {}", stop.blown_down),
    ):
        if water.number(amount) != "0":
            tasks.append(words.format(water.text(amount)))
    tasks += [*water_words(scenario, stop), *stop.meals, *stop.duties]
    if water.number(stop.boiler_depart) != "0":
        tasks.append(f"boiler {water.text(stop.boiler_depart)} above its working level")
    if stop.fire is not None:
        tasks.append(
            f"night: {FIRES.get(stop.fire, stop.fire)}, {water.text(stop.night_water)} and "
            f"{coal.text(stop.night_coal)} till morning"
        )
    return tuple(tasks)


#: What a crew does with water that is not good. Common practice, no source; Babcock &
#: Wilcox, Steam: Its Generation and Use, table 14, has settling, filtering, blowing down.
_WATERS: Final = {
    "hard": "hard water: blow down as agreed with the boiler's inspector; log it for washout",
    "muddy": "muddy water: strain it, look at the strainer, let it settle; log it for washout",
    "alkaline": "alkaline water: foams; ease off, prove the level by the try cocks, change "
    "water when good is to be had",
}


def water_words(scenario: Scenario, stop: Stop) -> tuple[str, ...]:
    """What the quality of the water taken at a stop asks of the crew.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    stop
        One of the plan's.

    Returns
    -------
    words
        One phrase, none where the water is good or none is taken.
    """
    if stop.kind != "supply" or stop.row is None or stop.water_taken + stop.cart_filled <= 0:
        return ()
    words = _WATERS.get(scenario.supplies[stop.row].quality)
    return () if words is None else (words,)
