"""When it is light: sunrise and sunset, or civil twilight, on a day at a place."""

import datetime as dt
import math
from typing import Literal

from haulplan.errors import InputError, Problem
from haulplan.route import Route
from haulplan.scenario import Scenario

__all__ = ["daylight", "wheel_hours"]

_DAY = 86400.0
#: From the zenith to the sun's centre when the light begins and ends: on the horizon, half
#: its width and the bending of its light by the air added; and 6° below it. [°]
_ZENITH = {"sun": 90.0 + 50.0 / 60.0, "civil twilight": 96.0}
#: Nearer the poles the sun's height hardly changes in a day. [°]
_POLE = 89.8
#: The sun moves little in a day: so many rounds leave far less than a second.
_ROUNDS = 6
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
       the `astral` library: declination and equation of time. Horizon and twilight:
       90° 50' and 96° from the zenith, as almanacs have it.

    Examples
    --------
    >>> begin, end = daylight(dt.date(1990, 6, 25), 40.9, -74.3, -4 * 3600.0, "sun")
    >>> f"{begin // 3600:.0f}:{begin % 3600 / 60:02.0f}"
    '5:26'
    """
    off = (utc_offset - 240.0 * longitude + _DAY / 2) % _DAY - _DAY / 2
    if abs(off) > _MOST_OFF:
        raise InputError([_foreign(longitude, utc_offset)])
    north = math.radians(max(min(latitude, _POLE), -_POLE))
    zenith = math.radians(_ZENITH[light])
    mean_noon = _DAY / 2 + off  # by the mean sun, on the local clock

    def crossing(side: int) -> float | None:
        """Rising (-1) or setting (1) on the local clock, None where the sun does not."""
        moment = mean_noon
        for _ in range(_ROUNDS):
            declination, equation = _sun(date, moment - utc_offset)
            cosine = (math.cos(zenith) - math.sin(north) * math.sin(declination)) / (
                math.cos(north) * math.cos(declination)
            )
            if cosine > 1.0:
                raise InputError([_dark(date, latitude, light)])
            if cosine < -1.0:
                return None
            moment = mean_noon - equation + side * 240.0 * math.degrees(math.acos(cosine))
        return moment

    begin, end = crossing(-1), crossing(1)
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


def _sun(date: dt.date, moment: float) -> tuple[float, float]:
    """Declination [rad] and equation of time [s], so long after 0 h universal time [s]."""
    from astral.julian import julianday, julianday_to_juliancentury  # noqa: PLC0415  where used
    from astral.sun import eq_of_time, sun_declination  # noqa: PLC0415  as above

    century = julianday_to_juliancentury(julianday(date) + moment / _DAY)
    return math.radians(sun_declination(century)), 60.0 * eq_of_time(century)


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
