"""`export`: a recording for other programs. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, late
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `export`."""
    parser = subparsers.add_parser(
        "export",
        help="write a recording as tables or as metrics for other programs",
        description="Judge a recording and write it for other programs: tables of samples, of doses (each strand,\n"
        "each minute) and of alerts; or its final state as OpenMetrics text.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="a recording (.jsonl, .jsonl.gz or .jsonl.zst)")
    forms = parser.add_argument_group("what is written (at least one)")
    forms.add_argument(
        "--csv", metavar="DIR", type=Path, help="samples.csv, doses.csv and alerts.csv in this new folder"
    )
    forms.add_argument(
        "--parquet", metavar="DIR", type=Path, help="the same as Parquet (needs: pip install 'strandwatch[parquet]')"
    )
    forms.add_argument("--openmetrics", metavar="FILE", help="the final state to this new file; - for the output")
    parser.add_argument("--profile", metavar="FILE", type=Path, help="judge with this profile instead of its own")
    add_materials_option(parser)
    parser.set_defaults(run=late("monitor.commands.export_run"))
