"""Pages of the whole interface from its docstrings: python tests/api_docs.py FOLDER."""

import importlib
import re
import sys
import warnings
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "haulplan"


def module_names() -> list[str]:
    """Every module of the package, but what only starts the command line."""
    names = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        parts = parts[:-1] if parts[-1] == "__init__" else parts
        if parts[-1] != "__main__":
            names.append(".".join(parts))
    return names


def _parent(name: str) -> object:
    parent = name.rpartition(".")[0]
    return importlib.import_module(parent) if parent else None


def write(folder: Path) -> None:
    """Write the pages; whatever pdoc warns of is an error."""
    import pdoc  # not there where tests are only collected
    import pdoc.docstrings
    import pdoc.render

    names = [
        name
        for name in module_names()
        # pdoc finds by itself what a package offers under a module's own name
        if name.rpartition(".")[2] not in getattr(_parent(name), "__all__", ())
    ]
    plain = pdoc.docstrings.numpy
    # a reference is a comment to pdoc unless its two points are taken away
    pdoc.docstrings.numpy = lambda text: plain(re.sub(r"(?m)^(\s*)\.\. (?=\[\d)", r"\1", text))
    pdoc.render.configure(docformat="numpy", math=False, search=True)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        # some types of other libraries exist in their stubs only
        warnings.filterwarnings("ignore", message="Error parsing type annotation")
        pdoc.pdoc(*names, output_directory=folder)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
