"""What haulplan stands on: permissive licences, versions within what is declared."""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from licences import licences, needed

TOP = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
#: Permissive, or weak copyleft on the file alone (MPL); nothing that binds what uses it.
PERMISSIVE = re.compile(
    r"\b(MIT|BSD|Apache|PSF|Python Software Foundation|MPL|Mozilla Public|ISC|HPND|Unlicense|"
    r"0BSD|Zlib|CC0)\b|Python-2\.0",
    re.IGNORECASE,
)
BINDING = re.compile(r"\b(A?GPL|General Public)", re.IGNORECASE)


def _version(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", text)[:4])


@pytest.mark.parametrize("name", sorted(needed()))
def test_every_package_needed_is_permissive(name: str) -> None:
    stated = licences(name)
    assert PERMISSIVE.search(stated), stated
    assert not BINDING.search(stated) or "LGPL" not in stated, stated


@pytest.mark.parametrize("line", PROJECT["dependencies"])
def test_an_installed_package_is_no_older_than_declared(line: str) -> None:
    name, lowest = line.split(">=")
    installed = _version(metadata.version(name))
    assert installed >= _version(lowest)


@pytest.mark.parametrize("line", PROJECT["dependencies"])
def test_every_package_has_a_lowest_version_and_stands_in_the_guide(line: str) -> None:
    match = re.fullmatch(r"([\w-]+)>=\d+(\.\d+)*", line)
    assert match is not None
    guide = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"| {match[1].lower()} | " in guide


def test_the_packages_agree_with_each_other() -> None:
    for name in needed():
        for line in metadata.requires(name) or ():
            asked, _, condition = line.partition(";")
            match = re.fullmatch(r"([\w.-]+)\s*\(?([<>=!~\d.,\s*]*)\)?\s*", asked)
            if condition or match is None:
                continue
            installed = _version(metadata.version(match[1]))
            for sign, bound in re.findall(r"(>=|<)\s*([\d.]+)(?![\d.*])", match[2]):
                wanted = _version(bound)
                assert installed >= wanted if sign == ">=" else installed < wanted, (name, line)
