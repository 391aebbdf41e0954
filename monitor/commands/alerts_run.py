"""Runs `alerts test`: a test alert to the channels, what became of it, and whether anybody has seen it."""

import argparse
import asyncio
import sys
import time
from collections.abc import Iterator, Sequence
from datetime import datetime

from monitor.clock_text import span_text
from monitor.commands.loading import loaded
from monitor.config import load_profile
from monitor.exit_codes import DONE, NOT_ACCEPTED, NOT_SEEN, WrongUseError
from monitor.notify.attempt import Channel, Letter, Outcome, begin, outcome_in_time
from monitor.notify.file import default_file, plan_of, read_plan
from monitor.notify.message import trial_message
from monitor.notify.plan import NotifyPlan, ladder_text
from monitor.notify.trial import Climb, Clock, Trial, outcome_text
from monitor.profile.link_mapping import host
from monitor.seen_key import can_answer, seen_by_key


def run(arguments: argparse.Namespace) -> int:
    """Try the channels; exit status 0 only if all that were tried accepted, and somebody has seen it."""
    plan = _plan(arguments)
    if not plan.channels:
        raise WrongUseError(
            f"there are no notification channels: make {default_file()}, or name a file by notify_file in the profile's"
            " [alerts] (strandwatch alerts test --help shows one)"
        )
    print(ladder_text(plan))
    if arguments.no_wait or not can_answer(sys.stdin):
        return _send_only(plan.channels, is_wanted=arguments.no_wait)
    return _wait_for_owner(plan, arguments.within * 60.0)


def _plan(arguments: argparse.Namespace) -> NotifyPlan:
    if arguments.profile is not None:
        profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
        return plan_of(profile.notify_file, host(profile.link))
    if arguments.channels is not None:
        return read_plan(arguments.channels)
    return plan_of(None)


def _send_only(channels: Sequence[Channel], *, is_wanted: bool) -> int:
    why = "" if is_wanted else " (there is no terminal here to acknowledge it at, so this only sends)"
    print(f"sending a test message to {len(channels)} channel{'s' if len(channels) > 1 else ''}{why} …", flush=True)
    outcomes = asyncio.run(_tried(channels))
    for channel, outcome in zip(channels, outcomes, strict=True):
        print(outcome_text(channel, outcome))
    if any(outcome is None for outcome in outcomes):
        print("accepted means that the service took it; look whether it reached you")
    return DONE if all(outcome is None for outcome in outcomes) else NOT_ACCEPTED


async def _tried(channels: Sequence[Channel]) -> list[Outcome]:
    """Try all at the same time; each has as long as in a watch."""
    message = trial_message(_now())
    letter = Letter(message.title, message.body(), message.priority)
    return await asyncio.gather(*(outcome_in_time(begin(it, letter), asyncio.sleep) for it in channels))


def _wait_for_owner(plan: NotifyPlan, within_s: float) -> int:
    print(
        f"a test alert is on its way; it waits {span_text(within_s)} to be acknowledged."
        " Press Enter or k as soon as you have seen it",
        flush=True,
    )
    try:
        trial = asyncio.run(_climbed(plan, within_s))
    except KeyboardInterrupt:
        print("ended before it was acknowledged")
        return NOT_SEEN
    print("\n".join(verdict_lines(plan, trial, within_s)))
    return status_of(trial)


async def _climbed(plan: NotifyPlan, within_s: float) -> Trial:
    clock = Clock(asyncio.sleep, time.monotonic, _now)
    with seen_by_key(sys.stdin) as seen:
        return await Climb(plan, clock, lambda line: print(line, flush=True)).run(seen, within_s)


def verdict_lines(plan: NotifyPlan, trial: Trial, within_s: float) -> Iterator[str]:
    """Say what a trial has shown."""
    for channel in plan.channels:
        if channel.name not in trial.outcomes:
            yield f"{channel.name}: not tried, its turn comes after {span_text(channel.after_s)} (--no-wait tries all)"
    if not trial.accepted:
        yield "no channel accepted it: in the night nobody would have been told"
    if trial.seen_after_s is None:
        yield f"NOT acknowledged within {span_text(within_s)}: in the night it would have gone on"
    else:
        yield f"acknowledged after {span_text(trial.seen_after_s)}"


def status_of(trial: Trial) -> int:
    """Exit status: a channel that fails matters more than nobody there."""
    if trial.accepted < len(trial.outcomes) or not trial.accepted:
        return NOT_ACCEPTED
    return NOT_SEEN if trial.seen_after_s is None else DONE


def _now() -> datetime:
    return datetime.now().astimezone()
