"""A whole watch as a service runs it: signs of work, what its channels are told, and a signal for 'seen'.

A real process on a pseudo-terminal for its machine, with a real web server and a real socket of a service manager.
"""

import json
import os
import signal
import socket
import subprocess
import sys
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

import monitor
from connectors.recording import Conclusion, read_recording
from monitor.config import DEMO_FILE
from tests.notify_examples import HttpServer, http_server

SAFETY_S = 60.0
REPORT = 2 * b"ok T0:195.1 /195.0 T1:224.8 /225.0 T2:33.0 /0.0 @0:40 @1:30\r\n"
LINK = """
[link]
kind = "serial"
port = "{port}"
mode = "listen"
open_is_safe = true
sensors = {{cold_end = "T2", manifold = "T0", nozzle = "T1"}}
input_of_tool = {{0 = 1, 1 = 2, 2 = 3, 3 = 4, 4 = 5, 5 = 6}}
"""


@dataclass
class Service:
    """A watch that runs, its machine, its channel's server, and the manager's ear."""

    process: "subprocess.Popen[str]"
    machine: int
    phone: HttpServer
    manager: socket.socket
    directory: Path

    def heard(self) -> dict[str, str]:
        """The next that the manager is told."""
        return dict(line.split("=", 1) for line in self.manager.recv(4096).decode().splitlines())

    def end(self, number: signal.Signals) -> int:
        """End it by a signal; give its exit status."""
        self.process.send_signal(number)
        self.process.communicate(timeout=SAFETY_S)
        return self.process.returncode

    def notifications(self) -> list[dict[str, object]]:
        """What the recording tells of messages."""
        (path,) = self.directory.glob("recordings/*.jsonl")
        items = read_recording(path).items()
        return [dict(it.data) for it in items if isinstance(it, Conclusion) and it.kind == "notification"]


def _profile(directory: Path, port: str, phone: HttpServer) -> Path:
    channels = directory / "notify.toml"
    channels.write_text(f'[[channels]]\nname = "phone"\nurl = "{phone.url()}"\n', encoding="utf-8")
    channels.chmod(0o600)
    machine = (Path(monitor.__file__).parent / DEMO_FILE).read_text(encoding="utf-8")
    named = machine.replace("\n[alerts]\n", f'\n[alerts]\nnotify_file = "{channels}"\n')
    path = directory / "machine.toml"
    path.write_text(named + LINK.format(port=port), encoding="utf-8")
    return path


@contextmanager
def _manager(path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(path))
        listener.settimeout(SAFETY_S)
        yield listener


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A watch whose machine is plugged in."""
    machine, port = os.openpty()
    tty.setraw(port)
    name = os.ttyname(port)
    os.close(port)
    with http_server() as phone, _manager(tmp_path / "notify") as manager:
        words = ["watch", "--headless", "--profile", str(_profile(tmp_path, name, phone))]
        with subprocess.Popen(  # noqa: S603 -- our own interpreter
            [sys.executable, "-m", "monitor", *words, "--record", str(tmp_path / "recordings")],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "60000000"},
        ) as process:
            try:
                yield Service(process, machine, phone, manager, tmp_path)
            finally:
                process.kill()
                os.close(machine)


def _until_it_has_heard(service: Service) -> None:
    """The machine reports; the manager is told that a sample has passed."""
    assert service.heard() == {"READY": "1", "STATUS": "waiting for the machine"}
    while "WATCHDOG" not in (heard := service.heard()):
        assert set(heard) == {"STATUS"}  # a tick, or a change of the link
        os.write(service.machine, REPORT)
    assert heard["STATUS"].startswith("newest sample ")


def test_the_manager_hears_of_samples_and_the_channels_of_the_end(service: Service) -> None:
    """SIGTERM is not the owner at the keys: an unwatched machine, hot as it is, is an ALARM. It is recorded by name."""
    _until_it_has_heard(service)
    assert service.end(signal.SIGTERM) == 0
    assert service.heard() == {"STOPPING": "1", "STATUS": "the watch has ended"}
    last = json.loads(service.phone.bodies[-1])
    assert last["title"] == "ALARM: the watch has ended (demo machine (invented))"
    assert "The watch has ended: ended by SIGTERM. Nothing more will be told" in last["message"]
    told = service.notifications()[-1]
    assert (told["channel"], told["event"], told["outcome"]) == ("phone", "watch ended", "accepted")
    (path,) = service.directory.glob("recordings/*.jsonl")
    assert "secret" not in path.read_text(encoding="utf-8")


def test_who_is_at_the_keys_is_not_told_of_the_end(service: Service) -> None:
    """Ctrl-C is the owner's own doing. A signal for 'seen' before it ends nothing."""
    _until_it_has_heard(service)
    service.process.send_signal(signal.SIGUSR1)
    assert service.end(signal.SIGINT) == 0
    assert not any("has ended" in body for body in service.phone.bodies)
