"""Throw altered and made-up bytes at the readers; nothing but an InputError may come out.

With atheris, guided by coverage: python tests/fuzzing.py READER RUNS
Without it, by chance alone; the short run of the tests does so too.
"""

import contextlib
import math
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

if __name__ == "__main__":  # its hooks must stand before the readers load
    try:
        import atheris
    except ImportError:
        atheris = None
    else:
        with atheris.instrument_imports(include=["haulplan", "tomllib"]):
            import haulplan.route.gpx  # noqa: F401
            import haulplan.scenario.read  # noqa: F401

from hostile import ROAD, TOML, cases

from haulplan.errors import InputError, Problem
from haulplan.route.gpx import read_gpx, read_waypoints
from haulplan.scenario import read_road_table, read_scenario
from haulplan.scenario.read import _TABLES as TABLES
from haulplan.scenario.read import read_table
from haulplan.scenario.wording import COLUMN_NAMES
from haulplan.units import KINDS, parse, parse_price

__all__ = ["READERS", "examples"]

Reader = Callable[[Path, bytes], None]
_MEASURED = TOML.partition("[engine]")[0].replace('route = {file = "ROAD"}\n', "")


def _told(error: InputError) -> None:
    """Every fault told is one clear line."""
    assert error.problems
    for line in str(error).splitlines():
        assert line.isprintable()
        assert "; " in line
    assert len(str(error).splitlines()) == len(error.problems)
    assert len(error.problems) <= 45


def _settings(folder: Path, data: bytes) -> None:
    (folder / "scenario.toml").write_bytes(data)
    (folder / "route.csv").write_text(ROAD)
    read_scenario(folder)


def _table(name: str) -> Reader:
    def read(folder: Path, data: bytes) -> None:
        (folder / name).write_bytes(data)
        problems: list[Problem] = []
        rows = read_table(folder / name, TABLES[name], "USD", problems, root=folder)
        if problems:
            raise InputError(problems)
        assert rows

    return read


def _road(folder: Path, data: bytes) -> None:
    (folder / "route.csv").write_bytes(data)
    problems: list[Problem] = []
    rows = read_road_table(folder / "route.csv", problems)
    if problems:
        raise InputError(problems)
    assert len(rows) > 1


def _gpx(folder: Path, data: bytes) -> None:
    (folder / "road.gpx").write_bytes(data)
    found = read_gpx(folder / "road.gpx")
    with contextlib.suppress(InputError):  # marks of a road that is one may still be wrong
        read_waypoints(folder / "road.gpx")
    for piece in found.pieces:
        assert abs(piece.latitude).max() <= 90
        assert abs(piece.longitude).max() <= 180
        assert not any(math.isinf(height) for height in piece.elevation)


def _units(_: Path, data: bytes) -> None:
    kinds = sorted(KINDS)
    kind = kinds[data[0] % len(kinds)] if data else "length"
    try:
        value = parse(kind, data[1:].decode("utf-8", "replace"))
    except ValueError:
        return
    assert math.isfinite(value)


def _prices(_: Path, data: bytes) -> None:
    kind = (None, "water", "coal")[data[0] % 3] if data else None
    try:
        value = parse_price(kind, data[1:].decode("utf-8", "replace"), "USD")
    except ValueError:
        return
    assert math.isfinite(value)


#: What reads bytes from a stranger, by name.
READERS: Mapping[str, Reader] = {
    "scenario.toml": _settings,
    **{name: _table(name) for name in TABLES},
    "route.csv": _road,
    "road.gpx": _gpx,
    "units": _units,
    "prices": _prices,
}


def once(name: str, folder: Path, data: bytes) -> bool:
    """Give a reader some bytes; whether it took them. Any other error is a fault."""
    try:
        READERS[name](folder, data)
    except InputError as error:
        _told(error)
        return False
    return True


@cache
def examples(name: str) -> list[bytes]:
    """Whole and odd examples to start from."""
    found = [case.content for case in cases() if case.file == name and len(case.content) < 9000]
    if name == "units":
        return [
            bytes([i]) + kind.example.encode() for i, (_, kind) in enumerate(sorted(KINDS.items()))
        ]
    if name == "prices":
        return [b"\0" + b"45 USD", b"\1" + b"0.012 USD/US gal", b"\2" + b"220 USD/short ton"]
    if name == "scenario.toml":
        return [*found, TOML.replace("ROAD", "route.csv").encode(), _MEASURED.encode()]
    if name == "route.csv":
        return [ROAD.encode(), b"distance [mi],grade\n0,1 in 50\n1,-1 in 50\n2,\n"]
    if name in TABLES:
        fields = TABLES[name].model_fields
        header = ",".join(COLUMN_NAMES.get(field, field) for field in fields)
        row = ",".join(str(k) for k in range(len(fields)))
        return [*found, f"{header}\n{row}\n{'x,' * (len(fields) - 1)}1 km\n".encode()]
    return found


@cache
def words() -> list[bytes]:
    """What the readers know, to build with."""
    known = [unit for kind in KINDS.values() for unit in kind.units if unit]
    for model in TABLES.values():
        known += [COLUMN_NAMES.get(field, field) for field in model.model_fields]
    known += ["unlimited", "full", "1 in 14", "nan", "inf", "1e400", "[[", "<trkpt lat=", "<ele>"]
    return [word.encode() for word in dict.fromkeys(known)]


def altered(name: str, chance: random.Random) -> bytes:
    """A seed cut, doubled, spliced with another or with known words."""
    given = examples(name)
    data = bytearray(chance.choice(given))
    for _ in range(chance.randint(1, 6)):
        at = chance.randint(0, len(data))
        to = min(len(data), at + chance.choice((0, 1, 1, 2, 8, 64)))
        piece = chance.choice((b"", data[at:to] * 2, chance.choice(words()), chance.choice(given)))
        data[at:to] = chance.choice((bytes(piece), chance.randbytes(chance.randint(1, 4))))
    return bytes(data)


def _without_atheris(name: str, runs: int, folder: Path) -> None:
    chance = random.Random(name)
    for _ in range(runs):
        once(name, folder, altered(name, chance))


def main() -> None:
    """Run one reader for a number of executions; ends with 0 if nothing came out."""
    name, runs = sys.argv[1], int(sys.argv[2])
    shm = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(dir=shm if shm.is_dir() and os.access(shm, os.W_OK) else None))
    try:
        if atheris is None:
            _without_atheris(name, runs, folder)
            print(f"Done {runs} runs without atheris")
        else:
            _guided(name, runs, folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _guided(name: str, runs: int, folder: Path) -> None:
    corpus, scratch = folder / "corpus", folder / "scratch"
    corpus.mkdir()
    scratch.mkdir()
    for number, data in enumerate(examples(name)):
        (corpus / str(number)).write_bytes(data)
    lines = ["".join(f"\\x{byte:02x}" for byte in word) for word in words()]
    (folder / "words").write_text("".join(f'"{line}"\n' for line in lines))
    arguments = [
        sys.argv[0], f"-runs={runs}", "-max_len=6000", "-timeout=20", "-rss_limit_mb=1500",
        f"-dict={folder / 'words'}", f"-artifact_prefix={tempfile.gettempdir()}/haulplan-fuzz-",
        "-seed=20270522", "-print_final_stats=1", str(corpus),
    ]  # fmt: skip
    atheris.Setup(arguments, lambda data: once(name, scratch, data) and None)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
