"""`replay`: a recording, judged anew. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, add_speed_option, add_view_options, late
from monitor.exit_codes import EXIT_STATUS


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
    add_view_options(parser)
    parser.set_defaults(run=late("monitor.commands.replay_run"))
