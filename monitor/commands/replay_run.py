"""Runs `replay`: a recording, judged anew."""

import argparse

from connectors.clean_text import clean_text
from connectors.recording import Header
from connectors.replay_link import ReplayLink
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile, profile_from_tables
from monitor.core.engine import Engine
from monitor.exit_codes import WrongUseError
from monitor.profile_report import loan_lines
from monitor.replay_source import ReplaySource
from monitor.replay_verdict import ReplayVerdict
from monitor.running import Words, carry_out, manner_of, speed_of
from monitor.session import Session
from monitor.totals import Totals


def run(arguments: argparse.Namespace) -> int:
    """Play a recording to its end. A file that breaks off damaged is wrong use, told when all before it is judged."""
    manner = manner_of(arguments)
    link = ReplayLink(arguments.file, speed=speed_of(arguments, manner))
    profile, source = _profile(arguments, link.header), ReplaySource(link)
    session = Session(
        source,
        Engine(profile.parameters),
        name=f"recording {clean_text(arguments.file.name)}",
        sensors=profile.parameters.sensors_needed,
        inputs=[strand.input for strand in profile.parameters.strands],
        over="the recording ended",
    )
    verdict = ReplayVerdict(session, source, link.recording)
    opening = (_opening(link.header, arguments), *loan_lines(profile))
    words = Words(opening, verdict.lines)
    status = carry_out(session, manner, Totals(profile.parameters.limits.stale_after_s), words)
    if link.recording.damage is not None:
        raise WrongUseError(
            f"{clean_text(str(arguments.file), 500)}: {link.recording.damage}; all before it was judged"
        )
    return status


def _profile(arguments: argparse.Namespace, header: Header) -> Profile:
    if arguments.profile is not None:
        return loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    if arguments.materials:
        raise WrongUseError("--materials only goes with --profile: a recording brings its own materials along")
    return loaded(lambda: profile_from_tables(header.profile, header.materials, str(arguments.file)))


def _opening(header: Header, arguments: argparse.Namespace) -> str:
    told = f"recording of {header.machine} ({header.source}), begun {header.start:%Y-%m-%d %H:%M:%S %z}"
    judged = "" if arguments.profile is None else f", judged with {clean_text(str(arguments.profile), 500)}"
    return f"{told}, by strandwatch {header.program}{judged}"
