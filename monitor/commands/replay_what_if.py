"""Runs `replay --what-if…`: a recording judged twice, as it was and with something changed, side by side."""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from connectors.clean_text import clean_text
from connectors.recording import Conclusion, Recording
from monitor.clock_text import clock_text
from monitor.commands.loading import loaded
from monitor.config import Profile, ProfileError, load_profile, profile_from_tables
from monitor.core.engine_input import EngineInput
from monitor.core.hot_path import merge_sensors
from monitor.exit_codes import ALARM, DONE, WrongUseError
from monitor.materials.errors import MaterialsError
from monitor.materials.files import read_tables
from monitor.materials.known import MaterialTable
from monitor.output import Output
from monitor.recording.inputs import input_in
from monitor.what_if.changes import (
    ADVANCE_RULE,
    CANNOT_KNOW,
    NO_DUTY,
    Advance,
    Manifold,
    manifold_rule,
    with_advance,
    with_manifold,
)
from monitor.what_if.outcome import outcome_of
from monitor.what_if.report import report_lines


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is to be changed: the profile, and what was set or fed."""

    profile: Profile
    manifold: Manifold | None = None
    advances: tuple[Advance, ...] = ()
    words: tuple[str, ...] = ()

    def applied(self, events: Iterator[EngineInput]) -> Iterator[EngineInput]:
        """The events as they would have been."""
        for advance in self.advances:
            events = with_advance(events, advance)
        if self.manifold is not None:
            parameters = self.profile.parameters
            sensors = merge_sensors(parameters)
            events = with_manifold(events, self.manifold, sensors, self.profile.planning, parameters.ambient_c)
        return events

    def rules(self) -> Iterator[str]:
        """How the events were changed, in words."""
        if self.manifold is not None:
            yield manifold_rule(self.profile.planning)
            yield NO_DUTY
        if self.advances:
            yield ADVANCE_RULE


def is_asked(arguments: argparse.Namespace) -> bool:
    """Whether any what-if is asked for; WrongUseError where it makes no sense."""
    timed = arguments.what_if_manifold is not None or bool(arguments.what_if_advance)
    if arguments.from_s is not None and not timed:
        raise WrongUseError("--from only goes with --what-if-manifold or --what-if-advance: it says since when")
    asked = timed or arguments.what_if is not None or bool(arguments.what_if_materials)
    if asked and arguments.json:
        raise WrongUseError("--json does not go with a what-if: it is told as text")
    return asked


def tell(arguments: argparse.Namespace, recording: Recording, profile: Profile, opening: str) -> int:
    """Judge the recording twice and tell both outcomes; return the exit status."""
    what_if = _what_if(arguments, recording, profile)
    output = Output(sys.stdout, sys.stderr)
    output.line(opening)
    output.line(f"what if: {'; '.join(what_if.words)}")
    output.line("both are judged now, by this program; times are since the recording began")
    then = outcome_of(_events(recording), profile.parameters)
    otherwise = outcome_of(what_if.applied(_events(recording)), what_if.profile.parameters)
    for line in ("", *report_lines(then, otherwise, (*what_if.rules(), *CANNOT_KNOW))):
        output.line(line)
    return ALARM if arguments.fail_on_alarm and otherwise.has_alarm else DONE


def _events(recording: Recording) -> Iterator[EngineInput]:
    """Yield what the engine was told then, the owner's requests and the plan's words included."""
    for item in recording.items():
        told = input_in(item) if isinstance(item, Conclusion) else item
        if told is not None:
            yield told


def _what_if(arguments: argparse.Namespace, recording: Recording, profile: Profile) -> WhatIf:
    words, other = list[str](), profile
    if arguments.what_if is not None:
        other = loaded(lambda: load_profile(arguments.what_if, user_materials=arguments.what_if_materials))
        words.append(f"judged with the profile {clean_text(str(arguments.what_if), 500)}")
    elif arguments.what_if_materials:
        other = loaded(lambda: _with_materials(arguments, recording, profile))
    words += [f"materials of {clean_text(str(path), 500)}" for path in arguments.what_if_materials]
    manifold = None
    if arguments.what_if_manifold is not None:
        manifold = Manifold(arguments.what_if_manifold, arguments.from_s or 0.0)
        words.append(f"the manifold set to {manifold.set_c:g} °C {_since(arguments.from_s)}")
    advances = tuple(_advance(other, number, mm, arguments.from_s) for number, mm in arguments.what_if_advance)
    words += [f"input {it.input} advanced by {it.length_mm:g} mm at {clock_text(it.from_s)}" for it in advances]
    return WhatIf(other, manifold, advances, tuple(words))


def _with_materials(arguments: argparse.Namespace, recording: Recording, profile: Profile) -> Profile:
    """The profile of the recording with the owner's values put over the recorded ones."""
    header = recording.header
    try:
        table = MaterialTable.from_tables(profile.material_tables)
        for path in arguments.what_if_materials:
            table = table.with_overrides(read_tables(path), source=clean_text(path.name))
    except MaterialsError as error:
        raise ProfileError(error.faults) from error
    used = profile.table if arguments.profile is not None else header.profile
    return profile_from_tables(used, table.tables(table.entries), str(arguments.file))


def _advance(profile: Profile, number: int, length_mm: float, from_s: float | None) -> Advance:
    if from_s is None:
        raise WrongUseError("--what-if-advance needs --from: say when, in hours and minutes since the recording began")
    inputs = [strand.input for strand in profile.parameters.strands]
    if number not in inputs:
        raise WrongUseError(f"--what-if-advance: there is no strand in input {number}; there are {inputs}")
    return Advance(number, length_mm, from_s)


def _since(from_s: float | None) -> str:
    return "all along" if from_s is None else f"from {clock_text(from_s)} on"
