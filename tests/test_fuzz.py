"""Hard input for everything that reads what others wrote: no error escapes, memory and work stay in bounds.

`fuzz_corpus/READER/` holds small hard inputs, which always run; Hypothesis changes and joins them. Whoever finds an
input that breaks a reader puts it there.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz_growth import (
    FOUR_TIMES_MAY_COST,
    MEMORY_BESIDE,
    MEMORY_PER_BYTE,
    memory_allowed,
    memory_peak,
    work_ratio,
)
from tests.fuzz_guided import growth_faults
from tests.fuzz_readers import READERS
from tests.recording_examples import night_lines
from tests.websocket_examples import full

CORPUS: Final = Path(__file__).parent / "fuzz_corpus"
FILES: Final = sorted(CORPUS.glob("*/*"))
SEEDS: Final = {name: [path.read_bytes() for path in FILES if path.parent.name == name] for name in READERS}
PARTS: Final = [
    b"\x00",
    b"\x1b[2J",
    b"\xff",
    b"\n",
    b"\r",
    b"[",
    b"{",
    b'"',
    b"1" * 5000,
    b"-",
    b"e999",
    b"=",
    b".",
    b" ",
]

LARGE: Final = 400_000


def test_every_reader_has_a_corpus() -> None:
    """No reader is without hard inputs, one of them sound, and no folder without a reader."""
    assert {path.parent.name for path in FILES} == set(READERS)
    assert all((CORPUS / name / "sound").exists() and len(SEEDS[name]) >= 5 for name in READERS)


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_the_corpus_raises_nothing_undocumented(path: Path) -> None:
    """Every hard input that was ever kept is read or refused."""
    READERS[path.parent.name](path.read_bytes())


@st.composite
def changed(draw: st.DrawFn, name: str) -> bytes:
    """An input of the corpus, cut, doubled, overwritten and joined with others up to six times."""
    data = draw(st.sampled_from(SEEDS[name]))
    for _ in range(draw(st.integers(1, 6))):
        start, end = sorted((draw(st.integers(0, len(data))), draw(st.integers(0, len(data)))))
        new = draw(st.sampled_from([*PARTS, data[start:end] * 2, *SEEDS[name]]) | st.binary(max_size=8))
        data = data[:start] + new + data[draw(st.sampled_from([start, end])) :]
    return data[:100_000]


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_changed_input_raises_nothing_undocumented(name: str, data: st.DataObject) -> None:
    """Sixty changed inputs a run for each reader."""
    READERS[name](data.draw(changed(name)))


def _many(line: bytes, before: bytes = b"") -> Callable[[int], bytes]:
    return lambda size: before + line * (size // len(line))


_HEADER: Final = night_lines()[0]
_SAMPLE: Final = night_lines()[2]
_SOUND: Final = {name: (CORPUS / name / "sound").read_bytes() for name in READERS}

HARD: Final[dict[str, Callable[[int], bytes]]] = {
    "serial no end of line": _many(b"T0:210 "),
    "serial only ends": _many(b"\n"),
    "serial one kind of sign": _many(b"T0:"),
    "serial long lines": _many(b"ok T0:" + b"1" * 2000 + b" /" + b"2" * 2000 + b"\n"),
    "serial spaces": _many(b"T" + b" " * 20_000 + b"\n"),
    "serial reports": _many(b"ok T0:210.0 /210.0 @0:64\n"),
    "serial documents": _many(b'{"a":[' + b"1," * 900 + b"1]}\n"),
    "websocket digits": lambda size: b'{"t":"all","d":' + b"1" * size + b"}",
    "websocket list": lambda size: b'{"t":"all","d":[' + b"1," * (size // 2) + b"1]}",
    "websocket keys": lambda size: b'{"t":"all","d":{' + b",".join(b'"k%d":1' % n for n in range(size // 10)) + b"}}",
    "websocket escapes": lambda size: b'{"t":"' + b"\\u001b" * (size // 6) + b'"}',
    "websocket messages": _many(full().encode() + b"\n"),
    "recording samples": _many(_SAMPLE, _HEADER),
    "recording bad lines": _many(b'["x",1]\n', _HEADER),
    "recording one line": _many(b"[", _HEADER),
    "recording zeros": _many(b"\x00", _HEADER),
    "profile keys": lambda size: b"\n".join(b"k%d=1" % n for n in range(size // 80)) + b"\n" + _SOUND["profile"],
    "profile zones": _many(b'[[zones]]\nname="a"\n' + b"#" * 200 + b"\n", _SOUND["profile"]),
    "profile key of parts": lambda size: b"a." * (size // 2) + b"a=1\n",
    "profile text": lambda size: b'name = "' + b"x" * size + b'"\n',
    "profile spaces": lambda size: b"a" + b" " * size + b".b=1\n",
    "notify keys": lambda size: b"\n".join(b"k%d=1" % n for n in range(size // 80)) + b"\n" + _SOUND["notify"],
    "build moves": _many(b"G1 X1 Y2 E0.1\nG1 X2 Y1 E0.2\n", b"M83\nG1 F1800\n"),
    "build one line": _many(b"X1 ", b"G1 "),
    "build comments": _many(b"; a comment (with) T3 X99\n"),
    "build brackets": _many(b"("),
    "build numbers": _many(b"G1 X" + b"1" * 300 + b"\n"),
}


def _reader(case: str) -> Callable[[bytes], None]:
    return READERS[case.partition(" ")[0]]


@pytest.mark.parametrize("case", HARD)
def test_memory_is_bounded_by_the_input(case: str) -> None:
    """What Python holds at the worst moment stays under a fixed multiple of the input."""
    data = HARD[case](LARGE)
    _reader(case)(data[:100])  # what is imported and cached on first use does not count
    assert memory_peak(_reader(case), data) < memory_allowed(data)


@pytest.mark.parametrize("case", HARD)
def test_work_grows_with_the_input_and_not_with_its_square(case: str) -> None:
    """Four times the input costs about four times the work; a fixed part is left out by a floor of 5 ms."""
    small, large = HARD[case](LARGE // 4), HARD[case](LARGE)
    _reader(case)(small)
    assert work_ratio(_reader(case), small, large) < FOUR_TIMES_MAY_COST


def _careless(data: bytes) -> None:
    seen = b""
    for start in range(0, len(data), 40):
        seen = seen + data[start : start + 40]  # copies all there is


def test_a_square_would_be_found() -> None:
    """The measure itself: a reader that looks back over all it has read at every line is caught."""
    assert work_ratio(_careless, b"x" * LARGE, b"x" * 4 * LARGE) > FOUR_TIMES_MAY_COST


def test_what_the_guided_fuzzer_kept_is_measured_too() -> None:
    """Of inputs grown in several ways, one whose work grows as its square is told, and one that hoards; no other is."""

    def careless_of_stars(data: bytes) -> None:
        for _ in range(data.count(b"*") // 100):
            data.count(b"*")  # looks through all there is

    def hoards(data: bytes) -> None:
        kept = bytes(MEMORY_BESIDE + 2 * MEMORY_PER_BYTE * len(data)) if b"*" in data else b""
        assert kept is not None

    inputs = [b"a line\nanother\n", b"a *\n* *\n"]
    assert "times the work" in next(growth_faults(careless_of_stars, inputs))
    assert "bytes of memory" in next(growth_faults(hoards, inputs))
    assert list(growth_faults(lambda _data: None, inputs)) == []
