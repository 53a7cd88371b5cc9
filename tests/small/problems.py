"""Small planning problems: what they are made of, and what each is without a feature.

Minutes, kilograms and metres; clocks are minutes since midnight of the first date.
"""

import dataclasses
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass

__all__ = [
    "DAY",
    "DEPART",
    "FEATURES",
    "UNLIMITED",
    "Bridge",
    "Cart",
    "Duty",
    "Engine",
    "Glass",
    "Halt",
    "Meal",
    "Nights",
    "Problem",
    "Stretch",
    "Tap",
    "Truck",
    "Wagon",
    "fingerprint",
]

DEPART = 480.0
DAY = 1440.0
UNLIMITED = 1e9


@dataclass(frozen=True, kw_only=True)
class Stretch:
    begin: float
    end: float
    minutes: float
    water: float
    coal: float
    water_slope: float
    coal_slope: float


@dataclass(frozen=True, kw_only=True)
class Tap:
    """A row of supply.csv; several distances where the road passes it more than once."""

    at: tuple[float, ...]
    water: float | None
    water_rate: float
    water_price: float
    coal: float | None
    coal_rate: float
    coal_price: float
    call_out: float
    set_up: float
    opens: float
    closes: float
    access: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turning: float = 0.0
    serving: str | None = None
    solids: float = 0.0
    quality: str = "good"
    round: bool = False
    dry_only: bool = False
    night: bool = False
    night_price: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Halt:
    """A row of places.csv where the train may stand, or must call (`stay`)."""

    at: float
    halt: bool = True
    night: bool = False
    night_price: float = 0.0
    stay: float | None = None
    opens: float = 0.0
    closes: float = DAY
    day: int | None = None


@dataclass(frozen=True, kw_only=True)
class Bridge:
    at: float
    limit: float
    kind: str = "gross"
    uncouple: float | None = None
    drain: float | None = None


@dataclass(frozen=True, kw_only=True)
class Glass:
    """The boiler's shape; heights are above the crown."""

    crown_back: float
    tubes_front: float
    tubes_height: float
    bottom: float
    working: float
    highest: float
    cover: float
    area: float
    feed: float


@dataclass(frozen=True, kw_only=True)
class Engine:
    weight: float
    drivers: float
    wheelbase: float
    tank_ahead: float
    bunker_ahead: float
    glass: Glass | None = None


@dataclass(frozen=True, kw_only=True)
class Wagon:
    name: str
    tare: float
    load: float = 0.0
    axles: int = 2
    wheelbase: float | None = None


@dataclass(frozen=True, kw_only=True)
class Duty:
    minutes: float | None
    metres: float | None
    takes: float
    beside: bool


@dataclass(frozen=True, kw_only=True)
class Meal:
    earliest: float
    latest: float
    takes: float


@dataclass(frozen=True, kw_only=True)
class Nights:
    most: int
    banked: tuple[float, float]
    dropped: tuple[float, float]
    fire: str = "either"


@dataclass(frozen=True, kw_only=True)
class Cart:
    capacity: float
    at_start: float
    rate: float


@dataclass(frozen=True, kw_only=True)
class Truck:
    water: float
    coal: float
    loads: int
    water_rate: float
    coal_rate: float
    water_price: float
    coal_price: float
    call_out: float
    set_up: float


@dataclass(frozen=True, kw_only=True)
class Problem:
    tank: float
    bunker: float
    reserve: tuple[float, float]
    start: tuple[float, float]
    finish: tuple[float, float]
    standing: tuple[float, float]
    dry: float
    aim: Mapping[str, float | str]
    stretches: tuple[tuple[Stretch, ...], ...]
    taps: tuple[Tap, ...]
    halts: tuple[Halt, ...] = ()
    bridges: tuple[Bridge, ...] = ()
    margin: float = 0.0
    depart_by: float | None = None
    earliest: float = 0.0
    latest: float = DAY
    crew: float | None = None
    rest: float = 0.0
    lead_cold: float = 0.0
    lead_banked: float = 0.0
    serving: str = "together"
    wet: bool = False
    shares: tuple[tuple[str, float], ...] = ()
    strain: float = 0.0
    back: tuple[Stretch, ...] = ()
    duties: tuple[Duty, ...] = ()
    meals: tuple[Meal, ...] = ()
    nights: Nights | None = None
    cart: Cart | None = None
    truck: Truck | None = None
    engine: Engine | None = None
    wagons: tuple[Wagon, ...] = ()
    last_resort: tuple[float, float] | None = None
    longitudes: tuple[float, ...] = ()
    heights: tuple[float, ...] = ()

    @property
    def length(self) -> float:
        return self.stretches[-1][0].end

    @property
    def weight(self) -> float:
        """Engine and train with nothing aboard."""
        if self.engine is None:
            return self.dry
        return self.engine.weight + sum(w.tare + w.load for w in self.wagons)


def fingerprint(problem: Problem) -> str:
    """Changes with any figure of the problem."""
    text = json.dumps(dataclasses.asdict(problem), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


# --- what each feature is, as the problem without it ------------------------------------


def _taps(problem: Problem, **changes: object) -> Problem:
    taps = tuple(dataclasses.replace(t, **changes) for t in problem.taps)  # type: ignore[arg-type]
    return dataclasses.replace(problem, taps=taps)


def _bridges(problem: Problem, kind: str) -> Problem:
    return dataclasses.replace(problem, bridges=tuple(b for b in problem.bridges if b.kind != kind))


def _crossings(problem: Problem, **changes: object) -> Problem:
    bridges = tuple(dataclasses.replace(b, **changes) for b in problem.bridges)  # type: ignore[arg-type]
    return dataclasses.replace(problem, bridges=bridges)


def _without_halts(problem: Problem) -> Problem:
    return dataclasses.replace(problem, halts=tuple(h for h in problem.halts if h.stay is not None))


def _without_windows(problem: Problem) -> Problem:
    halts = tuple(dataclasses.replace(h, opens=0.0, closes=DAY, day=None) for h in problem.halts)
    return dataclasses.replace(problem, halts=halts)


def _without_night_use(problem: Problem) -> Problem:
    assert problem.nights is not None
    free = dataclasses.replace(problem.nights, banked=(0.0, 0.0), dropped=(0.0, 0.0))
    return dataclasses.replace(problem, nights=free)


def _alone(problem: Problem) -> Problem:
    """Each pass of a supply has an amount of its own."""
    taps = tuple(dataclasses.replace(t, at=(at,)) for t in problem.taps for at in t.at)
    return dataclasses.replace(problem, taps=taps)


def _without_glass(problem: Problem) -> Problem:
    assert problem.engine is not None
    return dataclasses.replace(problem, engine=dataclasses.replace(problem.engine, glass=None))


def _beside(problem: Problem) -> Problem:
    duties = tuple(dataclasses.replace(d, beside=True) for d in problem.duties)
    return dataclasses.replace(problem, duties=duties)


_Test = Callable[[Problem], bool]
_Change = Callable[[Problem], Problem]

#: Name of each feature, whether a problem has it, and the problem without it.
FEATURES: Mapping[str, tuple[_Test, _Change]] = {
    "gears": (
        lambda p: any(len(s) > 1 for s in p.stretches),
        lambda p: dataclasses.replace(p, stretches=tuple(s[:1] for s in p.stretches)),
    ),
    "opening hours": (
        lambda p: any(t.opens > 0 or t.closes < DAY for t in p.taps),
        lambda p: _taps(p, opens=0.0, closes=DAY),
    ),
    "shared source": (lambda p: any(len(t.at) > 1 for t in p.taps), _alone),
    "departure": (
        lambda p: p.depart_by is not None,
        lambda p: dataclasses.replace(p, depart_by=None),
    ),
    "access": (
        lambda p: any(t.access != (0.0, 0.0, 0.0) or t.turning for t in p.taps),
        lambda p: _taps(p, access=(0.0, 0.0, 0.0), turning=0.0),
    ),
    "in turn": (
        lambda p: p.serving == "in turn" or any(t.serving == "in turn" for t in p.taps),
        lambda p: dataclasses.replace(_taps(p, serving=None), serving="together"),
    ),
    "solids": (lambda p: any(t.solids for t in p.taps), lambda p: _taps(p, solids=0.0)),
    "quality": (
        lambda p: any(t.quality != "good" for t in p.taps),
        lambda p: _taps(p, quality="good"),
    ),
    "most taken": (lambda p: bool(p.shares), lambda p: dataclasses.replace(p, shares=())),
    "standing": (
        lambda p: p.wet and any(t.dry_only for t in p.taps),
        lambda p: _taps(p, dry_only=False),
    ),
    "halt": (lambda p: any(h.stay is None for h in p.halts), _without_halts),
    "duty by hours": (
        lambda p: any(d.minutes is not None for d in p.duties),
        lambda p: dataclasses.replace(p, duties=tuple(d for d in p.duties if d.minutes is None)),
    ),
    "duty by miles": (
        lambda p: any(d.metres is not None for d in p.duties),
        lambda p: dataclasses.replace(p, duties=tuple(d for d in p.duties if d.metres is None)),
    ),
    "duty not beside": (lambda p: any(not d.beside for d in p.duties), _beside),
    "meal": (lambda p: bool(p.meals), lambda p: dataclasses.replace(p, meals=())),
    "crew": (lambda p: p.crew is not None, lambda p: dataclasses.replace(p, crew=None)),
    "lighting up": (
        lambda p: p.lead_cold + p.lead_banked > 0,
        lambda p: dataclasses.replace(p, lead_cold=0.0, lead_banked=0.0),
    ),
    "rest": (lambda p: p.rest > 0, lambda p: dataclasses.replace(p, rest=0.0)),
    "earliest": (lambda p: p.earliest > 0, lambda p: dataclasses.replace(p, earliest=0.0)),
    "latest": (lambda p: p.latest < DAY, lambda p: dataclasses.replace(p, latest=DAY)),
    "night": (
        lambda p: p.nights is not None,
        lambda p: dataclasses.replace(p, nights=None),
    ),
    "night's use": (lambda p: p.nights is not None, _without_night_use),
    "call": (
        lambda p: any(h.stay is not None for h in p.halts),
        lambda p: dataclasses.replace(p, halts=tuple(h for h in p.halts if h.stay is None)),
    ),
    "window": (
        lambda p: any(h.opens > 0 or h.closes < DAY or h.day for h in p.halts),
        _without_windows,
    ),
    "cart": (lambda p: p.cart is not None, lambda p: dataclasses.replace(p, cart=None)),
    "truck": (lambda p: p.truck is not None, lambda p: dataclasses.replace(p, truck=None)),
    "gross": (lambda p: any(b.kind == "gross" for b in p.bridges), lambda p: _bridges(p, "gross")),
    "axle": (lambda p: any(b.kind == "axle" for b in p.bridges), lambda p: _bridges(p, "axle")),
    "tandem": (
        lambda p: any(b.kind == "tandem" for b in p.bridges),
        lambda p: _bridges(p, "tandem"),
    ),
    "uncouple": (
        lambda p: any(b.uncouple is not None for b in p.bridges),
        lambda p: _crossings(p, uncouple=None),
    ),
    "boiler": (lambda p: p.engine is not None and p.engine.glass is not None, _without_glass),
    "drain": (
        lambda p: any(b.drain is not None for b in p.bridges),
        lambda p: _crossings(p, drain=None),
    ),
}
