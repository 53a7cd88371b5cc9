"""The shipped scenario without what fills its days: a haul of one day, as it was drawn first."""

import csv
import io
import re
import shutil
from pathlib import Path

__all__ = ["one_day"]

_DROPPED = ("hours", "lighting_up", "nights", "duties", "meals", "last_resort")


def one_day(demo: Path, folder: Path) -> Path:
    """Copy a scenario and take days, crew, meals and the call out of it."""
    shutil.copytree(demo, folder, dirs_exist_ok=True)
    toml = folder / "scenario.toml"
    text = toml.read_text(encoding="utf-8")
    text = re.sub(r"^depart_by = .*\n", "", text, flags=re.MULTILINE)
    for name in _DROPPED:
        text = re.sub(rf"^\[\[?{name}\]\]?\n(?:(?!^\[).*\n)*", "", text, flags=re.MULTILINE)
    toml.write_text(text, encoding="utf-8")
    places = folder / "places.csv"
    rows = list(csv.DictReader(io.StringIO(places.read_text(encoding="utf-8"))))
    for row in rows:
        row.update(dict.fromkeys(("halt", "night", "stay", "opens", "closes", "day"), ""))
    with places.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    supply = folder / "supply.csv"
    lines = list(csv.DictReader(io.StringIO(supply.read_text(encoding="utf-8"))))
    for line in lines:
        line.update(
            dict.fromkeys(("night", "lift", "access", "access_surface", "turning_time"), "")
        )
        line.pop("lift [ft]", None)
    fields = [f for f in lines[0] if f != "lift"]
    with supply.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fields, lineterminator="\n", extrasaction="ignore")
        writer.writeheader()
        writer.writerows(lines)
    return folder
