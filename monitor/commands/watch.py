"""`watch`: a real machine, live. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, add_record_options, add_view_options, late
from monitor.commands.resume_options import add_resume_options
from monitor.commands.serve_options import add_serve_options
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `watch`."""
    parser = subparsers.add_parser(
        "watch",
        help="watch a machine, live",
        description="Watch a machine as its profile describes it. Only ever listens and asks; never drives it.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--profile", metavar="FILE", type=Path, required=True, help="the machine's profile (TOML)")
    add_materials_option(parser)
    parser.add_argument("--wait", action="store_true", help="wait for the machine when it cannot be reached yet")
    parser.add_argument(
        "--i-know-open-may-reset",
        action="store_true",
        help="open a serial port although that may restart the controller; no build may be running",
    )
    parser.add_argument(
        "--print-unit", action="store_true", help="print a systemd unit that runs this watch as a service, and end"
    )
    parser.add_argument(
        "--plan",
        metavar="FILE",
        type=Path,
        help="the build's file: follow the build along it, and tell when a strand will not last until its next use",
    )
    add_view_options(parser)
    add_record_options(parser, "on, in your own directory of recordings")
    add_resume_options(parser)
    add_serve_options(parser)
    parser.set_defaults(run=late("monitor.commands.watch_run"))
