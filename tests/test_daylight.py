"""Light by the clock, beside an almanac's own algorithm worked here from scratch."""

import datetime as dt
import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.demand.daylight import daylight
from haulplan.errors import InputError

HOUR = 3600.0
#: From the zenith to the sun's centre at either end of the light. [°]
ZENITH = {"sun": 90.8333, "civil twilight": 96.0}


def sin(degrees: float) -> float:
    return math.sin(math.radians(degrees))


def cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def almanac(
    day: dt.date, latitude: float, longitude: float, zenith: float, *, rising: bool
) -> dict[str, float]:
    """Sunrise or sunset in universal time, with the steps that are printed.

    Almanac for Computers (1990), United States Naval Observatory, as reprinted in a
    pilot's page; the sun's longitude and right ascension by its low-precision series.
    """
    n = (day - dt.date(day.year, 1, 1)).days + 1
    hour = longitude / 15
    t = n + ((6 if rising else 18) - hour) / 24
    m = 0.9856 * t - 3.289
    true = (m + 1.916 * sin(m) + 0.020 * sin(2 * m) + 282.634) % 360
    ascension = math.degrees(math.atan(0.91764 * math.tan(math.radians(true)))) % 360
    ascension += math.floor(true / 90) * 90 - math.floor(ascension / 90) * 90
    declination = 0.39782 * sin(true)
    cosine = (cos(zenith) - declination * sin(latitude)) / (
        math.sqrt(1 - declination**2) * cos(latitude)
    )
    angle = math.degrees(math.acos(cosine))
    angle = (360 - angle if rising else angle) / 15
    local = (angle + ascension / 15 - 0.06571 * t - 6.622) % 24
    return {"N": n, "t": t, "M": m, "L": true, "H": angle, "T": local, "UT": local - hour}


def test_the_almanacs_steps_are_those_printed() -> None:
    # The worked example: 25 June 1990, 40.9 N 74.3 W; N, t and M are printed, L, H and T
    # computed from them (the page breaks off).
    steps = almanac(dt.date(1990, 6, 25), 40.9, -74.3, 90.8333, rising=True)
    assert steps["N"] == 176
    assert steps["t"] == pytest.approx(176.456, abs=0.0005)
    assert steps["M"] == pytest.approx(170.626, abs=0.0006)
    assert steps["L"] == pytest.approx(93.566, abs=0.001)
    assert steps["H"] == pytest.approx(16.446, abs=0.001)
    assert steps["T"] == pytest.approx(4.488, abs=0.001)
    assert steps["UT"] == pytest.approx(9.441, abs=0.001)


@settings(max_examples=150, deadline=None)
@given(
    day=st.dates(dt.date(1980, 1, 1), dt.date(2040, 12, 31)),
    latitude=st.floats(-50, 50),
    longitude=st.floats(-179, 179),
    light=st.sampled_from(["sun", "civil twilight"]),
)
def test_light_is_as_the_almanac_has_it(
    day: dt.date, latitude: float, longitude: float, light: str
) -> None:
    # Two minutes: the almanac counts N within a year, so it slips with the leap years.
    offset = round(longitude / 15) * HOUR
    found = daylight(day, latitude, longitude, offset, light)  # type: ignore[arg-type]
    for moment, rising in zip(found, (True, False), strict=True):
        told = almanac(day, latitude, longitude, ZENITH[light], rising=rising)["UT"]
        gap = (moment - told * HOUR - offset + 12 * HOUR) % (24 * HOUR) - 12 * HOUR
        assert abs(gap) < 120


@settings(max_examples=60, deadline=None)
@given(
    day=st.dates(dt.date(1980, 1, 1), dt.date(2040, 12, 31)),
    latitude=st.floats(-89, 89),
    longitude=st.floats(-179, 179),
)
def test_light_is_within_the_day_and_twilight_is_longer(
    day: dt.date, latitude: float, longitude: float
) -> None:
    offset = round(longitude / 15) * HOUR
    try:
        begin, end = daylight(day, latitude, longitude, offset, "sun")
    except InputError:
        return
    dawn, dusk = daylight(day, latitude, longitude, offset, "civil twilight")
    assert 0 <= dawn <= begin <= end <= dusk <= 24 * HOUR


def test_it_stays_light_where_the_sun_does_not_set() -> None:
    assert daylight(dt.date(2027, 6, 21), 70.0, 25.0, 2 * HOUR, "sun") == (0.0, 24 * HOUR)


def test_a_day_without_light_says_so() -> None:
    with pytest.raises(InputError, match=r"hours\.light: no light of the sun on 2027-12-21 at"):
        daylight(dt.date(2027, 12, 21), 70.0, 25.0, HOUR, "sun")
    # ... though at that latitude twilight comes
    dawn, dusk = daylight(dt.date(2027, 12, 21), 70.0, 25.0, HOUR, "civil twilight")
    assert 6 * HOUR < dawn < dusk < 16 * HOUR


@pytest.mark.parametrize("north", [1, -1])
def test_from_long_days_to_short_ones_the_light_shrinks_to_nothing_and_grows(north: int) -> None:
    # Across the edges of polar night and polar day, where the sun only touches the horizon
    lengths = []
    for day in range(365):
        date = dt.date(2027, 6, 21) + dt.timedelta(days=day)
        try:
            begin, end = daylight(date, north * 69.7, 25.0, 2 * HOUR, "sun")
        except InputError:
            begin = end = 0.0
        lengths.append((end - begin) / HOUR)
    if north < 0:
        lengths = lengths[182:] + lengths[:182]
    assert lengths[0] == 24
    assert lengths[182] == 0
    assert all(b <= a for a, b in pairwise(lengths[:183]))
    assert all(b >= a for a, b in pairwise(lengths[183:]))


def test_summer_time_moves_the_light_by_an_hour() -> None:
    winter = daylight(dt.date(2027, 7, 1), 36.3, -84.2, -5 * HOUR, "sun")
    summer = daylight(dt.date(2027, 7, 1), 36.3, -84.2, -4 * HOUR, "sun")
    assert [s - w for s, w in zip(summer, winter, strict=True)] == pytest.approx([HOUR, HOUR])


@pytest.mark.parametrize(("longitude", "offset"), [(-157.4, 14.0), (76.0, 8.0), (-176.5, 12.75)])
def test_clocks_far_from_the_sun_are_taken_where_they_are_kept(
    longitude: float, offset: float
) -> None:
    # Line Islands, western China, Chatham Islands: common knowledge, no source
    begin, end = daylight(dt.date(2027, 3, 20), 2.0, longitude, offset * HOUR, "sun")
    assert 5 * HOUR < begin < 10 * HOUR < end < 22 * HOUR


def test_a_clock_of_elsewhere_is_refused() -> None:
    with pytest.raises(InputError, match=r"hours\.utc_offset: \+5 h is no clock of longitude -84"):
        daylight(dt.date(2027, 7, 1), 36.3, -84.2, 5 * HOUR, "sun")
