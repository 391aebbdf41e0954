"""Days of a whole watch at full speed with random faults: `python -m tests.soak [--hours 72] [--seed N]`.

The simulated machine is watched three times. *Quiet*: nothing goes wrong; its doses are the truth. *Company*: the line
is noisy but loses nothing, the disk takes lines in parts, fills up and fails to sync, screens come, go, hang and ask,
channels fail and hang, the owner asks: doses must be the quiet ones to the last bit, and the recording must hold every
line, or tell it as lost. *Bad line*: outages, openings anew, garbled readings and silent channels besides: the true
doses must lie within the ranges told, and the recording must be whole and replay to the same conclusions. In both,
memory, descriptors, threads and tasks must stay as they are. Status 1 where anything did not.
"""

import argparse
import asyncio
import gc
import io
import sys
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, Final
from unittest.mock import patch

from connectors.telemetry import Event
from monitor.attach.server import AttachServer
from monitor.cli import main as strandwatch
from monitor.config import demo_profile
from monitor.core.engine import Engine
from monitor.notify.notifier import Notifier
from monitor.recording.start import start_recording
from monitor.session import Session
from tests.soak_company import Post, Screens, TroubledDisk, owner_asks
from tests.soak_link import losing, machine_events, noisy
from tests.soak_measures import (
    CountedLines,
    Course,
    DoseMarks,
    Doses,
    doses_outside,
    look,
    recording_faults,
    unequal_doses,
)

BURST: Final = 25
"""Events that follow each other before screens and channels get their turn."""
ASKED_EVERY: Final = 3000
SAME: Final = "conclusions: as recorded then"
Stream = Callable[[], Iterable[Event]]


@dataclass
class Soaked:
    """What came of one watch."""

    name: str
    doses: dict[float, Doses]
    told: str
    faults: list[str] = field(default_factory=list)


@dataclass
class _Source:
    """Yields a stream's events, and lets the others run now and then."""

    stream: Iterable[Event]
    asks: Callable[[], None] = lambda: None

    async def events(self) -> AsyncIterator[Event]:
        for number, event in enumerate(self.stream):
            yield event
            if number % BURST == 0:
                await asyncio.sleep(0)
            if number % ASKED_EVERY == ASKED_EVERY - 1:
                self.asks()


def quiet(stream: Iterable[Event]) -> dict[float, Doses]:
    """Doses of a watch in which nothing goes wrong."""
    marks, engine = DoseMarks(around=True), Engine(demo_profile().parameters)
    for event in stream:
        marks.take(engine.advance(event))
    return marks.at


class _Watch:
    """A session with all that a watch has, and what troubles it."""

    def __init__(self, name: str, stream: Stream, directory: Path, seed: int, *, disk_loses: bool) -> None:
        random, profile = Random(f"{seed} {name}"), demo_profile()  # noqa: S311 -- a soak must repeat
        source = _Source(stream())
        self.session = Session(source, Engine(profile.parameters), name="simulated machine", over="the soak is over")
        source.asks = lambda: owner_asks(self.session, random)
        with patch("monitor.recording.start.Recorder", CountedLines):
            self.path = start_recording(self.session, profile, directory / f"{name}.jsonl")
        assert isinstance(self.session._recorder, CountedLines)
        self.recorder = self.session._recorder
        self.disk = TroubledDisk(random, disk_loses, lambda: self.recorder._file)
        self.post, self.marks, self.course = Post(random), DoseMarks(), Course()
        self.session.notify_with(Notifier(self.post.plan(), "soak", record=self._record, wait=self.post.wait))
        self.session.keep_history()
        self.server = AttachServer(self.session, "soak", where=[directory], hz=50.0)
        self.session.serve_with(self.server)
        self.session.observe(self.marks.take)
        self.session.observe(self.course.take)
        self.screens = Screens(directory / f"{name}.screens", seed)

    async def run(self) -> None:
        """Watch from the first event to the last."""
        coming = asyncio.create_task(self.screens.begin(self.server))
        try:
            with self.disk.mounted():
                await self.session.run()
        finally:
            coming.cancel()
            self.screens.end()
            self.post.over.set()
        await asyncio.gather(coming, return_exceptions=True)

    @property
    def told(self) -> str:
        """The figures in one line."""
        megabytes = self.path.stat().st_size / 1e6
        return (
            f"screens: {self.screens.told}; letters {self.post.letters}, troubles of the disk {self.disk.troubles},"
            f" recording {megabytes:.1f} MB; {self.course.told()}"
        )

    def _record(self, data: Mapping[str, Any]) -> None:
        self.session.record_note("notification", data)


async def soaked(name: str, stream: Stream, directory: Path, seed: int, *, disk_loses: bool) -> Soaked:
    """Watch a stream in company; what is left behind afterwards is a fault."""
    descriptors = look(0.0).descriptors
    watch = _Watch(name, stream, directory, seed, disk_loses=disk_loses)
    await watch.run()
    faults = [it async for it in _left_behind(descriptors)]
    faults += [*watch.course.faults(), *([] if watch.session.fault is None else [watch.session.fault])]
    untold, failure = watch.recorder._lost, str(watch.recorder.failure)
    faults += [f"lines were lost and it says {failure}"] if untold and "recording failed" not in failure else []
    faults += recording_faults(watch.path, stream(), watch.recorder.lines, may_lose=disk_loses, untold=untold)
    return Soaked(name, watch.marks.at, watch.told, faults)


async def _left_behind(descriptors: int) -> AsyncIterator[str]:
    """Tasks, threads and descriptors that outlive the watch, once those about to end have had their time."""
    for _ in range(100):
        gc.collect()  # what only waits to be thrown away is not left behind
        tasks = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        threads = [it for it in threading.enumerate() if it.name in {"notification", "recording sync"}]
        if not tasks and not threads and look(0.0).descriptors <= descriptors:
            return
        await asyncio.sleep(0.05)
    yield f"left behind: tasks {tasks}, threads {threads}, descriptors {look(0.0).descriptors}, before {descriptors}"


def replay_faults(path: Path) -> Iterator[str]:
    """Whether a recording, judged anew, comes to its conclusions."""
    with redirect_stdout(io.StringIO()) as out:
        status = strandwatch(["replay", str(path)])
    if status or SAME not in out.getvalue():
        yield f"the replay ends with {status}: {out.getvalue()[-1500:]}"


def soak(hours: float, seed: int, period_s: float, say: Callable[[str], None]) -> list[str]:
    """Run all three watches; tell figures as they come, and return all faults."""

    def machine() -> Iterator[Event]:
        return machine_events(hours, seed, period_s)

    begin_s = time.process_time()
    truth = quiet(machine())
    say(f"quiet: {len(truth)} times of doses")
    with TemporaryDirectory(prefix="soak-") as scratch:
        company = asyncio.run(soaked("company", lambda: noisy(machine(), seed), Path(scratch), seed, disk_loses=True))
        company.faults += unequal_doses(truth, company.doses)
        say(f"company: {company.told}")
        bad = asyncio.run(
            soaked("bad-line", lambda: losing(noisy(machine(), seed), seed), Path(scratch), seed, disk_loses=False)
        )
        bad.faults += doses_outside(truth, bad.doses)
        say(f"bad line: {bad.told}")
        bad.faults += replay_faults(Path(scratch, "bad-line.jsonl"))
    ranged = sum(low < high for it in bad.doses.values() for low, high in zip(it.low_min, it.high_min, strict=True))
    say(f"doses told as a range with the bad line: {ranged} of {6 * len(bad.doses)}")
    say(f"processor time {time.process_time() - begin_s:.0f} s")
    return [f"{it.name}: {fault}" for it in (company, bad) for fault in it.faults]


def main() -> int:
    """Soak for as long as asked; print what was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--hours", type=float, default=72.0, help="machine time of each watch (default 72)")
    parser.add_argument("--seed", type=int, default=1, help="another one is another build with other faults")
    parser.add_argument("--period", type=float, default=1.0, help="seconds between samples (default 1)")
    options = parser.parse_args()
    faults = soak(options.hours, options.seed, options.period, lambda text: print(text, flush=True))  # noqa: T201
    print("\n".join([*faults[:20], f"faults: {len(faults)}"]))  # noqa: T201 -- a command
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
