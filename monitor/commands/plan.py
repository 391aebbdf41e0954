"""`plan`: what a build will do to the strands, before it runs. Only its options; they are cheap to import."""

import argparse
from pathlib import Path

from monitor.commands.options import add_materials_option, late, positive
from monitor.exit_codes import EXIT_STATUS


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `plan`."""
    parser = subparsers.add_parser(
        "plan",
        help="tell before a build which strands will survive it, and what to change",
        description="Read a build file, reckon what its hours do to every strand, and tell what to change so that all\n"
        "survive. Without FILE: which of the loaded materials can share the hot path at all, and how hot.\n"
        "Reads only: no file is changed, nothing is sent. Which input a strand is in makes no difference\n"
        "here, because in this model all channels are alike.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path, nargs="?", help="a build file (ISO 6983 style)")
    parser.add_argument("--profile", metavar="FILE", type=Path, required=True, help="the machine's profile (TOML)")
    add_materials_option(parser)
    parser.add_argument(
        "--manifold",
        metavar="C",
        type=_set_point,
        help="hold the manifold at this temperature throughout, whatever the file says",
    )
    parser.add_argument(
        "--materials-list",
        metavar="A,B,…",
        type=_names,
        help="without FILE: check these materials in this hot path, whatever is loaded",
    )
    parser.add_argument("--no-options", action="store_true", help="only judge the build as it is; do not try changes")
    parser.add_argument("--html", metavar="OUT", type=Path, help="also write all of it to this file, one page")
    parser.add_argument(
        "--json", action="store_true", help="one JSON object instead of text (monitor/plan_pages/plan.schema.json)"
    )
    parser.add_argument("--no-color", action="store_true", help="no colours; NO_COLOR does the same")
    parser.add_argument("--ascii", action="store_true", help="ASCII characters only")
    parser.set_defaults(run=late("monitor.commands.plan_run"))


def _set_point(text: str) -> float:
    hottest_c = 500.0
    set_c = positive(text)
    if set_c > hottest_c:
        raise argparse.ArgumentTypeError(f"{text!r} is above {hottest_c:g} °C")
    return set_c


def _names(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",") if name.strip()]
    most = 64
    if not 0 < len(names) <= most:
        raise argparse.ArgumentTypeError(f"give 1 to {most} names of materials, with commas between")
    return list(dict.fromkeys(names))
