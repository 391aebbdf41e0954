"""Runs a replay on the screen, and says after it what it showed."""

import asyncio
import sys
from collections.abc import Iterator
from contextlib import suppress

from monitor.exit_codes import ALARM, DONE
from monitor.output import Output
from monitor.replay.comparison import comparison_lines
from monitor.replay.player import Player
from monitor.replay.reading import Reading
from monitor.running import Manner


def carry_out_on_screen(player: Player, reading: Reading, manner: Manner, opening: tuple[str, ...]) -> int:
    """Show a recording until the owner leaves; return the exit status."""
    asyncio.run(_show(player, manner))
    output = Output(sys.stdout, sys.stderr)
    for line in (*opening, *closing_lines(reading)):
        output.line(line)
    return ALARM if manner.fail_on_alarm and reading.has_alarm else DONE


async def _show(player: Player, manner: Manner) -> None:
    from monitor.tui.app import show_replay  # noqa: PLC0415 -- slow to import, and only a screen needs it

    playing = asyncio.create_task(player.run())
    try:
        await show_replay(player, ascii_only=manner.ascii_only, colour=manner.colour, mouse=manner.mouse)
    finally:
        playing.cancel()
        with suppress(asyncio.CancelledError):
            await playing


def closing_lines(reading: Reading) -> Iterator[str]:
    """What is known of the recording once the screen is gone; of one left too soon only that."""
    if not reading.is_over:
        yield "left before all of the recording was read: its conclusions were not compared"
        return
    if reading.recording.torn:
        yield "note: the recording's last line is incomplete: the watch was cut off then; all before it counts"
    cut_off_s = None if reading.is_complete else reading.timeline.head.time_s
    yield from comparison_lines(reading.recorded, reading.replayed, cut_off_s)
