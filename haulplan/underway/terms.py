"""What a revision has to keep, step by step less: the finish first, then the reserve."""

from dataclasses import dataclass, replace

from haulplan.scenario.schema import Levels
from haulplan.underway.task import Task

__all__ = ["ALL", "GIVE", "KEPT", "Terms", "on_terms", "terms_for"]

#: What a revision may give of each store where a level stands on its limit: a dip is read
#: to a hundredth of the tank at best, and the planner's straightening needs some room. [-]
GIVE = 1e-3


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What a plan has to keep: shares of the reserve and of the levels for the finish."""

    reserve: float
    finish: float
    give: float = GIVE
    lower: float = 0.0


#: Tried in turn until one has a plan: what is wanted at the finish gives way before the
#: reserve does.
ALL = tuple(
    Terms(reserve=reserve, finish=finish)
    for reserve, finish in (
        (1.0, 1.0), (1.0, 0.9), (1.0, 0.0), (0.5, 0.0), (0.25, 0.0), (0.0, 0.0),
    )
)  # fmt: skip
#: Those on which a plan keeps the reserve, without what may be left between.
KEPT = (ALL[0], ALL[2])
#: At the start the plan stands as it was made.
_AT_START = (replace(ALL[0], give=0.0), *ALL[1:])
#: On the planned levels, before anything is given up: a bridge may stand on its figure.
_ON_PLAN = (ALL[0], replace(ALL[0], give=2 * GIVE, lower=GIVE), *ALL[1:])
#: In the morning too, but for what straightening the road anew moves.
_MORNING = replace(ALL[0], give=0.1 * GIVE)
#: Levels so close to plan are the planned ones. [share of the store]
_CLOSE = 0.01


def terms_for(
    task: Task,
    here: int,
    off: tuple[float, float, float] | None,
    *,
    morning: bool,
    changed: bool,
) -> tuple[Terms, ...]:
    """What to try in turn at a place.

    Parameters
    ----------
    task
        The whole run.
    here
        Sample at which the engine stands.
    off
        Clock, water and coal against the plan [s], [kg].
    morning
        Whether a day's drive begins here as planned.
    changed
        Whether anything is otherwise than planned.

    Returns
    -------
    terms
        Stricter first.
    """
    if here == 0:
        return _AT_START
    stores = task.scenario.file.stores
    near = (
        off is not None
        and not changed
        and (abs(off[1]) <= _CLOSE * stores.tank and abs(off[2]) <= _CLOSE * stores.bunker)
    )
    if near and morning:
        return (_MORNING, *_ON_PLAN)
    return _ON_PLAN if near else ALL


def on_terms(task: Task, kept: Terms) -> Task:
    """The task with its limits as the terms have them.

    Parameters
    ----------
    task
        What is left.
    kept
        What has to be kept of it.

    Returns
    -------
    task
        Itself where everything has.
    """
    if kept == _AT_START[0]:
        return task
    file = task.scenario.file
    room = file.stores.tank, file.stores.bunker

    def levels(wanted: Levels, share: float, give: float) -> Levels:
        water, coal = (
            max(min(want, most) * share - give * most, 0.0)
            for want, most in zip((wanted.water, wanted.coal), room, strict=True)
        )
        return Levels.model_construct(water=water, coal=coal)

    update = {
        "reserve": levels(file.reserve, kept.reserve, kept.give),
        "at_finish": levels(file.at_finish, kept.finish, kept.give),
        "at_start": levels(file.at_start, 1.0, kept.lower),
    }
    return replace(task, scenario=replace(task.scenario, file=file.model_copy(update=update)))
