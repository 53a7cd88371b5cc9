"""Known oddities are flagged for what they are; a clean record raises no flag."""

import re
from pathlib import Path

import pytest

from haulplan.period.cases import published_records
from haulplan.period.defaults import check_record
from haulplan.period.explore import explore
from haulplan.period.flags import Flag, flags_of
from haulplan.period.record import read_record
from haulplan.period.weigh import readings_of


def flags(tmp_path: Path, text: str, *, count: int = 5000) -> tuple[Flag, ...]:
    path = tmp_path / "record.toml"
    path.write_text(f'title = "T"\nsource = "S"\n{text}', encoding="utf-8")
    record = read_record(path, check=check_record)
    found = None if record.file.way is None else explore(record, count, 1)
    return flags_of(record, found)


def table(*rows: tuple[str, str, str]) -> str:
    text = 'year = 1865\ncountry = "uk"\n'
    for name, water, coal in rows:
        text += f'[[rows]]\nname = "{name}"\nwater = "{water}"\ncoal = "{coal}"\n'
    return text


def test_the_portable_engines_row_of_10_7_is_implausible(tmp_path: Path) -> None:
    # Bourne, A Catechism of the Steam Engine, q. 693: 10 h of 10, 8, 6 and 4 horsepower.
    rows = table(
        ("10 hp", "780 gallons", "9 cwt"),
        ("8 hp", "620 gallons", "7 cwt"),
        ("6 hp", "460 gallons", "5 cwt"),
        ("4 hp", "360 gallons", "3 cwt"),
    )
    (flag,) = flags(tmp_path, rows)
    assert flag.kind == "implausible ratio"
    assert flag.where == "table row '4 hp'"
    assert flag.words.startswith("10.7 lb of water to 1 lb of coal")


def test_the_county_s_daily_averages_do_not_follow_from_its_totals(tmp_path: Path) -> None:
    # Phillimore, Motor Road Transport (1920), pp. 103-109: 41,254 tons and 42,390 miles in
    # 1,934 days, printed averages 21.91 and 23.20.
    found = flags(
        tmp_path,
        "year = 1912\n[totals]\ndays = 1934\ntons = 41254\nmiles = 42390\n"
        'tons_per_day = "21.91"\nmiles_per_day = "23.20"\n',
    )
    assert [flag.kind for flag in found] == ["average against totals"] * 2
    assert "the totals give 21.33" in found[0].words
    assert "a misprint" in found[0].words
    assert "two averages may be exchanged" in found[0].words
    assert "the totals give 21.92" in found[1].words


def test_averages_that_follow_raise_no_flag(tmp_path: Path) -> None:
    # The same source, 1916-17: 7,513 tons in 847 trips, printed 8.87 a trip.
    text = 'year = 1916\n[totals]\ntrips = 847\ntons = 7513\ntons_per_trip = "8.87"\n'
    assert flags(tmp_path, text) == ()


def test_boiler_water_of_2260_lb_and_282_gallons_was_hot(tmp_path: Path) -> None:
    # Farm-steam periodical, Sep-Oct 1980; 8.01 lb a US gallon is water at about 205 degF
    # (steam tables: 60.0 lb/cu ft), and no water as imperial gallons.
    (flag,) = flags(
        tmp_path,
        'year = 1915\ncountry = "us"\n[[same]]\nname = "boiler water"\nmass = "2,260 lb"\n'
        'volume = "282 gallons"\n',
    )
    assert flag.kind == "weight against volume"
    assert "only if the water was hot" in flag.words
    assert "8.01 lb a US gallon" in flag.words
    assert "about 205 °F" in flag.words


@pytest.mark.parametrize(("mass", "gallons"), [("2,260 lb", 271), ("1,000 lb", 120)])
def test_cold_water_by_weight_and_volume_raises_no_flag(
    tmp_path: Path, mass: str, gallons: int
) -> None:
    text = f'[[same]]\nname = "b"\nmass = "{mass}"\nvolume = "{gallons} gallons"\n'
    assert flags(tmp_path, f'year = 1915\ncountry = "us"\n{text}') == ()


def test_a_weight_that_no_water_has_is_told(tmp_path: Path) -> None:
    text = '[[same]]\nname = "b"\nmass = "2,260 lb"\nvolume = "100 gallons"\n'
    (flag,) = flags(tmp_path, f'year = 1915\ncountry = "us"\n{text}')
    assert "cannot both be right" in flag.words


def test_the_gallons_of_1871_are_imperial() -> None:
    # Thurston, Popular Science Monthly 12 (1878), p. 287: 2.85 lb of coal and 1.94 gallons a
    # useful ton-mile: 6.81 lb/lb as imperial gallons, 5.67 as US gallons.
    record = published_records()["H1"]
    found = explore(record, 20_000, 1)
    shares = {
        r.answer: r for r in readings_of(found.draws, found.weighing) if r.question == "gallon"
    }
    imperial = shares["imperial gallon (10 lb of water)"]
    american = shares["US gallon (231 cu in)"]
    assert imperial.after > 10 * american.after
    assert imperial.even > american.even, "the reckoning alone must lean the same way"
    assert flags_of(record, found) == ()


CLEAN = """
year = 1898
country = "uk"
[engine]
kind = "road-locomotive-steel"
[train]
load = "12 tons"
load_is = "useful"
[way]
distance = "14 miles"
distance_is = "one way"
back = "none"
surface = "macadam"
[time]
duration = "6 hours"
duration_is = "whole journey"
[use]
coal = "7 cwt"
coal_was = "burnt"
coal_covers = ["running", "standing"]
water = "480 gallons"
[totals]
days = 50
tons = 600
tons_per_day = "12.0"
[[rows]]
name = "8 hp"
water = "620 gallons"
coal = "7 cwt"
[[same]]
name = "tank"
mass = "3,500 lb"
volume = "350 gallons"
"""


def test_a_clean_record_raises_no_flag(tmp_path: Path) -> None:
    assert flags(tmp_path, CLEAN) == ()


def test_coal_for_a_week_in_one_trip_is_at_odds(tmp_path: Path) -> None:
    (flag, *_) = flags(tmp_path, CLEAN.replace("7 cwt", "140 cwt", 1).replace("480", "9,600"))
    assert flag.kind == "at odds with the rest"
    assert "the model as a rule reckons less" in flag.words


def test_a_load_no_engine_moves_is_told(tmp_path: Path) -> None:
    (flag,) = flags(
        tmp_path,
        'year = 1898\ncountry = "uk"\n[engine]\nkind = "light-tractor"\n[train]\n'
        'load = "900 tons"\nload_is = "useful"\n[way]\ndistance = "10 miles"\nsurface = "sand"\n',
    )
    assert flag.kind == "no train"


def test_a_cost_that_the_ton_miles_do_not_give_is_told(tmp_path: Path) -> None:
    # 12 tons over 14 miles are 168 ton-miles: 42 shillings are 3d each, not 1½d.
    text = CLEAN + '[cost]\ntotal = "42s"\nper_ton_mile = "{}"\n'
    assert flags(tmp_path, text.format("3d")) == ()
    (flag,) = flags(tmp_path, text.format("1½d"))
    assert flag.kind == "cost against ton-miles"
    given = re.search(r"give ([\d.]+)d", flag.words)
    assert given is not None
    assert float(given[1]) == pytest.approx(3.0, abs=0.06)


def test_fewer_hands_than_the_law_are_told(tmp_path: Path) -> None:
    # Locomotive Acts: three attendants (9.17 of our table, Google Books summary).
    (flag,) = flags(tmp_path, CLEAN + "[cost]\ncrew = 2\n")
    assert flag.kind == "fewer hands than the law"
    assert flags(tmp_path, CLEAN + "[cost]\ncrew = 3\n") == ()


def test_running_faster_than_the_law_is_told(tmp_path: Path) -> None:
    text = CLEAN.replace('duration = "6 hours"', 'running_speed = "6.5 mph"')
    text = text.replace('duration_is = "whole journey"\n', "")
    kinds = {flag.kind for flag in flags(tmp_path, text)}
    assert "faster than the law" in kinds
