"""Make route.gpx: a ring of lanes that lies nowhere, 28 km round, with invented hills.

Run it with Python from any folder; it writes route.gpx beside itself, the same each time.
The shape is a circle bent by three waves, the heights are three waves more; it is put in
the open sea, so that nobody takes it for a road. numpy and geopy are needed.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
from geopy.distance import geodesic
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Middle of the ring, in the open sea [°], and its length [m].
LATITUDE, LONGITUDE, LENGTH = 55.2, 3.1, 28_000.0
#: The ring is not quite closed: the finish is another gate of the same field. [-]
SHARE = 0.988
POINTS = 1121


def shape() -> tuple[Array, Array]:
    """East and north of the ring, of any size."""
    turn = np.linspace(0.0, SHARE * 2 * np.pi, POINTS)
    radius = 1 + 0.20 * np.cos(2 * turn + 0.6) + 0.11 * np.sin(3 * turn) + 0.035 * np.cos(7 * turn)
    return radius * np.sin(turn), radius * np.cos(turn)


def heights(along: Array) -> Array:
    """Height of the road at a distance [m]."""
    waves = ((24.0, 9300.0, 0.4), (11.0, 4100.0, 1.9), (4.0, 1900.0, 0.7))
    total = 62.0 + sum(a * np.sin(2 * np.pi * along / w + p) for a, w, p in waves)
    return np.asarray(total, dtype=np.float64)


def main() -> None:
    """Write route.gpx beside this file."""
    east, north = shape()
    size = 1.0
    for _ in range(4):  # degrees are not metres: measure and mend
        latitude = LATITUDE + size * north / 111_000
        longitude = LONGITUDE + size * east / (111_000 * np.cos(np.radians(LATITUDE)))
        ends = list(zip(latitude.tolist(), longitude.tolist(), strict=True))
        steps = [geodesic(a, b).meters for a, b in pairwise(ends)]
        size *= LENGTH / sum(steps)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    points = "\n".join(
        f'      <trkpt lat="{a:.6f}" lon="{b:.6f}"><ele>{h:.1f}</ele></trkpt>'
        for (a, b), h in zip(ends, heights(along).tolist(), strict=True)
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="make_ring.py" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n'
        "  <metadata><name>Sallowby harvest ring</name><desc>Invented lanes in the open sea. "
        "No such road exists; do not navigate by it.</desc></metadata>\n"
        f"  <trk>\n    <name>Sallowby harvest ring</name>\n    <trkseg>\n{points}\n"
        "    </trkseg>\n  </trk>\n</gpx>\n"
    )
    Path(__file__).with_name("route.gpx").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
