"""Times of jobs that are compared with each other: by turns, the best of some rounds, by the processor's own time.

Machines are shared and throttled: what slows one job down in a round slows the next one down as well, and the best of
some rounds is what neither was disturbed in.
"""

import math
import time
from collections.abc import Callable


def seconds(job: Callable[[], object]) -> float:
    """Processor time of one run of a job [s]."""
    begin_s = time.process_time()
    job()
    return time.process_time() - begin_s


def best_s(rounds: int, *jobs: Callable[[], object]) -> list[float]:
    """Shortest processor time of each job in some rounds, in each of which all of them take their turn [s]."""
    best = [math.inf] * len(jobs)
    for _ in range(rounds):
        best = [min(known, seconds(job)) for known, job in zip(best, jobs, strict=True)]
    return best
