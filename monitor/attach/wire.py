"""What a watch and an attached screen say to each other: messages, and how they lie in a stream of bytes.

Each message is a length (4 bytes, the highest first) and that many bytes of MessagePack. The first one each way is a
`Hello`; its keys never change their meaning, so that two versions that do not fit can still tell each other so. Nothing
that is read here can run: messages are decoded into the types below, and into nothing else. Knows no sockets.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Any, Final, TypeVar

import msgspec
import numpy as np

from monitor.core.alert_types import LONGEST_SHELVING_S, RequestKind
from monitor.core.assessment import Assessment
from monitor.history.memory import Piece
from monitor.version import version

PROTOCOL: Final = 1
"""Counts up when the messages change in a way that `layout` does not show."""

LONGEST_FROM_SCREEN: Final = 4_096
LONGEST_FROM_WATCH: Final = 8_000_000
"""Longest message [bytes]. A watch of six inputs says about 25 000 at a time."""

_LENGTH_BYTES: Final = 4
_ARRAY: Final = np.dtype("<f8")

_Short = Annotated[str, msgspec.Meta(max_length=200)]


class WireError(Exception):
    """What came is no message of ours; the text says why."""


class Hello(msgspec.Struct, frozen=True, tag_field="say", tag="hello"):
    """Who speaks: program, process, and the machine watched or the terminal that shows it."""

    protocol: int
    version: _Short
    layout: _Short
    pid: int
    machine: _Short = ""
    source: _Short = ""
    terminal: _Short = ""


class News(msgspec.Struct, frozen=True, tag_field="say", tag="news"):
    """What a watch has to tell: the parts of `monitor.client.WatchClient` that change."""

    latest: Assessment | None
    notice: str
    ended: str | None


class Past(msgspec.Struct, frozen=True, tag_field="say", tag="past"):
    """A piece of what the values were before the screen came; all of them are told once, one after the other."""

    piece: Piece


class Refused(msgspec.Struct, frozen=True, tag_field="say", tag="refused"):
    """A request that was not carried out, and why."""

    text: str


class Bye(msgspec.Struct, frozen=True, tag_field="say", tag="bye"):
    """The last word to a screen: why no more comes."""

    text: str


class Ask(msgspec.Struct, frozen=True, tag_field="say", tag="ask"):
    """What the owner asks of an alert."""

    kind: RequestKind
    alert_id: Annotated[str, msgspec.Meta(min_length=1, max_length=200)]
    reason: Annotated[str, msgspec.Meta(max_length=500)] = ""
    for_s: Annotated[float, msgspec.Meta(ge=0.0, le=LONGEST_SHELVING_S)] = 0.0


FromWatch = Hello | News | Past | Refused | Bye
FromScreen = Hello | Ask
_Message = TypeVar("_Message")


def framed(message: FromWatch | FromScreen) -> bytes:
    """Give the bytes of one message, its length before it."""
    body = _ENCODER.encode(message)
    return len(body).to_bytes(_LENGTH_BYTES, "big") + body


def from_watch(body: bytes) -> FromWatch:
    """Read a message of a watch; WireError when it is none."""
    message: FromWatch = _understood(_OF_WATCH, body)
    return message


def from_screen(body: bytes) -> FromScreen:
    """Read a message of a screen; WireError when it is none."""
    message: FromScreen = _understood(_OF_SCREEN, body)
    return message


def _understood(decoder: msgspec.msgpack.Decoder[_Message], body: bytes) -> _Message:
    try:
        return decoder.decode(body)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise WireError(f"not understood: {error}") from None


class Frames:
    """Cuts a stream of bytes into messages.

    Parameters
    ----------
    longest : int
        Longest message that is taken [bytes]; never more than that is kept, but for what came in one piece with it.
    """

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self._kept = bytearray()

    @property
    def is_amid(self) -> bool:
        """Whether a message has begun and is not whole yet."""
        return bool(self._kept)

    def feed(self, data: bytes) -> Iterator[bytes]:
        """Give the messages that are whole now; WireError at one that is too long.

        Whoever takes only some of them gets the others with the next piece, which may be empty.
        """
        self._kept += data
        while len(self._kept) >= _LENGTH_BYTES:
            end = _LENGTH_BYTES + int.from_bytes(self._kept[:_LENGTH_BYTES], "big")
            if end > _LENGTH_BYTES + self._longest:
                self._kept.clear()
                raise WireError(f"a message of {end - _LENGTH_BYTES} bytes; allowed: up to {self._longest}")
            if len(self._kept) < end:
                return
            body = bytes(self._kept[_LENGTH_BYTES:end])
            del self._kept[:end]
            yield body


@cache
def layout() -> str:
    """Short sign of everything that the messages are made of: it differs where two versions would misread each other.

    It covers names, types and members of all classes below an assessment, and none of their descriptions.
    """
    _, parts = msgspec.json.schema_components([News, Past, Refused, Bye, Ask], schema_hook=_schema)
    return hashlib.sha256(json.dumps(_bare(parts), sort_keys=True).encode()).hexdigest()[:8]


def hello(pid: int, *, machine: str = "", source: str = "", terminal: str = "") -> Hello:
    """Introduce this program."""
    return Hello(PROTOCOL, version(), layout(), pid, machine[:200], source[:200], terminal[:200])


def is_understood(other: Hello) -> bool:
    """Whether the one who said this speaks as we do."""
    return (other.protocol, other.layout) == (PROTOCOL, layout())


def mismatch_text(watch: Hello, screen: Hello) -> str:
    """Tell that a watch and a screen do not fit, with both versions and what to do."""
    return (
        f"the watch runs strandwatch {_versions(watch)}, this screen is of strandwatch {_versions(screen)}: they do not"
        " understand each other. Attach with the strandwatch that the watch runs; or end the watch and start it anew"
        " with this one (it goes on with its recording)"
    )


def _versions(who: Hello) -> str:
    return f"{who.version} (protocol {who.protocol}, layout {who.layout})"


def _schema(kind: type) -> dict[str, Any]:
    name = getattr(kind, "__origin__", kind).__name__  # how an array's type is written out is its library's affair
    return {"type": "array", "title": name}


def _bare(part: Any) -> Any:  # noqa: ANN401 -- plain JSON of any depth
    if isinstance(part, dict):
        return {key: _bare(value) for key, value in part.items() if key != "description"}
    return [_bare(value) for value in part] if isinstance(part, list) else part


def _plain(value: Any) -> Any:  # noqa: ANN401 -- as the encoder calls it
    if isinstance(value, np.ndarray):
        return np.ascontiguousarray(value, _ARRAY).tobytes()
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return dict(value)
    raise NotImplementedError(f"{type(value).__name__} has no place on the wire")


def _array(kind: type, value: Any) -> Any:  # noqa: ANN401 -- as the decoder calls it
    if getattr(kind, "__origin__", None) is not np.ndarray or not isinstance(value, bytes):
        raise ValueError(f"no array of numbers, but {type(value).__name__}")
    return np.frombuffer(value, _ARRAY)  # read-only, as bytes are


_ENCODER: Final = msgspec.msgpack.Encoder(enc_hook=_plain)
_OF_WATCH: Final = msgspec.msgpack.Decoder[FromWatch](FromWatch, dec_hook=_array)
_OF_SCREEN: Final = msgspec.msgpack.Decoder[FromScreen](FromScreen)
