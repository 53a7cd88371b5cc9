"""The plan as one JSON document in SI units, described by plan.schema.json."""

import datetime as dt
import json
import math
from collections.abc import Mapping
from typing import Any, Final

from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.doing import stands
from haulplan.outputs.formula import AxleGroup, axle_groups
from haulplan.plan.plan import Crest, Crossing, Day, Leg, Plan, Stop
from haulplan.route.build import Route
from haulplan.scenario import Scenario
from haulplan.scenario.schema import Supply

__all__ = ["SCHEMA_NAME", "SCHEMA_VERSION", "plan_document", "plan_json", "plan_schema"]

SCHEMA_NAME: Final = "haulplan-plan"
SCHEMA_VERSION: Final = 2

_UNITS: Final = (
    "SI throughout; the ending of a name is its unit: _m metres, _kg kilograms (water as "
    "mass), _s seconds, _deg degrees. Clocks ending in _s count seconds from midnight at "
    "the start of 'date' and may pass 86400; those without are local date-times. Money is "
    "in 'currency'."
)
_OBJECTIVE_UNITS: Final = {"earliest": "s", "fewest stops": "stops"}
#: Finer digits are rounding noise: a micrometre, a microgram, a microsecond.
_DECIMALS: Final = 6
#: Prices and rates are small figures per kilogram and per second.
_RATE_DECIMALS: Final = 12

Document = dict[str, Any]


def plan_document(scenario: Scenario, route: Route, plan: Plan) -> Document:
    """Put the plan into plain dictionaries, lists, text and numbers.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    route
        Its road.
    plan
        The plan.

    Returns
    -------
    document
        What plan.schema.json describes, figures in SI; what is unlimited or not known
        is None.
    """
    return {
        "schema": {"name": SCHEMA_NAME, "version": SCHEMA_VERSION},
        "units": _UNITS,
        "cautions": list(CAUTIONS),
        "title": plan.title,
        "date": plan.date.isoformat(),
        "currency": scenario.file.currency,
        "aim": plan.aim,
        "objective": _objective(scenario, plan),
        "start": _end(plan, plan.stops[0].name, plan.stops[0].depart),
        "finish": _end(plan, plan.stops[-1].name, plan.stops[-1].arrive),
        "road": {
            "name": route.name,
            "length_m": _number(route.length),
            "has_heights": route.has_heights,
            "is_drawn": route.line is not None,
        },
        "dry_weight_kg": _number(plan.dry_weight),
        "lighting_up_coal_kg": _number(plan.lighting_up_coal),
        "money": _number(plan.money),
        "reserve": {
            "water_kg": _number(plan.reserve_water),
            "coal_kg": _number(plan.reserve_coal),
        },
        "stops": [_stop(scenario, route, plan, stop) for stop in plan.stops],
        "legs": [_leg(route, leg) for leg in plan.legs],
        "days": [_day(plan, day) for day in plan.days],
        "crests": [_crest(crest) for crest in plan.crests],
        "crossings": [_crossing(scenario, plan, crossing) for crossing in plan.crossings],
        "bridge_formula": [_axle_group(group) for group in axle_groups(scenario)],
        "warnings": list(dict.fromkeys((*plan.warnings, *route.warnings))),
        "assumptions": [
            {"name": item.name, "value": item.value, "source": item.source}
            for item in plan.assumptions
        ],
        "versions": dict(sorted(plan.versions.items())),
    }


def plan_json(scenario: Scenario, route: Route, plan: Plan) -> str:
    """Write the plan's document as JSON text.

    Parameters
    ----------
    scenario
        The scenario the plan was made for.
    route
        Its road.
    plan
        The plan.

    Returns
    -------
    text
        Keys in a fixed order, one line feed at the end; equal plans give equal text.
    """
    document = plan_document(scenario, route, plan)
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def plan_schema() -> Document:
    """Load the JSON Schema (draft 2020-12) of the plan's document.

    Returns
    -------
    schema
        The content of plan.schema.json, which says what every field holds and its unit.

    Examples
    --------
    >>> plan_schema()["title"]
    'haulplan-plan, version 2'
    """
    from importlib.resources import files  # noqa: PLC0415  only readers of the format need it

    text = files("haulplan.outputs").joinpath("plan.schema.json").read_text(encoding="utf-8")
    schema: Document = json.loads(text)
    return schema


def _number(value: float | None, decimals: int = _DECIMALS) -> float | None:
    """A finite number without rounding noise, None for unlimited and unknown."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, decimals) + 0.0


def _moment(plan: Plan, clock: float) -> str:
    """Local date-time to the second."""
    midnight = dt.datetime.combine(plan.date, dt.time())
    return (midnight + dt.timedelta(seconds=round(clock))).isoformat()


def _objective(scenario: Scenario, plan: Plan) -> Document:
    unit = scenario.file.currency if plan.aim == "cheapest" else None
    return {
        "value": _number(plan.objective),
        "unit": unit or _OBJECTIVE_UNITS.get(plan.aim, "points"),
        "bound": _number(plan.bound),
        "gap": _number(plan.gap),
        "proven": plan.proven,
    }


def _end(plan: Plan, name: str, clock: float) -> Document:
    return {"name": name, "clock": _moment(plan, clock), "clock_s": _number(clock)}


def _stop(scenario: Scenario, route: Route, plan: Plan, stop: Stop) -> Document:
    place = None if route.line is None else route.line.position(stop.distance)
    return {
        "kind": stop.kind,
        "name": stop.name,
        "number": stop.number if stands(stop) else None,
        "day": stop.day,
        "distance_m": _number(stop.distance),
        "latitude_deg": None if place is None else _number(place[0]),
        "longitude_deg": None if place is None else _number(place[1]),
        "arrive": _moment(plan, stop.arrive),
        "arrive_s": _number(stop.arrive),
        "leave": _moment(plan, stop.depart),
        "leave_s": _number(stop.depart),
        "wait_s": _number(stop.wait),
        "off_road": _off_road(stop),
        "night": _night(stop),
        "meals": list(stop.meals),
        "duties": list(stop.duties),
        "uncoupled": stop.uncoupled,
        "tank_on_arrival_kg": _number(stop.tank_arrive),
        "water_taken_kg": _number(stop.water_taken),
        "water_used_standing_kg": _number(stop.water_standing),
        "blown_down_kg": _number(stop.blown_down),
        "run_off_kg": _number(stop.drained),
        "tank_on_leaving_kg": _number(stop.tank_depart),
        "bunker_on_arrival_kg": _number(stop.bunker_arrive),
        "coal_taken_kg": _number(stop.coal_taken),
        "coal_used_standing_kg": _number(stop.coal_standing),
        "bunker_on_leaving_kg": _number(stop.bunker_depart),
        "cart_on_arrival_kg": _number(stop.cart_arrive),
        "cart_filled_kg": _number(stop.cart_filled),
        "cart_emptied_kg": _number(stop.cart_emptied),
        "cart_on_leaving_kg": _number(stop.cart_depart),
        "boiler_extra_on_arrival_kg": _number(stop.boiler_arrive),
        "boiler_extra_on_leaving_kg": _number(stop.boiler_depart),
        "money": _number(stop.money),
        "truck": None if stop.truck is None else scenario.stores[stop.truck].name,
        "supply": (
            _supply(scenario.supplies[stop.row])
            if stop.kind == "supply" and stop.row is not None
            else None
        ),
    }


def _off_road(stop: Stop) -> Document | None:
    if stop.access_time <= 0:
        return None
    return {
        "duration_s": _number(stop.access_time),
        "water_kg": _number(stop.access_water),
        "coal_kg": _number(stop.access_coal),
    }


def _night(stop: Stop) -> Document | None:
    if stop.fire is None:
        return None
    return {
        "fire": stop.fire,
        "duration_s": _number(stop.night),
        "water_kg": _number(stop.night_water),
        "coal_kg": _number(stop.night_coal),
    }


def _day(plan: Plan, day: Day) -> Document:
    return {
        "date": day.date.isoformat(),
        "fire_lit": _moment(plan, day.lit),
        "fire_lit_s": _number(day.lit),
        "leave_s": _number(day.depart),
        "arrive_s": _number(day.arrive),
        "wheels_from_s": _number(day.earliest),
        "wheels_until_s": _number(day.latest),
    }


def _crest(crest: Crest) -> Document:
    return {
        "distance_m": _number(crest.distance),
        "boiler_extra_needed_kg": _number(crest.needed),
        "boiler_extra_carried_kg": _number(crest.carried),
    }


def _supply(supply: Supply) -> Document:
    return {
        "name": supply.name,
        "kind": supply.kind,
        "water": _offer(supply.water_available, supply.water_rate, supply.water_price),
        "coal": _offer(supply.coal_available, supply.coal_rate, supply.coal_price),
        "call_out": _number(supply.call_out),
        "set_up_s": _number(supply.set_up),
        "opens_s": _number(supply.opens),
        "closes_s": _number(supply.closes),
        "side": supply.side,
        "contact": supply.contact,
        "permit": supply.permit,
        "last_confirmed": _date(supply.last_confirmed),
        "note": supply.note,
    }


def _offer(available: float | None, rate: float | None, price: float) -> Document | None:
    if available is None:
        return None
    return {
        "available_kg": _number(available),
        "rate_kg_per_s": _number(rate, _RATE_DECIMALS),
        "price_per_kg": _number(price, _RATE_DECIMALS),
    }


def _date(date: dt.date | None) -> str | None:
    return None if date is None else date.isoformat()


def _leg(route: Route, leg: Leg) -> Document:
    return {
        "begin": leg.begin,
        "end": leg.end,
        "distance_m": _number(leg.distance),
        "length_m": _number(leg.length),
        "climb_m": _number(leg.climb) if route.has_heights else None,
        "descent_m": _number(leg.descent) if route.has_heights else None,
        "duration_s": _number(leg.duration),
        "water_kg": _number(leg.water),
        "coal_kg": _number(leg.coal),
        "gears": _gears(leg.gears),
    }


def _gears(gears: Mapping[str, float]) -> list[Document]:
    return [{"name": name, "distance_m": _number(length)} for name, length in gears.items()]


def _axle_group(group: AxleGroup) -> Document:
    return {
        "first_axle": group.first,
        "last_axle": group.last,
        "name": group.name,
        "length_m": _number(group.length),
        "formula_kg": _number(group.formula),
        "our_empty_kg": _number(group.empty),
        "our_full_kg": _number(group.full),
    }


def _crossing(scenario: Scenario, plan: Plan, crossing: Crossing) -> Document:
    bridge = scenario.bridges[crossing.row]
    return {
        "name": crossing.name,
        "distance_m": _number(crossing.distance),
        "clock": _moment(plan, crossing.clock),
        "clock_s": _number(crossing.clock),
        "posted_limit_kg": _number(crossing.limit),
        "limited": crossing.what,
        "our_figure_kg": _number(crossing.gross),
        "uncoupled": crossing.uncoupled,
        "last_confirmed": _date(bridge.last_confirmed),
        "note": bridge.note,
    }
