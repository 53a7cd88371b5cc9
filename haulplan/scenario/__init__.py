"""Read and check one scenario folder."""

from haulplan.scenario.read import Scenario, read_road_table, read_rows, read_scenario

__all__ = ["Scenario", "read_road_table", "read_rows", "read_scenario"]
