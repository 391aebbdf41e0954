"""What a reader costs: memory held at the worst moment, and how its work grows with its input. Shared by the fuzzers.

Owns the measures and their bounds. Knows nothing of what readers read.
"""

import gc
import time
import tracemalloc
from collections.abc import Callable, Iterator
from typing import Final

Reader = Callable[[bytes], None]

MEMORY_PER_BYTE: Final = 60
MEMORY_BESIDE: Final = 40_000_000
"""A reader may hold this much for each byte of its input, and beside it: a parsed JSON list of numbers takes 40, and
the reader of build files sets 32 MiB aside."""
FOUR_TIMES_MAY_COST: Final = 9.0
"""Four times the input may cost at most this many times the work: 4 would be linear, 16 the square."""
LEAST_WORK_S: Final = 0.005
"""A fixed part of the work is left out by this floor [s]."""


def memory_peak(read: Reader, data: bytes) -> int:
    """What Python holds at the worst moment of a reading [byte]."""
    tracemalloc.start()
    try:
        read(data)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return peak


def memory_allowed(data: bytes) -> int:
    """How much a reader may hold of this input [byte]."""
    return MEMORY_PER_BYTE * len(data) + MEMORY_BESIDE


def work_s(read: Reader, data: bytes, tries: int = 3) -> float:
    """Processor time of the quickest of some tries [s]: other programs and the collector of rubbish do not count."""
    gc.disable()
    try:
        times = []
        for _ in range(tries):
            begin = time.process_time()
            read(data)
            times.append(time.process_time() - begin)
    finally:
        gc.enable()
    return min(times)


def work_ratio(read: Reader, small: bytes, large: bytes) -> float:
    """How many times the work of `small` the work of `large` is."""
    return work_s(read, large) / max(work_s(read, small), LEAST_WORK_S)


def grown(data: bytes) -> Iterator[Callable[[int], bytes]]:
    """Ways to make an input as long as one likes of the same kind: its parts repeated where they stand."""
    lines = data.splitlines(keepends=True)
    half, third = len(lines) // 2, len(data) // 3
    parts = (
        (b"", data, b""),
        (b"".join(lines[:1]), b"".join(lines[1:]), b""),
        (b"".join(lines[:half]), b"".join(lines[half : half + 1]), b"".join(lines[half + 1 :])),
        (data[:third], data[third : 2 * third], data[2 * third :]),
        (data[: 2 * third], data[2 * third :][:8], data[2 * third + 8 :]),
    )
    for before, repeated, after in parts:
        if repeated:
            yield _repeating(before, repeated, after)


def _repeating(before: bytes, repeated: bytes, after: bytes) -> Callable[[int], bytes]:
    return lambda size: before + repeated * max(1, (size - len(before) - len(after)) // len(repeated)) + after
