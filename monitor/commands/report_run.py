"""Runs `report`: a recording, told in one page."""

import argparse
import os
from collections.abc import Sequence
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from connectors.recording import Header, Recording, read_recording
from monitor.commands.loading import loaded
from monitor.config import Profile, profile_from_tables
from monitor.exit_codes import DONE, WrongUseError
from monitor.output import speak_utf8
from monitor.report.blocks import Block, Plot
from monitor.report.cause_types import Findings
from monitor.report.causes import find_causes
from monitor.report.document import document, title_of
from monitor.report.gathered import Gathered
from monitor.report.html_page import page_text
from monitor.report.markdown_page import markdown_text
from monitor.report.reading import read

_ENDINGS: Final = (".zst", ".gz", ".jsonl")


def run(arguments: argparse.Namespace) -> int:
    """Write the page, or print the Markdown."""
    out = None if arguments.markdown else _target(arguments)
    recording = read_recording(arguments.file)
    header = recording.header
    profile = loaded(lambda: profile_from_tables(header.profile, header.materials, str(arguments.file)))
    blocks = _blocks(recording, header, profile, with_plots=out is not None and not arguments.no_plots)
    if out is None:
        speak_utf8()
        print(markdown_text(blocks), end="")
    else:
        _write(out, page_text(blocks, title_of(header)), force=arguments.force)
        print(f"report: {clean_text(str(out), 500)}")
    return DONE


def _blocks(recording: Recording, header: Header, profile: Profile, *, with_plots: bool) -> list[Block]:
    if with_plots:
        _check_plots()
    gathered, state = read(recording, profile.parameters)
    findings = find_causes(gathered)
    plots = _plots(profile, gathered, findings) if with_plots else ()
    return [*document(header, profile, gathered, state, findings, plots)]


def _check_plots() -> None:
    """Tell at once, before a long recording is read, that the plots cannot be drawn."""
    if find_spec("matplotlib") is None:
        raise WrongUseError(
            "the plots of a report need matplotlib, which is not installed: pip install 'strandwatch[report]', or give"
            " --no-plots"
        )


def _plots(profile: Profile, gathered: Gathered, findings: Findings) -> Sequence[Plot]:
    from monitor.report.plot_blocks import plot_blocks  # noqa: PLC0415 -- needs the extra

    parameters = profile.parameters
    softest_c = min((strand.material.glass_c for strand in parameters.strands), default=None)
    cooling_c = None if softest_c is None else softest_c - parameters.limits.cold_end_margin_k
    return [*plot_blocks(gathered, findings, cooling_c)]


def _target(arguments: argparse.Namespace) -> Path:
    """Where the page goes; refused before anything is read when something is there."""
    out: Path | None = arguments.html
    if out is None:
        out = _beside(arguments.file)
    if out.exists() and out.samefile(arguments.file if arguments.file.exists() else out.parent):
        raise WrongUseError("the page would overwrite the recording itself: give --html another name")
    if out.exists() and not arguments.force:
        raise WrongUseError(f"{clean_text(str(out), 500)} is there already; give --html another name, or --force")
    return out


def _beside(file: Path) -> Path:
    """FILE.html beside the recording, or in the current directory where that cannot be written."""
    name = file.name
    for ending in _ENDINGS:
        name = name.removesuffix(ending)
    folder = file.parent if os.access(file.parent, os.W_OK) else Path()
    return folder / f"{name}.html"


def _write(out: Path, text: str, *, force: bool) -> None:
    """Whole or not at all."""
    beside = out.with_name(f"{out.name}.{os.getpid()}.part")
    try:
        with beside.open("x", encoding="utf-8") as file:
            file.write(text)
        _put(beside, out, force=force)
    except FileExistsError:
        raise WrongUseError(f"{clean_text(str(out), 500)} is there already; give --html another name") from None
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(out), 500)} cannot be written: {error.strerror}") from error
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def _put(beside: Path, out: Path, *, force: bool) -> None:
    if force:
        beside.replace(out)
    else:
        out.hardlink_to(beside)  # fails where something has come there meanwhile
