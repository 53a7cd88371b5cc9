"""Build the road of a scenario."""

from haulplan.route.build import Route, build_route, lay_route
from haulplan.route.passings import Line, Passing

__all__ = ["Line", "Passing", "Route", "build_route", "lay_route"]
