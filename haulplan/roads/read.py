"""Read a network of roads, whatever form it has."""

from pathlib import Path

from haulplan.errors import InputError, Problem
from haulplan.roads.osm import read_osm
from haulplan.roads.roadmap import RoadMap
from haulplan.roads.tables import read_geojson, read_road_tables

__all__ = ["read_roads"]


def read_roads(path: Path) -> RoadMap:
    """Read a folder of tables, a GeoJSON file or an OpenStreetMap extract.

    Parameters
    ----------
    path
        A folder with nodes.csv and roads.csv, or a .geojson, .osm, .osm.gz or .osm.pbf file.

    Returns
    -------
    roads
        As read.

    Raises
    ------
    InputError
        If it is none of these, or wrong inside.
    """
    name = path.name.casefold()
    if path.is_dir():
        return read_road_tables(path)
    if name.endswith((".geojson", ".json")):
        return read_geojson(path)
    if name.endswith((".osm", ".osm.gz", ".osm.pbf", ".pbf", ".osm.xml")):
        return read_osm(path)
    raise InputError(
        [
            Problem(
                file=path.name,
                where="",
                found="not a network of roads",
                remedy="give a folder with nodes.csv and roads.csv, or a .geojson, .osm, "
                ".osm.gz or .osm.pbf file",
            )
        ]
    )
