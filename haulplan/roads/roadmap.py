"""Roads as they were read, before anything is asked of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from haulplan.roads.facts import Facts

__all__ = ["RawRoad", "RoadMap", "Spring"]


@dataclass(frozen=True, kw_only=True)
class RawRoad:
    """One road as read: its points in the order drawn. `length` is stated or NaN [m]."""

    name: str
    points: Sequence[str]
    facts: Facts


@dataclass(frozen=True, kw_only=True)
class Spring:
    """A mapped place that may have water or coal; nobody has said it may be used."""

    name: str
    kind: str
    latitude: float
    longitude: float


@dataclass(frozen=True, kw_only=True)
class RoadMap:
    """Roads and points by name: position with height (NaN where none) [°], [°], [m].

    `places` names points people speak of, `turning` points where a train may be turned,
    `crossings` level crossings, `barriers` what stands on the road by point. `measured`
    says that heights were given with the points and are taken as they are.
    """

    name: str
    points: Mapping[str, tuple[float, float, float]]
    roads: Sequence[RawRoad]
    places: Mapping[str, str] = field(default_factory=dict)
    turning: frozenset[str] = frozenset()
    crossings: frozenset[str] = frozenset()
    barriers: Mapping[str, str] = field(default_factory=dict)
    springs: Sequence[Spring] = ()
    measured: bool = False
    warnings: tuple[str, ...] = ()
