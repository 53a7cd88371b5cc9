"""A reconstruction as a page a historian could cite, with its tables as CSV."""

import math
import platform
from collections.abc import Mapping, Sequence
from html import escape
from importlib import metadata
from importlib.resources import files

from haulplan import __version__
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.history import charts, figures, rows
from haulplan.outputs.tables import Cell, frame_of, plain, to_csv
from haulplan.period import Reconstruction
from haulplan.period.weigh import AGREES, CANNOT, DOUBTFUL
from haulplan.units import UnitSystem

__all__ = ["history_outputs", "verdict"]

_LIBRARIES = ("numpy", "scipy", "chemicals", "pydantic", "PuLP", "pyscipopt", "highspy")
_NUMBERS = frozenset(
    {"before [%]", "after [%]", "from even weights [%]", "weight after [%]", "trains stopped [%]"}
)


def history_outputs(found: Reconstruction, system: UnitSystem) -> dict[str, str]:
    """Every file of a reconstruction by its name.

    Parameters
    ----------
    found
        The reconstruction.
    system
        Units of what is shown.

    Returns
    -------
    files
        report.html, the tables as CSV, the charts as SVG, and the record as it stood.
    """
    tables = _tables(found, system)
    pictures = _pictures(found, system)
    return {
        "report.html": _page(found, system, pictures),
        **{f"{name}.csv": to_csv(frame_of(table)) for name, table in tables.items() if table},
        **{f"{name}.svg": picture for name, picture in pictures.items()},
        "record.toml": found.record.text,
    }


def _tables(found: Reconstruction, system: UnitSystem) -> dict[str, list[dict[str, Cell]]]:
    stages = [
        {"run": variant.name, "train [%]": round(100 * variant.share), **row}
        for variant in found.variants
        for row in rows.stage_rows(variant, system)
    ]
    return {
        "readings": rows.reading_rows(found),
        "ranges": rows.range_rows(found, system),
        "implied": rows.implied_rows(found, system),
        "cases": rows.case_rows(found, system),
        "road_states": rows.state_rows(found, system),
        "oddities": rows.flag_rows(found),
        "assumptions": rows.item_rows(found),
        "stages": stages,
        "runs": rows.variant_rows(found, system),
    }


def _pictures(found: Reconstruction, system: UnitSystem) -> dict[str, str]:
    if not found.missing:
        return {}
    pictures = {"readings": charts.draw_readings(found)} if found.readings else {}
    return pictures | {
        "ranges": charts.draw_ranges(found, system),
        "cases": charts.draw_cases(found, system),
    }


def verdict(found: Reconstruction) -> list[str]:
    """Whether the record holds together, in a few sentences.

    Parameters
    ----------
    found
        The reconstruction.

    Returns
    -------
    sentences
        Plain text.
    """
    if not found.missing:
        said = "The record holds tables only." if found.record.file.way is None else ""
        return [said or "No combination runs this trip: see the oddities."]
    share = 100 * found.agreeing
    sentences = [
        f"Of all combinations of readings and figures, {share:.2g} % agree with every stated "
        f"figure within {AGREES:g} times its tolerance: the trip "
        + ("can be as stated." if not found.flags else "can be so only with the oddities below.")
    ]
    refused = [f"{r.question}: {r.answer}" for r in found.readings if r.verdict == "cannot be"]
    if refused:
        sentences.append(f"Readings that cannot be: {'; '.join(refused)}.")
    if found.effective < 200:
        sentences.append(
            f"Only about {found.effective:.0f} combinations carry the weight: take the ranges as "
            "rough, or draw more with --draws."
        )
    return sentences


def _page(found: Reconstruction, system: UnitSystem, pictures: Mapping[str, str]) -> str:
    css = (files("haulplan.outputs.history") / "page.css").read_text(encoding="utf-8")
    file = found.record.file
    title = escape(plain(file.title))
    body = "\n".join(
        [
            *_opening(found),
            *_oddities(found),
            *_weighing(found, pictures),
            *_figures(found, system, pictures),
            *_roads(found, system),
            *_run(found, system),
            *_notes(found),
            *_assumptions(found),
            *_again(found),
        ]
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: a reconstruction</title>\n<style>\n{css}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _opening(found: Reconstruction) -> list[str]:
    file = found.record.file
    parts = [
        f"<h1>{escape(plain(file.title))}</h1>",
        f'<p class="lead">{escape(plain(file.source))}; {file.date or file.year}</p>',
    ]
    if file.wording is not None:
        parts += ["<blockquote>", *_paragraphs(file.wording), "</blockquote>"]
    if file.note is not None:
        parts.append(f"<p>{escape(plain(file.note))}</p>")
    if file.not_stated:
        said = "; ".join(escape(plain(words)) for words in file.not_stated)
        parts.append(f"<p><b>The source does not state:</b> {said}.</p>")
    parts.append("<h2>Does it hold together?</h2>")
    parts += [f'<p class="lead">{escape(line)}</p>' for line in verdict(found)]
    return parts


def _paragraphs(words: str) -> list[str]:
    """Text of several lines, empty ones between its paragraphs."""
    parts = [" ".join(part.split()) for part in words.split("\n\n")]
    return [f"<p>{escape(plain(part))}</p>" for part in parts if part]


def _oddities(found: Reconstruction) -> list[str]:
    if not found.flags:
        return ["<p>No oddity was found.</p>"]
    return [
        f'<div class="flag"><b>{escape(flag.kind[0].upper() + flag.kind[1:])}</b> '
        f"({escape(plain(flag.where))}): {escape(plain(flag.words))}.</div>"
        for flag in found.flags
    ]


def _weighing(found: Reconstruction, pictures: Mapping[str, str]) -> list[str]:
    if not found.readings:
        return []
    return [
        "<h2>Which readings agree</h2>",
        "<p>A combination's weight is its weight before the record is heard, times its agreement "
        "with each stated figure: normal in the logarithm of reckoned over stated, its width the "
        "printed step and 5 % (15 % where the source says <i>about</i>); a bound counts on one "
        "side. <i>From even weights</i> is what the reckoning alone would say, had every reading "
        f"been alike likely. Doubtful is below {100 * DOUBTFUL:g} % in either, cannot be below "
        f"{100 * CANNOT:g} % in both.</p>",
        _picture(pictures, "readings"),
        _table(rows.reading_rows(found)),
    ]


def _figures(found: Reconstruction, system: UnitSystem, pictures: Mapping[str, str]) -> list[str]:
    if not found.missing:
        return ["<h2>Published cases</h2>", *_cases(found, system)]
    missing = [
        {
            "figure": row.name,
            "before the record is heard": figures.range_text(row.prior, unit),
            "after": figures.range_text(row.after, unit),
        }
        for kind, row in found.missing
        for unit in [figures.shown(kind, system)]
    ]
    currency = figures.currency_of(found)
    implied = [
        {
            "figure": row.name,
            "by the record's own figures": figures.one_range(row.record, unit),
            "reckoned": figures.one_range(row.reckoned, unit),
        }
        for row in found.implied
        for unit in [figures.shown(row.kind, system, currency)]
    ]
    return [
        "<h2>What the record leaves out</h2>",
        "<p>Each figure is the middle, and in brackets the range that nine in ten of the weighed "
        "combinations keep.</p>",
        _picture(pictures, "ranges"),
        _table(missing),
        "<h2>What follows from it</h2>",
        _table(implied),
        "<h2>Beside published cases</h2>",
        "<p>By arithmetic alone, under the likeliest reading of each; blank where a source has no "
        "figure.</p>",
        _picture(pictures, "cases"),
        *_cases(found, system),
    ]


def _cases(found: Reconstruction, system: UnitSystem) -> list[str]:
    """The table of cases, and their sources beneath it."""
    cells = rows.case_rows(found, system)
    shown = [{k: v for k, v in row.items() if k not in {"source", "year"}} for row in cells]
    items = "".join(
        f"<li>{escape(str(row['case']))}: {escape(str(row['source']))}</li>" for row in cells
    )
    return [_table(shown), f'<ul class="small">{items}</ul>']


def _picture(pictures: Mapping[str, str], name: str) -> str:
    return f'<div class="wide">{pictures[name]}</div>' if name in pictures else ""


def _roads(found: Reconstruction, system: UnitSystem) -> list[str]:
    if not found.states:
        return []
    return [
        "<h2>The same way in three states of the road</h2>",
        "<p>All else as it agrees with the record. <i>Way in parts</i>: where no gear held, the "
        "train went up in two to four parts. <i>Trains stopped</i>: even a quarter did not pass."
        "</p>",
        _table(rows.state_rows(found, system)),
    ]


def _run(found: Reconstruction, system: UnitSystem) -> list[str]:
    if found.likely is None or not found.variants:
        return []
    likely = found.likely
    mass = system.mass
    parts = [
        "<h2>A likely run</h2>",
        f"<p>One run out of many that agree: {escape(likely.engine.title)}; useful load "
        f"{mass.text(likely.useful)}, wagons {mass.text(likely.tare)}; the road {likely.state}; "
        f"{likely.hours / 3600:.0f} h of work a day, {100 * likely.standing:.0f} % of it standing; "
        f"crew of {likely.crew} ({escape(plain(likely.crew_source))}). Put to the planner with the "
        "aim of fewest stops, tank full each morning, a tenth of tank and bunker kept back, coal "
        "from the train. Where the record names no water it is looked for every mile.</p>",
    ]
    first = found.variants[0]
    if first.solved and first.share < 1:
        parts.append(
            f"<p>With these middling figures not all of the train passes every hill in one piece. "
            f"The run below is of {100 * first.share:.0f} % of it; the rest goes up apart, or the "
            "hills were a little easier.</p>"
        )
    parts.append(_table(rows.stage_rows(first, system)))
    parts += [
        f'<p class="small">Day {stage.day}, with the water named alone: '
        f"{escape(plain(stage.trouble))}</p>"
        for stage in first.stages
        if stage.trouble is not None and stage.plan is not None
    ]
    parts += [
        "<p><b>What changes</b> with a wet week or poor fuel. <i>Train</i> is the part of it that "
        "passes every hill; the rest waits, or goes up apart.</p>",
        _table(rows.variant_rows(found, system)),
        *(
            f'<p class="small">{escape(variant.name.capitalize())}, no plan: '
            f"{escape(plain(variant.trouble))}</p>"
            for variant in found.variants
            if variant.trouble is not None
        ),
    ]
    return parts


def _notes(found: Reconstruction) -> list[str]:
    if not found.traps:
        return []
    items = "".join(f"<li>{escape(plain(note))}</li>" for note in found.traps)
    return ["<h2>Reader's note: words that mislead</h2>", f"<ul>{items}</ul>"]


def _assumptions(found: Reconstruction) -> list[str]:
    return [
        "<h2>Every assumption</h2>",
        "<p><i>Stated</i>: in the source. <i>Derived</i>: follows from other rows. <i>Class "
        "default</i>: usual figure of engines, wagons or roads of the kind, published or from "
        "memory as said. <i>Guess</i>: ours.</p>",
        _table(rows.item_rows(found)),
    ]


def _again(found: Reconstruction) -> list[str]:
    versions = "; ".join(f"{name} {metadata.version(name)}" for name in _LIBRARIES)
    cautions = "".join(f"<li>{escape(line)}</li>" for line in CAUTIONS[1:4])
    return [
        "<h2>To reckon it again</h2>",
        f"<p><code>haulplan reconstruct record.toml --draws {found.count} --seed {found.seed}"
        f"</code> with haulplan {__version__}, Python {platform.python_version()}; {versions}. "
        f"{found.count:,} combinations in the last round, of which about {found.effective:,.0f} "
        "carry the weight. The same record, draws, seed and versions give the same figures.</p>",
        "<p>Nobody should drive a road by this page:</p>",
        f'<ul class="small">{cautions}</ul>',
    ]


def _table(cells: Sequence[Mapping[str, Cell]]) -> str:
    if not cells:
        return ""
    heads = "".join(f"<th>{escape(name)}</th>" for name in cells[0])
    body = "".join(
        "<tr>" + "".join(_td(name, value) for name, value in row.items()) + "</tr>" for row in cells
    )
    return (
        f'<div class="wide"><table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody>'
        "</table></div>"
    )


def _td(name: str, value: Cell) -> str:
    if isinstance(value, float) and name in _NUMBERS and math.isfinite(value):
        return f'<td class="n">{value:.1f}</td>'
    numeric = isinstance(value, int | float) or (
        bool(value) and all(c.isdigit() or c in ".,-– " for c in value)
    )
    mark = ' class="n"' if numeric else ' class="source"' if name == "source" else ""
    return f"<td{mark}>{escape(str(value))}</td>"
