"""The pages of the interface build with no warning and hold every function."""

import re
from pathlib import Path

import pytest

pytest.importorskip("pdoc", reason="the extra `docs` installs it")

import api_docs


def test_the_pages_build_and_show_units_and_sources(tmp_path: Path) -> None:
    api_docs.write(tmp_path)
    for name in api_docs.module_names():
        assert (tmp_path / f"{name.replace('.', '/')}.html").is_file(), name
    page = (tmp_path / "haulplan" / "demand" / "steam.html").read_text(encoding="utf-8")
    text = re.sub(r"<[^>]+>", " ", page)
    for words in ("saturated_steam_density", "Parameters", "IAPWS R7-97(2012)", "[Pa]"):
        assert words in text
    start = (tmp_path / "haulplan.html").read_text(encoding="utf-8")
    assert "read_scenario" in start
