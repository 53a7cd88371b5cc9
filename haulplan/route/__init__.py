"""Build the road of a scenario."""

from haulplan.route.build import Line, Passing, Route, build_route

__all__ = ["Line", "Passing", "Route", "build_route"]
