"""From options to how a watch is shown in a browser, and the words that say where to open it.

The token is shown on a terminal and in a private file, and nowhere else: other output may end in a log.
"""

import argparse
import ssl
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from connectors.clean_text import clean_text
from monitor.attach.place import directories
from monitor.commands.serve_options import HERE
from monitor.exit_codes import WrongUseError
from monitor.serve.address import Listening, listening, public_origin
from monitor.serve.address_file import kept_address
from monitor.serve.choice import Choice
from monitor.serve.token import TokenError, new_token, read_token
from monitor.serve.words import address, caution, where_to_open


def serve_choice(arguments: argparse.Namespace) -> Choice | None:
    """How the owner wants it served; None for not at all.

    Raises
    ------
    WrongUseError
        When options contradict each other, or a file cannot be used.
    """
    if arguments.serve is None:
        _check_idle(arguments)
        return None
    try:
        file = arguments.serve_token_file
        return Choice(
            Listening() if arguments.serve == HERE else listening(arguments.serve),
            new_token() if file is None else read_token(file),
            file,
            tuple(map(public_origin, arguments.serve_as)),
            arguments.serve_may_ask,
            _tls(arguments.serve_cert, arguments.serve_key),
        )
    except (TokenError, ValueError) as error:
        raise WrongUseError(f"--serve: {error}") from None


def _check_idle(arguments: argparse.Namespace) -> None:
    more = {name: getattr(arguments, name) for name in vars(arguments) if name.startswith("serve_")}
    given = [name for name, value in more.items() if value]
    if given:
        raise WrongUseError(f"--{given[0].replace('_', '-')} means nothing without --serve")


def _tls(certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    if certificate is None:
        if key is not None:
            raise WrongUseError("--serve-key needs --serve-cert")
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key, password=_no_password)
    except (OSError, ValueError) as error:  # an SSLError is an OSError
        what = getattr(error, "reason", None) or getattr(error, "strerror", None) or str(error)
        raise WrongUseError(f"--serve-cert {clean_text(str(certificate))}: {clean_text(str(what))}") from None
    return context


def _no_password() -> str:
    raise ValueError("its key is behind a password, and nobody is there to type it at night")


def _picture(choice: Choice, shown: str) -> list[str]:
    """The address for a telephone's camera, where a telephone can reach it and the terminal can draw."""
    can_draw = sys.stdout.encoding is not None and sys.stdout.encoding.lower().replace("-", "") == "utf8"
    if not can_draw or (choice.listening.is_own_computer_only and not choice.public):
        return []
    from monitor.serve.scan_code import code_lines  # noqa: PLC0415 -- seldom needed

    return code_lines(shown)


@contextmanager
def served_words(choice: Choice | None) -> Iterator[list[str]]:
    """What to tell about it when it begins; meanwhile the address lies in a private file, where the token is new."""
    if choice is None:
        yield []
        return
    shown, kept = address(choice), None
    if choice.token_file is None:
        with suppress(OSError):  # then the terminal alone has it
            kept = kept_address(shown, directories())
    is_on_terminal = all(stream is not None and stream.isatty() for stream in (sys.stdout, sys.stderr))
    try:
        told = [where_to_open(choice, shown if is_on_terminal else "", kept), *caution(choice)]
        yield [*told, *(_picture(choice, shown) if is_on_terminal else ())]
    finally:
        if kept is not None:
            with suppress(OSError):
                kept.unlink()
