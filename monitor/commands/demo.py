"""`demo`: a whole night of the simulated machine. Only its options; they are cheap to import."""

import argparse
from typing import Final

from monitor.commands.options import add_record_options, add_speed_option, add_view_options, late
from monitor.exit_codes import EXIT_STATUS

DEFAULT_SCENARIO: Final = "left-idle"
SEVERITIES: Final = ("slight", "plain", "severe")


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `demo`."""
    parser = subparsers.add_parser(
        "demo",
        help="watch a simulated machine for a night",
        description="Watch a simulated machine, with invented strands, for a night. Nothing real is connected.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "scenario", metavar="SCENARIO", nargs="?", default=DEFAULT_SCENARIO, help=f"what happens ({DEFAULT_SCENARIO})"
    )
    parser.add_argument("--list", action="store_true", help="list the scenarios and end")
    parser.add_argument(
        "--severity", choices=SEVERITIES, help="how bad it is, where the fault comes in degrees (plain)"
    )
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="the same seed gives the same night (1)")
    add_speed_option(parser)
    add_view_options(parser)
    add_record_options(parser, "off")
    parser.set_defaults(run=late("monitor.commands.demo_run"))
