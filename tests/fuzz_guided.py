"""Coverage-guided fuzzing of one reader: `python -m tests.fuzz_guided READER [--seconds N] [--keep DIR]`.

A child process has the fuzzer (atheris) change the inputs of `fuzz_corpus/READER/` for so long, guided by the branches
of our code that they reach; it ends at the first error that is not documented, at an input that takes too long, or too
much memory. That input is put into the corpus as `found-…`: the ordinary tests fail until the reader is mended. Where
there was none, what was kept is held against the bounds of `fuzz_growth`. Status 1 where anything was found.
"""

import argparse
import os
import subprocess
import sys
from collections.abc import Iterator
from hashlib import sha256
from heapq import nlargest
from itertools import chain
from mmap import mmap
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from tests.fuzz_growth import (
    FOUR_TIMES_MAY_COST,
    Reader,
    grown,
    memory_allowed,
    memory_peak,
    work_ratio,
    work_s,
)

ROOT: Final = Path(__file__).parent.parent
CORPUS: Final = Path(__file__).parent / "fuzz_corpus"
LONGEST_INPUT: Final = 20_000
LONGEST_READING_S: Final = 10
"""An input within `LONGEST_INPUT` takes milliseconds; this is a hang [s]."""
MEMORY_DISK: Final = Path("/dev/shm")  # noqa: S108 -- readers of files get theirs here, hundreds a second
UNDER_WAY: Final = "STRANDWATCH_FUZZ_UNDER_WAY"
"""Names the file in which the child notes what it is reading: the fuzzer itself does not always get to write it."""
MOST_MEMORY_MB: Final = 1500
GLANCE: Final = 25_000
SMALL: Final = 100_000
LARGE: Final = 400_000
MOST_GROWN: Final = 60
"""So many of the inputs kept are grown, spread over all of them: a look at each costs readings of `GLANCE` bytes."""
DEAREST: Final = 6
"""So many inputs are measured in full: those that cost the most for each byte."""
_LENGTH_BYTES: Final = 8


def fuzz(name: str, arguments: list[str]) -> None:
    """In the child: let the fuzzer loose on a reader; does not return. What is read stands in a file meanwhile."""
    import atheris  # noqa: PLC0415 -- slow to import, and not there on every machine

    with atheris.instrument_imports(include=["connectors", "monitor", "tomllib", "json", "csv"]):
        from tests.fuzz_readers import READERS  # noqa: PLC0415 -- the fuzzer sees only what is imported here
    read, length = READERS[name], _LENGTH_BYTES + LONGEST_INPUT
    with Path(os.environ[UNDER_WAY]).open("r+b") as file, mmap(file.fileno(), length) as under_way:

        def noted(data: bytes) -> None:
            under_way[: _LENGTH_BYTES + len(data)] = len(data).to_bytes(_LENGTH_BYTES, "little") + data
            read(data)

        atheris.Setup([name, *arguments], noted)
        atheris.Fuzz()


def run_child(name: str, seconds: int, kept: Path, scratch: Path) -> bytes | None:
    """Fuzz in a process of its own; return the input at which it ended, None where it found nothing."""
    under_way = scratch / "under-way"
    under_way.write_bytes(bytes(_LENGTH_BYTES + LONGEST_INPUT))
    limits = [f"-max_total_time={seconds}", f"-timeout={LONGEST_READING_S}", f"-rss_limit_mb={MOST_MEMORY_MB}"]
    options = [*limits, f"-max_len={LONGEST_INPUT}", f"-artifact_prefix={scratch}/", "-print_final_stats=1"]
    command = [sys.executable, "-m", "tests.fuzz_guided", name, "--child", *options, str(kept), str(CORPUS / name)]
    home = {variable: str(scratch) for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME")}
    own = {"TMPDIR": str(scratch), UNDER_WAY: str(under_way), "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, check=False, cwd=ROOT, env={**os.environ, **home, **own})  # noqa: S603 -- ourselves
    if done.returncode == 0:
        return None
    length, data = under_way.read_bytes()[:_LENGTH_BYTES], under_way.read_bytes()[_LENGTH_BYTES:]
    return data[: int.from_bytes(length, "little")]


def put_into_corpus(name: str, data: bytes) -> Path:
    """Keep an input that broke a reader; return its place."""
    place = CORPUS / name / f"found-{sha256(data).hexdigest()[:10]}"
    place.write_bytes(data)
    return place


def growth_faults(read: Reader, inputs: list[bytes]) -> Iterator[str]:
    """Hold the memory and the work of inputs, grown in several ways, against their bounds; say what is beyond."""
    some = inputs[:: -(-len(inputs) // MOST_GROWN)]
    ways = list(chain.from_iterable(map(grown, some)))
    costs = {at: work_s(read, way(GLANCE), tries=1) for at, way in enumerate(ways)}
    for at in nlargest(DEAREST, costs, key=costs.__getitem__):
        small, large = ways[at](SMALL), ways[at](LARGE)
        ratio, peak = work_ratio(read, small, large), memory_peak(read, large)
        if ratio > FOUR_TIMES_MAY_COST:
            yield f"four times as much cost {ratio:.1f} times the work: {small[:300]!r}"
        if peak > memory_allowed(large):
            yield f"{len(large)} bytes held {peak} bytes of memory: {small[:300]!r}"


def _options(arguments: list[str]) -> tuple[argparse.Namespace, list[str]]:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz_guided", description=__doc__)
    parser.add_argument("reader", choices=sorted(path.name for path in CORPUS.iterdir()))
    parser.add_argument("--seconds", type=int, default=60, help="how long to fuzz (default 60)")
    parser.add_argument("--keep", type=Path, help="directory for the inputs that reached new code; grown when there")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    return parser.parse_known_args(arguments)


def _kept_inputs(*directories: Path) -> list[bytes]:
    return [path.read_bytes() for directory in directories for path in sorted(directory.iterdir())]


def main() -> int:
    """Fuzz, then measure; tell what was found."""
    options, rest = _options(sys.argv[1:])
    if options.child:
        fuzz(options.reader, rest)
    with TemporaryDirectory(dir=MEMORY_DISK if MEMORY_DISK.is_dir() else None) as scratch:
        kept = options.keep or Path(scratch, "kept")
        kept.mkdir(exist_ok=True)
        broke = run_child(options.reader, options.seconds, kept, Path(scratch))
        if broke is None:
            faults = [*growth_faults(_reader(options.reader), _kept_inputs(kept, CORPUS / options.reader))]
        else:
            faults = [f"broken by {put_into_corpus(options.reader, broke)}: {broke[:300]!r}"]
        print("\n".join([*faults, f"{len(list(kept.iterdir()))} inputs kept, {len(faults)} faults"]))  # noqa: T201
    return 1 if faults else 0


def _reader(name: str) -> Any:  # noqa: ANN401 -- a reader; named here so that the child imports it later
    from tests.fuzz_readers import READERS  # noqa: PLC0415 -- as said

    return READERS[name]


if __name__ == "__main__":
    sys.exit(main())
