"""A schedule as one sequence of steps for all inputs together, for a model that runs forward through it.

Owns the joining of the inputs' rows. Knows nothing of heat: a caller adds walls to each step.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from monitor.build_file.schedule import BuildSchedule, InputPlan
from monitor.build_file.words import Floats

SHORTEST_STEP_S: Final = 1e-3


class FeedSteps(NamedTuple):
    """Steps one after the other, from the start to the end of the build.

    Parameters
    ----------
    start_s, length_s : array of float
        When each begins and how long it lasts [s].
    feed_mm : array of float, shape (steps, inputs)
        What each input feeds within it, negative for a retraction [mm].
    """

    start_s: Floats
    length_s: Floats
    feed_mm: Floats


def feed_steps(
    schedule: BuildSchedule, inputs: Sequence[int], at_s: Sequence[float] = (), shortest_s: float = SHORTEST_STEP_S
) -> FeedSteps:
    """Join the rows of some inputs; a step ends wherever one of them begins or ends, and at the times `at_s`.

    Feed is spread evenly over each row. Nothing of it is lost, however long the shortest step is.
    """
    plans = [schedule.of_input(number) for number in inputs]
    known = [plan for plan in plans if plan is not None]
    end_s = schedule.duration.planned_s
    times = [
        np.array([0.0, *at_s]),
        *(edge for plan in known for edge in (plan.stretches.start_s, plan.stretches.end_s)),
    ]
    edges = _thinned(np.unique(np.concatenate(times)), end_s, shortest_s)
    fed = [np.zeros(len(edges)) if plan is None else _fed_at(plan, edges) for plan in plans]
    feed_mm = np.diff(np.array(fed).reshape(len(plans), -1), axis=1).T
    return FeedSteps(edges[:-1], np.diff(edges), feed_mm)


def _thinned(edges: Floats, end_s: float, shortest_s: float) -> Floats:
    """Leave out edges closer to the one before than allowed; the end stays."""
    slots = np.floor(edges / shortest_s)
    kept = edges[np.diff(slots, prepend=-1.0) > 0]
    inner = kept[(kept > 0.0) & (kept < end_s - shortest_s)]
    return np.concatenate([[0.0], inner, [max(end_s, shortest_s)]])


def _fed_at(plan: InputPlan, edges: Floats) -> Floats:
    """Net feed by each time [mm]; all of it by the last."""
    rows = plan.stretches
    total = np.cumsum(rows.feed_mm)
    times = np.stack([rows.start_s, np.maximum(rows.end_s, rows.start_s)], axis=1).ravel()
    fed = np.stack([total - rows.feed_mm, total], axis=1).ravel()
    found = np.interp(edges, times, fed)
    found[0], found[-1] = 0.0, total[-1]
    return found
