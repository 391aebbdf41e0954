"""Everything that reads what others wrote, behind one face: bytes in, nothing out, only documented errors raised.

Used by `test_fuzz`, which feeds it hard and changed input. Owns which error of which reader is documented.
"""

import io
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import numpy as np

from connectors.errors import RecordingError
from connectors.recording import read_recording
from connectors.serial_protocol import SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.websocket_protocol import WebsocketProtocol
from monitor.archive.judged import judge_file
from monitor.archive.outcomes import read_mark
from monitor.build_file import BuildFileError, MotionSettings, read_build_file
from monitor.config import ProfileError, load_profile
from monitor.exit_codes import WrongUseError
from monitor.importing.import_map import ImportMap, load_map
from monitor.importing.line_reader import LineReader, SerialVoice
from monitor.importing.source_file import lines_of
from monitor.importing.table_reader import TableReader
from monitor.materials.errors import MaterialsError
from monitor.materials.files import read_tables
from monitor.materials.known import package_materials
from monitor.notify.file import NotifyFileError, read_plan
from tests.websocket_examples import EXAMPLES, example
from tests.websocket_examples import settings as websocket_settings

CHUNK: Final = 4096
_SERIAL: Final = SerialSettings.model_validate(
    {"port": "/dev/invented", "sensors": {"manifold": "T0"}, "input_of_tool": {0: 1, 1: 2}, "tool_at_start": 0}
)


def serial(data: bytes) -> None:
    """A controller's talk, as it comes from a port; a second passes for each chunk. Nothing may be raised."""
    _hear(SerialProtocol(_SERIAL), data)


def serial_asking(data: bytes) -> None:
    """The same with an asking link whose profile has patterns, a mix and several sensors."""
    _hear(SerialProtocol(_asking()), data)


@cache
def _asking() -> SerialSettings:
    text = (EXAMPLES / "serial_machine.toml").read_text(encoding="utf-8")
    return SerialSettings.model_validate(tomllib.loads(text)["link"])


def _hear(protocol: SerialProtocol, data: bytes) -> None:
    protocol.opened(0.0)
    for number, start in enumerate(range(0, len(data), CHUNK)):
        protocol.receive(data[start : start + CHUNK], float(number))
        protocol.elapse(number + 0.5)
        protocol.poll(number + 0.5)


def websocket(data: bytes) -> None:
    """One message for each line, as text where it is text. Nothing may be raised."""
    _converse(WebsocketProtocol(websocket_settings()), data)


_MAPPED: Final = tuple(example(name) for name in ("machine", "pairs", "rpc"))


def websocket_mapped(data: bytes) -> None:
    """The same with profiles that find by name, count, patch and merge: the first sign says which."""
    _converse(WebsocketProtocol(_MAPPED[data[0] % len(_MAPPED) if data else 0]), data[1:])


def _converse(protocol: WebsocketProtocol, data: bytes) -> None:
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


def judged(data: bytes) -> None:
    """A recording, judged as the archive does it: its own profile and all its events through the engine."""
    _in_file("x.jsonl", data, _judged, RecordingError)


def _judged(path: Path) -> None:
    with np.errstate(
        all="ignore"
    ):  # temperatures that no machine has overflow; what comes of them is told as no number
        found = judge_file(path)
    assert not found.fault.startswith("could not be judged"), found.fault


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


def materials(data: bytes) -> None:
    """The owner's materials; all that is wrong is told as `MaterialsError`."""
    _in_file("x.toml", data, lambda path: package_materials().with_overrides(read_tables(path)), MaterialsError)


def mark(data: bytes) -> None:
    """What the owner says became of a build; one that cannot be read is told in its words."""
    _in_file("x.outcome.toml", data, read_mark, RecordingError)


def import_map(data: bytes) -> None:
    """The owner's map of a file from elsewhere; all that is wrong is told as `WrongUseError`."""
    _in_file("x.toml", data, load_map, WrongUseError)


def table(data: bytes) -> None:
    """A table from elsewhere; what does not fit is told as `WrongUseError`."""
    _in_file("x.csv", data, lambda path: [*TableReader(ImportMap()).events(lines_of(path))], WrongUseError)


def log(data: bytes) -> None:
    """The log of a serial line; what does not fit is told as `WrongUseError`."""
    _in_file("x.log", data, _log, WrongUseError)


def _log(path: Path) -> None:
    mapping = ImportMap()
    for _ in LineReader(SerialVoice(_SERIAL), mapping.lines).events(lines_of(path)):
        pass


READERS: Final[dict[str, Callable[[bytes], None]]] = {
    "serial": serial,
    "serial_asking": serial_asking,
    "websocket": websocket,
    "websocket_mapped": websocket_mapped,
    "recording": recording,
    "judged": judged,
    "profile": profile,
    "notify": notify,
    "build": build,
    "materials": materials,
    "mark": mark,
    "import_map": import_map,
    "table": table,
    "log": log,
}
