"""Every package that haulplan needs at run time, and the licence each states.

Run from the top of the repository to renew DEVELOPERS.md: python tests/licences.py
"""

import re
import tomllib
from importlib import metadata
from pathlib import Path

__all__ = ["licences", "needed"]

TOP = Path(__file__).resolve().parent.parent
GUIDE = TOP / "DEVELOPERS.md"


def needed() -> dict[str, set[str]]:
    """Packages needed, those needed by others too, and by whom."""
    text = (TOP / "pyproject.toml").read_text(encoding="utf-8")
    waiting = [(line, "haulplan") for line in tomllib.loads(text)["project"]["dependencies"]]
    found: dict[str, set[str]] = {}
    while waiting:
        line, by = waiting.pop()
        if "extra ==" in line:
            continue
        name = re.split(r"[<>=!~;\[\( ]", line, maxsplit=1)[0].lower().replace("_", "-")
        known = name in found
        found.setdefault(name, set()).add(by)
        if known:
            continue
        try:
            waiting += [(more, name) for more in metadata.requires(name) or ()]
        except metadata.PackageNotFoundError:  # for other systems or Pythons
            del found[name]
    return found


def licences(name: str) -> str:
    """What the package says of its licence.

    Parameters
    ----------
    name
        An installed package.

    Returns
    -------
    licence
        In its own words, on one line, shortened.
    """
    told = metadata.metadata(name).json
    classifiers = told.get("classifier", ())
    classed = [c.rpartition(" :: ")[2] for c in classifiers if "License" in c]
    words = str(
        told.get("license_expression") or "; ".join(classed) or told.get("license") or "unknown"
    )
    first = words.strip().splitlines()[0]
    return first if len(first) <= 60 else first[:57] + "..."


def table() -> str:
    """The block of DEVELOPERS.md."""
    rows = [
        f"| {name} | {licences(name)} | {', '.join(sorted(by))} |"
        for name, by in sorted(needed().items())
    ]
    head = ["<!-- licences -->", "| package | licence as it states | needed by |", "|---|---|---|"]
    return "\n".join([*head, *rows, "<!-- end licences -->"])


if __name__ == "__main__":
    text = GUIDE.read_text(encoding="utf-8")
    pattern = r"<!-- licences -->.*?<!-- end licences -->"
    GUIDE.write_text(re.sub(pattern, lambda _: table(), text, flags=re.DOTALL), encoding="utf-8")
