"""`attach`: one more screen of a watch that runs. Only its options; they are cheap to import."""

import argparse

from monitor.commands.options import add_screen_options, late
from monitor.commands.serve_options import add_serve_options
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `attach`."""
    parser = subparsers.add_parser(
        "attach",
        help="show a watch that runs already on one more screen",
        description="Show a watch that runs already, as a service or in another terminal. Leaving does not end it.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "name",
        metavar="NAME",
        nargs="?",
        help="which watch: its name or the beginning of it, its process number, or the path of its socket; not needed"
        " while only one runs",
    )
    parser.add_argument("--list", action="store_true", help="list the watches that run and end")
    add_screen_options(parser.add_argument_group("how it is shown"))
    add_serve_options(parser)
    parser.set_defaults(run=late("monitor.commands.attach_run"))
