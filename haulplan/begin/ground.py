"""The road of a run to begin with: a track, a table of heights, or a way typed as places."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final

import numpy as np

from haulplan.begin.asked import Asked
from haulplan.errors import InputError, Problem
from haulplan.period.way import Spot, Way, road_csv, table_csv
from haulplan.route.gpx import Waypoint, read_gpx, read_waypoints
from haulplan.route.profile import along
from haulplan.scenario import read_road_table
from haulplan.scenario.bounds import bounds
from haulplan.scenario.fields import Text, quantity
from haulplan.scenario.files import read_bytes
from haulplan.scenario.read import read_rows, read_toml
from haulplan.scenario.rows import Model, Surface
from haulplan.scenario.wording import validate

__all__ = ["Ground", "plain_name", "read_ground"]

_MOST_LETTERS: Final = 80


@dataclass(frozen=True, kw_only=True)
class Ground:
    """The road's files, and what is known along it.

    `route` holds the file names for [route]; `typed` are places by their distance;
    `level` is true where no heights are known and none are driven.
    """

    name: str
    files: Mapping[str, str | bytes]
    route: Mapping[str, str]
    level: bool
    marks: Sequence[Waypoint] = ()
    typed: Sequence[Spot] = field(default=())


class _Place(Model):
    """A place of a typed way, as a record's itinerary has it; heights may be left out."""

    place: Text
    at: Annotated[float, quantity("length", "0 m", "5000 km")]
    height: Annotated[float, quantity("length", "-500 m", "9000 m")] | None = None
    surface: Surface | None = None
    water: Text | None = None


def plain_name(words: str) -> str:
    r"""A name from a file, fit for a scenario: on one line, of usual length.

    Parameters
    ----------
    words
        As the file has them.

    Returns
    -------
    name
        Empty where nothing can be shown.

    Examples
    --------
    >>> plain_name(" Mill  lane\x07 ")
    'Mill lane'
    """
    shown = "".join(c if c.isprintable() else " " for c in words)
    return " ".join(shown.split())[:_MOST_LETTERS].strip()


def read_ground(asked: Asked) -> Ground:
    """Read the road that was given.

    Parameters
    ----------
    asked
        What was said.

    Returns
    -------
    ground
        Its files as they shall stand in the scenario folder.

    Raises
    ------
    InputError
        If the file cannot be read as a road.
    """
    if asked.way is not None:
        return _typed(asked.way)
    assert asked.track is not None
    if asked.track.suffix.casefold() == ".csv":
        return _tabled(asked.track)
    return _tracked(asked.track, asked.only)


def _refuse(file: str, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=file, where="", found=found, remedy=remedy)])


def _tracked(path: Path, only: str | None) -> Ground:
    recording = read_gpx(path, track=only)
    files: dict[str, str | bytes] = {"route.gpx": read_bytes(path, None, bounds().gpx_bytes)}
    route = {"file": "route.gpx"} | ({} if only is None else {"track": only})
    heights = np.concatenate([piece.elevation for piece in recording.pieces])
    known = np.isfinite(heights)
    level = not (known.any() and np.any(heights[known]))  # noughts are fillers
    if level:
        length = along(
            np.concatenate([piece.latitude for piece in recording.pieces]),
            np.concatenate([piece.longitude for piece in recording.pieces]),
        )[-1]
        rows = [("0", "0"), (f"{length:.1f}", "0")]
        files["heights.csv"] = table_csv(("distance [m]", "elevation [m]"), rows)
        route["grades"] = "heights.csv"
    return Ground(
        name=plain_name(recording.name) or "Road", files=files, route=route, level=level,
        marks=read_waypoints(path),
    )  # fmt: skip


def _tabled(path: Path) -> Ground:
    problems: list[Problem] = []
    read_road_table(path, problems)
    if problems:
        raise InputError(problems)
    data = read_bytes(path, None, bounds().table_bytes)
    return Ground(
        name=plain_name(path.stem) or "Road", files={"route.csv": data},
        route={"file": "route.csv"}, level=False,
    )  # fmt: skip


def _typed(path: Path) -> Ground:
    """A table of places, or the [[itinerary]] of a record."""
    problems: list[Problem] = []
    if path.suffix.casefold() == ".toml":
        given = read_toml(path, problems).get("itinerary", [])
        each = given if isinstance(given, list) else []
        read = [
            validate(_Place, item, path.name, problems, context=None, row=number)
            for number, item in enumerate(each, start=1)
            if isinstance(item, dict)
        ]
        places = [place for place in read if place is not None]
    else:
        places = list(read_rows(path, _Place, problems).values())
    ats = [place.at for place in places]
    if not problems and (len(ats) < 2 or ats[0] != 0 or ats != sorted(set(ats))):
        found = f"{len(ats)} places, not from 0 onwards"
        remedy = "give two or more places, the first at '0 mi', sorted by distance"
        raise _refuse(path.name, found, remedy)
    if problems:
        raise InputError(problems)
    known = [(place.at, place.height) for place in places if place.height is not None]
    heights = np.interp(ats, *np.array(known).T) if known else np.zeros(len(ats))
    spots, ground = [], ""  # until one is named it is that of [route]
    for place, height in zip(places, heights.tolist(), strict=True):
        ground = place.surface or ground
        spots.append(
            Spot(
                name=plain_name(place.place) or "place", at=place.at, height=height,
                surface=ground, water=place.water,
            )
        )  # fmt: skip
    way = Way(spots=tuple(spots), rise=0.0, hill=1.0)
    return Ground(
        name=f"{spots[0].name} to {spots[-1].name}", files={"route.csv": road_csv(way)},
        route={"file": "route.csv"}, level=len(known) < 2, typed=way.spots,
    )  # fmt: skip
