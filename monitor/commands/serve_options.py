"""Options of watches that are shown in a browser. Cheap to import."""

import argparse
from pathlib import Path

HERE = "here"
"""Value of `--serve` without one."""


def add_serve_options(parser: argparse.ArgumentParser) -> None:
    """Add whether, where and to whom a watch is shown in a browser."""
    serve = parser.add_argument_group("in a browser")
    serve.add_argument(
        "--serve",
        metavar="[HOST:]PORT",
        nargs="?",
        const=HERE,
        help="show the watch in browsers too; without a value, to this computer alone, at 127.0.0.1:8642",
    )
    serve.add_argument(
        "--serve-may-ask",
        action="store_true",
        help="a browser may acknowledge, shelve and reset alerts; without this it may only look",
    )
    serve.add_argument(
        "--serve-token-file",
        metavar="FILE",
        type=Path,
        help="the token that lets a browser in, from a file that only you can read (for a bookmark that stays);"
        " without this a new one is made at each start",
    )
    serve.add_argument(
        "--serve-as",
        metavar="URL",
        action="append",
        default=[],
        help="a further address by which it is called, as http://name.local:8642, or https://… of a proxy with TLS",
    )
    serve.add_argument("--serve-cert", metavar="FILE", type=Path, help="certificate, with its chain: serve by TLS")
    serve.add_argument("--serve-key", metavar="FILE", type=Path, help="private key of --serve-cert, if not in its file")
