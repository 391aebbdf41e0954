"""`replay`: a recording, judged anew. Only its options; they are cheap to import."""

import argparse
import re
from pathlib import Path
from typing import Final

from monitor.commands.options import add_materials_option, add_speed_option, add_view_options, late, positive
from monitor.exit_codes import EXIT_STATUS

_HOTTEST_C: Final = 500.0


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `replay`."""
    parser = subparsers.add_parser(
        "replay",
        help="play a recording and judge it anew",
        description="Play a recording, judge it anew, and tell whether the conclusions are those of the time.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="a recording (.jsonl, .jsonl.gz or .jsonl.zst)")
    add_speed_option(parser)
    parser.add_argument(
        "--profile", metavar="FILE", type=Path, help="judge with this profile instead of the recording's own"
    )
    add_materials_option(parser)
    _add_what_if_options(parser)
    add_view_options(parser)
    parser.set_defaults(run=late("monitor.commands.replay_run"))


def _add_what_if_options(parser: argparse.ArgumentParser) -> None:
    """Add what is to be changed; the outcome is told beside that of the recording as it was, as text."""
    what_if = parser.add_argument_group("what if: both outcomes side by side, as text")
    what_if.add_argument("--what-if", metavar="PROFILE", type=Path, help="judge with this profile")
    what_if.add_argument(
        "--what-if-materials",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="put the values of this file over those of the materials; may be repeated",
    )
    what_if.add_argument("--what-if-manifold", metavar="C", type=_temperature, help="another set point at the manifold")
    what_if.add_argument(
        "--what-if-advance",
        metavar="INPUT:MM",
        type=_advance,
        action="append",
        default=[],
        help="the strand of this input advanced into waste at the time of --from; may be repeated",
    )
    what_if.add_argument(
        "--from",
        dest="from_s",
        metavar="TIME",
        type=_time_since_begin,
        help="since when, as H:MM or H:MM:SS since the recording began (the manifold: else all along)",
    )


def _temperature(text: str) -> float:
    """Value of an option that is a temperature a manifold may have [°C]."""
    value = positive(text)
    if value > _HOTTEST_C:
        raise argparse.ArgumentTypeError(f"{text!r} is hotter than any manifold ({_HOTTEST_C:g} °C)")
    return value


def _advance(text: str) -> tuple[int, float]:
    """Value of an option like 4:18, an input and millimetres."""
    number, _, length = text.partition(":")
    if not (number.isascii() and number.isdigit()):
        raise argparse.ArgumentTypeError(f"{text!r} is no INPUT:MM, such as 4:18")
    return int(number), positive(length)


def _time_since_begin(text: str) -> float:
    """Value of an option like 4:30 or 04:27:24 [s]."""
    found = re.fullmatch(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?", text, re.ASCII)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no time; write H:MM or H:MM:SS since the recording began")
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    return float(hours * 3600 + minutes * 60 + seconds)
