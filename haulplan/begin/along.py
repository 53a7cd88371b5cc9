"""Places along the road: water and coal told from landmarks by the words people use."""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from haulplan.begin.ground import Ground, plain_name
from haulplan.route import Line
from haulplan.route.passings import line_feet

__all__ = ["Found", "named_apart", "places_along", "tells_of"]

#: Words of a mark that tell of water for an engine, and of coal. Common practice, no source.
_WATER: Final = frozenset(
    {"water", "tap", "standpipe", "hydrant", "spring", "trough", "well", "cistern",
      "pond", "reservoir", "fountain"}
)  # fmt: skip
_COAL: Final = frozenset({"coal", "coalyard"})
#: Words that take it back.
_NOT: Final = frozenset({"no", "not", "dry", "closed", "locked", "without", "private"})


@dataclass(frozen=True, kw_only=True)
class Found:
    """A place on the road, by `at` [m] or by where it lies [°]; what it seems to offer."""

    name: str
    kind: str
    at: float | None = None
    latitude: float | None = None
    longitude: float | None = None
    water: bool = False
    coal: bool = False

    @property
    def is_supply(self) -> bool:
        """Whether water or coal may be had there."""
        return self.water or self.coal


def tells_of(words: Iterable[str]) -> tuple[bool, bool]:
    """Whether what is said of a place tells of water, and of coal.

    Parameters
    ----------
    words
        Its name, symbol and type.

    Returns
    -------
    water, coal
        Neither where a word takes it back.

    Examples
    --------
    >>> tells_of(["Mill Lane tap", "Drinking Water"]), tells_of(["No water here!"])
    ((True, False), (False, False))
    """
    said = [word for text in words for word in re.findall(r"[^\W\d_]+", text.casefold())]
    single = {word.removesuffix("s") for word in said} | set(said)
    if single & _NOT:
        return False, False
    return bool(single & _WATER), bool(single & _COAL)


def named_apart(names: Sequence[str]) -> list[str]:
    """Names made different where two are the same.

    Parameters
    ----------
    names
        In the order of a table.

    Returns
    -------
    names
        The second of a kind with its number.

    Examples
    --------
    >>> named_apart(["Tap", "Mill", "Tap", "Tap (2)"])
    ['Tap', 'Mill', 'Tap (2)', 'Tap (2) (2)']
    """
    taken: set[str] = set()
    apart = []
    for name in names:
        number, own = 1, name
        while own in taken:
            number += 1
            own = f"{name} ({number})"
        taken.add(own)
        apart.append(own)
    return apart


def places_along(
    ground: Ground, line: Line | None, snap: float
) -> tuple[tuple[Found, ...], tuple[tuple[str, float], ...]]:
    """Marks and typed places that lie on the road, and those that do not.

    Parameters
    ----------
    ground
        With marks or typed places.
    line
        The road as drawn, None where it has no coordinates.
    snap
        How far off the road a place may lie. [m]

    Returns
    -------
    found, left_out
        In the order of their file, names apart; left out are name and distance off. [m]
    """
    found = [
        Found(name=spot.name, kind=spot.water or "landmark", at=spot.at, water=bool(spot.water))
        for spot in ground.typed[1:-1]
    ]
    left_out = []
    for number, mark in enumerate(ground.marks, start=1):
        name = plain_name(mark.name) or f"Mark {number}"
        off = math.inf
        if line is not None:
            off = float(np.min(line_feet(line, mark.latitude, mark.longitude)[1]))
        if off > snap:
            left_out.append((name, off))
            continue
        water, coal = tells_of((mark.name, *mark.about))
        found.append(
            Found(
                name=name,
                kind=plain_name(", ".join(dict.fromkeys(mark.about))) or "marked in the track",
                latitude=mark.latitude,
                longitude=mark.longitude,
                water=water,
                coal=coal,
            )
        )
    names = named_apart([place.name for place in found])
    apart = (
        Found(**{**vars(place), "name": name}) for place, name in zip(found, names, strict=True)
    )
    return tuple(apart), tuple(left_out)
