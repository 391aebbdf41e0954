"""`materials`: what is known of the materials, with source and status of each value. Cheap to import."""

import argparse

from monitor.commands.options import add_materials_option
from monitor.exit_codes import DONE
from monitor.materials.example import EXAMPLE


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `materials`."""
    parser = subparsers.add_parser(
        "materials",
        help="list the materials, with source and status of each value",
        description="List the materials with the numbers that the watch uses; with NAMEs, every value with its\n"
        "range, status and source. Later files override value by value: the package's, your own,\n"
        "those given here.",
        epilog=f"example of a file of your own:\n{EXAMPLE}\n\n"
        "Its place stands at the end of what `strandwatch materials` prints; or give it with --materials.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("names", metavar="NAME", nargs="*", help="show all that is known of this material or liner")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    add_materials_option(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the table, or all that is known of the materials named."""
    from monitor.materials.known import load_materials  # noqa: PLC0415 -- heavy
    from monitor.materials.report import detail_lines, json_text, table_lines  # noqa: PLC0415 -- heavy

    table = load_materials(arguments.materials)
    if arguments.json:
        print(json_text(table, arguments.names))
    elif arguments.names:
        print("\n".join(detail_lines(table, arguments.names)))
    else:
        print("\n".join(table_lines(table)))
    return DONE
