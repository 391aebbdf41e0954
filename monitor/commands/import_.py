"""`import`: a recording made of a file from elsewhere. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, late, positive
from monitor.exit_codes import EXIT_STATUS

_MAP = """\
a map of a table (TOML):
  separator = ";"                    # found by itself if left out
  decimal = ","
  [time]
  column = "Time"
  unit = "ms"                        # s, ms, us, min, h, iso8601, epoch_s, epoch_ms; without times: spacing_s = 1
  [columns."Block temp (F)"]
  channel = "temp_c:manifold"        # the channels of replays/README.md
  unit = "°F"                        # or factor and offset
  [columns."Wheel 1"]
  channel = "fed_mm:1"
  counts = "since the row before"    # "total" if left out
  [execution]
  column = "State"
  words = { running = "ACTIVE", held = "FEED_HOLD" }

of a log or of messages, one a line:
  [lines]
  stamps = "clock"                   # none, s, epoch_s, epoch_ms, iso8601, clock; found by itself if left out
  received = "< "                    # marks the machine's own lines
  sent = "> "                        # marks what was sent to it
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `import`."""
    parser = subparsers.add_parser(
        "import",
        help="make a recording of a file from elsewhere",
        description="Make a recording of a table (CSV), of the log of a serial line, or of captured messages of\n"
        "a websocket, one a line. Tells first what was understood of it and what is missing; writes only with --out.\n"
        "Lines are understood by the profile's [link]; nothing is connected.",
        epilog=f"{_MAP}\n{EXIT_STATUS}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, help="the file from elsewhere")
    parser.add_argument("--profile", metavar="FILE", type=Path, required=True, help="the machine's profile (TOML)")
    add_materials_option(parser)
    parser.add_argument("--map", metavar="FILE", type=Path, help="what columns, times and marks mean (TOML)")
    parser.add_argument("--as", dest="kind", choices=("csv", "serial", "websocket"), help="what kind of file it is")
    parser.add_argument(
        "--spacing", metavar="SECONDS", type=positive, help="time from line to line, where none is told"
    )
    parser.add_argument("--start", metavar="TIME", help="time of day of the first line (ISO 8601), where none is told")
    parser.add_argument("--out", metavar="FILE", type=Path, help="write the recording to this new file (.jsonl)")
    parser.set_defaults(run=late("monitor.commands.import_run"))
