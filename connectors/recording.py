"""Reads recordings from files, plain or compressed. The lines themselves belong to the encoder and the decoder.

What is damaged is stepped over and told, never guessed: a torn last line is the ordinary end of a watch that was cut
off; a line that makes no sense is counted; a compressed file that breaks off ends there.
"""

import gzip
import io
import zlib
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import BinaryIO, Final, cast

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.recording_decoder import Conclusion, Decoder
from connectors.recording_encoder import Encoder
from connectors.recording_header import FORMAT, VERSION, Header, decode_header
from connectors.telemetry import Event

__all__ = [
    "FORMAT",
    "VERSION",
    "Conclusion",
    "Decoder",
    "Encoder",
    "Header",
    "Recording",
    "is_compressed",
    "read_recording",
]

LONGEST_LINE: Final = 1 << 20
LONGEST_HEADER: Final = 1 << 24
_GZIP, _ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"


class Recording:
    """A recording on disk, read from the top whenever `items` is called.

    `skipped`, `torn`, `damage` and `columns` belong to the reading that is under way or was last.

    Parameters
    ----------
    path : Path
        The file; its content decides whether it is compressed, not its name.

    Raises
    ------
    RecordingError
        When the file cannot be opened, is not a recording, or is of a newer version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.skipped = 0
        """Lines so far that could not be read."""
        self.torn = False
        """The last line is incomplete: the watch was cut off while it wrote. Nothing else is lost by it."""
        self.damage: str | None = None
        """Why reading ended before the end of the file, in words; None when it did not."""
        where = clean_text(str(path), 500)
        with _opened(path, where) as file:
            try:
                first = file.readline(LONGEST_HEADER)
            except _broken_stream() as error:
                raise RecordingError(f"{where} cannot be unpacked ({error}). Use another copy of it.") from None
        self.header = decode_header(first, where)
        self.columns = self.header.columns
        """Channels of a sample row, in order, as they stand by now."""

    def items(self) -> Generator[Event | Conclusion, None, None]:
        """Events and conclusions in the order in which they were written."""
        self.skipped, self.torn, self.damage = 0, False, None
        decoder = Decoder(self.header)
        with _opened(self.path, clean_text(str(self.path), 500)) as file:
            file.readline(LONGEST_HEADER)
            try:
                for line in iter(partial(file.readline, LONGEST_LINE), b""):
                    item = decoder.decode(line)
                    self.columns = decoder.columns
                    if item is not None:
                        yield item
                    elif not self._go_on(line, decoder, file):
                        break
            except _broken_stream() as error:
                self.damage = f"the file breaks off or is corrupt here: {error}"

    def _go_on(self, line: bytes, decoder: Decoder, file: BinaryIO) -> bool:
        """Account for a line without content; False when nothing more can be read."""
        unread = decoder.skipped > self.skipped
        if unread and not line.endswith(b"\n") and not _skip_to_next_line(file):
            self.torn = True
            decoder.skipped -= 1  # a torn end is no damage, so it is not counted as such
        self.skipped = decoder.skipped
        if decoder.another_begins:
            self.damage = "a second recording begins in the same file; only the first is read"
        return not decoder.another_begins


def read_recording(path: Path) -> Recording:
    """Open a recording; raises RecordingError, saying what is wrong, where, and what to do."""
    return Recording(path)


def is_compressed(path: Path) -> bool:
    """Whether a file is compressed, by its content; raises OSError when it cannot be read."""
    with path.open("rb") as file:
        return file.read(len(_ZSTD)).startswith((_GZIP, _ZSTD))


def _skip_to_next_line(file: BinaryIO) -> bool:
    """Pass over the rest of a line that is longer than any line of ours; False when the file ends first."""
    return any(piece.endswith(b"\n") for piece in iter(partial(file.readline, LONGEST_LINE), b""))


@contextmanager
def _opened(path: Path, where: str) -> Iterator[BinaryIO]:
    try:
        file = path.open("rb")
    except OSError as error:
        raise RecordingError(
            f"{where} cannot be opened: {error.strerror}. Check the name and its permissions."
        ) from None
    with file:
        yield _unpacked(file)


def _unpacked(file: io.BufferedReader) -> BinaryIO:
    opening = file.peek(len(_ZSTD))
    if opening.startswith(_GZIP):
        return cast("BinaryIO", gzip.GzipFile(fileobj=file, mode="rb"))
    if opening.startswith(_ZSTD):
        import zstandard  # noqa: PLC0415 -- rarely needed, and slow to import

        reader = zstandard.ZstdDecompressor().stream_reader(file, read_across_frames=True)
        return io.BufferedReader(cast("io.RawIOBase", reader))
    return file


def _broken_stream() -> tuple[type[Exception], ...]:
    """What reading a damaged or vanishing file can raise."""
    import zstandard  # noqa: PLC0415 -- rarely needed, and slow to import

    return (EOFError, OSError, zlib.error, zstandard.ZstdError)
