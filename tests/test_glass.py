"""The water glass over crests: plain geometry, and nothing said that is not known."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from haulplan.demand.glass import find_crests, glass_mark, level_needed
from haulplan.demand.stretches import survey
from haulplan.outputs.survey import render_survey
from haulplan.route.build import build_route
from haulplan.scenario import read_scenario
from haulplan.scenario.schema import Glass
from haulplan.units import UNIT_SYSTEMS, WATER_DENSITY

some = settings(max_examples=100, deadline=None)
INCH = 0.0254

_SHAPE = {
    "crown_back": "40 in",
    "tubes_front": "-60 in",
    "tubes_height": "-4 in",
    "glass_at": "50 in",
    "glass_bottom": "-1 in",
    "glass_length": "9 in",
    "minimum_cover": "2 in",
    "swell": "0.5 in",
    "surface_area": "2 m2",
}


def shape(**changes: str) -> Glass:
    return Glass.model_validate({**_SHAPE, **changes})


def hump(climb: float, fall: float) -> tuple[Any, Any]:
    """A road up 1 km and down 1 km, a sample every 10 m."""
    distance = np.arange(0.0, 2001.0, 10.0)
    top = 100 + 1000 * climb
    height = np.where(
        distance <= 1000, 100 + climb * distance, top - fall * (distance - 1000)
    )  # fmt: skip
    return distance, height


# --- geometry, by hand


def test_the_level_is_what_keeps_the_crown_covered_going_down() -> None:
    # 40 in x 8 % = 3.2 in, and 2 in of cover, and half an inch that the surface falls.
    assert level_needed(shape(), 0.0, 0.08) / INCH == pytest.approx(3.2 + 2 + 0.5)


def test_the_level_is_what_keeps_the_tubes_covered_going_up() -> None:
    # 60 in x 15 % = 9 in, from tube ends 4 in below the crown: 5, and 2.5 of cover.
    assert level_needed(shape(), 0.15, 0.0) / INCH == pytest.approx(9 - 4 + 2.5)


def test_the_worse_of_climb_and_fall_rules() -> None:
    both = level_needed(shape(), 0.15, 0.08)
    assert both == max(level_needed(shape(), 0.15, 0.0), level_needed(shape(), 0.0, 0.08))


def test_on_the_level_the_cover_itself_is_asked() -> None:
    assert level_needed(shape(), 0.0, 0.0) / INCH == pytest.approx(2.5)


def test_a_glass_behind_the_middle_reads_high_uphill_and_low_downhill() -> None:
    # 50 in x 6 % = 3 in; the glass's bottom is 1 in below the crown.
    level = 5 * INCH
    up, flat, down = (glass_mark(shape(), level, g) / INCH for g in (0.06, 0.0, -0.06))
    assert (up, flat, down) == pytest.approx((9.0, 6.0, 3.0))


@some
@given(st.floats(0, 0.2), st.floats(0, 0.2), st.floats(0.001, 0.1))
def test_steeper_asks_no_less(climb: float, fall: float, more: float) -> None:
    needed = level_needed(shape(), climb, fall)
    assert level_needed(shape(), climb + more, fall) >= needed
    assert level_needed(shape(), climb, fall + more) >= needed
    assert needed >= level_needed(shape(), 0.0, 0.0)


# --- crests


def test_a_crest_is_found_at_the_top_with_its_grades() -> None:
    (crest,) = find_crests(*hump(0.06, 0.08), None)
    assert crest.distance == pytest.approx(1000)
    assert crest.climb == pytest.approx(0.06)
    assert crest.fall == pytest.approx(0.08)
    assert crest.read_at == pytest.approx(900)


def test_the_mark_of_a_crest_follows_by_hand() -> None:
    (crest,) = find_crests(*hump(0.04, 0.08), shape())
    # Level 3.2 + 2.5 = 5.7 in; read on 4 %: 2 in higher; bottom 1 in below the crown.
    assert crest.mark is not None
    assert crest.mark / INCH == pytest.approx(5.7 + 2.0 + 1.0)
    assert crest.above is False
    # 3.2 in of water above what the flat asks, on 2 square metres.
    assert crest.water == pytest.approx(3.2 * INCH * 2.0 * WATER_DENSITY)


def test_a_mark_above_the_top_of_the_glass_is_told() -> None:
    (crest,) = find_crests(*hump(0.04, 0.08), shape(glass_length="8 in"))
    assert crest.above is True


def test_without_the_boilers_shape_the_mark_is_not_known() -> None:
    (crest,) = find_crests(*hump(0.06, 0.08), None)
    assert crest.mark is None
    assert crest.water is None
    assert crest.above is False


@some
@given(st.floats(0.02, 0.15), st.floats(0.02, 0.15), st.floats(0.005, 0.05))
def test_a_steeper_fall_asks_more_water_in_the_boiler(
    climb: float, fall: float, more: float
) -> None:
    narrow = shape(tubes_height="-30 in")  # tubes well below: the crown rules
    waters = []
    for grade in (fall, fall + more):
        (crest,) = find_crests(*hump(climb, grade), narrow)
        assert crest.water is not None
        waters.append(crest.water)
    assert waters[1] > waters[0] > 0


def test_a_bump_of_less_than_five_metres_is_no_crest() -> None:
    assert find_crests(*hump(0.004, 0.08), None) == ()
    assert find_crests(*hump(0.08, 0.004), None) == ()


def test_two_humps_are_two_crests() -> None:
    distance, height = hump(0.05, 0.05)
    twice = np.concatenate([distance, distance[1:] + distance[-1]])
    crests = find_crests(twice, np.concatenate([height, height[1:]]), None)
    assert [crest.distance for crest in crests] == pytest.approx([1000, 3000])


# --- what is said


def page(write: Callable[..., Path], steam: dict[str, Any], glass: dict[str, str] | None) -> str:
    if glass is not None:
        steam["engine"]["glass"] = glass
    rows = "0,100\n1,140\n1.5,100\n2,100\n"
    folder = write(steam, {"route.csv": "distance [km],elevation [m]\n" + rows})
    scenario = read_scenario(folder)
    route = build_route(scenario)
    out = io.StringIO()
    system = UNIT_SYSTEMS["us"]
    Console(file=out, width=80, no_color=True, highlight=False).print(
        render_survey(scenario, route, survey(scenario, route), system)
    )
    return out.getvalue()


@pytest.mark.parametrize(
    ("glass", "said"),
    [
        (None, "not known: ask the boiler's inspector"),
        (_SHAPE, "above the glass bottom"),
        ({**_SHAPE, "glass_length": "2 in"}, "above the top of the glass: ask the boiler's"),
    ],
)
def test_the_survey_says_mark_or_asks_the_inspector(
    write: Callable[..., Path], steam: dict[str, Any], glass: dict[str, str] | None, said: str
) -> None:
    text = page(write, steam, glass)
    flowing = " ".join(text.split())
    assert said in flowing
    assert "safe" not in text.casefold()
    if glass is _SHAPE:
        assert "inspector's rule governs" in flowing
