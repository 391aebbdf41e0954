"""Write the recordings in `replays/` anew: `python -m tests.make_replays [NAME …]`. All are simulated and invented.

Do this only when the format or the engine's conclusions changed on purpose; the change then shows in the tests.
"""

import asyncio
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import zstandard

from connectors.simulated_link import SimulatedLink
from connectors.simulated_scenarios import SCENARIOS, Absence, Scenario
from monitor.config import demo_profile
from monitor.core.engine import Engine
from monitor.recording.start import start_recording
from monitor.session import Session

FOLDER: Final = Path(__file__).parent.parent / "replays"


@dataclass(frozen=True, slots=True)
class Take:
    """What of a night is recorded: its first hours, a sample each period, which stays below the age of stale data."""

    scenario: Scenario
    hours: float
    period_s: float = 4.0


def _sooner(name: str, onset_s: float, hours: float, *absences: Absence) -> Take:
    """A take of a night whose fault begins sooner, at two seconds: turns stay apart, and stalls show."""
    night = SCENARIOS[name]
    fault = None if night.fault is None else replace(night.fault, onset_s=onset_s)
    return Take(replace(night, fault=fault, absences=absences), hours, 2.0)


TAKES: Final = {
    "left-idle": Take(SCENARIOS["left-idle"], 7.0),
    "cold-manifold": Take(SCENARIOS["cold-manifold"], 3.0),
    "link-drop-outs": Take(SCENARIOS["link-drop-outs"], 2.2),
    "jam-after-idle": _sooner("jam-after-idle", 7_200.0, 2.2, Absence(5, from_s=2_400.0, until_s=7_200.0)),
    "grinding": _sooner("grinding", 4_500.0, 1.5),
    "slow-clog": _sooner("slow-clog", 3_600.0, 2.0),
    "run-out": _sooner("run-out", 4_500.0, 1.6),
    "tangle": _sooner("tangle", 4_500.0, 1.6),
}


def record(take: Take, path: Path) -> None:
    """Record the first hours of one simulated night."""
    profile, name = demo_profile(), take.scenario.name
    link = SimulatedLink(take.scenario, period_s=take.period_s, duration_s=3600.0 * take.hours)
    session = Session(
        link, Engine(profile.parameters), name=f"simulated machine, {name}", over="the simulated night is over"
    )
    start_recording(session, profile, path)
    asyncio.run(session.run())


def main() -> None:
    """Write those named, or all."""
    with tempfile.TemporaryDirectory() as scratch:
        for name in sys.argv[1:] or TAKES:
            plain = Path(scratch, f"{name}.jsonl")
            record(TAKES[name], plain)
            packed = zstandard.ZstdCompressor(level=19).compress(plain.read_bytes())
            Path(FOLDER, f"{name}.jsonl.zst").write_bytes(packed)


if __name__ == "__main__":
    main()
