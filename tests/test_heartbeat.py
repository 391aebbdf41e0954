"""A service manager is told by real datagrams; a sign of work comes only with samples that passed the rules."""

import asyncio
import os
import secrets
import signal
import socket
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf
from pathlib import Path

import pytest

from connectors.telemetry import Event, Execution, LinkChange, Sample, Tick
from monitor.core.alert_types import AlertState, Priority, RequestKind
from monitor.core.assessment import Assessment
from monitor.core.engine import Engine
from monitor.history.memory import History
from monitor.service.heartbeat import EVERY_S, Heartbeat, status_text
from monitor.service.seen_signal import acknowledge_all, seen_by_signal
from monitor.service.service_manager import ServiceManager, service_manager
from monitor.session import Session
from tests.notify_examples import until
from tests.watch_examples import ALERT, ASSESSMENT, PARAMETERS, ListedLink, ScriptedStep, sample

ALARM = replace(ALERT, priority=Priority.ALARM)


@pytest.fixture(params=["path", "abstract"])
def listening(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    """A real datagram socket, as a file and in the abstract namespace, and how the environment names it."""
    name = str(tmp_path / "notify") if request.param == "path" else f"@strandwatch-test-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name.replace("@", "\0", 1) if name.startswith("@") else name)
        listener.settimeout(0.0)
        yield name, listener


def _heard(listener: socket.socket) -> list[dict[str, str]]:
    heard = list[dict[str, str]]()
    while True:
        try:
            text = listener.recv(4096).decode()
        except BlockingIOError:
            return heard
        heard.append(dict(line.split("=", 1) for line in text.splitlines()))


@dataclass
class Noted:
    """A manager that notes what it is told."""

    watchdog_s: float | None = 60.0
    told: list[dict[str, str | int]] = field(default_factory=list)

    def tell(self, **values: str | int) -> None:
        """Note it."""
        self.told.append(values)


def test_values_arrive_as_lines_of_one_datagram(listening: tuple[str, socket.socket]) -> None:
    """As sd_notify(3) has the protocol: KEY=VALUE, newline-separated; a value cannot bring a line of its own."""
    name, listener = listening
    manager = service_manager({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "600000000", "WATCHDOG_PID": "42"}, 42)
    assert manager is not None
    assert manager.watchdog_s == 600.0
    with closing(manager):
        manager.tell(READY=1, STATUS="waiting")
        manager.tell(STATUS="hostile\nWATCHDOG=1\x1b[2J" + "x" * 1_000_000)
    first, second = _heard(listener)
    assert first == {"READY": "1", "STATUS": "waiting"}
    assert set(second) == {"STATUS"}
    assert len(second["STATUS"]) <= 200


@pytest.mark.parametrize(
    ("environ", "watchdog_s"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "7"}, None),  # meant for another process
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "٣"}, None),
    ],
)
def test_the_watchdog_counts_only_where_it_is_meant_and_a_number(
    environ: dict[str, str], watchdog_s: float | None
) -> None:
    """sd_watchdog_enabled(3): WATCHDOG_PID says for whom."""
    manager = service_manager({"NOTIFY_SOCKET": "/run/notify", **environ}, 42)
    assert manager is not None
    with closing(manager):
        assert manager.watchdog_s == watchdog_s


@pytest.mark.parametrize("address", ["", "@", "/", "notify", "vsock:2:1"])
def test_without_an_address_that_means_something_there_is_no_manager(address: str) -> None:
    """sd_notify(3): an absolute path, or '@' and a name; other kinds are not spoken here."""
    assert service_manager({"NOTIFY_SOCKET": address}) is None
    assert service_manager({}) is None


def test_a_manager_that_does_not_listen_or_whose_queue_is_full_holds_up_nothing(tmp_path: Path) -> None:
    """Telling returns at once; what is not taken is lost."""
    with closing(ServiceManager(str(tmp_path / "nobody"))) as manager:
        manager.tell(WATCHDOG=1)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "full"))
        with closing(ServiceManager(str(tmp_path / "full"))) as manager:
            for _ in range(5000):
                manager.tell(WATCHDOG=1)
        listener.settimeout(0.0)
        assert 0 < len(_heard(listener)) < 5000


def _told(manager: Noted, *events: Event) -> list[tuple[float, bool]]:
    """At which events something was told, and whether it was a sign of work."""
    heartbeat, told = Heartbeat(manager), []
    for event in events:
        before = len(manager.told)
        heartbeat.take(ScriptedStep(event))
        told += [(event.time_s, "WATCHDOG" in values) for values in manager.told[before:]]
    return told


def test_a_sign_comes_with_samples_and_never_with_ticks() -> None:
    """A silent machine's watch still tells its state, without a sign: the words go on, the watchdog runs out."""
    events: list[Event] = [sample(float(second)) for second in range(40)]
    events += [LinkChange(40.0, available=False, reason="silent"), *(Tick(40.0 + second) for second in range(40))]
    assert _told(Noted(), *events) == [
        (0.0, True),
        (15.0, True),
        (30.0, True),
        (45.0, False),
        (60.0, False),
        (75.0, False),
    ]
    assert _told(Noted(), Tick(0.0), sample(1.0)) == [(0.0, False), (1.0, True)]


@pytest.mark.parametrize(("watchdog_s", "rarest_s"), [(60.0, 15), (600.0, 15), (8.0, 2), (None, 15)])
def test_signs_come_at_least_every_half_of_the_managers_time(watchdog_s: float | None, rarest_s: int) -> None:
    """sd_watchdog_enabled(3) recommends half; also where samples are as rare as a quarter of it."""
    for period_s in (1, rarest_s):
        told = _told(Noted(watchdog_s), *(sample(float(second)) for second in range(0, 300, period_s)))
        times_s = [time_s for time_s, is_sign in told if is_sign]
        gaps_s = [after - before for before, after in pairwise(times_s)]
        assert max(gaps_s) <= (EVERY_S if watchdog_s is None else watchdog_s / 2)


def test_the_beginning_and_the_end_are_told_also_when_it_fails() -> None:
    """READY when the watch begins, whatever the machine does; STOPPING however it ends."""
    manager = Noted()
    with pytest.raises(RuntimeError), Heartbeat(manager).beating():
        raise RuntimeError
    assert [list(values) for values in manager.told] == [["READY", "STATUS"], ["STOPPING", "STATUS"]]


def test_the_state_is_told_in_words() -> None:
    """Age of the newest sample, and the most urgent alert that is shown by itself."""
    assert status_text(replace(ASSESSMENT, sample_age_s=inf)) == "no sample yet; no alert"
    folded = replace(ALARM, id="x", subject="input 1", folded_under="y")
    alerts = (ALERT, replace(ALARM, subject="input 3", state=AlertState.ACKNOWLEDGED), folded)
    assert status_text(replace(ASSESSMENT, sample_age_s=130.0, alerts=alerts)) == (
        "newest sample 2 min old, GOOD; ALARM: input 3, aged material (Acknowledged)"
    )


async def test_rules_that_fail_give_no_more_signs() -> None:
    """The state cannot be told, so the sign, which comes after it, is not given; the watch itself goes on."""

    class Failing(ScriptedStep):
        @property
        def assessment(self) -> Assessment:
            raise ZeroDivisionError

    class Judge:
        def advance(self, event: object) -> ScriptedStep:
            assert isinstance(event, Sample)
            return (Failing if event.time_s > 20.0 else ScriptedStep)(event)

    manager = Noted()
    session = Session(ListedLink([sample(float(second)) for second in range(100)]), Judge(), name="test")
    session.observe(Heartbeat(manager).take)
    await session.run()
    assert sum("WATCHDOG" in values for values in manager.told) == 2
    assert session.fault is not None
    assert session.time_s == 99.0


async def test_a_watch_of_the_real_engine_signs_by_real_datagrams(listening: tuple[str, socket.socket]) -> None:
    """Samples for a minute, then a minute of silence: signs for the first, and words that grow old for the second."""
    name, listener = listening
    walls = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0}
    events: list[Event] = [Sample(float(second), walls, Execution.ACTIVE) for second in range(60)]
    events += [Tick(60.0 + second) for second in range(60)]
    with closing(ServiceManager(name, 60.0)) as manager:
        heartbeat = Heartbeat(manager)
        session = Session(ListedLink(events), Engine(PARAMETERS), name="test")
        session.observe(heartbeat.take)
        with heartbeat.beating():
            await session.run()
    heard = _heard(listener)
    assert [sorted(it) for it in heard] == [
        ["READY", "STATUS"],
        *[["STATUS", "WATCHDOG"]] * 4,
        *[["STATUS"]] * 4,
        ["STATUS", "STOPPING"],
    ]
    assert heard[1]["STATUS"].startswith("newest sample 0 s old, GOOD; ")
    assert heard[-2]["STATUS"].startswith("newest sample 46 s old, STALE; ")


@dataclass
class Asked:
    """A watch that notes what the owner asks."""

    latest: Assessment | None
    asked: list[tuple[RequestKind, str]] = field(default_factory=list)
    source: str = "test"
    notice: str = ""
    ended: str | None = None
    history: History = field(default_factory=History)

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:
        """Note it."""
        assert (reason, for_s) == ("", 0.0)
        self.asked.append((kind, alert_id))


async def test_a_signal_says_that_all_that_calls_has_been_seen() -> None:
    """For a service, which has no keys; what is seen, or told by another alert, is left alone."""
    states = {
        "a": AlertState.UNACKNOWLEDGED,
        "b": AlertState.ACKNOWLEDGED,
        "c": AlertState.RETURNED,
        "d": AlertState.LATCHED,
    }
    alerts = [replace(ALERT, id=id_, state=state) for id_, state in states.items()]
    alerts.append(replace(ALERT, id="e", folded_under="a"))
    watch = Asked(replace(ASSESSMENT, alerts=tuple(alerts)))
    with seen_by_signal(watch):
        os.kill(os.getpid(), signal.SIGUSR1)
        await until(lambda: bool(watch.asked))
    assert watch.asked == [(RequestKind.ACKNOWLEDGE, id_) for id_ in "acd"]
    acknowledge_all(Asked(None))
    assert asyncio.get_running_loop().remove_signal_handler(signal.SIGUSR1) is False
