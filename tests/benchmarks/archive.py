"""How fast a thousand recordings are listed. Run it with ``python -m tests.benchmarks.archive``.

The recordings are small and invented (two minutes each): the first index therefore shows the cost of a file, not that
of a night, which is a replay's (`whole_engine`).
"""

import io
import os
import subprocess
import sys
import tempfile
import time
from contextlib import redirect_stdout
from pathlib import Path
from typing import Final

from monitor.archive.batch import judge_all
from tests.archive_examples import archived, many
from tests.benchmarks.figures import Figure, of_this_machine, ratio, show

COUNT = 1000
FIGURES: Final[tuple[Figure, ...]] = (
    of_this_machine("listed from the index", "s", at_most=2.0),
    ratio("listing them from the index", "indexing them first", at_most=0.2),
    of_this_machine("listed from the index by the command", "s", at_most=2.0),
    ratio("searched by machine, material and alert", "listing them all", at_most=1.5),
    of_this_machine("indexed first", "s"),
    ratio("judged by all cores", "judged by one", at_most=1.2),
)
"""2 s are a goal; the ratios are bounded by what was measured, rounded up."""


def _timed(words: list[object]) -> float:
    begin_s = time.perf_counter()
    with redirect_stdout(io.StringIO()):
        archived(words)
    return time.perf_counter() - begin_s


def _as_command(folder: Path) -> float:
    """The same in a process of its own, with all its imports [s]."""
    code = "import sys; from tests.archive_examples import archived; archived(sys.argv[1:])"
    begin_s = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, str(folder)], check=True, stdout=subprocess.DEVNULL)  # noqa: S603 -- ours
    return time.perf_counter() - begin_s


def _judged_s(paths: list[Path], workers: int) -> float:
    begin_s = time.perf_counter()
    list(judge_all(paths, workers))
    return time.perf_counter() - begin_s


def measure(count: int = COUNT) -> dict[str, float]:
    """Times [s] and ratios, by the clock: several processes share the work."""
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["XDG_CACHE_HOME"] = str(Path(scratch, "cache"))
        folder = Path(scratch, "recordings")
        folder.mkdir()
        many(folder, count)
        first_s = _timed([folder])
        search: list[object] = [folder, "--machine", "machine 3", "--material", "chalk", "--alert", "ceiling"]
        pairs = [(_timed([folder]), _timed(search)) for _ in range(5)]
        listed_s, searched_s = (min(times) for times in zip(*pairs, strict=True))
        paths = sorted(folder.glob("*.jsonl"))[: count // 4]
        one_s, all_s = _judged_s(paths, 1), _judged_s(paths, len(os.sched_getaffinity(0)))
        return {
            "listed from the index": listed_s,
            "listing them from the index": listed_s / first_s,
            "listed from the index by the command": min(_as_command(folder) for _ in range(3)),
            "searched by machine, material and alert": searched_s / listed_s,
            "indexed first": first_s,
            "judged by all cores": all_s / one_s,
        }


if __name__ == "__main__":
    sys.stdout.write(show(f"the archive, {COUNT} recordings", FIGURES, measure()))
