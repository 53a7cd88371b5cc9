"""When it is light: sunrise and sunset, or civil twilight, on a day at a place."""

import contextlib
import datetime as dt
from typing import Literal

from haulplan.errors import InputError, Problem
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["daylight", "wheel_hours"]

_DAY = 86400.0
#: How far the sun's centre stands below the level horizon when it is dark enough: half its
#: width and the bending of its light by the air, and the 6° of civil twilight. [°]
_BELOW = {"sun": 0.833, "civil twilight": 6.0}
#: Clocks differ from the sun by at most so much anywhere (western China, by 3 h). [s]
_MOST_OFF = 4 * 3600.0


def daylight(
    date: dt.date,
    latitude: float,
    longitude: float,
    utc_offset: float,
    light: Literal["sun", "civil twilight"],
) -> tuple[float, float]:
    """Begin and end of the light on one day of the local clock.

    Parameters
    ----------
    date
        On the local calendar.
    latitude, longitude
        North and east positive. [°]
    utc_offset
        How far the local clock is ahead of universal time, summer time counted. [s]
    light
        From sunrise to sunset, or from dawn to dusk of civil twilight.

    Returns
    -------
    begin, end
        On the local clock, 0 to 86400; 0 and 86400 where it stays light. [s]

    Raises
    ------
    InputError
        If it does not get light that day, or the offset cannot belong to the longitude.

    Notes
    -----
    On a level horizon at sea level; hills and cloud make it dark earlier.

    References
    ----------
    .. [1] J. Meeus, Astronomical Algorithms, 2nd ed. (1998), ch. 25 and 28, as carried by
       the `astral` library; horizon and twilight: 90° 50' and 96° from the zenith, the
       almanacs' own.

    Examples
    --------
    >>> begin, end = daylight(dt.date(1990, 6, 25), 40.9, -74.3, -4 * 3600.0, "sun")
    >>> f"{begin // 3600:.0f}:{begin % 3600 / 60:02.0f}"
    '5:26'
    """
    from astral import Observer, SunDirection  # noqa: PLC0415  loaded where used
    from astral.sun import elevation, noon, time_at_elevation  # noqa: PLC0415  as above

    off = (utc_offset - 240.0 * longitude + _DAY / 2) % _DAY - _DAY / 2
    if abs(off) > _MOST_OFF:
        raise InputError([_foreign(longitude, utc_offset)])
    place = Observer(latitude, longitude, 0.0)
    midnight = dt.datetime.combine(date, dt.time(), dt.UTC) - dt.timedelta(seconds=utc_offset)
    days = [date + dt.timedelta(days=k) for k in (-2, -1, 0, 1, 2)]
    half = midnight + dt.timedelta(hours=12)
    middle = min((noon(place, day) for day in days), key=lambda moment: abs(moment - half))
    if elevation(place, middle, with_refraction=False) < -_BELOW[light]:
        raise InputError([_dark(date, latitude, light)])

    def nearest(direction: SunDirection) -> float | None:
        """Before or after noon, since midnight; None where it stays light."""
        found = []
        for day in days:
            with contextlib.suppress(ValueError):  # the sun does not cross that height
                found.append(
                    time_at_elevation(place, -_BELOW[light], day, direction, with_refraction=False)
                )
        way = 1 if direction is SunDirection.SETTING else -1
        gaps = [way * (moment - middle).total_seconds() for moment in found]
        gap = min((gap for gap in gaps if 0 <= gap <= 0.52 * _DAY), default=None)
        return None if gap is None else (middle - midnight).total_seconds() + way * gap

    begin, end = nearest(SunDirection.RISING), nearest(SunDirection.SETTING)
    return (
        0.0 if begin is None else max(begin, 0.0),
        _DAY if end is None else min(end, _DAY),
    )


def wheel_hours(scenario: Scenario, route: Route) -> tuple[tuple[float, float], ...]:
    """When wheels may turn on each day there may be, on that day's clock.

    Parameters
    ----------
    scenario
        With its hours and nights.
    route
        Its start is the place of the light where the hours give none.

    Returns
    -------
    hours
        First and last clock of each day, one more than there may be nights. [s]

    Raises
    ------
    InputError
        If the light is asked for and the place is not known, or it does not get light.
    """
    file = scenario.file
    rules = file.hours
    days = range(file.nights.most + 1)
    if rules.light == "any":
        return tuple((rules.earliest, rules.latest) for _ in days)
    latitude, longitude = rules.latitude, rules.longitude
    if latitude is None and route.line is not None:
        latitude, longitude = route.line.position(0.0)
    if latitude is None or longitude is None or rules.utc_offset is None:
        raise InputError(
            [
                Problem(
                    file="scenario.toml",
                    where="hours.light",
                    found="the road has no position to reckon the light of",
                    remedy="give hours.latitude, hours.longitude and hours.utc_offset",
                )
            ]
        )
    hours = []
    for day in days:
        date = file.date + dt.timedelta(days=day)
        begin, end = daylight(date, latitude, longitude, rules.utc_offset, rules.light)
        hours.append((max(begin, rules.earliest), min(end, rules.latest)))
    return tuple(hours)


def _foreign(longitude: float, utc_offset: float) -> Problem:
    return Problem(
        file="scenario.toml",
        where="hours.utc_offset",
        found=f"{utc_offset / 3600:+g} h is no clock of longitude {longitude:.2f}, where the sun "
        f"keeps {longitude / 15:+.1f} h",
        remedy="give how far the road's clock is ahead of universal time, behind it negative",
    )


def _dark(date: dt.date, latitude: float, light: str) -> Problem:
    return Problem(
        file="scenario.toml",
        where="hours.light",
        found=f"no light of the {light} on {date.isoformat()} at latitude {latitude:.2f}",
        remedy="write 'any' and see to lamps, or choose another date",
    )
