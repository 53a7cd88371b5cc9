"""Record files: what may stand in them, and every fault named at once."""

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from haulplan.errors import InputError
from haulplan.period import record as record_module
from haulplan.period.defaults import (
    candidate_engines,
    check_record,
    entries,
    period_engines,
    rules_for,
)
from haulplan.period.record import RecordFile, read_record
from haulplan.scenario.classes import engine_classes, fuels

PLAIN = """
title = "Wool to the coast"
source = "Invented Herald, 3 May 1899"
year = 1899
country = "colony"

[train]
load = "12 tons"

[way]
distance = "18 miles"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "record.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read_record(write(folder, text), check=check_record)
    assert caught.value.exit_code == 2
    return str(caught.value)


def test_a_record_keeps_its_words(tmp_path: Path) -> None:
    record = read_record(write(tmp_path, PLAIN), check=check_record)
    assert record.words == ("ton",)
    assert record.statements["train.load"].text == "12 tons"
    assert record.text.strip() == PLAIN.strip()


def test_every_fault_is_named_at_once(tmp_path: Path) -> None:
    text = PLAIN.replace('"12 tons"', '"12 bananas"').replace('"18 miles"', "18")
    told = faults(tmp_path, text.replace('"colony"', '"france"'))
    assert "train.load" in told
    assert "the source's own word: ton" in told
    assert "way.distance" in told
    assert "write the figure and its unit as the source does" in told
    assert "country" in told


@pytest.mark.parametrize(
    ("added", "told"),
    [
        ('[engine]\nkind = "magic"', "'magic' is not known; known: trial-engine-1870"),
        ('[use]\nfuel = "peat"', "'peat' is not known; known: welsh-steam-coal"),
        ("[totals]\ndays = 0", "totals.days"),
        ('[totals]\ndays = 3\ntons_per_day = "many"', "is no number; write the printed digits"),
        ('[cost]\ncoal_price = "15s"', "coal_price and coal_price_per are not both there"),
        ('[cost]\ntotal = "£3"\nwages_per_day = "$4"', "pounds and dollars in one record"),
        ('[engine]\nkind = "light-tractor"\n[train2]\n', "unknown name"),
        ("date = 1900-01-01", "date"),
    ],
)
def test_a_fault_says_what_is_allowed(tmp_path: Path, added: str, told: str) -> None:
    text = f"date = 1900-01-01\n{PLAIN}" if added.startswith("date") else f"{PLAIN}\n{added}\n"
    assert told in faults(tmp_path, text)


def test_an_itinerary_runs_from_nought_onwards(tmp_path: Path) -> None:
    place = '[[itinerary]]\nplace = "{}"\nat = "{} mi"\nheight = "10 ft"\n'
    wrong = PLAIN + place.format("A", 2) + place.format("B", 1)
    assert "the first at '0 mi', sorted by distance" in faults(tmp_path, wrong)


def test_a_record_with_nothing_to_reckon_is_refused(tmp_path: Path) -> None:
    text = 'title = "T"\nsource = "S"\nyear = 1900\n'
    assert "nothing to reckon with" in faults(tmp_path, text)


def test_a_way_without_a_load_is_refused(tmp_path: Path) -> None:
    assert "no load" in faults(tmp_path, PLAIN.replace('load = "12 tons"', ""))


def test_no_engine_of_the_date_is_told(tmp_path: Path) -> None:
    assert "no engine of the period" in faults(tmp_path, PLAIN.replace("1899", "1840"))


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml"):
        read_record(tmp_path / "none.toml", check=check_record)


def test_engines_are_those_of_date_and_country(tmp_path: Path) -> None:
    record = read_record(write(tmp_path, PLAIN), check=check_record)
    kinds = {engine.key for engine in candidate_engines(record.file)}
    assert "road-locomotive-steel" in kinds
    assert not kinds & {"trial-engine-1870", "farm-engine-110", "steam-wagon-early"}


def test_a_load_on_the_engine_needs_an_engine_that_carries(tmp_path: Path) -> None:
    text = PLAIN + '[engine]\nkind = "light-tractor"\n'
    told = faults(tmp_path, text.replace('load = "12 tons"', 'on_engine = "3 tons"'))
    assert "a load on an engine that carries none" in told


def test_the_law_of_1865_held_four_miles_an_hour_and_three_people(tmp_path: Path) -> None:
    # Locomotive Acts 1861, 1865, 1878 in summary (Google Books): country 4, towns 2 mph.
    text = PLAIN.replace("1899", "1871").replace("colony", "uk")
    record = read_record(write(tmp_path, text), check=check_record)
    (rule,) = rules_for(record.file, "trial-engine-1870")
    assert rule.speed == pytest.approx(4 * 0.44704)
    assert rule.town_speed == pytest.approx(2 * 0.44704)
    assert rule.crew == 3


def test_the_guide_names_every_key() -> None:
    guide = Path(record_module.__file__).with_name("RECORD.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([a-z_.]+)`", guide))
    for name, field in RecordFile.model_fields.items():
        inner = next((m for m in _models(field.annotation)), None)
        if inner is None:
            assert name in named
            continue
        for key in inner.model_fields:
            whole = f"[[{name}]]" in guide and key in named
            assert whole or f"{name}.{key}" in named, f"{name}.{key}"


def _models(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in getattr(annotation, "__args__", ()) for m in _models(part)]


def test_every_period_entry_has_dates_source_and_status() -> None:
    for section in ("engines", "wagons", "roads", "fuels", "rules"):
        for key, entry in entries()[section].items():
            assert entry["from"] < entry["to"], key
            assert entry["source"], key
            assert entry["status"] in {"published", "from memory", "assumption"}, key


def test_period_entries_name_engines_and_fuels_that_exist() -> None:
    for entry in entries()["engines"].values():
        assert entry["class"] in engine_classes()
    for entry in entries()["fuels"].values():
        assert set(entry["kinds"]) <= set(fuels())
        assert sum(entry["kinds"].values()) == pytest.approx(1.0)
    for engine in period_engines().values():
        for name, row in engine.figures.items():
            assert row.low <= row.typical <= row.high, f"{engine.key} {name}"


def test_the_useful_share_is_that_of_the_french_series() -> None:
    # Thurston, Popular Science Monthly 12 (1878): engine 41, wagons 18, paying load 40 %.
    low, usual, high = entries()["wagons"]["tare"]["share"]
    assert low < 18 / 40 <= usual + 0.005 < high
