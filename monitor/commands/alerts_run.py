"""Runs `alerts test`: a message to every channel, and what became of it."""

import argparse
import asyncio
from collections.abc import Sequence
from datetime import datetime

from monitor.commands.loading import loaded
from monitor.config import load_profile
from monitor.exit_codes import DONE, NOT_ACCEPTED, WrongUseError
from monitor.link_mapping import host
from monitor.notify_attempt import Channel, Letter, Outcome, begin, outcome_in_time
from monitor.notify_file import default_file, plan_of, read_plan
from monitor.notify_message import trial_message


def run(arguments: argparse.Namespace) -> int:
    """Try every channel once; exit status 0 only if all accepted."""
    channels = _channels(arguments)
    if not channels:
        raise WrongUseError(
            f"there are no notification channels: make {default_file()}, or name a file by notify_file in the profile's"
            " [alerts] (strandwatch alerts test --help shows one)"
        )
    print(f"sending a test message to {len(channels)} channel{'s' if len(channels) > 1 else ''} …", flush=True)
    outcomes = asyncio.run(_tried(channels))
    for channel, outcome in zip(channels, outcomes, strict=True):
        print(f"{channel.name}: {'accepted' if outcome is None else f'NOT accepted: {outcome}'}")
    if any(outcome is None for outcome in outcomes):
        print("accepted means that the service took it; look whether it reached you")
    return DONE if all(outcome is None for outcome in outcomes) else NOT_ACCEPTED


def _channels(arguments: argparse.Namespace) -> tuple[Channel, ...]:
    if arguments.profile is not None:
        profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
        return plan_of(profile.notify_file, host(profile.link)).channels
    if arguments.channels is not None:
        return read_plan(arguments.channels).channels
    return plan_of(None).channels


async def _tried(channels: Sequence[Channel]) -> list[Outcome]:
    """Try all at the same time; each has as long as in a watch."""
    message = trial_message(datetime.now().astimezone())
    letter = Letter(message.title, message.body(), message.priority)
    return await asyncio.gather(*(outcome_in_time(begin(it, letter), asyncio.sleep) for it in channels))
