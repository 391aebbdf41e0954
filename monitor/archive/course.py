"""How the dose and the feed of each strand ran through a recording, minute by minute. Pure."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.assessment import Assessment
from monitor.every import Every

LOOK_EVERY_S: Final = 60.0
"""How often strands are looked at [s]: a dose in what follows may be this much too old."""
MOST_LOOKS: Final = 50_000
"""A month of minutes; what is beyond is not kept."""
USED_MM: Final = 2.0
"""A strand that moved on by so much between two looks was used [mm] (judgement: more than a retraction and back)."""
JAM_WINDOW_S: Final = 600.0
"""A jam is noticed late, and by then somebody may have purged: its dose is the highest of these last seconds."""

Course = NDArray[np.float32]
"""Rows of time [s], dose [min at the reference] and cumulative feed [mm], one for each look."""


class Courses:
    """Collects the courses of all strands."""

    def __init__(self) -> None:
        self._due = Every(LOOK_EVERY_S)
        self._rows: dict[int, list[tuple[float, float, float]]] = {}
        self._looks = 0

    def is_due(self, time_s: float) -> bool:
        """Whether it is time for another look."""
        return self._looks < MOST_LOOKS and self._due(time_s)

    def take(self, assessment: Assessment) -> None:
        """Look."""
        self._looks += 1
        for strand in assessment.strands:
            fed_mm = 0.0 if strand.fed_mm is None else strand.fed_mm
            self._rows.setdefault(strand.input, []).append((assessment.time_s, strand.dose_now_min, fed_mm))

    def of(self, number: int) -> Course:
        """The course of one input's strand; empty when it was never looked at."""
        return np.array(self._rows.get(number, []), dtype=np.float32).reshape(-1, 3)


def highest_used_min(course: Course, until_s: float | None = None) -> float | None:
    """Highest dose with which the strand was pushed and moved on, up to a time; None when it never was."""
    if len(course) < 2:  # noqa: PLR2004 -- a use lies between two looks
        return None
    time_s, dose_min, fed_mm = course.T
    is_used = np.diff(fed_mm) >= USED_MM
    if until_s is not None:
        is_used &= time_s[1:] <= until_s
    return float(dose_min[:-1][is_used].max()) if is_used.any() else None


def dose_at_min(course: Course, at_s: float | None) -> float | None:
    """Dose with which a strand jammed at a time, or at an unknown one: then its highest; None without a look."""
    if not len(course):
        return None
    time_s, dose_min, _ = course.T
    if at_s is None:
        return float(dose_min.max())
    is_near = (time_s <= at_s) & (time_s >= at_s - JAM_WINDOW_S)
    return float(dose_min[is_near].max()) if is_near.any() else None
