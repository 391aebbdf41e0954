"""The command `strandwatch`: which commands there are, and how their failures are told.

Imports nothing that is slow: ``--help`` must answer at once. Each command imports what it needs when it runs.
"""

from __future__ import annotations

import argparse
import errno
import os
import sys
import traceback
from typing import TYPE_CHECKING, Final

from connectors.errors import ConnectorError, LinkFailedError
from monitor.commands import (
    alerts,
    archive,
    attach,
    bench,
    demo,
    doctor,
    export,
    import_,
    materials,
    plan,
    profile,
    replay,
    report,
    watch,
)
from monitor.exit_codes import DONE, EXIT_STATUS, LINK_FAILED, OWN_FAULT, WRONG_USE, WrongUseError
from monitor.output import READER_GONE, Output, abandon_stdout, prepare_streams

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any


_OUTPUT_FAILED: Final = frozenset({errno.EPIPE, errno.ENOSPC, errno.EDQUOT})
"""Errors by which a failing output shows. Others, such as EIO, may be a port's, and must not pass for a reader gone."""


class _Version(argparse.Action):
    """Prints the version; looks it up only then."""

    def __init__(self, option_strings: Sequence[str], dest: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help="print the version and end", default=argparse.SUPPRESS)

    def __call__(self, parser: argparse.ArgumentParser, *_rest: Any) -> None:  # noqa: ANN401 -- argparse's own type
        """Print and end."""
        from monitor.version import version  # noqa: PLC0415 -- slow to import

        print(f"strandwatch {version()}")
        parser.exit()


def build_parser() -> argparse.ArgumentParser:
    """Parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="strandwatch",
        description="Watches the idle strands of a multi-input, single-nozzle 3D printer and warns before heat ruins "
        "them. It never drives the machine.",
        epilog=EXIT_STATUS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_Version)
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    for command in (
        demo,
        watch,
        attach,
        bench,
        plan,
        replay,
        report,
        archive,
        import_,
        export,
        profile,
        materials,
        alerts,
        doctor,
    ):
        command.add_parser(commands)
    return parser


def main(words: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit status."""
    # before numpy comes in: products as small as ours lose by threading, and idle threads would spin beside a printer
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    prepare_streams()
    try:
        status = _run(words)
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:  # of the output: `_run` lets no other pass
        abandon_stdout()
        return (
            DONE if error.errno in READER_GONE else _told(f"the output cannot be written: {error.strerror}", WRONG_USE)
        )
    return status


def _run(words: Sequence[str] | None) -> int:
    arguments = build_parser().parse_args(words)
    try:
        status: int = arguments.run(arguments)
    except LinkFailedError as error:
        return _told(error, LINK_FAILED)
    except (WrongUseError, ConnectorError) as error:
        return _told(error, WRONG_USE)
    except KeyboardInterrupt:
        return DONE
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _OUTPUT_FAILED:
            raise
        _told(traceback.format_exc(), OWN_FAULT)
        return _told("a fault in strandwatch itself (see above); what was recorded is safe", OWN_FAULT)
    return status


def _told(what: object, status: int) -> int:
    Output(None, sys.stderr).message(str(what))
    return status
