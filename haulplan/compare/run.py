"""Plan variants one after the other, or several at once in processes of their own.

Processes, not threads: a second solver in one process shares the first one's threads. They
are started afresh ("spawn"), so that nothing a caller's process holds is carried over.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from typing import TypeVar

from haulplan.compare.outcome import Outcome, outcome_of, read_variant
from haulplan.compare.variants import Variant
from haulplan.errors import InputError, InternalError, Problem

__all__ = ["compare"]

T = TypeVar("T")

#: A process that was told to end is waited for at most so long. [s]
_PATIENCE = 5.0


def compare(
    variants: Sequence[Variant],
    *,
    units: str | None = None,
    time_limit: float | None = None,
    workers: int = 1,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[Outcome, ...]:
    """Plan every variant and prove each plan.

    Parameters
    ----------
    variants
        What to plan.
    units
        Units of what a refusal shows, instead of each scenario's own.
    time_limit
        Most time for the solver, each variant by itself, none where None. [s]
    workers
        Processes to plan in; with 1 everything happens in this one. With more, a script
        must guard its own start with `if __name__ == "__main__"`.
    progress
        Told how many variants are done.

    Returns
    -------
    outcomes
        In the order of the variants, the same for any number of workers.

    Raises
    ------
    InputError
        If any scenario has faults; those of all variants are named, before any is planned
        where reading them shows it.
    InternalError
        If the solver or a proof fails, or a process ends unforeseen.

    Examples
    --------
    >>> from haulplan.compare.variants import variants_of
    >>> found = compare(variants_of(
    ...     ["scenarios/hobmere-penniford"], ["lighter: train.wagons[3].load = 0 lb"]))
    >>> found[1].tally.water < found[0].tally.water
    True
    """
    problems: list[Problem] = []
    for variant in variants:
        _noted(problems, partial(read_variant, variant))
    if problems:
        raise InputError(problems)
    task = partial(outcome_of, units=units, time_limit=time_limit)
    found: list[Outcome | None] = []
    if min(workers, len(variants)) <= 1:
        for number, variant in enumerate(variants, start=1):
            found.append(_noted(problems, partial(task, variant)))
            progress(number)
    else:
        with _pool(min(workers, len(variants))) as pool:
            with _held_back():  # processes are started here
                futures = [pool.submit(task, variant) for variant in variants]
            _await(futures, progress)
            found = [_noted(problems, future.result) for future in futures]
    if problems:
        raise InputError(problems)
    return tuple(outcome for outcome in found if outcome is not None)


def _noted(problems: list[Problem], work: Callable[[], T]) -> T | None:
    """What the work gives; faults of the input are kept for later."""
    try:
        return work()
    except InputError as error:
        problems += error.problems
        return None


def _await(futures: Sequence["Future[Outcome]"], progress: Callable[[int], None]) -> None:
    """Wait till all are done, and tell how many are."""
    left = set(futures)
    while left:
        _, left = wait(left, return_when=FIRST_COMPLETED)
        progress(len(futures) - len(left))


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that are gone when this is left, whatever ends it."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
    )
    try:
        yield pool
    except BaseException as error:
        pool.shutdown(wait=False, cancel_futures=True)
        ours = set(multiprocessing.active_children()) - before
        for child in ours:
            child.terminate()
        for child in ours:
            child.join(_PATIENCE)
        if isinstance(error, BrokenProcessPool):
            raise InternalError(
                "a process that planned ended unforeseen, perhaps for want of memory; try "
                "again with --workers 1"
            ) from error
        raise
    pool.shutdown()


@contextmanager
def _held_back() -> Iterator[None]:
    """Ctrl-C comes after this; processes started here inherit that it never comes to them."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Leave Ctrl-C to the process that started this one, and end when that one is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: "multiprocessing.process.BaseProcess") -> None:
    parent.join()
    os._exit(1)
