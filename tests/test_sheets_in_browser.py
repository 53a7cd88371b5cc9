"""The sheets and the map in a browser with no network: print, accessibility, nothing amiss."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from long_run import long_run

from haulplan.outputs import all_outputs
from haulplan.outputs.paper import SHEETS
from haulplan.units import UNIT_SYSTEMS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
#: Where `.ci/run` puts axe-core from npm.
_AXE = Path(os.environ.get("AXE_CORE", "no axe-core"))
_PAGES = [*SHEETS, "map.html"]
#: Text that is cut off, or sticks out of its cell, anywhere on the page.
_OUTSIDE = """() => [...document.querySelectorAll("main td, main th, main li, main p, main h1")]
  .filter(e => e.offsetParent && (e.scrollWidth > e.clientWidth + 1))
  .map(e => e.textContent)"""


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    if _CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI needs Chromium for the browser tests")
        pytest.skip("no Chromium here")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=_CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every output of twelve stops, and of 25 over two days, with names of forty letters."""
    top = tmp_path_factory.mktemp("pages")
    for stops, length, days in ((12, 60_000.0, 1), (25, 120_000.0, 2)):
        run = long_run(top / f"scenario {stops}", stops, length, days)
        files = all_outputs(run.scenario, run.route, run.plan, run.trace, UNIT_SYSTEMS["us"])
        out = top / str(stops)
        out.mkdir()
        for name, content in files.items():
            (out / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return top


def opened(browser: "Browser", path: Path, width: int) -> "tuple[Page, list[str]]":
    page = browser.new_page(viewport={"width": width, "height": 800}, offline=True)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    own = ("file:", "data:")
    page.on("request", lambda r: None if r.url.startswith(own) else said.append(r.url))
    page.goto(path.as_uri())
    return page, said


@pytest.mark.parametrize("name", _PAGES)
def test_a_page_opens_in_silence_and_fits_every_width(
    browser: "Browser", folder: Path, name: str
) -> None:
    page, said = opened(browser, folder / "25" / name, 360)
    for width in (360, 768, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(_OUTSIDE) == []
    assert said == []
    page.close()


@pytest.mark.parametrize("size", ["Letter", "A4"])
def test_twelve_stops_fit_one_side_and_more_run_on(
    browser: "Browser", folder: Path, size: str
) -> None:
    pypdf = pytest.importorskip("pypdf")
    for stops, sides in ((12, 1), (25, 2)):  # 25 stops are two days of twelve or thirteen
        page, _ = opened(browser, folder / str(stops) / "run-sheet.html", 1000)
        page.pdf(path=folder / "run.pdf", format=size, landscape=True)
        text = [p.extract_text() for p in pypdf.PdfReader(folder / "run.pdf").pages]
        fronts = [i for i, words in enumerate(text) if "NEXT WATER" in words]
        assert len(fronts) == sides
        # nothing of the day before runs on onto a front
        assert not any(word in text[i] for i in fronts for word in ("Cautions", "Habits"))
        assert sum("Habits" in words for words in text) == 1
        if stops == 12:
            assert "finish" in text[0]
            assert "Cautions" in text[1]
        page.close()


def test_print_is_large_enough(browser: "Browser", folder: Path) -> None:
    page, _ = opened(browser, folder / "12" / "run-sheet.html", 1000)
    page.emulate_media(media="print")
    sizes: dict[str, Any] = page.evaluate(
        """() => Object.fromEntries([".front", ".back"].map(name => [name, Math.min(
          ...[...document.querySelectorAll(name + " *")].filter(e => e.textContent.trim())
            .map(e => parseFloat(getComputedStyle(e).fontSize)))]))"""
    )
    # 14 pt and 11 pt at 96 px to 72 pt
    assert sizes[".front"] >= 14 * 96 / 72 - 0.01
    assert sizes[".back"] >= 11 * 96 / 72 - 0.01
    page.close()


def test_sheets_are_black_on_white(browser: "Browser", folder: Path) -> None:
    for name in SHEETS:
        page, _ = opened(browser, folder / "12" / name, 1000)
        page.emulate_media(media="print")
        colours = page.evaluate(
            """() => [...new Set([...document.querySelectorAll("main *")].map(e =>
              getComputedStyle(e).color + " on " + getComputedStyle(e).backgroundColor))]"""
        )
        assert set(colours) <= {"rgb(0, 0, 0) on rgba(0, 0, 0, 0)"}, name
        page.close()


@pytest.mark.skipif(
    not _AXE.is_file() and not os.environ.get("CI"),
    reason="AXE_CORE does not name axe.min.js; .ci/run fetches it with npm",
)
@pytest.mark.parametrize(
    ("name", "width"), [*((name, 360) for name in _PAGES), ("run-sheet.html", 1280),
                        ("map.html", 1280)],
)  # fmt: skip
def test_axe_finds_no_serious_fault(
    browser: "Browser", folder: Path, name: str, width: int
) -> None:
    if not _AXE.is_file():
        pytest.skip("npm is not here, so axe-core is not")
    page = browser.new_page(
        viewport={"width": width, "height": 800}, bypass_csp=True, offline=True
    )  # fmt: skip
    page.goto((folder / "12" / name).as_uri())
    page.evaluate(_AXE.read_text("utf-8"))
    found = page.evaluate("axe.run().then(r => r.violations)")
    grave = [
        (v["id"], v["nodes"][0]["html"][:120])
        for v in found
        if v["impact"] in {"serious", "critical"}
    ]
    assert grave == []
    page.close()


def test_the_map_finds_a_place_hides_a_layer_and_shows_the_reach(
    browser: "Browser", folder: Path
) -> None:
    page, said = opened(browser, folder / "12" / "map.html", 1280)
    page.fill("#name", "halt lane")
    page.click("#find button[type=submit]")
    assert page.text_content("#find output") == "level crossing: Halt Lane"
    popup = page.text_content(".leaflet-popup-content") or ""
    assert "555-0199" in popup
    page.keyboard.press("Escape")
    mark = page.locator('[aria-label="level crossing: Halt Lane"]')
    assert mark.is_visible()
    page.locator("#layers label", has_text="Bridges and level crossings").click()
    assert not mark.is_visible()
    page.fill("#name", "nowhere at all")
    page.click("#find button[type=submit]")
    assert page.text_content("#find output") == "No such place here."
    page.select_option("#layers select >> nth=0", "1")
    page.select_option("#layers select >> nth=1", "7")
    low = float((page.text_content("#layers p") or "").split()[3])
    page.select_option("#layers select >> nth=1", "0")
    assert float((page.text_content("#layers p") or "").split()[3]) > low
    assert said == []
    page.close()


def test_the_map_prints_the_whole_road(browser: "Browser", folder: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    page, _ = opened(browser, folder / "12" / "map.html", 1280)
    page.pdf(path=folder / "map.pdf", format="A4")
    words = " ".join(p.extract_text() for p in pypdf.PdfReader(folder / "map.pdf").pages)
    assert "Cautions" in words
    assert "Find a place" not in words
    page.close()
