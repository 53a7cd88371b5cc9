"""Heights from the user's own disk: SRTM .hgt, ESRI ASCII, GeoTIFF, recordings, tables.

Layouts. SRTM: file name is the south-west corner (N50E011); 1201 or 3601 rows and columns
of big-endian 16-bit metres, north row first, edge rows shared with the neighbouring tile,
-32768 for a void (USGS, "SRTM Topography", SRTM_Topo.txt, from memory). ESRI ASCII: header
ncols, nrows, xllcorner or xllcenter, yllcorner or yllcenter, cellsize, NODATA_value, then
the north row first (Esri, "ASCII raster format", from memory).
"""

import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.roads.tracks import Track, read_track

__all__ = ["Grid", "ground_height", "read_grids"]

Array = NDArray[np.float64]

_VOID: Final = -32768
#: Rows and columns of an .hgt tile by its size in bytes: 3 and 1 arc-seconds.
_TILES: Final = {2 * 1201 * 1201: 1201, 2 * 3601 * 3601: 3601}
_MOST_CELLS: Final = 120_000_000
_LOWEST, _HIGHEST = -500.0, 9000.0
_ENDINGS: Final = (".hgt", ".hgt.zip", ".asc", ".tif", ".tiff")
_TRACKS: Final = (".gpx", ".csv")


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Heights on a grid of latitude and longitude, north row first, NaN where void [m].

    `north` and `west` are the position of the first cell's middle, `step_north` and
    `step_east` the spacing. [°]
    """

    name: str
    north: float
    west: float
    step_north: float
    step_east: float
    height: NDArray[np.float32]

    def covers(self, latitude: Array, longitude: Array) -> NDArray[np.bool_]:
        """Whether each position lies between the middles of cells."""
        row, column = self._cells(latitude, longitude)
        rows, columns = self.height.shape
        edge = 1e-6
        inside: NDArray[np.bool_] = (
            (row >= -edge) & (row <= rows - 1 + edge)
            & (column >= -edge) & (column <= columns - 1 + edge)
        )  # fmt: skip
        return inside

    def at(self, latitude: Array, longitude: Array) -> Array:
        """Height between the four cells about each position, NaN beside a void [m]."""
        row, column = self._cells(latitude, longitude)
        rows, columns = self.height.shape
        up = np.clip(row.astype(np.int64), 0, max(rows - 2, 0))
        left = np.clip(column.astype(np.int64), 0, max(columns - 2, 0))
        down, right = np.minimum(up + 1, rows - 1), np.minimum(left + 1, columns - 1)
        south, east = np.clip(row - up, 0.0, 1.0), np.clip(column - left, 0.0, 1.0)
        h = self.height

        def weighted(share: Array, value: NDArray[np.float32]) -> Array:
            """A cell that carries no weight may be void."""
            return np.where(share > 1e-9, share * value, 0.0)

        total: Array = (
            weighted((1 - south) * (1 - east), h[up, left])
            + weighted((1 - south) * east, h[up, right])
            + weighted(south * (1 - east), h[down, left])
            + weighted(south * east, h[down, right])
        )
        return total

    def _cells(self, latitude: Array, longitude: Array) -> tuple[Array, Array]:
        return (
            (self.north - latitude) / self.step_north,
            (longitude - self.west) / self.step_east,
        )


def read_grids(path: Path) -> tuple[Grid | Track, ...]:
    """Read a file of heights, or every one in a folder.

    Parameters
    ----------
    path
        An .hgt (or .hgt.zip), .asc, .tif, .gpx or .csv file, or a folder of them.

    Returns
    -------
    grids
        Recordings and tables first, for they know the road; then in the order of their
        names.

    Raises
    ------
    InputError
        If there is none, or one cannot be read; all of them are named.
    """
    files = [path]
    if path.is_dir():
        files = [
            p
            for endings in (_TRACKS, _ENDINGS)
            for p in sorted(path.iterdir()) if p.name.casefold().endswith(endings)
        ]  # fmt: skip
    if not files or not all(file.is_file() for file in files):
        raise _refuse(
            path,
            "no heights there",
            f"put files ending in {', '.join((*_ENDINGS, *_TRACKS))} there",
        )
    grids: list[Grid | Track] = []
    problems: list[Problem] = []
    for file in files:
        try:
            track = file.name.casefold().endswith(_TRACKS)
            grids.append(read_track(file) if track else _read(file))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return tuple(grids)


def ground_height(grids: Sequence[Grid | Track], latitude: Array, longitude: Array) -> Array:
    """Height of the ground, from the first grid that has one.

    Parameters
    ----------
    grids
        In order of preference.
    latitude, longitude
        Positions, shape (positions,). [°]

    Returns
    -------
    height
        NaN where no grid has one, shape (positions,). [m]
    """
    height = np.full(latitude.shape, np.nan)
    for grid in grids:
        wanted = np.isnan(height) & grid.covers(latitude, longitude)
        if wanted.any():
            height[wanted] = grid.at(latitude[wanted], longitude[wanted])
    return height


def _refuse(path: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])


def _read(path: Path) -> Grid:
    name = path.name.casefold()
    try:
        if name.endswith((".hgt", ".hgt.zip")):
            return _read_hgt(path)
        if name.endswith(".asc"):
            return _read_ascii(path)
        if name.endswith((".tif", ".tiff")):
            return _read_tiff(path)
    except OSError as error:
        raise _refuse(path, error.strerror or "cannot be read", "give a readable file") from None
    raise _refuse(path, "not a grid of heights", f"give a file ending in {', '.join(_ENDINGS)}")


def _checked(height: NDArray[np.float32]) -> NDArray[np.float32]:
    """Heights no road has count as voids."""
    return np.where((height < _LOWEST) | (height > _HIGHEST), np.float32(np.nan), height)


def _read_hgt(path: Path) -> Grid:
    match = re.search(r"([NS])(\d{2})([EW])(\d{3})", path.name.upper())
    if match is None:
        raise _refuse(
            path, "no corner in its name", "name it after its south-west corner, as in N50E011.hgt"
        )
    data = _unpacked(path) if path.suffix.casefold() == ".zip" else path.read_bytes()
    side = _TILES.get(len(data))
    if side is None:
        raise _refuse(
            path,
            f"{len(data)} bytes",
            f"an .hgt tile has {' or '.join(str(size) for size in _TILES)} bytes",
        )
    cells = np.frombuffer(data, dtype=">i2").reshape(side, side).astype(np.float32)
    cells[cells == _VOID] = np.nan
    south = int(match[2]) * (1 if match[1] == "N" else -1)
    west = int(match[4]) * (1 if match[3] == "E" else -1)
    step = 1.0 / (side - 1)
    return Grid(
        name=path.name, north=south + 1.0, west=float(west), step_north=step, step_east=step,
        height=_checked(cells),
    )  # fmt: skip


def _unpacked(path: Path) -> bytes:
    """The one tile in an archive, never more of it than a tile holds."""
    try:
        with zipfile.ZipFile(path) as archive:
            tiles = [i for i in archive.infolist() if i.filename.casefold().endswith(".hgt")]
            if len(tiles) != 1:
                raise _refuse(path, f"{len(tiles)} .hgt files inside", "pack one to an archive")
            with archive.open(tiles[0]) as file:
                return file.read(max(_TILES) + 1)
    except (zipfile.BadZipFile, RuntimeError, EOFError) as error:
        raise _refuse(path, f"not a zip archive: {error}", "unpack it and give the .hgt") from None


def _read_ascii(path: Path) -> Grid:
    keys: dict[str, float] = {}
    with path.open(encoding="ascii", errors="replace") as file:
        position = 0
        while match := re.match(r"\s*([A-Za-z_]+)\s+([-+\d.eE]+)\s*$", line := file.readline()):
            keys[match[1].casefold()] = float(match[2])
            position += 1
            if position > 10:
                break
        rows, columns = int(keys.get("nrows", 0)), int(keys.get("ncols", 0))
        size = keys.get("cellsize", 0.0)
        if rows < 2 or columns < 2 or size <= 0 or rows * columns > _MOST_CELLS:
            raise _refuse(
                path, "no header of an ESRI grid",
                "the first lines name ncols, nrows, xllcorner, yllcorner and cellsize",
            )  # fmt: skip
        try:
            cells = np.array((line + file.read()).split(), dtype=np.float32)
        except ValueError:
            cells = np.zeros(0, dtype=np.float32)
    if cells.size != rows * columns:
        raise _refuse(path, f"{cells.size} heights", f"the header promises {rows * columns}")
    middle = size / 2
    west = keys.get("xllcenter", keys.get("xllcorner", np.nan) + middle)
    south = keys.get("yllcenter", keys.get("yllcorner", np.nan) + middle)
    if not (abs(west) <= 180 and abs(south) <= 90):
        raise _refuse(path, "not in degrees", "give a grid in latitude and longitude (WGS 84)")
    cells[cells == np.float32(keys.get("nodata_value", -9999.0))] = np.nan
    return Grid(
        name=path.name, north=south + (rows - 1) * size, west=west, step_north=size,
        step_east=size, height=_checked(cells.reshape(rows, columns)),
    )  # fmt: skip


def _read_tiff(path: Path) -> Grid:
    try:
        import rasterio  # noqa: PLC0415  an optional extra
        from rasterio.errors import RasterioError  # noqa: PLC0415
    except ImportError:
        raise _refuse(
            path, "a GeoTIFF, and rasterio is not installed",
            "install it (pip install 'haulplan[rasters]'), or give .hgt or .asc files",
        ) from None  # fmt: skip
    try:
        with rasterio.open(path) as file:
            if file.crs is None or not file.crs.is_geographic or file.transform.b:
                raise _refuse(path, "not in degrees", "reproject it to WGS 84 (EPSG:4326)")
            if file.width * file.height > _MOST_CELLS:
                raise _refuse(path, f"{file.width} x {file.height} cells", "cut it to the region")
            cells = file.read(1, masked=True).astype(np.float32).filled(np.nan)
            across, down = file.transform.a, -file.transform.e
            west, north = file.transform.c + across / 2, file.transform.f - down / 2
    except RasterioError as error:
        raise _refuse(path, f"not a GeoTIFF: {error}", "give another file") from None
    return Grid(
        name=path.name, north=north, west=west, step_north=down, step_east=across,
        height=_checked(cells),
    )  # fmt: skip
