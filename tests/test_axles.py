"""Where the weight stands: levers, shares and groups of axles, by hand and by the law."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haulplan.demand.axles import TANDEM, Axle, axle_loads, formula_lines, groups
from haulplan.scenario.schema import Axles, Engine, Wagon

some = settings(max_examples=100, deadline=None)
POUND, FOOT = 0.45359237, 0.3048


def engine(*, base: float = 3.2, tank: float = -0.8, bunker: float = -1.0) -> Engine:
    return Engine.model_construct(
        weight=16000.0,
        weight_on_drivers=11000.0,
        axles=Axles.model_construct(wheelbase=base, tank_ahead=tank, bunker_ahead=bunker),
    )


def wagon(**changes: object) -> Wagon:
    figures = {"name": "Van", "tare": "4 t", "load": "2 t", "tyre": "rubber"}
    return Wagon.model_validate({**figures, **changes})


def axles_at(*places: float | None, load: float = 1000.0) -> list[Axle]:
    return [Axle(name=f"axle {n}", dry=load, position=p) for n, p in enumerate(places)]


# --- levers, by hand


def test_a_tank_behind_the_driving_axle_loads_it_with_more_than_its_water() -> None:
    lead, drive = axle_loads(engine(), (), None)
    # 1000 kg at 0.8 m behind, over a wheelbase of 3.2 m: a quarter comes off the front
    assert lead.load(1000.0, 0.0, 0.0) == pytest.approx(5000 - 250)
    assert drive.load(1000.0, 0.0, 0.0) == pytest.approx(11000 + 1250)
    assert drive.load(0.0, 320.0, 0.0) == pytest.approx(11000 + 320 + 100)


def test_a_tank_between_the_axles_is_shared() -> None:
    lead, drive = axle_loads(engine(tank=1.6), (), None)
    assert (lead.water, drive.water) == (0.5, 0.5)


@some
@given(
    base=st.floats(1, 8), tank=st.floats(-3, 8), bunker=st.floats(-3, 8),
    water=st.floats(0, 5000), coal=st.floats(0, 2000), cart=st.floats(0, 3000),
)  # fmt: skip
def test_axles_together_weigh_what_the_train_weighs(
    base: float, tank: float, bunker: float, water: float, coal: float, cart: float
) -> None:
    own = engine(base=base, tank=tank, bunker=bunker)
    wagons = (wagon(count=2), wagon(name="Cart", load="0 kg", axles=1))
    axles = axle_loads(own, wagons, "Cart")
    assert len(axles) == 2 + 4 + 1
    total = sum(axle.load(water, coal, cart) for axle in axles)
    assert total == pytest.approx(16000 + 12000 + 4000 + water + coal + cart)
    # and the moment about the driving axle is that of the stores
    front = axles[0].load(water, coal, cart) - 5000
    assert front * base == pytest.approx(water * tank + coal * bunker, abs=1e-6)


def test_only_the_cart_has_the_carts_water() -> None:
    wagons = (wagon(), wagon(name="Cart", load="0 kg"))
    shares = [axle.cart for axle in axle_loads(engine(), wagons, "Cart")]
    assert shares == [0, 0, 0, 0, 0.5, 0.5]
    assert not any(axle.cart for axle in axle_loads(engine(), wagons, None))


def test_without_lever_arms_no_axle_is_known() -> None:
    assert axle_loads(None, (wagon(),), None) == ()
    assert axle_loads(Engine.model_construct(axles=None), (wagon(),), None) == ()


# --- positions and groups


def test_axles_stand_where_the_distances_put_them() -> None:
    wagons = (
        wagon(count=2, behind="4 m", wheelbase="3 m"),
        wagon(name="Trailer", axles=1, behind="5 m"),
        wagon(name="Drag", axles=3, behind="4 m", wheelbase="2 m"),
    )
    places = [axle.position for axle in axle_loads(engine(), wagons, None)]
    # 3.2 of wheelbase; each van 4 behind and 3 long; trailer 5 behind; drag evenly spaced
    assert places == pytest.approx([0, 3.2, 7.2, 10.2, 14.2, 17.2, 22.2, 26.2, 27.2, 28.2])


@pytest.mark.parametrize("unknown", ["behind", "wheelbase"])
def test_positions_end_where_a_distance_is_not_given(unknown: str) -> None:
    distances = {"behind": "4 m", "wheelbase": "3 m"}
    del distances[unknown]
    wagons = (wagon(**distances), wagon(name="Last", behind="4 m", wheelbase="3 m"))
    places = [axle.position for axle in axle_loads(engine(), wagons, None)]
    known = 2 if unknown == "behind" else 3
    assert None not in places[:known]
    assert places[known:] == [None] * (6 - known)


def test_a_tandem_is_96_inches_and_no_more() -> None:
    inch = FOOT / 12
    assert groups(axles_at(0.0, 96 * inch)) == ((0, 1),)
    assert groups(axles_at(0.0, 96.01 * inch)) == ()


def test_three_axles_within_96_inches_are_one_group() -> None:
    # 23 CFR 658.5: two or more consecutive axles
    assert groups(axles_at(0.0, 4.0, 5.2, 6.4, 8.5)) == ((1, 2, 3), (3, 4))


def test_axles_of_unknown_place_are_in_no_group() -> None:
    assert groups(axles_at(0.0, None, None, 1.0)) == ()
    assert groups([]) == ()


@some
@given(steps=st.lists(st.floats(0.2, 4.0), min_size=1, max_size=9))
def test_every_close_pair_is_in_a_group_and_every_group_is_close(steps: list[float]) -> None:
    places = [sum(steps[:k]) for k in range(len(steps) + 1)]
    found = groups(axles_at(*places))
    for group in found:
        assert places[group[-1]] - places[group[0]] <= TANDEM * (1 + 1e-9)
        assert list(group) == list(range(group[0], group[-1] + 1))
    for k, step in enumerate(steps):
        assert any({k, k + 1} <= set(group) for group in found) == (step <= TANDEM * (1 + 1e-9))


# --- the law's figure beside ours


def test_the_formula_stands_beside_every_group_of_known_spacing() -> None:
    lines = formula_lines(axles_at(0.0, 5.0, 12.0, None), 0.0, 0.0, 0.0)
    assert [(line.first, line.last) for line in lines] == [(0, 1), (0, 2), (1, 2)]
    assert [line.ours for line in lines] == [2000, 3000, 2000]
    # W = 500 (L N / (N - 1) + 12 N + 36), by hand for 12 m and three axles
    feet = 12.0 / FOOT
    assert lines[1].legal == pytest.approx(500 * (feet * 1.5 + 36 + 36) * POUND)


@pytest.mark.parametrize(
    ("feet", "pounds"),
    [
        # 23 CFR 658.17: 34,000 lb on a tandem; the printed table's 39,000 lb at 9 ft
        (8.0, 34000), (9.0, 39000), (4.0, 34000),
    ],
)  # fmt: skip
def test_a_tandem_is_capped_by_the_law(feet: float, pounds: float) -> None:
    (line,) = formula_lines(axles_at(0.0, feet * FOOT), 0.0, 0.0, 0.0)
    assert line.legal == pytest.approx(pounds * POUND)


def test_the_whole_is_capped_at_80000_pounds() -> None:
    lines = formula_lines(axles_at(*(10.0 * k for k in range(5))), 0.0, 0.0, 0.0)
    assert lines[3].legal == pytest.approx(80000 * POUND)


def test_axles_closer_than_the_tables_begin_have_no_line() -> None:
    assert formula_lines(axles_at(0.0, 3.9 * FOOT), 0.0, 0.0, 0.0) == ()


def test_what_is_aboard_counts_in_every_line() -> None:
    wagons = (wagon(name="Cart", load="0 kg", behind="4 m", wheelbase="3 m"),)
    axles = axle_loads(engine(), wagons, "Cart")
    empty = formula_lines(axles, 0.0, 0.0, 0.0)
    laden = formula_lines(axles, 800.0, 400.0, 600.0)
    gain = {(e.first, e.last): f.ours - e.ours for e, f in zip(empty, laden, strict=True)}
    assert gain[0, 1] == pytest.approx(1200)
    assert gain[2, 3] == pytest.approx(600)
    assert gain[0, 3] == pytest.approx(1800)
