"""Options that several commands share, and how a command is put off until it runs. Cheap to import."""

import argparse
import math
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import cast

from monitor.pace import SCREEN_SPEED

Run = Callable[[argparse.Namespace], int]


def late(module: str) -> Run:
    """Give the `run` of a module that is imported only when the command runs, so that ``--help`` answers at once."""

    def run(arguments: argparse.Namespace) -> int:
        return cast("Run", import_module(module).run)(arguments)

    return run


def positive(text: str) -> float:
    """Value of an option that must be a finite number above 0."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is no number above 0")
    return value


def add_view_options(parser: argparse.ArgumentParser) -> None:
    """Add what says how a watch is shown."""
    view = parser.add_argument_group("how it is shown")
    view.add_argument("--headless", action="store_true", help="plain lines instead of a screen, as without a terminal")
    view.add_argument("--json", action="store_true", help="JSON Lines instead of a screen, and nothing else on stdout")
    view.add_argument(
        "--every",
        metavar="SECONDS",
        type=positive,
        help="machine time between assessments (--json: 60) or status lines (plain: none)",
    )
    add_screen_options(view)
    parser.add_argument(
        "--fail-on-alarm", action="store_true", help="exit status 1 if an alert of priority ALARM occurred"
    )


def add_screen_options(view: "argparse._ArgumentGroup") -> None:
    """Add what says how a screen looks and calls."""
    view.add_argument("--no-bell", action="store_true", help="an ALARM does not ring the terminal's bell")
    view.add_argument(
        "--osc-notify",
        action="store_true",
        help="have the terminal show a new ALARM as a desktop notification (OSC 9, which not every terminal knows)",
    )
    view.add_argument("--no-color", action="store_true", help="no colours on the screen; NO_COLOR does the same")
    view.add_argument(
        "--mouse",
        action="store_true",
        help="use the mouse as well; the terminal then selects text only with Shift held",
    )
    view.add_argument("--ascii", action="store_true", help="draw the screen with ASCII characters only")


def add_speed_option(parser: argparse.ArgumentParser) -> None:
    """Add the pace of a night that is not live."""
    parser.add_argument(
        "--speed",
        metavar="X",
        type=positive,
        help=f"machine seconds per second (on a screen {SCREEN_SPEED:g}, else as fast as it goes)",
    )


def add_record_options(parser: argparse.ArgumentParser, default: str) -> None:
    """Add what says whether and where a watch is recorded."""
    record = parser.add_mutually_exclusive_group()
    record.add_argument(
        "--record",
        metavar="PATH",
        type=Path,
        help=f"record to this new file (.jsonl) or into this directory ({default})",
    )
    record.add_argument("--no-record", action="store_true", help="do not record")


def add_materials_option(parser: argparse.ArgumentParser) -> None:
    """Add the owner's own materials."""
    parser.add_argument(
        "--materials", metavar="FILE", type=Path, action="append", default=[], help="own materials; may be repeated"
    )
