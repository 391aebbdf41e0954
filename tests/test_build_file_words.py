"""Text of build files: numbers, words, comments, checksums, and files that are none."""

import io
import math
import re
from functools import reduce
from operator import xor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.build_file import BuildFileError, read_build_file
from monitor.build_file.comments import UNCLOSED, WRONG_CHECKSUM, Place, without_comments
from monitor.build_file.line_blocks import LONGEST_LINE, line_blocks
from monitor.build_file.odd_lines import block_words
from monitor.build_file.tally import MOST_KINDS, Tally
from monitor.build_file.words import plain_words
from tests.build_file_examples import counted, read

SIGN = st.sampled_from(["", "-", "+"])
WORDS = re.split(
    " ",
    "G0 G1 G2 G3 G4 G10 G11 G17 G18 G19 G20 G21 G28 G80 G90 G91 G90.1 G92 M82 M83 M104 M109 M116 M140 M163"
    " M164 M165 M190 M200 M201 M203 M204 M205 M207 M208 M220 M221 M566 M567 M568 M6 M600 T0 T1 T9 T-1 T X1"
    " X-5.5 Y99999999 Z1e9 E3 E-40 E1:2 F0 F600 F99999999 I1 J-2 K.5 R0 R5 R-5 S0 S1 S200 S-300 P0 P3 P100"
    ' P99999999 D1.75 J0 L2 ( ) ; * " [ # M117 N5 X E 99999999999999999999',
)
DIGITS = st.text("0123456789", min_size=0, max_size=12)


def words_of(text: str) -> list[tuple[int, str, float]]:
    """Every word by line, letter, value, read in one block."""
    raw = text.encode()
    notes = Tally()
    cleaned = without_comments(raw, Place(notes, 1))
    ends = np.flatnonzero(np.frombuffer(raw, np.uint8) == 10)
    words = block_words(cleaned, ends, Place(notes, 1), Place(Tally(), 1))
    return list(zip(words.line.tolist(), map(chr, words.letter.tolist()), words.value.tolist(), strict=True))


class TestNumbers:
    """Decoding of numbers, bit for bit."""

    @settings(max_examples=400, deadline=None)
    @given(st.lists(st.tuples(SIGN, DIGITS, st.booleans(), DIGITS), min_size=1, max_size=30))
    def test_equal_to_float(self, parts: list[tuple[str, str, bool, str]]) -> None:
        """Any mix of signs, digits and points that is a number comes out as `float` has it, to the last bit."""
        texts = [
            sign + whole + ("." if point else "") + (fraction if point else "")
            for sign, whole, point, fraction in parts
        ]
        texts = [text for text in texts if re.search(r"\d", text) and abs(float(text)) <= 1e8]
        found = words_of("".join(f"G1 X{text}Y{text} Z {text}\n" for text in texts))
        values = [value for _, letter, value in found if letter in "XYZ"]
        assert [value.hex() for value in values] == [float(text).hex() for text in texts for _ in "XYZ"]

    def test_zero_keeps_its_sign(self) -> None:
        """-0.0 is what float gives."""
        ((_, _, value),) = words_of("X-0.0\n")
        assert math.copysign(1.0, value) == -1.0

    def test_sixteen_digits_are_still_exact(self) -> None:
        """Mantissas that need more than 2**53 go the slow way."""
        text = "99999999.99999999"
        words, odd = plain_words(f"X{text} Y1\nX12345678.1234567\n".encode())
        assert odd.tolist() == [0]
        assert words_of(f"X{text}\n")[0][2] == float(text)
        assert words.value[-1] == 12345678.1234567


class TestWords:
    """Words and what stands around them. Forms as in RS274/NGC section 3.3, where not marked as common practice."""

    @pytest.mark.parametrize(
        "line",
        ["G1 X10 Y-2.5", "g1x10y-2.5", "G1\tX10\t\tY-2.5  ", "G01 X+10. Y-2.50", "N7 G1 X10 Y-2.5", "G1 X 10 Y -2.5"],
    )
    def test_case_and_white_space_mean_nothing(self, line: str) -> None:
        """The same words in six ways of writing."""
        found = [(letter, value) for _, letter, value in words_of(line + "\n") if letter != "N"]
        assert found == [("G", 1.0), ("X", 10.0), ("Y", -2.5)]

    @pytest.mark.parametrize(
        "line",
        [
            "G1 X5 ; Y7",
            "G1 X5 (Y7)",
            "(Y7) G1 (Z3) X5",
            "G1 (a ; b) X5",
            "G1 X5 ;(Y7",
            'G1 X5 "Y7 ; Z3"',
            'G1 X5 ; an inch is 1" (or so',
        ],
    )
    def test_comments_and_strings_hold_no_words(self, line: str) -> None:
        """Whatever begins first hides the others."""
        assert [(letter, value) for _, letter, value in words_of(line + "\nG0\n")] == [
            ("G", 1.0),
            ("X", 5.0),
            ("G", 0.0),
        ]

    @pytest.mark.parametrize("code", ["M117", "M118", "M23", "M28", "M30", "M32", "m 117", "N3 M0117"])
    def test_free_text_holds_no_words(self, code: str) -> None:
        """Text after these codes selects no tool and moves nothing: common practice, no source."""
        schedule = read(f"G1 X1 E1\n{code} T3 G1 X100 E100\nG1 X2 E2\n")
        assert [(plan.number, plan.fed_mm) for plan in schedule.inputs] == [(1, 2.0)]
        assert schedule.times.tool_changes == 0

    def test_flags_have_no_number(self) -> None:
        """A letter alone is a word, and joined flags are several."""
        found = words_of("G28 X Y\nG28 XZ\n")
        assert [(line, letter) for line, letter, _ in found] == [
            (0, "G"),
            (0, "X"),
            (0, "Y"),
            (1, "G"),
            (1, "X"),
            (1, "Z"),
        ]
        assert all(math.isnan(value) for _, letter, value in found if letter != "G")

    def test_odd_lines_leave_the_others_alone(self) -> None:
        """Words stay in the order of their lines, whichever way they were read."""
        found = words_of("G1 X1\nG28 X\nG1 X1.2.3\n\nG1 X2\n")
        assert [line for line, _, _ in found] == sorted(line for line, _, _ in found)
        assert [(line, value) for line, letter, value in found if letter == "G"] == [
            (0, 1.0),
            (1, 28.0),
            (2, 1.0),
            (4, 1.0),
        ]

    @pytest.mark.parametrize(
        "line", ["G1 X[1+[2*[3]]]", "#1=5", "G1 X#1", "IF[#1 GT 2]", "START_HEATING T=3 E=100", "SET X5"]
    )
    def test_what_would_have_to_be_worked_out_is_counted(self, line: str) -> None:
        """Expressions, parameters and named macros are unknown as a whole: no word in them is believed."""
        schedule = read(f"G1 X1\n{line}\nG1 X3 F60\n")
        assert len(schedule.unknown) == 1
        assert schedule.unknown[0].first_line == 2
        assert schedule.inputs == ()

    def test_unknown_words_are_counted_with_their_first_line(self) -> None:
        """Commands and letters without a meaning here; the rest of the line counts."""
        schedule = read("G1 X1 Q5\nM999 S1\nM999\nG77.5\nG1 X2 U3 W1\nG1 X\nM\n")
        assert counted(schedule.unknown) == {
            "M999": (2, 2),
            "Q": (1, 1),
            "G77.5": (1, 4),
            "U": (1, 5),
            "W": (1, 5),
            "X without a number": (1, 6),
            "M without a number": (1, 7),
        }

    def test_unknown_kinds_are_bounded(self) -> None:
        """Thousands of different unknown commands are remembered as some hundred and the rest."""
        schedule = read("G1 X1\n" + "".join(f"M{number}\n" for number in range(2000, 5000)))
        assert len(schedule.unknown) == MOST_KINDS + 1
        assert counted(schedule.unknown)["others"] == (3000 - MOST_KINDS, MOST_KINDS + 2)


class TestChecksums:
    """The exclusive or of all bytes before `*`: common practice, no source."""

    @given(st.lists(st.tuples(st.text("GXYE 0123456789.", max_size=20), st.integers(0, 999)), min_size=1, max_size=8))
    @settings(max_examples=200, deadline=None)
    def test_wrong_ones_are_counted(self, rows: list[tuple[str, int]]) -> None:
        """Against a loop over bytes; the words are used all the same."""
        text = "".join(f"{line}*{said}\n" for line, said in rows)
        wrong = [number for number, (line, said) in enumerate(rows, 1) if reduce(xor, line.encode(), 0) != said]
        notes = Tally()
        assert without_comments(text.encode(), Place(notes, 1)) == "".join(f"{line}\n" for line, _ in rows).encode()
        expected = {WRONG_CHECKSUM: (len(wrong), wrong[0])} if wrong else {}
        assert counted(notes.all()) == expected

    def test_a_comment_belongs_to_the_line(self) -> None:
        """The checksum is of the line as it stands, brackets and all; a star in a comment is none."""
        line = "N4 G1 (left) X5 "
        good = f"{line}*{reduce(xor, line.encode(), 0)}\n"
        assert read(good + "G1 X6 ; 2*3\n").notes == ()
        assert counted(read(good.replace("*", "*1")).notes) == {WRONG_CHECKSUM: (1, 1)}

    @pytest.mark.parametrize("end", ["*", "*x", "*12x", "*1234"])
    def test_an_unreadable_one_is_wrong(self, end: str) -> None:
        """Nothing, letters, or too many digits."""
        notes = counted(read(f"G1 X5{end}\nG1 X6\n").notes)
        assert (WRONG_CHECKSUM in notes) == (end != "*12x" or reduce(xor, b"G1 X5", 0) != 12)


class TestHardText:
    """Lines no machine would take."""

    @pytest.mark.parametrize("filling", ["X1 ", "(", "[", ";", '"', "9", ".", "-", "((a)", "X1(", " ", "*", "\t;"])
    @pytest.mark.parametrize("block", [999, 1 << 20])
    def test_a_megabyte_in_one_line(self, filling: str, block: int) -> None:
        """It is left out and told with its number; lines around it keep their places and bytes."""
        text = "G1 X1 F60\n" + filling * (1_000_000 // len(filling)) + "\nG1 X2\n"
        schedule = read(text, block_bytes=block)
        assert counted(schedule.notes) == {"line too long to be read: left out": (1, 2)}
        assert (schedule.lines, schedule.bytes, schedule.moves) == (3, len(text), 2)

    @pytest.mark.parametrize("filling", ["(", "[", '"', "((a)", "X1(", ".", "-", "9", "M117", "AA", "1:", "E1:2", "()"])
    def test_the_longest_line_is_read_in_good_time(self, filling: str) -> None:
        """Deep nests, endless digits and the like cost no more than their length: a second at most for 64 KiB."""
        text = "G1 X1 F60\n" + "G1 " + filling * ((LONGEST_LINE - 10) // len(filling)) + "\nG1 X2\n"
        assert read(text).lines == 3

    def test_numbers_too_large_are_told(self) -> None:
        """They move nothing, and the schedule stays finite."""
        schedule = read("G1 X1 F60\nG1 X" + "9" * 400 + "\nG1 Y123456789.5 E1\nG1 X2\n")
        assert counted(schedule.notes) == {"number too large to be meant": (2, 2)}
        assert schedule.inputs[0].fed_mm == 1.0
        assert schedule.duration.planned_s < 10

    def test_unclosed_brackets_are_told(self) -> None:
        """The rest of the line counts as comment."""
        schedule = read("G1 X1 F60\nG1 X2 (wide E5\n")
        assert counted(schedule.notes) == {UNCLOSED: (1, 2)}
        assert schedule.inputs == ()

    def test_a_mark_of_utf8_is_no_word(self) -> None:
        """Some editors put it first."""
        assert read(b"\xef\xbb\xbfG1 X1 F60\n").notes == ()

    @settings(max_examples=300, deadline=None)
    @given(st.lists(st.binary(max_size=40), max_size=12), st.integers(1, 50))
    def test_any_bytes_are_read_or_refused(self, pieces: list[bytes], block: int) -> None:
        """No other error escapes, whatever is handed in."""
        _read_or_refuse(b"\n".join(pieces), block)

    @settings(max_examples=500, deadline=None)
    @given(
        st.lists(
            st.lists(
                st.sampled_from(WORDS),
                max_size=7,
            ),
            max_size=25,
        ),
        st.integers(1, 200),
    )
    def test_any_words_are_read(self, lines: list[list[str]], block: int) -> None:
        """Words of the language in any order give a finite schedule that does not depend on the blocks."""
        text = "".join(" ".join(line) + "\n" for line in lines).encode()
        _read_or_refuse(text, block)


def _read_or_refuse(text: bytes, block: int) -> None:
    try:
        schedule = read(text, block_bytes=block)
    except BuildFileError:
        with pytest.raises(BuildFileError, match=r"\w"):
            read(text)
        return
    try:
        whole = read(text)
    except BuildFileError as error:  # how many are too many is judged by what a block begins with
        if "control characters" not in str(error):
            raise
        return
    assert all(map(math.isfinite, schedule.duration))
    assert whole.duration.planned_s == pytest.approx(schedule.duration.planned_s, rel=1e-6)
    assert (whole.lines, whole.moves, whole.notes, whole.unknown) == (
        schedule.lines,
        schedule.moves,
        schedule.notes,
        schedule.unknown,
    )
    for plan in schedule.inputs:
        assert np.isfinite(plan.stretches.feed_mm).all()
        assert np.isfinite(plan.stretches.end_s).all()


class TestRefused:
    """Files that are none, or damaged."""

    def test_empty(self) -> None:
        """Nothing at all, however it is handed in."""
        for source in (io.BytesIO(b""), [], [b"", b""]):
            with pytest.raises(BuildFileError, match="empty"):
                read_build_file(source)

    @pytest.mark.parametrize("block", [7, 1 << 20])
    def test_nul_bytes(self, block: int) -> None:
        """A file with NUL bytes, as a torn one has, is refused with the place of the first."""
        with pytest.raises(BuildFileError, match="NUL") as caught:
            read(b"G1 X1\nG1 X2\nG1\0X3\n", block_bytes=block)
        assert (caught.value.line, caught.value.byte) == (3, 14)
        assert str(caught.value).startswith("line 3, byte 14: ")

    def test_binary(self) -> None:
        """Control characters in number are no text."""
        with pytest.raises(BuildFileError, match="no text"):
            read(bytes(range(1, 9)) * 50 + b"\nG1 X1\n")

    def test_text_of_another_kind(self) -> None:
        """Prose moves nothing and commands nothing."""
        with pytest.raises(BuildFileError, match="no build file"):
            read("Dear reader,\n\nthere is nothing to build here.\n")

    @pytest.mark.parametrize("end", ["G1 X12 Y-", "G1 X12 Y", "G", "N12", "G1 X5 *", "X12.5 E", "G1 X"])
    def test_cut_in_a_word(self, end: str) -> None:
        """The last line stops where no word can: refused with line and byte."""
        text = f"G1 X1\n{end}"
        with pytest.raises(BuildFileError, match="cut off") as caught:
            read(text)
        assert (caught.value.line, caught.value.byte) == (2, len(text))

    @pytest.mark.parametrize("end", ["G1 X12", "G28 X", "M84", "; bye", "G1 X1 ; G"])
    def test_no_end_of_line_is_noted(self, end: str) -> None:
        """A last line without its end may be whole; that this cannot be seen is told, with its number."""
        ((what, (count, line)),) = counted(read(f"G1 X1\n{end}").notes).items()
        assert what.startswith("the file ends without an end of line")
        assert (count, line) == (1, 2)

    def test_heaters_on_at_the_end_are_noted(self) -> None:
        """A file that was cut between two lines leaves no other trace."""
        cut = read("M104 S210\nG1 X1 E1\n")
        whole = read("M104 S210\nG1 X1 E1\nM104 S0\n")
        assert [row.what[:27] for row in cut.notes] == ["heaters are on at the end: t"[:27]]
        assert whole.notes == ()


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from([b"G1 X1", b"\n", b"\r\n", b"\r", b"abc"]), max_size=30), st.integers(1, 20))
def test_blocks_are_whole_lines(pieces: list[bytes], block: int) -> None:
    """Blocks joined are the text with plain line ends; their first lines and bytes count up."""
    text = b"".join(pieces) + b"Z1\n"
    blocks = list(line_blocks(pieces + [b"Z1\n"], block))  # noqa: RUF005 -- a list is handed in
    joined = b"".join(one.text for one in blocks)
    assert joined == text.replace(b"\r\n", b" \n").replace(b"\r", b"\n")
    line = start = 0
    for one in blocks:
        assert (one.first_line, one.start_byte, one.text[-1:]) == (line, start, b"\n")
        assert len(one.line_ends) == one.text.count(b"\n")
        line, start = line + len(one.line_ends), start + len(one.text)
