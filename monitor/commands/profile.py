"""`profile check` and `profile new`: the commands, and nothing of what they check or write.

Kept cheap to import: what is heavy is imported by the commands when they run.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from connectors.clean_text import clean_text
from monitor.commands.options import add_materials_option
from monitor.exit_codes import DONE, WRONG_USE

if TYPE_CHECKING:
    import argparse


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `profile` with its two commands."""
    parser = subparsers.add_parser("profile", help="check a machine profile, or write a new one")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    _add_check(commands)
    _add_new(commands)


def _add_check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser(
        "check", help="tell all that is wrong with a profile, or what was understood", description=check_profile.__doc__
    )
    check.add_argument("file", metavar="FILE", type=Path, help="the machine's profile (TOML)")
    add_materials_option(check)
    check.set_defaults(run=check_profile)


def _add_new(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    new = commands.add_parser("new", help="write a commented profile to start from", description=new_profile.__doc__)
    new.add_argument("--output", metavar="FILE", type=Path, help="where to write it (machine.toml)")
    new.add_argument("--force", action="store_true", help="write over a file that is there")
    new.add_argument("--name", help="what you call the machine")
    new.add_argument("--inputs", metavar="N", type=int, help="how many inputs it has")
    link = new.add_mutually_exclusive_group()
    link.add_argument("--serial", metavar="PORT", help="it speaks over this serial port")
    link.add_argument("--websocket", metavar="URL", help="it speaks over this websocket")
    new.add_argument("--baud", metavar="RATE", type=int, help="speed of the serial port")
    new.add_argument("--filament-diameter-mm", metavar="MM", type=float, help="diameter of the filament")
    new.add_argument(
        "--material",
        metavar="INPUT=NAME",
        action="append",
        default=[],
        help="material of an input, as listed by `strandwatch materials`; may be repeated",
    )
    add_materials_option(new)
    new.set_defaults(run=new_profile)


def check_profile(arguments: argparse.Namespace) -> int:
    """Tell what was understood of a profile, with every default used; or all of its faults. Exit status 0 or 2."""
    from monitor.config import ProfileError, load_profile  # noqa: PLC0415 -- heavy
    from monitor.profile.report import fault_lines, summary_lines  # noqa: PLC0415 -- heavy

    try:
        profile = load_profile(arguments.file, user_materials=arguments.materials)
    except ProfileError as error:
        print("\n".join(fault_lines(error)))
        return WRONG_USE
    print(f"profile {clean_text(str(arguments.file))} is fine")
    print("\n".join(summary_lines(profile)))
    return DONE


def new_profile(arguments: argparse.Namespace) -> int:
    """Write a commented profile that works, to be adapted; on a terminal, ask for what the flags leave open."""
    from monitor.profile.new import assumptions, choose, write  # noqa: PLC0415 -- heavy

    path = arguments.output or Path("machine.toml")
    is_terminal = sys.stdin is not None and sys.stdin.isatty()
    choices = choose(arguments, ask=input if is_terminal else None)
    write(choices, path, overwrite=arguments.force, user_materials=arguments.materials)
    shown = clean_text(str(path))
    assumed = assumptions(choices)
    remark = f" (assumed: {assumed})" if assumed else ""
    print(f"wrote {shown}{remark}; adapt it to the machine, then run: strandwatch profile check {shown}")
    return DONE
