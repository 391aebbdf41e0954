"""Writing a page to a file: whole or not at all, and never over anything but a page of ours."""

import os
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.exit_codes import WrongUseError
from monitor.plan_pages.page import FIRST_LINE

_BESIDE: Final = ".part"


def write_page(path: Path, text: str, *, not_over: Path | None = None) -> None:
    """Write the page; raises WrongUseError when something else stands there, or it cannot be written."""
    shown = clean_text(str(path), 500)
    try:
        if path.exists() and (_is_same(path, not_over) or not _is_ours(path)):
            raise WrongUseError(f"{shown} is there already and is no page of strandwatch: give --html another name")
        beside = path.with_name(path.name + _BESIDE)
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, path)  # noqa: PTH105 -- says better that it is one step
    except OSError as error:
        raise WrongUseError(f"{shown} cannot be written: {error.strerror}") from error


def _is_same(path: Path, other: Path | None) -> bool:
    return other is not None and other.exists() and path.samefile(other)


def _is_ours(path: Path) -> bool:
    """Whether it begins as our pages do; an empty file may be written over as well."""
    first = FIRST_LINE.encode()
    with path.open("rb") as file:
        begin = file.read(len(first))
    return begin in (b"", first)
