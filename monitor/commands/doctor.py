"""`doctor`: is this computer fit to be left alone with a watch. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, late
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `doctor`."""
    parser = subparsers.add_parser(
        "doctor",
        help="look whether this computer is fit for a watch, and say what to do",
        description="Look at terminal, libraries, files, disk, clock, profile and port, and say what to do. Changes\n"
        "nothing, opens no port, sends nothing.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--profile", metavar="FILE", type=Path, help="the machine's profile (TOML)")
    add_materials_option(parser)
    parser.add_argument("--record", metavar="PLACE", type=Path, help="directory of recordings, where not your own")
    parser.add_argument(
        "--try-link",
        action="store_true",
        help="connect to the machine for five seconds, only listening, and say what came",
    )
    parser.set_defaults(run=late("monitor.commands.doctor_run"))
