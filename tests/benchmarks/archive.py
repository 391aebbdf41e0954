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

from monitor.archive.batch import judge_all
from tests.archive_examples import archived, many

COUNT = 1000


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


def measure(count: int = COUNT) -> dict[str, float]:
    """Times [s], and how much several cores gain."""
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["XDG_CACHE_HOME"] = str(Path(scratch, "cache"))
        folder = Path(scratch, "recordings")
        folder.mkdir()
        many(folder, count)
        times = {f"first index of {count} [s]": _timed([folder])}
        times["list from the index, best of five [s] (goal: ≤ 2)"] = min(_timed([folder]) for _ in range(5))
        times["the same as a command, best of three [s] (goal: ≤ 2)"] = min(_as_command(folder) for _ in range(3))
        times["search by machine, material and alert [s]"] = _timed(
            [folder, "--machine", "machine 3", "--material", "chalk", "--alert", "ceiling"]
        )
        paths = sorted(folder.glob("*.jsonl"))[: count // 4]
        for workers in (1, len(os.sched_getaffinity(0))):
            begin_s = time.perf_counter()
            list(judge_all(paths, workers))
            times[f"judging {len(paths)} of them in {workers} processes [s]"] = time.perf_counter() - begin_s
    return times


if __name__ == "__main__":
    for name, value in measure().items():
        sys.stdout.write(f"{value:10.3f}  {name}\n")
