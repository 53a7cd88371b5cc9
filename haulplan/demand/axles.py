"""Weight on axles: where each stands, and the one formula the law states for spans.

It says what axles weigh, and what a group of them may weigh on roads under that law, not
what a bridge bears: posted figures and the road authority decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from haulplan.scenario.schema import Engine, Wagon

__all__ = [
    "TANDEM",
    "Axle",
    "FormulaLine",
    "axle_loads",
    "bridge_formula",
    "formula_lines",
    "groups",
]

_POUND = 0.45359237
_FOOT = 0.3048
#: Axles within 96 in are a tandem (23 CFR 658.5). [m]
TANDEM: Final = 8 * _FOOT
#: What a tandem, and the whole, may weigh whatever the formula says (23 CFR 658.17). [kg]
_TANDEM_MOST, _GROSS_MOST = 34000 * _POUND, 80000 * _POUND
#: The printed tables of the formula begin at 4 ft between the outer axles. [m]
_SHORTEST = 4 * _FOOT


@dataclass(frozen=True, kw_only=True)
class Axle:
    """One axle: what stands on it, and where.

    `dry` is with tank and bunker empty and the boiler at its working level [kg]; `water`,
    `coal` and `cart` are the shares of tank, bunker and water cart that stand on it,
    `boiler` that of boiler water above its working level, taken as the engine's own weight;
    `position` is behind the leading axle [m], None where a distance is not known.
    """

    name: str
    dry: float
    water: float = 0.0
    coal: float = 0.0
    cart: float = 0.0
    boiler: float = 0.0
    position: float | None = None

    def load(self, water: float, coal: float, cart: float) -> float:
        """Weight on the axle with so much in tank, bunker and cart [kg]."""
        return self.dry + self.water * water + self.coal * coal + self.cart * cart


@dataclass(frozen=True, kw_only=True)
class FormulaLine:
    """A group of axles: the law's figure beside ours [kg], `length` between the outer [m].

    `first` and `last` number the axles, both in the group.
    """

    first: int
    last: int
    length: float
    legal: float
    ours: float


def axle_loads(
    engine: Engine | None, wagons: Sequence[Wagon], cart: str | None
) -> tuple[Axle, ...]:
    """The axles of engine and train from front to back.

    Parameters
    ----------
    engine
        Two axles: the leading and the driving one.
    wagons
        In their order; each carries its weight evenly on axles evenly spaced.
    cart
        Name of the wagon that is the water cart, None if there is none.

    Returns
    -------
    axles
        None at all where the engine's lever arms are not known. Positions end at the
        first distance that is not given.

    Notes
    -----
    A store ahead of the driving axle by a puts a / wheelbase of itself on the leading
    axle and the rest on the driving one; behind it (a below zero) it lifts the leading.

    References
    ----------
    .. [1] Balance of moments about the driving axle.

    Examples
    --------
    >>> from haulplan.scenario.schema import Axles
    >>> engine = Engine.model_construct(
    ...     weight=10000.0, weight_on_drivers=7000.0,
    ...     axles=Axles.model_construct(wheelbase=3.0, tank_ahead=-0.6, bunker_ahead=-0.9),
    ... )
    >>> [round(axle.load(1000.0, 500.0, 0.0)) for axle in axle_loads(engine, (), None)]
    [2650, 8850]
    """
    if engine is None or engine.axles is None:
        return ()
    base = engine.axles.wheelbase
    tank, bunker = engine.axles.tank_ahead / base, engine.axles.bunker_ahead / base
    axles = [
        Axle(
            name="leading axle",
            dry=engine.weight - engine.weight_on_drivers,
            water=tank,
            coal=bunker,
            boiler=1.0 - engine.weight_on_drivers / engine.weight,
            position=0.0,
        ),
        Axle(
            name="driving axle",
            dry=engine.weight_on_drivers,
            water=1.0 - tank,
            coal=1.0 - bunker,
            boiler=engine.weight_on_drivers / engine.weight,
            position=base,
        ),
    ]
    for wagon in wagons:
        for _ in range(wagon.count):
            axles += _of_wagon(wagon, axles[-1].position, is_cart=wagon.name == cart)
    return tuple(axles)


def _of_wagon(wagon: Wagon, before: float | None, *, is_cart: bool) -> list[Axle]:
    front = None if before is None or wagon.behind is None else before + wagon.behind
    spacing = None
    if wagon.axles == 1:
        spacing = 0.0
    elif wagon.wheelbase is not None:
        spacing = wagon.wheelbase / (wagon.axles - 1)
    places: list[float | None] = [front]
    for number in range(1, wagon.axles):
        places.append(None if front is None or spacing is None else front + number * spacing)
    return [
        Axle(
            name=f"{wagon.name}, axle {number}" if wagon.axles > 1 else wagon.name,
            dry=(wagon.tare + wagon.load) / wagon.axles,
            cart=1.0 / wagon.axles if is_cart else 0.0,
            position=place,
        )
        for number, place in enumerate(places, start=1)
    ]


def groups(axles: Sequence[Axle], within: float = TANDEM) -> tuple[tuple[int, ...], ...]:
    """Neighbouring axles that stand close together, the largest such groups.

    Parameters
    ----------
    axles
        From front to back.
    within
        Most between the outer axles of a group; a tandem's 96 in by default. [m]

    Returns
    -------
    groups
        Numbers of the axles of each group of two or more; an axle may be in two groups.
        Axles whose position is not known are in none.

    References
    ----------
    .. [1] 23 CFR 658.5: two or more consecutive axles within 96 in are a tandem.

    Examples
    --------
    >>> places = (0.0, 3.2, 6.0, 7.8, 9.4)
    >>> groups([Axle(name=str(p), dry=1.0, position=p) for p in places])
    ((2, 3), (3, 4))
    """
    found: list[tuple[int, ...]] = []
    for first, axle in enumerate(axles):
        group = [first]
        for number in range(first + 1, len(axles)):
            length = _between(axle, axles[number])
            if length is None or length > within * (1 + 1e-9):  # 96 in typed in other units
                break
            group.append(number)
        if len(group) > 1 and not (found and found[-1][-1] == group[-1]):
            found.append(tuple(group))
    return tuple(found)


def formula_lines(
    axles: Sequence[Axle], water: float, coal: float, cart: float
) -> tuple[FormulaLine, ...]:
    """Every group of consecutive axles beside what the US bridge formula lets it weigh.

    Parameters
    ----------
    axles
        From front to back.
    water, coal, cart
        In tank, bunker and water cart. [kg]

    Returns
    -------
    lines
        Groups of two axles and more, 4 ft and more between the outer ones, whose
        spacing is known; the law's figure is the least of the formula, of 34,000 lb for
        axles within 96 in and of 80,000 lb. It is a comparison, never leave to cross.

    References
    ----------
    .. [1] 23 U.S.C. 127; 23 CFR 658.17. Its 20,000 lb on one axle and the state's own
       figures come on top.

    Examples
    --------
    >>> train = [Axle(name=str(p), dry=5000.0, position=p) for p in (0.0, 3.048)]
    >>> [(round(line.legal), line.ours) for line in formula_lines(train, 0.0, 0.0, 0.0)]
    [(18144, 10000.0)]
    """
    lines = []
    loads = [axle.load(water, coal, cart) for axle in axles]
    for first, last in combinations(range(len(axles)), 2):
        length = _between(axles[first], axles[last])
        if length is None or length < _SHORTEST:
            continue
        legal = min(bridge_formula(length, last - first + 1), _GROSS_MOST)
        if length <= TANDEM:
            legal = min(legal, _TANDEM_MOST)
        ours = sum(loads[first : last + 1])
        lines.append(FormulaLine(first=first, last=last, length=length, legal=legal, ours=ours))
    return tuple(lines)


def _between(front: Axle, back: Axle) -> float | None:
    if front.position is None or back.position is None:
        return None
    return back.position - front.position


def bridge_formula(length: float, axles: int) -> float:
    """Most weight on a group of axles by the US federal bridge formula.

    Groups of 2 to 9 axles, 4 ft and more between the outer ones; the law's own caps on
    single axles, tandems and gross weight come on top.

    Parameters
    ----------
    length
        Between the outer axles of the group. [m]
    axles
        In the group. [-]

    Returns
    -------
    mass
        Before rounding to the nearest 500 lb, as the printed tables have it. [kg]

    Raises
    ------
    ValueError
        If there are fewer than two axles.

    Notes
    -----
    W = 500 (L N / (N - 1) + 12 N + 36), W in lb, L in ft; length = L, axles = N.

    References
    ----------
    .. [1] 23 U.S.C. 127; 23 CFR 658.17.

    Examples
    --------
    >>> round(bridge_formula(48 * 0.3048, 5) / 0.45359237)
    78000
    """
    if axles < 2:
        raise ValueError("the bridge formula is for groups of two axles or more")
    feet = length / _FOOT
    return 500.0 * (feet * axles / (axles - 1) + 12.0 * axles + 36.0) * _POUND
