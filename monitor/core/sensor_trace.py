"""How the reading of one sensor behaves: whether it is on its way to its set point, and whether it can be believed.

Pure. Three things make a reading implausible: it jumps as no metal can; it never changes though it used to flicker; or
it cannot be at all, which the connectors refuse already (`connectors/plausibility.py`), so that it is silent here.
Figures are judgement, unless a source stands beside them.
"""

from typing import Final, NamedTuple

from monitor.core.readings import Sensor

AT_SET_K: Final = 3.0
"""Nearer than this to its set point a sensor has reached it [K]."""
PROGRESS_K: Final = 1.0
STUCK_WAY_S: Final = 240.0
"""On its way a sensor comes nearer by `PROGRESS_K` at least once in this time; a heater at full duty makes 1 K in
seconds, a block that cools by itself in half a minute."""
JUMP_K: Final = 12.0
FASTEST_K_S: Final = 12.0
"""A change by more than JUMP_K + FASTEST_K_S times its time is no change of a metal block: a 60 W cartridge heats even
5 g of brass (0.38 J/(g K), handbook value from memory) by 32 K/s, but the blocks and nozzles meant here weigh 20 g or
more."""
LONGEST_PAIR_S: Final = 10.0
JUMPS_TOLD: Final = 3
JUMPS_WITHIN_S: Final = 600.0
LEARNING_S: Final = 1800.0
LEARNING_CHANGES: Final = 100
COARSE_K: Final = 0.35
"""A sensor that reports in steps this coarse may stand still for long when all is well: nothing is said of it."""
STILL_TIMES: Final = 20.0
STILL_LEAST_S: Final = 900.0
_NOTHING_SEEN_K: Final = 1e9


class SensorTrace(NamedTuple):
    """What is remembered of one sensor's readings."""

    set_c: float | None = None
    nearest_k: float = 0.0  # to its set point since that was set; what counts as progress
    nearest_s: float = 0.0  # when it last came nearer
    has_reached: bool = True
    changed_s: float | None = None  # when the reading last changed
    settled_s: float | None = None  # since when it has been at its set point
    changes: int = 0  # of the reading, while settled
    longest_s: float = 0.0  # it stood still, while settled
    finest_k: float = _NOTHING_SEEN_K  # smallest change seen, while settled
    jumps: tuple[tuple[float, float], ...] = ()  # time and size of the latest


def traced(trace: SensorTrace, before: Sensor, after: Sensor, time_s: float) -> SensorTrace:
    """The trace after a sensor's newest reading."""
    if after.temp_c is None or after.is_estimate or after.seen_s != time_s:
        return trace
    trace = _on_its_way(trace, after.temp_c, after.set_c, time_s)
    if before.temp_c is None or before.is_estimate or trace.changed_s is None:
        return trace._replace(changed_s=time_s)
    change_k = abs(after.temp_c - before.temp_c)
    if change_k == 0.0:
        return trace
    if change_k > JUMP_K and is_jump(change_k, time_s - before.seen_s):
        recent = tuple(jump for jump in trace.jumps if time_s - jump[0] <= JUMPS_WITHIN_S)
        trace = trace._replace(jumps=(*recent[-9:], (time_s, change_k)))
    return _learnt(trace, change_k, time_s)


def is_jump(change_k: float, over_s: float) -> bool:
    """Whether metal cannot have changed so much in that time; nothing is said of readings far apart."""
    return over_s <= LONGEST_PAIR_S and change_k > JUMP_K + FASTEST_K_S * over_s


def is_under_way(trace: SensorTrace, time_s: float) -> bool:
    """Whether the reading is still approaching a set point that it has not reached since that was set."""
    return not trace.has_reached and time_s - trace.nearest_s <= STUCK_WAY_S


def still_s(trace: SensorTrace, time_s: float) -> float | None:
    """How long the reading has stood still where it never did before [s]; None where that says nothing."""
    if trace.settled_s is None or trace.changed_s is None or trace.finest_k > COARSE_K:
        return None
    if trace.changes < LEARNING_CHANGES or trace.changed_s - trace.settled_s < LEARNING_S:
        return None
    stood_s = time_s - trace.changed_s
    return stood_s if stood_s > max(STILL_LEAST_S, STILL_TIMES * trace.longest_s) else None


def is_odd(trace: SensorTrace, time_s: float) -> bool:
    """Whether the reading cannot be believed."""
    return bool(trace.jumps and jumps_lately(trace, time_s)) or still_s(trace, time_s) is not None


def jumps_lately(trace: SensorTrace, time_s: float) -> tuple[float, ...]:
    """Sizes of the jumps within the last minutes [K], enough of them to be told; else nothing."""
    sizes = tuple(size_k for when_s, size_k in trace.jumps if time_s - when_s <= JUMPS_WITHIN_S)
    return sizes if len(sizes) >= JUMPS_TOLD else ()


def _on_its_way(trace: SensorTrace, temp_c: float, set_c: float | None, time_s: float) -> SensorTrace:
    if set_c != trace.set_c:
        off_k = 0.0 if set_c is None else abs(temp_c - set_c)
        return trace._replace(
            set_c=set_c, nearest_k=off_k, nearest_s=time_s, has_reached=off_k <= AT_SET_K, settled_s=None, changes=0
        )
    if set_c is None or set_c <= 0.0:
        return trace  # nothing heats there, and what only cools may stand still for hours
    off_k = abs(temp_c - set_c)
    if trace.has_reached:
        return _at_its_set_point(trace, off_k, time_s)
    if off_k <= AT_SET_K:
        return trace._replace(has_reached=True)
    return trace._replace(nearest_k=off_k, nearest_s=time_s) if off_k <= trace.nearest_k - PROGRESS_K else trace


def _at_its_set_point(trace: SensorTrace, off_k: float, time_s: float) -> SensorTrace:
    """Begin to learn how it flickers once it is there, and forget that when it leaves."""
    if off_k <= AT_SET_K:
        return trace if trace.settled_s is not None else trace._replace(settled_s=time_s)
    if trace.settled_s is None:
        return trace
    return trace._replace(settled_s=None, changes=0, longest_s=0.0, finest_k=_NOTHING_SEEN_K)


def _learnt(trace: SensorTrace, change_k: float, time_s: float) -> SensorTrace:
    set_c, nearest_k, nearest_s, has_reached, changed_s, settled_s, changes, longest_s, finest_k, jumps = trace
    if settled_s is not None and changed_s is not None:
        changes += 1
        longest_s = max(longest_s, time_s - max(changed_s, settled_s))
        finest_k = min(finest_k, change_k)
    # made anew rather than replaced in part, which takes four times as long and happens with every reading
    return SensorTrace(set_c, nearest_k, nearest_s, has_reached, time_s, settled_s, changes, longest_s, finest_k, jumps)
