"""Everything that reads what others wrote, behind one face: bytes in, nothing out, only documented errors raised.

Used by `test_fuzz`, which feeds it hard and changed input. Owns which error of which reader is documented.
"""

import io
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from connectors.errors import RecordingError
from connectors.recording import read_recording
from connectors.serial_protocol import SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.websocket_protocol import WebsocketProtocol
from monitor.build_file import BuildFileError, MotionSettings, read_build_file
from monitor.config import ProfileError, load_profile
from monitor.notify.file import NotifyFileError, read_plan
from tests.websocket_examples import settings as websocket_settings

CHUNK: Final = 4096
_SERIAL: Final = SerialSettings.model_validate(
    {"port": "/dev/invented", "sensors": {"manifold": "T0"}, "input_of_tool": {0: 1, 1: 2}, "tool_at_start": 0}
)


def serial(data: bytes) -> None:
    """A controller's talk, as it comes from a port; a second passes for each chunk. Nothing may be raised."""
    protocol = SerialProtocol(_SERIAL)
    protocol.opened(0.0)
    for number, start in enumerate(range(0, len(data), CHUNK)):
        protocol.receive(data[start : start + CHUNK], float(number))
        protocol.elapse(number + 0.5)
        protocol.poll(number + 0.5)


def websocket(data: bytes) -> None:
    """One message for each line, as text where it is text. Nothing may be raised."""
    protocol = WebsocketProtocol(websocket_settings())
    protocol.opened(0.0)
    for number, line in enumerate(data.split(b"\n")):
        try:
            protocol.receive(line.decode(), float(number))
        except UnicodeDecodeError:
            protocol.receive(line, float(number))
        if protocol.reconnect_reason is not None:
            protocol.opened(number + 0.5)


def _in_file(name: str, data: bytes, read: Callable[[Path], object], documented: type[Exception]) -> None:
    with TemporaryDirectory() as directory:
        path = Path(directory) / name
        path.write_bytes(data)
        path.chmod(0o600)
        try:
            read(path)
        except documented as error:
            assert str(error)  # noqa: PT017 -- it must be possible to tell it


def _all_of_it(path: Path) -> None:
    for _ in read_recording(path).items():
        pass


def recording(data: bytes) -> None:
    """A recording; a file that is none is told as `RecordingError`."""
    _in_file("x.jsonl", data, _all_of_it, RecordingError)


def profile(data: bytes) -> None:
    """A profile; all that is wrong is told as `ProfileError`."""
    _in_file("x.toml", data, load_profile, ProfileError)


def notify(data: bytes) -> None:
    """A file of channels; all that is wrong is told as `NotifyFileError`."""
    _in_file("x.toml", data, read_plan, NotifyFileError)


def build(data: bytes) -> None:
    """A build file; one that cannot be used is told as `BuildFileError`."""
    try:
        read_build_file(io.BytesIO(data), MotionSettings())
    except BuildFileError as error:
        assert str(error)  # noqa: PT017 -- it must be possible to tell it


READERS: Final[dict[str, Callable[[bytes], None]]] = {
    "serial": serial,
    "websocket": websocket,
    "recording": recording,
    "profile": profile,
    "notify": notify,
    "build": build,
}
