"""Options that say whether a watch goes on with an earlier one. Cheap to import."""

import argparse
from typing import Final

NEWEST: Final = ""
"""Value of ``--resume`` without a file."""


def add_resume_options(parser: argparse.ArgumentParser) -> None:
    """Add what says whether a watch goes on with an earlier one."""
    resume = parser.add_mutually_exclusive_group()
    resume.add_argument(
        "--resume",
        metavar="FILE",
        nargs="?",
        const=NEWEST,
        help="go on with this recording, or with the newest of this machine: doses and alerts stand as they stood, and"
        " it is recorded in the same file (without a word, if its last line is less than an hour old)",
    )
    resume.add_argument("--no-resume", action="store_true", help="begin anew, whatever was recorded before")
