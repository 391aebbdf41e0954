"""Runs `replay`: a recording, judged anew."""

import argparse

from connectors.clean_text import clean_text
from connectors.recording import Header
from connectors.replay_link import ReplayLink
from monitor.commands import replay_what_if
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile, profile_from_tables
from monitor.core.engine import Engine
from monitor.exit_codes import WrongUseError
from monitor.profile.report import loan_lines
from monitor.replay.player import Player
from monitor.replay.reading import Reading
from monitor.replay.source import ReplaySource
from monitor.replay.verdict import ReplayVerdict
from monitor.replay.view import FASTEST
from monitor.running import Words, carry_out, manner_of, speed_of
from monitor.session import Session
from monitor.totals import Totals


def run(arguments: argparse.Namespace) -> int:
    """Play a recording to its end. A file that breaks off damaged is wrong use, told when all before it is judged."""
    manner = manner_of(arguments)
    link = ReplayLink(arguments.file, speed=speed_of(arguments, manner))
    profile = _profile(arguments, link.header)
    opening = (_opening(link.header, arguments), *loan_lines(profile))
    if replay_what_if.is_asked(arguments):
        status = replay_what_if.tell(arguments, link.recording, profile, opening[0])
    else:
        status = (_on_screen if manner.on_screen else _on_lines)(arguments, link, profile, opening)
    if link.recording.damage is not None:
        raise WrongUseError(
            f"{clean_text(str(arguments.file), 500)}: {link.recording.damage}; all before it was judged"
        )
    return status


def _on_lines(arguments: argparse.Namespace, link: ReplayLink, profile: Profile, opening: tuple[str, ...]) -> int:
    source = ReplaySource(link)
    session = Session(
        source,
        Engine(profile.parameters),
        name=_name(arguments),
        sensors=profile.parameters.sensors_needed,
        inputs=[strand.input for strand in profile.parameters.strands],
        over="the recording ended",
    )
    verdict = ReplayVerdict(session, source, link.recording)
    totals = Totals(profile.parameters.limits.stale_after_s)
    return carry_out(session, manner_of(arguments), totals, Words(opening, verdict.lines))


def _on_screen(arguments: argparse.Namespace, link: ReplayLink, profile: Profile, opening: tuple[str, ...]) -> int:
    from monitor.commands.replay_screen import carry_out_on_screen  # noqa: PLC0415 -- only a screen needs it

    manner = manner_of(arguments)
    speed = speed_of(arguments, manner)
    reading = Reading(link.recording, profile.parameters)
    player = Player(reading, _name(arguments), speed=FASTEST if speed is None else speed)
    return carry_out_on_screen(player, reading, manner, opening)


def _name(arguments: argparse.Namespace) -> str:
    return f"recording {clean_text(arguments.file.name)}"


def _profile(arguments: argparse.Namespace, header: Header) -> Profile:
    if arguments.profile is not None:
        return loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    if arguments.materials:
        raise WrongUseError(
            "--materials only goes with --profile: a recording brings its own materials along"
            " (to try others beside them: --what-if-materials)"
        )
    return loaded(lambda: profile_from_tables(header.profile, header.materials, str(arguments.file)))


def _opening(header: Header, arguments: argparse.Namespace) -> str:
    told = f"recording of {header.machine} ({header.source}), begun {header.start:%Y-%m-%d %H:%M:%S %z}"
    judged = "" if arguments.profile is None else f", judged with {clean_text(str(arguments.profile), 500)}"
    return f"{told}, by strandwatch {header.program}{judged}"
