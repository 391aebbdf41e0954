"""A key on a real pseudo-terminal says that the owner has seen it; the terminal is put back."""

import asyncio
import os
import termios
from collections.abc import Iterator
from typing import TextIO

import pytest

from monitor.seen_key import can_answer, seen_by_key
from tests.notify_examples import until


@pytest.fixture
def terminal() -> Iterator[tuple[int, TextIO]]:
    """Our end of a pseudo-terminal, and the program's."""
    ours, theirs = os.openpty()
    with os.fdopen(theirs, "r") as stream:
        yield ours, stream
    os.close(ours)


@pytest.mark.parametrize("key", ["k", "K", "\r", "\n", " "])
async def test_some_keys_mean_seen_and_the_others_nothing(terminal: tuple[int, TextIO], key: str) -> None:
    """At once, without Enter; arrows and letters are passed over."""
    ours, theirs = terminal
    before = termios.tcgetattr(theirs.fileno())
    with seen_by_key(theirs) as seen:
        os.write(ours, b"x\x1b[Aq")
        for _ in range(20):
            await asyncio.sleep(0)
        assert not seen.done()
        os.write(ours, key.encode())
        await until(seen.done)
        assert seen.result()
    assert termios.tcgetattr(theirs.fileno()) == before


async def test_a_terminal_that_goes_away_says_that_nobody_can_answer() -> None:
    """It does not spin on it, and does not fail at putting it back."""
    ours, theirs = os.openpty()
    with os.fdopen(theirs, "r") as stream, seen_by_key(stream) as seen:
        os.close(ours)
        await until(seen.done)
        assert not seen.result()


def test_only_a_terminal_can_answer(terminal: tuple[int, TextIO]) -> None:
    """Not a file, a pipe, or nothing."""
    assert can_answer(terminal[1])
    assert not can_answer(None)
    with open(os.devnull) as nowhere:  # noqa: PTH123 -- no path of a project
        assert not can_answer(nowhere)
    assert not can_answer(nowhere)
