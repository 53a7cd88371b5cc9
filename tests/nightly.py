"""The long trials: what the short tests do, thousands of times, and in other surroundings.

Run from the top of the repository: python tests/nightly.py
Or some of its parts: python tests/nightly.py hostile fuzz kills

Every part counts what it really did; the counts are kept in tests/nightly.json and the
table in DEVELOPERS.md is made anew from them. Ends with 1 if anything did not hold.
"""

import datetime as dt
import json
import os
import platform
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from fuzzing import READERS
from hostile import SECRET, Case, cases, write_case
from killing import kill_commands, kill_writers

TOP = Path(__file__).resolve().parent.parent
TESTS = TOP / "tests"
KEPT = TESTS / "nightly.json"
GUIDE = TOP / "DEVELOPERS.md"
DEMO = TOP / "scenarios" / "hobmere-penniford"
EXECUTIONS = 100_000
KILLS = 200
#: haulplan heeding Ctrl-C even where this command runs in the background.
HEEDING = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from haulplan.cli import main
main()
"""


@dataclass(frozen=True, kw_only=True)
class Result:
    """What one part tried, how often, how it ended."""

    tried: str
    count: int
    failed: int
    seen: str
    date: str = dt.date.today().isoformat()


def _environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": f"{TOP}{os.pathsep}{TESTS}", "COLUMNS": "80", **more}


def _run(
    *words: str | Path, python: Path | str = sys.executable, **more: str
) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [str(python), *map(str, words)],
        cwd=TOP, env=_environment(**more), capture_output=True, text=True, check=False,
        errors="replace",
    )  # fmt: skip


# --- parts ----------------------------------------------------------------------------


def _one_hostile(case: Case, base: Path) -> tuple[list[str], float, float]:
    folder, report = base / "scenario", base / "report.json"
    shutil.rmtree(folder, ignore_errors=True)
    secret = str(base / "secret").encode()
    content = case.content.replace(b"/SECRET", secret).replace(b"SECRET", secret + b"-made")
    write_case(Case(**{**vars(case), "content": content}), folder)
    done = _run(TESTS / "guarded.py", report, folder, "check", folder)
    seen = json.loads(report.read_text(encoding="utf-8"))
    said = done.stdout + done.stderr
    wrong = [
        what
        for what, bad in (
            ("exit code", seen["code"] != (2 if case.wanted == "refuse" else 0)),
            ("over 5 s", seen["seconds"] > 5),
            ("over 300 MB", seen["megabytes"] > 300),
            ("opened a file outside", bool(seen["outside"])),
            ("reached out", bool(seen["reached"])),
            ("traceback", "Traceback" in said or "internal fault" in said),
            ("echoed a file", SECRET in said),
            ("not said", case.said not in said),
        )
        if bad
    ]
    return wrong, seen["seconds"], seen["megabytes"]


def hostile() -> Result:
    """Every hostile case in a process of its own, watched."""
    failed, slowest, largest = [], 0.0, 0.0
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "secret").write_text(SECRET, encoding="utf-8")
        for case in cases():
            wrong, seconds, megabytes = _one_hostile(case, Path(name))
            slowest, largest = max(slowest, seconds), max(largest, megabytes)
            if wrong:
                failed.append(f"{case.name}: {', '.join(wrong)}")
    return Result(
        tried="hostile files, each in a process of its own under watch",
        count=len(cases()),
        failed=len(failed),
        seen=f"slowest {slowest:.1f} s of processor time, largest {largest:.0f} MB"
        + "".join(f"; {line}" for line in failed),
    )


def fuzz() -> Result:
    """Every reader at length."""
    count, failed = 0, []
    for name in READERS:
        done = _run(TESTS / "fuzzing.py", name, str(EXECUTIONS))
        said = done.stdout + done.stderr
        found = re.search(r"Done (\d+) runs", said)
        if done.returncode or found is None:
            failed.append(f"{name}: {said[-500:]}")
        else:
            count += int(found[1])
        print(f"  {name}: {found[0] if found else 'fault'}", flush=True)
    guided = "without atheris" not in said
    return Result(
        tried=f"altered bytes thrown at {len(READERS)} readers, {EXECUTIONS:,} executions each, "
        + ("guided by coverage" if guided else "by chance"),
        count=count,
        failed=len(failed),
        seen="; ".join(failed) or "no uncaught exception",
    )


def kills() -> Result:
    """Writers and whole commands killed outright at random moments."""
    with tempfile.TemporaryDirectory() as name:
        chance = random.Random(20270522)
        torn = kill_writers(Path(name) / "writers", KILLS, chance)
        more, seen = kill_commands(Path(name) / "commands", 40, chance, DEMO)
    return Result(
        tried="kill -9 at a random moment: writers, and whole `plan` commands",
        count=KILLS + 40,
        failed=len(torn) + len(more),
        seen="; ".join([*torn, *more]) or f"folders whole or absent; commands: {seen}",
    )


def interrupts() -> Result:
    """Ctrl-C and a shutdown at random moments of a whole command."""
    failed, written = [], 0
    chance = random.Random(7)
    with tempfile.TemporaryDirectory() as name:
        for number in range(40):
            out = Path(name) / str(number)
            word = signal.SIGINT if number % 2 else signal.SIGTERM
            with subprocess.Popen(
                [sys.executable, "-c", HEEDING, "plan", str(DEMO), "--out", str(out)],
                cwd=TOP, env=_environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                text=True,
            ) as running:  # fmt: skip
                time.sleep(chance.uniform(0.3, 3.0))
                running.send_signal(word)
                _, complaint = running.communicate(timeout=60)
            written += out.exists()
            said = "interrupted" in complaint or running.returncode == 0
            early = running.returncode == -word or "KeyboardInterrupt" in complaint
            left = [p for p in Path(name).iterdir() if p.name.startswith(".")]
            if left or not (said or early) or (out.exists() and len(list(out.iterdir())) < 5):
                failed.append(f"{number}: {running.returncode} {complaint[-200:]} {left}")
    return Result(
        tried="Ctrl-C or shutdown at a random moment of a whole `plan` command",
        count=40,
        failed=len(failed),
        seen="; ".join(failed) or f"nothing half-done; {written} had written whole folders before",
    )


def _plan_figures(python: Path | str, out: Path, **more: str) -> tuple[str, dict[str, bytes]]:
    """What is printed, and the files of a plan of the demo."""
    shutil.rmtree(out, ignore_errors=True)
    done = _run("-m", "haulplan", "plan", DEMO, "--out", out, python=python, **more)
    printed = "\n".join(line.rstrip() for line in done.stdout.splitlines()[:-1])
    if done.returncode:
        return done.stderr, {}
    files = {path.name: path.read_bytes() for path in sorted(out.iterdir())}
    return printed, files


def _pythons() -> list[str]:
    """Interpreters named in HAULPLAN_PYTHONS, each with haulplan's dependencies."""
    return [p for p in os.environ.get("HAULPLAN_PYTHONS", "").split(os.pathsep) if p]


def determinism() -> Result:
    """The same scenario under other orders of hashing, Pythons and PuLPs."""
    failed, seen, count = [], [], 0
    with tempfile.TemporaryDirectory() as name:
        out = Path(name) / "out"
        first, files = _plan_figures(sys.executable, out, PYTHONHASHSEED="0")
        for number in range(1, 8):
            count += 1
            printed, again = _plan_figures(sys.executable, out, PYTHONHASHSEED=str(number * 1009))
            if (printed, again) != (first, files):
                failed.append(f"hash seed {number * 1009}: other bytes")
        for python in _pythons():
            count += 1
            asked = "import sys, pulp; print(sys.version.split()[0], 'PuLP', pulp.__version__)"
            which = _run("-c", asked, python=python).stdout.strip()
            printed, again = _plan_figures(python, out)
            seen.append(which or python)
            tables = all(again.get(n) == files[n] for n in ("stops.csv", "legs.csv"))
            if printed != first or not tables:
                failed.append(f"{which or python}: other figures")
    return Result(
        tried="the demo planned again: 7 orders of hashing (same bytes), other Pythons and PuLPs "
        "(same figures)",
        count=count,
        failed=len(failed),
        seen="; ".join(failed) or "alike; " + ", ".join([platform.python_version(), *seen]),
    )


#: What shows that a set of versions works: reading, demand, planning, proof, writing.
CORE = (
    "test_scenario.py", "test_route.py", "test_units.py", "test_cli.py", "test_tables.py",
    "test_exchange.py", "test_charts.py", "test_write.py",
)  # fmt: skip


def _lowest() -> list[str]:
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    return [re.sub(r">=", "==", line) for line in wanted if ">=" in line]


def _in_new_environment(name: str, *requirements: str) -> tuple[int, list[str]]:
    """Install these, run the core tests: how many passed, and what went wrong."""
    with tempfile.TemporaryDirectory() as folder:
        python = Path(folder) / "bin" / "python"
        _run("-m", "venv", folder)
        done = _run("-m", "pip", "install", "-q", *requirements, python=python)
        if done.returncode:
            return 0, [f"{name}: {done.stderr[-300:]}"]
        words = ("-m", "pytest", "-q", "-p", "no:cacheprovider", *(f"tests/{t}" for t in CORE))
        done = _run(*words, python=python)
    passed = re.search(r"(\d+) passed", done.stdout)
    wrong = [f"{name}: {line}" for line in done.stdout.splitlines() if line.startswith("FAILED")]
    if done.returncode and not wrong:
        wrong = [f"{name}: {done.stdout[-300:]}"]
    return int(passed[1]) if passed else 0, wrong[:5]


def versions() -> Result:
    """The core tests with the lowest versions allowed, and with the newest."""
    low, wrong = _in_new_environment("lowest", *_lowest())
    new, more = _in_new_environment("newest", "--upgrade", f"{TOP}[test]")
    return Result(
        tried="core tests with the lowest versions that pyproject.toml allows, and the newest",
        count=low + new,
        failed=len(wrong) + len(more),
        seen="; ".join([*wrong, *more]) or f"{low} and {new} tests passed",
    )


def _pytest_part(tried: str, *files: str, **more: str) -> Result:
    done = _run(
        "-m", "pytest", "-q", "-p", "no:cacheprovider", *(f"tests/{f}" for f in files), **more
    )
    passed = re.search(r"(\d+) passed", done.stdout)
    failed = re.search(r"(\d+) failed", done.stdout)
    wrong = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    if done.returncode and not wrong:
        wrong = [done.stdout[-300:]]
    return Result(
        tried=tried,
        count=int(passed[1]) if passed else 0,
        failed=int(failed[1]) if failed else len(wrong),
        seen="; ".join(wrong) or "held",
    )


def injection() -> Result:
    """Every payload in every string of a user, on every page."""
    return _pytest_part(
        "hostile words in every string of a user, on every page and table (Chromium)",
        "test_injection.py", HAULPLAN_NIGHTLY="1", CI="true",
    )  # fmt: skip


def faults() -> Result:
    """Full disks, closed folders, failing solvers, odd terminals."""
    return _pytest_part(
        "full disk, closed folder, two runs at once, links, solver faults, odd terminals",
        "test_faults.py", "test_write.py", HAULPLAN_NIGHTLY="1",
    )  # fmt: skip


def extremes() -> Result:
    """Extreme but legal scenarios."""
    return _pytest_part(
        "extreme but legal scenarios: given ones and ones drawn at the bounds of the schema",
        "test_extremes.py", HAULPLAN_NIGHTLY="1",
    )  # fmt: skip


PARTS: Mapping[str, Callable[[], Result]] = {
    part.__name__: part
    for part in (
        hostile, fuzz, injection, kills, interrupts, faults, extremes, determinism, versions,
    )
}  # fmt: skip

#: What the parts found when they were first run, and what became of it.
FOUND: Mapping[str, tuple[str, str]] = {
    "hostile": (
        "a dotted key of 50,000 parts took 130 s; 4 million empty elements took 10 s and 720 MB; "
        "a link in the folder was followed and its first line echoed; an odd codec named in a GPX "
        "file was run; thousands of faults were all told",
        "bounds in `scenario/bounds.py`; GPX is read point by point; links may not leave the "
        "folder; encodings are named ones; at most 20 faults are told of a file",
    ),
    "fuzz": (
        "a header row of a hundred wrong columns told a hundred faults; lengths such as "
        "1.7e308 km came out infinite (found by hypothesis after the guided run had not)",
        "the bound on faults holds for headers too; a figure is checked after its unit",
    ),
    "injection": (
        "`check` printed characters that turn the direction of writing as they came",
        "they are shown as the replacement character, as everywhere else",
    ),
    "kills": ("", ""),
    "interrupts": (
        "a shutdown (SIGTERM) ended the process with no word; "
        "Ctrl-C while the solver was being loaded was called a missing part",
        "it is taken as Ctrl-C is; the interruption is remembered",
    ),
    "faults": (
        "a full disk under the printed page, a terminal of few letters and a missing solver were "
        "called internal faults",
        "each has its own line; letters the terminal lacks are replaced",
    ),
    "extremes": (
        "a run on the last day of the calendar (9999-12-31) was an internal fault; so was an "
        "engine without a train on a hill it does not climb (28 of 400 drawn scenarios)",
        "dates run from 1800 to 2999; such an engine is said not to pass alone",
    ),
    "determinism": ("", ""),
    "versions": (
        "the lowest versions of pint (0.24), PuLP (3.3.0), iapws and Leaflet's package did not "
        "work or do not exist",
        "bounds raised to what works",
    ),
}


def table() -> str:
    """The block of DEVELOPERS.md, from the counts that were kept."""
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    lines = [
        "<!-- nightly -->",
        "| tried | how many | did not hold | seen | what broke at first | what was done |",
        "|---|---|---|---|---|---|",
    ]
    for name in PARTS:
        if name in kept:
            part = Result(**kept[name])
            seen = part.seen.replace("|", "/").replace("\n", " ")
            broke, mended = FOUND[name]
            lines.append(
                f"| {part.tried} (`{name}`, {part.date}) | {part.count:,} | {part.failed} | {seen} "
                f"| {broke or 'nothing'} | {mended or 'nothing'} |"
            )
    return "\n".join([*lines, "<!-- end nightly -->"])


def main() -> None:
    """Run the parts named, or all; keep the counts; renew the table."""
    wanted = sys.argv[1:] or list(PARTS)
    worst = 0
    for name in wanted:
        print(f"{name} ...", flush=True)
        result = PARTS[name]()
        kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
        kept[name] = asdict(result)
        KEPT.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        print(f"{name}: {result.count} tried, {result.failed} failed; {result.seen}", flush=True)
        worst = max(worst, min(result.failed, 1))
    text = GUIDE.read_text(encoding="utf-8")
    made = re.sub(
        r"<!-- nightly -->.*?<!-- end nightly -->", lambda _: table(), text, flags=re.DOTALL
    )
    GUIDE.write_text(made, encoding="utf-8")
    sys.exit(worst)


if __name__ == "__main__":
    main()
