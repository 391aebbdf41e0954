"""Runs `plan`: a build file, or the load alone; as text, JSON, or a page."""

import argparse
import os
import shutil
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.build_file import BuildFileError, BuildSchedule, read_build_file
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile
from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Parameters, Strand
from monitor.exit_codes import DONE, NOT_SURVIVED, WrongUseError
from monitor.materials.errors import MaterialsError
from monitor.materials.known import IncompleteMaterialError, UnknownMaterialError, load_materials
from monitor.output import speak_utf8
from monitor.page_file import write_page
from monitor.plan_pages.blocks import Block
from monitor.plan_pages.data import json_text, plan_data
from monitor.plan_pages.load_out_data import load_out_data
from monitor.plan_pages.load_out_words import LoadOutWords
from monitor.plan_pages.page import page_text
from monitor.plan_pages.picture import picture_columns
from monitor.plan_pages.report import Report
from monitor.plan_pages.words import plan_blocks
from monitor.planning.load_out import load_out
from monitor.planning.plan import CannotPlanError, Plan, make_plan, prepared
from monitor.profile.report import loan_lines
from monitor.reading_bar import ReadingBar
from monitor.tui.terminal.choices import ascii_needed, colour_wanted

_NARROWEST, _USUAL, _WIDEST = 60, 80, 120
_PAGE_COLUMNS: Final = 480
"""How finely the page's timelines are cut."""


def run(arguments: argparse.Namespace) -> int:
    """Plan a build, or check a load."""
    _check_options(arguments)
    profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    return _check_load(arguments, profile) if arguments.file is None else _plan_build(arguments, profile)


def _check_options(arguments: argparse.Namespace) -> None:
    if arguments.file is not None and arguments.materials_list is not None:
        raise WrongUseError("--materials-list is for the check without a file: leave out the one or the other")
    if arguments.file is None and (arguments.manifold is not None or arguments.no_options):
        raise WrongUseError("--manifold and --no-options are for a build file: name one, or leave them out")


def _plan_build(arguments: argparse.Namespace, profile: Profile) -> int:
    plan = _planned(arguments, profile)
    name, notes = arguments.file.name, [*loan_lines(profile)]
    if arguments.html is not None:
        write_page(arguments.html, page_text(plan_blocks(plan, name, _PAGE_COLUMNS, notes)), not_over=arguments.file)
    if arguments.json:
        speak_utf8()
        print(json_text(plan_data(plan, clean_text(name))))
    else:
        width = _width()
        _print(arguments, plan_blocks(plan, name, picture_columns(width), notes), width)
    return DONE if plan.survives else NOT_SURVIVED


def _check_load(arguments: argparse.Namespace, profile: Profile) -> int:
    parameters = _listed(arguments, profile)
    if not merge_sensors(parameters):
        raise WrongUseError(
            f"{arguments.profile}: the wall at the merge point has no sensor, so there is nothing to check"
        )
    found = load_out(parameters, profile.planning)
    is_list = arguments.materials_list is not None
    notes = () if is_list else loan_lines(profile)
    blocks = [*LoadOutWords(found, parameters, is_list=is_list, notes=notes).blocks()]
    if arguments.html is not None:
        write_page(arguments.html, page_text(blocks))
    if arguments.json:
        speak_utf8()
        print(json_text(load_out_data(found, parameters)))
    else:
        _print(arguments, blocks, _width())
    return DONE if found.all.works else NOT_SURVIVED


def _listed(arguments: argparse.Namespace, profile: Profile) -> Parameters:
    """The machine with its own load, or with the materials of the list; those are not known to be dry."""
    if arguments.materials_list is None:
        return profile.parameters
    own = {strand.material.name: strand.material for strand in profile.parameters.strands}
    try:
        table = load_materials(arguments.materials)
        materials = [own[name] if name in own else table.material(name) for name in arguments.materials_list]
    except (MaterialsError, UnknownMaterialError, IncompleteMaterialError) as error:
        raise WrongUseError(str(error)) from error
    strands = tuple(Strand(number, material) for number, material in enumerate(materials, 1))
    return replace(profile.parameters, strands=strands)


def _planned(arguments: argparse.Namespace, profile: Profile) -> Plan:
    shown = clean_text(str(arguments.file), 500)
    bar = ReadingBar(sys.stderr, _size(arguments.file))
    try:
        schedule = _read(arguments.file, profile, bar)
        build = prepared(profile.parameters, profile.planning, schedule)
        return make_plan(
            build,
            arguments.manifold,
            with_options=not arguments.no_options,
            progress=lambda name: bar.says(f"reckoning: {name}"[:_NARROWEST]),
        )
    except BuildFileError as error:
        raise WrongUseError(
            f"{shown} is no build file that can be planned: {clean_text(str(error), 500)}. Give the plain text file"
            " that the machine runs; if it is that, write it anew: it may be damaged"
        ) from error
    except CannotPlanError as error:
        raise WrongUseError(f"{shown} cannot be planned: {error}") from error
    except OSError as error:
        raise WrongUseError(f"{shown} cannot be read: {error.strerror}") from error
    finally:
        bar.gone()


def _read(path: Path, profile: Profile, bar: ReadingBar) -> BuildSchedule:
    with path.open("rb") as file:
        return read_build_file(file, profile.motion, bar.read)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _print(arguments: argparse.Namespace, blocks: Iterable[Block], width: int) -> None:
    colour = not arguments.no_color and sys.stdout.isatty() and colour_wanted(os.environ)
    report = Report(width, ascii_only=arguments.ascii or ascii_needed(sys.stdout.encoding), colour=colour)
    for line in report.lines(blocks):
        print(line)


def _width() -> int:
    """As wide as the terminal, within reason; 80 into a file."""
    if not sys.stdout.isatty():
        return _USUAL
    return max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size((_USUAL, 24)).columns))
