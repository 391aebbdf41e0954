"""Runs a session to its end, beside a screen or a printer, and turns how it ended into an exit status."""

import argparse
import asyncio
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Final

from connectors.errors import LinkFailedError
from monitor.core.alert_types import Priority
from monitor.exit_codes import ALARM, DONE, OWN_FAULT
from monitor.headless import JsonPrinter, PlainPrinter, Printer
from monitor.output import Output, speak_utf8
from monitor.pace import SCREEN_SPEED
from monitor.service.seen_signal import seen_by_signal
from monitor.session import Session
from monitor.step import Step
from monitor.stopping import BY_OWNER, ending_signals
from monitor.terminal_call import LineCall, TerminalCall
from monitor.totals import Totals
from monitor.tui.terminal.choices import can_show_screen

JSON_EVERY_S: Final = 60.0

Show = Callable[[Session], Awaitable[None]]
"""Shows a session on a screen until the owner leaves."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How the owner wants to see a watch.

    `on_screen` excludes `as_json`; `every_s` is the machine time between status lines or assessments [s]; `bell` and
    `notices` (OSC 9) call the owner at the terminal.
    """

    on_screen: bool
    as_json: bool = False
    every_s: float | None = None
    fail_on_alarm: bool = False
    ascii_only: bool | None = None
    colour: bool | None = None
    mouse: bool = False
    bell: bool = True
    notices: bool = False


def manner_of(arguments: argparse.Namespace) -> Manner:
    """How the watch is to be shown, as the options and the terminal allow.

    A screen needs a terminal; with its output in a pipe or a file, lines are what the owner wants.
    """
    has_terminal = sys.stdout is not None and sys.stdout.isatty() and can_show_screen()
    return Manner(
        on_screen=has_terminal and not (arguments.headless or arguments.json),
        as_json=arguments.json,
        every_s=arguments.every,
        fail_on_alarm=arguments.fail_on_alarm,
        ascii_only=True if arguments.ascii else None,
        colour=False if arguments.no_color else None,
        mouse=arguments.mouse,
        bell=not arguments.no_bell,
        notices=arguments.osc_notify,
    )


def speed_of(arguments: argparse.Namespace, manner: Manner) -> float | None:
    """Pace of a night that is not live [machine seconds per second]; None for as fast as it goes."""
    if arguments.speed is None:
        return SCREEN_SPEED if manner.on_screen else None
    return float(arguments.speed)


@dataclass(frozen=True, slots=True)
class Words:
    """What is said about a watch: `opening` before it, `closing` after its summary, asked for when it has ended."""

    opening: tuple[str, ...] = ()
    closing: Callable[[], Iterable[str]] = tuple


def carry_out(session: Session, manner: Manner, totals: Totals, words: Words) -> int:
    """Run `session` to its end; return the exit status.

    Raises
    ------
    LinkFailedError
        When the link failed for good; everything there is to print is printed by then.
    BrokenPipeError
        When nobody reads the output any more; the recording is closed by then.
    """
    session.observe(totals.take)
    if manner.as_json:
        speak_utf8()
    output = Output(sys.stdout, sys.stderr)
    printer = _make_printer(session, manner, output)
    if manner.on_screen:
        failure = _on_screen(session, manner, printer)
    else:
        failure = _on_lines(session, manner, printer, words, output)
    if manner.on_screen:
        printer.tell(words.opening)
    printer.end(totals, _end_text(session, manner, failure))
    printer.tell(_closing(session, words))
    if failure is not None:
        raise failure
    if session.fault is not None:  # told by the printer
        return OWN_FAULT
    return ALARM if manner.fail_on_alarm and totals.raised[Priority.ALARM] else DONE


def _make_printer(session: Session, manner: Manner, output: Output) -> Printer:
    if manner.as_json:
        return JsonPrinter(output, session, JSON_EVERY_S if manner.every_s is None else manner.every_s)
    return PlainPrinter(output, session, manner.every_s)


def _end_text(session: Session, manner: Manner, failure: LinkFailedError | None) -> str:
    """Why the watch is over. Why a link failed is told to people once, last, beside the output."""
    return (session.ended or "") if failure is None or manner.as_json else "the link failed for good, as told below"


def _closing(session: Session, words: Words) -> Iterator[str]:
    if session.is_discarded:
        yield "note: there was nothing to record, so the recording is not kept"
    if session.missing_sensors and session.missing_sensors not in session.notice:  # ended before the notice was due
        yield f"note: {session.missing_sensors}"
    yield from words.closing()


def _print(printer: Printer, step: Step, output: Output) -> None:
    """Print a step; should that fail, nobody else could tell."""
    try:
        printer.take(step)
    except BrokenPipeError:
        raise
    except Exception as error:
        output.message(f"printing failed, so nothing more is printed until the end ({error!r}); the watch goes on")
        raise


def _on_lines(
    session: Session, manner: Manner, printer: Printer, words: Words, output: Output
) -> LinkFailedError | None:
    try:
        printer.tell(words.opening)
    except BrokenPipeError:
        session.stop("the output went away")  # before it began: it still closes what is open
    session.observe(lambda step: _print(printer, step, output))
    if not manner.as_json and sys.stdout is not None and sys.stdout.isatty():
        call = TerminalCall(bell=manner.bell, notices=manner.notices)
        session.observe(LineCall(sys.stdout, call, time.monotonic).take)
    try:
        asyncio.run(run_alone(session))
    except LinkFailedError as error:
        return error
    return None


def _on_screen(session: Session, manner: Manner, printer: Printer) -> LinkFailedError | None:
    from monitor.tui.app import show  # noqa: PLC0415 -- slow to import, and only a screen needs it

    try:
        beside = run_beside(
            session,
            lambda it: show(
                it,
                ascii_only=manner.ascii_only,
                colour=manner.colour,
                mouse=manner.mouse,
                call=TerminalCall(bell=manner.bell, notices=manner.notices),
            ),
            instead=lambda: session.observe(printer.take),
        )
        asyncio.run(beside)
    except LinkFailedError as error:
        return error
    return None


async def run_alone(session: Session) -> None:
    """Run a session until it ends or a signal ends it."""
    async with _running(session) as watch:
        await asyncio.wait({watch})


async def run_beside(session: Session, show: Show, instead: Callable[[], None]) -> None:
    """Run a session while it is shown; it ends with the screen, but the screen stays when the session ends first.

    When the screen fails, the watch goes on without it, until a signal ends it; `instead` brings what shows it then.
    """
    async with _running(session) as watch:
        try:
            await show(session)
        except Exception as error:  # noqa: BLE001 -- whatever fails of a screen must not end the watch of a night
            session.take_fault("the screen", error)
            instead()
            await asyncio.wait({watch})


@asynccontextmanager
async def _running(session: Session) -> AsyncIterator[asyncio.Task[None]]:
    """Have a session run meanwhile, ended at the latest afterwards; raise what it failed of."""
    watch = asyncio.create_task(session.run())
    try:
        with ending_signals(session.stop), seen_by_signal(session):
            yield watch
            session.stop(BY_OWNER)
            await asyncio.wait({watch})
    finally:
        session.stop("the watch was cancelled")
        await asyncio.wait({watch})
    watch.result()
