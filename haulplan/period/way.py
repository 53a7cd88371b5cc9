"""A typed itinerary made a road: places, miles, heights and surfaces, no track needed."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

__all__ = [
    "Spot",
    "Way",
    "cut_way",
    "places_csv",
    "reversed_way",
    "road_csv",
    "rolling_road",
    "table_csv",
]

_MILE = 1609.344
#: Hills between places stand about so far apart. haulplan's assumption. [m]
_APART = _MILE


@dataclass(frozen=True, kw_only=True)
class Spot:
    """One place of a way: distance from its start and height [m]; surface from there on."""

    name: str
    at: float
    height: float
    surface: str
    water: str | None = None


@dataclass(frozen=True, kw_only=True)
class Way:
    """Places in driving order, and the hills between them: rise per length, and their grade."""

    spots: tuple[Spot, ...]
    rise: float
    hill: float

    @property
    def length(self) -> float:
        """From the first place to the last [m]."""
        return self.spots[-1].at - self.spots[0].at


def reversed_way(way: Way) -> Way:
    """The way back.

    Parameters
    ----------
    way
        The way out.

    Returns
    -------
    way
        The last place first.
    """
    end = way.spots[-1].at
    surfaces = [spot.surface for spot in way.spots[:-1]]
    turned = [replace(spot, at=end - spot.at) for spot in reversed(way.spots)]
    spots = [
        replace(spot, surface=surface)
        for spot, surface in zip(turned, [*reversed(surfaces), surfaces[0]], strict=True)
    ]
    return replace(way, spots=tuple(spots))


def cut_way(way: Way, begin: float, end: float) -> Way:
    """A part of a way, its ends made places.

    Parameters
    ----------
    way
        The whole.
    begin, end
        Distances along it; an end where no place stands is named by its mile. [m]

    Returns
    -------
    way
        Beginning at 0.
    """
    ats = np.array([spot.at for spot in way.spots])
    heights = np.array([spot.height for spot in way.spots])
    spots = []
    for at in (begin, *(a for a in ats.tolist() if begin < a < end), end):
        number = int(np.searchsorted(ats, at, side="right")) - 1
        spot = way.spots[number]
        if at != spot.at:
            height = float(np.interp(at, ats, heights))
            name = f"night halt at mile {at / _MILE:.0f}"
            spot = replace(spot, name=name, height=height, water=None)
        spots.append(replace(spot, at=at - begin))
    return replace(way, spots=tuple(spots))


def rolling_road(way: Way) -> list[tuple[float, float, str]]:
    """The profile: heights of the places, with hills between them that make up the climb.

    Parameters
    ----------
    way
        With places.

    Returns
    -------
    rows
        Distance [m], height [m] and surface from there on.
    """
    rows: list[tuple[float, float, str]] = []
    for here, there in zip(way.spots, way.spots[1:], strict=False):
        length = there.at - here.at
        slope = (there.height - here.height) / length
        count = max(round(length / _APART), 1)
        each = length / count
        side = min(way.rise * each / way.hill, 0.499 * each) if way.rise > 0 else 0.0
        for number in range(count):
            base = here.at + number * each
            for offset, lift in ((0.0, 0.0), (side, side * way.hill), (2 * side, 0.0)):
                if offset == 0.0 and lift > 0.0:
                    continue
                at = base + offset
                height = here.height + slope * (at - here.at) + lift
                if not rows or at > rows[-1][0] + 0.5:
                    rows.append((at, height, here.surface))
    last = way.spots[-1]
    rows.append((last.at, last.height, last.surface))
    return rows


def road_csv(way: Way) -> str:
    """The road as route.csv of a scenario.

    Parameters
    ----------
    way
        With places.

    Returns
    -------
    text
        Columns distance, elevation and surface.
    """
    rows = [(f"{d:.1f}", f"{h:.2f}", s) for d, h, s in rolling_road(way)]
    return table_csv(("distance [m]", "elevation [m]", "surface"), rows)


def places_csv(way: Way) -> str:
    """Its places as places.csv of a scenario.

    Parameters
    ----------
    way
        With places.

    Returns
    -------
    text
        Columns name and at.
    """
    names: dict[str, int] = {}
    rows = []
    for spot in way.spots:
        names[spot.name] = names.get(spot.name, 0) + 1
        again = f" ({names[spot.name]})" if names[spot.name] > 1 else ""
        rows.append((spot.name + again, f"{spot.at:.1f}"))
    return table_csv(("name", "at [m]"), rows)


def table_csv(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows as CSV text.

    Parameters
    ----------
    header
        Names of the columns.
    rows
        Cells.

    Returns
    -------
    text
        With a header row.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()
