"""Nothing a stranger wrote runs, steers or calls out, wherever it is shown."""

import csv
import io
import json
import os
import re
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import pytest
from hostile import TOML

from haulplan.cli import main

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Dialog

LONG = bool(os.environ.get("HAULPLAN_NIGHTLY"))
#: Each says `hit` to the page if it is taken for anything but letters.
PAYLOADS = (
    "<script>window.hit=1</script>",
    "</script><script>window.hit=1</script>",
    "<img src=x onerror=window.hit=1>",
    "\"><svg onload=window.hit=1>",
    "' onmouseover='window.hit=1' x='",
    "\" onfocus=\"window.hit=1\" autofocus=\"",
    "javascript:window.hit=1",
    "]]><script>window.hit=1</script><![CDATA[",
    "<!-- --><script>window.hit=1</script><!-- ",
    "&lt;script&gt;window.hit=1&lt;/script&gt;",
    "</style><script>window.hit=1</script>",
    "</title></textarea><script>window.hit=1</script>",
    "<iframe srcdoc='<script>parent.hit=1</script>'>",
    "<a href=\"javascript:window.hit=1\">x</a>",
    "<math><mtext></table><mglyph><style><img src=x onerror=window.hit=1>",
    "${window.hit=1}`${window.hit=1}`",
    "{{constructor.constructor('window.hit=1')()}}{% raw %}",
    "\\u003cscript\\u003ewindow.hit=1",
    "\u2028window.hit=1//",
    "*/window.hit=1/*",
    "<base href=http://x.invalid/><link rel=stylesheet href=//x.invalid/a.css>",
    "<foreignObject><body onload=window.hit=1></foreignObject>",
    "=HYPERLINK(\"http://x.invalid\",\"a\")",
    "+1+1|cmd",
    "-2+3",
    "@SUM(1)",
    "\uff1d1+1",
    "%s%n{0.__class__}",
    "../../../../etc/passwd",
    "CON\\..\\nul:|?*",
    "[bold red]x[/]\u202eevil\u2066\u200b\ufeff",
    "BEGIN:VEVENT\\nEND:VCALENDAR;,\"",
    "x" * 190,
)  # fmt: skip
#: Text that a file format forbids is refused at the door; it needs no page of its own.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


class _Words:
    """Hands out the payloads in turn, each made unlike the others."""

    def __init__(self, first: int) -> None:
        self.used: list[str] = []
        self._next = first

    def __call__(self) -> str:
        text = PAYLOADS[self._next % len(PAYLOADS)]
        number = len(self.used)
        self._next += 1
        self.used.append(text if number == 0 else f"{text[:190]} {number}")
        return self.used[-1]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=True)


def _row(*cells: str) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()


def write_scenario(folder: Path, first: int) -> list[str]:
    """A scenario with a payload in every text; what was used."""
    words = _Words(first)
    toml = TOML.replace("ROAD", "road.gpx")
    for old in ("Two mills", "Upper mill", "Lower mill", "Lump", "Grey Heron"):
        toml = toml.replace(f'"{old}"', _quoted(words()))
    for gear in ("low", "high"):
        toml = toml.replace(f'name = "{gear}"', f"name = {_quoted(words())}")
    wagon = f'[train]\nwagons = [{{name = {_quoted(words())}, tare = "1 t", tyre = "rubber"}}]\n'
    toml = toml.replace("[engine]", wagon + "[engine]").replace('"900 L"', '"300 L"', 1)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "scenario.toml").write_text(toml, encoding="utf-8")
    columns = "name,kind,at,water_available,water_rate,side,contact,permit,note"
    taps = "".join(
        _row(words(), words(), f"{at} km", "unlimited", "60 L/min", *(words() for _ in range(4)))
        for at in (2, 3.5, 5)
    )
    (folder / "supply.csv").write_text(f"{columns}\n{taps}", encoding="utf-8")
    bridge = _row(words(), "4 km", "40 t", words())
    (folder / "bridges.csv").write_text(f"name,at,limit,note\n{bridge}", encoding="utf-8")
    places = _row(words(), "1 km", words()) + _row(words(), "4.5 km", words())
    (folder / "places.csv").write_text(f"name,at,note\n{places}", encoding="utf-8")
    points = "".join(
        f'<trkpt lat="{55.5 + i * 5e-4:.6f}" lon="-2.6"><ele>{200 + i % 9}</ele></trkpt>'
        for i in range(120)
    )
    name = words().replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    (folder / "road.gpx").write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    return words.used


def make_outputs(base: Path, first: int, said: "pytest.CaptureFixture[str]") -> dict[str, Path]:
    """Plan and survey such a scenario; every file by its name."""
    write_scenario(base / "scenario", first)
    found: dict[str, Path] = {}
    for command in ("check", "plan", "demand"):
        out = [] if command == "check" else ["--out", str(base / command)]
        verbose = ["--verbose"] if command == "plan" else []
        with pytest.raises(SystemExit) as ended:
            main([command, str(base / "scenario"), *out, *verbose])
        printed = said.readouterr()
        assert (ended.value.code, printed.err) == (0, "")
        assert [line for line in printed.out.split("\n") if not line.isprintable()] == []
        if out:
            found |= {f"{command}/{path.name}": path for path in (base / command).iterdir()}
    assert {path.name for path in base.iterdir()} == {"scenario", "plan", "demand"}
    assert len((base / "scenario" / "scenario.toml").read_text("utf-8")) > 900
    return found


FIRSTS = range(len(PAYLOADS)) if LONG else (0, 11)


# --- tables and data ------------------------------------------------------------------


def _check_csv(text: str) -> None:
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            number = re.fullmatch(r"-?[\d.,]+", cell)
            assert number or not cell.startswith(_FORMULA), cell


def _check_json(text: str) -> None:
    json.loads(text)


def _check_xml(text: str) -> None:
    """Well-formed, and no script, handler or link that the drawing did not bring itself."""
    root = ElementTree.fromstring(text)
    for element in root.iter():
        assert not element.tag.endswith(("}script", "}foreignObject"))
        assert not any(name.startswith("on") for name in element.keys())  # noqa: SIM118
        links = [v for name, v in element.items() if name.endswith("href")]
        assert all(link.startswith("#") for link in links)


def _check_calendar(text: str) -> None:
    lines = text.replace("\r\n ", "").split("\r\n")
    begun = sum(line.startswith("BEGIN:") for line in lines)
    assert begun == sum(line.startswith("END:") for line in lines)
    assert "\n" not in text.replace("\r\n", "")
    assert all(re.match(r"[A-Z][A-Z-]*[:;]", line) for line in lines if line)


def _check_workbook(path: Path) -> None:
    with zipfile.ZipFile(path) as book:
        for name in book.namelist():
            assert not name.startswith("/")
            assert ".." not in name
            if name.endswith(".xml"):
                root = ElementTree.fromstring(book.read(name))
                assert not [e for e in root.iter() if e.tag.endswith(("}f", "}hyperlink"))]


CHECKS: Mapping[str, Any] = {
    ".csv": _check_csv, ".json": _check_json, ".geojson": _check_json, ".svg": _check_xml,
    ".gpx": _check_xml, ".ics": _check_calendar,
}  # fmt: skip


@pytest.mark.parametrize("first", FIRSTS)
def test_no_table_or_drawing_carries_more_than_letters(
    first: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = make_outputs(tmp_path / "in", first, capsys)
    assert {path.suffix for path in found.values()} >= {".csv", ".json", ".svg", ".html"}
    for name, path in found.items():
        assert re.fullmatch(r"[\w/-]+\.\w+", name)
        if path.suffix == ".xlsx":
            _check_workbook(path)
        elif path.suffix in CHECKS:
            CHECKS[path.suffix](path.read_bytes().decode("utf-8"))


def test_the_checks_would_notice() -> None:
    for check, text in (
        (_check_csv, "name\n=1+1\n"),
        (_check_xml, '<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>'),
        (_check_xml, '<svg xmlns="http://www.w3.org/2000/svg" onload="x"/>'),
        (_check_calendar, "BEGIN:VEVENT\r\nSUMMARY:a\nb\r\nEND:VEVENT\r\n"),
    ):
        with pytest.raises(AssertionError):
            check(text)


# --- pages ----------------------------------------------------------------------------


def _missing(what: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright")
        raise
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        _missing("chromium")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=chromium,
            args=[
                "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update",
                "--disable-sync",
            ],
        )  # fmt: skip
        yield opened
        opened.close()


#: Opens, hovers over and focuses everything there is, as a curious reader would.
_TOUCH = """() => {
  for (const element of document.querySelectorAll("*")) {
    for (const kind of ["mouseover", "mouseenter", "focus", "click"]) {
      if (element.tagName === "A" && element.getAttribute("href")?.startsWith("http")) continue;
      const open = ".leaflet-marker-icon, .leaflet-interactive, summary";
      if (kind === "click" && !element.matches(open)) continue;
      element.dispatchEvent(new MouseEvent(kind, {bubbles: true, cancelable: true}));
    }
  }
  return document.querySelectorAll(".leaflet-marker-icon, .leaflet-interactive").length;
}"""
#: The map asks for a place by name in a form of its own.
_LOOSE = """() => document.querySelectorAll("link:not([href='data:,'])").length
  + [...document.querySelectorAll("iframe, base, object, embed, form")].filter(e =>
      e !== document.querySelector("body > #heading ~ form#find:not([action])")).length
  + [...document.querySelectorAll("*")].filter(e => [...e.attributes].some(a =>
      /^on/i.test(a.name)
      || /href|src|action/i.test(a.name)
      && /^\\s*javascript:/i.test(a.value))).length"""


def _visit(browser: "Browser", path: Path) -> None:
    context = browser.new_context(offline=True, reduced_motion="reduce")
    page = context.new_page()
    page.set_default_timeout(20_000)
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda line: said.append(line.text))

    def dismiss(dialog: "Dialog") -> None:
        said.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", dismiss)
    try:
        page.goto(path.as_uri())
        assert page.evaluate(_LOOSE) == 0
        page.evaluate(_TOUCH)
        for mark in page.locator(".leaflet-marker-icon").all()[:12]:
            mark.dispatch_event("click")
        assert page.evaluate("window.hit === undefined")
        assert page.evaluate(_LOOSE) == 0
        assert asked == [path.as_uri()]
        assert said == []
    finally:
        context.close()


@pytest.mark.parametrize("first", FIRSTS)
def test_nothing_a_stranger_wrote_runs_in_a_browser(
    first: int, browser: "Browser", tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = make_outputs(tmp_path / "in", first, capsys)
    pages = [path for path in found.values() if path.suffix in {".html", ".svg"}]
    assert pages
    for path in pages:
        _visit(browser, path)


def test_the_browser_would_notice(browser: "Browser", tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text("<img src=x onerror=window.hit=1>", encoding="utf-8")
    with pytest.raises(AssertionError):
        _visit(browser, tmp_path / "a.html")
    (tmp_path / "b.html").write_text("<script>window.hit=1</script>", encoding="utf-8")
    with pytest.raises(AssertionError):
        _visit(browser, tmp_path / "b.html")
