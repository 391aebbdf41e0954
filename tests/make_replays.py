"""Write the recordings in `replays/` anew: `python -m tests.make_replays`. All are simulated and invented.

Do this only when the format or the engine's conclusions changed on purpose; the change then shows in the tests.
"""

import asyncio
import tempfile
from pathlib import Path
from typing import Final

import zstandard

from connectors.simulated_link import SimulatedLink
from connectors.simulated_scenarios import SCENARIOS
from monitor.config import demo_profile
from monitor.core.engine import Engine
from monitor.recording_start import start_recording
from monitor.session import Session

FOLDER: Final = Path(__file__).parent.parent / "replays"
HOURS_OF_NIGHTS: Final = {"left-idle": 7.0, "cold-manifold": 3.0, "link-drop-outs": 2.2}
PERIOD_S: Final = 4.0  # below the age at which data count as stale


def record(name: str, path: Path) -> None:
    """Record the first hours of one simulated night."""
    profile = demo_profile()
    link = SimulatedLink(SCENARIOS[name], period_s=PERIOD_S, duration_s=3600.0 * HOURS_OF_NIGHTS[name])
    session = Session(
        link, Engine(profile.parameters), name=f"simulated machine, {name}", over="the simulated night is over"
    )
    start_recording(session, profile, path)
    asyncio.run(session.run())


def main() -> None:
    """Write them all."""
    with tempfile.TemporaryDirectory() as scratch:
        for name in HOURS_OF_NIGHTS:
            plain = Path(scratch, f"{name}.jsonl")
            record(name, plain)
            packed = zstandard.ZstdCompressor(level=19).compress(plain.read_bytes())
            Path(FOLDER, f"{name}.jsonl.zst").write_bytes(packed)


if __name__ == "__main__":
    main()
