"""Recordings as files: plain, compressed, torn, cut, foreign, hostile."""

import gzip
import io
import json
import random
from collections.abc import Callable
from pathlib import Path

import pytest
import zstandard

from connectors import recording as recording_module
from connectors.errors import RecordingError
from connectors.recording import Conclusion, Encoder, Recording, read_recording
from connectors.telemetry import Event, Sample, Tick
from tests.recording_examples import HEADER, NIGHT, night_lines, validator

LINES = night_lines()
PLAIN = b"".join(LINES)
ALL: list[Event | Conclusion] = [*NIGHT, Conclusion("alert", 2.25, {"event": "raised", "limit": None})]


def _file(tmp_path: Path, content: bytes, name: str = "night.jsonl") -> Path:
    path = tmp_path / name
    path.write_bytes(content)
    return path


def _read(path: Path) -> tuple[Recording, list[Event | Conclusion]]:
    recording = read_recording(path)
    return recording, list(recording.items())


def _zst_in_frames(content: bytes) -> bytes:
    """Several frames behind each other, as appending compressed pieces makes them."""
    middle = len(content) // 2
    pack = zstandard.ZstdCompressor().compress
    return pack(content[:middle]) + pack(content[middle:])


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("night.jsonl", PLAIN),
        ("night.jsonl.gz", gzip.compress(PLAIN)),
        ("night.jsonl.zst", zstandard.ZstdCompressor().compress(PLAIN)),
        ("frames.jsonl.zst", _zst_in_frames(PLAIN)),
        ("frames.jsonl.gz", gzip.compress(PLAIN[:700]) + gzip.compress(PLAIN[700:])),
        ("renamed.txt", gzip.compress(PLAIN)),
    ],
)
def test_plain_and_compressed_files_read_alike(tmp_path: Path, name: str, content: bytes) -> None:
    """Header, events and conclusions come out the same, in order, whatever packing; the name does not matter."""
    recording, items = _read(_file(tmp_path, content, name))
    assert recording.header == HEADER
    assert items == ALL
    assert (recording.skipped, recording.torn, recording.damage) == (0, False, None)


def test_a_recording_can_be_read_again(tmp_path: Path) -> None:
    """Each call of `items` starts at the top, with fresh counts."""
    recording = read_recording(_file(tmp_path, PLAIN + b"junk\n[9.0"))
    for _ in range(2):
        assert list(recording.items()) == ALL
        assert (recording.skipped, recording.torn) == (1, True)


def test_a_file_with_nothing_but_its_header_is_a_recording(tmp_path: Path) -> None:
    """A watch cut off before its first event left an empty, whole recording; the line end may even be missing."""
    for content in (LINES[0], LINES[0].rstrip()):
        recording, items = _read(_file(tmp_path, content))
        assert (recording.header, items, recording.torn) == (HEADER, [], False)


def test_cut_anywhere_it_keeps_every_whole_line(tmp_path: Path) -> None:
    """Cut at any byte behind the header, a recording keeps all lines before the cut, and counts nothing as damage."""
    header = len(LINES[0])
    for cut in range(header, len(PLAIN)):
        recording, items = _read(_file(tmp_path, PLAIN[:cut]))
        whole = PLAIN[header:cut].count(b"\n")
        done = sum(len(line) for line in LINES[: whole + 1])
        expected, _ = _read(_file(tmp_path, PLAIN[:done], "expected.jsonl"))
        before = list(expected.items())
        assert items[: len(before)] == before
        assert len(items) - len(before) in ({0, 1} if PLAIN[cut : cut + 1] == b"\n" else {0})
        assert recording.skipped == 0
        assert recording.torn == (PLAIN[cut - 1 : cut] != b"\n" and PLAIN[cut : cut + 1] != b"\n")


def test_damage_in_the_middle_is_stepped_over_and_counted(tmp_path: Path) -> None:
    """Lines of garbage, zero bytes and other encodings cost themselves alone."""
    garbage = [b"\x00" * 300 + b"\n", b"\xff\xfe\n", b"T:195 /195\n", b"[1.0,null,\n"]
    content = LINES[0] + b"".join(bad + line for bad, line in zip(garbage * 4, LINES[1:], strict=False))
    recording, items = _read(_file(tmp_path, content))
    assert items == ALL
    assert recording.skipped == len(LINES) - 1
    assert not recording.torn


def test_a_file_that_ends_in_zero_bytes_is_torn(tmp_path: Path) -> None:
    """After a power cut some file systems leave zeros where the last lines should be."""
    recording, items = _read(_file(tmp_path, PLAIN + b"\x00" * 5000))
    assert (items, recording.skipped, recording.torn) == (ALL, 0, True)


def test_a_line_longer_than_any_of_ours_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An endless line is not taken into memory; it counts as one line, or as the torn end when the file ends in it."""
    monkeypatch.setattr(recording_module, "LONGEST_LINE", 1000)
    endless = b"[" + b"1.0," * 5000
    recording, items = _read(_file(tmp_path, PLAIN + endless + b"]\n[9.0]\n"))
    assert (items, recording.skipped, recording.torn) == ([*ALL, Tick(9.0)], 1, False)
    recording, items = _read(_file(tmp_path, PLAIN + endless))
    assert (items, recording.skipped, recording.torn) == (ALL, 0, True)


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.ZstdCompressor().compress], ids=["gz", "zst"])
def test_a_compressed_file_that_breaks_off_gives_what_it_has(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    """Half a compressed file yields the events of its first half, in order, and says that it ended early."""
    encoder = Encoder(HEADER)
    noise = random.Random(1)  # noqa: S311 -- noise, no secret
    samples = [Sample(i * 0.25, {"temp_c:manifold": noise.gauss(195.0, 0.3)}) for i in range(60_000)]
    packed = pack(encoder.header_line() + b"".join(map(encoder.encode, samples)))
    recording, items = _read(_file(tmp_path, packed[: len(packed) // 2]))
    assert 10_000 < len(items) < 50_000
    assert items == samples[: len(items)]
    assert recording.torn or recording.damage


def test_a_corrupt_compressed_file_says_so(tmp_path: Path) -> None:
    """A checksum that fails is told in words, after what could be read."""
    packed = bytearray(gzip.compress(PLAIN))
    packed[-6] ^= 0xFF
    recording, _ = _read(_file(tmp_path, bytes(packed)))
    assert recording.damage is not None
    assert "corrupt" in recording.damage


def test_only_the_first_of_two_joined_recordings_is_read(tmp_path: Path) -> None:
    """Times and columns of a second recording in the same file are not mistaken for those of the first."""
    recording, items = _read(_file(tmp_path, PLAIN + PLAIN))
    assert items == ALL
    assert recording.damage is not None
    assert "second recording" in recording.damage


def test_leaving_early_closes_the_file(tmp_path: Path) -> None:
    """Closing the iterator closes the file: pytest would report a file left open."""
    items = read_recording(_file(tmp_path, PLAIN)).items()
    assert next(items) == NIGHT[0]
    items.close()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"\n", "is empty"),
        (b"time;temperature\n1;195\n", "is not a recording"),
        (gzip.compress(b"time;temperature\n", mtime=0), "is not a recording"),
        (gzip.compress(b"", mtime=0), "is empty"),
        (b"\x1f\x8b\x08\x00", "cannot be unpacked"),
        (b"\x28\xb5\x2f\xfd" + b"\xff" * 200, "cannot be unpacked"),
        (zstandard.ZstdCompressor().compress(PLAIN)[:9], "is empty, or was cut off"),
        (LINES[0][:100], "begins like a recording of strandwatch, but its first line is incomplete"),
    ],
)
def test_files_of_another_kind_are_refused_by_name(tmp_path: Path, content: bytes, message: str) -> None:
    """What is no recording raises at once, naming the file and what is wrong with it."""
    path = _file(tmp_path, content)
    with pytest.raises(RecordingError, match=f"{path.name} {message}"):
        read_recording(path)


def test_a_missing_file_and_a_directory_are_told(tmp_path: Path) -> None:
    """The system's reason is passed on, with the name and what to check."""
    with pytest.raises(RecordingError, match=r"nowhere\.jsonl cannot be opened: No such file.*Check the name"):
        read_recording(tmp_path / "nowhere.jsonl")
    with pytest.raises(RecordingError, match="cannot be opened: Is a directory"):
        read_recording(tmp_path)


def test_the_longest_header_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A first line without end is refused rather than taken into memory."""
    monkeypatch.setattr(recording_module, "LONGEST_HEADER", 1000)
    seen: list[int] = []
    true_readline = io.BufferedReader.readline

    class Watched(io.BufferedReader):
        def readline(self, size: int | None = -1, /) -> bytes:
            line = true_readline(self, size)
            seen.append(len(line))
            return line

    path = _file(tmp_path, b'{"format":' + b" " * 100_000)
    monkeypatch.setattr(Path, "open", lambda self, _mode: Watched(io.FileIO(self, "rb")))
    with pytest.raises(RecordingError, match="is not a recording"):
        read_recording(path)
    assert seen == [1000]


def test_the_example_in_the_readme_reads_as_it_says(tmp_path: Path) -> None:
    """The recording printed in the description of the format is whole, valid and read without loss."""
    readme = (Path(__file__).parent.parent / "replays" / "README.md").read_text()
    example = readme.split("```")[1].strip() + "\n"
    header, *lines = [json.loads(line) for line in example.splitlines()]
    validator("header").validate(header)
    for line in lines:
        validator("line").validate(line)
    recording, items = _read(_file(tmp_path, example.encode()))
    assert (len(items), recording.skipped, recording.torn) == (len(lines) - 1, 0, False)  # the columns line is no item
    assert isinstance(items[6], Sample)
    assert items[6].values["temp_c:nozzle"] == 224.9
