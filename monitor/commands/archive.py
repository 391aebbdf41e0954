"""`archive`: many recordings, listed, searched, marked and learned from. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import late
from monitor.exit_codes import EXIT_STATUS

_WAYS = """\
  strandwatch archive [DIR]                 list the recordings of a directory (your own if left out)
  strandwatch archive mark FILE OUTCOME     say what became of a build: fine, "jam on input 3 at 02:10" (hours and
                                            minutes since the recording began), or words of your own. It is kept in
                                            a small file beside the recording, which is never changed
  strandwatch archive learn [DIR]           what marked recordings say of the dose limits of materials; with
                                            --accept MATERIAL the proposal goes into your own file of materials
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `archive`."""
    parser = subparsers.add_parser(
        "archive",
        help="list, search and mark recordings, and learn from them",
        description="List many recordings with what became of them, search them, mark outcomes, and learn from marks.",
        epilog=f"{_WAYS}\nA directory called mark or learn is given as ./mark or ./learn.\n\n{EXIT_STATUS}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("words", metavar="DIR | mark FILE OUTCOME | learn [DIR]", nargs="*", help="see below")
    search = parser.add_argument_group("what is listed (texts are found anywhere in the name)")
    search.add_argument("--machine", metavar="TEXT", default="", help="only of this machine")
    search.add_argument("--since", metavar="DATE", help="only begun since then: 2026-11-25, or 30d for thirty days")
    search.add_argument("--alert", metavar="TEXT", default="", help="only with such an alert, such as dose or stall")
    search.add_argument("--material", metavar="TEXT", default="", help="only with a strand of this material")
    search.add_argument("--outcome", metavar="TEXT", default="", help='only with this outcome; "not marked": without')
    parser.add_argument("--json", action="store_true", help="JSON Lines instead of text")
    parser.add_argument("--rejudge", action="store_true", help="judge all recordings anew")
    parser.add_argument("--accept", metavar="MATERIAL", help="learn: put its proposed limits into your materials")
    parser.add_argument(
        "--materials", metavar="FILE", type=Path, action="append", default=[], help="own materials; the last is written"
    )
    parser.set_defaults(run=late("monitor.commands.archive_run"))
