"""`bench`: the step test for a strand's lowest feeding temperature. Only its options; they are cheap to import."""

import argparse
import math
from pathlib import Path
from typing import Final

from monitor.commands.options import add_materials_option, late, positive
from monitor.exit_codes import EXIT_STATUS

HELP: Final = """\
Find the lowest manifold temperature at which a strand feeds, on your machine. You are led through it step by step:
fill the path hot, let it cool, raise it by steps, feed at each. strandwatch says what to type and watches; it never
sends anything. Where neither an encoder nor a driver tells whether the strand skips, you are asked.
The result goes into your own materials if you say so (or with --write), and `strandwatch bench list` shows them all.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `bench`."""
    parser = subparsers.add_parser(
        "bench",
        help="find the lowest temperature at which a strand feeds",
        description=HELP,
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", nargs="?", choices=("test", "list"), default="test", help="list: the results so far")
    parser.add_argument("--profile", metavar="FILE", type=Path, help="the machine's profile (TOML)")
    parser.add_argument("--input", metavar="N", type=int, help="the input whose strand is tested")
    _add_steps(parser)
    add_materials_option(parser)
    parser.add_argument("--write", action="store_true", help="write the result to your materials without asking")
    parser.add_argument("--wait", action="store_true", help="wait for the machine when it cannot be reached yet")
    parser.add_argument(
        "--i-know-open-may-reset",
        action="store_true",
        help="open a serial port although that may restart the controller; no build may be running",
    )
    record = parser.add_mutually_exclusive_group()
    record.add_argument("--record", metavar="PATH", type=Path, help="as for watch (on, in your own directory)")
    record.add_argument("--no-record", action="store_true", help="do not record")
    parser.set_defaults(run=late("monitor.commands.bench_run"))


def _add_steps(parser: argparse.ArgumentParser) -> None:
    steps = parser.add_argument_group("how it is tested")
    steps.add_argument("--from", dest="from_c", metavar="C", type=_number, help="first temperature of the manifold, °C")
    steps.add_argument("--to", dest="to_c", metavar="C", type=_number, help="highest temperature of the manifold, °C")
    steps.add_argument("--step", metavar="K", type=positive, default=10.0, help="steps until it feeds (default: 10)")
    steps.add_argument("--nozzle", metavar="C", type=_number, help="the nozzle (default: middle of the maker's range)")
    steps.add_argument("--speed", metavar="MM_S", type=positive, default=2.0, help="of the strand, mm/s (default: 2)")
    steps.add_argument(
        "--confidence",
        metavar="P",
        type=_number,
        default=0.9,
        help="of the stated interval, 0.5 to 0.99 (default: 0.9)",
    )


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is no number")
    return value
