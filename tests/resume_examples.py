"""An invented hot night, recorded, cut off and gone on with: shared by the tests of resumed watches."""

import asyncio
from collections.abc import Iterable, Iterator
from datetime import timedelta
from pathlib import Path

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Event, Execution, LinkChange, Sample
from monitor.config import Profile, demo_profile
from monitor.core.engine import Engine
from monitor.recording.start import go_on_recording, start_recording
from monitor.resume.catching_up import take_up
from monitor.resume.seam import Resumption, resumption
from monitor.session import Session
from tests.watch_examples import ListedLink

PERIOD_S = 4.0
LONG_S = 3600.0
WALLS = {"temp_c:cold_end": 34.0, "temp_c:manifold": 228.0, "temp_c:nozzle": 230.0, "set_c:manifold": 228.0}
"""So hot that the strands that stand age past their limits within the hour."""
FEED_MM_S = 0.5


def hot_night(from_s: float, until_s: float) -> Iterator[Event]:
    """What a link tells of the night from one time to another: its counters of feed begin at zero, input 2 feeds.

    Input 3 fed in the first quarter of the hour, and stands since.
    """
    yield LinkChange(from_s, available=True, reason="opened")
    time_s = from_s
    while time_s < until_s:
        fed_mm = {f"fed_mm:{number}": 0.0 for number in range(1, 7)}
        fed_mm["fed_mm:2"] = FEED_MM_S * (time_s - from_s)
        fed_mm["fed_mm:3"] = FEED_MM_S * max(0.0, min(time_s, LONG_S / 4) - from_s)
        sensed_mm = {name.replace("fed", "sensed"): value for name, value in fed_mm.items()}
        yield Sample(time_s, {**WALLS, **fed_mm, **sensed_mm}, Execution.ACTIVE)
        time_s += PERIOD_S


def record_night(path: Path, until_s: float = LONG_S, profile: Profile | None = None) -> Session:
    """Record the night from its beginning, without a break."""
    used = demo_profile() if profile is None else profile
    session = Session(ListedLink(hot_night(0.0, until_s)), Engine(used.parameters), name="test", over="it is over")
    start_recording(session, used, path)
    asyncio.run(session.run())
    return session


def taken_up(path: Path, gap_s: float, profile: Profile | None = None) -> Resumption:
    """Take a recording up so many seconds after its last line."""
    taken = take_up(path, demo_profile() if profile is None else profile)
    now = taken.caught_up.pair.wall_at(taken.caught_up.last_s) + timedelta(seconds=gap_s)
    return resumption(taken, now)


def resumed_session(resumed: Resumption, events: Iterable[Event]) -> Session:
    """The session that goes on; nothing has run yet."""
    engine = resumed.taken.caught_up.engine
    session = Session(resumed.link(ListedLink(events)), engine, name="test", over="it is over")
    go_on_recording(session, resumed)
    return session


def go_on(path: Path, gap_s: float, until_s: float = LONG_S) -> Session:
    """Go on with a recording after a gap, until some time of the night."""
    resumed = taken_up(path, gap_s)
    session = resumed_session(resumed, hot_night(resumed.time_s, max(until_s, resumed.time_s + 60.0)))
    asyncio.run(session.run())
    return session


def alert_changes(path: Path) -> list[tuple[str, str]]:
    """Recorded changes of alerts: event and id, in order."""
    items = [item for item in read_recording(path).items() if isinstance(item, Conclusion)]
    return [(item.data["event"], item.data["id"]) for item in items if item.kind == "alert"]


def kinds(path: Path) -> list[str]:
    """Kinds of the recorded conclusions, in order."""
    return [item.kind for item in read_recording(path).items() if isinstance(item, Conclusion)]
