"""What is handed out: the wheel and the source archive, and the wheel at work elsewhere."""

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import haulplan

TOP = Path(__file__).resolve().parent.parent
SKIPPED = {"__pycache__", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis"}
pytest.importorskip("hatchling", reason="the extra `test` installs it")


@dataclass(frozen=True, kw_only=True)
class Built:
    """The two archives of this source."""

    wheel: Path
    sdist: Path


def files(*folders: str) -> Iterator[str]:
    """Every file of folders of the source, but not what tools leave there."""
    for folder in folders:
        for path in (TOP / folder).rglob("*"):
            if path.is_file() and not SKIPPED & set(path.parts):
                yield str(path.relative_to(TOP))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    out = tmp_path_factory.mktemp("dist")
    for target in ("wheel", "sdist"):
        subprocess.run(
            [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(out)],
            cwd=TOP, check=True, capture_output=True,
        )  # fmt: skip
    return Built(wheel=next(out.glob("*.whl")), sdist=next(out.glob("*.tar.gz")))


def test_the_wheel_holds_the_package_and_the_demos_and_nothing_else(built: Built) -> None:
    names = set(zipfile.ZipFile(built.wheel).namelist())
    own = {name for name in names if ".dist-info/" not in name}
    demos = {name.replace("scenarios/", "haulplan/demos/", 1) for name in files("scenarios")}
    assert own == set(files("haulplan")) | demos
    for name in ("py.typed", "guides/crew.md", "scenario/meanings.toml", "outputs/map.js",
                 "outputs/sheets.css", "outputs/phone.html", "outputs/plan.schema.json",
                 "evidence/trials.csv", "scenario/engine_classes.toml"):  # fmt: skip
        assert f"haulplan/{name}" in own
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_source_archive_holds_what_the_tests_need(built: Built) -> None:
    with tarfile.open(built.sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    wanted = set(files("haulplan", "scenarios", "tests", "maps"))
    wanted |= {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"}
    assert wanted <= names, sorted(wanted - names)[:5]


@pytest.fixture(scope="module")
def elsewhere(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh virtual environment with the wheel; its dependencies are this one's."""
    place = tmp_path_factory.mktemp("elsewhere")
    venv.create(place / "venv", with_pip=False, symlinks=os.name != "nt")
    python = place / "venv" / "bin" / "python"
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--no-deps",
         "--no-index", "--disable-pip-version-check", str(built.wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    inside = next((place / "venv" / "lib").glob("python*")) / "site-packages"
    ours = [path for path in sys.path if path.endswith("site-packages")]
    (inside / "borrowed.pth").write_text("\n".join(ours) + "\n", encoding="utf-8")
    return place


def run(place: Path, *words: str) -> str:
    clean = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(
        [str(place / "venv" / "bin" / words[0]), *words[1:]],
        cwd=place, env={**clean, "COLUMNS": "80"}, capture_output=True, text=True, check=True,
        encoding="utf-8",
    )  # fmt: skip
    assert done.stderr == ""
    return done.stdout


def test_the_wheel_works_in_an_empty_folder(elsewhere: Path) -> None:
    where = run(elsewhere, "python", "-c", "import haulplan; print(haulplan.__file__)")
    assert where.startswith(str(elsewhere))
    assert run(elsewhere, "haulplan", "--version").strip().endswith(haulplan.__version__)
    assert "Before the run:" in run(elsewhere, "haulplan", "--help")
    assert "haulplan demos scenarios" in run(elsewhere, "haulplan", "guide", "crew")
    assert "320 US gal" in run(elsewhere, "haulplan", "guide", "stores.tank")
    assert "first_plan.py" in run(elsewhere, "haulplan", "guide", "python")
    run(elsewhere, "haulplan", "demos", "scenarios")
    out = run(elsewhere, "haulplan", "plan", "scenarios/hobmere-penniford", "--out", "hobmere")
    assert "proved best" in out
    assert (elsewhere / "hobmere" / "run-sheet.html").stat().st_size > 10_000
