"""A whole simulated night through real connectors: from a wire to a warning before the limit.

The serial night passes a pseudo-terminal and the serial library, the websocket night a real websocket server. Both run
at speed: the watch's clock follows the machine's.
"""

import asyncio
import os
import tty
from collections.abc import AsyncGenerator, Awaitable, Iterator
from contextlib import aclosing
from pathlib import Path

from websockets.asyncio.server import ServerConnection, serve

from connectors.link import Link
from connectors.serial_link import SerialLink
from connectors.serial_settings import SerialSettings
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import INPUTS, SCENARIOS
from connectors.telemetry import Event, Execution, LinkChange, Sample
from connectors.websocket_link import WebsocketLink
from connectors.websocket_settings import WebsocketSettings
from monitor.config import demo_profile
from monitor.core.alert_types import Priority
from monitor.core.assessment import Assessment
from monitor.core.engine import Engine, Step
from tests.simulated_wire import DUTY_STEPS, JsonVoice, SerialVoice

PERIOD_S = 10.0
LONGEST_TEST_S = 300.0
"""Only against hanging: some seconds on a machine with nothing else to do, many times that on a busy one."""
IDLE_INPUT = 4


def _night() -> Iterator[Sample]:
    return (event for event in simulate(SCENARIOS["left-idle"], period_s=PERIOD_S) if isinstance(event, Sample))


class _Night:
    """Feeds a night to a device one sample at a time, and keeps what the engine concludes."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.told: list[tuple[float, str, Priority, int | None]] = []
        self._step: Step | None = None
        self.connected = asyncio.Event()
        self._arrived = asyncio.Event()

    async def judge(self, link: Link) -> None:
        """Run the engine on the link's events until the task is cancelled."""
        engine = Engine(demo_profile().parameters)
        async with aclosing(_generator(link)) as events:
            async for event in events:
                self._keep(engine.advance(event))
                if isinstance(event, Sample) and "fed_mm:1" in event.values and event.time_s == self.now_s:
                    self._arrived.set()
                if isinstance(event, LinkChange) and event.available:
                    self.connected.set()

    def _keep(self, step: Step) -> None:
        self._step = step if isinstance(step.event, Sample) else self._step
        for change in step.transitions:
            self.told.append((change.time_s, change.alert.condition, change.alert.priority, change.alert.input))

    @property
    def latest(self) -> Assessment | None:
        """What is known after the last sample; worked out when asked for."""
        return None if self._step is None else self._step.assessment

    async def heard(self) -> None:
        """Wait until the link has passed on the feed that was reported last."""
        await self._arrived.wait()
        self._arrived.clear()

    def clock(self) -> float:
        """The watch's clock: it follows the machine's."""
        return self.now_s


async def _either(wanted: Awaitable[object], judging: asyncio.Task[None]) -> None:
    """Wait for `wanted`, or raise what the judging task failed of."""
    waiting = asyncio.ensure_future(wanted)
    await asyncio.wait({waiting, judging}, return_when=asyncio.FIRST_COMPLETED)
    if judging.done():
        waiting.cancel()
        judging.result()
        raise AssertionError("the link ended by itself")
    await waiting


async def _generator(link: Link) -> AsyncGenerator[Event, None]:
    async for event in link.events():
        yield event


def _check(night: _Night) -> None:
    """The idle strand, and no other, was warned of, and long before its limit."""
    doses = [entry for entry in night.told if entry[1] == "dose"]
    priorities = [priority for _, _, priority, number in doses if number == IDLE_INPUT]

    assert priorities[:1] == [Priority.WARNING]
    assert {number for *_, number in doses} == {IDLE_INPUT}
    assert night.latest is not None
    by_input = {strand.input: strand for strand in night.latest.strands}
    assert by_input[IDLE_INPUT].dose_now_min > by_input[IDLE_INPUT].dose_warn_min
    for number in set(INPUTS) - {IDLE_INPUT}:
        assert by_input[number].dose_now_min < by_input[number].dose_warn_min
    alarms = [time_s for time_s, _, priority, _ in doses if priority is Priority.ALARM]
    assert all(time_s > doses[0][0] + 800.0 for time_s in alarms)  # unseen for a quarter of an hour, or its limit


def _serial_settings(port: Path) -> SerialSettings:
    return SerialSettings.model_validate(
        {
            "kind": "serial",
            "port": str(port),
            "mode": "listen",
            "open_is_safe": True,
            "duty_full": DUTY_STEPS,
            "feed": "per_drive",
            "sensors": {"manifold": "T0", "nozzle": "T1", "cold_end": "T2"},
            "input_of_tool": {str(number - 1): number for number in INPUTS},
        }
    )


def _websocket_settings(port: int) -> WebsocketSettings:
    channels: dict[str, object] = {
        "progress": {"pointer": "/job/share"},
        "execution": {"pointer": "/job/state", "words": {str(word): str(word) for word in Execution} | {"": "READY"}},
    }
    for sensor in demo_profile().parameters.sensors:
        channels[f"temp_c:{sensor}"] = {"pointer": f"/heat/{sensor}/now"}
        if sensor != "cold_end":
            channels[f"set_c:{sensor}"] = {"pointer": f"/heat/{sensor}/goal"}
            channels[f"duty:{sensor}"] = {"pointer": f"/heat/{sensor}/load"}
    for number in INPUTS:
        channels[f"fed_mm:{number}"] = {"pointer": f"/feed/{number - 1}/run"}
        channels[f"sensed_mm:{number}"] = {"pointer": f"/feed/{number - 1}/seen"}
    full = {"means": "full", "when": "/id", "equals": 1, "at": "/result/state", "sender_time": "/result/clock"}
    partial = {
        "means": "partial",
        "when": "/method",
        "equals": "watch.delta",
        "at": "/params/change",
        "change": "merge_patch",
        "sender_time": "/params/clock",
        "sequence": "/params/n",
    }
    return WebsocketSettings.model_validate(
        {
            "kind": "websocket",
            "url": f"ws://127.0.0.1:{port}/",
            "on_connect": ['{"jsonrpc":"2.0","id":1,"method":"watch.begin"}'],
            "sender_time_unit": "s",
            "messages": [full, partial],
            "channels": channels,
        }
    )


async def test_night_over_a_serial_line(tmp_path: Path) -> None:
    """A pseudo-terminal speaks the trade's line protocol for ten hours of machine time; the warning comes in time."""
    master, slave = os.openpty()
    tty.setraw(slave)
    port = tmp_path / "controller"
    port.symlink_to(os.ttyname(slave))
    night, voice = _Night(), SerialVoice("per drive")
    judging = asyncio.create_task(night.judge(SerialLink(_serial_settings(port), night.clock)))
    try:
        async with asyncio.timeout(LONGEST_TEST_S):
            await _either(night.connected.wait(), judging)
            for sample in _night():
                night.now_s = sample.time_s
                lines = sorted(voice.lines(sample), key=lambda line: line.startswith("X:"))  # the position comes last
                os.write(master, ("\n".join(lines) + "\n").encode())
                await _either(night.heard(), judging)
    finally:
        judging.cancel()
        await asyncio.gather(judging, return_exceptions=True)
        os.close(master)
        os.close(slave)

    _check(night)


async def test_night_over_a_websocket() -> None:
    """A websocket server sends a state and merge patches for ten hours of machine time; the warning comes in time."""
    night, voice = _Night(), JsonVoice()

    async def machine(connection: ServerConnection) -> None:
        machines.append(asyncio.current_task())
        await connection.recv()  # the greeting
        first, *rest = _night()
        night.now_s = first.time_s
        await connection.send(voice.full(first))
        for sample in rest:
            await night.heard()
            night.now_s = sample.time_s
            await connection.send(voice.partial(sample))
        await night.heard()
        over.set()

    over, machines = asyncio.Event(), list[asyncio.Task[None] | None]()
    async with serve(machine, "127.0.0.1", 0, compression=None, close_timeout=0.2) as server:
        port = next(iter(server.sockets)).getsockname()[1]
        judging = asyncio.create_task(night.judge(WebsocketLink(_websocket_settings(port), night.clock)))
        try:
            async with asyncio.timeout(LONGEST_TEST_S):
                await _either(over.wait(), judging)
        finally:
            judging.cancel()
            await asyncio.gather(judging, return_exceptions=True)
            for each in machines:  # the server waits for them, and they for a watch that has gone
                if each is not None:
                    each.cancel()

    _check(night)
