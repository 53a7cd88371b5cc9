"""A full disk, a closed folder, two runs at once, a failing solver, an odd terminal."""

import builtins
import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hostile import ROAD, TOML
from killing import kill_commands

from haulplan.cli import main
from haulplan.outputs.write import write_outputs

TOP = Path(__file__).resolve().parent.parent
LONG = bool(os.environ.get("HAULPLAN_NIGHTLY"))
SUPPLY = "name,kind,at [km],water_available,water_rate\nPump,tap,3,unlimited,60 L/min\n"
posix = pytest.mark.skipif(os.name != "posix", reason="of POSIX systems")
Ended = tuple[int, str, str]
Run = Callable[..., Ended]


@pytest.fixture
def mills(tmp_path: Path) -> Path:
    """A scenario with a plan."""
    folder = tmp_path / "mills"
    folder.mkdir()
    toml = TOML.replace("ROAD", "route.csv").replace('tank = "900 L"', 'tank = "520 L"')
    for name, text in (("scenario.toml", toml), ("route.csv", ROAD), ("supply.csv", SUPPLY)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command line here."""

    def go(*words: str | Path) -> Ended:
        with pytest.raises(SystemExit) as ended:
            main([str(word) for word in words])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return int(str(ended.value.code)), said.out, said.err

    return go


def spawn(*words: str | Path, **more: Any) -> "subprocess.CompletedProcess[str]":  # noqa: ANN401
    """Runs the command line in a process of its own."""
    env = {**os.environ, "PYTHONPATH": str(TOP), **more.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "haulplan", *map(str, words)],
        env=env, cwd=TOP, stderr=subprocess.PIPE, text=True, check=False, timeout=120,
        **{"stdout": subprocess.PIPE, **more},
    )  # fmt: skip


# --- killed outright ------------------------------------------------------------------


@posix
def test_a_killed_command_leaves_the_old_plan_or_the_new(tmp_path: Path, mills: Path) -> None:
    assert kill_commands(tmp_path / "out", 10 if LONG else 2, random.Random(5), mills)[0] == []


# --- disks and folders ----------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 48 KiB."""
    there = tmp_path / "disk"
    there.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=48k", "tmpfs", str(there)]
    try:
        done = subprocess.run(words, capture_output=True, check=False)
    except OSError:
        pytest.skip("no mount command")
    if done.returncode:
        pytest.skip("only root may mount a disk")
    yield there
    subprocess.run(["umount", str(there)], check=True)


def test_a_disk_that_is_full_keeps_the_old_plan(small_disk: Path) -> None:
    from haulplan.errors import InputError

    write_outputs(small_disk / "out", {"stops.csv": "old"}, force=False)
    with pytest.raises(InputError, match=r"cannot be written \(No space left.*free some room"):
        write_outputs(small_disk / "out", {"map.html": "x" * 200_000}, force=True)
    assert [path.name for path in small_disk.iterdir()] == ["out"]
    assert (small_disk / "out" / "stops.csv").read_text() == "old"


@contextmanager
def _as_nobody(folder: Path) -> Iterator[None]:
    """As a user who may not write everywhere."""
    if os.geteuid() != 0:
        yield
        return
    for above in (folder, *folder.parents):  # those pytest closes to others
        if above.stat().st_mode & 0o055 != 0o055:
            above.chmod(0o755)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@posix
def test_a_folder_closed_to_writing_is_refused_by_name(
    run: Run, tmp_path: Path, mills: Path
) -> None:
    run("plan", mills, "--out", tmp_path / "first")  # loads what loads late
    (tmp_path / "closed").mkdir()
    (tmp_path / "closed").chmod(0o555)
    with _as_nobody(tmp_path):
        code, out, err = run("plan", mills, "--out", tmp_path / "closed" / "out")
    assert (code, out) == (2, "")
    assert "give an --out in a folder you may write to" in err
    assert list((tmp_path / "closed").iterdir()) == []


@posix
@pytest.mark.parametrize("name", ["scenario.toml", "route.csv", "supply.csv"])
def test_a_scenario_closed_to_reading_is_refused_by_name(
    name: str, run: Run, tmp_path: Path, mills: Path
) -> None:
    run("check", mills)
    (mills / name).chmod(0o000)
    with _as_nobody(tmp_path):
        code, out, err = run("check", mills)
    assert (code, out) == (2, ""), err
    assert f"{name}: Permission denied; put the file there, readable" in err


@posix
def test_two_runs_at_once_leave_one_whole_plan(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path\n"
        "from haulplan.errors import InputError\n"
        "from haulplan.outputs.write import write_outputs\n"
        "word, base = sys.argv[1], Path(sys.argv[2])\n"
        "for i in range(60):\n"
        "    text = f'{word}{i:07d}' * 2000\n"
        "    try:\n"
        "        write_outputs(base / 'out', {'stops.csv': text, 'plan.json': text}, force=True)\n"
        "    except InputError as error: print(error)\n"
    )
    env = {**os.environ, "PYTHONPATH": str(TOP)}
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", script, word, str(tmp_path)],
            env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for word in "ab"
    ]  # fmt: skip
    for writer in writers:
        said, complaint = writer.communicate(timeout=60)
        assert (writer.returncode, complaint) == (0, "")
        for line in said.splitlines():
            assert str(tmp_path / "out") in line
            assert "; " in line
    texts = {path.read_text() for path in (tmp_path / "out").iterdir()}
    assert len(texts) == 1
    assert len(texts.pop()) == 16_000
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_linked_output_folder_is_filled_where_it_leads(
    run: Run, mills: Path, tmp_path: Path
) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    assert run("plan", mills, "--out", tmp_path / "link")[0] == 0
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "plan.json").exists()
    assert run("plan", mills, "--out", tmp_path / "link")[0] == 2
    assert run("plan", mills, "--out", tmp_path / "link", "--force")[0] == 0


# --- the solver -----------------------------------------------------------------------


def test_a_missing_solver_is_named(run: Run, mills: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:  # noqa: ANN401  the built-in's own
        if name.partition(".")[0] == "pyscipopt":
            raise ModuleNotFoundError("No module named 'pyscipopt'")
        return real(name, *rest, **more)

    for name in [
        n for n in sys.modules if n.startswith("haulplan.plan.") or n.startswith("pyscipopt")
    ]:
        if name != "haulplan.plan.plan":
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", without)
    code, out, err = run("plan", mills)
    assert (code, out) == (3, "")
    assert err == (
        "error: a part is missing (No module named 'pyscipopt'); install it: python -m pip install "
        "haulplan\n"
    )


@pytest.mark.parametrize("status", ["unbounded", "memlimit", "unknown"])
def test_numerical_trouble_ends_with_3_and_no_plan(
    status: str, run: Run, mills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import haulplan.plan.run as running

    monkeypatch.setattr(running, "_ended", lambda _: status)
    code, out, err = run("plan", mills, "--out", tmp_path / "out")
    assert (code, out) == (3, "")
    assert "the solver" in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_an_answer_that_is_wrong_is_not_shown(
    run: Run, mills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The solver's figures are bent on their way; the replay does not let them pass."""
    import haulplan.plan.answer as solving

    real = solving._value
    monkeypatch.setattr(solving, "_value", lambda variable: 0.9 * real(variable))
    code, out, err = run("plan", mills, "--out", tmp_path / "out")
    assert (code, out) == (3, "")
    assert err.startswith("error: ")
    assert not (tmp_path / "out").exists()


def many_stops(folder: Path) -> Path:
    """A scenario that takes the solver minutes."""
    draw = random.Random(3)
    folder.mkdir()
    (folder / "scenario.toml").write_text(
        'title = "long"\nstart = "A"\nfinish = "B"\ndate = 2027-05-01\ndepart = "01:00"\n'
        '[aim]\nminute = 1\nmoney = 0.7\nstop = 3\n[stores]\ntank = "2450 kg"\n'
        'bunker = "600 kg"\n[at_start]\nwater = "full"\ncoal = "full"\n[at_finish]\n'
        'water = "300 kg"\ncoal = "60 kg"\n[reserve]\nwater = "200 kg"\ncoal = "40 kg"\n'
    )
    rows = ["from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass,coal_per_mass"]
    for i in range(300):
        water = draw.uniform(20, 120)
        rows.append(f"{i},{i + 1},{draw.uniform(8, 14)},{water},{water / 7},0.0004,0.00006")
    (folder / "demand.csv").write_text("\n".join(rows) + "\n")
    rows = ["name,kind,at [km],water_available,water_rate,coal_available,coal_rate,set_up,call_out"]
    for i in range(100):
        coal = "unlimited,20 kg/min" if i % 8 == 0 else ","
        rows.append(
            f"t{i},tap,{3 * i + 1.5},{draw.choice(['unlimited', '900 kg'])},"
            f"{draw.uniform(40, 150):.1f} kg/min,{coal},{draw.uniform(4, 15):.1f} min,"
            f"{draw.uniform(0, 30):.2f} USD"
        )
    (folder / "supply.csv").write_text("\n".join(rows) + "\n")
    return folder


def test_a_time_limit_offers_the_best_so_far_with_its_gap_or_says_there_is_none(
    run: Run, tmp_path: Path
) -> None:
    begun = time.monotonic()
    code, out, err = run("plan", many_stops(tmp_path / "long"), "--time-limit", "3")
    assert time.monotonic() - begun < 60
    if code == 0:
        assert re.search(r"proved best|best found, may be improved by up to [\d.]+ %", out)
    else:
        assert code == 3
        assert "found no plan within the time limit; raise --time-limit" in err


def test_the_best_so_far_is_shown_with_its_gap(
    run: Run, mills: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The solver is stopped with an answer in hand that it has not proved."""
    from dataclasses import replace

    from haulplan.plan import branches

    real = getattr(branches, "run")  # noqa: B009  it is run's own, borrowed there

    def stopped(*given: Any, **more: Any) -> Any:  # noqa: ANN401  whatever the planner passes
        outcome = real(*given, **more)
        return replace(outcome, proven=False, bound=outcome.value * 0.875)

    monkeypatch.setattr(branches, "run", stopped)
    code, out, _ = run("plan", mills)
    assert code == 0
    assert re.search(r"best found, may be improved by up to 12\.[56] %", out)


# --- interruptions --------------------------------------------------------------------


@posix
@pytest.mark.parametrize("word", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_interruption_of_any_kind_says_so_and_leaves_nothing(
    word: signal.Signals, tmp_path: Path, mills: Path
) -> None:
    script = (
        "import signal, sys, time, haulplan.outputs as o\n"
        "for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):\n"
        "    signal.signal(number, signal.SIG_DFL)\n"  # run in the background or not
        "def wait(*_, **__):\n"
        "    print('reached', flush=True)\n"
        "    time.sleep(60)\n"
        "o.all_outputs = wait\n"
        "from haulplan.cli import main\n"
        "main(sys.argv[1:])\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, "plan", str(mills), "--out", str(tmp_path / "out")],
        env={**os.environ, "PYTHONPATH": str(TOP)}, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    ) as running:  # fmt: skip
        assert running.stdout is not None
        assert running.stdout.readline() == "reached\n"
        running.send_signal(word)
        _, complaint = running.communicate(timeout=30)
    assert running.returncode == 130
    assert complaint.splitlines()[-1] == "error: interrupted; nothing was written"
    assert [path.name for path in tmp_path.iterdir()] == ["mills"]


@posix
def test_what_whoever_started_us_ignores_is_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        from haulplan.cli import _heedful

        with _heedful() as stopped:
            os.kill(os.getpid(), signal.SIGHUP)
        assert stopped == []
    finally:
        signal.signal(signal.SIGHUP, before)


def test_an_interruption_after_writing_says_what_stands(
    run: Run, mills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rich.console import Console

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Console, "print", stop)
    code, _, err = run("plan", mills, "--out", tmp_path / "out")
    assert code == 130
    assert err.splitlines()[-1] == f"error: interrupted; {tmp_path / 'out'} is written"
    assert (tmp_path / "out" / "plan.json").exists()


# --- terminals ------------------------------------------------------------------------


@posix
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_page_that_finds_no_room_is_no_fault_of_ours(mills: Path) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        ended = spawn("check", mills, stdout=full)
    assert ended.returncode == 3
    assert ended.stderr.splitlines() == [
        "error: the system refused (No space left on device); free some room or try again"
    ]


def test_letters_the_terminal_lacks_are_replaced(mills: Path) -> None:
    text = (mills / "scenario.toml").read_text(encoding="utf-8")
    (mills / "scenario.toml").write_text(text.replace("Two mills", "Zwei Mühlen 東"), "utf-8")
    ended = spawn("check", mills, env={"PYTHONIOENCODING": "ascii"})
    assert ended.returncode == 0
    assert "Zwei M?hlen ?" in ended.stdout


@posix
def test_a_reader_who_has_had_enough_is_no_fault(mills: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "haulplan", "plan", str(mills), "--verbose"],
        env={**os.environ, "PYTHONPATH": str(TOP)}, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as running:  # fmt: skip
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        complaint = running.stderr.read()
    assert complaint == b""


@posix
def test_a_folder_of_odd_bytes_is_read_and_written(tmp_path: Path, mills: Path) -> None:
    odd = tmp_path / os.fsdecode(b"mills\xff\n\x1b[31m")
    mills.rename(odd)
    ended = spawn("plan", odd, "--out", tmp_path / os.fsdecode(b"out\xff"))
    assert (ended.returncode, ended.stderr) == (0, "")
    assert (tmp_path / os.fsdecode(b"out\xff") / "plan.json").exists()
    ended = spawn("check", tmp_path / os.fsdecode(b"no\xff\n\x1b[31m"))
    assert ended.returncode == 2
    (line,) = ended.stderr.splitlines()
    assert line.isprintable()
