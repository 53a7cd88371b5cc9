"""haulplan from Python: plan, prove, tabulate, change one thing, compare."""

# %% [markdown]
# # haulplan from Python, step by step
#
# Run it from the folder that holds `scenarios`, whole (`python scenarios/first_plan.py`)
# or cell by cell in an editor that knows `# %%`.

# %%
# The five steps: read, put on the road, reckon the demand, plan, prove. Everything inside
# is SI: metres, seconds, kilograms. What is wrong raises `haulplan.errors.InputError`, no
# plan `NoPlanError`, with the same words as the command line.
from dataclasses import replace
from pathlib import Path

from haulplan.demand import build_demand
from haulplan.plan import Plan, Trace, make_plan
from haulplan.replay import replay
from haulplan.route import build_route
from haulplan.scenario import Scenario, read_scenario


def planned(scenario: Scenario) -> tuple[Plan, Trace]:
    """Plan a scenario and drive the plan over the full model."""
    route = build_route(scenario)
    demand = build_demand(scenario, route)
    plan = make_plan(scenario, route, demand)
    return plan, replay(scenario, route, demand, plan)


folder = Path(__file__).parent if "__file__" in globals() else Path("scenarios")
scenario = read_scenario(folder / "hobmere-penniford")
plan, trace = planned(scenario)
print(f"{len(plan.stops) - 2} stops, {plan.gap:.0%} from the best")

# %%
# Stops and legs as pandas tables, in the units of your choice, as in `stops.csv`.
from haulplan.outputs.tables import clock_text, legs_frame, stops_frame  # noqa: E402
from haulplan.units import UNIT_SYSTEMS  # noqa: E402

stops = stops_frame(scenario, plan, UNIT_SYSTEMS["us"])
print(stops[["stop", "arrive", "leave", "water taken [US gal]"]].to_string(index=False))
legs = legs_frame(scenario, plan, UNIT_SYSTEMS["us"])
print(legs[["from", "to", "length [mi]", "water [US gal]"]].to_string(index=False))

# %%
# The lowest the tank falls between stops is in the trace of the replay, which drove it.
print(f"lowest tank {min(trace.tank):.0f} kg, reserve {scenario.file.reserve.water:.0f} kg")

# %%
# Change one thing and plan again: the stores wagon goes by lorry. A scenario is frozen, so a
# changed copy is made; the first one stays as it was.
train = scenario.file.train.model_copy(update={"wagons": scenario.file.train.wagons[:-1]})
lighter = replace(scenario, file=scenario.file.model_copy(update={"train": train}))
other, _ = planned(lighter)

# %%
# Compare the two.
for name, one in (("as it is", plan), ("without that wagon", other)):
    print(f"{name:18} {len(one.stops) - 2} stops, arrives {clock_text(one.arrival)}, "
          f"{one.money:.2f} {scenario.file.currency}")  # fmt: skip
