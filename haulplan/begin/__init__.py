"""Begin a scenario from what a crew has at hand: a track, an engine class, little else."""

import datetime as dt
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from haulplan.begin.along import Found, places_along
from haulplan.begin.asked import Asked, in_their_words, problems_of
from haulplan.begin.folder import Draft, draft_lines, places_table, scenario_text, supply_table
from haulplan.begin.ground import Ground, read_ground
from haulplan.begin.matter import Open, open_figures
from haulplan.begin.suggest import suggested, supplies_of
from haulplan.demand import build_demand
from haulplan.errors import InputError, NoPlanError, Problem
from haulplan.plan import Plan
from haulplan.plan.trial import Case, solved_plan
from haulplan.replay import replay
from haulplan.route import Route, build_route
from haulplan.scenario import Scenario, read_scenario
from haulplan.scenario.schema import Supply

__all__ = ["BEGUN_NAMES", "Asked", "Begun", "begin"]

#: Files that a begun folder may hold.
BEGUN_NAMES: Final = frozenset(
    {"scenario.toml", "route.gpx", "route.csv", "heights.csv", "supply.csv", "places.csv"}
)
#: A shorter road is a slip or a yard. haulplan's assumption. [m]
_SHORTEST: Final = 200.0
#: Parts of a train nobody said anything of that are tried where the whole does not climb.
_SHARES: Final = (1.0, 0.5, 0.25, 0.0)
#: Time for the plan that shows that there is one. [s]
_TIME: Final = 10.0


@dataclass(frozen=True, kw_only=True)
class Begun:
    """A scenario folder ready to be written, and what its crew must know of it.

    `plan` is None where there is none yet, `refusal` then says why. `wanted` are supplies
    nobody has found yet, `read` those told from marks by their words; `left_out` marks with
    their distance off the road [m]. `open` are figures nobody gave, by their weight.
    """

    files: Mapping[str, str | bytes]
    draft: Draft
    scenario: Scenario
    route: Route
    level: bool
    read: tuple[Supply, ...]
    wanted: tuple[Supply, ...]
    left_out: tuple[tuple[str, float], ...]
    open: tuple[Open, ...]
    plan: Plan | None
    refusal: NoPlanError | None


def begin(
    asked: Asked, *, today: dt.date, progress: Callable[[str], None] = lambda _: None
) -> Begun:
    """A scenario that plans, from what was said and assumptions that are marked.

    Parameters
    ----------
    asked
        What was said.
    today
        The run is on the Saturday after where no date was said.
    progress
        Told what is being done.

    Returns
    -------
    begun
        The folder's files; driven to the end by the plan it has, or why it has none.

    Raises
    ------
    InputError
        If what was said, or the road's file, cannot be read.
    """
    if problems := problems_of(asked):
        raise InputError(problems)
    progress("reading the road")
    ground = read_ground(asked)
    with tempfile.TemporaryDirectory() as folder:
        desk = _Desk(asked=asked, ground=ground, today=today, folder=Path(folder))
        try:
            return _begin(desk, progress)
        except InputError as error:
            raise in_their_words(error, asked) from None


@dataclass(frozen=True, kw_only=True)
class _Desk:
    """Where drafts are written and read again."""

    asked: Asked
    ground: Ground
    today: dt.date
    folder: Path

    def drafted(self, share: float) -> Draft:
        """With this share of a train nobody said anything of."""
        return draft_lines(self.asked, self.ground, self.today, share)

    def files(
        self, draft: Draft, supplies: Sequence[Supply] = (), found: Sequence[Found] = ()
    ) -> dict[str, str | bytes]:
        """The files of a draft by name."""
        tables = {
            "supply.csv": supply_table(draft, supplies),
            "places.csv": places_table(found),
        }
        return {
            "scenario.toml": scenario_text(draft),
            **self.ground.files,
            **{name: text for name, text in tables.items() if text is not None},
        }

    def read(self, files: Mapping[str, str | bytes]) -> tuple[Scenario, Route]:
        """The scenario as anybody will read it."""
        for name, content in files.items():
            data = content.encode() if isinstance(content, str) else content
            (self.folder / name).write_bytes(data)
        scenario = read_scenario(self.folder)
        return scenario, build_route(scenario)


def _begin(desk: _Desk, say: Callable[[str], None]) -> Begun:
    draft = desk.drafted(1.0)
    scenario, route = desk.read(desk.files(draft))
    if route.length < _SHORTEST:
        unit = draft.system.height
        problem = Problem(
            file=desk.ground.route["file"],
            where="",
            found=f"the road is {unit.text(route.length)} long",
            remedy=f"give a road of at least {unit.text(_SHORTEST)}",
        )
        raise InputError([problem])
    found, left_out = places_along(desk.ground, route.line, scenario.file.route.snap)
    say("driving the road")
    whole = (draft, scenario, route)
    refusal = None
    for share in (1.0,) if draft.train_said else _SHARES:
        if share < 1.0:
            draft = desk.drafted(share)
            scenario, route = desk.read(desk.files(draft))
        try:
            case = Case(scenario=scenario, route=route, demand=build_demand(scenario, route))
        except NoPlanError as error:
            refusal = refusal or error
            continue
        return _supplied(desk, draft, case, found, left_out, say)
    draft, scenario, route = whole
    read = supplies_of(draft, scenario, found)
    files = desk.files(draft, read, found)
    scenario, route = desk.read(files)
    return Begun(
        files=files, draft=draft, scenario=scenario, route=route, level=desk.ground.level,
        read=read, wanted=(), left_out=left_out, open=(), plan=None, refusal=refusal,
    )  # fmt: skip


def _supplied(
    desk: _Desk,
    draft: Draft,
    case: Case,
    found: Sequence[Found],
    left_out: tuple[tuple[str, float], ...],
    say: Callable[[str], None],
) -> Begun:
    """With the supplies that were marked, and those that are wanted besides."""
    read = supplies_of(draft, case.scenario, found)
    wanted: tuple[Supply, ...] = ()
    say("planning")
    case, plan, refusal = _tried(desk, draft, read, found)
    if refusal is not None and any(s.kind in ("water", "coal") for s in refusal.shortages):
        more = suggested(case, draft, refusal, say)
        if isinstance(more, NoPlanError):
            refusal = more
        else:
            wanted = more
            case, plan, refusal = _tried(desk, draft, (*read, *wanted), found)
    say("weighing what is not known")
    return Begun(
        files=desk.files(draft, (*read, *wanted), found), draft=draft, scenario=case.scenario,
        route=case.route, level=desk.ground.level, read=read, wanted=wanted, left_out=left_out,
        open=open_figures(case, desk.asked, draft), plan=plan, refusal=refusal,
    )  # fmt: skip


def _tried(
    desk: _Desk, draft: Draft, supplies: Sequence[Supply], found: Sequence[Found]
) -> tuple[Case, Plan | None, NoPlanError | None]:
    """The folder read as it will stand, planned, and its plan driven."""
    scenario, route = desk.read(desk.files(draft, supplies, found))
    case = Case(scenario=scenario, route=route, demand=build_demand(scenario, route))
    try:
        plan = solved_plan(case, time_limit=_TIME)
    except NoPlanError as error:
        return case, None, error
    replay(scenario, route, case.demand, plan)
    return case, plan, None
