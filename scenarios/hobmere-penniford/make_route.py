"""Make route.gpx: a road that was never built, over ground that is there.

Run it with Python from any folder; it writes route.gpx beside itself, the same each time:

1. heights come from the terrain sample that matplotlib ships for its examples (SRTM, the
   Shuttle Radar Topography Mission of 2000: public domain, US Government);
2. the way is the cheapest path through the places in `VIAS`, where steep steps and steep
   hillsides cost more than distance;
3. the line is rounded off, as a survey party would stake it;
4. the profile moves little earth and changes its grade seldom, within a ruling grade and
   with rounded summits and hollows; it is found as a linear programme.

matplotlib, numpy and scipy are needed.
"""

from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, diags_array, eye_array, hstack, vstack
from scipy.sparse.csgraph import dijkstra

Array = NDArray[np.float64]

#: North-west corner and spacing of the sample. [°]
#: The file's latitudes carry a slip of sign: its 'ymin' is above its 'ymax', and 'ymax' is
#: the north edge. The highest cell, 1,076 m, then lies at 36.199 N, 84.231 W, where the
#: published summit is 1,077 m at 36.198 N, 84.231 W; otherwise it would be 32 km off.
NORTH, WEST, CELL = 36.44625, -84.41375, 1 / 1200
#: Rows and columns of the sample that the road may use.
WINDOW: Final = (slice(20, 232), slice(40, 345))
#: Places the road goes through, as rows and columns of the sample.
VIAS: Final = ((205, 312), (165, 235), (45, 140), (75, 75))
#: Cells of the sample are cut into this many before the way is looked for. [-]
CUT = 3
#: Steps from cell to cell; the long ones keep the line from following the grid's eight winds.
STEPS: Final = (
    (0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1),
    (1, 3), (3, 1), (1, -3), (3, -1), (2, 3), (3, 2), (2, -3), (3, -2),
)  # fmt: skip
#: A step at the first grade costs double; beyond the second it is hardly ever taken. [-]
EASY_GRADE, HARD_GRADE = 0.035, 0.07
#: A hillside of this slope costs as much again as a flat field. [-]
SIDE_SLOPE = 0.25

METRES = float(np.radians(CELL)) * 6371008.8
EAST_METRES = METRES * float(np.cos(np.radians(36.31)))
#: Spacing of the points written. [m]
SPACING = 25.0
#: Standard deviation of the window that rounds the line off. [m]
ROUNDING = 90.0
#: Steepest grade elsewhere. [-]
RULING_GRADE = 0.048
#: Stretches with a ruling grade of their own, as from [m], to [m], grade [-]: an easy
#: approach, the hill itself, and the way down the other side.
STEEP: Final = (
    (24_500.0, 25_680.0, 0.006),
    (25_680.0, 26_600.0, 0.083),
    (26_850.0, 28_300.0, 0.060),
)
#: Smallest radius of summits and hollows. [m]
VERTICAL_RADIUS = 1500.0
#: Earth worth moving at one point to be spared a bend of the grade line there. [-]
EVENNESS = 12.0


def main() -> None:
    """Write route.gpx beside this file."""
    ground = read_ground()
    x, y = round_off(*find_way(ground))
    heights = ease(sample(ground, x, y))
    text = as_gpx(NORTH - y / METRES * CELL, WEST + x / EAST_METRES * CELL, heights)
    Path(__file__).with_name("route.gpx").write_text(text, encoding="utf-8")


def read_ground() -> Array:
    """Heights of the sample, rows from north to south, radar speckle taken off [m]."""
    with np.load(get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as terrain:
        heights = np.asarray(terrain["elevation"], dtype=np.float64)
    calm: Array = gaussian_filter(heights, 0.7)
    return calm


def sample(ground: Array, x: Array, y: Array) -> Array:
    """Height of the ground at metres east and south of the sample's corner [m]."""
    heights: Array = map_coordinates(ground, [y / METRES, x / EAST_METRES], order=1)
    return heights


def find_way(ground: Array) -> tuple[Array, Array]:
    """Cheapest way through the places of `VIAS`, in metres east and south of the corner."""
    top, left = WINDOW[0].start, WINDOW[1].start
    height, width = WINDOW[0].stop - top, WINDOW[1].stop - left
    shape = ((height - 1) * CUT + 1, (width - 1) * CUT + 1)
    rows, columns = np.indices(shape) / CUT
    fine: Array = map_coordinates(ground, [rows + top, columns + left], order=3)
    costs = step_costs(fine)
    stops = [((row - top) * shape[1] + (column - left)) * CUT for row, column in VIAS]
    cells = [stops[0]]
    for begin, end in pairwise(stops):
        _, before = dijkstra(costs, directed=False, indices=[begin], return_predecessors=True)
        leg = [end]
        while leg[-1] != begin:
            leg.append(int(before[0, leg[-1]]))
        cells += leg[-2::-1]
    row, column = np.divmod(np.array(cells), shape[1])
    return (column / CUT + left) * EAST_METRES, (row / CUT + top) * METRES


def step_costs(heights: Array) -> csr_array:
    """Cost of each step between cells: its length, raised by grade and by side slope [m]."""
    down, across = METRES / CUT, EAST_METRES / CUT
    south, east = np.gradient(heights, down, across)
    slope = np.hypot(south, east).ravel()
    numbers = np.arange(heights.size).reshape(heights.shape)
    flat = heights.ravel()
    begins, ends, costs = [], [], []
    for rows, columns in STEPS:
        width = heights.shape[1]
        begin = numbers[: heights.shape[0] - rows, max(0, -columns) : width - max(0, columns)]
        begin = begin.ravel()
        end = begin + rows * width + columns
        length = float(np.hypot(rows * down, columns * across))
        grade = np.abs(flat[end] - flat[begin]) / length
        side = (slope[begin] + slope[end]) / 2
        toil = (grade / EASY_GRADE) ** 2 + np.minimum((grade / HARD_GRADE) ** 6, 1e4)
        begins.append(begin)
        ends.append(end)
        costs.append(length * (1 + toil + (side / SIDE_SLOPE) ** 2))
    place = (np.concatenate(begins), np.concatenate(ends))
    return coo_array((np.concatenate(costs), place), shape=(flat.size, flat.size)).tocsr()


def round_off(x: Array, y: Array) -> tuple[Array, Array]:
    """Take the grid's corners off the line and space its points evenly [m]."""
    x, y = resample(x, y, 10.0)
    pad = 60
    x, y = (
        gaussian_filter1d(np.pad(v, pad, mode="reflect", reflect_type="odd"), ROUNDING / 10.0)
        for v in (x, y)
    )
    return resample(x[pad:-pad], y[pad:-pad], SPACING)


def resample(x: Array, y: Array, spacing: float) -> tuple[Array, Array]:
    """Points at even distances along a line, as near `spacing` apart as its length lets [m]."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    at = np.linspace(0.0, along[-1], round(float(along[-1]) / spacing) + 1)
    return np.interp(at, along, x), np.interp(at, along, y)


def ease(ground: Array) -> Array:
    """Heights of the road: little earth moved, few changes of grade, no grade too steep [m].

    Variables are the heights, the cut or fill at each point and the bend at each point;
    least is wanted of cut and fill plus `EVENNESS` times the bends.

    Raises
    ------
    ArithmeticError
        If no profile keeps within the limits.
    """
    count = ground.size
    at = np.arange(count - 1) * SPACING
    limit = np.full(count - 1, RULING_GRADE * SPACING)
    for begin, end, grade in STEEP:
        limit[(at >= begin) & (at < end)] = grade * SPACING
    rise = diags_array([-1.0, 1.0], offsets=[0, 1], shape=(count - 1, count))
    bend = diags_array([1.0, -2.0, 1.0], offsets=[0, 1, 2], shape=(count - 2, count))
    shape = vstack([eye_array(count), bend, rise])
    slack = vstack([eye_array(2 * count - 2), csr_array((count - 1, 2 * count - 2))])
    # Any: scipy takes sparse arrays as constraints, its type stubs do not say so.
    below: Any = hstack([shape, -slack])
    above: Any = hstack([shape, slack])
    target = np.concatenate([ground, np.zeros(count - 2), np.zeros(count - 1)])
    room = np.concatenate([np.zeros(2 * count - 2), limit])
    effort = np.concatenate([np.zeros(count), np.ones(count), np.full(count - 2, EVENNESS)])
    widest = np.concatenate(
        [np.full(2 * count, np.inf), np.full(count - 2, SPACING**2 / VERTICAL_RADIUS)]
    )
    found = milp(
        effort,
        bounds=Bounds(np.concatenate([np.full(count, -np.inf), np.zeros(2 * count - 2)]), widest),
        constraints=[
            LinearConstraint(below, -np.inf, target + room),
            LinearConstraint(above, target - room, np.inf),
        ],
    )
    if found.x is None:
        raise ArithmeticError(found.message)
    return np.asarray(found.x[:count], dtype=np.float64)


def as_gpx(latitude: Array, longitude: Array, height: Array) -> str:
    """Write the road as one track of a GPX 1.1 file."""
    points = "\n".join(
        f'      <trkpt lat="{a:.6f}" lon="{b:.6f}"><ele>{h:.1f}</ele></trkpt>'
        for a, b, h in zip(latitude, longitude, height, strict=True)
    )
    name = "Hobmere to Penniford"
    about = (
        "Invented road over real ground (heights: SRTM, public domain). No such road exists; "
        "do not navigate by it."
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="make_route.py" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"  <metadata><name>{name}</name><desc>{about}</desc></metadata>\n"
        f"  <trk>\n    <name>{name}</name>\n    <trkseg>\n{points}\n"
        "    </trkseg>\n  </trk>\n</gpx>\n"
    )


if __name__ == "__main__":
    main()
