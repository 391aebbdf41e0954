"""`report`: a recording, told in one page. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import late
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `report`."""
    parser = subparsers.add_parser(
        "report",
        help="tell what happened in a recording, what caused it, and what would have saved it",
        description="Judge a recording anew and write one page about it: what happened first and why, what followed,\n"
        "what would have saved it and by when; alerts, strands, temperatures, doses, quality of the data,\n"
        "settings with their sources. The page needs no network and runs no script. Its plots need matplotlib:\n"
        "pip install 'strandwatch[report]'.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="a recording (.jsonl, .jsonl.gz or .jsonl.zst)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument(
        "--html", metavar="OUT", type=Path, help="write the page to this file (default: FILE.html here, or beside FILE)"
    )
    form.add_argument("--markdown", action="store_true", help="print the same story as Markdown; write no file")
    parser.add_argument("--force", action="store_true", help="write over a file that is there already")
    parser.add_argument("--no-plots", action="store_true", help="leave the plots out; matplotlib is not needed then")
    parser.set_defaults(run=late("monitor.commands.report_run"))
