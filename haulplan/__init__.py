"""Plan steam road haulage: stops for water and coal on the way from A to B.

The steps, in order: `haulplan.scenario.read_scenario`, `haulplan.route.build_route`,
`haulplan.demand.build_demand`, `haulplan.plan.make_plan`, `haulplan.replay.replay`, and
`haulplan.outputs`.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
