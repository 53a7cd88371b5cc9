"""Rules of the house that no linter knows."""

import ast
import importlib
import inspect
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

import haulplan

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "haulplan"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: The steps in the order of the data; each may use those before it.
FLOW = (
    "errors", "units", "scenario", "route", "demand", "evidence", "plan", "replay", "roads",
    "stations", "period", "underway", "begin", "compare", "outputs", "guides", "cli",
)  # fmt: skip
#: What replay may have of plan: the plan itself, and nothing that helped to make it.
PROOF = {"haulplan.plan.plan"}
NETWORK = {
    "aiohttp", "ftplib", "http", "httpx", "requests", "socket", "socketserver", "ssl", "urllib",
    "urllib3", "webbrowser",
}  # fmt: skip
FORMULAE = ("steam", "boiler", "engine", "resistance")


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def step_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "haulplan" and len(parts) > 1 else None


def imports_of(path: Path) -> Iterator[str]:
    """Every module a file imports, wherever in it; relative imports made absolute."""
    package = name_of(path).split(".")
    package = package if path.name == "__init__.py" else package[:-1]
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            if module in {"haulplan", *(f"haulplan.{step}" for step in FLOW)}:
                inner = [f"{module}.{alias.name}" for alias in node.names]
                yield from (
                    i if (ROOT / i.replace(".", "/")).with_suffix(".py").exists() else module
                    for i in inner
                )
            else:
                yield module


def modules() -> list[ModuleType]:
    return [importlib.import_module(name_of(path)) for path in MODULES if path.stem != "__main__"]


def public_functions(module: ModuleType) -> list[tuple[str, Callable[..., object]]]:
    return [
        (name, value)
        for name, value in vars(module).items()
        if inspect.isfunction(value)
        and value.__module__ == module.__name__
        and not name.startswith("_")
    ]


FUNCTIONS = [
    pytest.param(function, id=f"{module.__name__}.{name}")
    for module in modules()
    for name, function in public_functions(module)
]


def sections_of(function: Callable[..., object]) -> dict[str, str]:
    """The numpydoc sections of a docstring by name."""
    text = inspect.getdoc(function) or ""
    parts = re.split(r"(?m)^([A-Z][A-Za-z ]+)\n-{3,}\n", text)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def documented(section: str) -> dict[str, str]:
    """The entries of a Parameters or Returns section: name and what is said of it."""
    parts = re.split(r"(?m)^(\S.*)\n", section)
    entries = zip(parts[1::2], parts[2::2], strict=True)
    return {
        name.split(":")[0].strip(): said for names, said in entries for name in names.split(",")
    }


# --- the order of the steps -----------------------------------------------------------


def test_every_module_belongs_to_a_step() -> None:
    steps = {step_of(name_of(path)) for path in MODULES} - {None, "__main__"}
    assert steps <= set(FLOW), "put the new step into FLOW, in the order of the data"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_step_uses_only_those_before_it(path: Path) -> None:
    own = step_of(name_of(path))
    if own in {None, "__main__"}:
        return
    for module in imports_of(path):
        step = step_of(module)
        if step is None or step == own or step.startswith("__"):
            continue
        assert FLOW.index(step) < FLOW.index(str(own)), f"{name_of(path)} imports {module}"


def test_the_replay_knows_nothing_of_the_planner() -> None:
    taken = {m for m in imports_of(PACKAGE / "replay.py") if step_of(m) == "plan"}
    assert taken <= PROOF
    assert not {"pulp", "highspy"} & set(imports_of(PACKAGE / "replay.py"))


def test_nothing_reaches_for_the_network() -> None:
    for path in MODULES:
        reached = {module.split(".")[0] for module in imports_of(path)} & NETWORK
        assert not reached, f"{name_of(path)} imports {reached}"


# --- modules --------------------------------------------------------------------------


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_a_module_lists_what_it_offers(module: ModuleType) -> None:
    offered = module.__all__
    assert len(set(offered)) == len(offered)
    for name in offered:
        assert hasattr(module, name)
        assert not name.startswith("_") or name == "__version__"


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_a_public_function_is_offered(module: ModuleType) -> None:
    for name, _ in public_functions(module):
        assert name in module.__all__ or module.__name__.startswith("haulplan.cli")


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_the_library_does_not_print(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "print", f"line {node.lineno}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_module_is_a_drawer_for_oddments(path: Path) -> None:
    assert not {"util", "utils", "common", "misc", "base"} & set(name_of(path).split("."))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_function_fits_on_a_page(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    for node in ast.walk(ast.parse("\n".join(lines))):
        if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            continue
        body = node.body[1:] if ast.get_docstring(node) is not None else node.body
        statements = sum(isinstance(n, ast.stmt) for part in body for n in ast.walk(part))
        assert statements <= 40, f"{node.name}, line {node.lineno}: {statements} statements"


# --- docstrings -----------------------------------------------------------------------


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_public_function_says_what_goes_in_and_comes_out(
    function: Callable[..., object],
) -> None:
    doc = inspect.getdoc(function)
    assert doc
    signature = inspect.signature(function)
    sections = sections_of(function)
    if signature.parameters:
        assert "Parameters" in sections, "add the section"
        entries = documented(sections["Parameters"])
        assert list(entries) == list(signature.parameters)
        assert all(said.strip() for said in entries.values())
    if signature.return_annotation not in {None, "None", inspect.Signature.empty}:
        assert "Returns" in sections


@pytest.mark.parametrize(
    "function",
    [f for f in FUNCTIONS if str(f.id).split(".")[2] in FORMULAE and ".demand." in str(f.id)],
)
def test_a_formula_names_units_and_source_and_shows_a_case(
    function: Callable[..., object],
) -> None:
    sections = sections_of(function)
    assert {"Parameters", "Returns", "References", "Examples"} <= set(sections)
    assert re.search(r"\.\. \[1\] \S", sections["References"])
    assert ">>> " in sections["Examples"]
    annotations = inspect.get_annotations(function, eval_str=True)
    for section in ("Parameters", "Returns"):
        for name, said in grouped(sections[section]):
            kinds = [annotations.get(one.strip()) for one in name.split(",")]
            if section == "Returns":
                kinds = [annotations["return"]]
            if any(is_figure(kind) for kind in kinds):
                assert re.search(r"\[[^\]]+\]", said), f"{name} has no unit"


def grouped(section: str) -> list[tuple[str, str]]:
    parts = re.split(r"(?m)^(\S.*)\n", section)
    return list(zip(parts[1::2], parts[2::2], strict=True))


def is_figure(kind: object) -> bool:
    return "float" in str(kind) and "SteamLine" not in str(kind)


# --- words ----------------------------------------------------------------------------

#: What this tool must not call anything: that is for inspectors and authorities.
PROMISE = re.compile(r"(?i)\bsafe(ly)?\b")
READABLE = {".md", ".py", ".json", ".toml", ".csv", ".gpx", ".svg", ".html", ".txt"}
TEXTS = [
    path
    for pattern in (
        "*.md", "haulplan/**/*.py", "haulplan/**/*.json", "haulplan/**/*.toml",
        "haulplan/**/*.md", "scenarios/**/*", "maps/**/*",
    )
    for path in sorted(ROOT.glob(pattern))
    if path.is_file() and path.suffix in READABLE
]  # fmt: skip


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_is_promised_to_be_without_danger(path: Path) -> None:
    text = path.read_text("utf-8")
    if path.suffix == ".html":  # libraries carried in the page have words of their own
        text = re.sub(r"(?s)<(script|style)\b.*?</\1>", "", text)
    assert [line for line in text.splitlines() if PROMISE.search(line)] == []


def test_the_outputs_promise_nothing() -> None:
    from haulplan.demand import build_demand
    from haulplan.outputs import all_outputs
    from haulplan.plan import make_plan
    from haulplan.replay import replay
    from haulplan.route import build_route
    from haulplan.scenario import read_scenario
    from haulplan.units import UNIT_SYSTEMS

    for folder in sorted((ROOT / "scenarios").iterdir()):
        if not (folder / "scenario.toml").exists():
            continue
        scenario = read_scenario(folder)
        if scenario.file.route.network is not None:
            continue  # what `ways` writes of it stands in maps/, read above
        route = build_route(scenario)
        demand = build_demand(scenario, route)
        plan = make_plan(scenario, route, demand)
        trace = replay(scenario, route, demand, plan)
        for name, text in all_outputs(scenario, route, plan, trace, UNIT_SYSTEMS["us"]).items():
            if isinstance(text, bytes):  # the workbook holds the tables' words
                continue
            own = re.sub(r"(?s)<(script|style)\b.*?</\1>", "", text)
            assert PROMISE.search(own) is None, f"{folder.name}: {name}"


# --- the project file -----------------------------------------------------------------


def test_every_runtime_dependency_says_why_and_under_which_licence() -> None:
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    wanted = tomllib.loads(text)["project"]["dependencies"]
    block = text.partition("\ndependencies = [\n")[2].partition("\n]")[0]
    lines = [line.strip() for line in block.splitlines() if line.strip()]
    assert len(lines) == len(wanted)
    for line, dependency in zip(lines, wanted, strict=True):
        assert line.startswith(f'"{dependency}"')
        comment = line.partition("#")[2]
        assert re.fullmatch(r" \S.+ \((MIT|PSF|Apache-2\.0|BSD-[23]-Clause|MPL-2\.0)\)", comment)


def test_every_runtime_dependency_is_used_and_every_import_is_one() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = {re.split(r"[<>=~! ]", d)[0].replace("-", "_") for d in project["dependencies"]}
    inside = {"django_js_lib_leaflet": "js_lib_leaflet"}
    wanted = {inside.get(name, name) for name in wanted}
    imported = {module.split(".")[0] for path in MODULES for module in imports_of(path)}
    extras = {re.split(r"[<>=~! ]", d)[0] for name in ("pbf", "rasters")
              for d in project["optional-dependencies"][name]}  # fmt: skip
    assert extras <= imported
    foreign = imported - set(sys_names()) - {"haulplan", "branca"}  # branca comes with folium
    foreign -= extras
    assert foreign <= wanted, "declare it in pyproject.toml"
    assert wanted - {"js_lib_leaflet"} <= foreign, "no longer used: take it out"


def sys_names() -> frozenset[str]:
    import sys

    return sys.stdlib_module_names


def test_the_version_is_the_packages() -> None:
    assert re.fullmatch(r"\d+\.\d+\.\d+", haulplan.__version__)
