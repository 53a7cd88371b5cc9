"""Distances over the ground and a height profile fit to reckon work from.

Recorded heights carry noise and spikes that would show as hills no engine meets. The
method, judged by the work of hauling and the steepest sustained grade and not by the
sum of climbs: each unbroken run is cleared of spikes, resampled at 10 m, and smoothed
with a Gaussian window, applied once more to what it took away so that hills keep their
grade; nothing is smoothed across a gap.
"""

from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["STEP", "along", "clean_profile", "climb_of", "level_steps", "steepest_sustained"]

#: Spacing of the resampled profile. [m]
STEP = 10.0
_MEDIAN_SAMPLES = 11
_SPIKE = 5.0
_SPIKE_GRADE = 0.25
_SPIKE_SIGMAS = 4.0
#: Between two points, a rise above both [m] and [-] is the instrument's, not the road's.
_STEP_RISE, _STEP_GRADE, _STEP_UNUSUAL = 5.0, 0.5, 8.0
#: A sharp crest stands off its median too, by less than this. [m]
_SPIKE_LEAST = 2.0
#: Samples at either end whose straight line gives the height of the end.
_END_SAMPLES = 16
#: Standard deviations of the smoothing window on recorded and on already smooth heights. [m]
_WIDE, _NARROW = 70.0, 40.0
_QUIET_RATIO = 1.1

Array = NDArray[np.float64]


def along(latitude: Array, longitude: Array) -> Array:
    """Distance from the first point along the line, on the WGS 84 ellipsoid.

    Parameters
    ----------
    latitude, longitude
        Points in driving order, shape (points,). [°]

    Returns
    -------
    distance
        Summed geodesics, shape (points,), starting at 0. [m]

    References
    ----------
    .. [1] C. F. F. Karney, "Algorithms for geodesics", Journal of Geodesy 87 (2013),
       43-55, as carried by geopy.

    Examples
    --------
    >>> line = along(np.array([40.6, 51.6]), np.array([-73.8, -0.5]))
    >>> round(float(line[1]), 1)
    5551759.4
    """
    return _summed(tuple(latitude.tolist()), tuple(longitude.tolist())).copy()


@lru_cache(maxsize=2)  # a road is laid anew for every change that is tried
def _summed(latitude: tuple[float, ...], longitude: tuple[float, ...]) -> Array:
    from geopy.distance import geodesic  # noqa: PLC0415  loaded only where GPX is read

    points = zip(latitude, longitude, strict=True)
    steps = [0.0 if a == b else geodesic(a, b).m for a, b in pairwise(points)]
    return np.concatenate([[0.0], np.cumsum(steps)])


def clean_profile(distance: Array, elevation: Array) -> tuple[Array, Array]:
    """One piece's heights, resampled, cleared of spikes and smoothed.

    Parameters
    ----------
    distance
        Distance along the piece, not falling, shape (points,). [m]
    elevation
        Recorded height, NaN where none was recorded, shape (points,). [m]

    Returns
    -------
    distance
        Evenly spaced, the piece's ends included, shape (samples,). [m]
    elevation
        Smoothed height, shape (samples,). [m]

    Notes
    -----
    A recorded point is a spike if it stands off both its neighbours to the same side by
    more than 5 m and by grades above 25 %, or at an end off its one neighbour; a sample, if
    it stands off the median of 11 by more than 5 m or by more than 4 robust standard
    deviations of the run's own residuals (and 2 m). Either end is put on the median
    straight line [2]_ of its 16 samples. The Gaussian window has a standard deviation of
    70 m, or 40 m where it takes away less than a tenth of the climb; it is applied twice,
    S + S(z - S) [1]_; ends are continued point-symmetrically, so a hill that begins at the
    first point keeps its grade. The widths are haulplan's assumption: tests check work
    within 2 % and the steepest 200 m within half a point of grade on made-up roads with
    independent noise of 0.5 m and spikes. Noise that wanders over hundreds of metres, as
    satellite heights have, cannot be told from hills: 2 m of it over 200 m overstates work
    by 1 to 7 %.

    References
    ----------
    .. [1] J. W. Tukey, Exploratory Data Analysis, 1977, ch. 16: "twicing" (from memory).
    .. [2] H. Theil, "A rank-invariant method of linear and polynomial regression
       analysis", Proc. Kon. Ned. Akad. Wetensch. 53 (1950) (from memory).

    Examples
    --------
    >>> x = np.arange(0.0, 2001.0, 20.0)
    >>> d, z = clean_profile(x, 0.05 * x)
    >>> round(float(z[-1] - z[0]), 6), round(steepest_sustained(d, z, 200.0), 6)
    (100.0, 0.05)
    """
    from scipy.ndimage import gaussian_filter1d, median_filter  # noqa: PLC0415  0.1 s to load

    known = np.isfinite(elevation)
    keep = known & np.concatenate([[True], np.diff(distance) > 0])
    length = float(distance[-1])
    count = max(round(length / STEP), 1)
    grid = np.linspace(0.0, length, count + 1)
    raw = np.interp(grid, *_without_peaks(distance[keep], elevation[keep]))
    if count < _MEDIAN_SAMPLES:
        return grid, raw
    residual = raw - median_filter(raw, _MEDIAN_SAMPLES, mode="nearest")
    sigma = 1.4826 * float(np.median(np.abs(residual)))
    spike = np.abs(residual) > min(_SPIKE, max(_SPIKE_SIGMAS * sigma, _SPIKE_LEAST))
    spike[0] = spike[-1] = False
    cleared = np.interp(grid, grid[~spike], raw[~spike])
    cleared[0] = _end_height(cleared[:_END_SAMPLES])
    cleared[-1] = _end_height(cleared[: -_END_SAMPLES - 1 : -1])

    def smooth(window: float) -> Array:
        samples = window / (length / count)
        pad = min(int(4 * samples) + 1, count)

        def blur(heights: Array) -> Array:
            padded = np.pad(heights, pad, mode="reflect", reflect_type="odd")
            blurred: Array = gaussian_filter1d(padded, samples)[pad:-pad]
            return blurred

        once = blur(cleared)
        return once + blur(cleared - once)

    wide = smooth(_WIDE)
    quiet = climb_of(cleared) <= _QUIET_RATIO * climb_of(wide)
    return grid, smooth(_NARROW) if quiet else wide


def level_steps(distance: Array, elevation: Array) -> tuple[Array, list[tuple[float, float]]]:
    """Heights without the steps of an instrument set anew while under way.

    Parameters
    ----------
    distance
        Distance along the piece, not falling, shape (points,). [m]
    elevation
        Recorded height, shape (points,). [m]

    Returns
    -------
    elevation
        Heights after each step moved by it, shape (points,). [m]
    steps
        Distance and height of each step taken out. [m], [m]

    Notes
    -----
    A step is more than 5 m at a grade above 50 % between two points, 8 times what is usual
    between those about it (noise has many), borne out by the medians of the 5 points on
    either side: no road climbs so. haulplan's assumption.

    Examples
    --------
    >>> x = np.arange(0.0, 200.0, 10.0)
    >>> level, steps = level_steps(x, np.where(x < 95, 50.0, 80.0))
    >>> float(np.ptp(level)), steps
    (0.0, [(90.0, 30.0)])
    """
    level = elevation.copy()
    found = []
    moved = np.flatnonzero(np.concatenate([[True], np.diff(distance) > 0]))
    at, height = distance[moved], elevation[moved]
    rise = np.diff(height)
    limit = np.maximum(_STEP_RISE, _STEP_GRADE * np.diff(at))
    for k in np.flatnonzero(np.abs(rise) > limit).tolist():
        before, after = slice(max(k - 4, 0), k + 1), slice(k + 1, k + 6)
        between = float(np.median(height[after]) - np.median(height[before]))
        apart = float(np.median(at[after]) - np.median(at[before]))
        usual = float(np.median(np.abs(rise[max(k - 4, 0) : k + 5])))
        least = max(_STEP_RISE + _SPIKE_GRADE * apart, abs(rise[k]) / 2)
        if between * np.sign(rise[k]) > least and abs(rise[k]) > _STEP_UNUSUAL * usual:
            level[moved[k + 1] :] -= rise[k]
            found.append((float(at[k]), float(rise[k])))
    return level, found


def _without_peaks(distance: Array, elevation: Array) -> tuple[Array, Array]:
    """The points without those that no road leads up to and down from, nor ends on."""
    while elevation.size > 3:
        rise = np.diff(elevation)
        steep = np.abs(rise) > np.maximum(_SPIKE, _SPIKE_GRADE * np.diff(distance))
        peak = steep[:-1] & steep[1:] & (np.sign(rise[:-1]) == -np.sign(rise[1:]))
        ends = steep[[0, -1]] & ~steep[[1, -2]]
        stays = ~np.concatenate([ends[:1], peak, ends[1:]])
        if stays.all():
            break
        distance, elevation = distance[stays], elevation[stays]
    return distance, elevation


def _end_height(elevation: Array) -> float:
    """Height at the first of evenly spaced samples, on their median straight line."""
    first, second = np.triu_indices(elevation.size, 1)
    slope = np.median((elevation[second] - elevation[first]) / (second - first))
    return float(np.median(elevation - slope * np.arange(elevation.size)))


def climb_of(elevation: Array) -> float:
    """Sum of the rises between samples.

    Parameters
    ----------
    elevation
        The profile, shape (samples,). [m]

    Returns
    -------
    climb
        [m]

    Examples
    --------
    >>> climb_of(np.array([0.0, 3.0, 1.0, 2.0]))
    4.0
    """
    return float(np.maximum(np.diff(elevation), 0.0).sum())


def steepest_sustained(distance: Array, elevation: Array, span: float) -> float:
    """The steepest mean grade up over any `span` of the road.

    Parameters
    ----------
    distance, elevation
        The profile, shape (samples,). [m]
    span
        Length over which the grade is held. [m]

    Returns
    -------
    grade
        Rise per length, 0 on a road that only falls. [-]
    """
    span = min(span, float(distance[-1] - distance[0]))
    begin = distance[distance <= distance[-1] - span]
    rise = np.interp(begin + span, distance, elevation) - np.interp(begin, distance, elevation)
    return max(float(rise.max()) / span, 0.0)
