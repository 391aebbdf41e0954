"""Runs `doctor`: looks, judges, prints each line as it is known."""

import argparse
import os
import sys
from collections.abc import Iterator

from connectors.serial_settings import SerialSettings
from monitor.doctor import computer as doctor_computer
from monitor.doctor import machine as doctor_machine
from monitor.doctor import places as doctor_places
from monitor.doctor import sight as doctor_sight
from monitor.doctor.findings import Finding, is_wrong, lines, look
from monitor.doctor.trial import try_link
from monitor.exit_codes import DONE, FOUND_WRONG, WrongUseError
from monitor.profile.link_mapping import Link
from monitor.recording.place import default_directory


def run(arguments: argparse.Namespace) -> int:
    """Tell how everything was found; the status says whether anything is wrong."""
    if arguments.try_link and arguments.profile is None:
        raise WrongUseError("--try-link needs --profile: the profile says how the machine is reached")
    found: list[Finding] = []
    for line in lines(_kept(found, arguments)):
        print(line, flush=True)
    return FOUND_WRONG if is_wrong(found) else DONE


def _kept(found: list[Finding], arguments: argparse.Namespace) -> Iterator[Finding]:
    for finding in _findings(arguments):
        found.append(finding)
        yield finding


def _findings(arguments: argparse.Namespace) -> Iterator[Finding]:
    directory = arguments.record or default_directory()
    yield from doctor_computer.terminal(doctor_sight.terminal(os.environ))
    yield doctor_computer.python(sys.version_info[:3])
    yield from doctor_computer.libraries(doctor_sight.requirements(), doctor_sight.installed())
    yield from doctor_places.recordings(doctor_sight.place(directory))
    yield from doctor_computer.clock(doctor_sight.clock(directory))
    yield doctor_computer.service(os.environ, has_systemd=doctor_sight.has_systemd())
    yield doctor_places.other_watches(doctor_sight.writers(directory))
    yield from _of_the_machine(arguments)


def _of_the_machine(arguments: argparse.Namespace) -> Iterator[Finding]:
    if arguments.profile is None:
        yield from doctor_machine.notifications(None, None)
        yield look("profile", "none was given", "give --profile FILE, to have profile and link looked at")
        return
    profile, found = doctor_machine.profile(arguments.profile, arguments.materials)
    yield from found
    if profile is None:
        return
    yield from doctor_machine.notifications(profile.notify_file, profile.link)
    if profile.link is None:
        yield look("link", "the profile has no [link]", "add one before you watch; demo and replay need none")
        return
    yield from _of_the_link(profile.link, is_tried=arguments.try_link)


def _of_the_link(settings: Link, *, is_tried: bool) -> Iterator[Finding]:
    if isinstance(settings, SerialSettings):
        yield from doctor_machine.serial_port(settings, doctor_sight.port(settings.port))
    else:
        yield doctor_machine.websocket(settings)
    if is_tried:
        yield from try_link(settings)
