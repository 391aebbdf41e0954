"""Judges many recordings at once, on all cores. Knows nothing of where results go."""

import multiprocessing
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Final

from monitor.archive.judged import Judged, judge_file

FEWEST_FOR_POOL: Final = 8
"""Fewer files are judged here: starting processes takes longer."""


def judge_all(paths: Sequence[Path], workers: int | None = None) -> Iterator[Judged]:
    """Judge every file; results come in the order in which they are done.

    Parameters
    ----------
    paths : sequence of Path
    workers : int or None
        Processes; None for one on each core that this process may use.
    """
    count = min(_cores() if workers is None else workers, len(paths))
    if len(paths) < FEWEST_FOR_POOL or count <= 1:
        yield from map(judge_file, paths)
        return
    context = multiprocessing.get_context("spawn")  # a fork would take along locks of threads
    with ProcessPoolExecutor(count, mp_context=context, initializer=_leave_interrupts_to_the_parent) as pool:
        waiting = {pool.submit(judge_file, path): path for path in paths}
        try:
            for done in as_completed(waiting):
                yield _result(done, waiting[done])
        finally:
            pool.shutdown(cancel_futures=True)


def _result(done: Future[Judged], path: Path) -> Judged:
    try:
        return done.result()
    except BrokenProcessPool:
        return Judged(path.name, "could not be judged: the process that judged it ended, perhaps for want of memory")


def _cores() -> int:
    return len(os.sched_getaffinity(0))


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
